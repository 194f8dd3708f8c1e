"""Drawings in millimetres on paper: several a page where they fit, over several sheets where they do not."""

from __future__ import annotations

from collections.abc import Callable, Iterator, Sequence
from dataclasses import dataclass
from typing import TYPE_CHECKING, Any

import numpy as np
import shapely
from numpy.typing import NDArray
from shapely import affinity
from shapely.geometry import MultiPolygon, Polygon
from shapely.geometry.base import BaseGeometry

from silhouette.geometry.drawn import rings_of, thinned
from silhouette.show.ink import ACCENT, INK, SMALLEST, SOFT, fit_line, new_figure, page_axes, text_width
from silhouette.show.paper import MM, PAPER_MM
from silhouette.show.tiles import (
    EDGE_MM,
    FOOT_MM,
    HEAD_MM,
    Sheets,
    Tile,
    count,
    draw_neighbours,
    draw_ruler,
    frame_of,
    laid_out,
    live_of,
)

if TYPE_CHECKING:
    from matplotlib.figure import Figure

TRUE_OFF_MM = 0.007
"""How far a contour drawn to scale may lie off, mm."""
TITLE_MM = 6.0
"""Strip over each of several drawings on a page, for its name."""
BETWEEN_MM = 4.0
LONGEST = 120.0
"""No words in a drawing reach farther from their place, points."""
MOST_SHEETS = 60
"""Sheets for one drawing: beyond that nobody tapes them together."""


class Canvas:
    """A page to draw on in millimetres of the piece, y upwards; everything is clipped to what the page shows."""

    def __init__(self, page: Any, x: float, y: float, unit: float = MM, clip: Any = None) -> None:
        """``x``, ``y``: where the drawing's (0, 0) lies on the page, points; ``unit``: points for a millimetre."""
        self.page, self.x, self.y, self.unit, self.clip = page, x, y, unit, clip

    def _away(self, xy: NDArray[np.float64]) -> bool:
        """Whether nothing of what lies between these places is on the page, so that it need not be drawn."""
        if self.clip is None:
            return False
        box = self.clip.get_bbox()
        low, high = xy.min(axis=0), xy.max(axis=0)
        return bool(low[0] > box.x1 or high[0] < box.x0 or low[1] > box.y1 or high[1] < box.y0)

    def at(self, points: Any) -> NDArray[np.float64]:
        """Places on the page, points."""
        return np.asarray(points, np.float64) * self.unit + (self.x, self.y)

    def line(self, points: Any, **look: Any) -> None:
        """A line through (n, 2) places."""
        xy = self.at(points)
        if self._away(xy):
            return
        from matplotlib.lines import Line2D

        drawn: dict[str, Any] = {"color": INK, "lw": 0.5} | look
        self._add(Line2D(xy[:, 0], xy[:, 1], **drawn))

    def area(self, polygon: Polygon | MultiPolygon, **look: Any) -> None:
        """A polygon with its holes."""
        if polygon.is_empty:
            return
        from matplotlib.patches import PathPatch
        from matplotlib.path import Path as DrawnPath

        rings = rings_of(thinned(polygon, TRUE_OFF_MM * MM / self.unit))
        codes = [np.full(len(ring), DrawnPath.LINETO, np.uint8) for ring in rings]
        for code in codes:
            code[0], code[-1] = DrawnPath.MOVETO, DrawnPath.CLOSEPOLY
        shape = PathPatch(DrawnPath(self.at(np.concatenate(rings)), np.concatenate(codes)),
                          **({"edgecolor": INK, "lw": 0.5} | look))
        self._add(shape)

    def _add(self, shape: Any) -> None:
        """As an artist of no kind: nobody asks how far the page's axes reach, and working that out takes long."""
        self.page.add_artist(shape)
        shape.set_clip_path(self.clip)  # only now: what is added to axes is clipped to them

    def ring(self, place: Any, radius: float, least: float = 1.2, **look: Any) -> None:
        """A circle, its radius in mm, on paper at least ``least`` points."""
        from matplotlib.patches import Circle

        middle, reach = self.at(place), max(radius * self.unit, least)
        if self._away(np.array([middle - reach, middle + reach])):
            return
        shape = Circle(tuple(middle), reach,
                       **({"facecolor": "none", "edgecolor": INK, "lw": 0.7} | look))
        self._add(shape)

    def cross(self, place: Any, arm: float = 2.0, **look: Any) -> None:
        """A cross of arms ``arm`` mm long."""
        x, y = place
        self.line([(x - arm, y), (x + arm, y)], **look)
        self.line([(x, y - arm), (x, y + arm)], **look)

    def text(self, place: Any, words: str, **look: Any) -> None:
        """Words at a place; ``fontsize`` in points."""
        x, y = self.at(place)
        if self._away(np.array([(x - LONGEST, y - LONGEST), (x + LONGEST, y + LONGEST)])):
            return
        shown = self.page.text(x, y, words, **({"fontsize": SMALLEST, "va": "center"} | look))
        if self.clip is not None:
            shown.set_clip_path(self.clip)
            shown.set_clip_on(True)


