"""Was the pose held? Which stop moved, at what height of the body, and roughly how far."""

from __future__ import annotations

from collections.abc import Sequence

import cv2
import numpy as np
from numpy.typing import NDArray

from silhouette.records import Mask
from silhouette.records_shoot import Held
from silhouette.turn import visual_hull

Floats = NDArray[np.float64]

MOVED = 0.006
"""Share of the figure's area that sticks out of what other stops allow, from which a stop has moved."""
ODD = 0.011
"""The same, against all stops, from which anything is said at all: outlines of good turns reach 0.009."""
BEGINNING = 0.0008
"""Where the pose goes on changing, a stop before with this much there is the beginning."""
SINGLE = 3
"""Up to this many stops can be off one by one; more in a row are a pose that changed."""
EARLY_DEG, UNFIT = 140.0, 0.4
"""Where this share of all stops stick out, many of them already before this much of the turn, the pictures do not
belong together: the camera moved, or the angles are wrong."""


def judge(masks: Sequence[Mask], turned: Floats, *, mirrored: bool = False) -> Held:
    """Hold every stop against what the other stops allow.

    Parameters
    ----------
    masks : n masks of one size, none empty, in the order shot
    turned : (n,) degrees turned since the first
    mirrored : True for a turn to the model's right
    """
    turn = visual_hull.prepare(masks, turned, mirrored=mirrored)
    nearness = visual_hull.find_nearness(turn)
    carved, block = visual_hull.carve(turn, nearness)
    share = carved.share
    everyone = visual_hull.against_all(turn, block)
    off = np.flatnonzero(everyone.share > ODD)
    if not len(off):
        return Held((), False, None, 0.0, 0.0, nearness, share)
    if len(off) <= SINGLE:
        return _held(turn, tuple(int(k) for k in off), False, everyone, nearness)
    strong = np.flatnonzero(share > MOVED)
    early = np.abs(turn.turned) < EARLY_DEG
    if len(strong) > UNFIT * len(share) and (share[early] > MOVED).sum() > 0.3 * early.sum():
        return Held((), False, None, 0.0, 0.0, nearness, share, unfit=True)
    if not len(strong):
        return Held((), False, None, 0.0, 0.0, nearness, share)
    strict, _ = visual_hull.carve(turn, nearness, strict=True)
    return _held(turn, _drift(carved, strict, int(strong[0])), True, carved, nearness)


def _drift(carved: visual_hull.Carved, strict: visual_hull.Carved, first: int) -> tuple[int, ...]:
    """From the first clear stop back to where the change began, and on to the end wherever it shows.

    ``strict`` feels the beginning sooner, but alone would cry wolf.
    """
    place = _grown(np.asarray(carved.regions[first].any(axis=1)))
    start = first
    while start > 1 and strict.share[start - 1] > BEGINNING:
        rows = np.asarray(strict.regions[start - 1].any(axis=1))
        if not (rows & place).any():
            break
        start -= 1
    later = (k for k in range(first, len(carved.share)) if carved.share[k] > BEGINNING)
    return tuple(dict.fromkeys([*range(start, first + 1), *later]))


def _grown(rows: NDArray[np.bool_]) -> NDArray[np.bool_]:
    """A set of picture rows and those near them."""
    return np.asarray(np.convolve(rows, np.ones(25), mode="same") > 0)


def _held(
    turn: visual_hull.Turn, moved: tuple[int, ...], drifting: bool, carved: visual_hull.Carved, nearness: float
) -> Held:
    """Name the place and the size of the largest piece that sticks out at the worst stop."""
    worst = max(moved, key=lambda k: carved.share[k])
    mask, region, shape = turn.masks[worst], carved.regions[worst], carved.left_over[worst]
    _, labels, stats, centres = cv2.connectedComponentsWithStats(region.astype(np.uint8), connectivity=8)
    piece = np.asarray(labels == 1 + int(np.argmax(stats[1:, cv2.CC_STAT_AREA])))
    centre = centres[1 + int(np.argmax(stats[1:, cv2.CC_STAT_AREA]))]
    away = cv2.distanceTransform((~shape).astype(np.uint8), cv2.DIST_L2, 5)
    far = float(np.percentile(away[piece], 95)) + visual_hull.UPRIGHT
    return Held(
        moved, drifting, _place(turn, mask, centre), far / turn.height,
        _sank(mask, shape, piece, turn.height) / turn.height, nearness, carved.share,
    )


def _sank(mask: NDArray[np.bool_], shape: NDArray[np.bool_], piece: NDArray[np.bool_], height: float) -> float:
    """How much lower the piece lies than what the carved shape has and the outline lacks close by, pixels."""
    reach = int(0.12 * height) | 1
    near = cv2.dilate(piece.astype(np.uint8), np.ones((reach, reach), np.uint8))
    bare = (shape & ~mask).astype(np.uint8) * near
    missing = cv2.morphologyEx(bare, cv2.MORPH_OPEN, np.ones((3, 3), np.uint8)).astype(bool)
    if missing.sum() < 0.2 * piece.sum():
        return 0.0
    across = float(np.nonzero(piece)[1].mean() - np.nonzero(missing)[1].mean())
    down = float(np.nonzero(piece)[0].mean() - np.nonzero(missing)[0].mean())
    return down if abs(down) > 0.5 * abs(across) else 0.0


def _place(turn: visual_hull.Turn, mask: NDArray[np.bool_], centre: NDArray[np.float64]) -> str:
    """Where on the body, by height and by how far out it lies. Segment heights after Drillis and Contini 1966.

    A point well beside the trunk and above the knee is called arm height: an outline shows a height, not a limb.
    """
    rows = np.flatnonzero(mask.any(axis=1))
    up = (rows[-1] - centre[1]) / (rows[-1] - rows[0] + 1)
    trunk = mask[int(rows[0] + 0.35 * len(rows)) : int(rows[0] + 0.6 * len(rows))]
    middle = float(np.median(np.flatnonzero(trunk.any(axis=0)))) if trunk.any() else turn.axis
    beside = abs(centre[0] - middle) / turn.height
    if up > 0.33 and beside > 0.09:
        return "arm height"
    for height, name in ((0.08, "foot height"), (0.33, "knee height"), (0.5, "hip height"), (0.66, "waist height"),
                         (0.84, "shoulder height")):
        if up < height:
            return name
    return "head height"
