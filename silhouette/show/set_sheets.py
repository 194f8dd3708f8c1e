"""Printed sheets of a reference set: a contact sheet, and true-scale sheets on which calipers can be used."""

from __future__ import annotations

import math
from collections.abc import Iterator, Mapping, Sequence
from dataclasses import dataclass
from typing import TYPE_CHECKING, Any

import shapely
from shapely import affinity

from silhouette.geometry.angles import apart
from silhouette.records import Pixels
from silhouette.records_shoot import SetFigure, SetLayout
from silhouette.show.ink import (
    FAIR,
    INK,
    OFF,
    PALE,
    SMALLEST,
    SOFT,
    add_paths,
    fit_line,
    new_figure,
    outline_path,
    page_axes,
    style,
    text_width,
)
from silhouette.show.paper import MM, PAPER_MM, page_bytes, page_points, pages_pdf
from silhouette.show.words import degrees

if TYPE_CHECKING:
    from matplotlib.figure import Figure

MARGIN = 34.0
"""Paper left free on a contact sheet, points (12 mm)."""
MOST_FIGURES = 42
"""Figures on one page of a contact sheet: more are too small to read at arm's length."""
EDGE_MM = 8.0
"""Paper that a printer may not reach, mm."""
HEAD_MM, FOOT_MM = 10.0, 14.0
"""Strips for the heading and the check ruler of a scale sheet, mm."""
OVERLAP_MM = 10.0
"""What neighbouring tiles of one figure share, mm."""
TICK_MM = 8.0
"""Marks at a sheet's edges for laying it on its neighbour, mm."""
AIR_MM = 4.0
"""Paper round a figure on its scale sheets, mm."""
RULER_MM = 100
TRUE_OFF = 0.02
"""How far a contour drawn to scale may lie off, points: under a hundredth of a millimetre."""


def contact_sheet(
    layout: SetLayout, *, kind: str = "pdf", paper: str = "a4", photos: Mapping[str, Pixels] | None = None
) -> bytes:
    """All stops in the order of the angles, one scale, one ground line a row.

    Parameters
    ----------
    kind : {"pdf", "png"}
        A pdf has as many pages as are needed, a png is the first of them.
    photos : mapping of stem to (h, w, 3) BGR, optional
        From ``small_pictures``: all in the layout's window. The sheet then shows photographs in place of black shapes.
    """
    with style():
        pages = _contact_pages(layout, paper, photos)
        return page_bytes(next(pages), "png") if kind == "png" else pages_pdf(list(pages))


def _contact_pages(layout: SetLayout, paper: str, photos: Mapping[str, Pixels] | None) -> Iterator[Figure]:
    shown = [f for f in layout.figures if photos is None or f.stem in photos]
    width, height = page_points(paper)
    left, top, right, bottom = layout.window
    inner, room = width - 2 * MARGIN, height - 2 * MARGIN - 46
    pages = max(1, math.ceil(len(shown) / MOST_FIGURES))
    columns = _columns(math.ceil(len(shown) / pages), (right - left) / (bottom - top), inner, room)
    rows = max(1, math.ceil(len(shown) / pages / columns))
    unit = min((inner / columns - 2) / (right - left), (room / rows - 16) / (bottom - top))
    per_page = columns * rows
    for number in range(pages):
        figure = new_figure(width, height)
        page = page_axes(figure, 0, 0, width, height)
        _contact_heading(page, layout, width, height, number, pages, photos is not None)
        for i, one in enumerate(shown[number * per_page:(number + 1) * per_page]):
            row, column = divmod(i, columns)
            x = MARGIN + (column + 0.5) * inner / columns - (left + right) / 2 * unit
            ground = height - MARGIN - 46 - row * (room / rows) + top * unit
            if photos is not None:
                _photo(page, photos[one.stem], x, ground, unit, layout.window)
            else:
                _shape(page, one, layout, x, ground, unit)
            page.text(x, ground - max(bottom, 0.04) * unit - 2, degrees(one.angle), fontsize=9, ha="center", va="top")
        yield figure


def _columns(count: int, shape: float, width: float, height: float) -> int:
    """Columns that make the figures largest; ``shape`` is a cell's width over its height."""
    def size(columns: int) -> float:
        return min((width / columns - 2) / shape, height / math.ceil(count / columns) - 16)

    return max(range(1, max(count, 1) + 1), key=size)


