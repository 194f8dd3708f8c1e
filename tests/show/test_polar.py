"""The wheel: what it says, where 0 stands, and that its type keeps apart at every number of stops."""

from __future__ import annotations

from collections.abc import Callable
from dataclasses import replace
from pathlib import Path
from typing import Any

import numpy as np
import pytest
from PIL import Image

from silhouette.reading.circle import walk_round
from silhouette.records import Pose, Ranking
from silhouette.show import ink, polar
from silhouette.show.wheel_layout import direction, lay_out

SIZES = {"chart": polar.CHART, "A4 page": (523.0, 385.0), "A3 page": (770.0, 560.0)}


def words_on(ax: Any) -> list[str]:
    return [t.get_text() for t in ax.texts]


@pytest.mark.parametrize("stops", [8, 12, 16, 24, 36])
@pytest.mark.parametrize("size", SIZES)
def test_type_keeps_apart(pose_at: Callable[..., Pose], check_type: Any, check_clear: Any, stops: int,
                          size: str) -> None:
    for name in ("akimbo", "reach_up"):
        width, height = SIZES[size]
        figure = ink.new_figure(width + 40, height + 40)
        ax = polar.draw_wheel(pose_at(name, stops), ink.page_axes(figure, 20, 20, width, height))
        assert check_type(figure) > stops
        angles = {str(round(i * 360 / stops)) for i in range(stops)}
        assert angles <= set(words_on(ax)), "an angle is not written"
        assert check_clear(figure, str.isdigit) == stops


def test_figures_keep_apart_and_stand_on_their_rays(pose_at: Callable[..., Pose]) -> None:
    pose = pose_at("reach_up", 24)
    frame = polar._Frame.of(523, 385)
    layout = lay_out(pose.views, frame.room, polar.shared_scale([pose], 523, 385))
    boxes = np.array([p.box for p in layout.places])
    for i, a in enumerate(boxes):
        rest = boxes[i + 1:]
        across = np.minimum(a[2], rest[:, 2]) - np.maximum(a[0], rest[:, 0]) > 0.01
        along = np.minimum(a[3], rest[:, 3]) - np.maximum(a[1], rest[:, 1]) > 0.01
        assert not (across & along).any()
    for place in layout.places:
        dx, dy = direction(place.view.angle)
        middle = np.array([place.x, place.feet + place.height / 2])
        turned = np.degrees(np.arctan2(dx * middle[1] - dy * middle[0], middle @ (dx, dy)))
        assert abs(turned) < 6, "a figure stands off the ray of its angle"
        assert np.hypot(*middle) > layout.ring


def test_front_is_down_and_its_right_is_page_left() -> None:
    assert direction(0) == pytest.approx((0, -1))
    assert direction(90) == pytest.approx((-1, 0))
    assert direction(180) == pytest.approx((0, 1))


def test_says_the_verdict_its_doubt_and_the_cause_at_the_arc(pose_at: Callable[..., Pose]) -> None:
    pose = pose_at("akimbo", 24)
    told = words_on(polar.draw_wheel(pose))
    assert f"reads from {pose.round.reads_degrees} of 360 degrees" in told
    assert f"most likely between {pose.reads_low} and {pose.reads_high} (9 chances in 10)" in told
    assert pose.round.weak_arcs
    for letter, arc in zip("AB", pose.round.weak_arcs, strict=False):
        assert letter in told
        assert any(t.startswith(f"{letter}  {arc.start:.0f} to {arc.end:.0f}") for t in told)
    assert any("legs read as one" in t for t in told)


def test_key_names_only_what_is_drawn(pose_at: Callable[..., Pose], odd_pose: Pose) -> None:
    plain = words_on(polar.draw_wheel(pose_at("akimbo", 12)))
    assert "no view" not in plain and "cannot tell" not in plain
    odd = words_on(polar.draw_wheel(odd_pose))
    assert {"no view", "cannot tell"} <= set(odd)
    half = words_on(polar.draw_wheel(pose_at("reach_up", 24, half=True)))
    assert any("inferred" in t for t in half)


def test_odd_views_are_drawn_apart_from_the_others(odd_pose: Pose, check_type: Any) -> None:
    ax = polar.draw_wheel(odd_pose)
    assert check_type(ax.figure)
    hatched = [c for c in ax.collections if c.get_hatch() == "||||||"]
    dashed = [c for c in ax.collections if len(c.get_paths()) == 1 and c.get_linestyle()[0][1] is not None
              and c.get_facecolor().size]
    assert hatched, "an inferred figure is hatched"
    assert dashed, "a figure that is not trusted has a dashed rim"


def test_bands_differ_in_lightness(pose_at: Callable[..., Pose]) -> None:
    """In a grey print strong, fair and weak stay apart by at least a fifth of the scale."""
    figure = ink.new_figure(90, 30)
    ax = ink.page_axes(figure, 0, 0, 90, 30)
    with ink.style():
        for i, band in enumerate(("strong", "fair", "weak")):
            ink.tone(ax, [ink.rectangle(30 * i + 3, 3, 24, 24)], band)
        figure.canvas.draw()
    grey = np.asarray(Image.fromarray(np.asarray(figure.canvas.buffer_rgba())[..., :3]).convert("L"), float)
    step = grey.shape[1] // 3
    means = [grey[8:-8, i * step + 8:(i + 1) * step - 8].mean() for i in range(3)]
    assert np.all(np.diff(means) > 51), means


