"""The check of a pose in several rings: each by itself, all against each other, in words, as data and on the page."""

from __future__ import annotations

import json
from collections.abc import Callable, Mapping
from dataclasses import dataclass, replace
from functools import cache
from pathlib import Path

import cv2
import numpy as np
import pytest

from silhouette import cli, ring_check, shoot, turnaround
from silhouette.check import rings as questions
from silhouette.geometry.angles import apart
from silhouette.in_space import InSpace
from silhouette.records import Stop
from silhouette.records_shoot import AllRings, Shot, StopLook
from silhouette.settings import RINGS, Ring
from silhouette.show import table, words_check

SIZE = (336, 252)
"""(h, w) of the masks that are kept."""


@dataclass(frozen=True, eq=False)
class Turn:
    """One ring of a rendered figure on one leg: every second stop of a turn, as its exact mask shows it."""

    angles: tuple[float, ...]
    masks: tuple[np.ndarray, ...]
    focal: float


@cache
def kept(folder: Path) -> dict[Ring, Turn]:
    data = np.load(folder / "space" / "three_rings.npz")
    out: dict[Ring, Turn] = {}
    for ring in RINGS:
        angles = data[f"{ring}_angles"]
        masks = np.unpackbits(data[ring], count=len(angles) * SIZE[0] * SIZE[1]).reshape(-1, *SIZE).astype(bool)
        out[ring] = Turn(tuple(map(float, angles)), tuple(masks), float(data[f"{ring}_focal"]))
    return out


@pytest.fixture
def rings(data: Path) -> dict[Ring, Turn]:
    return dict(kept(data))


def look(mask: np.ndarray, focal: float) -> StopLook:
    rows = np.flatnonzero(mask.any(axis=1))
    return StopLook(
        mask=mask, thumb=np.full((96, 72, 3), 120, np.uint8), confidence=0.99, flags=(), full_size=mask.shape[::-1],
        scale=1.0, focal_35mm=focal, height_px=float(np.ptp(rows) + 1), edges=(), edge_width=1.5,
        figure_light=(40.0, 90.0, 160.0), backdrop_light=120.0, side_light=0.1,
    )


@cache
def alone(ring: Ring, turn: Turn) -> tuple[list[Stop], list[StopLook], ring_check.RingSeen | None]:
    stops = [Stop(k, Path("x"), f"{a:03.0f}", a, "name", ring=ring) for k, a in enumerate(turn.angles)]
    looks = [look(mask, turn.focal) for mask in turn.masks]
    return stops, looks, ring_check.seen_alone(stops, looks)


def held(rings: Mapping[Ring, Turn]) -> AllRings:
    """What the rings tell together."""
    each = {ring: alone(ring, turn) for ring, turn in rings.items()}
    stops, looks, seen = ({ring: one[k] for ring, one in each.items()} for k in range(3))
    found = ring_check.find_strays(stops, seen)
    shots: dict[Ring, Shot] = {
        ring: replace(shoot.measure(stops[ring], looks[ring],
                                    cameras=ring_check.own_cameras(ring, seen[ring], found)), ring=ring)
        for ring in rings
    }
    return ring_check.together(shots, seen, found, InSpace())


def exchanged(rings: Mapping[Ring, Turn], here: Ring, k: int, there: Ring) -> tuple[dict[Ring, Turn], int]:
    """The rings with a stop exchanged for the nearest of another ring, and which that is."""
    j = int(np.argmin([apart(rings[here].angles[k], a) for a in rings[there].angles]))
    one, other = list(rings[here].masks), list(rings[there].masks)
    one[k], other[j] = other[j], one[k]
    return {**rings, here: replace(rings[here], masks=tuple(one)),
            there: replace(rings[there], masks=tuple(other))}, j


def test_rings_of_one_pose_are_found_to_be_one(rings: dict[Ring, Turn]) -> None:
    whole = held(rings)
    assert whole.strays == () and whole.main == "level"
    assert [one.ring for one in whole.apart] == ["low", "high"]
    for question in (questions.right_ring, questions.same_pose, questions.same_stops):
        assert question(whole).verdict == "pass", question.__name__
    for _, shot in whole.shots:
        assert shot.held is not None and not shot.held.moved and not shot.held.unfit


@pytest.mark.parametrize(("here", "k", "there"), [("low", 2, "level"), ("level", 5, "high"), ("high", 1, "low")])
def test_two_stops_that_were_exchanged_are_named(rings: dict[Ring, Turn], here: Ring, k: int, there: Ring) -> None:
    mixed, j = exchanged(rings, here, k, there)
    whole = held(mixed)
    pair = {whole.first(here) + k, whole.first(there) + j}
    assert [{one.stop, one.other} for one in whole.strays or ()] == [pair]
    finding = questions.right_ring(whole)
    assert finding.verdict == "retake" and set(finding.stops) == pair
    said = words_check.evidence(finding, whole.stops)
    assert "looks as if taken from" in said and "swapped with" in said
    for _, shot in whole.shots:
        assert shot.held is not None and not shot.held.moved, "the ring's own pose is not blamed for it"
        assert shot.camera_moved is None


def test_a_stop_of_another_ring_alone_is_named_too(rings: dict[Ring, Turn]) -> None:
    mixed, _ = exchanged(rings, "high", 3, "low")
    whole = held({**mixed, "low": rings["low"]})
    assert [(s.stop, s.looks) for s in whole.strays or ()] == [(whole.first("high") + 3, "low")]
    finding = questions.right_ring(whole)
    assert finding.kind == "from another ring"


