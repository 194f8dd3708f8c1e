"""The shoot check on one page: the stops round the circle, the trouble marked, first and last stop as onion skins.

Of a pose in several rings there is a page for all of them together, a row of stops a ring, and then one for each ring.
"""

from __future__ import annotations

from collections.abc import Collection, Sequence
from dataclasses import replace
from itertools import pairwise
from pathlib import Path
from typing import TYPE_CHECKING, Any

import numpy as np

from silhouette.geometry.angles import apart, difference
from silhouette.records import CANNOT_TELL, Outline, Stop, View
from silhouette.records_shoot import CheckReport, Told
from silhouette.settings import Paper
from silhouette.show import ink, words, words_check
from silhouette.show.paper import page_points
from silhouette.show.table import counted
from silhouette.show.wheel import body_of, on_ring, sector, way_of
from silhouette.show.wheel_axes import area, paint_body, paint_lines, paint_ways
from silhouette.show.wheel_layout import Layout, Room, largest_scale, lay_out

if TYPE_CHECKING:
    from matplotlib.figure import Figure

MARGIN = 36.0
"""White round the page, points."""
CLOSES = 8.0
"""Last stop this near to the first, degrees: the two should look alike."""
ROW_TYPE = 38.0
"""Room for the type over and under a row of stops, points."""
ROWS_SHARE = 0.45
"""Share of the page that the rows of stops may take."""
Row = tuple[str, str]
"""A line of type and its weight."""
MARKS = {"retake": " !", "look": " ?", "pass": ""}
"""Written after the angle of a stop, as in the list, so that no bar or tone has to be known."""
HEADS = {"retake": "Retake  !", "look": "Look at  ?", "unknown": "Not checked", "pass": "In order"}
"""How the four verdicts are headed, worst first."""


def write_check_page(report: CheckReport, looks: Sequence[Outline | None], path: Path, paper: Paper = "a4") -> Path:
    """Write the page as the kind of picture that its name says, ``check.png`` or ``check.pdf``.

    Parameters
    ----------
    report : CheckReport
    looks : sequence of Outline or None
        The figure at each of ``report.stops``, all in one camera's pixels; None where there is none.
    path : Path
        A ``.png`` or ``.pdf``.
    paper : "a4", "letter" or "a3"

    Raises
    ------
    OutputError
        The file cannot be written.
    """
    with ink.style():
        if not report.rings:
            return ink.save_figure(check_page(report, looks, paper), Path(path))
        return ink.save_figures(check_pages(report, looks, paper), Path(path))


def check_pages(report: CheckReport, looks: Sequence[Outline | None], paper: Paper = "a4") -> list[Figure]:
    """The page of all rings together, then one for each; of one ring its page alone."""
    if not report.rings:
        return [check_page(report, looks, paper)]
    pages, first = [_page_of_all(report, looks, paper)], 0
    for ring, one in report.rings:
        own = replace(one, name=f"{report.name}, {ring} ring")
        pages.append(check_page(own, looks[first : first + len(one.stops)], paper))
        first += len(one.stops)
    return pages


def _page_of_all(report: CheckReport, looks: Sequence[Outline | None], paper: Paper) -> Figure:
    size = page_points(paper)
    width, height = size[0] - 2 * MARGIN, size[1] - 2 * MARGIN
    with ink.style():
        page = ink.new_figure(*size)
        head = 62.0
        rows = len(report.rings) * (_largest(report, looks, width, ROWS_SHARE * height) + ROW_TYPE)
        low = height - head - rows
        _draw_head(report, ink.page_axes(page, MARGIN, MARGIN + height - head, width, head))
        draw_rows(report, looks, ink.page_axes(page, MARGIN, MARGIN + low, width, rows))
        _draw_findings(report, ink.page_axes(page, MARGIN, MARGIN, width, low - 10))
    return page


