"""Whatever a pose is called, every page is made and shows the name; so it is whatever could not be measured."""

from __future__ import annotations

import json
import re
import subprocess
import sys
from collections.abc import Callable
from dataclasses import replace
from html.parser import HTMLParser
from pathlib import Path
from typing import Any
from xml.etree import ElementTree

import matplotlib
import numpy as np
import pytest
import shapely
from hypothesis import given, settings
from hypothesis import strategies as st
from matplotlib.text import Text

from silhouette import tables
from silhouette.export.svg import outline_svg
from silhouette.reading.circle import walk_round
from silhouette.records import CloseUp, Note, Outline, Pose, Ranking, Stop
from silhouette.records_shoot import CheckReport, Finding, SetFigure, SetLayout, SetView
from silhouette.show import check_page, critique, flip, ink, polar, report, set_sheets, sheet, table
from silhouette.show.paper import pages_pdf
from silhouette.texts import printable

NAMES = {
    "math": "$a_$", "broken math": "$\\frac{1}{$ ^", "command": "\\frac \\\\ %s {0} {{ x }} {% for %}", "power": "1²",
    "markup": "a&b<c>\"'d", "script": "</script><script>window.broken=1</script><!--<script>",
    "event": "\"><img src=x onerror=window.broken=1>", "lines": "one\ntwo\r\nthree\u2028four\u2029five", "tab": "a\tb",
    "control": "a\x00b\x07c\x1b[31md\x7fe\x9bf", "emoji": "keeper 👩\u200d🎤 ☂", "chinese": "渡し守の姿勢",
    "right to left": "שומר \u200f\u202eevil\u202c نص", "no text": "caf\udce9", "no letters": "\ufffe\uffff\ud800",
    "long": "a long name without an end " * 12, "long word": "W" * 300, "spaces": "   ",
    "formula": "=cmd|' /C calc'!A1",
}
hostile = pytest.mark.parametrize("name", NAMES.values(), ids=NAMES)
SQUARE = Outline(shapely.box(-0.2, 0, 0.2, 1), 400, (300, 100), (600, 600))


def ranking_called(name: str, pose_at: Callable[..., Pose]) -> Ranking:
    """Two poses of that name, which their notes and the problem of a view hold too."""
    note = Note.of("problem", text=f"{name}: broken.")
    pose = replace(pose_at("akimbo", 4, called=name, no_figure=(1,)), notes=(note,), tied_with=(name,))
    views = tuple(replace(v, problem=f"{name}: broken.") if v.problem else v for v in pose.views)
    return Ranking((replace(pose, views=views), replace(pose, rank=2)))


def check_called(name: str) -> CheckReport:
    stops = tuple(Stop(i, Path("x"), name, 60.0 * i, "name") for i in range(6))
    return CheckReport(name, stops, (Finding.of("doubled stops", "look", "same view twice", (0, 1), first=(0,)),))


def layout_called(name: str) -> SetLayout:
    figures = tuple(
        SetFigure(a, f"x_{a:03.0f}", shapely.box(-0.2, -1, 0.2, 0), (500.0, 300.0, 700.0),
                  SetView(a, name, "name", None, 1.0, (600, 800))) for a in (0.0, 120.0, 240.0))
    return SetLayout(name, figures, tuple((f.stem, f.view) for f in figures), (-0.2, -1, 0.2, 0),
                     (-0.26, -1.06, 0.26, 0.06), 0.125, 1.0, 1.72, True)


def words_on(figure: Any) -> list[str]:
    """Every text of a page that is drawn; none is set as a formula, none runs off the page."""
    figure.draw_without_rendering()
    wide, high = (side * figure.dpi for side in figure.get_size_inches())
    said = [text for text in figure.findobj(Text) if text.get_text() and text.get_visible()]
    for text in said:
        assert not text.get_parse_math() and not text.get_usetex()
        box = text.get_window_extent()
        assert box.x0 >= -0.5 and box.x1 <= wide + 0.5 and box.y0 >= -0.5 and box.y1 <= high + 0.5, text.get_text()
    return [text.get_text() for text in said]


