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


def sampled(name: str, shares: list[float], means: list[float] | None = None) -> Pose:
    """A pose whose resamplings are these."""
    samples = np.column_stack([shares, means or [50.0] * len(shares)])
    return replace(pose(name, 100), samples=samples)


def test_the_order_is_called_from_nine_in_ten() -> None:
    one = sampled("one", [0.5] * 10)
    eight, nine = (sampled("other", [0.6] * (10 - k) + [0.4] * k) for k in (8, 9))
    assert ranking.too_close(one, eight) and ranking.too_close(eight, one)
    assert not ranking.too_close(one, sampled("other", [0.4] * 19 + [0.6]))
    assert ranking.too_close(one, nine) is (1 - ranking.SURE < 0.9 < ranking.SURE)


def test_shares_less_than_a_degree_apart_are_told_apart_by_how_well_they_read() -> None:
    near = 0.5 + 0.9 / 360
    assert not ranking.too_close(sampled("a", [0.5] * 5, [60] * 5), sampled("b", [near] * 5, [50] * 5))
    assert ranking.too_close(sampled("a", [0.5] * 5), sampled("b", [near] * 5)), "and are even where that is too"
    assert not ranking.too_close(sampled("a", [0.5] * 5, [60] * 5), sampled("b", [0.51] * 5, [50] * 5))


def test_a_pose_without_resamplings_is_tied_with_none() -> None:
    bare = replace(pose("bare", 100), samples=None)
    assert not ranking.too_close(bare, sampled("a", [0.5])) and not ranking.too_close(sampled("a", [0.5]), bare)


def test_of_poses_that_were_not_seen_round_the_better_mean_comes_first() -> None:
    ranked = ranking.rank([pose("less", None, mean=30), pose("more", None, mean=60), pose("none", 0, mean=0)])
    assert [(p.name, p.rank) for p in ranked] == [("none", 1), ("more", None), ("less", None)]
