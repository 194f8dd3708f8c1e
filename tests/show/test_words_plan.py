"""What the plan says: every sentence at least once, and the cautions in the words of the people they are for."""

from __future__ import annotations

from typing import get_args

import pytest

from silhouette.plan.camera import PoseKind, make_plan
from silhouette.records_shoot import PlanWarning, SlotTask
from silhouette.show import words_plan
from silhouette.show.plan_text import plan_text

POSES = get_args(PoseKind)
ASKS = [
    {"height_m": 1.3, "stand_m": 0.5}, {"pose": "arms raised", "poses": 2}, {"distance_m": 5, "room_m": 5},
    {"room_m": 2}, {"lens_mm": 105, "room_m": 6}, {"distance_m": 0.5}, {"room_m": 3.5}, {"room_m": 4.2},
    {"room_m": 4.6}, {"pose": "lying"}, {"distance_m": 30}, {"lens_mm": 150, "orientation": "upright"},
    {"ratio": 12}, {"stops": 36, "hold_s": 60, "poses": 3}, {"distance_m": 2, "lens_mm": 70},
    {"distance_m": 2.2, "lens_mm": 34, "height_m": 2.0, "pixels": (400, 1600)}, {"pose": "seated"},
    {"pose": "seated", "room_m": 3.1},
]


def test_every_kind_of_warning_and_line_is_said_by_some_plan() -> None:
    plans = [make_plan(**ask) for ask in ASKS]  # type: ignore[arg-type]
    assert {kind for plan in plans for kind in plan.warnings} == set(get_args(PlanWarning)) == set(words_plan.WARNINGS)
    assert {slot.what for plan in plans for slot in plan.timetable} == set(get_args(SlotTask))
    for plan in plans:
        for sentence in (*words_plan.warnings(plan), *(text for _, text in words_plan.said(plan))):
            assert sentence[0].isupper() or sentence[0].isdigit(), sentence
            assert sentence.endswith(".") and "inf" not in sentence.split() and "nan" not in sentence, sentence


@pytest.mark.parametrize("pose", POSES)
def test_checklist_names_what_keeps_people_safe(pose: PoseKind) -> None:
    said = " ".join(line for _, lines in words_plan.checklist(make_plan(pose=pose)) for line in lines).lower()
    for words in ("release signed", "stop at any time", "uses agreed", "18 or older", "cloud copies off first", "warm",
                  "hot", "cables", "weighted", "gaze mark", "height stick", "plumb line", "a card with pose",
                  "exposure, focus and white balance", "stop at once", "local rules and licensed practice", "backdrop",
                  "alone: someone within call", "chair in reach", "no lamp that can fall", "recently deleted",
                  "without the model, same light: empty.jpg"):
        assert words in said, words


@pytest.mark.parametrize(("ask", "words"), [
    ({"height_m": 1.3}, "undressed pictures of anyone under 18"),
    ({"stand_m": 0.5}, "have a second person beside it, and announce each turn"),
    ({"pose": "lying"}, "steadied by a second person who announces each turn"),
    ({"pose": "arms raised"}, "a minute or two at most"),
])
def test_a_caution_is_said_where_it_is_due_and_only_there(ask: dict[str, object], words: str) -> None:
    assert words in " ".join(words_plan.warnings(make_plan(**ask)))  # type: ignore[arg-type]
    assert words not in " ".join(words_plan.warnings(make_plan()))


def test_raised_arms_are_never_promised_the_minutes_of_other_poses() -> None:
    said = plan_text(make_plan(pose="arms raised"))
    assert "22 minutes" not in said and "under a minute" in said


@pytest.mark.parametrize(("ask", "steadied"), [({}, False), ({"stand_m": 0.5}, True), ({"pose": "lying"}, True)])
def test_a_stand_that_people_fall_from_is_on_the_list(ask: dict[str, object], steadied: bool) -> None:
    room = dict(words_plan.checklist(make_plan(**ask)))["Room"]  # type: ignore[arg-type]
    assert any("Stand steadied" in line for line in room) == steadied


def test_key_to_fill_is_written_one_way() -> None:
    said = plan_text(make_plan(ratio=6))
    assert "Key to fill 6:1" in " ".join(said.split()) and "1:6" not in said


def test_the_camera_is_not_said_to_be_too_near_where_the_room_is_too_short() -> None:
    camera = dict(words_plan.said(make_plan(distance_m=9, room_m=5)))["Camera"]
    assert "room is too short: it leaves 3.5 m" in camera and "does not fit" not in camera
    assert "does not fit" in dict(words_plan.said(make_plan(distance_m=2, room_m=5, lens_mm=105)))["Camera"]


def test_rings_are_listed_from_low_to_high_with_distance_height_and_tilt() -> None:
    plan = make_plan(height_m=1.70, close_ups_min=3)
    assert [row[:4] for row in words_plan.ring_rows(plan)] == [
        ("low", "4.0 m", "0.35 m", "7° up"), ("level", "4.0 m", "1.05 m", "level"),
        ("high", "4.0 m", "2.30 m", "20° down")]
    assert [row[4:] for row in words_plan.ring_rows(plan)] == [
        ("-5° to 20°", "feet +6 %"), ("-16° to 10°", ""), ("-32° to -8°", "head +15 %")]
    said = " ".join(plan_text(plan).split())
    assert "low 4.0 m 0.35 m 7° up" in said and "high 4.0 m 2.30 m 20° down" in said
    assert "ceiling 2.5 m or more" in said and "Low: backdrop 2.4 m high" in said
    assert "low +17 %, high +15 %" in said, "a hand forward"
    narrow = " ".join(plan_text(plan, 40).split())
    assert "ring high, away 4.0 m, lens 2.30 m, tilt 20° down" in narrow


def test_a_lying_figure_has_no_low_ring_and_is_told_why() -> None:
    plan = make_plan(pose="lying")
    assert [row[0] for row in words_plan.ring_rows(plan)] == ["level", "high"]
    assert "No low ring" in dict(words_plan.said(plan))["Rings"]
    turn = dict(words_plan.checklist(plan))["Turn"]
    assert any(line.startswith("High ring:") for line in turn)


@pytest.mark.parametrize("pose", POSES)
def test_close_ups_are_on_the_list_and_in_the_schedule_or_in_neither(pose: PoseKind) -> None:
    for minutes in (0.0, 3.0):
        plan = make_plan(pose=pose, close_ups_min=minutes)
        turn = " ".join(dict(words_plan.checklist(plan))["Turn"])
        assert ("Close-ups: hands, head and face, feet, what is behind" in turn) == bool(minutes)
        assert any(slot.what.startswith("close-ups") for slot in plan.timetable) == bool(minutes)


@pytest.mark.parametrize("pose", POSES)
def test_a_camera_high_up_is_a_hazard_and_named(pose: PoseKind) -> None:
    room = dict(words_plan.checklist(make_plan(pose=pose)))["Room"]
    assert any("weights on its stand, nobody on a chair" in line for line in room)
