"""The critique sheet for the wall: one page a pose, one that compares them, one of numbers. Vector, safe in grey."""

from __future__ import annotations

from collections.abc import Callable, Sequence
from dataclasses import dataclass, replace
from pathlib import Path
from typing import TYPE_CHECKING, Any

import numpy as np

from silhouette.geometry.angles import apart, on_arc
from silhouette.records import Pose, Ranking, View
from silhouette.settings import RINGS, Paper
from silhouette.show import ink, words, words_rings
from silhouette.show.advice import advice_line, advise
from silhouette.show.groups import by_ring, in_a_row
from silhouette.show.overlay import draw_lines
from silhouette.show.paper import page_points, pages_pdf
from silhouette.show.polar import draw_wheel, draw_wheels, height_of_wheels
from silhouette.show.trouble import neighbours_of
from silhouette.show.view_panel import draw_view, panel_scale
from silhouette.show.wheel import Figure, strip_of
from silhouette.show.wheel_axes import paint_figures
from silhouette.show.wheel_layout import shown
from silhouette.writing import whole_file

if TYPE_CHECKING:
    from matplotlib.figure import Figure as Page

MARGIN = 36.0
"""White round every page, points: 12.7 mm, more than any office printer leaves bare."""
FOOT = 20.0
NEAR = 20.0
"""Two views this near to one another, degrees, or to the other's opposite, show all but the same outline."""
ALIKE = 5.0
"""Points of readability that a view farther off may be behind to be shown in the place of a near one."""
RULED = 20.0
"""Between two lines to write on, points: 7 mm."""
NONE_READS = "No view reads well; the least weak:"
"""Over the strongest views where all are weak."""
APART = 12.0
"""Between two blocks of a page, points."""
STRIP, PANELS = 7.0, 17.0
"""Least height of a ring's strip of silhouettes and of its row of large views, in sizes of the type."""
MOST_RING = 1.35
"""How much higher a ring's block may be than it must, where a page has room left."""
WHEELS = 6
"""Wheels on one comparison page."""


def write_critique(ranking: Ranking, path: Path, paper: Paper = "a4") -> Path:
    """Write the critique sheet as a pdf.

    Parameters
    ----------
    ranking : Ranking
        One pose or several, best first.
    path : Path
        The pdf to write.
    paper : "a4", "letter" or "a3"
        Upright page size.

    Raises
    ------
    OutputError
        The file cannot be written.
    """
    with ink.style():
        data = pages_pdf(critique_pages(ranking, paper), truetype=False)
    return whole_file(Path(path), data)


def critique_pages(ranking: Ranking, paper: Paper = "a4") -> list[Page]:
    """The pages as matplotlib figures: a page a pose, and after it what its other rings show, comparison pages for
    several, numbers last."""
    size = page_points(paper)
    with ink.style():
        alone = len(ranking.poses) == 1
        placed = in_a_row(ranking)
        poses = [replace(pose, rank=None) if alone else pose for _, pose in placed]
        pages: list[Page] = []
        asked: list[str] = []
        for pose in poses:
            own = [_pose_page(pose, size, ranking.arc), *ring_pages(pose, size, ranking.arc)]
            pages += own
            asked += [words.asked(replace(ranking, poses=(pose,), intent=pose.intent))] * len(own)
        if not alone:
            pages += [_comparison_page(placed[i:i + WHEELS], size, ranking) for i in range(0, len(placed), WHEELS)]
        pages += _number_pages(poses, size)
        for i, page in enumerate(pages):
            _draw_foot(page, size, asked[i] if i < len(asked) else "", f"{i + 1} of {len(pages)}")
    return pages


def _draw_foot(page: Page, size: tuple[float, float], asked: str, number: str) -> None:
    ax = ink.page_axes(page, MARGIN, MARGIN, size[0] - 2 * MARGIN, FOOT)
    width, _ = ink.size_of(ax)
    left = ink.fit_line(words.CANNOT_SEE, width, 8)
    room = width - ink.text_width(left, 8) - ink.text_width(number, 8) - 28
    right = number
    if asked and ink.text_width(asked, 8) <= room:
        right = f"{asked}    {number}"
    elif asked:
        ax.text(width, 10, ink.fit_line(asked, width, 8), size=8, color=ink.SOFT, ha="right", va="bottom")
    ax.text(0, 0, left, size=8, color=ink.SOFT, va="bottom")
    ax.text(width, 0, right, size=8, color=ink.SOFT, ha="right", va="bottom")


