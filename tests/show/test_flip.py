"""The flip page: what it holds, that it reaches for nothing, and that drag, keys and touch turn the figure."""

from __future__ import annotations

import json
import re
from dataclasses import replace

import numpy as np
import pytest
import shapely

from silhouette.records import RingCamera
from silhouette.records_shoot import SetFigure, SetLayout, SetRing, SetView
from silhouette.show.flip import flip_page

ANGLES = tuple(range(0, 360, 15))
NAME = 'Keeper </script><script>alert("x")</script> & co'


def layout_of(angles=ANGLES, name="keeper") -> SetLayout:
    """A post with an arm that points to the figure's right."""
    figures = []
    for a in angles:
        reach = -0.4 * np.cos(np.radians(a))
        shape = shapely.box(-0.1, -1, 0.1, 0).union(shapely.box(min(0, reach), -0.7, max(0, reach), -0.6))
        view = SetView(float(a), f"{a}", "name", None, 1.0, (600, 800))
        figures.append(SetFigure(float(a), f"keeper_{a:03d}", shape, (500.0, 300.0, 700.0), view))
    return SetLayout(name, tuple(figures), tuple((f.stem, f.view) for f in figures), (-0.4, -1, 0.4, 0),
                     (-0.46, -1.06, 0.46, 0.06), 0.125, 1.0, 1.72)


def photos_of(layout):
    return {f.stem: np.full((112, 92, 3), 40 + i * 5, np.uint8) for i, f in enumerate(layout.figures)}


def stops_in(page: str) -> list[dict]:
    return json.loads(re.search(r"const stops = (\[.*?\]);\n", page).group(1).replace("<\\/", "</"))


def test_page_holds_every_stop_in_order():
    stops = stops_in(flip_page(layout_of()))
    assert [s["angle"] for s in stops] == list(ANGLES)
    assert all(s["path"].startswith("M") and s["photo"] == "" for s in stops)
    numbers = [int(v) for v in re.findall(r"-?\d+", stops[0]["path"])]
    xs = np.cumsum(numbers[::2])  # each step is told from the last point
    assert (xs.min(), xs.max()) == (-400, 100)  # from the front the figure's right arm is at picture left


def test_page_reaches_for_nothing():
    layout = layout_of()
    for page in (flip_page(layout), flip_page(layout, photos=photos_of(layout))):
        assert not re.search(r"https?://", page)
        assert not re.search(r"(?:src|href)\s*=\s*[\"'](?!data:)", page)
        assert "default-src 'none'" in page and "@import" not in page and "url(" not in page


def test_photographs_are_in_the_page_only_if_given():
    layout = layout_of()
    assert "data:image" not in flip_page(layout) and 'id="as-photo"' not in flip_page(layout)
    stops = stops_in(flip_page(layout, photos=photos_of(layout)))
    assert all(s["photo"].startswith("data:image/jpeg;base64,") for s in stops)


def test_names_cannot_break_the_page():
    page = flip_page(layout_of(name=NAME))
    assert page.count("<script>") == 1 and page.count("</script>") == 1
    assert "Keeper &lt;/script&gt;" in page


# ------------------------------------------------------------------------------------------------------ in a browser

@pytest.fixture
def page(browser, tmp_path):
    layout = layout_of(name=NAME)
    path = tmp_path / "turnaround.html"
    path.write_text(flip_page(layout, photos=photos_of(layout)), encoding="utf-8")
    browser.execute_cdp_cmd("Emulation.clearDeviceMetricsOverride", {})
    browser.get(path.as_uri())
    return browser


def angle_of(page) -> int:
    return int(page.find_element("id", "angle").text)


def screen(page, width, height, dark=False):
    page.execute_cdp_cmd("Emulation.setDeviceMetricsOverride",
                         {"width": width, "height": height, "deviceScaleFactor": 1, "mobile": width < 600})
    scheme = {"name": "prefers-color-scheme", "value": "dark" if dark else "light"}
    page.execute_cdp_cmd("Emulation.setEmulatedMedia", {"features": [scheme]})


