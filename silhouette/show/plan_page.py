"""The plan on one printed page: floor and side view to scale, perspective, times, and the checklist with boxes."""

from __future__ import annotations

import re
from collections.abc import Callable
from pathlib import Path
from typing import Any

from matplotlib.figure import Figure

from silhouette.records_shoot import Plan
from silhouette.show import words_plan
from silhouette.show.ink import ACCENT, INK, SMALLEST, SOFT, bare, new_figure, page_axes, style, wrap
from silhouette.show.paper import page_bytes, page_points
from silhouette.show.plan_drawing import draw_enlargement, draw_floor, draw_side
from silhouette.writing import whole_file

MARGIN = 34.0
"""Paper left free all round, points (12 mm)."""
GUTTER = 20.0
LINE = 10.6
"""From one line of type to the next, points."""
LEAST_PLOT, LEAST_SIDE = 100.0, 86.0
"""Points that perspective against distance wants and the side view; on a fuller page its table stands alone."""
MOST_SLOTS = 8
"""Lines of timetable that are printed; a longer one says how it goes on."""


def write_plan_page(plan: Plan, path: Path, *, paper: str = "a4", title: str = "Plan of the shoot") -> Path:
    """Write the page as the kind (``.pdf`` or ``.png``) that the name of ``path`` says.

    Raises
    ------
    OutputError
        The folder is missing, full or not ours to write in.
    """
    return whole_file(path, plan_page(plan, kind=path.suffix[1:].lower(), paper=paper, title=title), sealed=True)


def plan_page(plan: Plan, *, kind: str = "pdf", paper: str = "a4", title: str = "Plan of the shoot") -> bytes:
    """The page as the bytes of a ``pdf`` or ``png`` file; ``paper`` is a4, letter or a3."""
    with style():
        return page_bytes(draw_plan_page(plan, paper=paper, title=title), kind)


def draw_plan_page(plan: Plan, *, paper: str = "a4", title: str = "Plan of the shoot") -> Figure:
    """The page as a matplotlib figure; to be called within ``ink.style()``. A3 is A4 enlarged, type and all."""
    import matplotlib

    width, height = page_points(paper)
    zoom = max(1.0, width / page_points("letter")[0])
    figure = new_figure(width, height)

    def axes(left: float, bottom: float, wide: float, high: float) -> Any:
        made = page_axes(figure, left * zoom, bottom * zoom, wide * zoom, high * zoom)
        return bare(made, wide, high)

    with matplotlib.rc_context({"font.size": SMALLEST * zoom, "axes.labelsize": "medium"}):
        _lay_out(plan, title, axes, width / zoom, height / zoom)
    return figure


def _lay_out(plan: Plan, title: str, axes: Callable[..., Any], width: float, height: float) -> None:
    """Text blocks take the height they need, from the foot up; the drawings get what is left."""
    page = axes(0, 0, width, height)
    inner = width - 2 * MARGIN
    column = (inner - GUTTER) / 2
    right = MARGIN + column + GUTTER

    top = _heading(page, plan, title, MARGIN, height - MARGIN, inner)
    check = _Checklist(plan, inner)
    foot = MARGIN + check.height
    words, tables = _columns(plan, column)
    middle = max(len(words), len(tables)) * LINE + 8
    check.draw(page, MARGIN, foot)
    _write(page, words, MARGIN, foot + middle)
    _write(page, tables, right, foot + middle)

    base = foot + middle + 8
    tall = top - base
    draw_floor(axes(MARGIN, base, column, tall), plan)
    plot = min(max(0.5 * tall, LEAST_PLOT), 160) if tall >= LEAST_PLOT + LEAST_SIDE else 0
    draw_side(axes(right, base + plot, column, tall - plot), plan)
    if not plot:
        return  # the table says the same
    page.text(right, base + plot, f"How much larger {words_plan.forward_part(plan)} looks", weight="bold", va="top")
    chart = axes(right + 26, base + 24, column - 28, plot - 48)
    chart.set_axis_on()
    draw_enlargement(chart, plan)


# ---------------------------------------------------------------------------------------------------------- blocks

Run = tuple[float, str, dict[str, Any]]


def _heading(page: Any, plan: Plan, title: str, x: float, y: float, width: float) -> float:
    page.text(x, y, title, fontsize="xx-large", weight="bold", va="top")
    room = f", room {plan.room:.1f} m" if plan.room is not None else ""
    page.text(x, y - 21, f"{words_plan.title(plan)}{room}", fontsize="large",
              va="top", color=SOFT)
    page.plot([x, x + width], [y - 37, y - 37], color=INK, lw=0.8)
    return y - 42


def _columns(plan: Plan, width: float) -> tuple[list[list[Run]], list[list[Run]]]:
    """Left how to set up, right tables and times; how to light goes where the columns then are shorter."""
    headings = ("Camera", "Room", "Rings", "Light", "Turn", "Session")
    ways = [(_words(plan, width, headings[:n]), _tables(plan, width, headings[n:])) for n in (2, 3, 4)]
    return min(ways, key=lambda way: max(map(len, way)))


def _words(plan: Plan, width: float, headings: tuple[str, ...]) -> list[list[Run]]:
    """Warnings first, then the plan's sentences under the given headings."""
    lines: list[list[Run]] = []
    for text in words_plan.warnings(plan):
        for i, line in enumerate(_lines(text, width - 12)):
            mark: list[Run] = [(0, "!", {"weight": "bold", "color": ACCENT, "fontsize": "large"})] if i == 0 else []
            lines.append([*mark, (12, line, {})])
    return lines + ([[]] if lines else []) + _said(plan, width, headings)


