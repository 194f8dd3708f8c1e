"""Where two figures differ: one laid over an earlier one, or over the one that was looked for, part by part.

What it takes to lay the first on the other is said of the whole figure, what is left is said of its parts: by their
joints where both readings are sure of them, else by the edges.
"""

from __future__ import annotations

from collections.abc import Iterator, Sequence
from typing import NamedTuple

import numpy as np
from shapely import affinity
from shapely.geometry import Polygon, box

from silhouette.find.laid_over import Apart, Field, Floats, Shift, apart
from silhouette.geometry import mirror
from silhouette.records import BodyReading, Outline
from silhouette.records_find import Off, Way

SAY, SAY_WHOLE = 0.025, 0.02
"""A part, and the whole figure, that is off by less is not spoken of, figure heights."""
SURE, SPREAD = 0.5, 0.08
"""A joint is spoken of where the reader is at least so sure of it, in both outlines, and its place no wider."""
BESIDE = 0.05
"""Hands or feet nearer to each other than this, across, have no sides; figure heights."""
STICKS_OUT = 0.012
"""An edge is spoken of where joints tell nothing and it lies so far off, figure heights."""
BANDS = ((0.08, "foot"), (0.33, "knee"), (0.5, "hip"), (0.66, "waist"), (0.84, "shoulder"), (9.0, "head"))
"""Heights over the ground up to which a place has its name, figure heights."""
MIRRORED, MIRRORED_MEAN = 0.6, 0.012
"""An outline is called mirrored where its mirror image lies on the earlier one, at a mean distance under this share of
its own and under this many figure heights."""
MOST_WORDS = 4
FEET = 0.06
"""The lowest share of a figure, whose middle stands on the plumb line."""
ONE_HEIGHT = 0.03
"""From another day, heads whose heights differ by more once the outlines are set to one height are tried at one height
themselves: an arm that is raised makes an outline higher."""


class Spot(NamedTuple):
    """One joint where the reader puts it."""

    place: Floats
    """(2,) in some outline's figure heights."""
    sure: bool


Joints = dict[str, list[Spot]]


def joints_of(line: Outline, reading: BodyReading | None) -> Joints:
    """Where the reader puts the joints, figure heights; none without a reading that can be trusted."""
    found: Joints = {}
    for joint in () if reading is None else reading.joints:
        spot = (np.array([joint.x, joint.y]) * line.picture_size - line.origin_px) / line.height_px
        sure = joint.sure >= SURE and joint.spread <= SPREAD and joint.also is None
        found.setdefault(joint.joint, []).append(Spot(spot, sure))
    return found


# ------------------------------------------------------------------------------------------------ on one ground line


class At(NamedTuple):
    """Where an outline lies in another one's figure heights: ``place * scale + (x, y)``."""

    scale: float
    x: float
    y: float

    def on_polygon(self, polygon: Polygon) -> Polygon:
        """A shape so placed."""
        return affinity.affine_transform(polygon, [self.scale, 0, 0, self.scale, self.x, self.y])

    def on_joints(self, joints: Joints) -> Joints:
        """Joints so placed."""
        return {name: [Spot(spot.place * self.scale + (self.x, self.y), spot.sure) for spot in spots]
                for name, spots in joints.items()}


class Body(NamedTuple):
    """An outline made ready to have others laid over it."""

    polygon: Polygon
    field: Field
    joints: Joints
    """In its own figure heights; empty where the reader does not trust itself."""

    @staticmethod
    def of(line: Outline, reading: BodyReading | None) -> Body:
        """From an outline and what the reader tells of it."""
        return Body(line.polygon, Field.of(line.polygon), joints_of(line, reading))


def placed(polygon: Polygon, joints: Joints, earlier: Body) -> At:
    """An outline of another day or camera on the earlier one's ground line and plumb line, at its height; by the head's
    height where an arm that is raised makes one of them higher."""
    upright = _on_its_feet(polygon, earlier, 1.0)
    head, own = earlier.joints.get("head", []), joints.get("head", [])
    if not (head and own and head[0].sure and own[0].sure):
        return upright
    scale = float((1 - head[0].place[1]) / max(1 - own[0].place[1], 0.1))
    if abs(np.log(scale)) < ONE_HEIGHT:
        return upright
    by_head = _on_its_feet(polygon, earlier, scale)
    return min((upright, by_head), key=lambda at: apart(at.on_polygon(polygon), earlier.field).mean)


def _on_its_feet(polygon: Polygon, earlier: Body, scale: float) -> At:
    """At this scale, on one ground line and one plumb line."""
    return At(scale, _plumb(earlier.polygon) - _plumb(polygon) * scale, 1 - scale)


def _plumb(polygon: Polygon) -> float:
    """The middle of what stands on the ground."""
    x0, _, x1, _ = polygon.bounds
    feet = polygon.intersection(box(x0, 1 - FEET, x1, 1.1))
    return 0.0 if feet.is_empty else float((feet.bounds[0] + feet.bounds[2]) / 2)


def is_mirrored(polygon: Polygon, found: Apart, earlier: Field) -> bool:
    """Whether the mirror image of an outline lies on the earlier one much better than itself did."""
    return apart(mirror.polygon(polygon), earlier).mean < min(MIRRORED * found.mean, MIRRORED_MEAN)


class Laid(NamedTuple):
    """A figure laid over another."""

    outline: Polygon
    """In the other's figure heights."""
    differs: tuple[Off, ...]
    """How it differs, worst first."""


