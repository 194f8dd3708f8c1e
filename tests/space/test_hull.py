"""The visual hull of solids that have a formula, turned before a camera, and of masks that are wrong here and there."""

from __future__ import annotations

from dataclasses import replace
from functools import cache

import numpy as np
import pytest
from numpy.typing import NDArray

from silhouette.errors import PoseError
from silhouette.records_space import Solid, StopCamera
from silhouette.space import hull, sections
from tests.space.solids_seen import Ball, Box, Cylinder, Shape, turn

CELL = 0.008
SEEN = dict(focal=800.0, size=(460, 620))
Turn = tuple[list[NDArray[np.bool_]], list[StopCamera]]

CYLINDER = (Cylinder((0.1, -0.08), 0.2, 0.0, 1.5),)
BOX = (Box((-0.2, -0.15, 0.0), (0.2, 0.15, 1.5)),)
BALLS = (Ball((-0.25, 0.05, 0.5), 0.25), Ball((0.15, 0.1, 1.1), 0.2))
SNOWMAN = (Ball((0.0, 0.1, 0.3), 0.3), Ball((0.0, 0.1, 0.75), 0.2))
TRUE = {
    "cylinder": np.pi * 0.2**2 * 1.5, "box": 0.4 * 0.3 * 1.5, "balls": 4 / 3 * np.pi * (0.25**3 + 0.2**3),
}
FIGURE: tuple[Shape, ...] = (
    Box((-0.14, -0.1, 0.8), (0.14, 0.1, 1.4)), Ball((0.0, 0.0, 1.55), 0.12), Cylinder((-0.09, 0.0), 0.06, 0.0, 0.8),
    Cylinder((0.09, 0.0), 0.06, 0.0, 0.8), Box((0.14, -0.05, 1.25), (0.7, 0.05, 1.35)),
)
"""A trunk on two legs with one arm held out."""


@cache
def tilted(name: str) -> Turn:
    """A camera that looks down a little and past the axis."""
    shapes = {"cylinder": CYLINDER, "box": BOX, "balls": BALLS, "figure": FIGURE}[name]
    if name == "box":  # 2.5 degrees on, some stop looks along each of its sides: else they come out as shallow roofs
        return turn(shapes, 24, pitch=-4.0, first=2.5, **SEEN)
    return turn(shapes, 24, pitch=-4.0, aside=0.06, **SEEN)


@cache
def solid_of(name: str) -> Solid:
    return hull.surface(hull.carve(*tilted(name), cell=CELL))


def closed(solid: Solid) -> bool:
    """Whether every edge lies between two triangles that run along it in opposite ways, each way once."""
    n = len(solid.vertices)
    edges = np.concatenate([solid.faces[:, [k, (k + 1) % 3]] for k in range(3)])
    there, back = edges[:, 0] * n + edges[:, 1], edges[:, 1] * n + edges[:, 0]
    return len(np.unique(there)) == len(there) and bool(np.array_equal(np.sort(there), np.sort(back)))


def pieces(solid: Solid) -> int:
    from scipy.sparse import coo_matrix
    from scipy.sparse.csgraph import connected_components

    a, b = solid.faces[:, [0, 1]].ravel(), solid.faces[:, [1, 2]].ravel()
    n = len(solid.vertices)
    return int(connected_components(coo_matrix((np.ones(len(a)), (a, b)), (n, n)), directed=False)[0])


@pytest.mark.parametrize("name", TRUE)
def test_solids_come_out_with_their_volume(name: str) -> None:
    solid = solid_of(name)
    assert sections.volume(solid) == pytest.approx(TRUE[name], rel=0.02)
    assert closed(solid) and pieces(solid) == 1


def test_solids_come_out_where_they_stand() -> None:
    assert sections.centre(solid_of("cylinder")) == pytest.approx((0.1, -0.08, 0.75), abs=0.015)
    assert sections.centre(solid_of("box")) == pytest.approx((0.0, 0.0, 0.75), abs=0.015)
    shares = np.array([0.25**3, 0.2**3]) / (0.25**3 + 0.2**3)
    assert sections.centre(solid_of("balls")) == pytest.approx(
        tuple(shares @ np.array([b.at for b in BALLS])), abs=0.01)


def test_level_cuts_of_solids() -> None:
    for cut in sections.cut(solid_of("cylinder"), [0.2, 0.75, 1.3]):
        assert cut.area_m2 == pytest.approx(np.pi * 0.04, rel=0.02)
        assert cut.width_m == pytest.approx(0.4, rel=0.02) and cut.depth_m == pytest.approx(0.4, rel=0.02)
    for cut in sections.cut(solid_of("box"), [0.2, 0.75, 1.3]):
        assert cut.area_m2 == pytest.approx(0.12, rel=0.02)
        assert (cut.width_m, cut.depth_m) == pytest.approx((0.4, 0.3), rel=0.02)
    low, high = sections.cut(solid_of("balls"), [0.5, 1.1])
    assert low.area_m2 == pytest.approx(np.pi * 0.25**2, rel=0.02)
    assert high.area_m2 == pytest.approx(np.pi * 0.2**2, rel=0.02)


