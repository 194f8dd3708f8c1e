"""Parts that stand out from the core of an outline: limbs, head, props.

People cut a shape at its concave points (minima rule: Hoffman & Richards 1984, Cognition 18) and, among possible cuts,
take the shorter (short-cut rule: Singh, Seyranian & Hoffman 1999, Perception & Psychophysics 61). A part stands out by
its relative area, its protrusion and the sharpness at its base (Hoffman & Singh 1997, Cognition 63). So:

1. every hole is opened at its narrowest bridge, which leaves one closed ring (:func:`open_ring`);
2. candidate cuts run from each concave point straight across the figure to the nearest places of the far edge;
3. of the candidates, the set of parts that do not overlap and are worth most is kept (:func:`cut_parts`);
4. each is given its evidence (:class:`CutPart`), and the clearest are said to stand out (:func:`standing`).
"""

from __future__ import annotations

from bisect import bisect_right
from dataclasses import dataclass

import numpy as np
from numpy.typing import NDArray
from shapely.geometry import Polygon

from silhouette.geometry.ring import begun_at
from silhouette.records import Part
from silhouette.shape.contour import Points, resample, ring_points, smooth, turns

SPACING = 0.012
"""Spacing of the ring that cuts are sought on, figure heights: some 400 points round a figure."""
SMOOTH = 1.2
"""Smoothing of that ring, points."""
MOST_HOLES = 40
"""Holes that are joined to that ring. A figure has fewer than ten gaps; a cut of mere noise has hundreds."""
CONCAVE = 0.30
"""Least turn inwards, radians over a window of three points, that counts as a concave point."""
SHORTEST = 0.055
"""Least length of a part, figure heights: a hand counts, a finger does not."""
SMALLEST, LARGEST = 0.004, 0.33
"""Least and largest area of a part over the whole area; a leg in a lunge has a quarter."""
PROTRUSION = 2.0
"""Least protrusion, the outline of a part without its base over its base; a half disc has 1.57."""
WIDEST_BASE = 0.22
"""Longest cut, figure heights: the waist, seen from the front, is shorter."""
BASE_COST = 0.6
"""How much of a base's length is taken off the part's length when its worth is weighed: a cut deeper into the body buys
length only as long as it grows no wider."""
SHARPEST, LENGTH_BESIDE = 2.0, 0.2
"""Sharpness beyond the first adds nothing; a radian of it counts as much as the second in length, figure heights: a
head is short, but a neck cuts it off sharply on both sides, while a foot or a calf is long and cut on one side only."""
LONG_BY = 0.06
"""Length beyond SHORTEST, figure heights, over which a part gains its full weight."""
BLUNT, SHARP = 0.3, 0.9
"""Inward turn at the two ends of a base, radians, from which a part counts at all and from which it counts in full."""
DETOUR = 1.35
"""A cut may be this much longer than the shortest that starts at either of its ends before it loses worth: of two
possible cuts people take the shorter."""


@dataclass(frozen=True)
class CutPart:
    """A part and the evidence for its standing out."""

    part: Part
    sharpness: float
    """Inward turn of the outline at the two ends of the base together, radians."""


@dataclass(frozen=True)
class _Cut:
    start: int
    """The part's stretch of the ring runs from this index ..."""
    stop: int
    """... to this one (may pass the ring's length)."""
    base: float
    arc: float
    area: float
    length: float
    tip: int
    worth: float


def open_ring(polygon: Polygon, spacing: float = SPACING) -> Points:
    """One closed ring round the figure, each hole joined to it by a slit at the narrowest bridge; of very many holes
    the largest."""
    ring = resample(ring_points(polygon.exterior), spacing)
    rings = list(polygon.interiors)
    if len(rings) > MOST_HOLES:
        rings = sorted(rings, key=lambda r: Polygon(r).area)[-MOST_HOLES:]
    holes = [resample(ring_points(r), spacing, least=8) for r in rings]
    while holes:
        nearest = [_nearest(ring, hole) for hole in holes]
        k = int(np.argmin([d for d, _, _ in nearest]))
        _, i, j = nearest[k]
        hole = holes.pop(k)
        ring = np.vstack([ring[: i + 1], hole[j:], hole[: j + 1], ring[i:]])
    return ring


