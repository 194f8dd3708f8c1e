"""Pose, spot and camera: from what the outlines say to a verdict."""

from __future__ import annotations

from collections.abc import Callable, Sequence
from dataclasses import replace

import numpy as np
import pytest

from silhouette.check import pose
from silhouette.records_shoot import Held, Shot


def held(
    share: dict[int, float], n: int = 24, *, drifting: bool = False, sank: float = 0.0, unfit: bool = False
) -> Held:
    shares = np.zeros(n)
    shares[list(share)] = list(share.values())
    return Held(tuple(share), drifting, "arm height" if share else None, 0.07, sank, 0.4, shares, unfit)


def test_a_doubtful_stop_is_not_blamed_with_a_clear_one(made: Callable[..., Shot]) -> None:
    found = pose.held_pose(replace(made(), held=held({1: 0.012, 9: 0.03})))
    assert found.verdict == "retake" and found.stops == (9,) and found["doubtful"] == (1,)
    assert found.where == "arm height" and found.far == 0.07
    found = pose.held_pose(replace(made(), held=held({1: 0.012, 9: 0.013})))
    assert found.verdict == "look" and found.stops == (1, 9) and found["doubtful"] == ()


def test_a_pose_that_goes_on_changing_is_retaken_from_there_on(made: Callable[..., Shot]) -> None:
    found = pose.held_pose(replace(made(), held=held(dict.fromkeys(range(12, 24), 0.002), drifting=True)))
    assert (found.verdict, found.kind, found.stops) == ("retake", "pose changed", tuple(range(12, 24)))


@pytest.mark.parametrize(("sank", "way"), [(0.02, "lower"), (-0.02, "higher"), (0.005, "elsewhere")])
def test_it_is_said_whether_something_sank(made: Callable[..., Shot], sank: float, way: str) -> None:
    assert pose.held_pose(replace(made(), held=held({9: 0.03}, sank=sank)))["way"] == way


@pytest.mark.parametrize(("cut", "verdict"), [((8, 9), "unknown"), ((9,), "retake"), ((), "retake")])
def test_a_pose_is_not_blamed_for_what_the_frame_cuts(
    made: Callable[..., Shot], cut: Sequence[int], verdict: str
) -> None:
    shot = made(looks={k: {"edges": ("bottom",)} for k in cut})
    assert pose.held_pose(replace(shot, held=held({8: 0.03, 9: 0.03}))).verdict == verdict


def test_what_cannot_be_compared_is_not_judged(made: Callable[..., Shot]) -> None:
    assert pose.held_pose(made()).kind == "too few outlines"
    assert pose.held_pose(replace(made(), held=held({}, unfit=True))).verdict == "unknown"


def test_half_a_turn_does_not_show_all(made: Callable[..., Shot]) -> None:
    for n, all_seen in ((24, True), (13, False)):
        found = pose.held_pose(replace(made(n), held=held({}, n)))
        assert found.verdict == "pass" and found["far_round"] == all_seen


@pytest.mark.parametrize(("far", "verdict", "stops"), [
    (0.02, "pass", ()), (0.04, "look", (9,)), (-0.04, "look", (9,)), (0.07, "retake", (9,)),
])
def test_off_the_spot_either_way(made: Callable[..., Shot], far: float, verdict: str, stops: tuple[int, ...]) -> None:
    aside = np.full(24, 0.01)
    aside[9], aside[3] = far, np.nan  # no outline to trust at 3
    found = pose.stance(replace(made(), aside=aside))
    assert (found.verdict, found.stops) == (verdict, stops) and found.far == pytest.approx(abs(far))


def test_a_camera_that_moved_is_told_by_the_times_of_the_clip_or_the_names_of_the_stills(
    made: Callable[..., Shot]
) -> None:
    shot = replace(made(), camera_moved=15)
    found = pose.stance(shot)
    assert (found.verdict, found.kind, found.stops, found["times"]) == ("retake", "camera moved", (15,), (None, None))
    stops = tuple(replace(s, time=2.0 * k) for k, s in enumerate(shot.stops))
    assert pose.stance(replace(shot, stops=stops))["times"] == (28.0, 30.0)
