"""The plan's page: read back from the pdf and from what was drawn, for easy and for awkward rooms."""

from __future__ import annotations

import io
import itertools
import re

import pytest
from PIL import Image

from silhouette.plan.camera import make_plan
from silhouette.show import ink, words_plan
from silhouette.show.paper import PAPER_MM
from silhouette.show.plan_drawing import SCALES, scale_for, stand_in
from silhouette.show.plan_page import draw_plan_page, plan_page, write_plan_page

AWKWARD = [
    {},
    {"room_m": 2},
    {"room_m": 4.2},
    {"room_m": 12, "pose": "lying"},
    {"room_m": 3, "pose": "lying", "lens_mm": 50},
    {"pose": "lying", "stand_m": 0.6},
    {"pose": "arms raised", "lens_mm": 105, "room_m": 20, "stops": 36},
    {"pose": "seated", "stand_m": 0.4, "poses": 3, "room_m": 5, "stops": 36},
    {"distance_m": 20, "lens_mm": 300, "ratio": 12, "stops": 72, "hold_s": 30},
    {"height_m": 1.0, "room_m": 3.5, "orientation": "wide"},
    {"height_m": 1.3, "room_m": 4.2, "pose": "lying", "stand_m": 0.35, "ratio": 12, "pixels": (1080, 1920)},
]


def drawn_texts(figure):
    """(words, box in points) of every piece of type on the page."""
    figure.canvas.draw()
    renderer = figure.canvas.get_renderer()
    scale = 72 / figure.dpi
    found = []
    for ax in figure.axes:
        for text in ax.findobj(lambda artist: hasattr(artist, "get_fontsize")):
            if not (text.get_visible() and text.get_text().strip()):
                continue
            box = text.get_window_extent(renderer)
            found.append((text.get_text(), text.get_fontsize(), [v * scale for v in (box.x0, box.y0, box.x1, box.y1)]))
    return found


@pytest.mark.parametrize("ask", AWKWARD)
def test_nothing_is_cut_off_tiny_or_in_the_way(ask):
    with ink.style():
        figure = draw_plan_page(make_plan(**ask), paper="letter")  # the lowest page has the least room
        texts = drawn_texts(figure)
    width, height = (72 * side for side in figure.get_size_inches())
    assert len(texts) > 60
    for words, size, (x0, y0, x1, y1) in texts:
        assert size >= 8, words
        assert x0 >= 20 and x1 <= width - 20 and y0 >= 20 and y1 <= height - 20, words
    for (a, _, p), (b, _, q) in itertools.combinations(texts, 2):
        wide, high = min(p[2], q[2]) - max(p[0], q[0]), min(p[3], q[3]) - max(p[1], q[1])
        assert wide <= 0.5 or high <= 1.0, (a, b)


def test_page_says_what_the_plan_says():
    plan = make_plan(room_m=4.2)
    with ink.style():
        said = " ".join(words for words, _, _ in drawn_texts(draw_plan_page(plan)))
    for _, items in words_plan.checklist(plan):
        for item in items:
            assert all(word in said for word in item.split())
    assert "2.70 m" in said and "+29 %" in said
    for row in words_plan.ring_rows(plan):
        assert all(cell in said for cell in row)


@pytest.mark.parametrize(("ask", "paper", "drawn"), [
    ({"room_m": 8}, "a4", True), ({"room_m": 8}, "a3", True), ({"room_m": 4.2, "stand_m": 0.5}, "letter", False)])
def test_perspective_is_drawn_where_the_page_has_room_for_it(ask, paper, drawn):
    with ink.style():
        said = " ".join(words for words, _, _ in drawn_texts(draw_plan_page(make_plan(**ask), paper=paper)))
    assert ("beyond your room" in said) == drawn and "than middle" in said


@pytest.mark.parametrize("pose", ["standing", "lying"])
def test_the_cameras_of_all_rings_stand_in_the_side_view_at_their_heights(pose):
    plan = make_plan(pose=pose)
    with ink.style():
        figure = draw_plan_page(plan)
    side = figure.axes[2]
    stands = sorted((line.get_xydata() for line in side.lines if line.get_linewidth() == 1.0
                     and line.get_xydata()[0][0] == line.get_xydata()[1][0]), key=lambda ends: ends[1][1])
    drawn = [top[1] - foot[1] for foot, top in stands]
    wanted = [one.height / plan.rings[0].height for one in plan.rings]
    assert [high / drawn[0] for high in drawn] == pytest.approx(wanted)
    said = [text.get_text() for text in side.texts]
    assert all(f"{one.height:.2f} m" in said for one in plan.rings)


@pytest.mark.parametrize("size", PAPER_MM)
def test_page_size_is_the_paper(size):
    data = plan_page(make_plan(), paper=size)
    box = [float(v) for v in re.search(rb"/MediaBox \[([^]]+)\]", data).group(1).split()]
    assert [v / 72 * 25.4 for v in box[2:]] == pytest.approx(PAPER_MM[size], abs=0.1)
    assert data.count(b"/Type /Page ") == 1


def test_fonts_are_embedded_and_nothing_else_is_told():
    data = plan_page(make_plan())
    assert b"/FontFile2" in data and b"/Type3" not in data
    assert b"CreationDate" not in data and b"matplotlib" not in data.lower()


@pytest.mark.parametrize("paper", ["a4", "a3"])
def test_floor_is_drawn_to_the_scale_it_states(paper):
    with ink.style():
        figure = draw_plan_page(make_plan(), paper=paper)
    floor = figure.axes[1]
    points = floor.get_position().width * figure.get_size_inches()[0] * 72 / floor.get_xlim()[1]
    stated = next(int(m.group(1)) for t in floor.texts if (m := re.search(r"\(1:(\d+)\)", t.get_text())))
    # The backdrop line (the thickest) runs at picture height -1.5 m, the camera's box has its lens at +4.0 m.
    backdrop = max((line for line in floor.lines), key=lambda line: line.get_linewidth()).get_ydata()[0]
    camera = max(v[1] for v in floor.patches[-1].get_path().vertices)
    assert (backdrop - camera) * points / 72 * 25.4 * stated / 1000 == pytest.approx(5.5, abs=0.02)


def test_scale_is_the_largest_that_fits():
    assert scale_for(4, 6, 400, 400) == 50  # 6 m at 1:50 are 340 points, at 1:40 they are 425
    assert scale_for(4000, 4000, 10, 10) == SCALES[-1]


@pytest.mark.parametrize("pose", ["standing", "arms raised", "seated", "lying"])
def test_stand_in_has_the_height_of_the_pose(pose):
    _, top, _, foot = stand_in(pose).bounds
    assert foot - top == pytest.approx(make_plan(pose=pose).pose_height / 1.70, abs=0.06)


def test_png_holds_no_text_chunks(tmp_path):
    path = write_plan_page(make_plan(), tmp_path / "plan.png")
    data = path.read_bytes()
    assert data.startswith(b"\x89PNG")
    assert not any(kind in data for kind in (b"tEXt", b"iTXt", b"zTXt", b"eXIf", b"tIME"))
    with Image.open(path) as page, Image.open(io.BytesIO(plan_page(make_plan(), kind="png"))) as bare:
        assert page.tobytes() == bare.tobytes()