def test_balls_that_touch_are_one_body() -> None:
    solid = hull.surface(hull.carve(*turn(SNOWMAN, 24, pitch=-3.0, **SEEN), cell=CELL))
    overlap = ball_overlap(0.3, 0.2, 0.45)
    assert sections.volume(solid) == pytest.approx(4 / 3 * np.pi * (0.3**3 + 0.2**3) - overlap, rel=0.02)


def ball_overlap(a: float, b: float, apart: float) -> float:
    """What two balls share (two caps)."""
    return float(np.pi * (a + b - apart) ** 2 * (apart**2 + 2 * apart * (a + b) - 3 * (a - b) ** 2) / (12 * apart))


def test_more_stops_cut_away_more_and_never_the_figure() -> None:
    true = 0.28 * 0.2 * 0.6 + 4 / 3 * np.pi * 0.12**3 + 2 * np.pi * 0.06**2 * 0.8 + 0.56 * 0.1 * 0.1
    found = []
    for stops in (6, 12, 24):
        masks, cameras = turn(FIGURE, stops, pitch=-4.0, **SEEN)
        found.append(sections.volume(hull.surface(hull.carve(masks, cameras, cell=CELL))))
    assert found[0] > found[1] > found[2] > true
    assert found[2] < 1.12 * true


def test_the_outlines_of_the_hull_are_those_of_the_masks() -> None:
    masks, cameras = turn(FIGURE, 24, pitch=-4.0, aside=0.06, focal=1200.0, size=(690, 930))
    solid = hull.surface(hull.carve(masks, cameras, cell=0.006))
    agreed = hull.agreement(solid, masks, cameras)
    assert len(agreed) == 24 and min(agreed) > 0.97
    sizes = [hull.shadow(solid, c).sum() / m.sum() for m, c in zip(masks, cameras, strict=True)]
    assert min(sizes) > 0.98 and max(sizes) < 1.01
    elsewhere = [replace(c, angle=c.angle + 40) for c in cameras]
    assert min(hull.agreement(solid_of("figure"), masks, elsewhere)) < 0.9


def test_its_shadow_is_drawn_where_the_camera_sees_it() -> None:
    ball = Ball((0.1, 0.0, 0.8), 0.3)
    masks, cameras = turn((ball,), 3, pitch=-5.0, aside=-0.1, **SEEN)
    theta, phi = np.meshgrid(np.linspace(0, np.pi, 200), np.linspace(0, 2 * np.pi, 400, endpoint=False), indexing="ij")
    around = np.stack([np.sin(theta) * np.cos(phi), np.sin(theta) * np.sin(phi), np.cos(theta)], -1).reshape(-1, 3)
    rows, columns = np.meshgrid(np.arange(199), np.arange(400), indexing="ij")
    a, b = rows * 400 + columns, rows * 400 + (columns + 1) % 400
    faces = np.concatenate([np.stack(f, -1).reshape(-1, 3) for f in ((a, a + 400, b), (b, a + 400, b + 400))])
    solid = Solid(np.array(ball.at) + 0.3 * around, faces)
    assert sections.volume(solid) == pytest.approx(4 / 3 * np.pi * 0.3**3, rel=1e-3)
    for mask, camera in zip(masks, cameras, strict=True):
        assert (hull.shadow(solid, camera) ^ mask).sum() < 0.004 * mask.sum()


def test_it_stands_flat_on_the_ground() -> None:
    solid = solid_of("figure")
    assert solid.vertices[:, 2].min() == pytest.approx(0.0, abs=1e-6)
    assert (np.abs(solid.vertices[:, 2]) < 1e-6).sum() > 100
    assert sections.footing(solid).area == pytest.approx(2 * np.pi * 0.06**2, rel=0.1)  # type: ignore[union-attr]


def test_one_mask_without_the_arm_does_not_take_it_away() -> None:
    masks, cameras = tilted("figure")
    without = turn(FIGURE[:-1], 24, pitch=-4.0, aside=0.06, **SEEN)[0]
    faulty = [*masks]
    faulty[0] = without[0]
    assert (faulty[0] != masks[0]).sum() > 500
    carved = hull.carve(faulty, cameras, cell=CELL)
    assert carved.mended == (0,)
    whole = sections.volume(solid_of("figure"))
    assert sections.volume(hull.surface(carved)) == pytest.approx(whole, rel=0.03)
    twice = [*faulty[:3], without[3], *masks[4:]]
    assert sections.volume(hull.surface(hull.carve(twice, cameras, cell=CELL))) < whole  # two that agree are believed


def test_faultless_masks_are_not_mended() -> None:
    for name in ("figure", "balls", "box"):
        assert hull.carve(*tilted(name), cell=CELL).mended == ()


