"""Poses stay inside joint limits, and a seed fixes them."""

from __future__ import annotations

import numpy as np
import pytest

pytest.importorskip("torch")

from silhouette.studio import dress, poses, rig


def inside(pose: rig.Pose) -> bool:
    for group, angles in pose.items():
        bounds = poses.LIMITS[group.removesuffix("_l").removesuffix("_r")]
        if not all(lo - 1e-6 <= a <= hi + 1e-6 for a, (lo, hi) in zip(angles, bounds, strict=True)):
            return False
    return True


def test_named_poses_can_be_struck() -> None:
    assert len(poses.NAMED) >= 24
    assert {name for name, pose in poses.NAMED.items() if not inside(poses.limit(pose))} == set()
    rig.pose_vectors(list(poses.NAMED.values()))


def test_sampled_poses_stay_inside_the_limits_and_follow_the_seed() -> None:
    drawn = [poses.sample(np.random.default_rng(k)) for k in range(200)]
    assert all(inside(p) for p in drawn)
    assert drawn[3] == poses.sample(np.random.default_rng(3)) != drawn[4]


def test_an_arm_behind_the_body_cannot_rise_overhead() -> None:
    assert poses.limit({"arm_l": (170, -45, 0)})["arm_l"][0] < 120


def test_mirroring_twice_changes_nothing() -> None:
    for pose in poses.NAMED.values():
        assert poses.mirrored(poses.mirrored(pose)) == pose


def test_training_stays_away_from_the_poses_it_is_tested_on() -> None:
    assert set(poses.TAUGHT) | set(poses.KEPT_OUT) == set(poses.NAMED)
    assert not set(poses.TAUGHT) & set(poses.KEPT_OUT)


def test_outfits_follow_the_seed_and_say_what_they_hold() -> None:
    assert dress.sample(np.random.default_rng(5)) == dress.sample(np.random.default_rng(5))
    assert dress.worn(dress.NAKED) == ()
    assert dress.worn(dress.Outfit(skirt=0.5, pole=-0.4)) == ("skirt", "pole")
