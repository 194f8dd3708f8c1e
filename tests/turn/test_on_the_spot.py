"""What is no turn on the spot, on outlines and small pictures made by hand and on the clips."""

from __future__ import annotations

from collections.abc import Sequence
from pathlib import Path

import cv2
import numpy as np
import pytest

from silhouette.records import Mask, Pixels
from silhouette.turn import on_the_spot

CLIPS = Path(__file__).parents[1] / "data" / "clips"
HEIGHT, WIDTH = 200, 320
EVEN = np.arange(12) * 30.0


def body(angle: float, at: float = 0.5, size: float = 1.0, *, arm: float = 0.0) -> Mask:
    """A rigid figure of level ellipses at ``angle`` degrees: legs apart, a trunk, one arm out, a head; its feet at the
    share ``at`` of the picture's width. ``arm`` raises the arm, which no turn does: figure heights."""
    mask = np.zeros((HEIGHT, WIDTH), np.uint8)
    tall, foot, middle, t = 150 * size, 185.0, WIDTH * at, np.radians(angle)
    for row in range(HEIGHT):
        up = (foot - row) / tall
        if not 0 <= up < 1:
            continue
        parts = []  # (aside, forward, half breadth, half depth) of each slice
        if up < 0.5:
            parts = [(0.09, 0.03, 0.05, 0.05), (-0.09, -0.02, 0.05, 0.07)]
        elif up < 0.85:
            parts = [(0.0, 0.0, 0.13, 0.07)]
        else:
            parts = [(0.0, 0.01, 0.05, 0.06)]
        if 0.6 < up - arm < 0.68:
            parts.append((0.22, 0.05, 0.12, 0.03))
        for aside, forward, broad, deep in parts:
            x = middle + tall * (aside * np.cos(t) + forward * np.sin(t))
            half = tall * np.hypot(broad * np.cos(t), deep * np.sin(t))
            mask[row, max(0, round(x - half)) : max(0, round(x + half))] = 1
    return mask > 0


def thumbs_of(masks: Sequence[Mask], shift: Sequence[int] | None = None, *, plain: bool = False) -> list[Pixels]:
    """Dark figures before a wall with things on it, which ``shift`` moves along."""
    rng = np.random.default_rng(3)
    wall = np.full((HEIGHT, 3 * WIDTH), 150, np.uint8)
    for _ in range(0 if plain else 60):
        x, y = rng.integers(0, 3 * WIDTH), rng.integers(0, HEIGHT)
        cv2.rectangle(wall, (int(x), int(y)), (int(x) + 20, int(y) + 14), int(rng.integers(60, 240)), -1)
    made = []
    for k, mask in enumerate(masks):
        off = WIDTH + (shift[k] if shift is not None else 0)
        picture = np.where(mask, 40, wall[:, off : off + WIDTH]).astype(np.uint8)
        small = cv2.resize(picture, (96, 60), interpolation=cv2.INTER_AREA)
        made.append(cv2.cvtColor(small, cv2.COLOR_GRAY2BGR))
    return made


def judged(masks: Sequence[Mask | None], thumbs: Sequence[Pixels] | None = None, *, by_outlines: bool = True,
           turned: np.ndarray = EVEN) -> str | None:
    shown = [np.zeros((HEIGHT, WIDTH), bool) if m is None else m for m in masks]
    return on_the_spot.judge(masks, thumbs or thumbs_of(shown), turned[: len(masks)], by_outlines=by_outlines)


@pytest.mark.parametrize("step", [30.0, -30.0, 15.0, 7.5])
def test_a_turn_is_one_to_either_side_and_half_or_a_quarter_of_it_too(step: float) -> None:
    assert judged([body(step * k) for k in range(12)], turned=np.arange(12) * step) is None


def test_the_angles_at_hand_may_be_wrong(monkeypatch: pytest.MonkeyPatch) -> None:
    """A quarter of a turn, taken for a whole one: another fit explains its outlines."""
    assert judged([body(8.0 * k) for k in range(12)]) is None


