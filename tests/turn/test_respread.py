"""Whether angles turned were spread over stops one of which is missing or shown twice."""

from __future__ import annotations

import numpy as np

from silhouette.turn import respread


def counted(*passed: float) -> np.ndarray:
    """Degrees of a turn whose stops stand at these marks of 24, a little uneven."""
    marks = np.array(passed) * 15.0
    return marks + np.random.default_rng(4).normal(0, 0.8, len(marks)) * (np.arange(len(marks)) > 0)


def test_one_missing_stop_and_one_shown_twice_are_found_with_their_place() -> None:
    missing = respread._one_change(counted(*range(8), *range(9, 24)), closed=False)
    assert missing is not None and missing[1] == 1 and abs(missing[0] - 7) <= 1
    twice = respread._one_change(counted(*range(11), 10, *range(11, 24)), closed=False)
    assert twice is not None and twice[1] == -1 and abs(twice[0] - 10) <= 1


def test_an_even_turn_has_neither() -> None:
    assert respread._one_change(counted(*range(24)), closed=False) is None
    assert respread._one_change(counted(*range(25)), closed=True) is None


def test_few_stops_tell_nothing() -> None:
    assert respread.respread([None] * 10, [36.0 * k for k in range(10)], start=0.0, turn="left") is None