def test_a_stop_does_not_cut_where_it_cannot_see() -> None:
    masks, cameras = tilted("figure")
    cropped, near = [*masks], [*cameras]
    for k in range(0, 24, 3):  # these pictures end at the shoulder's side: the arm is not in all of them
        x0, x1 = 140, 320
        cropped[k] = masks[k][:, x0:x1]
        near[k] = replace(cameras[k], size=(x1 - x0, 620), shift=((460 - x0 - x1) / 2, 0.0))
    assert any(m[:, 0].any() or m[:, -1].any() for m in cropped)
    solid = hull.surface(hull.carve(cropped, near, cell=CELL))
    assert sections.volume(solid) == pytest.approx(sections.volume(solid_of("figure")), rel=0.03)


def test_feet_outside_every_picture() -> None:
    masks, cameras = tilted("figure")
    rows = 420
    cut = [m[:rows] for m in masks]
    assert all(m[-1].any() for m in cut)
    near = [replace(c, size=(460, rows), shift=(0.0, (620 - rows) / 2)) for c in cameras]
    assert hull.ground_shift(cut, near) == 0.0
    solid = hull.surface(hull.carve(cut, near, cell=CELL))
    assert closed(solid) and solid.vertices[:, 2].max() == pytest.approx(1.67, abs=0.02)


@pytest.mark.parametrize("shift", [-0.07, 0.0, 0.12])
@pytest.mark.parametrize("height", [0.6, 1.5])
def test_the_ground_is_found(shift: float, height: float) -> None:
    masks, cameras = turn(FIGURE, 24, height=height, pitch=-3.0, **SEEN)
    lower = [replace(c, height=c.height + shift) for c in cameras]
    assert hull.ground_shift(masks, lower) == pytest.approx(shift, abs=0.006)


def test_the_ground_under_round_forms_and_of_one_that_lies() -> None:
    lying = (Cylinder((0.0, 0.0), 0.12, 0.0, 0.25), Box((-0.7, -0.1, 0.0), (0.7, 0.1, 0.18)))
    for shapes in ((Ball((0.05, 0.0, 0.4), 0.4),), lying):
        masks, cameras = turn(shapes, 24, **SEEN)
        assert hull.ground_shift(masks, cameras) == pytest.approx(0.0, abs=0.006)


@pytest.mark.parametrize("stops", [6, 8])
def test_the_ground_is_found_by_few_stops_from_high_whose_hull_hangs_far_below_it(stops: int) -> None:
    masks, cameras = turn(SNOWMAN, stops, pitch=-30.0, height=3.0, **SEEN)
    assert hull.ground_shift(masks, cameras) == pytest.approx(0.0, abs=0.02)


def test_lengths_come_out_in_the_cameras_unit() -> None:
    masks, cameras = tilted("cylinder")
    small = [replace(c, distance=c.distance / 2, height=c.height / 2, aside=c.aside / 2) for c in cameras]
    solid = hull.surface(hull.carve(masks, small, cell=CELL / 2))
    assert sections.volume(solid) * 8 == pytest.approx(sections.volume(solid_of("cylinder")), rel=1e-4)
    assert hull.ground_shift(masks, small) * 2 == pytest.approx(hull.ground_shift(masks, cameras), abs=1e-4)


def test_the_same_masks_give_the_same_surface() -> None:
    masks, cameras = tilted("figure")
    again = hull.surface(hull.carve(masks, cameras, cell=CELL))
    assert np.array_equal(again.vertices, solid_of("figure").vertices)
    assert np.array_equal(again.faces, solid_of("figure").faces)


def test_specks_are_dropped_and_what_is_close_or_large_is_joined_on() -> None:
    field = np.full((120, 40, 40), -1.0, np.float32)
    field[5:105, 10:30, 10:30] = 1.0
    field[106:112, 15:20, 15:20] = 1.0  # a hand, two cells off
    field[116, 35, 35] = 1.0
    field[10:14, 34:39, 2:5] = 1.0  # smaller, and farther off
    one = hull.one_body(field, 1.0)
    assert one[110, 17, 17] > 0 and one[116, 35, 35] < 0 and one[12, 36, 3] < 0
    assert pieces(hull.triangles(one, np.zeros(3), 1.0)) == 1
    assert hull.triangles(one, np.zeros(3), 1.0).vertices[:, 0].max() > 111
    field[106:112] = -1.0
    field[5:25, 35:39, 5:35] = 1.0  # large: joined over any gap
    assert hull.triangles(hull.one_body(field, 1.0), np.zeros(3), 1.0).vertices[:, 1].max() > 38


def test_outlines_that_have_nothing_in_common() -> None:
    masks, cameras = tilted("cylinder")
    one, other = np.zeros_like(masks[0]), np.zeros_like(masks[0])
    one[50:100, 200:220], other[500:550, 200:220] = True, True
    with pytest.raises(PoseError, match="nothing"):
        hull.carve([one, other] * 12, cameras, cell=CELL)
    with pytest.raises(PoseError, match="outline"):
        hull.carve([np.zeros_like(one)] * 24, cameras, cell=CELL)
