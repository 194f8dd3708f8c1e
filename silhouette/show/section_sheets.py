"""Templates in true size: level cuts for foam or board, profiles to hold against the clay, a table for calipers."""

from __future__ import annotations

import csv
import io
from collections.abc import Sequence
from dataclasses import dataclass
from typing import Any
from xml.sax.saxutils import escape

import shapely
from shapely import affinity
from shapely.geometry import MultiPolygon, Point

from silhouette.geometry.drawn import path_data, thinned
from silhouette.records_space import Armature, Profile
from silhouette.show import words_space
from silhouette.show.elevations import built as built_profile
from silhouette.show.elevations import spread_out
from silhouette.show.flow import LINE, MARGIN, Flow
from silhouette.show.ink import FAIR, PALE, SMALLEST, SOFT, style
from silhouette.show.paper import pages_pdf
from silhouette.show.true_size import MOST_SHEETS, TRUE_OFF_MM, Canvas, Piece, boxed, pages, sheets_of
from silhouette.show.words_space import mm
from silhouette.texts import csv_cell, printable

LEAST_WHERE = 160.0
"""Height from which the small figure that shows where the sections lie is drawn, points."""
CROSS_MM = 4.0
"""Arm of the cross on the turning axis, mm."""
LEAST_MARKED = 40.0
"""Pieces of less area bear no number, square mm."""
MARK_MM = 5.0
"""Length of the front mark, mm."""
TICK_MM = 10.0
"""From one mark of height to the next on a profile, mm."""
SVG_WIDE_MM = 600.0
"""Width of the sheet that the svg lays its templates on: a common board."""
SVG_BETWEEN_MM = 8.0
CSV_HEAD = ("what", "height_mm", "width_mm", "depth_mm", "least_mm", "across_it_mm", "finished_width_mm",
            "finished_depth_mm")


def sections_pdf(made: Armature, *, profiles: Sequence[Profile] = (), paper: str = "a4") -> bytes:
    """The pdf: what it holds and how it is used, cuts, profiles, calipers; everything as built.

    Parameters
    ----------
    profiles : sequence of Profile
        Level views to cut out and hold against the clay.
    paper : {"a4", "letter", "a3"}
    """
    with style():
        cuts = [_cut_piece(one, made) for one in numbered(made)]
        sides = [_profile_piece(made, one) for one in profiles if one.angle is not None]
        under = words_space.subtitle(made.sizes)
        flow = Flow(paper, made.name, under)
        _first_page(flow, made, cuts, sides, paper)
        if cuts and sides:
            _where(flow, made, next(one for one in profiles if one.angle is not None))
        first, flow.figures = flow.figures, []
        _calipers_page(flow, made)
        drawn = [*pages(cuts, paper, made.name, under, words_space.BESIDE_RULER),
                 *pages(sides, paper, made.name, under, words_space.BESIDE_RULER)]
        return pages_pdf([*first, *drawn, *flow.figures])


def _first_page(flow: Flow, made: Armature, cuts: Sequence[Piece], sides: Sequence[Piece], paper: str) -> None:
    flow.new_page("Sections and profiles")
    flow.say(words_space.PRINT)
    for what, how in words_space.sizes_told(made.sizes):
        flow.say(f"{what}: {how}")
    flow.say(words_space.drawn_at(made.sizes))
    for piece in (*cuts, *sides):
        if sheets_of(piece, paper) > MOST_SHEETS:
            flow.say(words_space.too_large(piece.title, MOST_SHEETS), mark=True)
    flow.heading("Sections")
    flow.say(words_space.SECTIONS if cuts else words_space.NO_SECTIONS)
    if len(cuts) > 1:
        flow.say(words_space.every(made))
    flow.heading("Profiles")
    flow.say(words_space.PROFILES if sides else words_space.NO_PROFILES)
    flow.heading("What outlines cannot know")
    flow.say(words_space.HULL)
    flow.heading("With care")
    flow.say(" ".join(words_space.CAUTIONS))


def _where(flow: Flow, made: Armature, profile: Profile) -> None:
    """The figure small with a line at each section, its number at one end and its height at the other."""
    tall = flow.y - MARGIN - 3 * LINE
    if tall < LEAST_WHERE or profile.outline.is_empty:
        return
    flow.heading(words_space.WHERE)
    shape, cuts = built_profile(made, profile), numbered(made)
    left, low, right, top = shape.bounds

    def paint(page: Any, x: float, y: float, width: float) -> None:
        unit = min((width - 90) / (right - left), (tall - 10) / (top - min(low, 0)))
        middle = x + width / 2 - (left + right) / 2 * unit
        canvas = Canvas(page, middle, y + 4 - min(low, 0) * unit, unit)
        canvas.area(shape, facecolor=PALE)
        heights = spread_out([cut.height_mm for cut in cuts], 8.5 / unit)
        for cut, beside in zip(cuts, heights, strict=True):
            ends = (left - 6 / unit, right + 6 / unit)
            canvas.line([(end, cut.height_mm) for end in ends], color=SOFT, lw=0.5)
            for end, way, words, align in ((ends[0], -1, f"{cut.number}", "right"),
                                           (ends[1], 1, mm(cut.height_mm), "left")):
                canvas.line([(end, cut.height_mm), (end + way * 10 / unit, beside)], color=SOFT, lw=0.3)
                canvas.text((end + way * 12 / unit, beside), words, ha=align, fontsize=SMALLEST * flow.zoom)

    flow.drawing(tall, paint)


