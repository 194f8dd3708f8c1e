"""The plan: checked against closed forms and what a person in the room would see.

Distances, lamp places, light ratios and the length of a session are common practice, no source; what a lens shows at a
distance is plain geometry; heights of a body are shares of stature after Drillis & Contini 1966, the waist after Huston
2009.
"""

from __future__ import annotations

import itertools
import math

import pytest
from hypothesis import given
from hypothesis import strategies as st

from silhouette.errors import SettingsError
from silhouette.plan.camera import make_plan
from silhouette.show import words_plan
from silhouette.show.plan_text import plan_text

POSES = ("standing", "arms raised", "seated", "lying")


def test_plan_table_holds_the_closed_forms():
    rows = {row.distance: row for row in make_plan(room_m=12).distances}
    assert [round(rows[d].forward, 3) for d in (2, 3, 4, 6, 10)] == [1.429, 1.250, 1.176, 1.111, 1.064]
    # (D + z) / (D - z) for the same z: 2.6/1.4, 3.6/2.4, 4.6/3.4, 6.6/5.4, 10.6/9.4.
    assert [round(rows[d].near_far, 3) for d in (2, 3, 4, 6, 10)] == [1.857, 1.5, 1.353, 1.222, 1.128]


def test_phone_at_4_m_shows_a_third_of_the_frame():
    # 1.75 x 26 / (36 x 4) = 0.316 of 4032 pixels.
    plan = make_plan(height_m=1.75)
    assert plan.figure_px == pytest.approx(1274, abs=1)
    assert plan.frame_share == pytest.approx(0.316, abs=0.001)


@pytest.mark.parametrize("height", [1.50, 1.70, 1.95])
@pytest.mark.parametrize("room", [None, 6.5, 12.0])
def test_standing_adult_with_room_enough(height, room):
    # Common practice: 10 to 15 ft away, lens at waist height.
    plan = make_plan(height_m=height, room_m=room)
    assert 3.0 <= plan.distance <= 4.6
    assert 0.609 * height <= plan.camera_height <= 0.627 * height
    assert plan.fits and plan.verdict == "good"
    assert plan.backdrop_gap == 1.5


def test_seated_camera_is_at_half_the_pose():
    plan = make_plan(pose="seated", stand_m=0.4)
    assert plan.camera_height == pytest.approx(0.4 + plan.pose_height / 2)
    assert plan.pose_height < 0.8 * plan.model_height


def test_lying_camera_is_held_wide_and_measures_the_length():
    plan = make_plan(pose="lying", height_m=1.70)
    assert plan.orientation == "wide" and plan.pixels == (4032, 3024)
    assert plan.figure_px == pytest.approx(1.70 * plan.px_per_m)
    assert plan.reach == pytest.approx(0.85)


@pytest.mark.parametrize(("room", "verdict"), [(6.0, "good"), (4.6, "tolerable"), (4.2, "close"), (3.5, "too close")])
def test_short_rooms_are_called_what_they_are(room, verdict):
    plan = make_plan(room_m=room)
    assert plan.verdict == verdict
    assert (verdict in plan.warnings) == (verdict != "good")


def test_short_room_gives_up_backdrop_before_distance():
    assert make_plan(room_m=5.6).distance == 4.0
    assert make_plan(room_m=5.6).backdrop_gap == pytest.approx(1.1)
    assert make_plan(room_m=4.0).backdrop_gap == pytest.approx(1.0)


def test_long_lens_stands_as_far_as_it_must():
    plan = make_plan(lens_mm=105, room_m=20)
    assert plan.fits and plan.distance > 4.6
    shut_in = make_plan(lens_mm=105, room_m=6)
    assert not shut_in.fits and shut_in.warnings[0] == "lens too long"
    assert make_plan(lens_mm=shut_in.lens_to_fill, room_m=6).fits


def test_wide_lens_trap_is_named():
    assert "do not walk closer" in make_plan().warnings
    assert "do not walk closer" not in make_plan(lens_mm=50).warnings


def test_distance_that_does_not_go_into_the_room():
    plan = make_plan(distance_m=5, room_m=5)
    assert not plan.fits and plan.warnings[0] == "room too short"


def test_a_room_too_short_is_not_a_figure_too_large():
    plan = make_plan(distance_m=9, room_m=5)
    assert plan.in_frame and not plan.in_room and plan.frame[1] > 3 * plan.pose_height
    assert plan.farthest == 3.5 and "lens too long" not in plan.warnings
    close = make_plan(distance_m=2, room_m=5, lens_mm=105)
    assert close.in_room and not close.in_frame and "room too short" not in close.warnings
    neither = make_plan(distance_m=5, room_m=5, lens_mm=200)
    assert not neither.in_room and not neither.in_frame
    assert neither.warnings[:2] == ("room too short", "lens too long")


