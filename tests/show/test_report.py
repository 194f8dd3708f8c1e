"""The report page in a real browser: turned by keys, drag and touch, quiet, and open to screen readers."""

from __future__ import annotations

import json
import os
import re
import shutil
import tempfile
from collections.abc import Callable, Iterator
from dataclasses import replace
from pathlib import Path
from typing import Any

import pytest

from silhouette.reading.circle import walk_round
from silhouette.records import Note, Pose, Ranking
from silhouette.show import sheet, table, words
from silhouette.show.report import fragment, report_html, write_report

CHROMIUM, DRIVER = shutil.which("chromium") or shutil.which("google-chrome"), shutil.which("chromedriver")
needs_browser = pytest.mark.skipif(CHROMIUM is None or DRIVER is None, reason="no chromium with its driver")
AXE = Path(os.environ.get("AXE_CORE", Path(__file__).parents[2] / "node_modules" / "axe-core" / "axe.min.js"))
SCREENS = {"phone": (390, 844), "laptop": (1280, 800), "desktop": (1920, 1080)}


# ------------------------------------------------------------------------------------------------ without a browser

def test_one_pose_of_24_views_is_under_a_megabyte_and_alone(pose_at: Callable[..., Pose], tmp_path: Path) -> None:
    path = write_report(Ranking((pose_at("reach_up", 24),)), tmp_path / "report.html")
    assert [p.name for p in tmp_path.iterdir()] == ["report.html"]
    text = path.read_text(encoding="utf-8")
    assert len(text.encode()) < 1_000_000
    addresses = re.findall(r'(?:src|href|action|poster)\s*=\s*"([^"#{][^"]*)"|url\(([^#)][^)]*)\)|@import', text)
    assert not addresses
    assert set(re.findall(r"https?://[^\s\"'<]+", text)) <= {"http://www.w3.org/2000/svg"}
    assert "<img" not in text and "data:image" not in text, "no photographs"


def test_every_view_is_drawn_and_named(odd_pose: Pose) -> None:
    text = report_html(Ranking((odd_pose,)))
    drawn = sum(v.outline is not None for v in odd_pose.views)
    assert len(re.findall(r'<path id="p0v\d+"', text)) == drawn
    assert text.count('data-i="') >= len(odd_pose.views)
    assert "cannot tell" in text and "No view from" in text and "inferred" in text


def test_names_cannot_break_the_page(pose_at: Callable[..., Pose]) -> None:
    name = '</script><b onclick="x">&'
    text = report_html(Ranking((replace(pose_at("akimbo", 8), name=name),)))
    assert name not in text
    data = re.search(r'id="data">(.*?)</script>', text, re.S)
    assert data and json.loads(data[1])[0]["name"] == name


def test_fragment_is_static_and_stands_beside_others(pose_at: Callable[..., Pose]) -> None:
    one, other = fragment(pose_at("akimbo", 8)), fragment(pose_at("reach_up", 8))
    for text in (one, other):
        assert "<script" not in text and "http" not in text
        assert text.count("<use ") == 16, "every figure in the wheel and in the strip"
    names = [set(re.findall(r'<path id="([^"]+)"', text)) for text in (one, other)]
    assert len(names[0]) == 8 and not names[0] & names[1]
    assert fragment(Ranking((pose_at("akimbo", 8), pose_at("reach_up", 8)))).count('class="wheel"') == 2


def test_every_view_of_every_ring_is_drawn_and_told(rings_at: Callable[..., Pose]) -> None:
    pose = rings_at()
    text = report_html(Ranking((pose,)))
    for one in pose.rings:
        key = "p0" if one.ring == pose.ring else f"p0{one.ring}"
        assert len(re.findall(rf'<path id="{key}v\d+"', text)) == len(one.views)
        assert f'id="strip-{key}"' in text
    data = json.loads(re.search(r'id="data">(.*?)</script>', text, re.S)[1])[0]  # type: ignore[index]
    assert [one["ring"] for one in data["rings"]] == ["high", "level", "low"], "the highest first"
    assert len(data["views"]) == 24 and "views" not in data["rings"][1]
    assert [len(one.get("views", ())) for one in data["rings"]] == [6, 0, 12]
    said = re.sub(r"\s+", " ", re.sub("<[^>]*>", " ", text))
    assert "Blind spots Figure&#39;s left hand stands clear in no view. Take a close-up from 45 degrees" in said
    assert "Close-ups, not scored: face (1 picture)." in said
    assert said.count("The height of its camera is not known.") == 3


