"""Put the outline where it belongs, to a fraction of a pixel.

Along the edge a pixel mixes the figure's colour F and the backdrop's B: I = a F + (1 - a) B. F and B are the means of
what lies safely inside and outside near by (shadows and all), a comes from the projection of I - B on F - B, and the
edge runs where a passes one half.
"""

from __future__ import annotations

from typing import Any

import cv2
import numpy as np
from numpy.typing import NDArray

from silhouette.cutout.plate import Floats

REACH = 5
"""Half width of the band about the coarse edge in which pixels are decided anew, working pixels."""


GAMMA = 1.5
"""Exponent that turns levels into what is mixed at the edge. A camera mixes light (about 2.2), a plain renderer levels
(1); halfway neither is off by more than a tenth of a pixel."""
ENOUGH = 3.0
"""Pixels that a window needs for its mean to be believed."""
FAINT = 14.0
"""Contrast over noise under which the pixel's neighbours are averaged in."""
CLEAR = 25.0
"""Contrast over noise from which an edge says how sharp the picture is."""
FLOOR = 10.0
"""Contrast over noise under which the colours say nothing about the edge."""
PER_CONTRAST = 1.0 / 3.0
"""Log odds that a pixel gains, per unit of contrast over noise, from lying wholly on the figure's side of one half."""
PRIOR_MOST = 4.0
"""Log odds beyond which the network is not believed more: within the band the colours may overrule it."""




