"""Where the cameras of all rings stood, on a figure that was shot low, level and high with everything known."""

from __future__ import annotations

import json
from collections.abc import Sequence
from dataclasses import replace
from pathlib import Path
from typing import Any

import cv2
import numpy as np
import pytest

from silhouette import in_space
from silhouette.in_space import InSpace, Shared
from silhouette.records import CUT_BY_FRAME, CloseUp, Cut, RingCamera, Stop
from silhouette.settings import RINGS, Ring, Settings
from silhouette.show import words
from silhouette.space import hull, sections
from silhouette.turnaround import Rings, Turnaround

SPACE = Path(__file__).parent / "data" / "space"
THROWING = SPACE / "throwing"
TRUTH: dict[str, Any] = json.loads((THROWING / "truth.json").read_text())
TALL = float(TRUTH["stature_m"])


def mask_of(file: Path, half: bool = False) -> np.ndarray:
    mask = np.asarray(cv2.imread(str(file), cv2.IMREAD_GRAYSCALE))
    if half:
        mask = cv2.resize(mask, None, fx=0.5, fy=0.5, interpolation=cv2.INTER_AREA)
    return mask > 127


def shot_of(ring: Ring, rows: Sequence[dict[str, Any]], settings: Settings, *, at: Path = THROWING) -> Turnaround:
    """A ring as it comes from its pictures, with exact cut-outs."""
    stops = [Stop(k, at / row["mask"], Path(row["mask"]).stem, float(row["named"]), "name", ring=ring)
             for k, row in enumerate(rows)]
    cuts = tuple(Cut(mask_of(at / row["mask"], half=at is not THROWING), 1.0, "room") for row in rows)
    return Turnaround("throwing", at / ring, settings, tuple(stops), cuts, ring=ring)


def rings_of(settings: Settings | None = None, **called: Ring) -> Rings:
    """All three; ``low="high"`` takes the pictures of the high ring for the low one."""
    settings = settings or Settings()
    shots = [shot_of(ring, TRUTH["rings"][called.get(ring, ring)]["stops"], settings) for ring in RINGS]
    return Rings("throwing", THROWING, settings, tuple(shots))


def but(shot: Rings, ring: Ring, change: Any) -> Rings:
    return replace(shot, all=tuple(change(one) if one.ring == ring else one for one in shot.all))


@pytest.fixture(scope="module")
def shot() -> Rings:
    return rings_of()


@pytest.fixture(scope="module")
def shared(shot: Rings) -> Shared:
    found = in_space.shared(shot)
    assert found is not None
    return found


@pytest.fixture(scope="module")
def told(shot: Rings, shared: Shared) -> InSpace:
    with pytest.MonkeyPatch.context() as patch:
        patch.setattr(in_space, "shared", lambda _: shared)
        return in_space.in_space(shot)


def test_the_lens_of_every_ring_is_found_without_its_focal_length(told: InSpace) -> None:
    for ring in RINGS:
        camera, true = told.cameras[ring], TRUTH["rings"][ring]["camera"]
        assert camera.found_from == "outlines" and camera.height is not None and camera.tilt is not None
        assert camera.height * TALL == pytest.approx(true["height_m"], abs=0.1)
        assert camera.tilt == pytest.approx(true["tilt_deg"], abs=1.5)
        assert camera.height_sure is not None and 0.005 < camera.height_sure < 0.1
        assert camera.height_m is None
        assert in_space.seems(camera) == ring


def test_the_start_of_every_ring_is_held_against_the_level_one(told: InSpace) -> None:
    for ring in RINGS:
        assert told.cameras[ring].turned == pytest.approx(TRUTH["rings"][ring]["start_deg"], abs=1.2)


def test_joints_and_waist_are_those_of_the_model(shared: Shared, told: InSpace) -> None:
    off = []
    for one in shared.skeleton.joints:
        name = one.joint.replace(" ", "_") + ("" if one.side is None else f"_{one.side[0]}")
        assert one.at is not None
        off.append(float(np.linalg.norm(np.array(one.at) * TALL - TRUTH["joints"][name])))
    assert np.median(off) < 0.02
    joints = TRUTH["joints"]
    assert told.cameras["high"].waist is not None
    assert joints["hip_l"][2] < told.cameras["high"].waist * TALL < joints["neck"][2]


