"""The chart: a pose's wheel with its verdict, its key and the causes of its weak stretches; several side by side."""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass, replace
from pathlib import Path
from typing import TYPE_CHECKING, Any

import numpy as np

from silhouette.records import CANNOT_TELL, INFERRED, Arc, Pose, Ranking, View
from silhouette.settings import BAND_FAIR, BAND_STRONG
from silhouette.show import ink, words, words_rings
from silhouette.show.groups import in_a_row
from silhouette.show.wheel import nest_of, strip_of, wheel_of
from silhouette.show.wheel_axes import paint_figures, paint_wheel
from silhouette.show.wheel_layout import Room, Scale, direction, largest_scale, shown

if TYPE_CHECKING:
    from matplotlib.figure import Figure

CHART = (792.0, 640.0)
"""Size of the chart of one pose, points."""
NARROW = 270.0
"""A wheel narrower than this, points, has its verdict on two lines and room for its remarks on a third."""
SMALL = 400.0
"""A wheel narrower than this, points, is drawn without its causes, its key and the angles under its figures."""

BRACKET = 1.1
"""Thickness of the bracket round the views that count, points."""
SECOND = 0.6
"""Type of what the other rings of a pose read, over that of its headline."""
CORNER = 100.0
"""Least width of the column beside a wheel in which another ring's silhouettes stand, points."""
CORNER_FIGURES = 8
"""Silhouettes of another ring in a corner, in two rows."""
HEADING = 40.0
"""Height of the line over a group of wheels, points."""
UNDER = 10.5
"""Height of a line of causes under a small wheel, points."""
UNDER_HEAD = 11.0
"""Height of a line over a small wheel, points."""
MOST_UNDER = 8
"""Lines of causes under a small wheel."""
SEEN = (f"Seen from above; the camera at 0 faces the front. Line: lost inside, clear outside; circles at "
        f"{BAND_FAIR:.0f} and {BAND_STRONG:.0f} of 100.")
"""How a wheel is read, in one line."""
SEEN_SMALL = ("Each wheel is seen from above; 0, at its foot, is the figure's front. The inner line tells how well the "
              "outline reads: near the middle it is lost, near the ring it is clear; dotted circles at "
              f"{BAND_FAIR:.0f} and {BAND_STRONG:.0f} of 100.")
"""The same for wheels without angles."""
SEEN_RINGS = ("Seen from above; 0 is the front. Thin rings: the camera higher (inside) or lower (outside). Line: lost "
              "inside, clear outside.")
"""How a wheel of several rings is read, in one line."""
THIN_RINGS = ("Where a pose was shot in several rings, the thick one is the headline's; a thin one inside it was shot "
              "from higher up, a thin one outside it from lower down.")
"""What thin rings are, beside wheels of which some have them."""


def draw_wheel(pose: Pose, ax: Any = None, *, scale: Scale | None = None,
               arc: tuple[float, float] | None = None) -> Any:
    """Draw one pose's wheel.

    Parameters
    ----------
    pose : Pose
    ax : matplotlib Axes, optional
        Where to draw; its size on the page, whenever it is drawn, decides how much is written. A page of its own by
        default.
    scale : Scale, optional
        From :func:`shared_scale`, so that several wheels can be compared; by default the largest that fits.
    arc : (float, float), optional
        The only views that count, from and to, clockwise: a bracket round the ring marks them.

    Returns
    -------
    matplotlib Axes
        One data unit is one point; the origin is the lower left corner.
    """
    if ax is None:
        ax = ink.page_axes(ink.new_figure(*CHART), 18, 14, CHART[0] - 36, CHART[1] - 28)
    meant: list[tuple[float, float]] = []

    def paint(ax: Any) -> None:
        size = ink.size_of(ax)
        meant.append(size)
        smaller = min(size[0] / meant[0][0], size[1] / meant[0][1])
        shared = replace(scale, ring=smaller * scale.ring, tall=smaller * scale.tall) if scale is not None else None
        _paint(pose, ax, shared or shared_scale([pose], *size), arc)

    return ink.fitted(ax, paint)


