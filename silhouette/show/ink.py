"""What every picture in this column is drawn with: the inks, the type, an outline as a path, a file written whole.

Lengths on a page are points (1/72 inch) throughout, so that type and line keep their printed size on any paper.
"""

from __future__ import annotations

import contextlib
import logging
import warnings
from collections.abc import Callable, Iterator, Sequence
from functools import lru_cache
from itertools import accumulate, takewhile
from pathlib import Path
from typing import TYPE_CHECKING, Any

import numpy as np
from shapely.geometry import MultiPolygon, Polygon

from silhouette.geometry.drawn import rings_of, thinned
from silhouette.records import CANNOT_TELL, INFERRED, View
from silhouette.show.paper import page_bytes, pages_pdf, stacked_png
from silhouette.texts import printable
from silhouette.writing import whole_file

if TYPE_CHECKING:
    from matplotlib.figure import Figure
    from matplotlib.path import Path as DrawnPath

INK = "#1f1a17"
"""Warm black: the figure, the type."""
PAPER = "#ffffff"
ACCENT = "#b0640f"
"""Bronze: trouble. Half-way in lightness, so that it shows on the black figure, on white paper and in a grey print."""
SOFT = "#6f665e"
"""Small print. 5.6 times the contrast of paper."""
FAIR = "#9d948b"
"""The middle band."""
PALE = "#ece7e0"
"""Gaps and grounds: the lightest tone that a laser printer still lays down evenly."""

SMALLEST = 8.0
"""Smallest type on any page, points."""
OFF = 0.16
"""How far a drawn edge may lie off its outline, points: a third of a pixel at 150 dots an inch, 0.06 mm on paper."""
STYLE = Path(__file__).with_name("style.mplstyle")
FACES = (
    "DejaVu Sans", "Noto Sans CJK JP", "Noto Sans CJK SC", "Hiragino Sans", "Hiragino Sans GB", "Apple SD Gothic Neo",
    "Yu Gothic", "Microsoft YaHei", "Malgun Gothic", "WenQuanYi Zen Hei", "Droid Sans Fallback", "Arial Unicode MS",
    "Nirmala UI", "Noto Emoji", "Segoe UI Symbol", "Segoe UI Emoji")
"""The typeface of every page, which matplotlib brings along, and faces of common systems that have what it lacks."""
_CALLERS = frozenset({"backend", "backend_fallback", "interactive"})
"""Settings of matplotlib that are no look, and stay the caller's."""


@contextlib.contextmanager
def style() -> Iterator[None]:
    """The project's matplotlib style, for the time of a ``with`` block, whatever the caller has set."""
    import matplotlib

    with matplotlib.rc_context(_style()), _strange_letters():
        yield


@contextlib.contextmanager
def _strange_letters() -> Iterator[None]:
    """No remarks on letters that no typeface here has, a box stands for each, or has in one weight only."""
    log = logging.getLogger("matplotlib.font_manager")
    before = log.level
    log.setLevel(logging.ERROR)
    try:
        with warnings.catch_warnings():
            warnings.filterwarnings("ignore", message=r"Glyph .* missing from", category=UserWarning)
            yield
    finally:
        log.setLevel(before)


@lru_cache(maxsize=1)
def _style() -> Any:
    """The style file over matplotlib's own defaults, read once: that takes longer than drawing a strip of figures."""
    import matplotlib

    with warnings.catch_warnings():
        warnings.simplefilter("ignore")  # some defaults are on their way out
        whole = dict(matplotlib.rc_params_from_file(STYLE))
    return {key: value for key, value in whole.items() if key not in _CALLERS} | {"font.family": list(families())}


@lru_cache(maxsize=1)
def families() -> tuple[str, ...]:
    """The typeface of every page, then those of this machine that have the letters it lacks."""
    from matplotlib.font_manager import fontManager

    here = set(fontManager.get_font_names())
    return tuple(name for name in FACES if name == FACES[0] or name in here)


def new_figure(width: float, height: float) -> Figure:
    """An empty figure of ``width`` by ``height`` points that no window system knows of."""
    from matplotlib.backends.backend_agg import FigureCanvasAgg
    from matplotlib.figure import Figure

    with style():
        figure = Figure(figsize=(width / 72, height / 72))
    FigureCanvasAgg(figure)
    return figure


def page_axes(figure: Figure, left: float, bottom: float, width: float, height: float) -> Any:
    """Bare axes at a place of the page; one data unit is one point, the origin its lower left corner."""
    page_w, page_h = (72 * side for side in figure.get_size_inches())
    ax = figure.add_axes((left / page_w, bottom / page_h, width / page_w, height / page_h))
    return bare(ax, width, height)


