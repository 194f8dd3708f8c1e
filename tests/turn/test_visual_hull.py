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
