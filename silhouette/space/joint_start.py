"""Where every point may lie in space, from pairs of views: the start of the fit.

Two views give a candidate for every two bells; each candidate is held against all views and moved to where they agree
best. Of a pair's candidates those two are taken that explain the views best together, one to one.
"""

from __future__ import annotations

from dataclasses import dataclass

import numpy as np
from numpy.typing import NDArray

from silhouette.space import body_plan as plan
from silhouette.space.bells import ROOM, WRONG, Views
from silhouette.space.joint_fit import MIDDLE, State

Floats = NDArray[np.float64]

APART_DEG = (25.0, 155.0)
"""Between the two views of a pair, on the circle."""
PAIRS = 90
"""Pairs of views tried."""
TAKEN = 30
"""Candidates of a point that are looked at more closely."""
SAME = 0.02
"""Candidates nearer than this are one, statures."""
MORE = 0.02
"""How much wider than told the bells are taken here, statures, for angles and cameras are rough still."""
MISS = 0.08
"""How far two lines of sight may pass by each other, statures."""
ONE_PLACE, TOUCHING = 0.6, 0.025
"""What a view says less for a pair whose members lie at one place, and how near that is, statures."""
POLISH = 4
"""Rounds in which a candidate moves to where the views agree."""


@dataclass(frozen=True)
class Eyes:
    """Where the lens stands at each view and what its picture's axes are in space."""

    place: Floats
    """(n, 3)"""
    right: Floats
    down: Floats
    ahead: Floats
    distance: float

    def spots(self, points: Floats) -> tuple[Floats, Floats]:
        """(n, c, 2) where points (c, 3) lie in the views, and (n, c, 2, 3) how that changes as they move."""
        away = points[None] - self.place[:, None]
        parts = np.stack([np.einsum("ncd,nd->nc", away, way) for way in (self.right, self.down, self.ahead)])
        depth = np.maximum(parts[2], 0.05 * self.distance)
        spot = self.distance * np.stack([parts[0], parts[1]], axis=2) / depth[:, :, None]
        slope = np.stack([self.right, self.down], axis=1)[:, None] * self.distance
        slope = (slope - spot[:, :, :, None] * self.ahead[:, None, None]) / depth[:, :, None, None]
        return spot, slope

    def ways(self, spot: Floats, view: NDArray[np.int64]) -> Floats:
        """(c, 3) directions of the lines of sight through spots (c, 2) of the views (c,)."""
        way = (self.right[view] * spot[:, :1] + self.down[view] * spot[:, 1:]) / self.distance + self.ahead[view]
        return np.asarray(way / np.linalg.norm(way, axis=1)[:, None])


def eyes_of(state: State) -> Eyes:
    """The cameras of a state of one ring as vectors; shifts of single views are not in it."""
    sin, cos, none = np.sin(state.angles), np.cos(state.angles), np.zeros(len(state.angles))
    distance = float(np.exp(state.log_distance[0]))
    sp, cp = np.sin(state.pitch[0]), np.cos(state.pitch[0])
    level, right = np.stack([sin, cos, none], axis=1), np.stack([cos, -sin, none], axis=1)
    up = np.array([0.0, 0.0, 1.0])
    place = -distance * level - state.aside[0] * right + state.height[0] * up
    return Eyes(place, right, sp * level - cp * up, cp * level + sp * up, distance)


def candidates(views: Views, eyes: Eyes, point: int, seed: int) -> tuple[Floats, Floats]:
    """Places (c, 3) where a point or its twin may lie, best first, and (n, c, 2) how well each view's two rows of bells
    find them there, logarithms of densities."""
    rows = sorted({point, int(plan.TWIN[point])})
    spots, which = _two_each(views, rows)
    found = _met(eyes, spots, which, seed)
    if not len(found):
        return np.zeros((0, 3)), np.zeros((len(views.stop), 0, 2))
    for times, kept in ((1, 4 * TAKEN), (POLISH, TAKEN)):
        score = _log(views, eyes, found, rows)[0].max(axis=2).sum(axis=0)
        found = _distinct(found, score, kept)
        for _ in range(times):
            found = _polished(views, eyes, found, rows)
    logs = _log(views, eyes, found, rows)[0]
    return found, logs[:, :, [0, -1]]


def _two_each(views: Views, rows: list[int]) -> tuple[Floats, NDArray[np.int64]]:
    """The likeliest bell of each row and view and the next that lies elsewhere: spots (m, 2), and their views (m,)."""
    spots, which = [], []
    for row in rows:
        share, x, y = views.share[:, row], views.x[:, row], views.y[:, row]
        first = share.argmax(axis=1)
        each = np.arange(len(share))
        far = np.hypot(x - x[each, first][:, None], y - y[each, first][:, None]) > 2 * SAME
        second = np.where(far, share, 0).argmax(axis=1)
        for k, least in ((first, 0.0), (second, 0.1)):
            there = (share[each, k] > least) & (far[each, k] | (least == 0.0))
            spots.append(np.stack([x[each, k], y[each, k]], axis=1)[there])
            which.append(each[there])
    return np.concatenate(spots), np.concatenate(which)


