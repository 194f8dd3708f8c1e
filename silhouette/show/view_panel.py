"""One view large: the black shape, its negative spaces as shapes of their own, the trouble circled, the reasons."""

from __future__ import annotations

from collections.abc import Sequence
from typing import Any

from silhouette.records import Reason, View
from silhouette.show import ink, words
from silhouette.show.trouble import Trouble, numbered, troubles

ROWS = 4
"""Lines of reasons under a figure."""
LEAST_GAP = 0.02
"""Share of the hull from which an open gap is filled; smaller pockets are the body's own curves."""


def panel_scale(views: Sequence[View], width: float, height: float, size: float = ink.SMALLEST) -> float:
    """Height of the tallest of ``views``, points, with which each of them fits a panel of this size at one scale."""
    sizes = ink.relative_heights(views)
    spans = [(views[i].outline.polygon.bounds, share) for i, share in sizes.items()]  # type: ignore[union-attr]
    widest = max([(x1 - x0) * share for (x0, _, x1, _), share in spans] + [0.2])
    # A ring round the head reaches over the figure's top.
    return min((height - _below(size)) / 1.07, (width - 8) / widest)


def _below(size: float) -> float:
    """Room for the words under the ground line."""
    return 1.5 * size + 6 + ROWS * 1.28 * size


def draw_view(view: View, ax: Any, box: tuple[float, float, float, float], tall: float, *,
              neighbours: Sequence[View] = (), size: float = ink.SMALLEST, angle: str = "",
              faults: bool = False) -> None:
    """Draw one view into ``box`` (left, bottom, width, height; points of :func:`silhouette.show.ink.bare` axes).

    ``tall`` is the figure's height; ``neighbours`` are the stops on either side, for gaps that have closed; ``size`` is
    that of the type, points; ``angle`` is what to print for the angle, where it is not the plain number. With
    ``faults`` a reason that speaks for the view is left out.
    """
    left, bottom, width, _ = box
    told = _told(view, troubles(view, neighbours), faults)
    marks = [(n, t) for n, t in numbered([t for _, found in told for t in found])]
    rows = [row for text, _ in told for row in ink.wrap_to(text, width - 6, size, 2)][:ROWS]
    x, ground = left + width / 2, bottom + _below(size)
    if view.outline is not None:
        draw_gaps(view, ax, tall, x, ground)
        ink.draw_figures(ax, [(view, ink.outline_path(view.outline.drawn, tall, x, ground))])
        _draw_marks(ax, marks, tall, x, ground, size)
    ax.plot([left + 4, left + width - 4], [ground, ground], color=ink.INK, linewidth=0.6, scalex=False, scaley=False)
    ax.text(left + 4, ground - 3, f"{angle or words.degrees(view.angle)}  {words.standing(view)}", size=size + 1.5,
            weight="bold", va="top")
    for i, row in enumerate(rows):
        ax.text(left + 4, ground - 6 - 1.5 * size - i * 1.28 * size, row, size=size, va="top")


def _told(view: View, found: list[Trouble], faults: bool = False) -> list[tuple[str, list[Trouble]]]:
    """The two first reasons in a few words, numbered where they are circled, each with its circles."""
    reasons = view.reading.reasons if view.scored and view.reading is not None else ()
    causes = list(dict.fromkeys([*reasons, *(t.cause for t in found)]))
    if view.problem and not causes:
        return [(view.problem, [])]
    if faults and view.scored:
        causes = [cause for cause in causes if not (isinstance(cause, Reason) and cause.praise)]
        if not causes:
            return [("nothing in particular stands out as a fault", [])]
    elif view.reading is not None and view.reading.band == "strong":
        causes = [cause for cause in causes if cause not in {t.cause for t in found}][:1] or causes[:1]
    told, number = [], 0
    for cause in causes[:2]:
        circles = [t for t in found if t.cause == cause]
        number += bool(circles)
        text = words.brief(cause) if isinstance(cause, Reason) else words.note(cause)
        told.append((f"{number}  {text}" if circles else text, circles))
    return told


def draw_gaps(view: View, ax: Any, tall: float, x: float, ground: float, pocket: str = ink.PALE,
              closed_in: str = ink.FAIR) -> None:
    """Fill the negative spaces as shapes of their own: ``pocket`` for open ones, ``closed_in`` for enclosed ones."""
    gaps = view.measures.gaps if view.measures is not None else ()
    closed = [ink.outline_path(g.polygon, tall, x, ground) for g in gaps if g.kind == "enclosed"]
    pockets = [ink.outline_path(g.polygon, tall, x, ground) for g in gaps if g.kind == "open" and g.share >= LEAST_GAP]
    ink.add_paths(ax, pockets, facecolor=pocket, linewidth=0)
    ink.add_paths(ax, closed, facecolor=closed_in, edgecolor=ink.INK, linewidth=0.5)


def _draw_marks(ax: Any, marks: list[tuple[int, Trouble]], tall: float, x: float, ground: float, size: float) -> None:
    """Bronze rings with a paper rim, readable on black and on white, each with its number."""
    from matplotlib.collections import EllipseCollection

    if not marks:
        return
    sides = [(2 * t.half_width * tall, 2 * t.half_height * tall) for _, t in marks]
    spots = [(x + t.x * tall, ground + (1 - t.y) * tall) for _, t in marks]
    for colour, thick in ((ink.PAPER, 3.6), (ink.ACCENT, 1.8)):
        ax.add_collection(EllipseCollection(
            [w for w, _ in sides], [h for _, h in sides], [0.0] * len(marks), units="xy", offsets=spots,
            transOffset=ax.transData, facecolors="none", edgecolors=colour, linewidths=thick), autolim=False)
    for (number, _), (sx, sy), (w, h) in zip(marks, spots, sides, strict=True):
        ax.text(sx - 0.35 * w - 3, sy + 0.35 * h + 3, str(number), size=size, weight="bold", ha="center", va="center",
                bbox={"boxstyle": "circle,pad=0.15", "facecolor": ink.PAPER, "edgecolor": ink.ACCENT, "linewidth": 1})