def _nearest(a: Points, b: Points) -> tuple[float, int, int]:
    squared = (a[:, None, 0] - b[:, 0]) ** 2 + (a[:, None, 1] - b[:, 1]) ** 2
    i, j = divmod(int(np.argmin(squared)), len(b))
    return float(squared[i, j]), i, j


def cut_parts(polygon: Polygon, picture: NDArray[np.float32]) -> tuple[CutPart, ...]:
    """The parts that can be cut off a normalised outline, longest first.

    Parameters
    ----------
    polygon
        Height 1, see :func:`silhouette.shape.measure.normalised`.
    picture
        Its coverage picture (:func:`silhouette.shape.contour.raster`); cuts are checked on it to run inside.
    """
    ring = open_ring(polygon)
    if len(ring) < 16:
        return ()
    bend = turns(smooth(ring, SMOOTH))
    chosen = _best_set(_candidates(ring, bend, picture), len(ring))
    return tuple(_with_evidence(ring, bend, cut) for cut in sorted(chosen, key=lambda c: -c.length))


def standing(cuts: tuple[CutPart, ...], limbs: float) -> tuple[Part, ...]:
    """Of all parts that can be cut off, those that stand out, longest first.

    As many as limbs are guessed to stand (``limbs``, 0 to 5 and a little), the clearest first: a long part with a sharp
    base stands out more than a short or shallow one (:func:`clearness`).
    """
    clearest = sorted(cuts, key=lambda c: -clearness(c) * (c.part.length + LENGTH_BESIDE * min(c.sharpness, SHARPEST)))
    clearest = clearest[: round(limbs)]
    return tuple(cut.part for cut in sorted(clearest, key=lambda c: -c.part.length))


def clearness(cut: CutPart) -> float:
    """0 for a part that barely is one, 1 for one that is long enough and sharp at its base."""
    long = np.clip((cut.part.length - SHORTEST) / LONG_BY, 0, 1)
    sharp = np.clip((cut.sharpness - BLUNT) / (SHARP - BLUNT), 0, 1)
    return float(long * sharp)


def concave_points(bend: NDArray[np.float64]) -> NDArray[np.intp]:
    """Indices of a ring with these turns where it bends inwards most (local minima of the turn)."""
    window = bend + begun_at(bend, -1) + begun_at(bend, 1)
    lowest = (window <= begun_at(window, -1)) & (window < begun_at(window, 1)) & (window < -CONCAVE)
    return np.flatnonzero(lowest)


def _candidates(ring: Points, bend: NDArray[np.float64], picture: NDArray[np.float32]) -> list[_Cut]:
    """Cuts from each concave point across the figure, with the part that each would take off."""
    n = len(ring)
    starts = concave_points(bend)
    distance = np.hypot(*(ring[starts] - ring[:, None]).transpose(2, 0, 1))
    near = (distance <= begun_at(distance, -1)) & (distance <= begun_at(distance, 1))
    near[starts] = True
    rows, ends = np.nonzero((near & (distance < WIDEST_BASE) & (distance > 1e-9)).T)
    first, last = np.concatenate([starts[rows], ends]), np.concatenate([ends, starts[rows]])
    last = np.where(last > first, last, last + n)
    base = np.tile(distance[ends, rows], 2)
    twice = np.vstack([ring, ring, ring[:1]])
    x, y = twice.T
    along = np.concatenate([[0.0], np.cumsum(np.hypot(*np.diff(twice, axis=0).T))])
    swept = np.concatenate([[0.0], np.cumsum(x[:-1] * y[1:] - x[1:] * y[:-1])]) / 2
    closing = (x[last] * y[first] - x[first] * y[last]) / 2
    arc = along[last] - along[first]
    area = (swept[last] - swept[first] + closing) / (swept[n] + 1e-12)
    fits = (area >= SMALLEST) & (area <= LARGEST) & (arc >= PROTRUSION * base)
    fits &= _inside(twice[first], twice[last], picture)
    first, last, base, arc, area = (v[fits] for v in (first, last, base, arc, area))
    shortest = np.full(n, np.inf)
    np.minimum.at(shortest, first % n, base)
    np.minimum.at(shortest, last % n, base)
    detour = base / np.maximum(np.minimum(shortest[first % n], shortest[last % n]), 1e-9)
    found = [_weigh(twice, *values) for values in zip(first, last, base, arc, area, detour, strict=True)]
    return [cut for cut in found if cut is not None]


