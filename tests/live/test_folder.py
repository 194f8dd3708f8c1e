"""The folder of the pages: names from outside become no paths, and what the jobs leave is no pose."""

from __future__ import annotations

import os
import shutil
import stat
from pathlib import Path

import pytest

from silhouette import scoring
from silhouette.errors import OutputError, PoseError
from silhouette.live.folder import CHECKS, RESULTS, SETS, Folder, clean, live_place
from silhouette.writing import whole_folder

TURN = Path(__file__).parents[1] / "data" / "rendered" / "turn"
NAMES = [
    "..", ".", "", "/", "\\", "../../x", "..\\..\\x", "/etc/passwd", "C:\\x", "a/b", "a\\b", "\0", "a\0b", "~", "CON",
    "con", "nul.txt", "COM1", "LPT9.jpg", "aux ", "x.", "x ", "...x...", " .. ", ".hidden", ".open-00000000.html",
    "a" * 5000, "ж" * 5000, "\U0001f3fa" * 300, "a\nb", "a\tb", "\u202egpj.exe", "\ud800", "e\u0301", "A:b", 'a"b',
    "a|b", "*?<>", "results", "RESULTS", "checks", "sets", "armatures", "mend", "-rf", "--help", "$(id)", "`id`",
    "%2e%2e",
    "\ufeff", "．．", "／etc", "COM¹", "x" + " " * 400,
]


@pytest.mark.parametrize("name", NAMES)
def test_any_name_makes_one_folder_inside(tmp_path: Path, name: str) -> None:
    folder = Folder(tmp_path / "studio")
    made = folder.new_pose(name)
    assert made.path.parent == folder.path and made.path.is_dir() and folder.pose(made.id).path == made.path
    assert [p.name for p in tmp_path.iterdir()] == ["studio"] and list(folder.path.iterdir()) == [made.path]
    called = made.path.name
    assert not called.startswith(".") and not called.endswith((".", " ")) and called.isprintable()
    assert len(called.encode()) <= 200 and not set(called) & set('/\\:*?"<>|')
    assert called.casefold() not in ("results", "checks", "sets", "armatures", "mend")
    assert called.casefold().split(".")[0].strip() not in ("con", "prn", "aux", "nul", "com1", "lpt9", "com¹")
    assert stat.S_IMODE(made.path.stat().st_mode) == 0o700


@pytest.mark.parametrize("name", NAMES)
def test_a_name_that_is_clean_stays_as_it_is(name: str) -> None:
    assert clean(clean(name)) == clean(name)


@pytest.mark.parametrize("name", ["Hauling", "after the bath", "Aphrodite 2", "Поза 3", "kneeling, left arm up", "a.b"])
def test_ordinary_name_is_kept(tmp_path: Path, name: str) -> None:
    assert Folder(tmp_path).new_pose(name).name == name


def test_same_name_again_is_another_pose(tmp_path: Path) -> None:
    folder = Folder(tmp_path)
    assert [folder.new_pose(name).name for name in ("a", "a", "A", "a")] == ["a", "a 2", "A 3", "a 4"]


@pytest.mark.parametrize("asked", ["..", "", "/", "hauling", "\0", "é", "a" * 10_000, "0" * 16])
def test_what_is_no_id_finds_nothing(tmp_path: Path, asked: str) -> None:
    (tmp_path / "hauling").mkdir()
    with pytest.raises(PoseError):
        Folder(tmp_path).pose(asked)


def test_ids_of_another_start_find_nothing(tmp_path: Path) -> None:
    made = Folder(tmp_path).new_pose("hauling")
    with pytest.raises(PoseError):
        Folder(tmp_path).pose(made.id)


def test_links_and_hidden_things_are_no_poses(tmp_path: Path) -> None:
    studio = tmp_path / "studio"
    studio.mkdir()
    (studio / "linked").symlink_to(TURN)
    (studio / ".hidden").mkdir()
    (studio / "notes.txt").touch()
    (studio / "texts").mkdir()
    (studio / "texts" / "a.txt").touch()
    assert Folder(studio).poses() == []


