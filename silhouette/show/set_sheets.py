"""Printed sheets of a reference set: a contact sheet, and true-scale sheets on which calipers can be used."""

from __future__ import annotations

import math
from collections.abc import Iterator, Mapping, Sequence
from typing import TYPE_CHECKING, Any, NamedTuple

import numpy as np
from shapely import affinity

from silhouette.geometry.angles import apart
from silhouette.records import Pixels
from silhouette.records_shoot import SetCloseUp, SetFigure, SetLayout
from silhouette.show import words_rings, words_set
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
from silhouette.show.paper import MM, page_bytes, page_points, pages_pdf
from silhouette.show.tiles import (
    EDGE_MM,
    FOOT_MM,
    Tile,
    draw_neighbours,
    draw_ruler,
    frame_of,
    laid_out,
)
from silhouette.show.words import degrees

if TYPE_CHECKING:
    from matplotlib.figure import Figure

MARGIN = 34.0
"""Paper left free on a contact sheet, points (12 mm)."""
HEADING, LINE = 46.0, 11.0
"""For the heading of such a sheet with one line under the name, and for each line more, points."""
MOST_FIGURES = 42
"""Figures on one page of a contact sheet: more are too small to read at arm's length."""
MOST_CLOSE_UPS, MOST_ACROSS, LARGEST = 12, 3, 340.0
"""Pictures of details on one sheet, beside each other, and points that one is high at most."""
AIR, UNDER = 12.0, 36.0
"""Between such pictures, and under them for their names, points."""
AIR_MM = 4.0
"""Paper round a figure on its scale sheets, mm."""
TRUE_OFF = 0.02
"""How far a contour drawn to scale may lie off, points: under a hundredth of a millimetre."""


def contact_sheet(
    layout: SetLayout, *, kind: str = "pdf", paper: str = "a4", photos: Mapping[str, Pixels] | None = None
) -> bytes:
    """All stops in the order of the angles, one scale, one ground line a row; of several rings each has its own pages.

    Parameters
    ----------
    kind : {"pdf", "png"}
        A pdf has as many pages as are needed, a png is the first of them; of several rings the first of each, the
        highest ring on top.
    photos : mapping of stem to (h, w, 3) BGR, optional
        From ``small_pictures``: all in the layout's window. The sheet then shows photographs in place of black shapes.
    """
    with style():
        if kind == "png":
            return page_bytes(_tall_page(layout, paper, photos), "png")
        return pages_pdf(list(_contact_pages(layout, paper, photos)))


def _contact_pages(layout: SetLayout, paper: str, photos: Mapping[str, Pixels] | None) -> Iterator[Figure]:
    width, height = page_points(paper)
    rings, grid = _rings_on_pages(layout, paper, photos)
    for ring, shown in rings:
        for number in range(grid.pages(len(shown))):
            figure = new_figure(width, height)
            _contact_page(page_axes(figure, 0, 0, width, height), ring, shown, grid, paper, number, photos)
            yield figure


def _tall_page(layout: SetLayout, paper: str, photos: Mapping[str, Pixels] | None) -> Figure:
    """The first page, of several rings that of each, one over the other."""
    width, height = page_points(paper)
    rings, grid = _rings_on_pages(layout, paper, photos)
    figure = new_figure(width, height * len(rings))
    for over, (ring, shown) in enumerate(reversed(rings)):
        _contact_page(page_axes(figure, 0, height * over, width, height), ring, shown, grid, paper, 0, photos)
    return figure


def _rings_on_pages(
    layout: SetLayout, paper: str, photos: Mapping[str, Pixels] | None
) -> tuple[list[tuple[SetLayout, list[SetFigure]]], _Grid]:
    """Each ring with the figures that are shown of it, highest first, and the one grid for all their pages."""
    rings = [layout.of(one.ring) for one in reversed(layout.rings)] or [layout]
    shown = [[f for f in ring.figures if photos is None or f.stem in photos] for ring in rings]
    heading = HEADING + 2 * LINE if layout.rings else HEADING
    grid = _grid(layout.window, max(map(len, shown)), _room(paper, heading))
    return list(zip(rings, shown, strict=True)), grid


class _Grid(NamedTuple):
    """How figures stand on the pages of a contact sheet."""

    columns: int
    rows: int
    unit: float
    """Points for a height of the pose."""
    room: tuple[float, float]
    """(width, height) that it fills, points."""

    @property
    def full(self) -> int:
        """Figures on a full page."""
        return self.columns * self.rows

    def pages(self, count: int) -> int:
        """Pages that so many figures take."""
        return max(1, math.ceil(count / self.full))


