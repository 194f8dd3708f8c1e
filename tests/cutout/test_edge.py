"""The edge, on discs whose area is known."""

import cv2
import numpy as np
import pytest

from silhouette.cutout import edge

SIZE = 200


def disc(radius: float, figure: float, wall: float, noise: float = 1.0, power: float = 1.0) -> np.ndarray:
    """A disc drawn 8 times larger and averaged down: every edge pixel holds its true mixture.

    What is averaged are levels, as a plain renderer does, or their ``power``: light, as in a camera, with 2.2.
    """
    large = np.full((SIZE * 8, SIZE * 8), (wall / 255) ** power, np.float32)
    cv2.circle(large, (SIZE * 4, SIZE * 4), round(radius * 8), (figure / 255) ** power, -1)
    small = 255 * cv2.resize(large, (SIZE, SIZE), interpolation=cv2.INTER_AREA) ** (1 / power)
    small = small[..., None].repeat(3, 2)
    return np.clip(small + np.random.default_rng(0).normal(0, noise, small.shape), 0, 255).astype(np.uint8)


def coarse_odds(radius: float, shift: float = 0.0) -> np.ndarray:
    """Log odds at a quarter of the size, falling across the edge as the network's do."""
    y, x = np.mgrid[0 : SIZE // 4, 0 : SIZE // 4] * 4.0 + 1.5
    return ((radius - np.hypot(x - SIZE / 2 - shift, y - SIZE / 2)) / 2.0).astype(np.float32)


@pytest.mark.parametrize(("figure", "wall"), [(60, 190), (190, 60), (120, 150)])
def test_area_is_right_to_a_quarter_of_a_pixel_round_the_edge(figure: float, wall: float) -> None:
    picture = disc(60, figure, wall)
    mask, _ = edge.refine(picture, cv2.resize(picture, (SIZE // 2, SIZE // 2)), coarse_odds(60), 1.0)
    radius = np.sqrt(mask.sum() / np.pi)
    assert abs(radius - 60) < 0.25


@pytest.mark.parametrize("power", [1.0, 2.2], ids=["levels", "light"])
@pytest.mark.parametrize(("figure", "wall"), [(60, 190), (190, 60), (30, 220), (220, 30)])
def test_whatever_is_mixed_at_the_edge_it_is_off_by_less_than_a_tenth_of_a_pixel(
    figure: float, wall: float, power: float
) -> None:
    picture = disc(60, figure, wall, power=power)
    mask, _ = edge.refine(picture, cv2.resize(picture, (SIZE // 2, SIZE // 2)), coarse_odds(60), 1.0)
    assert abs(np.sqrt(mask.sum() / np.pi) - 60) < 0.1


def test_a_coarse_mask_three_pixels_off_is_brought_back() -> None:
    picture = disc(60, 60, 190)
    y, x = np.mgrid[0:SIZE, 0:SIZE] + 0.5
    true = np.hypot(x - SIZE / 2, y - SIZE / 2) < 60
    half = cv2.resize(picture, (SIZE // 2, SIZE // 2))
    mask, _ = edge.refine(picture, half, coarse_odds(60, shift=3.0), 1.0)
    assert (mask & true).sum() / (mask | true).sum() > 0.985


def test_without_contrast_the_coarse_edge_stays() -> None:
    picture = disc(60, 150, 150, noise=2.0)
    mask, _ = edge.refine(picture, cv2.resize(picture, (SIZE // 2, SIZE // 2)), coarse_odds(60), 2.0)
    assert abs(np.sqrt(mask.sum() / np.pi) - 60) < 1.0


def test_a_wall_that_is_known_places_the_edge_before_its_pattern() -> None:
    y, x = np.mgrid[0:SIZE, 0:SIZE]
    wall = np.where((x // 12 + y // 12) % 2, 215, 35).astype(np.uint8)[..., None].repeat(3, 2)
    true = np.hypot(x + 0.5 - SIZE / 2, y + 0.5 - SIZE / 2) < 60
    picture = wall.copy()
    picture[true] = (40, 90, 160)
    half, behind = (cv2.resize(v, (SIZE // 2, SIZE // 2), interpolation=cv2.INTER_AREA) for v in (picture, wall))
    blind, _ = edge.refine(picture, half, coarse_odds(60, shift=2.0), 1.0)
    seeing, _ = edge.refine(picture, half, coarse_odds(60, shift=2.0), 1.0, behind=behind.astype(np.float32))
    first, second = ((m & true).sum() / (m | true).sum() for m in (blind, seeing))
    assert second > 0.985 and second > first + 0.005


def test_softness_is_the_width_of_the_edge() -> None:
    sharp = disc(60, 60, 190)
    soft = cv2.GaussianBlur(sharp, (0, 0), 3)
    widths = [edge.refine(p, cv2.resize(p, (SIZE // 2, SIZE // 2)), coarse_odds(60), 1.0)[1] for p in (sharp, soft)]
    assert widths[0] < 1.5 < 3.5 < widths[1]


def test_nothing_stays_nothing() -> None:
    picture = disc(60, 60, 190)
    mask, softness = edge.refine(picture, picture[::2, ::2].copy(), np.full((50, 50), -3, np.float32), 1.0)
    assert not mask.any() and softness == 0


@pytest.mark.parametrize("length", [9, 15, 25])
def test_motion_is_as_wide_as_it_is_long_whatever_stays_sharp_along_it(length: int) -> None:
    """A tall bar moved upwards: only its short ends blur, a twelfth of its outline."""
    bar = np.full((400, 200, 3), 190, np.uint8)
    bar[60:340, 75:125] = 60
    mask = bar[..., 0] < 120
    moved = cv2.blur(bar, (1, length))
    sharp, soft = edge.softest(bar, mask), edge.softest(moved, mask)
    assert sharp < 2 and soft > 0.5 * length and soft > 3 * sharp
    assert edge.softest(cv2.blur(bar, (length, 1)), mask) > 0.5 * length


def test_without_an_edge_that_stands_out_nothing_is_soft() -> None:
    assert edge.softest(np.full((200, 200, 3), 90, np.uint8), disc(60, 60, 190)[..., 0] < 120) == 0.0
