"""Picture left and right changed over: of a point, a polygon, an outline in its picture, and what is measured on it.

Points and polygons lie in the normalised frame (figure heights, x = 0 in the middle of the figure), so x changes sign;
what is placed in picture fractions is mirrored about the picture's middle.
"""

from __future__ import annotations

from dataclasses import replace

from shapely import affinity
from shapely.geometry import Polygon

from silhouette.records import Joint, Measures, Outline

Point = tuple[float, float]


def point(xy: Point) -> Point:
    """A place in the normalised frame."""
    return -xy[0], xy[1]


def polygon(shape: Polygon) -> Polygon:
    """A shape in the normalised frame."""
    return affinity.scale(shape, -1, 1, origin=(0, 0))


def outline(line: Outline) -> Outline:
    """An outline and its place in the picture."""
    width = line.picture_size[0]
    return replace(line, polygon=polygon(line.polygon), origin_px=(width - line.origin_px[0], line.origin_px[1]))


def measures(found: Measures) -> Measures:
    """What was measured: the same numbers, with gaps, parts and tangents in their mirrored places."""
    return replace(
        found,
        gaps=tuple(replace(gap, polygon=polygon(gap.polygon)) for gap in found.gaps),
        parts=tuple(
            replace(p, polygon=polygon(p.polygon), base=(point(p.base[0]), point(p.base[1])), tip=point(p.tip))
            for p in found.parts
        ),
        tangents=tuple(replace(t, point=point(t.point)) for t in found.tangents),
    )


def joint(found: Joint) -> Joint:
    """A joint in picture fractions, and the other place where it may lie."""
    return replace(found, x=1 - found.x, also=None if found.also is None else (1 - found.also[0], found.also[1]))
