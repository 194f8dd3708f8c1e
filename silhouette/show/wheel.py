"""The wheel as numbers: where everything on it lies, decided once; ``wheel_axes`` and ``wheel_svg`` only paint it.

The page is the floor. The figure stands in the middle and looks down the page, so the camera at 0 is at the bottom and
angles run clockwise, as one walks round it; the figure's right hand is on the page's left. From the middle outwards:
the figure from above; a line that is near the middle where the outline is lost and near the ring where it is clear; the
ring, whose tone is the band; the figures.

Where a pose was shot in several rings, this is the headline's, and each other ring is a thinner band round the same
middle: a higher one inside, a lower one outside, as the cameras stand to somebody who looks down on the figure. The
thick band with line and figures is the headline's. A word just inside each band names it.

Points throughout, from the wheel's middle, y upwards.
"""

from __future__ import annotations

from collections.abc import Callable, Sequence
from dataclasses import dataclass
from typing import Any

import numpy as np
from numpy.typing import NDArray

from silhouette.geometry import angles
from silhouette.records import Arc, Pose, PoseRing, Round, View
from silhouette.settings import BAND_FAIR, BAND_STRONG, RINGS, Ring, band_at
from silhouette.show.ink import kind_of, relative_heights
from silhouette.show.wheel_layout import Room, Scale, largest_scale, lay_out, letters_on

Points = NDArray[np.float64]
"""(n, 2) points of the page."""

NOTCH = 2.5
"""How far the mark of a stop stands out of the ring, points."""
RIM = 0.9
"""Where the ring begins, over its outer radius."""
LINE_ROOM = 3.0
"""Sizes of the type that the line is to have between the rings inside it and its own."""
NAMED_BODY = 2.6
"""Sizes of the type that the radius round the body must have for its front and hands to be named."""
SHORTEST_WAY = 3.0
"""A line from the ring to a figure shorter than this, points, is left out."""
THICK, WORD = 0.7, 1.45
"""Of another ring's band, and of the room for its name before it: in sizes of the type."""
LETTER, UPPER = 0.31, 0.45
"""Half of a letter's width and height, in sizes of the type: good enough to keep a word off its band."""
NAMED_FROM = 14.0
"""Sizes of the type that the shorter half of a wheel's room must have for the rings to be named on it."""
THIN_NOTCH = 1.6
"""How far the mark of a stop stands out of another ring's band, points."""


@dataclass(frozen=True)
class Band:
    """A piece of the ring."""

    kind: str
    """strong, fair or weak; "no view"; "aside" where it does not count."""
    inferred: bool
    edge: Points


@dataclass(frozen=True)
class Figure:
    """One figure, upright."""

    view: View
    kind: str
    """As of ``ink.kind_of``; "no figure" where there is no outline."""
    x: float
    feet: float
    height: float
    half_width: float
    label: str
    bar: float
    """Half the length of the bar under a weak view that counts; 0 for none."""
    way: Points | None
    """The line from the ring to it, (2, 2), where it stands off."""


@dataclass(frozen=True)
class Letter:
    """The letter of a weak stretch."""

    letter: str
    arc: Arc
    x: float
    y: float
    radius: float


@dataclass(frozen=True)
class OtherRing:
    """The band of a ring that is not the headline's."""

    ring: Ring
    inner: float
    outer: float
    bands: tuple[Band, ...]
    notches: tuple[Points, ...]


@dataclass(frozen=True)
class RingName:
    """What a ring is called on the wheel, set along its band."""

    word: str
    x: float
    """Of the word's middle."""
    y: float
    turn: float
    """Degrees, counter-clockwise."""
    headline: bool


@dataclass(frozen=True)
class Nest:
    """Which other rings of a pose lie where, and what each takes; points."""

    inside: tuple[PoseRing, ...] = ()
    """Higher rings, from the middle outwards."""
    outside: tuple[PoseRing, ...] = ()
    """Lower rings, from the headline's outwards."""
    gap: float = 0.0
    """Before each band."""
    thick: float = 0.0
    named: bool = False

    @property
    def beyond(self) -> float:
        """What the rings outside the headline's take."""
        return NOTCH + len(self.outside) * self.each if self.outside else 0.0

    @property
    def each(self) -> float:
        """What a ring takes, the marks of its stops and the room before it included."""
        return self.gap + self.thick + THIN_NOTCH

    def least(self, type_size: float) -> float:
        """Radius of the headline's ring with which its line has some room beside the rings inside it."""
        if not (self.inside and self.named):
            return 0.0
        return (self.within(NAMED_BODY * type_size, np.inf)[0] + (NAMED_BODY + LINE_ROOM) * type_size) / RIM

    def within(self, body: float, rim: float) -> tuple[float, float]:
        """How much the rings inside move the line out from a body of that radius, and by what they are made smaller
        where that would leave the line hardly any room."""
        wanted = len(self.inside) * self.each + 1 if self.inside else 0.0
        room = max(0.75 * rim - body, 0.0)
        return min(wanted, room), 1.0 if wanted <= room else room / wanted