@pytest.mark.parametrize(("poses", "days"), [(1, None), (2, 2), (9, 6)])
def test_a_session_past_three_hours_is_to_be_split(poses, days):
    plan = make_plan(stops=36, hold_s=30, poses=poses)
    assert ("session too long" in plan.warnings) == (plan.session_min > 180) == (days is not None)
    assert [f"over {days} days" in text for text in words_plan.warnings(plan) if "Split" in text] == [True] * bool(days)


@given(
    height=st.floats(0.9, 2.2), room=st.none() | st.floats(2, 30), lens=st.floats(14, 200), pose=st.sampled_from(POSES),
    orientation=st.sampled_from([None, "upright", "wide"]), stand=st.floats(0, 1),
)
def test_what_is_said_to_fit_fits(height, room, lens, pose, orientation, stand):
    plan = make_plan(height_m=height, room_m=room, lens_mm=lens, pose=pose, orientation=orientation, stand_m=stand)
    if room is not None and plan.fits:
        assert plan.distance + plan.backdrop_gap + 0.5 <= room + 1e-6
    assert plan.fits == (plan.in_frame and plan.in_room)
    if plan.fits:  # project the corners of the pose, 0.35 m before the axis, onto the 36 mm frame
        near = plan.distance - 0.35
        short = 36 * min(plan.pixels) / max(plan.pixels)
        half_w, half_h = (short / 2, 18) if plan.orientation == "upright" else (18, short / 2)
        for y in (plan.stand - plan.camera_height, plan.stand + plan.pose_height - plan.camera_height):
            assert abs(y) * plan.lens / near <= half_h + 1e-6
        assert plan.pose_width / 2 * plan.lens / near <= half_w + 1e-6
    for lamp in plan.lamps:  # a lamp in the picture fools the exposure
        seen = math.degrees(math.atan2(abs(lamp.x), plan.distance - lamp.y))
        half = math.degrees(math.atan(plan.frame[0] / 2 / plan.distance))
        assert seen >= half + 3.9
    for width in (40, 60, 80):
        lines = plan_text(plan, width).splitlines()
        assert max(map(len, lines)) <= width and "this plan" in " ".join(" ".join(lines).split())


def test_key_is_at_three_quarters_and_fill_is_opposite_and_softer():
    key, fill = make_plan().lamps
    assert key.name == "key" and math.degrees(math.atan2(-key.x, key.y)) == pytest.approx(45)
    assert fill.x > 0 and fill.y > 0 and fill.share == pytest.approx(1 / 4)
    assert math.hypot(fill.x, fill.y) >= math.hypot(key.x, key.y)


def test_backdrop_is_behind_every_part_of_the_turning_circle():
    plan = make_plan()
    half = plan.backdrop_size[0] / 2
    for degree in range(360):
        x, y = (plan.turning_radius * f(math.radians(degree)) for f in (math.sin, math.cos))
        hit = x * (plan.distance + plan.backdrop_gap) / (plan.distance - y)
        assert abs(hit) <= half + 1e-9


@pytest.mark.parametrize("pose", POSES)
@pytest.mark.parametrize("room", [2.0, 2.5, 3.5, 6.0])
def test_backdrop_is_no_larger_than_what_the_picture_shows_there(pose, room):
    plan = make_plan(height_m=1.95, room_m=room, pose=pose)
    grows = (plan.distance + plan.backdrop_gap) / plan.distance
    assert plan.backdrop_size[0] <= plan.frame[0] * grows + 1e-9
    assert plan.backdrop_size[1] <= plan.camera_height + plan.frame[1] * grows / 2 + 1e-9


def test_24_stops_take_about_three_minutes():
    plan = make_plan(stops=24)
    assert plan.step == 15 and 2.4 <= plan.turn_s / 60 <= 3.4


@pytest.mark.parametrize(("stops", "pose_min", "poses"), [(24, 22, 1), (36, 22, 3), (24, 8, 2), (12, 5, 1)])
def test_nobody_poses_longer_than_agreed(stops, pose_min, poses):
    plan = make_plan(stops=stops, pose_min=pose_min, break_min=6, poses=poses)
    posed = 0.0
    for slot in plan.timetable:
        posed = 0.0 if slot.kind == "rest" else posed + slot.end - slot.start
        assert posed <= pose_min + 1e-9
    assert all(a.end == pytest.approx(b.start) for a, b in itertools.pairwise(plan.timetable))
    assert [slot.pose for slot in plan.timetable if slot.what == "next pose"] == list(range(2, poses + 1))


def test_the_main_turn_waits_until_the_pose_has_settled():
    counts = next(slot for slot in make_plan().timetable if slot.what == "main turn")
    assert counts.start == pytest.approx(10)


def test_turn_longer_than_the_pose_is_warned_of():
    assert "turn too long" in make_plan(stops=36, hold_s=60).warnings


