"""The phone's door: shut until it is asked for, by TLS only, for one paired phone, and for little."""

from __future__ import annotations

import asyncio
import hashlib
import os
import re
import shutil
import signal
import socket
import ssl
import subprocess
import sys
from pathlib import Path
from typing import Any

import pytest

from silhouette.live import phone as module
from silhouette.live.guard import Refused
from silhouette.live.listening import STRANGERS
from silhouette.live.own_addresses import OwnAddress, own_addresses
from silhouette.live.phone import COOKIE, LASTS, TRIES, Pairing, qr_blocks, qr_picture

CLIP = Path(__file__).parents[1] / "data" / "rendered" / "clip.mp4"


def wrong(code: str) -> str:
    return f"{(int(code) + 1) % 1_000_000:06d}"


def paired(home: Any) -> Any:
    phone = home.open()
    assert phone.ask("POST", "/pair", {"code": home.house.phone.pairing.code})[0] == 200
    return phone


# ------------------------------------------------------------------------------------------------------- the code

def test_a_code_lets_one_phone_in_once() -> None:
    pairing = Pairing()
    code = pairing.code
    assert re.fullmatch(r"\d{6}", code)
    cookie = pairing.enter(code)
    assert pairing.cookies.know(cookie) and not pairing.cookies.know("") and not pairing.cookies.know(None)
    with pytest.raises(Refused, match="Another phone is paired"):
        pairing.enter(code)
    pairing.forget()
    assert not pairing.cookies.know(cookie) and not pairing.paired


def test_wrong_codes_lock_until_a_new_one_is_made() -> None:
    pairing = Pairing()
    for left in range(TRIES - 1, -1, -1):
        with pytest.raises(Refused, match="not the code") as no:
            pairing.enter(wrong(pairing.code))
        assert no.value.status == 403
        assert str(left) in str(no.value) or "new code" in str(no.value)
    with pytest.raises(Refused, match="Too many"):
        pairing.enter(pairing.code)
    assert not pairing.seconds
    pairing.renew()
    assert pairing.enter(pairing.code)


def test_a_code_grows_too_old() -> None:
    clock = [1000.0]
    pairing = Pairing(lambda: clock[0])
    clock[0] += LASTS - 1
    assert pairing.seconds == pytest.approx(1)
    clock[0] += 1
    with pytest.raises(Refused, match="too old"):
        pairing.enter(pairing.code)
    pairing.renew()
    assert pairing.enter(pairing.code)


@pytest.mark.parametrize("code", ["", "12345", "１２３４５６", "\udcff", "0" * 10000])
def test_what_is_no_code_is_a_wrong_one(code: str) -> None:
    with pytest.raises(Refused, match="not the code"):
        Pairing().enter(code)


# ------------------------------------------------------------------------------------------------------- the door

def test_the_door_is_shut_until_it_is_asked_for(home: Any) -> None:
    status, told = home.here.ask("GET", "/api/phone")
    assert status == 200 and told["on"] is False and "code" not in told
    assert home.house.phone.url == ""
    told = home.here.ask("POST", "/api/phone", {"on": True})[1]
    assert told["on"] and told["url"] == f"https://127.0.0.1:{home.house.phone.port}/phone"
    assert told["code"] == home.house.phone.pairing.code and told["code"] not in told["qr"]
    assert told["fingerprint"] == home.house.phone.certificate.fingerprint
    port = home.house.phone.port
    told = home.here.ask("POST", "/api/phone", {"on": False})[1]
    assert told["on"] is False
    with pytest.raises(OSError):
        socket.create_connection(("127.0.0.1", port), timeout=60)


def test_it_speaks_tls_only(home: Any) -> None:
    home.open()
    with socket.create_connection(("127.0.0.1", home.house.phone.port), timeout=60) as line:
        line.sendall(b"GET /phone HTTP/1.1\r\nHost: 127.0.0.1\r\n\r\n")
        assert b"200" not in line.recv(1000)


def test_a_stranger_does_not_take_the_certificate_for_granted(home: Any) -> None:
    stranger = home.open()
    stranger.tls = ssl.create_default_context()
    with pytest.raises(ssl.SSLCertVerificationError):
        stranger.ask("GET", "/phone")


