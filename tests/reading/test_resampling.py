"""How sure a round is: one view left out at a time, scores shaken by what the cut may get wrong."""

from __future__ import annotations

from pathlib import Path

import numpy as np
import pytest

from silhouette.reading import circle
from silhouette.records import Reading, Stop, View


def view(angle: float, readability: float) -> View:
    reading = Reading(readability, readability, readability, "fair", ())
    return View(Stop(0, Path("a.jpg"), f"{angle:03.0f}", angle, "name"), 1.0, "backdrop", reading=reading)


def test_each_view_is_left_out_in_turn() -> None:
    """With scores that are not shaken, what varies is which view was left out."""
    views = [view(a, 30.0 + a / 10) for a in range(0, 360, 30)]
    rows = circle.resample(views, None, 0.0, 1)
    assert rows is not None
    expected = set()
    for k in range(len(views)):
        walk = circle.walk_round(views[:k] + views[k + 1 :])
        expected.add(round(float(np.nanmean(walk.degrees)), 6))
    assert {round(v, 6) for v in rows[:, 1].tolist()} == expected, "all twelve, and nothing else"


def test_of_three_views_none_is_left_out() -> None:
    rows = circle.resample([view(a, 50) for a in (0, 40, 80)], None, 0.0, 1)
    assert rows is not None and np.ptp(rows[:, 1]) == pytest.approx(0)


def test_scores_are_shaken_by_the_edge() -> None:
    views = [view(a, 50) for a in range(0, 360, 15)]
    rows = circle.resample(views, None, 4.0, 1)
    assert rows is not None
    # the mean of 23 shaken scores: 4 / sqrt(23)
    assert rows[:, 1].std() == pytest.approx(4 / np.sqrt(23), rel=0.2)
    assert rows[:, 1].mean() == pytest.approx(50, abs=0.3)
