"""The whole line on drawn turns of a model whose outline is known at every angle."""

from __future__ import annotations

import json
import os
import shutil
from collections.abc import Callable
from pathlib import Path
from typing import Any

import cv2
import numpy as np
import pytest

import silhouette
from silhouette import known, outputs, scoring, shoot, tables, turnaround
from silhouette.errors import CutterError, PoseError, SettingsError
from silhouette.records import CUT_BY_FRAME, INFERRED, ONE_PICTURE, SAME_ANGLE, UNREADABLE, Note, Reason, ReasonKind
from silhouette.show import table, words

EIGHT = range(0, 360, 45)


def test_masks_are_the_figure(drawn_turn: Callable[..., Path], capsule_mask: Callable[..., np.ndarray]) -> None:
    pose = silhouette.score_pose(drawn_turn("keeper", EIGHT))
    assert len(pose.views) == 8
    for view in pose.views:
        truth, mask = capsule_mask(view.angle), view.mask
        assert mask is not None
        assert (mask & truth).sum() / (mask | truth).sum() > 0.97
        assert view.stop.angle_from == "name"


def test_arms_out_reads_better_than_arms_down_from_the_front(drawn_turn: Callable[..., Path]) -> None:
    out, down = drawn_turn("out", EIGHT), drawn_turn("down", EIGHT, arms="down")
    ranked = silhouette.rank_poses([down, out])
    assert [p.name for p in ranked.poses] == ["out", "down"]
    front = {p.name: next(v for v in p.views if v.angle == 0).reading for p in ranked.poses}
    side = next(v for v in ranked.poses[0].views if v.angle == 90).reading
    assert front["out"] and front["down"] and side
    assert front["out"].readability > front["down"].readability
    assert front["out"].readability > side.readability, "an arm toward the lens reads worse than in profile"


def test_a_folder_of_poses_and_a_list_of_poses_are_the_same(drawn_turn: Callable[..., Path], tmp_path: Path) -> None:
    drawn_turn("a", EIGHT)
    drawn_turn("b", EIGHT, arms="down")
    assert [p.name for p in scoring.find_poses([tmp_path])] == ["a", "b"]


def test_results_of_an_earlier_run_are_no_pose(drawn_turn: Callable[..., Path], tmp_path: Path) -> None:
    drawn_turn("a", EIGHT)
    outputs.write(silhouette.rank_poses(tmp_path), tmp_path / "out")
    assert [p.name for p in scoring.find_poses([tmp_path])] == ["a"]


def test_loose_pictures_do_not_hide_the_poses_beside_them(drawn_turn: Callable[..., Path], tmp_path: Path) -> None:
    folder = drawn_turn("a", EIGHT)
    shutil.copy(folder / "000.jpg", tmp_path / "IMG_9999.jpg")
    with pytest.raises(PoseError, match=r"loose pictures \(IMG_9999\.jpg\) beside poses \(a\)"):
        scoring.find_poses([tmp_path])
    assert scoring.find_poses([folder]) == [folder], "a folder of pictures alone is one pose"


def test_why_no_picture_can_be_read_is_said_once(tmp_path: Path) -> None:
    (tmp_path / "000.jpg").write_bytes(b"no picture")
    with pytest.raises(PoseError) as alone:
        silhouette.score_pose(tmp_path / "000.jpg")
    assert str(alone.value).count("000.jpg") == 1
    small = np.full((80, 60, 3), 200, np.uint8)
    for name in ("000", "090"):
        cv2.imwrite(str(tmp_path / f"{name}.jpg"), small)
    with pytest.raises(PoseError, match=r"none of its 2 pictures can be read.*too small"):
        silhouette.score_pose(tmp_path)


def test_counted_names_are_spread_and_the_repeat_of_the_start_is_seen(drawn_turn: Callable[..., Path]) -> None:
    pose = silhouette.score_pose(drawn_turn("turn", [*EIGHT, 0], stem="IMG_{i:04d}"))
    assert [round(v.angle) for v in sorted(pose.views, key=lambda v: v.stop.index)] == [*EIGHT, 0]
    assert all(v.stop.angle_from == "spread" for v in pose.views)
    (spread,) = pose.notes
    assert spread == Note.of("angles spread", count=9, span=360.0, last="repeats", seen=False)
    right = silhouette.score_pose(pose.source, turn="right", start=90)
    assert [round(v.angle) for v in sorted(right.views, key=lambda v: v.stop.index)][:3] == [90, 45, 0]


