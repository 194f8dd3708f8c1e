"""The empty backdrop behind the figure, from one picture or from all pictures of a pose.

Everything here works on small pictures: a plain backdrop is smooth, so a thumbnail of it says all there is to say.
Sizes: ``h, w`` are the rows and columns of the picture handed in; colours are BGR, 0 to 255, float32.
"""

from __future__ import annotations

from functools import lru_cache
from typing import Any

import cv2
import numpy as np
from numpy.typing import NDArray

Floats = NDArray[Any]
"""float32 throughout; OpenCV's own type hints do not say so."""

THUMB = 144
"""Longer side of the thumbnails that the backdrop is learned on, pixels: a hand is still 2 pixels wide."""
LIT_QUANTILE = 0.65
"""Of the views that see a spot of the backdrop, the share that is darker than its lit state. Shadows pass over it in
the rest, so the middle would sit between lit and shadowed where a shadow covers it half of the time."""
NORMAL, LEAST_NOISE = 0.6745, 0.15
"""Median of the absolute value of a normal variable, standard deviations; and noise that even a drawn picture is given,
levels, since its levels are whole numbers (uniform over one level: 0.29)."""
SURE_MASS = 4.0
"""How fast a level of the pyramid is believed: a cell a quarter of which is trusted counts in full."""
RIDGE = 1e-3
"""Share of the whole weight that holds the surface's terms to 0 where few pixels tell them."""
TUKEY, ROBUST_SIGMA, LEAST_MISS = 4.7, 1.5, 1.5
"""Tukey's biweight keeps 95 % of the efficiency of least squares at 4.685 standard deviations; the deviation is taken
as the median miss times 1.4826 (for a normal one), and as no less than so many levels."""
NO_SPREAD = 10.0
"""Spread, levels, where nothing is trusted that could tell one."""
SURFACE_CELLS = 40
"""Cells along the shorter side that the surface is fitted to; a cubic has ten terms."""
SOFT = 0.8
"""Blur, standard deviation in pixels, before neighbours are compared: noise makes no step."""
STEP, STEP_NOISE = 1.6, 2.5
"""Levels between neighbours, and noise on top, from which there is a step: an edge of something, no fall-off of
light."""
FAR, FAR_NOISE = 14.0, 5.0
"""Levels off the guessed backdrop, and noise on top, that no wall is: a soft shadow is let in, a figure is not."""
RIM = 0.05
"""Share of the shorter side that a piece of backdrop must hold of the picture's rim, so that a foot that touches it is
none."""
FLOOR_EDGE = (1, 9)
"""Width and height of the mean that takes level lines out of the guess, pixels of the thumbnail."""
MARGIN = 12
"""The left and right margin that a band must show in are each this part of the width."""
BAND_NEAR, BAND_NOISE = 8.0, 3.0
"""Levels, and noise on top, within which a row agrees with its guess."""
SIDE_PRIOR, RIM_PART = 0.15, 16
"""How far the middle of a picture is believed to be backdrop before it is looked at (its sides are in full), and which
part of its height at the top is."""
LEAST_SEEN = 0.1
"""Share of the picture that must be joined to its border; with less the plain surface stays."""
SEEN_BY = 0.12
"""Share of the views, two at least, that must see a spot before its colour is taken from them."""


def shrink(picture: NDArray[Any], longer: int) -> Any:
    """The picture with its longer side at most ``longer`` pixels, by averaging (which also takes off noise)."""
    h, w = picture.shape[:2]
    scale = longer / max(h, w)
    if scale >= 1:
        return picture
    return cv2.resize(picture, (max(1, round(w * scale)), max(1, round(h * scale))), interpolation=cv2.INTER_AREA)


