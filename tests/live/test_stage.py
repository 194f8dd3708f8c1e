"""The stage: frames in, answers out, stills on the disk; whatever a page sends, and however slowly it reads."""

from __future__ import annotations

import json
import threading
import time
from collections.abc import Callable
from pathlib import Path
from typing import Any

import cv2
import numpy as np
import pytest

from silhouette import writing
from silhouette.errors import OutputError
from silhouette.live import heard, stage
from silhouette.live.messages import HEAD, MOST_FRAME, MOST_STILL, Frame, Order, Seen, Signal, StopsTold, WheelStop

Opened = Any


def jpeg(width: int = 160, height: int = 240, shade: int = 120) -> bytes:
    pixels = np.full((height, width, 3), shade, np.uint8)
    pixels[::7] = 200
    return bytes(cv2.imencode(".jpg", pixels)[1])


JPEG = jpeg()
FULL = jpeg(600, 900)


def framed(
    number: int, picture: bytes = JPEG, seconds: float | None = None, size: tuple[int, int] = (600, 900)
) -> bytes:
    return HEAD.pack(number, 1.7e9 + number / 12 if seconds is None else seconds, *size) + picture


class Scripted:
    """A session that asks for what a test wants it to, and remembers what it was told."""

    def __init__(self) -> None:
        self.heard: list[tuple[Any, ...]] = []
        self.takes: dict[int, dict[str, Any]] = {}
        self.go, self.entered = threading.Event(), threading.Event()
        self.go.set()
        self.looked: list[tuple[int, bool]] = []

    def see(self, frame: Frame, *, quick: bool = False) -> Seen:
        self.entered.set()
        assert self.go.wait(60)
        self.looked.append((frame.number, quick))
        take = self.takes.get(frame.number, {})
        return Seen(frame.number, "live", skipped=quick, size=frame.pixels.shape[1::-1], captured=frame.seconds, **take)

    def order(self, order: Order) -> tuple[Signal, ...]:
        self.heard.append(("order", order.do, order.stop))
        return (Signal("ready", order.do, loud=False),)

    def kept_empty(self, pixels: Any) -> tuple[Signal, ...]:
        self.heard.append(("empty", pixels.shape))
        return (Signal("empty taken", "kept"),)

    def kept_stop(self, frame: int, name: str) -> tuple[Signal, ...]:
        self.heard.append(("kept", frame, name))
        return (Signal("taken", name),)

    def lost_stop(self, frame: int) -> tuple[Signal, ...]:
        self.heard.append(("lost", frame))
        return (Signal("moved", "lost"),)

    def told(self, stops: StopsTold) -> tuple[Signal, ...]:
        self.heard.append(("told", tuple(stop.name for stop in stops.wheel)))
        return ()


@pytest.fixture
def script(opened: Opened) -> Scripted:
    session = Scripted()
    opened.house.stage.session = session
    return session


def until(true: Callable[[], Any]) -> None:
    """Wait until something is true; a minute is more than any machine needs."""
    ends = time.monotonic() + 60
    while not true():
        assert time.monotonic() < ends
        time.sleep(0.01)


def hear(page: Any, wanted: Callable[[dict[str, Any]], Any]) -> dict[str, Any]:
    """The next message that is wanted."""
    while True:
        message: dict[str, Any] = json.loads(page.recv(60))
        if wanted(message):
            return message


def answer(page: Any, frame: int) -> dict[str, Any]:
    return hear(page, lambda m: m["kind"] == "seen" and m["frame"] == frame)


def word(page: Any) -> dict[str, Any]:
    return hear(page, lambda m: m["kind"] == "word")


def begun(opened: Opened, page: Any, name: str = "hauling") -> Path:
    """A page that has begun to shoot a new pose; gives its folder."""
    pose = opened.house.folder.new_pose(name)
    page.send(json.dumps({"do": "begin", "pose": pose.id}))
    hear(page, lambda m: m["kind"] == "told")
    return Path(pose.path)


def post(opened: Opened, frame: int, data: bytes = FULL) -> tuple[int, dict[str, Any]]:
    status, _, body = opened.ask("POST", f"/api/stage/stills/{frame}", data)
    return status, json.loads(body)


# ------------------------------------------------------------------------------------------------ the way of a stop

