"""Sheets of a reference set, read back from the pdf in millimetres."""

from __future__ import annotations

import re
import zlib
from dataclasses import replace

import numpy as np
import pytest
import shapely
from shapely import affinity

from silhouette.records import RingCamera
from silhouette.records_shoot import SetCloseUp, SetFigure, SetLayout, SetRing, SetView
from silhouette.shape.outline import outline_of
from silhouette.show import set_sheets
from silhouette.show.paper import PAPER_MM
from silhouette.show.set_sheets import contact_sheet, scale_sheets

# A post 0.2 wide with a window in it and an arm from -0.5 to 0.3, one high, its feet on the ground line.
POST, ARM = shapely.box(-0.1, -1, 0.1, 0), shapely.box(-0.5, -0.7, 0.3, -0.6)
HOLE = shapely.box(-0.05, -0.4, 0.05, -0.2)
SHAPE = POST.union(ARM).difference(HOLE)


def layout_of(angles, shape=SHAPE) -> SetLayout:
    figures = tuple(
        SetFigure(float(a), f"keeper_{a:03d}", shape, (500.0, 300.0, 700.0),
                  SetView(float(a), f"{a:03d}", "name", None, 1.0, (600, 800)))
        for a in angles)
    left, top, right, bottom = shape.bounds
    return SetLayout("keeper", figures, tuple((f.stem, f.view) for f in figures), (left, top, right, bottom),
                     (left - 0.06, top - 0.06, right + 0.06, bottom + 0.06), 0.125, 1.0, 1.72)


def pages_of(pdf: bytes) -> list[str]:
    """What each page draws, in the pdf's own words."""
    packed = re.findall(rb"stream\r?\n(\x78.*?)\r?\nendstream", pdf, re.S)
    return [s.decode("latin-1") for s in map(zlib.decompress, packed) if s.startswith(b"/DeviceRGB CS")]


def paths_of(page: str) -> list[np.ndarray]:
    """Every path of a page, (n, 2), millimetres from its lower left corner."""
    found, now = [], []
    for x, y, verb in re.findall(r"^(-?[\d.]+) (-?[\d.]+) ([ml])$", page, re.M):
        if verb == "m":
            now = []
            found.append(now)
        now.append((float(x), float(y)))
    return [np.array(p) * 25.4 / 72 for p in found]


def figure_of(paths: list[np.ndarray]) -> np.ndarray:
    """The figure's outer ring: the only path with more corners than a frame has."""
    return next(p for p in paths if len(p) > 8)


def sizes_of(pdf: bytes) -> list[tuple[float, float]]:
    boxes = re.findall(rb"/MediaBox \[\s*0 0 ([\d.]+) ([\d.]+)", pdf)
    return [(float(w) / 72 * 25.4, float(h) / 72 * 25.4) for w, h in boxes]


@pytest.mark.parametrize("pose_mm", [215.0, 100.0, 430.0])
def test_lengths_on_paper_are_true(pose_mm):
    pdf = scale_sheets(layout_of([0]), pose_mm=pose_mm, words="1:4")
    page = paths_of(pages_of(pdf)[0])
    outer = figure_of(page)
    assert np.ptp(outer, axis=0) == pytest.approx([0.8 * pose_mm, pose_mm], abs=0.1)
    size = pytest.approx([0.1 * pose_mm, 0.2 * pose_mm], abs=0.1)
    hole = next(p for p in page if 3 < len(p) < 6 and np.ptp(p, axis=0) == size)
    assert hole[:, 0].min() - outer[:, 0].min() == pytest.approx(0.45 * pose_mm, abs=0.1)


def test_check_ruler_is_100_mm():
    for page in pages_of(scale_sheets(layout_of([0]), pose_mm=430, words="1:4")):
        lines = [p for p in paths_of(page) if len(p) == 2 and p[0, 1] == p[1, 1]]
        assert any(abs(np.ptp(p[:, 0]) - 100) < 0.05 and p[0, 1] < 20 for p in lines)


