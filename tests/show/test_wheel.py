"""The wheel as numbers, and that it keeps its shape on whatever axes it is drawn."""

from __future__ import annotations

import re
from collections.abc import Callable
from dataclasses import replace
from pathlib import Path
from typing import Any

import numpy as np
import pytest

from silhouette.geometry.angles import apart
from silhouette.reading.circle import walk_round
from silhouette.records import Pose, Ranking
from silhouette.show import check_page, critique, ink, overlay, polar, sheet
from silhouette.show.critique import extremes
from silhouette.show.groups import by_intent
from silhouette.show.report import report_html
from silhouette.show.wheel import wheel_of
from silhouette.show.wheel_layout import Room, largest_scale, lay_out
from silhouette.show.wheel_svg import wheel_for_page, wheel_svg

CHECK = Room(261, 191, lambda view: f"{view.angle:.0f}", lambda text: 5.6 * len(text) + 2, 13)
"""About what the check page leaves on A4."""
CHART = Room(250, 220, lambda view: f"{view.angle:.0f}", lambda text: 7.0 * len(text), 16.6)


def _ring_in_pixels(figure: Any, ax: Any) -> tuple[int, int]:
    """Width and height of the ring as rendered, everything else on the axes made invisible."""
    figure.canvas.draw()
    ring = max((c for c in ax.collections if len(c.get_paths()) == 1),
               key=lambda c: np.ptp(c.get_paths()[0].vertices[:, 0]) if len(c.get_facecolor()) and c.get_facecolor()[
                   0].sum() < 1.6 else 0)
    for artist in ax.get_children():
        artist.set_visible(artist is ring)
    figure.canvas.draw()
    box = ax.get_window_extent()
    pixels = np.asarray(figure.canvas.buffer_rgba())[::-1, :, :3].min(axis=2)
    dark = pixels[int(box.y0):int(box.y1) + 1, int(box.x0):int(box.x1) + 1] < 128
    rows, columns = np.flatnonzero(dark.any(axis=1)), np.flatnonzero(dark.any(axis=0))
    return int(np.ptp(columns)) + 1, int(np.ptp(rows)) + 1


@pytest.mark.parametrize("size", [(5, 9), (14, 10), (6, 8)])
@pytest.mark.parametrize("layout", ["constrained", "tight", None])
def test_the_ring_stays_round_in_any_layout(pose_at: Callable[..., Pose], layout: Any, size: tuple[int, int]) -> None:
    plt = pytest.importorskip("matplotlib.pyplot")
    figure, (ax, other) = plt.subplots(2, 1, figsize=size, layout=layout)
    other.set_title("something\nof the caller's own")
    other.plot([0, 1])
    drawn = polar.draw_wheel(pose_at("akimbo", 12, better=100), ax)
    figure.set_size_inches(size[0] * 1.2, size[1] * 0.8)
    wide, high = _ring_in_pixels(figure, ax)
    assert drawn is ax and abs(wide - high) <= 2 and wide > 20, (wide, high)
    assert len(figure.axes) == 2
    plt.close(figure)


def test_tight_layout_takes_the_axes_along(pose_at: Callable[..., Pose], recwarn: Any) -> None:
    plt = pytest.importorskip("matplotlib.pyplot")
    figure, axes = plt.subplots(1, 2, figsize=(9, 5))
    polar.draw_wheel(pose_at("akimbo", 12, better=100), axes[0])
    axes[1].set_ylabel("a long label\nof two lines")
    figure.tight_layout()
    wide, high = _ring_in_pixels(figure, axes[0])
    assert abs(wide - high) <= 2
    assert not [w for w in recwarn.list if "tight_layout" in str(w.message)]
    plt.close(figure)


def test_everything_is_set_anew_at_the_size_it_is_drawn(pose_at: Callable[..., Pose], ranking_of: Any) -> None:
    """What was drawn on small axes fills them when they have grown, and what the caller drew stays."""
    plt = pytest.importorskip("matplotlib.pyplot")
    pose, ranking = pose_at("akimbo", 12), ranking_of(2, 12)
    stops = [v.stop for v in pose.views]
    for draw in (lambda ax: polar.draw_wheel(pose, ax), lambda ax: sheet.draw_sheet(pose, ax),
                 lambda ax: overlay.draw_lines(ranking.poses, ax),
                 lambda ax: check_page.draw_onion(stops, [v.outline for v in pose.views], ax)):
        figure, ax = plt.subplots(figsize=(5, 5))
        own = ax.plot([0, 1], [0, 1])[0]
        assert draw(ax) is ax
        before = ax.get_xlim()[1]
        figure.set_size_inches(10, 10)
        figure.canvas.draw()
        assert ax.get_xlim()[1] == pytest.approx(2 * before) and own in ax.lines
        assert not [t for t in ax.texts if not 0 <= t.get_position()[1] <= ax.get_ylim()[1] + 1]
        assert max(t.get_position()[1] for t in ax.texts) > 0.9 * ax.get_ylim()[1]
        plt.close(figure)


