"""From figure heights to metres, against bodies whose stature is known."""

from __future__ import annotations

from dataclasses import replace

import numpy as np
import pytest

from silhouette.geometry.orbit import StopCamera
from silhouette.records_space import JOINTS, SINGLE, Skeleton, SpaceJoint
from silhouette.space import stature

CAMERA = StopCamera(15.0, 2.4, 0.6, -2.0, 1600.0, 0.02, (756, 1008))


def standing(tall: float, *, sits: bool = False) -> Skeleton:
    """A figure of that stature that stands with straight limbs, or sits with level thighs."""
    knee, ankle, hip = 0.2499 + 0.04, 0.04, 0.2359 + 0.2499 + 0.04
    places = {
        "ankle": (0.0, 0.0, ankle), "knee": (0.0, 0.0, knee), "foot end": (0.0, -0.12, 0.01),
        "hip": (0.0, 0.0, hip), "neck": (0.0, 0.0, hip + 0.3303), "crown": (0.0, 0.0, hip + 0.3303 + 0.1478),
        "shoulder": (0.0, 0.0, 0.8), "elbow": (0.0, 0.0, 0.8 - 0.1551), "wrist": (0.0, 0.0, 0.8 - 0.1551 - 0.1375),
        "hand end": (0.0, 0.0, 0.4),
    }
    joints = []
    for name in JOINTS:
        at = np.array(places[name])
        if sits and name not in ("ankle", "knee", "foot end"):
            at = at + np.array([0.0, 0.2359, -0.2359])
        x, y, z = (float(v) for v in at * tall)
        for side in (None,) if name in SINGLE else ("left", "right"):
            joints.append(SpaceJoint(name, side, (x, y, z), 0.01 * tall, True))                # type: ignore[arg-type]
    return Skeleton(tuple(joints), (CAMERA,), {"head": (0.0, 0.0, 0.9 * tall)})


@pytest.mark.parametrize("unit", [1.0, 0.62])
def test_a_figure_that_sits_gets_its_scale_from_its_bones(unit: float) -> None:
    sitting = standing(1.72 / unit, sits=True)
    top = max(j.at[2] for j in sitting.joints if j.at is not None)
    found, how = stature.metres_per_unit(sitting, top, 1.72)
    assert how == "bones"
    assert found == pytest.approx(unit, rel=1e-3)


def test_a_figure_that_stands_straight_is_measured_by_its_height_too() -> None:
    found, how = stature.metres_per_unit(standing(1.0), 1.0, 1.72)
    assert how == "outline"
    assert found == pytest.approx(1.72, rel=0.01)


def test_the_height_of_the_pose_wins_over_all() -> None:
    assert stature.metres_per_unit(standing(0.9), 1.25, 1.72, 1.5) == (pytest.approx(1.2), "given")


def test_bones_that_were_not_found_are_done_without() -> None:
    whole = standing(1.0, sits=True)
    gone = replace(whole, joints=tuple(
        replace(j, at=None, within=None, sure=False) if j.joint in ("knee", "wrist") else j for j in whole.joints))
    assert stature.metres_per_unit(gone, 0.8, 1.72)[0] == pytest.approx(1.72, rel=1e-3)
    one_side = replace(whole, joints=tuple(
        replace(j, at=None, within=None, sure=False) if j.side == "left" else j for j in whole.joints))
    assert stature.metres_per_unit(one_side, 0.8, 1.72)[0] == pytest.approx(1.72, rel=1e-3)


def test_where_no_bone_was_found_the_outline_is_all_there_is() -> None:
    whole = standing(1.0)
    none = replace(whole, joints=tuple(replace(j, at=None, within=None, sure=False) for j in whole.joints))
    assert stature.metres_per_unit(none, 0.5, 1.72) == (pytest.approx(3.44), "outline")


def test_moving_raises_joints_and_cameras_alike_and_scales_them() -> None:
    before = standing(1.0)
    after = stature.moved(before, 0.1, 2.0)
    crown, was = after.at("crown"), before.at("crown")
    assert crown is not None and was is not None
    np.testing.assert_allclose(crown, (was + np.array([0, 0, 0.1])) * 2)
    assert after.joints[0].within == pytest.approx(0.02)
    assert after.others["head"][2] == pytest.approx((0.9 + 0.1) * 2)
    assert after.cameras[0].height == pytest.approx(1.4)
    assert after.cameras[0].distance == pytest.approx(4.8)
    assert after.cameras[0].focal_px == CAMERA.focal_px
