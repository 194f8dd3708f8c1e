"""``silhouette open`` as a person starts and stops it: its one line, its end, what a kill leaves, who can listen."""

from __future__ import annotations

import json
import os
import re
import shutil
import signal
import socket
import stat
import subprocess
import sys
import time
from collections.abc import Callable, Iterator
from http.client import HTTPConnection
from pathlib import Path
from typing import Any

import cv2
import numpy as np
import pytest

from silhouette.live import browser
from silhouette.live.messages import HEAD
from silhouette.writing import read_mark

TURN = Path(__file__).parents[1] / "data" / "rendered" / "turn"


def until(true: Callable[[], Any]) -> None:
    """Wait until something is true; two minutes are more than any machine needs."""
    ends = time.monotonic() + 120
    while not true():
        assert time.monotonic() < ends
        time.sleep(0.02)


class Program:
    """The program, running."""

    def __init__(self, folder: Path, *flags: str, most_bytes: int = 0, **env: str) -> None:
        """With ``most_bytes`` no file that it writes can become larger: a disk that is full."""
        self.folder = folder
        code = ("import resource, signal, sys\nfrom silhouette.cli import main\n"
                "signal.signal(signal.SIGXFSZ, signal.SIG_IGN)\n"
                f"resource.setrlimit(resource.RLIMIT_FSIZE, ({most_bytes},) * 2)\nsys.exit(main())")
        start = ["-c", code] if most_bytes else ["-m", "silhouette.cli"]
        self.process = subprocess.Popen(
            [sys.executable, *start, "open", str(folder), *flags], stdout=subprocess.PIPE,
            stderr=subprocess.PIPE, text=True, env={**os.environ, **env})
        assert self.process.stdout is not None
        self.line = self.process.stdout.readline()
        found = re.fullmatch(r"Open http://127\.0\.0\.1:(\d+)/#([\w-]{20,})\n", self.line)
        assert found, self.line + self.end()[1]
        self.port, self.key = int(found[1]), found[2]
        self.cookie = ""

    def ask(self, method: str, path: str, body: bytes | None = None) -> tuple[int, bytes]:
        line = HTTPConnection("127.0.0.1", self.port, timeout=60)
        try:
            line.request(method, path, body, {"Cookie": self.cookie})
            answer = line.getresponse()
            if given := answer.getheader("set-cookie"):
                self.cookie = given.split(";")[0]
            return answer.status, answer.read()
        finally:
            line.close()

    def enter(self) -> None:
        assert self.ask("POST", "/enter", self.key.encode())[0] == 200

    def end(self, with_signal: int | None = None) -> tuple[int, str]:
        """Its exit code and what it said on the error stream, stopped by a signal."""
        if with_signal is not None:
            self.process.send_signal(with_signal)
        _, said = self.process.communicate(timeout=120)
        return self.process.returncode, said

    def watch(self) -> Any:
        from websockets.sync.client import connect

        here: Any = f"http://127.0.0.1:{self.port}"
        return connect(f"ws://127.0.0.1:{self.port}/api/stage", origin=here, open_timeout=60, proxy=None,
                       additional_headers={"cookie": self.cookie})


@pytest.fixture
def started(tmp_path: Path) -> Iterator[Callable[..., Program]]:
    """``started(*flags)`` starts the program with the folder ``studio``, which ends with the test."""
    running: list[Program] = []

    def start(*flags: str, **how: Any) -> Program:
        running.append(Program(tmp_path / "studio", "--no-browser", *flags, **how))
        return running[-1]

    yield start
    for one in running:
        one.process.kill()
        one.process.communicate()


@pytest.mark.parametrize(("number", "code"), [(signal.SIGINT, 130), (signal.SIGTERM, 143), (signal.SIGHUP, 129)])
def test_signal_stops_it_with_one_sentence(started: Callable[..., Program], number: int, code: int) -> None:
    program = started()
    program.enter()
    with program.watch() as page:
        page.recv(60)
        assert program.end(number) == (code, "silhouette: stopped. Nothing half-written was left behind.\n")
    assert list(program.folder.iterdir()) == []


