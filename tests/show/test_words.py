"""Sentences for people: short enough, and no fault told twice."""

from __future__ import annotations

import json
from dataclasses import replace

import pytest

from silhouette.records import Note, Reason, ReasonKind
from silhouette.show import words

FULL = {
    Reason(ReasonKind.ARMS_LOST, "arm"): "both arms lost in the torso",
    Reason(ReasonKind.ARMS_LOST, "arm", "hip", "picture left"):
        "both arms lost in the torso, a hand at the hip, picture left",
    Reason(ReasonKind.ARMS_LOST, "arm", "head"): "both arms lost, a hand at the head",
    Reason(ReasonKind.ARM_LOST, "arm"): "one arm lost in the torso",
    Reason(ReasonKind.ARM_LOST, "arm", "shoulder", "picture right"):
        "one arm lost in the torso, its hand at the shoulder, picture right",
    Reason(ReasonKind.HAND_LOST, "hand", "hip", "picture left"): "one hand lost at the hip, picture left",
    Reason(ReasonKind.HAND_LOST, "hand"): "one hand lost",
    Reason(ReasonKind.LEGS_AS_ONE, "leg"): "legs read as one",
    Reason(ReasonKind.FOOT_LOST, "foot"): "one foot lost in the body",
    Reason(ReasonKind.HEAD_SUNK, "head"): "head sunk into the body",
    Reason(ReasonKind.EDGES_TOUCH, None, "hip", "picture left"): "edges just touch at the hips, picture left",
    Reason(ReasonKind.EDGES_TOUCH, None, "low down", "middle"): "edges just touch low down, in the middle",
    Reason(ReasonKind.EDGES_TOUCH): "edges just touch",
    Reason(ReasonKind.COLUMN): "both sides of the outline match: a straight, symmetric column",
    Reason(ReasonKind.GAP, None, "waist", "picture right"): "a clear gap at the waist, picture right",
}


@pytest.mark.parametrize(("reason", "told"), FULL.items())
def test_a_reason_says_what_and_where(reason: Reason, told: str) -> None:
    assert words.reason(reason) == told


def test_every_kind_of_reason_has_its_words_and_none_another_s() -> None:
    told = [words.reason(Reason(kind)) for kind in ReasonKind]
    assert len(set(told)) == len(told)


def test_a_short_reason_keeps_the_part_of_the_body_and_drops_the_side() -> None:
    arm = Reason(ReasonKind.ARM_LOST, "arm", "shoulder", "picture right")
    assert words.brief(arm) == "one arm lost, its hand at the shoulder"
    assert words.brief(replace(arm, zone=None)) == "one arm lost in the torso"
    both = Reason(ReasonKind.ARMS_LOST, "arm", "hip", "picture left")
    assert words.brief(both) == "both arms lost, a hand at the hip"
    assert words.brief(Reason(ReasonKind.HAND_LOST, "hand", "hip", "picture left")) == "one hand lost at the hip"
    assert words.brief(Reason(ReasonKind.COLUMN)) == "both sides of the outline match"
    assert words.brief(Reason(ReasonKind.EDGES_TOUCH, None, "knee", "middle")) == "edges just touch at the knees"


SPREAD = {"count": 12, "span": 360.0, "seen": False}
HALF = {"count": 7, "span": 180.0, "last": "repeats"}


