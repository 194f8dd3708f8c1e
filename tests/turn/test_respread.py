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


def held_against(turned: list[float], even: list[float], *, start: float = 0.0) -> respread.Respread:
    """What is said where the outlines tell ``turned``."""
    sure = np.array([0.0, *[2.0] * (len(turned) - 1)])
    told = Turned((np.array(turned) + start) % 360, sure, (), np.array(turned))
    masks: list[np.ndarray | None] = [np.zeros((2, 2), bool)] * len(turned)
    return respread.respread(told, masks, even, start=start)


def test_two_stops_left_out_are_named_with_all_that_they_put_elsewhere() -> None:
    """Marks every 30 degrees, those at 150 and 180 passed over, so that ten steps of 36 degrees were taken for them.
    The differences from stop to stop are 0, 6, 12, 18, 24, 30, 24, 18, 12, 6 and 0 degrees."""
    told = held_against([0, 30, 60, 90, 120, 210, 240, 270, 300, 330, 360], [36.0 * k for k in range(11)])
    assert told.better
    assert (told.skipped, told.repeated, told.moved) == ((4,), (), (2, 3, 4, 5, 6, 7, 8))


def test_a_missing_stop_that_two_steps_share_is_found_too() -> None:
    """Twelve stops at thirteen marks; the one after the gap stands half-way to the mark that was left out."""
    marks = [0, 1, 2, 3, 4.5, *range(6, 13)]
    told = held_against([m * 360 / 13 for m in marks], [30.0 * k for k in range(12)])
    assert told.skipped in ((3,), (4,)) and told.repeated == ()


@pytest.mark.parametrize(("stops", "last"), [(13, 350.0), (12, 325.0)])
def test_the_last_of_a_closed_turn_repeats_the_first(stops: int, last: float) -> None:
    """Shot from 350 degrees on; the outlines put the last stop 5 degrees late: in a closed turn it is known better."""
    even = [350.0 + 30.0 * k for k in range(stops)]
    told = held_against([*[30.0 * k for k in range(stops - 1)], 30.0 * (stops - 1) + 5], even, start=350.0)
    assert told.angles[-1] == pytest.approx(last)
