"""Path data that a browser can read, whatever rounding leaves of small rings."""

from __future__ import annotations

import re

import pytest
from shapely.geometry import MultiPolygon, Polygon, box

from silhouette.geometry.drawn import path_data

SQUARE = box(0, 0, 1, 1)
RING = re.compile(r"M-?[\d.]+[ -][\d.]+l(-?[\d.]+[ -]-?[\d.]+ ?)+z")


def test_a_square_is_told_step_by_step() -> None:
    assert path_data(SQUARE, 10, digits=0) == "M10 0l0 10-10 0 0-10z"


@pytest.mark.parametrize("wide", [1e-7, 1e-5, 4e-4])
def test_a_hole_that_rounding_closes_is_left_out(wide: float) -> None:
    holed = Polygon(SQUARE.exterior, [box(0.5, 0.5, 0.5 + wide, 0.5 + wide).exterior])
    assert path_data(holed, 100, digits=0) == path_data(SQUARE, 100, digits=0)
    assert path_data(holed, 1e8, digits=0).count("M") == 2


def test_a_sliver_that_rounding_flattens_is_left_out() -> None:
    pieces = MultiPolygon([SQUARE, box(2, 0, 2.5, 1e-6)])
    told = path_data(pieces, 100, digits=1)
    assert told.count("M") in (1, 2) and "lz" not in told
    assert all(RING.fullmatch(ring) for ring in re.findall(r"M[^M]*", told))
