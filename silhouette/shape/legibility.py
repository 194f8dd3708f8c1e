"""What an outline lets one guess of its limbs: each stretch of it tells of what it draws, and the whole adds them up.

Some 256 places are spread evenly along the outline, holes included. Each is described by its neighbourhood: how full of
figure it is, how thick the figure is behind it and how wide the gap before it, how the outline bends there and how far
it has come some way on, and how high it lies. A small network reads every place alike, adds up what it finds along the
outline, reads every place once more in the light of the sum, and turns the second sum into the legibility of the limbs.
So an arm is known by its edge wherever it lies. Descriptions are in units of the body's size (the root of the area), so
that a crouching figure's arm is as thick as a standing one's, the same for the mirrored outline, and taken from a
blurred picture and a smoothed outline, so that they change little when a mask's edge does.

The network is fitted on rendered bodies whose limb legibility is known (``studio/fitting.py``), kept as plain numbers
in ``legibility.npz`` and computed with numpy alone.
"""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass
from functools import cache
from pathlib import Path

import cv2
import numpy as np
from numpy.typing import NDArray
from shapely.geometry import LinearRing, Polygon

from silhouette.records import LimbLegibility
from silhouette.settings import WEAKEST_SHARE
from silhouette.shape.contour import Points, resample, ring_points, smooth, turns

Floats = NDArray[np.float64]
Singles = NDArray[np.float32]

SPOTS = 256
"""Places along the outline, about; a hole has at least three."""
FINER = 4
"""Points of the smoothed ring for each place."""
MOST_HOLES = 40
"""Holes that are looked at, the largest; a figure has fewer than ten, a cut of mere noise hundreds."""
STANDING = 0.38
"""Root of the area of a standing figure, figure heights. The unit of body size is the root of the area over this: about
a standing figure's height."""
SMALLEST_UNIT, LARGEST_UNIT = 0.5, 3.0
"""Between these the unit is held, figure heights: a sliver is no body."""
SOFT = 0.010
"""Smoothing of the ring, units."""
FULL = (0.012, 0.024, 0.048, 0.096, 0.19)
"""Blurs that say how full of figure the neighbourhood of a place is, units: about a finger, an arm, a thigh, a torso,
the body."""
BEHIND, BEFORE = (0.03, 0.06, 0.09, 0.13, 0.18, 0.25), (0.02, 0.05, 0.10, 0.16, 0.25)
"""How far into the figure and out of it one looks from a place, straight across the outline, units."""
BENDS, CHORDS = (0.03, 0.06, 0.12, 0.24), (0.25, 0.5, 1.0)
"""How far along the outline, to both sides, its turn is added up, and how far along the straight distance is taken."""
LIMIT = 3.0
"""Standardised features are held within plus minus this, so that an outline unlike any body stays within reach."""
LENGTH = 12.0
"""Length of an outline over the root of its area that counts as one where places are added up."""


@dataclass(frozen=True)
class Spots:
    """Places along an outline, evenly spread."""

    at: Points
    """(n, 2) in the normalised frame."""
    outward: Points
    """(n, 2) across the outline, away from the figure, length 1."""
    along: Floats
    """(n, len(BENDS) + 2 len(CHORDS) + 1) turns of the outline, radians; straight over walked distance, the lesser and
    the greater of both ways; 1 on a hole's edge."""


@dataclass(frozen=True)
class Features:
    """An outline as the network takes it."""

    spots: Floats
    """(n, 33) each place."""
    side: Floats
    """(n,) how far each place lies beside the figure's middle, units, negative on the picture's left."""
    whole: Floats
    """(8,) lengths and widths of the whole, the first the outline's length over the root of its area."""


def unit_of(polygon: Polygon) -> float:
    """The unit of body size, figure heights."""
    return float(np.clip(np.sqrt(polygon.area) / STANDING, SMALLEST_UNIT, LARGEST_UNIT))


