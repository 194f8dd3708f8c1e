"""What was found, as sheet, page and list: every hit with its words, the picture first, nothing fetched."""

from __future__ import annotations

import re
from collections.abc import Callable
from dataclasses import replace
from pathlib import Path
from typing import Any

import pytest
from PIL import Image
from shapely.geometry import box

from silhouette.geometry import mirror
from silhouette.records import CANNOT_TELL, Note, Pose
from silhouette.records_find import Asked, Found, Hit, LikePicture
from silhouette.show import ink, words_find
from silhouette.show.find_page import page_html
from silhouette.show.find_sheet import MARGIN, sheets, write_sheets
from silhouette.show.table import found_table

LOWER = Note.of("differs", by=0.06, part="picture left arm", way="lower")
WIDER = Note.of("differs", by=0.031, part="legs", way="wider")


def found_in(pose: Pose, count: int = 3, like: bool = True, **other: Any) -> Found:
    """Hits on views of a pose, as if on so many poses, every second one mirrored."""
    hits = []
    for i, view in enumerate(pose.views[:count]):
        assert view.outline is not None
        shape = view.outline.polygon if i % 2 == 0 else mirror.polygon(view.outline.polygon)
        hits.append(Hit(f"pose {i}", f"trials/pose {i}", "level", view.angle, like and i % 2 == 1,
                        max(0.0, 0.94 - 0.3 * i) if like else None, (LOWER, WIDER) if i and like else (), 200 - i, 360,
                        "fair", shape, shape if like else None))
    line = pose.views[0].outline
    assert line is not None
    picture = LikePicture("photo.jpg", "photograph", line) if like else None
    asked = Asked(like="photo.jpg") if like else Asked(reads=150, gap="big", arc=(300, 60))
    return Found(tuple(hits), asked, count, 12 * count, picture=picture, **other)


def words_on(pages: list[Any]) -> str:
    return " ".join(t.get_text() for page in pages for ax in page.axes for t in ax.texts)


@pytest.mark.parametrize(("count", "like", "paper"), [(1, True, "a4"), (11, True, "letter"), (13, True, "a4"),
                                                      (5, False, "a3"), (0, True, "a4")])
def test_sheets_are_whole_and_legible(
    pose_at: Callable[..., Pose], check_type: Any, check_border: Any, count: int, like: bool, paper: Any
) -> None:
    pages = list(sheets(found_in(pose_at("akimbo", 24), count, like), paper))
    assert len(pages) == (2 if count == 13 else 1)
    for page in pages:
        check_type(page)
        check_border(page, MARGIN - 8)
    said = words_on(pages)
    assert all(f"{i + 1}  pose {i}" in said for i in range(count))
    assert (words_find.YOUR_PICTURE in said) is like
    assert ("Nothing was found." in said) is (count == 0)


def test_a_pole_that_reaches_far_over_the_figure_stays_clear_of_the_heading(pose_at: Callable[..., Pose]) -> None:
    found = found_in(pose_at("akimbo", 24), 3)
    first = found.hits[0]
    assert first.laid is not None
    held = first.laid.union(box(-0.02, -0.5, 0.02, 0.5))
    (page,) = sheets(replace(found, hits=(replace(first, laid=held), *found.hits[1:])))
    (ax,) = page.axes
    top = max(path.vertices[:, 1].max() for drawn in ax.collections for path in drawn.get_paths())
    heading = [text for text in ax.texts if text.get_color() == ink.SOFT]
    page.canvas.draw()
    assert top < min(text.get_window_extent().transformed(ax.transData.inverted()).y0 for text in heading)


def test_a_hit_says_how_alike_from_where_and_what_differs(pose_at: Callable[..., Pose]) -> None:
    found = found_in(pose_at("akimbo", 24))
    for said in (words_on(list(sheets(found))), page_html(found), found_table(found)):
        said = " ".join(said.split())
        for words in ("very like it (0.94)", "like it (0.64)", "from 15, mirrored", "picture left arm 6 % lower",
                      "legs 3 % wider apart", words_find.NO_DIFFERENCE):
            assert words in said, words
    assert "as it is, from about 195" in page_html(found)


def test_the_sheet_is_written_as_pdf_and_png(pose_at: Callable[..., Pose], tmp_path: Path) -> None:
    write_sheets(found_in(pose_at("akimbo", 24)), tmp_path)
    assert (tmp_path / "sheet.pdf").read_bytes().startswith(b"%PDF")
    with Image.open(tmp_path / "sheet.png") as png:
        assert png.size[0] == pytest.approx(210 / 25.4 * 150, abs=2)


