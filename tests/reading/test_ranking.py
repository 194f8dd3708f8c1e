"""Order, ties, and nothing dropped."""

from __future__ import annotations

from dataclasses import replace
from pathlib import Path

import numpy as np

from silhouette.reading import ranking
from silhouette.records import Pose, Round


def pose(name: str, reads: int | None, mean: float = 50, spread: float = 0.01, counted: int = 360) -> Pose:
    rng = np.random.default_rng(len(name))
    samples = None
    if reads is not None:
        samples = np.column_stack([rng.normal(reads / counted, spread, 200), rng.normal(mean, 1, 200)])
    walk = Round(np.zeros(360), np.zeros(360, bool), reads, 0 if reads is None else counted, (), (), mean, mean, 0)
    return Pose(name, Path(name), (), walk, reads, reads, samples=samples)


def test_best_first_and_none_is_dropped() -> None:
    poses = ranking.rank([pose("weak", 40), pose("unread", None), pose("strong", 300)])
    assert [(p.name, p.rank) for p in poses] == [("strong", 1), ("weak", 2), ("unread", None)]
    assert all(p.tied_with == () for p in poses)


def test_too_close_to_call_is_said_of_both() -> None:
    a, b, c = ranking.rank([pose("oar", 201, spread=0.1), pose("rope", 200, spread=0.1), pose("rest", 10)])
    assert a.tied_with == ("rope",) and b.tied_with == ("oar",) and c.tied_with == ()


def test_poses_that_read_all_round_are_told_apart_by_how_well() -> None:
    clear, fair = ranking.rank([pose("fair", 360, 60, spread=0), pose("clear", 360, 85, spread=0)])
    assert (clear.name, fair.name) == ("clear", "fair")
    assert clear.tied_with == ()


def test_a_closed_pose_is_ranked_among_its_own_kind() -> None:
    closed = replace(pose("closed", 360, 90), intent="closed")
    ranked = ranking.rank([closed, pose("a", 100), pose("b", 200)])
    assert [(p.name, p.rank) for p in ranked] == [("b", 1), ("a", 2), ("closed", 1)]
    assert ranking.rank([pose("a", 100), closed], "closed")[0].name == "closed"


def test_an_incomplete_turn_is_compared_by_what_was_seen() -> None:
    first, _ = ranking.rank([pose("half seen", 150, counted=180), pose("whole", 250)])
    assert first.name == "half seen"
