"""From a clip or a folder to a checked turnaround and a private set, as the command line does it."""

from __future__ import annotations

import json
import shutil
from collections.abc import Callable, Sequence
from pathlib import Path

import cv2
import numpy as np
import pytest
from PIL import Image

import silhouette
from silhouette import cli, shoot, turnaround
from silhouette.errors import SettingsError
from silhouette.records import Stop
from silhouette.settings import Settings
from silhouette.show.words import note

CHECKS = {
    "full turn", "missing stops", "doubled stops", "held pose", "stance", "framing", "figure size", "sharpness",
    "steady light", "light direction", "distance", "camera height",
}  # fmt: skip


def findings(out: Path) -> dict[str, dict]:
    data = json.loads((out / "check.json").read_text())
    assert data["schema"] == 2
    return {f["check"]: f for f in data["findings"]}


def test_a_held_clip_passes_and_is_shown_on_a_page(
    data: Path, tmp_path: Path, capsys: pytest.CaptureFixture[str]
) -> None:
    assert cli.main(["check", str(data / "clips" / "steady.mp4"), "-o", str(tmp_path / "out")]) == 0
    found = findings(tmp_path / "out")
    assert set(found) == CHECKS
    assert {f["verdict"] for f in found.values()} <= {"pass", "unknown"}
    stops = json.loads((tmp_path / "out" / "check.json").read_text())["stops"]
    truth = json.loads((data / "clips" / "steady.truth.json").read_text())
    assert len(stops) == len(truth)
    for stop, true in zip(stops, truth, strict=True):
        assert true["start"] <= stop["time"] <= true["end"]
        assert abs((stop["angle"] - true["angle"] + 180) % 360 - 180) <= 8
    assert (tmp_path / "out" / "check.png").stat().st_size > 5000
    assert max(map(len, capsys.readouterr().out.splitlines())) <= max(80, len(str(tmp_path)) + 20)


def test_a_gap_and_a_change_of_light_are_for_retaking(data: Path, tmp_path: Path) -> None:
    assert cli.main(["check", str(data / "clips" / "gap_and_short.mp4"), "-o", str(tmp_path / "out")]) == 1
    found = findings(tmp_path / "out")
    assert found["full turn"]["verdict"] == "retake"
    assert found["missing stops"]["after_stop"] == [8]
    assert found["steady light"]["stops"] == [5, 6]


def test_stills_without_angles_get_theirs_from_the_outlines(drawn_turn: Callable[..., Path]) -> None:
    angles = [a for a in range(0, 375, 15) if a not in (135, 150)]
    folder = drawn_turn("turn", angles, stem="IMG_{i:04d}")
    checked = shoot.check_turnaround(folder)
    assert {s.angle_from for s in checked.report.stops} == {"outline"}
    assert len(checked.outlines) == len(checked.report.stops) == len(angles)
    missing = next(f for f in checked.report.findings if f.check == "missing stops")
    assert missing.verdict == "retake" and missing.after_stop == (8,)


STOPS = tuple(range(0, 375, 15))


@pytest.mark.parametrize(
    ("shot", "said"),
    [
        ([a for a in STOPS if a != 75], "missing after IMG_0004"),
        ([a for a in STOPS if a not in (135, 150)], "missing after IMG_0008"),
        (sorted([*STOPS, 90]), "IMG_0007 repeats IMG_0006"),
        ([-a % 360 for a in STOPS if a != 75], "missing after IMG_0004"),
    ],
)
def test_a_set_of_an_uneven_turn_is_named_by_its_outlines(
    drawn_turn: Callable[..., Path], tmp_path: Path, shot: list[int], said: str
) -> None:
    folder = drawn_turn("turn", shot, stem="IMG_{i:04d}")
    way = "right" if shot[1] > shot[2] else "left"
    layout = shoot.export_set(folder, tmp_path / "set", silhouettes_only=True, turn=way)
    told = [note(n) for n in layout.notes]
    assert said in told[0] and not any("spread over" in one for one in told)
    named = {view.name: view.angle for _, view in layout.views}
    off = [abs((named[f"IMG_{i:04d}"] - a + 180) % 360 - 180) for i, a in enumerate(shot)]
    assert np.median(off) <= 2 and max(off) <= 6
    assert len({stem for stem, _ in layout.views}) == len(shot)
    assert {view.angle_from for _, view in layout.views} == {"outline"}


