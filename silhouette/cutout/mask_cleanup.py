"""From loose pixels to one whole figure, and masks drawn by hand."""

from __future__ import annotations

from pathlib import Path
from typing import Any

import cv2
import numpy as np
from numpy.typing import NDArray

from silhouette.errors import PictureError
from silhouette.records import (
    BLURRED,
    CANNOT_TELL,
    CUT_BY_FRAME,
    GIVEN_MASK,
    NO_FIGURE,
    SMALL_FIGURE,
    TWO_FIGURES,
    Cut,
    CutBy,
)
from silhouette.settings import TRUST

SPECK = 0.0006
"""Holes and scraps under this share of the figure's bounding box are noise (a gap that counts is three times that)."""
GHOST = 0.6
"""Confidence under which a small scrap, or one at the picture's edge, is no figure at all."""
SOFT_EDGE, SOFT_PX = 0.008, 4.5
"""Width of the edge where it is softest, in figure heights and in pixels, from which a picture is called blurred: 1.4
cm on a person. Sharp pictures reach 0.005 and 2.7 pixels; a motion of 9 pixels is seen in 94 of 100 pictures, one of 13
and more in all. In pixels, because a small figure's edge is a pixel or two wide however sharp."""
OFF_CENTRE, AT_THE_EDGE = 1.2, 0.5
"""Which piece is the figure: a piece's area counts by OFF_CENTRE less how far its middle lies from the picture's, 0 to
1, so that one at the very side keeps a sixth of what the same piece has in the middle; and by AT_THE_EDGE if it touches
picture left or right, where furniture stands and models do not."""
LEAST_AREA, LEAST_HEIGHT = 0.002, 0.08
"""Shares of the picture under which the largest piece is no figure. A person so low stands ten times as far away as one
who fills four fifths of the picture."""
BESIDE = 0.03
"""How far a loose piece may lie from the figure and still belong to it, figure heights: 5 cm on a person, a scarf or a
bangle between head and trunk, hand and arm."""
SECOND_AREA, SECOND_HEIGHT = 0.4, 0.5
"""A piece that is farther away counts as a second person from these shares of the figure's area and height on: a seated
one is half as high as a standing one; chairs and lamps are lighter."""
LEAST_HOLE_PX = 4.0
"""Holes of fewer pixels are pin holes, however small the figure."""
FRAME_PX = 2
"""Pixels of figure on one edge of the picture that are let pass as noise; more, and the frame cuts the figure."""
SMALL = 0.25
"""Share of the picture's height under which a figure is called small: at the size worked at it is some 250 pixels high,
and a gap of 1 % of it 2.5 pixels wide."""
WHITE = 128
"""Level from which a mask drawn by hand is figure: half way between black and white."""
SHAPE_OFF = 0.02
"""How far a mask's sides may be from its still's in proportion: what rounding leaves of a small mask, no crop."""


def overlap(a: NDArray[np.bool_], b: NDArray[np.bool_]) -> float:
    """Intersection over union of two masks of one size; 1 where both are empty."""
    either = int((a | b).sum())
    return int((a & b).sum()) / either if either else 1.0


def one_figure(mask: NDArray[np.bool_]) -> tuple[NDArray[np.bool_], tuple[str, ...]]:
    """The one figure in a loose mask: its largest piece and what belongs to it.

    A piece belongs to the figure when it is near it for its size: a head cut off by a scarf, a hand beyond a bright
    bangle. Furniture at the side stays out. Pin holes are closed, gaps kept.
    """
    h, w = mask.shape
    count, labels, stats, middle = cv2.connectedComponentsWithStats(mask.astype(np.uint8), connectivity=8)
    if count < 2:
        return mask, (NO_FIGURE,)
    area = stats[1:, cv2.CC_STAT_AREA].astype(float)
    at_side = np.abs(middle[1:, 0] / w - 0.5) * 2
    touches = (stats[1:, 0] <= 0) | (stats[1:, 0] + stats[1:, 2] >= w)
    best = 1 + int(np.argmax(area * (OFF_CENTRE - at_side) * np.where(touches, AT_THE_EDGE, 1.0)))
    box = stats[best, cv2.CC_STAT_WIDTH] * stats[best, cv2.CC_STAT_HEIGHT]
    keep = np.zeros(count, np.bool_)
    keep[best] = True
    flags: list[str] = []
    height = stats[best, cv2.CC_STAT_HEIGHT]
    if area[best - 1] < LEAST_AREA * h * w or height < LEAST_HEIGHT * h:
        return np.zeros_like(mask), (NO_FIGURE,)
    near = None
    for i in range(1, count):
        if i == best or area[i - 1] < SPECK * box or touches[i - 1]:
            continue
        if near is None:
            near = cv2.distanceTransform((labels != best).astype(np.uint8), cv2.DIST_L2, 3)
        gap = float(near[labels == i].min())
        as_large = area[i - 1] > SECOND_AREA * area[best - 1]
        if gap < BESIDE * height:
            keep[i] = True
        elif as_large and stats[i, cv2.CC_STAT_HEIGHT] > SECOND_HEIGHT * height:
            flags.append(TWO_FIGURES)
    figure = keep[labels]
    _, hole_labels, hole_stats, _ = cv2.connectedComponentsWithStats((~figure).astype(np.uint8), connectivity=4)
    small = hole_stats[:, cv2.CC_STAT_AREA] < max(LEAST_HOLE_PX, SPECK * box)
    small[0] = False
    figure |= small[hole_labels]
    return figure, tuple(dict.fromkeys(flags))


