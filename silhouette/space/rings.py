"""Several rings of one pose in one frame: the same points, and a camera of its own for every ring.

Each ring is fitted alone, laid over the first by its joints (turned about the upright, moved), and then all of them are
fitted together. The members of a pair have no names in an outline, so a ring that took one hand for the other helps all
the same: the names are those of the fit that all views agree with best.
"""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass, replace
from itertools import pairwise

import numpy as np
from numpy.typing import NDArray

from silhouette.geometry.orbit import scaled
from silhouette.records_space import PointBells, Skeleton, StopCamera
from silhouette.space import body_plan as plan
from silhouette.space import joint_doubt, joint_fit, joints
from silhouette.space.bells import Views
from silhouette.space.joint_fit import Beliefs, Fitted, State
from silhouette.space.joints import Alone

Floats = NDArray[np.float64]

FAR = 0.15
"""Statures from which a joint says nothing of how a ring lies over another: a hand taken for the other hand."""
NEAR = 0.03
"""How far joints of two rings may lie apart before they count for less, statures."""
AGREE = 0.8
"""Share of the points that the views must be right about. Of good rings it is 0.98 and more, with two stops exchanged
0.90; with stops at random 0.8 at most, but that angles are then bent to fit."""
OFF, TIMES = np.radians(5.0), 3.0
"""How far the median stop may lie off its angle, radians, and in standard deviations where angles are not given. Of
good rings it is half a degree; of a figure that did not turn 15 to 50."""
HEIGHTS = (-0.05, 2.5)
"""Between these a lens may stand over the lowest point, statures. Of a turn whose angles run the wrong way round it is
found deep under the ground."""
OTHER_POSE = 0.04
"""How far apart the joints of two rings lie where they show two poses, median, statures."""
STEP_DEG = 15.0
"""From one way of laying a ring over another to the next that is tried."""
LAYINGS = 8
"""Rounds in which a laying is made better."""
ROUNDS = joint_fit.ROUNDS[2:]
WAIST = 0.3
"""Height of the waist between the hips (0) and the neck (1)."""


@dataclass(frozen=True)
class RingViews:
    """What the outlines of one ring say, as :func:`silhouette.space.joints.solve` takes it."""

    bells: Sequence[PointBells | None]
    cameras: Sequence[StopCamera]
    angle_sure: Sequence[float | None]
    distance_sure: float


@dataclass(frozen=True)
class Placed:
    """Where the camera of one ring stood, statures; heights over the frame's zero."""

    height: float
    height_doubt: float
    """Standard deviation, by how sharply the views pin it down over the feet alone."""
    tilt: float
    """Degrees, up positive."""
    distance: float
    begins: float
    """How far its angle 0 lies clockwise (seen from above) from that of the first ring, degrees."""
    apart: float
    """How far the joints that it found alone lie from those of all rings, once laid over them: median, statures."""
    joined: bool
    """Whether it shows the pose of the first ring; one that does not is laid over it, and nothing is taken from it."""
    stops: slice
    """Its own among the cameras of the skeleton."""


@dataclass(frozen=True)
class Together:
    """All rings in one frame, that of the first ring given; lengths are statures."""

    skeleton: Skeleton
    """Its cameras are those of all stops of all rings, one ring after the other."""
    rings: tuple[Placed, ...]


def alone(ring: RingViews) -> Alone:
    """The fit of one ring by itself, in statures."""
    one = joints.alone(ring.bells, ring.cameras, ring.angle_sure, ring.distance_sure)
    by = float(np.exp(-one.fitted.state.log_stature))
    beliefs = replace(one.beliefs, log_distance=one.beliefs.log_distance + np.log(by), height=one.beliefs.height * by)
    return replace(one, fitted=replace(one.fitted, state=one.fitted.state.larger(by)), views=one.views.larger(by),
                   beliefs=beliefs, unit=one.unit / by)


def turns(one: Alone) -> bool:
    """Whether the views of a ring are those of one body that turns as its angles say."""
    state, sure = one.fitted.state, one.beliefs.angle_sure
    off = np.abs(state.angles - one.beliefs.angles)
    lowest = float(state.points[:, 2].min())
    return bool(
        one.fitted.told.agrees.mean() >= AGREE and np.median(off) <= max(OFF, TIMES * float(np.median(sure)))
        and HEIGHTS[0] < state.height[0] - lowest < HEIGHTS[1])


