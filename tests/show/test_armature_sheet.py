"""The printed armature, read back from the pdf in millimetres and in words."""

from __future__ import annotations

import re
import shutil
import subprocess
from dataclasses import replace

import cv2
import numpy as np
import pytest
import shapely
from hypothesis import given, settings
from hypothesis import strategies as st
from shapely.geometry import MultiPolygon

from silhouette.records import Note
from silhouette.records_space import Armature, Profile, Taped
from silhouette.show import armature_sheet as sheets
from silhouette.show.elevations import elevation, spread_out
from silhouette.show.ink import new_figure, page_axes, style
from silhouette.show.paper import PAPER_MM
from silhouette.show.true_size import Canvas
from silhouette.space import skeleton as sk
from tests.show.test_set_sheets import pages_of, paths_of, sizes_of
from tests.space.made import PLACES, armature_of, profiles, skeleton_of

NAMES = ("Hauling the rope", "$a_$ & <b>", "引き綱", "Тянуть канат", "حبل", "x" * 300, "\u202e\x00odd\nname")


BONES = [(f"{one} {side}", f"{other} {side}") for side, order in (("left", 1), ("right", -1)) for one, other in
         [pair[::order] for pair in (("hand end", "wrist"), ("wrist", "elbow"), ("elbow", "shoulder"))]]
BONES += [(f"{one} {side}", f"{other} {side}") for side in ("left", "right")
          for one, other in (("ankle", "knee"), ("knee", "hip"), ("ankle", "foot end"))]
"""Pieces of wire from joint to joint, each the way its wire runs."""


def pdf_of(made: Armature | None = None, paper: str = "a4", views=None) -> bytes:
    return sheets.armature_sheet(made or armature_of(), views=profiles() if views is None else views, paper=paper)


def words_of(pdf: bytes, tmp_path) -> str:
    if not shutil.which("pdftotext"):
        pytest.skip("needs pdftotext (poppler-utils)")
    file = tmp_path / "sheet.pdf"
    file.write_bytes(pdf)
    done = subprocess.run(["pdftotext", "-layout", str(file), "-"], capture_output=True, check=True)
    return " ".join(done.stdout.decode().split())


def has_step(paths: list[np.ndarray], wanted: tuple[float, float], within: float = 0.2) -> bool:
    """Whether any line of a page goes by ``wanted``, mm, from one point to the next."""
    return any(len(p) > 1 and (np.abs(np.diff(p, axis=0) - wanted) < within).all(axis=1).any() for p in paths)


# ----------------------------------------------------------------------------------------------------- true lengths

@pytest.mark.parametrize(("paper", "scale", "shrinkage"), [
    ("a4", 4.0, 0.0), ("letter", 4.0, 8.0), ("a3", 4.0, 0.0), ("a4", 12.0, 0.0), ("a3", 1.5, 2.0)])
def test_the_ruler_is_true_and_so_are_the_bones(paper, scale, shrinkage):
    made = armature_of(scale=scale, shrinkage=shrinkage)
    pages = [paths_of(page) for page in pages_of(pdf_of(made, paper))]
    ruled = [p for p in pages if any(len(q) == 2 and abs(np.ptp(q[:, 0]) - 100) < 0.2 and abs(np.ptp(q[:, 1])) < 0.01
                                     and 10 < q[0, 1] < 15 for q in p)]
    assert len(ruled) >= 1
    built = 1000 / scale / (1 - shrinkage / 100)
    for see in (lambda x, y, z: (x, z), lambda x, y, z: (-y, z), lambda x, y, z: (x, y)):
        ways = [np.subtract(see(*PLACES[b]), see(*PLACES[a])) * built for a, b in BONES]
        whole = [any(has_step(p, way) for p in ruled) for way in ways]
        assert sum(whole) >= 5, "a line that goes on to the next sheet ends at the paper's edge"


