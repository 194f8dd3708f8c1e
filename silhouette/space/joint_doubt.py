"""How far each joint may be off: the radius that holds it 9 times in 10.

Four things speak: how sharply the views' bells pin a joint down (the fit's covariance); how much it moves when a third
of the views is left out; how far the reader's idea of a joint lies from the bone's own on the whole, which no number
of views takes away; and the size of the whole figure. The factors were set on turns that were not used for measuring.
"""

from __future__ import annotations

from dataclasses import dataclass

import numpy as np
from numpy.typing import NDArray

from silhouette.records_space import POINTS
from silhouette.space import body_plan as plan
from silhouette.space import joint_fit
from silhouette.space.bells import Views
from silhouette.space.joint_fit import Beliefs, Fitted

Floats = NDArray[np.float64]

FOLDS = 3
"""Parts that the views are split into; each is left out once."""
AGAIN = ((joint_fit.ROUNDS[-1][0], 5),)
"""Rounds of a fit without a part of the views, from where the whole fit ended."""
BY_BELLS, BY_VIEWS, BY_SCALE = 1.6, 4.8, 0.0085
"""What the first two count for, and the share of its distance from the axis' foot that a joint is off by the size of
the whole figure, which is known from the bones alone."""
FLOORS = {
    "head": 0.0126, "hand": 0.003, "elbow": 0.003, "foot": 0.003, "knee": 0.0035, "crown": 0.0115, "neck": 0.0056,
    "shoulder": 0.0057, "wrist": 0.003, "hip": 0.0076, "ankle": 0.003, "hand end": 0.003, "foot end": 0.0045,
}
"""What is left however well the views agree, statures. All of these are such that of 160 turns near taught poses the
radius holds each kind of joint 9 times in 10; set on one half of the turns it held 87 and 93 % of the other."""


GROUND = 0.004
"""How far the ground may be off from where the outlines put it, statures."""
CUT_OUT = 1.1
"""How much wider all of it is taken: the factors were set on exact masks, and through the cut-out they held 88 % of the
joints of 38 turns, not 90."""
MERGED = {"hand end": 0.045, "hand": 0.04, "wrist": 0.02}
"""What comes on top, statures, where the fit has both of a pair at one place: hands behind the head or before the chest
are taken for one another then, and nothing else tells. Of such hands nine in ten lay so near to where they were put."""
TOUCHING = 0.025
"""How near to each other that is, statures."""


@dataclass(frozen=True)
class Doubts:
    """What speaks for how far each of the 23 points may be off, in the fit's unit."""

    by_bells: Floats
    """(23,) root of the trace of the covariance."""
    by_views: Floats
    """(23,) standard deviation under leaving a part of the views out."""
    away: Floats
    """(23,) from where the axis meets the ground."""
    apart: Floats
    """(23,) from the other of the pair; infinite where there is none."""
    stature: float

    @property
    def within(self) -> Floats:
        """(23,) radius that holds the true point 9 times in 10."""
        floor = self.stature * np.array([FLOORS[point] for point in POINTS])
        near = np.exp(-0.5 * (self.apart / (self.stature * TOUCHING)) ** 2)
        merged = self.stature * near * np.array([MERGED.get(point, 0.0) for point in POINTS])
        parts = (floor, GROUND * self.stature, merged, BY_BELLS * self.by_bells, BY_VIEWS * self.by_views,
                 BY_SCALE * self.away)
        return np.asarray(CUT_OUT * np.sqrt(sum(part**2 for part in parts)))


def doubts(fitted: Fitted, views: Views, beliefs: Beliefs) -> Doubts:
    """Look at the end of a fit, and at fits without a part of the views."""
    own = joint_fit.own(len(fitted.state.angles))  # the cameras' own doubt moves all points alike, mostly up and down
    spread = np.diag(np.linalg.inv(fitted.normal[:own, :own]))[: 3 * plan.P]
    by_bells = np.sqrt(spread.reshape(plan.P, 3).sum(axis=1))
    # ring by ring: a part is so many stops of every ring, never one of the rings
    order = np.lexsort((beliefs.angles % (2 * np.pi), fitted.state.ring))
    found = []
    for part in range(FOLDS):
        kept = np.sort(np.delete(order, np.arange(part, len(order), FOLDS)))
        again = joint_fit.fit(views.some(kept), fitted.state.some(kept), beliefs.some(kept), AGAIN)
        found.append(again.state.points)
    moved = np.asarray(found) - np.mean(found, axis=0)
    by_views = np.sqrt((FOLDS - 1) / FOLDS * (moved**2).sum(axis=(0, 2)))
    points = fitted.state.points
    apart = np.linalg.norm(points - points[plan.TWIN], axis=1)
    apart[np.arange(plan.P) == plan.TWIN] = np.inf
    return Doubts(by_bells, by_views, np.linalg.norm(points, axis=1), apart, float(np.exp(fitted.state.log_stature)))