def test_all_rings_carve_one_block_and_it_is_slimmer_than_from_one(shared: Shared) -> None:
    """The target: of the hull's error nine tenths at most are left."""
    cell = 0.012
    whole = hull.surface(hull.carve(shared.masks, shared.skeleton.cameras, cell=cell))
    level = next(one for one in shared.rings if one.ring == "level")
    one = hull.surface(hull.carve(level.masks, level.cameras, cell=cell))
    true = TRUTH["volume_l"] / TALL**3
    errors = [sections.volume_l(figure) / true - 1 for figure in (one, whole)]
    assert 0 < errors[1] < 0.9 * errors[0]
    assert np.median(hull.agreement(whole, shared.masks, shared.skeleton.cameras)) > 0.95


def test_nothing_is_said_where_all_is_as_it_should_be(told: InSpace) -> None:
    assert told.notes == ()
    assert told.blind_spots is not None


def test_rings_in_the_wrong_folders_are_named() -> None:
    told = in_space.in_space(rings_of(low="high", high="low"))
    kinds = {(note["ring"], note["looks"]) for note in told.notes if note.kind == "ring camera elsewhere"}
    assert kinds == {("low", "high"), ("high", "low")}
    for note in told.notes:
        assert "its camera stood" in words.note(note)


def test_a_ring_of_another_pose_is_named_and_left_out(monkeypatch: pytest.MonkeyPatch) -> None:
    other = json.loads((SPACE / "kneeling/truth.json").read_text())["stops"]
    odd = shot_of("high", other[::2], Settings(), at=SPACE / "kneeling")
    shot = but(rings_of(), "high", lambda _: odd)
    found = in_space.shared(shot)
    assert found is not None and [one.ring for one in found.same] == ["level", "low"]
    assert len(found.masks) == len(found.skeleton.cameras)
    monkeypatch.setattr(in_space, "shared", lambda _: found)
    told = in_space.in_space(shot)
    assert [note["ring"] for note in told.notes if note.kind == "ring of another pose"] == ["high"]
    assert told.blind_spots is None


def test_a_height_that_was_given_wins(shot: Rings, shared: Shared) -> None:
    given = Settings(camera_height={"low": 0.4})
    shot = replace(shot, all=tuple(replace(one, settings=given) for one in shot.all))
    cameras = in_space.cameras_of(shot, shared)
    assert (cameras["low"].found_from, cameras["low"].height_m, cameras["low"].height_sure) == ("given", 0.4, None)
    assert cameras["low"].tilt is not None and cameras["high"].found_from == "outlines"
    assert cameras["low"].height == pytest.approx(0.4 / TALL, abs=0.06)


def few(one: Turnaround) -> Turnaround:
    return replace(one, stops=one.stops[:7], cuts=one.cuts[:7])


def half(one: Turnaround) -> Turnaround:
    stops = tuple(replace(stop, angle=stop.angle / 2) for stop in one.stops)
    return replace(one, stops=stops)


def by_frame(one: Turnaround) -> Turnaround:
    return replace(one, cuts=tuple(replace(cut, flags=(CUT_BY_FRAME,)) for cut in one.cuts if cut))


def sizes(one: Turnaround) -> Turnaround:
    first = one.cuts[0]
    assert first is not None
    return replace(one, cuts=(replace(first, mask=first.mask[:-4]), *one.cuts[1:]))


def no_body(one: Turnaround) -> Turnaround:
    block = np.zeros((504, 378), bool)
    block[100:400, 100:250] = True
    return replace(one, cuts=tuple(Cut(block, 1.0, "room") for _ in one.cuts))


def still(one: Turnaround) -> Turnaround:
    return replace(one, cuts=one.cuts[:1] * len(one.cuts))


@pytest.mark.parametrize(("why", "change"), [
    ("few", few), ("half", half), ("frame", by_frame), ("sizes", sizes), ("body", no_body), ("turn", still)])
def test_a_ring_that_cannot_tell_is_unknown_and_says_why(shot: Rings, why: str, change: Any) -> None:
    one = change(next(one for one in shot.all if one.ring == "low"))
    told = in_space.in_space(replace(shot, all=(one,)))
    assert told.cameras == {"low": RingCamera("unknown")}
    (note,) = told.notes
    assert (note.kind, note["ring"], note["why"]) == ("ring camera unknown", "low", why)
    assert words.note(note).startswith("Where the camera of the low ring stood could not be found: ")
    assert told.blind_spots is None


