"""What an outline lets one guess of its limbs: a small regression on its parts, its bays and its shape from top to
foot.

The features are described where they are computed. Each is the same for the mirrored outline, and each changes little
when the outline does: whether a slit of half a percent is open or closed is a matter of the mask, so runs, edges and
gaps are taken from a picture blurred by about that much. The regression is fitted on rendered bodies whose limb
legibility is known (``studio/fitting.py``), kept as plain numbers in ``legibility.npz`` and computed with numpy alone.
"""

from __future__ import annotations

from dataclasses import dataclass
from functools import cache
from pathlib import Path

import cv2
import numpy as np
from numpy.typing import NDArray
from shapely.geometry import Polygon

from silhouette.records import LimbLegibility
from silhouette.settings import WEAKEST_SHARE
from silhouette.shape.contour import bay_turns, resample, ring_points, smooth, turns
from silhouette.shape.part_cuts import CutPart, clearness

Floats = NDArray[np.float64]
Picture = NDArray[np.float32]

BANDS = 16
"""Bands from the top of the figure to its foot."""
PARTS_SEEN = 6
"""Parts described one by one, longest first; one more than head, arms and legs."""
EDGE_BLUR, LIMB_BLUR = 0.006, 0.014
"""Blurs under which edges and runs are counted, standard deviations in figure heights: a slit between fingers, a
wrist."""
NEARBY = (0.018, 0.036, 0.072)
"""Blurs that say how full of figure the neighbourhood of a place is, figure heights: about an arm, a thigh, a torso."""
BAY_SCALES = (0.008, 0.016, 0.030)
"""Smoothings of the outline at which its bays are taken, figure heights."""
LIMIT = 3.0
"""Standardised features are held within plus minus this, so that an outline unlike any body stays within reach."""


def features(polygon: Polygon, picture: Picture, parts: tuple[CutPart, ...]) -> Floats:
    """All features of a normalised outline as one vector: the whole, its parts, its bands.

    ``picture`` is its coverage picture (:func:`silhouette.shape.contour.raster`); heights are a multiple of BANDS.
    """
    return np.concatenate([_whole(polygon), _of_parts(parts), _of_bands(picture)])


def _whole(polygon: Polygon) -> Floats:
    """Areas and lengths of the whole, and its bays at three smoothings."""
    hull = polygon.convex_hull
    x0, _, x1, _ = polygon.bounds
    root = np.sqrt(polygon.area)
    bays: list[float] = []
    points = resample(ring_points(polygon.exterior), 0.006)
    step = polygon.exterior.length / len(points)
    for scale in BAY_SCALES:
        smoothed = smooth(points, scale / step)
        turned = turns(smoothed)
        deep = np.sort(np.minimum(bay_turns(turned) / (np.pi / 2), 1))[::-1]
        length = float(np.hypot(*np.diff(smoothed, axis=0, append=smoothed[:1]).T).sum())
        bays += [float(np.abs(turned).sum() / (2 * np.pi)), float(deep.sum()), length, length / root]
    return np.array([polygon.area, root, x1 - x0, hull.area, polygon.area / hull.area, hull.length, *bays])


def _of_parts(parts: tuple[CutPart, ...]) -> Floats:
    """The longest parts by length, and the same parts by how high their tips lie; a faint part counts little."""
    seen = sorted(parts, key=lambda p: -p.part.length)[:PARTS_SEEN]
    by_length = np.zeros((PARTS_SEEN, 4))
    by_height = np.zeros((PARTS_SEEN, 3))
    for k, cut in enumerate(seen):
        p = cut.part
        by_length[k] = np.array([p.length, np.sqrt(p.area), np.log(p.protrusion), 0.5]) * clearness(cut)
    for k, cut in enumerate(sorted(seen, key=lambda c: c.part.tip[1])):
        p = cut.part
        by_height[k] = np.array([1 - p.tip[1], p.length, np.sqrt(p.area)]) * clearness(cut)
    return np.concatenate([by_length.ravel(), by_height.ravel(), by_length.sum(axis=0)])


