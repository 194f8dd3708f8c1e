"""The circles: on the spot that a finger would point at."""

from __future__ import annotations

from collections.abc import Callable
from dataclasses import replace
from pathlib import Path

import pytest
from shapely.geometry import Point, Polygon, box

from silhouette.records import (
    BodyReading,
    Gap,
    Joint,
    LimbLegibility,
    Measures,
    Note,
    Outline,
    Pose,
    Reading,
    Reason,
    ReasonKind,
    Stop,
    Tangent,
    View,
)
from silhouette.show.trouble import neighbours_of, numbered, troubles

HEAD = Reason(ReasonKind.HEAD_SUNK, "head", severity=0.3)
LEGS = Reason(ReasonKind.LEGS_AS_ONE, "leg", severity=0.4)
ARM = Reason(ReasonKind.ARM_LOST, "arm", severity=0.4)
ARMS = Reason(ReasonKind.ARMS_LOST, "arm", severity=0.6)
HAND = Reason(ReasonKind.HAND_LOST, "hand", "waist", severity=0.3)
NO_GAP = Reason(ReasonKind.NO_GAP, severity=0.12)


def measured(polygon: Polygon) -> Measures:
    """Only its holes are told; nothing stands out."""
    holes = [Polygon(ring) for ring in polygon.interiors]
    gaps = tuple(Gap(hole, "enclosed", hole.area / polygon.convex_hull.area, 0.0) for hole in holes)
    return Measures(0.1, 3, 0.5, gaps, (), (), 0.8, 0.3, 0.7, 0.7)


def drawn(polygon: Polygon, *why: Reason, angle: float = 0.0) -> View:
    """A view of a drawing of height 1 with these reasons."""
    return View(Stop(0, Path("x.jpg"), "x", angle, "name"), 0.99, "given",
                outline=Outline(polygon, 500, (200, 50), (400, 600)), measures=measured(polygon),
                reading=Reading(20, 20, 20, "weak", why))


def keeper(arm: bool = True, hole: bool = False) -> Polygon:
    """Head, trunk, two legs apart; an arm held out at picture right; a hole between it and the trunk."""
    body = box(-0.06, 0, 0.06, 0.14).union(box(-0.13, 0.13, 0.13, 0.55)).union(box(-0.13, 0.5, -0.03, 1)).union(
        box(0.03, 0.5, 0.13, 1))
    if arm:
        body = body.union(box(0.1, 0.18, 0.45, 0.24))
    if hole:
        body = body.union(box(0.1, 0.4, 0.45, 0.45)).union(box(0.4, 0.18, 0.45, 0.45))
    centred = body.bounds
    shift = -(centred[0] + centred[2]) / 2
    from shapely import affinity
    return affinity.translate(body, shift, 0)


def test_head_is_circled_at_the_head() -> None:
    spot = troubles(drawn(keeper(), HEAD))[0]
    assert abs(spot.y - 0.07) < 0.05 and spot.half_height < 0.12
    assert Point(spot.x, spot.y).within(keeper())


def test_head_is_found_under_a_raised_arm(pose_at: Callable[..., Pose]) -> None:
    """The rendered figure reaches up: its head's top is about 0.15 under the hand's tip."""
    view = pose_at("reach_up", 24).views[0]
    assert view.reading
    view = replace(view, reading=replace(view.reading, reasons=(HEAD,)))
    spot = troubles(view)[0]
    assert 0.14 < spot.y < 0.27


def test_a_lost_arm_is_circled_on_its_own_side() -> None:
    polygon = keeper(arm=True)
    left = troubles(drawn(polygon, replace(ARM, zone="hip", side="picture left")))[0]
    right = troubles(drawn(polygon, replace(ARM, zone="hip", side="picture right")))[0]
    assert left.x < right.x
    assert 0.24 <= left.y <= 0.5
    assert Point(left.x, left.y).within(polygon.buffer(0.02))


def test_both_arms_take_one_ring_round_the_trunk() -> None:
    spots = troubles(drawn(keeper(arm=False), ARMS))
    assert len(spots) == 1
    assert spots[0].x - spots[0].half_width < -0.13 and spots[0].x + spots[0].half_width > 0.13


def test_legs_ring_holds_both_legs() -> None:
    spot = troubles(drawn(keeper(arm=False), LEGS))[0]
    assert spot.y > 0.6 and spot.half_width >= 0.13


