"""Walking round: what is bridged, what is inferred, what is weak, and how sure it is."""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import replace
from pathlib import Path

import numpy as np
import pytest
from shapely.geometry import Polygon, box

from silhouette.reading import circle
from silhouette.records import INFERRED, Outline, Reading, Reason, ReasonKind, Stop, View, Zone
from silhouette.settings import BAND_FAIR

WEAK, GOOD = BAND_FAIR - 20, BAND_FAIR + 20
LEGS = Reason(ReasonKind.LEGS_AS_ONE, "leg", severity=0.5)
TOUCH = Reason(ReasonKind.EDGES_TOUCH, None, "waist", "middle", 0.15)


def both(zone: Zone | None = None) -> Reason:
    return Reason(ReasonKind.ARMS_LOST, "arm", zone, severity=0.6)


def arm(zone: Zone | None = None) -> Reason:
    return Reason(ReasonKind.ARM_LOST, "arm", zone, severity=0.4)


def hand(zone: Zone | None = "hip") -> Reason:
    return Reason(ReasonKind.HAND_LOST, "hand", zone, severity=0.3)


def view(angle: float, readability: float | None, why: Sequence[Reason] = ()) -> View:
    stop = Stop(0, Path("a.jpg"), f"{angle:03.0f}", angle, "name")
    reading = None if readability is None else Reading(readability, readability, readability, "fair", tuple(why))
    return View(stop, 1.0, "backdrop", reading=reading)


def outline(polygon: Polygon, height_px: float = 100) -> Outline:
    return Outline(polygon, height_px, (50.0, 0.0), (100, 120))


def test_between_stops_readability_runs_straight() -> None:
    degrees = circle.interpolate(np.array([350.0, 10.0])[::-1], np.array([20.0, 60.0]))
    assert degrees[0] == pytest.approx(40)
    assert degrees[350] == pytest.approx(60)
    assert np.isnan(degrees[180])


def test_stops_sixty_apart_are_bridged_and_wider_holes_are_not() -> None:
    even = circle.walk_round([view(a, GOOD) for a in range(0, 360, 60)])
    assert (even.counted_degrees, even.reads_degrees) == (360, 360)
    assert even.missing_arcs == ()
    wide = circle.walk_round([view(a, GOOD) for a in (0, 60, 121, 180, 240, 300)])
    assert wide.counted_degrees == 360 - 61
    assert [(a.start, a.end) for a in wide.missing_arcs] == [(60, 121)]


def test_uneven_stops_count_by_degrees_not_by_number() -> None:
    crowded = [view(a, WEAK) for a in range(0, 30, 3)] + [view(a, GOOD) for a in range(60, 360, 30)]
    walk = circle.walk_round(crowded)
    assert walk.reads_degrees is not None and walk.reads_degrees > 290


def test_weak_arcs_pass_through_the_front_and_name_their_commonest_cause() -> None:
    views = [view(a, GOOD) for a in range(40, 330, 20)]
    views += [view(340, WEAK, [LEGS]), view(0, WEAK, [replace(LEGS, severity=0.3)])]
    views += [view(20, WEAK, [replace(arm(), side="picture right")])]
    (arc,) = circle.walk_round(views).weak_arcs
    assert 320 < arc.start < 340 and 20 < arc.end < 40
    assert [(c.kind, c.severity) for c in arc.causes] == [
        (ReasonKind.LEGS_AS_ONE, pytest.approx(0.4)), (ReasonKind.ARM_LOST, pytest.approx(0.4))]


def causes_of(*why: Reason) -> tuple[Reason, ...]:
    """The causes of a weak stretch whose views, one each, have these reasons."""
    views = [view(a, GOOD) for a in range(100, 360, 20)]
    views += [view(20.0 * i, WEAK, [reason]) for i, reason in enumerate(why)]
    (arc,) = circle.walk_round(views).weak_arcs
    return arc.causes


def test_both_arms_lost_say_that_one_is() -> None:
    for less in (arm(), hand()):
        assert causes_of(less, less, both(), LEGS) == (both(), LEGS)
        assert causes_of(less, less, LEGS) == (less, LEGS)


def test_a_cause_tells_where_a_hand_lies_if_it_does_so_in_most_of_its_views() -> None:
    left, right = (replace(hand(), side=side) for side in ("picture left", "picture right"))
    assert causes_of(left, right, hand("waist")) == (hand("hip"),), "the side is left out"
    assert causes_of(left, hand("waist")) == (hand(None),)
    assert causes_of(arm("chest"), replace(arm("chest"), side="picture left")) == (arm("chest"),)
    assert causes_of(arm("chest"), arm()) == (arm(),)


def test_a_lost_arm_and_a_lost_hand_are_one_cause() -> None:
    assert causes_of(arm(), hand(), arm(), LEGS) == (arm(), LEGS)
    assert causes_of(hand(), arm(), hand(), LEGS) == (hand(), LEGS)
    assert causes_of(both(), both(), both("waist")) == (both(),)
    assert causes_of(both(), both(), both("head"), LEGS) == (both(), LEGS)
    assert causes_of(both("head"), both("head"), both()) == (both("head"),)


