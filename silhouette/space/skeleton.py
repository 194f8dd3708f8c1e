"""From joints to an armature: segments, bends, wires to cut, the mass over the feet, the tape held against lengths.

A wire is a line through places in space. It is bent at each place by the angle between what comes and what goes, in the
plane of the two; from bend to bend that plane turns about the wire, and that turn is told too, so that a wire bent by
the list has the shape of the figure and not of its mirror image.
"""

from __future__ import annotations

from collections.abc import Sequence
from typing import cast

import numpy as np
import shapely
from numpy.typing import NDArray
from shapely.geometry import LineString, MultiPolygon, Point, Polygon
from shapely.geometry.base import BaseGeometry

from silhouette.records_space import (
    JOINTS,
    SINGLE,
    BodySide,
    JointBend,
    Plumb,
    Segment,
    Sizes,
    Skeleton,
    SpaceJoint,
    Taped,
    TapeLine,
    Wire,
    WireBend,
    WireRules,
)

Floats = NDArray[np.float64]
SIDES: tuple[BodySide, BodySide] = ("left", "right")

UPRIGHT = 3.0
"""Degrees from upright or hanging within which a segment has no heading."""
ALONG = 0.658
"""Error of a length over the root of the summed squares of its ends' ``within``: 9 in 10 errors of a ball of even
spread lie within 2.50 of its deviation, 9 in 10 along one line within 1.645."""
STRAIGHT = 2.0
"""Bends of fewer degrees are left out of the list of bends: no hand makes them."""
FLAT_M = 0.135
"""Highest ankle over a foot that stands flat, metres: 0.039 of the stature (Drillis & Contini 1966) is 0.07, and a
model's ankle joint and a hull's ground may each lie 3 cm off."""
TOES_M = 0.08
"""Highest tip of a foot that touches the ground, metres."""
HEEL_M, SOLE_M = 0.05, 0.035
"""How far a heel reaches behind the ankle, and half the width of a foot, metres."""
ON_GROUND_M = 0.001
"""Lower than this a wire begins at the ground itself."""
HEAD_LOOP = 2.5
"""Wire of the head loop over the way from neck to crown: an egg three quarters as high and half as wide as that, on a
neck of two wires."""

# Common practice, no single source; each is a setting (WireRules).
GAUGES = ((120.0, 1.5), (200.0, 2.0), (320.0, 3.0), (500.0, 4.0), (700.0, 6.0), (1000.0, 8.0))
"""Thickness of soft aluminium wire, mm, up to this height of the built piece, mm; above the last, rod or pipe."""
ROD_MM = 12.0
ANCHOR_SHARE, ANCHOR_LEAST = 0.12, 25.0
"""Wire below the top of the base over the height of the piece, and at least so much, mm."""
TIE_DIAMETERS = 12.0
"""Wire to tie an end to another wire: twice round it."""
BEND_DIAMETERS = 1.0
"""Allowance for a bend of a right angle."""


def name_of(joint: str, side: BodySide | None) -> str:
    """``knee left``, or ``crown``."""
    return joint if side is None else f"{joint} {side}"


def joint_names() -> tuple[str, ...]:
    """All 18 names of joints with their sides, in the order of a Skeleton."""
    return tuple(name_of(j, s) for j in JOINTS for s in ((None,) if j in SINGLE else SIDES))


def places(skeleton: Skeleton) -> dict[str, Floats]:
    """Name and place (3,) of every joint that was found, metres."""
    return {name_of(j.joint, j.side): np.asarray(j.at, np.float64) for j in skeleton.joints if j.at is not None}


# -------------------------------------------------------------------------------------------------------- segments

_LIMBS = (
    ("upper arm", "shoulder", "elbow"), ("forearm", "elbow", "wrist"), ("hand", "wrist", "hand end"),
    ("thigh", "hip", "knee"), ("shin", "knee", "ankle"), ("foot", "ankle", "foot end"),
)


class _Places:
    """Where everything with a name lies, joints and the middles between them."""

    def __init__(self, skeleton: Skeleton) -> None:
        self.joints: dict[str, SpaceJoint] = {name_of(j.joint, j.side): j for j in skeleton.joints}

    def at(self, name: str) -> Floats | None:
        """(3,) metres, or None; "hips" and "shoulders" are half way between the two."""
        if name in ("hips", "shoulders"):
            left, right = (self.at(f"{name[:-1]} {side}") for side in SIDES)
            return None if left is None or right is None else (left + right) / 2
        found = self.joints.get(name)
        return None if found is None or found.at is None else np.asarray(found.at, np.float64)

    def within(self, name: str) -> float | None:
        """Radius that holds it 9 times in 10, metres."""
        if name in ("hips", "shoulders"):
            left, right = (self.within(f"{name[:-1]} {side}") for side in SIDES)
            return None if left is None or right is None else float(np.hypot(left, right)) / 2
        found = self.joints.get(name)
        return None if found is None else found.within