def test_a_half_turn_foretells_the_round(drawn_turn: Callable[..., Path]) -> None:
    half = silhouette.score_pose(drawn_turn("half", range(0, 180, 30), stem="IMG_{i:04d}"), span=180)
    assert half.round.counted_degrees == 360
    assert sum(INFERRED in v.flags for v in half.views) == 6
    assert all(v.mask is None for v in half.views if v.inferred)


def test_one_bad_picture_does_not_stop_the_others(drawn_turn: Callable[..., Path]) -> None:
    folder = drawn_turn("keeper", EIGHT)
    (folder / "090.jpg").write_bytes((folder / "090.jpg").read_bytes()[:3000])
    pose = silhouette.score_pose(folder)
    bad = next(v for v in pose.views if v.angle == 90)
    assert UNREADABLE in bad.flags and bad.reading is None and "090.jpg" in (bad.problem or "")
    assert [n.kind for n in pose.notes] == ["angles from names", "problem"] and "090.jpg" in pose.notes[1]["text"]
    assert pose.round.counted_degrees == 360 - 90, "the hole of 90 degrees is left open"


def test_one_picture(drawn_turn: Callable[..., Path]) -> None:
    folder = drawn_turn("keeper", [45])
    for place in (folder, folder / "045.jpg"):
        pose = silhouette.score_pose(place)
        assert pose.flags == (ONE_PICTURE,)
        assert pose.round.reads_degrees is None and pose.round.worst is not None


def test_two_people_who_touch_are_asked_about_and_one_alone_is_not(data: Path, tmp_path: Path) -> None:
    turn = data / "rendered" / "turn"
    alone = silhouette.score_pose(turn)
    assert not any(note.kind == "unlike one body" for note in alone.notes)
    for angle in (0, 90, 180):
        mask = cv2.imread(str(turn / "masks" / f"{angle:03d}.png"), cv2.IMREAD_GRAYSCALE) > 127
        columns = np.flatnonzero(mask.any(axis=0))
        figure = mask[:, columns[0] : columns[-1] + 1]
        both = np.zeros((mask.shape[0], 2 * figure.shape[1] + 60), bool)
        both[:, 30 : 30 + figure.shape[1]] = figure
        wide = figure.shape[1]
        touch = next(k for k in range(wide + 30, 30, -1) if (both[:, k : k + wide] & figure).sum() > 40)
        both[:, touch : touch + wide] |= figure
        still = np.where(both[..., None], 60, 190).astype(np.uint8).repeat(3, axis=2)
        cv2.imwrite(str(tmp_path / f"{angle:03d}.png"), still)
        cv2.imwrite(str(tmp_path / f"{angle:03d}.mask.png"), both.astype(np.uint8) * 255)
    pair = silhouette.score_pose(tmp_path)
    assert Note.of("unlike one body", angles=[0.0, 90.0, 180.0], views=3) in pair.notes


def test_two_stills_of_one_angle_are_flagged(drawn_turn: Callable[..., Path]) -> None:
    folder = drawn_turn("keeper", EIGHT)
    shutil.copy(folder / "090.jpg", folder / "90.jpg")
    flagged = [v.angle for v in silhouette.score_pose(folder).views if SAME_ANGLE in v.flags]
    assert flagged == [90, 90]


def test_a_figure_cut_by_the_frame_is_scored_and_flagged(drawn_turn: Callable[..., Path]) -> None:
    folder = drawn_turn("keeper", EIGHT)
    for path in folder.iterdir():
        cv2.imwrite(str(path), cv2.imread(str(path))[:520])
    pose = silhouette.score_pose(folder)
    assert all(CUT_BY_FRAME in v.flags and v.reading for v in pose.views)