def test_frame_is_answered_and_the_very_picture_that_was_asked_for_becomes_the_still(
    opened: Opened, script: Scripted
) -> None:
    script.takes = {3: {"take": 2, "take_moved": 0.25}, 4: {"take": 4}}
    with opened.watch() as page:
        place = begun(opened, page)
        for number in range(1, 4):
            page.send(framed(number))
            seen = answer(page, number)
        assert seen["take"] == 2 and seen["captured"] == pytest.approx(1.7e9 + 3 / 12)
        assert post(opened, 2) == (200, {"kept": "stop_01"})
        assert hear(page, lambda m: m["kind"] == "told")["signals"][0]["kind"] == "taken"
        page.send(framed(4))
        answer(page, 4)
        post(opened, 4, jpeg(300, 450))
    assert (place / "stop_01.jpg").read_bytes() == FULL
    assert (place / "turn.csv").read_text().splitlines() == [
        "still,seconds,moved", "stop_01.jpg,0.0833,0.25", "stop_02.jpg,0.25,"]
    assert [h for h in script.heard if h[0] == "kept"] == [("kept", 2, "stop_01"), ("kept", 4, "stop_02")]


def test_empty_picture_comes_back_at_the_size_of_the_frames(opened: Opened, script: Scripted) -> None:
    script.takes = {1: {"take": 1, "take_as": "empty"}}
    with opened.watch() as page:
        place = begun(opened, page)
        page.send(framed(1))
        answer(page, 1)
        assert post(opened, 1) == (200, {"kept": "empty"})
        assert (place / "empty.jpg").read_bytes() == FULL and ("empty", (240, 160, 3)) in script.heard
        second = begun(opened, page, "lookout")  # may hear what was said of the first
        until((second / "empty.jpg").exists)
        assert (second / "empty.jpg").read_bytes() == FULL, "the next pose before the same camera has it too"
    until(lambda: not opened.house.stage.watching)
    with opened.watch() as page:
        assert not (begun(opened, page, "resting") / "empty.jpg").exists(), "another camera may stand elsewhere"


def test_stop_goes_where_the_session_wants_it(opened: Opened, script: Scripted) -> None:
    script.takes = {1: {"take": 1}, 2: {"take": 2}, 3: {"take": 3, "take_after": "stop_01"},
                    4: {"take": 4, "take_instead": "stop_02"}}
    with opened.watch() as page:
        place = begun(opened, page)
        for number in range(1, 5):
            page.send(framed(number))
            answer(page, number)
            post(opened, number, jpeg(600, 900, 10 * number))
    assert sorted(p.name for p in place.glob("*.jpg")) == ["stop_01.jpg", "stop_01b.jpg", "stop_02.jpg"]
    assert (place / "stop_02.jpg").read_bytes() == jpeg(600, 900, 40)


def test_undo_takes_the_stop_kept_last_off_the_turn(opened: Opened, script: Scripted) -> None:
    script.takes = {k: {"take": k} for k in (1, 2)}
    with opened.watch() as page:
        place = begun(opened, page)
        for number in (1, 2):
            page.send(framed(number))
            answer(page, number)
            post(opened, number)
        for left in (1, 0):
            page.send('{"do": "undo"}')
            until(lambda left=left: len(list(place.glob("*.jpg"))) == left)
        page.send('{"do": "undo"}')
        assert word(page)["about"] == "refused"
    assert [h for h in script.heard if h[1] == "undo"] == [("order", "undo", "stop_02"), ("order", "undo", "stop_01")]


def test_turn_that_was_begun_before_goes_on(opened: Opened, script: Scripted) -> None:
    script.takes = {1: {"take": 1}}
    with opened.watch() as page:
        pose = opened.house.folder.new_pose("hauling")
        for name in ("stop_01.jpg", "stop_02.jpg", "empty.jpg"):
            (pose.path / name).write_bytes(FULL)
        page.send(json.dumps({"do": "begin", "pose": pose.id}))
        hear(page, lambda m: m["kind"] == "told")
        page.send(framed(1))
        answer(page, 1)
        assert post(opened, 1) == (200, {"kept": "stop_03"})
    assert ("told", ("stop_01", "stop_02")) in script.heard and ("empty", (240, 160, 3)) in script.heard


