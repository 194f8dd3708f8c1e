"""The contact sheet: every view in the order of the turn, one scale, one ground line, the angle under each."""

from __future__ import annotations

from collections.abc import Callable, Sequence
from pathlib import Path
from typing import Any, NamedTuple

from silhouette.records import Pixels, Pose, Ranking, View
from silhouette.show import ink, ring_scale, words, words_rings
from silhouette.show.groups import by_ring, in_a_row
from silhouette.show.view_panel import draw_gaps

Photos = Callable[[View], Pixels | None]
"""Gives the upright picture (h, w, 3) BGR that a view was cut from, at any size, or None where there is none."""

WIDTH = 1000.0
"""Width of the sheet, points."""
HEADING = 28.0
"""Height of the line over a group of poses, points."""
KEY = 46.0
"""Height of the title and key of the sheet of spaces, points."""
SPACES = "The shapes between the limbs. The figure is left white; each view stands where sheet.png has it."
HEAD, BELOW, ABOVE, BETWEEN = 26.0, 34.0, 8.0, 12.0
"""Points: a pose's title; angle and band under the ground line; air over the tallest; air between two figures."""
RING = 20.0
"""Height of the line over the rows of a ring, points, where a pose has several."""
LEAST_TALL = 4.0
"""Points that a figure has at least, however little room there is."""


def draw_sheet(pose: Pose, ax: Any = None, *, photos: Photos | None = None, tall: float | None = None,
               spaces: bool = False) -> Any:
    """Draw one pose's views in rows.

    Parameters
    ----------
    pose : Pose
    ax : matplotlib Axes, optional
        Where to draw; the figures are as large as it allows. A page of its own by default.
    photos : callable, optional
        Draw the photographs in place of the black shapes where it returns one.
    tall : float, optional
        Height of the tallest figure, points, to share one scale between poses.
    spaces : bool
        Draw the negative spaces alone: enclosed gaps black, open ones grey, the figure left white.

    Returns
    -------
    matplotlib Axes
        One data unit is one point; the origin is the lower left corner.
    """
    if ax is None:
        tall = tall or _tallest(pose, WIDTH)
        height = _block_height(pose, WIDTH, tall)
        ax = ink.page_axes(ink.new_figure(WIDTH + 48, height + 48), 24, 24, WIDTH, height)

    def paint(ax: Any) -> None:
        width, height = ink.size_of(ax)
        title = f"{pose.name}   {words.in_full(pose)}" + (f"   meant {pose.intent}" if pose.intent != "open" else "")
        ax.text(0, height, ink.fit_line(title, width, 12, True), size=12, weight="bold", va="top")
        if pose.other_rings:
            high = tall or _fitting(pose, width, height)
            for rows, top in _laid_out(pose, width, height, high):
                ax.text(0, top + RING - 4, words_rings.in_a_title(rows.pose), size=10, weight="bold", va="top")
                _draw_rows(rows, ax, top, photos, spaces)
            return
        columns, high = (_columns(pose, width, tall), tall) if tall else fit_grid(
            len(pose.views), _widest(pose), width, height - HEAD)
        _draw_rows(_Rows(pose, None, columns, high), ax, height - HEAD, photos, spaces)

    return ink.fitted(ax, paint)


def write_sheet(ranking: Ranking, out_dir: Path, photos: Photos | None = None) -> Path:
    """Write ``sheet.png``: every pose in rank order, all at one scale.

    Raises
    ------
    OutputError
        The folder cannot be written in.
    """
    return _write(ranking, Path(out_dir) / "sheet.png", photos=photos)


def write_spaces(ranking: Ranking, out_dir: Path) -> Path:
    """Write ``spaces.png``: the same sheet with the negative spaces alone.

    Raises
    ------
    OutputError
        The folder cannot be written in.
    """
    return _write(ranking, Path(out_dir) / "spaces.png", spaces=True)


def _write(ranking: Ranking, path: Path, **what: Any) -> Path:
    placed = in_a_row(ranking)
    poses = [pose for _, pose in placed]
    talls = one_scale(poses)
    heights = [_block_height(pose, WIDTH, tall) for pose, tall in zip(poses, talls, strict=True)]
    key = KEY if what.get("spaces") else 0.0
    page = sum(heights) + 24 * (len(heights) + 1) + HEADING * sum(bool(heading) for heading, _ in placed) + key
    figure = ink.new_figure(WIDTH + 48, page)
    top = page - 24 - key
    if key:
        with ink.style():
            _draw_key(ink.page_axes(figure, 24, top + 8, WIDTH, key - 8))
    for (heading, pose), height, tall in zip(placed, heights, talls, strict=True):
        if heading:
            top -= HEADING
            with ink.style():
                ink.page_axes(figure, 24, top, WIDTH, HEADING).text(0, HEADING, heading, size=15, weight="bold",
                                                                    va="top")
        draw_sheet(pose, ink.page_axes(figure, 24, top - height, WIDTH, height), tall=tall, **what)
        top -= height + 24
    with ink.style():
        return ink.save_figure(figure, path)


