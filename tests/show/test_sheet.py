"""The contact sheet: order, one scale, one ground line, marks that need no colour."""

from __future__ import annotations

import re
from collections.abc import Callable
from dataclasses import replace
from pathlib import Path
from typing import Any

import numpy as np
import pytest
from PIL import Image

from silhouette.records import Pose, Ranking, RingCamera, View
from silhouette.show import ink, sheet


@pytest.mark.parametrize("stops", [1, 8, 12, 16, 24, 36])
def test_every_angle_is_written_in_order(pose_at: Callable[..., Pose], check_type: Any, check_border: Any,
                                         stops: int) -> None:
    pose = pose_at("reach_up", stops)
    ax = sheet.draw_sheet(pose)
    angles = [t.get_text() for t in ax.texts if t.get_text().isdigit()]
    assert angles == [str(round(v.angle)) for v in pose.views]
    check_type(ax.figure)
    check_border(ax.figure, 10)


def test_figures_stand_on_the_ground_line_at_one_scale(pose_at: Callable[..., Pose]) -> None:
    pose = pose_at("reach_up", 12)
    ax = sheet.draw_sheet(pose)
    paths = next(c for c in ax.collections if len(c.get_paths()) == 12).get_paths()
    boxes = [p.get_extents() for p in paths]
    grounds = {round(b.y0, 3) for b in boxes}
    assert len(grounds) == 1, "one row, one ground line"
    tall = max(v.outline.height_px for v in pose.views if v.outline)
    for view, box in zip(pose.views, boxes, strict=True):
        assert view.outline
        assert box.height / max(b.height for b in boxes) == pytest.approx(view.outline.height_px / tall, rel=0.01)


def test_weak_views_are_marked_in_words_and_texture(pose_at: Callable[..., Pose]) -> None:
    pose = pose_at("akimbo", 24)
    weak = sum(v.reading is not None and v.reading.band == "weak" for v in pose.views)
    ax = sheet.draw_sheet(pose)
    assert sum(t.get_text() == "weak" for t in ax.texts) == weak > 0
    assert [len(c.get_paths()) for c in ax.collections if c.get_hatch()] == [weak]


def test_odd_views_are_shown_but_marked(odd_pose: Pose) -> None:
    told = [t.get_text() for t in sheet.draw_sheet(odd_pose).texts]
    assert "cannot tell" in told and "no figure" in told
    assert any(t.endswith("inferred") for t in told)


