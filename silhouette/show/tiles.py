"""True size on paper: a drawing in millimetres over as many sheets as it takes, with marks to lay them together.

Drawings are measured in millimetres, x to the right, y downwards. Sheets of one drawing share :data:`OVERLAP_MM`.
"""

from __future__ import annotations

import math
from collections.abc import Sequence
from dataclasses import dataclass
from typing import Any

import shapely
from shapely.geometry.base import BaseGeometry

from silhouette.show.ink import FAIR, INK, SMALLEST
from silhouette.show.paper import MM, PAPER_MM

EDGE_MM = 8.0
"""Paper that a printer may not reach, mm."""
HEAD_MM, FOOT_MM = 10.0, 14.0
"""Strips for the heading and the check ruler of a sheet, mm."""
OVERLAP_MM = 10.0
"""What neighbouring tiles of one drawing share, mm."""
TICK_MM = 8.0
"""Marks at a sheet's edges for laying it on its neighbour, mm."""
RULER_MM = 100

Box = Sequence[float]
"""Left, top, right, bottom, mm, y downwards."""


@dataclass(frozen=True)
class Tile:
    """One sheet of one drawing: where the stretch that it shows begins, mm."""

    x: float
    y: float
    column: int
    row: int

    @property
    def name(self) -> str:
        """``B3``: second row from the top, third sheet from the left."""
        letters, left = "", self.row
        while left >= 0:
            letters, left = chr(ord("A") + left % 26) + letters, left // 26 - 1
        return f"{letters}{self.column + 1}"


@dataclass(frozen=True)
class Sheets:
    """A drawing laid over sheets of one paper."""

    width: float
    """Of the paper as it lies, mm."""
    height: float
    live: tuple[float, float]
    """Width and height that the drawing has on a sheet, mm."""
    tiles: tuple[Tile, ...]


def live_of(width: float, height: float) -> tuple[float, float]:
    """What heading, ruler and edges leave of a sheet, mm."""
    return width - 2 * EDGE_MM, height - 2 * EDGE_MM - HEAD_MM - FOOT_MM


def laid_out(box: Box, paper: str, drawn: BaseGeometry) -> Sheets:
    """The paper upright or turned, whichever takes fewer sheets; those on which nothing new of ``drawn`` falls go."""
    width, height = PAPER_MM[paper]
    if count(box, live_of(height, width)) < count(box, live_of(width, height)):
        width, height = height, width
    live = live_of(width, height)
    return Sheets(width, height, live, tuple(_needed(_tiles(box, live), live, drawn)))


def count(box: Box, live: tuple[float, float]) -> int:
    """Sheets that it takes to cover a box."""
    return _along(box[2] - box[0], live[0]) * _along(box[3] - box[1], live[1])


def _along(length: float, live: float) -> int:
    """Tiles that cover ``length``, each sharing :data:`OVERLAP_MM` with the next."""
    return max(1, math.ceil((length - OVERLAP_MM) / (live - OVERLAP_MM) - 1e-9))


def _tiles(box: Box, live: tuple[float, float]) -> list[Tile]:
    """Tiles over ``box``, row by row, what is left over shared out evenly at the edges."""
    def starts(low: float, high: float, step: float) -> list[float]:
        n = _along(high - low, step)
        spare = n * step - (n - 1) * OVERLAP_MM - (high - low)
        return [low - spare / 2 + i * (step - OVERLAP_MM) for i in range(n)]

    rows, columns = starts(box[1], box[3], live[1]), starts(box[0], box[2], live[0])
    return [Tile(x, y, c, r) for r, y in enumerate(rows) for c, x in enumerate(columns)]


def _needed(tiles: list[Tile], live: tuple[float, float], drawn: BaseGeometry) -> list[Tile]:
    """The tiles without those whose share of the drawing stands on other sheets already."""
    windows = {tile: shapely.box(tile.x, tile.y, tile.x + live[0], tile.y + live[1]) for tile in tiles}
    for tile in tiles:
        others = shapely.union_all([w for t, w in windows.items() if t != tile])
        part = drawn.intersection(windows[tile])
        if len(windows) > 1 and (part.is_empty or others.covers(part)):
            del windows[tile]
    return list(windows)


def frame_of(page: Any, live: tuple[float, float]) -> Any:
    """The frame round what a sheet shows of the drawing, drawn; artists are clipped to it."""
    from matplotlib.patches import Rectangle

    frame = Rectangle((EDGE_MM * MM, (EDGE_MM + FOOT_MM) * MM), live[0] * MM, live[1] * MM, facecolor="none",
                      edgecolor=FAIR, lw=0.4)
    page.add_patch(frame)
    return frame


def draw_neighbours(page: Any, tile: Tile, tiles: Sequence[Tile], live: tuple[float, float]) -> None:
    """Heavy marks where the neighbours' sheets end: lay edge on mark."""
    left, low = EDGE_MM * MM, (EDGE_MM + FOOT_MM) * MM
    wide, tall = live[0] * MM, live[1] * MM
    for other in tiles:
        if other.row == tile.row and abs(other.column - tile.column) == 1:
            at = left + ((other.x if other.x > tile.x else other.x + live[0]) - tile.x) * MM
            for y0 in (low, low + tall - TICK_MM * MM):
                page.plot([at, at], [y0, y0 + TICK_MM * MM], color=INK, lw=1.2)
        if other.column == tile.column and abs(other.row - tile.row) == 1:
            at = low + tall - ((other.y if other.y > tile.y else other.y + live[1]) - tile.y) * MM
            for x0 in (left, left + wide - TICK_MM * MM):
                page.plot([x0, x0 + TICK_MM * MM], [at, at], color=INK, lw=1.2)


def draw_ruler(page: Any, remark: str) -> None:
    """A line to measure: whoever prints with 'fit to page' finds out here."""
    x, y = EDGE_MM * MM, (EDGE_MM + 5) * MM
    page.plot([x, x + RULER_MM * MM], [y, y], color=INK, lw=0.8, solid_capstyle="butt")
    for mm in range(0, RULER_MM + 1, 10):
        page.plot([x + mm * MM] * 2, [y, y + (3 if mm % 50 == 0 else 1.5) * MM], color=INK, lw=0.5)
    said = f"This line is {RULER_MM} mm long when printed at 100 %, not fitted to the page."
    page.text(x, y - 1.5 * MM, f"{said} {remark}".strip(), fontsize=SMALLEST, va="top")