@dataclass(frozen=True)
class Body:
    """The body from above, looking down the page: two ellipses, a nose, and names where there is room for them."""

    y: float
    shoulders: tuple[float, float]
    """Width and height."""
    head: tuple[float, float]
    nose: Points
    names: tuple[tuple[str, float, float, str], ...]
    """Word, x, y and which side of it lies there: middle (its top), right or left."""


@dataclass(frozen=True)
class Wheel:
    """Everything on one wheel."""

    hub: float
    """Radius of readability 0."""
    rim: float
    """Radius of readability 100, where the ring begins."""
    ring: float
    """The ring's outer radius."""
    body: Body
    bands: tuple[Band, ...]
    notches: tuple[Points, ...]
    """(2, 2): a stroke at every stop that was shot."""
    bracket: Points | None
    """The line round the only views that count."""
    ground: tuple[Points, ...]
    """What lies between the hub and the line."""
    lines: tuple[tuple[bool, Points], ...]
    """The line of readability in pieces; True where it is inferred."""
    limits: tuple[float, float]
    """Radii of the two circles between the bands."""
    lost: tuple[Points, ...]
    """Between the line and the rim on a weak stretch: what is missing there."""
    letters: tuple[Letter, ...]
    figures: tuple[Figure, ...]
    others: tuple[OtherRing, ...] = ()
    """From the middle outwards."""
    names: tuple[RingName, ...] = ()
    """In the same order, the headline's among them; empty for a pose of one ring, and where there is no room."""


def on_ring(degrees: NDArray[Any] | Sequence[float], radius: NDArray[np.float64] | float) -> Points:
    """(n, 2) points at these camera angles and radii."""
    turn = np.radians(degrees)
    return np.column_stack([-radius * np.sin(turn), -radius * np.cos(turn)])


def sector(start: float, end: float, inner: float, outer: float) -> Points:
    """The edge of the piece of a ring from ``start`` clockwise to ``end``, degrees; closed."""
    sweep = np.linspace(start, start + angles.width((start, end)), max(2, int(angles.width((start, end))) + 1))
    edge = np.concatenate([on_ring(sweep, outer), on_ring(sweep[::-1], inner)])
    return np.concatenate([edge, edge[:1]])


def wheel_of(pose: Pose, room: Room, type_size: float, *, scale: Scale | None = None, arc: angles.Arc | None = None,
             lettered: bool = True) -> Wheel:
    """Lay one pose's wheel out.

    Parameters
    ----------
    room : Room
        What its figures may fill.
    type_size : float
        Of the small type on it, points.
    scale : Scale, optional
        Shared with other wheels; by default the largest that fits.
    arc : (float, float), optional
        The only views that count, from and to, clockwise.
    lettered : bool
        Whether the weak stretches get letters.
    """
    nest = nest_of(pose, room, type_size)
    scale = scale or largest_scale([pose.views], room, [nest.beyond], nest.least(type_size))
    inner, rim = radii(scale.ring, type_size)
    inner = min(inner, NAMED_BODY * type_size) if nest.inside else inner
    hub = inner + nest.within(inner, rim)[0]
    walk = pose.round
    radius = hub + (rim - hub) * walk.degrees / 100
    stops = np.array([v.angle for v in pose.views if not v.inferred])
    notches = np.stack([on_ring(stops, scale.ring - 0.5), on_ring(stops, scale.ring + NOTCH)], axis=1)
    pieces = _line(walk, radius)
    at = 0.75 * type_size
    letters = letters_on(walk.weak_arcs, hub, rim, at) if lettered else []
    others = _other_rings(nest, inner, rim, scale.ring, arc)
    lettering = tuple(Letter(letter, weak, x, y, at) for letter, weak, (x, y) in letters)
    return Wheel(
        hub=hub, rim=rim, ring=scale.ring, body=body_of(inner, type_size), bands=_bands(walk, rim, scale.ring, arc),
        notches=tuple(notches), bracket=None if arc is None else _bracket(rim, scale.ring, arc),
        ground=tuple(_closed(on_ring(sweep, radius[sweep % 360]), on_ring(sweep[::-1], hub)) for _, sweep in pieces),
        lines=tuple((inferred, on_ring(sweep, radius[sweep % 360])) for inferred, sweep in pieces),
        limits=(hub + (rim - hub) * BAND_FAIR / 100, hub + (rim - hub) * BAND_STRONG / 100),
        lost=tuple(_lost(weak, radius, rim) for weak in walk.weak_arcs),
        letters=lettering,
        figures=_figures(pose, room, scale, arc, nest.beyond), others=others,
        names=_names(pose, others, lettering, radius, rim, type_size) if nest.named and others else ())