def segments(skeleton: Skeleton) -> tuple[Segment, ...]:
    """All straight pieces of the figure: those of the middle, then the limbs, left before right.

    The trunk runs from the middle of the hips to the neck; shoulders and hips from the figure's right to its left.
    Lengths are metres; what a missing joint leaves open is None.
    """
    places = _Places(skeleton)
    middle = (
        ("neck and head", "neck", "crown"), ("trunk", "hips", "neck"),
        ("shoulders", "shoulder right", "shoulder left"), ("hips", "hip right", "hip left"),
    )
    made = [_segment(places, name, None, start, end) for name, start, end in middle]
    for name, start, end in _LIMBS:
        made += [_segment(places, name, side, f"{start} {side}", f"{end} {side}") for side in SIDES]
    return tuple(made)


def _segment(places: _Places, name: str, side: BodySide | None, start: str, end: str) -> Segment:
    a, b = places.at(start), places.at(end)
    if a is None or b is None:
        return Segment(name, side, start, end, None, None, None, None)
    way = b - a
    length = float(np.linalg.norm(way))
    tilt = float(np.degrees(np.arccos(np.clip(way[2] / max(length, 1e-9), -1, 1))))
    level = min(tilt, 180 - tilt) > UPRIGHT
    heading = float(np.degrees(np.arctan2(-way[0], -way[1])) % 360) if level else None
    return Segment(name, side, start, end, length, _length_within(places, start, end), tilt, heading)


def _length_within(places: _Places, start: str, end: str) -> float | None:
    a, b = places.within(start), places.within(end)
    return None if a is None or b is None else ALONG * float(np.hypot(a, b))


_BENDS = (
    ("shoulder", "trunk", "upper arm"), ("elbow", "upper arm", "forearm"), ("wrist", "forearm", "hand"),
    ("hip", "trunk", "thigh"), ("knee", "thigh", "shin"), ("ankle", "shin", "foot"),
)


def bends(skeleton: Skeleton) -> tuple[JointBend, ...]:
    """The angle at each joint, degrees; None where a joint that it takes is missing."""
    places = _Places(skeleton)
    made = [JointBend("neck", None, "trunk", "neck and head", _angle(places, "neck", "hips", "crown"))]
    ends = {name: (start, end) for name, start, end in _LIMBS}
    for joint, one, other in _BENDS:
        for side in SIDES:
            out = places.at(f"{ends[other][1]} {side}")
            here = places.at(f"{joint} {side}")
            if one == "trunk":
                neck, hips = places.at("neck"), places.at("hips")
                trunk = None if neck is None or hips is None else (hips - neck) * (1 if joint == "shoulder" else -1)
            else:
                inner = places.at(f"{ends[one][0]} {side}")
                trunk = None if inner is None or here is None else inner - here
            reach = None if out is None or here is None else out - here
            made.append(JointBend(joint, side, one, other, _between(trunk, reach)))
    return tuple(made)


def _angle(places: _Places, at: str, one: str, other: str) -> float | None:
    here, a, b = (places.at(name) for name in (at, one, other))
    return None if here is None or a is None or b is None else _between(a - here, b - here)


def _between(a: Floats | None, b: Floats | None) -> float | None:
    """Degrees between two directions."""
    if a is None or b is None:
        return None
    across = float(np.linalg.norm(np.cross(a, b)))
    return float(np.degrees(np.arctan2(across, float(a @ b))))


# ----------------------------------------------------------------------------------------------------------- wires

def usual_rules(built_height_mm: float) -> WireRules:
    """What is common practice for a piece of this height, mm as built: a start, and a setting like any other."""
    gauge = next((mm for upto, mm in GAUGES if built_height_mm <= upto), ROD_MM)
    return WireRules(
        gauge_mm=gauge, anchor_mm=max(ANCHOR_SHARE * built_height_mm, ANCHOR_LEAST), tie_mm=TIE_DIAMETERS * gauge,
        per_bend_mm=BEND_DIAMETERS * gauge,
    )


