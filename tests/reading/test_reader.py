"""The reader on rendered views it never saw, and on changes that must not matter."""

from __future__ import annotations

import json
from dataclasses import replace
from functools import cache
from pathlib import Path
from typing import Any

import numpy as np
import pytest
from numpy.typing import NDArray
from scipy.stats import spearmanr
from shapely import affinity
from shapely.geometry import Point, Polygon, box
from shapely.ops import unary_union

from silhouette.errors import CutterError
from silhouette.geometry import framed as geometry_framed
from silhouette.reading import reader
from silhouette.records import BodyReading, Outline
from silhouette.records_space import PointBells
from silhouette.shape.outline import outline_of

DATA = Path(__file__).parents[1] / "data" / "reader" / "views.json"
Values = NDArray[np.float64]
VIEWS: list[dict[str, Any]] = json.loads(DATA.read_text())


def outline(view: dict[str, Any]) -> Outline:
    polygon = Polygon(view["rings"][0], view["rings"][1:])
    return Outline(polygon, view["height_px"], tuple(view["origin_px"]), tuple(view["picture_size"]))


def truth(view: dict[str, Any]) -> list[float]:
    t = view["limb_legibility"]
    return [t["head"], *sorted((t["arm_l"], t["arm_r"])), *sorted((t["leg_l"], t["leg_r"]))]


def told(body: BodyReading) -> list[float]:
    limbs = body.limb_legibility
    return [limbs.head, *limbs.arms, *limbs.legs]


def of(polygon: Polygon) -> Outline:
    return Outline(polygon, 500.0, (300.0, 50.0), (600, 800))


def test_it_follows_the_true_legibility() -> None:
    said = np.array([told(reader.read_body(outline(v))) for v in VIEWS])
    true = np.array([truth(v) for v in VIEWS])
    assert spearmanr(said.ravel(), true.ravel()).statistic > 0.8
    assert spearmanr(said.mean(1), true.mean(1)).statistic > 0.9
    assert np.abs(said - true).mean() < 0.07


@cache
def kept_out() -> tuple[list[BodyReading], Values, Values, Values, Values]:
    """Bodies read; legibility told and true (n, 5); distance of joints and spread told (n, 9), figure heights."""
    with np.load(DATA.parent / "kept_out.npz") as f:
        masks, legibility, joints = np.unpackbits(f["masks"], axis=2) > 0, f["legibility"], f["joints"]
    lines = [line for line in map(outline_of, masks) if line is not None]
    bodies = [reader.read_body(line) for line in lines]
    true = np.column_stack([legibility[:, 0], np.sort(legibility[:, 1:3]), np.sort(legibility[:, 3:5])])
    size = np.array([np.array(line.picture_size) / line.height_px for line in lines])
    places = np.array([[(j.x, j.y) for j in body.joints] for body in bodies])
    spread = np.array([[j.spread for j in body.joints] for body in bodies])
    off = np.linalg.norm((places - joints) * size[:, None], axis=2)
    for i in range(1, 9, 2):
        other = np.linalg.norm((places[:, [i + 1, i]] - joints[:, [i, i + 1]]) * size[:, None], axis=2)
        swap = other.sum(1) < off[:, i : i + 2].sum(1)
        off[swap, i : i + 2], spread[swap, i : i + 2] = other[swap], spread[swap][:, [i + 1, i]]
    return bodies, np.array([told(b) for b in bodies]), true, off, spread


def test_it_reads_poses_and_bodies_it_never_saw() -> None:
    _, said, true, _, _ = kept_out()
    for limbs, least in ((5, 0.96), (2, 0.93), (1, 0.85)):
        worst = [np.sort(values)[:, :limbs].mean(1) for values in (said, true)]
        assert spearmanr(*worst).statistic > least
    assert abs(float((said - true).mean())) < 0.03


def test_joints_lie_where_it_says_nine_times_in_ten() -> None:
    bodies, _, _, off, spread = kept_out()
    assert np.median(off) < 0.012
    assert 0.87 < np.mean(off < spread) < 0.98
    sure = np.array([[j.sure for j in body.joints] for body in bodies])
    assert np.mean(off[sure > 0.95] < reader.PLACED) > 0.97
    assert abs(np.mean(sure) - np.mean(off < reader.PLACED)) < 0.04


