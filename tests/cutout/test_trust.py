"""What a cut promises."""

import numpy as np
import pytest

from silhouette.cutout import trust


def odds_of(mask: np.ndarray, sure: float) -> np.ndarray:
    return np.where(mask, sure, -sure).astype(np.float32)


def block() -> np.ndarray:
    mask = np.zeros((60, 60), bool)
    mask[20:40, 20:40] = True
    return mask


def test_expected_overlap_by_hand() -> None:
    # 400 pixels at chance p inside, 3200 at 1 - p outside: 400 p / (400 + 3200 (1 - p))
    p = 1 / (1 + np.exp(-4.0))
    assert abs(trust.expected_overlap(odds_of(block(), 4.0)) - 400 * p / (400 + 3200 * (1 - p))) < 1e-4


def test_confidence_falls_with_each_sign() -> None:
    best = trust.confidence(0.98, 0.0, 0.0)
    assert 0.95 < best < 0.995
    assert trust.confidence(0.90, 0.0, 0.0) < best > trust.confidence(0.98, 0.5, 0.0)
    assert trust.confidence(0.98, 0.0, 0.3) < best
    assert 0 <= trust.confidence(0.0, 1.0, 1.0) < 0.2


def test_outline_like_backdrop_counts_the_rim() -> None:
    wall = np.full((60, 60, 3), 150, np.float32)
    picture = wall.copy()
    picture[20:40, 20:30] = 60  # picture left half of the block stands out, the other half does not
    share = trust.outline_like_backdrop(odds_of(block(), 4.0), picture, wall, 1.0)
    assert abs(share - 0.5) < 0.05


def test_shadow_is_no_clutter_but_a_poster_is() -> None:
    wall = np.full((60, 60, 3), (140, 150, 160), np.float32)
    picture = wall.copy()
    picture[:, :15] *= 0.5
    assert trust.clutter(odds_of(block(), 4.0), picture, wall, 1.0) == 0
    picture[:, :15] = (40, 40, 200)
    assert trust.clutter(odds_of(block(), 4.0), picture, wall, 1.0) > 0.2


def standing() -> np.ndarray:
    """A figure 200 pixels high and 60 wide."""
    mask = np.zeros((260, 200), bool)
    mask[30:230, 70:130] = True
    return mask


def against(wall: float, figure: np.ndarray | float) -> np.ndarray:
    """The figure in these tones before a wall of that level, with a little grain."""
    level = np.where(standing(), figure, wall) + np.random.default_rng(0).normal(0, 1, standing().shape)
    return np.repeat(level[..., None], 3, 2).astype(np.float32)


FOLDS = 40 + 12 * np.sin(np.arange(260) / 9.0)[:, None] * np.ones(200)
"""Dark cloth with some tone left."""


def test_back_light_needs_a_dark_figure_and_a_bright_wall() -> None:
    odds = odds_of(standing(), 4.0)
    assert trust.back_light(odds, against(230, FOLDS))
    lit = FOLDS.copy()
    lit[30:60] = 140  # a face that the light reaches, 15 in 100 of the figure
    assert not trust.back_light(odds, against(230, lit))
    assert not trust.back_light(odds, against(60, FOLDS / 3))
    assert not trust.back_light(odds_of(np.zeros_like(standing()), 4.0), against(230, FOLDS))


def test_a_window_behind_counts_and_not_the_dark_room_round_it() -> None:
    picture = against(50, FOLDS)
    picture[100:140, 135:160] = 235
    assert not trust.back_light(odds_of(standing(), 4.0), picture), "a lamp beside the figure"
    picture[10:200, 40:160][~standing()[10:200, 40:160]] = 235
    assert trust.back_light(odds_of(standing(), 4.0), picture)


@pytest.mark.parametrize("light", [0.0, 0.1])
def test_a_drawing_filled_in_is_not_in_back_light(light: float) -> None:
    """One tone on paper, the light falling off by so much across it."""
    odds, fall = odds_of(standing(), 4.0), np.linspace(1, 1 - light, 200)[None, :, None]
    assert not trust.back_light(odds, (against(225, 30) * fall).astype(np.float32))
    uneven = against(225, 30)
    uneven[:, :60] = 90
    assert trust.back_light(odds, uneven), "no paper is as uneven"
