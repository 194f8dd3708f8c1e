"""Kept-out poses, struck by one body in the archive and asked for by another, see tests/measure/likeness.py."""

from __future__ import annotations

from pathlib import Path
from typing import NamedTuple

import numpy as np
import pytest
from numpy.typing import NDArray
from shapely import affinity
from shapely.geometry import Polygon, box

from silhouette.errors import CutterError
from silhouette.find import embed
from silhouette.find.nearest import Near, nearest

STORED = Path(__file__).parents[1] / "data" / "likeness" / "kept_out.npz"
Vectors = tuple[NDArray[np.float32], NDArray[np.float32]]


class Kept(NamedTuple):
    outlines: list[Polygon]
    kind: NDArray[np.uint8]
    """0 in the archive, 1 asked for, 2 asked for as if drawn by hand."""
    pose: NDArray[np.intp]
    angle: NDArray[np.float32]
    vectors: Vectors

    def of(self, kind: int) -> Vectors:
        return self.vectors[0][self.kind == kind], self.vectors[1][self.kind == kind]


@pytest.fixture(scope="module")
def kept() -> Kept:
    with np.load(STORED) as f:
        rings = [np.cumsum(steps, 0) / 1e4 for steps in np.split(f["steps"].astype(int), np.cumsum(f["corners"])[:-1])]
        ends = np.cumsum(f["rings"])
        outlines = [Polygon(rings[end - count], rings[end - count + 1 : end])
                    for end, count in zip(ends, f["rings"].astype(int), strict=True)]
        return Kept(outlines, f["kind"], f["pose"].astype(np.intp), f["angle"], embed.vectors(outlines))


def answers(kept: Kept, kind: int) -> list[tuple[int, float, list[Near]]]:
    """Pose and angle asked for, and what is found."""
    archive = kept.of(0)
    rows = zip(kept.pose[kept.kind == kind], kept.angle[kept.kind == kind], *kept.of(kind), strict=True)
    return [(int(pose), float(angle), nearest((one, other), archive, kept.pose[kept.kind == 0]))
            for pose, angle, one, other in rows]


@pytest.mark.parametrize(("kind", "first", "of_five", "angle"), [(1, 0.93, 0.97, 0.90), (2, 0.80, 0.95, 0.85)])
def test_another_body_before_another_camera_finds_the_pose(kept: Kept, kind: int, first: float, of_five: float,
                                                           angle: float) -> None:
    poses, angles = kept.pose[kept.kind == 0], kept.angle[kept.kind == 0]
    places, off = [], []
    for pose, asked, found in answers(kept, kind):
        place = [int(poses[near.row]) for near in found].index(pose)
        own = found[place]
        apart = (angles[own.row] + 180 * own.mirrored - asked + 180) % 360 - 180
        places.append(place)
        off.append(abs(apart))
    assert len(places) == 48
    assert np.mean(np.array(places) == 0) >= first
    assert np.mean(np.array(places) < 5) >= of_five
    assert np.mean(np.array(off) <= 20) >= angle


def test_a_view_finds_itself_and_its_mirror_image_finds_it_mirrored(kept: Kept) -> None:
    poses, archive = kept.pose[kept.kind == 0], kept.of(0)
    for row in range(0, len(poses), 17):
        own = nearest((archive[0][row], archive[1][row]), archive, poses, most=1)[0]
        other = nearest((archive[1][row], archive[0][row]), archive, poses, most=1)[0]
        assert own.row == other.row == row and (own.mirrored, other.mirrored) == (False, True)
        assert own.likeness > 0.85 and own.likeness == pytest.approx(other.likeness, abs=1e-6)


def test_only_the_shape_counts(kept: Kept) -> None:
    outline = kept.outlines[5]
    moved = affinity.translate(affinity.scale(outline, 300, 300, origin=(0, 0)), 40, -7)
    mirrored = affinity.scale(outline, -1, 1, origin=(0, 0))
    (plain, mirror), (again, _), (turned, back) = (embed.vectors([o]) for o in (outline, moved, mirrored))
    assert plain[0] @ again[0] > 0.999 and turned[0] @ mirror[0] > 0.999 and back[0] @ plain[0] > 0.999
    assert plain[0] @ mirror[0] < 0.9