def shown(name: str, words: list[str]) -> bool:
    """Whether a name stands among the words, whole or cut short with an ellipsis."""
    whole = printable(name)
    return any(whole in word or ("…" in word and whole[:6] in word) for word in words)


# -------------------------------------------------------------------------------------------------------------- names

@hostile
def test_every_printed_page_bears_any_name(name: str, pose_at: Callable[..., Pose]) -> None:
    ranking = ranking_called(name, pose_at)
    with ink.style():
        pages = [*critique.critique_pages(ranking), sheet.draw_sheet(ranking.poses[0]).figure,
                 check_page.check_page(check_called(name), [SQUARE] * 6)]
        for page in pages:
            assert shown(name, words_on(page))
        assert pages_pdf(pages, truetype=False).startswith(b"%PDF")


@pytest.mark.parametrize("name", [NAMES["broken math"], NAMES["control"], NAMES["no text"]])
def test_every_file_is_written_under_any_name(name: str, pose_at: Callable[..., Pose], tmp_path: Path) -> None:
    ranking = ranking_called(name, pose_at)
    for path in (*polar.write_chart(ranking, tmp_path), sheet.write_sheet(ranking, tmp_path),
                 critique.write_critique(ranking, tmp_path / "critique.pdf"),
                 report.write_report(ranking, tmp_path / "report.html"),
                 check_page.write_check_page(check_called(name), [SQUARE] * 6, tmp_path / "check.pdf")):
        assert path.stat().st_size > 1000


@hostile
def test_every_page_of_a_set_bears_any_name(name: str) -> None:
    layout = layout_called(name)
    for kind in ("pdf", "png"):
        assert len(set_sheets.contact_sheet(layout, kind=kind)) > 1000
    assert set_sheets.scale_sheets(layout, pose_mm=150, words="1:10", paper="a4", angles=[0]).startswith(b"%PDF")
    with ink.style():
        pages = [*set_sheets._contact_pages(layout, "a4", None), *set_sheets._sheets(
            layout.figures[0], layout, 150, "1:10", "a4")]
        for page in pages:
            assert shown(name, words_on(page))


@hostile
def test_the_terminal_shows_any_name_on_one_line(name: str, pose_at: Callable[..., Pose]) -> None:
    ranking = ranking_called(name, pose_at)
    for text in (table.score_table(ranking.poses[0]), table.rank_table(ranking), table.check_list(check_called(name))):
        assert text.encode() and max(map(len, text.split("\n"))) <= 80
        assert all(line.isprintable() or "\u200d" in line or "\u200f" in line for line in text.split("\n"))
    first = table.score_table(ranking.poses[0]).split("\n")[0]
    assert "reads from" in first or "too few" in first, "the verdict is not cut off by the name"


@given(st.text() | st.text(st.characters(min_codepoint=0, max_codepoint=0x2069, categories=["Cc", "Cf", "Cs", "Zs"])))
def test_what_is_printable_stands_on_one_line_in_any_format(text: str) -> None:
    said = printable(text)
    assert printable(said) == said and said.encode() is not None and len(said.splitlines()) <= 1
    assert not re.search("[\x00-\x1f\x7f-\x9f\u202a-\u202e\u2066-\u2069]", said)
    if text.isprintable():
        assert said == text


@pytest.mark.parametrize("faces", [ink.families()])
def test_letters_that_the_typeface_lacks_come_from_another(faces: tuple[str, ...]) -> None:
    assert faces[0] == "DejaVu Sans" and set(faces) <= set(ink.FACES)
    with ink.style():
        assert matplotlib.rcParams["font.family"] == list(faces)


