"""The lines of several poses over one another, unrolled: one walk round the figure from front to front."""

from __future__ import annotations

from typing import Any

import numpy as np

from silhouette.geometry.angles import on_arc
from silhouette.records import Pose
from silhouette.settings import BAND_FAIR, BAND_STRONG
from silhouette.show import ink, words

# Each line has its own dash as well as its own tone: six can be told apart in a grey print.
LOOKS: tuple[tuple[str, float, tuple[float, ...]], ...] = (
    (ink.INK, 2.2, ()), (ink.ACCENT, 2.2, ()), (ink.INK, 1.3, (5, 2)), (ink.ACCENT, 1.5, (2, 1.5)),
    (ink.SOFT, 1.2, (7, 2, 1.5, 2)), (ink.FAIR, 2.2, ()))


def draw_lines(poses: tuple[Pose, ...], ax: Any = None, arc: tuple[float, float] | None = None) -> Any:
    """Draw the readability of up to six poses round the circle on shared axes, each line named at its end.

    Parameters
    ----------
    poses : tuple of Pose
        In rank order; the seventh and later ones are left to their own wheels, and a line says so.
    ax : matplotlib Axes, optional
    arc : (float, float), optional
        The only views that count, from and to, clockwise: a thick line along the foot marks them.

    Returns
    -------
    matplotlib Axes
        One data unit is one point; the origin is the lower left corner.
    """
    if ax is None:
        ax = ink.page_axes(ink.new_figure(792, 300), 18, 14, 756, 272)
    return ink.fitted(ax, lambda ax: _paint(poses, ax, arc))


def _paint(poses: tuple[Pose, ...], ax: Any, arc: tuple[float, float] | None) -> None:
    width, height = ink.size_of(ax)
    poses = tuple(p for p in poses if not np.isnan(p.round.degrees).all()) or poses
    names = [ink.fit_line(words.place_of(p), 0.2 * width, 8) for p in poses[:len(LOOKS)]]
    left, right = 38.0, width - 34.0 - max(ink.text_width(name, 8) for name in names)
    low, high = 28.0, height - 22.0
    title = "Round the figure, one line a pose"
    if any(pose.other_rings for pose in poses):
        title += ", each of its headline's ring"
    if len(poses) > len(LOOKS):
        title += f" (the first {len(LOOKS)} of {len(poses)})"
    if arc is not None:
        title += f"; only {words.from_to(*arc)} counts"
    ax.text(0, height, ink.fit_line(title, width, 9, True), size=9, weight="bold", va="top")
    _draw_frame(ax, left, right, low, high)
    if arc is not None:
        x = left + (right - left) * np.arange(361) / 360
        foot = np.where([on_arc(angle, arc) for angle in range(361)], low, np.nan)
        ax.plot(x, foot, color=ink.INK, linewidth=3.5, solid_capstyle="butt", gid="arc", scalex=False, scaley=False)
    for (colour, thick, dash), pose in zip(LOOKS, poses, strict=False):
        x = left + (right - left) * np.arange(361) / 360
        y = low + (high - low) * pose.round.degrees[np.arange(361) % 360] / 100
        ax.plot(x, y, color=colour, linewidth=thick, dashes=dash or (None, None), scalex=False, scaley=False)
    _draw_names(ax, poses, names, right, low, high)


def _draw_frame(ax: Any, left: float, right: float, low: float, high: float) -> None:
    """Bands as grounds, the sides of the figure along the foot."""
    from matplotlib.patches import Rectangle

    def level(value: float) -> float:
        return low + (high - low) * value / 100

    ax.add_patch(Rectangle((left, level(BAND_STRONG)), right - left, high - level(BAND_STRONG), facecolor=ink.PALE))
    ax.add_patch(Rectangle((left, low), right - left, level(BAND_FAIR) - low, facecolor="none", edgecolor=ink.FAIR,
                           hatch="////", linewidth=0))
    for name, bottom, top in (("weak", 0, BAND_FAIR), ("fair", BAND_FAIR, BAND_STRONG), ("strong", BAND_STRONG, 100)):
        ax.text(left - 4, level((bottom + top) / 2), name, size=8, ha="right", va="center")
    for angle in range(0, 361, 45):
        x = left + (right - left) * angle / 360
        ax.plot([x, x], [low - 3, low], color=ink.INK, linewidth=0.8, scalex=False, scaley=False)
        side = words.SIDES.get(angle % 360)
        ax.text(x, low - 5, words.degrees(angle) + (f"\n{side}" if side else ""), size=8, ha="center", va="top",
                linespacing=1.1)


def _draw_names(ax: Any, poses: tuple[Pose, ...], names: list[str], right: float, low: float, high: float) -> None:
    """Every line's name at its end, pushed apart where lines end close together, a sample of its dash before it."""
    ends = []
    for pose in poses[:len(names)]:
        known = pose.round.degrees[~np.isnan(pose.round.degrees)]
        last = pose.round.degrees[0] if not np.isnan(pose.round.degrees[0]) else known[-1] if len(known) else 0.0
        ends.append(low + (high - low) * last / 100)
    order = sorted(range(len(names)), key=lambda i: -ends[i])
    y = high
    spots: dict[int, float] = {}
    for i in order:
        y = min(y, ends[i])
        spots[i] = y
        y -= 12
    floor = low + 4
    for i in reversed(order):
        spots[i] = max(spots[i], floor)
        floor = spots[i] + 12
    for i, name in enumerate(names):
        colour, thick, dash = LOOKS[i]
        ax.plot([right + 4, right + 26], [ends[i], spots[i]], color=ink.FAIR, linewidth=0.5, scalex=False, scaley=False)
        ax.plot([right + 8, right + 28], [spots[i]] * 2, color=colour, linewidth=thick, dashes=dash or (None, None),
                scalex=False, scaley=False)
        ax.text(right + 32, spots[i], name, size=8, va="center")
