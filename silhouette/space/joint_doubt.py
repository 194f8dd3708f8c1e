"""How far each joint may be off: the radius that holds it 9 times in 10.

Three things speak: how sharply the views' bells pin a joint down (the fit's covariance), how much it moves when a third
of the views is left out, and how far the reader's idea of a joint lies from the bone's own on the whole, which no
number of views takes away. The factors were set on turns of the studio that were not used for measuring.
"""

from __future__ import annotations

from dataclasses import dataclass

import numpy as np
from numpy.typing import NDArray

from silhouette.space import body_plan as plan
from silhouette.space import joint_fit
from silhouette.space.bells import Views
from silhouette.space.joint_fit import Beliefs, Fitted

Floats = NDArray[np.float64]

FOLDS = 3
"""Parts that the views are split into; each is left out once."""
AGAIN = ((joint_fit.ROUNDS[-1][0], 5),)
"""Rounds of a fit without a part of the views, from where the whole fit ended."""
BY_BELLS, BY_VIEWS = 2.0, 1.0
FLOOR = np.full(plan.P, 0.01)
"""Statures."""


@dataclass(frozen=True)
class Doubts:
    """What speaks for how far each of the 23 points may be off, statures."""

    by_bells: Floats
    """(23,) root of the trace of the covariance."""
    by_views: Floats
    """(23,) standard deviation under leaving a part of the views out."""

    @property
    def within(self) -> Floats:
        """(23,) radius that holds the true point 9 times in 10."""
        return np.asarray(np.sqrt(FLOOR**2 + (BY_BELLS * self.by_bells) ** 2 + (BY_VIEWS * self.by_views) ** 2))


def doubts(fitted: Fitted, views: Views, beliefs: Beliefs) -> Doubts:
    """Look at the end of a fit, and at fits without a part of the views."""
    own = len(fitted.normal) - joint_fit.COMMON  # the cameras' own doubt moves all points alike, mostly up and down
    spread = np.diag(np.linalg.inv(fitted.normal[:own, :own]))[: 3 * plan.P]
    by_bells = np.sqrt(spread.reshape(plan.P, 3).sum(axis=1))
    order = np.argsort(beliefs.angles % (2 * np.pi), kind="stable")
    found = []
    for part in range(FOLDS):
        kept = np.sort(np.delete(order, np.arange(part, len(order), FOLDS)))
        again = joint_fit.fit(views.some(kept), fitted.state.some(kept), beliefs.some(kept), AGAIN)
        found.append(again.state.points)
    moved = np.asarray(found) - np.mean(found, axis=0)
    by_views = np.sqrt((FOLDS - 1) / FOLDS * (moved**2).sum(axis=(0, 2)))
    return Doubts(by_bells, by_views)
