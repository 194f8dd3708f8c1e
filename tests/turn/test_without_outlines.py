"""Angles where there is little to go by: between their neighbours, by motion, or evenly."""

from __future__ import annotations

import numpy as np
import pytest

from silhouette.turn import angle_fit, estimate


def fit(turned: list[float], spread: list[float]) -> angle_fit.Fit:
    n = len(turned)
    return angle_fit.Fit(np.array(turned), np.array(spread), np.zeros((1, 6)), 0.0, np.zeros(n), 0.0)


def test_a_stop_without_outline_lies_half_way_and_is_less_sure() -> None:
    turned, spread = estimate._between(fit([0, 30, 45], [0, 1, 2]), [0, 2, 3], None, 4)
    assert turned == pytest.approx([0, 15, 30, 45])
    # interpolated between its neighbours', and a quarter of a step (15 degrees) beside
    assert spread == pytest.approx([0, 0.5 + 15 / 4, 1, 2])
    turned, spread = estimate._between(fit([0, 30, 45], [0, 1, 2]), [0, 2, 3], None, 6)
    assert turned == pytest.approx([0, 15, 30, 45, 60, 75]), "the last ones keep their places too"


def test_stops_before_the_first_and_after_the_last_outline_go_on_as_the_others() -> None:
    share = np.array([1.0, 1, 2, 1, 1]) / 6
    turned, spread = estimate._between(fit([0, 20, 40], [0, 1, 1]), [1, 3, 4], share, 6)
    # a quarter of what an even step of the six would be: 40 degrees are 4 sixths of 5 steps
    assert spread[[0, 5]] == pytest.approx([0 + 12 / 4, 1 + 12 / 4])
    # marks of motion at 0, 1, 2, 4, 5, 6 sixths; outlines at 1, 4 and 5; 40 degrees on 4 sixths
    assert turned[0] == 0 and turned[1] == pytest.approx(10)
    assert turned[2] == pytest.approx(10 + 20 / 3) and turned[3:] == pytest.approx([30, 50, 60])


@pytest.mark.parametrize(("given", "usable"), [
    (None, False), ([1.0, 1, 1], True), ([1.0, 1], False), ([0.0, 0, 0], False)])
def test_when_motion_tells_steps(given: list[float] | None, usable: bool) -> None:
    assert (estimate._share(None if given is None else np.array(given), 4) is not None) == usable


def test_motion_is_held_within_reason() -> None:
    """A third of the usual at least, four times at most, and all of it adds up to one."""
    share = estimate._share(np.array([1.0, 1, 1, 9, 0.1]), 6)
    assert share == pytest.approx(np.array([1, 1, 1, 4, 0.33]) / 7.33)


def test_spread_evenly_or_by_motion_over_one_turn() -> None:
    even = estimate._by_motion(None, 12, 90.0, "right")
    assert even.turned == pytest.approx(np.arange(12) * 30) and even.angles[:5] == pytest.approx([90, 60, 30, 0, 330])
    assert even.sure[0] == 0 and set(even.sure[1:]) == {20.0}
    assert even.notes[0].kind == "angles not told" and even.notes[0]["spread"] == "evenly"
    moved = estimate._by_motion(np.array([1.0, 2, 1]) / 4, 4, 0.0, "left")
    assert moved.turned == pytest.approx([0, 67.5, 202.5, 270]) and moved.notes[0]["spread"] != "evenly"
