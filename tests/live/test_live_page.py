"""The live page in a real browser, a clip as its camera and a script as what the program sees."""

from __future__ import annotations

import asyncio
import os
import re
import shutil
import threading
import time
from collections.abc import Callable, Iterator
from dataclasses import dataclass, field, replace
from pathlib import Path
from typing import Any

import cv2
import numpy as np
import pytest

from silhouette.live.folder import Folder
from silhouette.live.house import House
from silhouette.live.listening import Listening
from silhouette.live.messages import (
    FRAME_PX,
    KEPT,
    Frame,
    GhostFit,
    Order,
    Seen,
    Signal,
    StopsTold,
    Trouble,
    WheelStop,
)
from silhouette.live.server import app_of, door_of, listen
from silhouette.live.session import Session
from silhouette.records import Pixels

AXE = Path(os.environ.get("AXE_CORE", Path(__file__).parents[2] / "node_modules" / "axe-core" / "axe.min.js"))
CHROMIUM, DRIVER = shutil.which("chromium") or shutil.which("google-chrome"), shutil.which("chromedriver")
pytestmark = pytest.mark.skipif(CHROMIUM is None or DRIVER is None, reason="no chromium with its driver")
SCREENS = {"phone": (390, 844), "laptop": (1280, 800), "desktop": (1920, 1080)}
PATIENCE_S = 90
WIDE, HIGH, BITS, CELL = 1280, 720, 12, 100
BODY = "M300 40 L340 40 L360 320 L280 320 Z"
ABOVE = "M-60 0 L60 0 L90 1000 L-90 1000 Z"


# ---------------------------------------------------------------------------------------- a camera that counts

def numbered(number: int) -> Pixels:
    """A frame that carries its number: a row of black and white blocks, and the same reversed below."""
    picture = np.full((HIGH, WIDE, 3), 120, np.uint8)
    for i in range(BITS):
        on = number >> i & 1
        picture[100:200, i * CELL + 40:(i + 1) * CELL + 40] = 255 * on
        picture[300:400, i * CELL + 40:(i + 1) * CELL + 40] = 255 * (1 - on)
    return picture


def number_in(picture: Pixels) -> int:
    """The number that a frame carries, at any size."""
    scale = picture.shape[1] / WIDE
    found = 0
    for i in range(BITS):
        x = int((i * CELL + 40 + CELL / 2) * scale)
        above, below = (int(picture[int(y * scale), x].mean()) for y in (150, 350))
        assert abs(above - below) > 120, "no number in this picture"
        found |= (above > below) << i
    return found


@pytest.fixture(scope="module")
def clip(tmp_path_factory: pytest.TempPathFactory) -> Path:
    """Ten seconds for the browser to play as its camera."""
    path = tmp_path_factory.mktemp("camera") / "numbers.mjpeg"
    with path.open("wb") as file:
        for number in range(300):
            file.write(cv2.imencode(".jpg", numbered(number), [cv2.IMWRITE_JPEG_QUALITY, 85])[1].tobytes())
    return path


# ---------------------------------------------------------------------------------------- a program that is scripted

@dataclass
class Script(Session):
    """Says of every frame what the test wants said."""

    says: dict[str, Any] = field(default_factory=dict)
    frames: list[tuple[int, float, tuple[int, int], tuple[int, ...]]] = field(default_factory=list)
    numbers: dict[int, int] = field(default_factory=dict)
    orders: list[Order] = field(default_factory=list)
    kept: list[tuple[int, str]] = field(default_factory=list)
    take: bool = False
    take_as: str = "stop"
    back: int = 0
    signals: list[Signal] = field(default_factory=list)
    once: dict[str, Any] = field(default_factory=dict)
    state: str = "live"

    def see(self, frame: Frame, *, quick: bool = False) -> Seen:
        self.frames.append((frame.number, frame.seconds, frame.full_size, frame.pixels.shape))
        self.numbers[frame.number] = number_in(frame.pixels)
        seen = Seen(frame.number, self.state, size=frame.pixels.shape[1::-1], path=BODY,  # type: ignore[arg-type]
                    band="fair", readability=54, reason="A hand is lost in the torso.", of=24, captured=frame.seconds)
        if self.take:
            self.take = False
            seen = replace(seen, take=frame.number - self.back, take_as=self.take_as)  # type: ignore[arg-type]
        signals, self.signals = tuple(self.signals), []
        once, self.once = self.once, {}
        return replace(seen, signals=signals, **{**self.says, **once})

    def order(self, order: Order) -> tuple[Signal, ...]:
        self.orders.append(order)
        if order.do == "begin":
            self.state = "empty-room"
        elif order.do == "skip empty":
            self.state = "live"
        elif order.do == "empty":
            self.take, self.take_as = True, "empty"
        return (Signal("taken", f"{order.stop} is taken back.", loud=False),) if order.do == "undo" else ()

    def kept_empty(self, pixels: Pixels) -> tuple[Signal, ...]:
        self.kept.append((number_in(pixels), "empty"))
        self.state = "live"
        return (Signal("empty taken", "The empty picture is kept."),)

    def kept_stop(self, frame: int, name: str) -> tuple[Signal, ...]:
        self.kept.append((frame, name))
        return (Signal("taken", f"{name} is kept."),)

    def lost_stop(self, frame: int) -> tuple[Signal, ...]:
        return ()

    def told(self, stops: StopsTold) -> tuple[Signal, ...]:
        return ()

    def did(self) -> list[str]:
        return [one.do for one in self.orders]