def test_a_ring_that_cannot_tell_does_not_hide_the_others(shot: Rings) -> None:
    found = in_space.shared(but(shot, "level", few))
    assert found is not None and dict(found.unusable) == {"level": "few"}
    assert [one.ring for one in found.rings] == ["low", "high"]


@pytest.mark.parametrize(("metres", "where"), [(0.1, "lower than 0.2 m"), (3.1, "higher than 2.6 m")])
def test_a_camera_where_the_reader_was_taught_none_is_named(shot: Rings, metres: float, where: str) -> None:
    settings = Settings(camera_height={"low": metres})
    one = few(next(one for one in shot.all if one.ring == "low"))
    told = in_space.in_space(replace(shot, all=(replace(one, settings=settings),)))
    (note,) = told.notes
    assert note.kind == "ring camera outside" and where in words.note(note)


@pytest.mark.parametrize(("height", "distance", "where"), [
    (1.8, 1.6, ""), (2.4, 1.6, "steeper"), (2.4, None, "higher"), (1.8, 0.8, "steeper"), (1.2, 0.8, "nearer")])
def test_what_counts_is_how_steeply_a_camera_looked_where_that_is_known(height: float, distance: float | None,
                                                                        where: str) -> None:
    camera = RingCamera("outlines", height, 0.02, -20.0, distance, 0.6)
    assert in_space._outside(camera) == where


@pytest.mark.parametrize(("heights", "waist", "named"), [
    ((0.25, 0.33, 1.2), 0.31, True),  # a figure that sits: no room for a low camera far under its waist
    ((0.62, 0.62, 1.2), 0.62, False),  # low and level from one height
    ((0.62, 1.1, 1.5), 0.62, False),  # one above the other, but the level one is not at the waist
    ((1.2, 0.6, 0.2), 0.62, False),
    ((0.2, None, 1.2), 0.62, False),
])
def test_cameras_one_above_the_other_are_called_as_they_stood(
    heights: tuple[float | None, ...], waist: float, named: bool
) -> None:
    cameras = {ring: RingCamera("unknown" if height is None else "outlines", height, 0.01, waist=waist)
               for ring, height in zip(RINGS, heights, strict=True)}
    assert in_space.as_named(cameras) is named


@pytest.mark.parametrize(("height", "sure", "ring", "named"), [
    (0.60, 0.05, "level", False), (0.83, 0.05, "level", False), (0.95, 0.05, "level", True),
    (0.60, 0.05, "low", True), (0.30, 0.05, "low", False), (0.43, 0.05, "low", False), (0.60, 0.05, "high", True),
    (0.30, 0.05, "high", True), (1.30, 0.05, "low", True),
])
def test_a_ring_is_doubted_only_where_its_camera_surely_stood_elsewhere(
    shot: Rings, height: float, sure: float, ring: Ring, named: bool
) -> None:
    one = next(one for one in shot.all if one.ring == ring)
    camera = RingCamera("outlines", height, sure, 0.0, 2.4, 0.6)
    assert bool(in_space.notes_of(one, camera, None)) == named


def test_close_ups_are_handed_on(shot: Rings, shared: Shared, monkeypatch: pytest.MonkeyPatch) -> None:
    heard: dict[str, Any] = {}

    def blind_spots(skeleton: Any, masks: Any, cameras: Any, rings: Any, close_ups: Any = ()) -> tuple[()]:
        heard.update(rings=list(rings), masks=len(masks), cameras=len(cameras), close_ups=list(close_ups))
        return ()

    monkeypatch.setattr(in_space.blind_spots, "blind_spots", blind_spots)
    monkeypatch.setattr(in_space, "shared", lambda _: shared)
    close = CloseUp("left hand", (Path("1.jpg"),))
    assert in_space.in_space(replace(shot, close_ups=(close,))).blind_spots == ()
    assert heard["close_ups"] == ["left hand"] and heard["masks"] == heard["cameras"] == 27
    assert heard["rings"] == ["level"] * 9 + ["low"] * 9 + ["high"] * 9
