"""One outline laid over another: slid, leaned and scaled a little until it lies best, and how far apart they are."""

from __future__ import annotations

from dataclasses import dataclass
from typing import NamedTuple

import cv2
import numpy as np
from numpy.typing import NDArray
from shapely import affinity
from shapely.geometry import Polygon

from silhouette.geometry.raster import rings_of

Floats = NDArray[np.float64]

CELLS = 160
"""Cells to a figure height, of the field that says how far each place lies from an outline."""
ROOM = 0.3
"""How far that field goes on past the outlines' boxes, figure heights."""
SPACING = 0.01
"""Steps along an outline at which it is looked at, figure heights."""
ROUNDS, WIDE, NARROW = 12, 0.10, 0.02
"""Rounds of laying over, and how far off an edge may lie and still pull half as much in the first and in the last of
them, figure heights: first what is far counts too, at last a raised arm does not drag the figure along."""
PRIOR, PRIOR_WORTH = np.array([0.08, 0.08, 0.02, 0.02]), 0.02
"""How far a figure is expected to be slid across and down, leaned and scaled, and what that counts beside the edges."""
FARTHEST = 95.0
"""Percentile of the distances that is called the farthest: the few places beyond may be a strand of hair."""


class Shift(NamedTuple):
    """What an outline has to do to lie on another, figure heights."""

    across: float
    down: float
    lean: float
    """How much farther to picture right at the top than at the ground."""
    larger: float
    """Natural log of its scale."""

    def on(self, points: Floats) -> Floats:
        """(n, 2) places so moved; leaned and scaled about the middle of the ground."""
        larger, up = np.exp(self.larger), 1 - points[:, 1]
        return np.column_stack([
            points[:, 0] * larger + self.lean * up + self.across, 1 - up * larger + self.down])

    def on_polygon(self, polygon: Polygon) -> Polygon:
        """A shape so moved."""
        larger = float(np.exp(self.larger))
        across, down = self.lean + self.across, 1 - larger + self.down
        return affinity.affine_transform(polygon, [larger, -self.lean, 0.0, larger, across, down])


@dataclass(frozen=True, eq=False)
class Field:
    """How far every place lies from the edge of an outline."""

    away: NDArray[np.float32]
    """(h, w) figure heights; negative inside."""
    box: tuple[float, float, float, float]
    """Left, top, right and bottom of what it was made for, figure heights."""
    points: Floats
    """(n, 2) places along the outline, figure heights."""

    @staticmethod
    def of(polygon: Polygon, over: tuple[float, float, float, float] | None = None) -> Field:
        """The field of an outline, over its own box or one that holds more."""
        x0, y0, x1, y1 = bounds = over or polygon.bounds
        size = (int((x1 - x0 + 2 * ROOM) * CELLS) + 1, int((y1 - y0 + 2 * ROOM) * CELLS) + 1)
        canvas = np.zeros(size[::-1], np.uint8)
        corner = (x0 - ROOM, y0 - ROOM)
        places = [np.round((ring - corner) * (CELLS * 16)).astype(np.int32) for ring in rings_of(polygon)]
        cv2.fillPoly(canvas, places, 1, lineType=cv2.LINE_8, shift=4)
        out, within = (cv2.distanceTransform(one, cv2.DIST_L2, 5) for one in (1 - canvas, canvas))
        away = (np.maximum(out - 0.5, 0) - np.maximum(within - 0.5, 0)) / CELLS  # the edge lies between two cells
        return Field(np.asarray(away, np.float32), bounds, points_of(polygon))

    def at(self, points: Floats) -> tuple[Floats, Floats]:
        """(n,) distances and their (n, 2) slopes at (n, 2) places; beyond the field it goes on."""
        h, w = self.away.shape
        spot = (points - (self.box[0] - ROOM, self.box[1] - ROOM)) * CELLS
        x, y = np.clip(spot[:, 0], 1, w - 2.001), np.clip(spot[:, 1], 1, h - 2.001)
        c, r = x.astype(np.intp), y.astype(np.intp)
        u, v = x - c, y - r
        a, b, d, e = (self.away[r + i, c + j].astype(np.float64) for i in (0, 1) for j in (0, 1))
        value = (1 - v) * ((1 - u) * a + u * b) + v * ((1 - u) * d + u * e)
        slope = np.column_stack([(1 - v) * (b - a) + v * (e - d), (1 - u) * (d - a) + u * (e - b)]) * CELLS
        return value + np.hypot(spot[:, 0] - x, spot[:, 1] - y) / CELLS, slope