def test_one_phone_is_paired_and_another_is_refused(home: Any) -> None:
    first = home.open()
    status, text = first.ask("GET", "/phone")
    assert status == 200 and "six digits" in text and home.house.phone.pairing.code not in text
    assert first.ask("GET", "/api/poses")[0] == 403
    code = home.house.phone.pairing.code
    assert first.ask("POST", "/pair", {"code": f"{code[:3]} {code[3:]}"}) == (200, {"paired": True})
    told = first.head["set-cookie"]
    assert told.startswith(f"{COOKIE}=") and all(w in told for w in ("HttpOnly", "Secure", "SameSite=strict", "Path=/"))
    assert "Domain" not in told
    assert "Connected" in first.ask("GET", "/phone")[1]
    assert first.ask("GET", "/api/poses")[0] == 200

    second = home.phone()
    assert "Another phone is paired" in second.ask("GET", "/phone")[1]
    status, told = second.ask("POST", "/pair", {"code": code})
    assert status == 409 and "Pair another phone" in told["error"]
    assert second.ask("GET", "/api/poses")[0] == 403
    assert home.here.ask("GET", "/api/phone")[1]["paired"] is True


def test_wrong_codes_lock_the_door_for_all(home: Any) -> None:
    phone = home.open()
    code = home.house.phone.pairing.code
    for _ in range(TRIES):
        assert phone.ask("POST", "/pair", {"code": wrong(code)})[0] == 403
    status, told = home.phone().ask("POST", "/pair", {"code": code})
    assert status == 403 and "Make a new code" in told["error"]
    told = home.here.ask("GET", "/api/phone")[1]
    assert told["locked"] and told["code"] == ""
    told = home.here.ask("POST", "/api/phone", {"code": "new"})[1]
    assert not told["locked"] and told["code"]
    assert phone.ask("POST", "/pair", {"code": told["code"]})[0] == 200


def test_pairing_another_lets_the_first_go_and_keeps_the_certificate(home: Any) -> None:
    first = paired(home)
    before = home.here.ask("GET", "/api/phone")[1]
    told = home.here.ask("POST", "/api/phone", {"pair": "another"})[1]
    assert (told["url"], told["fingerprint"]) == (before["url"], before["fingerprint"])
    assert not told["paired"] and told["code"]
    assert first.ask("GET", "/api/poses")[0] == 403
    assert home.phone().ask("POST", "/pair", {"code": told["code"]})[0] == 200


def test_shut_forgets_the_phone_and_the_certificate(home: Any) -> None:
    first = paired(home)
    print_ = home.house.phone.certificate.fingerprint
    home.here.ask("POST", "/api/phone", {"on": False})
    again = home.open()
    assert home.house.phone.certificate.fingerprint != print_
    again.cookie = first.cookie
    assert again.ask("GET", "/api/poses")[0] == 403


def test_the_phone_reaches_little(home: Any) -> None:
    phone = paired(home)
    for method, path in (("GET", "/api/phone"), ("POST", "/api/phone"), ("POST", "/api/jobs"), ("GET", "/api/jobs/1"),
                         ("POST", "/enter"), ("GET", "/pose/1"), ("GET", "/api/phone/checks"), ("GET", "/../etc"),
                         ("GET", "/api/sets/a/b"), ("GET", "/api/results")):
        assert phone.ask(method, path, {"on": False} if method == "POST" else None)[0] == 404, path
    assert phone.ask("GET", "/api/poses", Host="evil.example")[0] == 403
    assert phone.ask("GET", "/api/poses", Origin="https://evil.example")[0] == 403
    here = home.here.cookie
    assert home.phone().ask("GET", "/api/poses")[0] == 403
    other = home.phone()
    other.cookie = here
    assert other.ask("GET", "/api/poses")[0] == 403, "the computer's own cookie opens nothing here"
    home.here.cookie = phone.cookie
    assert home.here.ask("GET", "/api/phone")[0] == 403, "nor the phone's there"
    home.here.cookie = here


def test_the_pairing_is_not_for_the_computers_own_door(home: Any) -> None:
    home.open()
    stranger = type(home.here)(home.port)
    assert stranger.ask("POST", "/pair", {"code": home.house.phone.pairing.code})[0] == 403
    assert not home.house.phone.pairing.paired


def test_an_address_of_another_computer_is_refused(home: Any) -> None:
    status, told = home.here.ask("POST", "/api/phone", {"on": True, "address": "192.168.77.1"})
    assert status == 400 and "does not have this address" in told["error"]
    assert not home.here.ask("GET", "/api/phone")[1]["on"]
    told = home.here.ask("POST", "/api/phone", {"on": True, "address": "127.0.0.2"})[1]
    assert told["url"].startswith("https://127.0.0.2:")
    told = home.here.ask("POST", "/api/phone", {"on": True, "address": "127.0.0.1"})[1]
    assert told["url"].startswith("https://127.0.0.1:"), "choosing another moves the door"