def laid_over(line: Outline, reading: BodyReading | None, other: Body) -> Laid:
    """Lay a figure of another day or camera over one, and say how it differs from it.

    Parameters
    ----------
    line : the figure, whose finest contour is drawn
    reading : what the reader tells of it; None where it cannot
    other : what it is laid over
    """
    joints = joints_of(line, reading)
    at = placed(line.polygon, joints, other)
    found = apart(at.on_polygon(line.polygon), other.field)
    differs = what_is_off(found, at.on_joints(joints), other.joints, same_camera=False)
    return Laid(found.shift.on_polygon(at.on_polygon(line.drawn)), tuple(differs))


# ------------------------------------------------------------------------------------------------------- what is apart


def what_is_off(found: Apart, joints: Joints, earlier: Joints, same_camera: bool) -> list[Off]:
    """What is off of an outline that was laid over an earlier one, worst first.

    ``joints`` lie in the earlier one's figure heights, before the outline was slid. From another day, or by another
    camera, it is not said where the whole figure stands and how large it is.
    """
    whole = list(_of_the_whole(found.shift, same_camera))
    parts = list(of_parts(found.shift, joints, earlier)) if joints and earlier else []
    if not whole and not parts:
        parts = list(_of_edges(found))
    return sorted([*whole, *parts], key=lambda off: -off.by)[:MOST_WORDS]


def _of_the_whole(shift: Shift, same_camera: bool) -> Iterator[Off]:
    """The figure is off by what would bring it back."""
    across, down, lean, larger = (-v for v in shift)
    if same_camera:
        for by, ways in ((across, ("right", "left")), (down, ACROSS_DOWN[1]), (larger, ("larger", "smaller"))):
            if abs(by) >= SAY_WHOLE:
                yield Off(abs(by), "whole figure", ways[by < 0])  # type: ignore[arg-type]
    if abs(lean) >= SAY:
        yield Off(abs(lean), "whole figure", "leans right" if lean > 0 else "leans left")


def of_parts(shift: Shift, own: Joints, earlier: Joints) -> Iterator[Off]:
    """Head, arms and legs, as far as both readings are sure of them."""
    for limb, joints in (("head", ("head",)), ("arm", ("hand", "elbow")), ("leg", ("foot", "knee"))):
        told = [list(_moves(shift, own.get(joint, []), earlier.get(joint, []))) for joint in joints]
        if limb == "leg" and (wider := _legs(told[0])):
            yield wider
        elif limb == "head":
            yield from (off for _, by in told[0] if (off := _off("head", by)).by >= SAY)
        else:
            yield from _of_pair(limb, told)


Moved = tuple[Floats, Floats]
"""Where a joint lies in the earlier outline, and how far the other lies from it."""


def _moves(shift: Shift, own: Sequence[Spot], earlier: Sequence[Spot]) -> Iterator[Moved]:
    """The joints of a kind that both readings are sure of; pairs have no order, so the nearer fit counts."""
    if len(own) != len(earlier) or not own:
        return
    there = shift.on(np.stack([spot.place for spot in own]))
    orders = [list(range(len(own))), list(range(len(own)))[::-1]]
    order = min(orders, key=lambda o: sum(np.hypot(*(there[i] - e.place)) for i, e in zip(o, earlier, strict=True)))
    for i, spot in zip(order, earlier, strict=True):
        if own[i].sure and spot.sure:
            yield spot.place, there[i] - spot.place


def _legs(feet: Sequence[Moved]) -> Off | None:
    """How much wider the feet stand."""
    if len(feet) != 2:
        return None
    (one, off), (other, moved) = feet
    wider = float(abs(one[0] + off[0] - other[0] - moved[0]) - abs(one[0] - other[0]))
    return Off(abs(wider), "legs", "wider" if wider > 0 else "closer") if abs(wider) >= SAY else None


def _of_pair(limb: str, told: Sequence[Sequence[Moved]]) -> Iterator[Off]:
    """An arm by its hand, a leg by its foot; by elbow or knee where that is farther off or all that is sure."""
    places = [place[0] for joint in told for place, _ in joint]
    middle, sides = float(np.mean(places)) if places else 0.0, dict[str, Off]()
    for joint in told:
        two = len(joint) == 2 and abs(joint[0][0][0] - joint[1][0][0]) < BESIDE
        for place, by in joint:
            off = _off(f"one {limb}" if two else f"picture {'right' if place[0] > middle else 'left'} {limb}", by)
            if off.by >= SAY and (off.part not in sides or off.by > sides[off.part].by):
                sides[off.part] = off
    yield from sides.values()


ACROSS_DOWN: tuple[tuple[Way, Way], tuple[Way, Way]] = (
    ("right", "left"), ("lower", "higher"))


def _off(part: str, by: Floats) -> Off:
    """A part that is off, and the way in which it is off most."""
    most = int(abs(by[1]) >= abs(by[0]))
    return Off(float(abs(by[most])), part, ACROSS_DOWN[most][int(by[most] < 0)])


def _of_edges(found: Apart) -> Iterator[Off]:
    """Where joints tell nothing: at which side and height the edges are farthest apart."""
    axis = float(np.median(found.back[0][:, 0]))
    ways: tuple[tuple[tuple[Floats, Floats], Way], ...] = ((found.there, "out"), (found.back, "in"))
    for (places, off), way in ways:
        up, right = 1 - places[:, 1], places[:, 0] > axis
        below = -np.inf
        for above, band in BANDS:
            for side, there in (("right", right), ("left", ~right)):
                here = off[there & (up > below) & (up <= above)]
                worst = float(np.percentile(here, 90)) if len(here) else 0.0
                if worst >= STICKS_OUT:
                    yield Off(worst, f"picture {side} at {band} height", way)
            below = above