@dataclass
class Served:
    """The real server with a scripted session, in a thread."""

    house: House
    script: Script

    @property
    def origin(self) -> str:
        return f"http://127.0.0.1:{self.house.port}"

    def at(self, path: str) -> str:
        return f"{self.origin}{path}#{self.house.keys.key}"


@pytest.fixture
def served(tmp_path: Path) -> Iterator[Served]:
    with listen(0) as at:
        house = House.of(Folder(tmp_path / "poses"), at.getsockname()[1])
        script = Script()
        house.stage.session = script
        app_of(house)
        assert house.app is not None
        listening = Listening(house.app, door_of(house), at)
        running = threading.Thread(target=lambda: asyncio.run(listening.run()))
        running.start()
        try:
            yield Served(house, script)
        finally:
            listening.close()
            running.join()
            house.close()


# ---------------------------------------------------------------------------------------- a browser with that camera

WATCH = """
window.sockets = []; window.open3 = {now: 0, most: 0, sent: 0}; window.bitmaps = {made: 0, closed: 0};
window.tones = 0; window.links = []; window.refusals = [];
const Own = WebSocket;
window.WebSocket = class extends Own {
  constructor(...given) {
    super(...given); window.sockets.push(this);
    this.addEventListener("message", (e) => {
      const seen = JSON.parse(e.data);
      if (seen.kind === "seen" && seen.frame >= 0) window.open3.now = Math.max(0, window.open3.now - 1);
    });
    this.addEventListener("close", () => { window.open3.now = 0; });
  }
  send(what) {
    if (typeof what !== "string") {
      window.open3.now += 1; window.open3.sent += 1; window.open3.most = Math.max(window.open3.most, window.open3.now);
    }
    super.send(what);
  }
};
const make = window.createImageBitmap.bind(window), close = ImageBitmap.prototype.close;
window.createImageBitmap = async (...given) => { window.bitmaps.made += 1; return make(...given); };
ImageBitmap.prototype.close = function () { window.bitmaps.closed += 1; return close.call(this); };
const oscillator = BaseAudioContext.prototype.createOscillator;
BaseAudioContext.prototype.createOscillator = function () { window.tones += 1; return oscillator.call(this); };
document.addEventListener("securitypolicyviolation", (e) => window.refusals.push(e.violatedDirective + e.blockedURI));
document.addEventListener("DOMContentLoaded", () => {
  const stage = document.getElementById("stage");
  if (!stage) return;
  new MutationObserver(() => window.links.push(stage.dataset.link)).observe(stage, {attributeFilter: ["data-link"]});
});
"""


@pytest.fixture(scope="module")
def driver(clip: Path, tmp_path_factory: pytest.TempPathFactory) -> Iterator[Any]:
    webdriver = pytest.importorskip("selenium.webdriver")
    options = webdriver.ChromeOptions()
    options.binary_location = CHROMIUM
    for argument in ("--headless", "--no-sandbox", "--disable-gpu", "--no-first-run", "--disable-background-networking",
                     f"--user-data-dir={tmp_path_factory.mktemp('profile')}", "--window-size=1280,950",
                     "--use-fake-ui-for-media-stream", "--use-fake-device-for-media-stream",
                     f"--use-file-for-fake-video-capture={clip}"):
        options.add_argument(argument)
    options.set_capability("goog:loggingPrefs", {"browser": "ALL"})
    one = webdriver.Chrome(options=options, service=webdriver.ChromeService(DRIVER))
    one.execute_cdp_cmd("Page.addScriptToEvaluateOnNewDocument", {"source": WATCH})
    yield one
    one.quit()