def nest_of(pose: Pose, room: Room, type_size: float) -> Nest:
    """Where the other rings of a pose lie round its headline's: higher ones inside, lower ones outside."""
    if not pose.other_rings:
        return Nest()
    reach = min(room.half_width, room.half_height)
    named = reach >= NAMED_FROM * type_size
    own = RINGS.index(pose.ring)
    downwards = sorted(pose.other_rings, key=lambda one: -RINGS.index(one.ring))
    return Nest(tuple(one for one in downwards if RINGS.index(one.ring) > own),
                tuple(one for one in downwards if RINGS.index(one.ring) < own),
                WORD * type_size if named else min(THIN_NOTCH + 1.2, 0.04 * reach),
                min(THICK * type_size, 0.06 * reach), named)


def radii(ring: float, type_size: float) -> tuple[float, float]:
    """Radius of readability 0 and of readability 100, points; the ring's tone lies between the latter and ``ring``."""
    rim = ring * RIM
    return max(0.3 * rim, min(3.4 * type_size, 0.45 * rim)), rim


def body_of(hub: float, type_size: float) -> Body:
    """The body in a hub of that radius; its front and hands named where there is room."""
    named = hub >= NAMED_BODY * type_size
    size = hub if named else 1.5 * hub
    y = 0.25 * hub if named else 0.0
    nose = np.array([(-0.08 * size, y - 0.14 * size), (0.08 * size, y - 0.14 * size), (0, y - 0.30 * size)])
    names = (("front", 0.0, y - 0.36 * size, "middle"), ("R", -0.56 * size, y, "right"), ("L", 0.56 * size, y, "left"))
    return Body(y, (size, 0.34 * size), (0.28 * size, 0.34 * size), nose, names if named else ())


def is_weak(view: View, arc: angles.Arc | None) -> bool:
    """Whether a view is weak and counts."""
    return (view.scored and view.reading is not None and view.reading.band == "weak"
            and angles.on_arc(view.angle, arc))


def _other_rings(nest: Nest, body: float, rim: float, ring: float, arc: angles.Arc | None) -> tuple[OtherRing, ...]:
    """The bands of the other rings, from the middle outwards."""
    smaller = nest.within(body, rim)[1]
    found = []
    for ones, at, size in ((nest.inside, body, smaller), (nest.outside, ring + NOTCH, 1.0)):
        for one in ones:
            inner = at + size * nest.gap
            outer, at = inner + size * nest.thick, inner + size * (nest.thick + THIN_NOTCH)
            stops = np.array([v.angle for v in one.views if not v.inferred])
            notches = np.stack([on_ring(stops, outer - 0.3), on_ring(stops, at)], axis=1)
            found.append(OtherRing(one.ring, inner, outer, _bands(one.round, inner - 1, outer, arc), tuple(notches)))
    return tuple(found)


def _names(pose: Pose, others: Sequence[OtherRing], letters: Sequence[Letter], radius: NDArray[np.float64], rim: float,
           type_size: float) -> tuple[RingName, ...]:
    """What each ring is called, just inside its band, over the figure's back; the headline's as near to there as it
    stands clear of its letters, of its line and of its weak stretches."""
    def middle(word: str, edge: float) -> float:
        """The farthest that a word may lie from the wheel's middle without its corners touching the band."""
        half = LETTER * len(word) * type_size
        return float(np.sqrt(max(edge ** 2 - half ** 2, 0.0))) - UPPER * type_size

    own = middle(pose.ring, rim - 0.2 * type_size)
    wide = LETTER * len(pose.ring) * type_size + 2
    half = np.degrees(wide / max(own, 1.0))

    def taken(angle: float) -> float:
        span = np.arange(int(angle - half), int(angle + half) + 2) % 360
        line = float(np.nan_to_num(radius[span], nan=0.0).max())
        weak = any(angles.apart(angle, a.start + a.width / 2) < a.width / 2 + half for a in pose.round.weak_arcs)
        (x, y), = on_ring([angle], own).tolist()
        crowd = max((one.radius + wide - float(np.hypot(x - one.x, y - one.y)) for one in letters), default=0.0)
        return max(line - (own - 0.6 * type_size), 0.0) + rim * (weak + 3 * max(crowd, 0.0))

    ray = min((180 + side * step for step in range(0, 90, 5) for side in (1, -1)), key=taken)
    names = [RingName(one.ring, 0.0, middle(one.ring, one.inner - 0.12 * type_size), 0.0, False) for one in others]
    (x, y), = on_ring([ray], own).tolist()
    names.append(RingName(pose.ring, x, y, 180.0 - ray, True))
    return tuple(sorted(names, key=lambda name: np.hypot(name.x, name.y)))