def _grid(window: tuple[float, float, float, float], count: int, place: tuple[float, float]) -> _Grid:
    """The grid in which ``count`` figures, spread evenly over as few pages as can be read, come out largest."""
    left, top, right, bottom = window
    inner, room = place
    each = math.ceil(count / max(1, math.ceil(count / MOST_FIGURES)))
    columns = _columns(each, (right - left) / (bottom - top), inner, room)
    rows = max(1, math.ceil(each / columns))
    return _Grid(columns, rows, min((inner / columns - 2) / (right - left), (room / rows - 16) / (bottom - top)),
                 place)


def _room(paper: str, heading: float = HEADING) -> tuple[float, float]:
    """(width, height) of a contact sheet inside its margins and under its heading, points."""
    width, height = page_points(paper)
    return width - 2 * MARGIN, height - 2 * MARGIN - heading


def _contact_page(
    page: Any, layout: SetLayout, figures: Sequence[SetFigure], grid: _Grid, paper: str, number: int,
    photos: Mapping[str, Pixels] | None,
) -> None:
    width, height = page_points(paper)
    inner, room = grid.room
    left, top, right, bottom = layout.window
    _contact_heading(page, layout, width, height, number, grid.pages(len(figures)), photos is not None)
    for i, one in enumerate(figures[number * grid.full:(number + 1) * grid.full]):
        row, column = divmod(i, grid.columns)
        x = MARGIN + (column + 0.5) * inner / grid.columns - (left + right) / 2 * grid.unit
        ground = MARGIN + room - row * (room / grid.rows) + top * grid.unit
        if photos is not None:
            _photo(page, photos[one.stem], x, ground, grid.unit, layout.window)
        else:
            _shape(page, one, layout, x, ground, grid.unit)
        under = ground - max(bottom, 0.04) * grid.unit - 2
        page.text(x, under, degrees(one.angle), fontsize=9, ha="center", va="top")


def _columns(count: int, shape: float, width: float, height: float) -> int:
    """Columns that make the figures largest; ``shape`` is a cell's width over its height."""
    def size(columns: int) -> float:
        return min((width / columns - 2) / shape, height / math.ceil(count / columns) - 16)

    return max(range(1, max(count, 1) + 1), key=size)


def _contact_heading(
    page: Any, layout: SetLayout, width: float, height: float, number: int, pages: int, photos: bool
) -> None:
    name = fit_line(layout.name, width - 2 * MARGIN, 15, True)
    page.text(MARGIN, height - MARGIN, name, fontsize=15, weight="bold", va="top")
    for i, words in enumerate(words_set.contact_heading(layout, photos, number, pages)):
        page.text(MARGIN, height - MARGIN - 20 - i * LINE, words, fontsize=SMALLEST, color=SOFT, va="top")


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
    _picture(page, pixels, where)


def _picture(page: Any, pixels: Pixels, where: tuple[float, float, float, float]) -> None:
    """(h, w, 3) BGR at a place of the page: left, right, bottom, top, points."""
    across, along = page.get_xlim(), page.get_ylim()
    page.imshow(pixels[..., ::-1], extent=where, aspect="auto", interpolation="antialiased", zorder=2)
    page.set_xlim(across)
    page.set_ylim(along)


# ------------------------------------------------------------------------------------------------------- close-ups

def close_up_sheet(layout: SetLayout, *, kind: str = "pdf", paper: str = "a4") -> bytes:
    """The photographs of details, each whole and with its name under it; a png is the first page."""
    count = len(layout.close_ups)
    pages = math.ceil(count / MOST_CLOSE_UPS)
    each = math.ceil(count / pages)
    width, height = page_points(paper)
    inner, room = _room(paper)
    ratio = float(np.median([one.small.shape[1] / one.small.shape[0] for one in layout.close_ups]))
    columns = min(_columns(each, ratio, inner, room), MOST_ACROSS)
    rows = math.ceil(each / columns)
    cell = (inner / columns - AIR, min(room / rows - UNDER, LARGEST))
    with style():
        made = []
        for number in range(1 if kind == "png" else pages):
            made.append(new_figure(width, height))
            page = page_axes(made[-1], 0, 0, width, height)
            page.text(MARGIN, height - MARGIN, fit_line(layout.name, inner, 15, True), fontsize=15, weight="bold",
                      va="top")
            of = f", page {number + 1} of {pages}" if pages > 1 else ""
            words = f"Reference set, close-ups, {count} {'photograph' if count == 1 else 'photographs'}{of}."
            page.text(MARGIN, height - MARGIN - 20, words, fontsize=SMALLEST, color=SOFT, va="top")
            shown, y = layout.close_ups[number * each:(number + 1) * each], MARGIN + room
            for row in (shown[i:i + columns] for i in range(0, len(shown), columns)):
                tall = [_close_up(page, one, MARGIN + i * inner / columns, y, cell) for i, one in enumerate(row)]
                y -= max(tall) + UNDER
        return page_bytes(made[0], "png") if kind == "png" else pages_pdf(made)


