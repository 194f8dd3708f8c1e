"""The pages for choosing, checking and keeping in a real browser: from an empty folder to a set that is kept."""

from __future__ import annotations

import contextlib
import json
import os
import shutil
import subprocess
import sys
from collections.abc import Callable, Iterator
from pathlib import Path
from typing import Any

import pytest

CHROMIUM, DRIVER = shutil.which("chromium") or shutil.which("google-chrome"), shutil.which("chromedriver")
pytestmark = pytest.mark.skipif(CHROMIUM is None or DRIVER is None, reason="no chromium with its driver")
AXE = Path(os.environ.get("AXE_CORE", Path(__file__).parents[2] / "node_modules" / "axe-core" / "axe.min.js"))
SAMPLES = Path(__file__).parents[2] / "sample_poses"
SCREENS = {"phone": (390, 844), "desktop": (1920, 1080)}
LONG = 180
"""Seconds for which a condition is waited for before a test counts as failed: a busy machine is no fault."""


class Pages:
    """The pages of a folder in a browser."""

    def __init__(self, driver: Any, address: str, folder: Path) -> None:
        self.driver, self.address, self.folder = driver, address, folder

    def open(self, path: str = "/") -> None:
        """Opens a page of the program, entering with the key where that was not done yet."""
        self.driver.get("about:blank")  # or an address that differs in its fragment alone would load nothing
        self.driver.get(self.address.replace("/#", f"{path}#"))
        self.wait("document.readyState === 'complete' && document.querySelector('main') !== null")

    def ask(self, script: str, *given: Any) -> Any:
        return self.driver.execute_script(f"return {script}", *given)

    def wait(self, script: str) -> Any:
        from selenium.webdriver.support.ui import WebDriverWait

        return WebDriverWait(self.driver, LONG, 0.2).until(lambda _: self.ask(script), f"never true: {script}")

    def click(self, selector: str) -> None:
        self.ask("document.querySelector(arguments[0]).click()", selector)

    def keys(self, selector: str, *keys: str) -> None:
        from selenium.webdriver.common.by import By

        self.driver.find_element(By.CSS_SELECTOR, selector).send_keys(*keys)

    def text(self, selector: str) -> str:
        return str(self.ask("document.querySelector(arguments[0]).textContent", selector))

    def screen(self, size: tuple[int, int], look: str = "light") -> None:
        metrics = {"width": size[0], "height": size[1], "deviceScaleFactor": 1, "mobile": False}
        self.driver.execute_cdp_cmd("Emulation.setDeviceMetricsOverride", metrics)
        wanted = {"features": [{"name": "prefers-color-scheme", "value": look}]}
        self.driver.execute_cdp_cmd("Emulation.setEmulatedMedia", wanted)

    def check_fit(self) -> None:
        """On phone and desktop, light and dark: nothing is cut off sideways, and axe-core has no complaint."""
        for size in SCREENS.values():
            for look in ("light", "dark"):
                self.screen(size, look)
                assert self.ask("document.documentElement.scrollWidth") <= size[0], "no sideways scrolling"
                if AXE.is_file():
                    self.driver.execute_script(AXE.read_text(encoding="utf-8"))
                    run = "axe.run().then(r => arguments[arguments.length - 1](r.violations))"
                    found = self.driver.execute_async_script(run)
                    assert [(v["id"], [n["html"][:120] for n in v["nodes"]][:3]) for v in found] == []
        self.screen(SCREENS["desktop"])

    def check_quiet(self) -> None:
        """Nothing was logged but what the page at which one enters leaves."""
        logged = [entry["message"] for entry in self.driver.get_log("browser") if "favicon" not in entry["message"]]
        assert logged == []


@pytest.fixture(scope="module")
def browser(tmp_path_factory: pytest.TempPathFactory) -> Iterator[Any]:
    webdriver = pytest.importorskip("selenium.webdriver")
    options = webdriver.ChromeOptions()
    options.binary_location = CHROMIUM
    for argument in ("--headless", "--no-sandbox", "--disable-gpu", "--no-first-run", "--disable-background-networking",
                     f"--user-data-dir={tmp_path_factory.mktemp('profile')}"):
        options.add_argument(argument)
    options.set_capability("goog:loggingPrefs", {"browser": "ALL"})
    driver = webdriver.Chrome(options=options, service=webdriver.ChromeService(DRIVER))
    driver.set_script_timeout(LONG)
    driver.set_page_load_timeout(LONG)
    yield driver
    driver.quit()


