"""Printed sheets of a reference set: a contact sheet, and true-scale sheets on which calipers can be used."""

from __future__ import annotations

import math
from collections.abc import Iterator, Mapping, Sequence
from typing import TYPE_CHECKING, Any

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
MOST_FIGURES = 42
"""Figures on one page of a contact sheet: more are too small to read at arm's length."""
AIR_MM = 4.0
"""Paper round a figure on its scale sheets, mm."""
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
        told = f", {degrees(one.angle)} degrees"
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
    for _, over in layout.head_lines:
        marks.append(([left, left + wide], [ground + over * pose_mm * MM] * 2, (0, (2, 3)), 0.4))
    for xs, ys, dash, weight in marks:
        for line in page.plot(xs, ys, color=SOFT, lw=weight, ls=dash, zorder=3):
            line.set_clip_path(frame)
    draw_neighbours(page, tile, tiles, live)