@pytest.mark.parametrize("of_headline", [False, True], ids=["beside", "headline"])
@pytest.mark.parametrize("lacking", ["views", "scores", "figures"])
def test_a_ring_of_which_nothing_is_known_is_shown_all_the_same(
    rings_at: Callable[..., Pose], pose_at: Callable[..., Pose], lacking: str, of_headline: bool, tmp_path: Path
) -> None:
    every = range(8)
    broken = replace(pose_at("akimbo", 8, cannot=every if lacking == "scores" else (),
                             no_figure=every if lacking == "figures" else ()), rank=None)
    views = () if lacking == "views" else broken.views
    lost: dict[str, Any] = {"views": views, "round": walk_round(views), "reads_low": None, "reads_high": None}
    pose = replace(rings_at(), rank=None)
    first, *others = pose.other_rings
    pose = replace(pose, **lost) if of_headline else replace(pose, other_rings=(replace(first, **lost), *others))
    text = report_html(Ranking((pose, pose_at("reach_up", 6)))) + fragment(pose)
    told = table.score_table(pose) + table.rank_table(Ranking((pose,)))
    for made in (text, told):
        assert not re.search(r"\b(nan|None)\b", re.sub(r"(?s)<(script|style).*?</\1>", "", made))
    first_line = " ".join(told.split("\n\n")[0].split())
    assert ("akimbo: not read: " in first_line) if of_headline else ("from below not read" in first_line)
    for write in (sheet.write_sheet, sheet.write_spaces):
        write(Ranking((pose,)), tmp_path)


def test_nothing_of_rings_stands_on_the_page_of_who_has_one(pose_at: Callable[..., Pose]) -> None:
    text = report_html(Ranking((pose_at("akimbo", 8), replace(pose_at("akimbo", 8), ring="low"))))
    heard = " ".join(re.findall(r'(?:aria-label|title)="([^"]*)"', text))
    seen = re.sub(r"(?s)<(script|style).*?</\1>|<[^>]*>", " ", text)
    assert not re.search(r"\bring\b|\brings\b|[Bb]lind|[Cc]lose-up|from below|(?<!seen )from above", f"{seen} {heard}")


def test_a_fragment_shows_every_ring(rings_at: Callable[..., Pose]) -> None:
    pose = rings_at()
    text = fragment(pose)
    assert "<script" not in text and text.count('<div class="row">') == 3
    assert len(set(re.findall(r'<path id="([^"]+)"', text))) == len(pose.all_views)
    assert "stands clear in no view" in text and "Close-ups, not scored" in text


# --------------------------------------------------------------------------------------------------- in the browser

@pytest.fixture(scope="module")
def browser() -> Iterator[Any]:
    from selenium import webdriver
    from selenium.webdriver.chrome.service import Service

    options = webdriver.ChromeOptions()
    options.binary_location = str(CHROMIUM)
    with tempfile.TemporaryDirectory(ignore_cleanup_errors=True) as home:
        for flag in ("--headless=new", "--no-sandbox", "--disable-gpu", "--no-first-run",
                     "--disable-background-networking", "--disable-dev-shm-usage", f"--user-data-dir={home}"):
            options.add_argument(flag)
        options.set_capability("goog:loggingPrefs", {"browser": "ALL", "performance": "ALL"})
        driver = webdriver.Chrome(options=options, service=Service(str(DRIVER)))
        yield driver
        driver.quit()


HOSTILE = "\"><img src=x onerror=\"window.broken=1\"></script><!--<script>window.broken=2</script>\u2028 $a_$ '&amp;"


