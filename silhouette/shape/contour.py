"""How the outline runs: smoothed rings, turning, and the classical measures of a contour.

Sizes named once: A area, P perimeter, ``d`` spacing of the points of a resampled ring, ``a`` the turn at a point
(radians, positive where the outline bends outwards, negative where it bends in).
"""

from __future__ import annotations

from functools import cache

import cv2
import numpy as np
import shapely
from numpy.typing import NDArray
from shapely.geometry import Polygon

from silhouette.geometry import mirror
from silhouette.geometry.raster import coverage, rings_of
from silhouette.geometry.ring import begun_at

Points = NDArray[np.float64]
"""(n, 2) ring without a repeated last point, the figure on its left hand (x to the right, y as in shapely, up)."""

SPACING = 0.008
"""Distance of the points on a resampled ring, in shares of the figure's size (the square root of its area): finer than
any smoothing below, coarse enough that a figure is some 1000 points."""
MOST = 4000
"""Most points on a resampled ring; a figure needs about 1000, a sliver drawn a thousand times as wide as high no
more."""
WIDEST = 8.0
"""Width of the widest coverage picture, figure heights; what reaches farther is cut off there."""


def ring_points(ring: shapely.LinearRing) -> Points:
    """The vertices of a ring, none repeated, beginning at the one farthest from the ring's middle.

    That start is the same vertex wherever the ring began and whether or not it is mirrored, so nothing that is computed
    from here on depends on either.
    """
    points = shapely.get_coordinates(ring)[:-1]
    points = points[np.any(points != begun_at(points, -1), axis=1)]
    middle = shapely.get_coordinates(shapely.centroid(ring))[0]
    return begun_at(points, int(np.argmax(np.hypot(*(points - middle).T))))


def resample(points: Points, spacing: float, least: int = 48) -> Points:
    """Points at even distances along a ring, about ``spacing`` apart, at least ``least`` and at most MOST of them."""
    closed = np.vstack([points, points[:1]])
    along = np.concatenate([[0.0], np.cumsum(np.hypot(*np.diff(closed, axis=0).T))])
    n = min(max(least, round(along[-1] / spacing)), MOST)
    wanted = np.arange(n) * (along[-1] / n)
    return np.column_stack([np.interp(wanted, along, closed[:, k]) for k in (0, 1)])


def smooth(points: Points, sigma: float, *, kept: int = 1) -> Points:
    """Gaussian smoothing along an evenly sampled ring; ``sigma`` in points.

    With s what a Gaussian leaves of a bend, 1 - (1 - s)^``kept`` of it is left; from 2 on slow bends stay in place.
    Done on the ring's spectrum: a Gaussian sampled at whole points is none any more where ``sigma`` is about one, and
    moves the turns by 6e-4 radians.
    """
    n = len(points)
    spectrum = np.fft.rfft(points, axis=0)
    left = np.exp(-2 * (np.pi / n * sigma * np.arange(len(spectrum))) ** 2)
    if kept > 1:
        left = 1 - (1 - left) ** kept
    return np.fft.irfft(spectrum * left[:, None], n, axis=0)


def turns(points: Points) -> NDArray[np.float64]:
    """The turn at every vertex of a ring, radians in (-pi, pi]; they add up to 2 pi on a simple ring."""
    into = points - begun_at(points, -1)
    out = begun_at(into, 1)
    cross = into[:, 0] * out[:, 1] - into[:, 1] * out[:, 0]
    return np.arctan2(cross, np.sum(into * out, axis=1))


def solidity(polygon: Polygon) -> float:
    """Area over the area of the convex hull, 0 to 1; holes count as outside."""
    return float(polygon.area / polygon.convex_hull.area)


def convexity(polygon: Polygon) -> float:
    """C3 = perimeter of the hull over perimeter of the outer ring, 0 to 1 (Zunic & Rosin 2004, IEEE PAMI 26)."""
    return float(polygon.convex_hull.length / polygon.exterior.length)


def circularity(polygon: Polygon) -> float:
    """Q = 4 pi A / P^2 of the outer ring without its holes: 1 for a circle, less for anything else."""
    return float(4 * np.pi * Polygon(polygon.exterior).area / polygon.exterior.length ** 2)


def raster(polygon: Polygon, rows: int = 192, wide: float = 1.0) -> NDArray[np.float32]:
    """Coverage picture of an outline in the normalised frame (height 1, x = 0 in the middle): (rows, columns), 0 to 1.

    Columns are as wide as rows are high; there are ``wide * rows`` of them or as many as the outline needs, whichever
    is more, and an even number, so that the mirrored outline gives the mirrored picture.
    """
    x0, _, x1, _ = polygon.bounds
    columns = 2 * int(np.ceil(min(max(wide, (x1 - x0) * 1.02), WIDEST) * rows / 2))
    size, middle = (columns, rows), (columns / 2, 0)
    # OpenCV rounds differently to the left and to the right: the mean with the mirrored drawing treats both alike.
    drawn, other = (coverage([xy * rows + middle for xy in rings_of(one)], size).astype(np.float32)
                    for one in (polygon, mirror.polygon(polygon)))
    return (drawn + other[:, ::-1]) / np.float32(2 * 255)