def test_a_pose_whose_level_ring_has_a_folder_is_gone_on_with_there(opened: Opened, script: Scripted) -> None:
    """Loose stills beside it would be a second level ring."""
    script.takes = {1: {"take": 1}}
    place = opened.house.folder.path / "hauling"
    for ring in ("low", "level"):
        (place / ring).mkdir(parents=True)
        (place / ring / "stop_01.jpg").write_bytes(FULL)
    [pose] = opened.house.folder.poses()
    with opened.watch() as page:
        page.send(json.dumps({"do": "begin", "pose": pose.id}))
        hear(page, lambda m: m["kind"] == "told")
        page.send(framed(1))
        answer(page, 1)
        assert post(opened, 1) == (200, {"kept": "stop_02"})
    lies = sorted(p.relative_to(place).as_posix() for p in place.rglob("*.jpg"))
    assert lies == ["level/stop_01.jpg", "level/stop_02.jpg", "low/stop_01.jpg"]


def test_another_ring_of_a_pose_is_shot_into_a_folder_of_its_own(opened: Opened, script: Scripted) -> None:
    """With its own table and its own empty picture: the camera was moved, so the one of before shows another room."""
    script.takes = {1: {"take": 1, "take_as": "empty"}, 2: {"take": 2}, 3: {"take": 3}}
    with opened.watch() as page:
        place = begun(opened, page)
        for number, ring in ((1, ""), (2, ""), (3, "low")):
            if ring:
                [pose] = opened.house.folder.poses()
                page.send(json.dumps({"do": "begin", "pose": pose.id, "ring": ring}))
                hear(page, lambda m: m["kind"] == "told")
            page.send(framed(number))
            answer(page, number)
            assert post(opened, number)[0] == 200
    lies = sorted(p.relative_to(place).as_posix() for p in place.rglob("*") if p.is_file())
    assert lies == ["empty.jpg", "low/stop_01.jpg", "low/turn.csv", "stop_01.jpg", "turn.csv"]


def test_a_ring_that_is_none_is_not_begun(opened: Opened, script: Scripted) -> None:
    for ring in ("../x", "LOW", "", 7, None):
        with opened.watch() as page:
            pose = opened.house.folder.new_pose("hauling")
            page.send(json.dumps({"do": "begin", "pose": pose.id, "ring": ring}))
            assert word(page)["about"] == "refused" and list(pose.path.iterdir()) == []


# ------------------------------------------------------------------------------------------------- what is not kept

def test_picture_that_was_not_asked_for_is_not_taken(opened: Opened, script: Scripted) -> None:
    with opened.watch() as page:
        place = begun(opened, page)
        page.send(framed(1))
        answer(page, 1)
        assert post(opened, 1)[0] == 409
        for frame in ("..", "-1", "1.5", "x", "%2e%2e", "9" * 400):
            assert opened.ask("POST", f"/api/stage/stills/{frame}", FULL)[0] in (404, 405, 409)
    assert list(place.iterdir()) == []


def bomb(width: int, height: int) -> bytes:
    """A small JPEG that says it is large."""
    data = bytearray(JPEG)
    at = data.index(b"\xff\xc0")
    data[at + 5: at + 9] = height.to_bytes(2, "big") + width.to_bytes(2, "big")
    return bytes(data)


@pytest.mark.parametrize("data", [
    b"", b"\xff\xd8\xff", JPEG[:-40], b"GIF89a" + bytes(90), bomb(65535, 65535), bomb(60000, 2000),
    b"\xff\xd8\xff" + bytes(5000), jpeg(40, 40),
], ids=range(8))
def test_picture_that_cannot_be_read_is_told_and_not_kept(opened: Opened, script: Scripted, data: bytes) -> None:
    script.takes = {1: {"take": 1}, 2: {"take": 2}}
    with opened.watch() as page:
        place = begun(opened, page)
        page.send(framed(1))
        answer(page, 1)
        status, told = post(opened, 1, data)
        assert status == 422 and told["error"].endswith(".")
        said = word(page)
        assert said["about"] == "not kept" and said["frame"] == 1
        page.send(framed(2))
        answer(page, 2)
        assert post(opened, 2)[0] == 200, "the next one is"
    assert ("lost", 1) in script.heard and [p.name for p in place.glob("*.jpg")] == ["stop_01.jpg"]


def test_picture_larger_than_is_taken_is_refused_unread(opened: Opened, script: Scripted) -> None:
    script.takes = {1: {"take": 1}}
    with opened.watch() as page:
        begun(opened, page)
        page.send(framed(1))
        answer(page, 1)
        head = (f"POST /api/stage/stills/1 HTTP/1.1\r\nHost: {opened.host}\r\nCookie: {opened.cookie}\r\n"
                f"Content-Length: {MOST_STILL + 1}\r\n\r\n")
        assert b" 413 " in opened.raw(head.encode()).recv(65536)
        assert word(page)["about"] == "not kept"


