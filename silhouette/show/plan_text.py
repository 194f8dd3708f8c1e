"""The plan for the terminal, as wide as asked, 80 columns at most."""

from __future__ import annotations

import re
import textwrap

from silhouette.records_shoot import Plan
from silhouette.show import words_plan

WIDTH = 80
_INDENT = 9


def plan_text(plan: Plan, width: int = WIDTH) -> str:
    """The whole plan as plain text, no line longer than ``width`` characters, 40 at least."""
    said = [line for heading, text in words_plan.said(plan)
            for line in _fill(text, width, f"{heading:<{_INDENT}}", " " * _INDENT)]
    parts = (_rings, _distances, _timetable, _checklist)
    blocks = [[words_plan.title(plan)], _warnings(plan, width), said, *(part(plan, width) for part in parts)]
    return "\n\n".join("\n".join(block) for block in blocks if block) + "\n"


def _rings(plan: Plan, width: int) -> list[str]:
    widths = (7, 9, 9, 11, 14, 17)
    rows = words_plan.ring_rows(plan)
    lines = ["".join(cell.rjust(wide) for cell, wide in zip(row, widths, strict=True)).rstrip()
             for row in (words_plan.RING_HEAD, *rows)]
    if max(map(len, lines)) > width:
        said = [", ".join(f"{head} {cell}" for head, cell in zip(words_plan.RING_HEAD, row, strict=True) if cell)
                for row in rows]
        return [line for text in said for line in _fill(text, width, "  ", "    ")]
    return lines


def _distances(plan: Plan, width: int) -> list[str]:
    head = ("distance", "than the middle", "than far side", "of picture")
    widths = (9, 17, 15, 12)
    rows = [
        (f"{row.distance:.2f} m", words_plan.larger(row.forward), words_plan.larger(row.near_far),
         words_plan.share(row))
        for row in plan.distances
    ]
    marks = [", ".join(row.marks) for row in plan.distances]
    lines = [
        f"{''.join(cell.rjust(width) for cell, width in zip(row, widths, strict=True))}  {mark}".rstrip()
        for row, mark in zip([head, *rows], ["", *marks], strict=True)
    ]
    if max(map(len, lines)) > width:  # a table does not fit: a row in words
        lines = [
            line
            for row, mark in zip(rows, marks, strict=True)
            for line in _fill(
                f"{row[0]}: {row[1]} {head[1]}, {row[2]} {head[2]}, {row[3]} {head[3]}{mark and f'; {mark}'}",
                width, "  ", "    ",
            )
        ]
    fills = ", ".join(f"{focal:.0f} mm from {distance:.1f} m" for focal, distance in plan.lenses)
    note = f"How much larger {words_plan.forward_part(plan)} looks:"
    return [*_fill(note, width), *lines, *_fill(f"Lenses that hold the whole figure: {fills}.", width)]


def _timetable(plan: Plan, width: int) -> list[str]:
    return ["Minutes", *(line for slot in plan.timetable for line in _fill(
        words_plan.slot(slot), width, f"  {slot.start:5.1f} to {slot.end:5.1f}  ", " " * 18))]


def _warnings(plan: Plan, width: int) -> list[str]:
    return [line for text in words_plan.warnings(plan) for line in _fill(text, width, "! ", "  ")]


def _checklist(plan: Plan, width: int) -> list[str]:
    lines: list[str] = []
    for heading, items in words_plan.checklist(plan):
        lines += [heading, *(line for text in items for line in _fill(text, width, "  [ ] ", "      "))]
    return lines


def _fill(text: str, width: int, first: str = "", then: str = "") -> list[str]:
    """Wrapped lines; a number stays with its unit."""
    kept = re.sub(r"(?<=\d) (?=(?:%|mm|cm|m)(?:\W|$))", "\0", text)
    lines = textwrap.wrap(kept, width, initial_indent=first, subsequent_indent=then, break_on_hyphens=False)
    return [line.replace("\0", " ") for line in lines]