def test_what_jobs_leave_is_no_pose_here_nor_for_the_command_line(tmp_path: Path) -> None:
    """``silhouette rank FOLDER`` reads the poses of the pages' folder, whatever else the pages left there."""
    folder = Folder(tmp_path / "studio")
    poses = [shutil.copytree(TURN, folder.path / name) for name in ("hauling", "kneeling")]
    still = next(TURN.glob("*.jpg"), None) or next(TURN.glob("*.png"))
    for place, kind in ((RESULTS, "results"), (f"{CHECKS}/hauling", "check"), (f"{SETS}/hauling", "set")):
        with whole_folder(folder.path / place, kind) as work:  # type: ignore[arg-type]
            shutil.copy(still, work / f"picture{still.suffix}")
            (work / "photographs").mkdir()
            shutil.copy(still, work / "photographs" / still.name)
    live = folder.new_pose("not shot yet")
    (poses[0] / "replaced").mkdir()
    shutil.copy(still, poses[0] / "replaced")
    assert [place.path for place in folder.poses()] == [*poses, live.path]
    assert scoring.find_poses([folder.path]) == poses


def test_folder_is_made_private(tmp_path: Path) -> None:
    made = Folder(tmp_path / "new" / "studio").path
    assert stat.S_IMODE(made.stat().st_mode) == 0o700


@pytest.mark.parametrize("kind", ["file", "in a file", "results", "in results", "not ours", "loop", "long", "zero"])
def test_folder_that_will_not_do_is_refused_in_a_sentence(tmp_path: Path, kind: str) -> None:
    (tmp_path / "file").touch()
    with whole_folder(tmp_path / "out", "results") as work:
        (work / "sub").mkdir()
        (work / "sub" / "a.txt").touch()
    (tmp_path / "loop").symlink_to("loop")
    (tmp_path / "locked").mkdir(mode=0o500)
    place = tmp_path / {"file": "file", "in a file": "file/a", "results": "out", "in results": "out/sub/x",
                        "loop": "loop",
                        "not ours": "locked", "long": "a" * 300, "zero": "a\0b"}[kind]
    if kind == "not ours" and os.access(place, os.W_OK):
        pytest.skip("whoever runs this may write everywhere")
    with pytest.raises(OutputError) as told:
        Folder(place)
    assert str(told.value).endswith(".") and "\n" not in str(told.value)


# ------------------------------------------------------------------------------------------------------------ rings


def ring(folder: Path, *names: str) -> Path:
    folder.mkdir(parents=True)
    for name in names or ("000",):
        shutil.copy(TURN / "000.jpg", folder / f"{name}.jpg")
    return folder


def test_a_pose_whose_rings_are_folders_or_clips_is_one_pose(tmp_path: Path) -> None:
    ring(tmp_path / "a" / "low")
    ring(tmp_path / "a" / "high")
    (tmp_path / "b").mkdir()
    (tmp_path / "b" / "level.mov").touch()
    ring(tmp_path / "c" / "close-ups" / "hand")
    (tmp_path / "d" / "low").mkdir(parents=True)
    ring(tmp_path / "e" / "other")
    found = [(place.name, place.kind) for place in Folder(tmp_path).poses()]
    assert found == [("a", "stills"), ("b", "stills"), ("c", "stills"), ("d", "stills")], "c and d have no stop yet"


def test_a_live_turn_goes_where_the_level_ring_lies(tmp_path: Path) -> None:
    """Beside a folder called level, loose stills would be a second level ring."""
    plain = ring(tmp_path / "plain", "000", "high_000")
    assert live_place(plain) == plain
    ring(tmp_path / "low only" / "low")
    assert live_place(tmp_path / "low only") == tmp_path / "low only"
    level = ring(tmp_path / "level" / "level")
    assert live_place(tmp_path / "level") == level
    ring(tmp_path / "clip" / "low")
    (tmp_path / "clip" / "level.mov").touch()
    with pytest.raises(PoseError, match="is a clip"):
        live_place(tmp_path / "clip")


def test_a_live_turn_of_another_ring_has_a_folder_of_its_own(tmp_path: Path) -> None:
    plain = ring(tmp_path / "plain")
    assert [live_place(plain, name) for name in ("low", "high")] == [plain / "low", plain / "high"]
    assert not (plain / "low").exists()
    marked = ring(tmp_path / "marked", "low_000", "level_000")
    with pytest.raises(PoseError, match="among its other stills"):
        live_place(marked, "low")
    (marked / "high").symlink_to(plain)
    with pytest.raises(PoseError, match="is a link"):
        live_place(marked, "high")
