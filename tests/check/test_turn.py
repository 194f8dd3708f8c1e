"""Whether the turn is whole, asked of turns made by hand."""

from __future__ import annotations

from collections.abc import Callable
from dataclasses import replace

import pytest

from silhouette.check import turn
from silhouette.records_shoot import Shot


@pytest.mark.parametrize(("n", "verdict", "kind"), [
    (26, "pass", "turn closed"), (25, "pass", "turn closed"), (24, "pass", "turn all round"),
    (23, "retake", "turn open"), (18, "retake", "turn open"),
])
@pytest.mark.parametrize("way", [1, -1])
def test_a_turn_is_whole_once_it_comes_back_to_a_step_from_its_start(
    made: Callable[..., Shot], n: int, verdict: str, kind: str, way: int
) -> None:
    found = turn.full_turn(replace(made(n), turned=way * made(n).turned))
    assert (found.verdict, found.kind) == (verdict, kind)


def test_an_open_turn_says_where_it_ends_and_how_much_is_lacking(made: Callable[..., Shot]) -> None:
    found = turn.full_turn(made(18))  # 17 steps of 15 degrees: 255
    assert found.stops == (17,) and found["ends_at"] == 255 and found["short_by"] == 105


def test_a_last_stop_within_a_third_of_a_step_closes_the_turn(made: Callable[..., Shot]) -> None:
    shot = made(25)
    for last, kind in ((355.1, "turn closed"), (354.9, "turn all round")):
        turned = shot.turned.copy()
        turned[-1] = last
        assert turn.full_turn(replace(shot, turned=turned)).kind == kind


@pytest.mark.parametrize("question", turn.QUESTIONS)
def test_where_the_camera_moved_or_the_angles_are_spread_nothing_is_said_of_the_turn(
    made: Callable[..., Shot], question: Callable[[Shot], object]
) -> None:
    shot = made(25)
    spread = replace(shot, stops=tuple(replace(s, angle_from="spread") for s in shot.stops))
    for unsure in (replace(shot, camera_moved=12), spread, made(4)):
        assert question(unsure).verdict == "unknown"  # type: ignore[attr-defined]


def test_one_stop_with_an_angle_of_its_own_is_enough(made: Callable[..., Shot]) -> None:
    shot = made(25)
    stops = tuple(replace(s, angle_from="spread") if k else s for k, s in enumerate(shot.stops))
    assert turn.full_turn(replace(shot, stops=stops)).verdict == "pass"


def test_missing_stops_are_counted_where_they_are_missing(made: Callable[..., Shot]) -> None:
    """Stops 4, 11 and 12 of 24 left out: the steps after the stops then numbered 3 and 9 are of 30 and 45 degrees."""
    whole = made(24)
    kept = [k for k in range(24) if k not in (4, 11, 12)]
    shot = Shot(
        tuple(whole.stops[k] for k in kept), tuple(whole.looks[k] for k in kept), whole.turned[kept], usual_step=15.0,
        skipped=(3, 9),
    )
    found = turn.missing_stops(shot)
    assert found.verdict == "retake" and found.after_stop == (3, 9)
    assert found["counts"] == (1, 2) and found.stops == (3, 4, 9, 10)
    assert turn.missing_stops(whole).verdict == "pass"


def test_of_a_view_shown_twice_both_stops_are_named(made: Callable[..., Shot]) -> None:
    found = turn.doubled_stops(replace(made(25), repeated=(5, 6)))
    assert found.verdict == "look" and found.stops == (5, 6, 7) and found["first"] == (5, 6)
    assert turn.doubled_stops(made(25)).verdict == "pass"
