"""Numbers of the plan that can be worked out on paper."""

from __future__ import annotations

import math

import pytest

from silhouette.errors import SettingsError
from silhouette.plan.camera import make_plan


def test_pixels_fall_with_distance() -> None:
    rows = make_plan(room_m=12).distances
    assert len({round(row.distance * row.figure_px) for row in rows}) == 1, "twice as far, half as large"
    # 1.7 m with 26 mm at 4 m: 1.7 x 26 / (36 x 4) of 4032 pixels
    four = next(row for row in rows if row.distance == 4)
    assert four.figure_px == pytest.approx(1.7 * 26 / (36 * 4) * 4032)
    assert four.frame_share == pytest.approx(1.7 * 26 / (36 * 4))


def test_how_much_room_is_wanted() -> None:
    """4 m to the lens, 1.5 m behind the model, half a metre for who stands at the camera; 0.3 m beside each lamp."""
    plan = make_plan()
    assert plan.room_needed == pytest.approx(6.0)
    key, fill = plan.lamps
    assert plan.width_needed == pytest.approx(fill.x - key.x + 0.6)


def test_what_the_frame_shows() -> None:
    """36 x 27 mm of film behind 26 mm, at 4 m."""
    plan = make_plan()
    assert plan.frame == pytest.approx((27 * 4 / 26, 36 * 4 / 26)) and plan.px_per_m == pytest.approx(4032 * 26 / 144)
    wide = make_plan(orientation="wide")
    assert wide.frame == pytest.approx((36 * 4 / 26, 27 * 4 / 26)) and wide.pixels == (4032, 3024)


def test_the_rows_of_the_table_are_named() -> None:
    told = {round(row.distance, 2): row.marks for row in make_plan(room_m=5.05, distance_m=3.0).distances}
    assert told == {2: (), 3: ("this plan",), 3.55: ("most in room",), 4: (), 6: (), 10: ()}


@pytest.mark.parametrize(("pose", "height", "width", "lens"), [
    ("standing", 1.0, 0.75, 0.62), ("arms raised", 1.259, 0.75, 0.62), ("seated", 0.755, 0.75, 0.3775),
    ("lying", 0.259, 1.0, 0.1295)])
def test_what_a_pose_takes_up(pose: str, height: float, width: float, lens: float) -> None:
    """Shares of stature after Drillis & Contini 1966; the lens at the waist after Huston 2009, or at half the pose."""
    plan = make_plan(pose=pose, height_m=2.0, stand_m=0.3)
    assert (plan.pose_height, plan.pose_width) == pytest.approx((2 * height, 2 * width))
    assert plan.camera_height == pytest.approx(0.3 + 2 * lens)


def test_a_long_lens_stands_back_until_the_figure_fits() -> None:
    """200 mm: 0.35 m for what comes forward, and 2 x 0.62 x 1.7 m (the lens stands under the middle) on 36 mm."""
    plan = make_plan(lens_mm=200, height_m=1.7)
    assert plan.distance == pytest.approx(math.ceil((0.35 + 200 * 2 * 0.62 * 1.7 / 36) * 10) / 10)
    assert make_plan(height_m=1.7).distance == 4.0 and make_plan(pose="lying", height_m=1.7).distance == 4.6


@pytest.mark.parametrize(("room", "distance", "gap"), [
    (None, 4.0, 1.5), (6.0, 4.0, 1.5), (5.8, 4.0, 1.3), (5.5, 4.0, 1.0), (5.0, 3.5, 1.0), (2.0, 0.5, 1.0)])
def test_how_a_room_is_shared(room: float | None, distance: float, gap: float) -> None:
    """Half a metre for the person at the camera, a metre at least behind the model."""
    plan = make_plan(room_m=room)
    assert (plan.distance, plan.backdrop_gap) == pytest.approx((distance, gap))


def test_where_the_lamps_stand() -> None:
    """Just outside the picture: four degrees beyond its edge, seen from the lens."""
    plan = make_plan()
    edge = math.atan(plan.frame[0] / 2 / plan.distance) + math.radians(4)
    for lamp in plan.lamps:
        seen = math.atan2(abs(lamp.x), plan.distance - lamp.y)
        assert seen == pytest.approx(edge, abs=1e-6) or math.hypot(lamp.x, lamp.y) == pytest.approx(
            2.0 if lamp.name == "key" else 2.4)
    assert [round(math.degrees(math.atan2(lamp.x, lamp.y))) for lamp in plan.lamps] == [-45, 50]
    assert plan.lamps[1].share == pytest.approx(1 / plan.ratio)


