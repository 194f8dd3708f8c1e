"""The drawings of the report page besides the wheel: outlines as compact paths, textures, view boxes."""

from __future__ import annotations

from collections.abc import Sequence

from shapely.geometry import MultiPolygon, Polygon

from silhouette.geometry.drawn import path_data, thinned
from silhouette.records import INFERRED, Pose, View
from silhouette.show.ink import kind_of

UNIT = 1000
"""Path units in a figure height."""
OFF = 0.00035
"""How far a path may lie off the outline, figure heights: a third of a pixel on a figure 800 pixels tall, the largest
that the page shows, with the rounding to a tenth of a unit."""


def path_d(polygon: Polygon | MultiPolygon) -> str:
    """Path data of an outline in thousandths of a figure height, y downwards, as fine as the page can show it."""
    return path_data(thinned(polygon, OFF), UNIT, digits=1)


def definitions(pose: Pose, key: str) -> str:
    """Every outline of a pose once, as ``key`` and its number, for ``<use>``."""
    paths = "".join(f'<path id="{key}v{i}" d="{path_d(v.outline.drawn)}"/>'
                    for i, v in enumerate(pose.views) if v.outline is not None)
    return f"<defs>{paths}</defs>"


def figure_class(view: View) -> str:
    """CSS class of a figure: seen, inferred or doubted."""
    return {"seen": "seen", INFERRED: "inferred"}.get(kind_of(view), "doubted")


PATTERNS = (
    '<defs><pattern id="hatch" width="5" height="5" patternUnits="userSpaceOnUse" patternTransform="rotate(45)">'
    '<path class="hatching" d="M0 0v5"/></pattern>'
    '<pattern id="wide" width="8" height="8" patternUnits="userSpaceOnUse" patternTransform="rotate(45)">'
    '<path class="hatching" d="M0 0v8"/></pattern>'
    '<pattern id="upright" width="22" height="22" patternUnits="userSpaceOnUse"><path class="stripe" d="M5 0v22"/>'
    '</pattern></defs>')
"""Textures, once a page: weak, a weak arc, an inferred figure. No tone has to be told by its colour alone."""


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
