"""Where on the figure each fault of a view sits, so that it can be circled.

The reasons of a view say what is wrong; this finds the spot on the outline that a finger would point at. Where the
learned reader placed hands or the head, its spots are used; else the spot follows from the body's build: arms are lost
between shoulder and hip, legs below the hip.
"""

from __future__ import annotations

import math
from collections.abc import Sequence
from dataclasses import dataclass, replace

from shapely.geometry import LineString, Point, Polygon
from shapely.geometry.base import BaseGeometry

from silhouette.records import ARM_TROUBLES, Note, Outline, Part, Reason, ReasonKind, View

ARM_HEIGHTS = (0.24, 0.50)
"""Heights between which a hanging arm lies beside the trunk, figure heights from the top (elbow at 0.37 of stature from
the top, fingertips lower: Drillis & Contini 1966 put shoulder and elbow at 0.818 and 0.630 of stature)."""
LEG_HEIGHTS = (0.55, 0.95)
ARM_THICK = 0.034
"""Half of a width, figure heights, that no arm has and every head has."""
KISS = 0.05
"""Radius of the ring round edges that just touch, figure heights."""
AT_HEAD = 0.12
"""A hand this near to the head's middle, figure heights, is not lost in the torso."""
SAME_GAP = 0.10
"""Two gaps of neighbouring views whose middles lie this near, figure heights, are taken for one gap."""
LEAST_GAP = 0.004
"""Share of the hull under which a gap that closes is not worth a circle."""


@dataclass(frozen=True)
class Trouble:
    """One spot to circle: an upright ellipse in the outline's frame (figure heights), and what is wrong there."""

    x: float
    y: float
    half_width: float
    half_height: float
    cause: Reason | Note


def troubles(view: View, neighbours: Sequence[View] = ()) -> list[Trouble]:
    """The spots to circle on one view, in the order of its reasons.

    Parameters
    ----------
    view : View
        Scored, with outline and measures; else there is nothing to circle.
    neighbours : sequence of View
        The stops on either side; a gap that is open there and shut here is circled too.

    Returns
    -------
    list of Trouble
        At most one for each reason and each closed gap; empty for a strong view without faults.
    """
    if not view.scored or view.outline is None or view.measures is None or view.reading is None:
        return []
    found: list[Trouble] = []
    tangents = list(view.measures.tangents)
    for why in view.reading.reasons:
        if why.kind in ARM_TROUBLES:
            found += _lost_arms(view, why)
        elif why.limb == "foot":
            feet = _joints_inside(view, "foot")[:2 if why.kind == ReasonKind.FEET_LOST else 1]
            found += [Trouble(x, y, 0.06, 0.06, why) for x, y in feet]
        elif why.limb == "leg":
            found.append(_legs(view.outline.polygon, why))
        elif why.limb == "head":
            found.append(_head(view, why))
        elif why.kind == ReasonKind.EDGES_TOUCH and tangents:
            x, y = tangents.pop(0).point
            found.append(Trouble(x, y, KISS, KISS, why))
    return found + _closed_gaps(view, neighbours)


def neighbours_of(view: View, views: Sequence[View]) -> list[View]:
    """The nearest scored view on either side."""
    others = [v for v in views if v.scored and v.angle != view.angle]
    after = min(others, key=lambda v: (v.angle - view.angle) % 360, default=None)
    before = min(others, key=lambda v: (view.angle - v.angle) % 360, default=None)
    return [v for v in (before, after) if v is not None]


def _span(polygon: Polygon, y: float) -> tuple[float, float] | None:
    """Leftmost and rightmost x of the figure at a height."""
    cut = polygon.intersection(LineString([(-9, y), (9, y)]))
    return None if cut.is_empty else (cut.bounds[0], cut.bounds[2])


def _lost_arms(view: View, why: Reason) -> list[Trouble]:
    """On the trunk's edge on the side where an arm is missed; on the middle of the trunk when both are."""
    outline = view.outline
    assert outline is not None
    hands = _joints_inside(view, "hand")
    both = why.kind == ReasonKind.ARMS_LOST
    if why.in_torso:  # Another hand, before the head, may be swallowed too: a ring there would point elsewhere.
        hands = [hand for hand in hands if all(math.dist(hand, head) > AT_HEAD for head in _heads(view, outline))]
    if hands:
        radius = 0.075
        if why.side is not None:
            hands.sort(key=lambda spot: spot[0], reverse=why.side == "picture right")
        if both and len(hands) > 1 and math.dist(*hands[:2]) < 2 * radius:
            (x0, y0), (x1, y1) = hands[:2]
            return [Trouble((x0 + x1) / 2, (y0 + y1) / 2, radius + abs(x1 - x0) / 2, radius + abs(y1 - y0) / 2, why)]
        return [Trouble(x, y, radius, radius, why) for x, y in hands[:2 if both else 1]]
    trunk = _without_parts(outline.polygon, view.measures.parts if view.measures else ())
    top, bottom = ARM_HEIGHTS
    middle = (top + bottom) / 2
    edges = _span(trunk, middle) or _span(outline.polygon, middle) or (-0.1, 0.1)
    half_height = (bottom - top) / 2
    if why.side is not None:
        x, inward = (edges[0], 0.03) if why.side == "picture left" else (edges[1], -0.03)
        return [Trouble(x + inward, middle, 0.06, half_height, why)]
    return [Trouble(sum(edges) / 2, middle, (edges[1] - edges[0]) / 2 + 0.03, half_height, why)]