def spots_of(polygon: Polygon) -> Spots:
    """Places along a normalised outline, and how it runs there."""
    unit = unit_of(polygon)
    rings = [polygon.exterior, *sorted(polygon.interiors, key=lambda r: Polygon(r).area)[-MOST_HOLES:]]
    step = sum(r.length for r in rings) / SPOTS
    found = [_along(ring, max(3, round(ring.length / step)), unit, hole=k > 0) for k, ring in enumerate(rings)]
    return Spots(*(np.concatenate(values) for values in zip(*found, strict=True)))


def _along(ring: LinearRing, count: int, unit: float, hole: bool) -> tuple[Points, Points, Floats]:
    fine = resample(ring_points(ring), ring.length / (FINER * count), least=FINER * count)
    n, step = len(fine), ring.length / len(fine)
    line = smooth(fine, SOFT * unit / step)
    at = np.arange(0, n, FINER)
    turned = np.concatenate([[0.0], np.cumsum(np.tile(turns(line), 3))])
    columns = []
    for reach in BENDS:
        far = min(max(1, round(reach * unit / step)), n // 3)
        columns.append(turned[n + at + far + 1] - turned[n + at - far])
    for reach in CHORDS:
        far = min(max(1, round(reach * unit / step)), n // 2)
        ways = [np.hypot(*(line[(at + way) % n] - line[at]).T) / (reach * unit) for way in (far, -far)]
        columns += [np.minimum(*ways), np.maximum(*ways)]
    run = line[(at + 1) % n] - line[at - 1]
    run /= np.maximum(np.hypot(*run.T), 1e-9)[:, None]
    along = np.column_stack([*columns, np.full(len(at), float(hole))])
    return line[at], np.column_stack([run[:, 1], -run[:, 0]]), along


def features(polygon: Polygon, picture: Singles, spots: Spots | None = None) -> Features:
    """What the network sees of a normalised outline.

    Parameters
    ----------
    picture
        Its coverage picture (:func:`silhouette.shape.contour.raster`); heights are a multiple of 16.
    spots
        Its places, where they are known already.
    """
    spots = spots or spots_of(polygon)
    unit, middle = unit_of(polygon), polygon.centroid
    soft = _blurred(picture, [blur * unit for blur in FULL])
    columns = [_seen(one, spots.at) for one in soft]
    offsets = np.array([*(-d for d in BEHIND), *BEFORE]) * unit
    across = spots.at[:, None] + spots.outward[:, None] * offsets[None, :, None]
    columns += list(_seen(soft[0], across).T)
    y, side = spots.at[:, 1], (spots.at[:, 0] - middle.x) / unit
    columns += [y, (1 - y) / unit, np.abs(side), (y - middle.y) / unit,
                spots.outward[:, 1], spots.outward[:, 0] * np.where(side < 0, -1.0, 1.0)]
    return Features(np.column_stack([*columns, spots.along]), side, _whole(polygon))


def _whole(polygon: Polygon) -> Floats:
    root, hull = np.sqrt(polygon.area), polygon.convex_hull
    holes = sum(ring.length for ring in polygon.interiors)
    x0, _, x1, _ = polygon.bounds
    return np.array([polygon.length / root, polygon.length, holes / root, holes, hull.length / root,
                     np.sqrt(hull.area) / root, 1 / root, (x1 - x0) / root])


def _blurred(picture: Singles, sigmas: Sequence[float]) -> list[Singles]:
    """The picture under a Gaussian of each of ``sigmas`` figure heights, ascending, at a size at which that is a few
    pixels."""
    small, halved, soft = picture, 1, []
    for sigma in sigmas:
        while (wide := sigma * picture.shape[0] / halved) > 3.5 and min(small.shape) > 24:
            small = np.asarray(cv2.resize(small, (small.shape[1] // 2, small.shape[0] // 2),
                                          interpolation=cv2.INTER_AREA))
            halved *= 2
        soft.append(np.asarray(
            cv2.GaussianBlur(small, (0, 0), max(wide, 0.3), borderType=cv2.BORDER_CONSTANT), np.float32))
    return soft


def _seen(soft: Singles, at: Points) -> Floats:
    """Values of a blurred picture at places (n, 2) or (n, m, 2) of the normalised frame."""
    scale = soft.shape[0]
    x = (at[..., 0] * scale + soft.shape[1] / 2 - 0.5).astype(np.float32)
    y = (at[..., 1] * scale - 0.5).astype(np.float32)
    found = cv2.remap(soft, x.reshape(len(at), -1), y.reshape(len(at), -1), cv2.INTER_LINEAR,
                      borderMode=cv2.BORDER_CONSTANT, borderValue=0)
    return np.asarray(found, float).reshape(at.shape[:-1])


# ------------------------------------------------------------------------------------------------------- the network

@dataclass(frozen=True)
class Guess:
    """What the network makes of one outline; legibility 0 to 1."""

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


def guess(seen: Features) -> Guess:
    """Guess limb legibility: the mean over a few networks of the same make.

    With s the places' features and g those of the whole, less their means over their spreads and held within LIMIT,
    x how far a place lies beside the middle, f(z) = z / (1 + exp(-z)), L the outline's length over the root of its
    area, over LENGTH, and E the mean over the places: a = f(W2 f(W1 s + G g + b1) + b2),
    c = f(W3 a + S (L E a) + x T (L E x a) + b3), out = W6 f(W5 f(W4 (L E c, L |E x c|, g) + b4) + b5) + b6.

    What lies on one side tells by E x: two arms at the body show an edge each, one arm that stands clear shows both.
    Mirrored, x and E x change their signs together.
    """
    net = _weights()
    spots = _within(seen.spots, net["spots_mean"], net["spots_spread"])
    whole = _within(seen.whole, net["whole_mean"], net["whole_spread"])
    length = np.float32(seen.whole[0] / LENGTH)
    side = np.clip(seen.side.astype(np.float32), -LIMIT, LIMIT)[:, None]
    outs = []
    for k in range(len(net["b1"])):
        w = {name: net[name][k] for name in LAYERS}
        first = _bent(_bent(spots @ w["w1"].T + (w["g1"] @ whole + w["b1"])) @ w["w2"].T + w["b2"])
        beside = side * (w["t3"] @ (side * first).mean(axis=0) * length)
        again = _bent(first @ w["w3"].T + beside + (w["s3"] @ first.mean(axis=0) * length + w["b3"]))
        summed = np.concatenate([again.mean(axis=0) * length, np.abs((side * again).mean(axis=0)) * length, whole])
        outs.append(w["w6"] @ _bent(w["w5"] @ _bent(w["w4"] @ summed + w["b4"]) + w["b5"]) + w["b6"])
    out = np.clip(np.mean(outs, axis=0), 0, 1)
    head, arm_weak, arm_strong, leg_weak, leg_strong, mean, weakest, standing = (float(v) for v in out)
    limbs = LimbLegibility(head=head, arms=(min(arm_weak, arm_strong), max(arm_weak, arm_strong)),
                           legs=(min(leg_weak, leg_strong), max(leg_weak, leg_strong)))
    return Guess(limbs=limbs, mean=mean, weakest=min(weakest, mean), standing=5 * standing)


LAYERS = ("w1", "g1", "b1", "w2", "b2", "w3", "s3", "t3", "b3", "w4", "b4", "w5", "b5", "w6", "b6")
"""Names of the weights of the networks, in the order of :func:`guess`."""


def _within(values: Floats, mean: Singles, spread: Singles) -> Singles:
    return np.clip((values.astype(np.float32) - mean) / spread, -LIMIT, LIMIT)


def _bent(z: Singles) -> Singles:
    return z / (1 + np.exp(np.minimum(-z, 60)))


@cache
def _weights() -> dict[str, Singles]:
    """Means and spreads of the features; the weights LAYERS, each with a first axis that counts the networks."""
    with np.load(Path(__file__).with_name("legibility.npz")) as stored:
        return {name: stored[name].astype(np.float32) for name in stored.files}
