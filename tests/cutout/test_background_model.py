"""The backdrop cutter on rendered pictures with exact masks, and on drawings."""

import pickle
from collections.abc import Callable
from pathlib import Path

import cv2
import numpy as np
import pytest

from silhouette.cutout import background_model
from silhouette.records import BACK_LIGHT, BLURRED, CANNOT_TELL, CUT_BY_FRAME, NO_FIGURE, SMALL_FIGURE, TWO_FIGURES, Cut


def overlap(a: np.ndarray, b: np.ndarray) -> float:
    return float((a & b).sum() / max(1, (a | b).sum()))


def still(data: Path, name: str) -> tuple[np.ndarray, np.ndarray]:
    folder = data / "rendered" / "stills"
    return cv2.imread(str(folder / f"{name}.jpg")), cv2.imread(str(folder / "masks" / f"{name}.png"), 0) > 127


@pytest.fixture(scope="module")
def turn() -> tuple[list[np.ndarray], list[np.ndarray]]:
    folder = Path(__file__).parent.parent / "data" / "rendered" / "turn"
    files = sorted(folder.glob("*.jpg"))
    return [cv2.imread(str(f)) for f in files], [cv2.imread(str(folder / "masks" / f"{f.stem}.png"), 0) > 127
                                                for f in files]


# Pictures of 360 x 480 pixels: half a pixel of outline is 2 to 3 % of such a figure.
@pytest.mark.parametrize(("name", "at_least"), [("easy", 0.97), ("bare", 0.96), ("hard_lamp", 0.94),
                                                ("furniture", 0.96),
                                                ("pale_on_white", 0.96), ("back_light", 0.97), ("cropped", 0.97)])
def test_overlap_with_the_true_figure(data: Path, name: str, at_least: float) -> None:
    picture, true = still(data, name)
    cut = background_model.cut(picture)
    assert overlap(cut.mask, true) > at_least
    assert abs(cut.confidence - overlap(cut.mask, true)) < 0.04
    assert cut.cutter == "backdrop" and CANNOT_TELL not in cut.flags


@pytest.mark.parametrize(("name", "flag"), [("nobody", NO_FIGURE), ("cropped", CUT_BY_FRAME),
                                            ("two_figures", TWO_FIGURES),
                                            ("back_light", BACK_LIGHT), ("blurred", BLURRED), ("tiny", SMALL_FIGURE)])
def test_flags(data: Path, name: str, flag: str) -> None:
    cut = background_model.cut(still(data, name)[0])
    assert flag in cut.flags
    assert cut.mask.any() == (flag != NO_FIGURE)
    assert (cut.confidence == 0) == (flag == NO_FIGURE)


def test_easy_picture_carries_no_flag(data: Path) -> None:
    assert background_model.cut(still(data, "easy")[0]).flags == ()


def test_a_turn_shares_its_backdrop(turn: tuple[list[np.ndarray], list[np.ndarray]]) -> None:
    pictures, masks = turn
    shared = background_model.learn(pictures)
    assert shared is not None
    values = [overlap(background_model.cut(p, shared).mask, m) for p, m in zip(pictures, masks, strict=True)]
    assert np.mean(values) > 0.965 and min(values) > 0.95
    top, bottom, left, right = shared.reach
    every = np.any(masks, axis=0)
    rows, cols = np.flatnonzero(every.any(axis=1)) / every.shape[0], np.flatnonzero(every.any(axis=0)) / every.shape[1]
    assert top < rows[0] + 0.02 and bottom > rows[-1] - 0.02 and left < cols[0] + 0.05 and right > cols[-1] - 0.05


@pytest.mark.parametrize("aside", [125, 140, 155])
def test_somebody_whom_the_window_of_the_turn_cuts_is_seen(turn: tuple[list[np.ndarray], list[np.ndarray]],
                                                          aside: int) -> None:
    room = [cv2.copyMakeBorder(p, 0, 0, 90, 90, cv2.BORDER_REPLICATE) for p in turn[0]]
    body = cv2.copyMakeBorder(turn[1][3].astype(np.uint8), 0, 0, 90, 90, cv2.BORDER_CONSTANT)
    shared = background_model.learn(room)
    assert shared is not None
    move, size = np.float32([[1, 0, aside], [0, 1, 0]]), room[0].shape[1::-1]
    there = cv2.warpAffine(body, move, size)
    assert not there[:, -1].any()
    both = np.where(there[..., None] > 0, cv2.warpAffine(room[3], move, size), room[6])
    assert TWO_FIGURES in background_model.cut(both, shared).flags
    assert TWO_FIGURES not in background_model.cut(room[6], shared).flags


