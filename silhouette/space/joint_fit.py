"""The points of the body and the cameras, moved until all views agree with both: expectation and maximisation.

Each round asks the views which spots they mean (``bells.targets``), then takes one damped Gauss-Newton step on points,
the stops' angles and shifts, the camera's pitch and distance and the axis' place, all together. What bodies have in
common holds them softly: left and right bones alike, bones plausible shares of the stature, which is a free number too.

Lengths are statures, about: the unit is what the first look at the bones took for the stature. The picture's scale at
the axis is measured by it, so it is not free; and z is counted from where
the axis meets the row that the first cameras took for the ground: the lens's height follows.

Where the pose was shot in several rings all of them share the points, and each has a camera of its own. The frame is
that of the first ring; of every other one it is also found how high its lens is, where the model stood that had stepped
off and on again, and from where it was turned.
"""

from __future__ import annotations

from dataclasses import dataclass, replace

import numpy as np
from numpy.typing import NDArray

from silhouette.space import body_plan as plan
from silhouette.space.bells import Targets, Views, targets

Floats = NDArray[np.float64]

ROUNDS = ((0.04, 6), (0.02, 6), (0.008, 8), (0.002, 14))
"""How much wider than told the bells are taken, statures, and for how many rounds, from the first to the last."""
OWN, MORE = 3, 4
"""Numbers that all views of a ring share: pitch, distance, the axis' place; and of every ring but the first: the lens's
height, where the model stands (x, y), where its turn begins."""
DAMPING = 1e-6
"""Share of its own diagonal that the normal matrix is damped by."""
GIVEN_DEG, LEAST_DEG = 1.0, 0.3
"""How sure a given angle is, and how sure at most any, standard deviations, degrees. They also hold the figure where it
stands: nothing else says where angle 0 is."""
TAILS = 4.0
"""Degrees of freedom of the angles' spread (Student's t): a single one may be far off."""
SWAY, BOB = 0.003, 0.0015
"""How far a stop's picture may lie off to the side, and up or down, statures."""
PITCH, ASIDE = np.radians(10.0), 0.2
"""How far the camera may look up or down, radians, and the axis lie off the picture's middle, statures."""
MIDDLE, ANYWHERE = np.array([0.0, 0.0, 0.5]), 0.5
"""Where a point lies before anything is known of it, and its spread each way, statures."""
HEIGHT, STANDS, BEGINS = 1.0, 0.05, np.radians(3.0)
"""Between rings: how far the lens's height may be from where it began, and how far off the model may step on again,
statures; and how far off its turn may begin, radians."""
STATURE = 0.3
"""Spread of the logarithm of the stature about its first estimate, the unit."""


@dataclass(frozen=True)
class State:
    """All that is fitted."""

    points: Floats
    """(23, 3) statures."""
    angles: Floats
    """(n,) radians."""
    shifts: Floats
    """(n, 2) statures."""
    pitch: Floats
    """(r,) of each ring, radians."""
    log_distance: Floats
    """(r,)"""
    aside: Floats
    """(r,)"""
    height: Floats
    """(r,) of the lens; in the first ring it follows from pitch and distance, see :func:`grounded`."""
    log_stature: float
    ring: NDArray[np.int64]
    """(n,) which ring each view is of."""
    stands: Floats
    """(r, 2) where the model stood, x and y against the first ring, statures."""
    begins: Floats
    """(r,) by how much the turn's angle 0 lies from that of the first ring, radians."""

    @property
    def rings(self) -> int:
        return len(self.pitch)

    def some(self, kept: NDArray[np.int64]) -> State:
        """With some of the views."""
        return replace(self, angles=self.angles[kept], shifts=self.shifts[kept], ring=self.ring[kept])

    def larger(self, by: float) -> State:
        """The same in a unit so many times smaller."""
        return replace(
            self, points=self.points * by, shifts=self.shifts * by, log_distance=self.log_distance + np.log(by),
            aside=self.aside * by, height=self.height * by, log_stature=self.log_stature + np.log(by),
            stands=self.stands * by,
        )


