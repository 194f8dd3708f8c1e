"""From a mask to a clean outline. The only place where outlines are cleaned.

The border of a pixel mask is a staircase. It is traced, smoothed along its own length by about a pixel, moved out by
the half pixel that tracing through pixel centres loses, simplified, and made a valid polygon. Everything later takes
that polygon as it is. What is drawn has a contour of its own, finer and without stairs.
"""

from __future__ import annotations

import cv2
import numpy as np
import shapely
from shapely import affinity
from shapely.geometry import Polygon
from shapely.geometry.base import BaseGeometry

from silhouette.geometry.ring import begun_at
from silhouette.records import Mask, Outline
from silhouette.shape.contour import Points, smooth

SMOOTH_PX = 1.2
"""Smoothing along the border, standard deviation in pixels: takes the stairs out, moves a finger's tip by under a
pixel."""
SMOOTH_SHARE = 0.0015
"""The same as a share of the figure's height; the larger of the two counts, so that a big picture is not read more
finely than a small one."""
SIMPLIFY_SHARE = 0.0006
"""Tolerance of the simplification, figure heights (half a pixel for a figure 800 pixels high)."""
CONTOUR_SHARE = 0.00002
"""The same for the contour that is drawn: a hundredth of a millimetre on a print half a metre high."""
CONTOUR_SMOOTH_PX = 4.0
"""Smoothing of the contour that is drawn: stairs as long as that go, where half a pixel to either side allows it."""
CONTOUR_LAST_PX = 1.5
"""The last smoothing of it, which takes out the kinks where half a pixel did not allow more."""
SMALLEST_HOLE = 1.2e-4
"""Holes below this area, in squared figure heights, are noise: about 1 % x 1 % of the height, well under 0.2 % of a
hull."""
SMALLEST_FIGURE_PX = 12
"""Figures lower than this many pixels have no shape to speak of."""


def outline_of(mask: Mask) -> Outline | None:
    """Trace the largest figure of a mask.

    Parameters
    ----------
    mask : (h, w) bool array
        True on the figure. Islands other than the largest are left out; specks and pinholes go (:data:`SMALLEST_HOLE`).

    Returns
    -------
    Outline or None
        A valid polygon with holes in units of figure height; None where the mask holds no figure (nothing, or something
        lower than :data:`SMALLEST_FIGURE_PX` pixels).
    """
    found = _largest_region(mask)
    if found is None:
        return None
    rings, height_px = found
    sigma = max(SMOOTH_PX, SMOOTH_SHARE * height_px)
    polygon = _polygon_from_rings([_smooth_border(ring, sigma) for ring in rings], SIMPLIFY_SHARE * height_px)
    contour = _polygon_from_rings([_drawn_border(ring) for ring in rings], CONTOUR_SHARE * height_px)
    if polygon is None:
        return None
    x0, y0, x1, y1 = polygon.bounds
    origin = ((x0 + x1) / 2, y0)
    height = y1 - y0
    scale = 1 / height
    move = [scale, 0, 0, scale, -origin[0] * scale, -origin[1] * scale]
    polygon = affinity.affine_transform(polygon, move)
    return Outline(polygon=shapely.orient_polygons(polygon), height_px=float(height),
                   origin_px=(float(origin[0]), float(origin[1])), picture_size=(mask.shape[1], mask.shape[0]),
                   contour=None if contour is None else affinity.affine_transform(contour, move))


def _largest_region(mask: Mask) -> tuple[list[Points], float] | None:
    """Outer border first, then the holes, of the region with the largest area; pixel coordinates, and its height."""
    pixels = np.ascontiguousarray(mask).view(np.uint8) if mask.dtype == np.bool_ else (mask > 0).astype(np.uint8)
    contours, tree = cv2.findContours(pixels, cv2.RETR_CCOMP, cv2.CHAIN_APPROX_NONE)
    if not contours:
        return None
    outer = [i for i in range(len(contours)) if tree[0][i][3] < 0]
    best = max(outer, key=lambda i: (cv2.contourArea(contours[i]), len(contours[i])))
    height = float(np.ptp(contours[best][:, 0, 1])) + 1
    if height < SMALLEST_FIGURE_PX:
        return None
    least = SMALLEST_HOLE * height**2
    holes = [c for i, c in enumerate(contours) if tree[0][i][3] == best and len(c) > 3 and cv2.contourArea(c) >= least]
    return [c[:, 0, :].astype(float) for c in [contours[best], *holes]], height


def _smooth_border(ring: Points, sigma: float) -> Points:
    """Smooth a traced border along its length and give back the half pixel towards the background.

    ``ring`` (n, 2): neighbouring pixels of the figure's border, as OpenCV traces them: the outer border with the figure
    on one hand, holes with it on the same hand, so that one normal points out of the figure for both. Traced points are
    pixel centres; what comes back counts from the picture's corner, so that pixel i covers i to i + 1.
    """
    z = smooth(ring, sigma)
    return z + 0.5 * _normals(z) + 0.5


def _normals(ring: Points) -> Points:
    """(n, 2) unit normals of a traced ring, out of the figure."""
    tangent = begun_at(ring, 1) - begun_at(ring, -1)
    length = np.maximum(np.hypot(tangent[:, 0], tangent[:, 1]), 1e-9)
    return np.column_stack([-tangent[:, 1], tangent[:, 0]]) / length[:, None]


def _drawn_border(ring: Points) -> Points:
    """The border as it is drawn: as smooth as it can be while no pixel of the mask changes sides.

    The true edge crosses between a border pixel's middle and its neighbour's, so the traced ring may be moved by half a
    pixel and no more: a long stair on an edge that is nearly level then becomes a line, while a plain smoothing as wide
    as the stair would eat a finger. Smoothing is by s + s (1 - s) + s (1 - s)^2 of a Gaussian s, which leaves slow
    bends where they are. From pixel centres the edge lies half a pixel off along the axis that it crosses, nearer on
    the slant.
    """
    z = ring
    if len(ring) > 6 * CONTOUR_SMOOTH_PX:
        z = ring + np.clip(smooth(ring, CONTOUR_SMOOTH_PX, kept=3) - ring, -0.5, 0.5)
    z = smooth(z, CONTOUR_LAST_PX, kept=2)
    normal = _normals(z)
    return z + 0.5 * np.abs(normal).max(axis=1, keepdims=True) * normal + 0.5


def _polygon_from_rings(rings: list[Points], tolerance: float) -> Polygon | None:
    """Simplified, valid polygon of rings in pixels; the largest piece where smoothing made it fall apart."""
    traced = [cv2.approxPolyDP(r.astype(np.float32), tolerance, True)[:, 0, :].astype(float) for r in rings]
    if len(traced[0]) < 3:
        return None
    polygon = Polygon(traced[0], [h for h in traced[1:] if len(h) >= 3])
    mended = polygon if polygon.is_valid else largest_polygon(shapely.make_valid(polygon))
    return mended if mended is not None and mended.area > 0 else None


def largest_polygon(geometry: BaseGeometry) -> Polygon | None:
    """The largest polygon in any geometry, None where there is none."""
    pieces = [g for g in np.atleast_1d(shapely.get_parts(geometry)) if isinstance(g, Polygon) and not g.is_empty]
    return max(pieces, key=lambda g: g.area, default=None)
