"""Sentences for people: short enough, and no fault told twice."""

from __future__ import annotations

from silhouette.show import words


def test_a_short_reason_keeps_the_part_of_the_body_and_drops_the_side() -> None:
    assert words.brief("one arm lost in the torso, its hand at the shoulder, picture right") == (
        "one arm lost, its hand at the shoulder")
    assert words.brief("both arms lost in the torso, a hand at the hip, picture left") == (
        "both arms lost, a hand at the hip")
    assert words.brief("one hand lost at the hip, picture left") == "one hand lost at the hip"
    assert words.brief("both arms lost in the torso") == "both arms lost in the torso"
