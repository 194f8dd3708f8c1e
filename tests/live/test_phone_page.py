"""The phone's page in a second browser, over TLS: paired, a clip sent over a line that is cut twice, checked, told."""

from __future__ import annotations

import contextlib
import os
import shutil
import socket
import struct
import threading
import time
from collections.abc import Callable, Iterator
from pathlib import Path
from typing import Any

import pytest

from silhouette.live.phone import TRIES

CLIP = Path(__file__).parents[1] / "data" / "rendered" / "clip.mp4"
CHROMIUM, DRIVER = shutil.which("chromium") or shutil.which("google-chrome"), shutil.which("chromedriver")
AXE = Path(os.environ.get("AXE_CORE", Path(__file__).parents[2] / "node_modules" / "axe-core" / "axe.min.js"))
pytestmark = pytest.mark.skipif(CHROMIUM is None or DRIVER is None, reason="no chromium with its driver")
MEGABYTE = 1_000_000


class Line:
    """A line to the door that can be cut: what comes to its own port goes on to the door's."""

    def __init__(self, door: int) -> None:
        self.door = door
        self.sent = 0
        self.cut_at: list[int] = []
        self.dead = False
        self._at = socket.create_server(("127.0.0.1", 0))
        self.port = int(self._at.getsockname()[1])
        self._pairs: list[tuple[socket.socket, socket.socket]] = []
        threading.Thread(target=self._take, daemon=True).start()

    def cut(self) -> None:
        """Break every connection, as when a phone leaves the Wi-Fi."""
        for pair in self._pairs:
            for one in pair:
                with contextlib.suppress(OSError):
                    one.shutdown(socket.SHUT_RDWR)
                one.close()
        self._pairs.clear()

    def close(self) -> None:
        self.dead = True
        self._at.close()
        self.cut()

    def _take(self) -> None:
        while True:
            try:
                near, _ = self._at.accept()
            except OSError:
                return
            if self.dead:
                near.close()
                continue
            far = socket.create_connection(("127.0.0.1", self.door))
            self._pairs.append((near, far))
            for one, other, up in ((near, far, True), (far, near, False)):
                threading.Thread(target=self._carry, args=(one, other, up), daemon=True).start()

    def _carry(self, one: socket.socket, other: socket.socket, up: bool) -> None:
        try:
            while data := one.recv(65536):
                other.sendall(data)
                self.sent += len(data) * up
                if up and self.cut_at and self.sent > self.cut_at[0]:
                    self.cut_at.pop(0)
                    self.dead = not self.cut_at  # the last time for longer
                    self.cut()
            other.shutdown(socket.SHUT_WR)
        except OSError:
            pass


@pytest.fixture
def line(home: Any) -> Iterator[Line]:
    home.open()
    line = Line(home.house.phone.port)
    yield line
    line.close()


def chromium(profile: Path, *more: str) -> Any:
    from selenium import webdriver

    options = webdriver.ChromeOptions()
    options.binary_location = str(CHROMIUM)
    for flag in ("--headless=new", "--no-sandbox", "--disable-gpu", "--no-first-run", "--disable-dev-shm-usage",
                 "--disable-background-networking", f"--user-data-dir={profile}", *more):
        options.add_argument(flag)
    options.set_capability("goog:loggingPrefs", {"browser": "ALL"})
    return webdriver.Chrome(options=options, service=webdriver.ChromeService(DRIVER))


@pytest.fixture
def phone(home: Any, line: Line, tmp_path: Path) -> Iterator[Any]:
    """A second browser as large as a phone, before the door, at the other end of the line."""
    driver = chromium(tmp_path / "phone", "--ignore-certificate-errors",
                      f"--host-resolver-rules=MAP 127.0.0.1:{line.door} 127.0.0.1:{line.port}")
    driver.execute_cdp_cmd("Emulation.setDeviceMetricsOverride",
                           {"width": 390, "height": 844, "deviceScaleFactor": 2, "mobile": True})
    driver.get(home.house.phone.url)
    yield driver
    driver.quit()