@dataclass(frozen=True)
class Beliefs:
    """What is known before the views are asked."""

    angles: Floats
    """(n,) radians."""
    angle_sure: Floats
    """(n,) radians."""
    log_distance: Floats
    """(r,)"""
    distance_sure: Floats
    """(r,) of its logarithm."""
    pitch: Floats
    """(r,) radians."""
    height: Floats
    """(r,) statures; of the first ring nothing."""

    def some(self, kept: NDArray[np.int64]) -> Beliefs:
        """Of some of the views."""
        return replace(self, angles=self.angles[kept], angle_sure=self.angle_sure[kept])


@dataclass(frozen=True)
class Fitted:
    """Where the fit ended."""

    state: State
    told: Targets
    log: float
    """Logarithm of likelihood times beliefs."""
    normal: Floats
    """The normal matrix at the end: the inverse of the covariance of all that is fitted."""


def one_ring(points: Floats, angles: Floats, pitch: float, log_distance: float, aside: float, height: float) -> State:
    """Where the fit of a turn starts that was shot in one ring."""
    return State(points, angles, np.zeros((len(angles), 2)), np.array([pitch]), np.array([log_distance]),
                 np.array([aside]), np.array([height]), 0.0, np.zeros(len(angles), np.int64), np.zeros((1, 2)),
                 np.zeros(1))


def seen(state: State) -> tuple[Floats, Floats]:
    """(n, 23, 2) where the points lie in the views, and (n, 23, 2, 9) how that changes with x, y, z, the view's angle
    and two shifts, pitch, logarithm of the distance, and the axis' place."""
    sin, cos = np.sin(state.angles)[:, None], np.cos(state.angles)[:, None]
    x, y, z = state.points.T
    if state.rings > 1:
        stands = state.stands[state.ring]
        x, y = x + stands[:, :1], y + stands[:, 1:]
    up = z - state.height[state.ring][:, None]
    distance = np.exp(state.log_distance)[state.ring][:, None]
    sp, cp = (way[state.ring][:, None] for way in (np.sin(state.pitch), np.cos(state.pitch)))
    aside = state.aside[state.ring][:, None]
    across = x * cos - y * sin + aside
    ahead = distance + x * sin + y * cos
    depth = ahead * cp + up * sp
    below = ahead * sp - up * cp
    spot = distance[:, :, None] * np.stack([across, below], axis=2) / depth[:, :, None] + state.shifts[:, None, :]
    n, p = across.shape
    one, none = np.ones((n, p)), np.zeros((n, p))
    d_across = np.stack([cos * one, -sin * one, none, distance - ahead, none, none, none, none, one], axis=2)
    d_ahead = np.stack([sin * one, cos * one, none, across - aside, none, none, none, distance * one, none],
                       axis=2)
    d_up = np.zeros(9)
    d_up[2] = 1.0
    sp, cp = sp[:, :, None], cp[:, :, None]
    d_depth, d_below = d_ahead * cp + d_up * sp, d_ahead * sp - d_up * cp
    d_depth[:, :, 6] -= below
    d_below[:, :, 6] += depth
    jac = np.zeros((n, p, 2, 9))
    for k, (value, d_value) in enumerate(((across, d_across), (below, d_below))):
        slope = (d_value - (value / depth)[:, :, None] * d_depth) * (distance / depth)[:, :, None]
        slope[:, :, 7] += distance * value / depth
        slope[:, :, 4 + k] += 1.0
        jac[:, :, k] = slope
    return spot, jac


class _Normal:
    """The normal equations being gathered. Order: points (69), angles (n), shifts (2 n), pitch, distance, aside; of
    every other ring these, its height, its model's place (2) and its turn's beginning; the stature."""

    def __init__(self, n: int, rings: int) -> None:
        self.n = n
        self.size = own(n) + common(rings)
        self.matrix = np.zeros((self.size, self.size))
        self.vector = np.zeros(self.size)
        self.cost = 0.0

    def add(self, rows: Floats, residual: Floats) -> None:
        """Residuals (m,) in standard deviations, and their slopes (m, size)."""
        self.matrix += rows.T @ rows
        self.vector -= rows.T @ residual
        self.cost += float(residual @ residual)

    def spread(self, at: int, residual: Floats, sure: Floats) -> None:
        """Beliefs about single numbers from ``at`` on: (m,) how far off they are, and how far they may be."""
        k = np.arange(at, at + len(residual))
        self.matrix[k, k] += 1 / sure**2
        self.vector[k] -= residual / sure**2
        self.cost += float(((residual / sure) ** 2).sum())

    def begun(self, at: NDArray[np.int64], turn: int, residual: Floats, sure: Floats) -> None:
        """Beliefs about how far numbers (m,) at ``at`` lie from one that is free itself, at ``turn``."""
        worth = 1 / sure**2
        self.matrix[turn, turn] += worth.sum()
        self.matrix[at, turn] -= worth
        self.matrix[turn, at] -= worth
        self.vector[turn] += (residual * worth).sum()