def test_a_ring_that_starts_elsewhere_is_told_both_ways(rings: dict[Ring, Turn]) -> None:
    turn = rings["high"]
    late = replace(turn, angles=tuple((a + 20) % 360 for a in turn.angles))
    whole = held({**rings, "high": late})
    finding = questions.same_start(whole)
    assert finding.verdict == "look" and finding["ring"] == "high"
    assert finding["degrees"] == pytest.approx(-20, abs=4.5)
    assert questions.same_pose(whole).verdict == "pass"
    assert "to their own right" in words_check.evidence(finding, whole.stops)
    assert "to the model's own left" in words_check.do(finding, whole.stops)


def test_a_ring_of_another_pose_is_told(rings: dict[Ring, Turn]) -> None:
    turn = rings["high"]
    other = replace(turn, masks=tuple(mask[:, ::-1] for mask in turn.masks),
                    angles=tuple(-a % 360 for a in turn.angles))
    whole = held({**rings, "high": other})
    finding = questions.same_pose(whole)
    assert (finding.verdict, finding.kind) == ("retake", "another pose")
    assert "high ring shows another pose" in words_check.evidence(finding, whole.stops)


def test_rings_may_have_pictures_of_other_sizes(rings: dict[Ring, Turn]) -> None:
    turn = rings["low"]
    wide = [cv2.copyMakeBorder(mask.astype(np.uint8), 0, 0, 120, 120, cv2.BORDER_CONSTANT) for mask in turn.masks]
    smaller = tuple(cv2.resize(mask, None, fx=0.8, fy=0.8, interpolation=cv2.INTER_AREA) > 0 for mask in wide)
    focal = turn.focal * 336 / 492  # of the longer side, which is the width now
    whole = held({**rings, "low": Turn(turn.angles, smaller, focal)})
    assert questions.right_ring(whole).verdict == questions.same_pose(whole).verdict == "pass"
    mixed, j = exchanged({**rings, "low": Turn(turn.angles, smaller, focal)}, "low", 4, "high")
    whole = held(mixed)
    assert [(s.stop, s.looks, s.other) for s in whole.strays or ()] == [(4, "high", whole.first("high") + j)]


def test_a_ring_with_too_few_stops_is_named_and_left_out(rings: dict[Ring, Turn]) -> None:
    few = Turn(rings["high"].angles[:4], rings["high"].masks[:4], rings["high"].focal)
    whole = held({**rings, "high": few})
    finding = questions.same_pose(whole)
    assert finding.verdict == "unknown" and finding["rings"] == ("high",)
    assert [one.ring for one in whole.apart] == ["low"], "the others are held against each other all the same"
    lacks = questions.same_stops(whole)
    assert lacks.verdict == "retake" and lacks["ring"] == "high"
    two = held({"low": rings["low"], "high": few})
    finding = questions.right_ring(two)
    assert finding.verdict == "unknown" and "high ring has too few" in words_check.evidence(finding, two.stops)


# ------------------------------------------------------------------------------------------------- the whole command


@pytest.fixture
def shot_pose(rings: dict[Ring, Turn], tmp_path: Path) -> Callable[[Mapping[Ring, Turn]], Path]:
    """Writes rings as stills with masks by hand, so that nothing has to be cut out."""

    def write(some: Mapping[Ring, Turn]) -> Path:
        for ring, turn in some.items():
            (tmp_path / "leg" / ring).mkdir(parents=True)
            for angle, mask in zip(turn.angles, turn.masks, strict=True):
                place = tmp_path / "leg" / ring / f"{angle:03.0f}.png"
                picture = np.where(mask, 60, 190).astype(np.uint8)
                cv2.imwrite(str(place), cv2.GaussianBlur(picture, (3, 3), 0))
                cv2.imwrite(str(place.with_suffix(".mask.png")), mask.astype(np.uint8) * 255)
        return tmp_path / "leg"

    return write


def test_the_command_tells_all_rings(
    rings: dict[Ring, Turn], shot_pose: Callable[[Mapping[Ring, Turn]], Path], tmp_path: Path,
    capsys: pytest.CaptureFixture[str],
) -> None:
    mixed, j = exchanged(rings, "low", 2, "high")
    place = shot_pose(mixed)
    assert cli.main(["check", str(place), "-o", str(tmp_path / "out")]) == 1
    told = capsys.readouterr().out
    low, high = rings["low"].angles[2], rings["high"].angles[j]
    assert f"low {low:.0f} looks as if taken from high" in " ".join(told.split())
    assert f"swapped with high {high:.0f}?" in " ".join(told.split())
    assert "low ring, " in told or "high ring, " in told
    data = json.loads((tmp_path / "out" / "check.json").read_text())
    assert [one["ring"] for one in data["rings"]] == list(RINGS)
    assert [stop["ring"] for stop in data["stops"]] == [r for r in RINGS for _ in rings[r].angles]
    found = next(f for f in data["findings"] if f["check"] == "right ring")
    assert {data["stops"][k]["ring"] for k in found["stops"]} == {"low", "high"}
    checks = {f["check"] for f in data["rings"][0]["findings"]}
    assert {"held pose", "full turn", "steady light"} <= checks
    assert (tmp_path / "out" / "check.pdf").read_bytes().count(b"/Type /Page ") in (0, 4)
    assert (tmp_path / "out" / "check.png").stat().st_size > 20000


def test_a_pose_of_one_ring_says_nothing_of_rings(
    rings: dict[Ring, Turn], shot_pose: Callable[[Mapping[Ring, Turn]], Path]
) -> None:
    place = shot_pose({"level": rings["level"]}) / "level"
    checked = shoot.check_turnaround(place)
    assert checked.rings == () and checked.report.rings == ()
    assert "ring" not in table.check_list(checked.report).replace("during", "")
    again = shoot.check_turnaround(turnaround.ingest_rings(place, looks=True))
    assert again.report == checked.report