@dataclass
class Page:
    """The page as a test asks it."""

    driver: Any
    served: Served
    before: list[str] = field(default_factory=list)

    @property
    def script(self) -> Script:
        return self.served.script

    def open(self, path: str = "/live?camera=first&empty=skip", screen: str = "laptop", look: str = "light") -> None:
        width, height = SCREENS[screen]
        self.cdp("Emulation.setDeviceMetricsOverride", width=width, height=height, deviceScaleFactor=1, mobile=False)
        self.look(look)
        self.driver.get_log("browser")
        self.driver.get(self.served.at(path))
        self.until(lambda: self.ask("return !!document.getElementById('setup') && !location.hash"), "the page")
        if "camera=" in path:
            self.until(lambda: self.ask("return document.body.dataset.phase !== 'setup'"), "the stage")

    def cdp(self, command: str, **given: Any) -> Any:
        return self.driver.execute_cdp_cmd(command, given)

    def look(self, look: str) -> None:
        self.cdp("Emulation.setEmulatedMedia", features=[{"name": "prefers-color-scheme", "value": look}])

    def ahead(self, script: str) -> None:
        """Run before the page's own scripts, in this test alone."""
        made = self.cdp("Page.addScriptToEvaluateOnNewDocument", source=script)
        self.before.append(made["identifier"])

    def ask(self, script: str) -> Any:
        return self.driver.execute_script(script)

    def data(self) -> dict[str, str]:
        return dict(self.ask("return {...document.getElementById('stage').dataset}"))

    def text(self, id: str) -> str:
        return str(self.ask(f"return document.getElementById('{id}').textContent"))

    def press(self, key: str) -> None:
        from selenium.webdriver import ActionChains

        ActionChains(self.driver).send_keys(key).perform()

    def click(self, id: str) -> None:
        self.driver.find_element("id", id).click()

    def until(self, holds: Callable[[], Any], what: str) -> None:
        """Wait for something to come true, however long it takes on a busy computer."""
        end = time.monotonic() + PATIENCE_S
        while not holds():
            assert time.monotonic() < end, f"never came: {what}; {self.driver.get_log('browser')}"
            time.sleep(0.05)

    def shows(self, **wanted: str) -> None:
        self.until(lambda: {n: self.data().get(n) for n in wanted} == wanted, f"{wanted} on the stage")

    def more_frames(self, count: int = 3) -> None:
        before = len(self.script.frames)
        self.until(lambda: len(self.script.frames) >= before + count, "frames")


@pytest.fixture
def page(driver: Any, served: Served) -> Iterator[Page]:
    one = Page(driver, served)
    yield one
    for made in one.before:
        one.cdp("Page.removeScriptToEvaluateOnNewDocument", identifier=made)
    driver.get("about:blank")


def wheel(count: int) -> tuple[WheelStop, ...]:
    bands = ("strong", "fair", "weak")
    return tuple(WheelStop(f"stop_{i + 1:02d}", i * 15.0 if i < 4 else None, bands[i % 3],  # type: ignore[arg-type]
                           ABOVE, "blurred" if i == 1 else "") for i in range(count))


GHOST = GhostFit("M310 50 L350 50 L370 330 L290 330 Z", 84, False,
                 ("picture right arm: 6 % higher", "head: 2 % to picture left"), "stop 01")


# ---------------------------------------------------------------------------------------- frames and stills

def test_frames_come_small_in_order_and_few_at_a_time(page: Page) -> None:
    page.open()
    page.until(lambda: len(page.script.frames) > 60, "60 frames")
    frames = page.script.frames[:]
    assert all(full == (WIDE, HIGH) and max(shape) == FRAME_PX for *_, full, shape in frames)
    numbers, seconds = [f[0] for f in frames], [f[1] for f in frames]
    assert numbers == sorted(set(numbers)) and seconds == sorted(set(seconds))
    watched = page.ask("return window.open3")
    assert watched["most"] <= 3 and watched["sent"] > 60
    pictures = page.ask("return window.bitmaps")
    assert pictures["made"] > 60 and pictures["made"] - pictures["closed"] <= KEPT + 2
    page.until(lambda: page.data()["latencyMs"].isdigit(), "the time from camera to shape")
    assert page.ask("return document.getElementById('figure').getAttribute('d')") == BODY
    assert page.ask("return getComputedStyle(document.getElementById('picture')).visibility") == "hidden"


def test_numbers_and_seconds_grow_over_a_reload(page: Page) -> None:
    page.open()
    page.more_frames()
    number, seconds, *_ = page.script.frames[-1]
    page.driver.refresh()
    page.until(lambda: page.script.frames[-1][0] > number + 3, "frames of the page loaded again")
    assert page.script.frames[-1][1] > seconds


