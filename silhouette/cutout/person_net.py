"""Cut a person out of any one picture with a small network of our own; no backdrop is needed, and nothing is fetched.

The network (``person_net.onnx``, its card is ``PERSON_NET.md``) was taught on rendered bodies before rooms and
photographs of places without people. It looks twice: at the whole picture to find the person, then closely at them.
"""

from __future__ import annotations

from functools import cache
from pathlib import Path
from typing import Any

import cv2
import numpy as np

from silhouette import quiet
from silhouette.cutout import edge, mask_cleanup, plate, trust
from silhouette.cutout.plate import Floats
from silhouette.records import BACK_LIGHT, NO_FIGURE, Cut, Pixels

FIRST_LONG = 288
"""Longer side of the whole picture at the first look, pixels."""
LONG = 416
"""Longer side of the window round the figure at the second look, pixels."""
STEP = 32
"""The network halves its picture five times, so both sides are multiples of this."""
MARGIN = 0.15
"""Share of the figure's longer side that is left round it at the second look."""
FAINT = -1.5
"""Log odds from which what touches the figure at the first look is looked at as well."""
LOOKS = 3
"""Close looks at most: as long as the figure runs out of the window, the window is widened there."""
PER_CONTRAST = 1.0 / 9.0
"""How much the colours are believed at the edge: less than before a plain backdrop, where they are cleaner."""


@cache
def _network() -> Any:
    """The network on one thread, loaded once a process."""
    return quiet.network((Path(__file__).parent / "person_net.onnx").read_bytes())


def seen_size(h: int, w: int, longer: int) -> tuple[int, int]:
    """(height, width) at which the network sees an ``h`` x ``w`` picture; its shape may change a little."""
    scale = longer / max(h, w)
    return max(STEP, round(h * scale / STEP) * STEP), max(STEP, round(w * scale / STEP) * STEP)


def _odds(picture: Pixels, longer: int) -> Floats:
    """Log odds of being figure, (h2, w2), as the network sees the picture (h, w, 3) with this longer side."""
    size = seen_size(picture.shape[0], picture.shape[1], longer)[::-1]
    small = cv2.resize(picture, size, interpolation=cv2.INTER_AREA if size[0] < picture.shape[1] else cv2.INTER_LINEAR)
    planes = np.ascontiguousarray(small[..., ::-1].transpose(2, 0, 1)[None], np.float32)
    odds: Floats = _network().run(["odds"], {"picture": planes})[0][0, 0]
    return odds


def window_of(odds: Floats, shape: tuple[int, int]) -> tuple[slice, slice] | None:
    """The window of a picture of ``shape`` (h, w) with the figure found in ``odds`` and a margin, or None."""
    figure, flags = mask_cleanup.one_figure(odds > 0)
    if NO_FIGURE in flags:
        return None
    _, labels = cv2.connectedComponents(((odds > FAINT) | figure).astype(np.uint8), connectivity=8)
    x, y, w, h = cv2.boundingRect(np.isin(labels, np.unique(labels[figure])).astype(np.uint8))
    up, along = shape[0] / odds.shape[0], shape[1] / odds.shape[1]
    margin = MARGIN * max(h * up, w * along)
    return (slice(max(0, int(y * up - margin)), min(shape[0], int((y + h) * up + margin) + 1)),
            slice(max(0, int(x * along - margin)), min(shape[1], int((x + w) * along + margin) + 1)))


def _widened(window: tuple[slice, slice], odds: Floats, shape: tuple[int, int]) -> tuple[slice, slice]:
    """The window of a picture of ``shape`` (h, w), wider on the sides where the figure in ``odds`` runs out of it."""
    figure, _ = mask_cleanup.one_figure(odds > 0)
    rows, cols = window
    tall, wide = 0.4 * (rows.stop - rows.start), 0.4 * (cols.stop - cols.start)
    top, bottom, left, right = figure[:2].any(), figure[-2:].any(), figure[:, :2].any(), figure[:, -2:].any()
    return (slice(max(0, int(rows.start - tall * top)), min(shape[0], int(rows.stop + tall * bottom))),
            slice(max(0, int(cols.start - wide * left)), min(shape[1], int(cols.stop + wide * right))))


