"""Type in any script, without a remark on the screen."""

from __future__ import annotations

import warnings
from collections.abc import Callable
from dataclasses import replace
from pathlib import Path

from silhouette.records import Pose, Ranking
from silhouette.show.critique import write_critique
from silhouette.show.polar import write_chart


def test_a_pose_named_in_another_script_is_drawn_without_a_remark(pose_at: Callable[..., Pose], tmp_path: Path) -> None:
    ranking = Ranking((replace(pose_at("reach_up", 8), name="渡し守 перевозчик"),))
    with warnings.catch_warnings():
        warnings.simplefilter("error")
        write_critique(ranking, tmp_path / "critique.pdf")
        write_chart(ranking, tmp_path)
    assert (tmp_path / "critique.pdf").stat().st_size and (tmp_path / "chart.png").stat().st_size
