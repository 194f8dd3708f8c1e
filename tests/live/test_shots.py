"""The stills of a live turn: whole, in order, and none of them ever lost."""

from __future__ import annotations

import os
import stat
import subprocess
import sys
from pathlib import Path

import pytest

from silhouette import writing
from silhouette.errors import OutputError, PoseError
from silhouette.intake import stills, turn_table
from silhouette.live.shots import ShotFolder, put_right


def jpeg(number: int) -> bytes:
    return b"\xff\xd8\xff" + bytes([number]) * 2000 + b"\xff\xd9"


def shot(place: Path, count: int) -> ShotFolder:
    shots = ShotFolder(place)
    for k in range(count):
        assert shots.keep(jpeg(k), float(k), 0.5) == f"stop_{k + 1:02d}"
    return shots


def table(place: Path) -> list[str]:
    return (place / "turn.csv").read_text(encoding="utf-8").splitlines()


def lying(place: Path) -> list[str]:
    return sorted(p.relative_to(place).as_posix() for p in place.rglob("*") if not p.is_dir())


def test_stops_are_stills_and_lines_of_the_table_in_the_order_of_the_turn(tmp_path: Path) -> None:
    shots = ShotFolder(tmp_path)
    shots.keep_empty(jpeg(99))
    shots.keep(jpeg(0), 0.0, None)
    shots.keep(jpeg(1), 2.25, 0.125)
    assert table(tmp_path) == ["still,seconds,moved", "stop_01.jpg,0,", "stop_02.jpg,2.25,0.125"]
    assert shots.names() == ("stop_01", "stop_02") and (tmp_path / "stop_02.jpg").read_bytes() == jpeg(1)
    assert [p.stem for p in stills.list_stills(tmp_path)] == ["stop_01", "stop_02"]
    read = turn_table.live_turn(tmp_path, stills.list_stills(tmp_path))
    assert read is not None and [p.stem for p in read.files] == ["stop_01", "stop_02"] and not read.gone
    assert all(stat.S_IMODE(p.stat().st_mode) == 0o600 for p in tmp_path.iterdir())


def test_missing_stop_goes_between_its_neighbours(tmp_path: Path) -> None:
    shots = shot(tmp_path, 10)
    assert shots.keep(jpeg(50), 11.0, None, after="stop_09") == "stop_09b"
    assert shots.keep(jpeg(51), 12.0, None, after="stop_09b") == "stop_09c"
    order = ("stop_08", "stop_09", "stop_09b", "stop_09c", "stop_10")
    assert shots.names()[7:] == order == ShotFolder(tmp_path).names()[7:]
    assert tuple(p.stem for p in stills.list_stills(tmp_path))[7:] == order, "by name too"


def test_stop_taken_again_takes_the_place_and_the_old_still_is_kept_with_its_mask(tmp_path: Path) -> None:
    shots = shot(tmp_path, 3)
    (tmp_path / "stop_02.mask.png").write_bytes(b"mask of the old still")
    assert shots.keep(jpeg(7), 9.0, None, instead="stop_02") == "stop_02"
    assert (tmp_path / "stop_02.jpg").read_bytes() == jpeg(7) and shots.names() == ("stop_01", "stop_02", "stop_03")
    assert (tmp_path / "replaced" / "stop_02.jpg").read_bytes() == jpeg(1)
    assert (tmp_path / "replaced" / "stop_02.mask.png").exists() and not (tmp_path / "stop_02.mask.png").exists()
    shots.keep(jpeg(8), 10.0, None, instead="stop_02")
    assert (tmp_path / "replaced" / "stop_02 (2).jpg").read_bytes() == jpeg(7)


def test_undone_stop_goes_away_and_what_it_replaced_comes_back(tmp_path: Path) -> None:
    shots = shot(tmp_path, 2)
    shots.keep(jpeg(7), 9.0, None, instead="stop_02")
    shots.undo("stop_02")
    assert (tmp_path / "stop_02.jpg").read_bytes() == jpeg(1)
    shots.undo("stop_02")
    assert shots.names() == ("stop_01",) and not (tmp_path / "stop_02.jpg").exists()
    kept = [p.read_bytes() for p in (tmp_path / "replaced").iterdir()]
    assert jpeg(1) in kept and jpeg(7) in kept
    assert shots.keep(jpeg(4), 12.0, None) == "stop_02"


def test_second_empty_picture_keeps_the_first(tmp_path: Path) -> None:
    shots = ShotFolder(tmp_path)
    shots.keep_empty(jpeg(1))
    shots.keep_empty(jpeg(2))
    assert lying(tmp_path) == ["empty.jpg", "replaced/empty.jpg"] and (tmp_path / "empty.jpg").read_bytes() == jpeg(2)


@pytest.mark.parametrize("name", ["", "..", "stop_99", "../stop_01", "stop_01.jpg", "/etc/passwd", "empty"])
def test_what_is_no_stop_is_refused(tmp_path: Path, name: str) -> None:
    shots = shot(tmp_path, 1)
    before = lying(tmp_path)
    for refused in (lambda: shots.path(name), lambda: shots.undo(name), lambda: shots.keep(b"", 0, 0, after=name),
                    lambda: shots.keep(b"", 0, 0, instead=name)):
        with pytest.raises(PoseError):
            refused()
    assert lying(tmp_path) == before


