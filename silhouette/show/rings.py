"""Points, sectors and the body in the middle, for every drawing that is the floor seen from above.

The page is the floor; the figure stands in the middle and looks down the page. The camera at 0 is at the bottom, angles
run clockwise, the figure's right hand is on the page's left.
"""

from __future__ import annotations

from typing import TYPE_CHECKING, Any

import numpy as np

from silhouette.settings import band_at as band_at
from silhouette.show import ink

if TYPE_CHECKING:
    from matplotlib.path import Path as DrawnPath


def ring_points(centre: np.ndarray, degrees: np.ndarray, radius: np.ndarray | float) -> np.ndarray:
    """Page points (n, 2), y upwards, at these camera angles and radii."""
    turn = np.radians(degrees)
    return np.column_stack([centre[0] - radius * np.sin(turn), centre[1] - radius * np.cos(turn)])


def sector(centre: np.ndarray, start: float, end: float, inner: float, outer: float) -> DrawnPath:
    """The piece of a ring from ``start`` clockwise to ``end``, degrees."""
    from matplotlib.path import Path as DrawnPath

    sweep = np.linspace(start, end, max(2, int(end - start) + 1))
    edge = np.concatenate([ring_points(centre, sweep, outer), ring_points(centre, sweep[::-1], inner)])
    return DrawnPath(np.concatenate([edge, edge[:1]]), closed=True)


def counts(angle: float, arc: tuple[float, float] | None) -> bool:
    """Whether a camera angle lies on the arc that counts, from its first degree clockwise to its last; no arc: all."""
    return arc is None or (angle - arc[0]) % 360 <= ((arc[1] - arc[0]) % 360 or 360)


def draw_body(ax: Any, centre: np.ndarray, hub: float, type_size: float) -> None:
    """The body from above, looking down the page; its right and left hand named where there is room."""
    from matplotlib.patches import Ellipse, Polygon

    named = hub >= 2.6 * type_size
    size = hub if named else 1.5 * hub
    x, y = centre[0], centre[1] + (0.25 * hub if named else 0)
    ax.add_patch(Ellipse((x, y), size, 0.34 * size, facecolor=ink.FAIR, edgecolor="none"))
    ax.add_patch(Polygon([(x - 0.08 * size, y - 0.14 * size), (x + 0.08 * size, y - 0.14 * size),
                          (x, y - 0.30 * size)], closed=True, facecolor=ink.INK))
    ax.add_patch(Ellipse((x, y), 0.28 * size, 0.34 * size, facecolor=ink.INK, edgecolor="none"))
    if named:
        ax.text(x, y - 0.36 * size, "front", size=type_size, ha="center", va="top")
        ax.text(x - 0.56 * size, y, "R", size=type_size, ha="right", va="center")
        ax.text(x + 0.56 * size, y, "L", size=type_size, ha="left", va="center")