def _said(plan: Plan, width: float, headings: tuple[str, ...]) -> list[list[Run]]:
    """The plan's sentences under the given headings, the heading in a column of its own."""
    lines: list[list[Run]] = []
    for heading, text in words_plan.said(plan):
        if heading in headings:
            for i, line in enumerate(_lines(text, width - 44)):
                lines.append([*([(0, heading, {"weight": "bold"})] if i == 0 else []), (44, line, {})])
            if heading == "Rings":
                lines += _ring_table(plan, width)
    return lines


def _ring_table(plan: Plan, width: float) -> list[list[Run]]:
    """Where the camera of each ring goes, a line each."""
    ends = (24.0, 57.0, 95.0, 139.0, 195.0, width)
    rows = (words_plan.RING_HEAD, *words_plan.ring_rows(plan))
    return [_row(ends, row, {"weight": "bold"} if i == 0 else {}) for i, row in enumerate(rows)]


def _tables(plan: Plan, width: float, headings: tuple[str, ...]) -> list[list[Run]]:
    """Distances, lenses, the plan's sentences under the given headings, times."""
    bold = {"weight": "bold"}
    ends = (40, 102, 148, 198)
    lines: list[list[Run]] = [_row(ends, ("at", "than middle", "than far", "of picture"), bold)]
    for row in plan.distances:
        cells = (f"{row.distance:.2f} m", words_plan.larger(row.forward), words_plan.larger(row.near_far),
                 words_plan.share(row))
        mark = row.marks[0] if row.marks else ""
        lines.append([*_row(ends, cells, bold if mark == "this plan" else {}), (ends[-1] + 6, mark, {})])
    fills = "whole figure from: " + ", ".join(f"{focal:.0f} mm {distance:.1f} m" for focal, distance in plan.lenses)
    for i, line in enumerate(_lines(fills, width - 44)):
        lines.append([*([(0, "Lenses", bold)] if i == 0 else []), (44, line, {})])
    lines += [[], *_said(plan, width, headings)]
    for i, slot in enumerate(plan.timetable[:MOST_SLOTS]):
        times = _row((66, 78, 105), (f"{slot.start:.1f}", "to", f"{slot.end:.1f}"), {})
        lines.append([*([(0, "Minutes", bold)] if i == 0 else []), *times, (112, words_plan.slot(slot), {})])
    if len(plan.timetable) > MOST_SLOTS:
        lines.append([(112, f"and so on, to minute {plan.session_min:.0f}", {})])
    return lines


def _lines(text: str, width: float) -> list[str]:
    """Wrapped lines of the page's type; a number stays with its unit (a tilde holds their place)."""
    kept = re.sub(r"(?<=\d) (?=(?:%|mm|cm|m|s)(?:\W|$))", "~", text)
    return [line.replace("~", " ") for line in wrap(kept, width, SMALLEST)]


def _row(ends: tuple[float, ...], cells: tuple[str, ...], look: dict[str, Any]) -> list[Run]:
    """Cells set flush right at ``ends``."""
    return [(end, cell, {"ha": "right", **look}) for end, cell in zip(ends, cells, strict=True)]


def _write(page: Any, lines: list[list[Run]], x: float, top: float) -> None:
    for i, line in enumerate(lines):
        for shift, text, look in line:
            page.text(x + shift, top - i * LINE, text, **{"fontsize": "medium", "va": "top", **look})


class _Checklist:
    """The checklist in columns: measured first, so that the drawings get the room that is left."""

    def __init__(self, plan: Plan, width: float) -> None:
        self.width = (width - GUTTER) / 2
        blocks = [
            [(heading, None), *((line, i) for text in items for i, line in enumerate(_lines(text, self.width - 14)))]
            for heading, items in words_plan.checklist(plan)
        ]
        self.columns = _balance(blocks, 2)
        self.height = max(sum(len(b) for b in column) + 0.6 * (len(column) - 1) for column in self.columns) * LINE + 6

    def draw(self, page: Any, x: float, top: float) -> None:
        for column in self.columns:
            y = top
            for block in column:
                for text, part in block:
                    if part is None:
                        page.text(x, y, text, fontsize="medium", weight="bold", va="top")
                    else:
                        if part == 0:
                            page.plot([x + 0.5, x + 7.5, x + 7.5, x + 0.5, x + 0.5],
                                      [y - 8.5, y - 8.5, y - 1.5, y - 1.5, y - 8.5], color=INK, lw=0.7)
                        page.text(x + 13, y, text, fontsize="medium", va="top")
                    y -= LINE
                y -= 0.6 * LINE
            x += self.width + GUTTER


def _balance(blocks: list[Any], columns: int) -> list[list[Any]]:
    """Blocks in order over columns so that the tallest column is as low as it can be."""
    def split(rest: list[Any], left: int) -> list[list[list[Any]]]:
        if left == 1:
            return [[rest]]
        return [[rest[:i], *tail] for i in range(len(rest) + 1) for tail in split(rest[i:], left - 1)]

    def tallest(ways: list[list[Any]]) -> float:
        return max(sum(len(b) for b in column) + 0.6 * max(len(column) - 1, 0) for column in ways)

    return min(split(blocks, columns), key=tallest)
