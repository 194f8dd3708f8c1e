"""Files that a page sends arrive whole, go on after a break, and never lie over what is there."""

from __future__ import annotations

import contextlib
import hashlib
import json
import os
import shutil
import socket
import stat
import time
from collections.abc import Callable, Iterator
from http.client import HTTPConnection
from pathlib import Path
from typing import Any
from urllib.parse import quote

import pytest
from starlette.applications import Starlette

from silhouette.errors import SilhouetteError
from silhouette.live import guard
from silhouette.live import uploads as module
from silhouette.live.folder import Folder
from silhouette.live.guard import PIECE, refusal
from silhouette.live.uploads import AT_ONCE, MOST, START, Uploads
from silhouette.writing import ARRIVING

Served = Callable[[Any], int]
FILM = os.urandom(2 * START + 1234)


class Sender:
    """A page that sends files into one folder."""

    def __init__(self, path: Path, served: Served) -> None:
        self.folder = Folder(path)
        self.uploads = Uploads(self.folder)
        told: Any = {SilhouetteError: lambda _, error: refusal(error)}
        self.port = served(Starlette(routes=self.uploads.routes(), exception_handlers=told))

    def ask(self, method: str, path: str, body: Any = None) -> tuple[int, dict[str, Any]]:
        line = HTTPConnection("127.0.0.1", self.port, timeout=60)
        try:
            line.request(method, path, body if isinstance(body, bytes | Iterator) else json.dumps(body))
            answer = line.getresponse()
            return answer.status, json.loads(answer.read() or b"{}")
        finally:
            line.close()

    def begin(self, name: str, size: int = len(FILM), status: int = 200, **more: Any) -> dict[str, Any]:
        got, told = self.ask("POST", "/api/uploads", {"name": name, "size": size, **more})
        assert got == status, told
        return told

    def piece(self, mark: str, at: int | str, data: Any, status: int = 200) -> dict[str, Any]:
        got, told = self.ask("PATCH", f"/api/uploads/{mark}?from={at}", data)
        assert got == status, told
        return told

    def begun(self, mark: str, size: int, data: bytes = b"") -> socket.socket:
        """A connection on which a piece of ``size`` bytes has begun to come, with ``data``."""
        line = socket.create_connection(("127.0.0.1", self.port), timeout=60)
        lines = (f"PATCH /api/uploads/{mark}?from=0 HTTP/1.1", f"Host: 127.0.0.1:{self.port}",
                 f"Content-Length: {size}")
        line.sendall("\r\n".join((*lines, "", "")).encode() + data)
        return line

    def have(self, mark: str) -> dict[str, Any]:
        return self.ask("GET", f"/api/uploads/{mark}")[1]

    def send(self, name: str, data: bytes = FILM, **more: Any) -> dict[str, Any]:
        return self.piece(self.begin(name, len(data), **more)["upload"], 0, data)


@pytest.fixture
def sender(tmp_path: Path, served: Served) -> Iterator[Sender]:
    sender = Sender(tmp_path / "studio", served)
    yield sender
    sender.uploads.close()


def lying(folder: Path) -> list[str]:
    return sorted(p.relative_to(folder).as_posix() for p in folder.rglob("*") if p.is_file())


def hidden(folder: Path) -> list[Path]:
    return list(folder.glob(f"{ARRIVING}*"))


def wait_for(true: Callable[[], bool]) -> None:
    """Until something is true; a minute is more than any machine needs."""
    until = time.monotonic() + 60
    while not true():
        assert time.monotonic() < until
        time.sleep(0.01)


def begins(data: bytes) -> str:
    return hashlib.sha256(data[:START]).hexdigest()


# ------------------------------------------------------------------------------------------------- arriving whole

def test_a_clip_in_pieces_is_a_pose_of_its_own(sender: Sender) -> None:
    mark = sender.begin("IMG_0012.MOV")["upload"]
    assert sender.piece(mark, 0, FILM[:1000]) == {"have": 1000, "done": False}
    assert lying(sender.folder.path) == [p.name for p in hidden(sender.folder.path)], "only a hidden file so far"
    assert sender.folder.poses() == []
    assert stat.S_IMODE(hidden(sender.folder.path)[0].stat().st_mode) == 0o600
    told = sender.piece(mark, 1000, FILM[1000:])
    assert told["done"] and told["have"] == len(FILM)
    assert [p.id for p in sender.folder.poses()] == [told["pose"]]
    assert lying(sender.folder.path) == ["IMG_0012.MOV"]
    assert (sender.folder.path / "IMG_0012.MOV").read_bytes() == FILM
    assert stat.S_IMODE((sender.folder.path / "IMG_0012.MOV").stat().st_mode) == 0o600


