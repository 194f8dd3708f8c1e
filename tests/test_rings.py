"""A pose of several rings is read as one: every ring cut out, angled and read by itself, the level one its headline."""

from __future__ import annotations

import json
import shutil
from pathlib import Path

import pytest

import silhouette
from silhouette import outputs, scoring, turnaround
from silhouette.cli import main
from silhouette.errors import SettingsError, SilhouetteError
from silhouette.known import Memory
from silhouette.records import Ranking
from silhouette.settings import RINGS, Settings
from tests.rendered_stills import some

QUICK = {"work_px": 400, "cutter": "backdrop", "jitter": 0}


@pytest.fixture(scope="module")
def rings(tmp_path_factory: pytest.TempPathFactory) -> Path:
    """A pose of three rings: 4 low stops, 12 level ones, 3 high ones; and a close-up."""
    pose = tmp_path_factory.mktemp("rings") / "ferry"
    some(pose / "low", range(0, 360, 90))
    some(pose / "level", range(0, 360, 30))
    some(pose / "high", range(0, 360, 120))
    some(pose / "close-ups" / "left hand", range(0, 60, 30))
    return pose


def test_each_ring_is_a_turnaround_of_its_own(rings: Path) -> None:
    said: list[str] = []
    shot = turnaround.ingest_rings(rings, Settings(work_px=400, cutter="backdrop"), tell=lambda w, *_: said.append(w))
    assert [(one.ring, len(one.stops)) for one in shot.all] == [("low", 4), ("level", 12), ("high", 3)]
    assert all(stop.ring == one.ring for one in shot.all for stop in one.stops)
    assert {stop.angle_from for one in shot.all for stop in one.stops} == {"name"}
    assert shot.several and shot.main.ring == "level" and shot.name == "ferry"
    assert [(c.name, len(c.files)) for c in shot.close_ups] == [("left hand", 2)]
    assert {"ferry, low: cutting out", "ferry, high: cutting out"} <= set(said)


def test_the_headline_is_the_level_ring_s_and_no_other_stop_counts_in_it(rings: Path) -> None:
    pose = silhouette.score_pose(rings, **QUICK)
    alone = silhouette.score_pose(rings / "level", **QUICK)
    assert pose.ring == "level" and pose.round == alone.round and len(pose.views) == 12
    assert [one.ring for one in pose.rings] == list(RINGS)
    assert [len(one.views) for one in pose.other_rings] == [4, 3]
    assert len(pose.all_views) == 19 and alone.other_rings == () and len(alone.rings) == 1


def test_the_same_pose_comes_out_of_folders_marks_and_places_elsewhere(rings: Path, tmp_path: Path) -> None:
    marked = tmp_path / "ferry"
    for ring, step in (("low", 90), ("level", 30), ("high", 120)):
        some(marked, range(0, 360, step), ring + "_{:03d}.jpg")
    apart = {"low": rings / "low", "high": str(rings / "high")}
    wanted = silhouette.score_pose(rings, **QUICK)
    for pose in (silhouette.score_pose(marked, **QUICK), silhouette.score_pose(rings / "level", ring=apart, **QUICK)):
        for mine, other in zip(pose.rings, wanted.rings, strict=True):
            assert mine.ring == other.ring and mine.round == other.round
            assert [v.angle for v in mine.views] == [v.angle for v in other.views]


def test_result_json_and_the_table_name_each_view_s_ring(rings: Path, tmp_path: Path) -> None:
    pose = silhouette.score_pose(rings, **QUICK)
    outputs.write(Ranking((pose,)), tmp_path / "out", masks=True)
    told = json.loads((tmp_path / "out" / "result.json").read_text(encoding="utf-8"))["poses"][0]
    assert [view["ring"] for view in told["views"]] == ["level"] * 12 + ["low"] * 4 + ["high"] * 3
    assert [(one["ring"], one["stops"]) for one in told["rings"]] == [("low", 4), ("level", 12), ("high", 3)]
    assert told["rings"][1]["reads_degrees"] == told["reads_degrees"] and told["ring"] == "level"
    assert told["close_ups"] == [{"name": "left hand", "files": ["000.jpg", "030.jpg"]}]
    assert list(pose.to_frame()["ring"]) == [view["ring"] for view in told["views"]]
    masks = {p.relative_to(tmp_path / "out" / "masks" / "ferry").as_posix() for p in (tmp_path / "out").rglob("*.png")
             if "masks" in p.parts}
    assert {"low/090.png", "level/090.png", "high/120.png"} <= masks and len(masks) == 19