def _paint(pose: Pose, ax: Any, scale: Scale, arc: tuple[float, float] | None) -> None:
    frame = _Frame.of(*ink.size_of(ax), scale.foot, scale.head)
    # A wheel too narrow for causes under it has no letters either: they would have no key.
    wheel = wheel_of(pose, frame.room, frame.type, scale=scale, arc=arc, lettered=frame.width >= NARROW)
    _draw_head(pose, ax, frame)
    paint_wheel(wheel, ax, frame.centre, frame.type)
    lettered = [(letter.letter, letter.arc) for letter in wheel.letters]
    if not frame.small:
        _draw_causes(lettered, ax, frame, _draw_corners(pose, lettered, ax, frame, arc))
        draw_key([pose], ax, 0.0, 2 * frame.type + 6, frame.type, arc)
        seen = SEEN_RINGS if pose.other_rings else SEEN
        ax.text(0, 0.5 * frame.type, ink.fit_line(seen, frame.width, frame.type), size=frame.type, va="center",
                color=ink.SOFT)
    elif lettered:
        _draw_causes_under(lettered, ax, frame)


def shared_scale(poses: Sequence[Pose], width: float, height: float) -> Scale:
    """The scale with which the wheel of every one of ``poses`` fits axes of this size, points."""
    foot, head = _foot(poses, width), _more_head(poses, width)
    frame = _Frame.of(width, height, foot, head)
    nests = [nest_of(pose, frame.room, frame.type) for pose in poses]
    scale = largest_scale([pose.views for pose in poses], frame.room, [nest.beyond for nest in nests],
                          max((nest.least(frame.type) for nest in nests), default=0.0))
    return replace(scale, foot=foot, head=head)


def _more_head(poses: Sequence[Pose], width: float) -> float:
    """More room over each wheel, for the line that tells of the other rings; 0 where all poses have one ring."""
    if not any(pose.other_rings for pose in poses):
        return 0.0
    frame = _Frame.of(width, 0.0)
    if not frame.small:
        return 1.3 * SECOND * frame.big
    return UNDER_HEAD * max(len(_rows_of_rings(pose, width)) for pose in poses)


def _rows_of_rings(pose: Pose, width: float) -> list[str]:
    """What the other rings read, over a small wheel."""
    return ink.wrap_to(words_rings.beside(pose), width, 8, 2) if pose.other_rings else []


def _foot(poses: Sequence[Pose], width: float) -> float:
    """Room under a small wheel for the causes of the weak stretches of any of ``poses``, points."""
    if not NARROW <= width < SMALL:
        return 2.0
    most = max((len(_rows_under([("A", arc) for arc in pose.round.weak_arcs], width)) for pose in poses), default=0)
    return 4.0 + UNDER * most


def _rows_under(lettered: Sequence[tuple[str, Arc]], width: float) -> list[str]:
    """A line for every lettered arc of a small wheel, two where its causes are long; at most ``MOST_UNDER``."""
    rows: list[str] = []
    for letter, arc in lettered:
        why = "; ".join(words.brief(cause) for cause in arc.causes[:2])
        told = f"{letter}  {words.stretch(arc.start, arc.end)}" + (f": {why}" if why else "")
        rows += ink.wrap_to(told, width, ink.SMALLEST, 2)
    return rows if len(rows) <= MOST_UNDER else [*rows[:MOST_UNDER - 1], "…"]


@dataclass(frozen=True)
class _Frame:
    """How a wheel's axes are shared out, points: the head, the key at the foot, a column of causes on either side."""

    width: float
    height: float
    head: float
    foot: float
    column: float
    type: float
    """Size of the small type."""
    big: float
    """Size of the verdict."""

    @classmethod
    def of(cls, width: float, height: float, foot: float = 2.0, head: float = 0.0) -> _Frame:
        """``foot`` is for a small wheel; a larger one has a foot of its own. ``head`` is added to its own."""
        if width < SMALL:
            return cls(width, height, (51 if width < NARROW else 29) + head, foot, 2, ink.SMALLEST, 9)
        if width < 600:
            return cls(width, height, 60 + head, 28, max(0.175 * width, 84), ink.SMALLEST, 21)
        return cls(width, height, 82 + head, 36, 0.17 * width, 11, 28)

    @property
    def small(self) -> bool:
        return self.width < SMALL

    @property
    def centre(self) -> np.ndarray:
        return np.array([self.width / 2, self.foot + (self.height - self.head - self.foot) / 2])

    @property
    def room(self) -> Room:
        def label(view: View) -> str:
            return "" if self.small else words.degrees(view.angle)

        return Room(self.width / 2 - self.column, (self.height - self.head - self.foot) / 2, label,
                    lambda text: ink.text_width(text, self.type) + 2 if text else 0.0, 1.18 * self.type + 3.6)


