"""Stills that turn.csv calls one live turn are read as the stops of a clip are."""

from __future__ import annotations

from collections.abc import Callable
from pathlib import Path

import cv2
import numpy as np
import pytest

from silhouette import known, scoring, shoot, turnaround
from silhouette.intake import film
from silhouette.settings import Settings

HEAD = "still,seconds,moved\n"


@pytest.fixture
def turn(drawn_turn: Callable[..., Path]) -> Path:
    folder = drawn_turn("hauling", range(0, 360, 30), stem="raw_{a:03.0f}")
    rows = []
    for k, path in enumerate(sorted(folder.glob("*.jpg")), start=1):
        rows.append(path.rename(folder / f"stop_{k:02d}.jpg").name)
    (folder / "turn.csv").write_text(HEAD + "".join(f"{name},{k},\n" for k, name in enumerate(rows)))
    return folder


def test_a_live_turn_tells_what_the_clip_of_it_tells(data: Path, tmp_path: Path) -> None:
    clip = data / "clips" / "gap_and_short.mp4"
    found = film.find_stops(clip, work_px=1008)
    moved = ["", *found.motion_share.tolist()]
    rows = []
    for picture, time, m in zip(film.read_stops(clip, found, 1008), found.chosen, moved, strict=True):
        cv2.imwrite(str(tmp_path / f"{picture.name}.png"), picture.pixels)
        rows.append(f"{picture.name}.png,{time},{m}\n")
    (tmp_path / "turn.csv").write_text(HEAD + "".join(rows))
    of_clip, of_stills = (shoot.check_turnaround(place).report for place in (clip, tmp_path))
    assert {f.kind for f in of_clip.findings} >= {"turn open", "stop missing", "light changed"}
    assert [(f.check, f.verdict, f.kind, f.stops, f.after_stop) for f in of_stills.findings] == [
        (f.check, f.verdict, f.kind, f.stops, f.after_stop) for f in of_clip.findings]
    np.testing.assert_allclose([s.angle for s in of_stills.stops], [s.angle for s in of_clip.stops], atol=0.5)
    assert [s.name for s in of_stills.stops] == [s.name for s in of_clip.stops]


def test_its_stops_stand_in_the_order_of_the_table_and_the_outlines_tell_their_angles(turn: Path) -> None:
    names = [line.split(",")[0] for line in (turn / "turn.csv").read_text().splitlines()[1:]]
    late = (turn / "stop_12.jpg").rename(turn / "a_late_one.jpg").name
    lines = [*names[:5], "lost.jpg", *names[5:11], late]
    (turn / "turn.csv").write_text(HEAD + "".join(f"{name},,\n" for name in lines))
    shot = turnaround.ingest(turn)
    assert [stop.source.name for stop in shot.stops] == [*names[:11], late]
    assert {stop.angle_from for stop in shot.stops} == {"clip"}
    assert all(stop.angle_sure is not None for stop in shot.stops)
    (gone,) = [note for note in shot.notes if note.kind == "stops gone"]
    assert gone["names"] == ("lost.jpg",)


def test_angles_that_are_stated_hold_in_the_order_of_the_table(turn: Path) -> None:
    names = [line.split(",")[0] for line in (turn / "turn.csv").read_text().splitlines()[1:]]
    (turn / "turn.csv").write_text(HEAD + "".join(f"{name},,\n" for name in reversed(names)))
    (turn / "angles.csv").write_text("".join(f"{name},{30 * k}\n" for k, name in enumerate(names)))
    shot = turnaround.ingest(turn)
    assert [stop.angle for stop in shot.stops] == [30.0 * k for k in reversed(range(12))]
    assert {stop.angle_from for stop in shot.stops} == {"csv"}


def test_numbers_after_a_word_are_counters_in_a_live_turn(turn: Path) -> None:
    names = []
    for k, path in enumerate(sorted(turn.glob("*.jpg"))):
        names.append(path.rename(turn / f"stop_{30 * k:03d}.jpg").name)
    (turn / "turn.csv").unlink()
    assert {stop.angle_from for stop in turnaround.ingest(turn).stops} == {"name"}
    (turn / "turn.csv").write_text(HEAD + "".join(f"{name},,\n" for name in names))
    assert {stop.angle_from for stop in turnaround.ingest(turn).stops} == {"clip"}


def test_a_changed_table_is_seen_past_what_is_remembered(turn: Path, tmp_path: Path) -> None:
    out = tmp_path / "out"
    out.mkdir()
    memory = known.Memory(out)
    assert turnaround.ingest(turn, Settings(), known=memory).stops[0].name == "stop_01"
    memory.write(out)
    text = (turn / "turn.csv").read_text().splitlines()
    text[1], text[2] = text[2], text[1]
    (turn / "turn.csv").write_text("\n".join(text) + "\n")
    memory = known.Memory(out)
    shot = turnaround.ingest(turn, Settings(), known=memory)
    assert [stop.name for stop in shot.stops][:2] == ["stop_02", "stop_01"]
    fresh = turnaround.ingest(turn, Settings())
    for old, new in zip(shot.cuts, fresh.cuts, strict=True):
        assert old is not None and new is not None
        np.testing.assert_array_equal(old.mask, new.mask)


def test_a_live_turn_is_scored_and_kept_as_any_other(turn: Path, tmp_path: Path) -> None:
    assert len(scoring.score_pose(turn).views) == 12
    layout = shoot.export_set(turn, tmp_path / "set", silhouettes_only=True)
    assert {view.angle_from for _, view in layout.views} == {"clip"}
