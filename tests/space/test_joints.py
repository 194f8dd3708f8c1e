"""Joints in space from bells that are known: closed forms, and how much may be wrong before they are lost."""

from __future__ import annotations

import json
from collections.abc import Sequence
from dataclasses import replace
from pathlib import Path

import numpy as np
import pytest
from numpy.typing import NDArray

from silhouette.geometry.orbit import project
from silhouette.records_space import JOINTS, POINTS, SINGLE, PointBells, Skeleton, StopCamera
from silhouette.space import joint_sides, joints

Floats = NDArray[np.float64]

BODIES = {
    name: np.array(points)
    for name, points in json.loads((Path(__file__).parents[1] / "data/points_in_space.json").read_text()).items()
}
"""The 23 points of seven posed bodies of the studio, metres; of each pair the figure's left first."""
NAMES = tuple(BODIES)
STILL = StopCamera(0.0, 4.2, 1.0, 0.0, 1600.0, 0.0, (756, 1008))
TURN = np.arange(0, 360, 15.0)
FIRST = [i for i in range(len(POINTS)) if i and POINTS[i] in POINTS[i + 1 : i + 2]]


def round_(camera: StopCamera, angles: Sequence[float] | Floats) -> list[StopCamera]:
    return [replace(camera, angle=float(a)) for a in angles]


def bells_of(points: Floats, cameras: Sequence[StopCamera], rng: np.random.Generator, *, error: float = 0.0,
             false: float = 0.0, swapped: bool = True) -> list[PointBells]:
    """Two bells a point, both on it; ``error`` in pixels, ``false``: share of points said to be elsewhere."""
    out = []
    for camera in cameras:
        spots = project(camera, points)[0]
        spots = spots + rng.normal(0, 1, spots.shape) * error
        wrong = rng.random(len(spots)) < false
        spots[wrong] = spots[wrong] + rng.normal(0, 120, (wrong.sum(), 2))
        if swapped:
            for k in FIRST:
                if rng.random() < 0.5:
                    spots[[k, k + 1]] = spots[[k + 1, k]]
        x, y = (np.stack([spots[:, c], spots[:, c]], axis=1) for c in (0, 1))
        share = np.tile([0.7, 0.3], (len(spots), 1))
        out.append(PointBells(share, x, y, np.full(x.shape, error or 0.5), 650.0, 0.0))
    return out


def first(cameras: Sequence[StopCamera]) -> list[StopCamera]:
    """What is known of the cameras at first: the lens, level, the angles as they are named."""
    return [replace(c, pitch=0.0, aside=0.0, height=1.0, shift=(0.0, 0.0)) for c in cameras]


def points_of(found: Skeleton) -> Floats:
    """(18, 3) in the order of ``joints``; nan where there is none."""
    return np.array([j.at if j.at is not None else (np.nan,) * 3 for j in found.joints])


def truth(points: Floats) -> Floats:
    """(18, 3) the joints of 23 points in the same order."""
    rows = []
    for name in JOINTS:
        k = POINTS.index(name)
        rows += [k] if name in SINGLE else [k, k + 1]
    return points[rows]


def off(found: Skeleton, points: Floats, unit: float = 1.0) -> Floats:
    """(17,) metres each joint but the crown is off, but for how high the ground lies."""
    differ = (points_of(found) * unit - truth(points))[1:]
    differ[:, 2] -= np.nanmedian(differ[:, 2])
    return np.asarray(np.linalg.norm(differ, axis=1))


CAMERAS = ((0.0, 1.0), (-7.0, 1.5), (4.0, 0.3), (-11.0, 2.4))


@pytest.mark.parametrize(("name", "pitch", "height"), [
    *((name, *CAMERAS[k % 4]) for k, name in enumerate(NAMES)), *((name, *CAMERAS[3]) for name in NAMES[:3])])
def test_points_on_a_known_orbit_are_found_to_a_millimetre(name: str, pitch: float, height: float) -> None:
    points = BODIES[name]
    camera = replace(STILL, pitch=pitch, height=height, aside=0.05)
    cameras = round_(camera, TURN)
    bells = bells_of(points, cameras, np.random.default_rng(1))
    found = joints.solve(bells, first(cameras), [None] * len(TURN))
    assert off(found, points).max() < 0.001
    assert found.cameras[0].pitch == pytest.approx(pitch, abs=0.25)
    assert found.cameras[0].aside == pytest.approx(0.05, abs=0.002)


@pytest.mark.parametrize("name", NAMES)
def test_a_third_of_the_bells_may_be_false(name: str) -> None:
    points, cameras = BODIES[name], round_(STILL, TURN)
    bells = bells_of(points, cameras, np.random.default_rng(2), error=5.0, false=0.3)
    found = joints.solve(bells, first(cameras), [None] * len(TURN))
    assert np.median(off(found, points)) < 0.010
    assert off(found, points).max() < 0.05