def solve(rings: Sequence[RingViews], each: Sequence[Alone] = ()) -> Together:
    """Find the joints and cameras of a pose in all its rings, each of which turns; the first of them says where angle 0
    is. ``each``: of every ring what :func:`alone` says, where that is known."""
    each = each or [alone(ring) for ring in rings]
    laid = [laid_over(each[0].fitted.state.points, one.fitted.state.points) for one in each]
    own = [[scaled(camera, 1 / one.unit) for camera in ring.cameras] for one, ring in zip(each, rings, strict=True)]
    joined = [k for k in range(len(each)) if _apart(each[0].fitted.state.points, each[k], laid[k]) < OTHER_POSE]
    state, views, beliefs = _joined([each[k] for k in joined], [laid[k] for k in joined],
                                    [len(own[k]) for k in joined])
    starts = [laid[k].on(each[k].fitted.state.points) for k in joined]
    fitted = _best(views, state, beliefs, starts)
    by = float(np.exp(-fitted.state.log_stature))
    within = joint_doubt.doubts(fitted, views, beliefs).within
    fitted = replace(fitted, state=fitted.state.larger(by))
    cameras = [camera for k in joined for camera in own[k]]
    skeleton = joints.skeleton_of(fitted, within * by, views, cameras, 1.0)
    found = dict(zip(joined, _parted(skeleton.cameras, [len(own[k]) for k in joined]), strict=True))
    placed = {k: _placed(fitted, place, each[k], by) for place, k in enumerate(joined)}
    for k in set(range(len(each))) - set(joined):
        other, seen, _ = _joined([each[0], each[k]], [laid[0], laid[k]], [len(own[0]), len(own[k])])
        found[k] = joints.refined(other, seen, [*own[0], *own[k]])[len(own[0]):]
        odd = replace(each[k].fitted, state=other.some(np.flatnonzero(other.ring == 1)))
        placed[k] = replace(_placed(odd, 1, each[k], 1.0, each[0].fitted.state.points), joined=False)
    ends = np.cumsum([0, *map(len, own)])
    return Together(replace(skeleton, cameras=tuple(c for k in sorted(found) for c in found[k])),
                    tuple(replace(placed[k], stops=slice(int(ends[k]), int(ends[k + 1]))) for k in sorted(placed)))


def _parted(cameras: Sequence[StopCamera], counts: Sequence[int]) -> list[tuple[StopCamera, ...]]:
    ends = np.cumsum([0, *counts])
    return [tuple(cameras[a:b]) for a, b in pairwise(ends)]


def waist_of(skeleton: Skeleton) -> float | None:
    """Height of the waist, in the skeleton's unit; None where hips or neck were not found."""
    left, right, neck = skeleton.at("hip", "left"), skeleton.at("hip", "right"), skeleton.at("neck")
    if left is None or right is None or neck is None:
        return None
    hips = float(left[2] + right[2]) / 2
    return hips + WAIST * (float(neck[2]) - hips)


@dataclass(frozen=True)
class Laying:
    """How one ring's points are brought over another's: turned anticlockwise seen from above, then moved."""

    turn: float
    """Radians."""
    shift: Floats
    """(3,)"""

    def on(self, points: Floats) -> Floats:
        """(m, 3) points of the ring, laid over the other."""
        return _turned(points, self.turn) + self.shift


def laid_over(points: Floats, other: Floats) -> Laying:
    """The laying that brings points (m, 3) of ``other`` over ``points``, all the same names, statures; those that lie
    far off all the same say nothing."""
    best, cost = Laying(0.0, np.zeros(3)), np.inf
    for turn in np.radians(np.arange(0, 360, STEP_DEG)):
        there = _turned(other, turn)
        lay = _nearer(points, other, Laying(float(turn), np.median(points - there, axis=0)))
        off = np.linalg.norm(lay.on(other) - points, axis=1)
        if (now := float(np.minimum(off, FAR).sum())) < cost:
            best, cost = lay, now
    return best


def _nearer(points: Floats, other: Floats, lay: Laying) -> Laying:
    """The laying moved to where the points that agree lie over each other best, in closed form, each round anew."""
    for _ in range(LAYINGS):
        off = np.linalg.norm(lay.on(other) - points, axis=1)
        worth = np.where(off < FAR, 1 / (1 + (off / NEAR) ** 2), 1e-6)
        worth /= worth.sum()
        middle, own = worth @ points, worth @ other
        a, b = points - middle, other - own
        cross = float(worth @ (b[:, 0] * a[:, 1] - b[:, 1] * a[:, 0]))
        turn = float(np.arctan2(cross, worth @ (a[:, :2] * b[:, :2]).sum(axis=1)))
        lay = Laying(turn, middle - _turned(own[None], turn)[0])
    return lay


