"""The printed armature: overview, elevations and plan in true size, wires to cut and bend, where the mass lies."""

from __future__ import annotations

from collections.abc import Sequence
from typing import TYPE_CHECKING, Any

import numpy as np

from silhouette.records_space import Armature, Profile, Wire
from silhouette.show import words_space
from silhouette.show.elevations import draw, elevation, reach, spread_out
from silhouette.show.flow import LINE, MARGIN, Column, Flow
from silhouette.show.ink import ACCENT, INK, SMALLEST, SOFT, fit_line, style, wrap
from silhouette.show.paper import pages_pdf
from silhouette.show.true_size import MOST_SHEETS, Canvas, Piece, pages, sheets_of
from silhouette.show.words_space import degrees, mm

if TYPE_CHECKING:
    from matplotlib.figure import Figure

NAMED = 54.0
"""Height that the names of the small drawings take, points."""
BESIDE = 14.0
"""Between small drawings, points."""
FACTS = 196.0
"""Width of the column of facts on the overview, points."""
STRIP = 41.0
"""Height of a wire drawn straight, points."""


def armature_sheet(made: Armature, *, views: Sequence[Profile], paper: str = "a4") -> bytes:
    """The pdf: overview, true-size drawings as built, cutting list, bends and segments, plumb line, tape.

    Parameters
    ----------
    views : sequence of Profile
        What is drawn in true size: the figure from the front (0), from its right (90), from above (None), ...
    paper : {"a4", "letter", "a3"}
    """
    with style():
        return pages_pdf(sheet_pages(made, views, paper))


def sheet_pages(made: Armature, views: Sequence[Profile], paper: str) -> list[Figure]:
    """All pages; to be called within ``ink.style()``."""
    pieces = [elevation(made, view, paper) for view in views if not view.outline.is_empty]
    under = words_space.subtitle(made.sizes)
    drawn = list(pages(pieces, paper, made.name, under, words_space.BESIDE_RULER))
    flow = Flow(paper, made.name, under)
    _overview(flow, made, views, [p for p in pieces if sheets_of(p, paper) > MOST_SHEETS], len(drawn))
    first = flow.figures
    flow.figures = []
    _cutting_list(flow, made)
    _lengths(flow, made)
    _plumb_page(flow, made, views)
    if made.tape:
        _tape(flow, made)
    return [*first, *drawn, *flow.figures]


# -------------------------------------------------------------------------------------------------------- overview

def _overview(flow: Flow, made: Armature, views: Sequence[Profile], too_large: Sequence[Piece], sheets: int) -> None:
    flow.new_page("Armature")
    facts, said = _facts(made, sheets), _said(made, too_large)
    below = sum((14 if heading else LINE * len(wrap(text, flow.inner - 12, SMALLEST)) + 3) for text, heading, _ in said)
    wanted = _small_layout(made, views, flow.inner - FACTS - 16)
    tall = max(_facts_height(facts), min(flow.y - MARGIN - below - 22, wanted))

    def paint(page: Any, left: float, low: float, width: float) -> None:
        _small(page, made, views, (left, low, width - FACTS - 16, tall), flow.zoom)
        _write_facts(page, facts, left + width - FACTS, low + tall, flow.zoom)

    flow.drawing(tall, paint)
    flow.gap(8)
    flow.rule(lw=0.5)
    flow.gap(6)
    for text, heading, mark in said:
        if heading:
            flow.heading(text)
        else:
            flow.say(text, mark=mark)


def _said(made: Armature, too_large: Sequence[Piece]) -> list[tuple[str, bool, bool]]:
    """(words, whether a heading, whether to be looked at first) of what stands under the small drawings."""
    first = [words_space.too_large(piece.title, MOST_SHEETS) for piece in too_large]
    if made.plumb is not None and words_space.leans(made.plumb):
        first.append(words_space.LEANS)
    first += [*words_space.missing(made), words_space.angles_told(made)]
    plain = words_space.notes(made)
    return [
        *((text, False, True) for text in first if text), *((text, False, False) for text in plain),
        ("What outlines cannot know", True, False), (words_space.OUTLINES, False, False),
        (words_space.HULL, False, False), ("With care", True, False), (words_space.PROMPT, False, False),
        (" ".join(words_space.CAUTIONS), False, False),
    ]


Facts = list[tuple[str, list[str]]]