def test_too_few_views_say_so(pose_at: Callable[..., Pose]) -> None:
    told = words_on(polar.draw_wheel(pose_at("akimbo", 1)))
    assert "too few views to say how far round it reads" in told


def test_a_small_wheel_names_its_rival_in_full(pose_at: Callable[..., Pose], check_type: Any) -> None:
    """As on the page of candidates of an A4 critique: 164 points wide, too little for name and remark on one line."""
    pose = replace(pose_at("akimbo", 12), name="lookout", rank=3, tied_with=("hauling",), reads_low=252, reads_high=298)
    figure = ink.new_figure(204, 234)
    told = words_on(polar.draw_wheel(pose, ink.page_axes(figure, 20, 20, 164, 194)))
    assert "too close to call with hauling" in told
    check_type(figure)


@pytest.mark.parametrize("count", [1, 2, 3, 4, 5, 6])
def test_chart_of_poses(ranking_of: Callable[..., Ranking], tmp_path: Path, check_type: Any, check_border: Any,
                        monkeypatch: pytest.MonkeyPatch, count: int) -> None:
    pages: list[Any] = []
    monkeypatch.setattr(ink, "save_figure", lambda figure, path, **how: pages.append(figure) or path)
    ranking = ranking_of(count, 12)
    written = polar.write_chart(ranking, tmp_path)
    assert [p.name for p in written] == ["chart.png", "chart.pdf"]
    assert check_type(pages[0])
    check_border(pages[0], 8)
    told = [t for ax in pages[0].axes for t in words_on(ax)]
    for i, pose in enumerate(ranking.poses):
        assert (f"{i + 1}  {pose.name}" if count > 1 else pose.name) in told
    if count > 1:
        assert any("too close to call" in t for t in told)


@pytest.mark.parametrize("count", [2, 4, 6])
def test_chart_of_poses_keys_its_letters(ranking_of: Callable[..., Ranking], tmp_path: Path,
                                         monkeypatch: pytest.MonkeyPatch, count: int) -> None:
    pages: list[Any] = []
    monkeypatch.setattr(ink, "save_figure", lambda figure, path, **how: pages.append(figure) or path)
    polar.write_chart(ranking_of(count, 24), tmp_path)
    letters = 0
    for ax in pages[0].axes:
        told = words_on(ax)
        for letter in (t for t in told if t in tuple("ABCDEF")):
            assert any(t.startswith(f"{letter} ") and (" to " in t or "all round" in t) for t in told), letter
            letters += 1
    told = [t for ax in pages[0].axes for t in words_on(ax)]
    assert letters and {"strong", "fair", "weak"} <= set(told)
    assert sum(t.startswith("Each wheel is seen from above") for t in told) == 1


@pytest.mark.parametrize("count", [1, 2])
def test_an_arc_is_marked_and_nothing_is_hatched_outside(ranking_of: Callable[..., Ranking], tmp_path: Path,
                                                         check_type: Any, monkeypatch: pytest.MonkeyPatch,
                                                         count: int) -> None:
    pages: list[Any] = []
    monkeypatch.setattr(ink, "save_figure", lambda figure, path, **how: pages.append(figure) or path)
    arc = (300.0, 60.0)
    poses = tuple(replace(p, round=walk_round(p.views, arc)) for p in ranking_of(count, 24).poses)
    polar.write_chart(Ranking(poses, arc=arc), tmp_path)
    check_type(pages[0])
    assert "only 300 to 60 counts" in [t for ax in pages[0].axes for t in words_on(ax)]
    wheels = pages[0].axes[:count]
    for ax in wheels:
        x, y = next(line.get_data() for line in ax.lines if len(line.get_xdata()) == 183)
        assert x[0] > x[-1] and max(y[1:-1]) < max(y[0], y[-1]) + 3, "the bracket lies under the figure, the front"
        hatched = [c for c in ax.collections if c.get_hatch() == "//////"]
        assert all(path.vertices[:, 1].max() < max(y) + 2 for c in hatched for path in c.get_paths())


def test_a_stop_taken_twice_stands_on_the_wheel_once(twice_pose: Pose) -> None:
    assert words_on(polar.draw_wheel(twice_pose)).count("0") == 1


def test_chart_files(pose_at: Callable[..., Pose], tmp_path: Path) -> None:
    polar.write_chart(Ranking((pose_at("akimbo", 8),)), tmp_path)
    assert sorted(p.name for p in tmp_path.iterdir()) == ["chart.pdf", "chart.png"]
    with Image.open(tmp_path / "chart.png") as picture:
        assert picture.size == (1650, 1333)
        assert "Software" not in picture.info