def test_a_ring_may_be_named_where_the_place_does_not_say_it(rings: Path) -> None:
    pose = silhouette.score_pose(rings / "low", ring="low", **QUICK)
    assert pose.ring == "low" and pose.other_rings == () and {v.stop.ring for v in pose.views} == {"low"}


def test_a_ring_that_cannot_be_used_is_named_and_the_others_are_read(rings: Path, tmp_path: Path) -> None:
    pose = tmp_path / "ferry"
    some(pose / "level", range(0, 360, 90))
    (pose / "low.mp4").write_bytes(b"this is no film")
    read = silhouette.score_pose(pose, **QUICK)
    (out,) = [note for note in read.notes if note.kind == "ring left out"]
    assert out["ring"] == "low" and "low.mp4" in out["why"] and len(read.views) == 4
    (pose / "high.mov").write_bytes(b"nor is this")
    shutil.rmtree(pose / "level")
    with pytest.raises(SilhouetteError, match=r"high\.mov"):
        silhouette.score_pose(pose, **QUICK)


def test_ranking_a_folder_of_poses_takes_each_with_its_rings(rings: Path, tmp_path: Path) -> None:
    shutil.copytree(rings, tmp_path / "trials" / "ferry")
    some(tmp_path / "trials" / "other", range(0, 360, 90))
    assert [p.name for p in scoring.find_poses([tmp_path / "trials"])] == ["ferry", "other"]
    assert scoring.find_poses([rings]) == [rings]
    assert [p.name for p in scoring.find_poses([some(tmp_path / "loose", range(0, 360, 90)).parent])]
    with pytest.raises(SettingsError, match="belongs to one pose"):
        silhouette.rank_poses(tmp_path / "trials", ring={"low": rings / "low"}, **QUICK)


def test_a_second_run_knows_the_cut_outs_of_every_ring(rings: Path, tmp_path: Path) -> None:
    memory = Memory(tmp_path / "out")
    settings = Settings(work_px=400, cutter="backdrop")
    first = turnaround.ingest_rings(rings, settings, known=memory)
    (tmp_path / "out").mkdir()
    memory.write(tmp_path / "out")
    said: list[str] = []
    again = turnaround.ingest_rings(rings, settings, known=Memory(tmp_path / "out"), tell=lambda w, *_: said.append(w))
    assert said == ["ferry, low: known", "ferry, level: known", "ferry, high: known"]
    assert [one.stops for one in again.all] == [one.stops for one in first.all]


def test_results_never_go_into_a_ring_s_folder(rings: Path, tmp_path: Path, capsys: pytest.CaptureFixture[str]) -> None:
    shutil.copytree(rings, tmp_path / "ferry")
    place = tmp_path / "ferry"
    before = {p: p.read_bytes() for p in place.rglob("*.jpg")}
    for out in (place / "low", place / "low" / "out", place):
        assert main(["score", str(place), "-o", str(out)]) == 2
    assert main(["score", str(place / "level"), "--ring", f"low={place / 'low'}", "-o", str(place / "low")]) == 2
    assert {p: p.read_bytes() for p in place.rglob("*.jpg")} == before
    assert "Traceback" not in capsys.readouterr().err


@pytest.mark.parametrize(("wrong", "says"), [
    ({"ring": "middle"}, "low, level, high"),
    ({"ring": (("low", None), ("low", None))}, "twice"),
    ({"ring": (("low", None), ("high", None))}, "two rings"),
    ({"camera_height": {"low": 40.0}}, "0 to 10"),
    ({"camera_height": float("nan")}, "0 to 10"),
    ({"camera_height": (("low", 1.0), ("low", 2.0))}, "twice"),
    ({"seen_from": -1.0}, "0 to 20 m"),
    ({"seen_from": 1.6, "stands_on": 70.0}, "0 to 20 m"),
    ({"stands_on": 1.2}, "seen-from"),
])
def test_settings_that_make_no_sense_are_refused_in_a_sentence(wrong: dict[str, object], says: str) -> None:
    with pytest.raises(SettingsError, match=says):
        Settings(**wrong)  # type: ignore[arg-type]


def test_heights_hold_for_the_rings_that_they_name(rings: Path) -> None:
    settings = Settings(camera_height={"low": 0.4, None: 1.1})
    assert [settings.lens_height(ring) for ring in RINGS] == [0.4, 1.1, 1.1]
    assert Settings(camera_height=1.2).lens_height("high") == 1.2 and Settings().lens_height("low") is None
    assert Settings(ring="low").one_ring == "low" and Settings(ring={"low": "a"}).ring_places == {"low": Path("a")}
