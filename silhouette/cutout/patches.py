"""A picture parted into pieces, so that a wrong cut-out can be mended by a few taps.

Small pieces are superpixels (SLIC: Achanta et al. 2012), fine near the outline and coarse elsewhere. No piece lies on
both sides of the present cut-out, so that each is wholly figure or wholly not. Large pieces are made of small ones of
like colour (after Felzenszwalb & Huttenlocher 2004); where independent cut-outs disagree, each patch of doubt is one
large piece, or few: one tap takes a whole shadow out.
"""

from __future__ import annotations

from dataclasses import dataclass
from typing import Any

import cv2
import numpy as np
from numpy.typing import NDArray

from silhouette.records import Mask, Pixels

Labels = NDArray[np.int32]

FINE, COARSE = 1 / 126, 1 / 42
"""Sides of a small piece near the outline and away from it, in the picture's longer side: 8 and 24 pixels of the usual
size, where a finger is 6 to 9 wide. A smaller picture has fewer pieces, not smaller ones."""
USUAL_PX = 1008
NEAR = 0.03
"""How far from the outline pieces are fine, in the figure's height."""
ABOUT, EDGE = 0.15, 4.0
"""Within ABOUT figure heights of the cut-out pieces are also fine where neighbouring pixels differ by more than EDGE
(CIE Lab)."""
COMPACT = 0.08
"""How much superpixels keep to squares, beside colours of 0 to 1."""
LEAST_PX = 16
"""A piece of fewer pixels joins a neighbour: nobody hits it."""
THIN = 0.006
"""Half the width, in the figure's height, under which doubt is a rim along the outline and no patch: 1 cm on a person.
Rims hang together all round the figure, and no one wants to flip them at one tap."""
LIKE = 3.0
"""Colour distance (CIE Lab) by which the patches of a large piece may differ at its weakest seam, beyond what it holds
already."""
SIZE_HELP = 2500.0
"""Lab distance times pixels that is allowed on top while a piece is small (k of the paper)."""
LARGEST = 0.2
"""Largest large piece, as a share of the figure: one tap never turns the wall into figure."""


@dataclass(frozen=True, eq=False)
class Patches:
    """The pieces of one picture; n small ones."""

    small: Labels
    """(h, w) number of the small piece that each pixel belongs to, 0 to n - 1; pieces hang together (4 neighbours)."""
    inside: NDArray[np.bool_]
    """(n,) whether the piece is figure as cut out."""
    large: Labels
    """(n,) number of the large piece that each small one is part of, 0 up."""
    doubtful: NDArray[np.int32]
    """Numbers of the large pieces that lie in a patch of doubt, the largest first."""