def test_pages_look_the_same_whatever_the_caller_set(pose_at: Callable[..., Pose], tmp_path: Path) -> None:
    ranking = ranking_called("$a_$", pose_at)

    def written(where: str) -> list[bytes]:
        folder = tmp_path / where
        folder.mkdir()
        return [path.read_bytes() for path in (*polar.write_chart(ranking, folder),
                                               critique.write_critique(ranking, folder / "critique.pdf"))]

    plain = written("plain")
    odd = {"text.parse_math": True, "savefig.bbox": "tight", "font.family": "serif", "lines.linewidth": 9,
           "path.sketch": (1, 100, 2), "savefig.transparent": True, "text.usetex": False, "axes.unicode_minus": False}
    with matplotlib.rc_context(odd):
        assert written("odd") == plain


# -------------------------------------------------------------------------------------------------- pages of a browser

class Read(HTMLParser):
    """The elements, attributes and texts of a page as a browser would find them."""

    def __init__(self, page: str) -> None:
        super().__init__(convert_charrefs=True)
        self.tags: list[tuple[str, dict[str, str | None]]] = []
        self.texts: dict[str, list[str]] = {}
        self.inside = ""
        self.feed(page)
        self.close()

    def handle_starttag(self, tag: str, attrs: list[tuple[str, str | None]]) -> None:
        self.tags.append((tag, dict(attrs)))
        self.inside = tag

    def handle_data(self, data: str) -> None:
        self.texts.setdefault(self.inside, []).append(data)

    def shape(self) -> list[tuple[str, list[str]]]:
        """Elements with the names of their attributes: the same whatever the page tells."""
        return [(tag, sorted(attributes)) for tag, attributes in self.tags]


@hostile
def test_names_are_text_and_nothing_else_in_every_web_page(name: str, pose_at: Callable[..., Pose]) -> None:
    for make in (lambda called: report.report_html(ranking_called(called, pose_at)),
                 lambda called: report.fragment(ranking_called(called, pose_at)),
                 lambda called: flip.flip_page(layout_called(called))):
        page, plain = make(name), make("plain")
        assert page.encode()
        read = Read(page)
        assert read.shape() == Read(plain).shape()
        assert not any(key.startswith("on") for _, attributes in read.tags for key in attributes)
        assert any(printable(name).strip() in "".join(texts) for texts in read.texts.values())
        assert not re.search("[\x00-\x08\x0b\x0c\x0e-\x1f\x7f-\x9f\u202a-\u202e]", page)
        for wheel in re.findall(r'<svg class="wheel".*?</svg>', page, re.S):
            assert ElementTree.fromstring(wheel).find("title") is not None


@hostile
def test_data_in_a_script_says_what_was_said(name: str, pose_at: Callable[..., Pose]) -> None:
    page = report.report_html(ranking_called(name, pose_at))
    data = re.search(r'id="data">(.*?)</script>', page, re.S)
    assert data is not None and not re.search("[<>&\u2028\u2029]", data[1])
    told = json.loads(data[1])
    assert told[0]["name"] == name and told[0]["views"][1]["why"][0][0] == f"{name}: broken."


def test_no_word_of_a_template_is_taken_for_a_method() -> None:
    from silhouette.show import html

    environment = html._environment()
    words = [word for word in dir(dict) if not word.startswith("_")]
    page = environment.from_string(" ".join(f"{{{{ row.{word} }}}}" for word in words))
    assert page.render(row={word: f"<{word}>" for word in words}) == " ".join(f"&lt;{word}&gt;" for word in words)
    with pytest.raises(Exception, match="no attribute 'clear'"):
        environment.from_string("{{ row.clear }}").render(row={})


def test_the_numbers_of_the_report_are_numbers(pose_at: Callable[..., Pose]) -> None:
    page = report.report_html(Ranking((pose_at("akimbo", 8),)))
    rows = re.findall(r"<tr><td>.*?</td></tr>", page)
    cells = [re.findall(r"<td>(.*?)</td>", row) for row in rows]
    assert len(cells) == 8 and all(re.fullmatch(r"\d+", cell) for row in cells for cell in row[2:5])
    assert "object at 0x" not in page and "built-in" not in page


