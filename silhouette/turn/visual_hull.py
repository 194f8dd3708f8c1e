"""Do the outlines of a turn belong to one rigid body? Carve a block with them and see what sticks out.

Every outline says where the body is not: nothing of it lies beyond the lines of sight past its edge. Carving a block
with some of the stops leaves a shape that holds the body, so an outline of another stop that sticks out of it was made
by a body that had moved (Laurentini 1994, the visual hull; Hernandez, Schmitt and Cipolla 2007, silhouette coherence).

The camera is taken as level with the picture's middle at the height of its lens. How near it stands, in figure
heights, decides how much larger near parts look, and the outlines themselves tell it: at the wrong nearness even a
still body sticks out. Of a camera that stood low or high and was tilted this is not true: where its place is known, a
turn is held against that instead (``eyes``), and so are the turns of several cameras at once. Everything is done at a
size at which the figure is 240 pixels high (or wide, if it lies): one pixel is about 7 mm.
"""

from __future__ import annotations

from collections.abc import Sequence
from copy import copy
from dataclasses import dataclass, replace
from functools import cached_property

import cv2
import numpy as np
from numpy.typing import NDArray

from silhouette.geometry.orbit import StopCamera, project, scaled
from silhouette.records import Mask

Floats = NDArray[np.float64]
Places = NDArray[np.floating]

FIGURE_PX = 240.0
"""Figure height, or width where that is more, that is worked at, pixels."""
FINE, COARSE = 2.0, 3.0
"""Edge of the block's cells, pixels."""
SIDEWAYS, UPRIGHT = 3, 1
"""Outlines are widened by this many pixels before they carve, for sway and for the edge of the cut."""
ANGLE_OFF = 3.0
"""Degrees that the angle of a stop may be off. Parts near to the camera or far from it then lie sideways of where they
should by that share of their depth, and low or high ones a little up or down; so much more room they are given."""
ROOM_STEP, ROOM_STEPS, RISE_STEPS = 2, 4, 3
"""Step of that room, pixels, and how many steps there are sideways and upright, none among them."""
SHIFTS = (-3, -2, -1, 0, 1, 2, 3)
"""A stop is tried at these places sideways, pixels, and the best counts: stepping off the spot is judged apart."""
FARTHEST = max(map(abs, SHIFTS))
"""Pixels, of these."""
NEARNESSES = (0.15, 0.22, 0.3, 0.38, 0.46, 0.55, 0.66, 0.8)
"""Figure height over camera distance, from far to near, that are tried first."""
SWING_DEG, WHOLE_DEG = 200.0, 300.0
"""Degrees turned from which the axis is fitted, and from which the turn counts as whole. Over 20 rendered turns broken
off at 210, 240 and 270 degrees the fitted axis is off by 1.4, 0.8 and 0.6 % of the figure's height, the median of the
middles by 2.0, 1.7 and 1.7 (root mean square); at 180 both are off by 2.2."""
BEYOND = 1.4
"""A figure that the frame cuts is taken to reach so much further than the frame."""
NEAREST = 0.8
"""Nothing of the block is taken to come nearer to the lens than a fifth of the way."""
TRY_ANGLES = 0.0008
"""Share of the figure sticking out from which a stop is also tried a little turned."""
CAPPED = 0.02
"""A single stop counts no more than this in the choice of nearness, share of the figure's area."""
AS_GOOD = 0.02
"""Nearnesses whose cost exceeds the least by at most this share of a capped stop are as good: their mean counts."""


@dataclass(frozen=True)
class Turn:
    """Outlines of a turn at working size."""

    masks: NDArray[np.bool_]
    """(n, h, w)"""
    turned: Floats
    """(n,) degrees turned to the model's left."""
    axis: float
    """Column of the turning axis."""
    level: float
    """Row at the height of the lens."""
    scale: float
    """Working pixels per pixel of the masks that were given."""
    height: float
    """Median figure height, working pixels."""
    eyes: tuple[StopCamera, ...] = ()
    """n cameras where they are known, else none; lengths and picture places in working pixels."""

    def widened(self, stop: int) -> NDArray[np.bool_]:
        """(RISE_STEPS, ROOM_STEPS, h, w) an outline with more and more room."""
        return _all_widened(self.masks[stop]) if self.eyes else self._widened[stop]

    @cached_property
    def _widened(self) -> list[NDArray[np.bool_]]:
        """Of every stop; kept, as a turn whose cameras are not known is carved some ten times."""
        return list(map(_all_widened, self.masks))