def _means(picture: NDArray[np.uint8], chosen: NDArray[Any], rows: NDArray[Any], cols: NDArray[Any],
           sizes: tuple[int, ...]) -> Floats:
    """Mean colours (n, 3) of the chosen pixels (255, else 0) in the smallest window round each place that holds any."""
    h, w = chosen.shape
    sums = cv2.integral(cv2.merge([*cv2.split(cv2.bitwise_and(picture, picture, mask=chosen)), chosen & 1]))
    result = np.zeros((len(rows), 3), np.float32)
    open_ = np.arange(len(rows))
    for size in sizes:
        r, c = rows[open_], cols[open_]
        top, bottom = np.maximum(r - size // 2, 0), np.minimum(r + size // 2 + 1, h)
        left, right = np.maximum(c - size // 2, 0), np.minimum(c + size // 2 + 1, w)
        total = sums[bottom, right] - sums[top, right] - sums[bottom, left] + sums[top, left]
        result[open_] = total[:, :3] / np.maximum(total[:, 3:], 1)
        open_ = open_[total[:, 3] < ENOUGH]
        if not len(open_):
            break
    return result


_CURVE = ((np.arange(256, dtype=np.float32) / 255.0) ** GAMMA).astype(np.float32)


def _light(levels: NDArray[Any]) -> Floats:
    """Levels 0 to 255 to what is mixed, 0 to 1 (a plain power of GAMMA)."""
    return _CURVE[np.clip(levels, 0, 255).astype(np.uint8)]


def _band(solid: NDArray[np.uint8]) -> NDArray[np.uint8]:
    """255 within REACH of the mask's edge."""
    disc = cv2.getStructuringElement(cv2.MORPH_ELLIPSE, (2 * REACH + 1, 2 * REACH + 1))
    return np.asarray(cv2.morphologyEx(solid, cv2.MORPH_GRADIENT, disc), np.uint8)


def _sides(half: NDArray[np.uint8], coarse: NDArray[np.uint8], rows: NDArray[np.intp],
           cols: NDArray[np.intp]) -> tuple[Floats, Floats]:
    """The figure's and the backdrop's colour near each of the given pixels, (n, 3) each."""
    kernel = np.ones((3, 3), np.uint8)
    inside = cv2.erode(coarse, kernel)
    # Fingers have no inside: there the whole of it must do.
    thin = cv2.bitwise_and(coarse, cv2.bitwise_not(cv2.dilate(inside, kernel, iterations=2)))
    inside = cv2.bitwise_or(inside, thin)
    outside = cv2.bitwise_not(cv2.dilate(coarse, kernel, iterations=2))
    wanted = np.zeros(coarse.shape, np.bool_)
    wanted[rows, cols] = True
    r, c = np.nonzero(wanted)
    place = np.zeros(coarse.shape, np.intp)
    place[r, c] = np.arange(len(r))
    place = place[rows, cols]
    return _means(half, inside, r, c, (5, 15, 45))[place], _means(half, outside, r, c, (7, 15, 45))[place]


def refine(pixels: NDArray[np.uint8], half: NDArray[np.uint8], odds: Floats, sigma: float,
           window: tuple[slice, slice] | None = None,
           per_contrast: float = PER_CONTRAST) -> tuple[NDArray[np.bool_], float]:
    """A coarse mask with its edge placed on the full picture.

    Parameters
    ----------
    pixels : (h, w, 3) uint8
        The picture at the size worked at.
    half : (h2, w2, 3) uint8
        The same at half that size, for the colours round about.
    odds : (h3, w3) float32
        How surely each pixel is figure, log odds, at any size; above 0 is the coarse mask. Decides where the colours
        cannot.
    sigma : float
        Noise of ``half``, levels.
    window : (rows, columns) of ``half`` that ``odds`` covers
        Outside there is no figure; None is the whole picture.
    per_contrast : float
        How much the colours are believed, see PER_CONTRAST.

    Returns
    -------
    mask : (h, w) bool
    softness : float
        Width of the edge, pixels: how many mixed pixels there are to each pixel of outline that stands out well.
    """
    result = np.zeros(pixels.shape[:2], np.bool_)
    if not (odds > 0).any():
        return result, 0.0
    h2, w2 = half.shape[:2]
    near = window or (slice(0, h2), slice(0, w2))
    down, along = pixels.shape[0] / h2, pixels.shape[1] / w2
    rows_at = slice(round(near[0].start * down), round(near[0].stop * down))
    cols_at = slice(round(near[1].start * along), round(near[1].stop * along))
    shown, mask = pixels[rows_at, cols_at], result[rows_at, cols_at]
    prior = cv2.resize(odds, shown.shape[1::-1], interpolation=cv2.INTER_LINEAR)
    base = (prior > 0).astype(np.uint8)
    rows, cols = np.nonzero(_band(base))
    around = half[near]
    coarse = np.where(cv2.resize(odds, around.shape[1::-1]) > 0, 255, 0).astype(np.uint8)
    r2 = np.minimum((rows / down).astype(np.intp), around.shape[0] - 1)
    c2 = np.minimum((cols / along).astype(np.intp), around.shape[1] - 1)
    alpha, contrast = _mixture(shown, around, coarse, (rows, cols), (r2, c2), sigma)
    # Where figure and backdrop look alike the colours cannot place the edge, and the coarse mask's own edge stays.
    weight = per_contrast * np.maximum(contrast / sigma - FLOOR, 0)
    total = weight * (np.clip(alpha, -0.5, 1.5) - 0.5) + np.clip(prior[rows, cols], -PRIOR_MOST, PRIOR_MOST)
    mask[:] = base
    mask[rows, cols] = total > 0
    clear = contrast > CLEAR * sigma
    softness = (2 * REACH + 1) * float((clear & (alpha > 0.2) & (alpha < 0.8)).sum()) / max(float(clear.sum()), 1.0)
    return result, softness


def _mixture(shown: NDArray[np.uint8], half: NDArray[np.uint8], coarse: NDArray[np.uint8],
             at: tuple[NDArray[np.intp], NDArray[np.intp]], at_half: tuple[NDArray[np.intp], NDArray[np.intp]],
             sigma: float) -> tuple[Floats, Floats]:
    """Per pixel of the band: the figure's share in it (n,), and how far figure and backdrop differ there, levels."""
    figure, behind = _sides(half, coarse, *at_half)
    contrast = np.sqrt(np.einsum("ij,ij->i", figure - behind, figure - behind))
    here = shown[at]
    faint = np.flatnonzero(contrast < FAINT * sigma)
    here[faint] = cv2.blur(shown, (3, 3))[at[0][faint], at[1][faint]]
    figure, behind, mixed = _light(figure), _light(behind), _CURVE[here]
    across = figure - behind
    length = np.einsum("ij,ij->i", across, across)
    return np.einsum("ij,ij->i", mixed - behind, across) / np.maximum(length, 1e-9), contrast
