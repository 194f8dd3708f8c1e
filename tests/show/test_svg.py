"""The inline drawings of the page: outlines that come back as they went in, a wheel with everything on it."""

from __future__ import annotations

import re
from collections.abc import Callable
from xml.etree import ElementTree

import numpy as np
import pytest
from shapely.geometry import Polygon

from silhouette.records import Pose
from silhouette.show import svg


def read_path(d: str) -> Polygon:
    """Path data of ``path_d`` back as a polygon, in figure heights."""
    rings = []
    for piece in d.split("z")[:-1]:
        start, steps = piece[1:].split("l")
        numbers = [int(n) for n in re.findall(r"-?\d+", steps)]
        moves = np.array(numbers).reshape(-1, 2)
        first = np.array([int(n) for n in re.findall(r"-?\d+", start)])
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
    drawn = svg.wheel_svg(odd_pose, "p0").replace("<svg ", '<svg xmlns="http://www.w3.org/2000/svg" ')
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
    text = svg.wheel_svg(pose_at("reach_up", stops), "p0")
    width, height = svg.WHEEL
    for x, y in re.findall(r'<text data-i="\d+" x="([-\d.]+)" y="([-\d.]+)"', text):
        assert abs(float(x)) < width / 2 - 8 and abs(float(y)) <= height / 2


def test_names_are_escaped(pose_at: Callable[..., Pose]) -> None:
    assert '"<&' not in svg.wheel_svg(pose_at("akimbo", 8, called='"<&'), "p0")