@given(st.text(max_size=40))
def test_any_name_leaves_an_outline_that_is_xml(name: str) -> None:
    layout = layout_called(name)
    drawn = ElementTree.fromstring(outline_svg(layout.figures[1], layout).encode())
    title = drawn.find("{http://www.w3.org/2000/svg}title")
    assert title is not None and title.text == f"{printable(name)} from 120 degrees"


@settings(max_examples=25, deadline=None)
@given(st.text(max_size=60))
def test_any_name_is_but_text_in_the_page_that_turns(name: str) -> None:
    read = Read(flip.flip_page(layout_called(name)))
    assert read.shape() == Read(flip.flip_page(layout_called("x"))).shape()
    assert printable(name) in "".join(read.texts.get("h1", [""]))


# --------------------------------------------------------------------------------------- what could not be measured

def nothing_scored(pose_at: Callable[..., Pose]) -> Pose:
    return pose_at("akimbo", 6, cannot=range(6))


def no_figure(pose_at: Callable[..., Pose]) -> Pose:
    return pose_at("akimbo", 6, no_figure=range(6))


def no_views(pose_at: Callable[..., Pose]) -> Pose:
    pose = pose_at("akimbo", 6)
    note = Note.of("not read", cause="no figure", count=1, first=None)
    return replace(pose, views=(), round=walk_round(()), notes=(note,))


def one_view(pose_at: Callable[..., Pose]) -> Pose:
    pose = pose_at("akimbo", 6)
    return replace(pose, views=pose.views[:1], round=walk_round(pose.views[:1]))


def numbers_missing(pose_at: Callable[..., Pose]) -> Pose:
    """Scored, but with measures or a reading that came to nothing on some views, and no plus-minus."""
    pose = pose_at("akimbo", 6)
    views = list(pose.views)
    views[0] = replace(views[0], measures=None)
    views[1] = replace(views[1], reading=None)
    views[2] = replace(views[2], measures=None, reading=None, outline=None)
    return replace(pose, views=tuple(views), reads_low=None, reads_high=None, rank=None, notes=())


LACKING = (nothing_scored, no_figure, no_views, one_view, numbers_missing)


@pytest.mark.parametrize("beside", [False, True], ids=["alone", "beside another"])
@pytest.mark.parametrize("lacking", LACKING, ids=lambda f: f.__name__)
def test_a_pose_that_lacks_numbers_is_shown_all_the_same(
    lacking: Callable[..., Pose], beside: bool, pose_at: Callable[..., Pose], tmp_path: Path
) -> None:
    pose = replace(lacking(pose_at), rank=None, reads_low=None, reads_high=None)
    ranking = Ranking((pose_at("akimbo", 6), pose)) if beside else Ranking((pose,))
    polar.write_chart(ranking, tmp_path)
    sheet.write_sheet(ranking, tmp_path)
    sheet.write_spaces(ranking, tmp_path)
    critique.write_critique(ranking, tmp_path / "critique.pdf")
    for page in critique.critique_pages(ranking):
        assert not [word for word in words_on(page) if re.search(r"\b(nan|None)\b", word)]
    html = report.report_html(ranking) + report.fragment(ranking)
    said = "".join(text for where in Read(html).texts.items() if where[0] not in ("script", "style")
                   for text in where[1])
    text = "\n".join([table.score_table(pose), table.rank_table(ranking)])
    assert not re.search(r"\b(nan|None)\b", said + text)
    assert json.loads(tables.to_json(tables.ranking_to_dict(ranking)))["poses"][-1]["rank"] is None
    assert tables.views_csv(ranking.poses).count("\n") >= 1