def test_raised_arms_get_a_slow_turn_and_rests():
    plan = make_plan(pose="arms raised")
    assert plan.slow_turn and 30 <= plan.turn_s <= 60
    held = [slot.end - slot.start for slot in plan.timetable if slot.kind != "rest"]
    assert max(held) <= 1.0
    assert "arms raised" in plan.warnings


@pytest.mark.parametrize(("ask", "kind", "warned"), [
    ({"height_m": 1.39}, "perhaps a child", True), ({"height_m": 1.4}, "perhaps a child", False),
    ({"stand_m": 0.31}, "high stand", True), ({"stand_m": 0.3}, "high stand", False),
    ({"pose": "seated", "stand_m": 0.5}, "high stand", True), ({"pose": "seated"}, "arms raised", False),
])
def test_what_may_harm_the_model_is_warned_of_before_all_else(ask, kind, warned):
    plan = make_plan(**ask, room_m=4.2)
    assert (kind in plan.warnings[:1]) == warned == (kind in plan.warnings)


@pytest.mark.parametrize(("bad", "says"), [
    ({"height_m": 170}, "did you mean 1.70"),
    ({"room_m": 1.0}, "room is 2 to 100 m"),
    ({"lens_mm": 3}, "lens is 10 to 600 mm"),
    ({"pose": "flying"}, "standing, arms raised, seated, lying"),
    ({"stops": 2}, "stops"),
    ({"distance_m": 0}, "distance"),
    ({"height_m": math.nan}, "height"),
    ({"orientation": "round"}, "upright, wide"),
    ({"hold_s": 0}, "hold"),
    ({"pixels": (1, 2)}, "short side of the pictures is 64"),
])
def test_nonsense_is_refused_in_one_sentence(bad, says):
    with pytest.raises(SettingsError, match=says):
        make_plan(**bad)


NUMBERS = ("height", "room", "lens", "distance", "stand", "ratio", "hold", "pose-min", "break-min", "close-ups-min",
           "stops", "poses")
FINE = {("stand", "0"), ("break-min", "0"), ("close-ups-min", "0")}
"""Values of the table below that make sense."""


@pytest.mark.parametrize("value", ["nan", "inf", "-inf", "0", "-1", "1e9", "1e999", "100000", "9" * 400])
@pytest.mark.parametrize("flag", NUMBERS)
def test_a_number_that_makes_no_sense_is_refused_before_any_work(flag, value, tmp_path, capsys):
    from silhouette.cli import main

    page = tmp_path / "plan.pdf"
    try:
        code = main(["plan", f"--{flag}={value}", "-o", str(page)])
    except SystemExit as stop:  # no number for argparse
        code = stop.code
    said = capsys.readouterr()
    if (flag, value) in FINE:
        assert code == 0 and page.exists()
        return
    assert code == 2 and said.out == "" and list(tmp_path.iterdir()) == []
    assert said.err.count("\n") == 1 and len(said.err) < 700 and "Traceback" not in said.err
    assert said.err.startswith("silhouette")


@pytest.mark.parametrize("sides", [("64", "100000"), ("100000", "64"), ("0", "4032"), ("-3024", "4032"),
                                   ("3024", "9" * 400), ("1", "1"), ("1000", "4001"), ("nan", "4032")])
def test_pictures_that_no_camera_takes_are_refused_before_any_work(sides, tmp_path, capsys):
    from silhouette.cli import main

    try:
        code = main(["plan", "--pixels", *sides, "-o", str(tmp_path / "plan.png")])
    except SystemExit as stop:
        code = stop.code
    said = capsys.readouterr()
    assert code == 2 and said.out == "" and said.err.count("\n") == 1 and list(tmp_path.iterdir()) == []


@given(
    height=st.floats(0.5, 2.5), room=st.none() | st.floats(2, 100), lens=st.floats(10, 600),
    pose=st.sampled_from(POSES),
    distance=st.none() | st.floats(0.5, 100), stops=st.integers(3, 360), stand=st.floats(0, 2), ratio=st.floats(1, 16),
    hold=st.floats(0.5, 600), pose_min=st.floats(1, 120), break_min=st.floats(0, 120), poses=st.integers(1, 50),
    short=st.integers(64, 25_000), shape=st.floats(1, 4), orientation=st.sampled_from([None, "upright", "wide"]),
)
def test_whatever_is_not_refused_can_be_planned(
    height, room, lens, pose, distance, stops, stand, ratio, hold, pose_min, break_min, poses, short, shape, orientation
):
    plan = make_plan(height_m=height, room_m=room, lens_mm=lens, pose=pose, distance_m=distance, stops=stops,
                     stand_m=stand, ratio=ratio, hold_s=hold, pose_min=pose_min, break_min=break_min, poses=poses,
                     pixels=(short, int(short * shape)), orientation=orientation)
    said = plan_text(plan)
    assert max(map(len, said.splitlines())) <= 80 and "nan" not in said and " inf" not in said
