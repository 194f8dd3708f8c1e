"""Silhouettes and quick drawings told from photographs, and their figure found."""

from __future__ import annotations

from collections.abc import Callable
from pathlib import Path

import cv2
import numpy as np
import pytest

from silhouette.find.two_tones import figure_in
from silhouette.records import Mask, Pixels

Drawn = Callable[..., Mask]


def _on(mask: Mask, figure: int = 0, ground: int = 255) -> Pixels:
    grey = cv2.GaussianBlur(np.where(mask, figure, ground).astype(np.uint8), (0, 0), 0.7)
    return np.repeat(grey[..., None], 3, axis=2)


def _overlap(one: Mask, other: Mask) -> float:
    return float((one & other).sum() / (one | other).sum())


@pytest.mark.parametrize(("figure", "ground"), [(0, 255), (255, 0), (40, 210), (230, 60)])
def test_a_silhouette_is_the_tone_that_is_not_the_grounds(capsule_mask: Drawn, figure: int, ground: int) -> None:
    mask = capsule_mask(20)
    found = figure_in(_on(mask, figure, ground))
    assert found is not None and found.kind == "silhouette"
    assert _overlap(found.mask, mask) > 0.98


def test_a_gap_stays_open_in_a_silhouette(capsule_mask: Drawn) -> None:
    mask = capsule_mask(20)
    mask[250:290, 215:235] = True
    mask[260:280, 221:229] = False
    found = figure_in(_on(mask))
    assert found is not None and found.mask[270, 217] and not found.mask[270, 225]


def _drawn_round(mask: Mask, thick: int = 4) -> np.ndarray:
    contours, _ = cv2.findContours(mask.astype(np.uint8), cv2.RETR_EXTERNAL, cv2.CHAIN_APPROX_NONE)
    return cv2.drawContours(np.full(mask.shape, 255, np.uint8), contours, -1, 0, thick)


def test_a_closed_line_is_filled(capsule_mask: Drawn) -> None:
    mask = capsule_mask(20)
    line = _drawn_round(mask)
    line[300:303] = 255  # the pen was lifted
    found = figure_in(np.repeat(line[..., None], 3, axis=2))
    assert found is not None and found.kind == "drawing"
    assert _overlap(found.mask, mask) > 0.9


def test_a_line_that_is_open_has_no_inside(capsule_mask: Drawn) -> None:
    line = _drawn_round(capsule_mask(20))
    line[line.shape[0] // 2 :] = 255
    found = figure_in(np.repeat(line[..., None], 3, axis=2))
    assert found is not None and found.kind == "lines"


def test_a_photograph_is_none(data: Path, drawn_turn: Callable[..., Path]) -> None:
    for still in sorted((data / "rendered" / "turn").glob("*.jpg"))[:3]:
        assert figure_in(cv2.imread(str(still))) is None
    turn = drawn_turn("keeper", [0])
    assert figure_in(cv2.imread(str(turn / "000.jpg"))) is None


@pytest.mark.parametrize("tone", [0, 128, 255])
def test_an_empty_picture_shows_nothing(tone: int) -> None:
    assert figure_in(np.full((300, 200, 3), tone, np.uint8)) is None