def test_a_mask_by_hand_is_used_as_it_is(
    drawn_turn: Callable[..., Path], capsule_mask: Callable[..., np.ndarray]
) -> None:
    folder = drawn_turn("keeper", EIGHT)
    by_hand = capsule_mask(45, "down")
    cv2.imwrite(str(folder / "045.mask.png"), by_hand.astype(np.uint8) * 255)
    view = next(v for v in silhouette.score_pose(folder).views if v.angle == 45)
    assert view.cutter == "given" and view.mask is not None
    assert np.array_equal(view.mask, by_hand)


def test_nobody_there(tmp_path: Path) -> None:
    rng = np.random.default_rng(0)
    wall = np.clip(rng.normal(170, 3, (600, 450, 3)), 0, 255).astype(np.uint8)
    cv2.imwrite(str(tmp_path / "wall.png"), wall)
    with pytest.raises(PoseError, match="no figure"):
        silhouette.score_pose(tmp_path / "wall.png")


def test_a_table_of_angles_that_covers_only_some(drawn_turn: Callable[..., Path], tmp_path: Path) -> None:
    folder = drawn_turn("keeper", EIGHT, stem="IMG_{i:04d}")
    (folder / "angles.csv").write_text("IMG_0000.jpg;0\nIMG_0001;45\nIMG_0002.jpg;90\n")
    ranking = silhouette.rank_poses([folder])
    assert sum(v.problem is not None and "gives no angle" in v.problem for v in ranking.poses[0].views) == 5
    assert ranking.poses[0].round.counted_degrees == 180, "the quarter that was shot, and its mirror"
    outputs.write(ranking, tmp_path / "out")
    assert len(shoot.check_turnaround(folder).report.stops) == 3


def test_what_was_cut_before_is_reused_until_a_picture_changes(drawn_turn: Callable[..., Path], tmp_path: Path) -> None:
    folder = drawn_turn("keeper", EIGHT)
    out = tmp_path / "out"
    told: list[str] = []
    memory = known.Memory(out)
    first = silhouette.score_pose(folder, known=memory)
    assert not out.exists(), "nothing is written before the results are"
    out.mkdir()
    memory.write(out)
    memory = known.Memory(out)
    again = silhouette.score_pose(folder, known=memory, progress=lambda what, done, total: told.append(what))
    assert told and not any("cutting" in t for t in told)
    assert tables.pose_to_dict(again) == tables.pose_to_dict(first)
    cv2.imwrite(str(folder / "000.jpg"), cv2.imread(str(folder / "045.jpg")))
    silhouette.score_pose(folder, known=memory, progress=lambda what, done, total: told.append(what))
    assert any("cutting" in t for t in told)
    for file in (out / known.KNOWN).iterdir():
        assert str(tmp_path).encode() not in file.read_bytes(), "no place is kept"


def test_cuts_of_other_weights_are_not_reused(
    drawn_turn: Callable[..., Path], tmp_path: Path, monkeypatch: pytest.MonkeyPatch
) -> None:
    folder, out = drawn_turn("keeper", [0, 90]), tmp_path / "out"
    weights = tmp_path / "net.onnx"
    weights.write_bytes(b"one")
    monkeypatch.setattr(turnaround, "WEIGHTS", [*turnaround.WEIGHTS, weights])
    assert any(path.name == "figure_net.onnx" for path in turnaround.WEIGHTS)

    def cut_anew() -> bool:
        told: list[str] = []
        memory = known.Memory(out)
        turnaround.ingest(folder, known=memory, tell=lambda what, done, total: told.append(what))
        shutil.rmtree(out, ignore_errors=True)
        out.mkdir()
        memory.write(out)
        return any("cutting" in t for t in told)

    assert [cut_anew(), cut_anew()] == [True, False]
    weights.write_bytes(b"two!")
    assert [cut_anew(), cut_anew()] == [True, False]


def test_a_pose_with_a_bad_picture_is_not_remembered_since_its_problem_names_the_place(
    drawn_turn: Callable[..., Path], tmp_path: Path
) -> None:
    folder, out = drawn_turn("keeper", [0, 90]), tmp_path / "out"
    (folder / "090.jpg").write_text("x")
    memory = known.Memory(out)
    assert str(tmp_path) in (turnaround.ingest(folder, known=memory).stops[1].problem or "")
    out.mkdir()
    memory.write(out)
    for file in out.rglob("*.npz"):
        with np.load(file) as held:
            assert str(tmp_path) not in str(held["story"])