@pytest.mark.parametrize("paper", ["a4", "letter"])
def test_an_independent_reader_draws_the_ruler_and_the_figure_true(tmp_path, paper):
    """Drawn by poppler at ten pixels a millimetre and measured in the picture."""
    if not shutil.which("pdftoppm"):
        pytest.skip("needs pdftoppm (poppler-utils)")
    (tmp_path / "sheet.pdf").write_bytes(pdf_of(armature_of(scale=10.0), paper, profiles(0.0)))
    subprocess.run(["pdftoppm", "-r", "254", "-gray", "-f", "2", "-l", "2", str(tmp_path / "sheet.pdf"),
                    str(tmp_path / "page")], check=True)
    page = cv2.imread(str(next(tmp_path.glob("page*.pgm"))), cv2.IMREAD_GRAYSCALE)
    assert page.shape == pytest.approx([10 * side for side in PAPER_MM[paper][::-1]], abs=1)
    foot = page[-150:-110]
    lines = [np.ptp(np.flatnonzero(row < 128)) for row in foot if (row[85:1075] < 128).all()]
    assert lines and lines == pytest.approx([1000] * len(lines), abs=2), "a pixel is a tenth of a millimetre"
    framed = cv2.threshold(page, 240, 255, cv2.THRESH_BINARY_INV)[1]
    _, _, stats, _ = cv2.connectedComponentsWithStats(cv2.erode(framed, np.ones((9, 9))))  # without lines and words
    figure = max(stats[1:], key=lambda row: row[cv2.CC_STAT_AREA])
    left, low, right, top = profiles(0.0)[0].outline.bounds
    size = figure[[cv2.CC_STAT_WIDTH, cv2.CC_STAT_HEIGHT]] + 8
    assert size == pytest.approx([(right - left) * 1000, (top - low) * 1000], abs=4)


def test_the_outline_is_true():
    made = armature_of(scale=10.0)
    front = profiles()[0]
    found = [p for page in pages_of(pdf_of(made)) for p in paths_of(page) if len(p) > 60]
    left, low, right, top = np.array(front.outline.bounds) * 100
    assert any(np.ptp(p, axis=0) == pytest.approx([right - left, top - low], abs=0.1) for p in found)


@pytest.mark.parametrize("paper", PAPER_MM)
def test_pages_have_the_size_of_the_paper(paper):
    assert {tuple(sorted(round(v, 1) for v in size)) for size in sizes_of(pdf_of(paper=paper))} == {PAPER_MM[paper]}


def test_tiles_share_ten_millimetres_and_cover_the_figure():
    made = armature_of(scale=2.0)
    front = profiles()[0]
    frames, rings = [], []
    for page in pages_of(pdf_of(made, views=[front])):
        paths = paths_of(page)
        frame = [p for p in paths if 4 <= len(p) <= 5 and np.abs(p.min(axis=0) - (8, 22)).max() < 0.1]
        tall = pytest.approx(front.outline.bounds[3] * 500, abs=0.2)
        ring = [p for p in paths if len(p) > 60 and np.ptp(p[:, 1]) == tall]
        if frame and ring:
            x, y = ring[0].min(axis=0)
            (x0, y0), (x1, y1) = frame[0].min(axis=0), frame[0].max(axis=0)
            frames.append(shapely.box(x0 - x, y0 - y, x1 - x, y1 - y))
            rings.append(shapely.Polygon(ring[0] - (x, y)))
    assert len(frames) > 3
    assert shapely.union_all(frames).buffer(0.1).contains(rings[0])
    overlaps = [a.intersection(b).bounds for i, a in enumerate(frames) for b in frames[i + 1:] if a.intersects(b)]
    assert overlaps and all(min(x1 - x0, y1 - y0) == pytest.approx(10, abs=0.2) for x0, y0, x1, y1 in overlaps)


