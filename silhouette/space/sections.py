"""Cuts through the figure and outlines of it, as drawn for templates; its volume, its middle, and where it stands."""

from __future__ import annotations

from collections.abc import Sequence
from typing import Any

import numpy as np
import shapely
from numpy.typing import NDArray
from shapely.geometry import MultiPolygon, Point, Polygon

from silhouette.records_space import Calipers, Section, Solid

Floats = NDArray[np.float64]

FOOT_M = 0.012
"""What lies less than this above the ground counts as touching it, metres: soles are soft and arched, and the height of
the ground is found to a centimetre only."""
NUDGE = 1e-6
"""A cut at the very height of corners is made so much higher, as a share of the body's height: 2 micrometres."""
SPECK = 1e-4
"""Pieces and holes smaller than this share of the largest piece are specks of the surface's triangles."""


def cut(solid: Solid, heights: Sequence[float]) -> tuple[Section, ...]:
    """Level cuts of a closed surface, in its own unit of length (metres, so that the names hold).

    A height at which there is nothing gives an empty section.
    """
    return tuple(_section(z, _level(solid, float(z))) for z in heights)


def _section(z: float, outline: MultiPolygon) -> Section:
    if outline.is_empty:
        return Section(float(z), outline, 0.0, 0.0, 0.0)
    x0, y0, x1, y1 = outline.bounds
    return Section(float(z), outline, float(outline.area), float(x1 - x0), float(y1 - y0))


def _level(solid: Solid, z: float) -> MultiPolygon:
    """Every triangle with corners on both sides of the height gives one line; together they are closed rings."""
    tall = float(np.ptp(solid.vertices[:, 2]))
    if (np.abs(solid.vertices[:, 2] - z) < 0.1 * NUDGE * tall).any():
        z += NUDGE * tall
    above = solid.vertices[:, 2] >= z
    some = solid.faces[(count := above[solid.faces].sum(1)) % 3 != 0]
    if not len(some):
        return MultiPolygon()
    alone = above[some] == (count[count % 3 != 0] == 1)[:, None]  # the corner that is alone on its side
    first = np.argmax(alone, axis=1)
    turned = some[np.arange(len(some))[:, None], (first[:, None] + np.arange(3)) % 3]
    ends = [_between(solid.vertices, turned[:, 0], turned[:, k], z) for k in (1, 2)]
    return _filled(np.stack(ends, axis=1))


def _between(vertices: Floats, a: NDArray[np.int64], b: NDArray[np.int64], z: float) -> Floats:
    """(n, 2) where the edges a-b pass the height; the same for both triangles of an edge, to the last bit."""
    low, high = np.minimum(a, b), np.maximum(a, b)
    one, other = vertices[low], vertices[high]
    share = (z - one[:, 2]) / (other[:, 2] - one[:, 2])
    return np.asarray(one[:, :2] + share[:, None] * (other[:, :2] - one[:, :2]))


def _filled(lines: Floats) -> MultiPolygon:
    """What rings of lines (n, 2, 2) enclose, rings in rings as holes."""
    lines = lines[(lines[:, 0] != lines[:, 1]).any(1)]
    if not len(lines):
        return MultiPolygon()
    return _tidy(shapely.build_area(shapely.multilinestrings(lines)))


def _tidy(shape: Any) -> MultiPolygon:
    """Polygons alone, without specks."""
    pieces = [p for p in shapely.get_parts(shape) if isinstance(p, Polygon) and p.area > 0]
    if not pieces:
        return MultiPolygon()
    least = SPECK * max(p.area for p in pieces)
    return MultiPolygon([
        Polygon(p.exterior, [hole for hole in p.interiors if Polygon(hole).area >= least])
        for p in pieces if p.area >= least
    ])


def profile(solid: Solid, angle: float) -> MultiPolygon:
    """The outline seen level from far away at this angle: x to picture right, y up, in the surface's unit."""
    a = np.radians(angle)
    across = solid.vertices[:, 0] * np.cos(a) - solid.vertices[:, 1] * np.sin(a)
    return _seen(solid, np.stack([across, solid.vertices[:, 2]], axis=1))


def plan(solid: Solid) -> MultiPolygon:
    """The outline seen from above: x to the figure's left, y to its back, in the surface's unit."""
    return _seen(solid, solid.vertices[:, :2])