def test_the_very_frame_that_was_asked_for_comes_at_full_size(page: Page) -> None:
    page.open()
    page.more_frames(5)
    for stop, back in enumerate((0, 1, 2, 0, 2), start=1):
        page.script.back = back
        page.script.take = True
        page.until(lambda stop=stop: len(page.script.kept) == stop, f"stop {stop}")
        page.more_frames(4)
    (place,) = [p for p in page.served.house.folder.path.iterdir() if p.is_dir()]
    stills = sorted(place.glob("stop_*.jpg"))
    assert [p.stem for p in stills] == [name for _, name in page.script.kept] and len(stills) == 5
    for path, (frame, _) in zip(stills, page.script.kept, strict=True):
        picture = cv2.imread(str(path))
        assert picture is not None and picture.shape == (HIGH, WIDE, 3)
        assert number_in(picture) == page.script.numbers[frame]
        assert b"Exif" not in path.read_bytes()[:4096]
    page.until(lambda: "stop_05 is kept." in page.text("do"), "the words for the last stop")


def test_a_picture_that_is_lost_is_said(page: Page) -> None:
    page.ahead("const get = window.fetch; window.fetch = (where, how) => String(where).includes('/stills/')"
               " ? Promise.resolve(new Response('{\"error\": \"The disk is full.\"}', {status: 422}))"
               " : get(where, how);")
    page.open()
    page.more_frames()
    page.script.take = True
    page.until(lambda: "The disk is full." in page.text("do"), "what went wrong, in writing")
    page.until(lambda: "The disk is full." in page.text("alert"), "what went wrong, for a screen reader")


def test_a_picture_that_is_asked_for_too_late_is_said_to_be_gone(page: Page) -> None:
    page.open()
    page.more_frames(30)
    page.script.back = 20
    page.script.take = True
    page.until(lambda: "not at hand any more" in page.text("do"), "that it is gone")
    assert page.script.kept == []


def test_a_page_that_is_loaded_again_goes_on_with_its_pose(page: Page) -> None:
    page.open()
    page.until(lambda: page.script.did()[:1] == ["begin"], "the order to begin")
    page.driver.refresh()
    page.until(lambda: page.script.did().count("begin") == 2, "the order to begin again")
    assert len({one.pose for one in page.script.orders}) == 1
    assert [p.name for p in page.served.house.folder.path.iterdir() if p.is_dir()] == ["pose 1"]


def test_a_second_camera_joins_the_turn_and_begins_none(page: Page) -> None:
    page.open()
    page.more_frames()
    page.open("/live?camera=rear")
    page.more_frames()
    page.shows(state="live")
    assert page.script.did() == ["begin", "skip empty"]
    pose = page.script.orders[0].pose
    check = page.driver.find_element("id", "check")
    page.until(lambda: check.get_attribute("href").endswith(f"/pose/{pose}?check=now"), "the pose")
    assert [p.name for p in page.served.house.folder.path.iterdir() if p.is_dir()] == ["pose 1"]


def test_a_picture_whose_sending_breaks_is_sent_again(page: Page) -> None:
    page.ahead("const get = window.fetch; window.broken = 0; window.fetch = (where, how) =>"
               " String(where).includes('/stills/') && window.broken++ < 2"
               " ? Promise.reject(new TypeError()) : get(where, how);")
    page.open()
    page.more_frames()
    page.script.take = True
    page.until(lambda: len(page.script.kept) == 1, "the still")
    assert page.ask("return window.broken") == 3


# ---------------------------------------------------------------------------------------- what the stage shows

def test_every_state_and_what_belongs_to_it_is_on_the_stage(page: Page) -> None:
    page.open()
    page.shows(state="live", band="fair", readability="54", reason="A hand is lost in the torso.", stops="0", angle="",
               ghost="", trouble="")
    page.until(lambda: " ".join(page.text("line").split()) == "Fair. A hand is lost in the torso.", "the band")
    page.script.state = "hold"
    page.script.says = {"stops": 6, "angle": 75.4, "ghost": GHOST, "rest_in": 700.0, "band": "weak"}
    page.script.once = {"wheel": wheel(6)}
    page.shows(state="hold", band="weak", stops="6", angle="75", ghost="84")
    page.until(lambda: page.ask("return document.querySelectorAll('#wheel .stop').length") == 6, "stops on the wheel")
    assert page.ask("return document.querySelectorAll('#wheel .stop.wrong').length") == 1
    assert page.ask("return document.getElementById('earlier').getAttribute('d')") == GHOST.path
    assert page.text("parts").startswith("picture right arm: 6 % higher") and page.text("rest") == "Rest in 12 min"
    assert "stop 2, 15 degrees, fair, blurred" in page.text("wheel-list")
    page.script.says |= {"trouble": Trouble("feet cut off", "Feet cut off: step back.")}
    page.shows(trouble="feet cut off", reason="Feet cut off: step back.")
    page.until(lambda: page.text("line").strip() == "Feet cut off: step back.", "trouble at once")
    assert page.text("alert") == "Feet cut off: step back."
    page.script.says = {"stops": 24}
    page.script.state = "closed"
    page.shows(state="closed", trouble="")
    page.until(lambda: page.driver.find_element("id", "closed").is_displayed(), "that the circle is closed")
    poses = page.served.house.folder.poses()
    assert [page.driver.find_element("id", "check").get_attribute("href")] == [
        f"{page.served.origin}/pose/{one.id}?check=now" for one in poses]


