"""The drawings of the report page: outlines as compact paths, the wheel as inline SVG that takes its inks from CSS."""

from __future__ import annotations

from collections.abc import Iterable, Sequence
from html import escape

import numpy as np
from shapely.geometry import Polygon

from silhouette.records import INFERRED, Pose, View
from silhouette.settings import BAND_FAIR, BAND_STRONG
from silhouette.show import words
from silhouette.show.ink import kind_of, rings_of
from silhouette.show.rings import band_at, counts, ring_points
from silhouette.show.wheel_layout import Room, largest_scale, lay_out, letters_on, runs_of
from silhouette.texts import printable

UNIT = 1000
"""Path units in a figure height."""
DETAIL = 0.0012
"""Detail left out of the paths, figure heights: a pixel on a figure 800 pixels tall."""
WHEEL = (480.0, 460.0)
"""Width and height of the wheel's own units; type in it is 11 of them."""
TYPE = 11.0
# A letter's width over its size, good enough to keep angles apart whatever face the reader's machine has.
LETTER = 0.62


def path_d(polygon: Polygon) -> str:
    """Path data of an outline in thousandths of a figure height, y downwards, each step told from the last point."""
    pieces = []
    thin = polygon.simplify(DETAIL)
    for ring in rings_of(thin if isinstance(thin, Polygon) and not thin.is_empty else polygon):
        points = np.round(ring[:-1] * UNIT).astype(int)
        steps = np.diff(points, axis=0)
        told = " ".join(f"{dx} {dy}" for dx, dy in steps[np.any(steps != 0, axis=1)].tolist())
        pieces.append(f"M{points[0, 0]} {points[0, 1]}l{told}z")
    return "".join(pieces).replace(" -", "-")


def line_d(points: Iterable[tuple[float, float]], close: bool = False) -> str:
    """Path data of a line in whole units and tenths."""
    return "M" + "L".join(f"{x:.1f} {y:.1f}" for x, y in points) + ("Z" if close else "")


def definitions(pose: Pose, key: str) -> str:
    """Every outline of a pose once, as ``key`` and its number, for ``<use>``."""
    paths = "".join(f'<path id="{key}v{i}" d="{path_d(v.outline.polygon)}"/>'
                    for i, v in enumerate(pose.views) if v.outline is not None)
    return f"<defs>{paths}</defs>"


def figure_class(view: View) -> str:
    """CSS class of a figure: seen, inferred or doubted."""
    return {"seen": "seen", INFERRED: "inferred"}.get(kind_of(view), "doubted")


def wheel_svg(pose: Pose, key: str, arc: tuple[float, float] | None = None) -> str:
    """The wheel: ring, line, figures, a letter on each weak arc, and a mark for the camera that a script can turn.

    With an ``arc`` (from, to, clockwise) a bracket marks it, and the ring is pale outside it.
    """
    width, height = WHEEL
    room = Room(width / 2 - 4, height / 2 - 4, lambda view: words.degrees(view.angle),
                lambda text: LETTER * TYPE * len(text) + 2, TYPE + 3)
    layout = lay_out(pose.views, room, largest_scale([pose.views], room))
    rim = 0.9 * layout.ring
    hub = 0.3 * rim
    index = {id(view): i for i, view in enumerate(pose.views)}
    figures, labels = [], []
    for place in layout.places:
        i, x, feet = index[id(place.view)], place.x, -place.feet
        weak = place.view.scored and place.view.reading is not None and place.view.reading.band == "weak"
        if place.view.outline is not None:
            scale = place.height / UNIT
            figures.append(f'<use href="#{key}v{i}" class="{figure_class(place.view)}" data-i="{i}" '
                           f'transform="translate({x:.1f} {feet - place.height:.1f}) scale({scale:.4f})"/>')
        if weak and counts(place.view.angle, arc):
            half = min(max(0.12 * layout.tall, 4), place.half_width - 1)
            figures.append(f'<path class="bar" d="M{x - half:.1f} {feet + 2:.1f}h{2 * half:.1f}"/>')
        labels.append(f'<text data-i="{i}" x="{x:.1f}" y="{feet + TYPE + 2:.1f}">{place.label}</text>')
    summary = escape(printable(f"{pose.name} {words.headline(pose)}, seen from above."), quote=True)
    return (f'<svg class="wheel" role="img" aria-label="{summary}" viewBox="{-width / 2:g} {-height / 2:g} {width:g} '
            f'{height:g}"><title>{summary}</title>{_ring(pose, rim, layout.ring, arc)}{_line(pose, hub, rim)}'
            f'{_body(hub)}<g class="figures">{"".join(figures)}</g><g class="labels">{"".join(labels)}</g>'
            f'{_letters(pose, hub, rim)}'
            f'<path class="camera" d="M0 {rim - 1:.1f}l-7 -15h14z"/></svg>')


PATTERNS = (
    '<defs><pattern id="hatch" width="5" height="5" patternUnits="userSpaceOnUse" patternTransform="rotate(45)">'
    '<path class="hatching" d="M0 0v5"/></pattern>'
    '<pattern id="wide" width="8" height="8" patternUnits="userSpaceOnUse" patternTransform="rotate(45)">'
    '<path class="hatching" d="M0 0v8"/></pattern>'
    '<pattern id="upright" width="22" height="22" patternUnits="userSpaceOnUse"><path class="stripe" d="M5 0v22"/>'
    '</pattern></defs>')