def odds_of(pixels: Pixels, close: bool = True) -> Floats:
    """Log odds of being figure over the whole picture.

    Parameters
    ----------
    pixels : (h, w, 3) uint8, BGR
    close : bool
        Look a second time, closely, at what the first look found. One look costs a third of both.

    Returns
    -------
    (h2, w2) float32
        At about the size of the first look, or at half the size of the picture where there was a second.
    """
    h, w = pixels.shape[:2]
    first = _odds(pixels, FIRST_LONG)
    if not close:
        return first
    window = window_of(first, (h, w))
    if window is None:
        first = _odds(pixels, LONG)  # a small figure
        window = window_of(first, (h, w))
    if window is None:
        return first
    nearer = _odds(pixels[window], LONG)
    for _ in range(LOOKS - 1):
        wider = _widened(window, nearer, (h, w))
        if wider == window:
            break
        window = wider
        nearer = _odds(pixels[window], LONG)
    size = (max(1, (w + 1) // 2), max(1, (h + 1) // 2))
    whole = np.minimum(cv2.resize(first, size, interpolation=cv2.INTER_LINEAR), -1.0)
    return _laid_over(np.asarray(whole, np.float32), nearer, window, pixels)


def look(pixels: Pixels, close: bool = True) -> Floats:
    """How surely each pixel is figure, 0 to 1, over the whole picture; see :func:`odds_of`."""
    return trust.chance(odds_of(pixels, close))


def cut_by(pixels: Pixels, odds: Floats) -> Cut:
    """The figure of one picture, (h, w, 3) uint8 BGR, by what :func:`odds_of` said of it.

    Its confidence is the overlap that the network itself expects: ``agreement.py`` knows better.
    """
    one, flags = mask_cleanup.whole(odds)
    if NO_FIGURE in flags:
        return Cut(np.zeros(pixels.shape[:2], np.bool_), 0.0, "person", flags)
    half = plate.shrink(pixels, max(one.shape))
    shown = half if half.shape[:2] == one.shape else cv2.resize(half, one.shape[::-1], interpolation=cv2.INTER_AREA)
    if trust.back_light(one, np.asarray(shown, np.float32)):
        flags = (*flags, BACK_LIGHT)
    mask, softness = edge.refine(pixels, half, one, plate.noise(half), per_contrast=PER_CONTRAST)
    return mask_cleanup.finished(mask, trust.expected_overlap(one), "person", flags, softness)


def both_ways(pixels: Pixels, odds: Floats) -> tuple[Floats, float]:
    """Look at the mirror image of the figure too: the mean of what is said of both, and the overlap of the two figures.

    Parameters
    ----------
    pixels : (h, w, 3) uint8, BGR
    odds : (h2, w2) float32
        What :func:`odds_of` said of it.
    """
    window = window_of(odds, (pixels.shape[0], pixels.shape[1]))
    if window is None:
        return odds, 1.0
    again = _odds(np.ascontiguousarray(pixels[window][:, ::-1]), LONG)[:, ::-1]
    other = _laid_over(np.minimum(odds, -1.0), again, window, pixels)
    one, two = (mask_cleanup.whole(o)[0] > 0 for o in (odds, other))
    return np.asarray((odds + other) / 2, np.float32), mask_cleanup.overlap(one, two)


def _laid_over(first: Floats, nearer: Floats, window: tuple[slice, slice], pixels: Pixels) -> Floats:
    """What was said of a window of the picture, over what was said of all of it, which gives the size."""
    h, w = first.shape[:2]
    down, along = h / pixels.shape[0], w / pixels.shape[1]
    top, left = int(window[0].start * down), int(window[1].start * along)
    bottom, right = (max(a + 1, min(n, round(b.stop * f)))
                     for a, n, b, f in ((top, h, window[0], down), (left, w, window[1], along)))
    result = np.array(first, np.float32)
    result[top:bottom, left:right] = cv2.resize(np.ascontiguousarray(nearer), (right - left, bottom - top),
                                                interpolation=cv2.INTER_LINEAR)
    return result


def found_by(pixels: Pixels, odds: Floats) -> Cut:
    """As :func:`cut_by`, quickly: the edge is where the network saw it, not where the colours show it."""
    one, flags = mask_cleanup.whole(odds)
    size = pixels.shape[1], pixels.shape[0]
    if NO_FIGURE in flags:
        return Cut(np.zeros(pixels.shape[:2], np.bool_), 0.0, "person", flags)
    mask = cv2.resize(one, size, interpolation=cv2.INTER_LINEAR) > 0
    return Cut(np.asarray(mask, np.bool_), trust.expected_overlap(one), "person", flags)
