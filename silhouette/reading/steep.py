"""How steeply a ring's camera looks at the figure, and from where on the reader has not learned such views."""

from __future__ import annotations

import math

from silhouette.records import RingCamera

MIDDLE = 0.5
"""Height on the figure that a camera is taken to look at, S."""
LEARNED_DOWN, LEARNED_UP = 35.0, 20.0
"""Degrees down and up on the figure's middle to which the reader holds what it promises: see READER.md."""


def looks_down(camera: RingCamera) -> float | None:
    """By how many degrees the camera looks down on the figure's middle, negative: up; None where height or distance is
    not known.

    However it is tilted, what it sees of the body hangs on where it stands alone.
    """
    if camera.height is None or camera.distance is None:
        return None
    return math.degrees(math.atan2(camera.height - MIDDLE, max(camera.distance, 1e-6)))


def beyond(camera: RingCamera) -> float | None:
    """:func:`looks_down` where it is steeper than the reader has learned; else None."""
    steep = looks_down(camera)
    return steep if steep is not None and not -LEARNED_UP <= steep <= LEARNED_DOWN else None