def test_stills_of_a_new_pose_share_its_folder(sender: Sender) -> None:
    pose = sender.send("000.jpg", b"a", new="Hauling")["pose"]
    assert sender.send("045.jpg", b"b", pose=pose)["pose"] == pose
    sender.send("045.mask.png", b"m", pose=pose)
    sender.send("angles.csv", b"000.jpg,0", pose=pose)
    sender.send("empty.jpg", b"e", pose=pose)
    assert lying(sender.folder.path) == [f"Hauling/{n}" for n in ("000.jpg", "045.jpg", "045.mask.png", "angles.csv",
                                                                   "empty.jpg")]
    assert [p.name for p in sender.folder.poses()] == ["Hauling"]
    assert stat.S_IMODE((sender.folder.path / "Hauling").stat().st_mode) == 0o700


def test_rings_and_close_ups_go_into_folders_of_their_pose(sender: Sender) -> None:
    pose = sender.send("045.jpg", b"a", new="Hauling", inside="low")["pose"]
    assert sender.send("045.jpg", b"b", pose=pose, inside="high")["pose"] == pose
    assert sender.send("IMG_7.MOV", b"film", pose=pose, inside="level")["pose"] == pose
    sender.send("045.mask.png", b"m", pose=pose, inside="low")
    sender.send("angles.csv", b"045.jpg,0", pose=pose, inside="low")
    sender.send("0012.jpg", b"h", pose=pose, inside="close-ups/figure's left hand")
    sender.send("foot.jpg", b"f", pose=pose, inside="close-ups")
    sender.send("empty.jpg", b"e", pose=pose)
    assert lying(sender.folder.path) == sorted(f"Hauling/{name}" for name in (
        "low/045.jpg", "high/045.jpg", "level.MOV", "low/045.mask.png", "low/angles.csv",
        "close-ups/figure's left hand/0012.jpg", "close-ups/foot.jpg", "empty.jpg"))
    assert [p.id for p in sender.folder.poses()] == [pose]
    for folder in ("Hauling/low", "Hauling/close-ups/figure's left hand"):
        assert stat.S_IMODE((sender.folder.path / folder).stat().st_mode) == 0o700


def test_a_second_clip_of_a_ring_is_refused_and_the_first_one_kept(sender: Sender) -> None:
    pose = sender.send("low.mov", b"one", new="Hauling", inside="low")["pose"]
    mark = sender.begin("other.mov", 3, pose=pose, inside="low")["upload"]
    assert "is there already" in sender.piece(mark, 0, b"two", status=409)["error"]
    assert (sender.folder.path / "Hauling" / "low.mov").read_bytes() == b"one"
    assert lying(sender.folder.path) == ["Hauling/low.mov"]


def test_a_ring_that_is_given_up_leaves_no_pose(sender: Sender) -> None:
    mark = sender.begin("000.jpg", new="hauling", inside="low")["upload"]
    sender.piece(mark, 0, FILM[:100])
    assert sender.ask("DELETE", f"/api/uploads/{mark}")[0] == 200
    assert list(sender.folder.path.iterdir()) == []


def test_a_ring_that_is_a_link_is_not_written_through(sender: Sender, tmp_path: Path) -> None:
    pose = sender.send("000.jpg", b"a", new="hauling")["pose"]
    (tmp_path / "elsewhere").mkdir()
    for name in ("low", "close-ups"):
        (sender.folder.path / "hauling" / name).symlink_to(tmp_path / "elsewhere")
    for inside in ("low", "close-ups", "close-ups/hand"):
        assert "link" in sender.begin("000.jpg", 1, status=409, pose=pose, inside=inside)["error"]
    assert list((tmp_path / "elsewhere").iterdir()) == []