"""Textures, once a page: weak, a weak arc, an inferred figure. No tone has to be told by its colour alone."""


def _at(degrees: np.ndarray, radius: np.ndarray | float) -> np.ndarray:
    """Points (n, 2) of the page, y downwards, at these camera angles and radii."""
    return ring_points(np.zeros(2), degrees, radius) * (1, -1)


def _sector(start: float, end: float, inner: np.ndarray | float, outer: np.ndarray | float) -> str:
    sweep = np.linspace(start, end, max(2, int(end - start) + 1))
    return line_d([*_at(sweep, outer).tolist(), *_at(sweep[::-1], inner).tolist()], close=True)


def _ring(pose: Pose, rim: float, ring: float, arc: tuple[float, float] | None) -> str:
    kinds = [(band_at(value).replace(" ", "") if counts(angle, arc) else "aside") + (" half" if far else "")
             for angle, (value, far) in enumerate(zip(pose.round.degrees, pose.round.inferred, strict=True))]
    bracket = ""
    if arc is not None:
        sweep = np.linspace(arc[0], arc[0] + ((arc[1] - arc[0]) % 360 or 360), 181)
        ends = [_at(sweep[[i]], rim - 2) for i in (0, -1)]
        line = np.concatenate([ends[0], _at(sweep, ring + 2.5), ends[1]])
        bracket = f'<path class="bracket" d="{line_d(line.tolist())}"/>'
    return '<g class="ring">' + "".join(
        f'<path class="{kind}" d="{_sector(a - 0.5, b - 0.5, (rim + ring) / 2 if "half" in kind else rim + 1, ring)}"/>'
        for a, b, kind in runs_of(kinds)) + bracket + "</g>"


def _line(pose: Pose, hub: float, rim: float) -> str:
    """The line of readability, the ground under it, what is missing on the weak arcs, the two limits."""
    values = pose.round.degrees
    radius = hub + (rim - hub) * values / 100
    parts = []
    for a, b, kind in runs_of(["no" if np.isnan(v) else "dashed" if far else "drawn"
                               for v, far in zip(values, pose.round.inferred, strict=True)]):
        sweep = np.arange(a, b + 1)
        sweep = sweep[~np.isnan(values[sweep % 360])]
        if kind == "no" or len(sweep) < 2:
            continue
        edge = _at(sweep, radius[sweep % 360]).tolist()
        parts += [f'<path class="ground" d="{line_d([*edge, *_at(sweep[::-1], hub).tolist()], close=True)}"/>',
                  f'<path class="line {kind}" d="{line_d(edge)}"/>']
    for arc in pose.round.weak_arcs:
        sweep = np.arange(np.ceil(arc.start), np.floor(arc.start + arc.width) + 1).astype(int)
        sweep = sweep[~np.isnan(values[sweep % 360])]
        edge = [*_at(sweep, radius[sweep % 360]).tolist(), *_at(sweep[::-1], rim).tolist()]
        parts.append(f'<path class="lost" d="{line_d(edge, close=True)}"/>')
    limits = "".join(f'<circle class="limit" r="{hub + (rim - hub) * limit / 100:.1f}"/>'
                     for limit in (BAND_FAIR, BAND_STRONG))
    return "".join(sorted(parts, key=lambda p: "line" in p)) + limits


def _body(hub: float) -> str:
    """The figure from above, looking down the page."""
    size = 0.95 * hub
    return (f'<g class="body" transform="translate(0 {-0.2 * size:.1f})">'
            f'<ellipse class="shoulders" rx="{0.5 * size:.1f}" '
            f'ry="{0.17 * size:.1f}"/><path class="head" d="M{-0.08 * size:.1f} {0.13 * size:.1f}h{0.16 * size:.1f}'
            f'l{-0.08 * size:.1f} {0.17 * size:.1f}z"/>'
            f'<ellipse class="head" rx="{0.14 * size:.1f}" ry="{0.17 * size:.1f}"/>'
            f'<text y="{0.36 * size + TYPE * 0.8:.1f}">front</text></g>')


def _letters(pose: Pose, hub: float, rim: float) -> str:
    radius = 0.75 * TYPE
    return "".join(
        f'<g class="letter" transform="translate({x:.1f} {-y:.1f})"><circle r="{radius:.1f}"/>'
        f'<text y="{0.36 * TYPE:.1f}">{letter}</text></g>'
        for letter, _, (x, y) in letters_on(pose.round.weak_arcs, hub, rim, radius))


def extent(views: Sequence[View], heights: dict[int, float]) -> tuple[int, int]:
    """Half width and height of the box that holds every figure of a pose on one ground line, path units.

    ``heights`` as of :func:`silhouette.show.ink.relative_heights`.
    """
    half = 0.22
    for i, view in enumerate(views):
        if view.outline is not None:
            left, _, right, _ = view.outline.polygon.bounds
            half = max(half, -left * heights[i], right * heights[i])
    return round(half * UNIT) + 30, round(max(heights.values(), default=1.0) * UNIT)


def view_box(half: int, tall: int) -> str:
    """An svg view box for an :func:`extent`, with a little air; the ground line lies at ``UNIT``."""
    return f"{-half} {UNIT - tall - 30} {2 * half} {tall + 60}"
