"""An outline as a network of ours sees it: its box, longer side ``FIGURE`` pixels, in the middle of a square of
``CANVAS``, drawn ``SIDE`` pixels wide and folded. Trained and asked alike."""

from __future__ import annotations

from dataclasses import dataclass

import numpy as np
from numpy.typing import NDArray
from shapely.geometry import Polygon

from silhouette.geometry.raster import coverage, rings_of

CANVAS = 640
"""Side of the square that an outline is drawn on, pixels."""
FIGURE = 590
"""Longer side of the outline's box on it, pixels."""
SIDE = 160
"""Side of the grey picture that the network sees: the canvas, area-averaged."""
FOLD = 4
"""It enters folded: FOLD x FOLD pixels become channels, so that thin gaps survive cheaply."""


@dataclass(frozen=True)
class Framed:
    """An outline as the network sees it."""

    picture: NDArray[np.float32]
    """(2, FOLD^2, SIDE / FOLD, SIDE / FOLD) share of each pixel covered, folded: the shape, then its mirror image."""
    scale: float
    """Canvas pixels per figure height."""
    middle: tuple[float, float]
    """Middle of the outline's box, figure heights."""


def frame(polygon: Polygon) -> Framed:
    """Draw the outline and its mirror image as the network sees them."""
    x0, y0, x1, y1 = polygon.bounds
    middle = ((x0 + x1) / 2, (y0 + y1) / 2)
    scale = FIGURE / max(x1 - x0, y1 - y0)
    per_pixel = scale * SIDE / CANVAS
    rings = [(xy - middle) * per_pixel + SIDE / 2 for xy in rings_of(polygon)]
    grey = coverage(rings, (SIDE, SIDE)).astype(np.float32) / 255
    cells = SIDE // FOLD
    both = np.stack([grey, grey[:, ::-1]])
    folded = both.reshape(2, cells, FOLD, cells, FOLD).transpose(0, 2, 4, 1, 3).reshape(2, FOLD * FOLD, cells, cells)
    return Framed(np.ascontiguousarray(folded), scale, middle)
