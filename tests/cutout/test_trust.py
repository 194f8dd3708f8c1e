"""What a cut promises."""

import numpy as np

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


def test_back_light_needs_a_dark_figure_and_a_bright_wall() -> None:
    wall = np.full((60, 60, 3), 230, np.float32)
    picture = wall.copy()
    picture[block()] = 40
    assert trust.back_light(odds_of(block(), 4.0), picture, wall)
    picture[20:40, 20:30] = 180  # lit skin
    assert not trust.back_light(odds_of(block(), 4.0), picture, wall)
    assert not trust.back_light(odds_of(block(), 4.0), np.full_like(wall, 20), np.full_like(wall, 60))
