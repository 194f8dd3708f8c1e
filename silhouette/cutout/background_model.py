"""Cut a figure out before a plain backdrop, by what the backdrop looks like without it."""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass

import cv2
import numpy as np
from numpy.typing import NDArray

from silhouette.cutout import edge, figure_net, mask_cleanup, person_net, plate, trust
from silhouette.records import BACK_LIGHT, NO_FIGURE, Cut, Pixels

BESIDE = 0.4
"""Height over that of the figure's window (which has a margin) from which something beside it may be somebody."""
HALF = 504
"""Longer side, at most, of the picture that colours near the edge are taken from, pixels."""
ENOUGH_VIEWS = 9
"""Views, spread over the turn, that are looked at to learn what all have in common: more cost time and add little."""
FEWEST_VIEWS = 4
"""Views from which something can be learned of what they have in common."""
MOVED = 0.45
"""Share of the picture that differs from the plate in the middle view, from which the camera is taken to have moved."""

ALIKE = 0.80
"""Overlap from which two masks at thumbnail size, where the edge is a fifth of the figure, show the same figure."""
SHADE = 0.005
"""Share of the figure that only one of them holds, away from its edge, and that may be a shadow. Nine good turns, with
oar and rope too, stay at 0.003; with a deep shadow painted beside the legs single views reach 0.016 and 0.025."""


@dataclass(frozen=True)
class Shared:
    """What all pictures of one pose have in common. Small, so that it can be handed to other processes."""

    backdrop: NDArray[np.float32]
    """(h, w, 3) the clean plate, BGR levels, at thumbnail size, in the exposure of the first pictures."""
    known: NDArray[np.bool_]
    """(h, w) where enough views saw the plate."""
    shape: tuple[int, int]
    """(height, width) over each other must match a picture that is to be cut with this."""
    reach: tuple[float, float, float, float]
    """Where the figure was found in any of the views: top, bottom, left, right as shares of height and width."""
    vouched: bool = False
    """Whether the person network found the same figure in every view looked at."""


def _gain(thumb: plate.Floats, reference: plate.Floats, seen: NDArray[np.bool_]) -> NDArray[np.float32]:
    """How much brighter ``thumb`` is than ``reference`` on the backdrop, a factor a channel."""
    if seen.sum() < 50:
        return np.ones(3, np.float32)
    return np.median((thumb[seen] + 1.0) / (reference[seen] + 1.0), axis=0).astype(np.float32)


def sample(count: int) -> list[int]:
    """Which of ``count`` pictures, in the order shot, :func:`learn` needs to see; none of too few."""
    return [] if count < FEWEST_VIEWS else [round(i) for i in np.linspace(0, count - 1, min(count, ENOUGH_VIEWS))]


@dataclass(frozen=True)
class Glimpse:
    """What one picture tells of the backdrop. Small, so that it can be handed to other processes."""

    thumb: NDArray[np.float32]
    """(h, w, 3) the picture at thumbnail size, BGR levels."""
    guess: NDArray[np.float32]
    """(h, w, 3) its backdrop as far as it can be told from it alone."""
    seen: NDArray[np.bool_]
    """(h, w) where it shows backdrop."""
    shape: tuple[int, int]
    """(height, width) of the picture."""
    person: NDArray[np.bool_] | None = None
    """(h2, w2) where the person network sees the figure; None where it was not asked."""


def glimpse(pixels: Pixels, person: bool = False) -> Glimpse:
    """What one picture, (h, w, 3) uint8 BGR, tells of the backdrop; ``person`` asks the person network for a glance."""
    thumb: plate.Floats = plate.shrink(halved(pixels), plate.THUMB).astype(np.float32)
    guess, seen = plate.from_one(thumb)
    seen = cv2.erode(seen.astype(np.uint8), np.ones((3, 3), np.uint8)) > 0
    found = person_net.odds_of(pixels, close=False) > 0 if person else None
    return Glimpse(thumb, guess, seen, (pixels.shape[0], pixels.shape[1]), found)


