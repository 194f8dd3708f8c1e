"""A turn while it is being shot: angles as soon as outlines tell them, a warning when the pose moves, no false one."""

from __future__ import annotations

from functools import cache
from pathlib import Path

import numpy as np
import pytest

from silhouette.cutout import background_model
from silhouette.intake import film
from silhouette.records import Mask
from silhouette.turn import so_far

CLIPS = Path(__file__).parents[1] / "data" / "clips"


@cache
def _masks(name: str) -> tuple[Mask, ...]:
    clip = CLIPS / f"{name}.mp4"
    pictures = [p.pixels for p in film.read_stops(clip, film.find_stops(clip), 1008)]
    shared = background_model.learn(pictures)
    return tuple(background_model.cut(p, shared).mask for p in pictures)


def _looks(masks: tuple[Mask, ...], counts: range, **more: object) -> list[so_far.SoFar]:
    """One look after the other, as the stops come in."""
    told, called = list[so_far.SoFar](), set[int]()
    for n in counts:
        told.append(so_far.look(masks[:n], called=called, **more))  # type: ignore[arg-type]
        called = set(told[-1].moved)
    return told


def test_arms_that_sink_are_told_by_the_sixteenth_stop() -> None:
    before, after = _looks(_masks("droop"), range(11, 13)), _looks(_masks("droop"), range(13, 18))
    assert not any(one.moved for one in before)
    first = next(k for k, one in enumerate(after, start=13) if one.moved)
    assert first <= 16
    last = after[-1]
    assert set(last.moved) <= {12, 13, 14, 15, 16} and last.worst in last.moved
    assert last.how is not None and last.how.where == "arm height"


@pytest.mark.parametrize("name", ["steady", "gap_and_short"])
def test_a_pose_that_is_held_is_never_called_moved(name: str) -> None:
    masks = _masks(name)
    told = _looks(masks, range(8, len(masks) + 1, 2))
    assert not any(one.moved or one.jumped for one in told)
    assert told[-1].closes == (name == "steady")
    assert told[-1].turned is not None


def test_a_pose_that_is_taken_up_again_is_no_longer_called_moved() -> None:
    masks = _masks("steady")
    other = masks[15].copy()
    rows = np.flatnonzero(other.any(axis=1))
    other[rows[0] : rows[0] + 60] = False  # the raised hand is gone
    other[rows[0] + 300 : rows[0] + 320, 100:460] = True  # and something sticks out to both sides
    (moved,) = _looks((*masks[:15], other), range(16, 17))
    assert moved.moved == (15,)
    again = so_far.look(masks[:16], called={15}, new={15})
    assert again.moved == ()


def test_a_turn_to_the_right_is_told_as_well() -> None:
    mirrored = tuple(mask[:, ::-1] for mask in _masks("droop"))
    told = _looks(mirrored, range(16, 18), turn="right")
    assert told[-1].moved
    assert told[-1].turned is not None and 150 < told[-1].turned[-1] < 270


def test_fewer_than_eight_outlines_tell_no_angles() -> None:
    masks = _masks("steady")
    assert so_far.look(masks[:7]).turned is None
    few = tuple(mask if k % 3 == 0 else None for k, mask in enumerate(masks[:20]))
    assert so_far.look(few).turned is None
    assert so_far.look(()).turned is None
    assert so_far.look((None, None)).turned is None


def test_a_picture_that_shifts_as_a_whole_is_told_at_once() -> None:
    masks = _masks("steady")[:6]
    shifted = np.roll(masks[5], -70, axis=0)
    told = so_far.look((*masks[:5], shifted))
    assert told.jumped == 5 and not told.moved
    assert so_far.look(masks).jumped is None


def test_masks_of_several_sizes_tell_nothing() -> None:
    masks = _masks("steady")
    assert so_far.look((*masks[:9], masks[9][:-2])).turned is None
