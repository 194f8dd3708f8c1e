"""Words, tables and small drawings that run from the head of a page to its foot, and on to the next page."""

from __future__ import annotations

from collections.abc import Callable, Sequence
from typing import TYPE_CHECKING, Any

from silhouette.show.ink import ACCENT, FAIR, INK, SMALLEST, SOFT, bare, fit_line, new_figure, page_axes, wrap
from silhouette.show.paper import page_points

if TYPE_CHECKING:
    from matplotlib.figure import Figure

MARGIN = 34.0
"""Paper left free all round, points (12 mm)."""
LINE = 11.0
"""From one line of type to the next, points."""

Column = tuple[str, float, str]
"""Heading, where it stands as a share of the width, and how it is aligned (left or right) there."""


class Flow:
    """Pages that are written from the top down. Lengths are points on Letter or A4; A3 is enlarged, type and all."""

    def __init__(self, paper: str, name: str, under: str) -> None:
        width, height = page_points(paper)
        self.zoom = max(1.0, width / page_points("letter")[0])
        self.width, self.height = width / self.zoom, height / self.zoom
        self.inner = self.width - 2 * MARGIN
        self.paper, self.name, self.under = paper, name, under
        self.figures: list[Figure] = []
        self.title, self.page, self.y = "", None, 0.0

    def new_page(self, title: str) -> None:
        """Begin a page with the heading of the piece."""
        width, height = page_points(self.paper)
        figure = new_figure(width, height)
        self.page = bare(page_axes(figure, 0, 0, width, height), self.width, self.height)
        self.figures.append(figure)
        self.title, self.y = title, self.height - MARGIN
        self.words(0, fit_line(f"{title}", self.inner, 15, True), size=15, weight="bold")
        self.y -= 19
        self.words(0, fit_line(f"{self.name}. {self.under}", self.inner, SMALLEST), color=SOFT)
        self.y -= 13
        self.rule()
        self.y -= 7

    def words(self, x: float, text: str, *, size: float = SMALLEST, **look: Any) -> None:
        """One line of type at the present height, ``x`` points from the margin."""
        assert self.page is not None
        self.page.text(MARGIN + x, self.y, text, fontsize=size * self.zoom, **({"va": "top"} | look))

    def line(self, points: Sequence[tuple[float, float]], **look: Any) -> None:
        """A line through places: x from the margin, y over the present height; points."""
        assert self.page is not None
        weight = look.pop("lw", 0.6) * self.zoom
        self.page.plot([MARGIN + x for x, _ in points], [self.y + y for _, y in points],
                       **({"color": INK, "lw": weight} | look))

    def rule(self, **look: Any) -> None:
        """A line across the page."""
        self.line([(0, 0), (self.inner, 0)], **({"lw": 0.8} | look))

    def need(self, height: float) -> None:
        """Go to a new page where less than ``height`` points are left."""
        if self.y - height < MARGIN:
            self.new_page(self.title if self.title.endswith(" (continued)") else f"{self.title} (continued)")

    def gap(self, height: float = LINE) -> None:
        """Leave some paper free."""
        self.y -= height

    def heading(self, text: str, *, beside: str = "", keep: float = 3 * LINE) -> None:
        """A bold line, words flush right ``beside`` it, kept on one page with what follows."""
        self.need(keep + 14)
        self.words(0, fit_line(text, self.inner * (0.6 if beside else 1), 10, True), size=10, weight="bold")
        if beside:
            self.words(self.inner, beside, size=10, weight="bold", ha="right")
        self.y -= 14

    def say(self, text: str, *, mark: bool = False, x: float = 0.0, **look: Any) -> None:
        """A paragraph; with ``mark`` in bronze before it what wants to be looked at."""
        lines = wrap(text, self.inner - x - (12 if mark else 0), SMALLEST, look.get("weight") == "bold")
        self.need(min(len(lines), 3) * LINE)
        for i, line in enumerate(lines):
            self.need(LINE)
            if mark and i == 0:
                self.words(x, "!", size=10, weight="bold", color=ACCENT)
            self.words(x + (12 if mark else 0), line, **look)
            self.y -= LINE
        self.y -= 3

    def table(self, columns: Sequence[Column], rows: Sequence[Sequence[str]]) -> None:
        """Rows under their headings, which are said again on each page."""
        def head() -> None:
            self._row(columns, [c[0] for c in columns], color=SOFT)
            self.line([(0, 1.5), (self.inner, 1.5)], lw=0.5)
            self.y -= 2

        self.need(3.5 * LINE)
        head()
        for i, row in enumerate(rows):
            before = len(self.figures)
            self.need(LINE)
            if len(self.figures) > before:
                head()
            elif i and i % 5 == 0:
                self.line([(0, 0.2), (self.inner, 0.2)], lw=0.3, color=FAIR)
                self.y -= 2
            self._row(columns, row)
        self.y -= 6

    def _row(self, columns: Sequence[Column], cells: Sequence[str], **look: Any) -> None:
        for (_, share, align), cell in zip(columns, cells, strict=True):
            self.words(share * self.inner, cell, ha=align, **look)
        self.y -= LINE

    def drawing(self, height: float, paint: Callable[[Any, float, float, float], None]) -> None:
        """A strip for a drawing: ``paint(page, left, low, width)``, points."""
        self.need(height)
        self.y -= height
        assert self.page is not None
        paint(self.page, MARGIN, self.y, self.inner)