def test_stills_that_the_table_misses_are_put_in_at_the_next_start(tmp_path: Path) -> None:
    shot(tmp_path, 2)
    for name in ("stop_04", "stop_03", "stop_02b"):
        (tmp_path / f"{name}.jpg").write_bytes(jpeg(9))
    put_right([tmp_path])
    assert [line.split(",")[0] for line in table(tmp_path)[1:]] == [
        "stop_01.jpg", "stop_02.jpg", "stop_02b.jpg", "stop_03.jpg", "stop_04.jpg"]


def test_first_still_without_a_table_is_found(tmp_path: Path) -> None:
    (tmp_path / "stop_01.jpg").write_bytes(jpeg(1))
    put_right([tmp_path])
    assert not (tmp_path / "turn.csv").exists(), "it may be somebody's own picture"
    shots = ShotFolder(tmp_path)
    assert shots.names() == ("stop_01",) and shots.keep(jpeg(2), 1.0, 0.1) == "stop_02"
    assert len(table(tmp_path)) == 3


def test_table_of_somebody_else_is_not_touched(tmp_path: Path) -> None:
    (tmp_path / "turn.csv").write_text("my,own,table\n1,2,3\n", encoding="utf-8")
    with pytest.raises(OutputError):
        ShotFolder(tmp_path)
    put_right([tmp_path])
    assert table(tmp_path)[0] == "my,own,table"


@pytest.mark.parametrize("at", ["still", "table", "copy"])
def test_disk_that_takes_nothing_leaves_all_as_it_was(tmp_path: Path, at: str, monkeypatch: pytest.MonkeyPatch) -> None:
    shots = shot(tmp_path, 2)
    before = {name: (tmp_path / name).read_bytes() for name in lying(tmp_path)}
    write = writing.whole_file
    full = {"still": "stop_", "table": "turn.csv", "copy": "stop_"}[at]

    def refuse(path: Path, data: bytes, **how: bool) -> Path:
        if path.name.startswith(full):
            raise OutputError("cannot be written (No space left on device).", path=path)
        return write(path, data, **how)

    monkeypatch.setattr(writing, "whole_file", refuse)
    with pytest.raises(OutputError):
        shots.keep(jpeg(5), 5.0, 0.1, instead="stop_01" if at == "copy" else None)
    assert {name: (tmp_path / name).read_bytes() for name in lying(tmp_path)} == before


KILLED = """
import os, sys
from pathlib import Path
from silhouette import writing
from silhouette.live.shots import ShotFolder
step = int(sys.argv[2])
def watch(event, args):
    global step
    if event in ("os.rename", "open", "os.mkdir") and sys.argv[1] in str(args[0]):
        step -= 1
        if step == 0:
            os._exit(9)
shots = ShotFolder(Path(sys.argv[1]))
sys.addaudithook(watch)
shots.keep(b"new" * 1000, 9.0, 0.1, **({"instead": sys.argv[3]} if sys.argv[3] else {}))
"""


@pytest.mark.parametrize("instead", ["", "stop_02"])
def test_kill_at_any_step_loses_no_still(tmp_path: Path, instead: str) -> None:
    """Killed before each thing that is done to the disk: the stills from before are there, whole, and the table too."""
    for step in range(1, 40):
        place = tmp_path / f"pose{step}"
        place.mkdir()
        shot(place, 3)
        done = subprocess.run([sys.executable, "-c", KILLED, str(place), str(step), instead], check=False).returncode
        shots = ShotFolder(place)
        old = {(p.parent.name == "replaced", p.read_bytes()) for p in place.rglob("*.jpg")}
        for k in range(3):
            assert any(data == jpeg(k) for _, data in old), f"killed at step {step}, stop {k + 1} is lost"
        whole = [jpeg(0), jpeg(1), jpeg(2), b"new" * 1000]
        assert all(p.read_bytes() in whole for p in place.rglob("*.jpg"))
        assert len(shots.names()) >= 3
        assert not [p for p in place.rglob("*") if p.name.startswith(".")], "what a kill leaves is tidied up"
        if done == 0:
            assert step > 4, "the watcher saw nothing"
            return
    raise AssertionError("it never came to its end")


def test_two_that_write_at_once_do_not_overwrite(tmp_path: Path) -> None:
    one, other = ShotFolder(tmp_path), ShotFolder(tmp_path)
    assert one.keep(jpeg(1), 0.0, None) == "stop_01" and other.keep(jpeg(2), 0.0, None) == "stop_02"
    assert one.names() == other.names() == ("stop_01", "stop_02")


def test_picture_folder_that_cannot_be_written_to_is_a_sentence(tmp_path: Path) -> None:
    shots = shot(tmp_path, 1)
    tmp_path.chmod(0o500)
    try:
        if os.access(tmp_path, os.W_OK):
            pytest.skip("whoever runs this may write everywhere")
        with pytest.raises(OutputError):
            shots.keep(jpeg(5), 5.0, 0.1)
    finally:
        tmp_path.chmod(0o700)