@pytest.mark.parametrize("paper", PAPER_MM)
def test_pages_have_the_size_of_the_paper(paper):
    pdf = scale_sheets(layout_of([0, 90]), pose_mm=180, words="1:9.6", paper=paper)
    assert {tuple(sorted(round(v, 1) for v in size)) for size in sizes_of(pdf)} == {PAPER_MM[paper]}
    assert len(sizes_of(pdf)) == 2


def test_tiles_cover_the_figure_and_agree_where_they_overlap():
    """Laid out by the plumb and the ground line, the sheets' frames cover the whole figure, sharing 10 mm."""
    pose_mm = 800.0
    pdf = scale_sheets(layout_of([0]), pose_mm=pose_mm, words="1:2.15")
    frames = []
    for page in pages_of(pdf):
        paths = paths_of(page)
        outer = figure_of(paths)
        assert np.ptp(outer, axis=0) == pytest.approx([0.8 * pose_mm, pose_mm], abs=0.1)
        plumb, ground = outer[:, 0].min() + 0.5 * pose_mm, outer[:, 1].min()
        frame = next(p for p in paths if 4 <= len(p) <= 5 and p.min() == pytest.approx(8, abs=0.1))  # mm from the edge
        (x0, y0), (x1, y1) = frame.min(axis=0), frame.max(axis=0)
        frames.append(shapely.box(x0 - plumb, ground - y1, x1 - plumb, ground - y0))
    figure = affinity.scale(SHAPE, pose_mm, pose_mm, origin=(0, 0))
    assert shapely.union_all(frames).buffer(0.1).contains(figure)
    overlaps = [a.intersection(b).bounds for i, a in enumerate(frames) for b in frames[i + 1:] if a.intersects(b)]
    assert all(min(x1 - x0, y1 - y0) == pytest.approx(10, abs=0.2) for x0, y0, x1, y1 in overlaps) and overlaps


def test_sheets_that_would_be_empty_are_left_out():
    bar = shapely.box(-0.02, -1, 0.02, 0).union(shapely.box(-0.02, -1, 0.6, -0.95))  # an L on its head
    full = len(sizes_of(scale_sheets(layout_of([0], shapely.box(-0.02, -1, 0.6, 0)), pose_mm=900, words="")))
    assert len(sizes_of(scale_sheets(layout_of([0], bar), pose_mm=900, words=""))) < full


def test_only_the_angles_asked_for():
    layout = layout_of(range(0, 360, 30))
    assert len(sizes_of(scale_sheets(layout, pose_mm=100, words="", angles=[0, 88, 181]))) == 3


def test_contact_sheet_shows_every_stop_in_order():
    layout = layout_of(range(0, 360, 10))
    (page,) = pages_of(contact_sheet(layout))
    figures = [p for p in paths_of(page) if len(p) > 8]
    assert len(figures) == 36
    assert {round(float(np.ptp(p, axis=0)[1]), 2) for p in figures} == {round(float(np.ptp(figures[0], axis=0)[1]), 2)}
    places = [(-round(p[:, 1].min()), round(p[:, 0].min())) for p in figures]
    assert places == sorted(places)


def test_many_stops_go_over_several_pages():
    assert len(sizes_of(contact_sheet(layout_of(range(0, 360, 3))))) == 3  # 120 stops, 42 on a page at the most
    assert len(sizes_of(contact_sheet(layout_of([0])))) == 1


def test_a_sheet_shows_photographs_or_black_shapes_never_both():
    layout = layout_of([0, 90])
    photos = {f.stem: np.full((112, 92, 3), 80, np.uint8) for f in layout.figures}
    without = contact_sheet(layout)
    assert len(sizes_of(without)) == 1 and b"/Subtype /Image" not in without
    with_photos = contact_sheet(layout, photos=photos)
    assert len(sizes_of(with_photos)) == 1 and b"/Subtype /Image" in with_photos
    assert not [p for p in paths_of(pages_of(with_photos)[0]) if len(p) > 8], "no black shape"