@needs_browser
def test_a_name_is_text_in_the_browser_too(browser: Any, pose_at: Callable[..., Pose], tmp_path: Path) -> None:
    note = Note.of("problem", text=HOSTILE)
    pose = replace(pose_at("akimbo", 6, called=HOSTILE, no_figure=(1,)), notes=(note,), tied_with=(HOSTILE,))
    views = tuple(replace(v, problem=HOSTILE) if v.problem else v for v in pose.views)
    ranking = Ranking((replace(pose, views=views, rank=1), replace(pose, rank=2)))
    page = Page(browser, write_report(ranking, tmp_path / "report.html")).open()
    shown = HOSTILE.replace("\u2028", " ")
    assert page.ask("document.querySelector('#pane-0 h2').textContent") == shown
    page.keys("ARROW_RIGHT")
    assert page.angle == 60
    assert page.ask("document.querySelector('#pane-0 .why li').textContent") == HOSTILE
    assert page.ask("typeof window.broken") == "undefined" and page.ask("document.images.length") == 0
    assert [entry for entry in browser.get_log("browser") if entry["level"] == "SEVERE"] == []


@needs_browser
@pytest.mark.parametrize("screen", ["phone", "laptop"])
@pytest.mark.parametrize("name", ["a long name without an end " * 12, "W" * 300], ids=["words", "one word"])
def test_a_long_name_does_not_widen_the_page(
    browser: Any, pose_at: Callable[..., Pose], tmp_path: Path, name: str, screen: str
) -> None:
    pose = replace(pose_at("akimbo", 6, called=name), notes=(Note.of("problem", text=name),), tied_with=(name,))
    path = write_report(Ranking((pose, replace(pose, rank=2))), tmp_path / "report.html")
    page = Page(browser, path).open(screen)
    assert page.ask("document.documentElement.scrollWidth") <= SCREENS[screen][0]
    assert page.middle("#pick")[2] <= 260


@needs_browser
def test_a_page_without_a_view_still_works(browser: Any, pose_at: Callable[..., Pose], tmp_path: Path) -> None:
    nothing = replace(pose_at("akimbo", 6), views=(), round=walk_round(()), rank=None)
    for number, poses in enumerate([(nothing,), (pose_at("akimbo", 6), nothing)]):
        page = Page(browser, write_report(Ranking(poses), tmp_path / f"{number}.html")).open()
        page.keys("ARROW_RIGHT", "HOME")
        if len(poses) > 1:
            page.ask("(() => { const pick = document.querySelector('#pick'); pick.value = '1';"
                     " pick.dispatchEvent(new Event('change')); })()")
        assert "no view" in page.ask("document.querySelector('#pane-0 .where').textContent")
        assert [entry for entry in browser.get_log("browser") if entry["level"] == "SEVERE"] == []


class Page:
    """The open page, looked at and driven as a person would."""

    def __init__(self, browser: Any, path: Path) -> None:
        self.browser, self.path = browser, path

    def open(self, screen: str = "laptop", look: str = "light") -> Page:
        width, height = SCREENS[screen]
        self.command("Emulation.setDeviceMetricsOverride", width=width, height=height, deviceScaleFactor=1,
                     mobile=screen == "phone")
        self.command("Emulation.setTouchEmulationEnabled", enabled=screen == "phone")
        self.command("Emulation.setEmulatedMedia", features=[{"name": "prefers-color-scheme", "value": look}])
        for log in ("browser", "performance"):
            self.browser.get_log(log)
        self.browser.get(self.path.as_uri())
        return self

    def command(self, name: str, **arguments: Any) -> Any:
        return self.browser.execute_cdp_cmd(name, arguments)

    def ask(self, script: str, *arguments: Any) -> Any:
        return self.browser.execute_script(f"return {script}", *arguments)

    @property
    def angle(self) -> int:
        return int(self.ask("document.querySelector('#shown').textContent").rstrip("°"))

    def keys(self, *names: str) -> None:
        from selenium.webdriver.common.action_chains import ActionChains
        from selenium.webdriver.common.keys import Keys

        for name in names:
            ActionChains(self.browser).send_keys(getattr(Keys, name, name)).perform()

    def middle(self, selector: str) -> tuple[float, float, float, float]:
        """Middle and size of the first such element, pixels."""
        box = self.ask("(() => { const b = document.querySelector(arguments[0]).getBoundingClientRect();"
                       " return [b.x + b.width / 2, b.y + b.height / 2, b.width, b.height]; })()".replace(
                           "arguments[0]", json.dumps(selector)))
        return box[0], box[1], box[2], box[3]

    def mouse(self, kind: str, x: float, y: float, down: bool = False) -> None:
        self.command("Input.dispatchMouseEvent", type=kind, x=x, y=y, button="left" if kind != "mouseMoved" else "none",
                     buttons=int(down), clickCount=1)

    def touch(self, kind: str, *points: tuple[float, float]) -> None:
        self.command("Input.dispatchTouchEvent", type=kind, touchPoints=[{"x": x, "y": y} for x, y in points])

    def check_quiet(self) -> None:
        """No word on the console, nothing asked of any network."""
        assert self.browser.get_log("browser") == []
        asked = [json.loads(row["message"])["message"] for row in self.browser.get_log("performance")]
        urls = [m["params"]["request"]["url"] for m in asked if m["method"] == "Network.requestWillBeSent"]
        assert [u for u in urls if not u.startswith(("file:", "data:", "blob:"))] == []


