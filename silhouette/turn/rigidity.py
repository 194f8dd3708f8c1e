"""Was the pose held? Which stop moved, at what height of the body, and roughly how far."""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import replace

import cv2
import numpy as np
from numpy.typing import NDArray

from silhouette.geometry.orbit import StopCamera
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
EARLY_DEG, UNFIT, EARLY_UNFIT = 140.0, 0.4, 0.3
"""Where the second's share of all stops stick out, and the third's share of those before so many degrees of the turn,
the pictures do not belong together: the camera moved, or the angles are wrong. Whoever tires moves later, and before
the views opposite to the first come in, past 140 degrees, a pose that was held hardly contradicts itself."""
NEAR_ROWS = 25
"""Rows of working size over which a place on the body is the same place: 12 pixels up or down, some 8 cm of a body."""
FARTHEST = 95.0
"""Percentile of how far the pixels of a piece lie outside that is called how far it moved: its tip, without the few
pixels that the edge of a cut may add."""
BESIDE = 0.12
"""Width of the brush round a piece, figure heights, under which what is missing may be where it came from: some 10 cm
of a body to each side. What sank by more leaves no trace there, and is said to be elsewhere."""
LEFT_BEHIND = 0.2
"""Share of the piece's area that must be missing close by before it is said to have come from there."""
MOSTLY_DOWN = 0.5
"""Downwards over sideways from which a move is called a sinking or a rising, not a shift."""
TRUNK = (0.35, 0.6)
"""Rows in which the trunk is read, shares of the figure's height from the top: under the shoulders, over the knees, in
whatever pose."""
KNEE_UP, ARM_OUT = 0.33, 0.09
"""A point this high, over the knee (0.285 of stature), and this far beside the trunk's middle is at arm height: hips
are 0.191 of stature wide (Drillis & Contini 1966, from memory), half of which is 0.096. Figure heights."""
PLACES = (
    (0.08, "foot height"), (KNEE_UP, "knee height"), (0.5, "hip height"), (0.66, "waist height"),
    (0.84, "shoulder height"),
)
"""Heights over the ground, in figure heights, up to which a place has its name. Set by eye round the segment heights of
Drillis & Contini 1966 (ankle 0.039, knee 0.285, hip 0.530, elbow 0.630, shoulder 0.818, chin 0.870); in a pose that is
bent they are a figure of speech, and the picture shows what is meant."""


def judge(
    masks: Sequence[Mask], turned: Floats, *, mirrored: bool = False, cameras: Sequence[StopCamera] = ()
) -> Held:
    """Hold every stop against what the other stops allow.

    Parameters
    ----------
    masks : n masks of one size, none empty, in the order shot
    turned : (n,) degrees turned since the first
    mirrored : True for a turn to the model's right
    cameras : n cameras of the stops in one frame, where they are known: those of a low or a high ring are tilted
    """
    if cameras:
        turn = replace(visual_hull.prepare_seen(masks, cameras), turned=turned)
        nearness = turn.height / float(np.median([eye.distance for eye in turn.eyes]))
    else:
        turn = visual_hull.prepare(masks, turned, mirrored=mirrored)
        nearness = visual_hull.find_nearness(turn)
    carved, block = visual_hull.carve(turn, nearness)
    share = carved.share
    everyone = visual_hull.against_all(turn, block)
    off = np.flatnonzero(everyone.share > ODD)
    if not len(off):
        return Held((), False, None, 0.0, 0.0, nearness, share)
    if len(off) <= SINGLE:
        return described(turn, tuple(int(k) for k in off), False, everyone, nearness)
    strong = np.flatnonzero(share > MOVED)
    early = np.abs(turn.turned) < EARLY_DEG
    if len(strong) > UNFIT * len(share) and (share[early] > MOVED).sum() > EARLY_UNFIT * early.sum():
        return Held((), False, None, 0.0, 0.0, nearness, share, unfit=True)
    if not len(strong):
        return Held((), False, None, 0.0, 0.0, nearness, share)
    strict, _ = visual_hull.carve(turn, nearness, strict=True)
    return described(turn, _drift(carved, strict, int(strong[0])), True, carved, nearness)


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
    return np.asarray(np.convolve(rows, np.ones(NEAR_ROWS), mode="same") > 0)


def described(
    turn: visual_hull.Turn, moved: tuple[int, ...], drifting: bool, carved: visual_hull.Carved, nearness: float
) -> Held:
    """Name the place and the size of the largest piece that sticks out at the worst of the stops that moved."""
    worst = max(moved, key=lambda k: carved.share[k])
    mask, region, shape = turn.masks[worst], carved.regions[worst], carved.left_over[worst]
    _, labels, stats, centres = cv2.connectedComponentsWithStats(region.astype(np.uint8), connectivity=8)
    piece = np.asarray(labels == 1 + int(np.argmax(stats[1:, cv2.CC_STAT_AREA])))
    centre = centres[1 + int(np.argmax(stats[1:, cv2.CC_STAT_AREA]))]
    away = cv2.distanceTransform((~shape).astype(np.uint8), cv2.DIST_L2, 5)
    far = float(np.percentile(away[piece], FARTHEST)) + visual_hull.UPRIGHT
    return Held(
        moved, drifting, _place(turn, mask, centre), far / turn.height,
        _sank(mask, shape, piece, turn.height) / turn.height, nearness, carved.share,
    )


def _sank(mask: NDArray[np.bool_], shape: NDArray[np.bool_], piece: NDArray[np.bool_], height: float) -> float:
    """How much lower the piece lies than what the carved shape has and the outline lacks close by, pixels."""
    reach = int(BESIDE * height) | 1
    near = cv2.dilate(piece.astype(np.uint8), np.ones((reach, reach), np.uint8))
    bare = (shape & ~mask).astype(np.uint8) * near
    missing = cv2.morphologyEx(bare, cv2.MORPH_OPEN, np.ones((3, 3), np.uint8)).astype(bool)
    if missing.sum() < LEFT_BEHIND * piece.sum():
        return 0.0
    across = float(np.nonzero(piece)[1].mean() - np.nonzero(missing)[1].mean())
    down = float(np.nonzero(piece)[0].mean() - np.nonzero(missing)[0].mean())
    return down if abs(down) > MOSTLY_DOWN * abs(across) else 0.0


def _place(turn: visual_hull.Turn, mask: NDArray[np.bool_], centre: NDArray[np.float64]) -> str:
    """Where on the body, by height and by how far out it lies.

    A point well beside the trunk and above the knee is called arm height: an outline shows a height, not a limb.
    """
    rows = np.flatnonzero(mask.any(axis=1))
    up = (rows[-1] - centre[1]) / (rows[-1] - rows[0] + 1)
    trunk = mask[int(rows[0] + TRUNK[0] * len(rows)) : int(rows[0] + TRUNK[1] * len(rows))]
    middle = float(np.median(np.flatnonzero(trunk.any(axis=0)))) if trunk.any() else turn.axis
    beside = abs(centre[0] - middle) / turn.height
    if up > KNEE_UP and beside > ARM_OUT:
        return "arm height"
    return next((name for height, name in PLACES if up < height), "head height")
