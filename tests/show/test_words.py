"""Sentences for people: short enough, and no fault told twice."""

from __future__ import annotations

import pytest

from silhouette.show import words


def test_a_short_reason_keeps_the_part_of_the_body_and_drops_the_side() -> None:
    assert words.brief("one arm lost in the torso, its hand at the shoulder, picture right") == (
        "one arm lost, its hand at the shoulder")
    assert words.brief("both arms lost in the torso, a hand at the hip, picture left") == (
        "both arms lost, a hand at the hip")
    assert words.brief("one hand lost at the hip, picture left") == "one hand lost at the hip"
    assert words.brief("both arms lost in the torso") == "both arms lost in the torso"


@pytest.mark.parametrize(
    ("start", "end", "told"),
    [
        (0, 360, "all round"),
        (58, 38, "all but 38 to 58"),
        (20, 320, "all but 320 to 20"),
        (20, 319, "20 to 319"),
        (350, 10, "350 to 10"),
    ],
)
def test_a_stretch_of_nearly_all_the_round_is_told_by_what_it_leaves(start: float, end: float, told: str) -> None:
    assert words.stretch(start, end) == told


def test_an_arc_that_was_asked_for_is_told_as_it_was_written() -> None:
    assert words.from_to(58, 38) == "58 to 38"
