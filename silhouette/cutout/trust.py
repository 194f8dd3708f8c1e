"""How far a cut can be trusted, and what the picture itself makes hard: back light.

The confidence is the overlap (intersection over union) with the true figure that such a cut had on rendered pictures;
``tests/measure/cutout.py`` prints the table of promised against true overlap.
"""

from __future__ import annotations

import cv2
import numpy as np
from numpy.typing import NDArray

from silhouette.cutout.plate import Floats, summed, tint, widest

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
"""Against a bright backdrop, a figure whose lightest twentieth is darker than this share of it stands in back light.
Pictures made so reach 0.38; what is lit from the front starts at 0.5, and at 0.15 in dark clothes."""
BRIGHT = 150.0
"""Level (0 to 255) from which a backdrop is bright."""
ROUND_ABOUT = 0.12
"""Width of what is close round the figure, in figure heights."""
LEAST_INSIDE = 50
"""Pixels that the figure needs beside its edge to be read without it."""
TONES, TEXTURE, EVEN = 8.0, 5.5, 0.7
"""A figure filled in: its broad tones differ by less than this (5th to 95th percentile, levels), its fine ones by less
than that, and the darkest tenth of the paper has at least this share of the lightest. Drawings filled in reach 6.9 and
4.8, on paper from 0.78; figures in back light have 5.2 and 2.9 at least, but none has both before an even wall."""
BROAD, FINE = 0.022, 0.0045
"""Widths over which broad and fine tones are averaged, figure heights, standard deviation."""
TALL, RIM = 200, 0.012
"""Pixels of figure height that are enough to look at, and the width of its edge that is left out, figure heights."""


def chance(odds: Floats) -> Floats:
    """Log odds to a chance, 0 to 1."""
    return np.asarray(1.0 / (1.0 + cv2.exp(-np.clip(odds, -20, 20).astype(np.float32))), np.float32)


def expected_overlap(odds: Floats) -> float:
    """The overlap that the odds themselves expect: with p the chance of each pixel to be figure and M the mask,
    sum(p in M) / (|M| + sum(p outside M)).

    Parameters
    ----------
    odds : (h, w) float32
        Log odds; above 0 is the mask.
    """
    figure, mask = chance(odds), odds > 0
    inside = float(figure[mask].sum())
    return inside / max(float(mask.sum()) + float(figure.sum()) - inside, 1e-6)


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


def back_light(odds: Floats, picture: Floats) -> bool:
    """Whether the figure is dark all over before a bright backdrop, and no drawing that was filled in.

    The backdrop is what is seen close round the figure: of a window it is the panes, not the room. Skin that the light
    reaches, a face and two hands, is a twentieth of a figure.

    Parameters
    ----------
    odds : (h, w) float32
        Log odds; above 0 is the mask.
    picture : (h, w, 3) float32
        BGR levels, 0 to 255.
    """
    step = max(1, int((odds > 0).any(axis=1).sum()) // TALL)
    mask = odds[::step, ::step] > 0
    level = summed(picture[::step, ::step]) / 3
    height = int(mask.any(axis=1).sum())
    rim = max(3, round(RIM * height)) | 1  # mixed with the backdrop
    inside = cv2.erode(mask.astype(np.uint8), np.ones((rim, rim), np.uint8)) > 0
    inside = inside if inside.sum() >= LEAST_INSIDE else mask
    near = cv2.dilate(mask.astype(np.uint8), np.ones((rim, rim), np.uint8))
    reach = max(3, round(ROUND_ABOUT * height)) | 1
    around = (cv2.dilate(near, np.ones((reach, reach), np.uint8)) > 0) & (near == 0)
    if not mask.any() or not around.any():
        return False
    behind = float(np.percentile(level[around], 75))
    dark = behind > BRIGHT and float(np.percentile(level[inside], 95)) < DARK_AGAINST * behind
    return dark and not _filled_in(level, inside, near > 0, height)


def _filled_in(level: Floats, inside: NDArray[np.bool_], near: NDArray[np.bool_], height: int) -> bool:
    """Whether the figure is one even tone on even paper: a drawing, a print or a cut paper.

    Who stands against the light keeps some tone, broad (folds, a side that is turned to the room) and fine (cloth, a
    face), and what is behind them is seldom even.
    """
    room = level[~near]
    even = bool(room.size) and float(np.percentile(room, 10)) > EVEN * float(np.percentile(room, 90))
    broad, fine = (_spread(level, inside, width * height) for width in (BROAD, FINE))
    return even and float(np.ptp(np.percentile(broad, [5, 95]))) < TONES and (
        float(np.ptp(np.percentile(fine - broad, [5, 95]))) < TEXTURE)


def _spread(level: Floats, inside: NDArray[np.bool_], width: float) -> Floats:
    """(m,) the figure's pixels, each averaged with those of the figure round it."""
    weight = inside.astype(np.float32)
    total = cv2.GaussianBlur(np.where(inside, level, 0).astype(np.float32), (0, 0), width)
    return np.asarray(total / np.maximum(cv2.GaussianBlur(weight, (0, 0), width), 1e-3), dtype=np.float32)[inside]