@pytest.fixture
def serve(browser: Any, tmp_path: Path) -> Iterator[Callable[[], Pages]]:
    """``serve()`` opens the folder ``studio`` of the test as the command does."""
    running = []

    def begin() -> Pages:
        command = [sys.executable, "-m", "silhouette.cli", "open", str(tmp_path / "studio"), "--no-browser"]
        process = subprocess.Popen(command, stdout=subprocess.PIPE, text=True)
        running.append(process)
        assert process.stdout is not None
        address = process.stdout.readline().split()[1]
        pages = Pages(browser, address, tmp_path / "studio")
        pages.screen(SCREENS["desktop"])
        return pages

    yield begin
    with contextlib.suppress(Exception):
        browser.get("about:blank")
    for process in running:
        process.terminate()
        process.wait(LONG)
        assert process.stdout is not None
        process.stdout.close()


def few(pose: str, into: Path, *stops: str) -> Path:
    into.mkdir(parents=True, exist_ok=True)
    for name in stops:
        shutil.copy(SAMPLES / pose / f"{name}.jpg", into)
    return into


def test_from_an_empty_folder_to_two_poses_compared(serve: Callable[[], Pages], tmp_path: Path) -> None:
    pages = serve()
    pages.open()
    pages.wait("document.querySelector('#poses-title').textContent === 'No pose yet'")
    assert pages.ask("document.querySelector('#ways').open && document.querySelector('#bar').hidden")
    pages.check_fit()

    given = few("hauling", tmp_path / "given" / "hauling", "000", "120", "240")
    pictures = sorted(given.iterdir())
    before = [path.read_bytes() for path in pictures]
    pages.keys("#pick-files", "\n".join(map(str, pictures)))  # loose stills ask for a name
    pages.wait("!document.querySelector('#naming').hidden")
    pages.wait("document.activeElement.id === 'new-name'")
    pages.keys("#new-name", "../<b>haul", "\n")
    pages.wait("document.querySelectorAll('.card').length === 1")
    [copied] = pages.folder.iterdir()
    assert sorted(path.read_bytes() for path in copied.iterdir()) == sorted(before)
    assert [path.read_bytes() for path in pictures] == before and copied.parent == pages.folder
    assert [path.name for path in tmp_path.iterdir() if path.name != "given"] == ["studio"]

    strange = tmp_path / "given" / "notes.docx"
    strange.write_bytes(b"words")
    pages.keys("#pick-files", str(strange))
    pages.wait("document.querySelector('#left').textContent.includes('notes.docx: left out')")

    few("bundled", pages.folder / ("a very long name " * 6).strip(), "000", "120", "240")
    (pages.folder / "spoilt").mkdir()
    (pages.folder / "spoilt" / "000.jpg").write_bytes(b"no picture")
    pages.open()
    pages.wait("document.querySelectorAll('.card').length === 3")
    assert pages.ask("[...document.querySelectorAll('.card .picture')].every(p => p.textContent === 'not read yet')")
    pages.ask("(() => { const s = [...document.querySelectorAll('.card')].find(c => c.textContent.includes('a very'))"
              ".querySelector('select'); s.value = 'closed'; s.dispatchEvent(new Event('change')); })()")
    pages.click("#compare-them")
    pages.wait("document.querySelectorAll('.wheels svg.wheel').length >= 2")
    told = json.loads((pages.folder / "results" / "result.json").read_text(encoding="utf-8"))
    assert {row["name"]: row["intent"] for row in told["poses"]}[("a very long name " * 6).strip()] == "closed"
    names = pages.ask("JSON.parse(document.querySelector('#data').textContent).map(one => one.name)")
    assert sorted(names) == sorted(row["name"] for row in told["poses"])
    assert pages.ask("document.querySelectorAll('.card .small-figure').length") >= 2
    pages.check_fit()

    # Two side by side, turned by the slider and the keys, in step.
    pages.click(".wheels li:nth-child(2) button[data-as=second]")
    pages.wait("document.querySelectorAll('.pane:not(.hidden) h2').length === 2")
    pages.keys("#angle", "")
    pages.ask("document.activeElement.blur()")
    from selenium.webdriver.common.action_chains import ActionChains
    from selenium.webdriver.common.keys import Keys

    ActionChains(pages.driver).send_keys(Keys.ARROW_RIGHT).perform()
    assert pages.text("#shown") != "0°"

    # An arc by the keys on the handles, and typed.
    pages.click("#only-arc")
    pages.wait("document.querySelectorAll('.handle').length === 2")
    turned = pages.text("#shown")
    pages.keys(".handle", Keys.ARROW_RIGHT, Keys.PAGE_UP)
    assert pages.ask("['#arc-from', '#arc-to'].map(id => document.querySelector(id).value)") == ["316", "60"]
    assert pages.text("#shown") == turned, "the keys move the handle, not the figure"
    pages.check_fit()
    pages.click("#count")
    pages.wait("document.querySelector('#job-again [role=status]') !== null")
    pages.wait("document.querySelector('#count').hidden && !document.querySelector('#count').disabled")
    told = json.loads((pages.folder / "results" / "result.json").read_text(encoding="utf-8"))
    assert told["arc"] == [316, 60]
    assert pages.ask("document.querySelector('.wheels .bracket') !== null")

    # Older than the pictures.
    made = (pages.folder / "results" / ".silhouette.json").stat().st_mtime
    os.utime(copied, (made + 60, made + 60))
    pages.open()
    pages.wait("document.querySelector('#old').textContent.includes('older than the pictures of')")
    assert pages.ask("document.querySelectorAll('.wheels svg.wheel').length") >= 2
    pages.check_quiet()


