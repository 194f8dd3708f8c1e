"""How sharp the edge of a figure is in its picture, point by point along the outline."""

from __future__ import annotations

from typing import NamedTuple

import cv2
import numpy as np
from numpy.typing import NDArray

from silhouette.geometry.ring import begun_at

Floats = NDArray[np.float64]

SAMPLES = 400
"""Points of the outline at which its sharpness is read."""
LEAST_LENGTH = 40
"""Pixels of outline from which it is read at all."""
LEAST_CONTRAST = 18.0
"""Grey levels between figure and backdrop from which an edge can be measured."""
GRAIN = 1.0
"""Neighbouring points over which profiles are averaged, standard deviation: grain is not an edge."""
ALONG, ACROSS = cv2.getGaussianKernel(9, GRAIN), np.ones(1)
"""The same as weights, along the outline to four standard deviations; across it nothing is averaged."""


class Edge(NamedTuple):
    """The edge at m points of the outline that stand out."""

    width: Floats
    """(m,) contrast over steepest step, pixels: 1 to 2 when sharp, of motion blur its length."""
    across: Floats
    """(m,) direction across the edge, 0 to pi: 0 where the edge is upright, pi / 2 where it lies level."""


def edge_of(luma: NDArray[np.uint8], mask: NDArray[np.bool_], reach: int) -> Edge:
    """The figure's outer edge, looked at ``reach`` pixels to either side.

    Parameters
    ----------
    luma : (h, w) grey picture
    mask : (h, w) True on the figure
    """
    none = Edge(np.zeros(0), np.zeros(0))
    found, _ = cv2.findContours(mask.astype(np.uint8), cv2.RETR_EXTERNAL, cv2.CHAIN_APPROX_NONE)
    ring = max(found, key=len)[:, 0].astype(np.float64) if found else np.zeros((0, 2))
    if len(ring) < LEAST_LENGTH:
        return none
    every = slice(None, None, max(1, len(ring) // SAMPLES))
    along = begun_at(ring, 4)[every] - begun_at(ring, -4)[every]
    normal = np.stack([along[:, 1], -along[:, 0]], axis=1) / np.maximum(np.hypot(*along.T)[:, None], 1e-9)
    steps = np.arange(-reach, reach + 0.25, 0.5)
    points = ring[every, None] + normal[:, None] * steps[None, :, None]
    profile = np.asarray(cv2.remap(
        luma, points[..., 0].astype(np.float32), points[..., 1].astype(np.float32), cv2.INTER_LINEAR,
        borderMode=cv2.BORDER_REPLICATE,
    ), dtype=np.float64)
    profile = np.asarray(cv2.sepFilter2D(profile, cv2.CV_64F, ACROSS, ALONG, borderType=cv2.BORDER_REFLECT))
    contrast = profile.max(axis=1) - profile.min(axis=1)
    steepest = np.abs(np.diff(profile, axis=1)).max(axis=1) * 2
    clear = contrast > LEAST_CONTRAST
    across = np.arctan2(normal[:, 1], normal[:, 0]) % np.pi
    return Edge(contrast[clear] / np.maximum(steepest[clear], 1e-6), across[clear])
