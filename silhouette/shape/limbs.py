"""Parts that stand out from the core of an outline: limbs, head, props.

People cut a shape at its concave points (minima rule: Hoffman & Richards 1984, Cognition 18) and, among possible cuts,
take the shorter (short-cut rule: Singh, Seyranian & Hoffman 1999, Perception & Psychophysics 61). A part stands out by
its relative area, its protrusion and the sharpness at its base (Hoffman & Singh 1997, Cognition 63). So:

1. every hole is opened at its narrowest bridge, which leaves one closed ring (:func:`open_ring`);
2. candidate cuts run from each concave point straight across the figure to the nearest places of the far edge;
3. of the candidates, the set of parts that do not overlap and stand out most is kept.
"""

from __future__ import annotations

from bisect import bisect_right
from dataclasses import dataclass

import numpy as np
import shapely
from numpy.typing import NDArray
from shapely.geometry import Polygon

from silhouette.records import Part
from silhouette.shape.contour import Points, resample, ring_points, smooth, turns

SPACING = 0.012
"""Spacing of the ring that cuts are sought on, figure heights: some 400 points round a figure."""
SMOOTH = 1.2
"""Smoothing of that ring, points."""
CONCAVE = 0.35
"""Least turn inwards, radians over a window of three points, that counts as a concave point."""
SHORTEST = 0.055
"""Least length of a part, figure heights: a hand counts, a finger does not."""
SMALLEST, LARGEST = 0.004, 0.42
"""Least and largest area of a part over the whole area."""
PROTRUSION = 2.0
"""Least protrusion, the outline of a part without its base over its base; a half disc has 1.57."""
WIDEST_BASE = 0.22
"""Longest cut, figure heights: the waist, seen from the front, is shorter."""


@dataclass(frozen=True)
class _Cut:
    start: int
    """The part's stretch of the ring runs from index ``start`` ..."""
    stop: int
    """... to ``stop`` (may pass the ring's length)."""
    base: float
    arc: float
    area: float
    length: float
    tip: int
    worth: float


def open_ring(polygon: Polygon, spacing: float = SPACING) -> Points:
    """One closed ring round the figure, each hole joined to it by a slit at the narrowest bridge."""
    ring = resample(ring_points(polygon.exterior), spacing)
    holes = [resample(ring_points(r), spacing, least=8) for r in polygon.interiors]
    while holes:
        nearest = [_nearest(ring, hole) for hole in holes]
        k = int(np.argmin([d for d, _, _ in nearest]))
        _, i, j = nearest[k]
        hole = holes.pop(k)
        ring = np.vstack([ring[: i + 1], hole[j:], hole[: j + 1], ring[i:]])
    return ring


def _nearest(a: Points, b: Points) -> tuple[float, int, int]:
    squared = np.sum((a[:, None, :] - b[None, :, :]) ** 2, axis=2)
    i, j = divmod(int(np.argmin(squared)), len(b))
    return float(squared[i, j]), i, j


def parts_of(polygon: Polygon) -> tuple[Part, ...]:
    """The parts that stand out from the core of a normalised outline, longest first."""
    ring = open_ring(polygon)
    if len(ring) < 16:
        return ()
    cuts = _candidates(ring, polygon)
    return tuple(sorted((_part(ring, cut) for cut in _best_set(cuts, len(ring))), key=lambda p: -p.length))


def concave_points(ring: Points) -> NDArray[np.intp]:
    """Indices of the ring where it bends inwards most (local minima of the turn)."""
    a = turns(smooth(ring, SMOOTH))
    window = a + np.roll(a, 1) + np.roll(a, -1)
    lowest = (window <= np.roll(window, 1)) & (window < np.roll(window, -1)) & (window < -CONCAVE)
    return np.flatnonzero(lowest)