def off(found: Sequence[float], truth: Sequence[float]) -> np.ndarray:
    return np.abs((np.asarray(found) - np.asarray(truth) + 180) % 360 - 180)


@pytest.mark.parametrize(
    ("shot", "how"),
    [
        ([a for a in STOPS if a not in (135, 150)], "outline"),
        ([a for a in STOPS[:-1] if a != 75], "outline"),
        (STOPS[:-4], "outline"),  # ends early
        ((*STOPS, 15, 30), "outline"),  # goes on past its start
        (STOPS, "spread"),
        (range(0, 360, 30), "spread"),
    ],
    ids=["two missing", "one missing", "ends early", "past its start", "closed", "a step short"],
)
def test_every_command_takes_the_same_angles(
    drawn_turn: Callable[..., Path], tmp_path: Path, shot: Sequence[int], how: str
) -> None:
    folder = drawn_turn("turn", shot, stem="IMG_{i:04d}")
    pose = silhouette.score_pose(folder, jitter=0)
    scored = {v.name: v.stop for v in pose.views if not v.inferred}
    checked = {s.name: s for s in shoot.check_turnaround(folder).report.stops}
    assert scored == checked
    layout = shoot.export_set(folder, tmp_path / "set", silhouettes_only=True)
    assert {v.name: (v.angle, v.angle_from, v.angle_sure) for _, v in layout.views} == {
        name: (s.angle, s.angle_from, s.angle_sure) for name, s in scored.items()
    }
    found = [scored[f"IMG_{i:04d}"] for i in range(len(shot))]
    assert {s.angle_from for s in found} == {how}
    assert off([s.angle for s in found], shot).max() <= (0.1 if how == "spread" else 6)
    assert all(s.angle_sure is not None and s.angle_sure < 12 for s in found)


def test_half_a_turn_is_noticed_unless_the_span_is_said(data: Path, tmp_path: Path) -> None:
    folder = tmp_path / "half"
    folder.mkdir()
    for i, angle in enumerate(range(0, 210, 30)):
        shutil.copy(data / "rendered" / "turn" / f"{angle:03d}.jpg", folder / f"IMG_{i:04d}.jpg")
    found = turnaround.ingest(folder)
    assert [s.angle for s in found.stops] == [0, 30, 60, 90, 120, 150, 180]
    assert "spread over 180 degrees. Their outlines show half a turn" in note(found.notes[0])
    assert "opposite the first" in note(found.notes[0])
    whole = turnaround.ingest(folder, Settings(span=360))
    assert off([s.angle for s in whole.stops], [360 * k / 7 for k in range(7)]).max() < 0.1
    assert "half a turn" not in " ".join(map(note, whole.notes))
    (folder / "IMG_0006.jpg").unlink()
    assert [s.angle for s in turnaround.ingest(folder, Settings(span=180)).stops] == [0, 30, 60, 90, 120, 150]


def test_a_span_that_was_said_wins_over_a_turn_that_ends_early(drawn_turn: Callable[..., Path]) -> None:
    shot = turnaround.ingest(drawn_turn("early", STOPS[:-4], stem="IMG_{i:04d}"), Settings(span=360))
    assert {s.angle_from for s in shot.stops} == {"spread"}
    assert "outlines disagree" in note(shot.notes[1])