def test_a_remembered_pose_can_be_checked_too(drawn_turn: Callable[..., Path], tmp_path: Path) -> None:
    folder, out = drawn_turn("keeper", EIGHT), tmp_path / "out"
    memory = known.Memory(out)
    first = turnaround.ingest(folder, known=memory, looks=True)
    out.mkdir()
    memory.write(out)
    again = turnaround.ingest(folder, known=known.Memory(out), looks=True)
    assert again.stops == first.stops and again.looks is not None and first.looks is not None
    for one, other in zip(first.looks, again.looks, strict=True):
        assert one is not None and other is not None
        assert (one.thumb == other.thumb).all() and one.edge_width == other.edge_width


def test_two_processes_give_the_same_answer(drawn_turn: Callable[..., Path]) -> None:
    folder = drawn_turn("keeper", EIGHT)
    one, two = silhouette.score_pose(folder), silhouette.score_pose(folder, jobs=2)
    assert tables.pose_to_dict(one) == tables.pose_to_dict(two)


def test_result_is_plain_data_with_null_for_what_was_not_made(drawn_turn: Callable[..., Path]) -> None:
    folder = drawn_turn("keeper", EIGHT)
    (folder / "090.jpg").write_text("x")
    ranking = silhouette.rank_poses([folder])
    data = json.loads(ranking.to_json())
    assert data["schema"] == 2
    (pose,) = data["poses"]
    assert [note["kind"] for note in pose["note_kinds"]] == ["angles from names", "problem"]
    assert pose["note_kinds"][1]["text"] == pose["notes"][1]
    for view in pose["views"]:
        assert [words.reason(Reason(ReasonKind(r["kind"]), r["limb"], r["zone"], r["side"])) for r in view["reasons"]
                ] == view["why"]
    for arc in pose["weak_arcs"]:
        assert arc["causes"] and len(arc["causes"]) == len(arc["why"])
        assert not any(cause["side"] for cause in arc["causes"])
    assert {"name", "reads_degrees", "readability", "rank", "tied_with", "weak_arcs", "views"} <= set(pose)
    assert {"mean", "worst"} <= set(pose["readability"])
    bad = next(v for v in pose["views"] if v["angle"] == 90)
    for key in ("readability", "clear", "interesting", "band", "negative_space", "limb_separation", "parts"):
        assert bad[key] is None
    frame = ranking.to_frame()
    assert len(frame) == 8 and set(frame["pose"]) == {"keeper"}
    assert len(ranking.poses[0].to_frame()) == 8


def test_unknown_settings_are_named(tmp_path: Path) -> None:
    with pytest.raises(TypeError, match="spam"):
        silhouette.score_pose(tmp_path, spam=1)  # type: ignore[call-arg]
    with pytest.raises(SettingsError, match="cutter can be"):
        silhouette.score_pose(tmp_path, cutter="magic")  # type: ignore[arg-type]
    with pytest.raises(PoseError, match="does not exist"):
        silhouette.rank_poses([tmp_path / "nowhere"])


def test_originals_are_not_touched(drawn_turn: Callable[..., Path]) -> None:
    folder = drawn_turn("keeper", EIGHT)
    before = {p.name: (p.stat().st_mtime_ns, p.read_bytes()) for p in folder.iterdir()}
    for path in folder.iterdir():
        path.chmod(0o444)
    silhouette.score_pose(folder)
    assert {p.name: (p.stat().st_mtime_ns, p.read_bytes()) for p in folder.iterdir()} == before


def test_bad_poses_do_not_stop_the_others_and_are_told(drawn_turn: Callable[..., Path], tmp_path: Path) -> None:
    drawn_turn("good", EIGHT)
    drawn_turn("table", EIGHT, stem="IMG_{i:04d}").joinpath("angles.csv").write_text("a.jpg,0\na.jpg,9\n")
    (tmp_path / "clip.mp4").write_bytes(b"no film")
    ranked = silhouette.rank_poses(tmp_path)
    assert [p.name for p in ranked.poses] == ["good"]
    assert [name for name, _ in ranked.left_out] == ["clip", "table"]
    assert "clip.mp4: The clip cannot be opened" in ranked.left_out[0][1]
    assert "angles.csv: line 2 gives a.jpg a second angle" in ranked.left_out[1][1]
    told = json.loads(ranked.to_json())["left_out"]
    assert told == [{"name": name, "why": why} for name, why in ranked.left_out]
    printed = " ".join(table.rank_table(ranked).split())
    assert "clip, left out:" in printed and "a second angle" in printed and "Nothing else was dropped" in printed
    shutil.rmtree(tmp_path / "good")
    with pytest.raises(PoseError, match=r"None of the 2 poses can be used. The first: .*clip\.mp4"):
        silhouette.rank_poses(tmp_path)


