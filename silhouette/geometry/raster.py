"""Outlines drawn as pictures. One definition, so that whatever looks at a drawn outline sees the same edge."""

from __future__ import annotations

from collections.abc import Sequence

import cv2
import numpy as np
import shapely
from numpy.typing import NDArray
from shapely.geometry import Polygon

Points = NDArray[np.float64]

FINE = 4
"""Outlines are drawn so many times as large and averaged down: OpenCV's own smooth edges fatten a shape by half a pixel
all round."""
PLACES = 4
"""Binary places of a pixel of that larger picture that a corner is rounded to."""


def rings_of(polygon: Polygon) -> list[Points]:
    """The outer ring, then the holes: (n, 2) each, the last point not the first again."""
    return [shapely.get_coordinates(ring)[:-1] for ring in (polygon.exterior, *polygon.interiors)]


def coverage(rings: Sequence[Points], size: tuple[int, int]) -> NDArray[np.uint8]:
    """How much of each pixel a figure covers, (h, w), 0 to 255.

    Parameters
    ----------
    rings : sequence of (n, 2)
        Outer ring and holes, pixels from the picture's top left corner: pixel i covers i to i + 1.
    size : (int, int)
        Width and height of the picture, pixels; what reaches farther is cut off there.
    """
    width, height = size
    canvas = np.zeros((height * FINE, width * FINE), np.uint8)
    # A pixel's middle, which OpenCV counts from, lies half a pixel from its corner.
    places = [np.round((xy * FINE - 0.5) * 2**PLACES).astype(np.int32) for xy in rings]
    cv2.fillPoly(canvas, places, 255, lineType=cv2.LINE_8, shift=PLACES)
    return np.asarray(cv2.resize(canvas, (width, height), interpolation=cv2.INTER_AREA), np.uint8)