# ------------------------------------------------------------------------------------------------------ a pose's page

def _pose_page(pose: Pose, size: tuple[float, float], arc: tuple[float, float] | None) -> Page:
    """Wheel above; weakest and strongest views large; what to try; lines to write on."""
    page = ink.new_figure(*size)
    width, height = size[0] - 2 * MARGIN, size[1] - 2 * MARGIN
    wheel = (0.54 if pose.other_rings else 0.50) * height
    draw_wheel(pose, ink.page_axes(page, MARGIN, MARGIN + height - wheel, width, wheel), arc=arc)
    left = 0.68 * width
    rest = height - wheel - FOOT - 10
    type_size = max(8.0, 8.0 * size[0] / 595)
    ax = ink.page_axes(page, MARGIN, MARGIN + FOOT, left, rest)
    _draw_views(pose, ax, _rows_of(pose, arc), rest / 2, type_size)
    _draw_tries(pose, ink.page_axes(page, MARGIN + left + 12, MARGIN + FOOT, width - left - 12, rest), type_size, arc)
    return page


def _rows_of(pose: Pose, arc: tuple[float, float] | None) -> list[tuple[str, list[View]]]:
    """The weakest and the strongest views, each row with its title; where none is read, some of the others."""
    weakest, strongest = extremes(pose, arc=arc)
    best = "Strongest view" if any(_band(view) != "weak" for view in strongest) else NONE_READS
    rows = [row for row in (("Weakest view", weakest), (best, strongest)) if row[1]]
    if not rows:
        some = [view for view in pose.views if view.outline is not None][::max(1, len(pose.views) // 3)][:3]
        rows = [("Unread view", some)] if some else []
    return rows


def _draw_views(pose: Pose, ax: Any, rows: Sequence[tuple[str, list[View]]], each: float, size: float) -> None:
    """Rows of views at one scale under their titles, ``each`` points high, from the top of the axes down."""
    width, height = ink.size_of(ax)
    cell, high = width / 3, each - size - 10
    drawn = [view for _, views in rows for view in views]
    scale = panel_scale(drawn, cell - 8, high, size)
    shares = ink.relative_heights(drawn)
    tall = {id(view): scale * shares.get(i, 1.0) for i, view in enumerate(drawn)}
    for i, (title, views) in enumerate(rows):
        top = height - i * each
        ax.text(0, top, f"{title}s" if len(views) > 1 and title != NONE_READS else title, size=size + 2,
                weight="bold", va="top")
        for k, view in enumerate(views):
            draw_view(view, ax, (k * cell, top - each + 4, cell - 8, high), tall[id(view)], size=size,
                      neighbours=neighbours_of(view, pose.views), angle=words.stop_angle(view, pose.views),
                      faults=title == "Weakest view")


def extremes(pose: Pose, most: int = 3, arc: tuple[float, float] | None = None) -> tuple[list[View], list[View]]:
    """The weakest and the strongest views, at most ``most`` each, none in both, by readability alone.

    Measured views go before inferred ones, those of the arc that counts before others, and a stop taken twice counts
    once. A view that shows all but the same outline as one already taken gives way to another of its band at most
    ``ALIKE`` points behind, if there is one. A weak view is among the strongest only where all of these are weak.
    """
    scored = [v for v in pose.views if v.scored and v.reading is not None and not words.is_again(v, pose.views)]
    seen = [v for v in scored if not v.inferred] or scored
    if arc is not None:
        seen = [v for v in seen if on_arc(v.angle, arc)] or seen
    ordered = sorted(seen, key=_readability)
    half = len(ordered) // 2
    upper = ordered[half:][::-1]
    return _first(ordered[:half], most), _first([v for v in upper if _band(v) != "weak"] or upper, most)


def _band(view: View) -> str:
    return view.reading.band if view.reading is not None else ""


def _readability(view: View) -> float:
    return view.reading.readability if view.reading is not None else 0.0


def _first(views: Sequence[View], most: int) -> list[View]:
    """The first ``most``, a near neighbour or mirror of one taken exchanged for the next that is as good as it."""
    left = list(views)
    taken: list[View] = []

    def repeats(view: View) -> bool:
        return any(apart(2 * view.angle, 2 * t.angle) <= 2 * NEAR for t in taken)

    def stands_in(view: View, first: View) -> bool:
        same = words.standing(view) == words.standing(first)
        return same and abs(_readability(view) - _readability(first)) <= ALIKE and not repeats(view)

    while left and len(taken) < most:
        first = left[0]
        chosen = next((v for v in left if stands_in(v, first)), first) if repeats(first) else first
        taken.append(chosen)
        left.remove(chosen)
    return [v for v in views if v in taken]


def _tries(pose: Pose, arc: tuple[float, float] | None) -> list[tuple[str, str]]:
    """What to try, each with the angles or the explanation under it."""
    hint = [(words.CLOSED_HINT, "")] if words.closed_hint(pose) else []
    found = [(advice.text, advice_line(advice)) for advice in advise(pose)]
    if found or hint:
        return hint + found
    cause = words.unread_cause(pose)
    if cause is not None:
        return [(words.UNREAD[cause[0]][2] if cause[0] in words.UNREAD else "Take the pictures again.", "")]
    if pose.round.reads_degrees is None:
        return [("Take more views:", "20 to 30 held stops round the figure.")]
    if pose.round.weak_arcs:
        return [("Nothing in particular.", "")]
    told = words.nowhere_weak(arc)
    worst = pose.round.worst_angle
    return [(f"{told[:1].upper()}{told[1:]}.", "" if worst is None else f"Weakest at {words.degrees(worst)}.")]


def _draw_tries(pose: Pose, ax: Any, size: float, arc: tuple[float, float] | None) -> None:
    """What to try, then lines to write on: never fewer than five."""
    _, height = ink.size_of(ax)
    _draw_notes(ax, _list_tries(pose, ax, height, size, arc, floor=5 * RULED + 20) - 8, size)


def _list_tries(pose: Pose, ax: Any, y: float, size: float, arc: tuple[float, float] | None, floor: float) -> float:
    """What to try, from ``y`` points down, as much of it as stands over the ``floor``; gives where it ends."""
    width, _ = ink.size_of(ax)
    line = 1.3 * size
    ax.text(0, y, "What to try", size=size + 2, weight="bold", va="top")
    y -= size + 9
    for rows in _rows_of_tries(pose, width, size, arc):
        if y - line * len(rows) < floor:
            break
        for row, weight in rows:
            ax.text(0, y, row, size=size, weight=weight, va="top")
            y -= line
        y -= 5
    return y


def _rows_of_tries(pose: Pose, width: float, size: float,
                   arc: tuple[float, float] | None) -> list[list[tuple[str, str]]]:
    """What to try in lines, each with its weight of type."""
    return [[(row, "bold") for row in ink.wrap(text[:1].upper() + text[1:], width, size, True)]
            + [(row, "normal") for row in (ink.wrap(where, width, size) if where else [])]
            for text, where in _tries(pose, arc)]


def _draw_notes(ax: Any, y: float, size: float) -> None:
    """Lines to write on, from ``y`` points down to the foot of the axes."""
    width, _ = ink.size_of(ax)
    ax.text(0, y, "Notes", size=size + 2, weight="bold", va="top")
    y -= size + 4 + RULED
    while y >= 2:
        ax.plot([0, width], [y, y], color=ink.FAIR, linewidth=0.5, scalex=False, scaley=False)
        y -= RULED


# ------------------------------------------------------------------------------------------------ a pose's other rings

@dataclass(frozen=True)
class _Block:
    """A piece of a page: what it takes at least, and how it is drawn on axes of its own; points."""

    least: float
    paint: Callable[[Any], None]
    grows: bool = True
    """Whether it takes what is left on the page, up to ``MOST_RING`` of its least."""


def ring_pages(pose: Pose, size: tuple[float, float], arc: tuple[float, float] | None) -> list[Page]:
    """What the rings beside the headline's show, higher ones over lower ones as the cameras stood; then what stands
    clear in no view, and the close-ups. No page for a pose of one ring."""
    if not pose.other_rings:
        return []
    type_size = max(8.0, 8.0 * size[0] / 595)
    width, height = size[0] - 2 * MARGIN, size[1] - 2 * MARGIN - FOOT
    rings = sorted(by_ring(pose)[1:], key=lambda one: -RINGS.index(one.ring))
    blocks = [_ring_block(ring, width, type_size, arc) for ring in rings]
    blocks += _unseen_blocks(pose, width, type_size, height - 34)
    pages: list[Page] = []
    while blocks:
        taken, left = [blocks.pop(0)], height - 34
        while blocks and sum(b.least + APART for b in taken) + blocks[0].least <= left:
            taken.append(blocks.pop(0))
        page = ink.new_figure(*size)
        title = ink.page_axes(page, MARGIN, MARGIN + FOOT + height - 34, width, 34)
        told = f": the other rings{', continued' if pages else ''}"
        name = ink.fit_line(pose.name, width - ink.text_width(told, 18, True), 18, True)
        title.text(0, 34, name + told, size=18, weight="bold", va="top")
        spare = left - sum(b.least for b in taken) - APART * (len(taken) - 1)
        growing = sum(b.grows for b in taken)
        top = MARGIN + FOOT + left
        for block in taken:
            high = block.least + (min(spare / growing, (MOST_RING - 1) * block.least) if block.grows else 0.0)
            block.paint(ink.page_axes(page, MARGIN, top - high, width, high))
            top -= high + APART
        if not growing and top - MARGIN - FOOT > 8 * RULED:
            high = top - MARGIN - FOOT
            _draw_notes(ink.page_axes(page, MARGIN, MARGIN + FOOT, width, high), high - 12, type_size)
        pages.append(page)
    return pages


def _ring_block(ring: Pose, width: float, size: float, arc: tuple[float, float] | None) -> _Block:
    """One ring: its verdict, its silhouettes on one ground line, its weak stretches and why, its weakest views large,
    what to try."""
    line = 1.3 * size
    name = words_rings.NAMES[ring.ring]
    title = f"{name[:1].upper()}{name[1:]}: {words.headline(ring)}"
    more = "; ".join(filter(None, [words.give_or_take(ring), words_rings.camera(ring.camera)]))
    under = ink.wrap_to(more[:1].upper() + more[1:], width, size, 2) if more else []
    left = 0.62 * width
    weak = [row for stretch in _stretches_of(ring, arc) for row in ink.wrap(stretch, left - 8, size)]
    views = shown(ring.views)
    figures = _strip(views, width, size, arc)
    strip = STRIP * size - figures[0].feet + 1.2 * size + 6 if figures else 0.0
    tries = sum(line * len(rows) + 5 for rows in _rows_of_tries(ring, width - left - 12, size, arc)) + size + 9
    head = 2.2 * size + line * len(under) + 4

    def paint(ax: Any) -> None:
        _, height = ink.size_of(ax)
        ax.plot([0, width], [height, height], color=ink.INK, linewidth=0.8, scalex=False, scaley=False)
        ax.text(0, height - 5, ink.fit_line(title, width, size + 4, True), size=size + 4, weight="bold", va="top")
        for i, row in enumerate(under):
            ax.text(0, height - 2.2 * size - 3 - i * line, row, size=size, color=ink.SOFT, va="top")
        y = height - head
        if figures:
            at, feet = y - STRIP * size, y - STRIP * size + figures[0].feet
            ax.plot([0, width], [feet, feet], color=ink.INK, linewidth=0.6, scalex=False, scaley=False)
            paint_figures(figures, ax, np.array([0.0, at]), size)
        y -= strip + 4
        for i, row in enumerate(weak):
            ax.text(0, y - i * line, row, size=size, va="top")
        views_high = y - line * len(weak) - 6
        _draw_views(ring, _part_of(ax, 0.0, left, views_high), _rows_of(ring, arc)[:1], views_high, size)
        _list_tries(ring, _part_of(ax, left + 12, width - left - 12, y), y, size, arc, floor=0.0)

    return _Block(head + strip + 4 + max(line * len(weak) + 6 + PANELS * size, tries), paint)


def _part_of(ax: Any, x: float, width: float, height: float) -> Any:
    """Axes of their own over the foot of others, which are measured in points too."""
    box, (wide, high) = ax.get_position(original=True), ink.size_of(ax)
    inside = ax.figure.add_axes((box.x0 + x / wide * box.width, box.y0, width / wide * box.width,
                                 height / high * box.height))
    return ink.bare(inside, width, height)


def _stretches_of(ring: Pose, arc: tuple[float, float] | None) -> list[str]:
    """Each weak stretch with what its views lose, and the stretches that nothing shows, a line each."""
    if ring.round.reads_degrees is None:
        return []
    told = [f"Weak {words.stretch(weak.start, weak.end)}" + (f": {words.reasons(weak.causes)}" if weak.causes else "")
            for weak in ring.round.weak_arcs]
    if not told:
        nowhere = words.nowhere_weak(arc)
        told = [f"{nowhere[:1].upper()}{nowhere[1:]}."]
    missing = [words.stretch(hole.start, hole.end) for hole in ring.round.missing_arcs]
    return told + ([f"No view: {words.listed(missing)}."] if missing else [])


def _strip(views: Sequence[View], width: float, size: float,
           arc: tuple[float, float] | None) -> tuple[Figure, ...]:
    """A ring's silhouettes on one ground line, the angle under each; under every other one where they stand close."""
    close = width / max(len(views), 1) < ink.text_width("000 ", size)
    even = {id(view) for view in views[::2]}
    return strip_of(views, width, STRIP * size, 1, arc,
                    lambda view: "" if close and id(view) not in even else words.degrees(view.angle), size)


def _unseen_blocks(pose: Pose, width: float, size: float, most: float) -> list[_Block]:
    """What stands clear in no view of any ring, and the close-ups that are kept; in pieces that fit a page."""
    line = 1.3 * size
    blind = words_rings.blind_spots(pose.blind_spots, words_rings.metres(ring.camera for ring in pose.rings))
    kept = words_rings.close_ups(pose.close_ups)
    rows = [row for sentence in blind for row in ink.wrap(sentence, width, size)]
    told: list[tuple[str, str]] = [("title", "Blind spots"), *(("row", row) for row in rows)] if rows else []
    told += [("row", row) for row in ink.wrap(kept, width, size)] if kept else []
    each = max(int((most - 10) // line) - 2, 1)

    def block(some: list[tuple[str, str]]) -> _Block:
        def paint(ax: Any) -> None:
            y = ink.size_of(ax)[1]
            ax.plot([0, width], [y, y], color=ink.INK, linewidth=0.8, scalex=False, scaley=False)
            y -= 5
            for kind, text in some:
                big = kind == "title"
                ax.text(0, y, text, size=size + 4 if big else size, weight="bold" if big else "normal", va="top")
                y -= 2.2 * size if big else line

        return _Block(line * len(some) + 2.2 * size, paint, grows=False)

    return [block(told[i:i + each]) for i in range(0, len(told), each)]


# ---------------------------------------------------------------------------------------------------- the comparison

def _comparison_page(placed: Sequence[tuple[str, Pose]], size: tuple[float, float], ranking: Ranking) -> Page:
    """Small wheels in rank order at one scale, each group under its heading, their lines over one another."""
    page = ink.new_figure(*size)
    width, height = size[0] - 2 * MARGIN, size[1] - 2 * MARGIN - FOOT
    head = ink.page_axes(page, MARGIN, MARGIN + FOOT + height - 40, width, 40)
    head.text(0, 40, "Candidates, best first", size=18, weight="bold", va="top")
    told = f"{words.asked(ranking)}. Nothing was dropped; the choice is yours."
    if any(pose.other_rings for _, pose in placed):
        told += " Thin rings: the camera higher (inside) or lower (outside)."
    head.text(0, 14, ink.fit_line(told, width, 8), size=8, color=ink.SOFT, va="top")
    block = 0.75 * height - 58

    def cell(columns: int) -> tuple[float, float]:
        rows = -(-len(placed) // columns)
        wide = (width - 16 * (columns - 1)) / columns
        return wide, min((block - height_of_wheels(placed, columns, 0, 0)) / rows - 16, wide + 40)

    columns = max((1, 2, 3), key=lambda columns: min(cell(columns)[0], cell(columns)[1] - 30))
    wide, high = cell(columns)
    rest = height - 50 - height_of_wheels(placed, columns, high, 16)
    lines = min(rest, 0.34 * height)
    if rest - lines > 4 * RULED:
        _draw_notes(ink.page_axes(page, MARGIN, MARGIN + FOOT, width, rest - lines - 14), rest - lines - 14, 8)
    else:
        lines = rest
    draw_wheels(placed, page, (MARGIN, MARGIN + FOOT + height - 36), columns, (wide, high), 16, ranking.arc)
    draw_lines(tuple(pose for _, pose in placed),
               ink.page_axes(page, MARGIN, MARGIN + FOOT + rest - lines + 2, width, lines), ranking.arc)
    return page


# ------------------------------------------------------------------------------------------------------- the numbers

HEAD = (f"{'angle':>7}  {'band':<11} {'reads':>5} {'clear':>5} {'interest':>8}  {'gaps %':>6} {'shape':>5} "
        f"{'turns':>5} {'parts':>5} {'kisses':>6}  {'cut sure':>8}")
"""Heads of the table of numbers, in type of one width."""
ROW = 11.0
EXPLAINED = (
    "Reads, clear and interest run from 0 to 100. Gaps: negative space as a share of what a string round the figure "
    "would enclose. Shape: how far head, arms and legs stand clear by geometry alone, 0 to 100. Turns: how much the "
    "outline bends. Kisses: edges that just touch. Cut sure: how much of the figure the cut-out is expected to have "
    "right. "
    "Range: the verdict again with views left out one at a time and the edges moved; 9 results in 10 lie in it.")


def _numbers(view: View, angle: str) -> str:
    """One row under ``HEAD``; a dash where a number could not be made."""
    reading, measures = (view.reading, view.measures) if view.scored else (None, None)
    reads, clear, interest = ("–",) * 3 if reading is None else (
        f"{value:.0f}" for value in (reading.readability, reading.clear, reading.interesting))
    gaps, limbs, turns, parts, kisses = ("–",) * 5 if measures is None else (
        f"{100 * measures.negative_space:.1f}", f"{100 * measures.limb_separation:.0f}",
        f"{measures.contour_complexity:.1f}", str(len(measures.parts)), str(len(measures.tangents)))
    sure = "inferred" if view.inferred else f"{100 * view.confidence:.0f} %"
    return (f"{angle:>7}  {words.standing(view).split(',')[0]:<11} {reads:>5} {clear:>5} "
            f"{interest:>8}  {gaps:>6} {limbs:>5} {turns:>5} {parts:>5} {kisses:>6}  {sure:>8}")


def _number_pages(poses: Sequence[Pose], size: tuple[float, float]) -> list[Page]:
    """Tables of all views, poses one under another; a table is broken over pages only where it fills one alone."""
    most = int((size[1] - 2 * MARGIN - FOOT - 92) // ROW)
    pages: list[list[tuple[str, str]]] = [[]]
    for pose in poses:
        rows: list[tuple[str, str]] = []
        for ring in by_ring(pose):
            rows += [("space", ""), ("title", _title_of(pose, ring)), ("head", HEAD)]
            rows += [("row", _numbers(view, words.stop_angle(view, ring.views))) for view in ring.views]
        kept = [words_rings.close_ups(pose.close_ups)] if pose.close_ups and not pose.other_rings else []
        rows += [("note", line) for note in [*words.notes(pose), *kept]
                 for line in ink.wrap(note, size[0] - 2 * MARGIN, 8)]
        if pages[-1] and len(pages[-1]) + len(rows) > most:
            pages.append([])
        pages[-1] += rows
        while len(pages[-1]) > most:
            pages.append(pages[-1][most:])
            pages[-2] = pages[-2][:most]
    return [_number_page(rows, size, "The numbers, continued" if i else "The numbers") for i, rows in enumerate(pages)]


def _title_of(pose: Pose, ring: Pose) -> str:
    """What stands over a table of numbers: of the pose, or of one ring of several."""
    if not pose.other_rings:
        sure = f", {words.give_or_take(pose)}" if words.give_or_take(pose) else ""
        return f"{pose.name}: {words.headline(pose)}{sure}"
    sure = f", {words.between(ring)}" if words.between(ring) else ""
    return f"{pose.name}, {words_rings.NAMES[ring.ring]}: {words.headline(ring)}{sure}"


def _number_page(rows: Sequence[tuple[str, str]], size: tuple[float, float], title: str) -> Page:
    page = ink.new_figure(*size)
    width, height = size[0] - 2 * MARGIN, size[1] - 2 * MARGIN - FOOT
    ax = ink.page_axes(page, MARGIN, MARGIN + FOOT, width, height)
    ax.text(0, height, title, size=18, weight="bold", va="top")
    y = height - 28
    for row in ink.wrap(EXPLAINED, width, 8):
        ax.text(0, y, row, size=8, color=ink.SOFT, va="top")
        y -= ROW
    y -= 6
    looks: dict[str, dict[str, Any]] = {
        "title": {"size": 9, "weight": "bold"}, "note": {"size": 8, "color": ink.SOFT},
        "head": {"size": 9, "family": "DejaVu Sans Mono", "color": ink.SOFT},
        "row": {"size": 9, "family": "DejaVu Sans Mono"}}
    for kind, text in rows:
        if kind == "title":
            text = ink.fit_line(text, width, looks[kind]["size"], True)
        if text:
            ax.text(0, y, text, va="top", **looks[kind])
        y -= ROW
    return page