def _close_up(page: Any, one: SetCloseUp, x: float, y: float, cell: tuple[float, float]) -> float:
    """One picture, as large as its cell allows, its upper left corner at (x, y); its name and its file under it. Gives
    how high it came out, points."""
    tall, wide = one.small.shape[:2]
    unit = min(cell[0] / wide, cell[1] / tall)
    _picture(page, one.small, (x, x + wide * unit, y - tall * unit, y))
    page.text(x, y - tall * unit - 4, fit_line(one.name, cell[0], 9, True), fontsize=9, weight="bold", va="top")
    page.text(x, y - tall * unit - 16, fit_line(f"{one.stem}.jpg", cell[0], SMALLEST), fontsize=SMALLEST, color=SOFT,
              va="top")
    return tall * unit


# ------------------------------------------------------------------------------------------------------ true scale

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
    left, top, right, bottom = (v * pose_mm for v in one.polygon.bounds)
    box = (left - AIR_MM, min(top, 0) - AIR_MM, right + AIR_MM, max(bottom, 0) + AIR_MM)
    laid = laid_out(box, paper, affinity.scale(one.polygon, pose_mm, pose_mm, origin=(0, 0)))
    width, height, live, tiles = laid.width, laid.height, laid.live, laid.tiles
    for number, tile in enumerate(tiles):
        figure = new_figure(width * MM, height * MM)
        page = page_axes(figure, 0, 0, width * MM, height * MM)
        place = f"row {tile.row + 1} from the top, column {tile.column + 1} from the left"
        where = f"; sheet {number + 1} of {len(tiles)}: {place}. Lay the neighbour's edge on the heavy marks."
        x, y = EDGE_MM * MM, (height - EDGE_MM) * MM
        told = f", {degrees(one.angle)} degrees{f', {words_rings.NAMES[one.ring]}' if layout.rings else ''}"
        room = (width - 2 * EDGE_MM) * MM - text_width(told, 10, True)
        page.text(x, y, fit_line(layout.name, room, 10, True) + told, fontsize=10, weight="bold", va="top")
        page.text(x, y - 13, words + (where if len(tiles) > 1 else ""), fontsize=SMALLEST, va="top")
        _draw_tile(page, one, layout, pose_mm, tile, live, tiles)
        draw_ruler(page, "Lengths hold in the plane of the plumb line.")
        yield figure


def _draw_tile(
    page: Any, one: SetFigure, layout: SetLayout, pose_mm: float, tile: Tile, live: tuple[float, float],
    tiles: Sequence[Tile],
) -> None:
    """The stretch of the drawing that this sheet shows, with the lines that all sheets share."""
    from matplotlib.patches import PathPatch

    left, low = EDGE_MM * MM, (EDGE_MM + FOOT_MM) * MM
    wide, tall = live[0] * MM, live[1] * MM
    x, ground = left - tile.x * MM, low + tall + tile.y * MM
    frame = frame_of(page, live)
    path = placed_path(one, pose_mm * MM, x, ground, TRUE_OFF)
    shape = PathPatch(path, facecolor=PALE, edgecolor=INK, lw=0.5, zorder=2)
    page.add_patch(shape)
    shape.set_clip_path(frame)  # only now: adding a patch to axes clips it to the axes
    marks: list[tuple[list[float], list[float], Any, float]] = [
        ([left, left + wide], [ground, ground], "-", 0.6), ([x, x], [low, low + tall], (0, (8, 3)), 0.5),
    ]
    for _, over in layout.head_lines_of(one.ring):
        marks.append(([left, left + wide], [ground + over * pose_mm * MM] * 2, (0, (2, 3)), 0.4))
    for xs, ys, dash, weight in marks:
        for line in page.plot(xs, ys, color=SOFT, lw=weight, ls=dash, zorder=3):
            line.set_clip_path(frame)
    draw_neighbours(page, tile, tiles, live)