def test_full_disk_is_told_and_the_server_goes_on(
    opened: Opened, script: Scripted, monkeypatch: pytest.MonkeyPatch
) -> None:
    script.takes = {1: {"take": 1}, 2: {"take": 2}}
    with opened.watch() as page, monkeypatch.context() as full:
        def refuse(path: Path, data: bytes, **how: bool) -> Path:
            raise OutputError("cannot be written (No space left on device).", path=path, do="Free some space.")

        place = begun(opened, page)
        full.setattr(writing, "whole_file", refuse)
        page.send(framed(1))
        answer(page, 1)
        status, told = post(opened, 1)
        assert status == 422 and "No space left" in told["error"] and str(place) not in told["error"]
        said = word(page)
        assert said["about"] == "not kept" and str(opened.house.folder.path) not in said["words"]
        assert ("lost", 1) in script.heard
        full.undo()
        page.send(framed(2))
        answer(page, 2)
        assert post(opened, 2) == (200, {"kept": "stop_01"})


def test_picture_that_never_comes_is_given_up(
    opened: Opened, script: Scripted, monkeypatch: pytest.MonkeyPatch
) -> None:
    monkeypatch.setattr(stage, "ARRIVES_S", -1.0)
    script.takes = {1: {"take": 1}}
    with opened.watch() as page:
        begun(opened, page)
        page.send(framed(1))
        answer(page, 1)
        assert word(page)["about"] == "not kept"
        assert post(opened, 1)[0] == 409


def test_sender_that_breaks_off_may_send_the_picture_again(opened: Opened, script: Scripted) -> None:
    script.takes = {1: {"take": 1}}
    with opened.watch() as page:
        begun(opened, page)
        page.send(framed(1))
        answer(page, 1)
        head = (f"POST /api/stage/stills/1 HTTP/1.1\r\nHost: {opened.host}\r\nCookie: {opened.cookie}\r\n"
                f"Content-Length: {len(FULL)}\r\n\r\n")
        line = opened.raw(head.encode() + FULL[:500])
        until(lambda: 1 not in opened.house.stage._asked)
        line.close()
        until(lambda: 1 in opened.house.stage._asked)
        assert post(opened, 1) == (200, {"kept": "stop_01"})


def test_picture_of_the_pose_before_goes_to_that_pose(opened: Opened, script: Scripted) -> None:
    """Another pose was begun while it was still coming."""
    script.takes = {1: {"take": 1}}
    with opened.watch() as page:
        place = begun(opened, page)
        page.send(framed(1))
        answer(page, 1)
        head = (f"POST /api/stage/stills/1 HTTP/1.1\r\nHost: {opened.host}\r\nCookie: {opened.cookie}\r\n"
                f"Content-Length: {len(FULL)}\r\n\r\n")
        line = opened.raw(head.encode() + FULL[:500])
        until(lambda: 1 not in opened.house.stage._asked)
        other = begun(opened, page, "kneeling")
        line.sendall(FULL[500:])
        assert b" 200 " in line.recv(65536)
    assert (place / "stop_01.jpg").read_bytes() == FULL and list(other.iterdir()) == []
    assert ("kept", 1, "stop_01") not in script.heard


def test_pictures_that_were_asked_for_are_lost_with_their_page(opened: Opened, script: Scripted) -> None:
    script.takes = {1: {"take": 1}}
    with opened.watch() as page:
        begun(opened, page)
        page.send(framed(1))
        answer(page, 1)
    until(lambda: ("lost", 1) in script.heard)
    assert post(opened, 1)[0] == 409


# ------------------------------------------------------------------------------------------------ what a page may send

@pytest.mark.parametrize("data", [
    b"", b"\0", framed(1)[:HEAD.size], framed(1)[:HEAD.size - 1], framed(1, b"\0" * 100), framed(1, JPEG[:-30]),
    framed(1, seconds=float("nan")), framed(1, seconds=float("inf")), framed(1, size=(0, 0)),
    framed(1, size=(2**32 - 1, 5)), framed(1, bomb(65535, 65535)), framed(1, bomb(5000, 5000)),
    framed(1, jpeg(641, 100)), framed(1, jpeg(20, 20)),
    framed(1, bytes(cv2.imencode(".png", np.zeros((90, 90, 3), np.uint8))[1])), b"\xff" * 5000,
], ids=range(16))
def test_frame_that_is_none_is_refused_and_the_next_is_answered(opened: Opened, script: Scripted, data: bytes) -> None:
    with opened.watch() as page:
        page.send(data)
        said = word(page)
        assert said["about"] == "refused" and said["words"].endswith(".")
        page.send(framed(2))
        assert answer(page, 2)["state"] == "live"
    assert [number for number, _ in script.looked] == [2]


