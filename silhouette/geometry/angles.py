"""Angles on the circle of cameras: how far apart, on which side, on an arc or not. One definition of each.

Degrees everywhere, clockwise seen from above. All functions take numbers or arrays that fit each other.
"""

from __future__ import annotations

from typing import Any

import numpy as np
from numpy.typing import NDArray

Arc = tuple[float, float]
"""From the first angle clockwise to the second; two equal angles mean the whole round."""

EDGE = 1e-6
"""Degrees by which an angle may miss the end of an arc and still lie on it: what rounding leaves."""


def difference(to: Any, start: Any) -> Any:
    """Degrees from ``start`` to ``to`` the short way round, -180 <= d < 180; clockwise is positive."""
    return (to - start + 180.0) % 360.0 - 180.0


def apart(one: Any, other: Any) -> Any:
    """Degrees between two directions, 0 to 180."""
    return np.abs(difference(one, other))


def width(arc: Arc) -> float:
    """How wide an arc is, over 0 and up to 360 degrees."""
    return (arc[1] - arc[0]) % 360 or 360.0


def middle(arc: Arc) -> float:
    """The angle half way along an arc, 0 <= a < 360."""
    return (arc[0] + width(arc) / 2) % 360


def on_arc(angle: Any, arc: Arc | None) -> Any:
    """Whether a camera at this angle counts: it stands on the arc, both ends included; without an arc all do."""
    return arc is None or (angle - arc[0] + EDGE) % 360 <= width(arc) + 2 * EDGE


def degrees_on(arc: Arc | None) -> NDArray[np.bool_]:
    """(360,) which whole degrees an arc is made of, where degree d is the stretch from d to d + 1: as many as it is
    wide."""
    if arc is None:
        return np.ones(360, np.bool_)
    return np.asarray((np.arange(360) + 0.5 - arc[0]) % 360 < width(arc), np.bool_)


def runs(wanted: NDArray[np.bool_], join: int = 0) -> list[Arc]:
    """Stretches of True round the circle.

    Parameters
    ----------
    wanted : (n,) bool
        One value a step of the circle, the last one next to the first.
    join : int
        Stretches at most so many steps apart become one.

    Returns
    -------
    list of (first, last + 1)
        Steps, ascending by the first; one through 0 ends at a smaller number than it begins. All round: ``(0, n)``.
    """
    n = len(wanted)
    if wanted.all():
        return [(0.0, float(n))]
    if not wanted.any():
        return []
    begin = int(np.flatnonzero(~wanted)[0])
    turned = np.roll(wanted, -begin).astype(np.int8)
    edges = np.diff(np.concatenate([[0], turned, [0]]))
    found = [[int(a), int(b)] for a, b in zip(np.flatnonzero(edges == 1), np.flatnonzero(edges == -1), strict=True)]
    merged = found[:1]
    for a, b in found[1:]:
        if a - merged[-1][1] <= join:
            merged[-1][1] = b
        else:
            merged.append([a, b])
    if len(merged) > 1 and merged[0][0] + n - merged[-1][1] <= join:
        merged[0][0] = merged.pop()[0] - n
    if len(merged) == 1 and merged[0][1] - merged[0][0] + join >= n:
        return [(0.0, float(n))]
    return sorted((float((a + begin) % n), float((b + begin) % n)) for a, b in merged)
