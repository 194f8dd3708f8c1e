"""Why a view reads or does not: which limb, where on the body, on which side of the picture. No sentences here.

Where the learned reader knows the outline for a body, the places come from where it puts head, hands, knees and feet.
Else they come from the outline alone. An outline cannot tell front from back, so nothing is said to lie before or
behind anything; and where the place is not sure, none is named.

The limits below are set so that what is named is true in about nine cases of ten on rendered bodies that the reader
never saw; ``tests/measure/reasons.py`` prints how often it is. They belong to the reader's weights: run it again when
those change.
"""

from __future__ import annotations

from dataclasses import dataclass

import numpy as np
from numpy.typing import NDArray
from shapely.geometry import LineString, Point, Polygon

from silhouette.reading import weights as w
from silhouette.records import (
    TRUNK,
    BodyReading,
    Gap,
    LimbLegibility,
    Measures,
    Outline,
    Part,
    Reason,
    ReasonKind,
    Side,
    Zone,
)
from silhouette.settings import BAND_FAIR, BAND_STRONG, Intent

Down = tuple[tuple[float, Zone], ...]
"""Zones from the top, each with how far down it reaches."""
HEIGHTS: Down = ((0.16, "head"), (0.30, "shoulder"), (0.47, "waist"), (0.62, "hip"), (0.86, "knee"), (9.0, "foot"))
"""Down to which y (figure heights) a place on an upright figure is called what."""
LOW_HEIGHTS: Down = ((0.34, "high up"), (0.67, "half-way up"), (9.0, "low down"))
"""The same for a figure that sits, crouches or lies: its heights say nothing of its joints."""
ARMS_DOWN_TO, ASIDE = 0.62, 0.03
"""A gap above the first and farther from the middle than the second (figure heights) lies between arm and body."""
COLUMN = 0.45
"""Width over height up to which a figure is a column: the shoulders' breadth is about a quarter of the stature (Drillis
& Contini 1966: 0.259), an elbow held out on each side brings it to half."""
UPRIGHT = 1.0
"""Width over height of an outline under which its figure is taken to be upright."""
OFF_MIDDLE = 0.03
"""A place this far from the middle of the outline's box (figure heights) has a side."""

# -- what the reader's joints are good for -----------------------------------------------------------------------------
HAND_DEEP = 0.035
"""A hand that the reader puts this far (figure heights) inside the outline is swallowed: a hand that shows lies within
about half its own breadth of the edge."""
FOOT_DEEP = 0.06
"""The same for a foot, which is longer, and which the thicker thighs and skirts hide."""
HIDDEN_SPREAD = 0.2
"""Of two hands the one that is deeper inside, and the less sure, belongs to the arm that shows less: depth plus this
share of the spread. The reader does not know where to put what it cannot see."""
SURE = 0.10
"""Spread of a joint (figure heights) up to which its place is named: about one zone of the body."""
SIDE_OFF, SIDE_SPREADS = 0.03, 1.0
"""A side is named for a joint this far (figure heights, and shares of its spread) off the middle of the black mass."""
NEAR = 0.07
"""A joint this near to head, knee or foot (figure heights) lies at it, however the figure is bent."""
HEAD_ROUND = 0.12
"""What lies above the head's middle and this near to it is at the head too."""
STANDING = (0.60, 0.82)
"""Where the knees stand between head and feet, as a share, while thighs and trunk hang in one line (0.72 of a standing
figure, Drillis & Contini 1966). Only then does the line from head to knees tell chest, waist and hip."""
TALL = 0.5
"""Least height from head to feet of such a figure, figure heights: a raised arm may take the rest."""
ZONES: Down = ((0.10, "head"), (0.26, "shoulder"), (0.42, "chest"), (0.58, "waist"), (0.74, "hip"),
               (0.94, "thigh"), (1.10, "knee"))
"""Down to which share of the way from head to knees a place is called what. On a standing figure the shoulder lies at
0.17, the waist at 0.48, the hip at 0.62 (after Drillis & Contini 1966)."""


@dataclass(frozen=True)
class Swallowed:
    """A hand or a foot well inside the black shape, where the reader puts it."""

    depth: float
    """Distance to the nearest edge, figure heights."""
    more_hidden: bool
    """True for the one of the pair that the shape tells less of."""
    zone: Zone | None
    """Part of the body that it lies at; None where that is not sure."""
    side: Side | None
    """None where that is not sure."""


def place(x: float, y: float, *, upright: bool = True) -> tuple[Zone, Side]:
    """Where a point of the outline lies: how high, and on which side of the picture."""
    side: Side = "picture left" if x < -OFF_MIDDLE else "picture right" if x > OFF_MIDDLE else "middle"
    return next(zone for down_to, zone in (HEIGHTS if upright else LOW_HEIGHTS) if y < down_to), side