def test_a_fault_that_is_no_poses_own_stops_the_ranking(drawn_turn: Callable[..., Path], tmp_path: Path) -> None:
    drawn_turn("a", EIGHT)
    drawn_turn("b", EIGHT)
    with pytest.raises(CutterError):
        silhouette.rank_poses(tmp_path, cutter="neural", model=str(tmp_path / "missing.onnx"))


def test_a_set_and_results_are_no_poses(drawn_turn: Callable[..., Path], tmp_path: Path) -> None:
    drawn_turn("a", EIGHT)
    drawn_turn("b", EIGHT)
    shoot.export_set(tmp_path / "a", tmp_path / "set", originals=True)
    mark = drawn_turn("c", [0]) / ".silhouette.json"
    mark.write_text('{"silhouette": "9", "kind": "results", "files": {}}')
    assert [p.name for p in scoring.find_poses([tmp_path])] == ["a", "b"]
    assert scoring.find_poses([tmp_path / "set"]) == [tmp_path / "set"], "given by itself a set is a pose"
    again = silhouette.score_pose(tmp_path / "set")
    assert len([v for v in again.views if not v.inferred]) == 8 and not any(v.problem for v in again.views)
    assert len(silhouette.score_pose(tmp_path / "set" / "photographs").views) == 8, "its sheets are no stills"
    with pytest.raises(PoseError, match="results of an earlier run"):
        silhouette.rank_poses([tmp_path / "c"])


def test_loose_pictures_beside_a_set_are_one_pose(drawn_turn: Callable[..., Path]) -> None:
    folder = drawn_turn("a", EIGHT)
    shoot.export_set(folder, folder.parent / "set")
    (folder.parent / "set").rename(folder / "set")
    assert scoring.find_poses([folder]) == [folder]


@pytest.mark.skipif(os.name == "nt", reason="names are text there")
def test_names_that_are_no_text_are_written_as_text(drawn_turn: Callable[..., Path], tmp_path: Path) -> None:
    folder = drawn_turn("keeper", EIGHT)
    odd = tmp_path / os.fsdecode(b"ke\xffper")
    try:
        folder.rename(odd)
        (odd / "045.jpg").rename(odd / os.fsdecode(b"k\xfe_045deg.jpg"))
    except OSError:
        pytest.skip("this disk takes no such names")
    ranking = silhouette.rank_poses([odd])
    outputs.write(ranking, tmp_path / "out", masks=True)
    assert ranking.poses[0].name == "ke\ufffdper"
    assert {"k\ufffd_045deg"} == {v.name for v in ranking.poses[0].views if v.angle == 45}
    table.rank_table(ranking).encode("utf-8")
    assert (tmp_path / "out" / "masks" / "ke\ufffdper" / "k\ufffd_045deg.png").is_file()
    assert "k\ufffd_045deg.jpg" in (tmp_path / "out" / "result.json").read_text("utf-8")


def test_a_sign_for_a_number_in_a_name_is_no_fault(drawn_turn: Callable[..., Path], tmp_path: Path) -> None:
    folder = drawn_turn("1²", EIGHT, stem="1²_{i}")
    assert [p.name for p in scoring.find_poses([tmp_path])] == ["1²"]
    assert len(silhouette.score_pose(folder).views) == 8


# ------------------------------------------------------------------------------------------------------ several rings

ROUND = range(0, 360, 60)


@pytest.fixture
def in_rings(drawn_turn: Callable[..., Path], tmp_path: Path) -> Path:
    """A pose whose arms are out in the level ring and down in the low one, so that anybody sees which reads better."""
    (tmp_path / "keeper").mkdir()
    drawn_turn("keeper/level", ROUND)
    drawn_turn("keeper/low", ROUND, arms="down")
    return tmp_path / "keeper"


