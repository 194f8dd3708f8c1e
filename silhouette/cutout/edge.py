"""Put the outline where it belongs, to a fraction of a pixel.

Along the edge a pixel mixes the figure's colour F and the backdrop's B: I = a F + (1 - a) B. F and B are the means of what
lies safely inside and outside near by (shadows and all), a comes from the projection of I - B on F - B, and the edge runs
where a passes one half.
"""

from __future__ import annotations

import cv2
import numpy as np
from numpy.typing import NDArray

from silhouette.cutout.plate import Floats

REACH = 5
"""Half width of the band about the coarse edge in which pixels are decided anew, working pixels."""


GAMMA = 1.5
"""Exponent that turns levels into what is mixed at the edge. A camera mixes light (about 2.2), a plain renderer levels
(1); halfway neither is off by more than a tenth of a pixel."""
FAINT = 14.0
"""Contrast over noise under which the pixel's neighbours are averaged in."""
FLOOR = 2.5
"""Contrast over noise under which the colours say nothing about the edge."""
PER_CONTRAST = 1.0 / 3.0
"""Log odds that a pixel gains, per unit of contrast over noise, from lying wholly on the figure's side of one half."""
PRIOR_MOST = 4.0
"""Log odds beyond which the network is not believed more: within the band the colours may overrule it."""




def local_mean(picture: Floats, weight: Floats, sizes: tuple[int, ...] = (5, 15, 45)) -> Floats:
    """Mean of the weighted pixels near each pixel, from the smallest window that holds any. (h, w, 3)."""
    result = None
    weighted = picture * weight[..., None]
    for size in sizes:
        mass = cv2.boxFilter(weight, -1, (size, size))
        total = cv2.boxFilter(weighted, -1, (size, size))
        mean = total / np.maximum(mass, 1e-6)[..., None]
        if result is None:
            result, trust = mean, np.minimum(1.0, mass * size * size / 3.0)
        else:
            result = trust[..., None] * result + (1 - trust[..., None]) * mean
            trust = np.maximum(trust, np.minimum(1.0, mass * size * size / 3.0))
    return result


def _light(levels: Floats) -> Floats:
    """Levels 0 to 255 to linear light 0 to 1 (a plain power of GAMMA)."""
    result: Floats = np.power(np.maximum(levels, 0.0) / np.float32(255.0), np.float32(GAMMA))
    return result


def refine(pixels: NDArray[np.uint8], half: Floats, coarse: NDArray[np.bool_], soft: Floats,
           sigma: float) -> NDArray[np.bool_]:
    """The coarse mask with its edge placed on the full picture.

    Parameters
    ----------
    pixels : (h, w, 3) uint8
        The picture at the size worked at.
    half : (h2, w2, 3) float32
        The picture at the size the coarse mask was made at.
    coarse : (h2, w2) bool
    soft : (h2, w2) float32
        How surely each pixel is figure, log odds: decides where the colours cannot.
    sigma : float
        Noise of ``half``, levels.

    Returns
    -------
    (h, w) bool
    """
    h, w = pixels.shape[:2]
    solid = coarse.astype(np.uint8)
    kernel = np.ones((3, 3), np.uint8)
    inside = cv2.erode(solid, kernel).astype(np.float32)
    outside = (1 - cv2.dilate(solid, kernel, iterations=2)).astype(np.float32)
    front = local_mean(half, inside + 0.02 * solid)
    back = local_mean(half, outside, (7, 15, 45))
    prior = cv2.resize(np.where(coarse, np.maximum(soft, 0), np.minimum(soft, 0)), (w, h))
    base = (cv2.resize(solid.astype(np.float32), (w, h)) > 0.5).astype(np.uint8)
    disc = cv2.getStructuringElement(cv2.MORPH_ELLIPSE, (2 * REACH + 1, 2 * REACH + 1))
    band = cv2.dilate(base, disc) != cv2.erode(base, disc)
    rows, cols = np.nonzero(band)
    if not len(rows):
        return base > 0
    h2, w2 = coarse.shape
    r2 = np.minimum((rows * h2) // h, h2 - 1)
    c2 = np.minimum((cols * w2) // w, w2 - 1)
    f, b = front[r2, c2], back[r2, c2]
    contrast = np.sqrt(np.einsum("ij,ij->i", f - b, f - b))
    faint = (contrast < FAINT * sigma)[:, None]
    here = np.where(faint, cv2.blur(pixels, (3, 3))[rows, cols], pixels[rows, cols]).astype(np.float32)
    # Lens and sensor mix light, not levels: undo the display curve first.
    f, b, here = _light(f), _light(b), _light(here)
    across = f - b
    length = np.einsum("ij,ij->i", across, across)
    alpha = np.einsum("ij,ij->i", here - b, across) / np.maximum(length, 1e-9)
    # Where figure and backdrop look alike the colours cannot place the edge, and the network's guess stays.
    weight = PER_CONTRAST * np.maximum(contrast / sigma - FLOOR, 0)
    odds = weight * (np.clip(alpha, -0.5, 1.5) - 0.5) + np.clip(prior[rows, cols], -PRIOR_MOST, PRIOR_MOST)
    result = base.copy()
    result[rows, cols] = odds > 0
    return result > 0