def test_the_backdrop_lies_behind_the_turning_circle() -> None:
    """2 R (D + g) / sqrt(D^2 - R^2), with R half the model's height."""
    plan = make_plan(height_m=1.7, lens_mm=15)
    radius, d, g = 0.85, plan.distance, plan.backdrop_gap
    assert plan.turning_radius == pytest.approx(radius)
    assert plan.backdrop_size[0] == pytest.approx(2 * radius * (d + g) / math.sqrt(d * d - radius * radius))
    lens, top = plan.camera_height, 1.7
    assert plan.backdrop_size[1] == pytest.approx(lens + (top - lens) * (d + g) / (d - 0.35))


def test_how_high_the_lamps_stand() -> None:
    """Over the middle of the pose, 0.85 m: the key by 0.7 of its distance, 2 m, the fill by 0.2 of its, 2.4 m."""
    key, fill = make_plan(height_m=1.7, lens_mm=50).lamps
    assert (math.hypot(key.x, key.y), key.height) == pytest.approx((2.0, 0.85 + 0.7 * 2.0))
    assert (math.hypot(fill.x, fill.y), fill.height) == pytest.approx((2.4, 0.85 + 0.2 * 2.4))
    key, fill = make_plan(height_m=2.4, stand_m=1.0, lens_mm=50).lamps
    assert (key.height, fill.height) == (2.4, 2.2), "no stand goes higher"


@pytest.mark.parametrize(("flag", "least", "most"), [
    ("height_m", 0.5, 2.5), ("room_m", 2, 100), ("lens_mm", 10, 600), ("distance_m", 0.5, 100), ("stops", 3, 360),
    ("stand_m", 0, 2), ("ratio", 1, 16), ("hold_s", 0.5, 600), ("pose_min", 1, 120), ("break_min", 0, 120),
    ("close_ups_min", 0, 120), ("poses", 1, 50)])
def test_what_a_plan_takes(flag: str, least: float, most: float) -> None:
    for value in (least, most):
        make_plan(**{flag: value})
    beyond = 1 if isinstance(least, int) and flag in ("stops", "poses") else 0.01
    for value in (least - beyond, most + beyond):
        with pytest.raises(SettingsError):
            make_plan(**{flag: value})


def test_pictures_have_sides_that_a_camera_can_have() -> None:
    assert make_plan(pixels=(64, 256)).pixels == (64, 256)
    for pixels in ((63, 126), (3024, 100_001), (64, 257)):
        with pytest.raises(SettingsError):
            make_plan(pixels=pixels)


@pytest.mark.parametrize(("given", "says"), [(170, "1.70"), (50, "0.50"), (1000, "10.00"), (49.9, None), (1001, None)])
def test_centimetres_are_recognised(given: float, says: str | None) -> None:
    with pytest.raises(SettingsError) as caught:
        make_plan(height_m=given)
    assert ("did you mean" in str(caught.value)) == (says is not None) and (says is None or says in str(caught.value))


def test_the_key_gives_all_its_light_and_the_fill_a_share() -> None:
    """Key to fill 4:1 unless asked otherwise, so the fill gives a quarter of the key's light."""
    assert [lamp.share for lamp in make_plan().lamps] == [1.0, 0.25]
    assert [lamp.share for lamp in make_plan(ratio=2).lamps] == [1.0, 0.5]


def test_which_lens_fills_the_picture_from_here() -> None:
    """The lens at the waist needs 2 x 0.62 x 1.7 = 2.108 m on 36 mm; 0.35 m is for what comes forward."""
    plan = make_plan(height_m=1.7)
    assert plan.lens_to_fill == pytest.approx((4 - 0.35) * 36 / 2.108)
    assert dict(plan.lenses) == pytest.approx({f: 0.35 + f * 2.108 / 36 for f in (26, 35, 50, 70, 85)})
    assert dict(make_plan(height_m=1.7, lens_mm=105).lenses)[105] == pytest.approx(0.35 + 105 * 2.108 / 36)


def test_a_hand_reaches_further_than_half_of_a_small_model() -> None:
    assert [make_plan(height_m=h).turning_radius for h in (1.0, 1.2, 2.0)] == pytest.approx([0.6, 0.6, 1.0])


def test_a_camera_within_the_turning_circle_needs_what_its_picture_shows() -> None:
    """0.5 m from the axis, 1.5 m before the backdrop: four times as far, so four times the frame."""
    plan = make_plan(height_m=1.7, distance_m=0.5)
    assert plan.backdrop_size == pytest.approx((4 * 27 * 0.5 / 26, 0.62 * 1.7 + 4 * 36 * 0.5 / 26 / 2))


@pytest.mark.parametrize(("room", "fits"), [(5.5, True), (5.4, False), (4.6, False)])
def test_a_distance_fits_with_a_metre_behind_the_model_and_half_a_metre_behind_the_camera(
    room: float, fits: bool
) -> None:
    assert make_plan(distance_m=4.0, room_m=room).fits == fits, "4 + 1 + 0.5 m"
