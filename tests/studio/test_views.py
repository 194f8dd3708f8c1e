"""Masks, outline lengths and legibility on drawings whose answer a person can see, then on bodies."""

from __future__ import annotations

import numpy as np
import pytest

pytest.importorskip("torch")

import torch

from silhouette.studio import views
from silhouette.studio.cameras import Camera


def square(x: float, y: float, side: float) -> tuple[list[tuple[float, float]], list[tuple[int, int, int]]]:
    return [(x, y), (x + side, y), (x + side, y + side), (x, y + side)], [(0, 1, 2), (0, 2, 3)]


def draw(*squares: tuple[int, float, float, float]) -> torch.Tensor:
    """Squares (limb, x, y, side) on 60 x 60 pixels."""
    points, faces, limbs = [], [], []
    for limb, x, y, side in squares:
        corners, triangles = square(x, y, side)
        faces += [tuple(k + len(points) for k in t) for t in triangles]
        points += corners
        limbs += [limb] * 4
    return views.rasterise(torch.tensor([points]), torch.tensor(faces), torch.tensor(limbs), 60, 60)


def test_a_square_fills_the_pixels_whose_centres_it_holds() -> None:
    bits = draw((2, 10.0, 20.0, 15.0))[0]
    assert int((bits == 4).sum()) == 15 * 15
    assert bits[20, 10] == 4 and bits[19, 10] == 0 and bits[34, 24] == 4 and bits[35, 24] == 0


def test_hidden_and_shown_limbs_keep_their_own_masks() -> None:
    bits = draw((0, 5.0, 5.0, 40.0), (2, 10.0, 10.0, 10.0), (3, 40.0, 10.0, 12.0))[0]
    assert int(((bits >> 2) & 1).sum()) == 100 and int(((bits >> 3) & 1).sum()) == 144
    assert bits[12, 42] == 1 | 8


def test_drawn_length_is_what_lies_in_the_open() -> None:
    drawn, own = views.outline_lengths(draw((0, 5.0, 5.0, 20.0), (1, 10.0, 10.0, 10.0), (2, 30.0, 5.0, 11.0),
                                            (3, 25.0, 30.0, 11.0), (4, 36.0, 30.0, 11.0)))
    assert own[0].tolist() == [36, 40, 40, 40, 0]
    # the head lies inside the core; arm_l stands free; arm_r and leg_l share one side, whose inner pixels are not drawn
    assert drawn[0].tolist() == [0, 40, 31, 31, 0]


def test_legibility_is_over_the_longest_outline_round_the_turn() -> None:
    drawn, own = torch.tensor([[10.0] * 5, [5.0] * 5]), torch.tensor([[20.0] * 5, [5.0] * 5])
    assert views.legibility_of(drawn, own).tolist() == [[0.5] * 5, [0.25] * 5]


def test_the_camera_sees_the_right_side_at_90_degrees() -> None:
    camera = Camera(distance_m=4.0, height_m=1.0, focal_35mm=50, width=600, height=800)
    points = np.array([(0, -0.3, 1), (0.3, 0, 1), (0, 0, 1.5)], np.float32)
    front, left, up = camera.project(points, 0)
    assert front[0] == pytest.approx(300) and front[2] == pytest.approx(3.7)
    assert left[0] > 300 and up[1] < 400
    right_side = camera.project(np.array([(-0.3, 0, 1)], np.float32), 90)[0]
    assert right_side[2] == pytest.approx(3.7)
    # pixels per metre at the axis: focal length over distance
    assert (left[0] - 300) / 0.3 == pytest.approx(50 / 36 * 800 / 4.0, rel=1e-4)


def test_bodies_read_as_they_should() -> None:
    pytest.importorskip("anny")
    from silhouette.studio import bodies, poses

    camera = Camera(distance_m=4.2, height_m=1.0, focal_35mm=62)
    turn = [0.0, 45.0, 90.0, 135.0, 180.0, 225.0, 270.0, 315.0]
    wrapped, akimbo = (views.look(bodies.pose_body(bodies.Build(), poses.NAMED[name]), camera, turn)
                       for name in ("wrapped in her arms", "akimbo"))
    assert wrapped[4].legibility["arm_l"] < 0.4 < 0.5 < akimbo[0].legibility["arm_l"]
    assert akimbo[2].legibility["arm_l"] < 0.2 and akimbo[0].legibility["leg_l"] > 0.6
    for view in akimbo:
        assert set(view.legibility.values()) <= {v for v in view.legibility.values() if 0 <= v <= 1}
        for joint in ("head", "knee_l", "elbow_r", "pelvis"):
            x, y = view.joints[joint]
            assert view.mask[int(y), int(x)], joint
    assert (akimbo[0].mask == akimbo[0].limb_masks.any(0)).all()


def test_both_ways_of_filling_agree() -> None:
    pytest.importorskip("warp")
    gen = torch.Generator().manual_seed(1)
    points = torch.rand(2, 90, 2, generator=gen) * 70 - 5
    faces = torch.randint(90, (60, 3), generator=gen)
    limb = torch.randint(6, (90,), generator=gen)
    fast = views.rasterise(points, faces, limb, 60, 60)
    try:
        views._warp_kernel, kept = (lambda: None), views._warp_kernel  # type: ignore[assignment]
        assert (views.rasterise(points, faces, limb, 60, 60) == fast).all()
    finally:
        views._warp_kernel = kept