def test_stops_while_a_job_works_and_somebody_is_still_sending(started: Callable[..., Program], tmp_path: Path) -> None:
    shutil.copytree(TURN, tmp_path / "studio" / "hauling")
    program = started()
    program.enter()
    pose = json.loads(program.ask("GET", "/api/poses")[1])[0]["id"]
    assert program.ask("POST", "/api/jobs", json.dumps({"what": "rank", "poses": [pose]}).encode())[0] == 200
    line = socket.create_connection(("127.0.0.1", program.port), timeout=60)
    line.sendall(f"POST /api/jobs HTTP/1.1\r\nHost: 127.0.0.1:{program.port}\r\nCookie: {program.cookie}\r\n"
                 "Content-Length: 100\r\n\r\n{".encode())
    code, said = program.end(signal.SIGINT)
    assert code == 130 and said.count("\n") == 1
    left = {p.name for p in program.folder.iterdir()} - {"hauling"}
    assert not left or (left == {"results"} and read_mark(program.folder / "results")), "it may have been done, whole"


@pytest.mark.parametrize("flags", [("--port", "{taken}"), ("--port", "-1"), ("--port", "70000"), ("--port", "1x")])
def test_port_that_cannot_be_used_is_a_sentence(
    started: Callable[..., Program], tmp_path: Path, flags: tuple[str]
) -> None:
    taken = str(started().port)
    told = subprocess.run([sys.executable, "-m", "silhouette.cli", "open", str(tmp_path / "other"), "--no-browser",
                           *(flag.format(taken=taken) for flag in flags)], capture_output=True, text=True, timeout=120)
    assert told.returncode == 2 and told.stdout == "" and told.stderr.startswith("silhouette")
    assert "Traceback" not in told.stderr and told.stderr.strip().endswith(".")


@pytest.mark.parametrize("place", ["file", "file/below", "results"])
def test_folder_that_cannot_be_used_is_a_sentence(tmp_path: Path, place: str) -> None:
    (tmp_path / "file").touch()
    (tmp_path / "results").mkdir()
    (tmp_path / "results" / "result.json").write_text("{}")
    told = subprocess.run([sys.executable, "-m", "silhouette.cli", "open", str(tmp_path / place), "--no-browser"],
                          capture_output=True, text=True, timeout=120)
    assert told.returncode == 2 and told.stdout == "" and told.stderr.count("\n") == 1 and "fault" not in told.stderr


def test_folder_is_open_once_and_after_a_kill_again(started: Callable[..., Program], tmp_path: Path) -> None:
    """Two that write the table of one turn would take stops from each other."""
    first = started()
    told = subprocess.run([sys.executable, "-m", "silhouette.cli", "open", str(tmp_path / "studio"), "--no-browser"],
                          capture_output=True, text=True, timeout=120)
    assert told.returncode == 2 and told.stdout == "" and "is open already. Go on with that page" in told.stderr
    first.process.kill()
    first.process.wait()
    assert started().ask("GET", "/")[0] == 200


def picture(width: int, height: int) -> bytes:
    pixels = np.full((height, width, 3), 90, np.uint8)
    return bytes(cv2.imencode(".jpg", pixels)[1])


def empty_picture(program: Program, full: bytes) -> tuple[int, Any]:
    """Begin a pose and take the empty picture, which comes by itself from a frame in which nothing moves."""
    pose = json.loads(program.ask("POST", "/api/poses", b'{"name": "hauling"}')[1])["id"]
    with program.watch() as page:
        page.send(json.dumps({"do": "begin", "pose": pose}))
        page.send(json.dumps({"do": "empty"}))
        for number in range(500):
            page.send(HEAD.pack(number, number / 12, 600, 900) + picture(160, 240))
            while (seen := json.loads(page.recv(60)))["kind"] != "seen" or seen["frame"] != number:
                pass
            if seen["take"] is not None:
                status, body = program.ask("POST", f"/api/stage/stills/{seen['take']}", full)
                return status, json.loads(body)
    raise AssertionError("it was never asked for")


def test_disk_that_is_full_is_told_to_the_page_and_the_server_goes_on(
    started: Callable[..., Program], tmp_path: Path
) -> None:
    program = started(most_bytes=20_000)
    program.enter()
    noise = np.random.default_rng(1).integers(0, 255, (900, 600, 3), np.uint8)
    status, told = empty_picture(program, bytes(cv2.imencode(".jpg", noise)[1]))
    assert status == 422 and told["error"].startswith("hauling") and "cannot be written" in told["error"]
    assert list((tmp_path / "studio" / "hauling").iterdir()) == [], "nothing half-written is left"
    status, told = empty_picture(program, picture(600, 900))
    assert (status, told) == (200, {"kept": "empty"})
    assert program.end(signal.SIGINT)[0] == 130