@dataclass(frozen=True)
class Carved:
    """What sticks out at every stop of the shape that the stops before it (or all of them) leave."""

    share: Floats
    """(n,) area that sticks out over the figure's area."""
    regions: tuple[NDArray[np.bool_], ...]
    """n pictures (h, w) of what sticks out."""
    left_over: tuple[NDArray[np.bool_], ...]
    """n pictures (h, w) of the carved shape as that stop would see it."""


def prepare(masks: Sequence[Mask], turned: Floats, *, mirrored: bool = False) -> Turn:
    """Masks (h, w) of one size, all with a figure, scaled so that the figure's longer side is ``FIGURE_PX``."""
    stack = np.asarray(masks, dtype=np.bool_)
    if mirrored:
        stack = stack[:, :, ::-1]
    filled = np.asarray(stack.any(axis=2))
    heights = filled.shape[1] - filled[:, ::-1].argmax(axis=1) - filled.argmax(axis=1)
    across = np.asarray(stack.any(axis=1))
    widths = across.shape[1] - across[:, ::-1].argmax(axis=1) - across.argmax(axis=1)
    height = float(np.median(heights))
    scale = FIGURE_PX / max(height, float(widths.max()))
    small = np.stack([
        np.asarray(cv2.resize(m.astype(np.float32), None, fx=scale, fy=scale, interpolation=cv2.INTER_AREA)) > 0.5
        for m in stack
    ])
    columns = np.asarray(small.any(axis=1))
    middles = (columns.argmax(axis=1) + columns.shape[1] - columns[:, ::-1].argmax(axis=1)) / 2
    level, places = small.shape[1] / 2, np.asarray(turned, dtype=np.float64)
    return Turn(small, places, _axis(middles, places), level, scale, height * scale)


def prepare_seen(masks: Sequence[Mask], cameras: Sequence[StopCamera]) -> Turn:
    """The same for masks (h, w), of several sizes if need be, whose cameras are known: all in one frame and one unit.

    One working pixel is one length for all, however large a figure came out in its picture.
    """
    tall = [np.ptp(np.flatnonzero(m.any(axis=1))) + 1.0 for m in masks]
    wide = [np.ptp(np.flatnonzero(m.any(axis=0))) + 1.0 for m in masks]
    own = np.array([c.focal_px / c.distance for c in cameras])
    height, width = float(np.median(tall / own)), float(np.max(wide / own))
    unit = FIGURE_PX / max(height, width)
    small = [_small(m, c, unit) for m, c in zip(masks, cameras, strict=True)]
    size = max(m.shape[1] for m in small), max(m.shape[0] for m in small)
    eyes = tuple(_eye(c, unit, size) for c in cameras)
    turned = np.array([c.angle for c in cameras])
    stack = np.stack([_framed(m, size) for m in small])
    return Turn(stack, turned, size[0] / 2, size[1] / 2, unit, height * unit, eyes)


def _small(mask: Mask, camera: StopCamera, unit: float) -> NDArray[np.bool_]:
    """A mask at the size at which ``unit`` pixels are the cameras' unit of length."""
    by = unit / (camera.focal_px / camera.distance)
    small = cv2.resize(mask.astype(np.float32), None, fx=by, fy=by, interpolation=cv2.INTER_AREA)
    return np.asarray(np.asarray(small) > 0.5)


def _eye(camera: StopCamera, unit: float, size: tuple[int, int]) -> StopCamera:
    by = unit / (camera.focal_px / camera.distance)
    shift = (camera.shift[0] * by, camera.shift[1] * by)
    return replace(scaled(camera, unit), focal_px=camera.focal_px * by, size=size, shift=shift)


def _framed(mask: NDArray[np.bool_], size: tuple[int, int]) -> NDArray[np.bool_]:
    """A mask in the middle of a picture of another size; what its own frame cuts goes on beyond."""
    wide, high = max(size[0], mask.shape[1]), max(size[1], mask.shape[0])
    more = wide - mask.shape[1], high - mask.shape[0]
    left, top = more[0] // 2, more[1] // 2
    grown = cv2.copyMakeBorder(mask.astype(np.uint8), top, more[1] - top, left, more[0] - left, cv2.BORDER_REPLICATE)
    left, top = (wide - size[0]) // 2, (high - size[1]) // 2
    return np.asarray(grown[top : top + size[1], left : left + size[0]]).astype(bool)


