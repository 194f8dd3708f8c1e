"""The stage by plain requests says and takes what it does by a socket."""

from __future__ import annotations

import time
from typing import Any

import cv2
import numpy as np
import pytest

from silhouette.live import line as module
from silhouette.live.messages import HEAD, MOST_FRAME

BEGAN = time.time()


def frame(number: int) -> bytes:
    picture = np.full((48, 64, 3), 180, np.uint8)
    return HEAD.pack(number, BEGAN + number / 15, 1280, 960) + cv2.imencode(".jpg", picture)[1].tobytes()


def opened(client: Any) -> str:
    status, told = client.ask("POST", "/api/stage/line")
    assert status == 200
    return f"/api/stage/line/{told['line']}"


def heard(client: Any, address: str, wanted: Any) -> dict[str, Any]:
    """The first message that is wanted."""
    until = time.monotonic() + 60
    while time.monotonic() < until:
        status, told = client.ask("GET", address)
        assert status == 200
        for message in told:
            if wanted(message):
                return message
    raise AssertionError("it was not said")


def send(client: Any, address: str, data: bytes) -> int:
    return client.ask("POST", address, data, Content_Type="application/octet-stream")[0]


def test_frames_are_answered_in_their_order(home: Any) -> None:
    line = opened(home.here)
    assert heard(home.here, line, lambda m: m["kind"] == "seen")["state"] == "no-camera"
    for number in range(3):
        assert send(home.here, line, frame(number)) == 204
        seen = heard(home.here, line, lambda m, n=number: m["kind"] == "seen" and m["frame"] == n)
        assert seen["captured"] == pytest.approx(BEGAN + number / 15, abs=1e-3)


def test_orders_are_taken_and_what_is_none_is_refused(home: Any) -> None:
    line = opened(home.here)
    pose = home.here.ask("POST", "/api/poses", {"name": "hauling"})[1]["id"]
    assert home.here.ask("POST", line, {"do": "begin", "pose": pose})[0] == 204
    assert home.here.ask("POST", line, b"\xff{")[0] == 204
    heard(home.here, line, lambda m: m.get("about") == "refused")
    assert send(home.here, line, b"no frame") == 204
    heard(home.here, line, lambda m: m.get("about") == "refused")


def test_what_is_too_large_or_for_nobody_is_refused(home: Any) -> None:
    line = opened(home.here)
    assert send(home.here, line, bytes(MOST_FRAME + HEAD.size)) == 204
    with pytest.raises((AssertionError, ConnectionError)):
        assert send(home.here, line, bytes(MOST_FRAME + HEAD.size + 1)) == 204
    for method in ("GET", "POST", "DELETE"):
        assert home.here.ask(method, "/api/stage/line/nobody")[0] == 404


def test_few_lines_and_each_ends(home: Any, monkeypatch: pytest.MonkeyPatch) -> None:
    lines = [opened(home.here) for _ in range(module.MOST)]
    assert home.here.ask("POST", "/api/stage/line")[0] == 503
    assert home.here.ask("DELETE", lines[0])[0] == 204
    assert home.here.ask("GET", lines[0])[0] == 404
    monkeypatch.setattr(module, "IDLE", 0.0)
    until = time.monotonic() + 60
    while home.house.lines._lines or home.house.stage.watching:
        assert time.monotonic() < until
        time.sleep(0.05)


def test_the_phones_line_ends_with_its_door_and_is_its_own(home: Any, monkeypatch: pytest.MonkeyPatch) -> None:
    monkeypatch.setattr(module, "IDLE", 3600.0)
    phone = home.open()
    assert phone.ask("POST", "/api/stage/line")[0] == 403
    assert phone.ask("POST", "/pair", {"code": home.house.phone.pairing.code})[0] == 200
    line = opened(phone)
    assert heard(phone, line, lambda m: m["kind"] == "seen")
    assert home.here.ask("GET", line)[0] == 404, "another door's line"
    assert home.here.ask("POST", "/api/phone", {"pair": "another"})[0] == 200
    until = time.monotonic() + 60
    while home.house.stage.watching:
        assert time.monotonic() < until
        time.sleep(0.05)
