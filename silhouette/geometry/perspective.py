"""What the camera's distance does to a figure, and what the 35 mm frame shows from there. One definition of each.

Letters: D metres from the lens to the turning axis, z metres that a part lies before the axis, f the focal length as a
35 mm equivalent, mm. Plain geometry of a pinhole: apparent size goes with one over distance; the lens only decides how
much of the frame is left over.
"""

from __future__ import annotations

import math
from typing import Literal

FRAME_MM = 36.0
"""Long side of the frame that 35 mm equivalent focal lengths are stated for, mm."""
HAND_M = 0.6
"""How far a hand held well forward comes before the axis, or behind it, metres."""
GOOD, TOLERABLE, TOO_CLOSE = 4.0, 3.0, 2.5
"""Distances, metres. From the first perspective is gentle: a hand 0.6 m forward comes out 18 % larger than the middle.
From the second it is tolerable with the arms in (25 %). Under the third a hand held forward is plainly too big (32 %)
and the outline misleads. Common practice stands 3 to 4.6 m away, no source."""

KNOWN_HEIGHTS, KNOWN_DISTANCES = (0.2, 2.6), (2.6, 6.0)
"""Cameras that the reader was trained with, m: height of the lens over the ground of the figure, and distance."""

Band = Literal["good", "tolerable", "close", "too close"]


def enlargement(distance: float, reach: float = HAND_M) -> float:
    """How much larger a part ``reach`` before the axis comes out than the same part at the axis.

    ``D / (D - z)``. Infinite where the part would touch the lens.

    >>> round(enlargement(3.0), 3)
    1.25
    """
    return math.inf if reach >= distance else distance / (distance - reach)


def near_over_far(distance: float, reach: float = HAND_M) -> float:
    """How much larger a part ``reach`` before the axis comes out than the same part as far behind it.

    ``(D + z) / (D - z)``, which is :func:`enlargement` before the axis over that behind it.

    >>> round(near_over_far(4.0, 0.35), 2)
    1.19
    """
    return math.inf if reach >= distance else (distance + reach) / (distance - reach)


def frame_length(distance: float, lens: float) -> float:
    """Metres along the frame's long side at ``distance`` (m), for a 35 mm equivalent ``lens`` (mm): ``36 D / f``."""
    return FRAME_MM * distance / lens


def distance_for(length: float, lens: float) -> float:
    """Distance (m) at which ``length`` metres take up the frame's long side: ``f x length / 36``.

    :func:`frame_length` the other way round. Cropping, digital zoom and stabilisation break it.
    """
    return length * lens / FRAME_MM


def band(distance: float) -> Band:
    """What perspective does at a distance: see :data:`GOOD`, :data:`TOLERABLE` and :data:`TOO_CLOSE`."""
    if distance >= GOOD:
        return "good"
    return "tolerable" if distance >= TOLERABLE else "close" if distance >= TOO_CLOSE else "too close"