@pytest.fixture(scope="module")
def built(tmp_path_factory: pytest.TempPathFactory) -> Callable[[str, Ranking], Path]:
    return lambda name, ranking: write_report(ranking, tmp_path_factory.mktemp("pages") / f"{name}.html")


@pytest.fixture
def page(browser: Any, built: Callable[..., Path], pose_at: Callable[..., Pose]) -> Page:
    return Page(browser, built("one", Ranking((pose_at("akimbo", 24),))))


@pytest.fixture
def pages(browser: Any, built: Callable[..., Path], ranking_of: Callable[..., Ranking]) -> Page:
    return Page(browser, built("three", ranking_of(3, 24)))


@needs_browser
def test_arrow_keys_turn_the_figure(page: Page) -> None:
    page.open()
    assert page.angle == 0
    page.keys("ARROW_RIGHT", "ARROW_RIGHT", "ARROW_RIGHT")
    assert page.angle == 45
    page.keys("ARROW_LEFT")
    assert page.angle == 30
    page.keys("HOME")
    assert page.angle == 0
    page.keys("ARROW_LEFT")
    assert page.angle == 345, "round past the front"
    page.check_quiet()


@needs_browser
def test_the_slider_is_reached_by_tab_and_says_where_it_is(page: Page) -> None:
    page.open()
    for _ in range(12):
        page.keys("TAB")
        if page.ask("document.activeElement.id") == "angle":
            break
    assert page.ask("document.activeElement.id") == "angle"
    page.keys("ARROW_RIGHT")
    assert page.angle == 15
    assert re.fullmatch(r"15 degrees, front, (strong|fair|weak)", page.ask("document.activeElement.ariaValueText"))


@needs_browser
def test_drag_turns_the_figure_with_the_hand(page: Page) -> None:
    page.open()
    x, y, width, _ = page.middle(".stage")
    page.mouse("mousePressed", x, y, down=True)
    page.mouse("mouseMoved", x + width / 6, y, down=True)
    assert page.angle == 45, "a sixth of the stage is an eighth of the turn"
    page.mouse("mouseReleased", x + width / 6, y)
    page.mouse("mouseMoved", x, y)
    assert page.angle == 45, "let go"
    page.check_quiet()


@needs_browser
def test_touch_turns_the_figure_and_the_wheel_jumps(page: Page) -> None:
    page.open("phone")
    x, y, width, _ = page.middle(".stage")
    page.touch("touchStart", (x, y))
    for part in range(1, 7):
        page.touch("touchMove", (x - part * width / 18, y))
    page.touch("touchEnd")
    assert page.angle == 270
    page.ask("document.querySelector('.wheel').scrollIntoView({block: 'center'})")
    x, y, width, _ = page.middle(".wheel")
    page.touch("touchStart", (x - width / 4, y))
    page.touch("touchEnd")
    assert page.angle == 90, "its right side is on the page's left"
    page.check_quiet()


