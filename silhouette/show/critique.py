"""The critique sheet for the wall: one page a pose, one that compares them, one of numbers. Vector, safe in grey."""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import replace
from pathlib import Path
from typing import TYPE_CHECKING, Any

from silhouette.geometry.angles import apart, on_arc
from silhouette.records import Pose, Ranking, View
from silhouette.settings import Paper
from silhouette.show import ink, words
from silhouette.show.advice import advice_line, advise
from silhouette.show.groups import in_a_row
from silhouette.show.overlay import draw_lines
from silhouette.show.paper import page_points, pages_pdf
from silhouette.show.polar import draw_wheel, draw_wheels, height_of_wheels
from silhouette.show.trouble import neighbours_of
from silhouette.show.view_panel import draw_view, panel_scale
from silhouette.writing import whole_file

if TYPE_CHECKING:
    from matplotlib.figure import Figure

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


def critique_pages(ranking: Ranking, paper: Paper = "a4") -> list[Figure]:
    """The pages as matplotlib figures: a page a pose, comparison pages for several, numbers last."""
    size = page_points(paper)
    with ink.style():
        alone = len(ranking.poses) == 1
        placed = in_a_row(ranking)
        poses = [replace(pose, rank=None) if alone else pose for _, pose in placed]
        pages = [_pose_page(pose, size, ranking.arc) for pose in poses]
        asked = [words.asked(replace(ranking, poses=(pose,), intent=pose.intent)) for pose in poses]
        if not alone:
            pages += [_comparison_page(placed[i:i + WHEELS], size, ranking) for i in range(0, len(placed), WHEELS)]
        pages += _number_pages(poses, size)
        for i, page in enumerate(pages):
            _draw_foot(page, size, asked[i] if i < len(asked) else "", f"{i + 1} of {len(pages)}")
    return pages


def _draw_foot(page: Figure, size: tuple[float, float], asked: str, number: str) -> None:
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

def _pose_page(pose: Pose, size: tuple[float, float], arc: tuple[float, float] | None) -> Figure:
    """Wheel above; weakest and strongest views large; what to try; lines to write on."""
    page = ink.new_figure(*size)
    width, height = size[0] - 2 * MARGIN, size[1] - 2 * MARGIN
    wheel = 0.50 * height
    draw_wheel(pose, ink.page_axes(page, MARGIN, MARGIN + height - wheel, width, wheel), arc=arc)
    left = 0.68 * width
    rest = height - wheel - FOOT - 10
    type_size = max(8.0, 8.0 * size[0] / 595)
    ax = ink.page_axes(page, MARGIN, MARGIN + FOOT, left, rest)
    weakest, strongest = extremes(pose, arc=arc)
    best = "Strongest view" if any(_band(view) != "weak" for view in strongest) else NONE_READS
    rows = [row for row in (("Weakest view", weakest), (best, strongest)) if row[1]]
    if not rows:
        weakest = [view for view in pose.views if view.outline is not None][::max(1, len(pose.views) // 3)][:3]
        rows = [("Unread view", weakest)] if weakest else []
    cell, high = left / 3, rest / 2 - type_size - 10
    drawn = [*weakest, *strongest]
    scale = panel_scale(drawn, cell - 8, high, type_size)
    shares = ink.relative_heights(drawn)
    tall = {id(view): scale * shares.get(i, 1.0) for i, view in enumerate(drawn)}
    for i, (title, views) in enumerate(rows):
        top = rest - i * rest / 2
        ax.text(0, top, f"{title}s" if len(views) > 1 and title != NONE_READS else title, size=type_size + 2,
                weight="bold", va="top")
        for k, view in enumerate(views):
            draw_view(view, ax, (k * cell, top - rest / 2 + 4, cell - 8, high), tall[id(view)], size=type_size,
                      neighbours=neighbours_of(view, pose.views), angle=words.stop_angle(view, pose.views),
                      faults=title == "Weakest view")
    _draw_tries(pose, ink.page_axes(page, MARGIN + left + 12, MARGIN + FOOT, width - left - 12, rest), type_size, arc)
    return page


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
    width, height = ink.size_of(ax)
    line = 1.3 * size
    y = height
    ax.text(0, y, "What to try", size=size + 2, weight="bold", va="top")
    y -= size + 9
    floor = 5 * RULED + 20
    for text, where in _tries(pose, arc):
        rows = [(row, "bold") for row in ink.wrap(text[:1].upper() + text[1:], width, size, True)]
        rows += [(row, "normal") for row in (ink.wrap(where, width, size) if where else [])]
        if y - line * len(rows) < floor:
            break
        for row, weight in rows:
            ax.text(0, y, row, size=size, weight=weight, va="top")
            y -= line
        y -= 5
    _draw_notes(ax, y - 8, size)


def _draw_notes(ax: Any, y: float, size: float) -> None:
    """Lines to write on, from ``y`` points down to the foot of the axes."""
    width, _ = ink.size_of(ax)
    ax.text(0, y, "Notes", size=size + 2, weight="bold", va="top")
    y -= size + 4 + RULED
    while y >= 2:
        ax.plot([0, width], [y, y], color=ink.FAIR, linewidth=0.5, scalex=False, scaley=False)
        y -= RULED


# ---------------------------------------------------------------------------------------------------- the comparison

def _comparison_page(placed: Sequence[tuple[str, Pose]], size: tuple[float, float], ranking: Ranking) -> Figure:
    """Small wheels in rank order at one scale, each group under its heading, their lines over one another."""
    page = ink.new_figure(*size)
    width, height = size[0] - 2 * MARGIN, size[1] - 2 * MARGIN - FOOT
    head = ink.page_axes(page, MARGIN, MARGIN + FOOT + height - 40, width, 40)
    head.text(0, 40, "Candidates, best first", size=18, weight="bold", va="top")
    told = f"{words.asked(ranking)}. Nothing was dropped; the choice is yours."
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


def _number_pages(poses: Sequence[Pose], size: tuple[float, float]) -> list[Figure]:
    """Tables of all views, poses one under another; a table is broken over pages only where it fills one alone."""
    most = int((size[1] - 2 * MARGIN - FOOT - 92) // ROW)
    pages: list[list[tuple[str, str]]] = [[]]
    for pose in poses:
        sure = f", {words.give_or_take(pose)}" if words.give_or_take(pose) else ""
        rows = [("space", ""), ("title", f"{pose.name}: {words.headline(pose)}{sure}"), ("head", HEAD)]
        rows += [("row", _numbers(view, words.stop_angle(view, pose.views))) for view in pose.views]
        rows += [("note", line) for note in pose.notes for line in ink.wrap(words.note(note), size[0] - 2 * MARGIN, 8)]
        if pages[-1] and len(pages[-1]) + len(rows) > most:
            pages.append([])
        pages[-1] += rows
        while len(pages[-1]) > most:
            pages.append(pages[-1][most:])
            pages[-2] = pages[-2][:most]
    return [_number_page(rows, size, "The numbers, continued" if i else "The numbers") for i, rows in enumerate(pages)]


def _number_page(rows: Sequence[tuple[str, str]], size: tuple[float, float], title: str) -> Figure:
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