def draw_rows(report: CheckReport, looks: Sequence[Outline | None], ax: Any = None) -> Any:
    """Draw the stops of each ring in a row in the order of their angles, the high ring on top, retakes and doubts
    marked.

    ``ax`` may be any matplotlib Axes; they are returned, one data unit to a point.
    """
    ax = ink.page_axes(ink.new_figure(600, 400), 20, 20, 560, 360) if ax is None else ax
    return ink.fitted(ax, lambda ax: _paint_rows(report, looks, ax))


def _paint_rows(report: CheckReport, looks: Sequence[Outline | None], ax: Any) -> None:
    width, height = ink.size_of(ax)
    figure = _largest(report, looks, width, height)
    first, rows = 0, []
    for ring, one in report.rings:
        rows.append((ring, one, first))
        first += len(one.stops)
    for row, (ring, one, first) in enumerate(reversed(rows)):
        top = height - row * (figure + ROW_TYPE)
        marks = [verdict_of(report, first + k) for k in range(len(one.stops))]
        ax.text(0, top, f"{ring.capitalize()} ring", size=10, weight="bold", va="top")
        _paint_row(one, looks[first : first + len(one.stops)], marks, ax, (top - figure - 18, width, figure))


def _paint_row(
    report: CheckReport, looks: Sequence[Outline | None], marks: Sequence[str], ax: Any,
    box: tuple[float, float, float],
) -> None:
    """One ring's stops side by side; ``box``: where they stand, how wide the row and how tall a figure is."""
    ground, width, figure = box
    known = words_check.angles_known(report.stops)
    called = words_check.names_of(report.stops)
    order = sorted(range(len(looks)), key=lambda k: report.stops[k].angle if known else k)
    slot = width / max(len(looks), 1)
    solid: list[Any] = []
    pale: list[Any] = []
    bars: dict[str, list[Any]] = {"look": [], "retake": []}
    labels: list[tuple[float, str, bool]] = []
    for place, k in enumerate(order):
        x, line = (place + 0.5) * slot, looks[k]
        if line is not None:
            a, _, b, _ = line.polygon.bounds
            drawn = ink.outline_path(line.drawn, figure, x - figure * (a + b) / 2, ground)
            (pale if k in report.unclear else solid).append(drawn)
        if marks[k] != "pass":
            bars[marks[k]].append(ink.rectangle(x - slot / 2 + 1, ground - 3, slot - 2, 2.6))
        labels.append((x, called[k] + MARKS[marks[k]].strip(), marks[k] != "pass"))
    ink.tone(ax, pale, CANNOT_TELL)
    ink.tone(ax, solid, "seen")
    ink.add_paths(ax, bars["retake"], facecolor=ink.ACCENT, linewidth=0)
    ink.add_paths(ax, bars["look"], facecolor=ink.PAPER, edgecolor=ink.ACCENT, linewidth=0.8)
    _paint_labels(labels, ax, ground - 3.6)


def _largest(report: CheckReport, looks: Sequence[Outline | None], width: float, height: float) -> float:
    """Figure height, points, at which the widest figure keeps to its slot in every row, and the rows to a height."""
    slot = width / max(len(one.stops) for _, one in report.rings) - 1
    widest = max((line.polygon.bounds[2] - line.polygon.bounds[0] for line in looks if line is not None), default=1.0)
    return float(min(height / len(report.rings) - ROW_TYPE, slot / widest))


def _paint_labels(labels: Sequence[tuple[float, str, bool]], ax: Any, top: float) -> None:
    """Names under a row, those of marked stops first; one that has no room is left out."""
    taken: list[tuple[float, float]] = []
    for x, text, bold in sorted(labels, key=lambda one: not one[2]):
        half = ink.text_width(text, 8, bold) / 2 + 1.5
        if all(x + half <= a or x - half >= b for a, b in taken):
            taken.append((x - half, x + half))
            ax.text(x, top, text, size=8, ha="center", va="top", weight="bold" if bold else "normal")