def test_it_takes_whole_bodies_for_bodies() -> None:
    assert all(reader.read_body(outline(v)).unlike < reader.UNLIKE for v in VIEWS)


@pytest.mark.parametrize("shape", [
    Point(0, 0.5).buffer(0.5), box(-0.3, 0, 0.3, 1),
    unary_union([box(-0.6, 0.2, 0.6, 0.6), *(box(x, 0.5, x + 0.08, 1.0) for x in (-0.55, -0.35, 0.3, 0.5)),
                 box(0.55, 0, 0.8, 0.3)]),
], ids=["boulder", "board", "table"])
def test_it_stands_aside_before_other_things(shape: Polygon) -> None:
    assert reader.read_body(of(shape)).unlike > reader.UNLIKE


def test_joints_lie_on_the_figure_and_where_they_must() -> None:
    view = next(v for v in VIEWS if v["pose"] == "akimbo" and v["angle"] == 0)
    line = outline(view)
    body = reader.read_body(line)
    assert [j.joint for j in body.joints] == list(reader.POINTS[: reader.NINE])
    size, origin = np.array(line.picture_size), np.array(line.origin_px)
    places = [(np.array((j.x, j.y)) * size - origin) / line.height_px for j in body.joints]
    near = line.polygon.buffer(0.02)
    assert all(near.contains(Point(p)) for p in places)
    head, hands, elbows, feet, knees = places[0], places[1:3], places[3:5], places[5:7], places[7:9]
    assert head[1] < 0.12 < min(p[1] for p in elbows)
    assert max(p[1] for p in hands) < min(p[1] for p in knees) < min(p[1] for p in feet)
    assert np.ptp([p[0] for p in elbows]) > np.ptp([p[0] for p in hands]) > 0.1


def test_mirroring_swaps_sides_and_nothing_else() -> None:
    for view in VIEWS[:4]:
        line = outline(view)
        twin = replace(line, polygon=affinity.scale(line.polygon, -1, 1, origin=(0, 0)))
        a, b = reader.read_body(line), reader.read_body(twin)
        assert told(a) == pytest.approx(told(b), abs=0.012)   # at its edge a shape is drawn in quarters of a pixel
        middle = line.origin_px[0] / line.picture_size[0]
        assert joints_off(a, b, middle) < 0.003


def joints_off(a: BodyReading, b: BodyReading, middle: float) -> float:
    """Farthest that a joint of ``a`` lies from its twin in the mirrored ``b``; pairs in the better order."""
    one = np.array([(j.x - middle, j.y) for j in a.joints])
    other = np.array([(middle - j.x, j.y) for j in b.joints])
    off = [np.abs(one[0] - other[0]).max()]
    for i in range(1, 9, 2):
        off.append(min(np.abs(one[i : i + 2] - other[order]).max() for order in ([i, i + 1], [i + 1, i])))
    return max(off)


def bells_of(view: dict[str, Any]) -> tuple[Outline, PointBells]:
    line = outline(view)
    return line, reader.point_bells(line)


def test_the_bells_say_what_the_joints_say() -> None:
    for view in VIEWS:
        line, bells = bells_of(view)
        body = reader.read_body(line)
        assert bells.share.shape == bells.x.shape == bells.width.shape == (len(reader.POINTS), reader.BELLS)
        assert (np.diff(bells.share, axis=1) <= 0).all() and (bells.share.sum(1) <= 1 + 1e-9).all()
        assert (bells.width > 0).all() and bells.height_px == line.height_px and bells.unlike == body.unlike
        for k, joint in enumerate(body.joints):
            if joint.sure > 0.9:     # then the likeliest bell stands where the joint is put
                off = np.hypot(bells.x[k, 0] - joint.x * line.picture_size[0],
                               bells.y[k, 0] - joint.y * line.picture_size[1])
                assert off < 0.03 * line.height_px