def points_of(polygon: Polygon) -> Floats:
    """(n, 2) places along all rings of an outline, ``SPACING`` apart."""
    return np.concatenate([_along(ring) for ring in rings_of(polygon)])


def _along(ring: Floats) -> Floats:
    closed = np.vstack([ring, ring[:1]])
    run = np.concatenate([[0.0], np.cumsum(np.hypot(*np.diff(closed, axis=0).T))])
    steps = np.linspace(0, run[-1], max(4, int(run[-1] / SPACING)), endpoint=False)
    return np.column_stack([np.interp(steps, run, closed[:, 0]), np.interp(steps, run, closed[:, 1])])


class Apart(NamedTuple):
    """How far an outline is from an earlier one, once it lies on it as well as it may; figure heights."""

    shift: Shift
    mean: float
    """Mean distance from either outline to the other."""
    far: float
    """The farthest, see ``FARTHEST``."""
    there: tuple[Floats, Floats]
    """(n, 2) places along the outline so moved, and how far each sticks out of the earlier one."""
    back: tuple[Floats, Floats]
    """(m, 2) places along the earlier one, and how far each sticks out of it."""


def apart(live: Polygon, earlier: Field) -> Apart:
    """Lay an outline on an earlier one, both in the earlier one's figure heights, and see what is left."""
    points = points_of(live)
    x0, _, x1, y1 = live.bounds
    middle = (earlier.box[0] + earlier.box[2] - x0 - x1) / 2, earlier.box[3] - y1
    starts = [(0.0, 0.0), middle] if np.hypot(*middle) > NARROW else [middle]
    shift, _ = min((_laid_over(points, earlier, at) for at in starts), key=lambda one: one[1])
    moved = shift.on(points)
    there, _ = earlier.at(moved)
    laid = shift.on_polygon(live)
    (a, b, c, d), (e, f, g, h) = laid.bounds, earlier.box
    back, _ = Field.of(laid, (min(a, e), min(b, f), max(c, g), max(d, h))).at(earlier.points)
    off = np.abs(np.concatenate([there, back]))
    return Apart(shift, float(off.mean()), float(np.percentile(off, FARTHEST)), (moved, there), (earlier.points, back))


def _laid_over(points: Floats, earlier: Field, start: tuple[float, float]) -> tuple[Shift, float]:
    """How an outline's points lie best, and at what cost: Gauss-Newton steps, what is far off pulling less and less."""
    shift, cost = np.array([*start, 0.0, 0.0]), np.inf
    for wide in np.geomspace(WIDE, NARROW, ROUNDS):
        moved = Shift(*shift).on(points)
        away, slope = earlier.at(moved)
        worth = 1 / (1 + (away / wide) ** 2)
        up = 1 - moved[:, 1]
        turn = np.column_stack([slope, slope[:, 0] * up, slope[:, 0] * moved[:, 0] - slope[:, 1] * up])
        prior = PRIOR_WORTH * (wide / PRIOR) ** 2
        normal = (turn * worth[:, None]).T @ turn / len(points) + np.diag(prior)
        shift = shift - np.linalg.solve(normal, (turn * worth[:, None]).T @ away / len(points) + prior * shift)
        cost = float((worth * away**2).mean())
    return Shift(*map(float, shift)), cost