def test_what_belongs_to_a_clip_lies_beside_it(sender: Sender) -> None:
    pose = sender.send("turn.mov", new="hauling")["pose"]
    sender.send("stop 01.mask.png", b"m", pose=pose)
    sender.send("empty.jpg", b"e", pose=pose)
    assert lying(sender.folder.path) == ["hauling.empty.jpg", "hauling.masks/stop 01.mask.png", "hauling.mov"]
    assert "no stills" in sender.begin("000.jpg", status=400, pose=pose)["error"]


def test_an_empty_picture_alone_holds_for_all_poses(sender: Sender) -> None:
    assert sender.send("empty.heic", b"e")["pose"] == ""
    assert lying(sender.folder.path) == ["empty.heic"]


# ------------------------------------------------------------------------------------------------- never over a file

def test_a_file_that_is_there_is_never_replaced(sender: Sender) -> None:
    (sender.folder.path / "turn.mov").write_bytes(b"mine")
    pose = sender.send("turn.mov")["pose"]
    assert (sender.folder.path / "turn.mov").read_bytes() == b"mine"
    assert (sender.folder.path / "turn 2.mov").read_bytes() == FILM
    assert sender.folder.pose(pose).path.name == "turn 2.mov"
    again = sender.send("turn 2.mov")
    assert again["pose"] == pose, "the same bytes are not kept twice"
    assert lying(sender.folder.path) == ["turn 2.mov", "turn.mov"]


def test_a_new_pose_never_joins_one_that_is_there(sender: Sender) -> None:
    for _ in range(2):
        sender.send("000.jpg", b"a", new="hauling")
    assert lying(sender.folder.path) == ["hauling 2/000.jpg", "hauling/000.jpg"]


def test_a_mask_or_a_table_that_is_there_is_kept(sender: Sender) -> None:
    pose = sender.send("000.jpg", b"a", new="hauling")["pose"]
    for name in ("000.mask.png", "angles.csv", "turn.csv"):
        sender.send(name, b"first", pose=pose)
        mark = sender.begin(name, 6, pose=pose)["upload"]
        assert "not touched" in sender.piece(mark, 0, b"second", status=409)["error"]
        assert (sender.folder.path / "hauling" / name).read_bytes() == b"first"
    assert not hidden(sender.folder.path)


def test_a_link_is_not_followed(sender: Sender, tmp_path: Path) -> None:
    (tmp_path / "elsewhere.mov").write_bytes(b"mine")
    (sender.folder.path / "turn.mov").symlink_to(tmp_path / "elsewhere.mov")
    sender.send("turn.mov")
    assert (tmp_path / "elsewhere.mov").read_bytes() == b"mine"
    assert (sender.folder.path / "turn 2.mov").read_bytes() == FILM


def test_a_disk_without_hard_links_serves_too(sender: Sender, monkeypatch: pytest.MonkeyPatch) -> None:
    def refuse(*_: Any) -> None:
        raise PermissionError(1, "Operation not permitted")

    monkeypatch.setattr(os, "link", refuse)
    for data in (b"one", b"two"):
        sender.send("turn.mov", data)
    assert lying(sender.folder.path) == ["turn 2.mov", "turn.mov"]
    assert (sender.folder.path / "turn.mov").read_bytes() == b"one"


# ------------------------------------------------------------------------------------------------- after a break

def test_it_goes_on_where_it_stopped(sender: Sender) -> None:
    mark = sender.begin("turn.mov")["upload"]
    sender.piece(mark, 0, FILM[:5000])
    told = sender.piece(mark, 7000, FILM[7000:], status=409)
    assert told["have"] == 5000
    assert sender.piece(mark, 4000, FILM[4000:], status=409)["have"] == 5000
    assert sender.have(mark) == {"have": 5000, "done": False, "busy": False}
    assert sender.piece(mark, 5000, FILM[5000:])["done"]
    last = sender.have(mark)
    assert last["done"] and last["pose"], "the answer to the last piece may be the one that was lost"
    assert sender.piece(mark, 5000, FILM[5000:])["done"], "sent again, nothing happens"
    assert (sender.folder.path / "turn.mov").read_bytes() == FILM
    assert lying(sender.folder.path) == ["turn.mov"]