def bare(ax: Any, width: float | None = None, height: float | None = None) -> Any:
    """Strip axes of frame and ticks and measure them in points; without sizes, take them from the figure."""
    if width is None or height is None:
        box = ax.get_position()
        page_w, page_h = (72 * side for side in ax.figure.get_size_inches())
        width, height = box.width * page_w, box.height * page_h
    ax.set_axis_off()
    ax.set_xlim(0, width)
    ax.set_ylim(0, height)
    return ax


class _Fitted:
    """Axes painted in points, and painted again whenever they are about to be drawn at another size."""

    def __init__(self, ax: Any, paint: Callable[[Any], None]) -> None:
        self.ax, self.paint, self.placed_by = ax, paint, ax.get_axes_locator()
        self.size = (0.0, 0.0)
        self.painted: list[Any] = []
        ax.set_axes_locator(self)
        self.fit(ax.get_position(original=True))

    def __call__(self, ax: Any, renderer: Any) -> Any:
        """What matplotlib asks for before it draws the axes or measures them: where they stand."""
        place = self.placed_by(ax, renderer) if self.placed_by else ax.get_position(original=True)
        self.fit(place)
        return place

    def get_subplotspec(self) -> Any:
        """For ``tight_layout``, which asks whoever places the axes."""
        return self.ax.get_subplotspec()

    def fit(self, place: Any) -> None:
        """Paint, if that was not done at this size."""
        box = place.transformed(self.ax.figure.transSubfigure)
        size = (72 * box.width / self.ax.figure.dpi, 72 * box.height / self.ax.figure.dpi)
        if max(abs(a - b) for a, b in zip(size, self.size, strict=True)) < 0.01:
            return
        self.size = size
        for artist in self.painted:
            artist.remove()
        before = set(self.ax.get_children())
        with style():
            self.paint(bare(self.ax, *size))
        self.painted = [artist for artist in self.ax.get_children() if artist not in before]
        for artist in self.painted:
            artist.set_in_layout(False)  # what is inside the axes must not push them about
        self.ax.set_aspect("equal")


def fitted(ax: Any, paint: Callable[[Any], None]) -> Any:
    """Paint on axes that are measured in points, now and whenever a layout gives them another size; they are returned.

    The figure and its other axes are left alone. ``paint`` finds the axes :func:`bare`.
    """
    _Fitted(ax, paint)
    return ax


def size_of(ax: Any) -> tuple[float, float]:
    """Width and height of :func:`bare` axes, points."""
    return float(ax.get_xlim()[1]), float(ax.get_ylim()[1])


# ------------------------------------------------------------------------------------------------------------ type

HINTED = 1.025
"""How much wider than drawn a line of small type can come out in a png, where letters are fitted to whole pixels."""


@lru_cache(maxsize=1024)
def _advance(letter: str, bold: bool) -> float:
    """Width of one letter over the size of the type."""
    from matplotlib.font_manager import FontProperties
    from matplotlib.textpath import text_to_path

    face = FontProperties(family=list(families()), weight="bold" if bold else "normal", size=100)
    with _strange_letters():
        return HINTED * float(text_to_path.get_text_width_height_descent(letter, face, False)[0]) / 100


def text_width(text: str, size: float, bold: bool = False) -> float:
    """Width of one line of type, points. Kerning, which draws letters nearer, is left out."""
    return size * sum(_advance(letter, bold) for letter in printable(text))


def wrap(text: str, width: float, size: float, bold: bool = False) -> list[str]:
    """Break ``text`` into lines no wider than ``width`` points; a word wider than that is cut short."""
    lines: list[str] = []
    for word in printable(text).split():
        longer = f"{lines[-1]} {word}" if lines else word
        if lines and text_width(longer, size, bold) <= width:
            lines[-1] = longer
        else:
            lines.append(fit_line(word, width, size, bold))
    return lines or [""]


def wrap_to(text: str, width: float, size: float, most: int, bold: bool = False) -> list[str]:
    """As :func:`wrap`, in at most ``most`` lines; an ellipsis tells where some were dropped."""
    lines = wrap(text, width, size, bold)
    return lines if len(lines) <= most else [*lines[:most - 1], fit_line(lines[most - 1] + " …", width, size, bold)]


def fit_line(text: str, width: float, size: float, bold: bool = False) -> str:
    """``text`` on one line, cut short with an ellipsis where it is wider than ``width`` points."""
    text = printable(text)
    if len(text) < 2 or text_width(text, size, bold) <= width:
        return text
    ends = accumulate(size * _advance(letter, bold) for letter in text)
    kept = sum(1 for _ in takewhile(lambda end: end <= width - size * _advance("…", bold), ends))
    return text[:kept].rstrip(" …") + "…"