@needs_browser
def test_pointing_at_the_wheel_jumps(page: Page) -> None:
    page.open()
    x, y, width, _ = page.middle(".wheel")
    for (dx, dy), angle in (((0, -1), 180), ((1, 0), 270), ((-1, 0), 90), ((0, 1), 0)):
        page.mouse("mouseMoved", x + dx * width / 6, y + dy * width / 6)
        assert page.angle == angle


@needs_browser
def test_band_and_reasons_follow_the_figure(page: Page, pose_at: Callable[..., Pose]) -> None:
    page.open()
    for view in pose_at("akimbo", 24).views[:13:3]:
        page.ask("document.querySelector(`.strip [data-to='${arguments[0]}']`).click()", f"{view.angle:.0f}")
        assert view.reading
        assert page.ask("document.querySelector('.word').textContent") == view.reading.band
        told = page.ask("[...document.querySelectorAll('#pane-0 .why li')].map(e => e.lastChild.textContent)")
        assert told[:len(view.reading.reasons)] == list(map(words.reason, view.reading.reasons))
        assert page.ask("document.querySelector('.strip [aria-current]').dataset.to") == f"{view.angle:.0f}"
        circles = page.ask("document.querySelectorAll('#pane-0 .stage ellipse.ring').length")
        numbers = page.ask("document.querySelectorAll('#pane-0 .why b').length")
        assert (circles > 0) == (numbers > 0)


@needs_browser
def test_layers_are_switched_on_and_off(page: Page, pose_at: Callable[..., Pose]) -> None:
    page.open()
    measures = pose_at("akimbo", 24).views[0].measures
    assert measures
    for layer, selector, count in (("gaps", ".gap", len(measures.gaps)), ("parts", ".part", len(measures.parts)),
                                   ("wrap", ".wrap", 1), ("figure", "use", 1)):
        found = f"document.querySelectorAll('#pane-0 .stage {selector}').length"
        shown = [page.ask(found)]
        for _ in range(2):
            page.ask(f"document.querySelector('.layers [value={layer}]').click()")
            shown.append(page.ask(found))
        assert shown == ([1, 0, 1] if layer == "figure" else [0, count, 0]) and count > 0


@needs_browser
def test_two_poses_turn_in_step_at_one_scale(pages: Page) -> None:
    pages.open()
    assert not pages.ask("document.querySelector('#pane-1').offsetParent")
    pages.ask("(() => { const c = document.querySelector('#compare'); c.value = '2';"
              " c.dispatchEvent(new Event('change')); })()")
    pages.keys("ARROW_RIGHT", "ARROW_RIGHT")
    where = "[...document.querySelectorAll('.pane .where')].map(e => e.textContent)"
    assert pages.ask(where) == ["30 degrees, three-quarter front, figure's right"] * 2
    names = pages.ask("[...document.querySelectorAll('.pane h2')].map(e => e.textContent)")
    assert len(set(names)) == 2
    boxes = pages.ask("[...document.querySelectorAll('.stage')].map(e => e.getAttribute('viewBox'))")
    assert len(set(boxes)) == 1
    tops = pages.ask("[...document.querySelectorAll('.stage')].map(e => e.getBoundingClientRect().top)")
    assert tops[0] == pytest.approx(tops[1], abs=1)
    pages.check_quiet()


@needs_browser
@pytest.mark.parametrize("screen", SCREENS)
def test_fits_the_screen(pages: Page, screen: str) -> None:
    pages.open(screen)
    for compare in ("", "1"):
        pages.ask("(() => { const c = document.querySelector('#compare'); c.value = arguments_[0];"
                  " c.dispatchEvent(new Event('change')); })()".replace("arguments_[0]", json.dumps(compare)))
        assert pages.ask("document.documentElement.scrollWidth") <= SCREENS[screen][0], "no sideways scrolling"
        _, y, _, height = pages.middle(".stage")
        assert y + height / 2 <= SCREENS[screen][1], "the figure is seen without scrolling"
        _, y, _, height = pages.middle(".turn")
        assert y + height / 2 <= SCREENS[screen][1] + 1, "and so is what turns it"
    pages.check_quiet()


