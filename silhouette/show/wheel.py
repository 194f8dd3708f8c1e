"""The wheel as numbers: where everything on it lies, decided once; ``wheel_axes`` and ``wheel_svg`` only paint it.

The page is the floor. The figure stands in the middle and looks down the page, so the camera at 0 is at the bottom and
angles run clockwise, as one walks round it; the figure's right hand is on the page's left. From the middle outwards:
the figure from above; a line that is near the middle where the outline is lost and near the ring where it is clear; the
ring, whose tone is the band; the figures.

Points throughout, from the wheel's middle, y upwards.
"""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass
from typing import Any

import numpy as np
from numpy.typing import NDArray

from silhouette.geometry import angles
from silhouette.records import Arc, Pose, Round, View
from silhouette.settings import BAND_FAIR, BAND_STRONG, band_at
from silhouette.show.ink import kind_of
from silhouette.show.wheel_layout import Room, Scale, largest_scale, lay_out, letters_on

Points = NDArray[np.float64]
"""(n, 2) points of the page."""

NOTCH = 2.5
"""How far the mark of a stop stands out of the ring, points."""
SHORTEST_WAY = 3.0
"""A line from the ring to a figure shorter than this, points, is left out."""


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
    scale = scale or largest_scale([pose.views], room)
    hub, rim = radii(scale.ring, type_size)
    walk = pose.round
    radius = hub + (rim - hub) * walk.degrees / 100
    stops = np.array([v.angle for v in pose.views if not v.inferred])
    notches = np.stack([on_ring(stops, scale.ring - 0.5), on_ring(stops, scale.ring + NOTCH)], axis=1)
    pieces = _line(walk, radius)
    at = 0.75 * type_size
    letters = letters_on(walk.weak_arcs, hub, rim, at) if lettered else []
    return Wheel(
        hub=hub, rim=rim, ring=scale.ring, body=body_of(hub, type_size), bands=_bands(walk, rim, scale.ring, arc),
        notches=tuple(notches), bracket=None if arc is None else _bracket(rim, scale.ring, arc),
        ground=tuple(_closed(on_ring(sweep, radius[sweep % 360]), on_ring(sweep[::-1], hub)) for _, sweep in pieces),
        lines=tuple((inferred, on_ring(sweep, radius[sweep % 360])) for inferred, sweep in pieces),
        limits=(hub + (rim - hub) * BAND_FAIR / 100, hub + (rim - hub) * BAND_STRONG / 100),
        lost=tuple(_lost(weak, radius, rim) for weak in walk.weak_arcs),
        letters=tuple(Letter(letter, weak, x, y, at) for letter, weak, (x, y) in letters),
        figures=_figures(pose, room, scale, arc))


def radii(ring: float, type_size: float) -> tuple[float, float]:
    """Radius of readability 0 and of readability 100, points; the ring's tone lies between the latter and ``ring``."""
    rim = ring * 0.9
    return max(0.3 * rim, min(3.4 * type_size, 0.45 * rim)), rim


def body_of(hub: float, type_size: float) -> Body:
    """The body in a hub of that radius; its front and hands named where there is room."""
    named = hub >= 2.6 * type_size
    size = hub if named else 1.5 * hub
    y = 0.25 * hub if named else 0.0
    nose = np.array([(-0.08 * size, y - 0.14 * size), (0.08 * size, y - 0.14 * size), (0, y - 0.30 * size)])
    names = (("front", 0.0, y - 0.36 * size, "middle"), ("R", -0.56 * size, y, "right"), ("L", 0.56 * size, y, "left"))
    return Body(y, (size, 0.34 * size), (0.28 * size, 0.34 * size), nose, names if named else ())


def is_weak(view: View, arc: angles.Arc | None) -> bool:
    """Whether a view is weak and counts."""
    return (view.scored and view.reading is not None and view.reading.band == "weak"
            and angles.on_arc(view.angle, arc))


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


def _figures(pose: Pose, room: Room, scale: Scale, arc: angles.Arc | None) -> tuple[Figure, ...]:
    layout = lay_out(pose.views, room, scale)
    figures = []
    for place in layout.places:
        bar = min(max(0.12 * layout.tall, 4.0), place.half_width - 1) if is_weak(place.view, arc) else 0.0
        figures.append(Figure(
            place.view, kind_of(place.view) if place.view.outline is not None else "no figure", place.x, place.feet,
            place.height, place.half_width, place.label, bar, way_of(place.view.angle, place.way)))
    return tuple(figures)


def way_of(angle: float, way: tuple[float, float]) -> Points | None:
    """The line that ties a figure to the ring, (2, 2), between two distances on its ray; None where they are near."""
    start, end = way[0] + NOTCH, way[1]
    return on_ring([angle, angle], np.array([start, end])) if end - start >= SHORTEST_WAY else None


