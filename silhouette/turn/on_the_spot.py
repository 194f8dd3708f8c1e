"""Is it a turn on the spot at all? What a clip or a folder of stills shows instead.

Five signs, each far from what turns show: the surroundings move; the figure crosses the picture; it grows or shrinks
from stop to stop; its outlines are alike at every stop; they change, but no body that turns has such outlines. A single
jump of the whole picture is none of them: that is a camera that was moved once, see :func:`stance.jump`.

Letters: n stops, lengths in figure heights.
"""

from __future__ import annotations

from collections.abc import Sequence
from typing import NamedTuple

import cv2
import numpy as np
from numpy.typing import NDArray

from silhouette.records import Mask, Pixels
from silhouette.records_shoot import NoTurn
from silhouette.turn import angle_fit, stance, support_function

Floats = NDArray[np.float64]

LEAST_STOPS = 6
"""Stops from which anything is said: as many as a turn takes at least."""
HALF = 0.5
"""Share of the stops whose outlines can be trusted from which they are gone by; else what moves in the pictures is."""
ACROSS = 0.5
"""The feet of a model who turns stay within this; a walker leaves it. Turns reach 0.19, walks past the camera 0.6 to
1.4 (the largest single step left out)."""
NEARER = 0.3
"""Growth, natural log (35 %), of the height, without its largest step, and of the root of the area from the first stop
to the last: a body that lies grows higher and narrower while it turns. Turns reach 0.1; walks from afar 0.7."""
STEADILY = 0.8
"""Share of all growing and shrinking in height that goes one way in who walks toward the camera."""
ALIKE, ALIKE_SHARE = 0.1, 0.9
"""Outlines that differ from the most usual one, or from its mirror image, by less than this share of their area in this
share of the stops show no turn. Of turns, a quarter of one too, at most half of the stops are so alike."""
UNLIKE_A_TURN = 0.024
"""Typical distance of the outlines from those of the turning body that fits them best. Turns reach 0.015, those of few
and uneven steps 0.07; a man who balances on a board 0.029 to 0.165."""
RESTLESS = 0.085
"""How far the figure's top and its ground go up and down, standard deviations added: turning hardly moves them. Turns
reach 0.064 (an oar that leans), the man on the board 0.109 to 0.44."""
TOTALS = (45.0, 70.0, 90.0, 120.0, 180.0, 240.0, 300.0, 360.0, 420.0)
"""Degrees that the turn is first taken to be, where the angles at hand do not explain the outlines."""
ROWS, ROUNDS = 16, 12
SLICE_NUMBERS = 6
LEAST_TURN = 30.0
"""Degrees; what turns less is none."""
SHIFT_PX = 2.5
"""Shift of the surroundings between two thumbnails of 96 pixels from which the camera moved: 2.6 % of the picture."""
DIFFERS, STIRRED = 10.0, 0.01
"""Grey levels by which a pixel of two thumbnails differs, and the share of the surroundings that does where anything
moved there."""
EXPLAINED = 0.6
"""Of the pixels that differ, the share that is left at most once one picture is shifted onto the other, if it was the
camera."""
WIDE_PX = 6.0
"""Width of what counts as light and shade on a thumbnail, pixels."""
RIM = 0.2
"""Share of the picture at either side that is surroundings where no outline says more."""
SHIFTED = 0.4
"""Share of the steps at which the surroundings shift from which the camera moves. Turns reach 0.33 (two of six steps),
pans 0.45 to 0.73. Of a camera in the hand less is seen: it counts as one that was moved."""
STANDS_OUT = 22.0
"""Levels by which a pixel of a thumbnail differs from what it usually shows where something moves."""
PASSES, PASSED = 0.4, 0.25
"""The middle of what moves goes over this share of the picture's width, and where it is at one stop it is at less than
this share of all stops. Turns reach 0.23 and stay over 0.26; who walks by reaches 0.48 to 0.73 and 0.08 to 0.17."""
LEAST_MOVING = 15
"""Pixels of a thumbnail that move at a stop at which a middle can be told."""