@needs_browser
def test_look_can_be_changed(page: Page) -> None:
    page.open(look="dark")
    ground = "getComputedStyle(document.body).backgroundColor"
    dark = page.ask(ground)
    page.ask("document.querySelector('#look').click()")
    light = page.ask(ground)
    assert dark != light
    page.ask("document.querySelector('#look').click()")
    assert page.ask(ground) == dark


@needs_browser
@pytest.mark.skipif(not AXE.is_file(), reason="axe-core is not installed (npm install axe-core, or set AXE_CORE)")
@pytest.mark.parametrize("look", ["light", "dark"])
@pytest.mark.parametrize("screen", ["phone", "laptop"])
@pytest.mark.parametrize("several", [False, True], ids=["one ring", "rings"])
def test_axe_finds_no_violation(pages: Page, in_rings: Page, screen: str, look: str, several: bool) -> None:
    pages = in_rings if several else pages
    pages.open(screen, look)
    pages.ask("(() => { const c = document.querySelector('#compare'); c.value = '1';"
              " c.dispatchEvent(new Event('change')); document.querySelector('details').open = true; })()")
    pages.browser.execute_script(AXE.read_text(encoding="utf-8"))
    found = pages.browser.execute_async_script("axe.run().then(r => arguments[arguments.length - 1](r.violations))")
    assert [(v["id"], [n["html"][:120] for n in v["nodes"]][:3]) for v in found] == []


# ------------------------------------------------------------------------------------------------------ several rings


@pytest.fixture
def in_rings(browser: Any, built: Callable[..., Path], rings_at: Callable[..., Pose],
             pose_at: Callable[..., Pose]) -> Page:
    """A pose of three rings, one of two, one of one."""
    poses = (rings_at(called="keeper"), rings_at(called="walker", without=("low",)), pose_at("reach_up", 8))
    return Page(browser, built("rings", Ranking(poses)))


WHERE = "document.querySelector('#pane-0 .where').textContent"
CHOSEN = "[...document.querySelectorAll('input[name=ring]')].filter(e => e.checked).map(e => e.value)"


@needs_browser
def test_keys_change_the_ring_and_keep_the_angle(in_rings: Page) -> None:
    in_rings.open()
    assert in_rings.ask(WHERE).endswith(", level ring") and in_rings.ask(CHOSEN) == ["level"]
    in_rings.keys("ARROW_RIGHT")
    assert in_rings.angle == 15
    in_rings.keys("ARROW_UP")
    assert in_rings.ask(WHERE).endswith(", high ring") and in_rings.ask(CHOSEN) == ["high"]
    assert in_rings.angle == 0, "the stop of this ring that is nearest"
    in_rings.keys("ARROW_UP")
    assert in_rings.ask(CHOSEN) == ["high"], "there is none above"
    in_rings.keys("ARROW_DOWN")
    assert in_rings.angle == 15, "and back to where it was"
    in_rings.keys("ARROW_DOWN")
    assert in_rings.ask(WHERE).endswith(", low ring")
    assert in_rings.ask("document.querySelector('#strip-p0low [aria-current]').dataset.i") is not None
    assert not in_rings.ask("document.querySelector('#strip-p0 [aria-current]')")
    in_rings.check_quiet()


@needs_browser
def test_where_no_ring_is_left_the_page_scrolls(in_rings: Page) -> None:
    in_rings.open()
    in_rings.keys("ARROW_DOWN")
    assert in_rings.ask("scrollY") == 0
    in_rings.ask("document.documentElement.style.scrollBehavior = 'auto'")
    in_rings.keys(*["ARROW_DOWN"] * 6)
    in_rings.browser.execute_async_script("setTimeout(arguments[0], 400)")
    assert in_rings.ask("scrollY") > 0