@pytest.mark.parametrize("room", [CHECK, CHART], ids=["check", "chart"])
@pytest.mark.parametrize("name", ["akimbo", "reach_up"])
@pytest.mark.parametrize("stops", [8, 12, 24, 36])
def test_every_figure_stands_at_its_angle(pose_at: Callable[..., Pose], stops: int, name: str, room: Room) -> None:
    """On its own ray, its label nearer to it than to the next, a free way to the ring, not far out."""
    views = pose_at(name, stops).views
    layout = lay_out(views, room, largest_scale([views], room))
    for place in layout.places:
        label = np.degrees(np.arctan2(-place.x, -(place.feet - 8))) % 360
        assert apart(label, place.view.angle) < 0.8 * 360 / stops
        middle = np.degrees(np.arctan2(-place.x, -(place.feet + place.height / 2))) % 360
        assert apart(middle, place.view.angle) < 5
        assert place.pushed < 55 and place.way[1] > place.way[0], "points outward; a way to the ring that is clear"
    assert layout.tall > (24 if stops == 36 else 36)


def test_figures_are_tied_to_the_ring_by_lines_that_cross_nothing(pose_at: Callable[..., Pose]) -> None:
    wheel = wheel_of(pose_at("reach_up", 24), CHECK, 8)
    ways = [(figure, figure.way) for figure in wheel.figures if figure.way is not None]
    assert len(ways) > 8
    for figure, way in ways:
        assert np.hypot(*way[0]) == pytest.approx(wheel.ring + 2.5)
        for other in wheel.figures:
            if other is not figure:
                points = way[0] + np.linspace(0, 1, 50)[:, None] * (way[1] - way[0])
                inside = (np.abs(points[:, 0] - other.x) < other.half_width - 1.3) & (points[:, 1] > other.feet - 9) & (
                    points[:, 1] < other.feet + other.height)
                assert not inside.any()


@pytest.mark.parametrize("arc", [None, (300.0, 60.0), (90.0, 270.0)])
def test_both_painters_draw_the_same_wheel(odd_pose: Pose, arc: Any) -> None:
    """As many pieces of each kind, and every figure at its place, whichever way it is painted."""
    pose = replace(odd_pose, round=walk_round(odd_pose.views, arc))
    wheel = wheel_for_page(pose, arc)
    drawn = wheel_svg(pose, "p0", wheel)
    for kind in ("strong", "fair", "weak", "noview", "aside"):
        pieces = sum(band.kind.replace(" ", "") == kind for band in wheel.bands)
        assert len(re.findall(rf'class="{kind}(?: half)?"', drawn)) == pieces
    assert len(re.findall('class="notch"', drawn)) == len(wheel.notches) == sum(not v.inferred for v in pose.views)
    feet = {float(y) for y in re.findall(r'class="bar" d="M[-\d.]+ ([-\d.]+)h', drawn)}
    assert feet == {round(2 - figure.feet, 1) for figure in wheel.figures if figure.bar}
    tops = re.findall(r'<use [^>]*translate\(([-\d.]+) ([-\d.]+)\)', drawn)
    places = [(f.x, -f.feet - f.height) for f in wheel.figures if f.view.outline is not None]
    assert np.array(tops, float) == pytest.approx(np.array(places), abs=0.051)