def check_page(report: CheckReport, looks: Sequence[Outline | None], paper: Paper = "a4") -> Figure:
    """The page as a matplotlib figure."""
    size = page_points(paper)
    width, height = size[0] - 2 * MARGIN, size[1] - 2 * MARGIN
    with ink.style():
        page = ink.new_figure(*size)
        head, low = 62.0, 0.40 * height
        _draw_head(report, ink.page_axes(page, MARGIN, MARGIN + height - head, width, head))
        draw_stops(report, looks, ink.page_axes(page, MARGIN, MARGIN + low, width, height - head - low))
        left = 0.36 * width
        clear = [None if k in report.unclear else look for k, look in enumerate(looks)]
        draw_onion(report.stops, clear, ink.page_axes(page, MARGIN, MARGIN, left, low - 10))
        _draw_findings(report, ink.page_axes(page, MARGIN + left + 16, MARGIN, width - left - 16, low - 10))
    return page


def verdict_of(report: CheckReport, stop: int) -> str:
    """The worst verdict that names a stop: retake, look, or pass."""
    verdicts, first = {f.verdict for f in report.findings if stop in f.stops}, 0
    for _, one in report.rings:
        verdicts |= {f.verdict for f in one.findings if stop - first in f.stops}
        first += len(one.stops)
    return "retake" if "retake" in verdicts else "look" if "look" in verdicts else "pass"


def headline(report: CheckReport) -> tuple[str, str]:
    """The check in a few words, and what it rests on: ``2 things to retake``, ``24 stops, 1 thing to look at``."""
    retakes = sum(f.verdict == "retake" for _, f, _ in report.told)
    looks = sum(f.verdict == "look" for _, f, _ in report.told)
    to_look, stops = counted(looks, "thing") + " to look at", counted(len(report.stops), "stop")
    stops = f"{len(report.rings)} rings, {stops}" if report.rings else stops
    verdict, told = "Nothing needs a retake", stops
    if report.exit_code == 2:
        verdict = {"no turn": "This is no turn on the spot", "too few made out": "The figure was not made out"}.get(
            report.why_not or "", "It could not be checked")
        told = f"{stops}, {to_look}" if looks else stops
        told += ", not checked" if report.why_not else ""
    elif retakes:
        verdict, told = counted(retakes, "thing") + " to retake", f"{stops}, {to_look}" if looks else stops
    elif looks:  # what was not made out may yet have to be shot again: no all-clear
        verdict, told = to_look, f"{stops}, no sure retake"
    return verdict, told


def _draw_head(report: CheckReport, ax: Any) -> None:
    width, height = ink.size_of(ax)
    verdict, told = headline(report)
    ax.text(0, height, ink.fit_line(report.name, width, 9, True), size=9, weight="bold", va="top")
    ax.text(0, height - 14, verdict, size=21, weight="bold", va="top")
    ax.text(0, height - 44, told, size=9, color=ink.SOFT, va="top")


# ------------------------------------------------------------------------------------------------ stops in the round

def draw_stops(report: CheckReport, looks: Sequence[Outline | None], ax: Any = None) -> Any:
    """Draw the stops where the camera stood, retakes and doubts marked, stretches without a stop hatched.

    ``ax`` may be any matplotlib Axes; they are returned, one data unit to a point.
    """
    ax = ink.page_axes(ink.new_figure(600, 480), 20, 20, 560, 440) if ax is None else ax
    return ink.fitted(ax, lambda ax: _paint_stops(report, looks, ax))


