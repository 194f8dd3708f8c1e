"""Did the model stay on its spot? Each outline's place sideways against what the turning figure should show."""

from __future__ import annotations

from collections.abc import Sequence

import numpy as np
from numpy.typing import NDArray

from silhouette.records import Mask
from silhouette.shoot import reaches, turnfit

Floats = NDArray[np.float64]

LOWER = 0.35
"""Share of the figure from the ground up whose rows are read: the feet say where the model stands, not its arms."""


def sideways(masks: Sequence[Mask], turned: Floats) -> Floats | None:
    """(n,) how far each stop lies to picture right of where it should, figure heights; None where it cannot be told.

    The slices of a rigid body are fitted to all stops; what is left over is common to both sides of a stop's lower rows
    if the whole figure stands elsewhere.
    """
    signed = np.asarray(turned, dtype=np.float64)
    mirrored = bool(signed[-1] < signed[0])
    seen = reaches.measure(masks, 40, mirrored=mirrored)
    if seen is None or len(masks) < 6:
        return None
    try:
        fit = turnfit.fit(seen, np.abs(signed - signed[0]), rounds=6)
    except np.linalg.LinAlgError:
        return None
    towards = np.radians(np.tile(fit.turned, 2)[None] + seen.offset)
    sides = np.repeat([fit.axis, -fit.axis], len(masks))
    left_over = seen.reach - turnfit.slice_reach(fit.slices, towards)[0] - sides
    low = seen.rows >= seen.rows[-1] - LOWER * seen.height_px
    n = len(masks)
    shift = np.median((left_over[low, :n] - left_over[low, n:]) / 2, axis=0)
    return np.asarray(-shift if mirrored else shift, dtype=np.float64)
