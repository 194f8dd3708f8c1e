"""Cut a figure out before a plain backdrop, by what the backdrop looks like without it."""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass

import cv2
import numpy as np
from numpy.typing import NDArray

from silhouette.cutout import edge, figure, plate, tidy, trust
from silhouette.records import BACK_LIGHT, NO_FIGURE, Cut, Pixels

HALF = 504
"""Longer side, at most, of the picture that colours near the edge are taken from, pixels."""


@dataclass(frozen=True)
class Shared:
    """What all pictures of one pose have in common. Small, so that it can be handed to other processes."""

    backdrop: NDArray[np.float32]
    """(h, w, 3) the clean plate, BGR levels, at thumbnail size, in the exposure of the first pictures."""
    known: NDArray[np.bool_]
    """(h, w) where enough views saw the plate."""
    shape: tuple[int, int]
    """(height, width) over each other must match a picture that is to be cut with this."""


def _gain(thumb: plate.Floats, reference: plate.Floats, seen: NDArray[np.bool_]) -> NDArray[np.float32]:
    """How much brighter ``thumb`` is than ``reference`` on the backdrop, a factor a channel."""
    if seen.sum() < 50:
        return np.ones(3, np.float32)
    return np.median((thumb[seen] + 1.0) / (reference[seen] + 1.0), axis=0).astype(np.float32)


def learn(pictures: Sequence[Pixels]) -> Shared | None:
    """What the pictures of one pose have in common, or None where the camera moved or they are too few.

    Parameters
    ----------
    pictures : sequence of (h, w, 3) uint8
        BGR; working pictures or thumbnails of them, up to about two dozen spread over the turn.
    """
    shapes = {p.shape for p in pictures}
    if len(pictures) < 4 or len(shapes) != 1:
        return None
    thumbs: plate.Floats = np.stack([plate.shrink(p, plate.THUMB).astype(np.float32) for p in pictures])
    singles = [plate.from_one(t) for t in thumbs]
    guesses = np.stack([g for g, _ in singles])
    seen = np.stack([cv2.erode(s.astype(np.uint8), np.ones((3, 3), np.uint8)) > 0 for _, s in singles])
    reference = np.median(guesses, axis=0)
    for i in range(len(thumbs)):
        gain = _gain(thumbs[i], reference, seen[i])
        thumbs[i] /= gain
        guesses[i] /= gain
    backdrop, known = plate.from_many(thumbs, seen, guesses)
    off = np.abs(thumbs - backdrop).max(axis=3) > 12
    if float(np.median(off.mean(axis=(1, 2)))) > 0.45:
        return None
    h, w = pictures[0].shape[:2]
    return Shared(backdrop, known, (h, w))


def backdrop_for(thumb: plate.Floats, shared: Shared | None) -> plate.Floats:
    """The backdrop of this picture at thumbnail size: the shared plate in this picture's light, or its own."""
    if shared is None or abs(shared.shape[0] * thumb.shape[1] / (shared.shape[1] * thumb.shape[0]) - 1) > 0.02:
        return plate.from_one(thumb)[0]
    clean: plate.Floats = shared.backdrop
    if clean.shape != thumb.shape:
        clean = cv2.resize(clean, thumb.shape[1::-1], interpolation=cv2.INTER_LINEAR)
    ratio = (thumb + 1.0) / (clean + 1.0)
    coarse = ratio[::2, ::2]
    seen = np.ones(coarse.shape[:2], np.bool_)
    for _ in range(3):
        gain = np.median(coarse[seen], axis=0)
        seen = plate.widest(coarse / gain - 1) < 0.06
        if seen.mean() < 0.2:
            return plate.from_one(thumb)[0]
    # The light may have changed unevenly: what is left over, smoothed, is taken for light.
    drift = plate.fill(coarse, cv2.erode(seen.astype(np.float32), np.ones((3, 3), np.uint8)), across=1)
    drift = cv2.resize(cv2.GaussianBlur(drift, (0, 0), 6), thumb.shape[1::-1], interpolation=cv2.INTER_LINEAR)
    return clean * drift


def halved(pixels: Pixels) -> Pixels:
    """The picture at half the size worked at, at most HALF pixels long."""
    small: Pixels = plate.shrink(pixels, min(HALF, (max(pixels.shape[:2]) + 1) // 2))
    return small


def cut(pixels: Pixels, shared: Shared | None = None) -> Cut:
    """Cut the figure out of one picture before a plain backdrop.

    Parameters
    ----------
    pixels : (h, w, 3) uint8, BGR
    shared : Shared or None
        What :func:`learn` made of the pose's pictures, if the camera stood still.
    """
    half = halved(pixels)
    levels = half.astype(np.float32)
    sigma = plate.noise(levels)
    size = figure.seen_size(*levels.shape[:2])[::-1]
    small = cv2.resize(levels, size, interpolation=cv2.INTER_AREA)
    behind = cv2.resize(backdrop_for(plate.shrink(levels, plate.THUMB), shared), size)
    odds, flags = tidy.whole(figure.odds(small, behind, sigma))
    if NO_FIGURE in flags:
        return Cut(np.zeros(pixels.shape[:2], np.bool_), 0.0, "backdrop", flags)
    mask, softness = edge.refine(pixels, half, odds, sigma)
    if trust.back_light(odds, small, behind):
        flags = (*flags, BACK_LIGHT)
    sure = trust.confidence(trust.expected_overlap(odds), trust.outline_like_backdrop(odds, small, behind, sigma),
                            trust.clutter(odds, small, behind, sigma))
    return tidy.finished(mask, sure, "backdrop", flags, softness)
