"""The plan for the terminal, as wide as asked, 80 columns at most."""

from __future__ import annotations

import re
import textwrap

from silhouette.records_shoot import Plan

WIDTH = 80
_INDENT = 9


def plan_text(plan: Plan, width: int = WIDTH) -> str:
    """The whole plan as plain text, no line longer than ``width`` characters, 40 at least."""
    title = f"{plan.pose.capitalize()} pose, model {plan.model_height:.2f} m"
    said = [line for heading, text in plan.said for line in _fill(text, width, f"{heading:<{_INDENT}}", " " * _INDENT)]
    parts = (_warnings, _distances, _timetable, _checklist)
    blocks = [[title], said, *(part(plan, width) for part in parts)]
    return "\n\n".join("\n".join(block) for block in blocks if block) + "\n"


def _distances(plan: Plan, width: int) -> list[str]:
    head = ("distance", "than the middle", "than far side", "of picture")
    widths = (9, 17, 15, 12)
    rows = [
        (f"{row.distance:.2f} m", _larger(row.forward), _larger(row.near_far),
         f"{100 * row.frame_share:.0f} %" if row.frame_share <= 1 else "cut")
        for row in plan.distances
    ]
    remarks = ["", *(row.remark for row in plan.distances)]
    lines = [
        f"{''.join(cell.rjust(width) for cell, width in zip(row, widths, strict=True))}  {remark}".rstrip()
        for row, remark in zip([head, *rows], remarks, strict=True)
    ]
    if max(map(len, lines)) > width:  # a table does not fit: a row in words
        lines = [
            line
            for row, remark in zip(rows, remarks[1:], strict=True)
            for line in _fill(
                f"{row[0]}: {row[1]} {head[1]}, {row[2]} {head[2]}, {row[3]} {head[3]}{remark and f'; {remark}'}",
                width, "  ", "    ",
            )
        ]
    fills = ", ".join(f"{focal:.0f} mm from {distance:.1f} m" for focal, distance in plan.lenses)
    note = f"How much larger {plan.forward_part} comes out:"
    return [*_fill(note, width), *lines, *_fill(f"Lenses that hold the whole figure: {fills}.", width)]


def _larger(factor: float) -> str:
    return "touches" if factor == float("inf") else f"+{100 * (factor - 1):.0f} %"


def _timetable(plan: Plan, width: int) -> list[str]:
    return ["Minutes", *(line for slot in plan.timetable for line in _fill(
        slot.what, width, f"  {slot.start:5.1f} to {slot.end:5.1f}  ", " " * 18))]


def _warnings(plan: Plan, width: int) -> list[str]:
    return [line for text in plan.warnings for line in _fill(text, width, "! ", "  ")]


def _checklist(plan: Plan, width: int) -> list[str]:
    lines: list[str] = []
    for heading, items in plan.checklist:
        lines += [heading, *(line for text in items for line in _fill(text, width, "  [ ] ", "      "))]
    return lines


def _fill(text: str, width: int, first: str = "", then: str = "") -> list[str]:
    """Wrapped lines; a number stays with its unit."""
    kept = re.sub(r"(?<=\d) (?=(?:%|mm|cm|m)(?:\W|$))", "\0", text)
    lines = textwrap.wrap(kept, width, initial_indent=first, subsequent_indent=then, break_on_hyphens=False)
    return [line.replace("\0", " ") for line in lines]