def _facts(made: Armature, sheets: int) -> Facts:
    """(heading, lines) of the column beside the small drawings."""
    def lines(text: str) -> list[str]:
        return wrap(text, FACTS, SMALLEST)

    sizes = [line for what, how in words_space.sizes_told(made.sizes) for line in lines(f"{what}: {how}")]
    told: Facts = [("Sizes", [*sizes, *lines(words_space.drawn_at(made.sizes))])]
    told.append(("On these pages", [line for what in words_space.contents(made, sheets) for line in lines(what)]))
    if made.rules is not None:
        told.append(("Wire", [*lines(words_space.gauge(made.rules, made.sizes)), *lines(words_space.GAUGE)]))
    told.append(("To read the drawings", [line for what in words_space.LEGEND for line in lines(what)]))
    told.append(("Before you cut", lines(words_space.PRINT)))
    return told


def _facts_height(facts: Facts) -> float:
    return sum((len(lines) + 1.6) * LINE for _, lines in facts)


def _write_facts(page: Any, facts: Facts, x: float, top: float, zoom: float) -> None:
    y = top
    for title, lines in facts:
        page.text(x, y, title, fontsize=9 * zoom, weight="bold", va="top")
        y -= 1.15 * LINE
        for line in lines:
            page.text(x, y, line, fontsize=SMALLEST * zoom, va="top")
            y -= LINE
        y -= 0.45 * LINE


def _shown(views: Sequence[Profile]) -> tuple[list[Profile], Profile | None]:
    """The level views and the plan, without those that show nothing."""
    some = [view for view in views if not view.outline.is_empty]
    return [v for v in some if v.angle is not None], next((v for v in some if v.angle is None), None)


def _small_sizes(made: Armature, views: Sequence[Profile]) -> tuple[float, float]:
    """Width of the level views side by side, and height of the tallest with the plan under it; mm as built."""
    level, plan = _shown(views)
    boxes = [reach(made, view) for view in level]
    below = reach(made, plan) if plan is not None else (0.0,) * 4
    across = max(sum(b[2] - b[0] for b in boxes), below[2] - below[0], 1e-9)
    return across, max(max((b[3] for b in boxes), default=0.0) + below[3] - below[1], 1e-9)


def _small_layout(made: Armature, views: Sequence[Profile], wide: float) -> float:
    """Height at which the small drawings fill ``wide`` points."""
    across, up = _small_sizes(made, views)
    return NAMED + up * (wide - BESIDE * len(_shown(views)[0])) / across


def _small(page: Any, made: Armature, views: Sequence[Profile], room: tuple[float, float, float, float],
           zoom: float) -> None:
    """The drawings small, on one scale: elevations side by side, the plan under the first of them."""
    x0, y0, wide, tall = room
    level, plan = _shown(views)
    boxes = [reach(made, view) for view in level]
    below = reach(made, plan) if plan is not None else (0.0,) * 4
    across, up = _small_sizes(made, views)
    unit = min((wide - BESIDE * len(level)) / across, (tall - NAMED) / up)
    side = sum(b[2] - b[0] for b in boxes) * unit + BESIDE * (len(level) - 1)
    x, ground = x0 + (wide - side) / 2, y0 + tall - 12 - (up - below[3] + below[1]) * unit
    first, below_ground = x, max(10.0, made.base_mm * unit + 4)
    for view, box in zip(level, boxes, strict=True):
        draw(Canvas(page, x - box[0] * unit, ground, unit), made, view)
        name = words_space.short_name(view)
        page.text(x + (box[2] - box[0]) * unit / 2, ground - below_ground, name, fontsize=SMALLEST * zoom, ha="center",
                  va="top")
        x += (box[2] - box[0]) * unit + BESIDE
    if plan is not None:
        origin = first - boxes[0][0] * unit if boxes else x0 + wide / 2
        draw(Canvas(page, origin, ground - below_ground - 16 - below[3] * unit, unit), made, plan)
        page.text(origin + below[2] * unit + 6, ground - below_ground - 16 - (below[3] - below[1]) * unit,
                  "Plan, the front at the foot", fontsize=SMALLEST * zoom, va="bottom")


# ---------------------------------------------------------------------------------------------------- cutting list

