"""What is mirrored lies on the other side, and mirrored twice it is back."""

from __future__ import annotations

from shapely.geometry import Polygon

from silhouette.geometry import mirror

FLAG = Polygon([(0, 0), (0.4, 0), (0.4, 0.2), (0.1, 0.2), (0.1, 1), (0, 1)])


def test_points_and_polygons_change_sides() -> None:
    assert mirror.point((0.3, 0.7)) == (-0.3, 0.7)
    assert mirror.polygon(FLAG).bounds == (-0.4, 0, 0, 1)
    assert mirror.polygon(mirror.polygon(FLAG)).equals(FLAG)