def _paint_stops(report: CheckReport, looks: Sequence[Outline | None], ax: Any) -> None:
    width, height = ink.size_of(ax)
    known = words_check.angles_known(report.stops)
    stops = report.stops if known else [
        replace(stop, angle=k * 360 / len(report.stops)) for k, stop in enumerate(report.stops)]
    views = tuple(View(stop, 1.0, "", outline=look) for stop, look in zip(stops, looks, strict=True))
    verdicts = {stop.index: verdict_of(report, stop.index) for stop in report.stops}
    called = dict(zip([stop.index for stop in stops], words_check.names_of(report.stops), strict=True))
    if known and len(views) > 2 and apart(views[0].angle, views[-1].angle) <= CLOSES and verdicts[
            report.stops[-1].index] == "pass":
        views = views[:-1]  # the onion skins show the closing stop; here it would stand on the first

    def label(view: View) -> str:
        name = words.degrees(view.angle) if known else called[view.stop.index]
        return name + MARKS[verdicts[view.stop.index]]

    room = Room(width / 2, height / 2 - 2, label,
                lambda text: ink.text_width(text, 8, True) + 2, 1.18 * ink.SMALLEST + 3.6)
    layout = lay_out(views, room, largest_scale([views], room))
    centre = np.array([width / 2, height / 2])
    if known:
        paint_body(body_of(0.42 * layout.ring, ink.SMALLEST), ax, centre, ink.SMALLEST)
        _draw_turn(report, ax, centre, layout.ring)
    else:
        ax.text(*centre, "In the order shot.\nThe angles are not known.", size=8, color=ink.SOFT, ha="center",
                va="center")
    unclear = {report.stops[k].index for k in report.unclear}
    _draw_figures(layout, verdicts, unclear, ax, centre)


def _draw_turn(report: CheckReport, ax: Any, centre: np.ndarray, ring: float) -> None:
    """The turn as it was shot: a line from the first stop on, a dot a stop, hatching where one is missing."""
    stops = report.stops
    missing = {i for f in report.findings for first, last in f.gaps for i in range(first, last)}
    angles = [stop.angle for stop in stops]
    way = 1 if sum(np.sign(difference(b, a)) for a, b in pairwise(angles)) >= 0 else -1
    gaps: list[tuple[float, float]] = []
    lines: list[tuple[float, float]] = []
    for i, (a, b) in enumerate(pairwise(angles)):
        step = (b - a) * way % 360
        start = a if way > 0 else b
        (gaps if stops[i].index in missing else lines).append((start, start + step))
    if stops and stops[-1].index in missing:
        step = (angles[0] - angles[-1]) * way % 360
        gaps.append((angles[-1], angles[-1] + step) if way > 0 else (angles[0], angles[0] + step))
    ink.tone(ax, area(centre, [sector(a, b, 0.86 * ring, ring) for a, b in gaps]), "weak")
    paint_lines(ax, centre, [on_ring(np.linspace(a, b, max(2, int(b - a) + 1)), 0.93 * ring) for a, b in lines],
                color=ink.INK, linewidth=1.4)
    if angles:
        dots = on_ring(angles, 0.93 * ring) + centre
        ax.plot(*dots.T, "o", color=ink.INK, markersize=3.4, scalex=False, scaley=False)
        ax.plot(*dots[0], "o", color=ink.PAPER, markeredgecolor=ink.INK, markersize=6, scalex=False, scaley=False)
    for a, b in gaps:
        x, y = on_ring([(a + b) / 2], 0.66 * ring)[0] + centre
        ax.text(x, y, "stop missing", size=8, weight="bold", ha="center", va="center",
                bbox={"facecolor": ink.PAPER, "edgecolor": "none", "pad": 1})


