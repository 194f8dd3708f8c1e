"""How far the camera stood and how high, as far as pictures tell."""

from __future__ import annotations

from collections.abc import Sequence

import numpy as np

from silhouette.geometry import perspective
from silhouette.records_shoot import Finding, StopLook

FEET_M = 0.08
"""The lowest point of a figure is a foot some 14 cm nearer than the axis, and a lens at waist height (0.55 of the
figure) looks down on it: that draws the figure longer and the camera 0.55 x 14 cm nearer than it stood, metres."""
LOW, HIGH = 0.35, 0.75
"""Camera heights between these shares of the figure's height are fit for a whole figure."""


def from_lens(looks: Sequence[StopLook], height_m: float) -> float | None:
    """Metres from camera to axis: D = f x H / (36 mm x share of the long side), and a little for the feet.

    None without a focal length. f is the 35 mm equivalent focal length, H the figure's height in the room, the share
    its height in the picture over
    the picture's long side. Plain geometry of a pinhole; cropping, digital zoom and stabilisation break it.
    """
    tried = [
        perspective.distance_for(height_m * max(look.full_size) / look.height_px, look.focal_35mm)
        for look in looks if look.focal_35mm and look.height_px > 0 and not look.edges
    ]
    return float(np.median(tried)) + FEET_M if tried else None


def distance(looks: Sequence[StopLook], height_m: float | None, nearness: float | None) -> Finding:
    """Did the camera stand too close?

    Parameters
    ----------
    looks : the stops
    height_m : the figure's height in the room as it stands in the pose, metres, if known
    nearness : figure height over camera distance, as the outlines of a whole turn tell it, if they do
    """
    metres = from_lens(looks, height_m) if height_m else None
    by_lens = metres is not None
    source = "by the lens and the figure's height in the picture"
    if metres is None and nearness is not None:
        metres = (height_m or 1.7) / nearness
        source = "by how the outlines of opposite stops differ"
        if height_m is None:
            source += ", taking the figure as 1.7 m high"
    if metres is None:
        lacking = "the height of the model" if any(look.focal_35mm for look in looks) else "a focal length in the files"
        return Finding("distance", "unknown", (), f"The distance cannot be told without {lacking}.", "")
    times = perspective.near_over_far(metres)
    text = (
        f"The camera stood {'about' if by_lens else 'roughly'} {metres:.1f} m away, {source}: "
        f"a hand reaching {perspective.HAND_M:.1f} m forward looks {100 * (times - 1):.0f} % larger than one as far "
        "behind."
    )
    if metres < perspective.TOO_CLOSE and by_lens:
        return Finding("distance", "retake", (), text, "Step back to 4 m and use a longer lens, or crop later.")
    if metres < (perspective.TOLERABLE if by_lens else perspective.TOO_CLOSE):
        return Finding("distance", "look", (), text, "Step back to 4 m if the room allows it.")
    return Finding("distance", "pass", (), text, "")


def camera_height(looks: Sequence[StopLook], height_m: float | None) -> Finding:
    """How high the lens stood, if it was level: the picture's middle then lies at its height."""
    shares = []
    for look in looks:
        rows = np.flatnonzero(look.mask.any(axis=1))
        if len(rows) and not {"top", "bottom"} & set(look.edges):
            shares.append((rows[-1] + 1 - look.mask.shape[0] / 2) / (rows[-1] + 1 - rows[0]))
    if not shares:
        return Finding("camera height", "unknown", (), "No whole figure was found to tell the camera's height by.", "")
    share = float(np.median(shares))
    metres = f", about {share * height_m:.1f} m" if height_m else ""
    text = f"If it was level, the lens stood at {100 * share:.0f} % of the figure's height{metres}."
    if LOW <= share <= HIGH:
        return Finding("camera height", "pass", (), text, "")
    effect = "big feet and a small head" if share < LOW else "a big head and small feet"
    return Finding(
        "camera height", "look", (),
        f"{text} From there a figure gets {effect}; a tilted camera cannot be told from it.",
        "Put the lens at waist height and level, and let the figure fill the middle of the frame.",
    )