def wait_for(true: Callable[[], Any], what: str = "") -> Any:
    """What is true once it is; two minutes are more than any machine needs."""
    until = time.monotonic() + 120
    while not (found := true()):
        assert time.monotonic() < until, what
        time.sleep(0.05)
    return found


def text(driver: Any, selector: str) -> str:
    found = driver.execute_script("return document.querySelector(arguments[0])?.textContent ?? ''", selector)
    return str(found).strip()


def shown(driver: Any, selector: str) -> bool:
    return bool(driver.execute_script("return !!document.querySelector(arguments[0])?.offsetParent", selector))


def pair(driver: Any, code: str) -> None:
    field = driver.find_element("id", "code")
    field.send_keys(code)
    field.submit()


def enter(home: Any, driver: Any) -> None:
    pair(driver, home.house.phone.pairing.code)
    wait_for(lambda: shown(driver, "#send"))


def clip_of(path: Path, size: int) -> Path:
    """The rendered clip, made longer by a box that means nothing."""
    data = CLIP.read_bytes()
    rest = size - len(data)
    path.write_bytes(data + struct.pack(">I", rest) + b"free" + os.urandom(rest - 8))
    return path


def accessible(driver: Any) -> None:
    if not AXE.exists():
        return
    driver.execute_script(AXE.read_text(encoding="utf-8"))
    told = driver.execute_async_script("const done = arguments[0]; axe.run().then(done)")
    assert not [(one["id"], [n["html"] for n in one["nodes"]]) for one in told["violations"]]


def quiet(driver: Any, *known: str) -> None:
    """Nothing was logged but what is known to be: refusals and breaks that the test made."""
    bad = [one["message"] for one in driver.get_log("browser") if one["level"] == "SEVERE"]
    assert not [message for message in bad if not any(word in message for word in known)]


# ------------------------------------------------------------------------------------------------------------ pairing

def test_a_phone_is_paired_by_its_code(home: Any, phone: Any) -> None:
    accessible(phone)
    code = home.house.phone.pairing.code
    pair(phone, f"{(int(code) + 1) % 1_000_000:06d}")
    wait_for(lambda: f"{TRIES - 1} tries are left" in text(phone, "#pair-problem"))
    wait_for(lambda: phone.execute_script("return document.activeElement.id") == "code", "the way back to the code")
    pair(phone, f"{code[:3]} {code[3:]}")
    wait_for(lambda: shown(phone, "#send"))
    assert "Only this phone" in text(phone, "main")
    assert phone.execute_script("return document.cookie") == "", "no script can read the cookie"
    assert phone.execute_script("return isSecureContext"), "or the camera would not be given"
    accessible(phone)
    quiet(phone, "/pair")


def test_a_second_phone_reads_why_it_is_not_let_in(home: Any, phone: Any, tmp_path: Path) -> None:
    enter(home, phone)
    second = chromium(tmp_path / "second", "--ignore-certificate-errors")
    try:
        second.get(home.house.phone.url)
        assert "Another phone is paired" in text(second, "[role=alert]")
        assert not shown(second, "#pair")
        accessible(second)
    finally:
        second.quit()


# ------------------------------------------------------------------------------------------------------------ sending

def test_a_clip_arrives_whole_over_a_line_that_is_cut_twice(
        home: Any, phone: Any, line: Line, tmp_path: Path) -> None:
    enter(home, phone)
    clip = clip_of(tmp_path / "IMG_0012.mp4", 14 * MEGABYTE)
    line.sent, line.cut_at = 0, [2 * MEGABYTE, 9 * MEGABYTE]
    phone.find_element("id", "name").send_keys("hauling")
    phone.find_element("id", "files").send_keys(str(clip))
    wait_for(lambda: line.dead, "the second cut")
    wait_for(lambda: "The connection broke" in text(phone, "#sending-words"))
    accessible(phone)
    assert not (home.folder / "hauling.mp4").exists()
    line.dead = False
    wait_for(lambda: "All has arrived" in text(phone, "#said"))
    assert (home.folder / "hauling.mp4").read_bytes() == clip.read_bytes()
    assert line.sent < 14 * MEGABYTE + 2 * 5 * MEGABYTE, "after a break it goes on, and does not begin again"
    wait_for(lambda: shown(phone, "#result") or text(phone, "#problem"), "the check")
    assert text(phone, "#problem") == ""
    wait_for(lambda: phone.execute_script("return document.activeElement.id") == "result-title", "the focus")
    assert text(phone, "#verdict")
    accessible(phone)
    quiet(phone, "net::ERR", "status of 409")
    assert [p.name for p in home.folder.iterdir() if p.name.startswith(".arriving")] == []


