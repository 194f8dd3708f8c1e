"""Negative space and kissing edges, on drawings that a person can measure."""

from __future__ import annotations

import numpy as np
import pytest
from shapely.geometry import Point, Polygon, box

from silhouette.shape import gaps
from silhouette.shape.measure import normalised
from silhouette.shape.outline import outline_of
from tests.shape.conftest import SQUARE, YOU, figure_mask


def figure(name: str) -> Polygon:
    found = outline_of(figure_mask(name))
    assert found is not None
    return found.polygon


def test_a_u_has_one_open_gap() -> None:
    (gap,) = gaps.gaps_of(normalised(YOU))
    assert gap.kind == "open"
    assert gap.share == pytest.approx(2 / 9)
    assert gap.mouth == pytest.approx(1 / 3)
    assert gap.polygon.area == pytest.approx(2 / 9)
    assert gaps.depth_of(gap) == pytest.approx(4 / 3)
    assert gaps.negative_space((gap,)) == pytest.approx(2 / 9), "deep for its mouth: it counts in full"


def test_a_frame_has_one_enclosed_gap() -> None:
    (gap,) = gaps.gaps_of(normalised(box(0, 0, 4, 4).difference(box(1, 1, 3, 3))))
    assert (gap.kind, gap.mouth) == ("enclosed", 0.0)
    assert gap.share == pytest.approx(0.25)


def test_a_hollow_back_is_hardly_a_gap() -> None:
    hollow = Polygon([(0, 0), (4, 0), (4, 10), (0, 10), (0.4, 5)])
    (gap,) = gaps.gaps_of(normalised(hollow))
    assert gap.share == pytest.approx(0.05)
    assert gaps.negative_space((gap,)) < 0.01


@pytest.mark.parametrize(("deep", "seen"), [(0.0039, 0), (0.0041, 1)])
def test_a_notch_that_nobody_sees_is_no_gap(deep: float, seen: int) -> None:
    """Two thousandths of the hull: a notch half as wide as the block is high has twice that for its depth."""
    block = box(0, 0, 1, 1)
    for hollow in (block.difference(box(0.25, 1 - deep, 0.75, 1)), block.difference(box(0.25, 0.5, 0.75, 0.5 + deep))):
        assert len(gaps.gaps_of(hollow)) == seen


@pytest.mark.parametrize(("deep", "weight"), [(0.9, 1.0), (0.6, 1.0), (0.3, 0.5), (0.06, 0.1)])
def test_an_open_gap_counts_by_how_deep_it_is_for_its_mouth(deep: float, weight: float) -> None:
    """A wedge as deep as 0.6 of its mouth counts in full, a shallower one in proportion."""
    wedge = Polygon([(0, 0), (deep, 0.5), (0, 1)])
    found = gaps.Gap(wedge, "open", 0.2, 1.0)
    assert gaps.depth_of(found) == pytest.approx(deep)
    assert gaps.negative_space((found,)) == pytest.approx(0.2 * weight)
    assert gaps.negative_space((found, gaps.Gap(wedge, "enclosed", 0.3, 0.0))) == pytest.approx(0.2 * weight + 0.3)


def test_no_gap_in_a_block() -> None:
    assert gaps.gaps_of(SQUARE) == ()
    assert gaps.negative_space(()) == 0


def test_open_and_enclosed_gaps_make_up_the_hull() -> None:
    outline = figure("akimbo_000")
    found = gaps.gaps_of(outline)
    assert sum(g.kind == "enclosed" for g in found) == 2, "one between each arm and the body"
    seen = sum(g.polygon.area for g in found) + outline.area
    assert seen == pytest.approx(outline.convex_hull.area, rel=0.02)


def test_close_pairs_are_all_pairs_that_are_near() -> None:
    points = np.random.default_rng(3).random((300, 2))
    first, second = gaps._close_pairs(points, 0.07)
    away = np.hypot(*(points[:, None] - points[None]).transpose(2, 0, 1))
    assert np.array_equal(np.column_stack([first, second]), np.argwhere(np.triu(away < 0.07, 1)))


