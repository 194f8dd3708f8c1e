"""Parts: what a person would cut off, and where.

The dolls are drawn so that the answer follows from what is known of people's cuts: they end at concave points (Hoffman
& Richards 1984), the shorter of two cuts wins (Singh, Seyranian & Hoffman 1999), and a part stands out by its area, its
protrusion and the sharpness at its base (Hoffman & Singh 1997).
"""

from __future__ import annotations

import numpy as np
import pytest
from hypothesis import given, settings
from hypothesis import strategies as st
from shapely import affinity
from shapely.geometry import Point, Polygon, box
from shapely.ops import unary_union

from silhouette.records import Part
from silhouette.shape import contour, part_cuts
from silhouette.shape.measure import measure_outline, normalised
from silhouette.shape.outline import outline_of
from tests.shape.conftest import CIRCLE, figure_mask


def cut(polygon: Polygon) -> tuple[part_cuts.CutPart, ...]:
    figure = normalised(polygon)
    picture = contour.raster(figure)
    return part_cuts.cut_parts(figure, picture)


def keeper(arm: float = 0.28, legs: float = 0.12) -> Polygon:
    """A doll: trunk, head, two arms that reach out by ``arm``, two legs ``legs`` apart."""
    shapes = [box(-0.11, 0.16, 0.11, 0.55), Point(0, 0.065).buffer(0.065), box(-0.03, 0.1, 0.03, 0.2)]
    for side in (-1, 1):
        shapes.append(box(min(side * 0.1, side * (0.11 + arm)), 0.2, max(side * 0.1, side * (0.11 + arm)), 0.25))
        inner, outer = side * legs / 2, side * (legs / 2 + 0.06)
        shapes.append(box(min(inner, outer), 0.5, max(inner, outer), 1.0))
    shape = unary_union(shapes).buffer(0.005).buffer(-0.005)
    assert isinstance(shape, Polygon)
    return shape


def test_a_doll_has_head_arms_and_legs() -> None:
    parts = cut(keeper())
    assert len(parts) == 5
    tips = sorted((round(c.part.tip[0], 1), round(c.part.tip[1], 1)) for c in parts)
    assert [t[1] for t in tips if abs(t[0]) > 0.3] == [0.2, 0.2], "the hands"
    assert sum(t[1] == 1.0 for t in tips) == 2, "the feet"
    assert sum(t[1] == 0.0 for t in tips) == 1, "the crown"


def test_an_arm_is_measured_from_its_base() -> None:
    arm = max((c.part for c in cut(keeper()) if c.part.tip[1] < 0.3), key=lambda p: p.length)
    (ax, ay), (bx, by) = arm.base
    assert np.hypot(ax - bx, ay - by) == pytest.approx(0.05, abs=0.02)
    assert arm.length == pytest.approx(0.28, abs=0.03)
    assert arm.protrusion == pytest.approx((2 * 0.28 + 0.05) / 0.05, rel=0.3)
    assert arm.area == pytest.approx(0.28 * 0.05 / normalised(keeper()).area, rel=0.2)


def test_convex_shapes_have_no_parts() -> None:
    assert cut(CIRCLE) == () and cut(box(0, 0, 1, 3)) == ()


def test_a_bent_arm_that_closes_a_gap_is_still_an_arm() -> None:
    found = outline_of(figure_mask("akimbo_000"))
    assert found is not None and len(found.polygon.interiors) == 2
    sides = {np.sign(c.part.tip[0]) for c in cut(found.polygon) if 0.15 < c.part.tip[1] < 0.5}
    assert sides == {-1, 1}


def test_an_opened_ring_keeps_length_and_area() -> None:
    frame = box(0, 0, 1, 1).difference(box(0.3, 0.3, 0.6, 0.6))
    ring = part_cuts.open_ring(normalised(frame))
    x, y = ring.T
    assert 0.5 * np.sum(x * np.roll(y, -1) - y * np.roll(x, -1)) == pytest.approx(frame.area, rel=0.01)


def test_parts_do_not_overlap() -> None:
    for name in ("lunge_030", "reach_up_060", "akimbo_330"):
        found = outline_of(figure_mask(name))
        assert found is not None
        parts = [c.part.polygon.buffer(0) for c in cut(found.polygon)]
        assert len(parts) >= 3
        assert unary_union(parts).area == pytest.approx(sum(p.area for p in parts), rel=0.02)


def test_the_clearest_stand() -> None:
    cuts = cut(keeper())
    assert part_cuts.standing(cuts, 0.2) == ()
    assert len(part_cuts.standing(cuts, 4.9)) == 5
    two = part_cuts.standing(cuts, 2.0)
    assert {p.tip[1] > 0.9 for p in two} == {True}, "the legs are the longest"


@settings(max_examples=15, deadline=None)
@given(st.floats(0.2, 20), st.floats(-50, 50), st.booleans(), st.integers(0, 60))
def test_position_scale_mirror_and_start_change_no_part(scale: float, move: float, mirror: bool, start: int) -> None:
    doll = keeper(arm=0.31)
    base = [p.length for p in measure_outline(doll).parts]
    ring = np.array(doll.exterior.coords)[:-1]
    other = Polygon(np.roll(ring, start, axis=0))
    other = affinity.translate(affinity.scale(other, -scale if mirror else scale, scale, origin=(0, 0)), move, -move)
    assert [p.length for p in measure_outline(other).parts] == pytest.approx(base, abs=1e-3)