def judge(
    masks: Sequence[Mask | None], thumbs: Sequence[Pixels], turned: Floats, *, by_outlines: bool
) -> NoTurn | None:
    """What the pictures show instead of a turn; None where they may show one.

    Parameters
    ----------
    masks : n masks in the order shot, None where the cut is not trusted
    thumbs : n small pictures, BGR
    turned : (n,) degrees turned since the first stop, as far as they are known
    by_outlines : False where names or a table say the angles; then who does not turn is believed to
    """
    if len(thumbs) < LEAST_STOPS:
        return None
    if _camera_moves(thumbs, masks):
        return "camera moves"
    seen = [k for k, mask in enumerate(masks) if mask is not None]
    trusted = [mask for mask in masks if mask is not None]
    if len(trusted) < max(LEAST_STOPS, HALF * len(masks)) or len({mask.shape for mask in trusted}) > 1:
        return "walks across" if _passes(thumbs) else None
    height, area, feet = _bearing(trusted)
    if np.ptp(_without_largest(np.diff(feet))) > ACROSS:
        return "walks across"
    if _grows(height) and abs(area[-1] - area[0]) > NEARER and (area[-1] > area[0]) == (height[-1] > height[0]):
        return "comes nearer"
    if not by_outlines:
        return None
    if _alike(trusted):
        return "never turns"
    if _restless(trusted) < RESTLESS:
        return None
    return "moves in place" if _misfit(_put_back(trusted), np.asarray(turned)[seen]) > UNLIKE_A_TURN else None


def camera_stood(thumbs: Sequence[Pixels], masks: Sequence[Mask | None], before: int, after: int) -> bool:
    """Whether the surroundings show that between two stops the figure jumped, not the picture.

    Parameters
    ----------
    thumbs, masks : as for :func:`judge`
    before, after : the two stops, counted from 0, each with an outline

    Returns
    -------
    bool
        False also where nothing can be seen of it, as before an even wall.
    """
    one, other = masks[before], masks[after]
    room = _Room.of(thumbs, masks)
    if room is None or one is None or other is None:
        return False
    dx, dy = (_place(other) - _place(one)) * (room.free.shape[1] / one.shape[1])
    moved, inside = _moved(room.fine[before], float(dx), float(dy))
    both = room.free & inside
    if_moved = room.stirred(moved, room.fine[after], both)
    return if_moved >= STIRRED and room.stirred(room.fine[before], room.fine[after], both) < EXPLAINED * if_moved


def _bearing(masks: Sequence[Mask]) -> tuple[Floats, Floats, Floats]:
    """(n,) log height, log root of the area, and where the feet's middle stands across, in usual heights."""
    tall, area, feet = [], [], []
    for mask in masks:
        rows = np.flatnonzero(mask.any(axis=1))
        tall.append(rows[-1] - rows[0] + 1)
        area.append(mask.sum())
        feet.append(_place(mask)[0])
    height = np.asarray(tall, dtype=np.float64)
    return np.log(height), np.log(np.asarray(area, dtype=np.float64)) / 2, np.asarray(feet) / float(np.median(height))


def _without_largest(steps: Floats) -> Floats:
    """Where steps lead, the largest of them left out: one wrong cut, or a camera that was moved once."""
    kept = steps.copy()
    kept[np.argmax(np.abs(kept))] = 0.0
    return np.concatenate([[0.0], np.cumsum(kept)])


def _grows(size: Floats) -> bool:
    """Whether the logarithm of the figure's height goes one way nearly all along, and far."""
    steps = np.diff(size)
    path = _without_largest(steps)
    return bool(abs(path[-1]) > NEARER and abs(steps.sum()) > STEADILY * np.abs(steps).sum())


def _alike(masks: Sequence[Mask]) -> bool:
    """Whether nearly all outlines are one outline or its mirror image, each set on its middle and on the ground."""
    height = max(mask.shape[0] for mask in masks)
    scale = min(1.0, 200 / height)
    small = [_set_down(cv2.resize(m.astype(np.uint8), None, fx=scale, fy=scale, interpolation=cv2.INTER_AREA) > 0)
             for m in masks]
    stack = np.stack([m.ravel() for m in small]).astype(np.float32)
    mirrored = np.stack([m[:, ::-1].ravel() for m in small]).astype(np.float32)
    unlike = np.minimum(_unlike(stack, stack), _unlike(stack, mirrored))
    return bool(((unlike < ALIKE).mean(axis=1)).max() >= ALIKE_SHARE)


