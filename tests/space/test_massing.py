"""The printable model: at scale, on its base, closed, no part thinner than asked."""

from __future__ import annotations

from functools import cache

import numpy as np
import pytest

from silhouette.records_space import Sizes, Solid
from silhouette.space import massing, sections
from silhouette.space.hull import Hull, surface

CELL = 0.01
FOURTH = Sizes(1.7, 1.7, "given", 4.0)


def grid(low: tuple[float, float, float], high: tuple[float, float, float]) -> tuple[np.ndarray, np.ndarray]:
    """Points of a grid whose heights lie half way between z = 0 and the cells' edges, and its first one."""
    first = (np.floor(np.array(low) / CELL) + 0.5) * CELL
    axes = [np.arange(first[k], high[k], CELL) for k in range(3)]
    return np.stack(np.meshgrid(*axes, indexing="ij"), -1), first


def bar(points: np.ndarray, start: tuple[float, ...], end: tuple[float, ...], radius: float) -> np.ndarray:
    """How far points lie inside a round bar with round ends."""
    a, b = np.array(start), np.array(end)
    share = np.clip((points - a) @ (b - a) / ((b - a) @ (b - a)), 0, 1)
    return np.asarray(radius - np.linalg.norm(points - a - share[..., None] * (b - a), axis=-1))


@cache
def statue(thin: float = 0.012) -> Hull:
    """A trunk on two legs, and a rod held out to the figure's left and up."""
    points, first = grid((-0.35, -0.3, -0.03), (0.8, 0.3, 1.6))
    parts = [bar(points, (0, 0, 0.8), (0, 0, 1.3), 0.16), bar(points, (-0.1, 0, 0.02), (-0.05, 0, 0.8), 0.07),
             bar(points, (0.1, 0, 0.02), (0.05, 0, 0.8), 0.07), bar(points, (0.1, 0.02, 1.2), (0.65, 0.1, 1.43), thin)]
    return Hull(np.max(parts, axis=0).astype(np.float32), first, CELL)


def closed(solid: Solid) -> bool:
    n = len(solid.vertices)
    edges = np.concatenate([solid.faces[:, [k, (k + 1) % 3]] for k in range(3)])
    there, back = edges[:, 0] * n + edges[:, 1], edges[:, 1] * n + edges[:, 0]
    return len(np.unique(there)) == len(there) and bool(np.array_equal(np.sort(there), np.sort(back)))


def thickness(solid: Solid, x: float, built: float) -> float:
    """The rod's, where it crosses an upright plane at this x (metres): the least that calipers read, millimetres."""
    turned = Solid(solid.vertices[:, [1, 2, 0]], solid.faces)
    cut = sections.cut(turned, [x * built])[0]
    assert len(cut.outline.geoms) == 1
    return min(sections._calipers("", 0.0, cut.outline).narrow_m, np.sqrt(4 * cut.area_m2 / np.pi))


@pytest.mark.parametrize("base", [True, False])
def test_it_is_closed_and_in_one_piece_and_stands_on_the_table(base: bool) -> None:
    import trimesh

    solid, thick = massing.massing(statue(), FOURTH, 2.0, base)
    mesh = trimesh.Trimesh(solid.vertices, solid.faces, process=False)
    assert mesh.is_watertight and mesh.is_winding_consistent and mesh.body_count == 1 and mesh.volume > 0
    assert mesh.volume == pytest.approx(sections.volume(solid), rel=1e-9)
    assert closed(solid)
    assert solid.vertices[:, 2].min() == 0.0
    bottom = mesh.triangles[(mesh.triangles[:, :, 2] == 0).all(1)]
    under = np.linalg.norm(np.cross(bottom[:, 1] - bottom[:, 0], bottom[:, 2] - bottom[:, 0]), axis=1).sum() / 2
    assert under > (70 * 30 if base else 2 * np.pi * 12**2)
    assert (thick > 3) == base


def test_the_base_lies_under_the_feet_and_the_figure_on_it_at_scale() -> None:
    hull = statue()
    solid, thick = massing.massing(hull, FOURTH, 2.0)
    assert solid.vertices[:, 2].max() == pytest.approx(thick + 1.46 * 250, abs=3.0)
    plate = sections.cut(solid, [thick / 2])[0]
    feet = sections.cut(surface(hull), [0.02])[0]
    x0, _, x1, _ = feet.outline.bounds
    assert plate.width_m > (x1 - x0) * 250 + 20 and len(plate.outline.geoms) == 1
    assert plate.area_m2 < plate.width_m * plate.depth_m  # its corners are rounded
    assert plate.area_m2 > 0.9 * plate.width_m * plate.depth_m
    leg = sections.cut(solid, [thick + 0.4 * 250])[0]
    assert leg.area_m2 == pytest.approx(sections.cut(surface(hull), [0.4])[0].area_m2 * 250**2, rel=0.02)


def test_shrinkage_makes_it_larger() -> None:
    built = massing.massing(statue(), Sizes(1.7, 1.7, "given", 4.0, shrinkage=10.0), 2.0, base=False)[0]
    plain = massing.massing(statue(), FOURTH, 2.0, base=False)[0]
    assert np.ptp(built.vertices[:, 2]) * 0.9 == pytest.approx(np.ptp(plain.vertices[:, 2]), rel=2e-3)


@pytest.mark.parametrize("scale, least", [(4.0, 10.0), (10.0, 4.0), (4.0, 8.0)])
def test_a_thin_rod_is_thickened_and_nothing_else(scale: float, least: float) -> None:
    sizes = Sizes(1.7, 1.7, "given", scale)
    plain = massing.massing(statue(), sizes, 0.1, base=False)[0]
    thick = massing.massing(statue(), sizes, least, base=False)[0]
    for x in (0.3, 0.42, 0.55, 0.63):
        assert thickness(plain, x, sizes.built) < 0.8 * least
        assert thickness(thick, x, sizes.built) > least
        assert thickness(thick, x, sizes.built) < 1.8 * least
    for z in (0.1, 0.5, 1.0):
        was, now = (sections.cut(s, [z * sizes.built])[0].area_m2 for s in (plain, thick))
        assert now == pytest.approx(was, rel=1e-3)


def test_what_is_thick_enough_stays_as_it_is() -> None:
    field = statue(0.03).field
    assert np.array_equal(massing.thickened(field, CELL, 0.01), field)


def test_a_figure_on_the_tip_of_one_foot_is_joined_to_the_base() -> None:
    points, first = grid((-0.35, -0.3, -0.03), (0.35, 0.3, 1.6))
    ball = (0.2 - np.linalg.norm(points - [0.0, 0.0, 0.2], axis=-1)).astype(np.float32)
    solid, thick = massing.massing(Hull(ball, first, CELL), FOURTH, 4.0)
    neck = sections.cut(solid, [thick + 0.1])[0]
    assert closed(solid) and neck.width_m > 4.0


def test_the_same_hull_gives_the_same_model() -> None:
    one, other = (massing.massing(statue(), FOURTH, 8.0)[0] for _ in range(2))
    assert np.array_equal(one.vertices, other.vertices) and np.array_equal(one.faces, other.faces)
