"""The rings of a plan, against a pinhole that is calculated elsewhere and against figures worked out by hand."""

from __future__ import annotations

import math
from dataclasses import replace
from typing import Any

import numpy as np
import pytest
from hypothesis import given, settings
from hypothesis import strategies as st

from silhouette.geometry.orbit import StopCamera, project
from silhouette.plan.camera import make_plan
from silhouette.plan.rings import rings_of
from silhouette.records_shoot import Plan, PlanRing

POSES = ("standing", "arms raised", "seated", "lying")


def ring(plan: Plan, name: str) -> PlanRing:
    return next(one for one in plan.rings if one.ring == name)


def seen(plan: Plan, one: PlanRing, points: list[tuple[float, float, float]]) -> tuple[np.ndarray, np.ndarray]:
    """(n, 2) places in the picture, a share of its sides from its middle, 0.5 at the edge; and depths, m. Points are
    metres to picture right, behind the axis, over the ground."""
    wide, high = plan.pixels
    focal = plan.lens / 36 * max(wide, high)
    camera = StopCamera(0.0, one.distance, one.over_ground, one.tilt, focal, 0.0, (wide, high))
    places, depths = project(camera, np.array(points))
    return (places - (wide / 2, high / 2)) / (wide, high), depths


def test_the_rings_of_a_standing_figure_worked_out_by_hand() -> None:
    """1.70 m, 4 m off; parts come 0.35 m nearer. Low, lens at 0.35 m: feet at atan(-0.35 / 3.65) = -5.48 degrees, crown
    at atan(1.35 / 3.65) = 20.30; high, at 2.30 m: feet at atan(-2.3 / 3.65) = -32.22, the far side of the crown at
    atan(-0.6 / 4.35) = -7.85. The tilt is the middle of the two."""
    plan = make_plan(height_m=1.70)
    low, level, high = plan.rings
    assert [one.ring for one in plan.rings] == ["low", "level", "high"] and plan.other_rings == (low, high)
    assert [(one.distance, one.height) for one in plan.rings] == [
        (4.0, pytest.approx(0.35)), (4.0, pytest.approx(plan.camera_height)), (4.0, pytest.approx(2.30))]
    assert low.sees == pytest.approx((-5.477, 20.298), abs=0.01) and low.tilt == pytest.approx(7.41, abs=0.01)
    assert high.sees == pytest.approx((-32.217, -7.853), abs=0.01) and high.tilt == pytest.approx(-20.04, abs=0.01)
    assert level.tilt == 0
    # the middle of the figure, 0.85 m: atan(0.5 / 4) and atan(-1.45 / 4)
    assert (low.sight, high.sight) == pytest.approx((7.125, -19.926), abs=0.01)


def test_what_lies_nearer_looks_larger() -> None:
    """Size goes with one over depth along the line of sight. High, tilted down by 20.04: the crown lies at
    4 cos - 0.6 x -sin = 3.963 m, the feet at 4.546: 14.7 %. Low, up by 7.41: feet 3.921, crown 4.141: 5.6 %."""
    plan = make_plan(height_m=1.70)
    assert ring(plan, "high").head_over_feet == pytest.approx(4.546 / 3.963, abs=0.002)
    assert 1 / ring(plan, "low").head_over_feet == pytest.approx(4.141 / 3.921, abs=0.002)
    assert ring(plan, "level").head_over_feet == 1 and ring(plan, "level").forward == pytest.approx(plan.forward)
    for one in plan.rings:
        _, (feet, crown, middle, hand) = seen(plan, one, [
            (0, 0, 0), (0, 0, 1.7), (0, 0, 0.85), (0, -plan.reach, 0.85)])
        assert one.head_over_feet == pytest.approx(feet / crown)
        assert one.forward == pytest.approx(middle / hand)


def test_a_ring_over_a_stand_is_higher_by_it() -> None:
    on, off = make_plan(stand_m=0.5), make_plan()
    for a, b in zip(on.rings, off.rings, strict=True):
        assert a.height == pytest.approx(b.height + 0.5) and a.over_ground == pytest.approx(b.over_ground)
        assert a.tilt == pytest.approx(b.tilt) and a.ceiling == pytest.approx(b.ceiling + 0.5)
    assert ring(off, "high").ceiling == pytest.approx(2.5), "0.2 m over the lens"


def test_the_backdrop_of_the_low_ring_is_higher() -> None:
    """From 0.35 m over a crown 3.65 m away to a wall 5.5 m away: 0.35 + 1.35 x 5.5 / 3.65."""
    plan = make_plan(height_m=1.70)
    assert ring(plan, "low").backdrop_high == pytest.approx(0.35 + 1.35 * 5.5 / 3.65)
    assert ring(plan, "high").backdrop_high == pytest.approx(1.70)


