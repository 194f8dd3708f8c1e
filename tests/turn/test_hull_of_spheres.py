"""The visual hull of a body of spheres, seen by a pinhole: how near it stands, and who moved.

The hull of all other outlines holds a body that stood still (Laurentini 1994), so what sticks out of it moved, or is
seen from another distance than was taken (silhouette coherence: Hernandez, Schmitt & Cipolla 2007).
"""

from __future__ import annotations

from functools import lru_cache

import cv2
import numpy as np
import pytest

from silhouette.turn import rigidity, visual_hull

NEAR = 0.46
"""Figure height over camera distance: 240 pixels, seen from 522."""
STOPS = np.arange(0, 361, 24.0)
Ball = tuple[float, float, float, float]


def body(hand: float = 0.0) -> list[Ball]:
    """Balls (x to the side, z toward the camera, y down from the lens, radius), pixels; the right hand may hang."""
    trunk = [(0.0, 0.0, y, 22.0) for y in range(-70, 31, 8)]
    head = [(0.0, 4.0, -104.0, 16.0)]
    legs = [(side * 16.0, 6.0 * side, y, 11.0) for side in (-1, 1) for y in range(30, 110, 6)]
    arms = [(side * x, x / 4, -60.0 + (hand if side > 0 and x > 45 else 0), 8.0) for side in (-1, 1)
            for x in range(20, 90, 5)]
    return [*trunk, *head, *legs, *arms]


def seen(balls: list[Ball], turned: float, near: float = NEAR) -> np.ndarray:
    """(320, 260) the balls turned to the figure's left, the lens at row 160, the axis at column 130."""
    far, t = 240.0 / near, np.radians(turned)
    picture = np.zeros((320, 260), np.uint8)
    for x, z, y, r in balls:
        across, depth = x * np.cos(t) + z * np.sin(t), z * np.cos(t) - x * np.sin(t)
        k = far / (far - depth)
        centre = round((130 + across * k) * 16), round((160 + y * k) * 16)
        cv2.circle(picture, centre, round(r * k * 16), 1, -1, shift=4)
    return picture > 0


@lru_cache(maxsize=2)
def turn(near: float = NEAR) -> visual_hull.Turn:
    return visual_hull.prepare([seen(body(), a, near) for a in STOPS], STOPS)


def test_the_outlines_tell_how_near_the_camera_stands() -> None:
    """Roughly: between neighbouring rungs of the ladder nothing may stick out at all."""
    assert visual_hull.find_nearness(turn()) == pytest.approx(NEAR, abs=0.06)
    assert visual_hull.find_nearness(turn(0.3)) == pytest.approx(0.3, abs=0.1)


def test_of_a_body_that_stands_still_nothing_sticks_out() -> None:
    carved, block = visual_hull.carve(turn(), NEAR)
    assert carved.share.max() < 0.001 and visual_hull.against_all(turn(), block).share.max() < 0.002
    strict, _ = visual_hull.carve(turn(), NEAR, strict=True)
    assert strict.share.max() < 0.006 and len(strict.regions) == len(STOPS)


def test_from_the_wrong_distance_even_that_sticks_out() -> None:
    wrong, _ = visual_hull.carve(turn(), 0.15)
    assert wrong.share.max() > 0.004


def test_a_stop_at_which_a_hand_hung_is_named() -> None:
    masks = [seen(body(hand=16.0 if k == 8 else 0.0), a) for k, a in enumerate(STOPS)]
    found = rigidity.judge(masks, STOPS)
    assert found.moved == (8,) and not found.drifting and not found.unfit
    assert found.where == "arm height" and found.far == pytest.approx(16 / 240, abs=0.02)
    assert found.sank == pytest.approx(16 / 240, abs=0.03)


def test_a_turn_the_other_way_is_judged_in_a_mirror() -> None:
    masks = [seen(body(), a)[:, ::-1] for a in STOPS]
    assert rigidity.judge(masks, STOPS, mirrored=True).moved == ()


def test_a_hand_that_sinks_on_the_way_is_a_pose_that_changed() -> None:
    masks = [seen(body(hand=max(0.0, 4.0 * (k - 6))), a) for k, a in enumerate(STOPS)]
    found = rigidity.judge(masks, STOPS)
    assert found.drifting and not found.unfit and 6 < min(found.moved) < 11 and max(found.moved) == len(STOPS) - 1


def test_pictures_of_two_bodies_do_not_belong_together() -> None:
    other = [(z, x, y * 0.8, r) for x, z, y, r in body()]
    few = STOPS[:12]
    masks = [seen(body() if k % 2 else other, a) for k, a in enumerate(few)]
    assert rigidity.judge(masks, few).unfit