def _axis(middles: Floats, turned: Floats) -> float:
    """Column of the turning axis: over a whole turn the middles of the outlines lie round it evenly.

    Each stop counts by the degrees it stands for. An open turn misses one side; the middle of an outline swings about
    the axis nearly as ``axis + a cos(t) + b sin(t)`` (from far, odd multiples of t alone come in), which is fitted.
    Short of ``SWING_DEG`` that is no surer than the median.
    """
    span = np.abs(turned - turned[0])
    if span[-1] < SWING_DEG:
        return float(np.median(middles))
    if span[-1] < WHOLE_DEG:
        t = np.radians(turned)
        return float(np.linalg.lstsq(np.stack([np.ones_like(t), np.cos(t), np.sin(t)], axis=1), middles)[0][0])
    first = span < 360
    edges = np.concatenate([span[first], [360.0]])
    worth = np.diff(edges)
    worth = (worth + np.roll(worth, 1)) / 2
    return float(np.average(middles[first], weights=worth))


class Block:
    """The block that is carved: cell middles, and how many stops have cut each away."""

    def __init__(self, turn: Turn, nearness: float, cell: float, strict: bool = False) -> None:
        self.turn = turn
        self.angle_off = 0.0 if strict else ANGLE_OFF
        self.enough = 1 if strict else 2
        self.distance = turn.height / nearness
        reach, low, high = self._box()
        across = np.arange(-reach, reach + cell, cell, dtype=np.float32)
        up = np.arange(low - 2 * cell, high + 2 * cell, cell, dtype=np.float32)
        x, z = np.meshgrid(across, across, indexing="ij")
        round_ = np.asarray(x * x + z * z <= (reach + cell) ** 2)
        x, z = x[round_], z[round_]
        self.x, self.z, self.v = np.repeat(x, len(up)), np.repeat(z, len(up)), np.tile(up, len(x))
        self.cuts = np.zeros(len(self.x), dtype=np.uint8)
        # a cell is gone when two stops cut it away: a single one may have lost a foot in the cutting out; strictly, one
        self.left = np.arange(len(self.x))

    def _box(self) -> tuple[float, float, float]:
        """How far from the axis the figure may reach, and from where to where downwards."""
        turn = self.turn
        columns, rows = np.asarray(turn.masks.any(axis=(0, 1))), np.asarray(turn.masks.any(axis=(0, 2)))
        side = np.flatnonzero(columns)
        cropped = side[0] == 0 or side[-1] == len(columns) - 1
        reach = max(turn.axis - side[0], side[-1] + 1 - turn.axis) * (BEYOND if cropped else 1.0)
        heights = np.flatnonzero(rows)
        return min(reach, NEAREST * self.distance), heights[0], heights[-1]

    def _places(self, cells: NDArray[np.int64], stop: int, off: float) -> tuple[Places, Places, Places, Places]:
        """Where cells lie in the picture of a stop turned by ``off`` degrees: right, down, depth toward the camera; and
        how much of a change of depth goes up or down, times the camera's distance."""
        turn = self.turn
        a = np.radians(turn.turned[stop] + off)
        x = self.x[cells] * np.cos(a) + self.z[cells] * np.sin(a)
        z = self.z[cells] * np.cos(a) - self.x[cells] * np.sin(a)
        larger = self.distance / (self.distance - z)
        level = self.v[cells] - turn.level
        return turn.axis + x * larger, turn.level + level * larger, z, np.asarray(level)

    def seen(
        self, cells: NDArray[np.int64], stop: int, off: float = 0.0
    ) -> tuple[NDArray[np.int32], NDArray[np.int32], NDArray[np.bool_], Places, Places]:
        """Column, row, whether inside the picture, depth toward the camera (pixels) of cells as a stop sees them, and
        how much of a change of depth goes up or down, times the camera's distance.

        ``off`` turns the stop by so many degrees.
        """
        right, down, depth, rise = self._places(cells, stop, off)
        column, row = np.floor(right).astype(np.int32), np.rint(down).astype(np.int32)
        height, width = self.turn.masks.shape[1:]
        return column, row, (column >= 0) & (column < width) & (row >= 0) & (row < height), depth, rise

    def carve(self, stop: int) -> None:
        """Cut away the cells that lie beyond a stop's outline."""
        column, row, inside, depth, rise = self.seen(self.left, stop)
        column, row, depth, rise = column[inside], row[inside], depth[inside], rise[inside]
        slack = np.radians(self.angle_off) / ROOM_STEP
        across = np.minimum(np.ceil(np.abs(depth) * slack), ROOM_STEPS - 1).astype(np.int64)
        lift = np.abs((column - self.turn.axis) * rise) / self.distance
        up = np.minimum(np.round(lift * slack), RISE_STEPS - 1).astype(np.int64)
        kept = ~inside
        kept[inside] = self.turn.widened(stop)[up, across, row, column]
        self.cuts[self.left[~kept]] += 1
        self.left = self.left[self.cuts[self.left] < self.enough]

    def outline(self, stop: int, off: float = 0.0) -> NDArray[np.bool_]:
        """The carved shape as a stop sees it, turned by ``off`` degrees."""
        column, row, inside, *_ = self.seen(self.left, stop, off)
        picture = np.zeros(self.turn.masks.shape[1:], dtype=np.uint8)
        picture[row[inside], column[inside]] = 1
        closed = cv2.morphologyEx(picture, cv2.MORPH_CLOSE, np.ones((5, 5), np.uint8))
        return np.asarray(cv2.dilate(closed, np.ones((3, 3), np.uint8))).astype(bool)