def test_the_first_stop_stands_at_the_foot_and_angles_run_clockwise(page: Page) -> None:
    page.open()
    page.script.once = {"wheel": tuple(replace(s, angle=a) for s, a in zip(wheel(4), (0, 90, 180, 270), strict=True))}
    page.until(lambda: page.ask("return document.querySelectorAll('#wheel .stop').length") == 4, "the wheel")
    middle = "(s => { const b = s.getBoundingClientRect(); return [b.x + b.width / 2, b.y + b.height / 2]; })"
    boxes = page.ask(f"return [...document.querySelectorAll('#wheel .stop')].map({middle})")
    front, right, back, left = boxes
    assert front[1] > right[1] > back[1] and right[0] < front[0] < left[0]
    page.script.says = {"angle": 90.0}
    mark = "document.querySelector('#wheel .camera')"
    page.until(lambda: page.ask(f"return {mark}.style.display") == "", "the camera's mark")
    assert right[0] < page.ask(f"return {middle}({mark})")[0] < front[0]


@pytest.mark.parametrize("screen", ["phone", "laptop", "desktop"])
def test_what_counts_can_be_read_from_3_m_and_nothing_sticks_out(page: Page, screen: str) -> None:
    page.open(screen=screen)
    page.script.says = {"ghost": GHOST, "rest_in": 700.0, "stops": 6, "angle": 75.0}
    page.script.once = {"wheel": wheel(6)}
    page.script.signals = [Signal("moved", "You moved. Hold still for a second.")]
    page.shows(ghost="84", stops="6")
    width, height = SCREENS[screen]
    for id in ("line", "do", "rest", "fit"):
        size = page.ask(f"return parseFloat(getComputedStyle(document.getElementById('{id}')).fontSize)")
        assert size >= 0.05 * height, id
    count = page.ask("return document.querySelector('#wheel .now').getBoundingClientRect().height")
    assert count >= 0.05 * height
    assert page.ask("return document.documentElement.scrollWidth") <= width
    view, line = (page.ask(f"return document.getElementById('{id}').getBoundingClientRect().toJSON()")
                  for id in ("view", "line"))
    assert line["top"] >= view["bottom"] and line["bottom"] <= height and view["height"] > 0.35 * height
    small = page.ask("return [...document.querySelectorAll('button, select, input[type=range]')].filter(b =>"
                     " b.offsetParent && b.getBoundingClientRect().height < 40).map(b => b.id)")
    assert small == []


def test_the_photograph_is_seen_only_when_asked_for(page: Page) -> None:
    page.open()
    page.more_frames()
    seen = "return getComputedStyle(document.getElementById('picture')).visibility"
    assert page.ask(seen) == "hidden"
    page.click("show")
    assert page.ask(seen) == "visible"
    assert page.driver.find_element("id", "show").get_attribute("aria-pressed") == "true"
    page.click("show")
    assert page.ask(seen) == "hidden"


# ---------------------------------------------------------------------------------------- beginning, the empty picture

def test_a_turn_begins_with_what_was_chosen_and_an_empty_picture(page: Page) -> None:
    page.open("/live")
    page.driver.find_element("id", "name").send_keys("hauling")
    page.ask("document.getElementById('stops').value = '36'")
    page.driver.find_element("css selector", "input[value=right]").click()
    page.click("raised")
    page.click("start")
    page.until(lambda: page.script.did() == ["begin"], "the order to begin")
    (begun,) = page.script.orders
    (place,) = [p for p in page.served.house.folder.path.iterdir() if p.is_dir()]
    assert place.name == "hauling" and (begun.stops, begun.turn, begun.raised) == (36, "right", True)
    assert begun.pose == page.served.house.folder.id_of(place)
    assert page.text("countdown-words") == "Step out of the frame"
    assert page.driver.find_element("id", "countdown").is_displayed()
    page.shows(state="empty-room")
    page.until(lambda: "empty" in page.script.did(), "the end of the countdown")
    page.until(lambda: page.script.kept, "the empty picture")
    page.until(lambda: page.ask("return document.body.dataset.phase") == "live", "the stage")
    picture = cv2.imread(str(place / "empty.jpg"))
    assert picture is not None and picture.shape == (HIGH, WIDE, 3)
    assert "The empty picture is kept." in page.text("do")
    page.shows(state="live")


