"""Holds and moves, found while the frames come in."""

from __future__ import annotations

import numpy as np
import pytest

from silhouette.live.stillness import HOLD_S, Stillness
from silhouette.records import Mask, Pixels
from tests.live.playing import SIZE, SKIN, WALL, Turning, drawn, noisy


def figure(pixels: Pixels) -> Mask:
    return np.asarray(pixels[..., 0] < (WALL + SKIN) / 2, np.bool_)


def fed(shown: list[tuple[float, Pixels]], about: bool = True) -> Stillness:
    still = Stillness(3)
    for number, (time, pixels) in enumerate(shown):
        still.feed(number, time, pixels)
        if about:
            still.about(figure(pixels))
    return still


def standing(count: int, hz: float = 12.0, noise: float = 1.0, **how: object) -> list[tuple[float, Pixels]]:
    rng = np.random.default_rng(5)
    return [(k / hz, noisy(drawn(20, **how), noise, rng)) for k in range(count)]  # type: ignore[arg-type]


@pytest.mark.parametrize("hz", [8.0, 12.0, 15.0])
@pytest.mark.parametrize("jitter", [0.0, 0.5])
def test_each_hold_is_found_within_half_a_second_and_no_move_is_taken_for_one(hz: float, jitter: float) -> None:
    turn = Turning(10)
    still, found = Stillness(3), []
    for number, (time, pixels) in enumerate(turn.frames(hz, jitter=jitter)):
        still.feed(number, time, pixels)
        still.about(figure(pixels))
        if still.holds() and not any(since == still.calm_since for since, *_ in found):
            found.append((still.calm_since, time, still.stillest().seconds))
    late = []
    for hold in turn.holds():
        mine = [f for f in found if hold["start"] <= f[1] <= hold["end"] + 1 / hz]
        assert len(mine) == 1
        assert hold["start"] <= mine[0][2] <= hold["end"]
        late.append(mine[0][1] - hold["start"])
    assert len(found) == turn.stops
    assert max(late) <= HOLD_S + 2.5 / hz


def test_a_camera_that_sees_badly_still_tells_holds_from_moves() -> None:
    turn = Turning(8)
    still, seen = Stillness(3), []
    for number, (time, pixels) in enumerate(turn.frames(12.0, noise=9.0)):
        still.feed(number, time, pixels)
        still.about(figure(pixels))
        seen.append((time, still.holds()))
    middles = [hold["start"] + 0.6 for hold in turn.holds()]
    assert all(any(holds for time, holds in seen if abs(time - m) < 0.15) for m in middles)
    moves = [hold["end"] + 0.3 for hold in turn.holds()[:-1]]
    assert not any(holds for time, holds in seen for m in moves if abs(time - m) < 0.1)


def test_a_step_of_the_light_is_no_move() -> None:
    shown = standing(12)
    darker = [(time, np.asarray(pixels * 0.7, np.uint8)) for time, pixels in standing(24)[12:]]
    still = fed([*shown, *darker], about=False)
    assert still.holds(1.5)


def test_a_twitch_is_no_move_and_a_step_is_one() -> None:
    shown = standing(24)
    shown[12] = (shown[12][0], drawn(32))
    still = fed(shown)
    assert still.holds(1.5) and not still.has_moved()
    turned = [(time, pixels if k < 12 else drawn(min(20 + 8 * (k - 11), 44))) for k, (time, pixels) in enumerate(shown)]
    assert not fed(turned).holds(1.5)


def test_what_moves_beside_the_figure_does_not_count() -> None:
    rng = np.random.default_rng(2)
    shown = []
    for k, (time, pixels) in enumerate(standing(24)):
        pixels[40:200, 4:30] = rng.integers(0, 255) if k % 2 else 200
        shown.append((time, pixels))
    still = Stillness(3)
    for number, (time, pixels) in enumerate(shown):
        still.feed(number, time, pixels)
        mask = figure(pixels)
        mask[:, :40] = False
        still.about(mask)
    assert still.holds(1.5)
    assert not fed(shown, about=False).holds(1.5)


@pytest.mark.parametrize("skin", [20, 100, 135])
def test_the_speed_does_not_depend_on_the_colour_of_the_figure(skin: int) -> None:
    frames = [(k / 12, drawn(20 + 3 * k, skin=skin)) for k in range(6)]
    still = Stillness(3)
    speeds = []
    for number, (time, pixels) in enumerate(frames):
        speeds.append(still.feed(number, time, pixels).speed)
        still.about(np.asarray(pixels[..., 0] < (WALL + skin) / 2, np.bool_))
    assert np.median(speeds[2:]) == pytest.approx(0.064, rel=0.1)  # 36 degrees a second


def test_the_still_that_is_named_is_one_of_the_last_and_not_the_newest() -> None:
    still = fed(standing(24))
    assert still.stillest().number in (21, 22)


def test_of_the_last_frames_the_one_with_the_least_motion_on_either_side_is_named() -> None:
    shown = standing(24, noise=0.0)
    shown[-1] = (shown[-1][0], drawn(20.6))
    shown[-2] = (shown[-2][0], drawn(20.6))
    assert fed(shown).stillest().number == 22  # the calm before 22 is over, what follows it is calm
    shown = standing(24, noise=0.0)
    shown[-1] = (shown[-1][0], drawn(20.6))
    assert fed(shown).stillest().number == 21


def test_frames_after_a_break_or_of_another_size_begin_anew() -> None:
    still = fed(standing(12))
    still.feed(12, 60.0, drawn(90))
    assert still.calm_since == 60.0
    still.feed(13, 60.08, np.zeros((SIZE[0], SIZE[1], 3), np.uint8))
    assert still.calm_since == 60.08
    still.feed(14, 3.0, np.zeros((SIZE[0], SIZE[1], 3), np.uint8))  # the page was loaded again: its clock is another
    assert still.calm_since == 3.0