def _candidates(ring: Points, polygon: Polygon) -> list[_Cut]:
    """Cuts from each concave point across the figure, with the part that each would take off."""
    n = len(ring)
    starts = concave_points(ring)
    if not len(starts):
        return []
    distance = np.hypot(*(ring[starts][:, None, :] - ring[None, :, :]).transpose(2, 0, 1))
    near = (distance <= np.roll(distance, 1, axis=1)) & (distance <= np.roll(distance, -1, axis=1))
    near[:, starts] = True
    near &= (distance < WIDEST_BASE) & (distance > 1e-9)
    rows, ends = np.nonzero(near)
    begins = starts[rows]
    gap = np.abs(begins - ends)
    keep = np.minimum(gap, n - gap) > 3
    begins, ends = begins[keep], ends[keep]
    lines = shapely.linestrings(np.stack([ring[begins], ring[ends]], axis=1))
    roomy = shapely.buffer(polygon, 0.004, quad_segs=1)
    shapely.prepare(roomy)
    inside = shapely.covers(roomy, lines)
    found = []
    for i, j in zip(begins[inside], ends[inside], strict=True):
        for a, b in ((i, j), (j, i)):
            if (cut := _weigh(ring, int(a), int(b) if b > a else int(b) + n, polygon.area)) is not None:
                found.append(cut)
    return found


def _weigh(ring: Points, start: int, stop: int, whole: float) -> _Cut | None:
    """The part between two indices of the ring, or None where it does not stand out."""
    index = np.arange(start, stop + 1) % len(ring)
    piece = ring[index]
    x, y = piece[:, 0], piece[:, 1]
    area = 0.5 * float(np.sum(x * np.roll(y, -1) - y * np.roll(x, -1))) / whole
    if not SMALLEST <= area <= LARGEST:
        return None
    base = float(np.hypot(*(piece[-1] - piece[0])))
    arc = float(np.hypot(*np.diff(piece, axis=0).T).sum())
    out = np.hypot(*(piece - (piece[0] + piece[-1]) / 2).T)
    tip = int(np.argmax(out))
    length = float(out[tip])
    if arc < PROTRUSION * base or length < SHORTEST:
        return None
    worth = np.sqrt(max(length - 0.6 * base, 0.0))
    return _Cut(start, stop, base, arc, area, length, int(index[tip]), float(worth)) if worth > 0 else None


def _best_set(cuts: list[_Cut], n: int) -> list[_Cut]:
    """The parts of greatest total worth that do not overlap (weighted interval scheduling, on a ring)."""
    best: list[_Cut] = []
    for turn in range(0, n, max(1, n // 8)):
        spans = sorted(((c.start - turn) % n + c.stop - c.start, (c.start - turn) % n, k) for k, c in enumerate(cuts)
                       if (c.start - turn) % n + c.stop - c.start <= n)
        stops = [s[0] for s in spans]
        total, chosen = [0.0], [()]
        for k, (_, begin, which) in enumerate(spans):
            before = bisect_right(stops, begin, 0, k)
            with_it = total[before] + cuts[which].worth
            if with_it > total[k] + 1e-12:
                total.append(with_it)
                chosen.append((*chosen[before], which))
            else:
                total.append(total[k])
                chosen.append(chosen[k])
        picked = [cuts[k] for k in chosen[-1]]
        if sum(c.worth for c in picked) > sum(c.worth for c in best) + 1e-12:
            best = picked
    return best


def _part(ring: Points, cut: _Cut) -> Part:
    piece = ring[np.arange(cut.start, cut.stop + 1) % len(ring)]
    ends = tuple((float(p[0]), float(p[1])) for p in (piece[0], piece[-1]))
    tip = (float(ring[cut.tip][0]), float(ring[cut.tip][1]))
    return Part(polygon=Polygon(piece), base=(ends[0], ends[1]), tip=tip, area=cut.area,
                protrusion=cut.arc / max(cut.base, 1e-9), length=cut.length)


def limb_separation(parts: tuple[Part, ...], polygon: Polygon) -> tuple[float, float]:
    """How far head, arms and legs stand clear and how far the two weakest do, both 0 to 1."""
    outline = polygon.length / np.sqrt(polygon.area)
    mean = float(np.clip((outline - 5.0) / 13.0, 0.0, 1.0))
    clear = sorted((min(1.0, p.length / 0.4) for p in parts), reverse=True)[:5]
    five = clear + [0.0] * (5 - len(clear))
    return float(np.clip(0.7 * mean + 0.3 * np.mean(five), 0, 1)), float(np.clip(0.8 * mean + 0.2 * np.mean(five[3:]), 0, 1))