def own(n: int) -> int:
    """How many numbers are the points' and the single views'."""
    return 3 * plan.P + 3 * n


def common(rings: int) -> int:
    """How many numbers the views share, the stature last."""
    return OWN + (OWN + MORE) * (rings - 1) + 1


def place_of(n: int, ring: int) -> int:
    """Where a ring's own numbers begin."""
    return own(n) + (OWN + (OWN + MORE) * (ring - 1) if ring else 0)


def _views(normal: _Normal, state: State, told: Targets, spot: Floats, jac: Floats) -> None:
    n, p = told.weight.shape
    rows = np.zeros((n, p, 2, normal.size))
    points = np.arange(p)
    for c in range(3):
        rows[:, points, :, 3 * points + c] = jac[:, :, :, c].transpose(1, 0, 2)
    views, base = np.arange(n), 3 * p
    rows[views, :, :, base + views] = jac[:, :, :, 3]
    rows[views, :, :, base + n + 2 * views] = jac[:, :, :, 4]
    rows[views, :, :, base + n + 2 * views + 1] = jac[:, :, :, 5]
    for ring in range(state.rings):
        of, at = state.ring == ring, place_of(n, ring)
        rows[of, :, :, at : at + OWN] = jac[of][:, :, :, 6:9]
        if ring:
            rows[of, :, :, at + OWN] = -jac[of][:, :, :, 2]
            rows[of, :, :, at + OWN + 1 : at + OWN + 3] = jac[of][:, :, :, :2]
    root = np.sqrt(told.weight)[:, :, None]
    residual = (root * (spot - told.spot)).reshape(-1)
    normal.add((root[:, :, :, None] * rows).reshape(-1, normal.size), residual)


def _bones(normal: _Normal, state: State, loose: float) -> None:
    ends = np.array(plan.BONES)
    apart = state.points[ends[:, 0]] - state.points[ends[:, 1]]
    length = np.maximum(np.linalg.norm(apart, axis=1), 0.005)
    rows = np.zeros((len(ends), normal.size))
    way = apart / length[:, None] ** 2
    each = np.arange(len(ends))
    for c in range(3):
        rows[each, 3 * ends[:, 0] + c] = way[:, c]
        rows[each, 3 * ends[:, 1] + c] = -way[:, c]
    log = np.log(length)
    alike = np.array(plan.ALIKE)
    spread = loose * plan.ALIKE_SPREAD
    normal.add((rows[alike[:, 0]] - rows[alike[:, 1]]) / spread[:, None],
               (log[alike[:, 0]] - log[alike[:, 1]]) / spread)
    rows[:, -1] -= 1.0
    off, slope = plan.off_length(length, state.log_stature)
    spread = loose * plan.SPREAD
    normal.add(rows * (slope / spread)[:, None], off / spread)


def _beliefs(normal: _Normal, state: State, beliefs: Beliefs) -> None:
    n, base = normal.n, 3 * plan.P
    off = state.angles - beliefs.angles
    if state.rings > 1:
        off = off - state.begins[state.ring]
    sure = beliefs.angle_sure * np.sqrt((TAILS + (off / beliefs.angle_sure) ** 2) / (TAILS + 1))
    normal.spread(0, (state.points - MIDDLE).reshape(-1), np.full(base, ANYWHERE))
    normal.spread(base, off, sure)
    normal.spread(base + n, state.shifts.reshape(-1), np.tile([SWAY, BOB], n))
    for ring in range(state.rings):
        at = place_of(n, ring)
        normal.spread(at, np.array([state.pitch[ring] - beliefs.pitch[ring]]), np.array([PITCH]))
        normal.spread(at + 1, np.array([state.log_distance[ring] - beliefs.log_distance[ring]]),
                      np.array([beliefs.distance_sure[ring]]))
        normal.spread(at + 2, np.array([state.aside[ring]]), np.array([ASIDE]))
        if ring:
            of = np.flatnonzero(state.ring == ring)
            normal.begun(base + of, at + OWN + 3, off[of], sure[of])
            normal.spread(at + OWN, np.array([state.height[ring] - beliefs.height[ring]]), np.array([HEIGHT]))
            normal.spread(at + OWN + 1, state.stands[ring], np.full(2, STANDS))
            wide = BEGINS * np.sqrt((TAILS + (state.begins[ring] / BEGINS) ** 2) / (TAILS + 1))
            normal.spread(at + OWN + 3, state.begins[ring : ring + 1], np.array([wide]))
    normal.spread(normal.size - 1, np.array([state.log_stature]), np.array([STATURE]))