def degrees_read(pose: Any) -> int:
    assert pose.round.reads_degrees is not None
    return int(pose.round.reads_degrees)


def test_each_ring_is_read_by_itself_and_the_level_one_is_the_headline(in_rings: Path) -> None:
    pose = silhouette.score_pose(in_rings, jitter=0)
    alone = {ring: silhouette.score_pose(in_rings / ring, jitter=0) for ring in ("low", "level")}
    assert pose.ring == "level" and [one.ring for one in pose.rings] == ["low", "level"]
    for one in pose.rings:
        assert one.round.reads_degrees == degrees_read(alone[one.ring]), "as if it were alone"
        assert {view.stop.ring for view in one.views} == {one.ring}
    assert degrees_read(pose) > degrees_read(alone["low"])
    frame = pose.to_frame()
    assert list(frame["ring"]) == ["level"] * 6 + ["low"] * 6
    told = json.loads(pose.to_json())["poses"][0]
    assert told["reads_degrees"] == degrees_read(pose)
    assert told["rings"][0]["reads_degrees"] == degrees_read(alone["low"])


def test_a_viewer_below_the_plinth_makes_the_low_ring_count(in_rings: Path) -> None:
    pose = silhouette.score_pose(in_rings, jitter=0, seen_from=1.6, stands_on=1.3)
    assert pose.ring == "low" and [one.ring for one in pose.other_rings] == ["level"]
    assert pose.views[0].stop.ring == "low" and pose.round == silhouette.score_pose(in_rings / "low", jitter=0).round
    above = silhouette.score_pose(in_rings, jitter=0, seen_from=4.0)
    kinds = [[n.kind for n in one.notes if n.kind in ("ring counts", "ring wanted")] for one in (pose, above)]
    assert kinds == [["ring counts"], ["ring wanted"]]


def test_a_ring_that_lies_elsewhere_is_one_of_the_pose(in_rings: Path) -> None:
    whole = silhouette.score_pose(in_rings, jitter=0, camera_height={"low": 0.4})
    asked = silhouette.score_pose(
        in_rings / "level", jitter=0, ring={"low": in_rings / "low"}, camera_height={"low": 0.4})
    assert [one.round for one in asked.rings] == [one.round for one in whole.rings]
    assert asked.rings[0].camera is not None and asked.rings[0].camera.height_m == 0.4
    called = silhouette.score_pose(in_rings / "level", jitter=0, ring="high")
    assert called.ring == "high" and not called.other_rings and called.views[0].stop.ring == "high"
    with pytest.raises(PoseError, match="is another ring of the pose already"):
        silhouette.score_pose(in_rings / "level", ring={"low": in_rings / "level"})
    with pytest.raises(PoseError, match=r"has a level ring already.*--ring low or --ring high"):
        silhouette.score_pose(in_rings / "level", ring={"level": in_rings / "low"})
    with pytest.raises(PoseError, match="Leave --ring out"):
        silhouette.score_pose(in_rings, ring="low")
    with pytest.raises(SettingsError, match="belongs to one pose"):
        silhouette.rank_poses([in_rings / "level", in_rings / "low"], ring={"high": in_rings})


def test_a_scored_pose_is_ranked_by_the_ring_that_counts_now(in_rings: Path) -> None:
    pose = silhouette.score_pose(in_rings, jitter=0)
    other = silhouette.score_pose(in_rings / "level", jitter=0)
    seen = silhouette.rank_poses([pose, other], jitter=0, seen_from=1.6, stands_on=1.3)
    by_name = {one.name: one for one in seen.poses}
    assert by_name["keeper"].ring == "low" and by_name["level"].ring == "level"
    assert seen.poses[0].name == "level", "with its arms out it reads from more of the round"
    again = silhouette.rank_poses([by_name["keeper"], by_name["level"]], jitter=0)
    assert {one.ring for one in again.poses} == {"level"}
    kinds = {note.kind for one in again.poses for note in one.notes}
    assert not kinds & {"ring counts", "ring wanted", "ring differs"}