# ------------------------------------------------------------------------------------------------------------ cuts

@dataclass(frozen=True)
class Cut:
    """One section as built: its number from the ground up, and its outline in millimetres."""

    number: int
    height_mm: float
    outline: MultiPolygon


def numbered(made: Armature) -> list[Cut]:
    """The sections that hold anything, lowest first, as built."""
    k = made.sizes.built
    cuts = [s for s in sorted(made.sections, key=lambda s: s.z) if not s.outline.is_empty]
    return [Cut(i, s.z * k, affinity.scale(s.outline, k, k, origin=(0, 0))) for i, s in enumerate(cuts, start=1)]


def _cut_box(cut: Cut) -> tuple[float, float, float, float]:
    """Round the outline, the axis and the front mark below them."""
    left, low, right, top = boxed(cut.outline, Point(0, 0).buffer(CROSS_MM), air=1.5)
    return left, low - MARK_MM - 1.5, right, top


def _cut_piece(cut: Cut, made: Armature) -> Piece:
    box = _cut_box(cut)

    def paint(canvas: Canvas) -> None:
        canvas.area(cut.outline, facecolor=PALE)
        canvas.cross((0, 0), CROSS_MM, lw=0.5)
        canvas.ring((0, 0), 0.75, least=0.5, lw=0.4)
        tip, start = box[1] + 1.0, box[1] + 1.0 + MARK_MM
        canvas.line([(0, start), (0, tip)], lw=0.8)
        canvas.line([(-1.2, tip + 1.6), (0, tip), (1.2, tip + 1.6)], lw=0.8)
        canvas.text((1.8, tip + 2.2), "front", fontsize=8, color=SOFT)
        for at in _marked(cut):
            canvas.text((at.x, at.y), str(cut.number), ha="center", color=SOFT)

    return Piece(words_space.cut_name(cut.number, cut.height_mm), box, paint,
                 shapely.union_all([cut.outline, Point(0, 0).buffer(CROSS_MM)]), words_space.cut_name(cut.number))


def _marked(cut: Cut) -> list[Point]:
    """Where its number stands in each piece, so that none is mixed up once it is cut out; away from the cross."""
    places = [piece.representative_point() for piece in cut.outline.geoms if piece.area > LEAST_MARKED]
    return [at for at in places if Point(0, 0).distance(at) > 2 * CROSS_MM]


def _profile_piece(made: Armature, profile: Profile) -> Piece:
    shape = built_profile(made, profile)
    left, low, right, top = boxed(shape, air=2.0)
    box = (min(left, -3.0), min(low, -3.0), max(right, 3.0), top)

    def paint(canvas: Canvas) -> None:
        canvas.area(shape, facecolor=PALE)
        canvas.line([(box[0], 0), (box[2], 0)], lw=0.8)
        canvas.line([(0, 0), (0, top - 2)], color=SOFT, lw=0.5, ls=(0, (8, 3)))
        for step in range(1, int((top - 2) / TICK_MM) + 1):
            long = step % 5 == 0
            canvas.line([(-2.5 if long else -1.2, step * TICK_MM), (2.5 if long else 1.2, step * TICK_MM)],
                        color=SOFT, lw=0.4)
            if long:
                canvas.text((3, step * TICK_MM), f"{step * TICK_MM:.0f}", color=SOFT)

    return Piece(words_space.template_name(profile), box, paint, shape)


# -------------------------------------------------------------------------------------------------------- calipers

Numbers = tuple[float, float, float, float | None, float | None]


def _rows(made: Armature) -> list[tuple[str, Numbers]]:
    """What each line of the table is about, and its numbers as built: height, width, depth, least, across it; mm.

    The last two are of one piece, so a section has none.
    """
    k, number = made.sizes.built, 0
    rows: list[tuple[str, Numbers]] = []
    for one in made.calipers:
        level = (one.z * k, one.width_m * k, one.depth_m * k)
        if one.name:
            name = words_space.sided(*words_space.split(one.name))
            rows.append((name, (*level, one.narrow_m * k, one.wide_m * k)))
        else:
            number += 1
            rows.append((words_space.cut_name(number), (*level, None, None)))
    return rows