# ----------------------------------------------------------------------------------------------------- head and key

def _draw_head(pose: Pose, ax: Any, frame: _Frame) -> None:
    width, top = frame.width, frame.height
    name = pose.name if pose.rank is None else f"{pose.rank}  {pose.name}"
    beside = words.remarks(pose)
    if frame.small:
        name = ink.fit_line(name, width, 9, True)
        ax.text(0, top, name, size=9, weight="bold", va="top")
        used = ink.text_width(name, 9, True) + 10
        line = words.headline(pose) + (f" ({words.between(pose)})" if words.between(pose) else "")
        rows = ink.wrap_to(line, width, 8, 2 if width < NARROW else 1)
        rows += _rows_of_rings(pose, width)
        for i, row in enumerate(rows):
            ax.text(0, top - 14 - 11 * i, row, size=8, va="top")
        if width < NARROW and ink.text_width(beside, 8) > width - used:
            ax.text(0, top - 14 - 11 * len(rows), ink.fit_line(beside, width, 8), size=8, va="top", color=ink.SOFT)
        elif width - used > 40:
            ax.text(used, top - 0.8, ink.fit_line(beside, width - used, 8), size=8, va="top", color=ink.SOFT)
        return
    small = frame.type + 1
    name = ink.fit_line(name, 0.5 * width, small, True)
    ax.text(0, top, name, size=small, weight="bold", va="top")
    used = ink.text_width(name, small, True) + 14
    ax.text(used, top, ink.fit_line(beside, width - used, small), size=small, va="top", color=ink.SOFT)
    big = frame.big if ink.text_width(words.headline(pose), frame.big, True) <= width else 0.72 * frame.big
    for i, row in enumerate(ink.wrap_to(words.headline(pose), width, big, 2, True)):
        ax.text(0, top - small - 6 - 1.2 * i * big, row, size=big, weight="bold", va="top")
    if pose.other_rings:
        second = SECOND * frame.big
        told = ink.fit_line(words_rings.beside(pose), width, second, True)
        ax.text(0, top - small - 7 - 1.2 * frame.big, told, size=second, weight="bold", va="top")
        top -= 1.3 * second
    ax.text(0, top - small - 10 - 1.2 * frame.big, ink.fit_line(words.give_or_take(pose), width, frame.type),
            size=frame.type, va="top", color=ink.SOFT)


def draw_key(poses: Sequence[Pose], ax: Any, x: float, y: float, size: float, arc: tuple[float, float] | None) -> None:
    """What the tones mean, in one line at height ``y``: those that the wheels of ``poses`` show."""
    kinds = ["strong", "fair", "weak"]
    rings = [ring for pose in poses for ring in pose.rings]
    if any(v.inferred for ring in rings for v in ring.views) or any(ring.round.inferred.any() for ring in rings):
        kinds.append(INFERRED)
    if any(ring.round.missing_arcs for ring in rings):
        kinds.append("no view")
    if any(not v.scored for ring in rings for v in ring.views):
        kinds.append(CANNOT_TELL)
    for kind in kinds:
        ink.tone(ax, [ink.rectangle(x, y - 3.5, 16, 7)], kind)
        word = "inferred from the mirrored view" if kind == INFERRED else kind
        ax.text(x + 20, y, word, size=size, va="center")
        x += 20 + ink.text_width(word, size) + 12
    if arc is not None:
        ax.plot([x, x, x + 16, x + 16], [y - 3, y + 3, y + 3, y - 3], color=ink.INK, linewidth=BRACKET, scalex=False,
                scaley=False)
        room = ink.size_of(ax)[0] - x - 20
        ax.text(x + 20, y, ink.fit_line(f"only {words.from_to(*arc)} counts", room, size), size=size, va="center")


# ----------------------------------------------------------------------------------------------------------- causes

Blocks = list[tuple[float, list[str]]]
"""Lines, and the height at which they would like to stand."""


def _blocks(lettered: list[tuple[str, Arc]], frame: _Frame) -> dict[str, Blocks]:
    """What is wrong on each lettered arc, by the side of the wheel on which it is."""
    low, high, column = frame.foot + 4, frame.height - frame.head - 4, frame.column - 8
    sides: dict[str, Blocks] = {"left": [], "right": []}
    for letter, arc in lettered:
        dx, dy = direction(arc.start + arc.width / 2)
        fewer = min(sides, key=lambda s: len(sides[s]))
        side = fewer if abs(dx) < 0.2 else "left" if dx < 0 else "right"
        sides[side].append((frame.centre[1] + dy * (high - low) / 2, cause_lines(letter, arc, column, frame.type)))
    return sides


