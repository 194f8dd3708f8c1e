"""How sure a score is said to be: mask edges moved by a pixel, and what nine resamplings in ten hold."""

from __future__ import annotations

from pathlib import Path
from types import SimpleNamespace

import numpy as np
import pytest
from shapely.geometry import box

from silhouette import scoring
from silhouette.records import Outline, Reading, Round, Stop, View
from silhouette.settings import Settings

EDGE = 1 / 500
"""A pixel on a figure 500 pixels high."""


def seen(angle: float) -> View:
    reading = Reading(40.0, 40.0, 40.0, "weak", ())
    line = Outline(box(-0.2, 0, 0.2, 1), 500.0, (150.0, 0.0), (300, 500))
    return View(Stop(0, Path("a.jpg"), "a", angle, "name"), 1.0, "backdrop", outline=line, reading=reading)


@pytest.fixture
def read_by_area(monkeypatch: pytest.MonkeyPatch) -> list[float]:
    """Makes an outline's area its readability, in hundredths; what was asked is kept."""
    asked: list[float] = []

    def read_view(measures: object, outline: Outline, *rest: object) -> SimpleNamespace:
        asked.append(outline.polygon.area)
        return SimpleNamespace(readability=100 * outline.polygon.area)

    monkeypatch.setattr(scoring.view, "read_view", read_view)
    monkeypatch.setattr(scoring.measure, "measure_outline", lambda polygon: None)
    monkeypatch.setattr(scoring.measuring, "read_body", lambda outline: None)
    return asked


def test_mask_edges_are_moved_by_a_pixel_out_and_in(read_by_area: list[float]) -> None:
    sd = scoring._edge_sd([seen(a) for a in range(0, 360, 15)], Settings(jitter=6))
    out, into = (0.4 + 2 * EDGE) * (1 + 2 * EDGE), (0.4 - 2 * EDGE) * (1 - 2 * EDGE)
    assert read_by_area == pytest.approx([out, into] * 3), "six views, by turns"
    moved = np.array([out - 0.4, into - 0.4] * 3)
    assert sd == pytest.approx(100 * np.sqrt(np.mean(moved**2)))


def test_without_jitter_nothing_is_moved(read_by_area: list[float]) -> None:
    assert scoring._edge_sd([seen(0)], Settings(jitter=0)) == 0 and not read_by_area
    assert scoring._edge_sd([], Settings()) == 0


def test_an_interval_holds_nine_in_ten() -> None:
    walk = Round(np.zeros(360), np.zeros(360, bool), 180, 360, (), (), 50.0, 0.0, 0.0)
    even = np.column_stack([np.linspace(0, 1, 1001), np.full(1001, 50.0)])
    assert scoring._interval(even, walk) == (18, 342)
    narrow = np.column_stack([np.linspace(0.6, 0.8, 1001), np.full(1001, 50.0)])
    assert scoring._interval(narrow, walk) == (180, 284), "what was found lies within"
    assert scoring._interval(None, walk) == (None, None)
