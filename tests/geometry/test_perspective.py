"""Perspective by closed forms, worked out by hand (plain geometry), and the bands in which people are told of it
(common practice, no source)."""

from __future__ import annotations

import math

import pytest
from hypothesis import given
from hypothesis import strategies as st

from silhouette.geometry import perspective


@pytest.mark.parametrize(("metres", "times"), [(2, 1.429), (3, 1.250), (4, 1.176), (6, 1.111), (10, 1.064)])
def test_a_part_before_the_axis_against_the_middle(metres: float, times: float) -> None:
    """D / (D - z) for z = 0.6 m: 2/1.4, 3/2.4, 4/3.4, 6/5.4, 10/9.4."""
    assert round(perspective.enlargement(metres, 0.6), 3) == times


@pytest.mark.parametrize(("metres", "percent"), [(2, 42), (3, 26), (4, 19), (5, 15), (8, 9)])
def test_a_part_before_the_axis_against_one_as_far_behind(metres: float, percent: int) -> None:
    """(D + z) / (D - z) for z = 0.35 m: 2.35/1.65, 3.35/2.65, 4.35/3.65, 5.35/4.65, 8.35/7.65."""
    assert round(100 * (perspective.near_over_far(metres, 0.35) - 1)) == percent


@pytest.mark.parametrize("reach", [0.5, 0.6])
def test_a_part_that_touches_the_lens_is_larger_than_anything(reach: float) -> None:
    assert perspective.enlargement(0.5, reach) == perspective.near_over_far(0.5, reach) == math.inf


@given(distance=st.floats(1, 50), reach=st.floats(0.01, 0.9))
def test_near_over_far_is_both_enlargements_together(distance: float, reach: float) -> None:
    both = perspective.enlargement(distance, reach) / perspective.enlargement(distance, -reach)
    assert perspective.near_over_far(distance, reach) == pytest.approx(both)


@pytest.mark.parametrize(("lens", "metres"), [(26, 1.6), (50, 3.1), (70, 4.3), (85, 5.2)])
def test_a_lens_fills_a_frame_of_2_2_m(lens: float, metres: float) -> None:
    """2.2 m on the 36 mm side: f x 2.2 / 36."""
    assert perspective.distance_for(2.2, lens) == pytest.approx(metres, abs=0.05)
    assert perspective.frame_length(perspective.distance_for(2.2, lens), lens) == pytest.approx(2.2)


@pytest.mark.parametrize(("metres", "says"), [
    (4.6, "good"), (4.0, "good"), (3.99, "tolerable"), (3.0, "tolerable"), (2.99, "close"), (2.5, "close"),
    (2.49, "too close"), (0.5, "too close"),
])
def test_each_end_of_a_band_belongs_to_the_better_one(metres: float, says: str) -> None:
    assert perspective.band(metres) == says
