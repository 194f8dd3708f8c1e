"""The inline drawings of the page: outlines that come back as they went in, a wheel with everything on it."""

from __future__ import annotations

import re
from collections.abc import Callable
from dataclasses import replace
from xml.etree import ElementTree

import numpy as np
import pytest
from shapely.geometry import Polygon

from silhouette.reading.circle import walk_round
from silhouette.records import Pose, Ranking
from silhouette.show import svg
from silhouette.show.report import report_html
from silhouette.show.wheel_svg import SIZE, wheel_for_page, wheel_svg

NUMBER = r"-?(?:\d+\.?\d*|\.\d+)"
"""A number as SVG reads one: ``5``, ``-.5``."""


def drawn_wheel(pose: Pose, arc: tuple[float, float] | None = None) -> str:
    return wheel_svg(pose, "p0", wheel_for_page(pose, arc))


def read_path(d: str) -> Polygon:
    """Path data of ``path_d`` back as a polygon, in figure heights."""
    rings = []
    for piece in d.split("z")[:-1]:
        start, steps = piece[1:].split("l")
        moves = np.array([float(n) for n in re.findall(NUMBER, steps)]).reshape(-1, 2)
        first = np.array([float(n) for n in re.findall(NUMBER, start)])
        rings.append(np.vstack([first, first + np.cumsum(moves, axis=0)]) / svg.UNIT)
    return Polygon(rings[0], rings[1:])


def test_a_path_comes_back_as_the_outline(pose_at: Callable[..., Pose]) -> None:
    for view in pose_at("akimbo", 24).views:
        assert view.outline
        polygon, back = view.outline.polygon, read_path(svg.path_d(view.outline.polygon)).buffer(0)
        assert len(polygon.interiors) == len(read_path(svg.path_d(polygon)).interiors)
        overlap = polygon.intersection(back).area / polygon.union(back).area
        assert overlap > 0.985, f"{view.angle}: {overlap}"


def test_a_hole_goes_the_other_way_round() -> None:
    """So that it stays a hole under either rule of filling."""
    square = Polygon([(0, 0), (0, 1), (1, 1), (1, 0)], [[(0.2, 0.2), (0.2, 0.4), (0.4, 0.4), (0.4, 0.2)]])
    d = svg.path_d(square)
    rings = [read_path(piece + "z").exterior for piece in d.split("z")[:-1]]
    assert [ring.is_ccw for ring in rings] in ([True, False], [False, True])


def test_wheel_is_sound_and_complete(odd_pose: Pose) -> None:
    drawn = drawn_wheel(odd_pose).replace("<svg ", '<svg xmlns="http://www.w3.org/2000/svg" ')
    tree = ElementTree.fromstring(drawn)
    space = "{http://www.w3.org/2000/svg}"
    figures = tree.findall(f".//{space}use")
    assert len(figures) == sum(v.outline is not None for v in odd_pose.views)
    assert {f.get("class") for f in figures} == {"seen", "inferred", "doubted"}
    words = [t.text for t in tree.findall(f".//{space}text")]
    assert {str(round(v.angle)) for v in odd_pose.views} <= set(words)
    assert len(tree.findall(f".//{space}g[@class='letter']")) == len(odd_pose.round.weak_arcs)
    bands = {p.get("class") for p in tree.findall(f".//{space}g[@class='ring']/{space}path")}
    assert "noview" in bands and "strong" in bands


@pytest.mark.parametrize("stops", [8, 24, 36])
def test_nothing_on_the_wheel_leaves_its_box(pose_at: Callable[..., Pose], stops: int) -> None:
    text = drawn_wheel(pose_at("reach_up", stops))
    width, height = SIZE
    for x, y in re.findall(r'<text data-i="\d+" x="([-\d.]+)" y="([-\d.]+)"', text):
        assert abs(float(x)) < width / 2 - 8 and abs(float(y)) <= height / 2


def test_names_are_escaped(pose_at: Callable[..., Pose]) -> None:
    assert '"<&' not in drawn_wheel(pose_at("akimbo", 8, called='"<&'))


def test_an_arc_is_bracketed_and_the_ring_is_pale_outside(pose_at: Callable[..., Pose]) -> None:
    pose = pose_at("akimbo", 24)
    assert "bracket" not in drawn_wheel(pose) and "aside" not in drawn_wheel(pose)
    pose = replace(pose, round=walk_round(pose.views, (300, 60)))
    ring = drawn_wheel(pose, (300, 60)).split('<g class="ring">')[1].split("</g>")[0]
    assert ring.count('class="bracket"') == 1 and ring.count('class="aside"') == 1


def test_the_page_speaks_of_the_arc_and_of_what_was_not_read(pose_at: Callable[..., Pose], unread_pose: Pose) -> None:
    pose = pose_at("reach_up", 24, better=30)
    pose = replace(pose, round=walk_round(pose.views, (300, 60)))
    page = report_html(Ranking((pose, unread_pose), arc=(300, 60)))
    assert "no stretch of the arc is weak" in page and "of the round is weak" not in page
    assert "Only 300 to 60 counts" in page
    assert "Nothing can be said: not read: two people are in every picture." in page


def test_paths_are_as_fine_as_the_page_can_show(pose_at: Callable[..., Pose]) -> None:
    """Off by less than a third of a pixel on a figure 800 pixels tall, rounding and all."""
    turn = np.linspace(0, 2 * np.pi, 2000, endpoint=False)
    wavy = np.column_stack([0.2 * np.sin(turn), 0.5 - (0.5 + 0.01 * np.cos(9 * turn)) * np.cos(turn)])
    for polygon in (Polygon(wavy), *(v.outline.drawn for v in pose_at("akimbo", 8).views if v.outline)):
        back = read_path(svg.path_d(polygon))
        assert back.hausdorff_distance(polygon) * 800 < 1 / 3 + 0.01
    assert svg.path_d(Polygon(wavy)).count(" ") + svg.path_d(Polygon(wavy)).count("-") < 800, "and no finer"
