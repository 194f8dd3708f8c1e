"""What the calls from Python take and give: results that can be compared, shown, and ranked again."""

from __future__ import annotations

import inspect
import pickle
import subprocess
import sys
import warnings
from collections.abc import Callable
from dataclasses import fields, replace
from functools import cache
from pathlib import Path

import cv2
import pytest
from shapely import affinity
from shapely.geometry import Polygon, box

import silhouette
from silhouette import tables
from silhouette.errors import PoseError, SettingsError
from silhouette.settings import Settings
from silhouette.shape.outline import outline_of

SIX = range(0, 360, 60)


@cache
def scored() -> silhouette.ScoredPose:
    return silhouette.score_pose(Path(__file__).parent / "data" / "rendered" / "turn")


@pytest.fixture
def keeper() -> silhouette.ScoredPose:
    """A rendered turn, scored once."""
    return scored()


def test_every_setting_is_a_keyword_with_its_default() -> None:
    for call in (silhouette.score_pose, silhouette.rank_poses):
        taken = inspect.signature(call).parameters
        for setting in fields(Settings):
            assert taken[setting.name].kind is inspect.Parameter.KEYWORD_ONLY
            assert taken[setting.name].default == setting.default
        assert not any(p.kind is inspect.Parameter.VAR_KEYWORD for p in taken.values())


def test_the_package_lists_what_it_offers() -> None:
    assert dir(silhouette) == sorted(silhouette.__all__)
    for name in silhouette.__all__:
        assert getattr(silhouette, name) is not None
    assert (Path(silhouette.__file__).parent / "py.typed").is_file()
    with pytest.raises(AttributeError):
        silhouette.nothing_of_the_kind  # noqa: B018


def test_poses_can_be_compared_kept_in_a_set_and_printed(keeper: silhouette.ScoredPose) -> None:
    again = pickle.loads(pickle.dumps(keeper))
    assert again == keeper and hash(again) == hash(keeper) and len({again, keeper}) == 1
    other = replace(keeper, views=keeper.views[:-1])
    assert other != keeper and len({other, keeper}) == 2
    assert len(repr(keeper)) < 500 and keeper.name in repr(keeper) and "ScoredPose" in repr(keeper)
    ranking = silhouette.ScoredRanking((keeper,) * 40)
    assert len(repr(ranking)) < 500 and hash(ranking) == hash(silhouette.ScoredRanking((keeper,) * 40))
    assert all(len(repr(view)) < 20_000 and "POLYGON" not in repr(view) for view in keeper.views)


def test_a_table_holds_numbers_as_they_were_measured_and_files_rounded_ones(keeper: silhouette.ScoredPose) -> None:
    frame, row = keeper.to_frame(), tables.view_to_dict(keeper.views[0])
    first = keeper.views[0]
    assert first.reading and first.measures and first.body
    assert frame["readability"][0] == first.reading.readability != row["readability"]
    assert frame["negative_space"][0] == first.measures.negative_space != row["negative_space"]
    assert frame["head"][0] == first.body.limb_legibility.head
    assert row["readability"] == round(first.reading.readability, 1)
    assert frame["reasons"][0] == "; ".join(first.reading.reasons[i].kind for i in range(len(first.reading.reasons)))
    assert list(frame.columns) == list(tables.views_table([keeper]).columns)


def test_scored_poses_are_ranked_beside_folders(drawn_turn: Callable[..., Path]) -> None:
    out, down = drawn_turn("out", SIX), drawn_turn("down", SIX, arms="down")
    whole = silhouette.rank_poses([down, out])
    for mixed in ([silhouette.score_pose(down), out], [down, silhouette.score_pose(out)], list(whole.poses)):
        again = silhouette.rank_poses(mixed)
        assert isinstance(again, silhouette.ScoredRanking)
        assert tables.ranking_to_dict(again) == tables.ranking_to_dict(whole)
    (alone,) = silhouette.rank_poses(silhouette.score_pose(out)).poses
    assert alone.rank == 1 and isinstance(alone, silhouette.ScoredPose)


def test_what_counts_of_a_scored_pose_follows_the_arc_that_is_asked_for(drawn_turn: Callable[..., Path]) -> None:
    folder = drawn_turn("out", SIX)
    niche = silhouette.rank_poses([folder], arc=(300, 60))
    assert tables.ranking_to_dict(silhouette.rank_poses([silhouette.score_pose(folder)], arc=(300, 60))) == (
        tables.ranking_to_dict(niche))
    assert niche.poses[0].round.counted_degrees == 120
    assert silhouette.rank_poses(list(niche.poses)).poses[0].round.counted_degrees == 360


def test_a_scored_pose_stays_what_it_was_meant_to_be(keeper: silhouette.ScoredPose) -> None:
    with pytest.raises(SettingsError, match=f"{keeper.name} was scored as open, not as closed"):
        silhouette.rank_poses([keeper], intents={keeper.name: "closed"})
    assert silhouette.rank_poses([keeper], intents={keeper.name: "open"}).poses[0].intent == "open"
    assert silhouette.rank_poses([keeper], intent="closed").poses[0].intent == "open"


def test_no_pose_is_told_in_a_sentence() -> None:
    with pytest.raises(PoseError, match="No pose was given"):
        silhouette.rank_poses([])


def test_a_wheel_is_drawn_where_it_is_asked_for(keeper: silhouette.ScoredPose) -> None:
    from matplotlib.figure import Figure

    ax = Figure(figsize=(6, 5)).add_axes((0, 0, 1, 1))
    assert silhouette.plot_wheel(keeper, ax=ax) is ax and keeper.plot(ax) is ax
    assert any("reads from" in text.get_text() for text in ax.texts)
    assert "<svg" in keeper._repr_html_() and '"schema": 2' in keeper.to_json()


def figure_of(data: Path) -> Polygon:
    mask = cv2.imread(str(data / "shapes" / "masks" / "akimbo_000.png"), cv2.IMREAD_GRAYSCALE)
    found = outline_of(mask > 127)
    assert found is not None
    return found.polygon


def test_a_figure_with_y_upwards_does_not_pass_in_silence(data: Path) -> None:
    upright = figure_of(data)
    turned = affinity.scale(upright, 40, -40)
    with pytest.warns(UserWarning, match="upside down. If so, say y_up=True"):
        silhouette.measure_outline(turned)
    with pytest.warns(UserWarning, match="upside down. If so, say y_up=False"):
        silhouette.measure_outline(upright, y_up=True)
    with warnings.catch_warnings():
        warnings.simplefilter("error")
        silhouette.measure_outline(upright)
        silhouette.measure_outline(turned, y_up=True)
        assert silhouette.measure_outline(box(0, 0, 1, 2)).limbs is None


def test_the_records_need_nothing_of_the_package_but_the_settings() -> None:
    assert "import_module" not in (Path(silhouette.__file__).parent / "records.py").read_text(encoding="utf-8")
    code = (
        "import sys, silhouette; before = set(sys.modules)\nimport silhouette.records\n"
        "new = {m for m in set(sys.modules) - before if m.startswith('silhouette.')}\n"
        "print(*sorted(new - {'silhouette.records'}))"
    )
    told = subprocess.run([sys.executable, "-c", code], capture_output=True, text=True, check=True)
    assert told.stdout.split() == ["silhouette.errors", "silhouette.settings", "silhouette.texts"]
