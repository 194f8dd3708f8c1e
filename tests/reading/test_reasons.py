"""Reasons name what is lost and where, and name no place that is not sure."""

from __future__ import annotations

from dataclasses import replace
from functools import cache
from pathlib import Path

import cv2
import numpy as np
import pytest
from shapely.geometry import Polygon, box
from shapely.ops import unary_union

from silhouette.reading import reasons as said
from silhouette.reading import view, weights
from silhouette.records import ARM_TROUBLES, BodyReading, Joint, LimbLegibility, Measures, Outline, Reason, ReasonKind
from silhouette.shape.measure import measure_outline
from silhouette.shape.outline import outline_of

MASKS = Path(__file__).parents[1] / "data" / "shapes" / "masks"
SPOTS = {"head": [(0.0, 0.07)], "knee": [(-0.06, 0.715), (0.06, 0.715)], "foot": [(-0.06, 0.97), (0.06, 0.97)],
         "elbow": [(-0.2, 0.37), (0.2, 0.37)], "hand": [(-0.2, 0.5), (0.2, 0.5)]}
"""A standing figure, x and y in figure heights; heights after Drillis & Contini 1966."""


@cache
def shape(name: str) -> tuple[Measures, Outline]:
    return measured(np.asarray(cv2.imread(str(MASKS / f"{name}.png"), cv2.IMREAD_GRAYSCALE)) > 0)


def measured(mask: np.ndarray) -> tuple[Measures, Outline]:
    found = outline_of(mask)
    assert found is not None
    return measure_outline(found.polygon), found


def keeper() -> Outline:
    """A head, a broad trunk down to the hips, two legs that stand apart; 400 pixels tall in a picture of 600 x 500."""
    body = unary_union([box(-0.05, 0, 0.05, 0.15), box(-0.17, 0.14, 0.17, 0.55),
                        box(-0.13, 0.5, -0.02, 1), box(0.02, 0.5, 0.13, 1)])
    assert isinstance(body, Polygon)
    return Outline(body, 400, (300, 50), (600, 500))


def body(arms: tuple[float, float] = (0.1, 0.6), spread: float = 0.05, unlike: float = 0.0,
         **spots: list[tuple[float, float]]) -> BodyReading:
    """What the reader says of :func:`keeper`, with other spots for some joints."""
    line = keeper()
    joints = tuple(
        Joint(name, (x * line.height_px + line.origin_px[0]) / line.picture_size[0],
              (y * line.height_px + line.origin_px[1]) / line.picture_size[1], spread)
        for name, places in (SPOTS | spots).items() for x, y in places)
    return BodyReading(LimbLegibility(0.7, arms, (0.7, 0.7)), joints, unlike)


LOST = {*ARM_TROUBLES, ReasonKind.FOOT_LOST, ReasonKind.FEET_LOST}


def why(read: BodyReading | None, guess: LimbLegibility | None = None) -> tuple[Reason, ...]:
    """Reasons for :func:`keeper`; shape and reader agree on the limbs unless ``guess`` says otherwise."""
    line = keeper()
    limbs = guess or (read.limb_legibility if read else None)
    return view.read_view(replace(measure_outline(line.polygon), limbs=limbs), line, "open", read).reasons


def places(found: tuple[Reason, ...]) -> dict[ReasonKind, tuple[str | None, str | None]]:
    """Zone and side of each kind of reason."""
    return {reason.kind: (reason.zone, reason.side) for reason in found}


def test_reasons_say_what_is_lost() -> None:
    def told(name: str) -> dict[ReasonKind, tuple[str | None, str | None]]:
        return places(view.read_view(*shape(name)).reasons)

    assert told("akimbo_090")[ReasonKind.ARMS_LOST] == (None, None)
    assert ReasonKind.LEGS_AS_ONE in told("reach_up_090")
    assert told("arms_flush_000")[ReasonKind.ARMS_LOST] == (None, None)
    assert list(told("lunge_030")) == [ReasonKind.ALL_CLEAR]


def test_the_weightiest_reason_comes_first() -> None:
    for name in ("akimbo_090", "reach_up_090", "arms_flush_000", "akimbo_060"):
        weights_told = [reason.severity for reason in view.read_view(*shape(name)).reasons]
        assert weights_told == sorted(weights_told, reverse=True) and weights_told[0] > 0


def test_by_shape_alone_no_side_is_named_for_a_lost_arm() -> None:
    """The bare side of the outline held the lost arm in fewer than half of the cases."""
    mask = np.asarray(cv2.imread(str(MASKS / "arms_flush_090.png"), cv2.IMREAD_GRAYSCALE)) > 0
    assert places(view.read_view(*measured(mask)).reasons)[ReasonKind.ARM_LOST] == (None, None)