def test_what_speaks_for_a_view_causes_no_weakness_and_a_weightier_fault_counts_more() -> None:
    gap = Reason(ReasonKind.GAP, None, "waist", "middle")
    assert circle.merged([(gap,), (LEGS, gap)]) == (LEGS,)
    assert [r.kind for r in circle.merged([(TOUCH, LEGS), (TOUCH, LEGS), (LEGS,)])] == [
        ReasonKind.EDGES_TOUCH, ReasonKind.LEGS_AS_ONE]
    assert circle.merged([(TOUCH,)]) == (replace(TOUCH, zone=None, side=None),), "another spot in every view"


def test_only_the_arc_counts() -> None:
    views = [view(a, WEAK if 90 <= a <= 270 else GOOD) for a in range(0, 360, 15)]
    walk = circle.walk_round(views, arc=(300, 60))
    assert walk.counted_degrees == 120
    assert walk.reads_degrees == 120
    assert walk.worst == GOOD


def test_one_picture_has_no_round() -> None:
    walk = circle.walk_round([view(45, GOOD)])
    assert walk.reads_degrees is None and walk.counted_degrees == 0
    assert walk.worst == GOOD and walk.mean == GOOD


def test_views_without_a_verdict_are_passed_over_and_twins_are_averaged() -> None:
    walk = circle.walk_round([view(0, 30), view(0, 50), view(30, None), view(60, 60)])
    assert walk.degrees[0] == pytest.approx(40)
    assert walk.degrees[30] == pytest.approx(50)


def test_a_half_turn_is_completed_by_its_mirror_and_marked() -> None:
    half = [view(a, GOOD + a / 10, [replace(arm("hip"), side="picture left"), TOUCH]) for a in range(0, 180, 30)]
    views = circle.infer_far_side(half)
    inferred = [v for v in views if v.inferred]
    assert sorted(v.angle for v in inferred) == [180, 210, 240, 270, 300, 330]
    there = (replace(arm("hip"), side="picture right"), TOUCH)
    assert all(INFERRED in v.flags and v.reading and v.reading.reasons == there for v in inferred)
    walk = circle.walk_round(views)
    assert walk.reads_degrees == 360
    assert walk.inferred[180:330].all() and not walk.inferred[10:150].any()


def test_a_missing_stop_of_a_full_turn_is_not_inferred_away() -> None:
    views = [view(a, GOOD) for a in range(0, 360, 15) if not 100 < a < 190]
    assert circle.infer_far_side(views) == views


def test_mirroring_keeps_the_outline_over_its_picture() -> None:
    ell = Polygon([(0, 0), (0.2, 0), (0.2, 0.8), (0.4, 0.8), (0.4, 1), (0, 1)])
    one = View(
        Stop(0, Path("a"), "a", 30, "name"), 1, "backdrop", outline=outline(ell), reading=Reading(1, 1, 1, "weak", ())
    )
    other = circle.mirrored(one)
    assert other.angle == 210
    assert other.outline is not None
    x = np.array(other.outline.polygon.exterior.coords)[:, 0] * 100 + other.outline.origin_px[0]
    assert (x.min(), x.max()) == (pytest.approx(100 - 90), pytest.approx(100 - 50))


def test_the_closing_stop_is_known_by_its_outline() -> None:
    wide = [box(-w, 0, w, 1) for w in (0.30, 0.25, 0.20, 0.16, 0.20, 0.25)]
    turn = [outline(p) for p in wide]
    assert not circle.ends_where_it_began(turn, 360)
    assert circle.ends_where_it_began([*turn, outline(box(-0.301, 0, 0.3, 1))], 360)
    lean = Polygon([(0, 0), (0.1, 0), (0.4, 1), (0.3, 1)])
    mirror = Polygon([(0, 0), (-0.1, 0), (-0.4, 1), (-0.3, 1)])
    half = [outline(lean), outline(wide[1]), outline(wide[2]), outline(wide[3])]
    assert circle.ends_where_it_began([*half, outline(mirror)], 180)
    assert not circle.ends_where_it_began([*half, outline(lean)], 180)


@pytest.mark.parametrize("half_widths", [
    (0.30, 0.20, 0.20, 0.20, 0.28, 0.29),  # the last step is small: 1/29, and the turn is 1/30 short of the start
    (0.30, 0.29, 0.20, 0.20, 0.20, 0.29),  # the first step is small, 1/30, and so is what is left at the end
])
def test_one_small_step_short_of_the_start_is_not_the_start(half_widths: tuple[float, ...]) -> None:
    assert not circle.ends_where_it_began([outline(box(-w, 0, w, 1)) for w in half_widths], 360)
    closed = [outline(box(-w, 0, w, 1)) for w in (*half_widths[:-1], 0.30)]
    assert circle.ends_where_it_began(closed, 360)


def test_resampling_is_repeatable_and_wider_when_edges_shake() -> None:
    rng = np.random.default_rng(3)
    views = [view(a, float(v)) for a, v in zip(range(0, 360, 15), rng.normal(BAND_FAIR, 8, 24), strict=True)]
    calm, again, shaky = (circle.resample(views, None, sd, 0) for sd in (0.5, 0.5, 8.0))
    assert calm is not None and again is not None and shaky is not None
    assert np.array_equal(calm, again)
    assert shaky[:, 0].std() > 2 * calm[:, 0].std()
    assert circle.resample(views[:1], None, 1.0, 0) is None