def test_a_comparison_is_stopped_and_nothing_is_left_of_it(serve: Callable[[], Pages], tmp_path: Path) -> None:
    for number in range(12):  # so many that no computer is done before it is stopped
        shutil.copytree(SAMPLES / "hauling", tmp_path / "studio" / f"hauling {number}")
    pages = serve()
    pages.open()
    pages.wait("document.querySelectorAll('.card').length === 12")
    pages.click("#compare-them")
    pages.click(".going button")  # at once: the program has hardly heard of it
    pages.wait("document.querySelector('.going p').textContent.startsWith('Stopped')")
    pages.wait("!document.querySelector('#compare-them').disabled")
    assert not (pages.folder / "results").exists()


def test_a_pose_is_checked_by_itself_and_kept(serve: Callable[[], Pages], tmp_path: Path) -> None:
    few("hauling", tmp_path / "studio" / "hauling", *(path.stem for path in (SAMPLES / "hauling").iterdir()))
    pages = serve()
    pages.open()
    pages.wait("document.querySelectorAll('.card a').length === 1")
    where = pages.ask("document.querySelector('.card a').getAttribute('href')")
    pages.open(f"{where}?check=now")
    pages.wait("!document.querySelector('#checked').hidden")
    assert pages.ask("document.querySelectorAll('#stops li svg path').length") >= 15
    pages.wait("document.activeElement.id === 'verdict' && !location.search")
    assert (pages.folder / "checks" / "hauling" / "check.json").is_file()
    pages.check_fit()

    assert pages.ask("document.querySelector('#keep-form').what.value") == "silhouettes"
    pages.ask("document.querySelector('#set-name').value = '../../kept'")
    pages.click("#keep")
    pages.wait("!document.querySelector('#kept').hidden")
    assert [path.name for path in (pages.folder / "sets").iterdir()] == ["kept"]
    assert not (pages.folder / "sets" / "kept" / "photographs").exists()
    assert "sets/kept" in pages.text("#kept")
    assert pages.ask("[...document.querySelectorAll('#sets a')].map(a => a.getAttribute('href').split('/').pop())") == [
        "contact_sheet.pdf", "contact_sheet.png", "turnaround.html", "about.txt"]
    pages.check_fit()
    pages.click("#keep")
    pages.wait("document.querySelector('#keep-job .problem').textContent.includes('called kept already')")

    pages.driver.refresh()  # the check is still known
    pages.wait("!document.querySelector('#checked').hidden")
    pages.check_quiet()


def test_an_armature_is_made_on_the_page(serve: Callable[[], Pages], tmp_path: Path) -> None:
    few("hauling", tmp_path / "studio" / "hauling", *(path.stem for path in (SAMPLES / "hauling").iterdir()))
    pages = serve()
    pages.open()
    pages.wait("document.querySelectorAll('.card a').length === 1")
    pages.click(".card a")
    pages.wait("document.querySelector('#set-name') && document.querySelector('#set-name').value === 'hauling'")
    pages.click("#armature")
    assert pages.ask("document.querySelector('#armature-height').matches(':invalid')"), "it needs the height"
    pages.keys("#armature-height", "1.7")
    pages.keys("#shrinkage", "8")
    pages.ask("document.querySelector('#armature-form details').open = true")
    pages.keys("#tape", "hip left,knee left,420")
    pages.click("#armature")
    pages.wait("!document.querySelector('#armature-said').hidden")
    said = pages.text("#armature-said")
    assert "finished" in said and "joints" in said and "420 mm" in said and "--" not in said
    pages.wait("document.activeElement.id === 'armature-said'")
    made = pages.folder / "armatures" / "hauling"
    offered = pages.ask(
        "[...document.querySelectorAll('#armature-files a')].map(a => a.getAttribute('href').split('/').pop())")
    assert sorted(offered) == sorted(path.name for path in made.iterdir() if path.name[0] != ".")
    assert json.loads((made / "armature.json").read_text(encoding="utf-8"))["shrinkage_percent"] == 8
    pages.check_fit()
    pages.driver.refresh()  # the result is still known
    pages.wait("document.querySelector('#armature-said') && !document.querySelector('#armature-said').hidden")
    pages.check_quiet()


