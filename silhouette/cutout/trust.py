"""How far a cut can be trusted, and what the picture itself makes hard: back light.

The confidence is the overlap (intersection over union) with the true figure that such a cut had on rendered pictures;
``tests/measure/cutout.py`` prints the table of promised against true overlap.
"""

from __future__ import annotations

import cv2
import numpy as np

from silhouette.cutout.plate import Floats, tint, widest

AS_LIKE = 8.0
"""Difference to the backdrop, in noise, under which the colours cannot show where the figure ends."""
LOSS = (2.36, 1.90, 0.68)
"""Fitted on 182 rendered cuts: ln(lost overlap) = LOSS[0] + LOSS[1] ln(what the odds expect to lose)
+ LOSS[2] (share of the outline that looks like the backdrop)."""
CLUTTER = (0.10, 0.20, 0.06)
"""Share of the surroundings that no shadow explains, from where to where it tells of a room instead of a plain
backdrop, and how much the confidence falls over that stretch. Furniture before a wall stays under 0.08, photographed
rooms and gardens reach 0.14 to 0.37."""
DARK_AGAINST = 0.42
"""Against a bright backdrop, a figure whose lighter parts are darker than this share of it stands in back light."""
BRIGHT = 150.0
"""Level (0 to 255) from which a backdrop is bright."""


def expected_overlap(odds: Floats) -> float:
    """The overlap that the odds themselves expect: with p the chance of each pixel to be figure and M the mask,
    sum(p in M) / (|M| + sum(p outside M)).

    Parameters
    ----------
    odds : (h, w) float32
        Log odds; above 0 is the mask.
    """
    chance = 1.0 / (1.0 + np.exp(-np.clip(odds, -20, 20)))
    mask = odds > 0
    inside = float(chance[mask].sum())
    return inside / max(float(mask.sum()) + float(chance.sum()) - inside, 1e-6)


def outline_like_backdrop(odds: Floats, picture: Floats, backdrop: Floats, sigma: float) -> float:
    """The share of the outline, 0 to 1, whose pixels differ from the backdrop by less than the noise can show.

    All of one size (h, w), colours in BGR levels, ``sigma`` the noise of the picture, levels.
    """
    mask = (odds > 0).astype(np.uint8)
    rim = (mask - cv2.erode(mask, np.ones((3, 3), np.uint8))) > 0
    if not rim.any():
        return 1.0
    return float((widest(picture[rim] - backdrop[rim]) < AS_LIKE * (sigma + 1.0)).mean())


def clutter(odds: Floats, picture: Floats, backdrop: Floats, sigma: float) -> float:
    """The share of the surroundings, 0 to 1, that is neither backdrop nor shadow: of another colour, or brighter."""
    outside = cv2.dilate((odds > 0).astype(np.uint8), np.ones((7, 7), np.uint8))[::2, ::2] == 0
    if not outside.any():
        return 1.0
    picture, backdrop = picture[::2, ::2], backdrop[::2, ::2]
    ratio, rest = tint(picture[outside], backdrop[outside])
    return float(((rest > 10.0 + 4.0 * sigma) | (ratio > 1.15)).mean())


def confidence(expected: float, alike: float, strange: float) -> float:
    """Expected overlap with the true figure, 0 to 1, from the three signs above."""
    lost = np.exp(LOSS[0] + LOSS[1] * np.log(1.0 - min(expected, 1.0) + 0.002) + LOSS[2] * alike)
    start, end, fall = CLUTTER
    lost += fall * np.clip((strange - start) / (end - start), 0, 1)
    return float(np.clip(1.0 - lost, 0.0, 0.995))


def back_light(odds: Floats, picture: Floats, backdrop: Floats) -> bool:
    """Whether the figure is dark all over before a bright backdrop."""
    mask = odds[::2, ::2] > 0
    if not mask.any():
        return False
    picture, backdrop = picture[::2, ::2], backdrop[::2, ::2]
    figure = float(np.percentile(picture[mask].mean(axis=1), 80))
    behind = float(np.median(backdrop[mask].mean(axis=1)))
    return behind > BRIGHT and figure < DARK_AGAINST * behind
