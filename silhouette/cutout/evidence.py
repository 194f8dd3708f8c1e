"""What each pixel says: backdrop, shadow on the backdrop, or figure.

A shadow takes away one lamp: the wall keeps its colour and gets darker by a share that changes slowly, save at the
shadow's edge. A figure has its own colour, or is brighter, or darker than any shadow there.
"""

from __future__ import annotations

from dataclasses import dataclass

import cv2
import numpy as np
from numpy.typing import NDArray

from silhouette.cutout.plate import Floats, noise


@dataclass(frozen=True)
class Evidence:
    """Per pixel, float32 (h, w)."""

    ratio: Floats
    """Lightness over the backdrop's, 1 = the same."""
    tint: Floats
    """Distance from the backdrop's own colour at that lightness, in standard deviations of the noise."""
    light: Floats
    """Difference of lightness to the backdrop in standard deviations; negative = darker."""


def weigh(picture: Floats, backdrop: Floats) -> Evidence:
    """Split each pixel's difference to the backdrop into lightness and tint.

    With backdrop B and pixel I the nearest point on the line of darker and lighter backdrops is r B, r = I.B / B.B;
    r is the ratio, the rest I - r B the tint (after Horprasert, Harwood & Davis 1999, brightness and chromaticity
    distortion).
    """
    sigma = noise(picture)
    dot = cv2.transform(picture * backdrop, np.ones((1, 3), np.float32))
    norm = cv2.transform(backdrop * backdrop, np.ones((1, 3), np.float32))
    ratio = (dot + 30.0) / (norm + 30.0)
    rest = picture - ratio[..., None] * backdrop
    tint = np.sqrt(cv2.transform(rest * rest, np.ones((1, 3), np.float32)))
    light = (ratio - 1.0) * np.sqrt(norm / 3.0)
    return Evidence(ratio, tint / np.float32(sigma + 0.5), light / np.float32(sigma + 0.8))


def hysteresis(sure: NDArray[np.bool_], maybe: NDArray[np.bool_]) -> NDArray[np.bool_]:
    """The parts of ``maybe`` that hold something ``sure``."""
    _, labels = cv2.connectedComponents((maybe | sure).astype(np.uint8), connectivity=8)
    keep = np.zeros(labels.max() + 1, np.bool_)
    keep[labels[sure]] = True
    keep[0] = False
    return keep[labels]
