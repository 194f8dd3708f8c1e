"""How far the figure reaches to either side in each row of the picture, at every stop.

A row of the picture is a level slice through the figure. What an outline tells of that slice is where it ends to
picture left and to picture right: two lines of sight that touch it. Collected over the turn these are samples of the
slice's support function, the reach in every direction, and a rigid slice has only one of these.

Letters: n stops, r rows, everything in figure heights unless said otherwise.
"""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass

import numpy as np
from numpy.typing import NDArray

from silhouette.records import Mask

Floats = NDArray[np.float64]

NEARNESS = 0.42
"""Figure height over camera distance: 1.75 m at about 4.2 m. Enters only as the small angle between the outermost line
of sight and the middle one, so a rough value serves."""
TOP, FOOT = 0.01, 0.02
"""Rows this near to the highest and lowest row that every stop fills are left out, figure heights."""


@dataclass(frozen=True)
class Reaches:
    """Reaches of a turn, as tangents of level slices."""

    reach: Floats
    """(r, 2 n) distance of the touching line from the axis: to picture right at every stop, then to picture left."""
    offset: Floats
    """(r, 2 n) degrees to add to the stop's angle for the direction in which that reach is taken."""
    rows: NDArray[np.int64]
    """(r,) picture rows."""
    height_px: float
    """Median figure height, pixels."""
    axis_px: float = 0.0
    """Column from which the reaches are taken, pixels, in the mirror where they were measured in it."""


def measure(masks: Sequence[Mask], rows: int, *, mirrored: bool = False) -> Reaches | None:
    """Reaches in ``rows`` picture rows that the figure fills at every stop; None where there are under 8 such rows.

    ``mirrored`` looks at the pictures in a mirror: a turn to the right is then one to the left.

    With the camera at angle a, the line of sight that touches the slice to picture right at the image angle f touches
    it in direction a - 90 + f, at the distance D sin f from the axis; to picture left it is a + 90 - f.
    """
    stack: NDArray[np.bool_] = np.asarray(masks, dtype=np.bool_)
    if mirrored:
        stack = stack[:, :, ::-1]
    width = stack.shape[2]
    filled: NDArray[np.bool_] = np.asarray(stack.any(axis=2))
    if not filled.any(axis=1).all():
        return None
    top = filled.argmax(axis=1)
    bottom = filled.shape[1] - 1 - filled[:, ::-1].argmax(axis=1)
    height = float(np.median(bottom - top + 1))
    common = np.flatnonzero(filled.all(axis=0))
    if len(common) < 8:
        return None
    wanted = np.linspace(common[0] + TOP * height, common[-1] - FOOT * height, rows).round().astype(int)
    picked = np.intersect1d(wanted, common)
    if len(picked) < 8:
        return None
    left = stack[:, picked].argmax(axis=2).T.astype(float)
    right = (width - stack[:, picked, ::-1].argmax(axis=2)).T.astype(float)
    axis = float(np.median(((left + right) / 2).mean(axis=1)))
    seen = np.concatenate([right - axis, axis - left], axis=1) / height
    slant = np.arctan(seen * NEARNESS)
    side = np.repeat([-1.0, 1.0], len(stack))
    return Reaches(np.sin(slant) / NEARNESS, side * (90.0 - np.degrees(slant)), picked, height, axis)