def test_keys_turn_the_figure(page):
    from selenium.webdriver.common.keys import Keys

    body = page.find_element("tag name", "body")
    said = []
    for key in (Keys.ARROW_RIGHT, Keys.ARROW_RIGHT, Keys.ARROW_LEFT, Keys.PAGE_UP, Keys.END, Keys.ARROW_RIGHT,
                Keys.ARROW_LEFT, Keys.HOME, Keys.PAGE_DOWN):
        body.send_keys(key)
        said.append(angle_of(page))
    assert said == [15, 30, 15, 105, 345, 0, 345, 0, 270]


def test_drag_turns_the_near_side_with_the_hand(page):
    from selenium.webdriver import ActionChains

    screen(page, 1280, 800)
    stage = page.find_element("id", "stage")
    quarter = round(stage.size["width"] / 4)
    ActionChains(page).move_to_element(stage).click_and_hold().move_by_offset(quarter, 0).release().perform()
    assert angle_of(page) == 90
    ActionChains(page).move_to_element(stage).click_and_hold().move_by_offset(-2 * quarter, 5).release().perform()
    assert angle_of(page) == 270
    ActionChains(page).move_to_element(stage).move_by_offset(100, 0).perform()
    assert angle_of(page) == 270  # nothing is held any more


def test_a_finger_turns_the_figure(page):
    screen(page, 390, 844)
    page.execute_cdp_cmd("Emulation.setTouchEmulationEnabled", {"enabled": True})
    box = page.find_element("id", "stage").rect
    x, y = box["x"] + 20, box["y"] + box["height"] / 2
    for kind, shift in (("touchStart", 0), ("touchMove", 15), ("touchMove", box["width"] / 4), ("touchEnd", None)):
        points = [] if shift is None else [{"x": x + shift, "y": y}]
        page.execute_cdp_cmd("Input.dispatchTouchEvent", {"type": kind, "touchPoints": points})
    page.execute_cdp_cmd("Emulation.setTouchEmulationEnabled", {"enabled": False})
    assert angle_of(page) == 90


def test_slider_and_buttons_are_named_and_work(page):
    for element in page.find_elements("css selector", "button, input"):
        assert element.get_attribute("aria-label") or element.text
    page.find_element("id", "next").click()
    scrub = page.find_element("id", "scrub")
    assert scrub.get_attribute("aria-valuetext") == "15 degrees, front" and scrub.get_attribute("value") == "1"
    page.find_element("id", "back").click()
    assert scrub.get_attribute("aria-valuetext") == "0 degrees, front"
    assert page.find_element("id", "what").get_attribute("textContent").endswith("from 0 degrees, front")
    for name in ("mirror", "show-lines", "keep", "as-photo"):
        button = page.find_element("id", name)
        before = button.get_attribute("aria-pressed")
        button.click()
        assert {before, button.get_attribute("aria-pressed")} == {"true", "false"}
    assert page.find_element("id", "photo").get_attribute("href").startswith("data:image/jpeg")
    assert page.find_element("id", "figure").get_attribute("visibility") == "hidden"


def test_kept_outline_stays_while_the_figure_turns(page):
    body = page.find_element("tag name", "body")
    body.send_keys("k")
    front = page.find_element("id", "kept").get_attribute("d")
    page.find_element("id", "next").click()
    assert page.find_element("id", "kept").get_attribute("d") == front
    assert page.find_element("id", "figure").get_attribute("d") != front


@pytest.mark.parametrize(("width", "height"), [(390, 844), (1280, 800)])
@pytest.mark.parametrize("dark", [False, True])
def test_everything_is_on_the_screen_and_can_be_told_apart(page, width, height, dark):
    screen(page, width, height, dark)
    page.execute_script("go(6)")
    for element in page.find_elements("css selector", "#stage, button, input, h1, #where"):
        box = element.rect
        assert box["x"] >= 0 and box["x"] + box["width"] <= width + 1, element.get_attribute("id")
        assert box["y"] >= 0 and box["y"] + box["height"] <= height + 1, element.get_attribute("id")
    assert page.find_element("id", "stage").rect["height"] > 0.4 * height
    assert all(min(b.size.values()) >= 44 for b in page.find_elements("tag name", "button"))
    sheet, ink = page.execute_script(
        "const css = (id, what) => getComputedStyle(document.getElementById(id))[what].match(/\\d+/g).map(Number);"
        "return [css('stage', 'backgroundColor'), css('figure', 'fill')]")
    assert abs(sum(sheet[:3]) - sum(ink[:3])) > 450 and (sum(sheet[:3]) < sum(ink[:3])) == dark