def noise(picture: NDArray[Any]) -> float:
    """Standard deviation of the noise, levels, from the median difference of neighbours."""
    if picture.shape[1] < 2:
        return 1.0
    rows = picture[:: max(1, len(picture) // 64)]
    steps = cv2.absdiff(rows[:, 1:], rows[:, :-1])
    return _median(steps) / NORMAL / np.sqrt(2.0) + LEAST_NOISE


def medians(rows: Floats) -> Floats:
    """(m,) the median of each of m rows, (m, n)."""
    middle = [(rows.shape[1] - 1) // 2, rows.shape[1] // 2]
    return np.partition(rows, middle, axis=1)[:, middle].mean(axis=1)


def _median(values: NDArray[Any]) -> float:
    """The median; of whole levels by counting them, in a tenth of the time."""
    if values.dtype != np.uint8:
        return float(np.median(values))
    upto = np.cumsum(cv2.calcHist([values.reshape(-1, 1)], [0], None, [256], [0, 256]))
    low, high = np.searchsorted(upto, [(values.size - 1) // 2, values.size // 2], side="right")
    return float(low + high) / 2


def fill(values: Floats, weight: Floats, across: int = 3) -> Floats:
    """Carry the trusted values over the rest of the picture, smoothly: a pyramid of weighted means.

    A level camera sees floor, skirting and wall as level bands, so values travel ``across`` times farther sideways
    than up or down.

    Parameters
    ----------
    values : (h, w, c) float32
    weight : (h, w) float32, 0 (unknown) to 1 (trusted)
    """
    h, w = weight.shape
    narrow = (max(2, w // across), h)
    mass = cv2.resize(weight, narrow, interpolation=cv2.INTER_AREA)
    total = cv2.resize(values * weight[..., None], narrow, interpolation=cv2.INTER_AREA)
    levels = [(total, mass)]
    while min(levels[-1][1].shape) > 2:
        total, mass = levels[-1]
        levels.append((cv2.pyrDown(total), cv2.pyrDown(mass)))
    total, mass = levels[-1]
    result = (total.sum((0, 1)) / max(float(mass.sum()), 1e-6)) * np.ones_like(total)
    for total, mass in reversed(levels):
        result = cv2.resize(result, mass.shape[::-1], interpolation=cv2.INTER_LINEAR)
        trust = np.minimum(1.0, SURE_MASS * mass)[..., None]
        result = trust * total / np.maximum(mass, 1e-6)[..., None] + (1 - trust) * result
    return cv2.resize(result, (w, h), interpolation=cv2.INTER_LINEAR)


def widest(difference: Floats) -> Floats:
    """The largest of the three channels' absolute values, (h, w)."""
    parts = np.abs(difference)
    return np.maximum(np.maximum(parts[..., 0], parts[..., 1]), parts[..., 2])


def summed(picture: Floats) -> Floats:
    """The sum of the three channels, (...): written out, since numpy adds up a short last axis slowly."""
    return picture[..., 0] + picture[..., 1] + picture[..., 2]


@lru_cache(maxsize=8)
def _cubic_terms(h: int, w: int) -> Floats:
    """(h, w, 10) the terms of a cubic in x and y, both -1 to 1 across the picture."""
    y, x = np.mgrid[0:h, 0:w].astype(np.float32)
    x, y = 2 * x / max(w - 1, 1) - 1, 2 * y / max(h - 1, 1) - 1
    return np.stack([x**i * y**j for i in range(4) for j in range(4 - i)], -1)


def tint(picture: Floats, backdrop: Floats) -> tuple[Floats, Floats]:
    """How far a pixel's colour is from that of a darker or lighter backdrop.

    Parameters
    ----------
    picture, backdrop : (..., 3) float32, BGR levels

    Returns
    -------
    ratio : (...)
        Lightness over the backdrop's: a shadow is below 1.
    rest : (...)
        What is left of the difference beside the lightness, levels: 0 for any shadow of a white lamp.
    """
    ratio = summed(picture) / (summed(backdrop) + 1.0)
    return ratio, widest(picture - ratio[..., None] * backdrop)


def surface(values: Floats, weight: Floats, rounds: int = 4) -> Floats:
    """A cubic surface through the trusted values, outliers discounted (Tukey's biweight). (h, w, 3) float32."""
    h, w = weight.shape
    step = max(1, min(h, w) // SURFACE_CELLS)
    terms = _cubic_terms(h, w)
    basis = terms[::step, ::step].reshape(-1, terms.shape[-1]).astype(np.float64)
    target = values[::step, ::step].reshape(-1, values.shape[-1]).astype(np.float64)
    start = weight[::step, ::step].reshape(-1).astype(np.float64)
    trust = start
    for _ in range(rounds):
        left = basis * trust[:, None]
        ridge = RIDGE * max(trust.sum(), 1.0) * np.eye(basis.shape[1]) * (np.arange(basis.shape[1]) > 0)
        solved = np.linalg.solve(left.T @ basis + ridge, left.T @ target)
        miss = widest(target - basis @ solved)
        typical = float(np.median(miss[start > 0.5])) if (start > 0.5).any() else None
        spread = NO_SPREAD if typical is None else TUKEY * max(LEAST_MISS, typical * ROBUST_SIGMA)
        trust = start * np.clip(1 - (miss / spread) ** 2, 0, 1) ** 2
    return (terms @ solved.astype(np.float32)).astype(np.float32)


def grown(thumb: Floats, guess: Floats, sigma: float) -> NDArray[np.bool_]:
    """The part of the picture that is joined to its border without a step and lies near the guessed backdrop."""
    h, w = thumb.shape[:2]
    soft = cv2.GaussianBlur(thumb, (0, 0), SOFT)
    # Steps that the guess makes too (the edge of the floor) are no steps.
    soft = soft - (guess - cv2.blur(guess, FLOOR_EDGE))
    step = np.zeros((h, w), np.float32)
    step[:, :-1] = widest(soft[:, 1:] - soft[:, :-1])
    step[:-1] = np.maximum(step[:-1], widest(soft[1:] - soft[:-1]))
    limit = STEP + STEP_NOISE * sigma
    far = widest(thumb - guess) > FAR + FAR_NOISE * sigma
    passable = ((step < limit) & ~far).astype(np.uint8)
    _, labels = cv2.connectedComponents(passable, connectivity=4)
    rim = np.concatenate([labels[0], labels[:, 0], labels[:, -1], labels[-1]])
    count = np.bincount(rim, minlength=labels.max() + 1)
    keep = count > RIM * min(h, w)
    keep[0] = False
    return keep[labels]


def bands(thumb: Floats, guess: Floats) -> Floats:
    """What level bands (a skirting, the edge of the floor) add to a smooth guess: (h, 1, 3).

    A band runs from side to side, so both margins of the picture must miss the guess in the same direction in that row;
    the smaller of the two misses is taken (minmod), so furniture at one side adds nothing.
    """
    w = thumb.shape[1]
    strip = max(2, w // MARGIN)
    miss = thumb - guess
    sides = [np.median(miss[:, at], axis=1, keepdims=True) for at in (slice(0, strip), slice(w - strip, w))]
    same = np.sign(sides[0]) == np.sign(sides[1])
    band = np.where(same, np.sign(sides[0]) * np.minimum(np.abs(sides[0]), np.abs(sides[1])), 0).astype(np.float32)
    # Things at both sides look like a band too; a band that the rest of the row does not share is none.
    near = BAND_NEAR + BAND_NOISE * noise(thumb)
    helps = (widest(miss - band) < near).sum(axis=1) > (widest(miss) < near).sum(axis=1)
    return np.where(helps[:, None, None], band, 0).astype(np.float32)


def from_one(thumb: Floats) -> tuple[Floats, NDArray[np.bool_]]:
    """The backdrop of one picture, with the part of it that was seen plainly.

    A cubic surface through the border and whatever agrees with it, level bands on it, then the picture itself wherever
    it is joined to the border without a step, carried on behind the figure.

    Parameters
    ----------
    thumb : (h, w, 3) float32

    Returns
    -------
    backdrop : (h, w, 3) float32
    seen : (h, w) bool
    """
    h, w = thumb.shape[:2]
    sigma = noise(thumb)
    x = np.abs(2 * np.arange(w, dtype=np.float32) / max(w - 1, 1) - 1)
    prior = np.broadcast_to(SIDE_PRIOR + (1 - SIDE_PRIOR) * x**2, (h, w)).astype(np.float32).copy()
    prior[: max(1, h // RIM_PART)] = 1
    guess = surface(thumb, prior)
    guess = guess + bands(thumb, guess)
    seen = np.zeros((h, w), np.bool_)
    for _ in range(2):
        seen = grown(thumb, guess, sigma)
        trusted = cv2.erode(seen.astype(np.float32), np.ones((3, 3), np.uint8))
        if trusted.mean() < LEAST_SEEN:
            return guess, seen
        guess = guess + fill(thumb - guess, trusted)
    return guess, seen


def from_many(thumbs: Floats, seen: NDArray[np.bool_], guesses: Floats) -> tuple[Floats, NDArray[np.bool_]]:
    """The clean plate of a turn: each spot as it looks lit in the views that see it; the rest filled in.

    Parameters
    ----------
    thumbs : (n, h, w, 3) float32, exposure already made equal
    seen : (n, h, w) bool, where each view shows backdrop
    guesses : (n, h, w, 3) float32, each view's own backdrop, for spots that no view sees

    Returns
    -------
    plate : (h, w, 3) float32
    known : (h, w) bool, spots that enough views saw
    """
    light = np.where(seen, summed(thumbs), -1.0)
    order = np.argsort(light, axis=0)
    count = seen.sum(axis=0)
    n = len(thumbs)
    rank = np.clip(n - count + (LIT_QUANTILE * count).astype(int), 0, n - 1)
    pick = np.take_along_axis(order, rank[None], axis=0)[..., None]
    lit = np.take_along_axis(thumbs, pick, axis=0)[0]
    known = count >= max(2, round(SEEN_BY * n))
    typical = np.median(guesses, axis=0) if n else lit
    # What the views saw, and between those spots what each made of its own backdrop, without a seam.
    offset = fill(np.where(known[..., None], lit - typical, 0).astype(np.float32), known.astype(np.float32))
    plate = np.where(known[..., None], lit, typical + offset)
    return plate.astype(np.float32), known
