"""The shoot check on one page: trouble marked in words, the hole where a stop is missing, the two onion skins."""

from __future__ import annotations

from collections.abc import Callable
from dataclasses import replace
from pathlib import Path
from typing import Any

import numpy as np
import pytest
from PIL import Image
from shapely import affinity

from silhouette.records import Outline, Pose, Stop
from silhouette.records_shoot import CheckReport, Finding
from silhouette.show.check_page import check_page, check_pages, draw_onion, draw_stops, verdict_of, write_check_page


def shoot(pose: Pose, angles: list[float], *findings: Finding) -> tuple[CheckReport, list[Outline | None]]:
    """A turn at these angles, drawn with the nearest view of the pose."""
    stops = tuple(Stop(i, Path("turn.mp4"), f"stop_{i:02d}", a % 360, "clip") for i, a in enumerate(angles))
    looks = [min(pose.views, key=lambda v: abs((v.angle - s.angle + 180) % 360 - 180)).outline for s in stops]
    return CheckReport("turn.mp4", stops, findings), looks


def finding(verdict: Any, stops: tuple[int, ...] = (), after: tuple[int, ...] = (),
            check: str = "held pose") -> Finding:
    kind = {"retake": "pose moved", "look": "pose moved", "unknown": "too few outlines", "pass": "pose held"}[verdict]
    values = (("way", "lower"), ("doubtful", ()), ("height_m", 1.7), ("far_round", True))
    return Finding(check, verdict, kind, stops, values, after, "arm height", 0.03)


def words_on(page: Any) -> list[str]:
    return [t.get_text() for ax in page.axes for t in ax.texts]


@pytest.mark.parametrize(("count", "paper"), [(8, "a4"), (13, "letter"), (25, "a4"), (25, "a3"), (37, "a4")])
def test_page_is_whole_and_legible(pose_at: Callable[..., Pose], check_type: Any, check_border: Any, count: int,
                                   paper: Any) -> None:
    angles = [i * 360 / (count - 1) for i in range(count)]
    report, looks = shoot(pose_at("reach_up"), angles, finding("retake", (3, 4)), finding("look", (6,)),
                          finding("unknown", check="camera height"), finding("pass", check="framing"))
    page = check_page(report, looks, paper)
    assert check_type(page) >= count
    check_border(page, 28)
    told = words_on(page)
    assert sum(t.endswith(" !") and t[0].isdigit() for t in told) == 2
    assert sum(t.endswith(" ?") and t[0].isdigit() for t in told) == 1
    assert "1 thing to retake" in told and "framing" in told
    assert any(t.startswith("camera height: Too few clear outlines") for t in told), "why it could not be told"
    said = " ".join(told)
    assert "lower than before by about 5 cm" in said and "Retake" in said and "the cut may also be wrong there" in said


def test_something_to_look_at_is_no_all_clear(pose_at: Callable[..., Pose]) -> None:
    report, looks = shoot(pose_at("reach_up"), [i * 45.0 for i in range(8)], finding("pass"), finding("look", (2,)))
    told = words_on(check_page(report, looks))
    assert "1 thing to look at" in told and "8 stops, no sure retake" in told
    assert not any("Nothing needs" in t for t in told)


def test_more_findings_than_room_are_named(pose_at: Callable[..., Pose], check_type: Any) -> None:
    many = [finding("retake", (i,), check=f"trouble {i}") for i in range(12)]
    report, looks = shoot(pose_at("reach_up"), [i * 30.0 for i in range(13)], *many)
    page = check_page(report, looks)
    check_type(page)
    assert any(t.startswith("And also: trouble") for t in words_on(page))


def test_the_worst_verdict_marks_a_stop(pose_at: Callable[..., Pose]) -> None:
    report, _ = shoot(pose_at("reach_up"), [0, 90, 180], finding("look", (1,)), finding("retake", (1,)),
                      finding("pass", (2,)))
    assert [verdict_of(report, i) for i in range(3)] == ["pass", "retake", "pass"]