def test_a_drawing_for_hundreds_of_sheets_is_left_out_and_said(tmp_path):
    pdf = pdf_of(armature_of(scale=0.5), views=profiles(0.0))
    assert len(sizes_of(pdf)) < 8
    assert "Front elevation: left out, as it would take more than" in words_of(pdf, tmp_path)


# ------------------------------------------------------------------------------------------------------------ words

def test_what_a_sculptor_looks_for_is_there(tmp_path):
    said = words_of(pdf_of(), tmp_path)
    for wanted in ("Scale 1:4, built 425 mm high", "Cutting list", "Leg, figure's left", "knee 130", "crown 425",
                   "What outlines cannot know", "Common practice with soft aluminium wire", "Where the mass lies",
                   "never engineering", "Local rules and trained people come first", "100 mm long when printed"):
        assert wanted in said, wanted
    cut = [w.cut_mm for w in armature_of().wires]
    assert [float(x) for x in re.findall(r"cut (\d+) mm", said)] == pytest.approx(cut, abs=0.51)
    assert "shrinkage was given" in said and "leans" not in said


def test_both_sizes_are_printed_where_it_shrinks(tmp_path):
    said = words_of(pdf_of(armature_of(shrinkage=8.0)), tmp_path)
    assert "Finished: 1:4, 425 mm high" in said and "Built: 1:3.68, 462 mm high" in said
    assert "finished 425 mm after 8 % shrinkage" in said and "crown 462" in said


def test_what_is_missing_and_not_sure_is_said_with_its_reason(tmp_path):
    found = skeleton_of(missing=["knee left", "hand end right"], unsure=["elbow right"])
    said = words_of(pdf_of(armature_of(skeleton=found)), tmp_path)
    assert "Figure's left knee was not found: no outline shows it." in said
    assert "Figure's right elbow is not sure: only about 3 outlines show it." in said
    assert "The wire leads straight on to the next joint" in said and "elbow 312 ?" in said and "not found" in said


def test_a_leaning_figure_is_prompted(tmp_path):
    made = armature_of()
    made = replace(made, centre=(0.0, -0.8, 0.9), plumb=sk.plumb(made.skeleton, (0.0, -0.8, 0.9), made.footing))
    said = words_of(pdf_of(made), tmp_path)
    assert said.count("The figure leans: it needs a support from outside.") == 2 and "mm outside the ground" in said


def test_the_tape_is_held_against_the_lengths_and_nothing_is_replaced(tmp_path):
    tape = [Taped("hip left", "knee left", 480.0), Taped("knee left", "ankle left", 441.0)]
    made = armature_of(tape=tape)
    said = words_of(pdf_of(replace(made, tape_factor=sk.suggested(made.tape)), views=()), tmp_path)
    assert "Held against the tape" in said and "Nothing was changed" in said and "480 mm" in said
    used = words_of(pdf_of(replace(made, tape_factor=1.01, fitted_to_tape=True), views=()), tmp_path)
    assert "All sizes were taken from the tape" in used


@pytest.mark.parametrize("name", NAMES)
def test_any_name_can_stand_on_it(name):
    made = armature_of(name=name, notes=(Note.of("stops moved", names=[name, "045"]),))
    assert len(sizes_of(pdf_of(made, views=profiles(0.0)))) > 3


# ------------------------------------------------------------------------------------------------------- odd figures

@pytest.mark.parametrize("scale", [100.0, 40.0, 1.0])
def test_tiny_and_huge_pieces(scale):
    assert len(sizes_of(pdf_of(armature_of(scale=scale), "a3", profiles(90.0)))) >= 5


def test_small_pieces_share_a_page():
    """Overview, the three drawings on one page, cutting list, lengths, plumb line."""
    assert len(sizes_of(pdf_of(armature_of(scale=20.0)))) == 5


def test_nothing_but_an_outline(tmp_path):
    bare = armature_of(skeleton=skeleton_of(missing=sk.joint_names()), plumb=None, rules=None, footing=None, bends=())
    said = words_of(pdf_of(bare), tmp_path)
    assert "Too few joints were found for any wire." in said and "Where the mass lies" not in said


