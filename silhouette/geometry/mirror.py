"""Left and right changed over in the normalised frame (figure heights, x = 0 in the middle of the figure)."""

from __future__ import annotations

from shapely import affinity
from shapely.geometry import Polygon

Point = tuple[float, float]


def point(xy: Point) -> Point:
    """A place in the normalised frame."""
    return -xy[0], xy[1]


def polygon(shape: Polygon) -> Polygon:
    """A shape in the normalised frame."""
    return affinity.scale(shape, -1, 1, origin=(0, 0))