@pytest.mark.parametrize("smaller", [1, 2])
def test_photographs_stand_at_the_figures_scale(pose_at: Callable[..., Pose], smaller: int) -> None:
    pose = pose_at("akimbo", 8)

    def photo(view: View) -> np.ndarray:
        assert view.outline
        width, height = view.outline.picture_size
        picture = np.full((height, width, 3), 200, np.uint8)
        x, y = view.outline.origin_px
        picture[round(y):round(y + view.outline.height_px), round(x) - 3:round(x) + 3] = 0
        return picture[::smaller, ::smaller]

    ax = sheet.draw_sheet(pose, photos=photo)
    assert len(ax.images) == 8
    ax.figure.canvas.draw()
    pixels = np.asarray(ax.figure.canvas.buffer_rgba())[..., :3].mean(axis=2)
    image = ax.images[0]
    left, right, bottom, top = image.get_extent()
    to_pixel = ax.transData.transform
    (x0, y0), (x1, y1) = to_pixel((left, bottom)), to_pixel((right, top))
    height = pixels.shape[0]
    piece = pixels[round(height - y1):round(height - y0), round(x0):round(x1)]
    column = piece[:, piece.shape[1] // 2]
    dark = np.flatnonzero(column < 100)
    assert len(column) - 1 - dark.max() <= 3, "feet on the ground line"
    tall = max(p.get_extents().height for c in sheet.draw_sheet(pose).collections for p in c.get_paths()
               if len(c.get_paths()) == 8)
    assert len(dark) / ax.figure.dpi * 72 == pytest.approx(tall, rel=0.05), "as tall as the black shape"


def test_one_scale_for_several_poses(ranking_of: Callable[..., Ranking], tmp_path: Path) -> None:
    path = sheet.write_sheet(ranking_of(3, 12), tmp_path)
    with Image.open(path) as picture:
        assert picture.width == round((sheet.WIDTH + 48) / 72 * 150)
        assert "Software" not in picture.info


def test_grid_makes_figures_as_large_as_the_box_allows() -> None:
    columns, tall = sheet.fit_grid(12, 0.5, 600, 200)
    assert columns == 12 or tall > (600 / 12 - sheet.BETWEEN) / 0.5
    for other in range(1, 13):
        rows = -(-12 // other)
        assert tall >= min((600 / other - sheet.BETWEEN) / 0.5, 200 / rows - sheet.BELOW - sheet.ABOVE) - 1e-9


def test_composes_on_given_axes(pose_at: Callable[..., Pose]) -> None:
    figure = ink.new_figure(500, 400)
    ax = figure.add_subplot()
    assert sheet.draw_sheet(pose_at("akimbo", 8), ax) is ax


def test_negative_spaces_alone(pose_at: Callable[..., Pose], tmp_path: Path) -> None:
    pose = pose_at("akimbo", 8)
    ax = sheet.draw_sheet(pose, spaces=True)
    enclosed = sum(len(v.measures.gaps_enclosed) for v in pose.views if v.measures)
    black = [c for c in ax.collections if c.get_facecolor().size and tuple(c.get_facecolor()[0][:3]) == (
        31 / 255, 26 / 255, 23 / 255) and c.get_linewidth()[0] == 0.5]
    assert sum(len(c.get_paths()) for c in black) == enclosed > 0
    assert not [c for c in ax.collections if len(c.get_paths()) == 8 and c.get_facecolor().size], "no figure is drawn"
    assert sheet.write_spaces(Ranking((pose,)), tmp_path).name == "spaces.png"


def test_a_stop_taken_twice_is_told_apart(twice_pose: Pose) -> None:
    told = [t.get_text() for t in sheet.draw_sheet(twice_pose).texts]
    assert told.count("0") == 1 and told.count("0 again") == 1


def test_the_sheet_of_spaces_says_what_it_shows(pose_at: Callable[..., Pose], tmp_path: Path, check_type: Any,
                                                monkeypatch: pytest.MonkeyPatch) -> None:
    pages: list[Any] = []
    monkeypatch.setattr(ink, "save_figure", lambda figure, path, **how: pages.append(figure) or path)
    sheet.write_spaces(Ranking((pose_at("akimbo", 8),)), tmp_path)
    sheet.write_sheet(Ranking((pose_at("akimbo", 8),)), tmp_path)
    spaces, plain = ([t.get_text() for ax in page.axes for t in ax.texts] for page in pages)
    assert {"The spaces alone", "enclosed gap", "open gap", sheet.SPACES} <= set(spaces)
    assert not {"The spaces alone", "enclosed gap"} & set(plain)
    key = pages[0].axes[0].collections
    assert [tuple(round(255 * c) for c in k.get_facecolor()[0][:3]) for k in key] == [(31, 26, 23), (157, 148, 139)]
    check_type(pages[0])


# ------------------------------------------------------------------------------------------------------ several rings


def figures_by_ring(ax: Any, pose: Pose) -> dict[str, list[Any]]:
    """Boxes of the figures that were read, by the ring in whose rows they stand, from the top down."""
    heads = sorted(((t.get_position()[1], t.get_text().split()[0].lower()) for t in ax.texts
                    if re.match(r"(Low|Level|High) ring", t.get_text())), reverse=True)
    boxes = [path.get_extents() for c in ax.collections for path in c.get_paths() if path.get_extents().height > 20]
    found: dict[str, list[Any]] = {ring: [] for _, ring in heads}
    for box in boxes:
        found[[ring for y, ring in heads if y > box.y0][-1]].append(box)
    return found


def test_each_ring_has_rows_of_its_own_under_its_name(rings_at: Callable[..., Pose], check_type: Any) -> None:
    pose = rings_at()
    ax = sheet.draw_sheet(pose)
    check_type(ax.figure)
    told = [t.get_text() for t in ax.texts]
    reads = {one.ring: one.round for one in pose.rings}
    assert told[0].startswith("akimbo   reads from") and "from below" in told[0]
    assert [text for text in told if " ring" in text] == [
        f"Level ring: {reads['level'].reads_degrees} of 360 degrees",
        f"Low ring, from below: {reads['low'].reads_degrees} of 360 degrees",
        f"High ring, from above: {reads['high'].reads_degrees} of {reads['high'].counted_degrees} degrees"]
    assert sum(t.isdigit() for t in told) == len(pose.all_views), "every view of every ring"
    assert {ring: len(boxes) for ring, boxes in figures_by_ring(ax, pose).items()} == {
        one.ring: len(one.views) for one in pose.rings}


def test_rings_are_as_tall_as_each_other_until_the_cameras_are_known(rings_at: Callable[..., Pose]) -> None:
    pose = rings_at()
    tallest = {ring: max(b.height for b in boxes)
               for ring, boxes in figures_by_ring(sheet.draw_sheet(pose), pose).items()}
    assert tallest["low"] == pytest.approx(tallest["level"], rel=0.01) == pytest.approx(tallest["high"], rel=0.01)


def test_from_twice_as_far_off_a_figure_is_drawn_as_tall_as_it_is(rings_at: Callable[..., Pose]) -> None:
    pose = rings_at()
    far = {"low": 4.0, "level": 2.0, "high": 2.0}
    cameras = {ring: RingCamera("outlines", 0.6, distance=away, waist=0.6) for ring, away in far.items()}
    placed = replace(pose, camera=cameras["level"],
                     other_rings=tuple(replace(one, camera=cameras[one.ring]) for one in pose.other_rings))
    px = {one.ring: ink.tallest_px(one.views) for one in pose.rings}
    drawn = {ring: max(b.height for b in boxes)
             for ring, boxes in figures_by_ring(sheet.draw_sheet(placed), placed).items()}
    assert drawn["low"] / drawn["level"] == pytest.approx(2 * px["low"] / px["level"], rel=0.01)
    assert drawn["high"] / drawn["level"] == pytest.approx(px["high"] / px["level"], rel=0.01)


def test_all_rings_fit_into_the_axes_that_are_given(rings_at: Callable[..., Pose], check_type: Any) -> None:
    for size in ((500, 700), (900, 420)):
        figure = ink.new_figure(*size)
        ax = sheet.draw_sheet(rings_at(), ink.page_axes(figure, 10, 10, size[0] - 20, size[1] - 20))
        assert min(box.y0 for c in ax.collections for box in [c.get_paths()[0].get_extents()]) >= 0
        assert max(b.height for boxes in figures_by_ring(ax, rings_at()).values() for b in boxes) > 20


def test_sheets_of_several_rings_are_written(rings_at: Callable[..., Pose], pose_at: Callable[..., Pose],
                                             tmp_path: Path) -> None:
    ranking = Ranking((rings_at(), replace(pose_at("reach_up", 8), rank=2)))
    for write in (sheet.write_sheet, sheet.write_spaces):
        with Image.open(write(ranking, tmp_path)) as picture:
            assert np.asarray(picture.convert("L")).min() < 60