def part(pixels: Pixels, mask: Mask, doubt: Mask | None = None) -> Patches:
    """Part a picture into pieces that keep to its edges, to the cut-out and to the patches of doubt.

    Parameters
    ----------
    pixels : (h, w, 3) uint8, BGR
    mask : (h, w) bool
        The present cut-out; it may be empty.
    doubt : (h, w) bool, optional
        Where independent cut-outs disagree.
    """
    height = _height(mask)
    spots = np.zeros(mask.shape, np.int32) if doubt is None else _spots(doubt, mask, height)
    colour = cv2.cvtColor(cv2.GaussianBlur(pixels, (0, 0), 0.8).astype(np.float32) / 255, cv2.COLOR_BGR2LAB)
    side = spots * 2 + mask  # what no piece may straddle
    raw = _pieces(_superpixels(colour, _near(side, height) | _busy(colour, side > 0, height)), side)
    small = _without_slivers(raw, side)
    order = np.unique(small, return_index=True)[1]
    inside = mask.ravel()[order]
    spot = np.zeros(len(order), np.int32)
    np.maximum.at(spot, small.ravel(), spots.ravel())
    spot[2 * np.bincount(small.ravel(), spots.ravel() > 0) <= np.bincount(small.ravel())] = 0
    large = _joined(small, inside, spot, colour, LARGEST * max(int(mask.sum()), mask.size // 20))
    area = np.bincount(large[small].ravel())
    doubtful = np.unique(large[spot > 0])
    return Patches(small, inside, large, doubtful[np.argsort(-area[doubtful], kind="stable")].astype(np.int32))


def _height(mask: Mask) -> int:
    """Rows from the figure's top to its ground; of an empty mask those of a figure that fills the picture."""
    rows = np.flatnonzero(mask.any(axis=1))
    return int(rows[-1] - rows[0] + 1) if len(rows) else int(mask.shape[0])


def _spots(doubt: Mask, mask: Mask, height: int) -> Labels:
    """(h, w) number of the patch of doubt, 0 for none; rims along the outline are left out, patches parted by it."""
    across = 2 * max(1, round(THIN * height)) + 1
    thick = cv2.morphologyEx(doubt.astype(np.uint8), cv2.MORPH_OPEN, _disc(across))
    spots = np.zeros(mask.shape, np.int32)
    for part_of in (mask, ~mask):
        _, labels = cv2.connectedComponents((thick.astype(bool) & part_of).astype(np.uint8), connectivity=4)
        spots[labels > 0] = labels[labels > 0] + spots.max()
    return spots


def _disc(across: int) -> Any:
    return cv2.getStructuringElement(cv2.MORPH_ELLIPSE, (across, across))


def _near(side: Labels, height: int) -> Mask:
    """(h, w) where pieces are fine: about the outline and the borders of doubt."""
    borders = np.zeros(side.shape, np.uint8)
    borders[:, 1:] |= side[:, 1:] != side[:, :-1]
    borders[1:] |= side[1:] != side[:-1]
    return np.asarray(cv2.dilate(borders, _disc(2 * max(1, round(NEAR * height)) + 1)) > 0)


def _busy(colour: Any, figure: Mask, height: int) -> Mask:
    """(h, w) where the picture has edges, in the figure and about it: of a missing arm the outline says nothing."""
    edge = np.zeros(figure.shape, np.float32)
    edge[:, 1:] = np.linalg.norm(colour[:, 1:] - colour[:, :-1], axis=2)
    edge[1:] = np.maximum(edge[1:], np.linalg.norm(colour[1:] - colour[:-1], axis=2))
    about = cv2.dilate(figure.astype(np.uint8), _disc(2 * round(ABOUT * height) + 1)) > 0
    across = 2 * round(FINE * max(USUAL_PX, *figure.shape)) + 1
    return np.asarray(cv2.dilate(((edge > EDGE) & about).astype(np.uint8), _disc(across)) > 0)


def _superpixels(colour: Any, near: Mask) -> Labels:
    """(h, w) superpixels, fine where ``near``, else coarse."""
    from skimage.segmentation import slic

    h, w = near.shape
    half = cv2.resize(colour, (max(1, w // 2), max(1, h // 2)), interpolation=cv2.INTER_AREA)
    fine, coarse = (
        np.asarray(
            slic(picture, max(1, round(h * w / (side * max(USUAL_PX, h, w)) ** 2)), compactness=COMPACT, max_num_iter=6,
                 convert2lab=False, start_label=0, enforce_connectivity=False, channel_axis=2),
            np.int32,
        )
        for picture, side in ((colour, FINE), (half, COARSE))
    )
    coarse = np.asarray(cv2.resize(coarse, (w, h), interpolation=cv2.INTER_NEAREST))
    return np.where(near, fine, fine.max() + 1 + coarse).astype(np.int32)


def _pieces(rough: Labels, side: Labels) -> Labels:
    """(h, w) numbers from 0 of the pieces that hang together and straddle nothing."""
    from skimage.measure import label

    both = rough.astype(np.int64) * (int(side.max()) + 1) + side
    _, number = np.unique(both, return_inverse=True)
    return np.asarray(label(number.reshape(rough.shape), background=-1, connectivity=1) - 1, np.int32)


def _pairs(labels: Labels) -> tuple[NDArray[np.int64], NDArray[np.int64], NDArray[np.int64]]:
    """Pixels on both sides of every seam: the two labels of each (m, 2) and where the two pixels lie (m,), (m,)."""
    at = np.arange(labels.size).reshape(labels.shape)
    one = np.concatenate([at[:, :-1].ravel(), at[:-1].ravel()])
    other = np.concatenate([at[:, 1:].ravel(), at[1:].ravel()])
    flat = labels.ravel()
    seam = flat[one] != flat[other]
    one, other = one[seam], other[seam]
    return np.sort(np.stack([flat[one], flat[other]], axis=1), axis=1).astype(np.int64), one, other


def _without_slivers(labels: Labels, side: Labels) -> Labels:
    """The same with pieces too small to be hit joined to the neighbour that they share the longest seam with: one of
    the same patch of doubt, else one that is figure, or not, as they are."""
    for _ in range(4):
        area = np.bincount(labels.ravel())
        if area.min() >= LEAST_PX:
            break
        of = side.ravel()[np.unique(labels, return_index=True)[1]]
        seams, length = np.unique(_pairs(labels)[0], axis=0, return_counts=True)
        alike = of[seams[:, 0]] % 2 == of[seams[:, 1]] % 2
        seams, length = seams[alike], length[alike]
        length[of[seams[:, 0]] == of[seams[:, 1]]] += labels.size
        both_ways = np.concatenate([seams, seams[:, ::-1]])
        small = area[both_ways[:, 0]] < LEAST_PX
        both_ways, longest = both_ways[small], np.concatenate([length, length])[small]
        if not len(both_ways):
            break
        order = np.lexsort((both_ways[:, 1], -longest, both_ways[:, 0]))
        first = np.unique(both_ways[order, 0], return_index=True)[1]
        group = _Groups(len(area))
        for one, other in both_ways[order][first]:
            group.join(int(one), int(other))
        labels = group.numbers()[labels]
    return _in_order(labels)


def _in_order(labels: Labels) -> Labels:
    """The same pieces numbered as they are met, row by row."""
    _, first, number = np.unique(labels, return_index=True, return_inverse=True)
    rank = np.empty(len(first), np.int32)
    rank[np.argsort(first)] = np.arange(len(first), dtype=np.int32)
    return rank[number].reshape(labels.shape)


def _joined(small: Labels, inside: NDArray[np.bool_], spot: Labels, colour: Any, largest: float) -> Labels:
    """(n,) the large piece of each small one: likes are joined along their weakest seams first."""
    flat = colour.reshape(-1, 3)
    area = np.bincount(small.ravel()).astype(float)
    mean = np.stack([np.bincount(small.ravel(), flat[:, c]) / area for c in range(3)], axis=1)
    pairs, one, other = _pairs(small)
    seams, which, count = np.unique(pairs, axis=0, return_inverse=True, return_counts=True)
    step = np.bincount(which.ravel(), np.linalg.norm(flat[one] - flat[other], axis=1)) / count
    apart = np.linalg.norm(mean[seams[:, 0]] - mean[seams[:, 1]], axis=1)
    weight = np.maximum(step, apart)
    a, b = seams.T
    like = (inside[a] == inside[b]) & (spot[a] == spot[b])
    weight = np.where(spot[a] > 0, 0.25 * weight, weight)
    group = _Groups(len(area))
    size, held = area.copy(), np.zeros(len(area))
    for k in np.lexsort((b, a, weight)):
        if not like[k]:
            continue
        i, j = group.of(int(a[k])), group.of(int(b[k]))
        if i == j or size[i] + size[j] > largest * (4 if spot[a[k]] else 1):
            continue
        allowed = np.inf if spot[a[k]] else min(held[i] + SIZE_HELP / size[i], held[j] + SIZE_HELP / size[j]) + LIKE
        if weight[k] <= allowed:
            new = group.join(i, j)
            size[new], held[new] = size[i] + size[j], max(held[i], held[j], weight[k])
    return group.numbers()


class _Groups:
    """Things that are joined two by two."""

    def __init__(self, count: int) -> None:
        self._above = list(range(count))

    def of(self, one: int) -> int:
        """What stands for the group of ``one``: its first member."""
        while self._above[one] != one:
            self._above[one] = self._above[self._above[one]]
            one = self._above[one]
        return one

    def join(self, one: int, other: int) -> int:
        """Join the groups of two; says what stands for both."""
        first, second = sorted((self.of(one), self.of(other)))
        self._above[second] = first
        return first

    def numbers(self) -> Labels:
        """(n,) the group of each, numbered from 0 by their first members."""
        firsts = [self.of(i) for i in range(len(self._above))]
        return np.unique(firsts, return_inverse=True)[1].astype(np.int32)
