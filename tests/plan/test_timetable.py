"""The session line by line. Lengths of posing and of breaks are common practice, no source; the sums are plain."""

from __future__ import annotations

import pytest

from silhouette.plan.timetable import timetable_for, turn_seconds


def lines(*args: float | bool | int) -> list[tuple[float, float, str, str]]:
    return [(s.start, s.end, s.what, s.kind) for s in timetable_for(*args)]  # type: ignore[arg-type]


def test_a_turn_comes_back_to_its_first_stop() -> None:
    assert turn_seconds(24, 7.0, False) == 25 * 7
    assert turn_seconds(24, 7.0, True) == 45 == turn_seconds(36, 30.0, True), "a slow turn has no stops"


def test_the_whole_session_of_one_pose() -> None:
    """A turn of 3 minutes: 3, settle till 10, 3 more, and two rings of 3 + 1; 21 minutes of 22."""
    told = lines(180, False, 22, 7, 1)
    assert [(a, b, kind) for a, b, _, kind in told] == [
        (0, 3, "turn"), (3, 10, "hold"), (10, 13, "turn"), (13, 17, "turn"), (17, 21, "turn")]


def test_a_break_comes_before_the_turn_that_would_be_too_long() -> None:
    told = lines(180, False, 20, 7, 1)
    assert [(a, b, kind) for a, b, _, kind in told][-3:] == [(13, 17, "turn"), (17, 24, "rest"), (24, 28, "turn")]
    exact = lines(180, False, 21, 7, 1)
    assert all(kind != "rest" for *_, kind in exact), "just as long as agreed is not too long"


def test_a_pose_that_would_be_broken_off_before_it_settles_is_not_waited_for() -> None:
    assert [kind for *_, kind in lines(180, False, 12.9, 7, 1)].count("hold") == 0
    assert [kind for *_, kind in lines(180, False, 13, 7, 1)].count("hold") == 1
    assert [kind for *_, kind in lines(600, False, 60, 7, 1)].count("hold") == 0, "a turn of ten minutes settles it"


def test_arms_come_down_between_slow_turns_and_the_clock_begins_anew() -> None:
    """Four turns of 45 s, with rests between: none makes a break needed, though together they last 3 minutes."""
    told = lines(45, True, 1.0, 7, 1)
    assert [(a, b, kind) for a, b, _, kind in told] == [
        (0, 0.75, "turn"), (0.75, 3.75, "rest"), (3.75, 4.5, "turn"), (4.5, 7.5, "rest"), (7.5, 8.25, "turn"),
        (8.25, 11.25, "rest"), (11.25, 12.0, "turn")]


def test_the_next_pose_begins_after_a_break_with_a_clock_of_its_own() -> None:
    told = lines(180, False, 22, 7, 2)
    assert told[5][:2] == (21, 28) and told[5][3] == "rest" and told[5][2] == "next pose"
    assert [(a - 28, b - 28, kind) for a, b, _, kind in told[6:]] == [(a, b, kind) for a, b, _, kind in told[:5]]
    assert lines(180, False, 22, 0, 2)[5][0] == pytest.approx(21), "no line for a break of no length"


def test_the_camera_is_moved_for_each_ring_that_a_pose_has() -> None:
    told = [(s.end - s.start, s.what) for s in timetable_for(180, False, 22, 7, 1)]
    assert told[-2:] == [(4, "low ring"), (4, "high ring")], "a minute to move the camera, three to turn"
    lying = [s.what for s in timetable_for(180, False, 22, 7, 1, rings=("high",))]
    assert lying == ["first turn", "settle", "main turn", "high ring"]


def test_close_ups_come_last_and_in_no_longer_stretches_than_a_pose_is_held() -> None:
    """21 minutes of turns, so 3 of close-ups want a break at 22; 5 minutes held 2 at a time take 2, 2 and 1."""
    told = [(s.start, s.end, s.what, s.kind) for s in timetable_for(180, False, 22, 7, 1, close_ups=3)]
    assert told[-2:] == [(21, 28, "break", "rest"), (28, 31, "close-ups", "hold")]
    assert [s.what for s in timetable_for(180, False, 24, 7, 1, close_ups=3)][-2:] == ["high ring", "close-ups"]
    split = [s.end - s.start for s in timetable_for(60, False, 2, 7, 1, close_ups=5) if s.what == "close-ups"]
    assert split == [2, 2, 1]
    assert all(s.what != "close-ups" for s in timetable_for(180, False, 22, 7, 1))


def test_close_ups_of_raised_arms_are_taken_with_the_arms_down() -> None:
    last = timetable_for(45, True, 22, 7, 1, close_ups=3)[-1]
    assert (last.end - last.start, last.what, last.kind) == (3, "close-ups at rest", "rest")
