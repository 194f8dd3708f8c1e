"""Did the model stay on its spot? Each outline's place sideways against what the turning figure should show."""

from __future__ import annotations

from collections.abc import Sequence

import numpy as np
from numpy.typing import NDArray

from silhouette.records import Mask
from silhouette.turn import angle_fit, support_function

Floats = NDArray[np.float64]

LOWER = 0.35
"""Share of the figure from the ground up whose rows are read: the feet say where the model stands, not its arms."""
JUMP = 0.03
"""Whole outlines do not rise or fall by this from one stop to the next while the camera stands, figure heights: turning
moves the feet or the top, not both the same way."""
JUMP_ACROSS = 0.15
"""The same sideways, where turning alone moves the feet by half of this."""


def sideways(masks: Sequence[Mask], turned: Floats) -> Floats | None:
    """(n,) how far each stop lies to picture right of where it should, figure heights; None where it cannot be told.

    The slices of a rigid body are fitted to all stops; what is left over is common to both sides of a stop's lower rows
    if the whole figure stands elsewhere.
    """
    signed = np.asarray(turned, dtype=np.float64)
    mirrored = bool(signed[-1] < signed[0])
    seen = support_function.measure(masks, 40, mirrored=mirrored)
    if seen is None or len(masks) < 6:
        return None
    try:
        fit = angle_fit.fit(seen, np.abs(signed - signed[0]), rounds=6)
    except np.linalg.LinAlgError:
        return None
    towards = np.radians(np.tile(fit.turned, 2)[None] + seen.offset)
    sides = np.repeat([fit.axis, -fit.axis], len(masks))
    left_over = seen.reach - angle_fit.slice_reach(fit.slices, towards)[0] - sides
    low = seen.rows >= seen.rows[-1] - LOWER * seen.height_px
    n = len(masks)
    shift = np.median((left_over[low, :n] - left_over[low, n:]) / 2, axis=0)
    return np.asarray(-shift if mirrored else shift, dtype=np.float64)


def jump(masks: Sequence[Mask]) -> int | None:
    """The stop before which the whole picture shifted, as it does when the camera is moved; None where it stood.

    Parameters
    ----------
    masks : n masks of one size, none empty, in the order shot
    """
    size = shifts(masks)
    return int(np.argmax(size)) + 1 if len(size) and size.max() >= 1 else None


def shifts(masks: Sequence[Mask]) -> Floats:
    """(n - 1,) how far the whole figure shifted in the picture at each step; from 1 on, no turning explains it."""
    stack = np.asarray(masks, dtype=np.bool_)
    filled = np.asarray(stack.any(axis=2))
    top = filled.argmax(axis=1)
    bottom = filled.shape[1] - 1 - filled[:, ::-1].argmax(axis=1)
    height = float(np.median(bottom - top + 1))
    across = stack.any(axis=1).sum(axis=1).max()
    sides = []
    for mask, low in zip(stack, bottom, strict=True):
        columns = np.flatnonzero(mask[int(low - LOWER * height) :].any(axis=0))
        sides.append((columns[0], columns[-1]))
    left, right = np.asarray(sides, dtype=np.float64).T
    size = np.maximum(
        _together(top.astype(float), bottom.astype(float)) / JUMP, _together(left, right) / JUMP_ACROSS)
    return np.asarray(size / max(height, float(across)), dtype=np.float64)  # a lying figure is long, not high


def _together(one: Floats, other: Floats) -> Floats:
    """(n - 1,) how far two edges moved the same way from stop to stop, pixels; 0 where they moved apart."""
    a, b = np.diff(one), np.diff(other)
    return np.where(a * b > 0, np.minimum(np.abs(a), np.abs(b)), 0.0)
