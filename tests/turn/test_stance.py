"""Where the feet stand, on drums whose outline is known in closed form."""

from __future__ import annotations

import numpy as np
import pytest

from silhouette.turn import stance
from tests.turn.test_estimate import column, uneven


@pytest.mark.parametrize("flip", [False, True], ids=["left turn", "right turn"])
@pytest.mark.parametrize("step", [8, -8])
def test_a_step_aside_is_told_with_its_side(flip: bool, step: int) -> None:
    """Eight pixels to picture right are 2 % of a figure of 400, whichever way it turns."""
    truth = uneven(24, 2)
    masks = [column(a, flip=flip) for a in truth]
    masks[9] = np.roll(masks[9], step, axis=1)
    found = stance.sideways(masks, -truth if flip else truth)
    assert found is not None
    assert found[9] == pytest.approx(step / 400, abs=0.003)
    assert np.abs(np.delete(found, 9)).max() < 0.003


def test_only_the_lower_third_says_where_the_model_stands() -> None:
    truth = uneven(24, 2)
    masks = [column(a) for a in truth]
    masks[9][:290] = np.roll(masks[9][:290], 8, axis=1)  # all down to 0.37 of the height over the ground
    found = stance.sideways(masks, truth)
    assert found is not None and np.abs(found).max() < 0.004


def test_a_few_stops_tell_nothing() -> None:
    assert stance.sideways([column(a) for a in (0, 30, 60, 90, 120)], np.arange(5) * 30.0) is None


def test_a_camera_that_moved_is_told_by_the_stop_after() -> None:
    masks = [column(a) for a in range(0, 180, 15)]
    assert stance.jump(masks) is None
    assert stance.jump([*masks[:7], *(np.roll(m, 14, axis=0) for m in masks[7:])]) == 7, "3.5 % up or down"
    assert stance.jump([*masks[:7], *(np.roll(m, 10, axis=0) for m in masks[7:])]) is None, "2.5 %: no more than noise"
    assert stance.jump([*masks[:4], *(np.roll(m, 80, axis=1) for m in masks[4:])]) == 4