def test_nothing_is_told_in_the_files():
    for data in (contact_sheet(layout_of([0])), scale_sheets(layout_of([0]), pose_mm=100, words="")):
        assert b"CreationDate" not in data and b"matplotlib" not in data.lower() and b"/FontFile2" in data
    assert b"tEXt" not in contact_sheet(layout_of([0]), kind="png")


def test_columns_make_the_figures_largest():
    assert set_sheets._columns(24, 0.5, 500, 700) in (5, 6, 7)
    assert set_sheets._columns(1, 0.5, 500, 700) == 1


def test_a_contour_drawn_to_scale_keeps_every_bend():
    """Printed 860 mm high over several sheets, within 0.05 mm of a curve of 2,000 points."""
    turn = np.linspace(0, 2 * np.pi, 2000, endpoint=False)
    egg = shapely.Polygon(np.column_stack([0.15 * np.sin(turn), -0.5 + 0.5 * np.cos(turn)]))
    for page in pages_of(scale_sheets(layout_of([0], egg), pose_mm=860, words="1:2")):
        ring = next(p for p in paths_of(page) if len(p) > 100)
        drawn = shapely.Polygon(ring - (ring[:, 0].mean(), 0))
        placed = shapely.Polygon(np.asarray(egg.exterior.coords) * (860, -860))
        x, y = (a - b for a, b in zip(drawn.bounds[:2], placed.bounds[:2], strict=True))
        assert affinity.translate(placed, x, y).boundary.hausdorff_distance(drawn.boundary) < 0.05


def rounded(tall: float) -> shapely.Polygon:
    """A body with a limb that is nearly level and one that is nearly upright, pixels; no corner sharper than a
    finger's tip."""
    turn = np.linspace(0, 2 * np.pi, 4000, endpoint=False)
    trunk = shapely.Polygon(np.column_stack([
        300 + 0.16 * tall * np.sin(turn) * (1 + 0.3 * np.cos(turn)), 60.37 + tall / 2 * (1 - np.cos(turn))]))
    arm = shapely.LineString([(300, 60 + 0.35 * tall), (300 + 0.42 * tall, 60 + 0.39 * tall)]).buffer(0.035 * tall, 64)
    leg = shapely.LineString([(300, 60 + 0.7 * tall), (300 - 0.21 * tall, 60 + 0.95 * tall)]).buffer(0.05 * tall, 64)
    whole, r = trunk.union(arm).union(leg), 0.02 * tall
    return whole.buffer(r, 32).buffer(-r, 32)


def test_what_is_printed_lies_on_the_figure_and_shows_no_stairs():
    """From a mask through the outline to the paper: at 1:4 within 0.2 mm of the figure's edge, 0.1 mm nearly
    everywhere, and no corner that an eye could see."""
    figure = rounded(800.0)
    xs, ys = np.meshgrid(np.arange(760) + 0.5, np.arange(920) + 0.5)
    outline = outline_of(shapely.contains_xy(figure, xs, ys))
    layout = layout_of([0], affinity.translate(outline.drawn, 0, -1))
    pose_mm = 430.0
    page = pages_of(scale_sheets(layout, pose_mm=pose_mm, words="1:4"))[0]
    ring = figure_of(paths_of(page))
    k = pose_mm / outline.height_px
    true = np.asarray(figure.exterior.coords) * (k, -k)
    move = ring.min(axis=0) - (outline.drawn.bounds[0] * pose_mm, -outline.drawn.bounds[3] * pose_mm)
    placed = shapely.LinearRing(true + move - np.array(outline.origin_px) * (k, -k))
    line = shapely.LineString(ring)
    off = shapely.distance(placed, shapely.line_interpolate_point(line, np.arange(0, line.length, 0.2)))
    assert off.max() < 0.2 and np.quantile(off, 0.95) < 0.1
    steps = np.diff(ring[:-1], axis=0)
    turns = np.degrees(np.abs((np.diff(np.arctan2(steps[:, 1], steps[:, 0])) + np.pi) % (2 * np.pi) - np.pi))
    assert np.quantile(turns, 0.9) < 6 and turns.max() < 15


