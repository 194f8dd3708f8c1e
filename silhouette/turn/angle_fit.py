"""The angles at which a rigid body would show the reaches that were measured: one least-squares fit.

Every row is a level slice. Its reach in direction t is modelled as that of an ellipse grown by a rim,

    S(t) = c . u(t) + |B u(t)| + rim,      u(t) = (cos t, sin t),

c the slice's middle, B a 2 x 2 upper triangle: this covers what slices of a body are, from a trunk (B round) to two
legs or two arms apart (B flat: |cos|), and unlike a free series it leaves no room for bending the angles to make a
curve smoother than it is. What the ellipse misses is similar in neighbouring directions, so residuals are weighed with
a covariance that says so. All rows share the angles; rows that fit badly, an arm that sank say, count little.

The steps between stops are expected to be alike, with a long tail for skipped stops. All of it is solved by
Gauss-Newton steps, the rows eliminated one by one (Schur complement).
"""

from __future__ import annotations

from collections.abc import Callable
from dataclasses import dataclass

import numpy as np
from numpy.typing import NDArray

from silhouette.turn.support_function import Reaches

Floats = NDArray[np.float64]

UNEVEN = 2.0
"""Usual unevenness of steps that a model takes from mark to mark, degrees (standard deviation)."""
TAIL = 4.0
"""Degrees of freedom of Student's t for the steps: low, so that a skipped stop does not spread over its neighbours."""
SMEAR, SMEAR_DEG = 0.6, 14.0
"""Share of a residual that neighbouring directions have in common, and over how many degrees."""
ROWS_WORTH = 0.1
"""Neighbouring rows tell much the same: this share of a row counts as news."""
FLOOR = 0.0025
"""Least error of a reach, figure heights: half a pixel of a small figure."""
AXIS_SPREAD = 0.05
"""How far the turning axis may lie from where it was first taken to be, figure heights."""
RIM, RIM_SPREAD = 0.015, 0.03
"""Expected rim of a slice and its spread, figure heights."""
LARGEST_STEP = 5.0
"""No angle is moved further at once, degrees."""
NEAR = 0.5
"""From where no angle wants to move further than this, degrees, each step is taken in a smaller share (a half, a third
...), so that the fit ends in the middle of what it would else move about in: weights that hang on medians jump."""
SETTLED = 0.03
"""The fit ends where no angle moves further than this, degrees: a hundredth of what outlines can tell."""
DAMPING = 1e-3
"""Share of its mean diagonal that is added to the normal matrix of the angles (Levenberg): enough to keep a turn whose
outlines hardly change, a column say, from being swung about."""
SLICE_STEP = 0.9
"""Share of a Gauss-Newton step that the slices take: they are solved as if linear, which a flat slice is not."""
SLICE_RIDGE = 1e-3
"""Added to the normal matrix of a slice's six numbers, so that those that its reaches do not tell stay as they are."""
ROUNDED = 1e-6
"""Added under the root of a slice's reach, figure heights squared: the reach of a flat slice has a corner, |cos|, and
no derivative there; this rounds it by a thousandth of the figure."""
START_LONG, START_RIM = 0.7, 0.2
"""What slices are first taken to be: ellipses of this share of the mean reach, and a rim of this one."""
START_ROUNDS, START_STEP, START_ERROR = 3, 0.7, 0.01
"""The first fit of the slices: rounds, share of a step, and the error of a reach, figure heights."""
FAR_OFF = 3.0
"""Typical errors from which a single reach counts for half and less (Cauchy): a hand that moved, hair, a fold."""
MEDIAN_TO_SPREAD = 2.2
"""Variance over the median of the squares, of normal errors: 1 / 0.6745^2 = 2.198."""
FLOOR_WORTH = 4
"""How many reaches' worth of evidence there is, before any is seen, that a row's error is :data:`FLOOR`."""


@dataclass(frozen=True)
class Fit:
    """Angles of a turn to the model's left, first stop at 0."""

    turned: Floats
    """(n,) degrees, growing."""
    spread: Floats
    """(n,) standard deviation, degrees, by the fit itself."""
    slices: Floats
    """(r, 6) c_x, c_y, B_xx, B_xy, B_yy, rim of every row, figure heights."""
    axis: float
    """How far to picture right of where the reaches take it the turning axis lies, figure heights."""
    error: Floats
    """(r,) typical error of a row's reaches, figure heights."""
    cost: float
    """Negative log of how well the angles explain the outlines; comparable between fits of the same reaches."""


def slice_reach(slices: Floats, towards: Floats) -> tuple[Floats, Floats, Floats]:
    """Reach (r, m), its derivatives by the six numbers of a slice (r, m, 6), and by direction (r, m, per radian).

    ``towards`` are directions (r, m) in radians.
    """
    cos, sin = np.cos(towards), np.sin(towards)
    cx, cy, bxx, bxy, byy, rim = (slices[:, k : k + 1] for k in range(6))
    u, v = bxx * cos + bxy * sin, byy * sin
    long = np.sqrt(u * u + v * v + ROUNDED)
    reach = cx * cos + cy * sin + long + rim
    by_slice = np.stack([cos, sin, u * cos / long, u * sin / long, v * sin / long, np.ones_like(cos)], axis=-1)
    turn = -cx * sin + cy * cos + (u * (bxy * cos - bxx * sin) + v * byy * cos) / long
    return reach, by_slice, turn


