"""A step too large, a step too small."""

from __future__ import annotations

import numpy as np
import pytest

from silhouette.turn import steps


def turned(*given: float) -> np.ndarray:
    return np.concatenate([[0.0], np.cumsum(given)])


def mask(left: int, wide: int = 20) -> np.ndarray:
    drawn = np.zeros((40, 80), bool)
    drawn[5:35, left : left + wide] = True
    return drawn


def test_the_usual_step() -> None:
    assert steps.usual_step(turned(10, 20, 15)) == 15 and steps.usual_step(-turned(10, 20, 15)) == 15
    assert steps.usual_step(turned()) == 0 and steps.usual_step(turned(7)) == 7


@pytest.mark.parametrize(("usual", "wide", "missing"), [
    (10.0, 18.9, False), (10.0, 19.1, True),  # under 15 degrees a step, nine degrees more
    (30.0, 47.9, False), (30.0, 48.1, True),  # over it, six tenths more
])
def test_a_stop_is_missing_after_a_wide_step(usual: float, wide: float, missing: bool) -> None:
    row = turned(usual, usual, wide, usual, usual)
    assert steps.skipped(row) == ([2] if missing else []) == steps.skipped(-row)


@pytest.mark.parametrize(("usual", "short", "twice"), [
    (15.0, 5.2, True), (15.0, 5.3, False),  # a bit more than a third of the usual step
    (30.0, 5.9, True), (30.0, 6.1, False),  # six degrees at most
])
def test_a_stop_is_shown_twice_where_the_step_is_short(usual: float, short: float, twice: bool) -> None:
    row = turned(usual, short, usual, usual)
    assert steps.repeated(row, [None] * 5) == ([1] if twice else [])


@pytest.mark.parametrize(("aside", "twice"), [(0, True), (1, True), (4, False)])
def test_and_only_if_the_outlines_agree_there(aside: int, twice: bool) -> None:
    """Usual neighbours lie 6 pixels of 20 apart: they differ by 12 of 26; two views of one stop by 0.4 of that at most,
    0.18: a pixel to the side, 2 of 21, is alike, four, 8 of 24, are not."""
    masks = [mask(0), mask(6), mask(6 + aside), mask(12 + aside), mask(18 + aside)]
    assert steps.repeated(turned(15, 2, 15, 15), masks) == ([1] if twice else [])


def test_what_cannot_be_compared_is_left_to_the_step() -> None:
    masks = [mask(0), mask(6), None, mask(12), mask(18)]
    assert steps.repeated(turned(15, 2, 15, 15), masks) == [1]