def _draw_key(ax: Any) -> None:
    """What the sheet of spaces shows, and which tone is which gap."""
    _, height = ink.size_of(ax)
    title = "The spaces alone"
    ax.text(0, height, title, size=15, weight="bold", va="top")
    x, y = ink.text_width(title, 15, True) + 24, height - 8.0
    for word, colour, line in (("enclosed gap", ink.INK, 0.5), ("open gap", ink.FAIR, 0.0)):
        ink.add_paths(ax, [ink.rectangle(x, y - 5, 16, 10)], facecolor=colour, edgecolor=ink.INK, linewidth=line)
        ax.text(x + 21, y, word, size=10, va="center")
        x += 21 + ink.text_width(word, 10) + 18
    ax.text(0, height - 21, SPACES, size=10, va="top", color=ink.SOFT)


def one_scale(poses: Sequence[Pose]) -> list[float]:
    """Height of the tallest figure of each pose, points, so that all poses of a sheet stand at one scale."""
    px = ink.common_px([pose.views for pose in poses])
    shares = [1.0 if px is None else ink.tallest_px(pose.views) / px for pose in poses]
    most = min(_tallest(pose, WIDTH) / share for pose, share in zip(poses, shares, strict=True))
    return [most * share for share in shares]


def fit_grid(count: int, widest: float, width: float, height: float) -> tuple[int, float]:
    """Columns and figure height, points, with which ``count`` figures come out largest in a box.

    ``widest`` is the widest figure's width over the tallest one's height.
    """
    def tallest(columns: int) -> float:
        rows = -(-count // columns)
        return min((width / columns - BETWEEN) / widest, height / rows - BELOW - ABOVE)

    best = max(range(1, max(count, 1) + 1), key=tallest)
    return best, max(tallest(best), LEAST_TALL)


class _Rows(NamedTuple):
    """The rows of one ring."""

    pose: Pose
    """The ring as a pose of its own."""
    most: float | None
    """Working pixels of a figure that is ``tall``; None: the tallest of the ring."""
    columns: int
    tall: float
    """Points."""

    @property
    def height(self) -> float:
        """Height of all rows, points."""
        return -(-len(self.pose.views) // self.columns) * (self.tallest + ABOVE + BELOW)

    @property
    def tallest(self) -> float:
        """Height of the tallest figure of the ring, points."""
        return self.tall if self.most is None else self.tall * ink.tallest_px(self.pose.views) / self.most


def _rows_of(pose: Pose, width: float, tall: float) -> list[_Rows]:
    """The rows of each ring, all at one scale as far as it is known; ``tall`` is that of the headline's ring."""
    most = ring_scale.most_px(pose)
    rows = []
    for ring in by_ring(pose):
        one = _Rows(ring, most[ring.ring], 1, tall)
        rows.append(one._replace(columns=_columns(ring, width, one.tallest)))
    return rows


def _laid_out(pose: Pose, width: float, height: float, tall: float) -> list[tuple[_Rows, float]]:
    """The rows of each ring, and the height at which they begin, points."""
    laid, top = [], height - HEAD
    for rows in _rows_of(pose, width, tall):
        top -= RING
        laid.append((rows, top))
        top -= rows.height
    return laid


def _fitting(pose: Pose, width: float, height: float) -> float:
    """The height of the tallest figure with which all rings of a pose fit into a box, points."""
    low, high = LEAST_TALL, height
    for _ in range(20):
        middle = (low + high) / 2
        low, high = (middle, high) if _block_height(pose, width, middle) <= height else (low, middle)
    return low


def _widest(pose: Pose) -> float:
    """Widest figure over the tallest one's height, with room for the words under it."""
    sizes = ink.relative_heights(pose.views)
    spans = [pose.views[i].outline.polygon.bounds for i in sizes]  # type: ignore[union-attr]
    return max([(span[2] - span[0]) * size for span, size in zip(spans, sizes.values(), strict=True)] + [0.3])


def _columns(pose: Pose, width: float, tall: float) -> int:
    """Even rows of no more figures than fit."""
    most = max(1, int(width // max(_widest(pose) * tall + BETWEEN, 56)))
    rows = -(-len(pose.views) // most)
    return max(1, -(-len(pose.views) // max(rows, 1)))


def _tallest(pose: Pose, width: float) -> float:
    """Height of the headline's tallest figure with which every ring has rows as it would have by itself, points."""
    return min(_tallest_alone(rows.pose, width) / rows.tallest for rows in _rows_of(pose, width, 1.0))


def _tallest_alone(pose: Pose, width: float) -> float:
    """Figure height with which at most twelve views stand in a row, and rows are even."""
    count = max(len(pose.views), 1)
    columns = -(-count // -(-count // 12))
    return max(40.0, min(170.0, (width / max(columns, 8) - BETWEEN) / _widest(pose)))


def _block_height(pose: Pose, width: float, tall: float) -> float:
    rows = _rows_of(pose, width, tall)
    return HEAD + sum(one.height for one in rows) + (RING * len(rows) if len(rows) > 1 else 0.0)


def _draw_rows(rows: _Rows, ax: Any, top: float, photos: Photos | None, spaces: bool) -> None:
    """Draw the rows from ``top`` down, points."""
    from matplotlib.collections import LineCollection

    pose, columns, tall = rows.pose, rows.columns, rows.tall
    width, _ = ink.size_of(ax)
    sizes = ink.relative_heights(pose.views, rows.most)
    cell = width / columns
    figures, bars, lines = [], [], []
    for i, view in enumerate(pose.views):
        row, column = divmod(i, columns)
        x = (column + 0.5) * cell
        ground = top - (row + 1) * (rows.tallest + ABOVE) - row * BELOW
        if column == 0:
            last = min(columns, len(pose.views) - row * columns)
            lines.append([(0, ground), (last * cell, ground)])
        picture = photos(view) if photos is not None and view.outline is not None and not view.inferred else None
        if picture is not None:
            _draw_photo(ax, view, picture, sizes[i] * tall, (x, ground), (cell - 4, rows.tallest + ABOVE - 2))
        elif spaces:
            draw_gaps(view, ax, sizes.get(i, 1.0) * tall, x, ground, ink.FAIR, ink.INK)
        elif view.outline is not None:
            figures.append((view, ink.outline_path(view.outline.drawn, sizes[i] * tall, x, ground)))
        bars.append((words.standing(view), x, ground))
        _draw_label(ax, view, words.stop_angle(view, pose.views), x, ground - 7, cell - 4)
    ax.add_collection(LineCollection(lines, colors=ink.INK, linewidths=0.6), autolim=False)
    ink.draw_figures(ax, figures)
    half = min(0.36 * cell, 24.0)
    for kind in ("strong", "fair", "weak"):
        ink.tone(ax, [ink.rectangle(x - half, ground - 5, 2 * half, 4.4) for band, x, ground in bars
                      if band.split(",")[0] == kind], kind)


def _draw_label(ax: Any, view: View, angle: str, x: float, top: float, width: float) -> None:
    """The angle, and under it the band in words, so that no tone has to be known."""
    standing = words.standing(view)
    ax.text(x, top, angle, size=10, weight="bold", ha="center", va="top")
    ax.text(x, top - 13, ink.fit_line(standing, width, 8), size=8, ha="center", va="top",
            weight="bold" if standing.startswith("weak") and ink.text_width(standing, 8, True) <= width else "normal")


def _draw_photo(ax: Any, view: View, picture: Pixels, tall: float, feet: tuple[float, float],
                box: tuple[float, float]) -> None:
    """The part of the photograph round the figure, at the figure's scale, its feet on the ground line."""
    import cv2

    outline = view.outline
    assert outline is not None
    high, wide = picture.shape[:2]
    smaller = wide / outline.picture_size[0]
    height_px, ox, oy = (smaller * px for px in (outline.height_px, *outline.origin_px))
    scale = tall / height_px
    left, right = (round(ox + sign * box[0] / 2 / scale) for sign in (-1, 1))
    top, bottom = round(oy + height_px - box[1] / scale), round(oy + height_px)
    left, right, top, bottom = max(left, 0), min(right, wide), max(top, 0), min(bottom, high)
    if right - left < 2 or bottom - top < 2:
        return
    piece: Any = picture[top:bottom, left:right, ::-1]
    # Twice the printed points: enough for 150 dots an inch, and a photograph costs no more than a thumbnail.
    small = (max(round((right - left) * scale * 2.1), 1), max(round((bottom - top) * scale * 2.1), 1))
    if small[0] < piece.shape[1]:
        piece = cv2.resize(piece, small, interpolation=cv2.INTER_AREA)
    x, ground = feet
    below = oy + height_px
    extent = (x + (left - ox) * scale, x + (right - ox) * scale, ground + (below - bottom) * scale,
              ground + (below - top) * scale)
    limits = ax.axis()
    ax.imshow(piece, extent=extent, aspect="auto", interpolation="antialiased")
    ax.axis(limits)