def evidence(length: float, sharpness: float) -> part_cuts.CutPart:
    return part_cuts.CutPart(Part(box(0, 0, 1, 1), ((0, 0), (0, 1)), (1, 0.5), 0.1, 4.0, length), sharpness)


@pytest.mark.parametrize(("length", "sharpness", "clear"), [
    (0.055, 2.0, 0.0), (0.085, 2.0, 0.5), (0.115, 2.0, 1.0), (0.3, 2.0, 1.0), (0.3, 0.3, 0.0), (0.3, 0.6, 0.5),
    (0.3, 0.9, 1.0), (0.085, 0.6, 0.25)])
def test_a_part_is_clear_by_its_length_and_by_the_sharpness_of_its_base(
    length: float, sharpness: float, clear: float
) -> None:
    """Length from 0.055 to 0.115 of the height, sharpness from 0.3 to 0.9 radians."""
    assert part_cuts.clearness(evidence(length, sharpness)) == pytest.approx(clear)


def test_a_sharp_base_counts_as_length_does_up_to_two_radians() -> None:
    """A radian is worth 0.2: a head of 0.12 + 0.2 x 2 = 0.52 before a calf of 0.25 + 0.2 x 0.9 = 0.43, but behind
    an arm of 0.3 + 0.2 x 1.2 = 0.54, and no sharper neck helps it."""
    head, calf, arm, neck = evidence(0.12, 2.0), evidence(0.25, 0.9), evidence(0.3, 1.2), evidence(0.12, 4.0)
    assert part_cuts.standing((calf, head), 1.0) == (head.part,)
    assert part_cuts.standing((head, arm), 1.0) == (arm.part,) == part_cuts.standing((neck, arm), 1.0)
    assert part_cuts.standing((head, calf, arm), 2.0) == (arm.part, head.part)


def test_a_concave_point_turns_inwards_over_three_points() -> None:
    bend = np.zeros(20)
    bend[4:7] = -0.1, -0.15, -0.1
    assert list(part_cuts.concave_points(bend)) == [5], "0.35 radians together"
    bend[4:7] = -0.09, -0.1, -0.09
    assert list(part_cuts.concave_points(bend)) == [], "0.28 is under 0.30"
    bend[4:7] = 0.2
    assert list(part_cuts.concave_points(bend)) == [], "outwards"
    bend[[19, 0, 1]] = -0.1, -0.15, -0.1
    assert list(part_cuts.concave_points(bend)) == [0], "a ring has no end"


def test_cuts_are_looked_up_in_the_picture() -> None:
    """Ten rows to the height, eight columns, x = 0 in the middle."""
    picture = np.arange(80, dtype=np.float32).reshape(10, 8)
    told = part_cuts._at(np.array([[0.0, 0.55], [-0.35, 0.0], [0.35, 0.95], [-9, -9], [9, 9]]), picture)
    assert list(told) == [5 * 8 + 4, 0, 9 * 8 + 7, 0, 79]


def test_a_cut_runs_inside_the_figure() -> None:
    picture = np.ones((10, 10), np.float32)
    picture[:, 4:6] = 0.0
    a = np.array([[-0.45, 0.15], [-0.45, 0.15], [0.15, 0.15]])
    b = np.array([[-0.15, 0.95], [0.45, 0.95], [0.45, 0.95]])
    assert list(part_cuts._inside(a, b, picture)) == [True, False, True], "the second crosses the slit"


def span(start: int, stop: int, worth: float) -> part_cuts._Cut:
    return part_cuts._Cut(start, stop, 0.05, 0.5, 0.1, 0.2, start, worth)


@pytest.mark.parametrize(("middle", "kept"), [(1.9, {0, 50}), (2.1, {30})])
def test_the_parts_of_greatest_worth_together_are_kept(middle: float, kept: set[int]) -> None:
    """One part from 30 to 60 against two beside, from 0 to 40 and from 50 to 90, of worth 1 each."""
    cuts = [span(0, 40, 1.0), span(30, 60, middle), span(50, 90, 1.0)]
    assert {c.start for c in part_cuts._best_set(cuts, 100)} == kept


def test_a_part_may_lie_over_the_start_of_the_ring() -> None:
    cuts = [span(0, 40, 1.0), span(95, 105, 1.2), span(50, 90, 1.0)]
    assert {c.start for c in part_cuts._best_set(cuts, 100)} == {95, 50}
    touching = [span(0, 40, 1.0), span(40, 70, 1.0), span(70, 100, 1.0)]
    assert {c.start for c in part_cuts._best_set(touching, 100)} == {0, 40, 70}, "end to end is no overlap"


def test_a_cut_of_mere_noise_is_soon_done() -> None:
    """A slab with 900 holes: only so many are joined to its ring, else this would take minutes."""
    spots = [box(x, y, x + 0.01, y + 0.01) for x in np.arange(0.02, 0.98, 0.032) for y in np.arange(0.02, 0.98, 0.032)]
    slab = Polygon(box(0, 0, 1, 1).exterior, [s.exterior for s in spots])
    ring = part_cuts.open_ring(slab)
    assert len(slab.interiors) == 900 and len(ring) < 84 * 5 + part_cuts.MOST_HOLES * 12