def _turned(points: Floats, turn: float) -> Floats:
    cos, sin = np.cos(turn), np.sin(turn)
    return np.asarray(points @ np.array([[cos, sin, 0.0], [-sin, cos, 0.0], [0.0, 0.0, 1.0]]))


def _joined(each: Sequence[Alone], laid: Sequence[Laying], stops: Sequence[int]) -> tuple[State, Views, Beliefs]:
    """The fits of all rings as the start of one; points are those of the first."""
    states = [one.fitted.state for one in each]
    most = max(one.views.share.shape[2] for one in each)
    before = np.cumsum([0, *stops[:-1]])

    def padded(name: str, fill: float) -> Floats:
        parts = [getattr(one.views, name) for one in each]
        return np.concatenate([np.pad(p, ((0, 0), (0, 0), (0, most - p.shape[2])), constant_values=fill)
                               for p in parts])

    def of_rings(name: str, whose: Sequence[object]) -> Floats:
        return np.concatenate([getattr(one, name) for one in whose])

    views = Views(padded("share", 0.0), padded("x", 0.0), padded("y", 0.0), padded("width", 1.0),
                  np.concatenate([one.views.stop + a for one, a in zip(each, before, strict=True)]))
    ring = np.repeat(np.arange(len(each)), [len(s.angles) for s in states])
    # a ring whose points are turned anticlockwise to lie over the first ones began so far before them
    begins = -np.array([lay.turn for lay in laid])
    begins = (begins + np.pi) % (2 * np.pi) - np.pi
    height = of_rings("height", states) + np.array([lay.shift[2] for lay in laid])
    state = State(
        states[0].points, of_rings("angles", states) + begins[ring], of_rings("shifts", states),
        of_rings("pitch", states), of_rings("log_distance", states), of_rings("aside", states), height, 0.0, ring,
        -np.array([lay.shift[:2] for lay in laid]), begins,
    )
    told = [one.beliefs for one in each]
    beliefs = Beliefs(of_rings("angles", told), of_rings("angle_sure", told), of_rings("log_distance", told),
                      of_rings("distance_sure", told), of_rings("pitch", told), height)
    return state, views, beliefs


def _best(views: Views, state: State, beliefs: Beliefs, starts: Sequence[Floats]) -> Fitted:
    """The fit that all views agree with best, of those that begin with the points and names that each ring found."""
    fits = [joint_fit.fit(views, replace(state, points=points), beliefs, ROUNDS) for points in starts]
    return max(fits, key=joints.likely)


def _placed(fitted: Fitted, ring: int, one: Alone, by: float, points: Floats | None = None) -> Placed:
    """What a fit, in statures, says of one of its rings; ``by`` makes statures of the unit that it was made in. With
    ``points`` of others the fit was of this ring alone."""
    state = fitted.state
    doubt = _height_doubt(fitted.normal, len(state.angles), 0 if points is not None else ring)
    points = state.points if points is None else points
    return Placed(
        float(state.height[ring]), by * doubt, float(np.degrees(state.pitch[ring])),
        float(np.exp(state.log_distance[ring])), float(np.degrees(state.begins[ring] - state.begins[0])),
        _apart(points, one, laid_over(points, one.fitted.state.points)), True, slice(0),
    )


def _apart(points: Floats, one: Alone, lay: Laying) -> float:
    """How far the points of a ring alone, once laid over others, lie from them: median, statures."""
    return float(np.median(np.linalg.norm(lay.on(one.fitted.state.points) - points, axis=1)))


def _height_doubt(normal: Floats, views: int, ring: int) -> float:
    """Standard deviation of the lens's height over the feet, by the normal matrix of a fit of so many views, in the
    fit's unit."""
    way = np.zeros(len(normal))
    feet = np.array([plan.ANKLE, plan.ANKLE + 1, plan.FOOT_END, plan.FOOT_END + 1])
    way[3 * feet + 2] = -1 / len(feet)
    if ring:
        way[joint_fit.place_of(views, ring) + joint_fit.OWN] = 1.0
    return float(np.sqrt(max(float(way @ np.linalg.solve(normal, way)), 0.0)))