def _cutting_list(flow: Flow, made: Armature) -> None:
    flow.new_page("Cutting list")
    if not made.wires:
        flow.say(words_space.NO_WIRES)
        return
    flow.say(words_space.HOW_TO_BEND)
    if made.rules is not None:
        flow.say(words_space.allowances(made.rules))
    flow.gap(4)
    columns: tuple[Column, ...] = (
        ("Bend", 0.0, "left"), ("at", 0.07, "left"), ("from the start", 0.46, "right"),
        ("turn the wire by", 0.50, "left"), ("then bend by", 0.84, "right"), ("angle between", 1.0, "right"),
    )
    for number, wire in enumerate(made.wires, start=1):
        flow.heading(f"{number}  {words_space.wire_name(wire)}", beside=f"cut {wire.cut_mm:.0f} mm",
                     keep=STRIP + (5 + len(wire.bends)) * LINE if wire.bends else 2 * LINE)
        straight = "" if wire.bends else f" {words_space.STRAIGHT} {words_space.wire_sum(wire)}."
        flow.say(words_space.wire_route(wire) + straight)
        if wire.passed:
            flow.say(words_space.passed(wire), mark=True)
        if not wire.bends:
            continue
        _strip(flow, wire)
        flow.say(words_space.wire_sum(wire), color=SOFT)
        rows = [(str(i), words_space.sided(words_space.place(b.at), words_space.split(b.at)[1]), mm(b.mark_mm),
                 words_space.turn(b.turn_deg), degrees(b.angle_deg), degrees(180 - b.angle_deg))
                for i, b in enumerate(wire.bends, start=1)]
        flow.table(columns, rows)
        flow.gap(1)
    whole = sum(wire.cut_mm for wire in made.wires) / 1000
    flow.say(words_space.all_wire(whole), weight="bold")


def _strip(flow: Flow, wire: Wire) -> None:
    """The wire drawn straight, its whole length across the page, with a mark at each bend."""
    def paint(page: Any, left: float, low: float, width: float) -> None:
        unit, y = width / max(wire.cut_mm, 1e-9), low + 0.53 * STRIP
        body = (wire.start_mm, wire.start_mm + wire.length_mm + wire.loop_mm)
        for a, b, look in ((0.0, body[0], "end"), (*body, "body"), (body[1], wire.cut_mm, "end")):
            if b - a > 1e-6:
                page.plot([left + a * unit, left + b * unit], [y, y], color=ACCENT if look == "body" else SOFT,
                          lw=(3.0 if look == "body" else 1.2) * flow.zoom, solid_capstyle="butt",
                          ls="-" if look == "body" else (0, (2, 1)))
        marks = [b.mark_mm * unit for b in wire.bends]
        size = SMALLEST * flow.zoom
        places = spread_out(marks, 34.0)
        if len(places):
            places = np.clip(places - max(0.0, places[-1] + 12 - width), 12, None)
        for bend, at, beside in zip(wire.bends, marks, places, strict=True):
            page.plot([left + at] * 2, [y - 5, y + 5], color=INK, lw=0.9 * flow.zoom)
            for way, words in ((1, f"{bend.mark_mm:.0f}"), (-1, f"{bend.angle_deg:.0f}°")):
                page.plot([left + at, left + beside], [y + way * 5, y + way * 10], color=SOFT, lw=0.4 * flow.zoom)
                page.text(left + beside, y + way * 11, words, fontsize=size, ha="center",
                          va="bottom" if way > 0 else "top")

    flow.drawing(STRIP, paint)


# --------------------------------------------------------------------------------------------- lengths and angles

def _lengths(flow: Flow, made: Armature) -> None:
    sizes = made.sizes
    flow.new_page("Lengths and bends")
    flow.heading("From joint to joint")
    shrinks = bool(sizes.shrinkage)
    columns: list[Column] = [("", 0.0, "left"), ("built", 0.42, "right"), ("within", 0.54, "right"),
                             ("from upright", 0.84, "right"), ("points to", 1.0, "right")]
    if shrinks:
        columns.insert(3, ("finished", 0.66, "right"))
    rows = []
    for s in made.segments:
        row = [words_space.sided(s.name, s.side).capitalize(), mm(_times(s.length_m, sizes.built)),
               "–" if s.within_m is None else f"± {s.within_m * sizes.built:.0f}", degrees(s.tilt_deg),
               "–" if s.length_m is None else words_space.heading(s)]
        if shrinks:
            row.insert(3, mm(_times(s.length_m, sizes.finished)))
        rows.append(row)
    flow.table(columns, rows)
    flow.say(words_space.HOW_SEGMENTS, color=SOFT)
    if made.bends:
        flow.gap(4)
        flow.heading("Bends at the joints")
        flow.table((("", 0.0, "left"), ("between", 0.42, "left"), ("angle", 1.0, "right")),
                   [(words_space.sided(b.joint, b.side).capitalize(), f"{b.start} and {b.end}", degrees(b.angle_deg))
                    for b in made.bends])
        flow.say(words_space.HOW_BENDS, color=SOFT)
    flow.gap(4)
    flow.heading("Joints above the base")
    flow.table(
        (("", 0.0, "left"), ("height", 0.42, "right"), ("to figure's left", 0.60, "right"),
         ("to the back", 0.77, "right"), ("within", 1.0, "right")),
        [_joint_row(j, sizes.built) for j in made.skeleton.joints])
    flow.say(words_space.HOW_JOINTS, color=SOFT)