def wires(skeleton: Skeleton, sizes: Sizes, rules: WireRules | None = None) -> tuple[Wire, ...]:
    """The wires as they are cut and bent: a leg up into the trunk each, hand to hand, spine with head loop, flat feet.

    A wire that reaches the ground goes on below the top of the base. A joint that was not found is passed: the wire
    leads to the next one. A wire with fewer than two places is left out.

    Parameters
    ----------
    skeleton : Skeleton
        Metres.
    rules : WireRules, optional
        By default :func:`usual_rules` of the built height.
    """
    rules = rules or usual_rules(sizes.pose_height_m * sizes.built)
    places = _Places(skeleton)
    made = [_wire(f"leg {side}", _leg(places, side), places, sizes, rules) for side in SIDES]
    made.append(_wire("arms", [f"{joint} {side}" for side, order in (("left", 1), ("right", -1))
                               for joint in ("hand end", "wrist", "elbow", "shoulder")[::order]], places, sizes, rules))
    made.append(_wire("spine", ["hips", "neck", "crown"], places, sizes, rules))
    for side in SIDES:
        if _stands(places, side) == "flat":
            made.append(_wire(f"foot {side}", [f"ankle {side}", f"foot end {side}"], places, sizes, rules))
    return tuple(wire for wire in made if wire is not None)


def _stands(places: _Places, side: BodySide) -> str:
    """How a foot meets the ground: ``flat``, on its ``toes``, or ``off`` it."""
    ankle, toes = places.at(f"ankle {side}"), places.at(f"foot end {side}")
    if toes is not None and toes[2] > TOES_M:
        return "off"
    if ankle is not None and ankle[2] <= FLAT_M:
        return "flat"
    return "toes" if toes is not None else "off"


def _leg(places: _Places, side: BodySide) -> list[str]:
    """The route of a leg's wire: from the base under a foot that stands, else from the tip of the foot."""
    start = {"flat": ["base"], "toes": ["base", f"foot end {side}"], "off": [f"foot end {side}"]}[_stands(places, side)]
    return [*start, *(f"{joint} {side}" for joint in ("ankle", "knee", "hip")), "hips", "neck"]


def _wire(name: str, wanted: Sequence[str], places: _Places, sizes: Sizes, rules: WireRules) -> Wire | None:
    """A wire through those of the places that are known; None where they are fewer than two."""
    known = [(place, at) for place in wanted if place != "base" and (at := places.at(place)) is not None]
    passed = tuple(place for place in wanted if place != "base" and places.at(place) is None)
    if len(known) < 2:
        return None
    order = [wanted.index(place) for place, _ in known]
    jumps = tuple(i for i in range(len(order) - 1) if order[i + 1] - order[i] > 1)
    route, points = [place for place, _ in known], np.array([at for _, at in known])
    anchored, loop = wanted[0] == "base", name == "spine" and known[-1][0] == "crown"
    if anchored and points[0, 2] > ON_GROUND_M:
        route, points = ["base", *route], np.concatenate([points[:1] * (1, 1, 0), points])
        jumps = tuple(i + 1 for i in jumps)
    at_mm = points * sizes.built
    steps = np.linalg.norm(np.diff(at_mm, axis=0), axis=1)
    start = rules.anchor_mm if anchored else rules.tie_mm if name.startswith(("spine", "foot")) else 0.0
    lead = np.array([0.0, 0.0, start]) if anchored else (at_mm[1] - at_mm[0]) * start / max(steps[0], 1e-9)
    found = _bends_of(["", *route], np.concatenate([at_mm[:1] - lead, at_mm]))
    return Wire(
        name=name, route=(*route, "head loop") if loop else tuple(route), points=points,
        length_mm=float(steps.sum()), loop_mm=(HEAD_LOOP - 1) * float(steps[-1]) if loop else 0.0, start_mm=start,
        end_mm=rules.tie_mm if loop or name.startswith("leg") else 0.0,
        bends_mm=rules.per_bend_mm * sum(b.angle_deg for b in found) / 90, bends=found, passed=passed,
        jumps=jumps,
    )