def test_places_on_a_low_figure_name_no_joints() -> None:
    assert said.place(0.3, 0.5, upright=False) == ("half-way up", "picture right")
    assert said.place(0.3, 0.5) == ("hip", "picture right")
    assert said.place(0.0, 0.95) == ("foot", "middle")


@pytest.mark.parametrize(("y", "zone"), [(0.20, "shoulder"), (0.28, "chest"), (0.38, "waist"), (0.48, "hip")])
def test_a_lost_arms_hand_is_named_with_its_part_of_the_torso_and_its_side(y: float, zone: str) -> None:
    at_left, at_right = (places(why(body(hand=[(side * 0.09, y), (-side * 0.2, 0.5)]))) for side in (-1, 1))
    assert at_left[ReasonKind.ARM_LOST] == (zone, "picture left")
    assert at_right[ReasonKind.ARM_LOST] == (zone, "picture right")


def test_no_side_is_named_on_the_middle_and_no_place_that_is_not_sure() -> None:
    assert places(why(body(hand=[(0.02, 0.38), (0.2, 0.5)])))[ReasonKind.ARM_LOST] == ("waist", None)
    unsure = places(why(body(spread=0.2, hand=[(0.09, 0.38), (0.2, 0.5)])))
    assert unsure[ReasonKind.ARM_LOST] == (None, None) and ReasonKind.HAND_LOST not in unsure


def test_a_hand_is_lost_alone_where_its_arm_still_shows() -> None:
    assert places(why(body((0.4, 0.6), hand=[(-0.09, 0.48), (0.2, 0.5)])))[ReasonKind.HAND_LOST] == (
        "hip", "picture left")
    shallow = (0.17 - said.HAND_DEEP / 2, 0.4)
    assert not LOST & places(why(body((0.4, 0.6), hand=[shallow, (0.3, 0.5)]))).keys()


def test_a_hand_in_the_face_is_at_the_head_and_not_in_the_torso() -> None:
    line = replace(keeper(), polygon=keeper().polygon.union(box(-0.1, 0, 0.1, 0.16)))
    read = body(hand=[(0.02, 0.09), (0.2, 0.5)])
    limbs = replace(measure_outline(line.polygon), limbs=read.limb_legibility)
    told = next(r for r in view.read_view(limbs, line, "open", read).reasons if r.kind in ARM_TROUBLES)
    assert (told.kind, told.zone, told.in_torso) == (ReasonKind.HAND_LOST, "head", False)


def test_both_arms_lost_tell_of_a_hand_that_is_placed() -> None:
    told = next(r for r in why(body((0.1, 0.2), hand=[(0.02, 0.38), (0.0, 0.9)])) if r.kind == ReasonKind.ARMS_LOST)
    assert told.zone == "waist" and told.in_torso
    assert not replace(told, zone="head").in_torso and replace(told, zone=None).in_torso


def test_a_bent_figure_has_no_waist_on_the_line_from_head_to_knees() -> None:
    line = keeper()
    hand = np.array([0.09, 0.38])
    assert said.zone_of(hand, body(), line) == "waist"
    kneeling = body(knee=[(-0.06, 0.93), (0.06, 0.93)])
    assert said.zone_of(hand, kneeling, line) is None
    assert said.zone_of(np.array([0.08, 0.92]), kneeling, line) == "knee"
    assert said.zone_of(hand, body(head=[]), line) is None


def test_a_foot_deep_in_the_shape_is_lost() -> None:
    assert ReasonKind.FOOT_LOST in places(why(body((0.7, 0.7), foot=[(0.0, 0.4), (0.06, 0.97)])))
    assert ReasonKind.FEET_LOST in places(why(body((0.7, 0.7), foot=[(0.0, 0.4), (0.02, 0.45)])))
    assert not LOST & places(why(body((0.7, 0.7)))).keys()


def test_without_a_trusted_reader_the_shape_speaks_alone() -> None:
    spot = [(0.09, 0.38), (0.2, 0.5)]
    alone = why(None, LimbLegibility(0.7, (0.1, 0.6), (0.7, 0.7)))
    assert places(alone)[ReasonKind.ARM_LOST] == (None, None)
    for unlike in np.linspace(*weights.UNLIKE_CURVE, 4)[1:]:
        told = why(body(hand=spot, unlike=float(unlike)))
        assert told == alone


def test_a_closed_pose_is_told_of_no_lost_hand() -> None:
    line, read = keeper(), body(hand=[(0.09, 0.38), (0.2, 0.5)])
    told = view.read_view(measure_outline(line.polygon), line, "closed", read).reasons
    assert not LOST & places(told).keys()