class SeenBlock(Block):
    """The same where the cameras are known. ``v`` counts downwards from the ground, and ``z`` to the figure's front."""

    def _box(self) -> tuple[float, float, float]:
        turn = self.turn
        wide, lows, highs = [], [], []
        for mask, eye in zip(turn.masks, turn.eyes, strict=True):
            side, rows = np.flatnonzero(mask.any(axis=0)), np.flatnonzero(mask.any(axis=1))
            axis = eye.size[0] / 2 + eye.shift[0] + eye.aside
            wide.append(float(max(axis - side[0], side[-1] + 1 - axis)))
            slope = np.arctan((np.array([rows[0], rows[-1] + 1]) - eye.size[1] / 2 - eye.shift[1]) / eye.focal_px)
            lows.append(slope - np.radians(eye.pitch))
        reach = min(max(wide), NEAREST * min(eye.distance for eye in turn.eyes))
        for eye, slopes in zip(turn.eyes, lows, strict=True):
            down = np.tan(slopes) * (eye.distance + reach * np.array([[-1.0], [1.0]])) - eye.height
            highs.append((float(down.min()), float(down.max())))
        top, ground = np.median(np.array(highs), axis=0)
        return reach, float(top), float(ground)

    def from_elsewhere(self, mask: Mask, camera: StopCamera) -> float:
        """What of a mask (h, w) sticks out of the carved shape as this camera, in the frame of the turn's, would see
        it: share of the figure's area; 1 without a figure."""
        turn = self.turn
        size = (turn.masks.shape[2], turn.masks.shape[1])
        seen = _framed(_small(mask, camera, turn.scale), size)
        alone = copy(self)
        alone.turn = replace(turn, masks=seen[None], eyes=(_eye(camera, turn.scale, size),))
        return float(sticks_out(seen, alone.outline(0))[0].sum() / seen.sum()) if seen.any() else 1.0

    def _places(self, cells: NDArray[np.int64], stop: int, off: float) -> tuple[Places, Places, Places, Places]:
        eye = self.turn.eyes[stop]
        points = np.stack([self.x[cells], -self.z[cells], -self.v[cells]], axis=1).astype(np.float64)
        places, depth = project(replace(eye, angle=eye.angle + off), points)
        pitch = np.radians(eye.pitch)
        rise = np.abs((places[:, 1] - eye.size[1] / 2) / eye.focal_px) + abs(np.sin(pitch))
        return places[:, 0], places[:, 1], eye.distance - depth, rise * self.distance


def _all_widened(mask: NDArray[np.bool_]) -> NDArray[np.bool_]:
    plain = mask.astype(np.uint8)
    return np.stack([
        [_widened(plain, SIDEWAYS + ROOM_STEP * across, UPRIGHT + ROOM_STEP * up) for across in range(ROOM_STEPS)]
        for up in range(RISE_STEPS)
    ])


def _widened(mask: NDArray[np.uint8], across: int, up: int) -> NDArray[np.bool_]:
    """An outline with so many pixels more to either side, and above and below."""
    kernel = cv2.getStructuringElement(cv2.MORPH_ELLIPSE, (2 * across + 1, 2 * up + 1))
    return np.asarray(cv2.dilate(mask, kernel)).astype(bool)


