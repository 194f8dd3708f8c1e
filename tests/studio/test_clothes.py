"""Clothes cut out of the skin."""

import numpy as np
import pytest

pytest.importorskip("anny")
pytest.importorskip("pyvista")

from silhouette.studio.bodies import Build, pose_body
from silhouette.studio.clothes import Outfit, cut_piece, dress, pieces
from silhouette.studio.poses import NAMED
from silhouette.studio.raster import vertex_normals
from silhouette.studio.solids import tube

BUILD = Build(gender=0.9, age=0.75)


def grid(n: int = 11) -> tuple[np.ndarray, np.ndarray]:
    """A unit square of small triangles."""
    x, y = np.meshgrid(np.linspace(0, 1, n), np.linspace(0, 1, n))
    points = np.column_stack([x.ravel(), y.ravel(), np.zeros(n * n)])
    corner = np.array([r * n + c for r in range(n - 1) for c in range(n - 1)])
    low = np.column_stack([corner, corner + 1, corner + n + 1])
    return points, np.concatenate([low, np.column_stack([corner, corner + n + 1, corner + n])])


def test_a_cut_follows_the_line_exactly() -> None:
    points, triangles = grid()
    piece = cut_piece(0.537 - points[:, 0], triangles, 0.0)
    cut = piece.on(points, np.zeros_like(points))
    a, b, c = (cut[piece.triangles[:, k]] for k in range(3))
    assert np.linalg.norm(np.cross(b - a, c - a), axis=1).sum() / 2 == pytest.approx(0.537)
    assert cut[:, 0].max() == pytest.approx(0.537)


def test_clothes_keep_clear_of_the_skin_in_any_pose() -> None:
    outfit = Outfit(shirt=(0.5, 0.5, 0.5), trousers=(0.2, 0.2, 0.2), shoes=(0.1, 0.1, 0.1))
    body = pose_body(BUILD, NAMED["lunge"])
    skin = body.vertices.astype(float)
    normals = vertex_normals(skin, body.faces.astype(np.int64))
    assert len(pieces(BUILD, outfit)) == 4  # hair too
    for piece, _ in pieces(BUILD, outfit):
        away = np.linalg.norm(piece.on(skin, normals) - piece.on(skin, normals * 0), axis=1)
        assert away.min() > 0.002 and away.max() < 0.03


def test_a_dressed_figure_holds_all_its_parts() -> None:
    body = pose_body(BUILD, NAMED["akimbo"])
    bare = dress(BUILD, body, Outfit(hair=None))
    outfit, stick = Outfit(hat="brim", bun=True, skirt=(0.5, 0.1, 0.1)), tube(np.eye(3), 0.02, (0.5, 0.4, 0.2))
    full = dress(BUILD, body, outfit, stick)
    assert len(bare.points) == len(body.vertices)
    assert full.points[:, 2].max() > bare.points[:, 2].max() + 0.01
    assert full.triangles.max() < len(full.points) == len(full.albedo)