def _legs(polygon: Polygon, why: Reason) -> Trouble:
    top, bottom = LEG_HEIGHTS
    spans = [span for y in (0.65, 0.75, 0.85) if (span := _span(polygon, y))]
    left, right = min((s[0] for s in spans), default=-0.1), max((s[1] for s in spans), default=0.1)
    return Trouble((left + right) / 2, (top + bottom) / 2, (right - left) / 2 + 0.03, (bottom - top) / 2, why)


def _head(view: View, why: Reason) -> Trouble:
    """Round the head as placed by the reader, else round the highest stretch that is no raised arm."""
    outline = view.outline
    assert outline is not None
    placed = _heads(view, outline)
    if placed:
        return Trouble(*placed[0], 0.075, 0.095, why)
    thick = outline.polygon.buffer(-ARM_THICK).buffer(ARM_THICK)
    top = (thick if not thick.is_empty else outline.polygon).bounds[1]
    span = _span(thick, top + 0.05) or _span(outline.polygon, 0.08) or (-0.05, 0.05)
    return Trouble((span[0] + span[1]) / 2, top + 0.06, min((span[1] - span[0]) / 2 + 0.03, 0.12), 0.09, why)


def _heads(view: View, outline: Outline) -> list[tuple[float, float]]:
    """The head's middle as the reader places it; empty where it did not read the view."""
    return [_in_frame(j.x, j.y, outline) for j in view.body.joints if j.joint == "head"] if view.body else []


def _without_parts(polygon: Polygon, parts: Sequence[Part]) -> Polygon:
    """The core of the outline: what is left when everything that stands out is taken off."""
    core: BaseGeometry = polygon.buffer(0)
    for part in parts:
        core = core.difference(part.polygon.buffer(0.002))
    pieces = [p for p in getattr(core, "geoms", [core]) if isinstance(p, Polygon) and not p.is_empty]
    return max(pieces, key=lambda p: p.area, default=polygon)


def _in_frame(x: float, y: float, outline: Outline) -> tuple[float, float]:
    """Picture fractions as outline coordinates."""
    width, height = outline.picture_size
    return ((x * width - outline.origin_px[0]) / outline.height_px,
            (y * height - outline.origin_px[1]) / outline.height_px)


def _joints_inside(view: View, joint: str) -> list[tuple[float, float]]:
    """Spots of one kind of joint that the black shape swallows: inside it and far from its edge, the farthest first."""
    if view.body is None or view.outline is None:
        return []
    spots = [_in_frame(j.x, j.y, view.outline) for j in view.body.joints if j.joint == joint and j.spread < 0.12]
    polygon = view.outline.polygon
    inside = [(polygon.boundary.distance(Point(s)), s) for s in spots if polygon.contains(Point(s))]
    return [s for depth, s in sorted(inside, reverse=True) if depth > 0.02]


def _closed_gaps(view: View, neighbours: Sequence[View]) -> list[Trouble]:
    """Enclosed gaps of the neighbours, the largest first, that have no gap near them here: at most one."""
    assert view.measures is not None and view.outline is not None
    here = [g.polygon.centroid for g in view.measures.gaps]
    lost = []
    for other in neighbours:
        for gap in other.measures.gaps_enclosed if other.measures is not None else ():
            spot = gap.polygon.centroid
            shut = view.outline.polygon.contains(spot) and all(spot.distance(c) > SAME_GAP for c in here)
            if shut and gap.share >= LEAST_GAP:
                radius = math.sqrt(gap.polygon.area / math.pi) + 0.03
                cause = Note.of("gap closed", at=other.angle)
                lost.append((gap.share, Trouble(spot.x, spot.y, radius, radius, cause)))
    return [trouble for _, trouble in sorted(lost, key=lambda item: -item[0])[:1]]


def numbered(found: Sequence[Trouble]) -> list[tuple[int, Trouble]]:
    """Troubles with their numbers on the page; spots of one fault share a number, and none lies on another."""
    numbers: dict[Reason | Note, int] = {}
    placed: list[tuple[int, Trouble]] = []
    for trouble in found:
        number = numbers.setdefault(trouble.cause, len(numbers) + 1)
        if any(math.hypot(trouble.x - t.x, trouble.y - t.y) < 0.03 for _, t in placed):
            trouble = replace(trouble, half_width=trouble.half_width + 0.03, half_height=trouble.half_height + 0.03)
        placed.append((number, trouble))
    return placed
