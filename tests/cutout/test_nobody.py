"""The empty room told from the stops, on drawn pictures whose every pixel is known."""

from __future__ import annotations

from collections.abc import Callable

import cv2
import numpy as np
import pytest

from silhouette.cutout import nobody

ANGLES = range(0, 360, 45)


def wall(seed: int, light: float = 1.0) -> np.ndarray:
    """A wall with a door and a picture on it, and the noise of a sensor: (600, 450, 3) uint8."""
    rng = np.random.default_rng(seed)
    room = np.full((600, 450, 3), (170, 180, 185), np.float64)
    room[200:560, 20:110] = (60, 80, 120)
    room[80:160, 330:430] = (140, 60, 40)
    room[560:] = (90, 110, 130)
    return np.clip(light * room + rng.normal(0, 2, room.shape), 0, 255).astype(np.uint8)


def clothed(room: np.ndarray, mask: np.ndarray, angle: float = 0) -> np.ndarray:
    """The figure in the room, lit a little otherwise from each side."""
    colour = np.array([70, 60, 110]) * (1 + 0.1 * np.cos(np.deg2rad(angle)))
    return np.where(mask[..., None], colour, room).astype(np.uint8)


@pytest.fixture
def turn(capsule_mask: Callable[..., np.ndarray]) -> tuple[np.ndarray, np.ndarray]:
    """Thumbnails of eight stops, and their masks."""
    masks = [capsule_mask(a, "down") for a in ANGLES]
    stops = [nobody.thumb(clothed(wall(k), m, a)) for k, (a, m) in enumerate(zip(ANGLES, masks, strict=True))]
    return np.stack(stops), np.stack([_small(m, stops[0]) for m in masks])


def _small(mask: np.ndarray, thumb: np.ndarray) -> np.ndarray:
    return cv2.resize(mask.astype(np.uint8), thumb.shape[1::-1], interpolation=cv2.INTER_NEAREST) > 0


@pytest.mark.parametrize("light", [0.85, 1.0, 1.15])
@pytest.mark.parametrize("nudge", [0, 3])
def test_the_empty_room_is_told_in_other_light_and_a_little_beside(
    turn: tuple[np.ndarray, np.ndarray], light: float, nudge: int
) -> None:
    frame = nobody.thumb(np.roll(wall(99, light), nudge, axis=1))
    assert nobody.same_room(frame, turn[0]) and nobody.nobody(frame, *turn)


@pytest.mark.parametrize("k", range(8))
def test_a_stop_is_not_the_empty_room(turn: tuple[np.ndarray, np.ndarray], k: int) -> None:
    stops, masks = turn
    others = np.arange(8) != k
    assert not nobody.nobody(stops[k], stops[others], masks[others])
    assert nobody.same_room(stops[k], stops[others]), "but it is of the same room"


def test_somebody_at_the_side_is_not_the_empty_room(
    turn: tuple[np.ndarray, np.ndarray], capsule_mask: Callable[..., np.ndarray]
) -> None:
    aside = np.roll(capsule_mask(0, "down"), 130, axis=1)
    frame = nobody.thumb(clothed(wall(99), aside))
    assert not nobody.nobody(frame, *turn)
    assert nobody.moves(frame, turn[0], _small(aside, frame))


def test_another_room_is_neither(turn: tuple[np.ndarray, np.ndarray]) -> None:
    for frame in (wall(99)[::-1], wall(99)[:, ::-1] // 3, np.full((600, 450, 3), 20, np.uint8)):
        other = nobody.thumb(np.ascontiguousarray(frame))
        assert not nobody.same_room(other, turn[0]) and not nobody.nobody(other, *turn)


def test_what_stands_there_at_all_stops_is_not_somebody(turn: tuple[np.ndarray, np.ndarray]) -> None:
    frame = nobody.thumb(wall(99))
    door = np.zeros((600, 450), bool)
    door[200:560, 20:110] = True
    assert not nobody.moves(frame, turn[0], _small(door, frame))
    assert not nobody.moves(frame, turn[0], np.zeros(frame.shape[:2], bool))


def test_the_shadow_of_the_figure_on_the_wall_does_not_hide_that_it_is_gone(
    turn: tuple[np.ndarray, np.ndarray], capsule_mask: Callable[..., np.ndarray]
) -> None:
    stops, masks = [], []
    for k, angle in enumerate(ANGLES):
        mask = capsule_mask(angle, "down")
        cast = np.roll(mask, 60, axis=1)
        room = np.where(cast[..., None], wall(k) * 0.6, wall(k)).astype(np.uint8)
        stops.append(nobody.thumb(clothed(room, mask, angle)))
        masks.append(_small(mask, stops[0]))
    assert nobody.nobody(nobody.thumb(wall(99)), np.stack(stops), np.stack(masks))


def test_two_stops_cannot_tell(turn: tuple[np.ndarray, np.ndarray]) -> None:
    stops, masks = turn
    frame = nobody.thumb(wall(99))
    assert nobody.nobody(frame, stops[:3], masks[:3]) and not nobody.nobody(frame, stops[:2], masks[:2])
    assert not nobody.nobody(frame, stops, np.zeros_like(masks)), "nowhere a figure that could be gone"


def test_clothes_like_the_wall_hide_that_somebody_is_gone_unless_the_person_network_sees_nobody(
    turn: tuple[np.ndarray, np.ndarray]
) -> None:
    stops, masks = turn
    legs = np.zeros((600, 450), bool)
    legs[400:] = True
    for k, mask in enumerate(masks):
        like = cv2.resize((mask & _small(legs, mask)).astype(np.uint8), stops[k].shape[1::-1]) > 0
        stops[k][like] = nobody.thumb(wall(k))[like]
    frame = nobody.thumb(np.roll(wall(99, 0.9), 2, axis=1))
    assert not nobody.nobody(frame, stops, masks)
    assert nobody.nobody(frame, stops, masks, unseen=True)
    for k in range(8):
        others = np.arange(8) != k
        assert not nobody.nobody(stops[k], stops[others], masks[others], unseen=True), "a stop is not the empty room"
