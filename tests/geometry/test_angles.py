"""Angles that a person can check on a clock face of degrees."""

from __future__ import annotations

import numpy as np
import pytest
from hypothesis import given
from hypothesis import strategies as st

from silhouette.geometry.angles import apart, degrees_on, difference, middle, on_arc, runs, width

whole = st.floats(-720, 720, allow_nan=False)


@pytest.mark.parametrize(
    ("to", "start", "expected"),
    [(10, 350, 20), (350, 10, -20), (180, 0, -180), (0, 180, -180), (90, 90, 0), (370, 5, 5), (-5, 5, -10)],
)
def test_the_short_way_round(to: float, start: float, expected: float) -> None:
    assert difference(to, start) == pytest.approx(expected)
    assert apart(to, start) == pytest.approx(abs(expected)) == pytest.approx(apart(start, to))


@given(whole, whole)
def test_going_the_difference_leads_there(to: float, start: float) -> None:
    d = difference(to, start)
    assert -180 <= d < 180
    assert apart(start + d, to) == pytest.approx(0, abs=1e-6)
    assert np.allclose(difference(np.array([to]), start), d)


def test_an_arc_through_the_front_counts_both_its_ends() -> None:
    niche = (300.0, 60.0)
    assert width(niche) == 120 and middle(niche) == 0
    assert [a for a in range(0, 360, 15) if on_arc(a, niche)] == [0, 15, 30, 45, 60, 300, 315, 330, 345]
    assert degrees_on(niche).sum() == 120, "as many degrees as it is wide"
    assert degrees_on(niche)[[299, 300, 0, 59, 60]].tolist() == [False, True, True, True, False]
    assert on_arc(123, None) and degrees_on(None).all()


@given(st.floats(0, 360, exclude_max=True), st.floats(1, 359))
def test_ends_count_however_they_are_rounded(start: float, wide: float) -> None:
    arc = (start, (start + wide) % 360)
    assert on_arc(arc[0], arc) and on_arc(arc[1], arc)
    assert not on_arc(start + wide + 0.5, arc) and not on_arc(start - 0.5, arc)


def marked(*stretches: tuple[int, int]) -> np.ndarray:
    at = np.zeros(360, bool)
    for a, b in stretches:
        at[np.arange(a, b) % 360] = True
    return at


def test_runs_round_the_circle() -> None:
    assert runs(marked()) == [] and runs(marked((0, 360))) == [(0, 360)]
    assert runs(marked((10, 20), (350, 365))) == [(10, 20), (350, 5)]
    assert runs(marked((10, 20), (350, 365)), 5) == [(350, 20)], "joined across the front"
    assert runs(marked((10, 20), (28, 40)), 8) == [(10, 40)]
    assert runs(marked((10, 20), (28, 40)), 7) == [(10, 20), (28, 40)]
    assert runs(marked((5, 355)), 10) == [(0, 360)], "what is left is shorter than what is joined"