def _inside(a: Points, b: Points, picture: NDArray[np.float32]) -> NDArray[np.bool_]:
    """True where the straight line from ``a`` to ``b`` runs inside the figure."""
    t = np.linspace(0.1, 0.9, 9)[:, None, None]
    return np.all(_at(a + t * (b - a), picture) > 0.3, axis=0)


def _at(xy: Points, picture: NDArray[np.float32]) -> NDArray[np.float32]:
    """Values of a picture of the normalised frame at places (..., 2)."""
    rows, columns = picture.shape
    i = np.clip((xy[..., 1] * rows).astype(int), 0, rows - 1)
    j = np.clip((xy[..., 0] * rows + columns / 2).astype(int), 0, columns - 1)
    return np.asarray(picture[i, j])


def _weigh(twice: Points, start: int, stop: int, base: float, arc: float, area: float, detour: float) -> _Cut | None:
    """The part between two places of the ring and its worth, or None where it is too short to stand out."""
    piece = twice[start : stop + 1]
    out = np.hypot(*(piece - (piece[0] + piece[-1]) / 2).T)
    tip = int(np.argmax(out))
    length = float(out[tip])
    if length < SHORTEST or length <= BASE_COST * base:
        return None
    worth = np.sqrt(length - BASE_COST * base) * min(1.0, DETOUR / detour)
    return _Cut(int(start), int(stop), float(base), float(arc), float(area), length, int(start) + tip, float(worth))


def _best_set(cuts: list[_Cut], n: int) -> list[_Cut]:
    """The parts of greatest total worth that do not overlap (weighted interval scheduling, on a ring)."""
    best: list[_Cut] = []
    for turn in _openings(cuts, n):
        spans = sorted(((c.start - turn) % n + c.stop - c.start, (c.start - turn) % n, k) for k, c in enumerate(cuts)
                       if (c.start - turn) % n + c.stop - c.start <= n)
        stops = [s[0] for s in spans]
        total: list[float] = [0.0]
        chosen: list[tuple[int, ...]] = [()]
        for k, (_, begin, which) in enumerate(spans):
            before = bisect_right(stops, begin, 0, k)
            with_it = total[before] + cuts[which].worth
            better = with_it > total[k] + 1e-12
            total.append(with_it if better else total[k])
            chosen.append((*chosen[before], which) if better else chosen[k])
        picked = [cuts[which] for which in chosen[-1]]
        if sum(c.worth for c in picked) > sum(c.worth for c in best) + 1e-12:
            best = picked
    return best


def _openings(cuts: list[_Cut], n: int) -> list[int]:
    """Places of the ring, one of which no part of the best set runs across: the one that the fewest parts run across,
    and where each of these begins, since the best set has none of them or one."""
    starts = np.array([cut.start % n for cut in cuts], np.intp)
    long = np.array([cut.stop - cut.start for cut in cuts], np.intp)
    across = [(starts[(starts - at) % n + long > n].tolist(), int(at)) for at in np.unique(starts)]
    fewest, at = min(across, key=lambda one: len(one[0]), default=([], 0))
    return sorted({at, *fewest})


def _with_evidence(ring: Points, bend: NDArray[np.float64], cut: _Cut) -> CutPart:
    n = len(ring)
    piece = ring[np.arange(cut.start, cut.stop + 1) % n]
    (ax, ay), (bx, by) = piece[0], piece[-1]
    tx, ty = ring[cut.tip % n]
    part = Part(
        polygon=Polygon(piece), base=((float(ax), float(ay)), (float(bx), float(by))), tip=(float(tx), float(ty)),
        area=cut.area, protrusion=cut.arc / max(cut.base, 1e-9), length=cut.length,
    )
    window = np.arange(-3, 4)
    sharpness = -sum(float(np.minimum(bend[(end + window) % n], 0).sum()) for end in (cut.start, cut.stop))
    return CutPart(part=part, sharpness=sharpness)