@pytest.mark.parametrize(("found", "word"), [
    ((), "in no network"), ((OwnAddress("8.8.8.8", "eth0"),), "reached from the internet"),
])
def test_where_no_phone_is_the_door_stays_shut(
        home: Any, monkeypatch: pytest.MonkeyPatch, found: Any, word: str) -> None:
    monkeypatch.setattr(module, "own_addresses", lambda: found)
    status, told = home.here.ask("POST", "/api/phone", {"on": True})
    assert status == 409 and word in told["error"]
    assert not home.house.phone.on


def test_a_network_that_was_left_is_told(home: Any, monkeypatch: pytest.MonkeyPatch) -> None:
    home.open()
    assert home.here.ask("GET", "/api/phone")[1]["gone"] is False
    monkeypatch.setattr(module, "own_addresses", lambda: (OwnAddress("192.168.5.5", "wlan0"),))
    assert home.here.ask("GET", "/api/phone")[1]["gone"] is True


@pytest.mark.parametrize("asked", [
    {}, {"on": "yes"}, {"on": 1}, {"code": "old"}, {"pair": True}, {"address": "8.8.8.8"},
])
def test_what_is_no_order_changes_nothing(home: Any, asked: Any) -> None:
    assert home.here.ask("POST", "/api/phone", asked) == home.here.ask("GET", "/api/phone")


# ------------------------------------------------------------------------------------------------------- what it shows

def test_the_terminal_shows_address_code_and_fingerprint(home: Any) -> None:
    home.open()
    words, door = home.house.phone.words(), home.house.phone
    assert door.url in words and f"{door.pairing.code[:3]} {door.pairing.code[3:]}" in words
    assert door.certificate.fingerprint.replace(":", "") in re.sub(r"\s", "", words)
    assert "\x1b" not in words, "no colours where nobody looks at a terminal"


def test_the_qr_code_says_the_address(tmp_path: Path) -> None:
    cv2 = pytest.importorskip("cv2")
    import numpy as np

    url = "https://192.168.100.200:8443/phone"
    assert qr_picture(url).startswith("data:image/svg+xml")
    rows = []
    for line in qr_blocks(url).splitlines():
        signs = line.removeprefix("\x1b[30;107m").removesuffix("\x1b[0m")
        assert line != signs
        rows += [[sign in "▀█" for sign in signs], [sign in "▄█" for sign in signs]]
    dark = np.array(rows)
    picture = np.kron(np.where(dark, 0, 255), np.ones((8, 8))).astype(np.uint8)
    assert cv2.QRCodeDetector().detectAndDecode(picture)[0] == url


# ------------------------------------------------------------------------------------------------------- what it sends

def send(phone: Any, name: str, data: bytes, **more: str) -> dict[str, Any]:
    status, told = phone.ask("POST", "/api/uploads", {"name": name, "size": len(data), **more})
    assert status == 200, told
    status, told = phone.ask("PATCH", f"/api/uploads/{told['upload']}?from=0", data)
    assert status == 200 and told["done"], told
    return told


def test_only_what_it_sent_is_checked_for_it(home: Any) -> None:
    phone = paired(home)
    shutil.copy(CLIP, home.folder / "mine.mp4")
    (mine,) = home.house.folder.poses()
    status, told = phone.ask("POST", "/api/phone/check", {"pose": mine.id})
    assert status == 404 and "has not sent" in told["error"]
    for odd in ({}, {"pose": 5}, {"pose": "../mine.mp4"}, []):
        assert phone.ask("POST", "/api/phone/check", odd)[0] in (400, 404)
    assert phone.ask("GET", "/api/phone/check/1")[0] == 404
    assert send(phone, "theirs.mp4", b"no clip at all")["pose"]
    assert (home.folder / "theirs.mp4").read_bytes() == b"no clip at all"


def test_a_clip_is_sent_checked_and_told_in_words(home: Any) -> None:
    phone = paired(home)
    pose = send(phone, "IMG_0012.MP4", CLIP.read_bytes(), new="hauling")["pose"]
    assert (home.folder / "hauling.MP4").read_bytes() == CLIP.read_bytes()
    status, told = phone.ask("POST", "/api/phone/check", {"pose": pose})
    assert status == 200, told
    job = told["job"]
    while (told := phone.ask("GET", f"/api/phone/check/{job}")[1])["state"] == "running":
        home.house.jobs._follower.join(0.2)
    assert told["state"] == "done", told
    assert set(told["result"]) == {"verdict", "rests_on", "notes", "findings"}, "no outline goes to the phone"
    assert told["result"]["verdict"] and told["result"]["findings"]
    assert all(set(one) == {"verdict", "said", "do"} for one in told["result"]["findings"])