def learn(pictures: Sequence[Pixels]) -> Shared | None:
    """What the pictures of one pose have in common, or None where the camera moved or they are too few.

    Parameters
    ----------
    pictures : sequence of (h, w, 3) uint8
        BGR; working pictures or thumbnails of them, spread over the turn; of many a few are looked at (:func:`sample`).
    """
    return learn_from([glimpse(pictures[i]) for i in sample(len(pictures))])


def learn_from(few: Sequence[Glimpse]) -> Shared | None:
    """As :func:`learn`, from what single pictures told."""
    if len(few) < FEWEST_VIEWS or len({g.shape for g in few}) != 1:
        return None
    thumbs: plate.Floats = np.stack([g.thumb for g in few])
    guesses, seen = np.stack([g.guess for g in few]), np.stack([g.seen for g in few])
    coarse = np.median(guesses[:, ::2, ::2], axis=0)
    for i in range(len(thumbs)):
        gain = _gain(thumbs[i, ::2, ::2], coarse, seen[i, ::2, ::2])
        thumbs[i] /= gain
        guesses[i] /= gain
    backdrop, known = plate.from_many(thumbs, seen, guesses)
    off = [float((plate.widest(t - backdrop) > 12).mean()) for t in thumbs]
    if float(np.median(off)) > MOVED:
        return None
    return Shared(backdrop, known, few[0].shape, *_reach(thumbs[::2], backdrop, [g.person for g in few[::2]]))


def _reach(thumbs: plate.Floats, backdrop: plate.Floats,
           people: Sequence[NDArray[np.bool_] | None]) -> tuple[tuple[float, float, float, float], bool]:
    """See :attr:`Shared.reach` and :attr:`Shared.vouched`."""
    h, w = thumbs.shape[1:3]
    found, vouched = np.zeros((h, w), np.bool_), True
    for thumb, person in zip(thumbs, people, strict=True):
        # The network expects the noise of a larger picture than a thumbnail.
        sigma = 2 * plate.noise(thumb)
        picture = np.clip(thumb, 0, 255).astype(np.uint8)
        seen = figure_net.look(picture, backdrop, sigma, (slice(0, h), slice(0, w)), figure_net.FIRST_LONG)
        odds, _ = mask_cleanup.whole(seen.odds)
        found |= cv2.resize(figure_net.touching(seen, odds, sigma).astype(np.uint8), (w, h)) > 0
        vouched = vouched and person is not None and _alike(odds > 0, person, seen, sigma)
    rows, cols = np.flatnonzero(found.any(axis=1)), np.flatnonzero(found.any(axis=0))
    if not len(rows):
        return (0.0, 1.0, 0.0, 1.0), False
    reach = float(rows[0] / h), float((rows[-1] + 1) / h), float(cols[0] / w), float((cols[-1] + 1) / w)
    return reach, vouched


def _alike(found: NDArray[np.bool_], person: NDArray[np.bool_], seen: figure_net.Look, sigma: float) -> bool:
    """Whether two small masks show the same figure, and none of it is a shadow to the other."""
    other = cv2.resize(person.astype(np.uint8), found.shape[::-1], interpolation=cv2.INTER_AREA) > 0
    core = cv2.erode((found ^ other).astype(np.uint8), np.ones((3, 3), np.uint8)) > 0
    shade = core & ~figure_net.no_shadow(seen.picture, seen.backdrop, sigma)
    alike = bool(found.any()) and mask_cleanup.overlap(found, other) >= ALIKE
    return alike and int(shade.sum()) <= SHADE * int(found.sum())


