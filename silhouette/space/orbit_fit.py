"""First cameras of a turn from its outlines alone."""

from __future__ import annotations

from collections.abc import Sequence

import numpy as np
from numpy.typing import NDArray

from silhouette.geometry.perspective import FRAME_MM
from silhouette.records import Mask
from silhouette.records_space import StopCamera

Floats = NDArray[np.float64]

USUAL_DISTANCE = 2.4
"""Figure heights from the lens to the axis where nothing tells: about 4 m."""


def first_cameras(masks: Sequence[Mask], angles: Sequence[float], focal_35mm: float | None) -> tuple[StopCamera, ...]:
    """One camera a stop, in units of figure height (the median height of the masks is 1), z = 0 about the ground.

    Parameters
    ----------
    masks : sequence of (h, w) bool, one size, each with a figure
    angles : degrees
    focal_35mm : float or None
        35 mm equivalent of the lens, as EXIF has it.
    """
    stack = np.asarray(masks, dtype=np.bool_)
    height, width = stack.shape[1:]
    rows, columns = np.asarray(stack.any(axis=2)), np.asarray(stack.any(axis=1))
    top, bottom = rows.argmax(axis=1), height - rows[:, ::-1].argmax(axis=1)
    left, right = columns.argmax(axis=1), width - columns[:, ::-1].argmax(axis=1)
    unit = float(np.median(bottom - top))
    distance = USUAL_DISTANCE if focal_35mm is None else focal_35mm / FRAME_MM * max(width, height) / unit
    axis = _axis((left + right) / 2, np.asarray(angles, np.float64))
    lens = (float(np.median(bottom)) - height / 2) / unit
    aside = (axis - width / 2) / unit
    return tuple(
        StopCamera(float(a), distance, lens, 0.0, distance * unit, aside, (width, height)) for a in angles
    )


def _axis(middles: Floats, angles: Floats) -> float:
    """Column of the turning axis: the outlines' middles swing round it, each stop by the degrees it stands for."""
    order = np.argsort(angles % 360)
    edges = np.concatenate([angles[order] % 360, [angles[order][0] % 360 + 360]])
    worth = np.diff(edges)
    worth = (worth + np.roll(worth, 1)) / 2
    return float(np.average(middles[order], weights=worth))
