"""How far the model turned from stop to stop, by angles that were given."""

from __future__ import annotations

import numpy as np
import pytest

from silhouette.turn import steps

TURN = np.arange(25) * 15.0


@pytest.mark.parametrize("way", [1, -1])
def test_a_turn_goes_on_past_360(way: int) -> None:
    assert steps.turned_through(list(way * TURN % 360)) == pytest.approx(way * TURN)
    assert list(steps.turned_through([90.0])) == [0.0]


@pytest.mark.parametrize("way", [1, -1])
def test_a_stretch_of_over_half_a_turn_that_was_left_out_is_no_turn_back(way: int) -> None:
    kept = np.delete(TURN, np.arange(6, 20))  # 75 to 300: 225 degrees, or 135 back
    assert steps.turned_through(list(way * kept % 360)) == pytest.approx(way * kept)


def test_a_small_step_back_is_one() -> None:
    assert steps.turned_through([0.0, 15.0, 30.0, 25.0, 45.0, 60.0])[3] == 25.0


def test_gaps_of_one_and_of_two_are_found() -> None:
    kept = np.delete(TURN, [4, 11, 12])
    assert steps.usual_step(kept) == 15 and steps.skipped(kept) == [3, 9]
    assert steps.skipped(TURN) == [] and steps.skipped(-kept) == [3, 9]


@pytest.mark.parametrize("n", [12, 24, 36])
def test_uneven_steps_are_no_gap(n: int) -> None:
    rng = np.random.default_rng(n)
    for _ in range(30):
        assert steps.skipped(np.arange(n + 1) * 360 / n + rng.normal(0, 2, n + 1)) == []


def test_two_stops_are_one_view_where_neither_angle_nor_outline_changes() -> None:
    masks = [np.zeros((40, 60), bool) for _ in TURN]
    for k, mask in enumerate(masks):
        mask[5:35, 10 + k : 30 + k] = True
    again = np.insert(TURN, 6, 77.0)
    same, other = [*masks[:6], masks[5], *masks[6:]], [*masks[:6], ~masks[5], *masks[6:]]
    assert steps.repeated(again, same) == [5]
    assert steps.repeated(again, other) == [], "a pose struck anew is another picture"
    assert steps.repeated(again, [*same[:6], None, *same[7:]]) == [5]
    assert steps.repeated(TURN, masks) == []


def test_how_unlike_two_outlines_are() -> None:
    """Two squares of 10 pixels, one 5 to the side: 100 pixels differ of the 150 that either covers."""
    one, other = np.zeros((20, 30), bool), np.zeros((20, 30), bool)
    one[5:15, 5:15], other[5:15, 10:20] = True, True
    assert steps._unlike(one, other) == pytest.approx(100 / 150) and steps._unlike(one, one) == 0
    assert steps._unlike(one, None) is None and steps._unlike(one, np.zeros_like(one)) is None
