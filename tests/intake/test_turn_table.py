"""The table of a live turn says which stills are its stops, in which order, and how much moved between them."""

from __future__ import annotations

import os
from pathlib import Path

import pytest

from silhouette.errors import AnglesError
from silhouette.intake import turn_table
from silhouette.intake.turn_table import TurnRow

HEAD = "still,seconds,moved\n"


@pytest.fixture
def folder(tmp_path: Path) -> Path:
    for name in ("stop_01.jpg", "stop_02.jpg", "stop_03.jpg", "extra.jpg"):
        (tmp_path / name).touch()
    return tmp_path


def _read(folder: Path, text: str | bytes) -> turn_table.LiveTurn:
    (folder / "turn.csv").write_bytes(text if isinstance(text, bytes) else text.encode())
    turn = turn_table.live_turn(folder, sorted(folder.glob("*.jpg")))
    assert turn is not None
    return turn


def _names(turn: turn_table.LiveTurn) -> list[str]:
    return [path.name for path in turn.files]


def test_a_folder_without_the_table_is_no_live_turn(folder: Path) -> None:
    assert turn_table.live_turn(folder, sorted(folder.glob("*.jpg"))) is None


def test_the_table_gives_the_order_and_the_others_come_after_by_name(folder: Path) -> None:
    turn = _read(folder, HEAD + "stop_02.jpg,0,\nstop_01.jpg,2.5,10\nstop_09.jpg,4,5\n")
    assert _names(turn) == ["stop_02.jpg", "stop_01.jpg", "extra.jpg", "stop_03.jpg"]
    assert turn.gone == ("stop_09.jpg",)
    assert turn.rows[1] == TurnRow("stop_01.jpg", 2.5, 10.0)


def test_stops_that_are_written_but_not_yet_listed_are_taken_by_name(folder: Path) -> None:
    assert _names(_read(folder, HEAD)) == ["extra.jpg", "stop_01.jpg", "stop_02.jpg", "stop_03.jpg"]


@pytest.mark.parametrize("text", [
    HEAD + "stop_01.jpg,0,\nstop_02.jpg,1.5,3\n",
    "Still;Seconds;Moved\r\nSTOP_01.JPG;0;\r\n\r\nstop_02.jpg;1,5;3\r\n",
    "still\tseconds\tmoved\tremark\nstop_01.jpg\t0\nstop_02.jpg\t1.5\t3\tgood\n",
])
def test_tables_that_went_through_other_programs_are_read(folder: Path, text: str) -> None:
    for way in ("utf-8", "utf-8-sig", "utf-16"):
        turn = _read(folder, text.encode(way))
        assert _names(turn)[:2] == ["stop_01.jpg", "stop_02.jpg"]
        assert turn.rows[1].seconds == 1.5 and turn.rows[1].moved == 3


def test_motion_is_shared_out_among_the_steps(folder: Path) -> None:
    turn = _read(folder, HEAD + "stop_01.jpg,0,\nstop_02.jpg,1,30\nstop_03.jpg,2,10\n")
    assert turn.motion(turn.files[:3]) == pytest.approx([0.75, 0.25])


def test_what_moved_on_the_way_to_a_still_that_is_gone_counts_for_the_next(folder: Path) -> None:
    text = HEAD + "gone.jpg,0,\nstop_01.jpg,1,7\nstop_09.jpg,2,20\nstop_02.jpg,3,10\nstop_03.jpg,4,10\n"
    turn = _read(folder, text)
    assert turn.motion(turn.files[:3]) == pytest.approx([0.75, 0.25])


@pytest.mark.parametrize("moved", [("", "", "1"), ("", "0", "0")])
def test_motion_that_is_not_known_or_that_there_was_none_of_says_nothing(
    folder: Path, moved: tuple[str, str, str]
) -> None:
    turn = _read(folder, HEAD + "".join(f"stop_0{k}.jpg,{k},{m}\n" for k, m in enumerate(moved, start=1)))
    assert turn.motion(turn.files[:3]) is None


def test_motion_says_nothing_of_stills_that_are_not_listed(folder: Path) -> None:
    turn = _read(folder, HEAD + "stop_01.jpg,0,\nstop_02.jpg,1,3\n")
    assert len(turn.files) == 4
    assert turn.motion(turn.files) is None
    assert turn.motion(turn.files[:1]) is None


@pytest.mark.parametrize(("text", "said"), [
    (b"", "does not begin with still,seconds,moved"),
    (b"picture,angle\nstop_01.jpg,45\n", "does not begin with still,seconds,moved"),
    (b"stop_01.jpg,0,\n", "does not begin with still,seconds,moved"),
    (HEAD.encode() + b"stop_01.jpg,soon,\n", "line 2: soon is not a number"),
    (HEAD.encode() + b"stop_01.jpg,0,nan\n", "line 2: nan is not a number"),
    (HEAD.encode() + b"stop_01.jpg,-1,\n", "line 2: -1 is not a number"),
    (HEAD.encode() + b"stop_01.jpg,0,1e300\n", "line 2: 1e300 is not a number"),
    (HEAD.encode() + b",0,\n", "line 2 names no still"),
    (HEAD.encode() + b"stop_01.jpg,0,\nSTOP_01.jpg,1,2\n", "line 3 lists STOP_01.jpg again"),
    (HEAD.encode() + b"../stop_01.jpg,0,\n", "names none of the pictures"),
    (HEAD.encode() + b"other.jpg,0,\n", "names none of the pictures"),
    (b"\x00\x01\x02", "cannot be read as text"),
    (HEAD.encode() + b'"' + b"x" * 200_000 + b'",0,\n', "cannot be read as a table"),
    (b"x" * 2_000_001, "is larger than"),
])
def test_a_table_that_is_none_ends_in_a_sentence(folder: Path, text: bytes, said: str) -> None:
    with pytest.raises(AnglesError, match=r"turn\.csv") as told:
        _read(folder, text)
    assert said in str(told.value)


@pytest.mark.skipif(not hasattr(os, "mkfifo"), reason="no pipes here")
def test_a_pipe_of_that_name_ends_in_a_sentence(folder: Path) -> None:
    os.mkfifo(folder / "turn.csv")
    with pytest.raises(AnglesError, match="a pipe"):
        turn_table.live_turn(folder, sorted(folder.glob("*.jpg")))