def test_no_footing_and_no_profile():
    made = armature_of()
    made = replace(made, footing=None, plumb=sk.plumb(made.skeleton, made.centre, None))
    assert len(sizes_of(pdf_of(made, views=profiles(90.0, None)))) > 5
    assert len(sizes_of(pdf_of(made, views=()))) >= 3
    assert len(sizes_of(pdf_of(made, views=[Profile(0.0, MultiPolygon())]))) >= 3
    assert len(sizes_of(pdf_of(made, views=profiles(None)))) >= 4


def test_nothing_is_told_in_the_file_and_it_is_the_same_every_time():
    pdf = pdf_of(views=profiles(0.0))
    assert b"CreationDate" not in pdf and b"matplotlib" not in pdf.lower() and b"/Subtype /Image" not in pdf
    assert pdf == pdf_of(views=profiles(0.0))


def test_words_stay_on_the_page():
    """No line of type on any page reaches over the paper's edge."""
    made = armature_of(name="x" * 200, shrinkage=8.0, skeleton=skeleton_of(missing=["knee left"], unsure=["crown"]),
                       tape=[Taped("shoulder left", "hand end right", 480.0)])
    with style():
        for figure in sheets.sheet_pages(made, profiles(), "letter"):
            figure.draw_without_rendering()
            width, height = figure.get_size_inches() * figure.dpi
            for text in figure.axes[0].texts:
                box = text.get_window_extent()
                if not text.get_clip_on():
                    assert box.x0 >= 0 and box.x1 <= width and box.y0 >= 0 and box.y1 <= height, text.get_text()


@pytest.mark.parametrize("angle", [0.0, 90.0])
@pytest.mark.parametrize("scale", [6.0, 14.0])
def test_words_beside_the_joints_do_not_lie_over_each_other(angle, scale):
    """Of a slim figure whose two sides lie over each other in profile."""
    places = {f"{joint} {side}": (sign * x, y, z) for side, sign in (("left", 1), ("right", -1)) for joint, x, y, z in (
        ("shoulder", 0.17, 0.0, 1.4), ("elbow", 0.2, 0.0, 1.1), ("wrist", 0.2, -0.1, 0.9), ("hand end", 0.2, -0.2, 0.8),
        ("hip", 0.09, 0.0, 0.9), ("knee", 0.1, 0.0, 0.5), ("ankle", 0.1, 0.0, 0.08), ("foot end", 0.1, -0.2, 0.02))}
    made = armature_of(scale=scale, skeleton=skeleton_of(places))
    slim = Profile(angle, MultiPolygon([shapely.box(-0.25, 0, 0.25, 1.7)]))
    with style():
        page = page_axes(new_figure(900, 1400), 0, 0, 900, 1400)
        elevation(made, slim, "a4").paint(Canvas(page, 400, 100))
        page.figure.draw_without_rendering()
        words = [text for text in page.texts if any(c.isdigit() for c in text.get_text())]
        boxes = [shapely.box(*text.get_window_extent().padded(-2).extents) for text in words]
    assert len(boxes) == 18
    crossing = [(a.get_text(), b.get_text()) for i, a in enumerate(words) for j, b in enumerate(words[:i])
                if boxes[i].intersects(boxes[j])]
    assert not crossing


@given(st.lists(st.floats(0, 400), max_size=20), st.floats(0.5, 10))
@settings(max_examples=60, deadline=None)
def test_labels_stand_apart_in_their_order(wanted, step):
    wanted = sorted(wanted)
    places = spread_out(wanted, step)
    assert len(places) == len(wanted) and (np.diff(places) >= step - 1e-6).all()
    if len(wanted) and (np.diff(wanted) >= step).all():
        assert places == pytest.approx(wanted)