@pytest.mark.parametrize("name", NAMES[:5])
def test_two_stops_at_other_angles_than_named_are_put_right(name: str) -> None:
    points, cameras = BODIES[name], round_(STILL, TURN)
    bells = bells_of(points, cameras, np.random.default_rng(3), error=4.0)
    said = [replace(c, angle=c.angle + {5: 5.0, 14: -5.0}.get(i, 0.0)) for i, c in enumerate(first(cameras))]
    found = joints.solve(bells, said, [None] * len(TURN))
    assert np.median(off(found, points)) < 0.010
    for i in (5, 14):
        assert (found.cameras[i].angle - TURN[i] + 180) % 360 - 180 == pytest.approx(0, abs=2.0)


def test_angles_found_from_outlines_may_all_be_off() -> None:
    rng = np.random.default_rng(4)
    points, cameras = BODIES["contrapposto"], round_(STILL, TURN)
    bells = bells_of(points, cameras, rng, error=5.0)
    said = [replace(c, angle=c.angle + float(rng.normal(0, 3))) for c in first(cameras)]
    found = joints.solve(bells, said, [5.0] * len(TURN))
    mean = np.mean([(s.angle - c.angle + 180) % 360 - 180 for s, c in zip(said, cameras, strict=True)])
    turned = points @ about_z(-mean).T
    assert np.median(off(found, turned)) < 0.012


def about_z(degrees: float) -> Floats:
    a = np.radians(degrees)
    return np.array([[np.cos(a), -np.sin(a), 0], [np.sin(a), np.cos(a), 0], [0, 0, 1]])


@pytest.mark.parametrize("constant", [10.0, -25.0])
def test_turning_all_angles_by_a_constant_turns_the_joints(constant: float) -> None:
    points, cameras = BODIES["striding"], round_(STILL, TURN)
    bells = bells_of(points, cameras, np.random.default_rng(5), error=3.0)
    before = joints.solve(bells, first(cameras), [None] * len(TURN))
    after = joints.solve(bells, [replace(c, angle=c.angle + constant) for c in first(cameras)], [None] * len(TURN))
    # a camera farther round by so much sees what it saw if the figure is turned the same way, clockwise from above
    np.testing.assert_allclose(points_of(after), points_of(before) @ about_z(-constant).T, atol=2e-3)


def test_the_order_of_the_stops_does_not_matter() -> None:
    points, cameras = BODIES["contrapposto"], round_(STILL, TURN)
    bells = bells_of(points, cameras, np.random.default_rng(6), error=4.0)
    one = joints.solve(bells, first(cameras), [None] * len(TURN))
    other = joints.solve(bells[::-1], first(cameras)[::-1], [None] * len(TURN))
    np.testing.assert_allclose(points_of(one), points_of(other), atol=2e-3)


@pytest.mark.parametrize("name", NAMES[:5])
def test_a_mirrored_figure_has_its_sides_exchanged(name: str) -> None:
    """The mirror image of a pose, seen from the mirrored angles: right limbs where left ones were."""
    mirror = BODIES[name] * np.array([-1.0, 1.0, 1.0])
    points = mirror.copy()
    for k in FIRST:
        points[[k, k + 1]] = mirror[[k + 1, k]]
    cameras = round_(STILL, -TURN % 360)
    bells = bells_of(points, cameras, np.random.default_rng(7), error=3.0)
    found = joints.solve(bells, first(cameras), [None] * len(TURN))
    assert off(found, points).max() < 0.03


@pytest.mark.parametrize("name", ["striding", "sitting, knee held", "contrapposto"])
def test_sides_are_right_though_the_first_stop_shows_the_back(name: str) -> None:
    points, cameras = BODIES[name], round_(STILL, TURN)
    bells = bells_of(points, cameras, np.random.default_rng(8), error=3.0)
    named = [replace(c, angle=(c.angle + 180) % 360) for c in first(cameras)]
    found = joints.solve(bells, named, [None] * len(TURN))
    assert off(found, points * np.array([-1.0, -1.0, 1.0])).max() < 0.03
    assert [note["degrees"] for note in found.notes if note.kind == "front elsewhere"] == [pytest.approx(180, abs=40)]


def test_the_front_is_not_remarked_on_where_it_is_at_0() -> None:
    points, cameras = BODIES["striding"], round_(STILL, TURN)
    found = joints.solve(bells_of(points, cameras, np.random.default_rng(8)), first(cameras), [None] * len(TURN))
    assert found.notes == ()