def test_a_connection_that_breaks_leaves_what_came(sender: Sender) -> None:
    mark = sender.begin("turn.mov")["upload"]
    with sender.begun(mark, len(FILM), FILM[:70_000]):
        wait_for(lambda: sender.uploads._open[mark].busy)
        assert "already" in sender.piece(mark, 0, FILM, status=409)["error"], "two senders of one file"
        assert sender.have(mark)["busy"]
    wait_for(lambda: not sender.uploads._open[mark].busy)
    have = sender.have(mark)["have"]
    assert 0 < have <= 70_000
    assert sender.piece(mark, have, FILM[have:])["done"]
    assert (sender.folder.path / "turn.mov").read_bytes() == FILM


def test_a_sender_that_falls_silent_is_let_go(sender: Sender, monkeypatch: pytest.MonkeyPatch) -> None:
    monkeypatch.setattr(guard, "SILENT_S", 0.2)
    mark = sender.begin("turn.mov")["upload"]
    with sender.begun(mark, len(FILM), FILM[:1000]) as line:
        assert b"408" in line.recv(1000)
    assert sender.have(mark)["have"] == 1000


def test_given_up_while_it_is_sent(sender: Sender) -> None:
    mark = sender.begin("turn.mov")["upload"]
    with sender.begun(mark, len(FILM), FILM[:1000]) as line:
        wait_for(lambda: sender.uploads._open[mark].busy)
        sender.ask("DELETE", f"/api/uploads/{mark}")
        line.sendall(FILM[1000:])
        wait_for(lambda: not list(sender.folder.path.iterdir()))
    assert not sender.uploads._open


def test_it_goes_on_after_the_program_was_started_anew(tmp_path: Path, served: Served) -> None:
    first = Sender(tmp_path, served)
    mark = first.begin("turn.mov", start=begins(FILM))["upload"]
    first.piece(mark, 0, FILM[:START + 500])
    first.uploads.close()
    second = Sender(tmp_path, served)
    told = second.begin("turn.mov", start=begins(FILM))
    assert told == {"upload": mark, "have": START + 500, "done": False, "pose": ""}
    assert second.piece(mark, START + 500, FILM[START + 500:])["done"]
    assert (tmp_path / "turn.mov").read_bytes() == FILM


def test_what_lies_there_of_another_file_is_not_gone_on_with(tmp_path: Path, served: Served) -> None:
    first = Sender(tmp_path, served)
    mark = first.begin("turn.mov", start=begins(FILM))["upload"]
    first.piece(mark, 0, FILM[:START + 500])
    first.uploads.close()
    part = hidden(tmp_path)[0]
    part.write_bytes(b"x" * (START + 500))
    assert Sender(tmp_path, served).begin("turn.mov", start=begins(FILM))["have"] == 0


def test_a_page_that_is_loaded_again_goes_on(sender: Sender) -> None:
    told = sender.begin("000.jpg", new="hauling", start=begins(FILM))
    sender.piece(told["upload"], 0, FILM[:700])
    again = sender.begin("000.jpg", new="hauling", start=begins(FILM))
    assert again == {**told, "have": 700}
    assert [p.name for p in sender.folder.path.iterdir() if p.is_dir()] == ["hauling"]


def test_without_a_start_nothing_is_left_at_the_end(tmp_path: Path, served: Served) -> None:
    sender = Sender(tmp_path, served)
    sender.piece(sender.begin("turn.mov")["upload"], 0, b"abc")
    sender.piece(sender.begin("000.jpg", new="hauling")["upload"], 0, b"abc")
    sender.uploads.close()
    assert list(tmp_path.iterdir()) == []


def test_two_programs_do_not_write_one_file(tmp_path: Path, served: Served) -> None:
    pytest.importorskip("fcntl")
    first, second = Sender(tmp_path, served), Sender(tmp_path, served)
    first.begin("turn.mov", start=begins(FILM))
    assert "another window" in second.begin("turn.mov", start=begins(FILM), status=409)["error"]
    first.uploads.close()


def test_stale_parts_are_removed_at_the_next_start(tmp_path: Path, served: Served) -> None:
    first = Sender(tmp_path, served)
    first.piece(first.begin("turn.mov", start=begins(FILM))["upload"], 0, FILM[:START])
    first.uploads.close()
    Sender(tmp_path, served)
    assert len(hidden(tmp_path)) == 1
    os.utime(hidden(tmp_path)[0], (0, 0))
    Sender(tmp_path, served)
    assert not hidden(tmp_path)