def test_the_page_draws_the_picture_and_lays_it_over_every_hit(pose_at: Callable[..., Pose]) -> None:
    page = page_html(found_in(pose_at("akimbo", 24)))
    assert len(re.findall(r'<path class="seen"', page)) == 4 and len(re.findall(r'<path class="laid"', page)) == 3
    assert "http" not in page.replace("http-equiv", "")
    plain = page_html(found_in(pose_at("akimbo", 24), like=False))
    assert len(re.findall(r'<path class="seen"', plain)) == 3 and '<path class="laid"' not in plain
    assert words_find.YOUR_PICTURE not in plain and "reads from 200 of 360 degrees" in plain


def test_the_list_is_as_wide_as_the_terminal(pose_at: Callable[..., Pose]) -> None:
    for like in (True, False):
        for width in (40, 80):
            lines = found_table(found_in(pose_at("akimbo", 24), 11, like), width).splitlines()
            assert max(map(len, lines)) <= width


def test_what_was_asked_heads_the_answer(pose_at: Callable[..., Pose]) -> None:
    assert words_find.title(found_in(pose_at("akimbo", 24), like=False)) == (
        "Poses found: reads from at least 150 degrees, has a big gap, only 300 to 60 counts")
    assert words_find.title(found_in(pose_at("akimbo", 24))) == "Poses like photo.jpg"


def test_names_cannot_break_out_of_the_page(pose_at: Callable[..., Pose]) -> None:
    found = found_in(pose_at("akimbo", 24), 1, left_out=(("<b>x</b>", "It is & stays dark."),))
    evil = Hit("</script><script>alert(1)</script>", "a", "level", 0.0, False, 0.5)
    page = page_html(Found((evil,), found.asked, 1, 1, picture=found.picture, left_out=found.left_out))
    assert "<script>alert" not in page and "<b>x</b>" not in page and "&lt;b&gt;x&lt;/b&gt; is left out." in page


def test_rings_are_named_where_a_hit_is_of_another_than_the_level_one(pose_at: Callable[..., Pose]) -> None:
    found = found_in(pose_at("akimbo", 24))
    assert "level ring" not in found_table(found)
    low = Hit("low", "trials/low", "low", 30.0, False, 0.2)
    said = found_table(Found((*found.hits, low), found.asked, 4, 40, picture=found.picture))
    assert "from 30, low ring" in said and "from 0, level ring" in said


def test_hits_of_which_none_is_like_it_are_said_to_be_so(pose_at: Callable[..., Pose]) -> None:
    found = found_in(pose_at("akimbo", 24))
    assert "None of them" not in words_find.looked_in(found)
    low = Hit("low", "trials/low", "level", 30.0, False, 0.09)
    assert words_find.looked_in(Found((low,), found.asked, 1, 1)).startswith("None of them is much like it.")
    assert "None of them" not in words_find.looked_in(found_in(pose_at("akimbo", 24), like=False))


@pytest.mark.parametrize(("value", "said"), [(1.0, "very like it"), (0.7, "very like it"), (0.69, "like it"),
                                             (0.2, "somewhat like it"), (0.0, "little like it")])
def test_likeness_has_words(value: float, said: str) -> None:
    assert words_find.how_like(value) == said


def test_a_cut_out_that_is_not_trusted_is_said(pose_at: Callable[..., Pose]) -> None:
    line = pose_at("akimbo", 24).views[0].outline
    assert line is not None
    said = words_find.picture(LikePicture("a.jpg", "photograph", line, (Note.of("picture", flag=CANNOT_TELL),)))
    assert said[0] == "a.jpg was taken as a photograph." and "not trusted" in said[1] and said[1].endswith(".")


def test_the_page_works_in_a_browser(pose_at: Callable[..., Pose], browser: Any, tmp_path: Path) -> None:
    path = tmp_path / "found.html"
    path.write_text(page_html(found_in(pose_at("akimbo", 24))), encoding="utf-8")
    browser.get(path.as_uri())
    shown = "return getComputedStyle(document.querySelector('.found li:not(.asked) .{}')).display"
    assert browser.execute_script(shown.format("laid")) != "none"
    browser.find_element("css selector", ".layers input[value=laid]").click()
    assert browser.execute_script(shown.format("laid")) == "none"
    assert browser.execute_script(shown.format("seen")) != "none"
    browser.find_element("css selector", "#look").click()
    assert browser.execute_script("return document.documentElement.dataset.look") in ("dark", "light")
    assert browser.execute_script("return document.documentElement.scrollWidth <= innerWidth")
    assert [line for line in browser.get_log("browser") if line["level"] == "SEVERE"] == []