@dataclass(frozen=True)
class Piece:
    """One drawing: what it is called, the box it needs and how it is drawn."""

    title: str
    box: tuple[float, float, float, float]
    """Left, low, right, top, mm, y upwards."""
    paint: Callable[[Canvas], None]
    drawn: BaseGeometry
    """What must be on paper, mm: sheets that show nothing of it are left out."""
    short: str = ""
    """Its name in the heading of a page that several share; the title where it has none."""

    @property
    def size(self) -> tuple[float, float]:
        """Width and height, mm."""
        return self.box[2] - self.box[0], self.box[3] - self.box[1]


def sheets_of(piece: Piece, paper: str) -> int:
    """How many sheets a drawing takes by itself."""
    left, low, right, top = piece.box
    width, height = PAPER_MM[paper]
    box = (left, -top, right, -low)
    return min(count(box, live_of(width, height)), count(box, live_of(height, width)))


def pages(pieces: Sequence[Piece], paper: str, name: str, under: str, remark: str = "") -> Iterator[Figure]:
    """The pages of all drawings, in their order; a drawing over :data:`MOST_SHEETS` sheets is left out.

    Parameters
    ----------
    name, under : str
        The heading, and the line under it: the scale.
    remark : str
        Beside the ruler.
    """
    for group in grouped(pieces, paper):
        if group.places:
            yield _shared(group, paper, name, under, remark)
        else:
            yield from _tiled(group.pieces[0], paper, name, under, remark)


@dataclass
class Group:
    """Drawings on one page, where each of them stands: (x, y) of its box's upper left corner from the live area's
    upper left corner, mm, y downwards. A drawing that is tiled stands alone, without a place."""

    pieces: list[Piece]
    places: list[tuple[float, float]]
    turned: bool = False


def grouped(pieces: Sequence[Piece], paper: str) -> list[Group]:
    """Drawings on pages: in their order, row by row, as many a page as fit, the page lying where it then holds more."""
    width, height = PAPER_MM[paper]
    ways = ((False, live_of(width, height)), (True, live_of(height, width)))
    made: list[Group] = []
    left = list(pieces)
    while left:
        turned, places = max(((lying, _filled(left, live)) for lying, live in ways), key=lambda way: len(way[1]))
        if len(places) > 1:
            made.append(Group(left[:len(places)], places, turned))
        else:
            fits = [lying for lying, live in ways if left[0].size[0] <= live[0] and left[0].size[1] <= live[1]]
            if fits:
                made.append(Group(left[:1], [(0.0, 0.0)], fits[0]))
            elif sheets_of(left[0], paper) <= MOST_SHEETS:
                made.append(Group(left[:1], []))
        left = left[max(len(places), 1):]
    return made


def _filled(pieces: Sequence[Piece], live: tuple[float, float]) -> list[tuple[float, float]]:
    """Places of as many of the first pieces as fit on one page with their names over them."""
    places: list[tuple[float, float]] = []
    x = y = tall = 0.0
    for piece in pieces:
        wide, high = _named_width(piece), piece.size[1] + TITLE_MM
        if x > 0 and x + wide > live[0]:
            x, y, tall = 0.0, y + tall + BETWEEN_MM, 0.0
        if wide > live[0] or y + high > live[1]:
            break
        places.append((x, y))
        x, tall = x + wide + BETWEEN_MM, max(tall, high)
    return places


def _named_width(piece: Piece) -> float:
    """Width of a drawing with its name over it, mm."""
    return max(piece.size[0], text_width(piece.title, 9, True) / MM)


def _bare_width(piece: Piece) -> float:
    return piece.size[0]


def _page(width: float, height: float, title: str, name: str, under: str, remark: str) -> tuple[Figure, Any]:
    """A sheet with its heading and ruler."""
    figure = new_figure(width * MM, height * MM)
    page = page_axes(figure, 0, 0, width * MM, height * MM)
    x, y, room = EDGE_MM * MM, (height - EDGE_MM) * MM, (width - 2 * EDGE_MM) * MM
    left = room - text_width(f", {title}", 10, True)
    page.text(x, y, f"{fit_line(name, left, 10, True)}, {title}", fontsize=10, weight="bold", va="top")
    page.text(x, y - 13, fit_line(under, room, SMALLEST), fontsize=SMALLEST, va="top")
    draw_ruler(page, remark)
    return figure, page


