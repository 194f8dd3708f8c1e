"""Whether a picture shows the room of a pose with nobody in it: pure functions on thumbnails.

The camera stands still. So a picture of the empty room is like every stop where no figure stands, and unlike every stop
where the figure stands in all of them. Sizes: n stops, ``h, w`` rows and columns of a thumbnail; colours are BGR,
0 to 255, float32.
"""

from __future__ import annotations

import cv2
import numpy as np
from numpy.typing import NDArray

from silhouette.cutout import background_model, plate
from silhouette.cutout.plate import Floats
from silhouette.records import Mask, Pixels

OTHER_LIGHT = 1.6
"""Times brighter or darker, in any channel, from which two pictures are not of one room in nearly one light."""
OTHER_ROOM = 0.2
"""Share of a picture unlike every stop from which it is of another room, or the camera was moved: of four rendered
turns the empty room reaches 0.04, another room with a plain wall 0.17 to 0.24."""
MOVES = 0.25
"""Share of what was cut out of a picture that a quarter of the stops do not show, from which it is somebody: a chair
stays. Of 19 stops, drawn in one plain colour or rendered, held against the others of their turn each reaches 0.34."""
GONE = 0.93
"""Share of the figure that must be unlike the picture, at three stops of four, where the figure is gone. Of 127 stops
of ten rendered turns, one of them before clutter, each held against the others of its turn, none has more than 0.90;
the empty room, dimmed or nudged too, has 0.98 and more."""
STAYS = 0.2
"""Share of the figure's area that may be unlike every stop that sees the room there, shadows aside: noise, a curtain.
The empty room has up to 0.13 (clutter, nudged by three pixels); six in seven of those stops have more, with their
limbs."""
UNSEEN_GONE, UNSEEN_STAYS = 0.5, 0.01
"""The same two shares of a picture in which the person network sees nobody. In 32 furnished rooms, lit by up to 15 %
otherwise and nudged by up to three pixels, the empty picture has 0.57 and more, and 0.001 at most; of 152 stops, each
held against the others of its turn, none has more than 0.5 and less than 0.026."""
SHADE = 12.0
"""Levels of colour that a shadow may leave beside its darkness."""
FEWEST = 3
"""Stops with a figure that is trusted from which a missing one can be told."""


def thumb(pixels: Pixels) -> Floats:
    """The thumbnail of a picture, (h, w, 3) uint8 BGR, that the functions here take: as a :class:`Glimpse` has it."""
    return plate.shrink(background_model.halved(pixels), plate.THUMB).astype(np.float32)


def apart(frame: Floats, stops: Floats) -> tuple[Floats, Floats]:
    """How far each pixel of a picture is from what each stop shows there, in the same light.

    A pixel either way counts as the same place, so that a camera that was touched does not light up every edge.

    Parameters
    ----------
    frame : (h, w, 3)
    stops : (n, h, w, 3)

    Returns
    -------
    apart : (n, h, w)
        Levels; 0 where alike.
    gain : (n, 3)
        How much brighter each stop is, a factor a channel.
    """
    gains, differences = [], []
    for stop in stops:
        gain = _gain(frame, stop)
        low, high = (way(stop, np.ones((3, 3), np.uint8)) for way in (cv2.erode, cv2.dilate))
        lit = frame * gain
        differences.append(plate.widest(np.maximum(np.maximum(lit - high, low - lit), 0)))
        gains.append(gain)
    return np.stack(differences), np.stack(gains)


def _gain(frame: Floats, stop: Floats) -> Floats:
    ratio = (stop[::2, ::2] + 1.0) / (frame[::2, ::2] + 1.0)
    gain = np.median(ratio, axis=(0, 1))
    near = plate.widest(ratio / gain - 1) < 0.1
    return np.median(ratio[near], axis=0) if near.mean() > 0.1 else gain


def _other_light(gains: Floats) -> bool:
    gain = np.median(gains, axis=0)
    return max(float(gain.max()), 1 / max(float(gain.min()), 1e-6)) > OTHER_LIGHT


def _far(frame: Floats) -> float:
    return plate.FAR + plate.FAR_NOISE * plate.noise(frame)


def same_room(frame: Floats, stops: Floats) -> bool:
    """Whether a picture is of the room of the stops, seen by the same camera in nearly the same light.

    Parameters
    ----------
    frame : (h, w, 3)
    stops : (n, h, w, 3), n at least 1
    """
    differences, gains = apart(frame, stops)
    return not _other_light(gains) and float((differences.min(axis=0) > _far(frame)).mean()) < OTHER_ROOM


def moves(frame: Floats, stops: Floats, mask: Mask) -> bool:
    """Whether what was cut out of a picture of the room is somebody: many stops show something else in its place.

    What stands there in nearly all stops too is furniture.

    Parameters
    ----------
    frame : (h, w, 3)
    stops : (n, h, w, 3), n at least 1
    mask : (h, w) what was cut out of the frame
    """
    if not mask.any():
        return False
    plain = np.stack([plate.widest(frame * _gain(frame, stop) - stop)[mask] for stop in stops])
    return float((np.quantile(plain, 0.75, axis=0) > _far(frame)).mean()) > MOVES


def nobody(frame: Floats, stops: Floats, masks: NDArray[np.bool_], *, unseen: bool = False) -> bool:
    """Whether a picture shows the room of the stops without the figure that stands in all of them.

    Parameters
    ----------
    frame : (h, w, 3)
    stops : (n, h, w, 3)
    masks : (n, h, w) the figure at each stop; only cuts that are trusted
    unseen : whether the person network sees nobody in the picture either; then less will do

    Returns
    -------
    bool
        False where it cannot be told: of fewer than :data:`FEWEST` stops, or of figures that fill the picture. True
        also of a stop that hides within all the others and has no colour in common with any: its cut must tell.
    """
    if len(stops) < FEWEST:
        return False
    near = np.ones((5, 5), np.uint8)
    hidden = np.stack([cv2.dilate(mask.astype(np.uint8), near) > 0 for mask in masks])
    seen = ~hidden.all(axis=0)
    if not seen.any():
        return False
    differences, gains = apart(frame, stops)
    if _other_light(gains):
        return False
    far, gone, shaded = _far(frame), [], []
    for stop, mask, gain in zip(stops, masks, gains, strict=True):
        lit = frame * gain
        gone.append(float((plate.widest(lit - stop) > far)[mask].mean()) if mask.any() else 0.0)
        darker, rest = plate.tint(stop, lit)
        shaded.append((darker < 1.0) & (rest < SHADE))
    unlike = np.all(hidden | ((differences > far) & ~np.stack(shaded)), axis=0)
    stays = float(np.sum(unlike[seen])) * len(masks) / max(float(masks.sum()), 1.0)
    share = float(np.quantile(gone, 0.25))
    return (share > GONE and stays < STAYS) or (unseen and share > UNSEEN_GONE and stays < UNSEEN_STAYS)
