"""The renderer against the pinhole's closed forms."""

import numpy as np
import pytest

from silhouette.studio.cameras import Camera
from silhouette.studio.raster import Eye, Mesh, draw, joined, metres, turned, vertex_normals
from silhouette.studio.solids import box

CAMERA = Camera(distance_m=4.2, height_m=1.1, focal_35mm=50, width=300, height=400)
EYE = Eye((0.0, -4.2, 1.1), (0.0, 0.0, 1.1), CAMERA.focal_px, 300, 400)


@pytest.mark.parametrize("angle", [0.0, 35.0, 90.0, 200.0])
def test_turning_the_figure_is_walking_round_it(angle: float) -> None:
    points = np.random.default_rng(0).uniform(-0.5, 0.5, (50, 3)) + np.array([0, 0, 1.0])
    walked = CAMERA.project(points.astype(np.float32), angle)
    np.testing.assert_allclose(EYE.project(turned(points, angle)), walked, atol=0.01)


def test_at_90_degrees_the_figures_right_side_is_nearest() -> None:
    right_hand, left_hand = np.array([[-0.5, 0.0, 1.0]]), np.array([[0.5, 0.0, 1.0]])
    assert EYE.project(turned(right_hand, 90))[0, 2] < EYE.project(turned(left_hand, 90))[0, 2]


def test_rays_lead_back_to_their_pixels() -> None:
    points = np.array(EYE.position) + 3.7 * EYE.rays()
    seen = EYE.project(points)
    np.testing.assert_allclose(seen[10, 20, :2], [20.5, 10.5], atol=1e-6)


def test_normals_of_a_box_point_outward() -> None:
    mesh = box((1.0, 2.0, 3.0), (0.0, 0.0, 0.0), (0.5, 0.5, 0.5))
    outward = mesh.points - np.array([0.0, 0.0, 1.5])
    assert ((vertex_normals(mesh.points, mesh.triangles) * outward).sum(axis=1) > 0).all()


def test_joined_keeps_every_triangle_on_its_own_points() -> None:
    a = box((1.0, 1.0, 1.0), (0.0, 0.0, 0.0), (0.1, 0.1, 0.1))
    both = joined([a, a.moved(0, (5.0, 0.0))])
    spans = np.ptp(both.points[both.triangles][..., 0], axis=1)
    assert len(both.triangles) == 2 * len(a.triangles) and spans.max() <= 1.0


def test_a_square_is_drawn_where_and_as_far_as_it_stands() -> None:
    pytest.importorskip("pyvista")
    square = np.array([[-0.5, 0.0, 0.6], [0.5, 0.0, 0.6], [0.5, 0.0, 1.6], [-0.5, 0.0, 1.6]])
    mesh = Mesh(square, np.array([[0, 1, 2], [0, 2, 3]]), np.ones((4, 3)))
    colour, buffer = draw(mesh.points, mesh.triangles, EYE, "test", np.full((4, 3), 200, np.uint8))
    side = EYE.focal_px / 4.2
    there = buffer < 1
    assert there.sum() == pytest.approx(side**2, rel=0.02)
    assert metres(buffer)[there] == pytest.approx(4.2, abs=0.01)
    rows = np.flatnonzero(there.any(axis=1))
    assert rows[[0, -1]] == pytest.approx(EYE.project(square)[[2, 0], 1] - 0.5, abs=1.0)
    assert colour is not None and (colour[there] == 200).all() and (colour[~there] == 0).all()