def _set_down(mask: Mask) -> Mask:
    """The figure moved to the middle of the lowest rows of a frame of its own size."""
    rows, columns = np.flatnonzero(mask.any(axis=1)), np.nonzero(mask)[1]
    middle = round(float(columns.mean()))
    wide = np.pad(mask, ((0, 0), (mask.shape[1],) * 2))
    about = wide[:, middle : middle + 2 * mask.shape[1] + 1]
    return np.asarray(np.roll(about, mask.shape[0] - 1 - int(rows[-1]), axis=0), dtype=np.bool_)


def _unlike(ones: NDArray[np.float32], others: NDArray[np.float32]) -> Floats:
    """(n, n) share of the area of both in which each of ``ones`` differs from each of ``others``."""
    both = ones @ others.T
    either = ones.sum(axis=1)[:, None] + others.sum(axis=1)[None] - both
    return np.asarray(1 - both / either, dtype=np.float64)


def _restless(masks: Sequence[Mask]) -> float:
    """How far the figure's top and its lowest row go up and down, each jump of the whole figure taken back."""
    rows = [np.flatnonzero(mask.any(axis=1))[[0, -1]] for mask in _put_back(masks) if mask.any()]
    ends = np.asarray(rows, dtype=np.float64)
    return float(ends.std(axis=0).sum() / max(np.median(ends[:, 1] - ends[:, 0]), 1.0))


def _put_back(masks: Sequence[Mask]) -> list[Mask]:
    """The outlines where they would lie had the camera not been moved: each jump of the whole figure is taken back."""
    jumps = np.concatenate([[False], stance.shifts(masks) >= 1])
    put, way = [], np.zeros(2)
    for k, mask in enumerate(masks):
        if jumps[k]:
            way += _place(masks[k - 1]) - _place(mask)
        across, down = way.round().astype(int)
        onto = np.array([[1, 0, across], [0, 1, down]], dtype=np.float32)
        put.append(cv2.warpAffine(mask.astype(np.uint8), onto, mask.shape[::-1]) > 0)
    return put


def _place(mask: Mask) -> Floats:
    """(x, y) of the middle of the feet and of the lowest row, pixels."""
    rows = np.flatnonzero(mask.any(axis=1))
    low = np.flatnonzero(mask[int(rows[-1] - stance.LOWER * len(rows)) :].any(axis=0))
    return np.array([(low[0] + low[-1]) / 2, float(rows[-1])])


def _misfit(masks: Sequence[Mask], turned: Floats) -> float:
    """How far the outlines typically lie from those of the turning body that fits them best; 0 where there is no
    telling. The angles at hand are tried first: of a turn they serve, and no other fit is made."""
    seen = support_function.measure(masks, ROWS, mirrored=bool(turned[-1] < turned[0]))
    if seen is None:
        return 0.0
    count = len(masks)
    even = np.arange(count) / (count - 1)
    free = 1 - SLICE_NUMBERS / (2 * count)  # of few outlines the fit follows more
    least = np.inf
    for first in (np.abs(turned - turned[0]), *(total * even for total in TOTALS)):
        try:
            fit = angle_fit.fit(seen, first, rounds=ROUNDS)
        except np.linalg.LinAlgError:
            continue
        if fit.turned[-1] < LEAST_TURN:
            continue  # whatever wanders about can be explained by not turning
        towards = np.radians(np.tile(fit.turned, 2)[None] + seen.offset)
        model = angle_fit.slice_reach(fit.slices, towards)[0] + np.repeat([fit.axis, -fit.axis], count)
        least = min(least, float(np.median(np.abs(seen.reach - model))) / free)
        if least < UNLIKE_A_TURN:
            break
    return least if np.isfinite(least) else 0.0


def _camera_moves(thumbs: Sequence[Pixels], masks: Sequence[Mask | None]) -> bool:
    """Whether the surroundings shift at many of the steps, all of them or those at the sides: a figure that crosses the
    picture leaves no others. Before an even wall nothing is seen of it."""
    for known in (masks, [None] * len(masks)):
        room = _Room.of(thumbs, known)
        if room is not None and np.mean([room.shifted(k) for k in range(1, len(thumbs))]) >= SHIFTED:
            return True
    return False


