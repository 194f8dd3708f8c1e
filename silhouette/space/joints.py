"""The joints in space: all views of a turn together, robustly, sides solved by consistency, cameras refined.

The order of work: candidates from pairs of views (``joint_start``), sides (``joint_sides``), points and cameras
together (``joint_fit``), sides again now that lengths are known, and how far each joint may be off.
"""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass, replace

import numpy as np
from numpy.typing import NDArray

from silhouette.records import Note
from silhouette.records_space import JOINTS, POINTS, SINGLE, BodySide, PointBells, Skeleton, SpaceJoint, StopCamera
from silhouette.space import body_plan as plan
from silhouette.space import joint_doubt, joint_fit, joint_sides, joint_start
from silhouette.space.bells import Views, gathered
from silhouette.space.joint_fit import Beliefs, Fitted, State

Floats = NDArray[np.float64]

LENS_KNOWN, LENS_UNKNOWN = 0.04, 0.3
"""How sure the distance in figure heights is where the focal length is known, and where it is not. Makers state the
35 mm equivalent in whole millimetres, some by the frame's diagonal, which for 4:3 differs by 4 %."""
TO_90 = 1.645
"""Half width of the 90 % interval of a normal distribution over its standard deviation."""
LOOSE = 3.0
"""How much wider than in the plan bones' lengths are believed while sides may still be mistaken."""
NAMINGS = 3
"""Ways of naming sides that are fitted to the end."""
SEEN_BY, SURE_BY = 2.0, 5.0
"""A joint that fewer views agree on is not there, or not sure; views count by the chance that they are right."""
SURE_WITHIN = 0.0235
"""A sure joint lies within this radius 9 times in 10, statures: 4 cm."""
HAIR = (0.0083, 0.0028)
"""Half of what short hair moves the crown by, to the back and up, statures."""
FACES = 0.015
"""How far the skull's middle lies at least before the line from neck to crown to say where the face is, statures."""
ELSEWHERE_DEG = 60.0
"""The front is said to be elsewhere if it lies this far from angle 0; models twist."""
SIDES: tuple[BodySide, ...] = ("left", "right")


def solve(
    bells: Sequence[PointBells | None], cameras: Sequence[StopCamera], angle_sure: Sequence[float | None],
    *, distance_sure: float = LENS_KNOWN,
) -> Skeleton:
    """Find the joints in space, and the cameras that the views agree on.

    Parameters
    ----------
    bells : sequence of PointBells or None
        What the reader says of every stop; None where a stop is not to be used.
    cameras : sequence of StopCamera
        First cameras, in figure heights; of ``orbit_fit.first_cameras``.
    angle_sure : sequence of float or None
        Half width of the 90 % interval of every stop's angle, degrees, as stops have it; None: a given angle.
    distance_sure : float
        How sure the distance in figure heights is, as a share: LENS_KNOWN or LENS_UNKNOWN.

    Returns
    -------
    Skeleton
        In figure heights; x toward the figure's left, as consistency tells it.
    """
    one = alone(bells, cameras, angle_sure, distance_sure)
    within = joint_doubt.doubts(one.fitted, one.views, one.beliefs).within
    return skeleton_of(one.fitted, within, one.views, cameras, one.unit)


@dataclass(frozen=True)
class Alone:
    """One turn, fitted by itself."""

    fitted: Fitted
    views: Views
    beliefs: Beliefs
    unit: float
    """Of the fit, about a stature, in the first cameras' unit."""


def alone(bells: Sequence[PointBells | None], cameras: Sequence[StopCamera], angle_sure: Sequence[float | None],
          distance_sure: float) -> Alone:
    """The fit of one turn; see :func:`solve`."""
    views = gathered(bells, cameras)
    first = cameras[0]
    angles = np.radians([cameras[i].angle for i in views.stop])
    told = [angle_sure[i] for i in views.stop]
    sure = np.radians([
        joint_fit.GIVEN_DEG if one is None else max(one / TO_90, joint_fit.LEAST_DEG) for one in told])
    state = joint_fit.one_ring(np.zeros((plan.P, 3)), angles, float(np.radians(first.pitch)),
                               float(np.log(first.distance)), first.aside, first.height)
    # everything below is counted in statures, so that a figure that lies or kneels is fitted as one that stands
    unit = 1 / _extent(views)
    views, state = views.larger(unit), state.larger(unit)
    points = joint_start.start(views, state)
    by = float(np.exp(-_stature(points)))
    views, state = views.larger(by), replace(state, points=points).larger(by)
    beliefs = Beliefs(angles, np.asarray(sure, np.float64), state.log_distance, np.array([distance_sure]), state.pitch,
                      state.height)
    return Alone(_sided(views, replace(state, log_stature=0.0), beliefs), views, beliefs, 1 / (unit * by))


def _extent(views: Views) -> float:
    """How far apart the likeliest spots of a view lie at most, about the stature of a figure that stands or lies."""
    likely = views.share > 0.2
    low, high = (np.where(likely, way, end) for way, end in ((views.x, np.inf), (views.x, -np.inf)))
    wide = high.max(axis=(1, 2)) - low.min(axis=(1, 2))
    low, high = (np.where(likely, way, end) for way, end in ((views.y, np.inf), (views.y, -np.inf)))
    tall = high.max(axis=(1, 2)) - low.min(axis=(1, 2))
    spans = np.hypot(wide, tall)
    return float(np.max(spans[np.isfinite(spans)], initial=0.1))


