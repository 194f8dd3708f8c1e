"""At what size the rings of a pose are drawn beside each other."""

from __future__ import annotations

import math

from silhouette.records import Pose, PoseRing
from silhouette.settings import Ring
from silhouette.show import ink

WAIST = 0.62
"""Height of the waist of somebody who stands, shares of the stature, where the pose's own is not known."""


def most_px(pose: Pose, px: float | None = None) -> dict[Ring, float | None]:
    """What the figures of each ring are measured by, working pixels: heights over it are at one scale.

    ``px`` is that of the headline's ring (by default None, its tallest figure). Where it is known how far the lens of
    every ring was from the figure, one length of the body is as long in all rings; else the tallest figure of each is
    as tall as that of the headline's.

    Examples
    --------
    A camera twice as far off sees everything half as large: its figures are measured by half the pixels.
    """
    if not pose.other_rings:
        return {pose.ring: px}
    own = px or ink.tallest_px(pose.views)
    lenses = [_lens(one) for one in pose.rings]
    large = {one.ring: _px_a_length(one, lens if all(lenses) else 1.0)
             for one, lens in zip(pose.rings, lenses, strict=True)}
    most: dict[Ring, float | None] = {pose.ring: px}
    for one in pose.other_rings:
        here, there = large[one.ring], large[pose.ring]
        if here is not None and there is not None and all(large.values()):
            most[one.ring] = own * here / there
        else:
            most[one.ring] = own * ink.tallest_px(one.views) / ink.tallest_px(pose.views)
    return most


def _lens(one: PoseRing) -> float | None:
    """The focal length that a ring's pictures state, mm."""
    return next((view.focal_35mm for view in one.views if view.focal_35mm), None)


def _px_a_length(one: PoseRing, lens: float | None) -> float | None:
    """Pixels that a length at the figure's waist has in the pictures of a ring, in a unit that all rings share; None
    where it is not known how far off its lens was."""
    camera = one.camera
    longest = max((max(view.outline.picture_size) for view in one.views if view.outline is not None), default=None)
    if camera is None or camera.distance is None or longest is None or lens is None:
        return None
    waist = WAIST if camera.waist is None else camera.waist
    away = math.hypot(camera.distance, (waist if camera.height is None else camera.height) - waist)
    return longest * lens / max(away, 0.1)