# --------------------------------------------------------------------------------------------------------- outline

def outline_path(
    polygon: Polygon | MultiPolygon, height: float, x: float, ground: float, off: float = OFF
) -> DrawnPath:
    """The outline as a matplotlib path, ``height`` points tall, its x = 0 at ``x`` and its feet on ``ground``.

    ``off`` is how far it may lie beside the outline, points.
    """
    from matplotlib.path import Path as DrawnPath

    rings = rings_of(thinned(polygon, off / max(height, off)))
    codes = [np.full(len(ring), DrawnPath.LINETO, np.uint8) for ring in rings]
    for code in codes:
        code[0], code[-1] = DrawnPath.MOVETO, DrawnPath.CLOSEPOLY
    points = np.concatenate(rings)
    placed = np.column_stack([x + points[:, 0] * height, ground + (1 - points[:, 1]) * height])
    return DrawnPath(placed, np.concatenate(codes))


def rectangle(x: float, y: float, width: float, height: float) -> DrawnPath:
    """A box from its lower left corner, points."""
    from matplotlib.path import Path as DrawnPath

    return DrawnPath([(x, y), (x + width, y), (x + width, y + height), (x, y + height), (x, y)], closed=True)


def add_paths(ax: Any, paths: list[DrawnPath], **look: Any) -> None:
    """Draw many paths as one artist."""
    from matplotlib.collections import PathCollection

    if paths:
        ax.add_collection(PathCollection(paths, **look), autolim=False)


def tallest_px(views: Sequence[View]) -> float:
    """Height of the tallest figure among these views, working pixels; 1 where there is none."""
    return max((v.outline.height_px for v in views if v.outline is not None), default=1.0)


def common_px(poses: Sequence[Sequence[View]]) -> float | None:
    """Height, working pixels, of the tallest figure of all poses, where one scale can be taken to hold for all.

    That is where all pictures have one size: the camera is then taken to have stood still between the poses, and a
    crouching pose is drawn smaller than a standing one. None where sizes differ.
    """
    sizes = {v.outline.picture_size for views in poses for v in views if v.outline is not None}
    return max(map(tallest_px, poses)) if len(sizes) == 1 else None


def relative_heights(views: Sequence[View], most: float | None = None) -> dict[int, float]:
    """Height of each view's figure over ``most`` (by default the tallest of the pose), by position in ``views``."""
    most = most or tallest_px(views)
    return {i: v.outline.height_px / most for i, v in enumerate(views) if v.outline is not None}


def tone(ax: Any, paths: list[DrawnPath], kind: str) -> None:
    """Fill with the tone of a band or of a kind of figure, each told from the others by lightness and by texture."""
    looks: dict[str, dict[str, Any]] = {
        "seen": {"facecolor": INK, "linewidth": 0},
        "strong": {"facecolor": INK, "linewidth": 0},
        "fair": {"facecolor": FAIR, "linewidth": 0},
        "weak": {"facecolor": PAPER, "edgecolor": ACCENT, "hatch": "//////", "linewidth": 0.9},
        "no view": {"facecolor": "none", "edgecolor": SOFT, "linewidth": 0.7, "linestyle": (0, (1, 2))},
        INFERRED: {"facecolor": PAPER, "edgecolor": SOFT, "hatch": "||||||", "linewidth": 0.7},
        CANNOT_TELL: {"facecolor": PALE, "edgecolor": SOFT, "linewidth": 0.8, "linestyle": (0, (2, 1.5))},
    }
    add_paths(ax, paths, **looks[kind])


def draw_figures(ax: Any, placed: list[tuple[View, DrawnPath]]) -> None:
    """Black where a picture was read, hatched where mirrored from the opposite view, pale where not trusted."""
    for kind in ("seen", INFERRED, CANNOT_TELL):
        tone(ax, [path for view, path in placed if kind_of(view) == kind], kind)


def kind_of(view: View) -> str:
    """How a figure is drawn: ``seen``, inferred or cannot tell."""
    return CANNOT_TELL if not view.scored else INFERRED if view.inferred else "seen"


# ----------------------------------------------------------------------------------------------------------- files

def save_figure(figure: Figure, path: Path) -> Path:
    """Save a figure as the kind its file name says, with no date, author or program in it."""
    with _strange_letters():
        data = page_bytes(figure, path.suffix[1:].lower(), truetype=False)
    return whole_file(path, data)


def save_figures(figures: Sequence[Figure], path: Path) -> Path:
    """The same of several pages: one after the other in a pdf, one under the other in a png."""
    with _strange_letters():
        kind = path.suffix[1:].lower()
        data = pages_pdf(list(figures), truetype=False) if kind == "pdf" else stacked_png(figures)
    return whole_file(path, data)