def test_a_clip_that_was_read_is_checked_and_kept_without_reading_it_again(
    data: Path, tmp_path: Path, monkeypatch: pytest.MonkeyPatch
) -> None:
    clip = data / "clips" / "steady.mp4"
    shot = turnaround.ingest(clip, looks=True)
    plain = shoot.check_turnaround(clip)
    monkeypatch.setattr("silhouette.intake.film.find_stops", lambda *a, **k: pytest.fail("decoded again"))
    monkeypatch.setattr("silhouette.intake.reel.read_at", lambda *a, **k: pytest.fail("decoded again"))
    assert shoot.check_turnaround(shot).report == plain.report
    layout = shoot.export_set(shot, tmp_path / "set", silhouettes_only=True)
    assert [v.angle for _, v in layout.views] == sorted(s.angle for s in plain.report.stops)
    with pytest.raises(SettingsError, match=r"start: .* keeps the settings"):
        shoot.check_turnaround(shot, start=90)


@pytest.mark.parametrize("what", ["clip", "stills"])
def test_what_the_check_needs_can_be_taken_later(
    data: Path, drawn_turn: Callable[..., Path], what: str
) -> None:
    place = data / "clips" / "steady.mp4" if what == "clip" else drawn_turn("turn", STOPS)
    at_once, later = turnaround.ingest(place, looks=True), turnaround.ingest(place)
    assert later.looks is None and at_once.stops == later.stops
    assert all((a.mask == b.mask).all() for a, b in zip(at_once.cuts, later.cuts, strict=True) if a and b)
    for one, other in zip(at_once.looks or (), turnaround.watched(later).looks or (), strict=True):
        assert one is not None and other is not None
        assert (one.edge_width, one.side_light, one.height_px) == (other.edge_width, other.side_light, other.height_px)
        assert (one.thumb == other.thumb).all()


def test_a_set_is_not_scored(
    drawn_turn: Callable[..., Path], tmp_path: Path, monkeypatch: pytest.MonkeyPatch
) -> None:
    folder = drawn_turn("turn", range(0, 360, 90))
    monkeypatch.setattr("silhouette.reading.reader.read_body", lambda line: pytest.fail("nobody asked for it"))
    monkeypatch.setattr("silhouette.shape.measure.measure_outline", lambda line: pytest.fail("nobody asked for it"))
    assert len(shoot.export_set(folder, tmp_path / "set", silhouettes_only=True).figures) == 4


def test_a_set_of_an_even_turn_keeps_its_even_angles(drawn_turn: Callable[..., Path], tmp_path: Path) -> None:
    folder = drawn_turn("turn", STOPS, stem="IMG_{i:04d}")
    layout = shoot.export_set(folder, tmp_path / "set", silhouettes_only=True)
    assert [stem for stem, _ in layout.views][:3] == ["turn_000", "turn_000b", "turn_015"]
    told = [note(n) for n in layout.notes]
    assert "spread over 360" in told[0] and not any("outlines disagree" in one for one in told)


def test_a_pose_may_be_a_clip(data: Path) -> None:
    pose = silhouette.score_pose(data / "rendered" / "clip.mp4")
    truth = json.loads((data / "rendered" / "clip.truth.json").read_text())
    assert len(pose.views) == len(truth)
    assert {v.stop.angle_from for v in pose.views} == {"clip"}
    assert pose.round.reads_degrees is not None


@pytest.mark.parametrize("bare", [False, True])
def test_a_set_holds_no_metadata_and_only_what_was_asked_for(data: Path, tmp_path: Path, bare: bool) -> None:
    turn = tmp_path / "keeper"
    shutil.copytree(data / "rendered" / "turn", turn, ignore=shutil.ignore_patterns("masks", "*.json"))
    exif = Image.Exif()
    exif[0x0112] = 6
    exif.get_ifd(0x8825)[1] = "N"
    sideways = turn / "030.jpg"
    upright = Image.open(sideways).convert("RGB")
    upright.transpose(Image.Transpose.ROTATE_90).save(sideways, exif=exif, quality=95)
    before = {p.name: p.read_bytes() for p in turn.iterdir()}
    words = ["export", str(turn), "-o", str(tmp_path / "set")]
    assert cli.main([*words, "--silhouettes-only"] if bare else words) == 0
    assert {p.name: p.read_bytes() for p in turn.iterdir()} == before
    stills = sorted((tmp_path / "set").rglob("*.jpg"))
    assert len(stills) == (0 if bare else 12) and (tmp_path / "set" / "photographs").is_dir() != bare
    for still in stills:
        with Image.open(still) as image:
            assert not image.getexif() and "icc_profile" not in image.info
            assert image.size == upright.size
    if not bare:
        kept = cv2.imread(str(tmp_path / "set" / "photographs" / "keeper_030.jpg")).astype(int)
        assert np.abs(kept - np.asarray(upright)[..., ::-1].astype(int)).mean() < 6
    page = (tmp_path / "set" / "turnaround.html").read_text().replace("http://www.w3.org/2000/svg", "")
    assert "://" not in page, "nothing in the page points outside it"
    assert cli.main(words) == 2, "an existing set is not overwritten without being told to"
    assert cli.main([*words, "--overwrite"]) == 0