def test_pictures_become_one_pose_in_the_order_they_were_taken(home: Any, phone: Any, tmp_path: Path) -> None:
    enter(home, phone)
    for k, folder in enumerate(("b", "a", "c")):  # a phone calls them all alike
        (tmp_path / folder).mkdir()
        path = tmp_path / folder / "image.jpg"
        path.write_bytes(f"picture {k}".encode())
        os.utime(path, (1_700_000_000 + k, 1_700_000_000 + k))
    files = "\n".join(str(tmp_path / folder / "image.jpg") for folder in ("a", "b", "c"))
    phone.find_element("id", "files").send_keys(files)
    wait_for(lambda: text(phone, "#problem"))  # they are no pictures, and the check says so
    (pose,) = home.house.folder.poses()
    assert pose.name == "from the phone"
    names = sorted(p.name for p in pose.path.iterdir())
    assert names == ["image 1.jpg", "image 2.jpg", "image 3.jpg"]
    assert [(pose.path / name).read_bytes() for name in names] == [f"picture {k}".encode() for k in range(3)]
    assert "kept on the computer" in text(phone, "#said") and shown(phone, "#send")


def test_it_can_be_held_and_stopped(home: Any, phone: Any, tmp_path: Path) -> None:
    enter(home, phone)
    clip = clip_of(tmp_path / "a.mp4", 30 * MEGABYTE)
    phone.execute_script("document.getElementById('files').addEventListener('change', () => "
                         "setTimeout(() => document.getElementById('pause').click()))")
    phone.find_element("id", "files").send_keys(str(clip))
    wait_for(lambda: "Paused" in text(phone, "#sending-words"))
    assert phone.find_element("id", "pause").text == "Go on"
    assert not home.house.folder.poses()
    phone.find_element("id", "stop").click()
    wait_for(lambda: "Stopped" in text(phone, "#said"))
    wait_for(lambda: list(home.folder.iterdir()) == [])
    assert shown(phone, "#send")


def test_what_is_refused_is_told_on_the_phone(home: Any, phone: Any, tmp_path: Path) -> None:
    enter(home, phone)
    (tmp_path / "notes.pdf").write_bytes(b"%PDF")
    phone.find_element("id", "files").send_keys(str(tmp_path / "notes.pdf"))
    wait_for(lambda: "notes.pdf" in text(phone, "#problem"))
    assert list(home.folder.iterdir()) == [] and shown(phone, "#send")


def test_without_sight_all_is_said(home: Any, phone: Any) -> None:
    enter(home, phone)
    assert text(phone, "#said") == "" and phone.find_element("id", "said").get_attribute("role") == "status"
    unnamed = phone.execute_script("""
      return [...document.querySelectorAll("button, input, a, progress")].filter((one) =>
        !(one.labels?.length || one.getAttribute("aria-label") || one.textContent.trim()))
        .map((one) => one.outerHTML)""")
    assert unnamed == []
    small = phone.execute_script("""
      return [...document.querySelectorAll("button, input:not(.apart), .button")].filter((one) => one.offsetParent
        && one.getBoundingClientRect().height < 44).map((one) => one.outerHTML)""")
    assert small == []
    assert phone.execute_script("return document.documentElement.scrollWidth") <= 390


# ------------------------------------------------------------------------------------------------ on the computer

@pytest.fixture
def computer(home: Any, tmp_path: Path) -> Iterator[Any]:
    driver = chromium(tmp_path / "computer", "--window-size=1280,900")
    driver.get(f"http://127.0.0.1:{home.port}/phone#{home.house.keys.key}")
    yield driver
    driver.quit()