def test_message_larger_than_a_frame_ends_the_socket_and_nothing_else(opened: Opened, script: Scripted) -> None:
    with opened.watch() as page, pytest.raises(Exception):  # noqa: B017  however the library calls it
        page.send(bytes(MOST_FRAME + 1000))
        while True:
            page.recv(60)
    assert opened.ask("GET", "/")[0] == 200


@pytest.mark.parametrize("text", [
    "", "x", "{", "[]", "null", "5", "{}", '{"do": 5}', '{"do": "format disk"}', '{"do": ["begin"]}', "[" * 100_000,
    '{"do": "begin"}', '{"do": "begin", "pose": "../.."}', '{"do": "begin", "pose": 5}',
    '{"do": "begin", "pose": "\\u0000"}',
    '{"do": "begin", "pose": "' + "a" * 300 + '"}', '{"do": "take", "stops": 1e9}', '{"do": "take", "stops": true}',
    '{"do": "take", "stops": NaN}', '{"do": "take", "turn": "up"}', '{"do": "take", "raised": 1}',
    '{"do": "want", "stops_wanted": {"a": 1}}', '{"do": "want", "stops_wanted": [5]}', '{"do": "undo"}',
    '{"do": "want", "stops_wanted": [{"instead": 5}]}', '{"do": "want", "stops_wanted": [{"path": "a"}]}',
    '{"do": "want", "stops_wanted": [' + ",".join(['{"after": "a"}'] * 200) + "]}",
    '{"do": "take", "stops": ' + "9" * 5000 + "}",
], ids=range(28))
def test_order_that_is_none_is_refused_and_the_next_is_done(opened: Opened, script: Scripted, text: str) -> None:
    with opened.watch() as page:
        page.send(text)
        said = word(page)
        assert said["about"] == "refused" and said["words"].endswith(".") and "Traceback" not in said["words"]
        page.send('{"do": "take"}')
        hear(page, lambda m: m["kind"] == "told")
    assert [h[1] for h in script.heard if h[0] == "order"] == ["take"]


def test_every_order_of_the_page_is_understood() -> None:
    told = {"do": "want", "pose": "a1", "stop": "stop_03", "stops": 30, "turn": "right", "raised": True,
            "stops_wanted": [{"instead": "stop_01"}, {"after": "stop_09"}], "more": "is passed over"}
    order = heard.order(json.dumps(told))
    assert (order.do, order.stop, order.stops, order.turn, order.raised) == ("want", "stop_03", 30, "right", True)
    assert order.stops_wanted == ({"instead": "stop_01"}, {"after": "stop_09"})


def test_clip_cannot_be_shot_into(opened: Opened, script: Scripted) -> None:
    (opened.house.folder.path / "film.mp4").write_bytes(b"x")
    with opened.watch() as page:
        page.send(json.dumps({"do": "begin", "pose": opened.house.folder.poses()[0].id}))
        assert "clip" in word(page)["words"]


def test_fault_of_the_program_is_told_and_the_next_frame_is_answered(opened: Opened, script: Scripted) -> None:
    script.takes = {1: {"no such field": 1}}
    with opened.watch() as page:
        page.send(framed(1))
        said = word(page)
        assert said["about"] == "trouble" and "fault" in said["words"]
        page.send(framed(2))
        assert answer(page, 2)["state"] == "live"


# ------------------------------------------------------------------------------------------------- more than one page

def test_second_page_with_a_camera_is_told_so_and_gets_it_when_the_first_goes(opened: Opened, script: Scripted) -> None:
    with opened.watch() as second:
        with opened.watch() as first:
            first.send(framed(1))
            answer(first, 1)
            second.send(framed(50))
            assert word(second)["about"] == "camera"
            assert answer(second, 50)["skipped"], "each frame is answered, or the page would wait for ever"
            assert 50 not in [number for number, _ in script.looked]
        until(lambda: opened.house.stage._camera is None)
        second.send(framed(51))
        assert not answer(second, 51)["skipped"]