def test_plate_holds_no_figure(turn: tuple[list[np.ndarray], list[np.ndarray]]) -> None:
    pictures, masks = turn
    shared = background_model.learn(pictures)
    assert shared is not None
    h, w = shared.backdrop.shape[:2]
    sometimes = cv2.resize(np.mean(masks, axis=0), (w, h))
    beside = (sometimes > 0.1) & (sometimes < 0.6)
    column = np.abs(shared.backdrop - cv2.blur(shared.backdrop, (61, 1)))
    assert np.median(column[beside]) < 6


def test_shared_is_small_and_travels(turn: tuple[list[np.ndarray], list[np.ndarray]]) -> None:
    data = pickle.dumps(background_model.learn(turn[0]))
    assert len(data) < 3_000_000
    assert pickle.loads(data).shape == turn[0][0].shape[:2]


def test_other_light_in_one_view_is_followed(turn: tuple[list[np.ndarray], list[np.ndarray]]) -> None:
    pictures, masks = turn
    shared = background_model.learn(pictures)
    darker = np.clip(pictures[3] * 0.75, 0, 255).astype(np.uint8)
    assert overlap(background_model.cut(darker, shared).mask, masks[3]) > 0.95


def test_nothing_is_shared_by_other_sizes_or_too_few(turn: tuple[list[np.ndarray], list[np.ndarray]]) -> None:
    pictures, _ = turn
    assert background_model.learn(pictures[:3]) is None
    assert background_model.learn([*pictures[:5], pictures[5][:-40]]) is None


def test_nothing_is_shared_by_a_wandering_camera() -> None:
    rng = np.random.default_rng(1)
    rooms = [cv2.resize(rng.uniform(40, 220, (7, 5, 3)).astype(np.float32), (300, 400)) for _ in range(6)]
    assert background_model.learn([np.clip(r, 0, 255).astype(np.uint8) for r in rooms]) is None


def test_a_picture_of_another_shape_is_cut_without_what_is_shared(
    turn: tuple[list[np.ndarray], list[np.ndarray]],
) -> None:
    pictures, masks = turn
    shared = background_model.learn(pictures)
    cut = background_model.cut(np.ascontiguousarray(pictures[0][:, 30:-30]), shared)
    assert overlap(cut.mask, masks[0][:, 30:-30]) > 0.95


@pytest.mark.parametrize("size", [(1, 1), (7, 3), (40, 2000)])
def test_odd_sizes_give_an_answer(size: tuple[int, int]) -> None:
    cut = background_model.cut(np.full((*size, 3), 127, np.uint8))
    assert cut.mask.shape == size and NO_FIGURE in cut.flags


def test_gap_between_arm_and_body_is_kept(capsule_mask: Callable[..., np.ndarray]) -> None:
    mask = capsule_mask(0, "down", (600, 800)).astype(np.uint8)
    cv2.circle(mask, (300, 330), 9, 0, -1)  # a gap of 0.2 % of the hull
    rng = np.random.default_rng(0)
    wall = np.linspace(200, 150, 600)[None, :, None] * np.ones((800, 600, 3))
    soft = cv2.GaussianBlur(mask.astype(np.float32), (0, 0), 0.7)[..., None]
    picture = wall * (1 - soft) + np.array([60, 80, 130.0]) * soft + rng.normal(0, 2, wall.shape)
    cut = background_model.cut(np.clip(picture, 0, 255).astype(np.uint8))
    assert not cut.mask[328:333, 298:303].any()
    assert overlap(cut.mask, mask > 0) > 0.97


def test_a_turn_is_looked_at_from_end_to_end() -> None:
    assert background_model.sample(3) == [], "too few to tell what does not move"
    assert background_model.sample(5) == [0, 1, 2, 3, 4]
    many = background_model.sample(40)
    assert len(many) == background_model.ENOUGH_VIEWS and (many[0], many[-1]) == (0, 39)


@pytest.mark.parametrize("shape", [(7, 5), (64, 48), (33, 31)])
def test_a_cut_comes_whole_out_of_another_process(shape: tuple[int, int]) -> None:
    mask = np.random.default_rng(0).random(shape) > 0.5
    cut = Cut(mask, 0.9, "backdrop", ("one",))
    back = pickle.loads(pickle.dumps(cut))
    assert back.mask.dtype == np.bool_ and np.array_equal(back.mask, mask)
    assert (back.confidence, back.cutter, back.flags) == (0.9, "backdrop", ("one",))
    back.mask[0, 0] = not mask[0, 0]  # as writable as the first
