"""The sheet of what was found: the picture's silhouette first, then each hit with its outline laid over, best first."""

from __future__ import annotations

from collections.abc import Iterator, Sequence
from pathlib import Path
from typing import TYPE_CHECKING, Any, NamedTuple

from shapely.geometry import Polygon

from silhouette.records_find import Found, Hit
from silhouette.settings import Paper
from silhouette.show import ink, words_find
from silhouette.show.paper import page_points

if TYPE_CHECKING:
    from matplotlib.figure import Figure

MARGIN, BETWEEN = 36.0, 12.0
"""White round the page, and between two figures, points."""
COLUMNS, ROWS, FEWEST = 3, 4, 2
"""Figures side by side, rows on a full page, and rows that have room on any page."""
SIZE, LINE = ink.SMALLEST, 10.5
"""Small type, and from one line of it to the next, points."""
NAME, LINES = 15.0, 6
"""Height of the line with a name, points; lines of small type under it."""
AIR = 0.06
"""Room over a figure at least, and under its ground line, for an outline that reaches farther, of its height."""


class _Cell(NamedTuple):
    """One figure of the sheet and what stands under it."""

    name: str
    rows: tuple[tuple[str, bool], ...]
    """Lines of text, and whether they are bold."""
    shape: Polygon | None
    laid: Polygon | None = None


def write_sheets(found: Found, folder: Path, paper: Paper = "a4") -> None:
    """Write ``sheet.pdf`` and ``sheet.png``.

    Raises
    ------
    OutputError
        The folder cannot be written in.
    """
    pages = list(sheets(found, paper))
    with ink.style():
        ink.save_figures(pages, folder / "sheet.pdf")
        ink.save_figures(pages, folder / "sheet.png")


def sheets(found: Found, paper: Paper = "a4") -> Iterator[Figure]:
    """The pages, one at least."""
    cells = list(_cells(found))
    width, height = page_points(paper)
    full = COLUMNS * ROWS
    count = max(1, -(-len(cells) // full))
    for number in range(count):
        with ink.style():
            figure = ink.new_figure(width, height)
            page = ink.page_axes(figure, MARGIN, MARGIN, width - 2 * MARGIN, height - 2 * MARGIN)
            _draw_page(page, found, cells[number * full:(number + 1) * full], number, count)
        yield figure


def _cells(found: Found) -> Iterator[_Cell]:
    """The picture, if there is one, then the hits."""
    if found.picture is not None:
        yield _Cell(words_find.YOUR_PICTURE, ((found.picture.name, False),), found.picture.outline.drawn)
    several = words_find.several_rings(found)
    for place, hit in enumerate(found.hits, 1):
        yield _Cell(f"{place}  {words_find.called(hit)}", tuple(_rows(hit, several)), hit.outline, hit.laid)


def _rows(hit: Hit, several: bool) -> Iterator[tuple[str, bool]]:
    yield "; ".join(filter(None, [words_find.seen(hit, several), words_find.mirrored(hit)])), False
    if hit.likeness is None:
        yield f"{words_find.reads(hit)}; this view is {words_find.band(hit)}", False
    else:
        yield words_find.likeness(hit), True
        yield words_find.differences(hit), False


def _draw_page(page: Any, found: Found, cells: Sequence[_Cell], number: int, count: int) -> None:
    width, height = ink.size_of(page)
    top = height - _draw_heading(page, found, number, count)
    room = top / max(FEWEST, min(ROWS, -(-len(cells) // COLUMNS)) if number == 0 else ROWS)
    over = max([AIR, *(-one.laid.bounds[1] for one in cells if one.laid is not None)])
    tall = (room - BETWEEN - NAME - LINES * LINE) / (1 + over + AIR)
    cell = width / COLUMNS
    tall = min([tall, *((cell - BETWEEN) / wide for wide in map(_width, cells) if wide)])
    below = tall * min(AIR, max(0.0, *(one.laid.bounds[3] - 1 for one in cells if one.laid is not None), 0.0))
    for i, one in enumerate(cells):
        row, column = divmod(i, COLUMNS)
        ground = top - row * room - tall * (1 + over) - BETWEEN / 2
        _draw_cell(page, one, (column * cell, cell - BETWEEN), ground, tall, below)


def _draw_heading(page: Any, found: Found, number: int, count: int) -> float:
    """What was looked for and how to read the sheet; the height that it takes, points."""
    width, height = ink.size_of(page)
    title = ink.wrap_to(words_find.title(found), width, 15, 2, True)
    said = [*(words_find.picture(found.picture) if found.picture is not None else []),
            words_find.looked_in(found) if found.hits else f"{words_find.NOTHING} {words_find.looked_in(found)}"]
    if found.picture is not None and found.hits:
        said.append(words_find.HOW)
    if any(hit.mirrored for hit in found.hits):
        said.append(words_find.NO_SIDES)
    if count > 1:
        said.append(f"Page {number + 1} of {count}.")
    lines = ink.wrap(" ".join(said), width, SIZE)
    for i, line in enumerate(title):
        page.text(0, height - i * 19, line, size=15, weight="bold", va="top")
    below = height - len(title) * 19 - 4
    for i, line in enumerate(lines):
        page.text(0, below - i * LINE, line, size=SIZE, color=ink.SOFT, va="top")
    return height - below + len(lines) * LINE + 6


def _width(cell: _Cell) -> float:
    """How wide a figure is, figure heights."""
    spans = [shape.bounds for shape in (cell.shape, cell.laid) if shape is not None]
    return 2 * max((max(-x0, x1) for x0, _, x1, _ in spans), default=0.0)


def _draw_cell(
    page: Any, one: _Cell, across: tuple[float, float], ground: float, tall: float, below: float
) -> None:
    """A figure on its ground line, its outline and its words; ``across``: left edge and width, ``below``: how far an
    outline reaches under the ground line."""
    left, width = across
    x = left + width / 2
    if one.shape is not None:
        ink.add_paths(page, [ink.outline_path(one.shape, tall, x, ground)], facecolor=ink.INK, linewidth=0)
    page.plot([left, left + width], [ground, ground], color=ink.INK, linewidth=0.6, scalex=False, scaley=False)
    if one.laid is not None:
        path = ink.outline_path(one.laid, tall, x, ground)
        for colour, thick in ((ink.PAPER, 2.6), (ink.ACCENT, 1.3)):
            ink.add_paths(page, [path], facecolor="none", edgecolor=colour, linewidth=thick, zorder=3)
    top = ground - below - 4
    page.text(left, top, ink.fit_line(one.name, width, 10, True), size=10, weight="bold", va="top")
    line_at, free = top - NAME, LINES
    for text, bold in one.rows:
        for line in ink.wrap_to(text, width, SIZE, max(1, free), bold):
            page.text(left, line_at, line, size=SIZE, weight="bold" if bold else "normal", va="top")
            line_at, free = line_at - LINE, free - 1