def _contact_heading(
    page: Any, layout: SetLayout, width: float, height: float, number: int, pages: int, photos: bool
) -> None:
    of = f", page {number + 1} of {pages}" if pages > 1 else ""
    what = "photographs" if photos else "silhouettes"
    name = fit_line(layout.name, width - 2 * MARGIN, 15, True)
    page.text(MARGIN, height - MARGIN, name, fontsize=15, weight="bold", va="top")
    words = (f"Reference set, {len(layout.views)} stops, {what}{of}. Under each: where the camera stands, degrees "
             "clockwise seen from above, 0 the front.")
    page.text(MARGIN, height - MARGIN - 20, words, fontsize=SMALLEST, color=SOFT, va="top")


def _shape(page: Any, one: SetFigure, layout: SetLayout, x: float, ground: float, unit: float) -> None:
    left, top, right, _ = layout.window
    page.plot([x + left * unit, x + right * unit], [ground, ground], color=FAIR, lw=0.5)
    page.plot([x, x], [ground - 0.03 * unit, ground - top * unit], color=FAIR, lw=0.4, ls=(0, (4, 2)))
    add_paths(page, [placed_path(one, unit, x, ground)], facecolor=INK, linewidth=0, zorder=3)


def placed_path(one: SetFigure, unit: float, x: float, ground: float, off: float = OFF) -> Any:
    """The figure's path, ``unit`` points a pose height, its plumb line at ``x``, the ground line at ``ground``."""
    return outline_path(affinity.translate(one.polygon, 0, 1), unit, x, ground, off)


def _photo(page: Any, pixels: Pixels, x: float, ground: float, unit: float, window: Sequence[float]) -> None:
    left, top, right, bottom = window
    where = (x + left * unit, x + right * unit, ground - bottom * unit, ground - top * unit)
    page.imshow(pixels[..., ::-1], extent=where, aspect="auto", interpolation="antialiased", zorder=2)
    page.set_xlim(0, page.figure.get_size_inches()[0] * 72)
    page.set_ylim(0, page.figure.get_size_inches()[1] * 72)


# ------------------------------------------------------------------------------------------------------ true scale

@dataclass(frozen=True)
class _Tile:
    """One sheet of one figure: the stretch of the drawing that it shows, mm from where plumb and ground line cross."""

    x: float
    y: float
    column: int
    row: int


def scale_sheets(
    layout: SetLayout, *, pose_mm: float, words: str, paper: str = "a4", angles: Sequence[float] | None = None
) -> bytes:
    """A pdf with every stop at true millimetres, the pose ``pose_mm`` high, over as many sheets as it takes.

    Parameters
    ----------
    words : str
        What the scale is, for the heading: ``1:4, the pose 1.72 m high``.
    angles : sequence of float, optional
        Only the stops nearest to these angles, degrees; None prints all.
    """
    figures = [f for f in layout.figures if angles is None or f.stem in _nearest(layout, angles)]
    with style():
        return pages_pdf([page for one in figures for page in _sheets(one, layout, pose_mm, words, paper)])


def _nearest(layout: SetLayout, angles: Sequence[float]) -> set[str]:
    return {min(layout.figures, key=lambda f: apart(f.angle, a)).stem for a in angles}


def _sheets(one: SetFigure, layout: SetLayout, pose_mm: float, words: str, paper: str) -> Iterator[Figure]:
    width, height = PAPER_MM[paper]
    left, top, right, bottom = (v * pose_mm for v in one.polygon.bounds)
    box = (left - AIR_MM, min(top, 0) - AIR_MM, right + AIR_MM, max(bottom, 0) + AIR_MM)
    live = (width - 2 * EDGE_MM, height - 2 * EDGE_MM - HEAD_MM - FOOT_MM)
    turned = (height - 2 * EDGE_MM, width - 2 * EDGE_MM - HEAD_MM - FOOT_MM)
    if _count(box, turned) < _count(box, live):
        width, height, live = height, width, turned
    tiles = _needed(_tiles(box, live), live, affinity.scale(one.polygon, pose_mm, pose_mm, origin=(0, 0)))
    for number, tile in enumerate(tiles):
        figure = new_figure(width * MM, height * MM)
        page = page_axes(figure, 0, 0, width * MM, height * MM)
        place = f"row {tile.row + 1} from the top, column {tile.column + 1} from the left"
        where = f"; sheet {number + 1} of {len(tiles)}: {place}. Lay the neighbour's edge on the heavy marks."
        x, y = EDGE_MM * MM, (height - EDGE_MM) * MM
        told = f", {degrees(one.angle)} degrees"
        room = (width - 2 * EDGE_MM) * MM - text_width(told, 10, True)
        page.text(x, y, fit_line(layout.name, room, 10, True) + told, fontsize=10, weight="bold", va="top")
        page.text(x, y - 13, words + (where if len(tiles) > 1 else ""), fontsize=SMALLEST, va="top")
        _draw_tile(page, one, layout, pose_mm, tile, live, tiles)
        _ruler(page)
        yield figure