def test_the_door_is_opened_and_shut_on_the_computer(home: Any, computer: Any) -> None:
    wait_for(lambda: shown(computer, "#open"))
    accessible(computer)
    computer.find_element("id", "open").click()
    wait_for(lambda: shown(computer, "#code"))
    door = home.house.phone
    assert text(computer, "#code").replace(" ", "") == door.pairing.code
    assert text(computer, "#url") == door.url
    assert "".join(text(computer, "#print").split()) == door.certificate.fingerprint.replace(":", "")
    accessible(computer)
    wait_for(lambda: computer.execute_script("return document.getElementById('qr').naturalWidth") > 100)
    for _ in range(TRIES):
        home.phone().ask("POST", "/pair", {"code": "x"})
    wait_for(lambda: "Too many wrong codes" in text(computer, "#lasts"))
    computer.find_element("id", "renew").click()
    wait_for(lambda: text(computer, "#code"))
    home.phone().ask("POST", "/pair", {"code": door.pairing.code})
    wait_for(lambda: "a phone is paired" in text(computer, "#state"))
    assert not shown(computer, "#code") and shown(computer, "#another")
    accessible(computer)
    computer.find_element("id", "another").click()
    wait_for(lambda: shown(computer, "#code"))
    computer.find_element("id", "close").click()
    wait_for(lambda: shown(computer, "#open"))
    assert not door.on
    assert home.here.ask("GET", "/api/phone")[1]["on"] is False
    quiet(computer)


def test_every_page_says_that_the_door_is_open(home: Any, computer: Any) -> None:
    home.open()
    for path in ("/", "/live", "/phone"):
        computer.get(f"http://127.0.0.1:{home.port}{path}")
        wait_for(lambda: "Phone: door open" in text(computer, "nav"), path)
        assert computer.find_element("id", "door").get_attribute("href").endswith("/phone")


def test_the_phones_live_page_says_that_it_is_connected(home: Any, phone: Any) -> None:
    enter(home, phone)
    phone.get(home.house.phone.url.replace("/phone", "/live"))
    wait_for(lambda: "This phone: connected" in text(phone, "nav"))


# ------------------------------------------------------------------------------------------------ the live camera

@pytest.fixture
def film(tmp_path: Path) -> Path:
    """The rendered clip as a browser takes it for a camera."""
    import subprocess

    tool = shutil.which("ffmpeg")
    if tool is None:
        pytest.skip("no ffmpeg")
    out = tmp_path / "camera.mjpeg"
    subprocess.run([tool, "-loglevel", "error", "-i", str(CLIP), "-q:v", "4", str(out)], check=True)
    return out


NO_SOCKET = """
window.WebSocket = class {
  static OPEN = 1;
  constructor() { this.readyState = 3; setTimeout(() => this.onclose()); }
};
"""
"""A browser that refuses sockets to a certificate that nobody vouches for."""


@pytest.mark.parametrize("sockets", [True, False])
def test_the_phone_is_the_camera_and_the_computer_sees(
        home: Any, computer: Any, film: Path, tmp_path: Path, sockets: bool) -> None:
    home.open()
    camera = chromium(tmp_path / "camera", "--ignore-certificate-errors", "--use-fake-ui-for-media-stream",
                      "--use-fake-device-for-media-stream", f"--use-file-for-fake-video-capture={film}")
    try:
        if not sockets:
            camera.execute_cdp_cmd("Page.addScriptToEvaluateOnNewDocument", {"source": NO_SOCKET})
        camera.get(home.house.phone.url)
        enter(home, camera)
        camera.get(home.house.phone.url.replace("/phone", "/live?camera=rear&empty=skip"))
        computer.get(f"http://127.0.0.1:{home.port}/live")
        for page in (camera, computer):
            wait_for(lambda page=page: page.find_element("id", "stage").get_attribute("data-state") in ("live", "hold"),
                     page.current_url)
            wait_for(lambda page=page: page.find_element("id", "figure").get_attribute("d"), "the silhouette")
        assert bool(home.house.lines._lines) is not sockets
    finally:
        camera.quit()