def test_after_a_kill_the_next_start_finds_every_still_that_was_taken(
    started: Callable[..., Program], tmp_path: Path
) -> None:
    """Whatever was answered as kept is there, and what the table missed when the kill came stands in it."""
    program = started()
    program.enter()
    assert empty_picture(program, picture(600, 900)) == (200, {"kept": "empty"})
    place = tmp_path / "studio" / "hauling"
    for name in ("stop_01.jpg", "stop_02.jpg"):
        (place / name).write_bytes(picture(600, 900))
    (place / "turn.csv").write_text("still,seconds,moved\nstop_01.jpg,0,\n")
    (place / ".stop_03.jpg.0123abcd.silhouette-part").write_bytes(b"half")
    program.process.kill()
    program.process.communicate()
    again = started()
    again.enter()
    assert (place / "empty.jpg").read_bytes() == picture(600, 900)
    assert (place / "turn.csv").read_text().splitlines()[1:] == ["stop_01.jpg,0,", "stop_02.jpg,,"]
    assert not [p for p in place.iterdir() if p.name.startswith(".")]


def test_nobody_but_this_computer_can_reach_it(started: Callable[..., Program]) -> None:
    program = started()
    others = {info[4][0] for info in socket.getaddrinfo(socket.gethostname(), None, socket.AF_INET)} - {"127.0.0.1"}
    for address in {*others, "127.0.0.2"}:
        with pytest.raises(OSError):
            socket.create_connection((str(address), program.port), timeout=10).close()


def test_key_stands_in_no_command_line(started: Callable[..., Program], tmp_path: Path) -> None:
    """The browser is started with the name of a file that only its owner can read."""
    opened = tmp_path / "opened"
    shown = tmp_path / "browser"
    shown.write_text(f"#!/bin/sh\nprintf '%s' \"$*\" > {opened}.part && mv {opened}.part {opened}\n")
    shown.chmod(0o755)
    program = Program(tmp_path / "studio", BROWSER=f"{shown} %s")
    try:
        until(opened.exists)
        asked = opened.read_text()
        file = Path(asked.removeprefix("file://"))
        assert program.key not in asked and asked.startswith("file://")
        assert stat.S_IMODE(file.stat().st_mode) == 0o600 and program.key in file.read_text()
        program.enter()
        assert json.loads(program.ask("GET", "/api/poses")[1]) == []
    finally:
        assert program.end(signal.SIGTERM)[0] == 143
    assert list((tmp_path / "studio").iterdir()) == [], "the file goes with the program"


def test_file_for_the_browser_that_a_kill_left_goes_at_the_next_start(tmp_path: Path) -> None:
    (tmp_path / ".open-01234567.html").touch()
    (tmp_path / ".open-mine.html").touch()
    browser.forget(tmp_path)
    assert [p.name for p in tmp_path.iterdir()] == [".open-mine.html"]


def test_browser_that_needs_the_terminal_is_not_started(tmp_path: Path, monkeypatch: pytest.MonkeyPatch) -> None:
    for name in ("DISPLAY", "WAYLAND_DISPLAY", "BROWSER"):
        monkeypatch.delenv(name, raising=False)
    monkeypatch.setattr(browser.sys, "platform", "linux")
    browser.show_in_browser(tmp_path, "http://127.0.0.1:1/#key")()
    assert list(tmp_path.iterdir()) == []


def test_log_holds_no_name_and_no_picture(started: Callable[..., Program]) -> None:
    """All that it prints is its line, and its sentence at the end; whatever was asked of it."""
    program = started()
    program.enter()
    secret = "Aphrodite-undressed"
    for path in (f"/{secret}", f"/api/{secret}", f"/page/{secret}.js", "/%ff%00"):
        program.ask("GET", path)
        program.ask("POST", path, secret.encode())
    program.ask("POST", "/api/poses", json.dumps({"name": secret}).encode())
    with program.watch() as page:
        page.send(secret)
        page.send(b"\xff" * 500)
        page.recv(60)
    line = socket.create_connection(("127.0.0.1", program.port))
    line.sendall(f"{secret} \0\r\n\r\n".encode())
    line.recv(1000)
    program.process.send_signal(signal.SIGINT)
    out, said = program.process.communicate(timeout=120)
    assert program.process.returncode == 130 and out == "", "its one line was read before"
    assert said == "silhouette: stopped. Nothing half-written was left behind.\n"