@pytest.mark.parametrize(("note", "told"), [
    (Note.of("angles from names"), "Angles: from the file names."),
    (Note.of("angles from table", file="angles.csv"), "Angles: from angles.csv."),
    (Note.of("angles spread", **SPREAD, last="repeats"), "The last one counts as a repeat of the first."),
    (Note.of("angles spread", **SPREAD, last="one short"), "one step before the first."),
    (Note.of("angles spread", **HALF, seen=False), "spread over 180 degrees. The last one counts as the view opposite"),
    (Note.of("angles spread", **HALF, seen=True), "spread over 180 degrees. Their outlines show half a turn. If that"),
    (Note.of("angles spread", count=7, span=90.0, last=None, seen=False), "spread over 90 degrees."),
    (Note.of("angles from outlines", sure=2.4, missing_after=["a"], repeats=[("c", "b")], total=345.0),
     "to about 2 degrees, because the steps are uneven: a stop is missing after a, c repeats b."),
    (Note.of("angles from outlines", sure=2.4, missing_after=[], repeats=[], total=301.2),
     "to about 2 degrees, because the pictures cover 301 degrees."),
    (Note.of("angles doubted", name="IMG_7", angle=90.0, told=121.4),
     "IMG_7, called 90, seems to be shot from about 121."),
    (Note.of("several poses", names=["lookout", "oar"]), "several poses: lookout, oar."),
    (Note.of("on its side"), "turn the pictures upright"),
    (Note.of("empty used", name="empty.jpg"), "empty.jpg shows the room without the model; it was used"),
    (Note.of("empty found", names=["IMG_0031"], used=True),
     "IMG_0031 shows the room without the model; it is used as the empty picture, not as a stop."),
    (Note.of("empty found", names=["IMG_0031"], used=False), "it is not a stop."),
    (Note.of("empty found", names=["a", "b"], used=True),
     "a and b show the room without the model; the first is used as the empty picture, and none is a stop."),
    (Note.of("empty found", names=["a", "b"], used=False), "they are not stops."),
    (Note.of("empty end", end="last", used=True, walking=0),
     "The last second of the clip shows the room without the model; it is used as the empty picture."),
    (Note.of("empty end", end="first", used=False, walking=1),
     "it is not a stop. What shows the model walking in or out was left out."),
    (Note.of("empty unfit", name="empty.jpg", cause="unreadable", why="is empty."),
     "empty.jpg is empty. It was not used as the empty picture."),
    (Note.of("empty unfit", name="empty.jpg", cause="upright", why=None),
     "empty.jpg does not fit: it is upright, the other pictures are wide; it was not used"),
    (Note.of("empty unfit", name="empty.jpg", cause="wide", why=None), "it is wide, the other pictures are upright"),
    (Note.of("empty unfit", name="empty.jpg", cause="shape", why=None), "it has another shape"),
    (Note.of("empty unfit", name="empty.jpg", cause="other room", why=None), "it shows another room, or the camera"),
    (Note.of("empty unfit", name="empty.jpg", cause="somebody", why=None), "empty.jpg shows somebody; it was not"),
    (Note.of("unlike one body", angles=[0.0, 90.0], views=8), "At 0 and 90 the outline does not look like one body."),
    (Note.of("unlike one body", angles=[float(a) for a in range(9)], views=24), "In 9 of 24 views the outline"),
    (Note.of("unlike one body", angles=[30.0], views=1), "The outline does not"),
    (Note.of("not read", cause="two people", count=3, first=None), "Not read: two people are in the picture"),
    (Note.of("not read", cause="problems", count=2, first="a.jpg is empty."),
     "none of its 2 pictures can be read. The first: a.jpg is empty."),
    (Note.of("gap closed", at=15.2), "the gap seen at 15 has closed"),
    (Note.of("problem", text="090.jpg is empty."), "090.jpg is empty."),
    (Note.of("said", text="The clip has no pauses."), "The clip has no pauses."),
], ids=lambda x: x.kind if isinstance(x, Note) else "")
def test_every_note_has_its_sentence(note: Note, told: str) -> None:
    assert told in words.note(note)
    assert words.note(Note.of(**json.loads(json.dumps(note.plain)))) == words.note(note), "the same from a file"


def test_a_note_can_be_compared_and_kept_in_a_set() -> None:
    assert len({Note.of("several poses", names=["a", "b"]), Note.of("several poses", names=("a", "b"))}) == 1


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


@pytest.mark.parametrize(("angle", "told"), [
    (0, "front"), (358, "front"), (45, "three-quarter front, figure's right"), (90, "profile, figure's right"),
    (180, "back"), (225, "three-quarter back, figure's left"), (270, "profile, figure's left")])
def test_sides_are_named(angle: float, told: str) -> None:
    assert words.side_of(angle) == told