def shows_a_photograph(path: Path) -> bool:
    """Whether colours of the rendered body or its wall are in a file; black shapes and type are grey, marks aside."""
    if path.suffix in (".jpg", ".png"):
        with Image.open(path) as image:
            pixels = np.asarray(image.convert("RGB")).astype(int)
        return bool((np.ptp(pixels, axis=2) > 12).mean() > 0.01)
    data = path.read_bytes()
    return b"/Subtype /Image" in data or b"data:image" in data


def test_photographs_lie_in_one_folder_and_nowhere_else(data: Path, tmp_path: Path) -> None:
    turn = data / "rendered" / "turn"
    words = ["export", str(turn), "-o", str(tmp_path / "set"), "--name", "keeper", "--scale", "1:4", "--height", "1.7"]
    assert cli.main([*words, "--originals", "--photos-in-page"]) == 0
    out = tmp_path / "set"
    files = {p.relative_to(out): shows_a_photograph(p) for p in out.rglob("*") if p.is_file() and p.name[0] != "."}
    assert {str(p) for p, shows in files.items() if shows} == {
        *(f"photographs/keeper_{a:03d}.jpg" for a in range(0, 360, 30)),
        *(f"photographs/originals/keeper_{a:03d}.png" for a in range(0, 360, 30)),
        "photographs/contact_sheet.pdf", "photographs/contact_sheet.png", "photographs/turnaround.html"}
    assert {str(p) for p in files if len(p.parts) == 1} == {
        "about.txt", "contact_sheet.pdf", "contact_sheet.png", "set.csv", "to_scale.pdf", "turnaround.html"}
    about = (out / "about.txt").read_text()
    assert "only the folder photographs/ holds any" in about and "originals/     every pixel" in about
    assert "Scale 1:4, the pose 1.70 m high." in about
    assert cli.main([*words, "--silhouettes-only", "--photos-in-page", "--originals", "--overwrite"]) == 0
    assert not any(shows_a_photograph(p) for p in out.rglob("*") if p.is_file() and p.name[0] != ".")
    assert not (out / "photographs").exists() and "no photographs" in (out / "about.txt").read_text()


def test_the_page_and_the_json_tell_the_same_sentences(data: Path, tmp_path: Path) -> None:
    """Schema 2: what schema 1 held is still there, the data it is made from comes beside it."""
    cli.main(["check", str(data / "clips" / "droop.mp4"), "-o", str(tmp_path / "out"), "--height", "1.72"])
    pose = findings(tmp_path / "out")["held pose"]
    assert {"check", "verdict", "stops", "evidence", "do", "where", "how_far"} < set(pose)
    assert pose["kind"] == "pose changed" and pose["how_far"] == f"about {100 * pose['far'] * 1.72:.0f} cm"
    assert pose["where"] in pose["evidence"] and pose["how_far"] in pose["evidence"]
    assert pose["values"]["way"] == "elsewhere" and "has moved" in pose["evidence"]


@pytest.mark.parametrize(("count", "told"), [(7, False), (8, True)])
def test_a_few_outlines_of_a_clip_tell_no_angles_however_well_they_fit(count: int, told: bool) -> None:
    stops = [Stop(k, Path("turn.mov"), f"stop_{k:02d}", 40.0 * k, "clip", angle_sure=3.0) for k in range(count)]
    assert shoot._angles_told(stops, np.arange(count)) == told
