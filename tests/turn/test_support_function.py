"""Reaches of the rows of a figure, drawn so that they can be counted."""

from __future__ import annotations

import numpy as np
import pytest

from silhouette.turn import support_function
from silhouette.turn.support_function import FOOT, TOP

NEARNESS = 1.75 / 4.2
"""Of a model of 1.75 m at 4.2 m."""


def block(left: int, right: int, top: int = 20, bottom: int = 420) -> np.ndarray:
    mask = np.zeros((480, 400), bool)
    mask[top:bottom, left:right] = True
    return mask


def test_reach_and_direction_of_an_edge() -> None:
    """A board from 80 left to 120 right of the axis: the touching line of sight is at an angle f, and D sin f away."""
    seen = support_function.measure([block(120, 320), block(80, 280)], 10)
    assert seen is not None and seen.height_px == 400
    right, left = np.arctan(np.array([120, 80]) / 400 * NEARNESS)
    # the two boards lie round column 200, so that is the axis; seen first shifted right by 20, then left
    assert seen.reach[0] == pytest.approx(np.sin([right, left, left, right]) / NEARNESS, rel=1e-3)
    assert seen.offset[0] == pytest.approx(
        [-90 + np.degrees(right), -90 + np.degrees(left), 90 - np.degrees(left), 90 - np.degrees(right)], abs=0.1)


def test_rows_leave_out_crown_and_sole() -> None:
    seen = support_function.measure([block(100, 300)] * 3, 10)
    assert seen is not None
    assert (seen.rows[0], seen.rows[-1], len(seen.rows)) == (20 + 400 * TOP, 419 - 400 * FOOT, 10)


def test_in_a_mirror_the_sides_change_over() -> None:
    one = support_function.measure([block(120, 320), block(90, 280)], 10)
    other = support_function.measure([block(80, 280), block(120, 310)], 10, mirrored=True)
    assert one is not None and other is not None and one.reach == pytest.approx(other.reach)


@pytest.mark.parametrize(("rows", "told"), [(8, False), (60, True)])
def test_too_few_rows_in_common_tell_nothing(rows: int, told: bool) -> None:
    """A kneeling and a raised figure share only some rows; crown and sole of those are left out."""
    masks = [block(150, 250, 20, 220), block(150, 250, 220 - rows, 420)]
    assert (support_function.measure(masks, 32) is not None) == told


def test_a_stop_without_a_figure_tells_nothing() -> None:
    assert support_function.measure([block(150, 250), np.zeros((480, 400), bool)], 20) is None