def test_page_that_fell_silent_loses_the_camera(
    opened: Opened, script: Scripted, monkeypatch: pytest.MonkeyPatch
) -> None:
    monkeypatch.setattr(stage, "SILENT_S", -1.0)
    with opened.watch() as first, opened.watch() as second:
        first.send(framed(1))
        answer(first, 1)
        second.send(framed(50))
        assert not answer(second, 50)["skipped"]


def test_only_the_page_with_the_camera_is_asked_for_pictures(opened: Opened, script: Scripted) -> None:
    script.takes = {1: {"take": 1}}
    with opened.watch() as first, opened.watch() as second:
        begun(opened, first)
        first.send(framed(1))
        assert answer(first, 1)["take"] == 1 and answer(second, 1)["take"] is None


def test_page_that_comes_later_is_shown_the_wheel_as_it_stands(opened: Opened, script: Scripted) -> None:
    script.takes = {1: {"wheel": (WheelStop("stop_01", 0.0, "strong", "M0 0"),), "wanted": ("stand",)}}
    with opened.watch() as first:
        first.send(framed(1))
        first.send(framed(2))
        answer(first, 2)
        with opened.watch() as second:
            shown = json.loads(second.recv(60))
    assert shown["frame"] == -1 and shown["wheel"][0]["name"] == "stop_01" and shown["wanted"] == ["stand"]


def test_too_many_pages_are_sent_away(opened: Opened, monkeypatch: pytest.MonkeyPatch) -> None:
    monkeypatch.setattr(stage, "WATCHERS", 2)
    with opened.watch(), opened.watch():
        until(lambda: len(opened.house.stage.watching) == 2)
        with pytest.raises(Exception), opened.watch() as third:  # noqa: B017  however the library calls it
            third.recv(60)
    until(lambda: not opened.house.stage.watching)
    with opened.watch() as page:
        assert page.recv(60)


# --------------------------------------------------------------------------------------------------- nothing piles up

def test_of_frames_that_wait_only_the_newest_are_looked_at_and_each_is_answered(
    opened: Opened, script: Scripted, monkeypatch: pytest.MonkeyPatch
) -> None:
    monkeypatch.setattr(stage, "UNREAD", 100)  # a page that keeps to three frames reads fast enough
    script.go.clear()
    with opened.watch() as page:
        page.send(framed(1))
        assert script.entered.wait(60)
        for number in range(2, 41):
            page.send(framed(number))
        dropped = 40 - 1 - stage.WAITING
        answered = [hear(page, lambda m: m["kind"] == "seen" and m["frame"] > 0) for _ in range(dropped)]
        assert all(a["skipped"] for a in answered) and script.looked == [], "the first one is still being looked at"
        script.go.set()
        answered += [hear(page, lambda m: m["kind"] == "seen") for _ in range(40 - dropped)]
    assert {a["frame"] for a in answered} == set(range(1, 41))
    assert [number for number, _ in script.looked] == [1, 37, 38, 39, 40]
    assert [quick for _, quick in script.looked[1:]] == [True, True, True, False]


def test_page_that_does_not_read_is_not_waited_for(opened: Opened) -> None:
    """Its answers become one; what was told once is in it."""
    watcher = stage.Watcher(None)  # type: ignore[arg-type]
    for number in range(1000):
        once = {"wheel": (WheelStop("stop_01", None, None, ""),), "take": 7} if number == 500 else {}
        signal = (Signal("taken", f"{number}"),) if number % 100 == 0 else ()
        watcher.tell(Seen(number, "live", signals=signal, **once).plain())  # type: ignore[arg-type]
    waiting = list(watcher._waiting)
    assert len(waiting) == stage.UNREAD
    last = waiting[-1]
    assert last["frame"] == 999 and last["wheel"][0]["name"] == "stop_01" and last["take"] == 7
    assert [s["words"] for s in last["signals"]][-1] == "900"


def test_memory_stays_flat_while_a_page_sends_and_does_not_read(opened: Opened, script: Scripted) -> None:
    import tracemalloc

    number = 0

    def many(count: int) -> int:
        nonlocal number
        for _ in range(count):
            number += 1
            page.send(framed(number))
            answer(page, number)
        return tracemalloc.get_traced_memory()[0]

    with opened.watch(), opened.watch() as page:
        tracemalloc.start()
        try:
            before = many(150)
            after = many(450)
        finally:
            tracemalloc.stop()
    assert after - before < 1_000_000
