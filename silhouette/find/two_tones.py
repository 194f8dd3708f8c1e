"""A figure drawn in one tone on another: a silhouette, or a quick drawing. Nothing has to be cut out of these."""

from __future__ import annotations

from typing import Literal, NamedTuple

import cv2
import numpy as np
from numpy.typing import NDArray

from silhouette.records import Mask, Pixels

COLOUR = 40
"""From its weakest to its strongest colour, of 255: a pixel of more is coloured. Ink on paper is not."""
COLOURED = 0.03
"""Share of coloured pixels from which a picture is a photograph."""
APART = 100.0
"""How far the two tones lie apart at least, of 255."""
MIDDLE, BETWEEN = 0.3, 0.06
"""A pixel that is farther than this share of that from both tones lies between them; share of such pixels from which a
picture is a photograph. Soft edges make about 2 %."""
THIN = 0.06
"""Widest place of a figure, over its height, under which it is drawn in lines: less than an arm's."""
BROKEN = 0.01
"""Half the width of breaks in a line that are closed, over the figure's height."""
CLOSED = 2.5
"""A line is closed where it holds so many times its own area inside."""


class Drawn(NamedTuple):
    """What is drawn."""

    kind: Literal["silhouette", "drawing", "lines"]
    """silhouette: filled; drawing: a closed line, filled here; lines: not closed, so it has no inside."""
    mask: Mask
    """(h, w) the figure."""


def figure_in(pixels: Pixels) -> Drawn | None:
    """The figure in a picture of nearly two tones; None for any other picture.

    Parameters
    ----------
    pixels : (h, w, 3) BGR, 8 bit

    Notes
    -----
    The ground is the tone that most of the picture's border has, so white on black is read as well as black on white.
    """
    coloured = np.ptp(pixels, axis=2) > COLOUR
    if coloured.mean() > COLOURED:
        return None
    grey = cv2.medianBlur(cv2.cvtColor(pixels, cv2.COLOR_BGR2GRAY), 3)
    level, _ = cv2.threshold(grey, 0, 255, cv2.THRESH_BINARY + cv2.THRESH_OTSU)
    dark = grey <= level
    if dark.all() or not dark.any():
        return None
    low, high = float(grey[dark].mean()), float(grey[~dark].mean())
    inner = MIDDLE * (high - low)
    if high - low < APART or ((grey > low + inner) & (grey < high - inner)).mean() > BETWEEN:
        return None
    border = np.concatenate([dark[0], dark[-1], dark[:, 0], dark[:, -1]])
    return _filled(~dark if border.mean() > 0.5 else dark)


def _filled(ink: NDArray[np.bool_]) -> Drawn:
    """What the ink draws: itself, or what it is drawn round."""
    rows = np.flatnonzero(ink.any(axis=1))
    tall = int(np.ptp(rows)) + 1
    padded = np.pad(ink, 1).astype(np.uint8)
    if 2 * cv2.distanceTransform(padded, cv2.DIST_L2, 5).max() >= THIN * tall:
        return Drawn("silhouette", ink)
    reach = max(1, round(BROKEN * tall))
    room = reach + 1
    disc = cv2.getStructuringElement(cv2.MORPH_ELLIPSE, (2 * reach + 1, 2 * reach + 1))
    closed = cv2.morphologyEx(np.pad(ink, room).astype(np.uint8), cv2.MORPH_CLOSE, disc)
    contours, _ = cv2.findContours(closed, cv2.RETR_EXTERNAL, cv2.CHAIN_APPROX_NONE)
    outer = max(contours, key=cv2.contourArea)
    whole = cv2.drawContours(np.zeros_like(closed), [outer], 0, 1, cv2.FILLED)[room:-room, room:-room] > 0
    if whole.sum() >= CLOSED * max(1, int((ink & whole).sum())):
        return Drawn("drawing", whole)
    return Drawn("lines", ink)
