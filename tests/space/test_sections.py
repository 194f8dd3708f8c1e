"""Cuts and outlines of bodies that have a formula."""

from __future__ import annotations

import numpy as np
import pytest
from shapely.geometry import MultiPolygon, Point, box

from silhouette.records_space import Solid
from silhouette.space import sections
from silhouette.space.hull import triangles

CELL = 0.01
AXIS = np.arange(-0.5, 0.5, CELL) + CELL / 2


def points() -> np.ndarray:
    return np.stack(np.meshgrid(AXIS, AXIS, AXIS, indexing="ij"), -1)


def surface(field: np.ndarray) -> Solid:
    return triangles(field.astype(np.float32), np.full(3, AXIS[0]), CELL)


def ring() -> Solid:
    """Round a ball a ring that a thin spoke holds; the spoke lies below the ball's middle."""
    p = points()
    flat = np.hypot(p[..., 0], p[..., 1])
    torus = 0.06 - np.hypot(flat - 0.35, p[..., 2])
    ball = 0.15 - np.linalg.norm(p, axis=-1)
    spoke = np.minimum(0.02 - np.hypot(p[..., 1], p[..., 2] + 0.035), np.minimum(p[..., 0] - 0.1, 0.33 - p[..., 0]))
    return surface(np.maximum(np.maximum(torus, ball), spoke))


def turned_box() -> Solid:
    p = points()
    c, s = np.cos(np.radians(30)), np.sin(np.radians(30))
    x, y = c * p[..., 0] + s * p[..., 1], -s * p[..., 0] + c * p[..., 1]
    return surface(np.minimum(np.minimum(0.3 - abs(x), 0.1 - abs(y)), 0.4 - abs(p[..., 2])))


def test_a_ring_round_a_ball_is_cut_as_such() -> None:
    cut = sections.cut(ring(), [0.0])[0]
    assert len(cut.outline.geoms) == 2 and sum(len(p.interiors) for p in cut.outline.geoms) == 1
    true = np.pi * (0.41**2 - 0.29**2 + 0.15**2)
    assert cut.area_m2 == pytest.approx(true, rel=0.01)
    assert cut.area_m2 == pytest.approx(cut.outline.area, rel=1e-9)
    assert cut.outline.is_valid and cut.width_m == pytest.approx(0.82, abs=0.004)


def test_cuts_hold_at_heights_of_corners_too() -> None:
    solid = turned_box()
    heights = sorted({float(z) for z in solid.vertices[:400, 2]} | {0.0, CELL / 2})[:60]
    for cut in sections.cut(solid, [z for z in heights if abs(z) < 0.39]):
        assert cut.area_m2 == pytest.approx(0.6 * 0.2, rel=0.01)
    beyond = sections.cut(solid, [0.41, -3.0])
    assert [c.area_m2 for c in beyond] == [0.0, 0.0] and all(c.outline.is_empty for c in beyond)


def test_cuts_add_up_to_the_volume() -> None:
    solid = ring()
    step = 0.002
    heights = np.arange(-0.2, 0.2, step)
    added = sum(c.area_m2 for c in sections.cut(solid, heights.tolist())) * step
    assert added == pytest.approx(sections.volume(solid), rel=0.005)
    assert sections.volume_l(solid) == pytest.approx(1000 * sections.volume(solid))


def test_profiles_are_true_to_a_fifth_of_a_millimetre_at_scale() -> None:
    p = points()
    ball = surface(0.3 - np.linalg.norm(p - [0.1, -0.05, 0.08], axis=-1))
    for angle in (0.0, 33.0, 90.0, 200.0):
        a = np.radians(angle)
        outline = sections.profile(ball, angle)
        middle = (0.1 * np.cos(a) + 0.05 * np.sin(a), 0.08)
        away = [Point(middle).distance(Point(xy)) - 0.3 for xy in outline.geoms[0].exterior.coords]
        assert len(outline.geoms) == 1 and max(abs(d) for d in away) < 0.0008  # 0.2 mm at 1:4


def test_profile_shows_the_picture_of_the_camera() -> None:
    p = points()
    front = surface(np.maximum(0.1 - np.linalg.norm(p - [0, -0.2, 0.1], axis=-1),
                               np.minimum(0.05 - np.hypot(p[..., 0], p[..., 2]), 0.3 - abs(p[..., 1]))))
    outline = sections.profile(front, 90.0)
    x0, _, x1, _ = outline.bounds
    assert (x0, x1) == pytest.approx((-0.3, 0.3), abs=0.002)
    # across = x cos a - y sin a: at 90 degrees the figure's right side is before the camera, its front picture right
    assert outline.contains(Point(0.2, 0.17)) and not outline.contains(Point(-0.2, 0.17))


def test_profiles_keep_gaps() -> None:
    p = points()
    upright_ring = surface(0.05 - np.hypot(np.hypot(p[..., 0], p[..., 2]) - 0.3, p[..., 1]))
    outline = sections.profile(upright_ring, 0.0)
    assert len(outline.geoms) == 1 and len(outline.geoms[0].interiors) == 1
    assert outline.area == pytest.approx(np.pi * (0.35**2 - 0.25**2), rel=0.01)
    side = sections.profile(upright_ring, 90.0)
    assert not side.geoms[0].interiors and side.bounds == pytest.approx((-0.05, -0.35, 0.05, 0.35), abs=0.002)


def test_calipers_turn_with_the_piece() -> None:
    solid = turned_box()
    whole, joint = sections.calipers(solid, [0.0, 2.0], {"hip left": np.array([0.1, 0.0, 0.1])})
    for one in (whole, joint):
        assert (one.narrow_m, one.wide_m) == pytest.approx((0.2, 0.6), abs=0.01)
        assert one.width_m == pytest.approx(0.6 * np.cos(np.radians(30)) + 0.2 * np.sin(np.radians(30)), abs=0.015)
    assert (whole.name, joint.name, joint.z) == ("", "hip left", 0.1)
    apart = sections.calipers(ring(), [], {"wrist left": np.array([0.36, 0.0, 0.0]), "neck": np.array([0.0, 0, 0])})
    assert apart[0].wide_m > 0.8 and apart[1].wide_m == pytest.approx(0.3, abs=0.01)


def test_middle_and_footing() -> None:
    p = points()
    ball = surface(0.3 - np.linalg.norm(p - [0.1, -0.05, 0.08], axis=-1))
    assert sections.centre(ball) == pytest.approx((0.1, -0.05, 0.08), abs=1e-3)
    legs = np.maximum(0.05 - np.hypot(p[..., 0] - 0.2, p[..., 1]), 0.05 - np.hypot(p[..., 0] + 0.2, p[..., 1]))
    trestle = surface(np.minimum(np.minimum(np.maximum(legs, p[..., 2] - 0.2), p[..., 2]), 0.25 - abs(p).max(-1)))
    feet = sections.footing(trestle)
    assert isinstance(feet, MultiPolygon) and len(feet.geoms) == 2
    assert feet.area == pytest.approx(2 * np.pi * 0.05**2, rel=0.05)
    assert not feet.intersects(box(-0.1, -1, 0.1, 1))
    assert sections.footing(Solid(ball.vertices + np.array([0, 0, 1.0]), ball.faces)) is None