def _draw_causes(lettered: list[tuple[str, Arc]], ax: Any, frame: _Frame,
                 free: dict[str, tuple[float, float]]) -> None:
    """What is wrong on each lettered arc, in the margin on its own side of the wheel, between the heights that are
    free there."""
    line, column = 1.32 * frame.type, frame.column - 8
    for side, blocks in _blocks(lettered, frame).items():
        x = 0.0 if side == "left" else frame.width - column
        for top, lines in fit_blocks(blocks, *free[side], line):
            for i, text in enumerate(lines):
                ax.text(x, top - i * line, text, size=frame.type, weight="normal" if i else "bold", va="top")


def _draw_corners(pose: Pose, lettered: list[tuple[str, Arc]], ax: Any, frame: _Frame,
                  arc: tuple[float, float] | None) -> dict[str, tuple[float, float]]:
    """A few silhouettes of each other ring in the corners, those of a higher one above, of a lower one below, where the
    causes leave room for them; gives the heights between which each side is still free."""
    free = {side: (frame.foot + 4, frame.height - frame.head - 4) for side in ("left", "right")}
    if frame.column < CORNER:
        return free
    nest, column = nest_of(pose, frame.room, frame.type), frame.column - 8
    line, high = 1.32 * frame.type, 9.5 * frame.column / 8
    needed = {side: sum(line * len(lines) + 8 for _, lines in blocks)
              for side, blocks in _blocks(lettered, frame).items()}
    for ones, above, sides in ((nest.inside, True, ("right", "left")), (nest.outside, False, ("left", "right"))):
        for one, side in zip(ones, sides, strict=False):
            bottom, top = free[side]
            if top - bottom - high < needed[side] + line:
                continue
            free[side] = (bottom, top - high - line) if above else (bottom + high + line, top)
            x, y = 0.0 if side == "left" else frame.width - column, top - high if above else bottom
            title = words_rings.NAMES[one.ring]
            ax.text(x, y + high, f"{title[:1].upper()}{title[1:]}", size=frame.type, weight="bold", va="top")
            views = shown(one.views, CORNER_FIGURES)
            figures = strip_of(views, column, high - line - 2, 2 if len(views) > 4 else 1, arc,
                               lambda view: words.degrees(view.angle), frame.type)
            paint_figures(figures, ax, np.array([x, y]), frame.type)
    return free


def _draw_causes_under(lettered: list[tuple[str, Arc]], ax: Any, frame: _Frame) -> None:
    """What is wrong on each lettered arc of a small wheel, in lines under it."""
    for i, row in enumerate(_rows_under(lettered, frame.width)):
        ax.text(0, frame.foot - 2 - i * UNDER, row, size=frame.type, va="top")


def cause_lines(letter: str, arc: Arc, width: float, size: float) -> list[str]:
    """``A  27 to 156`` and the causes under it, broken to ``width`` points."""
    told = f"{letter}  {words.stretch(arc.start, arc.end)}"
    first = [told] if ink.text_width(told, size, True) <= width else told.replace(" but ", " but\n").split("\n")
    return [*first, *(line for cause in arc.causes[:2] for line in ink.wrap(words.brief(cause), width, size))]


def fit_blocks(blocks: list[tuple[float, list[str]]], low: float, high: float, line: float,
               between: float = 8.0) -> list[tuple[float, list[str]]]:
    """Stack blocks of lines near the height each would like, none over another, all between ``low`` and ``high``.

    Where they do not all fit, the longest are cut to two lines, then those at the end are left out.
    """
    blocks = sorted(blocks, key=lambda b: -b[0])

    def total() -> float:
        return sum(line * len(lines) + between for _, lines in blocks)

    while blocks and total() > high - low:
        longest = max(range(len(blocks)), key=lambda i: len(blocks[i][1]))
        if len(blocks[longest][1]) > 2:
            blocks[longest] = (blocks[longest][0], blocks[longest][1][:2])
        else:
            blocks.pop()
    tops: list[float] = []
    ceiling = high
    for wish, lines in blocks:
        tops.append(min(ceiling, wish + line * len(lines) / 2))
        ceiling = tops[-1] - line * len(lines) - between
    floor = low
    for i in range(len(blocks) - 1, -1, -1):
        tops[i] = max(tops[i], floor + line * len(blocks[i][1]))
        floor = tops[i] + between
    return [(top, lines) for top, (_, lines) in zip(tops, blocks, strict=True)]


