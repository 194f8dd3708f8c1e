"""How steeply a ring's camera looks at the figure, and from where on the reader has not learned such views."""

from __future__ import annotations

import math

from silhouette.records import RingCamera

MIDDLE = 0.5
"""Height on the figure that a camera is taken to look at, S."""
LEARNED_DOWN = 45.0
"""Degrees down on the figure's middle to which the reader holds what it promises: its rank correlation is 0.95 and more
up to there and its answers are off by half as much again. See READER.md. Up from the floor nothing is lost."""


def looks_down(camera: RingCamera) -> float | None:
    """By how many degrees the camera looks down on the figure's middle, negative: up; None where height or distance is
    not known.

    However it is tilted, what it sees of the body hangs on where it stands alone.
    """
    if camera.height is None or camera.distance is None:
        return None
    return math.degrees(math.atan2(camera.height - MIDDLE, max(camera.distance, 1e-6)))


def too_steep(camera: RingCamera) -> bool | None:
    """Whether a camera looks down more steeply than the reader has learned; None where that is not known."""
    steep = looks_down(camera)
    return None if steep is None else steep > LEARNED_DOWN
