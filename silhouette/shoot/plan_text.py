"""The plan for the terminal, at most 80 columns."""

from __future__ import annotations

import re
import textwrap

from silhouette.records_shoot import Plan

WIDTH = 80
_INDENT = 9


def plan_text(plan: Plan) -> str:
    """The whole plan as plain text, no line longer than :data:`WIDTH` characters."""
    title = f"{plan.pose.capitalize()} pose, model {plan.model_height:.2f} m"
    said = [line for heading, text in plan.said for line in _fill(text, f"{heading:<{_INDENT}}", " " * _INDENT)]
    blocks = [[title], said, _warnings(plan), _distances(plan), _timetable(plan), _checklist(plan)]
    return "\n\n".join("\n".join(block) for block in blocks if block) + "\n"


def _distances(plan: Plan) -> list[str]:
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
    fills = ", ".join(f"{focal:.0f} mm from {distance:.1f} m" for focal, distance in plan.lenses)
    note = f"How much larger {plan.forward_part} comes out:"
    return [*_fill(note), *lines, *_fill(f"Lenses that hold the whole figure: {fills}.")]


def _larger(factor: float) -> str:
    return "touches" if factor == float("inf") else f"+{100 * (factor - 1):.0f} %"


def _timetable(plan: Plan) -> list[str]:
    return ["Minutes", *(f"  {slot.start:5.1f} to {slot.end:5.1f}  {slot.what}" for slot in plan.timetable)]


def _warnings(plan: Plan) -> list[str]:
    return [line for text in plan.warnings for line in _fill(text, "! ", "  ")]


def _checklist(plan: Plan) -> list[str]:
    lines: list[str] = []
    for heading, items in plan.checklist:
        lines += [heading, *(line for text in items for line in _fill(text, "  [ ] ", "      "))]
    return lines


def _fill(text: str, first: str = "", then: str = "") -> list[str]:
    """Wrapped lines; a number stays with its unit."""
    kept = re.sub(r"(?<=\d) (?=(?:%|mm|cm|m)(?:\W|$))", "\0", text)
    lines = textwrap.wrap(kept, WIDTH, initial_indent=first, subsequent_indent=then, break_on_hyphens=False)
    return [line.replace("\0", " ") for line in lines]