def _draw_figures(
    layout: Layout, verdicts: dict[int, str], unclear: Collection[int], ax: Any, centre: np.ndarray
) -> None:
    """Black where the figure was made out, pale where the cut is not trusted."""
    solid: list[Any] = []
    pale: list[Any] = []
    bars: dict[str, list[Any]] = {"look": [], "retake": []}
    paint_ways(ax, centre, [way_of(p.view.angle, (0.94 * layout.ring, p.way[1])) for p in layout.places
                            if p.way[1] > p.way[0]])
    for place in layout.places:
        x, feet = centre[0] + place.x, centre[1] + place.feet
        worst = verdicts[place.view.stop.index]
        outline = place.view.outline
        if outline is not None:
            made_out = place.view.stop.index not in unclear
            (solid if made_out else pale).append(ink.outline_path(outline.drawn, place.height, x, feet))
        if worst != "pass":
            half = min(place.half_width - 1, max(0.16 * layout.tall, 8))
            bars[worst].append(ink.rectangle(x - half, feet - 3, 2 * half, 2.6))
        ax.text(x, feet - 3.6, place.label, size=8, ha="center", va="top",
                weight="bold" if worst != "pass" else "normal")
    ink.tone(ax, pale, CANNOT_TELL)
    ink.tone(ax, solid, "seen")
    ink.add_paths(ax, bars["retake"], facecolor=ink.ACCENT, linewidth=0)
    ink.add_paths(ax, bars["look"], facecolor=ink.PAPER, edgecolor=ink.ACCENT, linewidth=0.8)


# --------------------------------------------------------------------------------------------------------- onion skins

def draw_onion(stops: Sequence[Stop], looks: Sequence[Outline | None], ax: Any = None) -> Any:
    """Lay the last stop's outline over the first one's, both where the camera saw them.

    ``ax`` may be any matplotlib Axes; they are returned, one data unit to a point.
    """
    ax = ink.page_axes(ink.new_figure(240, 340), 20, 20, 200, 300) if ax is None else ax
    return ink.fitted(ax, lambda ax: _paint_onion(stops, looks, ax))


def _paint_onion(stops: Sequence[Stop], looks: Sequence[Outline | None], ax: Any) -> None:
    width, height = ink.size_of(ax)
    ax.text(0, height, "First and last stop", size=10, weight="bold", va="top")
    known = words_check.angles_known(stops)
    called = [words.degrees(stop.angle) for stop in stops] if known else words_check.names_of(stops)
    held = [(k, look) for k, look in enumerate(looks) if look is not None]
    if len(held) < 2:
        ax.text(0, height - 18, "Too few figures to compare.", size=8, va="top", color=ink.SOFT)
        return
    (first, a), (last, b) = held[0], held[-1]
    off = apart(stops[first].angle, stops[last].angle)
    which = [" made out" if first else "", " made out" if last < len(stops) - 1 else ""]
    note = [f"Filled: {called[first]}, the first{which[0]}.", f"Line: {called[last]}, the last{which[1]}."]
    if known:
        note.append("They should cover each other." if off <= CLOSES else
                    f"{off:.0f} degrees apart: they need not cover each other.")
    rows = [row for text in note for row in ink.wrap(text, width, 8)]
    below = 10.6 * len(rows) + 4
    for i, row in enumerate(rows):
        ax.text(0, below - 6 - 10.6 * i, row, size=8, va="top", color=ink.SOFT)
    _draw_pair(a, b, ax, (0, below, width, height - 20 - below))


def _draw_pair(first: Outline, last: Outline, ax: Any, box: tuple[float, float, float, float]) -> None:
    """Two outlines in one camera's pixels, as large as the box allows."""
    spans = []
    for outline in (first, last):
        x0, _, x1, _ = outline.polygon.bounds
        (ox, oy), px = outline.origin_px, outline.height_px
        spans.append((ox + x0 * px, oy, ox + x1 * px, oy + px))
    x0, y0 = min(s[0] for s in spans), min(s[1] for s in spans)
    x1, y1 = max(s[2] for s in spans), max(s[3] for s in spans)
    left, bottom, width, height = box
    scale = min((width - 8) / (x1 - x0), (height - 6) / (y1 - y0))
    middle = left + width / 2 - scale * (x0 + x1) / 2
    paths = [ink.outline_path(o.drawn, scale * o.height_px, middle + scale * o.origin_px[0],
                              bottom + 2 + scale * (y1 - o.origin_px[1] - o.height_px)) for o in (first, last)]
    ink.add_paths(ax, paths[:1], facecolor=ink.FAIR, linewidth=0)
    ink.add_paths(ax, paths[1:], facecolor="none", edgecolor=ink.PAPER, linewidth=3)
    ink.add_paths(ax, paths[1:], facecolor="none", edgecolor=ink.INK, linewidth=1.2)