def test_the_countdown_can_be_left(page: Page) -> None:
    page.open("/live?camera=first")
    page.shows(state="empty-room")
    page.click("empty-skip")
    page.until(lambda: "skip empty" in page.script.did(), "the order to do without")
    page.shows(state="live")
    assert not page.driver.find_element("id", "countdown").is_displayed()


def test_stops_that_are_wanted_are_asked_for_one_by_one(page: Page) -> None:
    place = page.served.house.folder.path / "hauling"
    place.mkdir()
    cv2.imwrite(str(place / "stop_01.jpg"), numbered(1))
    pose = page.served.house.folder.id_of(place)
    page.open(f"/live?pose={pose}&want=instead:stop_01,after:stop_01&camera=first&empty=skip")
    page.until(lambda: "want" in page.script.did(), "what is wanted")
    (asked,) = [one for one in page.script.orders if one.do == "want"]
    assert asked.pose == pose and asked.stops_wanted == ({"instead": "stop_01"}, {"after": "stop_01"})
    page.script.once = {"wanted": ("Retake stop 01: feet cut off.", "A stop is missing after stop 01.")}
    page.until(lambda: page.text("do") == "Retake stop 01: feet cut off.", "the first that is wanted")
    page.script.once = {"wanted": ("A stop is missing after stop 01.",)}
    page.until(lambda: page.text("do") == "A stop is missing after stop 01.", "the next")


def test_the_earlier_outline_can_be_picked(page: Page) -> None:
    place = page.served.house.folder.path / "earlier"
    place.mkdir()
    cv2.imwrite(str(place / "stop_01.jpg"), numbered(1))
    page.open()
    page.script.once = {"wheel": wheel(3)}
    page.script.says = {"stops": 3}
    options = "return [...document.getElementById('ghost').options].map(o => o.textContent)"
    mine = ["nothing", "stop 1", "stop 2", "stop 3"]
    page.until(lambda: page.ask(options) == [*mine, "earlier, stop 1"], "the stops to pick from")

    def pick(index: int) -> None:
        page.ask(f"const g = document.getElementById('ghost'); g.selectedIndex = {index};"
                 " g.dispatchEvent(new Event('change'));")

    pick(2)
    page.until(lambda: "ghost" in page.script.did(), "the order")
    assert page.script.orders[-1].stop == "stop_02"
    pick(4)
    page.until(lambda: page.script.did().count("ghost") == 2, "the order for the one of an earlier day")
    asked = page.script.orders[-1]
    assert (asked.pose, asked.stop) == (page.served.house.folder.id_of(place), "stop_01")
    pick(0)
    page.until(lambda: page.script.did().count("ghost") == 3, "the order to lay none")
    assert page.script.orders[-1].stop == ""


# ---------------------------------------------------------------------------------------- keys, taps, sounds

def test_keys_a_clicker_and_taps_take_stops_and_undo_them(page: Page) -> None:
    from selenium.webdriver.common.keys import Keys

    place = page.served.house.folder.path / "hauling"
    place.mkdir()
    for i in range(1, 5):
        cv2.imwrite(str(place / f"stop_{i:02d}.jpg"), numbered(i))
    page.open(f"/live?pose={page.served.house.folder.id_of(place)}&camera=first&empty=skip")
    page.more_frames()
    page.ask("window.same = true")

    def done(what: str, by: Callable[[], None]) -> None:
        count = page.script.did().count(what)
        time.sleep(0.7)  # a second tap within this is taken for the same one
        by()
        page.until(lambda: page.script.did().count(what) == count + 1, what)

    for key in (" ", Keys.PAGE_DOWN, Keys.ARROW_RIGHT, Keys.ARROW_DOWN):
        done("take", lambda key=key: page.press(key))
    for key in (Keys.BACKSPACE, Keys.PAGE_UP, Keys.ARROW_LEFT):
        done("undo", lambda key=key: page.press(key))
    page.until(lambda: "stop_02 is taken back." in page.text("do"), "which stop was taken back")
    assert [p.name for p in sorted(place.glob("*.jpg"))] == ["stop_01.jpg"]
    done("take", lambda: page.click("view"))
    done("take", lambda: page.click("take"))
    done("pause", lambda: page.click("pause"))
    page.press(" ")
    page.until(lambda: "Paused" in page.text("do"), "that it is paused")
    done("go on", lambda: page.press("p"))
    before = page.script.did()
    page.press(Keys.F5)
    page.press(".")
    page.ask("document.getElementById('pause').focus()")
    done("pause", lambda: page.press(" "))
    assert page.script.did() == [*before, "pause"] and page.ask("return window.same")
    done("go on", lambda: page.press(Keys.ENTER))
    done("take", lambda: page.press(Keys.PAGE_DOWN))
    done("undo", lambda: page.press(Keys.BACKSPACE))
    page.press(Keys.BACKSPACE)
    page.until(lambda: "no stop to take back" in page.text("do"), "that there is none")


