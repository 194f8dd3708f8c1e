"""Several rings in one frame, from bells that are known."""

from __future__ import annotations

from dataclasses import replace

import numpy as np
import pytest
from numpy.typing import NDArray

from silhouette.geometry.orbit import project
from silhouette.records_space import StopCamera
from silhouette.space import joints, rings
from silhouette.space.rings import RingViews, Together
from tests.space.test_joints import BODIES, STILL, about_z, bells_of, first, off, points_of

Floats = NDArray[np.float64]
ANGLES = np.arange(0, 360, 30.0)
LOW = replace(STILL, pitch=7.0, height=0.35, distance=3.6)
HIGH = replace(STILL, pitch=-17.0, height=2.3, distance=3.9, aside=0.04)
ASIDE = np.array([0.02, -0.015, 0.0])
"""Where the model stood in the second ring, metres."""


def ring(points: Floats, camera: StopCamera, begins: float = 0.0, seed: int = 0, error: float = 1.0) -> RingViews:
    """A ring that began so many degrees farther round than its names say."""
    true = [replace(camera, angle=float(a) + begins) for a in ANGLES]
    said = [replace(c, angle=c.angle - begins) for c in first(true)]
    bells = bells_of(points, true, np.random.default_rng(seed), error=error)
    return RingViews(bells, said, [None] * len(said), joints.LENS_KNOWN)


@pytest.fixture(scope="module")
def points() -> Floats:
    return BODIES["contrapposto"]


def solved(*seen: RingViews) -> Together:
    return rings.solve(seen)


@pytest.fixture(scope="module")
def together(points: Floats) -> Together:
    return solved(ring(points, STILL), ring(points + ASIDE, LOW, 2.5, 1), ring(points, HIGH, -2.0, 2))


def metres(found: Together, points: Floats) -> float:
    """Metres a unit: the body's own size, by all distances from its middle."""
    own, true = points_of(found.skeleton), points[:, 2].max() - points[:, 2].min()
    return float(true / np.ptp(own[:, 2]))


def test_all_rings_share_the_points(together: Together, points: Floats) -> None:
    assert off(together.skeleton, points, metres(together, points)).max() < 0.012
    assert all(one.joined and one.apart < 0.005 for one in together.rings)
    within = np.array([j.within for j in together.skeleton.joints])
    assert (within < 0.05).all() and all(j.sure for j in together.skeleton.joints)


def test_every_ring_has_a_camera_and_a_beginning_of_its_own(together: Together, points: Floats) -> None:
    unit = metres(together, points)
    for one, camera, begins in zip(together.rings, (STILL, LOW, HIGH), (0.0, 2.5, -2.0), strict=True):
        assert one.tilt == pytest.approx(camera.pitch, abs=0.5)
        assert one.distance * unit == pytest.approx(camera.distance, rel=0.03)
        assert one.begins == pytest.approx(begins, abs=0.5)
        higher = (one.height - together.rings[0].height) * unit
        assert higher == pytest.approx(camera.height - STILL.height, abs=0.05)


def test_cameras_see_the_joints_where_the_views_show_them(together: Together, points: Floats) -> None:
    true = [replace(c, angle=float(a) + b) for c, b in ((STILL, 0.0), (LOW, 2.5), (HIGH, -2.0)) for a in ANGLES]
    stood = [np.zeros(3), ASIDE, np.zeros(3)]
    own = points_of(together.skeleton)[1:]  # less the crown, which is put where a bare skull has it
    for k, (camera, seen) in enumerate(zip(together.skeleton.cameras, true, strict=True)):
        where = project(camera, own)[0]
        there = project(seen, points + stood[k // len(ANGLES)])[0]
        nearest = np.linalg.norm(where[:, None] - there[None], axis=2).min(axis=1)
        assert np.median(nearest) < 4.0


def test_a_ring_that_began_elsewhere_is_laid_over_the_first(points: Floats) -> None:
    found = solved(ring(points, STILL), ring(points, HIGH, 90.0, 1))
    assert found.rings[1].joined and found.rings[1].begins == pytest.approx(90.0, abs=1.5)


def test_a_ring_of_another_pose_takes_no_part(points: Floats) -> None:
    other = BODIES["sitting, knee held"]
    found = solved(ring(points, STILL), ring(points, LOW, 0.0, 1), ring(other, HIGH, 0.0, 2))
    assert [one.joined for one in found.rings] == [True, True, False]
    assert found.rings[2].apart > rings.OTHER_POSE
    assert off(found.skeleton, points, metres(found, points)).max() < 0.015
    assert [len(found.skeleton.cameras[one.stops]) for one in found.rings] == [len(ANGLES)] * 3
    assert found.rings[2].tilt == pytest.approx(HIGH.pitch, abs=1.5)


def test_one_ring_is_what_it_is_alone(points: Floats) -> None:
    only = ring(points, STILL)
    found = solved(only)
    alone = joints.solve(only.bells, only.cameras, only.angle_sure, distance_sure=only.distance_sure)
    unit = np.ptp(points_of(alone)[:, 2]) / np.ptp(points_of(found.skeleton)[:, 2])
    np.testing.assert_allclose(points_of(found.skeleton)[1:] * unit, points_of(alone)[1:], atol=0.004)


def test_what_does_not_turn_as_its_angles_say_is_told_from_what_does(points: Floats) -> None:
    true = ring(points, HIGH)
    assert rings.turns(rings.alone(true))
    still = replace(true, bells=[true.bells[0]] * len(true.bells))
    assert not rings.turns(rings.alone(still))
    backwards = replace(true, cameras=[replace(c, angle=-c.angle) for c in true.cameras])
    assert not rings.turns(rings.alone(backwards))
    order = np.random.default_rng(3).permutation(len(true.bells))
    assert not rings.turns(rings.alone(replace(true, bells=[true.bells[k] for k in order])))


@pytest.mark.parametrize("turn", [0.0, 33.0, -120.0, 180.0])
def test_a_laying_is_found_in_closed_form(points: Floats, turn: float) -> None:
    shift = np.array([0.1, -0.2, 0.05])
    other = (points - shift) @ about_z(turn)
    lay = rings.laid_over(points, other)
    np.testing.assert_allclose(lay.on(other), points, atol=1e-9)
    assert np.degrees(lay.turn) == pytest.approx(turn, abs=1e-6) or abs(turn) == 180.0


def test_a_few_points_that_lie_elsewhere_do_not_move_the_laying(points: Floats) -> None:
    other = points @ about_z(20.0)
    other[[1, 2]] = other[[2, 1]] + 0.5
    lay = rings.laid_over(points, other)
    assert np.degrees(lay.turn) == pytest.approx(20.0, abs=0.1)


def test_the_waist_lies_between_hips_and_neck(together: Together) -> None:
    found = together.skeleton
    waist = rings.waist_of(found)
    hip, neck = found.at("hip", "left"), found.at("neck")
    assert waist is not None and hip is not None and neck is not None
    assert hip[2] < waist < neck[2]
    lost = tuple(replace(j, at=None) if j.joint == "neck" else j for j in found.joints)
    assert rings.waist_of(replace(found, joints=lost)) is None
