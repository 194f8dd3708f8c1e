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
from silhouette.records import BodyReading, Joint, LimbLegibility, Measures, Outline
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


def why(read: BodyReading | None, guess: LimbLegibility | None = None) -> tuple[str, ...]:
    """Reasons for :func:`keeper`; shape and reader agree on the limbs unless ``guess`` says otherwise."""
    line = keeper()
    limbs = guess or (read.limb_legibility if read else None)
    return view.read_view(replace(measure_outline(line.polygon), limbs=limbs), line, "open", read).why


def test_reasons_say_what_is_lost() -> None:
    def told(name: str) -> tuple[str, ...]:
        return view.read_view(*shape(name)).why

    assert "both arms lost in the torso" in told("akimbo_090")
    assert any("legs read as one" in reason for reason in told("reach_up_090"))
    assert "both arms lost in the torso" in told("arms_flush_000")
    assert told("lunge_030") == ("head, both arms and both legs stand clear",)


def test_by_shape_alone_no_side_is_named_for_a_lost_arm() -> None:
    """The bare side of the outline held the lost arm in fewer than half of the cases."""
    mask = np.asarray(cv2.imread(str(MASKS / "arms_flush_090.png"), cv2.IMREAD_GRAYSCALE)) > 0
    assert "one arm lost in the torso" in view.read_view(*measured(mask)).why


def test_places_on_a_low_figure_name_no_joints() -> None:
    assert said.place(0.3, 0.5, upright=False) == "picture right, half-way up"
    assert said.place(0.3, 0.5) == "picture right, at the hips"
    assert said.place(0.0, 0.95) == "the middle, at the feet"


@pytest.mark.parametrize(("y", "zone"), [(0.20, "shoulder"), (0.28, "chest"), (0.38, "waist"), (0.48, "hip")])
def test_a_lost_arms_hand_is_named_with_its_part_of_the_torso_and_its_side(y: float, zone: str) -> None:
    at_left, at_right = (why(body(hand=[(side * 0.09, y), (-side * 0.2, 0.5)])) for side in (-1, 1))
    assert f"one arm lost in the torso, its hand at the {zone}, picture left" in at_left
    assert f"one arm lost in the torso, its hand at the {zone}, picture right" in at_right


def test_no_side_is_named_on_the_middle_and_no_place_that_is_not_sure() -> None:
    assert "one arm lost in the torso, its hand at the waist" in why(body(hand=[(0.02, 0.38), (0.2, 0.5)]))
    unsure = why(body(spread=0.2, hand=[(0.09, 0.38), (0.2, 0.5)]))
    assert "one arm lost in the torso" in unsure and not any("hand" in reason for reason in unsure)


def test_a_hand_is_lost_alone_where_its_arm_still_shows() -> None:
    assert "one hand lost at the hip, picture left" in why(body((0.4, 0.6), hand=[(-0.09, 0.48), (0.2, 0.5)]))
    shallow = (0.17 - said.HAND_DEEP / 2, 0.4)
    assert not any("lost" in reason for reason in why(body((0.4, 0.6), hand=[shallow, (0.3, 0.5)])))


def test_a_hand_in_the_face_is_at_the_head_and_not_in_the_torso() -> None:
    line = replace(keeper(), polygon=keeper().polygon.union(box(-0.1, 0, 0.1, 0.16)))
    read = body(hand=[(0.02, 0.09), (0.2, 0.5)])
    limbs = replace(measure_outline(line.polygon), limbs=read.limb_legibility)
    assert "one hand lost at the head" in view.read_view(limbs, line, "open", read).why


def test_both_arms_lost_tell_of_a_hand_that_is_placed() -> None:
    told = why(body((0.1, 0.2), hand=[(0.02, 0.38), (0.0, 0.9)]))
    assert "both arms lost in the torso, a hand at the waist" in told


def test_a_bent_figure_has_no_waist_on_the_line_from_head_to_knees() -> None:
    line = keeper()
    hand = np.array([0.09, 0.38])
    assert said.zone_of(hand, body(), line) == "waist"
    kneeling = body(knee=[(-0.06, 0.93), (0.06, 0.93)])
    assert said.zone_of(hand, kneeling, line) is None
    assert said.zone_of(np.array([0.08, 0.92]), kneeling, line) == "knee"
    assert said.zone_of(hand, body(head=[]), line) is None


def test_a_foot_deep_in_the_shape_is_lost() -> None:
    assert "one foot lost in the rest" in why(body((0.7, 0.7), foot=[(0.0, 0.4), (0.06, 0.97)]))
    assert "both feet lost in the rest" in why(body((0.7, 0.7), foot=[(0.0, 0.4), (0.02, 0.45)]))
    assert not any("foot" in reason for reason in why(body((0.7, 0.7))))


def test_without_a_trusted_reader_the_shape_speaks_alone() -> None:
    spot = [(0.09, 0.38), (0.2, 0.5)]
    alone = why(None, LimbLegibility(0.7, (0.1, 0.6), (0.7, 0.7)))
    assert any(reason.startswith("one arm lost in the torso") for reason in alone)
    for unlike in np.linspace(*weights.UNLIKE_CURVE, 4)[1:]:
        told = why(body(hand=spot, unlike=float(unlike)))
        assert told == alone


def test_a_closed_pose_is_told_of_no_lost_hand() -> None:
    line, read = keeper(), body(hand=[(0.09, 0.38), (0.2, 0.5)])
    told = view.read_view(measure_outline(line.polygon), line, "closed", read).why
    assert not any("lost" in reason for reason in told)