def test_everything_can_be_reached_by_keyboard(page: Page) -> None:
    from selenium.webdriver.common.keys import Keys

    page.open()
    page.more_frames()
    wanted = set(page.ask("return [...document.querySelectorAll('button, select, input, summary, a')]"
                          ".filter(e => e.checkVisibility()).map(e => e.id || e.textContent)"))
    reached: set[str] = set()
    for _ in range(60):
        page.press(Keys.TAB)
        reached.add(page.ask("const e = document.activeElement; return e.id || e.textContent"))
    assert wanted <= reached and {"take", "undo", "pause", "mute"} <= reached


def test_what_is_told_by_ear_is_written_too_and_sounds_can_be_off(page: Page) -> None:
    page.open()
    page.click("view")  # lets the page sound
    page.more_frames()
    page.script.signals = [Signal("turn on", "Turn on.")]
    page.until(lambda: page.ask("return window.tones") > 0, "tones")
    page.until(lambda: "Turn on." in page.text("do") and "Turn on." in page.text("polite"), "the words")
    page.click("mute")
    page.until(lambda: page.text("mute") == "Sounds off", "the switch")
    page.more_frames()
    before = page.ask("return window.tones")
    page.script.signals = [Signal("moved", "You moved.")]
    page.until(lambda: "You moved." in page.text("do"), "the words")
    assert page.ask("return window.tones") == before
    assert "You moved." in page.text("log") and "Turn on." in page.text("log")
    page.click("mute")


def test_only_the_systems_own_voices_speak(page: Page) -> None:
    page.ahead("""
        window.spoken = [];
        const voice = (name, localService) => ({ name, localService, lang: "en-GB" });
        speechSynthesis.getVoices = () => [voice("Far", false), voice("Near", true)];
        window.SpeechSynthesisUtterance = class { constructor(words) { this.words = words; } };
        speechSynthesis.speak = (said) => window.spoken.push(said.voice.name + ": " + said.words);
    """)
    page.open()
    page.more_frames()
    assert page.ask("return [...document.getElementById('voice').options].map(o => o.value)") == ["", "Near"]
    page.script.signals = [Signal("turn on", "Turn on.")]
    page.until(lambda: "Turn on." in page.text("do"), "the words")
    assert page.ask("return window.spoken") == []
    page.ask("const v = document.getElementById('voice'); v.value = 'Near'; v.dispatchEvent(new Event('change'));")
    page.script.signals = [Signal("moved", "You moved.")]
    page.until(lambda: "Near: You moved." in page.ask("return window.spoken"), "the spoken words")


def test_each_sound_is_loud_and_has_a_shape_of_its_own(page: Page) -> None:
    page.open("/live")
    made = page.driver.execute_async_script("""
        const done = arguments[arguments.length - 1];
        import("/page/sound.js").then(async ({ KINDS, lay, lengthOf }) => {
          const all = [];
          for (const kind of Object.keys(KINDS)) {
            const context = new OfflineAudioContext(1, Math.ceil(22050 * (lengthOf(kind) + .1)), 22050);
            lay(context, context.destination, kind, 0);
            const wave = (await context.startRendering()).getChannelData(0);
            let power = 0, sounding = 0;
            for (const x of wave) { power += x * x; if (Math.abs(x) > .01) sounding++; }
            const notes = KINDS[kind].notes;
            const shape = notes.map(([at, lasts, from, to, voice], i) => [Math.sign(to - from), voice, lasts > .25,
              Math.sign(from - (i ? notes[i - 1][2] : from)), i > 0 && at === notes[i - 1][0]].join(" ")).join("; ");
            all.push([kind, Math.sqrt(power / sounding), shape, KINDS[kind].says]);
          }
          done(all);
        });""")
    kinds = {kind for kind, *_ in made}
    from typing import get_args

    from silhouette.live.messages import SignalKind
    assert set(get_args(SignalKind)) <= kinds
    assert all(loud > 0.2 for _, loud, _, _ in made)
    told = [shape for kind, _, shape, _ in made if kind not in ("count", "last seconds")]
    assert len(set(told)) == len(told)
    rows = page.driver.find_elements("css selector", "#sounds button")
    assert {row.get_attribute("data-kind") for row in rows} == kinds
    page.ask("for (const d of document.querySelectorAll('details')) d.open = true")
    rows[2].click()
    page.until(lambda: page.text("sound-said").startswith("taken: "), "its name")


