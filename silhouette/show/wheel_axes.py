"""Paints a :class:`~silhouette.show.wheel.Wheel` on matplotlib axes that are measured in points. It decides nothing."""

from __future__ import annotations

from collections.abc import Iterable
from typing import TYPE_CHECKING, Any

import numpy as np

from silhouette.show import ink
from silhouette.show.wheel import Band, Body, Figure, Points, Wheel

if TYPE_CHECKING:
    from matplotlib.path import Path as DrawnPath


def paint_wheel(wheel: Wheel, ax: Any, centre: Points, type_size: float) -> None:
    """Everything on the wheel, its middle at ``centre``; type at ``type_size`` points."""
    paint_body(wheel.body, ax, centre, type_size)
    _paint_line(wheel, ax, centre)
    _paint_bands(wheel.bands, ax, centre)
    paint_lines(ax, centre, wheel.notches, color=ink.INK, linewidth=0.8)
    for other in wheel.others:
        _paint_bands(other.bands, ax, centre)
        paint_lines(ax, centre, other.notches, color=ink.INK, linewidth=0.6)
    if wheel.bracket is not None:
        ax.plot(*(wheel.bracket + centre).T, color=ink.INK, linewidth=1.1, scalex=False, scaley=False)
    paint_figures(wheel.figures, ax, centre, type_size)
    for letter in wheel.letters:
        ax.text(centre[0] + letter.x, centre[1] + letter.y, letter.letter, size=type_size, weight="bold", ha="center",
                va="center", bbox={"boxstyle": "circle,pad=0.18", "facecolor": ink.PAPER, "edgecolor": ink.ACCENT,
                                   "linewidth": 0.9})
    for name in wheel.names:
        ax.text(centre[0] + name.x, centre[1] + name.y, name.word, size=type_size, ha="center", va="center",
                rotation=name.turn, weight="bold" if name.headline else "normal")


def _paint_bands(bands: Iterable[Band], ax: Any, centre: Points) -> None:
    """A ring's tones."""
    bands = list(bands)
    for kind in dict.fromkeys(band.kind for band in bands):
        edges = area(centre, (band.edge for band in bands if band.kind == kind))
        if kind == "aside":
            ink.add_paths(ax, edges, facecolor=ink.PALE, linewidth=0)
        else:
            ink.tone(ax, edges, kind)


def area(centre: Points, edges: Iterable[Points]) -> list[DrawnPath]:
    """Closed edges as paths on the page."""
    from matplotlib.path import Path as DrawnPath

    return [DrawnPath(edge + centre, closed=True) for edge in edges]


def paint_lines(ax: Any, centre: Points, lines: Iterable[Points], *, dash: tuple[float, ...] = (), **look: Any) -> None:
    """Many lines as one artist."""
    from matplotlib.collections import LineCollection

    ax.add_collection(LineCollection([line + centre for line in lines], linestyles=[(0, dash or None)], **look),
                      autolim=False)


def paint_ways(ax: Any, centre: Points, ways: Iterable[Points | None]) -> None:
    """The thin lines that tie figures to the ring."""
    paint_lines(ax, centre, [way for way in ways if way is not None], color=ink.FAIR, linewidth=0.6)


def paint_body(body: Body, ax: Any, centre: Points, type_size: float) -> None:
    """The body from above, looking down the page."""
    from matplotlib.patches import Ellipse, Polygon

    x, y = centre
    ax.add_patch(Ellipse((x, y + body.y), *body.shoulders, facecolor=ink.FAIR, edgecolor="none"))
    ax.add_patch(Polygon(body.nose + centre, closed=True, facecolor=ink.INK))
    ax.add_patch(Ellipse((x, y + body.y), *body.head, facecolor=ink.INK, edgecolor="none"))
    for word, dx, dy, side in body.names:
        ax.text(x + dx, y + dy, word, size=type_size, ha="center" if side == "middle" else side,
                va="top" if side == "middle" else "center")


def _paint_line(wheel: Wheel, ax: Any, centre: Points) -> None:
    """Readability as a line, the ground under it, weak stretches hatched, the limits of the bands as circles."""
    ink.add_paths(ax, area(centre, wheel.ground), facecolor=ink.PALE, linewidth=0)
    ink.add_paths(ax, area(centre, wheel.lost), facecolor="none", edgecolor=ink.ACCENT, hatch="///", linewidth=0)
    turn = np.radians(np.arange(0, 361, 2))
    circle = np.column_stack([np.cos(turn), np.sin(turn)])
    paint_lines(ax, centre, [circle * limit for limit in wheel.limits], color=ink.SOFT, linewidth=0.5, dash=(1, 1.6))
    paint_lines(ax, centre, [line for far, line in wheel.lines if not far], color=ink.INK, linewidth=1.5)
    paint_lines(ax, centre, [line for far, line in wheel.lines if far], color=ink.INK, linewidth=1.2, dash=(3, 2))


def paint_figures(figures: Iterable[Figure], ax: Any, centre: Points, type_size: float) -> None:
    """The figures with the angle under each; a bar under a weak one; an empty box where none was found."""
    figures = list(figures)
    paint_ways(ax, centre, [figure.way for figure in figures])
    drawn, bars = [], []
    for figure in figures:
        x, feet = centre[0] + figure.x, centre[1] + figure.feet
        if figure.view.outline is not None:
            drawn.append((figure.view, ink.outline_path(figure.view.outline.drawn, figure.height, x, feet)))
        else:
            ink.tone(ax, [ink.rectangle(x - 0.12 * figure.height, feet, 0.24 * figure.height, figure.height)],
                     "no view")
        if figure.bar:
            bars.append(np.array([(x - figure.bar, feet - 1.6), (x + figure.bar, feet - 1.6)]))
        if figure.label:
            ax.text(x, feet - 3.4, figure.label, size=type_size, ha="center", va="top")
    ink.draw_figures(ax, drawn)
    paint_lines(ax, np.zeros(2), bars, color=ink.ACCENT, linewidth=2.2, capstyle="butt")