def backdrop_for(thumb: plate.Floats, shared: Shared | None) -> plate.Floats:
    """The backdrop of this picture at thumbnail size: the shared plate in this picture's light, or its own."""
    if shared is None or abs(shared.shape[0] * thumb.shape[1] / (shared.shape[1] * thumb.shape[0]) - 1) > 0.02:
        return plate.from_one(thumb)[0]
    clean: plate.Floats = shared.backdrop
    if clean.shape != thumb.shape:
        clean = cv2.resize(clean, thumb.shape[1::-1], interpolation=cv2.INTER_LINEAR)
    ratio = (thumb + 1.0) / (clean + 1.0)
    coarse = ratio[::2, ::2]
    channels = np.ascontiguousarray(coarse.reshape(-1, 3).T)
    seen = np.ones(coarse.shape[:2], np.bool_)
    for _ in range(3):
        gain = plate.medians(np.take(channels, np.flatnonzero(seen), axis=1))
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
    if shared is not None and abs(shared.shape[0] * pixels.shape[1] / (shared.shape[1] * pixels.shape[0]) - 1) > 0.02:
        shared = None
    half = halved(pixels)
    sigma = plate.noise(half)
    thumb = plate.shrink(half, plate.THUMB).astype(np.float32)
    behind = backdrop_for(thumb, shared)
    seen, odds, flags = _find(half, thumb, behind, sigma, shared)
    if NO_FIGURE in flags:
        return Cut(np.zeros(pixels.shape[:2], np.bool_), 0.0, "backdrop", flags)
    if trust.back_light(odds, seen.picture):
        flags = (*flags, BACK_LIGHT)
    signs = odds, seen.picture, seen.backdrop, sigma
    sure = trust.confidence(trust.expected_overlap(odds), trust.outline_like_backdrop(*signs), trust.clutter(*signs))
    mask, softness = edge.refine(pixels, half, odds, sigma, seen.window)
    return mask_cleanup.finished(mask, sure, "backdrop", flags, softness)


def no_shadow(pixels: Pixels, shared: Shared | None = None) -> NDArray[np.bool_]:
    """Where a picture differs from its backdrop as no shadow does, (h2, w2) at half size; parameters as :func:`cut`."""
    half = halved(pixels)
    behind = backdrop_for(plate.shrink(half, plate.THUMB).astype(np.float32), shared)
    clean = cv2.resize(behind, half.shape[1::-1], interpolation=cv2.INTER_LINEAR)
    return figure_net.no_shadow(half.astype(np.float32), clean, plate.noise(half))


def _somebody_beside(thumb: plate.Floats, behind: plate.Floats, sigma: float, window: tuple[slice, slice],
                     scale: float) -> bool:
    """Whether something as tall as half the window, which no shadow explains, stands in the picture outside of it.

    ``window`` is of a larger picture, of which the thumbnail is ``scale`` times the size.
    """
    strange = figure_net.no_shadow(thumb, behind, sigma)
    rows, cols = (slice(int(s.start * scale), int(np.ceil(s.stop * scale))) for s in window)
    strange[rows, cols] = False
    _, _, stats, _ = cv2.connectedComponentsWithStats(strange.astype(np.uint8), connectivity=8)
    tall = stats[1:, cv2.CC_STAT_HEIGHT] > BESIDE * (rows.stop - rows.start)
    return bool((tall & (stats[1:, cv2.CC_STAT_AREA] > stats[1:, cv2.CC_STAT_HEIGHT] * 3)).any())


def _find(half: Pixels, thumb: plate.Floats, behind: plate.Floats, sigma: float,
          shared: Shared | None) -> tuple[figure_net.Look, plate.Floats, tuple[str, ...]]:
    """Find the figure and look at it closely: the look, the odds of the one whole figure, flags.

    Where the pose's other pictures tell where the figure stands, the glance that finds it is saved; unless it, or
    somebody beside it, reaches out of that window now.
    """
    h, w = half.shape[:2]
    if shared is not None:
        top, bottom, left, right = shared.reach
        window = figure_net.widened((top * h, bottom * h, left * w, right * w), (h, w))
        close = figure_net.look(half, behind, sigma, window)
        odds, flags = mask_cleanup.whole(close.odds)
        inside = NO_FIGURE not in flags and not figure_net.reaches_out(close.odds, close.window, (h, w))
        if inside and not _somebody_beside(thumb, behind, sigma, close.window, thumb.shape[0] / h):
            return close, odds, flags
    everything = slice(0, h), slice(0, w)
    for longer in (figure_net.FIRST_LONG, figure_net.LONG):
        close = figure_net.look(half, behind, sigma, everything, longer)
        odds, flags = mask_cleanup.whole(close.odds)
        if NO_FIGURE not in flags:
            close = figure_net.look(half, behind, sigma, figure_net.around(close, odds, sigma, (h, w)))
            odds, more = mask_cleanup.whole(close.odds)
            return close, odds, tuple(dict.fromkeys((*flags, *more)))
    return close, odds, flags