def _of_bands(picture: Picture) -> Floats:
    """For each band: figure in the row, its spread, runs across and edge at two blurs, how full the neighbourhood
    is."""
    rows, columns = picture.shape
    x = (np.arange(columns) + 0.5 - columns / 2) / rows
    mass = picture.sum(axis=1) + 1e-6
    axis = float((picture.sum(axis=0) * x).sum() / mass.sum())
    middle = picture @ x / mass
    spread = np.sqrt(np.maximum(picture @ x**2 / mass - middle**2, 0))
    lines = [mass / rows, spread * np.minimum(mass, 1), np.abs(middle - axis) * np.minimum(mass, 1)]
    for blur in (EDGE_BLUR, LIMB_BLUR):
        soft = _blurred(picture, blur)
        across, down = (cv2.Sobel(soft, cv2.CV_32F, dx, 1 - dx, ksize=1) for dx in (1, 0))
        # Not cv2.magnitude: the last digits of its roots hang on where in memory the pictures happen to lie.
        slope = np.sqrt(across * across + down * down)
        lines += [np.abs(np.diff(soft, axis=1)).sum(axis=1) / 2, slope.sum(axis=1) / 2]
    half = cv2.resize(picture, (columns // 2, rows // 2), interpolation=cv2.INTER_AREA)
    small = np.asarray(half, np.float32)
    for blur in NEARBY:
        soft = _blurred(small, blur)
        lines += [(soft * small).sum(axis=1) / rows, (soft * (1 - small)).sum(axis=1) / rows]
    return np.concatenate([line.reshape(BANDS, -1).mean(axis=1) for line in lines]).astype(float)


def _blurred(picture: Picture, sigma: float) -> Picture:
    soft = cv2.GaussianBlur(picture, (0, 0), sigma * picture.shape[0], borderType=cv2.BORDER_CONSTANT)
    return np.asarray(soft, np.float32)


# ------------------------------------------------------------------------------------------------------ the regression

@dataclass(frozen=True)
class Guess:
    """What the regression makes of one outline; legibility 0 to 1."""

    limbs: LimbLegibility
    mean: float
    """Of the five limbs."""
    weakest: float
    """Of the two least legible ones."""
    standing: float
    """How many of the five limbs are legible beyond 0.55, 0 to 5."""


def separation(found: Guess) -> float:
    """Limb separation, 0 to 1."""
    return (1 - WEAKEST_SHARE) * found.mean + WEAKEST_SHARE * found.weakest


def guess(values: Floats) -> Guess:
    """Guess limb legibility from features: the mean of a few networks of two hidden layers, v = W f(W f(W x + b) + b)
    + b.

    x are the features less their mean over their spread, held within LIMIT; f(z) = z / (1 + exp(-z)).
    """
    net = _weights()
    x = np.clip((values - net["mean"]) / net["spread"], -LIMIT, LIMIT)
    first = _bent(net["w1"] @ x + net["b1"])
    second = _bent(np.einsum("eij,ej->ei", net["w2"], first) + net["b2"])
    out = (np.einsum("eij,ej->ei", net["w3"], second) + net["b3"]).mean(axis=0)
    head, arm_weak, arm_strong, leg_weak, leg_strong, mean, weakest, standing = (float(v) for v in np.clip(out, 0, 1))
    limbs = LimbLegibility(head=head, arms=(min(arm_weak, arm_strong), max(arm_weak, arm_strong)),
                           legs=(min(leg_weak, leg_strong), max(leg_weak, leg_strong)))
    return Guess(limbs=limbs, mean=mean, weakest=min(weakest, mean), standing=5 * standing)


def _bent(z: Floats) -> Floats:
    return z / (1 + np.exp(-z))


@cache
def _weights() -> dict[str, Floats]:
    """mean, spread (n,); w1 (e, h, n), b1 (e, h); w2 (e, k, h), b2 (e, k); w3 (e, 8, k), b3 (e, 8): e networks."""
    with np.load(Path(__file__).with_name("legibility.npz")) as stored:
        return {name: stored[name].astype(np.float64) for name in stored.files}
