"""Whether angles turned were spread over stops one of which is missing or shown twice."""

from __future__ import annotations

import numpy as np
import pytest

from silhouette.turn import estimate, respread


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


def held_against(monkeypatch: pytest.MonkeyPatch, turned: list[float], even: list[float], *, sure: float = 5.0,
                 start: float = 0.0) -> respread.Respread | None:
    """What is said where the outlines tell ``turned``, with this much doubt at the second stop."""
    doubt = np.array([0.0, sure, *[2.0] * (len(turned) - 2)])
    found = estimate.Turned((np.array(turned) + start) % 360, doubt, (), np.array(turned))
    monkeypatch.setattr(estimate, "estimate_angles", lambda *_, **__: found)
    return respread.respread([None] * len(turned), even, start=start, turn="left")


def test_two_stops_left_out_are_named_with_all_that_they_put_elsewhere(monkeypatch: pytest.MonkeyPatch) -> None:
    """Marks every 30 degrees, those at 150 and 180 passed over, so that ten steps of 36 degrees were taken for them.
    The differences from stop to stop are 0, 6, 12, 18, 24, 30, 24, 18, 12, 6 and 0 degrees."""
    told = held_against(monkeypatch, [0, 30, 60, 90, 120, 210, 240, 270, 300, 330, 360], [36.0 * k for k in range(11)])
    assert told is not None and told.better
    assert (told.skipped, told.repeated, told.moved) == ((4,), (), (2, 3, 4, 5, 6, 7, 8))


def test_a_missing_stop_that_two_steps_share_is_found_too(monkeypatch: pytest.MonkeyPatch) -> None:
    """Twelve stops at thirteen marks; the one after the gap stands half-way to the mark that was left out."""
    marks = [0, 1, 2, 3, 4.5, *range(6, 13)]
    told = held_against(monkeypatch, [m * 360 / 13 for m in marks], [30.0 * k for k in range(12)])
    assert told is not None and told.skipped in ((3,), (4,)) and told.repeated == ()


def test_where_one_stop_is_unsure_nothing_is_told(monkeypatch: pytest.MonkeyPatch) -> None:
    even = [30.0 * k for k in range(12)]
    assert held_against(monkeypatch, even, even, sure=12.0) is None
    told = held_against(monkeypatch, even, even, sure=11.9)
    assert told is not None and not told.better and told.moved == ()


@pytest.mark.parametrize(("stops", "last"), [(13, 350.0), (12, 325.0)])
def test_the_last_of_a_closed_turn_repeats_the_first(monkeypatch: pytest.MonkeyPatch, stops: int, last: float) -> None:
    """Shot from 350 degrees on; the outlines put the last stop 5 degrees late: in a closed turn it is known better."""
    even = [350.0 + 30.0 * k for k in range(stops)]
    told = held_against(monkeypatch, [*[30.0 * k for k in range(stops - 1)], 30.0 * (stops - 1) + 5], even, start=350.0)
    assert told is not None and told.angles[-1] == pytest.approx(last)
