"""Negative space: the gaps between limbs and body, and edges that just touch."""

from __future__ import annotations

import numpy as np
import shapely
from numpy.typing import NDArray
from shapely.geometry import Polygon
from shapely.geometry.base import BaseGeometry

from silhouette.records import Gap, Tangent
from silhouette.shape.contour import Points, resample, ring_points

SMALLEST_GAP = 0.002
"""Gaps below this share of the hull are not gaps that anyone sees, 0 to 1."""
OPEN_MOUTH_DEEP = 0.6
"""Depth of an open pocket over its mouth from which it counts in full as negative space; a shallower one counts in
proportion, since the hollow of a back is not a gap."""
KISSING = 0.012
"""Edges nearer than this (figure heights; 2 cm on a person) are neither apart nor together."""
ROUNDABOUT = 8.0
"""Two places of the outline are different edges when the way along the outline between them is this many times the
distance at which they kiss."""
APART = 0.05
"""Two kissing places nearer than this to each other (figure heights) are one."""
PARTING = 8
"""Points to either side (3 % of the height) at which the edges must have parted again."""
TANGENT_SPACING = 0.004
"""Spacing of the points compared for tangents, figure heights: a third of the kissing distance."""


def gaps_of(polygon: Polygon) -> tuple[Gap, ...]:
    """Every enclosed gap (hole) and open gap (pocket between figure and hull) of a normalised outline, largest
    first."""
    hull = polygon.convex_hull
    found = []
    least = SMALLEST_GAP * hull.area
    for hole in map(Polygon, polygon.interiors):
        if hole.area >= least:
            found.append(Gap(polygon=hole, kind="enclosed", share=hole.area / hull.area, mouth=0.0))
    filled = Polygon(polygon.exterior)
    for pocket in shapely.get_parts(hull.difference(filled)):
        if isinstance(pocket, Polygon) and pocket.area >= least:
            found.append(Gap(polygon=pocket, kind="open", share=pocket.area / hull.area, mouth=_mouth(pocket, hull)))
    return tuple(sorted(found, key=lambda g: -g.share))


def _mouth(pocket: Polygon, hull: BaseGeometry) -> float:
    """Length of the pocket's edge that lies on the hull."""
    xy = shapely.get_coordinates(pocket.exterior)
    on_hull = np.asarray(shapely.distance(shapely.points(xy), shapely.boundary(hull))) < 1e-7
    both = on_hull[1:] & on_hull[:-1]
    return float(np.hypot(*(xy[1:] - xy[:-1])[both].T).sum())


def depth_of(gap: Gap) -> float:
    """How deep an open gap reaches in from its mouth, figure heights: twice its area over its mouth, as for a
    triangle."""
    return 2 * gap.polygon.area / gap.mouth if gap.mouth > 0 else 0.0


def negative_space(gaps: tuple[Gap, ...]) -> float:
    """Share of the hull that is gap, 0 to 1; enclosed gaps in full, open ones by how deep they are for their mouth."""
    total = 0.0
    for gap in gaps:
        weight = 1.0 if gap.kind == "enclosed" else min(1.0, depth_of(gap) / (OPEN_MOUTH_DEEP * gap.mouth + 1e-12))
        total += weight * gap.share
    return float(min(1.0, total))


def tangents_of(polygon: Polygon) -> tuple[Tangent, ...]:
    """Places where two edges just touch or all but touch: the narrowest places of a thin slit or a thin bridge.

    A deep overlap is no tangent, nor is a clear gap; what lies between, under :data:`KISSING` figure heights, flattens
    depth. Two stretches of outline that far apart along the outline are compared; a wedge that merely closes towards
    its end (the crotch, an armpit) is no tangent, so the edges must part again on both sides.
    """
    rings = [resample(ring_points(r), TANGENT_SPACING, least=16) for r in (polygon.exterior, *polygon.interiors)]
    sizes = [len(r) for r in rings]
    points, ring_of = np.vstack(rings), np.repeat(np.arange(len(rings)), sizes)
    begin = np.repeat(np.cumsum([0, *sizes[:-1]]), sizes)
    size = np.repeat(sizes, sizes)
    first, second = _close_pairs(points, KISSING)
    way = np.abs(first - second)
    way = np.minimum(way, size[first] - way) * TANGENT_SPACING
    other = (ring_of[first] != ring_of[second]) | (way > ROUNDABOUT * KISSING)
    first, second = first[other], second[other]
    here = np.hypot(*(points[first] - points[second]).T)
    parted = np.ones(len(first), bool)
    for k in (PARTING, -PARTING):
        i = begin[first] + (first - begin[first] + k) % size[first]
        j = begin[second] + (second - begin[second] - k) % size[second]
        parted &= np.hypot(*(points[i] - points[j]).T) >= 1.5 * here + TANGENT_SPACING
    return _narrowest(points, first[parted], second[parted])


def _close_pairs(points: Points, distance: float) -> tuple[NDArray[np.intp], NDArray[np.intp]]:
    """Indices (first < second) of all pairs of points within ``distance``, ascending by the first, then the second."""
    from scipy.spatial import cKDTree  # 70 ms to load

    tree = cKDTree(points, compact_nodes=False, balanced_tree=False)  # asked once: a quick tree will do
    pairs = tree.query_pairs(distance, output_type="ndarray")
    return np.divmod(np.sort(pairs[:, 0] * len(points) + pairs[:, 1]), len(points))


def _narrowest(points: Points, first: NDArray[np.intp], second: NDArray[np.intp]) -> tuple[Tangent, ...]:
    """One tangent for each cluster of close pairs, the narrowest first."""
    distance = np.hypot(*(points[first] - points[second]).T)
    middle = (points[first] + points[second]) / 2
    chosen: list[Tangent] = []
    for k in np.argsort(distance, kind="stable"):
        x, y = (float(c) for c in middle[k])
        if all(np.hypot(x - t.point[0], y - t.point[1]) > APART for t in chosen):
            chosen.append(Tangent(point=(x, y), distance=float(distance[k])))
    return tuple(chosen)
