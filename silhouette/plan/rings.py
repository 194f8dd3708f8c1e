"""The rings of a plan: how high the camera stands, how far off, and how it is tilted.

A pinhole c over the ground that the figure stands on, at D from the turning axis, sees a point z high and x before the
axis at ``atan((z - c) / (D - x))``. The tilt is the middle between the lowest and the highest point of the figure, as
near and as far as its parts come; then both are equally far from the frame's edges.
"""

from __future__ import annotations

import math
from collections.abc import Iterator
from dataclasses import replace

from silhouette.geometry.perspective import KNOWN_HEIGHTS, enlargement
from silhouette.records_shoot import Plan, PlanRing
from silhouette.settings import RINGS, Ring

NEAR_PART = 0.35
"""How far before the axis a foot, elbow or hip comes as a pose turns (m); it must stay in the frame too."""
OVER_LENS = 0.2
"""Room (m) over a lens for the camera and the hand that sets it."""
_HEIGHTS: dict[str, dict[Ring, float]] = {
    "standing": {"low": 0.20, "high": 1.35},
    "arms raised": {"low": 0.20, "high": 1.50},
    "seated": {"low": 0.15, "high": 1.15},
    "lying": {"high": 1.10},
}
"""Height of the lens over the ground, statures: low at the shins, high about 20 degrees over the middle of the pose. A
lying figure has no low ring: its level lens is about as low as a camera goes. Common practice, no source."""
_STAND_REACHES = 2.4
"""Height (m) up to which a common stand carries a camera."""
_MOST = {"arms raised": KNOWN_HEIGHTS[1]}
"""Raised hands reach higher than that: there the reader's own limit holds."""
_STEP = 0.1
"""Step (m) in which a camera goes back until the figure fits."""
_NO_FARTHER = 300.0
"""Distance (m) at which that ends."""
_AT_LENS = 0.05
"""Least distance (m) before the lens that is calculated with; what is nearer does not fit anyway."""


def rings_of(pose: str) -> tuple[Ring, ...]:
    """The rings beside the level one that a pose of this kind has."""
    return tuple(_HEIGHTS[pose])


def rings_for(plan: Plan) -> tuple[PlanRing, ...]:
    """The level ring as planned, and the others of the pose, at the level camera's distance or as much farther as the
    frame wants and the room allows; from low to high."""
    others = {ring: _ring(plan, ring, share) for ring, share in _HEIGHTS[plan.pose].items()}
    level = _at(plan, "level", plan.camera_height - plan.stand, plan.distance, tilt=0.0)
    level = replace(level, in_frame=plan.in_frame)
    return tuple({**others, "level": level}[ring] for ring in RINGS if ring == "level" or ring in others)


def _ring(plan: Plan, ring: Ring, share: float) -> PlanRing:
    least, most = KNOWN_HEIGHTS[0], _MOST.get(plan.pose, _STAND_REACHES)
    over = min(max(round(share * plan.model_height / 0.05) * 0.05, least), most)
    end = _NO_FARTHER if plan.farthest is None else plan.farthest
    made = _at(plan, ring, over, plan.distance)
    for distance in _farther(plan.distance, end):
        if made.in_frame or not plan.in_frame:  # as near as the person wants it, or as the room leaves
            break
        made = _at(plan, ring, over, distance)
    return made


def _farther(start: float, end: float) -> Iterator[float]:
    """Whole steps past ``start``, then ``end`` itself."""
    distance = (math.floor(start / _STEP + 1e-6) + 1) * _STEP
    while distance < end - 1e-9:
        yield distance
        distance += _STEP
    if end > start:
        yield end


def _at(plan: Plan, ring: Ring, over: float, distance: float, tilt: float | None = None) -> PlanRing:
    """The camera of a ring at a distance (m), its lens ``over`` (m) over the ground; ``tilt`` in radians, None the
    middle of what it has to show."""
    half_wide, half_high = (side / 2 / plan.distance for side in plan.frame)  # tangents
    tall, reach = plan.pose_height, max(NEAR_PART, plan.reach if plan.pose == "lying" else 0.0)
    seen = [math.atan2(z - over, max(x, _AT_LENS)) for z in (0.0, tall) for x in (distance - reach, distance + reach)]
    p = (min(seen) + max(seen)) / 2 if tilt is None else tilt
    stretch = max(math.tan(max(seen) - p), math.tan(p - min(seen)))

    def depth(z: float, before: float = 0.0) -> float:
        return (distance - before) * math.cos(p) + (z - over) * math.sin(p)

    nearest, ends = min(depth(z, NEAR_PART) for z in (0.0, tall)), (depth(0.0), depth(tall))
    across = plan.pose_width / 2 / (half_wide * nearest) if nearest > 0 else math.inf
    behind, before = distance + plan.backdrop_gap, max(distance - NEAR_PART, _AT_LENS)
    at_wall = over + (tall - over) * behind / before
    return PlanRing(
        ring=ring, distance=distance, height=plan.stand + over, over_ground=over, tilt=math.degrees(p),
        sight=math.degrees(math.atan2(tall / 2 - over, distance)),
        sees=(math.degrees(min(seen)), math.degrees(max(seen))),
        in_frame=distance - reach > _AT_LENS and max(stretch / half_high, across) <= 1 + 1e-9,
        frame_share=stretch / half_high,
        forward=enlargement(depth(tall / 2), plan.reach * math.cos(p)),
        head_over_feet=ends[0] / ends[1] if min(ends) > 0 else math.inf,
        ceiling=plan.stand + over + OVER_LENS,
        backdrop_high=plan.stand + max(tall, at_wall),
    )