def fork(slit: float) -> Polygon:
    """A block with two prongs that bulge towards each other in the middle, ``slit`` apart there."""
    half = slit / 2
    outside = [(-0.2, 1), (-0.2, 0), (0.2, 0), (0.2, 1)]
    inside = [(0.1, 1), (half, 0.6), (0.1, 0.2), (-0.1, 0.2), (-half, 0.6), (-0.1, 1)]
    return normalised(Polygon(outside + inside))


@pytest.mark.parametrize(("slit", "kisses"), [(0.004, 1), (0.008, 1), (0.05, 0), (0.1, 0)])
def test_edges_kiss_only_when_near(slit: float, kisses: int) -> None:
    found = gaps.tangents_of(fork(slit))
    assert len(found) == kisses
    for tangent in found:
        assert tangent.distance == pytest.approx(slit, abs=0.003)
        assert tangent.point == pytest.approx((0, 0.6), abs=0.01)


def test_a_thin_bridge_kisses_too_but_a_broad_overlap_does_not() -> None:
    bar = box(-0.3, 0, 0.3, 0.1).union(box(-0.3, 0.9, 0.3, 1))
    for width, kisses in ((0.008, 1), (0.05, 0)):
        rhombs = Polygon([(-0.3, 0.1), (0.3, 0.1), (width / 2, 0.5), (0.3, 0.9), (-0.3, 0.9), (-width / 2, 0.5)])
        assert len(gaps.tangents_of(normalised(bar.union(rhombs)))) == kisses


@pytest.mark.parametrize(("round_it", "kisses"), [(0.08, 0), (0.13, 1), (0.16, 1)])
def test_edges_kiss_that_are_far_apart_along_the_outline(round_it: float, kisses: int) -> None:
    """A keyhole: its edges all but touch at the neck; the way round the hole is eight times the kissing distance."""
    neck, radius = 0.003, round_it / (2 * np.pi)
    hole = Point(0, 0.5).buffer(radius, quad_segs=32)
    mouth = 0.5 - 0.9 * radius
    funnel = Polygon([(-neck / 2, mouth), (-0.2, 0.3 - radius), (0.2, 0.3 - radius), (neck / 2, mouth)])
    top = box(-0.2, -0.1, 0.2, 0.301 - radius)
    shape = normalised(box(-0.25, 0, 0.25, 1).difference(hole.union(funnel).union(top)))
    assert len([t for t in gaps.tangents_of(shape) if abs(t.point[0]) < 0.02]) == kisses


@pytest.mark.parametrize(("bridge", "kisses"), [(0.006, 1), (0.03, 0)])
def test_a_hole_kisses_the_outer_edge_where_its_corner_comes_near(bridge: float, kisses: int) -> None:
    def diamond(x: float, y: float) -> Polygon:
        return Polygon([(x - 0.1, y), (x, y - 0.1), (x + 0.1, y), (x, y + 0.1)])

    first, second = diamond(-0.15, 0.3), diamond(0.3 - 0.1 - bridge, 0.7)
    shape = normalised(box(-0.3, 0, 0.3, 1).difference(first).difference(second))
    found = gaps.tangents_of(shape)
    assert len(found) == kisses
    for tangent in found:
        assert tangent.point == pytest.approx((0.3 - bridge / 2, 0.7), abs=0.005)


@pytest.mark.parametrize(("between", "kisses"), [(0.04, 1), (0.06, 2)])
def test_kisses_close_to_each_other_are_one(between: float, kisses: int) -> None:
    points = np.array([(0, 0), (0.004, 0), (0, between), (0.006, between)], float)
    found = gaps._narrowest(points, np.array([0, 2]), np.array([1, 3]))
    assert len(found) == kisses and found[0].distance == pytest.approx(0.004) and found[0].point == (0.002, 0)


def test_a_wedge_that_closes_is_no_kiss() -> None:
    wedge = Polygon([(-0.3, 0), (0.3, 0), (0.3, 1), (0.04, 1), (0, 0.2), (-0.04, 1), (-0.3, 1)])
    assert gaps.tangents_of(normalised(wedge)) == ()