def test_the_ring_and_the_weak_stretches_end_at_the_same_degree(pose_at: Callable[..., Pose]) -> None:
    """One definition of which degrees count: as in the round, a degree reaches to the next."""
    arc = (300.0, 60.0)
    pose = pose_at("akimbo", 24)
    pose = replace(pose, round=walk_round(pose.views, arc))
    wheel = wheel_of(pose, CHECK, 8, arc=arc)
    turned = [(band.kind, np.degrees(np.arctan2(-band.edge[:, 0], -band.edge[:, 1]))) for band in wheel.bands]
    counted = np.concatenate([degrees for kind, degrees in turned if kind != "aside"])
    assert counted.min() == pytest.approx(-60) and counted.max() == pytest.approx(60)
    weak = [(round(at.min()) % 360, round(at.max()) % 360) for kind, at in turned if kind == "weak"]
    assert weak and sorted(weak) == sorted((round(a.start), round(a.end)) for a in pose.round.weak_arcs)


@pytest.mark.parametrize("off", [0.0, 1e-9, -1e-9])
def test_a_weak_stop_at_the_end_of_the_arc_counts_for_all(pose_at: Callable[..., Pose], off: float) -> None:
    """The round, the critique, the bar on the wheel: a stop at 60 lies on the arc from 300 to 60, even a hair off."""
    arc = (300.0, 60.0)
    pose = pose_at("reach_up", 12, better=40)
    views = tuple(replace(v, stop=replace(v.stop, angle=60.0 + off), reading=replace(
        v.reading, readability=20.0, band="weak")) if v.angle == 60 and v.reading else v for v in pose.views)
    pose = replace(pose, views=views, round=walk_round(views, arc))
    assert pose.round.worst_angle == pytest.approx(60)
    assert extremes(pose, arc=arc)[0][0].angle == pytest.approx(60)
    assert [f.view.angle for f in wheel_of(pose, CHECK, 8, arc=arc).figures if f.bar] == [pytest.approx(60)]
    away = walk_round(views, (300.0, 59.0))
    assert away.worst_angle != pytest.approx(60)
    assert not [f for f in wheel_of(replace(pose, round=away), CHECK, 8, arc=(300.0, 59.0)).figures if f.bar]


# ------------------------------------------------------------------------------------------------ poses meant otherwise

def meant(ranking: Ranking, closed: int) -> Ranking:
    """The last ``closed`` poses meant closed, ranked among themselves."""
    open_count = len(ranking.poses) - closed
    poses = [replace(p, intent="closed", rank=i - open_count + 1) if i >= open_count else p
             for i, p in enumerate(ranking.poses)]
    return replace(ranking, poses=tuple(poses))


def test_poses_meant_otherwise_stand_under_a_heading(ranking_of: Callable[..., Ranking]) -> None:
    assert [heading for heading, _ in by_intent(ranking_of(4, 8))] == [""]
    groups = by_intent(meant(ranking_of(4, 8), 2))
    assert [(heading, [p.rank for p in poses]) for heading, poses in groups] == [
        ("", [1, 2]), ("Meant closed, ranked among themselves", [1, 2])]
    alone = by_intent(meant(ranking_of(4, 8), 1))
    assert [(heading, [p.rank for p in poses]) for heading, poses in alone] == [
        ("", [1, 2, 3]), ("Meant closed, not ranked against the others", [None])]
    all_closed = replace(meant(ranking_of(2, 8), 2), intent="closed")
    assert [heading for heading, _ in by_intent(all_closed)] == [""]


def test_every_page_has_the_heading_and_no_second_first(ranking_of: Callable[..., Ranking], monkeypatch: Any,
                                                        tmp_path: Path, check_type: Any) -> None:
    pages: list[Any] = []
    monkeypatch.setattr(ink, "save_figure", lambda figure, path, **how: pages.append(figure) or path)
    ranking = meant(ranking_of(5, 12), 1)
    polar.write_chart(ranking, tmp_path)
    sheet.write_sheet(ranking, tmp_path)
    comparison = next(p for p in critique.critique_pages(ranking) if "Candidates, best first" in words_on(p))
    for page in (pages[0], pages[2], comparison):
        told = " ".join(words_on(page))
        assert "Meant closed, not ranked against the others" in told
        assert told.count("1  ") <= 2, "the wheel and the line of the first"
        check_type(page)
    page = report_html(ranking)
    assert page.count('<optgroup label="Meant closed, not ranked against the others">') == 2
    assert len(re.findall(r'<option value="\d">1  ', page)) == 2, "one in each of the two lists"
    two = meant(ranking_of(5, 12), 2)
    assert len(re.findall(r'<option value="\d">1  ', report_html(two))) == 4


def words_on(page: Any) -> list[str]:
    return [t.get_text() for ax in page.axes for t in ax.texts]