def test_a_row_hangs_on_its_own_outline_alone(kept: Kept) -> None:
    some = kept.outlines[3:6]
    together, alone = embed.vectors(some), embed.vectors(some[1:2])
    assert (together[0][1] == alone[0][0]).all() and (together[1][1] == alone[1][0]).all()
    assert together[0].dtype == np.float32 and together[0].shape == (3, embed.SIZE)
    assert np.linalg.norm(np.concatenate(together), axis=1) == pytest.approx(np.ones(6), abs=1e-5)
    assert embed.vectors([])[0].shape == (0, embed.SIZE)


def test_gaps_count() -> None:
    whole = box(0, 0, 1, 1)
    holed = whole.difference(box(0.3, 0.3, 0.7, 0.7))
    (one, other), _ = embed.vectors([whole, holed])
    assert one @ other < 0.98


# ------------------------------------------------------------------------------------- vectors that a person can see


def flat(*rows: tuple[float, float]) -> NDArray[np.float32]:
    return np.array(rows, np.float32)


EAST, NORTH, WEST = (1.0, 0.0), (0.0, 1.0), (-1.0, 0.0)


def test_one_hit_a_pose_best_first_and_the_first_of_two_alike() -> None:
    views = flat(NORTH, EAST, WEST, EAST, NORTH)
    found = nearest((views[1], views[1]), (views, views), np.array([0, 0, 1, 2, 2]))
    assert [near.row for near in found] == [1, 3, 2] and not any(near.mirrored for near in found)
    assert found[0].likeness == found[1].likeness > 0.5 > 0.01 > found[2].likeness >= 0
    assert nearest((views[1], views[1]), (views, views), np.array([0, 0, 1, 2, 2]), most=2) == found[:2]


def test_the_mirror_image_is_told() -> None:
    views, mirrors = flat(EAST, NORTH), flat(NORTH, EAST)
    found = nearest((flat(NORTH)[0], flat(EAST)[0]), (views[:1], mirrors[:1]), np.array([4]))
    assert found[0].mirrored and found[0].row == 0


def test_a_view_without_an_outline_is_never_found() -> None:
    views = flat((np.nan, np.nan), EAST)
    assert [near.row for near in nearest((views[1], views[1]), (views, views), np.array([0, 1]))] == [1]
    assert nearest((views[1], views[1]), (views[:1], views[:1]), np.array([0])) == []
    assert nearest((views[1], views[1]), (views[:0], views[:0]), np.array([], np.intp)) == []


def test_a_turn_of_more_views_does_not_win_by_their_number() -> None:
    few, many = np.repeat(flat(EAST), 12, 0), np.repeat(flat(EAST), 36, 0)
    views = np.concatenate([many, few])
    found = nearest((views[0], views[0]), (views, views), np.repeat([0, 1], [36, 12]))
    assert found[0].likeness == pytest.approx(found[1].likeness, abs=1e-9)


def test_rings_of_a_pose_do_not_speak_for_each_other() -> None:
    views = np.repeat(flat(EAST), 24, 0)
    pose, ring = np.repeat([0, 1], 12), np.array([0, 1] * 6 + [0] * 12)
    alone = nearest((views[0], views[0]), (views[:6], views[:6]), pose[:6])
    found = nearest((views[0], views[0]), (views, views), pose, ring)
    assert len(found) == 2 and found[0].row == 12 and found[1].likeness == pytest.approx(alone[0].likeness)


def test_a_missing_network_is_one_clear_sentence(monkeypatch: pytest.MonkeyPatch, tmp_path: Path) -> None:
    embed._net.cache_clear()
    monkeypatch.setattr(embed.resources, "files", lambda _: tmp_path)
    with pytest.raises(CutterError, match="network that compares outlines"):
        embed.vectors([box(0, 0, 1, 1)])
    embed._net.cache_clear()