def test_a_model_who_drifts_off_their_spot_still_turns() -> None:
    assert judged([body(30 * k, 0.5 + 0.004 * k) for k in range(12)]) is None  # 9 % of the height in all


@pytest.mark.parametrize("turns", [0.0, 30.0])
def test_who_crosses_the_picture_walks_even_while_turning(turns: float) -> None:
    masks = [body(turns * k, 0.25 + 0.045 * k) for k in range(12)]
    assert judged(masks) == "walks across" == judged(masks, by_outlines=False)


def test_who_walks_to_and_fro_walks() -> None:
    assert judged([body(0, 0.5 + 0.25 * np.sin(k)) for k in range(12)]) == "walks across"


def test_a_camera_that_was_moved_once_is_no_walk_and_the_turn_is_still_one() -> None:
    masks = [body(30 * k, 0.4 if k < 6 else 0.75) for k in range(12)]
    assert judged(masks, thumbs_of(masks, plain=True)) is None


@pytest.mark.parametrize("way", [1, -1])
def test_who_grows_from_stop_to_stop_walks_to_the_camera_or_away(way: int) -> None:
    assert judged([body(30 * k, size=0.5 + 0.045 * k) for k in range(12)][::way]) == "comes nearer"


@pytest.mark.parametrize("mirrored", [False, True])
def test_outlines_that_are_alike_or_mirrored_show_no_turn(mirrored: bool) -> None:
    masks = [body(20)[:, :: -1 if mirrored and k % 2 else 1] for k in range(12)]
    assert judged(masks) == "never turns"
    assert judged(masks, by_outlines=False) is None, "names say that it turns"


def test_a_single_wrong_outline_does_not_make_a_turn() -> None:
    assert judged([body(20) if k != 5 else body(100) for k in range(12)]) == "never turns"


def test_a_body_that_bends_on_the_spot_is_no_turn() -> None:
    """What leans at random and gets smaller as it does fits no body that turns."""
    rng = np.random.default_rng(5)
    masks = []
    for k in range(12):
        lean = cv2.getRotationMatrix2D((WIDTH / 2, 185), float(rng.uniform(-45, 45)), 1.0)
        masks.append(cv2.warpAffine(body(30 * k).astype(np.uint8), lean, (WIDTH, HEIGHT)) > 0)
    assert judged(masks) == "moves in place"


@pytest.mark.parametrize("turns", [0.0, 30.0])
def test_a_camera_that_pans_is_told_by_the_room(turns: float) -> None:
    masks = [body(turns * k, 0.75 - 0.04 * k) for k in range(12)]
    assert judged(masks, thumbs_of(masks, [13 * k for k in range(12)])) == "camera moves"


def test_a_camera_that_pans_is_told_without_any_outline_too() -> None:
    masks = [body(30 * k, 0.75 - 0.04 * k) for k in range(12)]
    assert judged([None] * 12, thumbs_of(masks, [13 * k for k in range(12)])) == "camera moves"


def test_who_walks_by_is_told_without_any_outline_and_who_turns_is_not() -> None:
    assert judged([None] * 12, thumbs_of([body(0, 0.15 + 0.065 * k) for k in range(12)])) == "walks across"
    assert judged([None] * 12, thumbs_of([body(30 * k) for k in range(12)])) is None


def test_a_passer_by_behind_a_model_whose_outlines_are_known_does_not_count() -> None:
    masks = [body(30 * k) for k in range(12)]
    both = [m | np.roll(body(0, 0.5), -150 + 26 * k, axis=1) for k, m in enumerate(masks)]
    assert judged(masks, thumbs_of(both)) is None


def test_of_five_stops_nothing_is_said() -> None:
    assert judged([body(0, 0.2 + 0.1 * k) for k in range(5)]) is None


def test_a_few_outlines_are_not_enough() -> None:
    masks: list[Mask | None] = [body(20) if k < 6 else None for k in range(13)]
    assert judged(masks, thumbs_of([body(30 * k) for k in range(13)]), turned=np.arange(13) * 30.0) is None