def test_what_is_to_be_retaken_leads_before_the_camera(serve: Callable[[], Pages], tmp_path: Path) -> None:
    stops = [path.stem for path in (SAMPLES / "hauling").iterdir()]
    few("hauling", tmp_path / "studio" / "hauling", *(name for name in stops if name not in ("096", "120")))
    pages = serve()
    pages.open()
    pages.wait("document.querySelectorAll('.card a').length === 1")
    pages.click(".card a")
    pages.wait("document.querySelector('#set-name') && document.querySelector('#set-name').value === 'hauling'")
    pages.click("#check")
    pages.wait("!document.querySelector('#checked').hidden")
    assert "after:072" in pages.ask("new URLSearchParams(document.querySelector('#again').search).get('want')")
    assert pages.ask("document.querySelector('#findings li.retake .stops svg path.seen') !== null")
    assert pages.ask("document.querySelectorAll('#wanted li').length") >= 1
    pages.check_fit()


def test_forty_poses_stay_in_reach(serve: Callable[[], Pages], tmp_path: Path) -> None:
    for number in range(40):
        few("hauling", tmp_path / "studio" / f"pose {number}", "000")
    pages = serve()
    pages.open()
    pages.wait("document.querySelectorAll('.card').length === 40")
    assert [row.split(",")[0] for row in pages.ask(
        "[...document.querySelectorAll('.card h3')].slice(8, 12).map(h => h.textContent)")] == [
        "pose 8", "pose 9", "pose 10", "pose 11"]
    pages.check_fit()


def test_what_is_given_is_sorted_into_poses(serve: Callable[[], Pages]) -> None:
    pages = serve()
    pages.open()
    given = [
        ["trials/hauling", "002.jpg"], ["trials/hauling", "010.jpg"], ["trials/hauling", "empty.jpg"],
        ["trials/hauling", "angles.csv"], ["trials/hauling", "002.mask.png"], ["trials/hauling", ".hidden.jpg"],
        ["trials/hauling", "001.HEIC"], ["trials", "turn.MOV"], ["trials", "empty_room.jpg"], ["", "loose.png"],
        ["trials/results", ".silhouette.json"], ["trials/results", "chart.png"], ["trials/results/masks", "a.png"],
        ["", "letter.docx"],
    ]
    script = ("const [given, done] = arguments; import('/page/add.js').then(({ sorted }) => {"
              "const { poses, clips, strange, ours } = sorted(given.map(([at, name]) => [at, new File(['x'], name)]));"
              "done({ poses: poses.map((p) => [p.name, p.files.map((f) => f.name), p.stills]),"
              "clips: clips.map((f) => f.name), strange, ours }); })")
    found = pages.driver.execute_async_script(script, given)
    assert sorted(found["poses"]) == [
        ["", ["loose.png"], 1],
        ["hauling", ["001.HEIC", "002.jpg", "010.jpg", "empty.jpg", "002.mask.png", "angles.csv"], 3],
        ["trials", ["empty_room.jpg"], 0],
    ]
    assert found["clips"] == ["turn.MOV"] and found["strange"] == ["letter.docx"] and found["ours"] == ["results"]


