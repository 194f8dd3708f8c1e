"""Lines of several poses over one another: told apart without colour, named, drawn where the numbers are."""

from __future__ import annotations

from collections.abc import Callable
from typing import Any

import numpy as np
import pytest

from silhouette.records import Pose, Ranking
from silhouette.show.overlay import LOOKS, draw_lines


def long_lines(ax: Any) -> list[Any]:
    return [line for line in ax.lines if len(line.get_xdata()) == 361]


@pytest.mark.parametrize("count", [1, 2, 4, 6])
def test_every_line_is_named_and_looks_its_own(ranking_of: Callable[..., Ranking], check_type: Any, count: int) -> None:
    poses = ranking_of(count, 12).poses
    ax = draw_lines(poses)
    told = [t.get_text() for t in ax.texts]
    assert all(f"{i + 1}  {p.name}" in told for i, p in enumerate(poses))
    assert len(long_lines(ax)) == count
    check_type(ax.figure)


def test_six_looks_differ_in_grey() -> None:
    """No two share both dash and lightness."""
    from matplotlib.colors import to_rgb

    grey = [round(float(np.dot(to_rgb(colour), (0.299, 0.587, 0.114))), 1) for colour, _, _ in LOOKS]
    assert len({(g, dash) for g, (_, _, dash) in zip(grey, LOOKS, strict=True)}) == len(LOOKS)


def test_lines_lie_at_their_readability(pose_at: Callable[..., Pose]) -> None:
    pose = pose_at("akimbo", 24)
    line = long_lines(draw_lines((pose,)))[0]
    y = np.asarray(line.get_ydata())
    values = pose.round.degrees[np.arange(361) % 360]
    slope, shift = np.polyfit(values, y, 1)
    assert np.allclose(slope * values + shift, y) and slope > 0
    assert np.all(np.diff(line.get_xdata()) > 0)


def test_a_hole_in_the_round_is_a_hole_in_the_line(odd_pose: Pose) -> None:
    y = np.asarray(long_lines(draw_lines((odd_pose,)))[0].get_ydata(), float)
    assert np.isnan(y).sum() == np.isnan(odd_pose.round.degrees[np.arange(361) % 360]).sum() > 0


def test_a_seventh_pose_is_left_out_and_said_so(ranking_of: Callable[..., Ranking]) -> None:
    poses = ranking_of(6, 8).poses
    ax = draw_lines((*poses, poses[0]))
    assert "Round the figure, one line a pose (the first 6 of 7)" in [t.get_text() for t in ax.texts]


def test_an_arc_is_marked_along_the_foot(pose_at: Callable[..., Pose]) -> None:
    ax = draw_lines((pose_at("akimbo", 24),), arc=(300, 60))
    marked = ~np.isnan(np.asarray(next(line for line in ax.lines if line.get_gid() == "arc").get_ydata(), float))
    assert marked[[0, 60, 300, 360]].all() and not marked[61:300].any()
    assert any("only 300 to 60 counts" in t.get_text() for t in ax.texts)


def test_a_pose_that_was_not_read_has_no_line(pose_at: Callable[..., Pose], unread_pose: Pose) -> None:
    ax = draw_lines((pose_at("akimbo", 8), unread_pose))
    assert len(long_lines(ax)) == 1 and not any(unread_pose.name in t.get_text() for t in ax.texts)
