"""The critique sheet: pages that can be printed at every size and hung on a wall."""

from __future__ import annotations

import shutil
import subprocess
from collections.abc import Callable
from dataclasses import replace
from pathlib import Path
from typing import Any

import pytest

from silhouette.reading.circle import walk_round
from silhouette.records import Note, Pose, Ranking, Reason, ReasonKind
from silhouette.settings import BAND_FAIR, BAND_STRONG
from silhouette.show import critique, words
from silhouette.show.critique import critique_pages, extremes
from silhouette.show.paper import page_points

needs_poppler = pytest.mark.skipif(shutil.which("pdffonts") is None, reason="poppler is not installed")


def type_on(page: Any) -> list[str]:
    return [t.get_text() for ax in page.axes for t in ax.texts]


@pytest.mark.parametrize(("count", "stops", "paper"), [(1, 8, "letter"), (1, 12, "a4"), (1, 16, "a4"), (2, 24, "a4"),
                                                       (2, 24, "letter"), (1, 24, "a3"), (1, 36, "a4")])
def test_pages_are_whole_and_legible(ranking_of: Callable[..., Ranking], check_type: Any, check_border: Any,
                                     count: int, stops: int, paper: Any) -> None:
    for page in critique_pages(ranking_of(count, stops), paper):
        assert check_type(page) > 10
        check_border(page, critique.MARGIN - 8)


@pytest.mark.parametrize("count", [1, 2, 3, 6, 7])
def test_a_page_a_pose_a_comparison_and_numbers(ranking_of: Callable[..., Ranking], check_type: Any,
                                                count: int) -> None:
    ranking = ranking_of(count if count < 7 else 6, 8)
    if count == 7:
        ranking = Ranking((*ranking.poses, ranking.poses[-1]))
    pages = critique_pages(ranking)
    comparisons = [p for p in pages if "Candidates, best first" in type_on(p)]
    numbers = [p for p in pages if any(t.startswith("The numbers") for t in type_on(p))]
    assert len(comparisons) == {1: 0, 7: 2}.get(count, 1)
    assert len(pages) == count + len(comparisons) + len(numbers)
    for page in comparisons:
        check_type(page)
    rows = sum(t.rstrip().endswith("%") for p in numbers for t in type_on(p))
    assert rows == sum(len(p.views) for p in ranking.poses)


def test_notes_on_the_page_of_numbers_are_whole(ranking_of: Callable[..., Ranking]) -> None:
    ranking = ranking_of(2, 8)
    note = Note.of("angles spread", count=8, span=360.0, last="one short", seen=False)
    poses = tuple(replace(pose, notes=(note,)) for pose in ranking.poses)
    last = " ".join(type_on(critique_pages(replace(ranking, poses=poses))[-1]))
    assert len(words.note(note)) > 150 and last.count(words.note(note)) == 2


def test_a_pose_page_says_what_is_wrong_and_what_to_try(pose_at: Callable[..., Pose]) -> None:
    pose = pose_at("akimbo", 24)
    page = critique_pages(Ranking((pose,)))[0]
    told = type_on(page)
    assert {"Weakest views", "Strongest views", "What to try", "Notes"} <= set(told)
    assert f"reads from {pose.round.reads_degrees} of 360 degrees" in told
    circled = [c for ax in page.axes for c in ax.collections if type(c).__name__ == "EllipseCollection"]
    assert circled, "the trouble is circled"
    ruled = [line for ax in page.axes for line in ax.lines if line.get_linewidth() == 0.5]
    assert len(ruled) >= 5, "room for handwriting"


def test_no_photographs(ranking_of: Callable[..., Ranking]) -> None:
    assert not any(ax.images for page in critique_pages(ranking_of(2, 8)) for ax in page.axes)


def test_extremes_are_never_the_same(pose_at: Callable[..., Pose]) -> None:
    pose = pose_at("akimbo", 24)
    weak, strong = extremes(pose)
    assert len(weak) == len(strong) == 3 and not {v.angle for v in weak} & {v.angle for v in strong}
    scores = [v.reading.readability for v in (*weak, *strong) if v.reading]
    assert max(scores[:3]) <= min(scores[3:])


@pytest.mark.parametrize("stops", [1, 2, 3, 5])
def test_few_views_make_a_page(pose_at: Callable[..., Pose], check_type: Any, stops: int) -> None:
    pose = pose_at("akimbo", stops)
    weak, strong = extremes(pose)
    assert 1 <= len(weak) + len(strong) <= min(stops, 6)
    check_type(critique_pages(Ranking((pose,)))[0])


def test_a_pose_with_everything_wrong_makes_a_page(odd_pose: Pose, check_type: Any) -> None:
    pages = critique_pages(Ranking((odd_pose,)))
    check_type(pages[0])
    assert any("cannot tell" in t for t in type_on(pages[-1]))


