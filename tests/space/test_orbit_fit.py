"""First cameras from outlines whose camera is known."""

from __future__ import annotations

import numpy as np
import pytest
from numpy.typing import NDArray

from silhouette.geometry.orbit import StopCamera, project
from silhouette.space import orbit_fit

TURN = np.arange(0, 360, 15.0)
SIZE = (600, 800)


def poles(camera: StopCamera, angle: float) -> NDArray[np.bool_]:
    """Two thin poles off the axis, 1.5 m high, as a camera sees them."""
    mask = np.zeros((camera.size[1], camera.size[0]), bool)
    z = np.linspace(0, 1.5, 1500)
    for x, y in ((0.3, 0.1), (-0.1, -0.05)):
        at = np.stack([np.full_like(z, x), np.full_like(z, y), z], axis=1)
        spots = project(StopCamera(**{**camera.__dict__, "angle": angle}), at)[0].astype(int)
        for du in range(-3, 4):
            mask[spots[:, 1], spots[:, 0] + du] = True
    return mask


@pytest.mark.parametrize("aside", [-0.1, 0.0, 0.15])
def test_distance_axis_and_ground_are_about_right(aside: float) -> None:
    focal_35mm = 50.0
    true = StopCamera(0.0, 4.0, 0.9, 0.0, focal_35mm / 36 * 800, aside, SIZE)
    cameras = orbit_fit.first_cameras([poles(true, a) for a in TURN], TURN, focal_35mm)
    metres = 4.0 / cameras[0].distance
    assert metres == pytest.approx(1.5, rel=0.06), "the unit is the figure's height"
    assert cameras[0].aside * metres == pytest.approx(aside, abs=0.02)
    assert cameras[0].height * metres == pytest.approx(0.9, abs=0.06)
    foot, _ = project(cameras[0], np.zeros((1, 3)))
    assert foot[0, 1] == pytest.approx(project(true, np.zeros((1, 3)))[0][0, 1], abs=12)
    assert [c.angle for c in cameras] == TURN.tolist()


def test_stops_that_lie_close_together_do_not_pull_the_axis() -> None:
    """Three stops more about one angle: each counts by the degrees that it stands for."""
    true = StopCamera(0.0, 4.0, 0.9, 0.0, 1100.0, 0.0, SIZE)
    angles = np.sort(np.concatenate([TURN, [31.0, 32.0, 33.0]]))
    even = orbit_fit.first_cameras([poles(true, a) for a in TURN], TURN, 49.5)[0].aside
    uneven = orbit_fit.first_cameras([poles(true, a) for a in angles], angles, 49.5)[0].aside
    assert uneven == pytest.approx(even, abs=0.003)


def test_without_a_focal_length_the_scale_in_the_picture_is_the_same() -> None:
    true = StopCamera(0.0, 4.0, 0.9, 0.0, 1100.0, 0.0, SIZE)
    masks = [poles(true, a) for a in TURN]
    known, unknown = (orbit_fit.first_cameras(masks, TURN, focal)[0] for focal in (49.5, None))
    assert unknown.focal_px / unknown.distance == pytest.approx(known.focal_px / known.distance)
    assert unknown.distance == orbit_fit.USUAL_DISTANCE