def test_given_up_leaves_nothing(sender: Sender) -> None:
    mark = sender.begin("000.jpg", new="hauling")["upload"]
    sender.piece(mark, 0, FILM[:100])
    assert sender.ask("DELETE", f"/api/uploads/{mark}")[0] == 200
    assert list(sender.folder.path.iterdir()) == []
    sender.piece(mark, 100, FILM[100:], status=404)
    for odd in ("..", "%00", "x" * 3000):
        assert sender.ask("DELETE", f"/api/uploads/{odd}")[0] == 404


# ------------------------------------------------------------------------------------------------- refused

def test_more_than_was_said_is_refused(sender: Sender) -> None:
    mark = sender.begin("turn.mov", 10)["upload"]
    assert sender.piece(mark, 0, b"x" * 11, status=413)["have"] == 0

    def without_length() -> Iterator[bytes]:
        yield b"y" * 6
        yield b"z" * 6

    with contextlib.suppress(ConnectionError):  # it may close the door before all has been said
        sender.piece(mark, 0, without_length(), status=413)
    assert hidden(sender.folder.path)[0].stat().st_size == sender.have(mark)["have"] <= 10


def test_a_piece_larger_than_a_piece_is_refused(sender: Sender) -> None:
    mark = sender.begin("turn.mov", 3 * PIECE)["upload"]
    with sender.begun(mark, PIECE + 1) as line:
        assert b" 413 " in line.recv(1000), "before anything of it has come"
    assert sender.piece(mark, 0, bytes(PIECE))["have"] == PIECE


@pytest.mark.parametrize(("told", "status", "word"), [
    ({"name": "turn.mov", "size": MOST + 1}, 413, "4.0 GB"),
    ({"name": "turn.mov", "size": 10**30}, 413, "4.0 GB"),
    ({"name": "turn.mov", "size": 0}, 400, "empty"),
    ({"name": "turn.mov", "size": -5}, 400, "empty"),
    ({"name": "turn.mov", "size": "12"}, 400, "empty"),
    ({"name": "turn.mov", "size": True}, 400, "empty"),
    ({"name": "turn.exe", "size": 5}, 415, "no kind"),
    ({"name": "", "size": 5}, 415, "no kind"),
    ({"name": ["turn.mov"], "size": 5}, 415, "no kind"),
    ({"name": "045.mask.png", "size": 5}, 400, "pose"),
    ({"name": "angles.csv", "size": 5, "new": "hauling"}, 400, "pose"),
    ({"name": "000.jpg", "size": 5, "pose": "../.."}, 400, "not in the folder"),
    ({"name": "000.jpg", "size": 5, "inside": "low"}, 400, "belongs to a pose"),
    ({"name": "angles.csv", "size": 5, "inside": "low", "new": "a"}, 400, "belongs to a pose"),
    ({"name": "hand.mov", "size": 5, "inside": "close-ups", "new": "a"}, 415, "close-ups are pictures"),
    ({"name": "000.jpg", "size": 5, "inside": "..", "new": "a"}, 400, "low, level and high"),
    ({"name": "000.jpg", "size": 5, "inside": "low/..", "new": "a"}, 400, "low, level and high"),
    ({"name": "000.jpg", "size": 5, "inside": "/etc", "new": "a"}, 400, "low, level and high"),
    ({"name": "000.jpg", "size": 5, "inside": "LOW", "new": "a"}, 400, "low, level and high"),
    (["turn.mov"], 400, "could not be read"),
])
def test_what_is_refused_says_why_and_leaves_nothing(sender: Sender, told: Any, status: int, word: str) -> None:
    got, answer = sender.ask("POST", "/api/uploads", told)
    assert got == status, answer
    assert word in answer["error"]
    assert list(sender.folder.path.iterdir()) == []


def test_a_long_or_broken_request_is_refused(sender: Sender) -> None:
    for body, status in ((b"[" * 9000, 400), (b"\xff\x00", 400), (b"", 400)):
        assert sender.ask("POST", "/api/uploads", body)[0] == status