def _shared(group: Group, paper: str, name: str, under: str, remark: str) -> Figure:
    width, height = PAPER_MM[paper][::-1] if group.turned else PAPER_MM[paper]
    first, last = (p.short or p.title for p in (group.pieces[0], group.pieces[-1]))
    title = group.pieces[0].title if len(group.pieces) == 1 else f"{first} to {last[:1].lower()}{last[1:]}"
    figure, page = _page(width, height, title[:1].lower() + title[1:], name, under, remark)
    top, left = height - EDGE_MM - HEAD_MM, EDGE_MM
    live = live_of(width, height)
    width_of = _named_width if len(group.pieces) > 1 else _bare_width
    spread = (live[0] - max(x + width_of(p) for p, (x, _) in zip(group.pieces, group.places, strict=True))) / 2
    for piece, (x, y) in zip(group.pieces, group.places, strict=True):
        px, py = left + x + spread, top - y
        if len(group.pieces) > 1:
            page.text(px * MM, py * MM, piece.title, fontsize=9, weight="bold", va="top")
            py -= TITLE_MM
        piece.paint(Canvas(page, (px - piece.box[0]) * MM, (py - piece.box[3]) * MM))
    return figure


def _tiled(piece: Piece, paper: str, name: str, under: str, remark: str) -> Iterator[Figure]:
    left, low, right, top = piece.box
    laid = laid_out((left, -top, right, -low), paper, affinity.scale(piece.drawn, 1, -1, origin=(0, 0)))
    for number, tile in enumerate(laid.tiles):
        yield _tile(piece, laid, tile, name, f"{under}{_neighbours(tile, laid.tiles)}", remark, number + 1)


def _neighbours(tile: Tile, tiles: Sequence[Tile]) -> str:
    """Which sheets lie beside this one."""
    around = {(0, -1): "above", (0, 1): "below", (-1, 0): "on the left", (1, 0): "on the right"}
    told = [f"{other.name} {where}" for (dx, dy), where in around.items() for other in tiles
            if (other.column - tile.column, other.row - tile.row) == (dx, dy)]
    return f"; {', '.join(told)}: lay edges on the heavy marks" if told else ""


def _tile(piece: Piece, laid: Sheets, tile: Tile, name: str, under: str, remark: str, number: int) -> Figure:
    title = f"{piece.title[:1].lower()}{piece.title[1:]}, sheet {tile.name} ({number} of {len(laid.tiles)})"
    figure, page = _page(laid.width, laid.height, title, name, under, remark)
    x, y = EDGE_MM * MM, (EDGE_MM + FOOT_MM) * MM
    piece.paint(Canvas(page, x - tile.x * MM, y + (laid.live[1] + tile.y) * MM, clip=frame_of(page, laid.live)))
    draw_neighbours(page, tile, laid.tiles, laid.live)
    page.text(laid.width * MM - x, EDGE_MM * MM + 2, tile.name, fontsize=16, weight="bold", ha="right", color=ACCENT)
    if len(laid.tiles) > 1:
        _map(page, laid, tile)
    return figure


def _map(page: Any, laid: Sheets, tile: Tile) -> None:
    """A small map of all sheets, this one filled, beside the sheet's name."""
    columns, rows = (1 + max(getattr(t, axis) for t in laid.tiles) for axis in ("column", "row"))
    cell = min(FOOT_MM * MM * 0.8 / rows, 60 / columns, 9)
    x0 = laid.width * MM - EDGE_MM * MM - 44 - columns * cell
    y0 = EDGE_MM * MM + 1 + rows * cell
    for t in laid.tiles:
        xs = x0 + cell * (t.column + np.array([0, 1, 1, 0, 0]))
        ys = y0 - cell * (t.row + np.array([0, 0, 1, 1, 0]))
        page.plot(xs, ys, color=SOFT, lw=0.5)
        if t == tile:
            page.fill(xs, ys, color=ACCENT, lw=0)


def boxed(*shapes: BaseGeometry, air: float = 3.0) -> tuple[float, float, float, float]:
    """Left, low, right, top round shapes, with some paper."""
    left, low, right, top = shapely.total_bounds(np.array(shapes, dtype=object))
    return float(left - air), float(low - air), float(right + air), float(top + air)