def test_a_check_can_be_stopped(home: Any) -> None:
    phone = paired(home)
    pose = send(phone, "a.mp4", CLIP.read_bytes())["pose"]
    job = phone.ask("POST", "/api/phone/check", {"pose": pose})[1]["job"]
    assert phone.ask("DELETE", f"/api/phone/check/{job}")[1]["state"] in ("stopped", "done")


# ------------------------------------------------------------------------------------------------ who stays connected

def stage(home: Any, phone: Any) -> Any:
    """The phone's open socket to the stage."""
    from websockets.sync.client import connect

    door = home.house.phone
    return connect(f"wss://127.0.0.1:{door.port}/api/stage", ssl=phone.tls, origin=f"https://127.0.0.1:{door.port}",
                   additional_headers={"Cookie": phone.cookie}, proxy=None, open_timeout=60, close_timeout=60)


@pytest.mark.parametrize("order", [{"on": False}, {"pair": "another"}])
def test_what_was_connected_ends_with_the_pairing(home: Any, order: Any) -> None:
    from websockets.exceptions import ConnectionClosed, InvalidStatus

    phone = paired(home)
    with stage(home, phone) as line:
        home.here.ask("POST", "/api/phone", order)
        with pytest.raises(ConnectionClosed):
            while True:
                line.recv(timeout=60)
    with pytest.raises((InvalidStatus, OSError)):
        stage(home, phone)


def test_the_stage_is_not_for_a_phone_without_a_code(home: Any) -> None:
    from websockets.exceptions import InvalidStatus

    with pytest.raises(InvalidStatus):
        stage(home, home.open())


def test_who_connects_and_does_not_greet_is_hung_up_on(home: Any, monkeypatch: pytest.MonkeyPatch) -> None:
    monkeypatch.setattr(asyncio.constants, "SSL_HANDSHAKE_TIMEOUT", 3600.0)  # the library's own patience
    phone = paired(home)
    silent = [socket.create_connection(("127.0.0.1", home.house.phone.port), timeout=60) for _ in range(3 * STRANGERS)]
    try:
        assert phone.ask("GET", "/phone")[0] == 200 and home.here.ask("GET", "/api/phone")[0] == 200
        for line in silent[:STRANGERS]:  # those that came first
            assert line.recv(1) == b""
    finally:
        for line in silent:
            line.close()
    assert phone.ask("GET", "/phone")[0] == 200


# ------------------------------------------------------------------------------------------------ from the command line

@pytest.mark.skipif(sys.platform == "win32", reason="signals differ")
def test_the_command_opens_the_door_and_shuts_it_with_itself(tmp_path: Path) -> None:
    if not (own := own_addresses()) or not own[0].private:
        pytest.skip("this computer is in no private network")
    env = {k: v for k, v in os.environ.items() if k != "SILHOUETTE_TRACEBACK"}
    program = subprocess.Popen(
        [sys.executable, "-m", "silhouette.cli", "open", str(tmp_path / "studio"), "--no-browser", "--phone"],
        stdout=subprocess.PIPE, stderr=subprocess.PIPE, text=True, env=env)
    try:
        assert program.stdout is not None
        said = ""
        while said.count("\n") < 6:
            said += program.stdout.readline()
            assert program.poll() is None, said
        url = re.search(r"https://([\d.]+):(\d+)/phone", said)
        code = re.search(r"code (\d{3}) (\d{3}) ", said)
        assert url and url[1] == own[0].address and code
        fingerprint = "".join(re.findall(r"^  ([0-9A-F ]+)$", said, re.M)).replace(" ", "")
        blind = ssl.SSLContext(ssl.PROTOCOL_TLS_CLIENT)
        blind.check_hostname, blind.verify_mode = False, ssl.CERT_NONE
        with socket.create_connection((url[1], int(url[2])), timeout=60) as line, blind.wrap_socket(line) as safe:
            shown = safe.getpeercert(binary_form=True)
        assert shown and hashlib.sha256(shown).hexdigest().upper() == fingerprint
    finally:
        program.send_signal(signal.SIGINT)
        _, wrong_with_it = program.communicate(timeout=120)
    assert program.returncode == 130 and "Traceback" not in wrong_with_it
    with pytest.raises(OSError):
        socket.create_connection((url[1], int(url[2])), timeout=60)
