"""Put the outline where it belongs, to a fraction of a pixel.

Along the edge a pixel mixes the figure's colour F and the backdrop's B: I = a F + (1 - a) B. F and B are the means of
what lies safely inside and outside near by (shadows and all), a comes from the projection of I - B on F - B, and the
edge runs where a passes one half.
"""

from __future__ import annotations

from collections.abc import Sequence
from typing import Any

import cv2
import numpy as np
from numpy.typing import NDArray

from silhouette.cutout.plate import Floats
from silhouette.geometry.edge_width import edge_of

REACH = 5
"""Half width of the band about the coarse edge in which pixels are decided anew, working pixels."""


GAMMA = 1.5
"""Exponent that turns levels into what is mixed at the edge. A camera mixes light (about 2.2), a plain renderer levels
(1); halfway neither is off by more than a tenth of a pixel."""
FARTHEST = 45
"""Side of the widest window in which the colours of figure and backdrop are taken, pixels of the half picture."""
ENOUGH = 3.0
"""Pixels that a window needs for its mean to be believed."""
FAINT = 14.0
"""Contrast over noise under which the pixel's neighbours are averaged in."""
SOFT_REACH = 10
"""Pixels to either side of the edge in which its width is read: wider edges are soft in any picture."""
WAYS, LEAST_POINTS = 8, 15
"""Directions, each with its neighbours, in which the edge's width is told, and the points of the outline it takes."""
FLOOR = 10.0
"""Contrast over noise under which the colours say nothing about the edge."""
PER_CONTRAST = 1.0 / 3.0
"""Log odds that a pixel gains, per unit of contrast over noise, from lying wholly on the figure's side of one half."""
PRIOR_MOST = 4.0
"""Log odds beyond which the network is not believed more: within the band the colours may overrule it."""




def _means(picture: NDArray[Any], chosen: NDArray[Any], places: NDArray[np.intp],
           sizes: tuple[int, ...]) -> Floats:
    """Mean colours (n, 3) of the chosen pixels (255, else 0) in the smallest window round each place that holds any.

    ``picture`` (h, w, 4) has 255 as its fourth channel, so that the sums over a window count its pixels too; ``places``
    are indices into its h x w pixels.
    """
    alone = cv2.bitwise_and(picture, picture, mask=chosen)
    result = np.zeros((len(places), 3), np.float32)
    open_ = np.arange(len(places))
    for size in sizes:
        sums = cv2.boxFilter(alone, cv2.CV_32S, (size, size), normalize=False, borderType=cv2.BORDER_CONSTANT)
        total = np.take(sums.reshape(-1, 4), places[open_], axis=0)
        count = total[:, 3] // 255
        result[open_] = total[:, :3].astype(np.float32) / np.maximum(count, 1).astype(np.float32)[:, None]
        open_ = open_[count < ENOUGH]
        if not len(open_):
            break
    return result


_CURVE = ((np.arange(256, dtype=np.float32) / 255.0) ** GAMMA).astype(np.float32)


def _light(levels: NDArray[Any]) -> Floats:
    """Levels, 0 to 255, to what is mixed, 0 to 1 (a plain power of GAMMA)."""
    return np.take(_CURVE, levels.astype(np.uint8))


def _solid(odds: NDArray[Any]) -> NDArray[np.uint8]:
    """255 where the odds are above 0."""
    return (odds > 0).view(np.uint8) * np.uint8(255)


def _band(solid: NDArray[np.uint8]) -> NDArray[np.uint8]:
    """255 within REACH of the mask's edge."""
    disc = cv2.getStructuringElement(cv2.MORPH_ELLIPSE, (2 * REACH + 1, 2 * REACH + 1))
    return np.asarray(cv2.morphologyEx(solid, cv2.MORPH_GRADIENT, disc), np.uint8)


def _sides(half: NDArray[np.uint8], coarse: NDArray[np.uint8], places: NDArray[np.intp]) -> tuple[Floats, Floats]:
    """The figure's and the backdrop's colour near each of the given pixels (indices into h x w), (n, 3) each."""
    kernel = np.ones((3, 3), np.uint8)
    inside = cv2.erode(coarse, kernel)
    # Fingers have no inside: there the whole of it must do.
    thin = cv2.bitwise_and(coarse, cv2.bitwise_not(cv2.dilate(inside, kernel, iterations=2)))
    inside = cv2.bitwise_or(inside, thin)
    outside = cv2.bitwise_not(cv2.dilate(coarse, kernel, iterations=2))
    counted = cv2.cvtColor(half, cv2.COLOR_BGR2BGRA)
    return _means(counted, inside, places, (5, 15, FARTHEST)), _means(counted, outside, places, (7, 15, FARTHEST))