# ------------------------------------------------------------------------------------------------ rings and close-ups

def layout_of_rings() -> SetLayout:
    """6 low stops, 8 level ones, 50 high ones."""
    whole = layout_of(range(50))
    counts = (("low", 6), ("level", 8), ("high", 50))
    figures = tuple(replace(f, stem=f"keeper_{ring}_{i:03d}", view=replace(f.view, ring=ring))
                    for ring, count in counts for i, f in enumerate(whole.figures[:count]))
    rings = tuple(SetRing(ring, count, RingCamera("unknown")) for ring, count in counts)
    return replace(whole, figures=figures, views=tuple((f.stem, f.view) for f in figures), rings=rings)


def test_each_ring_has_pages_of_its_own_and_all_come_out_at_one_size():
    layout = layout_of_rings()
    with set_sheets.style():
        pages = list(set_sheets._contact_pages(layout, "a4", None))
    told = [[t.get_text() for t in page.axes[0].texts] for page in pages]
    assert [next(w for w in ("low", "level", "high") if f"{w} ring, " in words[1]) for words in told] == [
        "high", "high", "level", "low"]
    counts = [len(words) - 4 for words in told]  # under name and three lines an angle each
    assert counts[2:] == [8, 6] and sum(counts[:2]) == 50 and min(counts) > 0
    assert all("not known" in words[2] and "scale of its own" in words[1] for words in told)
    sizes = {tuple(np.ptp(path.vertices, axis=0).round(3)) for page in pages
             for shapes in page.axes[0].collections for path in shapes.get_paths() if len(path.vertices) > 8}
    assert len(sizes) == 1


def test_the_picture_of_a_contact_sheet_shows_every_ring(check_type):
    layout = layout_of_rings()
    with set_sheets.style():
        tall = set_sheets._tall_page(layout, "a4", None)
    assert [ax.texts[1].get_text().split(", ")[1] for ax in tall.axes] == ["low ring", "level ring", "high ring"]
    assert tall.get_size_inches()[1] == pytest.approx(3 * 297 / 25.4)
    assert check_type(tall) > 20


def close_up(number: int, name: str, size: tuple[int, int] = (90, 120)) -> SetCloseUp:
    pixels = np.full((*size, 3), (30, 60, 200), np.uint8)
    return SetCloseUp(name, f"keeper_closeup_{number}", lambda: pixels, pixels)


@pytest.mark.parametrize("count", [1, 4, 13])
def test_close_ups_stand_on_a_sheet_of_their_own_with_their_names(count, monkeypatch, check_type):
    drawn = []
    monkeypatch.setattr(set_sheets, "pages_pdf", lambda pages: drawn.extend(pages) or b"%PDF")
    shown = tuple(close_up(i, f"detail {i} " + "of a long name " * (i == 2), (90, 120) if i % 3 else (200, 80))
                  for i in range(count))
    set_sheets.close_up_sheet(replace(layout_of([0]), close_ups=shown))
    assert len(drawn) == (2 if count > 12 else 1)
    assert sum(len(page.axes[0].images) for page in drawn) == count
    for page in drawn:
        check_type(page)
        width, height = page.get_size_inches() * 72
        for image in page.axes[0].images:
            left, right, bottom, top = image.get_extent()
            tall, wide = image.get_array().shape[:2]
            assert (right - left) / (top - bottom) == pytest.approx(wide / tall)
            assert left > 30 and right < width - 30 and bottom > 30 and top < height - 70
    names = [t.get_text() for page in drawn for t in page.axes[0].texts]
    assert all(any(t.startswith(f"detail {i}") for t in names) for i in range(count))
