"""The network that knows people: what it is handed, where it looks, and the card it has."""

from __future__ import annotations

import hashlib
from pathlib import Path
from typing import Any

import cv2
import numpy as np
import pytest

from silhouette.cutout import background_model, person_net
from silhouette.records import NO_FIGURE

FOLDER = Path(person_net.__file__).parent
SAMPLES = Path(__file__).parents[2] / "sample_poses"


def overlap(a: Any, b: Any) -> float:
    return float((a & b).sum() / max(1, (a | b).sum()))


@pytest.fixture(scope="module")
def picture() -> np.ndarray[Any, Any]:
    found = cv2.imread(str(sorted((SAMPLES / "oar").glob("*.jpg"))[0]))
    assert found is not None
    return found


def test_the_card_is_of_the_shipped_weights() -> None:
    weights = (FOLDER / "person_net.onnx").read_bytes()
    assert f"shipped file: `{hashlib.sha256(weights).hexdigest()}`" in (FOLDER / "PERSON_NET.md").read_text(
        encoding="utf-8"
    )
    assert len(weights) <= 6_000_000


@pytest.mark.parametrize(("h", "w"), [(1008, 756), (756, 1008), (300, 1000), (40, 30), (1, 1), (1000, 3)])
def test_any_size_is_answered_over_the_whole_picture(h: int, w: int) -> None:
    found = person_net.odds_of(np.full((h, w, 3), 120, np.uint8))
    assert found.ndim == 2 and np.isfinite(found).all()
    cut = person_net.cut_by(np.full((h, w, 3), 120, np.uint8), found)
    assert cut.mask.shape == (h, w) and NO_FIGURE in cut.flags


def test_somebody_is_found_wherever_they_stand(picture: np.ndarray[Any, Any]) -> None:
    alone = person_net.cut_by(picture, person_net.odds_of(picture))
    w = picture.shape[1]
    wide = cv2.copyMakeBorder(picture, 0, 0, w, w // 3, cv2.BORDER_REPLICATE)
    moved = person_net.cut_by(wide, person_net.odds_of(wide)).mask[:, w : 2 * w]
    assert alone.confidence > 0.9 and overlap(alone.mask, moved) > 0.95


def test_the_mirror_image_gives_the_mirrored_figure(picture: np.ndarray[Any, Any]) -> None:
    odds = person_net.odds_of(picture)
    mean, steady = person_net.both_ways(picture, odds)
    assert steady > 0.95 and mean.shape == odds.shape
    flipped = np.ascontiguousarray(picture[:, ::-1])
    other, _ = person_net.both_ways(flipped, person_net.odds_of(flipped))
    assert overlap(mean > 0, other[:, ::-1] > 0) > 0.98


def test_one_look_is_enough_to_find_the_figure(picture: np.ndarray[Any, Any]) -> None:
    near = person_net.cut_by(picture, person_net.odds_of(picture)).mask
    glance = person_net.odds_of(picture, close=False)
    found = cv2.resize((glance > 0).astype(np.uint8), near.shape[::-1], interpolation=cv2.INTER_NEAREST) > 0
    assert overlap(found, near) > 0.8


def test_chances_are_chances(picture: np.ndarray[Any, Any]) -> None:
    chance = person_net.look(picture, close=False)
    assert chance.min() >= 0 and chance.max() <= 1 and chance.max() > 0.99


def test_a_window_is_widened_where_the_figure_runs_out_of_it() -> None:
    odds = np.full((100, 80), -5.0, np.float32)
    odds[0:90, 30:50] = 5.0
    window = slice(200, 400), slice(100, 260)
    rows, cols = person_net._widened(window, odds, (500, 400))
    assert rows.start < 200 and rows.stop == 400 and cols == window[1]
    rows, _ = person_net._widened((slice(0, 400), window[1]), odds, (500, 400))
    assert rows.start == 0


def test_a_room_with_nobody_holds_nobody() -> None:
    y, x = np.mgrid[0:600, 0:450]
    room = np.stack([90 + x / 9, 110 + y / 12, 120 + x / 10], -1).astype(np.uint8)
    cv2.rectangle(room, (30, 200), (120, 590), (60, 80, 110), -1)
    cv2.rectangle(room, (300, 60), (420, 180), (220, 230, 235), -1)
    assert NO_FIGURE in person_net.cut_by(room, person_net.odds_of(room)).flags


def _turn(shadow: float) -> list[np.ndarray[Any, Any]]:
    """Nine pictures of a sample pose, with a shadow of the figure painted beside it, by its own outline."""
    pictures = []
    for file in sorted((SAMPLES / "lookout").glob("*.jpg"))[:9]:
        picture = cv2.imread(str(file))
        assert picture is not None
        figure = person_net.cut_by(picture, person_net.odds_of(picture)).mask.astype(np.float32)
        h, w = figure.shape
        ground = float(np.flatnonzero(figure.any(axis=1))[-1])
        lean = np.array([[1, 0.25, 0.02 * w - 0.25 * ground], [0, 0.55, 0.45 * ground]], np.float32)
        cast = cv2.GaussianBlur(cv2.warpAffine(figure, lean, (w, h)), (0, 0), 3) * (1 - figure)
        pictures.append(np.clip(picture * (1 - shadow * cast[..., None]), 0, 255).astype(np.uint8))
    return pictures


@pytest.mark.parametrize(("shadow", "vouched"), [(0.0, True), (0.62, False)])
def test_a_turn_with_deep_shadows_is_not_vouched_for(shadow: float, vouched: bool) -> None:
    shared = background_model.learn_from([background_model.glimpse(p, True) for p in _turn(shadow)])
    assert shared is not None and shared.vouched == vouched