# ---------------------------------------------------------------------------------------- when something is missing

@pytest.mark.parametrize(("error", "words"), [("NotAllowedError", "Allow it"), ("NotFoundError", "Plug one in")])
def test_without_a_camera_it_says_what_to_do_and_the_rest_works(page: Page, error: str, words: str) -> None:
    page.ahead(f"navigator.mediaDevices.getUserMedia = () => Promise.reject(new DOMException('', '{error}'));")
    page.open()
    page.shows(state="no-camera")
    page.until(lambda: words in page.text("line") and words in page.text("alert"), "what to do")
    assert words in page.data()["reason"]
    page.click("pause")
    page.until(lambda: page.script.did()[-1] == "pause", "an order")
    page.click("mute")
    assert page.text("mute") == "Sounds off"
    page.click("mute")


def test_a_lost_connection_is_said_at_once_and_it_goes_on(page: Page) -> None:
    page.open()
    page.more_frames()
    page.ask("window.sockets.at(-1).close()")
    page.until(lambda: "lost" in page.ask("return window.links"), "that it is lost")
    page.until(lambda: page.data()["link"] == "open", "the connection")
    page.until(lambda: "No connection" not in page.text("line"), "the words to go")
    page.more_frames()
    page.shows(state="live")
    assert "Connected again" in page.text("log")


# ---------------------------------------------------------------------------------------- alone and open to everybody

def test_nothing_is_asked_of_anybody_else_and_no_rule_is_broken(page: Page) -> None:
    page.open()
    page.script.once = {"wheel": wheel(6)}
    page.script.says = {"ghost": GHOST, "stops": 6}
    page.shows(ghost="84", stops="6")
    page.ask("for (const d of document.querySelectorAll('details')) d.open = true")
    asked = page.ask("return performance.getEntriesByType('resource').map(e => e.name)")
    assert asked and all(name.startswith((page.served.origin, "data:")) for name in asked)
    assert page.ask("return window.refusals") == []
    said = [one["message"] for one in page.driver.get_log("browser") if "favicon" not in one["message"]]
    assert said == []
    sources = [p.read_text(encoding="utf-8") for p in (Path(app_of.__code__.co_filename).parent / "page").glob("*.*")
               if p.suffix in (".js", ".css", ".html")]
    assert not any(re.search(r"https?://(?!www\.w3\.org)", text) for text in sources)


@pytest.mark.skipif(not AXE.is_file(), reason="axe-core is not installed (npm install axe-core, or set AXE_CORE)")
@pytest.mark.parametrize("look", ["light", "dark"])
@pytest.mark.parametrize("screen", ["phone", "desktop"])
def test_axe_finds_no_violation(page: Page, screen: str, look: str) -> None:
    def violations(where: str) -> list[Any]:
        page.ask(AXE.read_text(encoding="utf-8"))
        found = page.driver.execute_async_script("axe.run().then(r => arguments[arguments.length - 1](r.violations))")
        return [(where, v["id"], [n["html"][:120] for n in v["nodes"]][:3]) for v in found]

    page.open("/live", screen, look)
    page.ask("for (const d of document.querySelectorAll('details')) d.open = true")
    found = violations("setup")
    page.click("start")
    page.shows(state="empty-room")
    found += violations("empty room")
    page.click("empty-skip")
    page.script.once = {"wheel": wheel(6)}
    page.script.says = {"stops": 6, "angle": 75.0, "rest_in": 50.0, "ghost": GHOST}
    page.shows(state="live", ghost="84")
    found += violations("live")
    page.script.state = "hold"
    page.script.says["trouble"] = Trouble("feet cut off", "Feet cut off: step back.")
    page.shows(state="hold", trouble="feet cut off")
    found += violations("hold and trouble")
    page.script.says = {"stops": 24}
    page.script.state = "closed"
    page.shows(state="closed", trouble="")
    found += violations("closed")
    page.ahead("navigator.mediaDevices.getUserMedia = () => Promise.reject(new DOMException('', 'NotAllowedError'));")
    page.open("/live?camera=first&empty=skip", screen, look)
    page.shows(state="no-camera")
    found += violations("no camera")
    assert found == []