@pytest.mark.parametrize("name", [
    "../../turn.mov", "..\\..\\turn.mov", "/etc/turn.mov", "C:\\turn.mov", ".turn.mov", "a\x00/..turn.mov", "NUL.mov",
    "\u202eturn.mov", "x" * 400 + ".mov", "a:b.mov", " .mov", "\udcff.mov", "..", ".", "...mov",
])
def test_no_name_leads_out_of_the_folder(sender: Sender, name: str) -> None:
    status, told = sender.ask("POST", "/api/uploads", {"name": name, "size": 1, "new": name})
    if status == 200:
        sender.piece(told["upload"], 0, b"x")
        (path,) = sender.folder.path.iterdir()
        assert not path.name.startswith(".") and len(os.fsencode(path.name)) <= 200 and path.suffix == ".mov"
    else:
        assert status == 415
        assert list(sender.folder.path.iterdir()) == []
    assert list(sender.folder.path.parent.iterdir()) == [sender.folder.path]


@pytest.mark.parametrize("called", ["..", "../../x", "", "/etc", "..\\x", "a\0b", ".hidden", "x" * 400, "a/b"])
def test_no_close_up_leads_out_of_its_pose(sender: Sender, called: str) -> None:
    told = sender.send("000.jpg", b"x", new="a", inside=f"close-ups/{called}")
    (path,) = (p for p in sender.folder.path.rglob("*") if p.is_file())
    assert path.parts[:len(sender.folder.path.parts) + 2] == (*sender.folder.path.parts, "a", "close-ups")
    assert len(path.relative_to(sender.folder.path).parts) == 4 - (not called) and told["done"]
    assert not any(part.startswith(".") for part in path.relative_to(sender.folder.path).parts)


@pytest.mark.parametrize("at", ["", "-1", "x", "1e3", "9" * 40, "0x0", "²"])
def test_a_place_that_is_no_number_is_refused(sender: Sender, at: str) -> None:
    mark = sender.begin("turn.mov")["upload"]
    sender.piece(mark, quote(at), b"x", status=409)


def test_only_a_few_are_on_their_way_at_once(sender: Sender, monkeypatch: pytest.MonkeyPatch) -> None:
    marks = [sender.begin(f"{k}.mov")["upload"] for k in range(AT_ONCE)]
    assert str(AT_ONCE) in sender.begin("more.mov", status=429)["error"]
    assert len(hidden(sender.folder.path)) == AT_ONCE
    sender.piece(marks[0], 0, FILM)
    sender.begin("more.mov")
    monkeypatch.setattr(module, "WAITS", -1.0)
    sender.begin("still more.mov")
    assert "error" in sender.have(marks[1]), "the one that waited longest made room"


def test_a_disk_without_room_is_told_before(sender: Sender, monkeypatch: pytest.MonkeyPatch) -> None:
    real = shutil.disk_usage(sender.folder.path)
    monkeypatch.setattr(module.shutil, "disk_usage", lambda _: real._replace(free=module.SPARE + 3_000_000))
    sender.begin("one.mov", 2_000_000)
    told = sender.begin("two.mov", 2_000_000, status=507)["error"]
    assert "two.mov: is 2 MB" in told and "room for 1 MB more" in told
    assert len(hidden(sender.folder.path)) == 1
    sender.begin("000.jpg", 2_000_000, status=507, new="hauling")
    assert not [p for p in sender.folder.path.iterdir() if p.is_dir()]


def test_a_disk_that_fills_up_keeps_what_came(sender: Sender, monkeypatch: pytest.MonkeyPatch) -> None:
    mark = sender.begin("turn.mov")["upload"]
    sender.piece(mark, 0, FILM[:100])
    upload = sender.uploads._open[mark]
    real = upload.file

    class Full:
        def __getattr__(self, name: str) -> Any:
            return getattr(real, name)

        def write(self, data: bytes) -> int:
            if len(data) > 50:
                return int(real.write(data[:50]))
            raise OSError(28, "No space left on device")

    monkeypatch.setattr(upload, "file", Full())
    told = sender.piece(mark, 100, FILM[100:180], status=507)
    assert told["have"] == 100 and "Make room" in told["error"]
    monkeypatch.undo()
    assert upload.part.stat().st_size == 100
    assert sender.piece(mark, 100, FILM[100:])["done"]
    assert (sender.folder.path / "turn.mov").read_bytes() == FILM