def test_nothing_went_wrong_in_the_browser(page):
    assert [entry for entry in page.get_log("browser") if entry["level"] == "SEVERE"] == []


# ------------------------------------------------------------------------------------------------------ several rings

def layout_of_rings(name="keeper") -> SetLayout:
    """Low every 45 degrees, level every 15, high every 60 and begun at 20: the rings have other stops."""
    made = []
    for ring, angles in (("low", range(0, 360, 45)), ("level", ANGLES), ("high", range(20, 380, 60))):
        made += [replace(f, stem=f"keeper_{ring}_{f.angle:03.0f}", view=replace(f.view, ring=ring))
                 for f in layout_of([a % 360 for a in angles]).figures]
    counts = (("low", 8), ("level", 24), ("high", 6))
    rings = tuple(SetRing(ring, count, RingCamera("unknown")) for ring, count in counts)
    return replace(layout_of(name=name), figures=tuple(made), views=tuple((f.stem, f.view) for f in made), rings=rings)


@pytest.fixture
def rings(browser, tmp_path):
    layout = layout_of_rings(NAME)
    path = tmp_path / "turnaround.html"
    path.write_text(flip_page(layout, photos=photos_of(layout)), encoding="utf-8")
    browser.execute_cdp_cmd("Emulation.clearDeviceMetricsOverride", {})
    browser.get(path.as_uri())
    return browser


def shown(page) -> tuple[str, int]:
    """The ring and the angle that the page says."""
    return page.find_element("id", "ring").text, angle_of(page)


def test_a_page_of_one_ring_holds_nothing_of_rings():
    page = flip_page(layout_of())
    assert not [word for word in (" ring,", "data-ring", "enter(", "ArrowUp", "touch-action: none") if word in page]


def test_a_page_of_rings_reaches_for_nothing_and_cannot_be_broken_by_a_name():
    layout = layout_of_rings(NAME)
    for page in (flip_page(layout), flip_page(layout, photos=photos_of(layout))):
        assert not re.search(r"https?://|@import|url[(]", page) and "default-src 'none'" in page
        assert not re.search(r"(?:src|href)\s*=\s*[\"'](?!data:)", page)
        assert page.count("<script>") == 1 and page.count("</script>") == 1
    assert "data:image" not in flip_page(layout)


def test_keys_change_the_ring_and_show_its_nearest_stop(rings):
    from selenium.webdriver.common.keys import Keys

    body = rings.find_element("tag name", "body")
    assert shown(rings) == ("level ring", 0)
    said = []
    for key in (Keys.ARROW_RIGHT, Keys.ARROW_UP, Keys.ARROW_UP, Keys.ARROW_DOWN, Keys.ARROW_DOWN, Keys.ARROW_DOWN,
                Keys.ARROW_RIGHT, Keys.ARROW_UP, Keys.PAGE_UP):
        body.send_keys(key)
        said.append(shown(rings))
    assert said == [("level ring", 15), ("high ring", 20), ("high ring", 20), ("level ring", 15), ("low ring", 0),
                    ("low ring", 0), ("low ring", 45), ("level ring", 45), ("level ring", 135)]