@needs_poppler
@pytest.mark.parametrize("paper", ["a4", "letter", "a3"])
def test_pdf_is_of_the_paper_and_carries_its_fonts(ranking_of: Callable[..., Ranking], tmp_path: Path,
                                                   paper: Any) -> None:
    path = critique.write_critique(ranking_of(2, 12), tmp_path / "critique.pdf", paper)
    assert [p.name for p in tmp_path.iterdir()] == ["critique.pdf"]
    fonts = subprocess.run(["pdffonts", path], capture_output=True, text=True, check=True).stdout.splitlines()[2:]
    assert fonts
    assert all(row[-20:].split()[0] == "yes" or " yes " in row[54:] for row in fonts), fonts
    info = subprocess.run(["pdfinfo", path], capture_output=True, text=True, check=True).stdout
    size = next(row for row in info.splitlines() if row.startswith("Page size"))
    width, height = (float(part) for part in size.split(":")[1].split("pts")[0].split("x"))
    assert (width, height) == pytest.approx(page_points(paper), abs=1)
    assert "CreationDate" not in info and "Author" not in info
    assert not [row for row in subprocess.run(["pdfimages", "-list", path], capture_output=True, text=True,
                                              check=True).stdout.splitlines()[2:] if row.strip()], "vector only"


def scored(pose: Pose, scores: list[float]) -> Pose:
    """The pose's views, evenly spread, with these readabilities."""
    views = []
    for i, (view, score) in enumerate(zip(pose.views, scores, strict=True)):
        assert view.reading
        band = "strong" if score >= BAND_STRONG else "fair" if score >= BAND_FAIR else "weak"
        views.append(replace(view, stop=replace(view.stop, index=i),
                             reading=replace(view.reading, readability=score, band=band)))
    return replace(pose, views=tuple(views))


def test_extremes_go_by_readability_and_never_skip_a_band(pose_at: Callable[..., Pose]) -> None:
    # 0 and 180 are weak and mirror one another; nothing else is: both are shown. 45 and 225 are the only strong ones.
    pose = scored(pose_at("akimbo", 8), [20, 90, 50, 52, 21, 91, 53, 54])
    weak, strong = extremes(pose)
    assert [v.angle for v in weak] == [0, 180, 90]
    assert [v.angle for v in strong] == [225, 45, 315]


def test_a_mirror_gives_way_to_a_view_as_good_only(pose_at: Callable[..., Pose]) -> None:
    weak, _ = extremes(scored(pose_at("akimbo", 8), [20, 23, 24, 90, 21, 91, 92, 93]))
    assert [v.angle for v in weak] == [0, 45, 90], "180 mirrors 0"
    weak, _ = extremes(scored(pose_at("akimbo", 8), [20, 30, 31, 90, 21, 91, 92, 93]))
    assert [v.angle for v in weak] == [0, 180, 45], "the others are too far behind"


def test_a_weakest_view_is_not_praised(pose_at: Callable[..., Pose]) -> None:
    pose = pose_at("reach_up", 8)
    praise = (Reason(ReasonKind.MOST_CLEAR),)
    views = [replace(v, reading=replace(v.reading, reasons=praise, band="fair", readability=50.0 + i))
             for i, v in enumerate(pose.views) if v.reading]
    told = " ".join(type_on(critique_pages(Ranking((replace(pose, views=tuple(views)),)))[0]))
    weakest, strongest = told.split("Weakest views")[1].split("Strongest views")
    assert "most limbs" not in weakest.replace("\n", " ") and "most limbs" in strongest


def test_a_pose_that_was_not_read_says_why(unread_pose: Pose, check_type: Any, check_border: Any) -> None:
    page = critique_pages(Ranking((unread_pose,)))[0]
    told = " ".join(type_on(page))
    assert "not read: two people are in every picture" in told
    assert "with only the model in view" in told and "is weak" not in told
    check_type(page)
    check_border(page, critique.MARGIN - 8)


def test_a_long_reason_is_broken_not_cut(unread_pose: Pose, check_type: Any) -> None:
    note = Note.of("not read", cause="two people", count=8, first=None)
    pose = replace(unread_pose, views=(), notes=(note,))
    page = critique_pages(Ranking((pose,)))[0]
    assert f"not read: {words.not_read(note).rstrip('.')}" in " ".join(type_on(page))
    check_type(page)


def test_of_an_arc_only_its_views_and_its_words(pose_at: Callable[..., Pose]) -> None:
    pose = pose_at("reach_up", 24, better=30)
    arc = (300.0, 60.0)
    pose = replace(pose, round=walk_round(pose.views, arc))
    weak, strong = extremes(pose, arc=arc)
    assert all(v.angle >= 300 or v.angle <= 60 for v in (*weak, *strong))
    told = type_on(critique_pages(Ranking((pose,), arc=arc))[0])
    assert "No stretch of the arc is weak." in " ".join(told) and "only 300 to 60 counts" in told


def test_a_stop_taken_twice_is_told_apart(twice_pose: Pose) -> None:
    pages = critique_pages(Ranking((twice_pose,)))
    assert sum(t.startswith("0 again ") for t in map(str.strip, type_on(pages[-1]))) == 1
    weak, strong = extremes(twice_pose)
    assert sum(v.angle < 1 for v in (*weak, *strong)) <= 1


def test_a_weak_view_is_no_strongest_view(pose_at: Callable[..., Pose]) -> None:
    pose = scored(pose_at("akimbo", 8), [20, 30, 70, 31, 32, 40, 41, 42])
    weak, strong = extremes(pose)
    assert [v.angle for v in strong] == [90] and len(weak) == 3
    told = type_on(critique_pages(Ranking((pose,)))[0])
    assert "Strongest view" in told and critique.NONE_READS not in told
    pose = scored(pose_at("akimbo", 8), [20, 30, 44, 31, 32, 40, 41, 42])
    assert len(extremes(pose)[1]) == 3
    told = type_on(critique_pages(Ranking((pose,)))[0])
    assert critique.NONE_READS in told and not any(t.startswith("Strongest") for t in told)