def _count(box: Sequence[float], live: tuple[float, float]) -> int:
    return _along(box[2] - box[0], live[0]) * _along(box[3] - box[1], live[1])


def _along(length: float, live: float) -> int:
    """Tiles that cover ``length``, each sharing :data:`OVERLAP_MM` with the next."""
    return max(1, math.ceil((length - OVERLAP_MM) / (live - OVERLAP_MM) - 1e-9))


def _tiles(box: Sequence[float], live: tuple[float, float]) -> list[_Tile]:
    """Tiles over ``box``, row by row, what is left over shared out evenly at the edges."""
    def starts(low: float, high: float, step: float) -> list[float]:
        n = _along(high - low, step)
        spare = n * step - (n - 1) * OVERLAP_MM - (high - low)
        return [low - spare / 2 + i * (step - OVERLAP_MM) for i in range(n)]

    rows, columns = starts(box[1], box[3], live[1]), starts(box[0], box[2], live[0])
    return [_Tile(x, y, c, r) for r, y in enumerate(rows) for c, x in enumerate(columns)]


def _needed(tiles: list[_Tile], live: tuple[float, float], figure: shapely.Polygon) -> list[_Tile]:
    """The tiles without those whose share of the figure stands on other sheets already."""
    windows = {tile: shapely.box(tile.x, tile.y, tile.x + live[0], tile.y + live[1]) for tile in tiles}
    for tile in tiles:
        others = shapely.union_all([w for t, w in windows.items() if t != tile])
        part = figure.intersection(windows[tile])
        if len(windows) > 1 and (part.is_empty or others.covers(part)):
            del windows[tile]
    return list(windows)


def _draw_tile(
    page: Any, one: SetFigure, layout: SetLayout, pose_mm: float, tile: _Tile, live: tuple[float, float],
    tiles: Sequence[_Tile],
) -> None:
    """The stretch of the drawing that this sheet shows, with the lines that all sheets share."""
    from matplotlib.patches import PathPatch, Rectangle

    left, low = EDGE_MM * MM, (EDGE_MM + FOOT_MM) * MM
    wide, tall = live[0] * MM, live[1] * MM
    x, ground = left - tile.x * MM, low + tall + tile.y * MM
    frame = Rectangle((left, low), wide, tall, facecolor="none", edgecolor=FAIR, lw=0.4)
    page.add_patch(frame)
    path = placed_path(one, pose_mm * MM, x, ground, TRUE_OFF)
    shape = PathPatch(path, facecolor=PALE, edgecolor=INK, lw=0.5, zorder=2)
    page.add_patch(shape)
    shape.set_clip_path(frame)  # only now: adding a patch to axes clips it to the axes
    marks: list[tuple[list[float], list[float], Any, float]] = [
        ([left, left + wide], [ground, ground], "-", 0.6), ([x, x], [low, low + tall], (0, (8, 3)), 0.5),
    ]
    for _, over in layout.head_lines:
        marks.append(([left, left + wide], [ground + over * pose_mm * MM] * 2, (0, (2, 3)), 0.4))
    for xs, ys, dash, weight in marks:
        for line in page.plot(xs, ys, color=SOFT, lw=weight, ls=dash, zorder=3):
            line.set_clip_path(frame)
    for other in tiles:  # where the neighbours' sheets end: lay edge on mark
        if other.row == tile.row and abs(other.column - tile.column) == 1:
            at = left + ((other.x if other.x > tile.x else other.x + live[0]) - tile.x) * MM
            for y0 in (low, low + tall - TICK_MM * MM):
                page.plot([at, at], [y0, y0 + TICK_MM * MM], color=INK, lw=1.2)
        if other.column == tile.column and abs(other.row - tile.row) == 1:
            at = low + tall - ((other.y if other.y > tile.y else other.y + live[1]) - tile.y) * MM
            for x0 in (left, left + wide - TICK_MM * MM):
                page.plot([x0, x0 + TICK_MM * MM], [at, at], color=INK, lw=1.2)


def _ruler(page: Any) -> None:
    """A line to measure: whoever prints with 'fit to page' finds out here."""
    x, y = EDGE_MM * MM, (EDGE_MM + 5) * MM
    page.plot([x, x + RULER_MM * MM], [y, y], color=INK, lw=0.8, solid_capstyle="butt")
    for mm in range(0, RULER_MM + 1, 10):
        page.plot([x + mm * MM] * 2, [y, y + (3 if mm % 50 == 0 else 1.5) * MM], color=INK, lw=0.5)
    words = (f"This line is {RULER_MM} mm long when printed at 100 %, not fitted to the page. Lengths hold in the "
             "plane of the plumb line.")
    page.text(x, y - 1.5 * MM, words, fontsize=SMALLEST, va="top")