def sticks_out(mask: NDArray[np.bool_], shape: NDArray[np.bool_]) -> tuple[NDArray[np.bool_], NDArray[np.bool_]]:
    """What of an outline lies beyond a shape, at the place sideways where it is least, and the shape at that place."""
    rows, columns = np.flatnonzero(mask.any(axis=1)), np.flatnonzero(mask.any(axis=0))
    if not len(rows):
        return mask & False, np.roll(shape, SHIFTS[0], axis=1)
    # Nothing sticks out where no figure is; a row and a column of nothing beside it keep the opening what it was.
    box = slice(max(rows[0] - 1, 0), rows[-1] + 2), slice(max(columns[0] - 1, 0), columns[-1] + 2)
    figure, around = mask[box], np.pad(shape[box[0]], ((0, 0), (FARTHEST, FARTHEST)), mode="wrap")
    tried = []
    for shift in SHIFTS:
        first = FARTHEST + box[1].start - shift
        bare = figure & ~around[:, first : first + figure.shape[1]]
        tried.append(cv2.morphologyEx(bare.astype(np.uint8), cv2.MORPH_OPEN, np.ones((2, 2), np.uint8)))
    best = int(np.argmin([cv2.countNonZero(out) for out in tried]))
    out = np.zeros_like(mask)
    out[box] = tried[best] > 0
    return out, np.roll(shape, SHIFTS[best], axis=1)


def _least(block: Block, stop: int) -> tuple[NDArray[np.bool_], NDArray[np.bool_]]:
    """What sticks out of a stop's outline, where its angle and its place may be a little off."""
    mask = block.turn.masks[stop]
    best = sticks_out(mask, block.outline(stop))
    if block.angle_off and best[0].sum() > TRY_ANGLES * mask.sum():
        for off in (-block.angle_off, block.angle_off):
            other = sticks_out(mask, block.outline(stop, off))
            best = min(best, other, key=lambda found: found[0].sum())
    return best


def carved_by_all(masks: Sequence[Mask], cameras: Sequence[StopCamera]) -> tuple[SeenBlock, Carved]:
    """The block carved by all stops, whose cameras are known, and every stop against it."""
    turn = prepare_seen(masks, cameras)
    block = SeenBlock(turn, turn.height / float(np.median([eye.distance for eye in turn.eyes])), FINE)
    for stop in range(len(masks)):
        block.carve(stop)
    return block, against_all(turn, block)


def carve(
    turn: Turn, nearness: float, *, cell: float = FINE, strict: bool = False
) -> tuple[Carved, Block]:
    """Carve stop by stop; each is first held against what the stops before it have left.

    ``strict`` takes every angle and every outline at its word.
    """
    block = (SeenBlock if turn.eyes else Block)(turn, nearness, cell, strict)
    found = []
    for stop in range(len(turn.masks)):
        found.append(_least(block, stop))
        block.carve(stop)
    return _carved(turn, found), block


def against_all(turn: Turn, block: Block) -> Carved:
    """Every stop against the shape that all stops leave."""
    return _carved(turn, [_least(block, k) for k in range(len(turn.masks))])


def _carved(turn: Turn, found: list[tuple[NDArray[np.bool_], NDArray[np.bool_]]]) -> Carved:
    areas = turn.masks.sum(axis=(1, 2))
    share = np.asarray([out.sum() for out, _ in found]) / areas
    return Carved(share, tuple(out for out, _ in found), tuple(shape for _, shape in found))


def find_nearness(turn: Turn) -> float:
    """Figure height over camera distance at which the least sticks out: the best of a ladder, then between rungs."""
    def cost(nearness: float) -> float:
        carved, _ = carve(turn, nearness, cell=COARSE)
        return float(np.minimum(carved.share, CAPPED).sum())

    costs = [cost(x) for x in NEARNESSES]
    least = min(costs)
    flat = [x for x, c in zip(NEARNESSES, costs, strict=True) if c <= least + AS_GOOD * CAPPED]
    if len(flat) > 1:
        return float(np.mean(flat))
    k = costs.index(least)
    low, high = NEARNESSES[max(k - 1, 0)], NEARNESSES[min(k + 1, len(NEARNESSES) - 1)]
    tried = [(c, x) for c, x in zip(costs, NEARNESSES, strict=True)]
    tried += [(cost(x), x) for x in (low + (NEARNESSES[k] - low) / 2, NEARNESSES[k] + (high - NEARNESSES[k]) / 2)]
    return float(min(tried)[1])