def reasons(
    measures: Measures,
    outline: Outline,
    limbs: LimbLegibility | None,
    intent: Intent,
    readability: float,
    body: BodyReading | None = None,
) -> tuple[Reason, ...]:
    """Why the view reads or does not, weightiest first; at least one, and of a weak view at least one fault.

    Parameters
    ----------
    measures, outline
        What geometry says of the view.
    limbs
        The limbs' legibility after shape and reader.
    body
        What the learned reader says, where it is to be trusted with places; else None.
    """
    x0, _, x1, _ = outline.polygon.bounds
    upright, narrow = x1 - x0 < UPRIGHT, x1 - x0 < COLUMN
    found: list[Reason] = []
    if limbs is not None:
        found += _lost_limbs(measures, limbs, intent, outline, body)
    for tangent in measures.tangents[:2]:
        zone, side = place(*tangent.point, upright=upright)
        found.append(Reason(ReasonKind.EDGES_TOUCH, None, zone, side, 0.15))
    if measures.symmetry > w.MIRRORED:
        found.append(Reason(ReasonKind.COLUMN if narrow else ReasonKind.SIDES_MATCH, severity=0.10))
    if intent == "open" and measures.negative_space < w.BARE:
        found.append(Reason(ReasonKind.NO_GAP, severity=0.12))
    if not found and intent == "open" and readability < BAND_FAIR:
        found.append(Reason(ReasonKind.TOO_LITTLE))
    if not found or readability >= BAND_STRONG:
        found.append(_strength(measures, limbs, upright))
    return tuple(dict.fromkeys(sorted(found, key=lambda reason: -reason.severity)))


def _lost_limbs(measures: Measures, limbs: LimbLegibility, intent: Intent, outline: Outline,
                body: BodyReading | None) -> list[Reason]:
    """What is lost, with how much of it: the legibility that is missing, limb by limb."""
    found: list[Reason] = []
    limits = w.SHAPE_LIMITS if body is None else w.READER_LIMITS
    if limbs.head < limits.head:
        arm_above = any(p.tip[1] < 0.08 and p.length > 0.25 for p in measures.parts)
        kind = ReasonKind.HEAD_BEHIND_ARM if arm_above else ReasonKind.HEAD_SUNK
        found.append(Reason(kind, "head", severity=0.1 + limits.head - limbs.head))
    if intent != "open":
        return found
    arms = _lost_arms(measures, limbs.arms, swallowed(body, outline, "hand"), limits.arm)
    if arms is not None:
        found.append(arms)
    if limbs.legs[0] < limits.legs:
        found.append(Reason(ReasonKind.LEGS_AS_ONE, "leg", severity=0.3 + limits.legs - limbs.legs[0]))
    feet = swallowed(body, outline, "foot")
    if feet:
        found.append(Reason(ReasonKind.FEET_LOST if len(feet) == 2 else ReasonKind.FOOT_LOST, "foot", severity=0.12))
    return found


def _lost_arms(measures: Measures, arms: tuple[float, float], hands: list[Swallowed], limit: float) -> Reason | None:
    """The arms' fault, if there is one: both arms, one arm with its hand, or a hand alone."""
    weaker, stronger = arms
    shown = _sides_with_arms(measures)
    hand = next((hand for hand in hands if hand.zone is not None), None)
    zone, side = (None, None) if hand is None else (hand.zone, hand.side)
    if stronger < limit or (stronger < w.ARM_FLUSH and not shown):
        return Reason(ReasonKind.ARMS_LOST, "arm", zone, side, 0.4 + w.ARM_FLUSH - weaker)
    lost = max(0.1, 0.2 + w.ARM_FLUSH - weaker)
    if weaker < limit and hand is not None and hand.more_hidden and zone in TRUNK:
        return Reason(ReasonKind.ARM_LOST, "arm", zone, side, lost)
    if hand is not None:
        return Reason(ReasonKind.HAND_LOST, "hand", zone, side, lost)
    if weaker < limit:
        return Reason(ReasonKind.ARM_LOST, "arm", severity=lost)
    return None


def _strength(measures: Measures, limbs: LimbLegibility | None, upright: bool) -> Reason:
    """What carries the view."""
    five = [] if limbs is None else [limbs.head, *limbs.arms, *limbs.legs]
    if five and min(five) > w.STANDS and not measures.tangents:
        return Reason(ReasonKind.ALL_CLEAR)
    gaps: list[Gap] = [g for g in measures.gaps if g.kind == "enclosed"] or list(measures.gaps)
    if gaps and measures.negative_space > w.BARE:
        spot = gaps[0].polygon.representative_point()
        return Reason(ReasonKind.GAP, None, *place(spot.x, spot.y, upright=upright))
    if sum(x > w.STANDS for x in five) >= 4:
        return Reason(ReasonKind.MOST_CLEAR)
    return Reason(ReasonKind.COMPACT)