def test_drag_turns_in_two_directions(rings):
    from selenium.webdriver import ActionChains

    screen(rings, 1280, 800)
    stage = rings.find_element("id", "stage")
    quarter, ring = round(stage.size["width"] / 4), round(stage.size["height"] / 4)

    def drag(*moves):
        act = ActionChains(rings).move_to_element(stage).click_and_hold()
        for move in moves:
            act = act.move_by_offset(*move)
        act.release().perform()
        return shown(rings)

    assert drag((quarter, 10)) == ("level ring", 90)  # a hand that trembles stays in its ring
    assert drag((0, ring)) == ("high ring", 80)  # pulled down, it shows its upper side
    assert drag((0, -ring)) == ("level ring", 90)
    assert drag((0, -ring)) == ("low ring", 90)
    assert drag((0, ring), (0, -ring)) == ("low ring", 90)
    assert drag((quarter, ring)) == ("level ring", 180)  # both ways at once
    assert drag((0, -2 * ring)) == ("low ring", 180)  # there is none under it


def test_a_finger_changes_the_ring(rings):
    screen(rings, 390, 844)
    rings.execute_cdp_cmd("Emulation.setTouchEmulationEnabled", {"enabled": True})
    box = rings.find_element("id", "stage").rect
    x, y = box["x"] + box["width"] / 2, box["y"] + box["height"] / 2
    for kind, shift in (("touchStart", 0), ("touchMove", -15), ("touchMove", -box["height"] / 4), ("touchEnd", None)):
        points = [] if shift is None else [{"x": x, "y": y + shift}]
        rings.execute_cdp_cmd("Input.dispatchTouchEvent", {"type": kind, "touchPoints": points})
    rings.execute_cdp_cmd("Emulation.setTouchEmulationEnabled", {"enabled": False})
    assert shown(rings) == ("low ring", 0)


def test_the_ring_s_buttons_say_which_is_shown_and_heads_stand_with_the_level_one_alone(rings):
    buttons = rings.find_elements("css selector", "#rings button")
    assert [b.text for b in buttons] == ["High", "Level", "Low"]  # as they stood, the highest on top
    assert rings.find_element("id", "rings").get_attribute("role") == "group"
    head = rings.find_element("css selector", ".head")
    for pressed, name, most in ((0, "high ring", "5"), (2, "low ring", "7"), (1, "level ring", "23")):
        buttons[pressed].click()
        assert [b.get_attribute("aria-pressed") for b in buttons] == [
            "true" if i == pressed else "false" for i in range(3)]
        scrub = rings.find_element("id", "scrub")
        assert scrub.get_attribute("aria-valuetext").endswith(f", {name}") and scrub.get_attribute("max") == most
        assert rings.find_element("id", "heard").get_attribute("textContent").endswith(name)  # said aloud
        assert rings.find_element("id", "what").get_attribute("textContent").endswith(f", {name}")
        assert head.is_displayed() == (name == "level ring")
    assert rings.find_element("id", "photo").get_attribute("visibility") == "hidden"
    rings.find_element("id", "as-photo").click()
    level = rings.find_element("id", "photo").get_attribute("href")
    buttons[0].click()
    assert level.startswith("data:image") and rings.find_element("id", "photo").get_attribute("href") != level


def test_a_kept_outline_stays_while_the_ring_changes(rings):
    body = rings.find_element("tag name", "body")
    body.send_keys("k")
    front = rings.find_element("id", "kept").get_attribute("d")
    rings.find_elements("css selector", "#rings button")[0].click()
    assert rings.find_element("id", "kept").get_attribute("d") == front != ""
    body.send_keys("k")
    assert rings.find_element("id", "kept").get_attribute("d") == ""


@pytest.mark.parametrize(("width", "height", "dark"), [(390, 844, False), (1280, 800, True), (844, 390, False)])
def test_all_of_several_rings_is_on_the_screen(rings, width, height, dark):
    screen(rings, width, height, dark)
    for element in rings.find_elements("css selector", "#stage, button, input, h1, #where"):
        box = element.rect
        assert box["x"] >= 0 and box["x"] + box["width"] <= width + 1, element.get_attribute("id") or element.text
        assert box["y"] >= 0 and box["y"] + box["height"] <= height + 1, element.get_attribute("id") or element.text
    assert all(min(b.size.values()) >= 44 for b in rings.find_elements("tag name", "button"))
    assert [entry for entry in rings.get_log("browser") if entry["level"] == "SEVERE"] == []