@pytest.mark.parametrize("missing", [1, 4])
def test_views_may_be_missing(missing: int) -> None:
    points, cameras = BODIES["arms folded"], round_(STILL, TURN)
    bells: list[PointBells | None] = list(bells_of(points, cameras, np.random.default_rng(9), error=4.0))
    for k in range(missing):
        bells[3 + 5 * k] = None
    found = joints.solve(bells, first(cameras), [None] * len(TURN))
    assert off(found, points).max() < 0.03
    assert len(found.cameras) == len(TURN)


def test_a_joint_that_no_view_shows_is_none_with_its_reason() -> None:
    points, cameras = BODIES["arms folded"], round_(STILL, TURN)
    bells = bells_of(points, cameras, np.random.default_rng(10), error=4.0)
    hidden = [POINTS.index("hand end"), POINTS.index("hand end") + 1]
    for view in bells:
        view.share[hidden] = 0.0
    found = joints.solve(bells, first(cameras), [None] * len(TURN))
    for joint in found.joints:
        if joint.joint == "hand end":
            assert joint.at is None and joint.within is None and not joint.sure
            assert joint.reason is not None and joint.reason.kind == "joint not seen"
        else:
            assert joint.at is not None and joint.sure and joint.within is not None


def test_a_lens_that_is_not_known_is_found() -> None:
    points, cameras = BODIES["striding"], round_(replace(STILL, distance=3.2, focal_px=1220.0), TURN)
    bells = bells_of(points, cameras, np.random.default_rng(11), error=2.0)
    said = [replace(c, distance=4.2, focal_px=1220.0 / 3.2 * 4.2) for c in first(cameras)]
    found = joints.solve(bells, said, [None] * len(TURN), distance_sure=joints.LENS_UNKNOWN)
    assert found.cameras[0].distance == pytest.approx(3.2, rel=0.05)
    assert np.median(off(found, points)) < 0.01


def test_a_model_that_sways_is_told_from_one_that_turns() -> None:
    rng = np.random.default_rng(12)
    points, cameras = BODIES["contrapposto"], round_(STILL, TURN)
    swaying = [replace(c, shift=(float(rng.normal(0, 2)), 0.0)) for c in cameras]
    found = joints.solve(bells_of(points, swaying, rng, error=1.0), first(cameras), [None] * len(TURN))
    said, is_ = (np.array([c.shift[0] for c in of]) for of in (found.cameras, swaying))
    swing = np.radians(TURN)
    fixed = np.stack([np.ones_like(swing), np.cos(swing), np.sin(swing)], axis=1)   # the axis' own place
    rest = is_ - fixed @ np.linalg.lstsq(fixed, is_)[0]
    assert np.corrcoef(said, rest)[0, 1] > 0.8


def test_within_grows_with_the_error_of_the_views() -> None:
    points, cameras = BODIES["striding"], round_(STILL, TURN)
    said = []
    for error in (3.0, 12.0):
        found = joints.solve(bells_of(points, cameras, np.random.default_rng(13), error=error), first(cameras),
                             [None] * len(TURN))
        said.append(np.median([j.within for j in found.joints if j.within is not None]))
    assert said[1] > 1.5 * said[0]


@pytest.mark.parametrize("name", NAMES)
def test_the_crown_is_put_half_way_to_the_bare_skull(name: str) -> None:
    points = BODIES[name]
    moved = joints.bared(points, 1.7)
    step = moved - points
    crown = POINTS.index("crown")
    assert not np.delete(step, crown, axis=0).any()
    assert np.linalg.norm(step[crown]) == pytest.approx(0.0149, abs=5e-4)
    face = points[POINTS.index("head")] - (points[crown] + points[POINTS.index("neck")]) / 2
    assert step[crown] @ face > 0, "hair lies behind the crown, so it is moved to the face"


@pytest.mark.parametrize("name", NAMES)
def test_the_true_naming_is_the_likeliest(name: str) -> None:
    points = BODIES[name]
    tall = np.log(1.7)
    mixed = points.copy()
    for k in FIRST[::2]:
        mixed[[k, k + 1]] = points[[k + 1, k]]
    np.testing.assert_allclose(joint_sides.namings(mixed, tall)[0], points)


def test_the_front_is_where_hips_and_shoulders_face() -> None:
    front = joint_sides.front_of(BODIES["contrapposto"])
    assert front is not None and abs((front + 180) % 360 - 180) < 20
    assert joint_sides.front_of(BODIES["contrapposto"] @ about_z(-90.0).T) == pytest.approx((front + 90) % 360, abs=0.1)
    assert joint_sides.front_of(BODIES["lying on the side"]) is None
