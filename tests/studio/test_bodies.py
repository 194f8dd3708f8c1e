"""The posed body against published proportions and against what anatomical angles mean."""

from __future__ import annotations

import numpy as np
import pytest

pytest.importorskip("anny")

from silhouette.studio import bodies, poses, rig
from silhouette.studio.bodies import Body, Build


def standing(**pose: tuple[float, ...]) -> Body:
    return bodies.pose_body(Build(), pose)


def test_a_standing_adult_has_the_published_proportions() -> None:
    """Shares of stature after Drillis & Contini 1966, as printed in Winter; their spread between people is a few %."""
    body = standing()
    tall = body.vertices[:, 2].max()
    published = {"shoulder_l": 0.818, "elbow_l": 0.630, "hip_l": 0.530, "wrist_l": 0.485, "knee_l": 0.285,
                 "ankle_l": 0.039}
    for joint, share in published.items():
        assert body.joints[joint][2] / tall == pytest.approx(share, abs=0.025), joint
    assert body.vertices[body.limb == 2][:, 2].min() / tall == pytest.approx(0.377, abs=0.025)


def test_it_stands_on_the_ground_round_the_axis_and_faces_the_front() -> None:
    body = standing()
    assert body.vertices[:, 2].min() == pytest.approx(0, abs=1e-5)
    assert np.abs(body.joints["pelvis"][:2]).max() < 0.08
    assert body.joints["foot_l"][1] < body.joints["ankle_l"][1]
    assert body.joints["shoulder_l"][0] > 0.1 > -0.1 > body.joints["shoulder_r"][0]
    assert set(np.unique(body.limb)) == set(range(6))


def test_angles_mean_what_anatomy_says() -> None:
    out = standing(arm_l=(90, 0, 0)).joints
    assert out["wrist_l"][2] == pytest.approx(out["shoulder_l"][2], abs=0.02)
    assert out["wrist_l"][0] > out["shoulder_l"][0] + 0.4
    bent = standing(elbow_r=(90,)).joints
    assert bent["wrist_r"][2] == pytest.approx(bent["elbow_r"][2], abs=0.02)
    assert bent["wrist_r"][1] < bent["elbow_r"][1] - 0.2
    kick = standing(leg_r=(90, 0, 0)).joints
    assert kick["knee_r"][1] < kick["hip_r"][1] - 0.3
    bow = standing(spine=(60, 0, 0)).joints
    assert bow["head"][1] < bow["pelvis"][1] - 0.2
    lean = standing(spine=(0, 30, 0)).joints
    assert lean["head"][0] > lean["pelvis"][0] + 0.1


def test_crown_and_tips_are_where_the_body_ends() -> None:
    for build in (Build(), Build(gender=1.0, weight=0.9, height=0.2), Build(age=0.4, muscle=0.9)):
        body = bodies.pose_body(build, {})
        assert body.joints["crown"][2] == pytest.approx(body.vertices[:, 2].max(), abs=0.001)
        for k, side in enumerate("lr"):
            arm, leg = body.vertices[body.limb == 2 + k], body.vertices[body.limb == 4 + k]
            assert body.joints[f"hand_end_{side}"][2] == pytest.approx(arm[:, 2].min(), abs=0.003)
            toes = leg[leg[:, 1] < leg[:, 1].min() + 0.02]
            assert body.joints[f"foot_end_{side}"][1] == pytest.approx(leg[:, 1].min(), abs=0.012)
            assert toes[:, 0].min() <= body.joints[f"foot_end_{side}"][0] <= toes[:, 0].max()


def test_a_mirrored_pose_is_the_mirror_image() -> None:
    pose = poses.NAMED["contrapposto"]
    one, other = bodies.pose_bodies([Build(), Build()], [pose, poses.mirrored(pose)])
    for joint, place in one.joints.items():
        twin = joint[:-2] + {"_l": "_r", "_r": "_l"}.get(joint[-2:], joint[-2:])
        assert other.joints[twin] * (-1, 1, 1) == pytest.approx(place, abs=0.01), joint


def test_a_levelled_stance_puts_both_ankles_equally_high() -> None:
    for name in ("contrapposto", "striding", "lunge", "at ease"):
        joints = bodies.pose_body(Build(), poses.NAMED[name]).joints
        assert joints["ankle_l"][2] == pytest.approx(joints["ankle_r"][2], abs=0.01), name


def test_builds_differ_and_posing_keeps_the_length_of_bones() -> None:
    low, high = bodies.pose_bodies([Build(height=0.2), Build(height=0.8)], [{}, {}])
    assert high.vertices[:, 2].max() > low.vertices[:, 2].max() + 0.1
    crouched = bodies.pose_body(Build(height=0.2), poses.NAMED["crouching"])
    for a, b in (("hip_l", "knee_l"), ("shoulder_r", "elbow_r")):
        length = np.linalg.norm(low.joints[a] - low.joints[b])
        assert np.linalg.norm(crouched.joints[a] - crouched.joints[b]) == pytest.approx(length, abs=0.02)


def test_a_pose_that_cannot_be_read_says_why() -> None:
    with pytest.raises(ValueError, match="no group of bones"):
        rig.pose_vectors([{"tail": (1,)}])
    with pytest.raises(ValueError, match="takes 3 angles"):
        rig.pose_vectors([{"arm_l": (1,)}])