def fit(reaches: Reaches, turned: Floats, *, rounds: int = 30, settled: float = SETTLED,
        places: Floats | None = None) -> Fit:
    """Least-squares angles from a first guess ``turned`` (n,) in degrees, first 0, growing.

    ``places`` (n,) says which of all stops these are, where some between them have no outline: a stretch over several
    is expected to be as many usual steps.
    """
    n = len(turned)
    spans = np.ones(n - 1) if places is None else np.diff(np.asarray(places, dtype=np.float64))
    turned = np.array(turned, dtype=np.float64)
    slices, axis = _first_slices(reaches, turned), 0.0
    state, near = _weigh(reaches, turned, slices, axis), 0
    for _ in range(rounds):
        normal, gradient, eliminate = _equations(state, turned, axis, spans)
        normal[:n, :n] += np.eye(n) * DAMPING * np.trace(normal[:n, :n]) / n
        normal[0], normal[:, 0], normal[0, 0], gradient[0] = 0.0, 0.0, 1.0, 0.0
        move = np.asarray(np.linalg.solve(normal, gradient), dtype=np.float64)
        largest = float(np.abs(move[:n]).max())
        move *= min(1.0, LARGEST_STEP / max(largest, 1e-9))
        near += largest < NEAR
        share = 1 / max(near, 1)
        turned = np.asarray(np.maximum.accumulate(turned + share * move[:n]), dtype=np.float64)
        axis += share * float(move[n])
        slices = slices + share * SLICE_STEP * eliminate(move)
        state = _weigh(reaches, turned, slices, axis)
        if share * largest < settled:
            break
    normal = _equations(state, turned, axis, spans)[0]
    normal[0], normal[:, 0], normal[0, 0] = 0.0, 0.0, 1.0
    spread = np.sqrt(np.maximum(np.diag(np.linalg.inv(normal))[:n], 0.0))
    spread[0] = 0.0
    surprise = 0.5 * (TAIL + 1) * np.log1p((_unevenness(turned, spans) / UNEVEN) ** 2 / TAIL).sum()
    cost = ROWS_WORTH * state.misfit() + float(surprise) + 0.5 * (axis / AXIS_SPREAD) ** 2
    return Fit(turned, spread, slices, axis, np.sqrt(state.variance), cost)


@dataclass(frozen=True)
class _State:
    """Everything one Gauss-Newton step needs."""

    residual: Floats
    """(r, m) measured less modelled."""
    weight: Floats
    """(r, m, m) inverse covariance."""
    by_slice: Floats
    by_degree: Floats
    slices: Floats
    covariance: Floats
    """(r, m, m) of a row's reaches over its ``variance``."""
    variance: Floats
    """(r,)"""
    free: int
    """Reaches of a row less what they are fitted with."""

    def misfit(self) -> float:
        """Negative log of how likely the residuals are."""
        spread = np.linalg.slogdet(self.covariance)[1]
        return 0.5 * float((self.free * np.log(self.variance) + spread).sum())


def _first_slices(reaches: Reaches, turned: Floats) -> Floats:
    """Slices fitted to the first guess of the angles, plainly."""
    reach = reaches.reach
    slices = np.zeros((len(reach), 6))
    slices[:, 2] = reach.std(axis=1) + START_LONG * reach.mean(axis=1)
    slices[:, 4] = START_LONG * reach.mean(axis=1)
    slices[:, 5] = START_RIM * reach.mean(axis=1)
    towards = _directions(reaches, turned)
    for _ in range(START_ROUNDS):
        model, by_slice, _turn = slice_reach(slices, towards)
        normal = np.einsum("rik,ril->rkl", by_slice, by_slice) / START_ERROR**2 + np.eye(6) * SLICE_RIDGE
        gradient = np.einsum("rik,ri->rk", by_slice, reach - model) / START_ERROR**2
        _expect_rim(normal, gradient, slices)
        slices = slices + START_STEP * np.linalg.solve(normal, gradient[..., None])[..., 0]
    return slices


def _directions(reaches: Reaches, turned: Floats) -> Floats:
    return np.asarray(np.radians(np.tile(turned, 2)[None] + reaches.offset), dtype=np.float64)


def _sides(n: int) -> Floats:
    """(2 n,) what an axis that lies farther to picture right adds to the reaches to right and left."""
    return np.repeat([1.0, -1.0], n)


def _expect_rim(normal: Floats, gradient: Floats, slices: Floats) -> None:
    normal[:, 5, 5] += 1 / RIM_SPREAD**2
    gradient[:, 5] += (RIM - slices[:, 5]) / RIM_SPREAD**2