def _moved(state: State, step: Floats) -> State:
    n, base, rings = len(state.angles), 3 * plan.P, range(state.rings)
    first = np.array([step[place_of(n, ring) : place_of(n, ring) + OWN] for ring in rings])
    more = np.array([step[place_of(n, ring) + OWN : place_of(n, ring) + OWN + MORE] if ring else np.zeros(MORE)
                     for ring in rings])
    return replace(
        state, points=state.points + step[:base].reshape(-1, 3), angles=state.angles + step[base : base + n],
        shifts=state.shifts + step[base + n : base + 3 * n].reshape(-1, 2), pitch=state.pitch + first[:, 0],
        log_distance=state.log_distance + first[:, 1], aside=state.aside + first[:, 2],
        height=state.height + more[:, 0], stands=state.stands + more[:, 1:3], begins=state.begins + more[:, 3],
        log_stature=state.log_stature + step[-1],
    )


def grounded(state: State, row: float) -> State:
    """The same with its zero of z moved to where the first ring sees the axis at this row, statures below the middle.
    """
    distance, sin, cos = np.exp(state.log_distance[0]), np.sin(state.pitch[0]), np.cos(state.pitch[0])
    height = float(distance * (row * cos - distance * sin) / (distance * cos + row * sin))
    up = height - state.height[0]
    others = state.height[1:] + up
    return replace(state, points=state.points + np.array([0.0, 0.0, up]), height=np.array([height, *others]))


def ground_row(state: State) -> float:
    """Where the first ring sees the axis at z = 0, statures below the picture's middle."""
    distance, sin, cos = np.exp(state.log_distance[0]), np.sin(state.pitch[0]), np.cos(state.pitch[0])
    height = state.height[0]
    return float(distance * (distance * sin + height * cos) / (distance * cos - height * sin))


def _gathered(views: Views, state: State, beliefs: Beliefs, more: float, loose: float
              ) -> tuple[_Normal, Targets, float]:
    """The normal equations at a state, what the views ask for there, and the logarithm of likelihood and beliefs."""
    spot, jac = seen(state)
    told = targets(views, spot, more)
    normal = _Normal(len(state.angles), state.rings)
    _bones(normal, state, loose)
    _beliefs(normal, state, beliefs)
    log = told.log - normal.cost / 2
    _views(normal, state, told, spot, jac)
    return normal, told, log


def fit(views: Views, state: State, beliefs: Beliefs, rounds: tuple[tuple[float, int], ...] = ROUNDS,
        loose: float = 1.0) -> Fitted:
    """Move points and cameras until they agree with views and beliefs best, from a start that is near.

    ``loose``: so many times wider than in the plan the lengths of bones are believed.
    """
    longest, row = 0.05, ground_row(state)
    for more, times in rounds:
        for _ in range(times):
            normal, told, log = _gathered(views, state, beliefs, more, loose)
            step = np.asarray(np.linalg.solve(normal.matrix + DAMPING * np.diag(np.diag(normal.matrix)), normal.vector))
            step *= min(1.0, longest / max(float(np.abs(step[: 3 * plan.P]).max()), 1e-12))
            state = grounded(_moved(state, step), row)
            if np.abs(step).max() < 2e-5:
                break
    normal, told, log = _gathered(views, state, beliefs, rounds[-1][0], loose)
    return Fitted(state, told, log, normal.matrix)