def _sided(views: Views, state: State, beliefs: Beliefs) -> Fitted:
    """Sides and a first fit; the start again with the cameras of that; then the likeliest ways of naming sides, each
    fitted: the best one."""
    for again in (False, True):
        if again:
            state = replace(state, points=joint_start.start(views, state))
        state = replace(state, points=joint_sides.namings(state.points, state.log_stature, rough=True)[0])
        state = joint_fit.fit(views, state, beliefs, joint_fit.ROUNDS[:3], loose=LOOSE).state
    rough = state
    fits = [
        joint_fit.fit(views, replace(rough, points=other), beliefs, joint_fit.ROUNDS[2:])
        for other in joint_sides.namings(rough.points, rough.log_stature, best=NAMINGS)
    ]
    return max(fits, key=likely)


def likely(fitted: Fitted) -> float:
    """Logarithm of how likely a fit is with the names that it gives to the members of pairs."""
    return fitted.log + float(joint_sides.by_side(fitted.state.points[None])[0])


def _stature(points: Floats) -> float:
    """Logarithm of the stature by the bones that are surest, median."""
    ends = np.array(plan.BONES)
    length = np.maximum(np.linalg.norm(points[ends[:, 0]] - points[ends[:, 1]], axis=1), 0.005)
    firm = plan.SPREAD <= 0.06
    return float(np.median((np.log(length) - np.log(plan.SHARE))[firm]))


def skeleton_of(fitted: Fitted, within: Floats, views: Views, cameras: Sequence[StopCamera], unit: float) -> Skeleton:
    """What was fitted, in the cameras' own unit, of which the fit's is ``unit``."""
    state = fitted.state.larger(unit)
    state = replace(state, points=bared(state.points, float(np.exp(state.log_stature))))
    agreeing = fitted.told.agrees.sum(axis=0)
    enough, within = SURE_WITHIN * float(np.exp(state.log_stature)), within * unit
    joints = []
    for name in JOINTS:
        for side in (None,) if name in SINGLE else SIDES:
            k = plan.index(name, side)
            x, y, z = (float(v) for v in state.points[k])
            if agreeing[k] < SEEN_BY:
                reason = Note.of("joint not seen", joint=name, side=side or "")
                joints.append(SpaceJoint(name, side, None, None, False, reason))
            elif agreeing[k] < SURE_BY:
                reason = Note.of("joint seen rarely", joint=name, side=side or "", views=round(float(agreeing[k])))
                joints.append(SpaceJoint(name, side, (x, y, z), float(within[k]), False, reason))
            elif within[k] > enough:
                reason = Note.of("joint not sure", joint=name, side=side or "")
                joints.append(SpaceJoint(name, side, (x, y, z), float(within[k]), False, reason))
            else:
                joints.append(SpaceJoint(name, side, (x, y, z), float(within[k]), True))
    others = {}
    for k, name in enumerate(POINTS):
        if name not in JOINTS and agreeing[k] >= SEEN_BY:
            named = name if plan.TWIN[k] == k else f"{name} {SIDES[int(plan.TWIN[k] < k)]}"
            x, y, z = (float(v) for v in state.points[k])
            others[named] = (x, y, z)
    return Skeleton(tuple(joints), refined(state, views, cameras), others, _notes(state.points, agreeing))


def bared(points: Floats, stature: float) -> Floats:
    """The points (23, 3) with the crown moved half the way from where hair puts it to where the bare skull has it.

    An outline cannot tell hair from skull. On the studio's heads the reader puts the crown within 3 mm where there is
    none, and 29 mm to the back and 10 mm above with short hair; half way it is off by half as much either way.
    """
    head, crown, neck = points[plan.HEAD], points[plan.CROWN], points[plan.NECK]
    up = (crown - neck) / max(float(np.linalg.norm(crown - neck)), 1e-6)
    ahead = head - neck - up * ((head - neck) @ up)
    length = float(np.linalg.norm(ahead))
    if length < FACES * stature:
        return points
    out = points.copy()
    out[plan.CROWN] += stature * (HAIR[0] * ahead / length - HAIR[1] * up)
    return out


def _notes(points: Floats, agreeing: Floats) -> tuple[Note, ...]:
    """Where the figure's front is, if that is not where the stops' names say."""
    if agreeing[[plan.HIP, plan.HIP + 1, plan.SHOULDER, plan.SHOULDER + 1]].min() < SEEN_BY:
        return ()
    front = joint_sides.front_of(points)
    if front is None or abs((front + 180) % 360 - 180) < ELSEWHERE_DEG:
        return ()
    return (Note.of("front elsewhere", degrees=round(front)),)


def refined(state: State, views: Views, cameras: Sequence[StopCamera]) -> tuple[StopCamera, ...]:
    """The first cameras, in the state's unit, as the fit left them, all in the frame of the first ring."""
    distance = np.exp(state.log_distance)
    out = [
        replace(c, distance=float(distance[0]), pitch=float(np.degrees(state.pitch[0])), aside=float(state.aside[0]),
                height=float(state.height[0]), focal_px=c.focal_px / c.distance * float(distance[0]))
        for c in cameras
    ]
    for row, i in enumerate(views.stop):
        ring = state.ring[row]
        c, far = cameras[i], float(distance[ring])
        focal = c.focal_px / c.distance * far
        unit = focal / far
        angle = state.angles[row]
        x, y = state.stands[ring]
        # where the model stood aside in this ring its axis is nearer or farther, and aside, by the stop's angle
        out[i] = replace(
            c, distance=far + float(x * np.sin(angle) + y * np.cos(angle)), height=float(state.height[ring]),
            pitch=float(np.degrees(state.pitch[ring])), focal_px=focal,
            aside=float(state.aside[ring]) + float(x * np.cos(angle) - y * np.sin(angle)),
            angle=float(np.degrees(angle) % 360),
            shift=(float(state.shifts[row, 0] * unit), float(state.shifts[row, 1] * unit)),
        )
    return tuple(out)
