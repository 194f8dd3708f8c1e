"""The cutter that knows the empty room, on small drawn rooms that a person can see."""

import pickle

import cv2
import numpy as np
import pytest

from silhouette.cutout import background_model, room
from silhouette.records import CANNOT_TELL, NO_FIGURE

H, W = 480, 360


def overlap(a: np.ndarray, b: np.ndarray) -> float:
    return float((a & b).sum() / max(1, (a | b).sum()))


def drawn_room(seed: int = 1, chair: bool = True) -> np.ndarray:
    """A wall full of pictures over a floor, with a chair beside the place where the model stands. (h, w, 3) float32."""
    rng = np.random.default_rng(seed)
    wall = np.full((H, W, 3), rng.uniform(110, 200, 3), np.float32)
    for _ in range(26):
        x, y = int(rng.integers(-20, W)), int(rng.integers(0, 340))
        colour = tuple(float(v) for v in rng.uniform(30, 230, 3))
        cv2.rectangle(wall, (x, y), (x + int(rng.integers(14, 70)), y + int(rng.integers(14, 90))), colour, -1)
    wall[380:] = rng.uniform(60, 120, 3)
    for x in range(0, W, 40):
        cv2.line(wall, (x, 380), (2 * x - W // 2, H), (40.0, 40.0, 50.0), 2)
    if chair:
        for x in (262, 312):
            cv2.line(wall, (x, 300), (x, 440), (30.0, 60.0, 140.0), 6)
        cv2.rectangle(wall, (258, 360), (316, 374), (30.0, 60.0, 140.0), -1)
    return cv2.GaussianBlur(wall, (0, 0), 0.7)


def body(pole: bool = False) -> np.ndarray:
    """The mask of a standing figure with one hand on the hip, so that a gap stays between arm and body."""
    mask = np.zeros((H, W), np.uint8)
    cv2.ellipse(mask, (180, 82), (19, 25), 0, 0, 360, 255, -1)
    cv2.rectangle(mask, (173, 100), (187, 120), 255, -1)
    cv2.fillPoly(mask, [np.array([[142, 122], [218, 122], [206, 230], [212, 258], [148, 258], [154, 230]])], 255)
    for hip, foot in ((164, 150), (196, 212)):
        cv2.line(mask, (hip, 250), (foot, 432), 255, 26)
    cv2.line(mask, (148, 130), (112, 190), 255, 15)
    cv2.line(mask, (112, 190), (154, 238), 255, 14)
    cv2.line(mask, (212, 130), (236, 240), 255, 15)
    if pole:
        cv2.line(mask, (236, 60), (236, 430), 255, 7)
    return mask > 0


def taken(behind: np.ndarray, mask: np.ndarray | None, seed: int = 0) -> np.ndarray:
    """The picture of a room with somebody in it (or nobody), with noise."""
    rng = np.random.default_rng(seed)
    picture = behind.copy()
    if mask is not None:
        soft = cv2.GaussianBlur(mask.astype(np.float32), (0, 0), 0.7)[..., None]
        shading = np.linspace(1.1, 0.7, W, dtype=np.float32)[None, :, None]
        skin = np.array([105.0, 140.0, 190.0], np.float32) * shading
        picture = picture * (1 - soft) + skin * soft
    return np.clip(picture + rng.normal(size=picture.shape) * 2, 0, 255).astype(np.uint8)


@pytest.fixture(scope="module")
def empty() -> room.Room:
    return room.from_empty(taken(drawn_room(), None, 5))


def test_figure_is_cut_out_of_a_full_room(empty: room.Room) -> None:
    picture = taken(drawn_room(), body())
    cut = room.cut(picture, empty)
    assert overlap(cut.mask, body()) > 0.96
    assert cut.cutter == "room" and CANNOT_TELL not in cut.flags and cut.confidence > 0.9
    # The room is what makes it possible.
    assert overlap(background_model.cut(picture).mask, body()) < 0.9


def test_chair_of_the_room_is_no_figure_even_where_the_map_says_so(empty: room.Room) -> None:
    wrong = body().astype(np.float32)
    wrong[300:440, 256:318] = 1.0
    cut = room.cut(taken(drawn_room(), body()), empty, cv2.resize(wrong, (90, 120), interpolation=cv2.INTER_AREA))
    assert overlap(cut.mask, body()) > 0.96
    assert not cut.mask[300:440, 256:318].any()


def test_pole_in_the_hand_is_figure(empty: room.Room) -> None:
    cut = room.cut(taken(drawn_room(), body(pole=True)), empty)
    assert cut.mask[270:420, 236].mean() > 0.9
    assert overlap(cut.mask, body(pole=True)) > 0.95


def test_gap_between_arm_and_body_stays_open(empty: room.Room) -> None:
    cut = room.cut(taken(drawn_room(), body()), empty)
    assert not cut.mask[180:200, 132:142].any()
    # Also where a map of chances has closed it.
    closed = cv2.morphologyEx(body().astype(np.float32), cv2.MORPH_CLOSE, np.ones((41, 41), np.uint8))
    cut = room.cut(taken(drawn_room(), body()), empty, closed)
    assert cut.mask[180:200, 132:142].mean() < 0.1


def shadow(depth: float, blur: float) -> np.ndarray:
    """The light that is left, (h, w, 1), where the figure throws its shadow on the wall to the left."""
    thrown = np.roll(body().astype(np.float32), (12, -70), (0, 1))
    return 1 - depth * cv2.GaussianBlur(thrown, (0, 0), blur)[..., None]


@pytest.mark.parametrize(("depth", "blur"), [(0.3, 12.0), (0.6, 5.0), (0.65, 1.5)])
def test_cast_shadow_is_no_figure(empty: room.Room, depth: float, blur: float) -> None:
    tint = np.array([1.05, 1.0, 0.93], np.float32)
    cut = room.cut(taken(drawn_room() * shadow(depth, blur) * tint, body()), empty)
    assert overlap(cut.mask, body()) > 0.95


def nudged(picture: np.ndarray, x: float, y: float, degrees: float = 0.0) -> np.ndarray:
    turn = cv2.getRotationMatrix2D((W / 2, H / 2), degrees, 1.0)
    turn[:, 2] += x, y
    return cv2.warpAffine(picture, turn, (W, H), flags=cv2.INTER_CUBIC, borderMode=cv2.BORDER_REFLECT)


@pytest.mark.parametrize(("x", "y", "degrees"), [(3.0, 0.0, 0.0), (-1.4, 2.3, 0.1), (9.0, -6.0, 0.0)])
def test_nudged_camera(empty: room.Room, x: float, y: float, degrees: float) -> None:
    behind = np.clip(nudged(drawn_room(), x, y, degrees), 0, 255)
    cut = room.cut(taken(behind, body()), empty)
    assert overlap(cut.mask, body()) > 0.95
    assert cut.confidence > 0.9


def test_other_light(empty: room.Room) -> None:
    across = np.linspace(0.85, 1.1, W, dtype=np.float32)[None, :, None]
    lamp = np.array([0.92, 1.0, 1.06], np.float32)
    cut = room.cut(taken(drawn_room() * across * lamp, body()), empty)
    assert overlap(cut.mask, body()) > 0.95


def test_figure_of_the_colour_of_the_wall_behind_it_keeps_its_trunk(empty: room.Room) -> None:
    behind = drawn_room()
    behind[150:230, 130:230] = (105.0, 140.0, 190.0)
    known = room.from_empty(taken(behind, None, 5))
    sure = np.clip(body().astype(np.float32), 0.1, 0.9)
    cut = room.cut(taken(behind, body()), known, sure)
    assert overlap(cut.mask, body()) > 0.93


@pytest.mark.parametrize("seed", [7, 8, 9])
def test_picture_of_another_room_promises_little(seed: int) -> None:
    other = room.from_empty(taken(drawn_room(seed, chair=False)[:, ::-1], None, 5))
    cut = room.cut(taken(drawn_room(), body()), other)
    assert cut.confidence < 0.85


def test_nobody_in_the_room(empty: room.Room) -> None:
    cut = room.cut(taken(drawn_room() * 0.9, None, 9), empty)
    assert NO_FIGURE in cut.flags and not cut.mask.any() and cut.confidence == 0


def test_room_travels_and_stays_small(empty: room.Room) -> None:
    packed = pickle.dumps(empty)
    assert len(packed) < 2.5 * empty.picture.size
    again = pickle.loads(packed)
    assert np.array_equal(again.picture, empty.picture) and again.shape == (H, W)


@pytest.mark.parametrize("size", [(1, 1), (1, 40), (40, 1), (2, 2), (5, 7), (31, 64), (200, 90), (90, 200)])
def test_any_size(size: tuple[int, int]) -> None:
    rng = np.random.default_rng(3)
    picture = rng.integers(0, 256, (*size, 3), dtype=np.uint8)
    for behind in (picture, np.zeros_like(picture), picture[::-1]):
        cut = room.cut(picture, room.from_empty(behind.copy()), np.zeros((3, 2), np.float32))
        assert cut.mask.shape == size and 0 <= cut.confidence <= 1


def test_picture_of_another_size_or_shape(empty: room.Room) -> None:
    picture = taken(drawn_room(), body())
    larger = cv2.resize(picture, None, fx=1.5, fy=1.5, interpolation=cv2.INTER_CUBIC)
    assert overlap(cv2.resize(room.cut(larger, empty).mask.astype(np.uint8), (W, H)) > 0, body()) > 0.95
    lying = room.cut(np.ascontiguousarray(picture.transpose(1, 0, 2)), empty)
    assert lying.mask.shape == (W, H) and lying.confidence < 0.5


def test_plain_wall_needs_no_steps_to_be_trusted() -> None:
    wall = np.full((H, W, 3), 170.0, np.float32) * np.linspace(1, 0.8, H, dtype=np.float32)[:, None, None]
    cut = room.cut(taken(wall, body()), room.from_empty(taken(wall, None, 5)))
    assert overlap(cut.mask, body()) > 0.96 and cut.confidence > 0.9


@pytest.mark.parametrize("person", [np.zeros((0, 0), np.float32), np.full((1, 1), 0.5, np.float32),
                                    np.full((30, 20), np.nan, np.float32)])
def test_map_of_chances_that_says_nothing(empty: room.Room, person: np.ndarray) -> None:
    cut = room.cut(taken(drawn_room(), body()), empty, person)
    assert overlap(cut.mask, body()) > 0.95


# ------------------------------------------------------------------------------------------------- learned from a turn


def turned(share: float, shift: int = 0) -> np.ndarray:
    """The body's mask from another side: narrower by ``share``, and ``shift`` pixels aside."""
    squeeze = np.array([[share, 0, 180 * (1 - share) + shift], [0, 1, 0]], np.float32)
    return cv2.warpAffine(body().astype(np.uint8), squeeze, (W, H)) > 0


SIDES = [1.0, 0.85, 0.65, 0.6, 0.7, -0.7, -0.9, -0.6]


def glanced(picture: np.ndarray, mask: np.ndarray, seed: int) -> tuple[np.ndarray, np.ndarray]:
    """What a cutter that knows people makes of a picture: the figure, a little too broad, a piece of it lost."""
    rng = np.random.default_rng(seed)
    broad = cv2.dilate(mask.astype(np.float32), np.ones((3, 3), np.uint8))
    cv2.circle(broad, (int(rng.integers(140, 220)), int(rng.integers(200, 400))), 14, 0.0, -1)
    chance = cv2.resize(cv2.GaussianBlur(broad, (0, 0), 2), (W // 3, H // 3), interpolation=cv2.INTER_AREA)
    return background_model.halved(picture), np.clip(chance, 0.03, 0.97).astype(np.float32)


def a_turn(behind: np.ndarray, moves: list[tuple[float, float]] | None = None) -> tuple[list, list, list]:
    """Pictures of a turn, their masks, and what a cutter that knows people makes of them."""
    masks = [turned(s, 6 * (i % 3)) for i, s in enumerate(SIDES)]
    moves = moves or [(0.0, 0.0)] * len(masks)
    pictures = [taken(np.clip(nudged(behind, *move), 0, 255) * (1 + 0.02 * (i % 3)), mask, i)
                for i, (mask, move) in enumerate(zip(masks, moves, strict=True))]
    return pictures, masks, [glanced(p, m, i) for i, (p, m) in enumerate(zip(pictures, masks, strict=True))]


def test_turn_shows_the_room_and_makes_every_picture_better() -> None:
    behind = drawn_room()
    pictures, masks, glances = a_turn(behind)
    learned = room.learn(glances, (H, W))
    assert learned is not None
    true = cv2.resize(behind, (W // 2, H // 2), interpolation=cv2.INTER_AREA)
    off = np.abs(learned.picture - true).max(axis=2)
    assert np.median(off[learned.known]) < 6 and (off[learned.known] < 25).mean() > 0.98
    # The trunk stands before the same spot in all of them.
    assert not learned.known[90:110, 88:94].any() and learned.known.mean() > 0.85
    for picture, mask, (_, chance) in zip(pictures, masks, glances, strict=True):
        before = overlap(cv2.resize(chance, (W, H)) > 0.5, mask)
        after = overlap(room.cut(picture, learned, chance).mask, mask)
        assert after > before + 0.03 and after > 0.91


def test_thing_that_is_always_taken_for_figure_is_known_for_room() -> None:
    behind = drawn_room()
    pictures, masks, glances = a_turn(behind)
    for _, chance in glances:
        chance[100:147, 85:106] = 0.9
    learned = room.learn(glances, (H, W))
    assert learned is not None
    for picture, mask, (_, chance) in zip(pictures, masks, glances, strict=True):
        cut = room.cut(picture, learned, chance)
        assert overlap(cut.mask, mask) > 0.9
        assert (cut.mask & ~mask)[300:440, 256:318].mean() < 0.05


def test_small_nudges_of_the_camera_are_evened_out() -> None:
    moves = [(0.0, 0.0), (1.5, 0.4), (-2.0, 1.0), (0.7, -1.1), (0.0, 0.0), (2.4, 1.5), (-1.0, -1.0), (0.3, 0.2)]
    pictures, masks, glances = a_turn(drawn_room(), moves)
    learned = room.learn(glances, (H, W))
    assert learned is not None
    after = [overlap(room.cut(p, learned, c).mask, m) for p, m, (_, c) in zip(pictures, masks, glances, strict=True)]
    assert np.mean(after) > 0.94


def test_nothing_is_learned_where_the_camera_moved() -> None:
    moves = [(25.0 * (i - 4), 12.0 * (i % 3)) for i in range(len(SIDES))]
    places = [np.roll(drawn_room(seed=20 + i), 60 * i, axis=1) for i in range(len(SIDES))]
    assert room.learn([a_turn(place)[2][i] for i, place in enumerate(places)], (H, W)) is None
    _, _, glances = a_turn(drawn_room(), moves)
    assert room.learn(glances, (H, W)) is None


def test_nothing_is_learned_from_a_few_pictures_or_unlike_ones() -> None:
    _, _, glances = a_turn(drawn_room())
    assert room.learn([], (H, W)) is None
    assert room.learn(glances[:3], (H, W)) is None
    half, chance = glances[0]
    assert room.learn([*glances, (half[:-4], chance)], (H, W)) is None


def test_of_a_clip_a_few_frames_are_looked_at() -> None:
    _, _, glances = a_turn(drawn_room())
    many = room.learn(glances * 20, (H, W))
    assert many is not None and many.known.mean() > 0.85


def test_figure_that_does_not_move_is_not_taken_for_room() -> None:
    mask = body()
    still = [glanced(taken(drawn_room(), mask, i), mask, i) for i in range(8)]
    learned = room.learn(still, (H, W))
    assert learned is not None
    for half, chance in still[:3]:
        cut = room.cut(cv2.resize(half, (W, H), interpolation=cv2.INTER_CUBIC), learned, chance)
        assert overlap(cut.mask, mask) > 0.88


@pytest.mark.parametrize("size", [(1, 1), (2, 9), (16, 16), (40, 3)])
def test_turn_of_any_size(size: tuple[int, int]) -> None:
    rng = np.random.default_rng(2)
    glances = [(rng.integers(0, 256, (*size, 3), dtype=np.uint8), rng.random((2, 2), dtype=np.float32))
               for _ in range(6)]
    learned = room.learn(glances, size)
    if learned is not None:
        assert room.cut(glances[0][0], learned, None).mask.shape == size


def test_what_the_turn_shows_is_asked_without_the_map() -> None:
    pictures, _, glances = a_turn(drawn_room())
    learned = room.learn(glances, (H, W))
    assert learned is not None
    cut, alike = room.vouched(pictures[0], learned, glances[0][1])
    assert alike > 0.9
    assert (cut.mask == room.cut(pictures[0], learned, glances[0][1]).mask).all()
    # A map that errs grossly does not look the same without itself.
    wrong = glances[0][1].copy()
    wrong[: len(wrong) // 2] = 0.01
    assert room.vouched(pictures[0], learned, wrong)[1] < alike - 0.02
    assert room.vouched(pictures[0][:, : W // 2], learned, glances[0][1])[1] == 0
    nobody, nothing = room.vouched(taken(drawn_room(), None), room.from_empty(taken(drawn_room(), None, 5)), 0 * wrong)
    assert NO_FIGURE in nobody.flags and nothing == 0
