"""The turning axis from outlines, against a figure whose swing about it is known."""

import numpy as np
import pytest

from silhouette.turn import visual_hull


@pytest.mark.parametrize("end", [210, 270, 285, 345])
def test_the_axis_of_an_open_turn_is_found_beside_a_figure_that_stands_off_it(end: int) -> None:
    # A pole 40 pixels off the axis at column 150, seen from far: its middle stands at 150 + 40 cos(t - 30 degrees).
    turned = np.arange(0.0, end + 1, 15.0)
    masks = np.zeros((len(turned), 280, 300), bool)
    for mask, t in zip(masks, np.radians(turned - 30), strict=True):
        middle = round(150 + 40 * np.cos(t))
        mask[20:260, middle - 10 : middle + 10] = True
    turn = visual_hull.prepare(list(masks), turned)
    assert turn.axis / turn.scale == pytest.approx(150, abs=2)


def test_far_out_and_high_up_there_is_room_above_for_a_wrong_angle() -> None:
    """A bar 100 pixels to either side and as far above the lens: three degrees off lift its end."""
    mask = np.zeros((280, 300), bool)
    mask[30:50, 50:250] = True
    turn = visual_hull.Turn(mask[None], np.zeros(1), axis=150.0, level=140.0, scale=1.0, height=240.0)
    block = visual_hull.Block(turn, nearness=0.6, cell=2.0)
    block.carve(0)
    above = (np.abs(block.v - 28) < 0.5) & (np.abs(block.z) < 1)
    end, middle = above & (np.abs(block.x) > 92), above & (np.abs(block.x) < 20)
    assert end.any() and middle.any()
    assert not block.cuts[end].any() and block.cuts[middle].all()
    strict = visual_hull.Block(turn, nearness=0.6, cell=2.0, strict=True)
    strict.carve(0)
    assert strict.cuts[end].all(), "angles taken at their word need no room"


def test_what_sticks_out_is_sought_where_it_is_least() -> None:
    shape = np.zeros((60, 60), bool)
    shape[10:50, 20:40] = True
    out, placed = visual_hull.sticks_out(np.roll(shape, 3, axis=1), shape)
    assert not out.any() and np.flatnonzero(placed.any(axis=0))[0] in (22, 23), "to a column, which is no thing"
    out, _ = visual_hull.sticks_out(np.roll(shape, 7, axis=1), shape)
    assert out.sum() == pytest.approx(4 * 40, abs=45), "four columns that no step aside makes good"