@pytest.mark.parametrize("of_headline", [False, True], ids=["beside", "headline"])
@pytest.mark.parametrize("lacking", LACKING, ids=lambda f: f.__name__)
def test_a_ring_that_lacks_numbers_is_drawn_all_the_same(lacking: Callable[..., Pose], of_headline: bool,
                                                         pose_at: Callable[..., Pose],
                                                         rings_at: Callable[..., Pose]) -> None:
    broken, pose = lacking(pose_at), replace(rings_at(), rank=None)
    if of_headline:
        pose = replace(pose, views=broken.views, round=broken.round, reads_low=None, reads_high=None)
    else:
        low = replace(pose.other_rings[0], views=broken.views, round=broken.round, reads_low=None, reads_high=None)
        pose = replace(pose, other_rings=(low, *pose.other_rings[1:]))
    pages = critique.critique_pages(Ranking((pose_at("akimbo", 6), pose)))
    told = [words_on(page) for page in [*pages, polar.draw_wheel(pose).figure]]
    assert not [word for page in told for word in page if re.search(r"\b(nan|None)\b", word)]
    assert any(word.startswith("High ring: reads from") for word in told[2])
    assert any(word.startswith("Low ring: ") for word in told[2])


@pytest.mark.parametrize("name", [NAMES[kind] for kind in ("broken math", "lines", "right to left", "long word")])
def test_the_pages_of_rings_bear_any_name(name: str, rings_at: Callable[..., Pose]) -> None:
    pose = replace(rings_at(called=name), close_ups=(CloseUp(printable(name), (Path("x.jpg"),)),))
    with ink.style():
        pages = critique.critique_pages(Ranking((pose,)))
        assert all(shown(name, words_on(page)) for page in pages)
        assert pages_pdf(pages, truetype=False).startswith(b"%PDF")


def test_a_check_without_a_figure_is_shown_all_the_same(tmp_path: Path) -> None:
    nothing = CheckReport("empty", (), ())
    for i, told in enumerate((nothing, check_called("x"))):
        assert table.check_list(told)
        check_page.write_check_page(told, [None] * len(told.stops), tmp_path / f"{i}.png")


# ------------------------------------------------------------------------------------------------------- a full disk

FULL = """
import resource, sys
from pathlib import Path
sys.path.insert(0, {tests!r})
from conftest import build_ranking
from silhouette.errors import OutputError
from silhouette.plan.camera import make_plan
from silhouette.show import critique, plan_page, polar, report, sheet
ranking, out = build_ranking(2, 6), Path({out!r})
writers = [lambda: critique.write_critique(ranking, out / "critique.pdf"), lambda: polar.write_chart(ranking, out),
           lambda: sheet.write_sheet(ranking, out), lambda: report.write_report(ranking, out / "report.html"),
           lambda: plan_page.write_plan_page(make_plan(), out / "plan.pdf")]
resource.setrlimit(resource.RLIMIT_FSIZE, (8192, resource.getrlimit(resource.RLIMIT_FSIZE)[1]))
for write in writers:
    try:
        write()
        print("written")
    except OutputError as error:
        print("told", error.__cause__)
"""


@pytest.mark.skipif(sys.platform == "win32", reason="no limit on the size of files there")
def test_a_full_disk_ends_every_page_with_a_sentence(tmp_path: Path) -> None:
    code = FULL.format(tests=str(Path(__file__).parent), out=str(tmp_path))
    done = subprocess.run([sys.executable, "-c", code], capture_output=True, text=True, check=False)
    assert [line.split()[0] for line in done.stdout.splitlines()] == ["told"] * 5, done.stdout + done.stderr
    assert "Traceback" not in done.stderr and "Exception" not in done.stderr
    assert list(tmp_path.iterdir()) == []


def test_numbers_of_a_layout_are_plain(pose_at: Callable[..., Pose]) -> None:
    """A short name is never cut: it has all the room that it had."""
    with ink.style():
        assert ink.fit_line("Hauling the rope", 200, 8) == "Hauling the rope"
        cut = ink.fit_line("W" * 5000, 200, 8)
    assert cut.endswith("…") and 190 < ink.text_width(cut, 8) <= 200
    assert np.isclose(ink.text_width("a" * 10, 8), 10 * ink.text_width("a", 8))