def _joint_row(joint: Any, k: float) -> tuple[str, ...]:
    name = words_space.sided(joint.joint, joint.side).capitalize()
    if joint.at is None:
        return (name, "–", "–", "–", "not found")
    x, y, z = (mm(v * k) for v in joint.at)
    within = "–" if joint.within is None else f"± {joint.within * k:.0f}"
    return (name, z, x, y, within if joint.sure else f"not sure, {within}")


def _times(value: float | None, factor: float) -> float | None:
    return None if value is None else value * factor


# ----------------------------------------------------------------------------------------------------------- plumb

def _plumb_page(flow: Flow, made: Armature, views: Sequence[Profile]) -> None:
    if made.plumb is None:
        return
    flow.new_page("Where the mass lies")
    leaning = words_space.leans(made.plumb)
    for said in words_space.plumb_told(made.plumb, made.sizes):
        flow.say(said, mark=leaning and words_space.LEANS in said)
    flow.say(words_space.PROMPT)
    flow.gap(4)
    tall = flow.y - MARGIN - 5 * LINE
    flow.drawing(tall, lambda page, left, low, width: _plumb_drawings(
        page, made, views, (left, low, width, tall), flow.zoom))
    flow.gap(4)
    flow.say(words_space.HOW_PLUMB, color=SOFT)


def _plumb_drawings(page: Any, made: Armature, views: Sequence[Profile], room: tuple[float, float, float, float],
                    zoom: float) -> None:
    """Elevations on the upper half, the feet seen from above on the lower."""
    x0, y0, wide, tall = room
    level, plan = _shown(views)
    half = tall / 2 if plan is not None else tall
    if level:
        boxes = [reach(made, view) for view in level]
        unit = min((wide - 30 * len(level)) / sum(b[2] - b[0] for b in boxes), (half - 30) / max(b[3] for b in boxes))
        step = wide / len(level)
        for i, (view, box) in enumerate(zip(level, boxes, strict=True)):
            middle = x0 + (i + 0.5) * step
            ground = y0 + tall - half + 22
            draw(Canvas(page, middle - (box[0] + box[2]) / 2 * unit, ground, unit), made, view)
            page.text(middle, ground - 10, words_space.profile_name(view), fontsize=SMALLEST * zoom, ha="center",
                      va="top")
    if plan is not None:
        left, low, right, top = reach(made, plan)
        unit = min(wide / (right - left), (half - 34) / (top - low))
        draw(Canvas(page, x0 + wide / 2 - (left + right) / 2 * unit, y0 + 16 - low * unit, unit), made, plan)
        page.text(x0 + wide / 2, y0 + 12, "Plan, the front at the foot of the page", fontsize=SMALLEST * zoom,
                  ha="center", va="top")


# ------------------------------------------------------------------------------------------------------------ tape

def _tape(flow: Flow, made: Armature) -> None:
    flow.new_page("Held against the tape")
    flow.say(words_space.tape_advice(made.tape, made.tape_factor, made.fitted_to_tape))
    flow.table(
        (("from", 0.0, "left"), ("to", 0.24, "left"), ("tape", 0.56, "right"), ("found", 0.67, "right"),
         ("difference", 0.70, "left")),
        [(words_space.sided(*words_space.split(t.start)).capitalize(), words_space.sided(*words_space.split(t.end)),
          mm(t.tape_mm), mm(t.found_mm), fit_line(words_space.tape_told(t), 0.30 * flow.inner, SMALLEST))
         for t in made.tape])
    flow.say(words_space.HOW_TAPE, color=SOFT)