@needs_browser
def test_drag_up_and_down_changes_the_ring(in_rings: Page) -> None:
    in_rings.open()
    x, y, width, height = in_rings.middle(".stage")
    in_rings.mouse("mousePressed", x, y, down=True)
    in_rings.mouse("mouseMoved", x, y + height / 4, down=True)
    assert in_rings.ask(WHERE).endswith(", high ring"), "its near side follows the hand down, so it is seen from above"
    in_rings.mouse("mouseMoved", x + width / 9, y - height / 4, down=True)
    assert in_rings.ask(WHERE).endswith(", low ring") and in_rings.angle == 30, "both ways at once"
    in_rings.mouse("mouseReleased", x, y)
    in_rings.mouse("mouseMoved", x, y)
    assert in_rings.ask(WHERE).endswith(", low ring"), "let go"
    in_rings.check_quiet()


@needs_browser
def test_buttons_change_the_ring_by_keyboard_and_say_so(in_rings: Page) -> None:
    in_rings.open()
    in_rings.ask("document.querySelector('input[name=ring]:checked').focus()")
    in_rings.keys("ARROW_DOWN")
    assert in_rings.ask(CHOSEN) == ["low"] and in_rings.ask(WHERE).endswith(", low ring")
    assert in_rings.ask("document.querySelector('.rings legend').textContent") == "Ring"
    assert in_rings.ask("document.querySelector('#pane-0 .verdict').getAttribute('aria-live')") == "polite"
    button = "document.querySelector('#strip-p0high button:last-of-type')"
    in_rings.ask(f"{button}.click()")
    assert in_rings.ask(CHOSEN) == ["high"]
    in_rings.check_quiet()


@needs_browser
def test_a_tap_on_a_band_of_the_wheel_chooses_its_ring(in_rings: Page) -> None:
    in_rings.open()
    x, y, _, height = in_rings.middle(".wheel")
    for ring, band in (("low", ".other.low"), ("high", ".other.high"), ("level", ".ring")):
        down = in_rings.ask(f"[...Array({int(height / 2)}).keys()].find(d => "
                            f"document.elementFromPoint({x + 30}, {y} + d)?.closest('.wheel {band}'))")
        assert down, f"the band of the {ring} ring lies bare somewhere"
        for kind in ("mousePressed", "mouseReleased"):
            in_rings.mouse(kind, x + 30, y + down, down=kind == "mousePressed")
        assert in_rings.ask(CHOSEN) == [ring]
    in_rings.check_quiet()


@needs_browser
def test_a_pose_without_the_ring_is_shown_in_its_own(in_rings: Page) -> None:
    def pick(which: str, value: str) -> None:
        in_rings.ask(f"(() => {{ const c = document.querySelector('{which}'); c.value = '{value}';"
                     " c.dispatchEvent(new Event('change')); })()")

    in_rings.open()
    pick("#compare", "1")
    in_rings.keys("ARROW_DOWN")
    where = in_rings.ask("[...document.querySelectorAll('.pane .where')].map(e => e.textContent)")
    assert where[0].endswith(", low ring") and where[1].endswith(", level ring")
    pick("#pick", "1")
    off = "[...document.querySelectorAll('input[name=ring]')].filter(e => e.disabled).map(e => e.value)"
    assert in_rings.ask(off) == ["low"] and in_rings.ask(CHOSEN) == ["level"]
    pick("#pick", "2")
    assert in_rings.ask(off) == ["high", "level", "low"] and not in_rings.ask(WHERE).endswith("ring")
    in_rings.keys("ARROW_UP", "ARROW_RIGHT")
    assert in_rings.angle == 45
    in_rings.check_quiet()


@needs_browser
@pytest.mark.parametrize("screen", SCREENS)
def test_a_page_of_rings_fits_the_screen(in_rings: Page, screen: str) -> None:
    in_rings.open(screen)
    assert in_rings.ask("document.documentElement.scrollWidth") <= SCREENS[screen][0], "no sideways scrolling"
    _, y, _, height = in_rings.middle(".stage")
    assert y + height / 2 <= SCREENS[screen][1], "the figure is seen without scrolling"
    _, y, _, height = in_rings.middle(".turn")
    assert y + height / 2 <= SCREENS[screen][1] + 1, "and so is what turns it"
