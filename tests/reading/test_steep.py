"""How steeply a ring's camera looks, by triangles that can be reckoned in the head."""

from math import radians, tan

import pytest

from silhouette.reading import steep
from silhouette.records import RingCamera


@pytest.mark.parametrize(("height", "distance", "degrees"), [(0.5, 2.0, 0.0), (2.5, 2.0, 45.0), (0.0, 0.5, -45.0)])
def test_the_angle_to_the_figures_middle(height: float, distance: float, degrees: float):
    assert steep.looks_down(RingCamera("outlines", height, None, 3.0, distance)) == pytest.approx(degrees)


@pytest.mark.parametrize("camera", [RingCamera("unknown"), RingCamera("given", height_m=1.0),
                                    RingCamera("outlines", 0.6)])
def test_nothing_is_said_of_a_camera_that_is_not_known(camera: RingCamera):
    assert steep.looks_down(camera) is None and steep.too_steep(camera) is None


@pytest.mark.parametrize(("degrees", "said"), [(46.0, True), (44.0, False), (0.0, False), (-30.0, False)])
def test_only_what_looks_down_more_steeply_than_learned_is_too_steep(degrees: float, said: bool):
    camera = RingCamera("outlines", 0.5 + 2 * tan(radians(degrees)), None, 0.0, 2.0)
    assert steep.too_steep(camera) is said