def _bands(walk: Round, inner: float, outer: float, arc: angles.Arc | None) -> tuple[Band, ...]:
    """The ring in pieces of one tone; half as wide where inferred. A degree reaches to the next, as in the arcs."""
    on = angles.degrees_on(arc)
    kinds = np.array([band_at(value) if counts else "aside" for value, counts in zip(walk.degrees, on, strict=True)])
    bands = []
    for kind in dict.fromkeys(kinds.tolist()):
        for inferred in (False, True):
            low = (inner + outer) / 2 if inferred else inner + 1
            bands += [Band(kind, inferred, sector(a, b, low, outer))
                      for a, b in angles.runs((kinds == kind) & (walk.inferred == inferred))]
    return tuple(bands)


def _bracket(inner: float, outer: float, arc: angles.Arc) -> Points:
    """A line round the stretch that counts, closed at both ends by a stroke across the ring."""
    sweep = np.linspace(arc[0], arc[0] + angles.width(arc), 181)
    ends = [on_ring(sweep[[i]], inner - 2) for i in (0, -1)]
    return np.concatenate([ends[0], on_ring(sweep, outer + NOTCH + 0.4), ends[1]])


def _line(walk: Round, radius: NDArray[np.float64]) -> list[tuple[bool, NDArray[np.int_]]]:
    """The whole degrees of each piece of the line, seen ones before inferred; neighbours share an end."""
    pieces = []
    for inferred in (False, True):
        for a, b in angles.runs(~np.isnan(radius) & (walk.inferred == inferred)):
            sweep = np.arange(int(a), int(a + angles.width((a, b))) + 1)
            pieces.append((inferred, sweep[~np.isnan(radius[sweep % 360])]))
    return [(inferred, sweep) for inferred, sweep in pieces if len(sweep) > 1]


def _lost(weak: Arc, radius: NDArray[np.float64], rim: float) -> Points:
    sweep = np.arange(int(np.ceil(weak.start)), int(np.floor(weak.start + weak.width)) + 1)
    sweep = sweep[~np.isnan(radius[sweep % 360])]
    return _closed(on_ring(sweep, radius[sweep % 360]), on_ring(sweep[::-1], rim))


def _closed(there: Points, back: Points) -> Points:
    return np.concatenate([there, back, there[:1]])


def _figures(pose: Pose, room: Room, scale: Scale, arc: angles.Arc | None, beyond: float) -> tuple[Figure, ...]:
    layout = lay_out(pose.views, room, scale, beyond)
    figures = []
    for place in layout.places:
        bar = min(max(0.12 * layout.tall, 4.0), place.half_width - 1) if is_weak(place.view, arc) else 0.0
        figures.append(Figure(
            place.view, kind_of(place.view) if place.view.outline is not None else "no figure", place.x, place.feet,
            place.height, place.half_width, place.label, bar, way_of(place.view.angle, place.way)))
    return tuple(figures)


def strip_of(views: Sequence[View], width: float, height: float, rows: int, arc: angles.Arc | None,
             label: Callable[[View], str], type_size: float) -> tuple[Figure, ...]:
    """Views in even rows, each row on one ground line, from the upper left corner of a box of that size; its lower left
    corner is the origin, points. The tallest figure is as tall as the box allows."""
    columns = max(-(-len(views) // rows), 1)
    sizes = relative_heights(views)
    spans = {i: one.outline.polygon.bounds for i, one in enumerate(views) if one.outline is not None}
    widest = max([(spans[i][2] - spans[i][0]) * size for i, size in sizes.items()] + [0.2])
    cell, below = width / columns, 1.2 * type_size + 3.4
    tall = max(min((cell - 3) / widest, height / rows - below - 3), 1.0)
    each = min(height / rows, 1.25 * (tall + below + 3))
    figures = []
    for i, view in enumerate(views):
        row, column = divmod(i, columns)
        feet = height - row * each - 3 - tall
        bar = min(max(0.12 * tall, 4.0), cell / 2 - 2) if is_weak(view, arc) else 0.0
        figures.append(Figure(view, kind_of(view) if view.outline is not None else "no figure", (column + 0.5) * cell,
                              feet, tall * sizes.get(i, 0.5), cell / 2, label(view), bar, None))
    return tuple(figures)


def way_of(angle: float, way: tuple[float, float]) -> Points | None:
    """The line that ties a figure to the ring, (2, 2), between two distances on its ray; None where they are near."""
    start, end = way[0] + NOTCH, way[1]
    return on_ring([angle, angle], np.array([start, end])) if end - start >= SHORTEST_WAY else None