# ------------------------------------------------------------------------------------------ what the outline alone says

def head_of(measures: Measures) -> Part | None:
    """The part that can be the head: it ends high and is short."""
    high = [p for p in measures.parts if p.tip[1] < 0.2 and p.length < 0.25]
    return min(high, key=lambda p: p.length, default=None)


def arms_of(measures: Measures) -> list[Part]:
    """Every other part that does not end at the feet, longest first."""
    head = head_of(measures)
    return [p for p in measures.parts if p is not head and p.tip[1] < 0.8]


def _sides_with_arms(measures: Measures) -> set[str]:
    """Sides of the picture on which something tells an arm: a part that stands out, or a gap it encloses."""
    spots = [p.tip[0] - (p.base[0][0] + p.base[1][0]) / 2 for p in arms_of(measures)]
    for gap in measures.gaps_enclosed:
        middle = gap.polygon.centroid
        if middle.y < ARMS_DOWN_TO and abs(middle.x) > ASIDE:
            spots.append(middle.x)
    return {"left" if x < 0 else "right" for x in spots}


# ---------------------------------------------------------------------------------------------- what the reader adds

def swallowed(body: BodyReading | None, outline: Outline, joint: str) -> list[Swallowed]:
    """Hands or feet that the reader puts well inside the black shape, the more hidden first.

    ``joint`` is ``hand`` or ``foot``.
    """
    if body is None:
        return []
    pair, polygon = _spots(body, outline, joint), outline.polygon
    points = [Point(spot) for spot, _ in pair]
    depths = [polygon.boundary.distance(point) if polygon.contains(point) else 0.0 for point in points]
    hidden = [depth + HIDDEN_SPREAD * spread for depth, (_, spread) in zip(depths, pair, strict=True)]
    found = []
    for (spot, spread), depth, how in zip(pair, depths, hidden, strict=True):
        if depth > (HAND_DEEP if joint == "hand" else FOOT_DEEP):
            zone = zone_of(spot, body, outline) if spread < SURE else None
            found.append(Swallowed(depth, how == max(hidden), zone, _side(spot, spread, polygon)))
    return sorted(found, key=lambda s: (not s.more_hidden, -s.depth))


def zone_of(spot: NDArray[np.float64], body: BodyReading, outline: Outline) -> Zone | None:
    """The part of the body at a spot (x, y in the outline's frame), after the reader's head, knees and feet.

    Near one of these it is that one. Else, while the figure stands, it follows from how far down the line from the head
    to between the knees the spot lies; a bent figure's hips are not on that line, so nothing is told.
    """
    ends: tuple[Zone, ...] = ("head", "knee", "foot")
    marks = {name: np.array([p for p, _ in _spots(body, outline, name)]) for name in ends}
    if any(len(points) == 0 for points in marks.values()):
        return None
    away = {name: float(np.linalg.norm(points - spot, axis=1).min()) for name, points in marks.items()}
    nearest = min(away, key=lambda name: away[name])
    if away[nearest] < NEAR:
        return nearest
    head, knees, feet = (points.mean(0) for points in marks.values())
    down = knees - head
    share = float((spot - head) @ down / max(float(down @ down), 1e-9))
    if share < ZONES[0][0] and away["head"] < HEAD_ROUND:
        return "head"
    tall = float(feet[1] - head[1])
    if tall < TALL or not STANDING[0] < down[1] / tall < STANDING[1]:
        return None
    return next((name for down_to, name in ZONES if share < down_to), None)


def _side(spot: NDArray[np.float64], spread: float, polygon: Polygon) -> Side | None:
    """On which side of the black mass at its own height a spot lies, where that is sure."""
    x, y = float(spot[0]), float(spot[1])
    across = polygon.intersection(LineString([(-9, y), (9, y)]))
    mass = next((line.bounds for line in getattr(across, "geoms", [across]) if line.bounds[0] <= x <= line.bounds[2]),
                None)
    off = 0.0 if mass is None else x - (mass[0] + mass[2]) / 2
    if abs(off) < max(SIDE_OFF, SIDE_SPREADS * spread):
        return None
    return "picture left" if off < 0 else "picture right"


def _spots(body: BodyReading, outline: Outline, joint: str) -> list[tuple[NDArray[np.float64], float]]:
    """Where the reader puts the joints of one kind, in the outline's frame, with their spread (figure heights)."""
    size, origin = np.array(outline.picture_size), np.array(outline.origin_px)
    return [((np.array([j.x, j.y]) * size - origin) / outline.height_px, j.spread)
            for j in body.joints if j.joint == joint]