@pytest.mark.parametrize(("pose", "rings"), [
    ("standing", {"low": (0.3, 0.4), "high": (2.2, 2.4)}), ("arms raised", {"low": (0.3, 0.4), "high": (2.5, 2.6)}),
    ("seated", {"low": (0.2, 0.3), "high": (1.8, 2.1)}), ("lying", {"high": (1.7, 2.0)})])
def test_how_high_the_cameras_of_a_pose_stand(pose: str, rings: dict[str, tuple[float, float]]) -> None:
    plan = make_plan(pose=pose, height_m=1.72)
    assert tuple(one.ring for one in plan.other_rings) == rings_of(pose) == tuple(rings)
    for name, (least, most) in rings.items():
        assert least <= ring(plan, name).over_ground <= most


@settings(max_examples=150)
@given(
    pose=st.sampled_from(POSES), height=st.floats(0.9, 2.3), lens=st.floats(14, 200), stand=st.floats(0, 1),
    room=st.none() | st.floats(2, 30), distance=st.none() | st.floats(1, 20),
    orientation=st.sampled_from([None, "upright", "wide"]), pixels=st.sampled_from([(3024, 4032), (1080, 1920)]),
)
def test_what_a_ring_is_said_to_show_is_in_its_picture(**ask: Any) -> None:
    """The ground and the top of the pose, as near and as far as its parts come, projected through a pinhole."""
    plan = make_plan(pose=ask["pose"], height_m=ask["height"], lens_mm=ask["lens"], stand_m=ask["stand"],
                     room_m=ask["room"], distance_m=ask["distance"], orientation=ask["orientation"],
                     pixels=ask["pixels"])
    reach = plan.reach if plan.pose == "lying" else 0.35
    for one in plan.other_rings:
        assert 0.2 - 1e-9 <= one.over_ground <= 2.6 + 1e-9 and one.height == pytest.approx(plan.stand + one.over_ground)
        assert one.distance >= plan.distance - 1e-9
        if plan.farthest is not None:
            assert one.distance <= max(plan.distance, plan.farthest) + 1e-9
        if not one.in_frame:
            continue
        ends = [(0.0, y, z) for y in (-reach, reach) for z in (0.0, plan.pose_height)]
        sides = [(x, -0.35, z) for x in (-plan.pose_width / 2, plan.pose_width / 2) for z in (0.0, plan.pose_height)]
        (up_down, _), (across, _) = seen(plan, one, ends), seen(plan, one, sides)
        assert np.abs(up_down[:, 1]).max() <= 0.5 + 1e-6 and np.abs(across[:, 0]).max() <= 0.5 + 1e-6
        assert up_down[:, 1].max() == pytest.approx(-up_down[:, 1].min(), abs=1e-6), "as much room over it as under it"
        assert 2 * up_down[:, 1].max() == pytest.approx(one.frame_share, abs=1e-6)


@pytest.mark.parametrize("lens", [26, 50, 85])
@pytest.mark.parametrize("pose", POSES)
def test_with_room_enough_every_ring_fits_as_far_off_as_it_must(pose: str, lens: float) -> None:
    plan = make_plan(pose=pose, lens_mm=lens)
    assert all(one.in_frame for one in plan.rings)
    for one in plan.other_rings:  # a step nearer it would not fit, or stand before the level camera
        assert one.distance - plan.distance < 0.45
    with_a_phone = make_plan(pose=pose)
    assert all(one.distance == with_a_phone.distance for one in with_a_phone.rings)


@pytest.mark.parametrize(("change", "warned"), [
    ({}, ()), ({"ceiling": 2.61}, ("low ceiling",)), ({"ceiling": 2.6}, ()), ({"in_frame": False}, ("ring cut off",)),
    ({"over_ground": 2.61}, ("beyond the reader",)), ({"over_ground": 0.2}, ()), ({"over_ground": 0.19},
    ("beyond the reader",)), ({"distance": 2.59}, ("beyond the reader",)), ({"distance": 6.0}, ()),
    ({"distance": 6.01}, ("beyond the reader",))])
def test_what_a_ring_is_warned_of(change: dict[str, Any], warned: tuple[str, ...]) -> None:
    from silhouette.plan.warnings import warnings_for

    plan = make_plan(lens_mm=50)
    low, level, high = plan.rings
    assert warnings_for(replace(plan, rings=(low, level, replace(high, **change)))) == warned
    assert warnings_for(replace(plan, rings=(low, replace(level, **change), high))) == (), "the level one has its own"


def test_a_ring_is_not_said_to_be_cut_where_the_whole_plan_is() -> None:
    plan = make_plan(lens_mm=105, room_m=6)
    assert not any(one.in_frame for one in plan.rings)
    assert "lens too long" in plan.warnings and "ring cut off" not in plan.warnings


def test_a_camera_at_the_model_leaves_numbers() -> None:
    for pose in POSES:
        for one in make_plan(pose=pose, distance_m=0.5).rings:
            assert not one.in_frame and math.isfinite(one.tilt) and all(map(math.isfinite, one.sees))