def _passes(thumbs: Sequence[Pixels]) -> bool:
    """Whether what moves in the picture goes across it, seen without any outline."""
    if len({thumb.shape for thumb in thumbs}) != 1:
        return False
    stack = np.stack([cv2.GaussianBlur(thumb, (0, 0), 0.8) for thumb in thumbs]).astype(np.float32)
    apart = np.abs(stack - np.median(stack, axis=0)).max(axis=3)
    speck = np.ones((2, 2), np.uint8)
    moving = np.stack([cv2.morphologyEx((a > STANDS_OUT).astype(np.uint8), cv2.MORPH_OPEN, speck) > 0 for a in apart])
    often = moving.mean(axis=0)
    seen = [one for one in moving if one.sum() > LEAST_MOVING]
    if len(seen) < LEAST_STOPS:
        return False
    middles = [float(np.nonzero(one)[1].mean()) / one.shape[1] for one in seen]
    return bool(np.ptp(middles) > PASSES and np.median([often[one].mean() for one in seen]) < PASSED)


class _Room(NamedTuple):
    """What the small pictures show beside the figure."""

    fine: list[NDArray[np.float32]]
    """n, (h, w) grey levels less their surroundings: what stands in the room, without light and shade."""
    free: NDArray[np.bool_]
    """(h, w) where no outline that can be trusted ever lies; without one, the sides."""
    window: NDArray[np.float32]

    @classmethod
    def of(cls, thumbs: Sequence[Pixels], masks: Sequence[Mask | None]) -> _Room | None:
        """None where the pictures are of several sizes."""
        if len({thumb.shape for thumb in thumbs}) != 1:
            return None
        height, width = thumbs[0].shape[:2]
        fine = []
        for thumb in thumbs:
            grey = cv2.cvtColor(thumb, cv2.COLOR_BGR2GRAY).astype(np.float32)
            fine.append(cv2.GaussianBlur(grey, (0, 0), 0.7) - cv2.GaussianBlur(grey, (0, 0), WIDE_PX))
        free = np.ones((height, width), dtype=np.bool_)
        known = [mask for mask in masks if mask is not None]
        for mask in known:
            free &= cv2.resize(mask.astype(np.float32), (width, height), interpolation=cv2.INTER_AREA) == 0
        if not known:
            side = round(RIM * width)
            free[:, side : width - side] = False
        window = np.asarray(cv2.createHanningWindow((width, height), cv2.CV_32F), dtype=np.float32)
        return cls(fine, cv2.erode(free.astype(np.uint8), np.ones((3, 3), np.uint8)) > 0, window)  # type: ignore[arg-type]

    def stirred(self, one: NDArray[np.float32], other: NDArray[np.float32], free: NDArray[np.bool_]) -> float:
        """Share of the surroundings, 0 to 1, in which two pictures differ."""
        return float((np.abs(one - other)[free] > DIFFERS).mean()) if free.any() else 0.0

    def shifted(self, k: int) -> bool:
        """Whether the surroundings of stop k are those of the stop before, shifted."""
        one, other = self.fine[k - 1], self.fine[k]
        if self.stirred(one, other, self.free) < STIRRED:
            return False
        (dx, dy), _ = cv2.phaseCorrelate(one, other, self.window)
        if np.hypot(dx, dy) < SHIFT_PX:
            return False
        moved, inside = _moved(one, dx, dy)
        both = self.free & inside
        return self.stirred(moved, other, both) < EXPLAINED * self.stirred(one, other, both)


def _moved(picture: NDArray[np.float32], dx: float, dy: float) -> tuple[NDArray[np.float32], NDArray[np.bool_]]:
    """A picture shifted, and where it still shows something."""
    onto, size = np.array([[1, 0, dx], [0, 1, dy]], dtype=np.float32), picture.shape[::-1]
    inside = cv2.warpAffine(np.ones_like(picture), onto, size)
    return np.asarray(cv2.warpAffine(picture, onto, size), dtype=np.float32), np.asarray(inside > 0.99, dtype=np.bool_)
