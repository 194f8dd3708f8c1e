"""Which rings of a pose lie in its folder, by folders, clips or marks in names; and its close-ups."""

from __future__ import annotations

import shutil
from pathlib import Path

import pytest

from silhouette.errors import PoseError
from silhouette.intake import filenames
from silhouette.intake.rings import close_ups_in, holds_rings, rings_in, without_mark
from silhouette.settings import Ring

STILL = Path(__file__).parent.parent / "data" / "rendered" / "turn" / "000.jpg"


def put(folder: Path, *names: str) -> Path:
    """Stills and clips of these names, which nothing opens here."""
    for name in names:
        path = folder / name
        path.parent.mkdir(parents=True, exist_ok=True)
        shutil.copy(STILL, path)
    return folder


def told(folder: Path) -> dict[Ring, list[str]]:
    """The rings found, with what belongs to each: its stills, or its place."""
    return {one.ring: [p.name for p in one.files] if one.files else [one.place.name] for one in rings_in(folder)}


def test_one_ring_says_nothing_of_rings(tmp_path: Path) -> None:
    assert told(put(tmp_path, "000.jpg", "045.jpg", "IMG_0003.jpg")) == {}
    assert not holds_rings(tmp_path)


def test_folders_are_rings_in_their_order_whatever_their_case(tmp_path: Path) -> None:
    put(tmp_path, "High/000.jpg", "LOW/000.jpg", "level/000.jpg")
    assert list(told(tmp_path)) == ["low", "level", "high"]
    assert told(tmp_path)["low"] == ["LOW"] and holds_rings(tmp_path)


def test_a_clip_each(tmp_path: Path) -> None:
    assert told(put(tmp_path, "low.mp4", "level.MOV", "high ring.mov")) == {
        "low": ["low.mp4"], "level": ["level.MOV"], "high": ["high ring.mov"]}


def test_what_lies_loose_beside_a_ring_is_the_level_one(tmp_path: Path) -> None:
    assert told(put(tmp_path / "stills", "low/000.jpg", "000.jpg", "180.jpg", "empty.jpg")) == {
        "low": ["low"], "level": ["000.jpg", "180.jpg"]}
    assert told(put(tmp_path / "clip", "low.mov", "turn.mov")) == {"low": ["low.mov"], "level": ["turn.mov"]}


def test_marks_in_names_part_one_folder(tmp_path: Path) -> None:
    put(tmp_path, "low_000.jpg", "low_180.jpg", "keeper_high_090.jpg", "level-045.jpg", "135.jpg")
    assert told(tmp_path) == {
        "low": ["low_000.jpg", "low_180.jpg"], "level": ["135.jpg", "level-045.jpg"], "high": ["keeper_high_090.jpg"]}


def test_a_mark_before_a_camera_s_own_name_needs_another_ring_to_be_believed(tmp_path: Path) -> None:
    assert told(put(tmp_path / "kick", "high_kick.jpg", "high_dive.jpg")) == {}
    assert told(put(tmp_path / "both", "high_IMG_0001.jpg", "low_IMG_0002.jpg")) == {
        "low": ["low_IMG_0002.jpg"], "high": ["high_IMG_0001.jpg"]}


@pytest.mark.parametrize("name", ["flow_045", "highest_045", "below 90", "levels_10", "slow045", "alow045"])
def test_words_that_only_hold_such_a_word_are_no_marks(tmp_path: Path, name: str) -> None:
    assert told(put(tmp_path, f"{name}.jpg", "000.jpg")) == {}
    assert without_mark(name) == name


@pytest.mark.parametrize(("name", "left"), [
    ("low_045", "045"), ("high045deg", "045deg"), ("keeper_level_12.5deg", "keeper_12.5deg"),
    ("low_IMG_0012", "IMG_0012"),
])
def test_the_rest_of_a_name_says_the_angle(name: str, left: str) -> None:
    assert without_mark(name) == left


def test_angles_of_marked_stills_are_read_without_the_mark(tmp_path: Path) -> None:
    files = [tmp_path / f"low_{a:03d}.jpg" for a in range(0, 360, 45)]
    given = filenames.assign(files, None, stems=[without_mark(p.stem) for p in files])
    assert given is not None and [one.angle for one in given] == list(range(0, 360, 45))


def test_a_ring_that_lies_there_twice_is_refused(tmp_path: Path) -> None:
    put(tmp_path, "low/000.jpg", "low.mp4")
    with pytest.raises(PoseError, match=r"low ring twice: low and low\.mp4"):
        rings_in(tmp_path)
    with pytest.raises(PoseError, match="low ring twice"):
        rings_in(put(tmp_path / "marks", "low/000.jpg", "low_090.jpg"))


def test_an_empty_folder_is_no_ring(tmp_path: Path) -> None:
    (tmp_path / "low").mkdir()
    assert told(put(tmp_path, "000.jpg")) == {} and not holds_rings(tmp_path)


def test_close_ups_are_folders_or_single_stills_by_their_names(tmp_path: Path) -> None:
    put(tmp_path, "000.jpg", "close-ups/left hand/IMG_2.jpg", "close-ups/left hand/IMG_10.jpg", "close-ups/face.jpg",
        "close-ups/notes.txt", "close-ups/.hidden/a.jpg")
    (tmp_path / "close-ups" / "nothing").mkdir()
    found = close_ups_in(tmp_path)
    assert [(one.name, [p.name for p in one.files]) for one in found] == [
        ("face", ["face.jpg"]), ("left hand", ["IMG_2.jpg", "IMG_10.jpg"])]
    assert told(tmp_path) == {}
    assert close_ups_in(tmp_path / "close-ups" / "nothing") == ()


@pytest.mark.parametrize("name", ["close-ups", "Close_Ups", "closeups", "close up"])
def test_close_ups_may_be_written_as_people_write_them(tmp_path: Path, name: str) -> None:
    assert [one.name for one in close_ups_in(put(tmp_path, f"{name}/hand.jpg"))] == ["hand"]
