"""Whether angles turned were spread over stops one of which is missing or shown twice."""

from __future__ import annotations

import numpy as np
import pytest

from silhouette.turn import respread
from silhouette.turn.estimate import Turned


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


def found(*passed: float) -> Turned:
    turned = counted(*passed)
    return Turned(turned % 360, np.full(len(turned), 3.0), (), turned)


@pytest.mark.parametrize(("count", "total", "half"), [
    (8, 157.5, False), (8, 180, True), (13, 180, True), (12, 165, False), (6, 180, None), (8, 110, None),
    (24, 345, None),
])
def test_half_a_turn_is_told_by_where_it_ends(count: int, total: float, half: bool | None) -> None:
    assert respread.half_turn(found(*np.linspace(0, total / 15, count))) is half


def test_a_stop_without_an_outline_makes_the_others_no_less_sure() -> None:
    told = found(*range(12))
    told.sure[5] = 60.0
    masks: list[np.ndarray | None] = [np.ones((2, 2), bool)] * 12
    assert respread.least_sure(told, masks) == 60.0
    masks[5] = None
    assert respread.least_sure(told, masks) == 3.0
    assert respread.least_sure(told, [None] * 12) == respread.BARELY