@pytest.mark.parametrize("way", [1, -1])
def test_a_missing_stop_is_hatched_where_it_is_missing(pose_at: Callable[..., Pose], way: int) -> None:
    angles = [way * a for a in (0, 30, 60, 150, 180, 210, 240, 270, 300, 330)]
    report, looks = shoot(pose_at("reach_up"), angles, finding("retake", after=(2,)))
    ax = draw_stops(report, looks)
    assert sum(t.get_text() == "stop missing" for t in ax.texts) == 1
    hatched = next(c for c in ax.collections if c.get_hatch())
    corners = hatched.get_paths()[0].vertices - np.array(ax.transData.inverted().transform(
        ax.transAxes.transform((0.5, 0.5))))
    turned = np.degrees(np.arctan2(-corners[:, 0], -corners[:, 1])) % 360
    low, high = (60, 150) if way > 0 else (210, 300)
    assert turned.min() == pytest.approx(low, abs=0.5) and turned.max() == pytest.approx(high, abs=0.5)


def test_onion_skins_show_how_far_the_figure_moved(pose_at: Callable[..., Pose]) -> None:
    """The second outline is the first one, 40 pixels farther right."""
    report, looks = shoot(pose_at("reach_up"), [0.0, 360.0])
    first = looks[0]
    assert first
    moved = Outline(first.polygon, first.height_px, (first.origin_px[0] + 40, first.origin_px[1]), first.picture_size)
    ax = draw_onion(report.stops, [first, moved])
    filled, _, line = (c.get_paths()[0].get_extents() for c in ax.collections)
    scale = filled.height / first.height_px
    assert line.x0 - filled.x0 == pytest.approx(40 * scale)
    assert line.y0 == pytest.approx(filled.y0)
    assert "They should cover each other." in [t.get_text() for t in ax.texts]


def test_an_open_turn_says_that_the_skins_differ(pose_at: Callable[..., Pose]) -> None:
    report, looks = shoot(pose_at("reach_up"), [0.0, 90.0, 180.0, 270.0])
    told = " ".join(t.get_text() for t in draw_onion(report.stops, looks).texts)
    assert "90 degrees apart" in told


def test_a_stop_without_a_figure_is_left_empty(pose_at: Callable[..., Pose], tmp_path: Path) -> None:
    report, looks = shoot(pose_at("reach_up"), [0.0, 120.0, 240.0, 360.0], finding("unknown"))
    small = [None if look is None else Outline(affinity.translate(look.polygon, 0, 0), look.height_px, look.origin_px,
                                               look.picture_size) for look in looks]
    path = write_check_page(report, [None, *small[1:]], tmp_path / "check.png")
    with Image.open(path) as picture:
        assert picture.size == (1240, 1754) or picture.size == (1240, 1753)
    assert "It could not be checked" in words_on(check_page(report, [None] * 4))


@pytest.mark.parametrize("count", [9, 25, 36])
def test_rings_have_a_page_for_all_and_one_each(pose_at: Callable[..., Pose], check_type: Any, check_border: Any,
                                                count: int) -> None:
    angles = [i * 360 / count for i in range(count)]
    low, looks = shoot(pose_at("reach_up"), angles, finding("retake", (3,)), finding("pass", check="framing"))
    high, _ = shoot(pose_at("reach_up"), angles, finding("pass"), finding("pass", check="framing"))
    rings = tuple((ring, replace(one, stops=tuple(replace(s, ring=ring) for s in one.stops)))
                  for ring, one in (("low", low), ("high", high)))
    swapped = Finding.of("right ring", "retake", "stops exchanged", (1, count + 1), looks="high")
    whole = CheckReport("turn", tuple(s for _, one in rings for s in one.stops), (swapped,), (), rings)
    pages = check_pages(whole, looks * 2)
    assert len(pages) == 3
    for page in pages:
        check_type(page)
        check_border(page, 28)
    told = words_on(pages[0])
    assert "2 things to retake" in told and "Low ring" in told and "High ring" in told
    said = " ".join(told)
    assert "swapped with high" in said and "low ring, held pose" in said
    assert sum(t.endswith("!") and t[0].isdigit() for t in told) == 3, "in both rings, and in the low one"
    assert verdict_of(whole, 3) == verdict_of(whole, count + 1) == "retake" and verdict_of(whole, count + 3) == "pass"
    assert "turn, low ring" in words_on(pages[1])