def refine(pixels: NDArray[np.uint8], half: NDArray[np.uint8], odds: Floats, sigma: float,
           window: tuple[slice, slice] | None = None,
           per_contrast: float = PER_CONTRAST, behind: Floats | None = None) -> tuple[NDArray[np.bool_], float]:
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
    behind : (h2, w2, 3) float32
        What stands behind the figure, where that is known; else it is what lies outside near by.

    Returns
    -------
    mask : (h, w) bool
    softness : float
        Width of the edge where it is softest, pixels, see :func:`softest`.
    """
    result = np.zeros(pixels.shape[:2], np.bool_)
    if not (odds > 0).any():
        return result, 0.0
    near = window or (slice(0, half.shape[0]), slice(0, half.shape[1]))
    down, along = pixels.shape[0] / half.shape[0], pixels.shape[1] / half.shape[1]
    rows_at = slice(round(near[0].start * down), round(near[0].stop * down))
    cols_at = slice(round(near[1].start * along), round(near[1].stop * along))
    shown, mask, around = pixels[rows_at, cols_at], result[rows_at, cols_at], half[near]
    if behind is not None:
        behind = behind[near]
    prior = cv2.resize(odds, shown.shape[1::-1], interpolation=cv2.INTER_LINEAR)
    coarse = _solid(cv2.resize(odds, around.shape[1::-1]))
    # Only what lies near the figure is looked at.
    own = _with_margin(cv2.boundingRect(coarse), FARTHEST // 2 + REACH, coarse.shape)
    large = _scaled(own, (down, along), prior.shape)
    shown, mask, coarse, around = np.ascontiguousarray(shown[large]), mask[large], coarse[own], around[own]
    prior = np.ascontiguousarray(prior[large])
    if behind is not None:
        behind = cv2.resize(behind[own], shown.shape[1::-1], interpolation=cv2.INTER_LINEAR)
    base = _solid(prior)
    band = np.flatnonzero(_band(base) > 0)
    rows, cols = np.divmod(band, base.shape[1])
    r2 = np.minimum((rows / down).astype(np.intp), around.shape[0] - 1)
    c2 = np.minimum((cols / along).astype(np.intp), around.shape[1] - 1)
    alpha, contrast = _mixture(shown, around, coarse, band, r2 * around.shape[1] + c2, sigma,
                               None if behind is None else np.take(behind.reshape(-1, 3), band, axis=0))
    # Where figure and backdrop look alike the colours cannot place the edge, and the coarse mask's own edge stays.
    weight = per_contrast * np.maximum(contrast / sigma - FLOOR, 0)
    known = np.clip(np.take(prior, band), -PRIOR_MOST, PRIOR_MOST)
    total = weight * (np.clip(alpha, -0.5, 1.5) - 0.5) + known
    base.ravel()[band] = total > 0
    mask[:] = base > 0
    return result, softest(shown, mask)


def softest(pixels: NDArray[np.uint8], mask: NDArray[np.bool_]) -> float:
    """Width of the figure's edge, pixels, in the direction in which it is widest; 0 where no direction can be told.

    What moves while the shutter is open blurs the edges across its way and leaves those along it sharp, so that a mean
    over the outline hides it.
    """
    seen = edge_of(cv2.cvtColor(pixels, cv2.COLOR_BGR2GRAY), mask, SOFT_REACH)  # type: ignore[arg-type]
    width = 0.0
    for way in np.arange(WAYS) * np.pi / WAYS:
        off = np.abs((seen.across - way + np.pi / 2) % np.pi - np.pi / 2)
        there = seen.width[off < np.pi / WAYS]
        if len(there) >= LEAST_POINTS:
            width = max(width, float(np.median(there)))
    return width


def _with_margin(box: Sequence[int], margin: int, shape: Sequence[int]) -> tuple[slice, slice]:
    """Rows and columns of a box (x, y, width, height) with a margin, within a picture of ``shape`` (h, w)."""
    x, y, w, h = box
    return (slice(max(0, y - margin), min(shape[0], y + h + margin)),
            slice(max(0, x - margin), min(shape[1], x + w + margin)))


def _scaled(window: tuple[slice, slice], by: tuple[float, float], shape: Sequence[int]) -> tuple[slice, slice]:
    """The same window of a picture of ``shape`` (h, w) that is larger by the two factors."""
    rows, cols = (slice(round(s.start * f), min(n, int(np.ceil(s.stop * f))))
                  for s, f, n in zip(window, by, shape, strict=True))
    return rows, cols


def _mixture(shown: NDArray[np.uint8], half: NDArray[np.uint8], coarse: NDArray[np.uint8],
             at: NDArray[np.intp], at_half: NDArray[np.intp], sigma: float,
             room: Floats | None = None) -> tuple[Floats, Floats]:
    """Per pixel of the band: the figure's share in it (n,), and how far figure and backdrop differ there, levels.

    ``at`` and ``at_half`` are the band's pixels as indices into ``shown`` and ``half``; ``room`` (n, 3) is what stands
    behind them, where that is known.
    """
    # About four pixels share each pixel of the half picture.
    wanted = np.zeros(coarse.size, np.bool_)
    wanted[at_half] = True
    places = np.flatnonzero(wanted)
    which = np.empty(coarse.size, np.intp)
    which[places] = np.arange(len(places))
    which = which[at_half]
    figure, behind = _sides(half, coarse, places)
    if room is not None:
        # Each pixel has a backdrop of its own, so each is a place of its own.
        figure, behind, which = figure[which], room, np.arange(len(at))
    contrast = np.sqrt(np.einsum("ij,ij->i", figure - behind, figure - behind))[which]
    here = np.take(shown.reshape(-1, 3), at, axis=0)
    faint = np.flatnonzero(contrast < FAINT * sigma)
    if len(faint):
        here[faint] = np.take(cv2.blur(shown, (3, 3)).reshape(-1, 3), at[faint], axis=0)
    figure, behind = _light(figure), _light(behind)
    across = figure - behind
    length = np.maximum(np.einsum("ij,ij->i", across, across), 1e-9)
    across /= length[:, None]
    beyond = np.take(_CURVE, here) - np.take(behind, which, axis=0)
    return np.einsum("ij,ij->i", beyond, np.take(across, which, axis=0)), contrast