LEANS = np.arange(-12.0, 13.0, 2.0)
"""Leans of the axis of symmetry that are tried, degrees."""
CROOKED, LEAN_COST = 4.0, 0.02
"""Degrees that a camera may hang crooked, and what each degree beyond takes from the overlap: a figure that leans is
symmetric to the eye, the less the more it leans, and two degrees change little wherever it stands."""


@cache
def _leaning(rows: int, size: int) -> NDArray[np.complex128]:
    """(frequencies, leans, rows) what shifts the rows of a folded picture under each lean of the axis."""
    off = np.tan(np.radians(LEANS))[:, None] * (np.arange(rows) + 0.5 - rows / 2)
    return np.exp(4j * np.pi / size * off * np.arange(size // 2 + 1)[:, None, None])


def symmetry(picture: NDArray[np.float32]) -> float:
    """Overlap of a figure with its mirror image about the best nearly upright axis: intersection over union, 0 to 1.

    ``picture`` is a coverage picture (:func:`raster`). The overlap for every axis at once is each row convolved with
    itself, added over the rows; an axis that leans shifts each row's share by twice what the axis is off there. Leans
    within CROOKED are free, since a camera that hangs a little crooked makes no figure more asymmetric.
    """
    rows, columns = picture.shape[0] // 2, picture.shape[1] // 2
    small = np.asarray(cv2.resize(picture, (columns, rows), interpolation=cv2.INTER_AREA))
    size = 1 << (2 * columns - 1).bit_length()
    spectrum = np.fft.rfft(small, size, axis=1).T
    shifted = _leaning(rows, size) @ (spectrum * spectrum)[:, :, None]
    overlap = np.fft.irfft(shifted[:, :, 0].T, size).max(axis=1)
    energy = float((small * small).sum())
    shared = overlap / np.maximum(2 * energy - overlap, 1e-9)
    return float(np.clip((shared - LEAN_COST * np.maximum(0, np.abs(LEANS) - CROOKED)).max(), 0.0, 1.0))


# ------------------------------------------------------------------------------------------------------- complexity

SCALES = (0.035, 0.05, 0.07, 0.09)
"""Smoothings at which bays are counted, standard deviations in shares of the square root of the hull's area. Below the
first, fingers and folds count as much as limbs; above the last, limbs melt into the body. Chosen on every second
outline of the part counts that people marked (the measure is as good with any set of them between 0.035 and 0.12)."""
FULL_BAY = np.pi / 2
"""Turn inwards, radians, from which a bay counts in full: a bay that bends further in makes no further part."""
FULL_HOLE = 0.10
"""Width of a hole, over the square root of the hull's area, from which it counts as a full bay."""


def contour_complexity(polygon: Polygon) -> float:
    """How often an outline turns in: the number of its bays, shallow ones in part, averaged over four smoothings.

    A bay is a stretch that bends inwards; it counts min(1, its turn / (pi / 2)). 0 for anything convex, 1 for an L, 2
    to 6 for a figure. It takes up the two things that follow the number of parts people see in a shape best, the
    turning of the outline (total absolute curvature, which is 1 + twice the inward turning / 2 pi) and the number of
    concave cuts (minima rule, Hoffman & Richards 1984), and lets neither noise nor one deep spiral carry it.
    """
    size = np.sqrt(polygon.convex_hull.area)
    points = resample(ring_points(polygon.exterior), SPACING * size)
    step = polygon.exterior.length / len(points)
    bays = [bay_turns(turns(smooth(points, scale * size / step))) for scale in SCALES]
    outer = np.mean([np.minimum(b / FULL_BAY, 1.0).sum() for b in bays])
    holes = sum(min(1.0, np.sqrt(Polygon(ring).area) / (FULL_HOLE * size)) for ring in polygon.interiors)
    return float(outer + holes)


def bay_turns(a: NDArray[np.float64]) -> NDArray[np.float64]:
    """Inward turn of every bay (run of inward turns) of a ring, radians, positive."""
    inward = np.minimum(a, 0.0)
    begins = np.flatnonzero((inward < 0) & (begun_at(inward, -1) >= 0))
    if not len(begins):
        return np.zeros(0)
    return -np.add.reduceat(begun_at(inward, begins[0]), begins - begins[0])