def test_tangents_are_circled_where_they_are() -> None:
    view = drawn(keeper(), Reason(ReasonKind.EDGES_TOUCH, None, "hip", "picture right", 0.15))
    assert view.measures
    view = replace(view, measures=replace(view.measures, tangents=(Tangent((0.1, 0.6), 0.01),)))
    spot = troubles(view)[0]
    assert (spot.x, spot.y) == (0.1, 0.6)


def test_a_gap_that_closes_is_circled_where_it_was() -> None:
    open_view, shut = drawn(keeper(hole=True), NO_GAP, angle=15), drawn(keeper(), NO_GAP)
    hole = keeper(hole=True).interiors[0]
    middle = Polygon(hole).centroid
    filled = replace(shut, outline=replace(shut.outline, polygon=Polygon(keeper(hole=True).exterior)),  # type: ignore[type-var]
                     measures=measured(Polygon(keeper(hole=True).exterior)))
    found = troubles(filled, [open_view])
    assert [t.cause for t in found] == [Note.of("gap closed", at=15)]
    assert (found[0].x, found[0].y) == pytest.approx((middle.x, middle.y))
    assert troubles(open_view, [open_view]) == []


def test_the_readers_hands_are_used_where_the_body_swallows_them() -> None:
    polygon = keeper(arm=False)
    view = drawn(polygon, ARMS)
    # Outline (0, 0.45) is picture pixel (200, 275) of 400 x 600.
    hand = Joint("hand", 200 / 400, (50 + 0.45 * 500) / 600, 0.05)
    outside = Joint("hand", 380 / 400, 0.5, 0.05)
    body = BodyReading(LimbLegibility(1, (0, 0), (1, 1)), (hand, outside), 0.0)
    found = troubles(replace(view, body=body))
    assert [(t.x, t.y) for t in found] == [pytest.approx((0, 0.45))]


def read_joints(*joints: tuple[str, float, float]) -> BodyReading:
    """What the reader says of a drawing: joints at these spots, figure heights."""
    placed = tuple(Joint(name, (200 + x * 500) / 400, (50 + y * 500) / 600, 0.05) for name, x, y in joints)
    return BodyReading(LimbLegibility(1, (0, 0), (1, 1)), placed, 0.0)


def test_a_lost_hand_is_circled_on_its_side_else_where_it_is_deepest() -> None:
    body = read_joints(("hand", -0.08, 0.3), ("hand", 0.03, 0.4))
    for why, spot in ((replace(HAND, side="picture left"), (-0.08, 0.3)),
                      (replace(HAND, side="picture right"), (0.03, 0.4)),
                      (replace(ARM, zone="waist"), (0.03, 0.4))):
        found = troubles(replace(drawn(keeper(arm=False), why), body=body))
        assert [(t.x, t.y) for t in found] == [pytest.approx(spot)]


def test_a_hand_before_the_head_is_not_circled_for_an_arm_lost_in_the_torso() -> None:
    body = read_joints(("head", 0.0, 0.07), ("hand", -0.01, 0.05), ("hand", 0.0, 0.6))
    view = replace(drawn(keeper(arm=False), ARMS), body=body)
    assert [t.y for t in troubles(view)] == [pytest.approx(0.37)], "the trunk, where the words say it is"
    at_head = replace(drawn(keeper(arm=False), replace(HAND, zone="head")), body=body)
    assert [t.y for t in troubles(at_head)] == [pytest.approx(0.05)]


def test_a_lost_foot_is_circled_where_it_is() -> None:
    body = read_joints(("foot", 0.0, 0.45), ("foot", 0.08, 0.99))
    found = troubles(replace(drawn(keeper(arm=False), Reason(ReasonKind.FOOT_LOST, "foot", severity=0.12)), body=body))
    assert [(t.x, t.y) for t in found] == [pytest.approx((0.0, 0.45))]


def test_a_view_without_a_verdict_has_no_circles() -> None:
    view = drawn(keeper(), LEGS)
    assert troubles(replace(view, reading=None)) == []


def test_neighbours_are_the_stops_on_either_side(pose_at: Callable[..., Pose]) -> None:
    views = pose_at("akimbo", 24).views
    assert [v.angle for v in neighbours_of(views[0], views)] == [345, 15]


def test_spots_of_one_fault_share_a_number() -> None:
    view = drawn(keeper(arm=False), LEGS, HEAD)
    assert [n for n, _ in numbered(troubles(view))] == [1, 2]