# ------------------------------------------------------------------------------------------------------------ findings

def _draw_findings(report: CheckReport, ax: Any) -> None:
    """What to retake and what to look at, in full while there is room; the rest in a line each. Where hardly anything
    could be checked, why not comes first."""
    width, y = ink.size_of(ax)
    closing = _closing(report, width, y / 2)
    if report.exit_code == 2 and closing:
        y = _draw_closing(closing[:1], ax, y) - 4
        closing = closing[1:]
    floor = sum(15 + 10.6 * len(rows) for _, rows in closing)
    blocks = [(kind, one) for kind in ("retake", "look") for one in report.told if one[1].verdict == kind]
    shown = 0
    for i, (kind, found) in enumerate(blocks):
        rows = _finding_rows(found, width)
        head = 15 if i == 0 or blocks[i - 1][0] != kind else 0
        if y - head - 10.6 * len(rows) - 14 < floor:
            break
        if head:
            ax.text(0, y, HEADS[kind], size=10, weight="bold", va="top")
            y -= head
        for text, weight in rows:
            ax.text(0, y, text, size=8, weight=weight, va="top")
            y -= 10.6
        y -= 4
        shown += 1
    if shown < len(blocks):
        more = "; ".join(words_check.asked(ring, f.check) for _, (ring, f, _) in blocks[shown:])
        more = more if report.rings else more.replace("; ", ", ")
        ax.text(0, y, ink.fit_line(f"And also: {more}", width, 8), size=8, va="top")
        y -= 14
    _draw_closing(closing, ax, y)


def _draw_closing(closing: list[tuple[str, list[Row]]], ax: Any, y: float) -> float:
    """Blocks of plain lines from the height ``y`` down; returned is where they end."""
    for title, lines in closing:
        ax.text(0, y, title, size=10, weight="bold", va="top")
        y -= 14
        for row, weight in lines:
            ax.text(0, y, row, size=8, va="top", weight=weight, color=ink.SOFT if weight == "normal" else ink.INK)
            y -= 10.6
        y -= 1
    return y


def _closing(report: CheckReport, width: float, most: float) -> list[tuple[str, list[Row]]]:
    """What could not be checked, with the reasons where they take at most ``most`` points, and what is in order."""
    unknown = [one for one in report.told if one[1].verdict == "unknown"]
    named = _typed(", ".join(dict.fromkeys(f.check for _, f, _ in unknown)), width)
    why = [row for reason, helps in words_check.untold_all(unknown)
           for row in [*_typed(reason, width), *_typed(helps, width, "bold")]]
    passed = [row for line in words_check.passed(report) for row in _typed(line, width)]
    blocks = [(HEADS["unknown"], why if 10.6 * len(why) <= most else named), (HEADS["pass"], passed)]
    return [(title, rows) for title, rows in blocks if rows]


def _finding_rows(told: Told, width: float) -> list[Row]:
    """A finding as lines of type: what was seen, then what to do."""
    ring, found, stops = told
    seen = f"{words_check.asked(ring, found.check)}: {words_check.evidence(found, stops)}"
    return [*_typed(seen, width), *_typed(words_check.do(found, stops), width, "bold")]


def _typed(text: str, width: float, weight: str = "normal") -> list[Row]:
    """A text as lines of type, none where it is empty."""
    return [(row, weight) for row in ink.wrap(text, width, 8, weight == "bold")] if text else []
