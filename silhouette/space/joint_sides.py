"""Which of two is the figure's left: limbs held together by bone lengths, sides told by what bends which way.

Seen from the body, shin before foot and thigh before shin tell the left: the cross product of foot and shin points to
the figure's left in any pose, and so does that of thigh and shin where the knee is bent (on 300 bodies in 300 poses
the first lies within 80 degrees of the line of the hips, the second within 84). Every naming of the ten pairs is tried.
"""

from __future__ import annotations

from itertools import product

import numpy as np
from numpy.typing import NDArray

from silhouette.space import body_plan as plan

Floats = NDArray[np.float64]

LENGTH, ALIKE = 0.09, 0.08
"""Least spread of the logarithms of a bone's length against the plan, and of left against right, while points are
rough; no bone is held against a naming more than FAR spreads."""
FAR = 6.0
BY_LEG, BY_ANGLE = 4.0, 1.2
"""How strongly a leg's bend, and the front at angle 0, speak for a side: logarithm of the odds over two, where they
point straight at it."""
TOGETHER = (
    (plan.SHOULDER, plan.HIP, 4.0), (plan.ELBOW, plan.SHOULDER, 4.0), (plan.WRIST, plan.ELBOW, 1.5),
    (plan.HAND_END, plan.WRIST, 1.0), (plan.KNEE, plan.HIP, 6.0), (plan.ANKLE, plan.KNEE, 1.5),
    (plan.FOOT_END, plan.ANKLE, 3.0),
)
"""Pairs that mostly lie across the body the same way, and how strongly that speaks. On those bodies the second lies at
an angle under 90 degrees to the first in 100, 100, 99, 97, 99, 97 and 100 of 100."""
ONWARD = 3.0
"""How strongly a hand that goes on where its forearm points speaks for the two belonging together; wrists bend by less
than 80 degrees."""
STRAIGHT = 0.15
"""Sine of the bend from which a knee says anything."""
LEVEL = 1.0
"""How long hips and shoulders together must be as seen from above, both full length 2, to say where the front is."""
HOPELESS = 15.0
"""Logarithm of the odds from which a naming is not followed to the end."""
ORDERS = np.array(list(product((False, True), repeat=len(plan.LEFT))))


def namings(points: Floats, log_stature: float, *, rough: bool = False, best: int = 1) -> list[Floats]:
    """The likeliest ways of putting the members of each pair in the order left, right: points (23, 3) each; those that
    are hopeless beside the best are left out."""
    every = np.repeat(points[None], len(ORDERS), axis=0)
    for column, k in enumerate(plan.LEFT):
        crossed = ORDERS[:, column]
        every[crossed, k], every[crossed, k + 1] = points[k + 1], points[k]
    score = by_bones(every, log_stature, rough) + by_side(every)
    likeliest = np.argsort(-score, kind="stable")[:best]
    return [every[i] for i in likeliest if score[i] > score[likeliest[0]] - HOPELESS]


def by_bones(points: Floats, log_stature: float, rough: bool) -> Floats:
    """(m,) logarithm of how likely the lengths of the bones of points (m, 23, 3) are, but for a constant."""
    ends = np.array(plan.BONES)
    length = np.maximum(np.linalg.norm(points[:, ends[:, 0]] - points[:, ends[:, 1]], axis=2), 0.005)
    off = plan.off_length(length, log_stature)[0]
    spread, alike_spread = plan.SPREAD, plan.ALIKE_SPREAD
    if rough:
        spread, alike_spread = np.maximum(spread, LENGTH), np.maximum(alike_spread, ALIKE)
    alike = np.array(plan.ALIKE)
    differ = off[:, alike[:, 0]] - off[:, alike[:, 1]]
    cost = np.minimum((off / spread) ** 2, FAR**2).sum(axis=1)
    cost += np.minimum((differ / alike_spread) ** 2, FAR**2).sum(axis=1)
    return np.asarray(-0.5 * cost)


def by_side(points: Floats) -> Floats:
    """(m,) logarithm of how likely the sides of points (m, 23, 3) are, by what bends which way."""
    across = {k: _way(points, k) for k in {k for pair in TOGETHER for k in pair[:2]}}
    hips, shoulders = across[plan.HIP], across[plan.SHOULDER]
    legs = sum(leg_axis(points, side) for side in (0, 1))
    log = BY_LEG * (hips * legs).sum(axis=1) + BY_ANGLE * (hips[:, 0] + shoulders[:, 0])
    for one, other, strength in TOGETHER:
        log = log + strength * (across[one] * across[other]).sum(axis=1)
    for side in (0, 1):
        elbow, wrist, tip = (points[:, k + side] for k in (plan.ELBOW, plan.WRIST, plan.HAND_END))
        log = log + ONWARD * (_unit(wrist - elbow) * _unit(tip - wrist)).sum(axis=1)
    return np.asarray(log)


def _way(points: Floats, pair: int) -> Floats:
    """(m, 3) from the right one of a pair to the left one, length 1."""
    return _unit(points[:, pair] - points[:, pair + 1])


def _unit(ways: Floats) -> Floats:
    return np.asarray(ways / np.maximum(np.linalg.norm(ways, axis=1), 1e-6)[:, None])


def leg_axis(points: Floats, side: int) -> Floats:
    """(m, 3) where the figure's left is, by foot, shin and thigh of one leg (0 left, 1 right); shorter where they are
    less sure."""
    hip, knee, ankle, toes = (points[:, k + side] for k in (plan.HIP, plan.KNEE, plan.ANKLE, plan.FOOT_END))
    thigh, shin, foot = _unit(knee - hip), _unit(ankle - knee), _unit(toes - ankle)
    by_foot, by_knee = np.cross(foot, shin), np.cross(thigh, shin)
    bent = np.linalg.norm(by_knee, axis=1) > STRAIGHT
    return np.asarray(by_foot + bent[:, None] * by_knee)


def front_of(points: Floats) -> float | None:
    """Degrees, as angles of the camera, where the front of a figure (23, 3) is: square to hips and shoulders; None
    where they stand upright, as of a figure that lies on its side."""
    left = (_way(points[None], plan.HIP) + _way(points[None], plan.SHOULDER))[0]
    if np.hypot(left[0], left[1]) < LEVEL:
        return None
    return float(np.degrees(np.arctan2(-left[1], left[0])) % 360)