def _met(eyes: Eyes, spots: Floats, which: NDArray[np.int64], seed: int) -> Floats:
    """(c, 3) where lines of sight of two views pass by each other closely."""
    heading = np.degrees(np.arctan2(eyes.right[:, 1], eyes.right[:, 0]))
    n = len(heading)
    a, b = np.triu_indices(n, 1)
    apart = np.abs((heading[a] - heading[b] + 180) % 360 - 180)
    good = np.flatnonzero((apart >= APART_DEG[0]) & (apart <= APART_DEG[1]))
    chosen = np.random.default_rng(seed).permutation(good)[:PAIRS]
    tried = np.zeros((n, n), bool)
    tried[a[chosen], b[chosen]] = True
    i, j = np.nonzero(tried[which[:, None], which[None]])
    p, q = eyes.place[which[i]], eyes.place[which[j]]
    u, w = eyes.ways(spots[i], which[i]), eyes.ways(spots[j], which[j])
    between = q - p
    uw = (u * w).sum(axis=1)
    under = np.maximum(1 - uw**2, 1e-6)
    s = ((between * u).sum(axis=1) - uw * (between * w).sum(axis=1)) / under
    t = (uw * (between * u).sum(axis=1) - (between * w).sum(axis=1)) / under
    one, other = p + s[:, None] * u, q + t[:, None] * w
    met = (np.linalg.norm(one - other, axis=1) < MISS) & (s > 0) & (t > 0)
    return np.asarray((one + other)[met] / 2)


def _log(views: Views, eyes: Eyes, points: Floats, rows: list[int]) -> tuple[Floats, Floats, Floats, Floats]:
    """(n, c, r) logarithms of densities of points (c, 3) by each row of bells, and what a step needs: weights (n, c),
    spots they pull to (n, c, 2), spots where they are with slopes."""
    spot, slope = eyes.spots(points)
    wide = views.width[:, None, rows] ** 2 + MORE**2
    x, y = views.x[:, None, rows] - spot[:, :, :1, None], views.y[:, None, rows] - spot[:, :, 1:, None]
    bell = (1 - WRONG) * views.share[:, None, rows] * np.exp(-0.5 * (x**2 + y**2) / wide) / (2 * np.pi * wide)
    log = np.log(bell.sum(axis=3) + WRONG / ROOM)
    part = bell / (bell.sum(axis=(2, 3)) + WRONG / ROOM)[:, :, None, None] / wide
    pull = np.stack([(part * x).sum(axis=(2, 3)), (part * y).sum(axis=(2, 3))], axis=2)
    return log, part.sum(axis=(2, 3)), pull, slope


def _polished(views: Views, eyes: Eyes, points: Floats, rows: list[int]) -> Floats:
    """Candidates after a step to where the bells round them lie."""
    _, weight, pull, slope = _log(views, eyes, points, rows)
    normal = np.einsum("nc,ncai,ncaj->cij", weight, slope, slope) + 1e-2 * np.eye(3)
    vector = np.einsum("nca,ncai->ci", pull, slope)
    step = np.linalg.solve(normal, vector[:, :, None])[:, :, 0]
    length = np.linalg.norm(step, axis=1)[:, None]
    return np.asarray(points + step * np.minimum(1.0, 0.1 / np.maximum(length, 1e-9)))


def _distinct(points: Floats, score: Floats, kept: int) -> Floats:
    """The best points that lie apart, best first."""
    left = points[np.argsort(-score, kind="stable")]
    out: list[Floats] = []
    while len(left) and len(out) < kept:
        out.append(left[0])
        left = left[np.abs(left - left[0]).max(axis=1) > SAME]
    return np.array(out)


def best_two(points: Floats, logs: Floats) -> tuple[int, int]:
    """Which two candidates (c, 3) explain a pair best: logs (n, c, 2) by view, candidate and row of bells.

    Where a view cannot tell the members apart both rows have bells at both places, which would allow both members at
    one; so two candidates at one place pay for it in every view.
    """
    straight = logs[:, :, None, 0] + logs[:, None, :, 1]
    both = np.logaddexp(straight, straight.transpose(0, 2, 1)).sum(axis=0)
    apart = ((points[:, None] - points[None]) ** 2).sum(axis=2)
    both += len(logs) * np.log(1 - ONE_PLACE * np.exp(-0.5 * apart / TOUCHING**2))
    a, b = np.unravel_index(int(both.argmax()), both.shape)
    return int(a), int(b)


def start(views: Views, state: State) -> Floats:
    """(23, 3) points to start from, the members of a pair in any order; where no two views agree, about the middle."""
    eyes = eyes_of(state)
    points = MIDDLE + np.random.default_rng(0).normal(0, 0.1, (plan.P, 3))
    for point in np.flatnonzero(np.arange(plan.P) <= plan.TWIN):
        found, logs = candidates(views, eyes, int(point), int(point))
        if not len(found):
            continue
        twin = int(plan.TWIN[point])
        if twin == point:
            points[point] = found[int(logs[:, :, 0].sum(axis=0).argmax())]
        else:
            a, b = best_two(found, logs)
            points[point], points[twin] = found[a], found[b]
    return points