def test_folders_of_rings_and_close_ups_stay_in_their_pose(serve: Callable[[], Pages], tmp_path: Path) -> None:
    pages = serve()
    pages.open()
    script = ("const [given, done] = arguments; import('/page/add.js').then(({ sorted }) => {"
              "const { poses, clips, strange } = sorted(given.map(([at, name]) => [at, new File(['x'], name)]));"
              "done({ poses: poses.map((p) => [p.name, p.files.map((f, k) => [p.inside[k], f.name]), p.stills]),"
              "clips: clips.map((f) => f.name), strange }); })")

    def sort(*given: tuple[str, str]) -> Any:
        return pages.driver.execute_async_script(script, given)

    found = sort(("t/hauling/High", "000.jpg"), ("t/hauling/low", "045.jpg"), ("t/hauling/low", "045.mask.png"),
                 ("t/hauling", "000.jpg"), ("t/hauling", "empty.jpg"), ("t/hauling/Close-Ups/left hand", "1.jpg"),
                 ("t/hauling/close-ups", "foot.jpg"), ("t/hauling/close-ups", "hand.mov"), ("t", "turn.mov"),
                 ("t/kneeling", "low.mov"), ("t/kneeling/level", "IMG_1.MOV"), ("t/kneeling", "test.mov"))
    assert found["poses"] == [
        ["hauling", [["", "000.jpg"], ["low", "045.jpg"], ["high", "000.jpg"], ["close-ups", "foot.jpg"],
                     ["close-ups/left hand", "1.jpg"], ["", "empty.jpg"], ["low", "045.mask.png"]], 5],
        ["kneeling", [["low", "low.mov"], ["level", "IMG_1.MOV"]], 2]]
    assert found["clips"] == ["turn.mov", "test.mov"] and found["strange"] == ["hand.mov"]
    alone = sort(("low", "000.jpg"))
    assert alone["poses"] == [["low", [["", "000.jpg"]], 1]], "one folder by itself is a pose, whatever it is called"
    loose = sort(("low", "000.jpg"), ("high", "000.jpg"))
    assert loose["poses"] == [["", [["low", "000.jpg"], ["high", "000.jpg"]], 2]], "several are rings of one"


def test_a_pose_with_rings_is_one_card_with_the_stops_of_each(serve: Callable[[], Pages], tmp_path: Path) -> None:
    few("hauling", tmp_path / "studio" / "one", "000", "072")
    for ring in ("low", "level"):
        few("hauling", tmp_path / "studio" / "ringed" / ring, "000", "072")
    few("hauling", tmp_path / "studio" / "ringed" / "close-ups" / "hand", "000")
    pages = serve()
    pages.open()
    pages.wait("document.querySelectorAll('.card').length === 2")
    said = pages.ask("[...document.querySelectorAll('.card')].map(c => c.querySelector('p.soft').textContent)")
    assert said == ["2 stops", "4 stops: low 2, level 2, 1 close-up"]
    pages.check_fit()
    pages.open(pages.ask("document.querySelectorAll('.card a')[1].getAttribute('href')"))
    pages.wait("document.querySelector('#facts').textContent.includes('low 2')")
    pages.check_fit()
    pages.open("/live")
    pages.wait("document.querySelectorAll('#pose option').length === 3")
    choose = ("(name => { const field = document.querySelector('#pose');"
              "field.value = [...field.options].find(o => o.textContent === name).value;"
              "field.dispatchEvent(new Event('change')); return document.querySelector('#ring-line').hidden })")
    assert pages.ask(f"[{choose}('one'), {choose}('ringed'), {choose}('A new pose')]") == [True, False, True]
    one = pages.ask("[...document.querySelector('#pose').options].find(o => o.textContent === 'one').value")
    pages.open(f"/pose/{one}")
    pages.wait("!document.querySelector('#rings-box').hidden")
    assert pages.ask("document.querySelector('#rings-box').open") is False
    pages.open(pages.ask("document.querySelector('#shoot-low').getAttribute('href')"))
    pages.wait("!document.querySelector('#ring-line').hidden")
    assert pages.ask("document.querySelector('#ring').value") == "low"
    pages.check_fit()


def test_files_that_are_dropped_are_copied_and_can_be_stopped(serve: Callable[[], Pages]) -> None:
    pages = serve()
    pages.open()
    pages.wait("document.querySelector('#poses-title').textContent === 'No pose yet'")
    drop = ("(([name, size]) => { const dataTransfer = new DataTransfer();"
            "dataTransfer.items.add(new File([new Uint8Array(size)], name));"
            "document.body.dispatchEvent(new DragEvent('drop', { dataTransfer, bubbles: true, cancelable: true }));"
            "})(arguments[0])")
    pages.ask(drop, ["turn.mp4", 9_000_000])
    pages.wait("document.querySelector('#left').textContent.includes('1 file copied')")
    assert (pages.folder / "turn.mp4").stat().st_size == 9_000_000
    pages.wait("document.querySelectorAll('.card').length === 1")
    pages.ask(drop, ["long.mp4", 200_000_000])
    pages.wait("!document.querySelector('#copying').hidden && (document.querySelector('#copying-stop').click(), true)")
    pages.wait("document.querySelector('#left').textContent.includes('Stopped.')")
    assert sorted(path.name for path in pages.folder.iterdir()) == ["turn.mp4"], "nothing half-copied"
    pages.check_quiet()
