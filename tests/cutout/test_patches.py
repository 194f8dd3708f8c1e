"""The pieces of a picture: every pixel in one, none across the cut-out, a shadow in one or few."""

from __future__ import annotations

import cv2
import numpy as np
import pytest

from silhouette.cutout import patches

HEIGHT, WIDTH = 400, 300
SKIN, WALL, SHADOW = (110, 140, 190), (205, 205, 200), (120, 120, 116)


def scene() -> tuple[np.ndarray, np.ndarray, np.ndarray]:
    """A figure on two legs before a wall, with a soft shadow between them: picture, true mask, shadow."""
    figure, shadow = (np.zeros((HEIGHT, WIDTH), np.uint8) for _ in range(2))
    cv2.circle(figure, (150, 60), 26, 1, -1)
    for box in ((115, 80, 185, 220), (115, 200, 140, 370), (160, 200, 185, 370)):
        cv2.rectangle(figure, box[:2], box[2:], 1, -1)
    cv2.rectangle(shadow, (100, 260), (200, 370), 1, -1)
    shadow = shadow & ~figure & 1
    hard = cv2.rectangle(np.zeros_like(figure, np.float32), (100, 260), (200, 370), 1.0, -1)
    soft = cv2.GaussianBlur(hard, (0, 0), 3)
    ground = np.float32(WALL) + soft[..., None] * (np.float32(SHADOW) - np.float32(WALL))
    picture = np.where(figure[..., None] > 0, np.float32(SKIN), ground)
    noise = np.random.default_rng(3).normal(0, 2, picture.shape)
    return np.clip(picture + noise, 0, 255).astype(np.uint8), figure > 0, shadow > 0


PICTURE, TRUE, SHADED = scene()
WRONG = TRUE | SHADED


def together(labels: np.ndarray) -> bool:
    """Whether each label is one connected piece."""
    return all(cv2.connectedComponents((labels == k).astype(np.uint8), connectivity=4)[0] == 2
               for k in range(labels.max() + 1))


def crumbled() -> np.ndarray:
    rough = np.random.default_rng(1).random((HEIGHT, WIDTH)) < 0.5
    return WRONG ^ (rough & (np.arange(WIDTH) < 40))


@pytest.mark.parametrize("doubt", [None, SHADED], ids=["no doubt known", "doubt"])
@pytest.mark.parametrize("mask", [WRONG, np.zeros_like(WRONG), np.ones_like(WRONG), crumbled()],
                         ids=["a cut-out", "none", "all", "crumbs"])
def test_every_pixel_is_in_one_piece_that_straddles_nothing(mask: np.ndarray, doubt: np.ndarray | None) -> None:
    parted = patches.part(PICTURE, mask, doubt)
    n = len(parted.inside)
    assert parted.small.shape == mask.shape and len(parted.large) == n
    assert np.array_equal(np.unique(parted.small), np.arange(n))
    assert np.array_equal(parted.inside[parted.small], mask)
    assert np.array_equal(np.unique(parted.large), np.arange(parted.large.max() + 1))
    sides = np.zeros((parted.large.max() + 1, 2), bool)
    sides[parted.large, parted.inside.astype(int)] = True
    assert sides.sum(axis=1).max() == 1, "a large piece lies on both sides"


def test_pieces_hang_together() -> None:
    parted = patches.part(PICTURE, WRONG, SHADED)
    assert together(parted.small) and together(parted.large[parted.small])


def test_each_patch_of_doubt_is_one_large_piece_and_comes_first() -> None:
    parted = patches.part(PICTURE, WRONG, SHADED)
    large = parted.large[parted.small]
    _, spots = cv2.connectedComponents(SHADED.astype(np.uint8), connectivity=4)
    assert spots.max() == 3, "left of the legs, between them and right of them"
    for spot in range(1, 4):
        here, size = np.unique(large[spots == spot], return_counts=True)
        most = here[np.argmax(size)]
        assert size.max() > 0.95 * (spots == spot).sum()
        assert (large == most).sum() < 1.05 * size.max(), "it holds more than the patch"
        assert most in parted.doubtful
    area = np.bincount(large.ravel())[parted.doubtful]
    assert list(area) == sorted(area, reverse=True)


def test_a_rim_of_doubt_along_the_outline_is_no_patch() -> None:
    rim = cv2.dilate(TRUE.astype(np.uint8), np.ones((3, 3))) != cv2.erode(TRUE.astype(np.uint8), np.ones((3, 3)))
    assert len(patches.part(PICTURE, TRUE, rim).doubtful) == 0


def test_without_doubt_a_shadow_is_few_large_pieces_and_no_leg() -> None:
    parted = patches.part(PICTURE, WRONG)
    large = parted.large[parted.small]
    between = np.zeros_like(TRUE)
    between[270:365, 145:156] = True
    taps = np.unique(large[between])
    assert len(taps) <= 2
    assert (TRUE & np.isin(large, taps)).sum() < 0.02 * TRUE.sum()


def test_pieces_keep_to_the_edges_of_the_picture() -> None:
    """The best that taps on small pieces can reach, from a cut-out that knows nothing of the legs."""
    parted = patches.part(PICTURE, WRONG)
    share = np.bincount(parted.small.ravel(), TRUE.ravel()) / np.bincount(parted.small.ravel())
    best = (share > 0.5)[parted.small]
    assert (best & TRUE).sum() / (best | TRUE).sum() > 0.985


def test_pieces_are_finer_near_the_outline() -> None:
    parted = patches.part(PICTURE, TRUE)
    area = np.bincount(parted.small.ravel())[parted.small]
    far = cv2.distanceTransform((~TRUE).astype(np.uint8), cv2.DIST_L2, 3)
    assert np.median(area[far > 90]) > 3 * np.median(area[(far > 1) & (far < 8)])


def test_no_tap_turns_the_wall_into_figure() -> None:
    parted = patches.part(PICTURE, TRUE)
    area = np.bincount(parted.large[parted.small].ravel())
    assert area.max() <= patches.LARGEST * TRUE.sum() + 1


def test_no_piece_is_too_small_to_be_hit() -> None:
    parted = patches.part(PICTURE, WRONG, SHADED)
    assert np.bincount(parted.small.ravel()).min() >= patches.LEAST_PX


def test_the_same_picture_gives_the_same_pieces() -> None:
    one, other = (patches.part(PICTURE.copy(), WRONG.copy(), SHADED.copy()) for _ in range(2))
    assert all(np.array_equal(getattr(one, f), getattr(other, f)) for f in ("small", "inside", "large", "doubtful"))


@pytest.mark.parametrize("shape", [(40, 30), (1, 9), (7, 1), (33, 250)])
def test_small_and_narrow_pictures_are_parted(shape: tuple[int, int]) -> None:
    picture = np.random.default_rng(0).integers(0, 255, (*shape, 3), dtype=np.uint8)
    mask = np.zeros(shape, bool)
    mask[shape[0] // 4 :, : shape[1] // 2 + 1] = True
    parted = patches.part(picture, mask)
    assert np.array_equal(parted.inside[parted.small], mask)