def _seen(solid: Solid, places: Floats) -> MultiPolygon:
    """The outline of a surface whose corners lie at ``places`` (v, 2) of the picture, x to picture right, y up.

    The whole contour, corner by corner. It is drawn by the edges between triangles that face the onlooker and triangles
    that do not; a place belongs to the outline where these edges, directed, go round it.
    """
    corners = places[solid.faces]
    one, other = corners[:, 1] - corners[:, 0], corners[:, 2] - corners[:, 0]
    front = solid.faces[one[:, 0] * other[:, 1] > one[:, 1] * other[:, 0]]
    edges = np.concatenate([front[:, [0, 1]], front[:, [1, 2]], front[:, [2, 0]]])
    n = len(places)
    there, back = edges[:, 0] * n + edges[:, 1], edges[:, 1] * n + edges[:, 0]
    lines = places[edges[~np.isin(there, back)]]
    lines = lines[(lines[:, 0] != lines[:, 1]).any(1)]
    pieces = shapely.get_parts(shapely.polygonize([shapely.unary_union(shapely.linestrings(lines))]))
    middles = shapely.get_coordinates(shapely.point_on_surface(pieces))
    return _tidy(shapely.unary_union(pieces[_turns(lines, middles) != 0]))


def _turns(lines: Floats, points: Floats) -> NDArray[np.int64]:
    """(p,) how often directed lines (n, 2, 2) go round points (p, 2): by the lines that a level ray to the right
    meets."""
    lines = lines[np.argsort(lines[:, :, 1].min(axis=1), kind="stable")]
    low, high = lines[:, :, 1].min(axis=1), lines[:, :, 1].max(axis=1)
    first = np.searchsorted(low, points[:, 1] - (high - low).max(initial=0.0))
    last = np.searchsorted(low, points[:, 1], side="right")
    return np.array([_turned(lines[i:j], at) for i, j, at in zip(first, last, points, strict=True)], np.int64)


def _turned(lines: Floats, at: Floats) -> int:
    a, b = lines[:, 0] - at, lines[:, 1] - at
    side = a[:, 0] * b[:, 1] - a[:, 1] * b[:, 0]
    up = (a[:, 1] <= 0) & (b[:, 1] > 0) & (side > 0)
    down = (a[:, 1] > 0) & (b[:, 1] <= 0) & (side < 0)
    return int(up.sum() - down.sum())


def calipers(solid: Solid, heights: Sequence[float], points: dict[str, Floats] | None = None) -> tuple[Calipers, ...]:
    """Of the whole cut at each height, then of the piece round each named point (3,), as joints, at its own height.

    Heights and points where there is nothing are left out.
    """
    out = [_calipers("", s.z, s.outline) for s in cut(solid, heights) if not s.outline.is_empty]
    for name, (x, y, z) in (points or {}).items():
        outline = _level(solid, float(z))
        if not outline.is_empty:
            piece = min(outline.geoms, key=lambda p: p.distance(Point(x, y)))
            out.append(_calipers(name, float(z), piece))
    return tuple(out)


def _calipers(name: str, z: float, shape: Polygon | MultiPolygon) -> Calipers:
    x0, y0, x1, y1 = shape.bounds
    corners = shapely.get_coordinates(shapely.minimum_rotated_rectangle(shape))[:3]
    sides = np.linalg.norm(np.diff(corners, axis=0), axis=1)
    narrow, wide = sorted(float(s) for s in sides)
    return Calipers(name, z, float(x1 - x0), float(y1 - y0), narrow, wide)


def volume(solid: Solid) -> float:
    """Of a closed surface, in the cube of its unit (divergence theorem)."""
    return float(_pieces(solid)[0].sum())


def volume_l(solid: Solid) -> float:
    """Of a closed surface in metres, litres."""
    return 1000.0 * volume(solid)


def centre(solid: Solid) -> tuple[float, float, float]:
    """The middle of its volume."""
    parts, middles = _pieces(solid)
    x, y, z = (middles * parts[:, None]).sum(0) / parts.sum() + solid.vertices[0]
    return float(x), float(y), float(z)


def _pieces(solid: Solid) -> tuple[Floats, Floats]:
    """Signed volumes (f,) of the tetrahedra between the first corner and each triangle, and their middles (f, 3) from
    there."""
    corners = (solid.vertices - solid.vertices[0])[solid.faces]
    a, b, c = np.moveaxis(corners, 1, 0)
    return np.einsum("ij,ij->i", a, np.cross(b, c)) / 6.0, corners.sum(1) / 4.0


def footing(solid: Solid) -> MultiPolygon | None:
    """Where the figure touches the ground, seen from above, metres; None where it touches it nowhere."""
    outline = _level(solid, FOOT_M)
    return None if outline.is_empty else outline