def _calipers_page(flow: Flow, made: Armature) -> None:
    flow.new_page("Calipers")
    flow.say(words_space.CALIPERS)
    rows = _rows(made)
    if not rows:
        flow.say(words_space.NO_SECTIONS)
        return
    heads = ("height", "width", "depth", "least", "across it")
    columns = [("", 0.0, "left"), *((head, 0.36 + 0.11 * i, "right") for i, head in enumerate(heads))]
    cells = [[what[:1].upper() + what[1:], *(mm(value) for value in numbers)] for what, numbers in rows]
    if made.sizes.shrinkage:
        small = made.sizes.finished / made.sizes.built
        columns.append(("width, depth finished", 1.0, "right"))
        for cell, (_, numbers) in zip(cells, rows, strict=True):
            cell.append(f"{numbers[1] * small:.0f}, {numbers[2] * small:.0f} mm")
    flow.table(columns, cells)


def calipers_csv(made: Armature) -> str:
    """The table as CSV, millimetres as built, width and depth also as finished."""
    held = io.StringIO()
    out = csv.writer(held, lineterminator="\n")
    out.writerow(CSV_HEAD)
    small = made.sizes.finished / made.sizes.built
    for what, numbers in _rows(made):
        cells = (*numbers, numbers[1] * small, numbers[2] * small)
        out.writerow([csv_cell(what), *("" if value is None else f"{value:.1f}" for value in cells)])
    return held.getvalue()


# ------------------------------------------------------------------------------------------------------------- svg

def sections_svg(made: Armature) -> str:
    """All cuts side by side on one sheet, in millimetres as built: lines to cut in black, marks in grey.

    Each cut is a group ``section-NN`` of a path to cut and its marks: the cross on the turning axis, the front mark and
    its number and height. The front points down the sheet.
    """
    groups, x, y, tall, wide = [], SVG_BETWEEN_MM, SVG_BETWEEN_MM, 0.0, 0.0
    for cut in numbered(made):
        left, low, right, top = _cut_box(cut)
        width, height = max(right - left, 34.0), top - low + 6.0
        if x > SVG_BETWEEN_MM and x + width + SVG_BETWEEN_MM > SVG_WIDE_MM:
            x, y, tall = SVG_BETWEEN_MM, y + tall + SVG_BETWEEN_MM, 0.0
        groups.append(_svg_group(cut, x - left, y + 6.0 + top, (left, low)))
        x, tall, wide = x + width + SVG_BETWEEN_MM, max(tall, height), max(wide, x + width + SVG_BETWEEN_MM)
    wide, tall = max(wide, 60.0), y + tall + SVG_BETWEEN_MM
    title = escape(printable(f"{made.name}, sections. {words_space.subtitle(made.sizes)}"))
    return "\n".join([
        f'<svg xmlns="http://www.w3.org/2000/svg" width="{wide:.3f}mm" height="{tall:.3f}mm" '
        f'viewBox="0 0 {wide:.3f} {tall:.3f}">',
        f"<title>{title}</title>", f"<desc>{escape(words_space.HULL)}</desc>",
        *(groups or [f'<text x="8" y="14" font-size="3">{escape(words_space.NO_SECTIONS)}</text>']), "</svg>", "",
    ])


def _svg_group(cut: Cut, x: float, y: float, corner: tuple[float, float]) -> str:
    """One cut, its axis at (x, y) of the sheet; ``corner``: left and low end of its box."""
    flipped = affinity.scale(thinned(cut.outline, TRUE_OFF_MM), 1, -1, origin=(0, 0))
    edge = path_data(flipped, 1.0, x, y, digits=3)
    tip = y - corner[1] - 1.0
    marks = (f"M{x - CROSS_MM:.3f} {y:.3f}h{2 * CROSS_MM:.3f}M{x:.3f} {y - CROSS_MM:.3f}v{2 * CROSS_MM:.3f}"
             f"M{x:.3f} {tip - MARK_MM:.3f}V{tip:.3f}M{x - 1.2:.3f} {tip - 1.6:.3f}L{x:.3f} {tip:.3f}"
             f"L{x + 1.2:.3f} {tip - 1.6:.3f}")
    top = y - max(cut.outline.bounds[3], CROSS_MM) - 2.5
    name = escape(words_space.cut_name(cut.number, cut.height_mm))
    numbers = "".join(
        f'<text x="{x + at.x:.3f}" y="{y - at.y + 1:.3f}" font-family="sans-serif" font-size="2.8" '
        f'text-anchor="middle" fill="{SOFT}">{cut.number}</text>' for at in _marked(cut))
    return (f'<g id="section-{cut.number:02d}"><path d="{edge}" fill="none" fill-rule="evenodd" stroke="#000" '
            f'stroke-width="0.1"/><path d="{marks}" fill="none" stroke="{FAIR}" stroke-width="0.1"/>'
            f'<text x="{x + corner[0] + 1.5:.3f}" y="{top:.3f}" font-family="sans-serif" font-size="2.8" '
            f'fill="{SOFT}">{name}</text>{numbers}</g>')