def test_bells_of_the_armature_lie_in_the_order_of_a_body() -> None:
    line, bells = bells_of(next(v for v in VIEWS if v["pose"] == "akimbo" and v["angle"] == 0))
    spot = {}
    for k, name in enumerate(reader.POINTS):
        at = bells.share[k] @ np.stack([bells.x[k], bells.y[k]], 1) / bells.share[k].sum()
        spot.setdefault(name, []).append(at)
    high = {name: np.mean(places, axis=0)[1] for name, places in spot.items()}
    order = ["crown", "head", "neck", "shoulder", "hip", "knee", "ankle", "foot end"]
    assert [high[name] for name in order] == sorted(high[name] for name in order)
    assert high["crown"] == min(high.values())
    top = line.origin_px[1]
    assert high["crown"] == pytest.approx(top, abs=0.03 * line.height_px)
    for pair, least in (("shoulder", 0.15), ("hip", 0.07), ("ankle", 0.05), ("elbow", 0.3)):
        assert abs(spot[pair][0][0] - spot[pair][1][0]) > least * line.height_px


def test_bells_move_with_the_picture() -> None:
    line, bells = bells_of(VIEWS[1])
    moved = reader.point_bells(Outline(line.polygon, line.height_px * 2, (30.0, 70.0), line.picture_size))
    ways = ((bells.x, moved.x, line.origin_px[0], 30.0), (bells.y, moved.y, line.origin_px[1], 70.0))
    for one, other, start, there in ways:
        assert (one - start) * 2 + there == pytest.approx(other, abs=1e-6)
    assert bells.width * 2 == pytest.approx(moved.width) and np.array_equal(bells.share, moved.share)


def test_size_and_place_in_the_picture_move_the_joints_alone() -> None:
    line = outline(VIEWS[0])
    moved = Outline(line.polygon, line.height_px / 2, (line.origin_px[0] - 50, 10.0), line.picture_size)
    a, b = reader.read_body(line), reader.read_body(moved)
    assert told(a) == told(b) and [j.spread for j in a.joints] == [j.spread for j in b.joints]
    there = (np.array((a.joints[0].x, a.joints[0].y)) * line.picture_size - line.origin_px) / 2 + moved.origin_px
    assert np.array((b.joints[0].x, b.joints[0].y)) * line.picture_size == pytest.approx(there, abs=1e-6)


def test_the_picture_is_area_averaged_and_folded_row_by_row() -> None:
    framed = reader.frame(box(-0.25, 0, 0.25, 1))
    grey = framed.picture[0].reshape(4, 4, 40, 40).transpose(2, 0, 3, 1).reshape(160, 160)
    share = geometry_framed.FIGURE / geometry_framed.CANVAS
    assert grey.mean() == pytest.approx(share * share / 2, rel=0.01)
    assert grey[80, 80] == 1 and grey[80, 10] == 0 and set(np.unique(grey[40:120, 60])) <= {0, 1}


def test_missing_weights_are_one_clear_sentence(monkeypatch: pytest.MonkeyPatch, tmp_path: Path) -> None:
    reader._net.cache_clear()
    monkeypatch.setattr(reader.resources, "files", lambda _: tmp_path)
    with pytest.raises(CutterError, match="weights of the reader"):
        reader.read_body(outline(VIEWS[0]))
    reader._net.cache_clear()


def test_two_places_are_told_where_two_are_possible() -> None:
    """Where a joint has a second place, the true one lies at either clearly more often than at the first."""
    bodies, _, _, _, _ = kept_out()
    with np.load(DATA.parent / "kept_out.npz") as f:
        masks, joints = np.unpackbits(f["masks"], axis=2) > 0, f["joints"]
    first, either = [], []
    for body, mask, true in zip(bodies, masks, joints, strict=True):
        tall = np.ptp(np.flatnonzero(mask.any(1))) / len(mask)
        for k, joint in enumerate(body.joints):
            if joint.also is None:
                continue
            alike = true[[m for m in range(9) if reader.POINTS[m] == reader.POINTS[k]]]
            spots = ((joint.x, joint.y), joint.also)
            near = [np.linalg.norm(alike - spot, axis=1).min() / tall < 0.1 for spot in spots]
            assert np.hypot(joint.also[0] - joint.x, joint.also[1] - joint.y) / tall > 0.09
            first.append(near[0])
            either.append(any(near))
    assert 5 < len(first) < 80
    assert np.mean(either) > np.mean(first) + 0.05