# ----------------------------------------------------------------------------------------------------------- pages

def write_chart(ranking: Ranking, out_dir: Path) -> list[Path]:
    """Write ``chart.png`` and ``chart.pdf``: one wheel, or all of them in rank order at one scale and their lines.

    Raises
    ------
    OutputError
        The folder cannot be written in.
    """
    poses = ranking.poses
    with ink.style():
        if len(poses) == 1:
            figure = draw_wheel(replace(poses[0], rank=None), arc=ranking.arc).figure
        else:
            figure = _compared(ranking)
        return [ink.save_figure(figure, Path(out_dir) / f"chart.{kind}") for kind in ("png", "pdf")]


def height_of_wheels(placed: Sequence[tuple[str, Pose]], columns: int, high: float, gap: float) -> float:
    """What :func:`draw_wheels` needs, points."""
    rows = -(-len(placed) // columns)
    return rows * (high + gap) + HEADING * len({i // columns for i, (heading, _) in enumerate(placed) if heading})


def draw_wheels(placed: Sequence[tuple[str, Pose]], figure: Figure, corner: tuple[float, float], columns: int,
                cell: tuple[float, float], gap: float, arc: tuple[float, float] | None) -> None:
    """Wheels in rows at one scale, from the upper left ``corner`` of the page on, each group under its heading.

    ``placed`` as of :func:`silhouette.show.groups.in_a_row`; ``cell`` is the size of one wheel, points.
    """
    (left, top), (wide, high) = corner, cell
    scale = shared_scale([pose for _, pose in placed], wide, high)
    for start in range(0, len(placed), columns):
        row = placed[start:start + columns]
        if any(heading for heading, _ in row):
            top -= HEADING
        for column, (heading, pose) in enumerate(row):
            x = left + column * (wide + gap)
            draw_wheel(pose, ink.page_axes(figure, x, top - high - gap, wide, high), scale=scale, arc=arc)
            if heading:
                alike = next((i for i in range(column + 1, len(row)) if row[i][0]), len(row)) - column
                _draw_heading(heading, ink.page_axes(figure, x, top, alike * (wide + gap) - gap, HEADING))
        top -= high + gap


def _draw_heading(heading: str, ax: Any) -> None:
    """The line over a group of poses, as wide as they stand."""
    width, height = ink.size_of(ax)
    with ink.style():
        ax.plot([0, width], [height - 12, height - 12], color=ink.INK, linewidth=0.8, scalex=False, scaley=False)
        for i, row in enumerate(ink.wrap_to(heading, width, 9, 2, True)):
            ax.text(0, height - 17 - 11 * i, row, size=9, weight="bold", va="top")


def _compared(ranking: Ranking) -> Figure:
    """Wheels of several poses in rank order with their causes, one key for all, and their lines over one another."""
    from silhouette.show.overlay import draw_lines

    placed = in_a_row(ranking)
    poses = tuple(pose for _, pose in placed)
    columns = 2 if len(poses) <= 4 else 3
    wide, gap, lines, key = 384.0, 24.0, 250.0, 52.0
    high = 372.0 + _foot(poses, wide)
    page = (columns * (wide + gap) + gap, height_of_wheels(placed, columns, high, gap) + key + gap + lines + 2 * gap)
    figure = ink.new_figure(*page)
    draw_wheels(placed, figure, (gap, page[1]), columns, (wide, high), gap, ranking.arc)
    told = ink.page_axes(figure, gap, 2 * gap + lines, page[0] - 2 * gap, key)
    draw_key(poses, told, 0.0, key - 8, 9, ranking.arc)
    several = any(pose.other_rings for pose in poses)
    for i, line in enumerate(ink.wrap(f"{SEEN_SMALL} {THIN_RINGS}" if several else SEEN_SMALL, page[0] - 2 * gap, 9)):
        told.text(0, key - 20 - 12 * i, line, size=9, va="top", color=ink.SOFT)
    draw_lines(poses, ink.page_axes(figure, gap, gap, page[0] - 2 * gap, lines), ranking.arc)
    return figure