def whole(odds: NDArray[np.float32]) -> tuple[NDArray[np.float32], tuple[str, ...]]:
    """Log odds of being figure, with everything but the one whole figure pushed to the other side of 0."""
    loose = odds > 0
    figure, flags = one_figure(loose)
    return np.where(figure == loose, odds, np.where(figure, 0.5, -0.5)).astype(np.float32), flags


def flags_of(mask: NDArray[np.bool_]) -> tuple[str, ...]:
    """What can be said of a finished mask: no figure, cut by the frame, small."""
    rows = np.flatnonzero(mask.any(axis=1))
    if not len(rows):
        return (NO_FIGURE,)
    h, _ = mask.shape
    flags = []
    if max(mask[0].sum(), mask[-1].sum(), mask[:, 0].sum(), mask[:, -1].sum()) > FRAME_PX:
        flags.append(CUT_BY_FRAME)
    if rows[-1] - rows[0] + 1 < SMALL * h:
        flags.append(SMALL_FIGURE)
    return tuple(flags)


def finished(mask: NDArray[np.bool_], sure: float, cutter: CutBy, flags: tuple[str, ...],
             softness: float) -> Cut:
    """The cut with all that can be said of it."""
    found = [*flags, *flags_of(mask)]
    rows = np.flatnonzero(mask.any(axis=1))
    if len(rows) and softness > max(SOFT_EDGE * (rows[-1] - rows[0] + 1), SOFT_PX):
        found.append(BLURRED)
    if sure < GHOST and {SMALL_FIGURE, CUT_BY_FRAME} & set(found):
        found = [NO_FIGURE]
    if NO_FIGURE in found:
        return Cut(np.zeros_like(mask), 0.0, cutter, tuple(dict.fromkeys(found)))
    if sure < TRUST:
        found.append(CANNOT_TELL)
    return Cut(mask, sure, cutter, tuple(dict.fromkeys(found)))


def given(mask: NDArray[np.uint8], size: tuple[int, int], path: Path) -> Cut:
    """A mask corrected by hand, used as it is.

    Parameters
    ----------
    mask : (h, w) array
        Light (:data:`WHITE` and up) on the figure.
    size : (width, height)
        Of the picture worked at, pixels; a mask of another size but the same shape is brought to it.
    path : Path
        Where the mask was read from, to be told where it is of no use.

    Raises
    ------
    PictureError
        When it has another shape than its still, or is empty.
    """
    h, w = mask.shape
    if abs(w / h - size[0] / size[1]) > SHAPE_OFF * size[0] / size[1]:
        raise PictureError(
            f"this mask is {w} x {h} pixels, which is not the shape of its still ({size[0]} x {size[1]}).",
            path=path,
            do="Draw it over the upright still without cropping.",
        )
    fitted: NDArray[Any] = mask
    if (w, h) != size:
        fitted = cv2.resize(mask, size, interpolation=cv2.INTER_AREA if w > size[0] else cv2.INTER_LINEAR)
    figure = fitted >= WHITE
    if not figure.any():
        raise PictureError("this mask is empty.", path=path, do="Paint the figure white, or delete the file.")
    return Cut(figure, 1.0, "given", (GIVEN_MASK, *flags_of(figure)))