def _bends_of(route: Sequence[str], path: Floats) -> tuple[WireBend, ...]:
    """Bends in order along a wire, with the turn of the wire about itself from one to the next.

    With unit directions d0, d1, ... the bend at place i is about the axis d(i-1) x d(i). The axis of the bend before is
    carried along through what is too straight to be bent; the turn is the angle from it to this one about the wire,
    right-handed: clockwise for who looks along the wire from its start.
    """
    steps = np.diff(path, axis=0)
    lengths = np.linalg.norm(steps, axis=1)
    ways = steps / np.maximum(lengths, 1e-9)[:, None]
    made: list[WireBend] = []
    before: Floats | None = None
    for i in range(1, len(ways)):
        a, b = ways[i - 1], ways[i]
        axis = np.cross(a, b)
        angle = float(np.degrees(np.arctan2(np.linalg.norm(axis), a @ b)))
        if before is not None:
            before = before - (before @ a) * a
        if angle < STRAIGHT or min(lengths[i - 1], lengths[i]) < 1e-6:
            continue
        axis /= max(float(np.linalg.norm(axis)), 1e-12)
        turn = None
        if before is not None:
            turn = float(np.degrees(np.arctan2(np.cross(before, axis) @ a, before @ axis)))
        made.append(WireBend(route[i], float(lengths[:i].sum()), angle, turn))
        before = axis
    return tuple(made)


# ----------------------------------------------------------------------------------------------------------- plumb

def plumb(skeleton: Skeleton, centre: Sequence[float], footing: MultiPolygon | None) -> Plumb:
    """Where neck and middle of the volume lie over the feet; metres, x to the figure's left, y to its back.

    Both what the figure touches the ground with and the feet that stand by their joints count as support: a ground that
    is found a centimetre too high or too low must not lift one foot off it.
    """
    places = _Places(skeleton)
    neck = places.at("neck")
    inside, ground = None, _ground(places, footing)
    if ground is not None:
        point = Point(centre[0], centre[1])
        away = float(shapely.distance(shapely.boundary(ground), point))
        inside = away if shapely.covers(ground, point) else -away
    near: tuple[float | None, BodySide | None] = (None, None)
    if neck is not None:
        ankles = [(float(np.hypot(*(at - neck)[:2])), side) for side in SIDES
                  if (at := places.at(f"ankle {side}")) is not None]
        near = min(ankles, default=near)  # type: ignore[type-var, assignment]
    return Plumb(
        neck=None if neck is None else (float(neck[0]), float(neck[1])), centre=(float(centre[0]), float(centre[1])),
        inside_m=inside, foot=near[1], foot_m=near[0], ground=ground,
    )


def _ground(places: _Places, footing: MultiPolygon | None) -> Polygon | None:
    """The ground that everything encloses that stands on it."""
    under: list[BaseGeometry] = [] if footing is None or footing.is_empty else [footing]
    for side in SIDES:
        ankle, toes, stands = places.at(f"ankle {side}"), places.at(f"foot end {side}"), _stands(places, side)
        if stands == "flat" and ankle is not None and toes is not None:
            way = (toes - ankle)[:2]
            heel = ankle[:2] - HEEL_M * way / max(float(np.linalg.norm(way)), 1e-9)
            under.append(LineString([heel, toes[:2]]).buffer(SOLE_M))
        elif stands == "toes":
            under.append(Point(cast(Floats, toes)[:2]).buffer(SOLE_M))
    hull = shapely.convex_hull(shapely.union_all(under)) if under else None
    return hull if isinstance(hull, Polygon) else None


# ------------------------------------------------------------------------------------------------------------ tape

def hold(measured: Sequence[Taped], skeleton: Skeleton) -> tuple[TapeLine, ...]:
    """Lengths of the tape beside those of the skeleton, which is in metres; nothing is changed."""
    places = _Places(skeleton)
    lines = []
    for one in measured:
        a, b = places.at(one.start), places.at(one.end)
        found = None if a is None or b is None else 1000 * float(np.linalg.norm(a - b))
        within = _length_within(places, one.start, one.end)
        lines.append(TapeLine(one.start, one.end, one.mm, found, None if within is None else 1000 * within))
    return tuple(lines)


def suggested(lines: Sequence[TapeLine]) -> float | None:
    """By what all sizes would be multiplied to fit the tape: the weighted median of tape over found.

    A length counts by how well its ends are known, (found / within)^2, and one odd length moves it little. None where
    no length of the tape was found.
    """
    rows = [(line.tape_mm / line.found_mm, (line.found_mm / max(line.within_mm or 0.0, 0.02 * line.found_mm)) ** 2)
            for line in lines if line.found_mm]
    if not rows:
        return None
    ratio, weight = np.array(sorted(rows)).T
    middle = np.cumsum(weight) - weight / 2
    return float(np.interp(weight.sum() / 2, middle, ratio))


def tape_factor(lines: Sequence[TapeLine]) -> float:
    """:func:`suggested`, or 1 where the tape says nothing."""
    return suggested(lines) or 1.0