def _weigh(reaches: Reaches, turned: Floats, slices: Floats, axis: float) -> _State:
    """Residuals and their weights: smeared over directions, single ones far off count less, rows by their own error."""
    towards = _directions(reaches, turned)
    model, by_slice, turn = slice_reach(slices, towards)
    residual = reaches.reach - model - axis * _sides(len(turned))
    spread = np.sqrt(MEDIAN_TO_SPREAD * np.median(residual**2, axis=1) + 1e-7)[:, None]
    trust = 1 / (1 + (residual / (FAR_OFF * spread)) ** 2)
    covariance = _in_common(np.degrees(towards))
    here = np.arange(residual.shape[1])
    covariance[:, here, here] += (1 - SMEAR) / trust
    weight = np.asarray(np.linalg.inv(covariance), dtype=np.float64)
    free = residual.shape[1] - slices.shape[1] + FLOOR_WORTH
    misfits = (np.matmul(weight, residual[:, :, None])[:, :, 0] * residual).sum(axis=1)
    variance = (misfits + FLOOR_WORTH * FLOOR**2) / max(free, FLOOR_WORTH)
    weight /= variance[:, None, None]
    return _State(residual, weight, by_slice, turn * np.pi / 180, slices, covariance, variance, free)


def _in_common(towards: Floats) -> Floats:
    """(r, m, m) what residuals in the directions ``towards`` (r, m), degrees, have in common; in one piece of memory,
    since this and its inverse are most of what a fit costs."""
    away = towards[:, :, None] - towards[:, None, :]
    away -= 360.0 * np.rint(away / 360.0)
    away *= away
    away *= -0.5 / SMEAR_DEG**2
    np.exp(away, out=away)
    away *= SMEAR
    return away


def _equations(
    state: _State, turned: Floats, axis: float, spans: Floats
) -> tuple[Floats, Floats, Callable[[Floats], Floats]]:
    """Normal matrix (n + 1, n + 1) and gradient of the angles and the axis, and what then gives the slices' change.

    The slices are eliminated; what is expected of steps and axis is included.
    """
    n = len(turned)
    weighted = np.matmul(np.transpose(state.by_slice, (0, 2, 1)), state.weight)
    own = np.matmul(weighted, state.by_slice) + np.eye(6) * SLICE_RIDGE
    slope = np.matmul(weighted, state.residual[:, :, None])[:, :, 0]
    _expect_rim(own, slope, state.slices)
    heavy, cross = _by_angles(state.weight, state.by_degree), _by_angles(weighted, state.by_degree)
    solved = np.linalg.solve(own, np.concatenate([cross, slope[:, :, None]], axis=2))
    solved, step = solved[:, :, :-1], solved[:, :, -1]
    normal = _by_angles(np.transpose(heavy, (0, 2, 1)), state.by_degree).sum(axis=0)
    flat = cross.reshape(-1, n + 1)
    normal = normal - flat.T @ solved.reshape(-1, n + 1)
    gradient = state.residual.ravel() @ heavy.reshape(-1, n + 1) - step.ravel() @ flat
    normal, gradient = ROWS_WORTH * normal, ROWS_WORTH * gradient
    by_steps, pull = _step_prior(turned, spans)
    normal[:n, :n] += by_steps
    gradient[:n] += pull
    normal[n, n] += 1 / AXIS_SPREAD**2
    gradient[n] -= axis / AXIS_SPREAD**2

    def eliminate(move: Floats) -> Floats:
        return np.asarray(step - solved @ move, dtype=np.float64)

    return normal, gradient, eliminate


def _by_angles(values: Floats, by_degree: Floats) -> Floats:
    """(r, k, n + 1) ``values`` (r, k, 2 n) of the reaches times what the n angles and the axis change in them: each
    angle moves two reaches of a row, the axis all."""
    n = by_degree.shape[1] // 2
    moved = values * by_degree[:, None, :]
    return np.concatenate([moved[:, :, :n] + moved[:, :, n:], (values @ _sides(n))[:, :, None]], axis=2)


def _unevenness(turned: Floats, spans: Floats) -> Floats:
    """(n - 1,) by how much steps exceed what is usual of so many stops, degrees, as if each were of one."""
    steps = np.diff(turned)
    return np.asarray((steps - np.median(steps / spans) * spans) / np.sqrt(spans), dtype=np.float64)


def _step_prior(turned: Floats, spans: Floats | None = None) -> tuple[Floats, Floats]:
    """Steps like their median, with a long tail: normal matrix (n, n) and gradient (n,)."""
    spans = np.ones(len(turned) - 1) if spans is None else spans
    off = -_unevenness(turned, spans)
    trust = (TAIL + 1) / (TAIL + (off / UNEVEN) ** 2) / UNEVEN**2
    stiff, pull = trust / spans, trust * off / np.sqrt(spans)
    before = np.arange(len(spans))
    normal, gradient = np.zeros((len(turned), len(turned))), np.zeros(len(turned))
    for a, b, sign in ((0, 0, 1), (1, 1, 1), (0, 1, -1), (1, 0, -1)):
        normal[before + a, before + b] += sign * stiff
    gradient[1:] += pull
    gradient[:-1] -= pull
    return normal, gradient
