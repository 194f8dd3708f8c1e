"""The page of the massing model: what it holds, that it reaches for nothing, that hand, keys and fingers work it."""

from __future__ import annotations

import base64
import io
import json
import re
from collections.abc import Sequence
from dataclasses import replace
from functools import lru_cache
from typing import Any

import numpy as np
import pytest
from PIL import Image

from silhouette.records_space import Armature, Skeleton, Solid
from silhouette.show.armature_page import armature_page, fewer
from tests.space import made

NAME = 'Keeper </script><script>alert("x")</script> & co'
HANGING, REACHING = (0.02, 0.0, -0.29), (0.29, 0.0, 0.0)
"""From shoulder to elbow, to wrist, to the hand's end: the figure's right arm hangs, the left one reaches out."""
PLACES = dict(made.PLACES) | {
    f"{joint} {side}": tuple(float(v) for v in np.array(made.PLACES[f"shoulder {side}"]) + k * np.array(way))
    for side, way in (("left", REACHING), ("right", HANGING))
    for joint, k in (("elbow", 1.0), ("wrist", 1.9), ("hand end", 2.5))
}
UNSURE = "elbow right"


@lru_cache
def body(cell: float) -> Solid:
    return made.solid_of(made.capsules(PLACES), cell)


def armature(name: str = NAME, *, shrinkage: float = 0.0, missing: Sequence[str] = (), cell: float = 0.02,
             **changes: Any) -> Armature:
    """The ferry keeper at 1:8 with her left arm out."""
    skeleton = made.skeleton_of(PLACES, unsure=[UNSURE], missing=missing)
    whole = made.armature_of(scale=8.0, shrinkage=shrinkage, name=name, skeleton=skeleton)
    figure = body(cell)
    built = Solid(figure.vertices * whole.sizes.built + (0, 0, whole.base_mm), figure.faces)
    return replace(whole, figure=figure, massing=built, **changes)


def data_in(page: str) -> dict[str, Any]:
    return json.loads(re.search(r'id="data">(.*?)</script>', page, re.DOTALL)[1])


# -------------------------------------------------------------------------------------------------- what the page holds


def test_the_shape_comes_back_from_the_page() -> None:
    made = armature()
    shape = data_in(armature_page(made))["shape"]
    points = np.frombuffer(base64.b64decode(shape["points"]), "<i2").reshape(-1, 3)
    faces = np.frombuffer(base64.b64decode(shape["faces"]), "<u2").reshape(-1, 3)
    assert np.array_equal(faces, made.massing.faces), "few enough to stay as they are"
    back = np.array(shape["corner"]) + shape["step"] * points
    assert np.abs(back - made.massing.vertices).max() < 0.01


def test_fewer_triangles_lie_where_the_many_lay_and_face_as_they_did() -> None:
    many = body(0.012)
    few, facing = fewer(many, 6000)
    assert 2500 < len(few.faces) <= 6000 < len(many.faces)
    from scipy.spatial import cKDTree

    apart, nearest = cKDTree(many.vertices).query(few.vertices)
    assert apart.max() < 0.03 and np.ptp(few.vertices, axis=0) == pytest.approx(np.ptp(many.vertices, axis=0), abs=0.03)
    assert np.allclose(np.linalg.norm(facing, axis=1), 1)
    _, whole = fewer(many, len(many.faces))
    assert np.median(np.sum(whole[nearest] * facing, axis=1)) > 0.97
    assert len(fewer(many, len(many.faces))[0].faces) == len(many.faces)


def test_a_fine_model_makes_a_page_of_less_than_a_megabyte_and_a_half() -> None:
    page = armature_page(armature(cell=0.008, sections=made.armature_of(every=0.02).sections))
    assert 200_000 < len(page.encode()) < 1_500_000


def test_page_reaches_for_nothing_and_holds_no_picture() -> None:
    page = armature_page(armature())
    assert not re.search(r"https?://(?!www\.w3\.org/2000/svg)", page)
    assert not re.search(r"(?:src|href)\s*=\s*[\"']", page) and "data:image" not in page
    assert "@import" not in page and "url(" not in page and "fetch(" not in page and "XMLHttp" not in page
    for rule in ("default-src", "base-uri", "form-action"):
        assert f"{rule} 'none'" in page


def test_names_cannot_break_the_page() -> None:
    page = armature_page(armature())
    assert page.count("<script") == 4 and page.count("</script>") == 4
    assert "Keeper &lt;/script&gt;" in page


def test_both_sizes_are_said_where_the_material_shrinks() -> None:
    assert "built 212 mm high" in armature_page(armature()) and "shrinkage" not in armature_page(armature())
    assert "built 236 mm high, finished 212 mm after 10 % shrinkage" in armature_page(armature(shrinkage=10.0))


def test_a_joint_that_was_not_found_is_named_and_has_no_wire() -> None:
    whole, less = (data_in(armature_page(armature(missing=gone))) for gone in ((), ("elbow left",)))
    assert (len(whole["joints"]), len(less["joints"])) == (18, 17)
    assert sum(map(len, whole["wires"])) - sum(map(len, less["wires"])) == 1
    assert "Not found: figure&#39;s left elbow" in armature_page(armature(missing=("elbow left",)))


def test_places_are_told_as_built_above_the_base() -> None:
    told = {joint["name"]: joint for joint in data_in(armature_page(armature(shrinkage=20.0)))["joints"]}
    built = 1000 / 8 / 0.8
    assert told["crown"]["at"] == pytest.approx([0.01 * built, -0.1 * built, 1.7 * built + 6.0], abs=0.01)
    assert told["figure's left elbow"]["sure"] and not told["figure's right elbow"]["sure"]


def test_the_page_is_the_same_each_time() -> None:
    assert armature_page(armature(cell=0.013)) == armature_page(armature(cell=0.013))


# ------------------------------------------------------------------------------------------------------ in a browser

NO_SOLID_CANVAS = """
const real = HTMLCanvasElement.prototype.getContext;
HTMLCanvasElement.prototype.getContext = function (kind, ...more) {
  return /webgl/.test(kind) ? null : real.call(this, kind, ...more);
};
"""


class Page:
    """The page in a browser, as a person handles it."""

    def __init__(self, browser: Any) -> None:
        self.browser = browser

    def open(self, path: Any, width: int = 1280, height: int = 800, look: str = "light") -> None:
        self.screen(width, height, look)
        self.browser.get(path.as_uri())
        self.settle()

    def screen(self, width: int, height: int, look: str = "light", motion: str = "reduce") -> None:
        self.browser.execute_cdp_cmd("Emulation.setDeviceMetricsOverride", {
            "width": width, "height": height, "deviceScaleFactor": 1, "mobile": width < 600})
        self.browser.execute_cdp_cmd("Emulation.setEmulatedMedia", {"features": [
            {"name": "prefers-color-scheme", "value": look}, {"name": "prefers-reduced-motion", "value": motion}]})

    def settle(self) -> None:
        """Wait until what was asked for is drawn."""
        self.browser.execute_async_script(
            "const done = arguments[0]; requestAnimationFrame(() => requestAnimationFrame(() => setTimeout(done, 30)))")

    def find(self, name: str) -> Any:
        return self.browser.find_element("id", name)

    def press(self, *keys: str) -> None:
        for key in keys:
            self.browser.find_element("tag name", "body").send_keys(key)
        self.settle()

    def click(self, name: str) -> None:
        self.find(name).click()
        self.settle()

    def choose(self, name: str, value: object) -> None:
        self.browser.execute_script(
            "const at = document.getElementById(arguments[0]); at.value = arguments[1];"
            "at.dispatchEvent(new Event('input')); at.dispatchEvent(new Event('change'))", name, str(value))
        self.settle()

    def look(self) -> np.ndarray:
        """(h, w, 3) the model as it is drawn, in grey levels of red, green and blue."""
        return np.asarray(Image.open(io.BytesIO(self.find("stage").screenshot_as_png)).convert("RGB"), float)

    def figure(self) -> np.ndarray:
        """(h, w) where the model covers the stage's own tone, without what is written over it."""
        self.over("hidden")
        seen = self.look()
        self.over("")
        return np.abs(seen - seen[-8, 8]).max(axis=2)[6:-6, 6:-6] > 12

    def over(self, visibility: str) -> None:
        """Hide what is written over the model, or show it again."""
        self.browser.execute_script(
            "for (const one of document.querySelectorAll('#stage > :not(canvas)')) one.style.visibility = arguments[0]",
            visibility)

    def angle(self) -> int:
        return int(self.find("angle").text)


@pytest.fixture
def page(browser: Any, tmp_path: Any) -> Page:
    path = tmp_path / "armature.html"
    path.write_text(armature_page(armature(shrinkage=10.0)), encoding="utf-8")
    page = Page(browser)
    page.open(path)
    return page


@pytest.fixture
def flat(browser: Any, tmp_path: Any) -> Any:
    """The page where the browser has no canvas for solid shapes."""
    path = tmp_path / "armature.html"
    path.write_text(armature_page(armature()), encoding="utf-8")
    added = browser.execute_cdp_cmd("Page.addScriptToEvaluateOnNewDocument", {"source": NO_SOLID_CANVAS})
    page = Page(browser)
    page.open(path)
    yield page
    browser.execute_cdp_cmd("Page.removeScriptToEvaluateOnNewDocument", added)


def alike(one: np.ndarray, other: np.ndarray) -> bool:
    """Whether two figures cover the same pixels, but for the tones of their rims."""
    return bool((one != other).sum() < 0.01 * other.sum())


def spans(covered: np.ndarray) -> tuple[float, float, float, float]:
    """Left, top, right and bottom of what is covered."""
    rows, columns = np.flatnonzero(covered.any(axis=1)), np.flatnonzero(covered.any(axis=0))
    return float(columns[0]), float(rows[0]), float(columns[-1]), float(rows[-1])


def test_the_model_is_turned_by_keys(page: Page) -> None:
    from selenium.webdriver.common.keys import Keys

    page.press("w")
    front = page.figure()
    left, _, right, _ = spans(front)
    middle = front.shape[1] / 2
    assert right - middle > 1.8 * (middle - left), "the figure's left arm reaches to picture right"
    said = []
    for key in (Keys.ARROW_RIGHT, Keys.ARROW_RIGHT, Keys.ARROW_LEFT, Keys.PAGE_UP, Keys.PAGE_DOWN, Keys.PAGE_DOWN,
                Keys.HOME):
        page.press(key)
        said.append(page.angle())
    assert said == [15, 30, 15, 105, 15, 285, 0]
    page.press("3")
    assert (page.figure() != front[:, ::-1]).mean() < 0.002, "from behind the mirror image of the front"
    page.press("2")
    left, _, right, _ = spans(page.figure())
    assert right - left < 0.7 * (spans(front)[2] - spans(front)[0]), "from the side the arm points away"


def test_the_drawn_model_lies_where_its_surface_lies(page: Page) -> None:
    """At an angle and from above: the covered pixels are those of the projected triangles."""
    from selenium.webdriver.common.keys import Keys

    page.press("w", Keys.ARROW_RIGHT, Keys.ARROW_RIGHT, Keys.ARROW_UP)
    made = armature(shrinkage=10.0)
    a, e = np.radians(30), np.radians(15)
    points = made.massing.vertices
    right = points @ [np.cos(a), -np.sin(a), 0]
    up = points @ [np.sin(a) * np.sin(e), np.cos(a) * np.sin(e), np.cos(e)]
    left, top, to, bottom = spans(page.figure())
    assert (to - left) / (bottom - top) == pytest.approx(np.ptp(right) / np.ptp(up), rel=0.01)
    middle = page.figure().shape[1] / 2
    assert (to - middle) / (middle - left) == pytest.approx(right.max() / -right.min(), rel=0.02)


def test_buttons_and_the_slider_turn_it_too(page: Page) -> None:
    buttons = page.browser.find_elements("css selector", "[data-view]")
    for button, angle in zip(buttons, (0, 90, 180, 270, 0), strict=True):
        button.click()
        page.settle()
        assert page.angle() == angle
    assert page.find("side").text == "from above"
    page.choose("round", 45)
    assert page.angle() == 45 and "45 degrees" in page.find("round").get_attribute("aria-valuetext")


def test_a_drag_turns_the_near_side_with_the_hand_and_moves_the_light_when_asked(page: Page) -> None:
    from selenium.webdriver import ActionChains

    page.press("w")
    stage = page.find("stage")
    quarter = round(stage.size["width"] / 4)

    def drag(x: int, y: int) -> None:
        hand = ActionChains(page.browser, duration=20).move_to_element(stage).click_and_hold()
        hand.move_by_offset(x, y).release().perform()
        page.settle()

    drag(quarter, 0)
    assert page.angle() == 90
    drag(-quarter, 0)
    before, shape = page.look()[6:-6, 6:-6], page.figure()
    page.click("light")
    drag(round(0.35 * stage.size["height"]), 0)
    page.click("light")
    after = page.look()[6:-6, 6:-6]
    assert page.angle() == 0 and alike(page.figure(), shape), "the light moves, the model does not"
    half = shape.shape[1] // 2
    bright = [np.where(shape, seen.mean(axis=2), np.nan) for seen in (before, after)]
    torso = (slice(shape.shape[0] // 3, shape.shape[0] // 2), slice(half - 30, half + 30))
    lean = [np.nanmean(b[torso][:, 30:]) - np.nanmean(b[torso][:, :30]) for b in bright]
    assert lean[0] < -5 and lean[1] > 5, "from upper picture left to picture right"


def test_a_finger_turns_and_two_fingers_zoom(page: Page) -> None:
    page.press("w")
    page.browser.execute_cdp_cmd("Emulation.setTouchEmulationEnabled", {"enabled": True})
    try:
        box = page.find("stage").rect
        x, y = box["x"] + box["width"] / 2, box["y"] + box["height"] / 2

        def touch(kind: str, *points: tuple[float, float]) -> None:
            page.browser.execute_cdp_cmd("Input.dispatchTouchEvent", {
                "type": kind, "touchPoints": [{"x": a, "y": b, "id": k} for k, (a, b) in enumerate(points)]})

        touch("touchStart", (x - 60, y))
        touch("touchMove", (x - 60 + box["width"] / 4, y))
        touch("touchEnd")
        page.settle()
        assert page.angle() == 90
        before = page.figure().sum()
        touch("touchStart", (x - 40, y), (x + 40, y))
        touch("touchMove", (x - 80, y), (x + 40, y))
        touch("touchEnd")
        page.settle()
        assert page.angle() == 90 and page.figure().sum() > 1.5 * before
    finally:
        page.browser.execute_cdp_cmd("Emulation.setTouchEmulationEnabled", {"enabled": False})


@pytest.mark.parametrize("look", ["light", "dark"])
def test_the_silhouette_is_one_plain_tone(page: Page, look: str) -> None:
    page.screen(1280, 800, look)
    page.press("w")
    lit, shape = page.look()[6:-6, 6:-6], page.figure()
    page.press("s")
    plain = page.look()[6:-6, 6:-6]
    assert alike(page.figure(), shape)
    inside = shape & np.roll(shape, 2, 0) & np.roll(shape, -2, 0) & np.roll(shape, 2, 1) & np.roll(shape, -2, 1)
    assert lit[inside].std(axis=0).max() > 15
    assert (np.abs(plain[inside] - np.median(plain[inside], axis=0)).max(axis=1) < 3).mean() > 0.99
    assert np.abs(plain[inside].mean(axis=0) - plain[-8, 8]).min() > 120, "it stands out from the stage"


def test_a_cut_takes_off_what_lies_above_and_shows_the_section(page: Page) -> None:
    from selenium.webdriver.common.keys import Keys

    page.press("w")
    _, top, _, bottom = spans(page.figure())
    page.browser.find_element("tag name", "body").send_keys(Keys.SHIFT, *[Keys.ARROW_DOWN] * 10, Keys.NULL)
    page.settle()
    told = data_in(armature_page(armature(shrinkage=10.0)))
    assert len(told["sections"]) == 21
    cut = told["sections"][11]
    above = f"Above the base: {cut['over']:.0f} mm as built, {cut['over'] * 0.9:.0f} mm finished."
    assert page.find("cut-said").text.startswith(f"Section 12 of 21. {above}")
    tall = told["box"][1][2] - told["box"][0][2]
    assert (bottom - spans(page.figure())[1]) / (bottom - top) == pytest.approx(
        (cut["z"] - told["box"][0][2]) / tall, abs=0.01)
    assert page.find("plan").is_displayed() and page.find("section").get_attribute("d").startswith("M")
    page.press("5")
    seen, accent = page.look(), np.array([0xB0, 0x64, 0x0F])
    assert (np.abs(seen - accent).max(axis=2) < 6).sum() > 300, "looked at from above the cut shows its inside"
    page.choose("cut", 21)
    assert page.find("cut-said").text == "Not cut." and not page.find("plan").is_displayed()


def test_two_joints_are_measured_from_bone_to_bone(page: Page) -> None:
    names = [joint["name"] for joint in data_in(armature_page(armature()))["joints"]]
    page.choose("from", names.index("figure's left shoulder"))
    assert page.find("measured").text == "figure's left shoulder. Choose another joint."
    page.choose("to", names.index("figure's left hip"))
    apart = float(np.linalg.norm(np.array(PLACES["shoulder left"]) - np.array(PLACES["hip left"])))
    built = apart * 1000 / 8 / 0.9
    assert page.find("measured").text == (
        f"figure's left shoulder to figure's left hip: {built:.1f} mm as built, {0.9 * built:.1f} mm finished, "
        f"{100 * apart:.1f} cm on the model, give or take {0.015 * 2 ** 0.5 * 1000 / 8 / 0.9:.1f} mm.")
    page.choose("to", names.index("figure's right elbow"))
    assert page.find("measured").text.endswith("Not sure: figure's right elbow.")


def test_joints_are_tapped(page: Page) -> None:
    from selenium.webdriver import ActionChains

    told = data_in(armature_page(armature(shrinkage=10.0)))
    low, high = told["box"]
    stage = page.find("stage")
    reach = np.hypot(max(-low[0], high[0]), max(-low[1], high[1]))
    scale = 0.9 * min(stage.size["width"] / (2 * reach), stage.size["height"] / (high[2] - low[2]))
    for joint in (joint for joint in told["joints"] if joint["name"] in ("crown", "figure's left wrist")):
        x, _, z = joint["at"]
        ActionChains(page.browser).move_to_element_with_offset(
            stage, round(scale * x), round(-scale * (z - (low[2] + high[2]) / 2))).click().perform()
    page.settle()
    assert page.find("measured").text.startswith("crown to figure's left wrist: ")


def test_joints_that_are_not_sure_are_hollow(page: Page) -> None:
    told = data_in(armature_page(armature(shrinkage=10.0)))
    low, high = told["box"]
    seen = page.look()
    h, w, _ = seen.shape
    reach = np.hypot(max(-low[0], high[0]), max(-low[1], high[1]))
    scale = 0.9 * min(w / (2 * reach), h / (high[2] - low[2]))
    tones = {}
    for joint in told["joints"]:
        x, _, z = joint["at"]
        row, column = round(h / 2 - scale * (z - (low[2] + high[2]) / 2)), round(w / 2 + scale * x)
        tones[joint["name"]] = seen[row - 1 : row + 2, column - 1 : column + 2].mean()
    assert tones.pop("figure's right elbow") > 180
    assert max(tones.values()) < 90


def test_where_there_is_no_canvas_for_solid_shapes_it_is_painted_flat(page: Page, flat: Page) -> None:
    assert flat.find("flat").is_displayed()
    flat.press("w")
    painted = flat.figure()
    tones = flat.look()[6:-6, 6:-6][painted].mean(axis=1)
    assert tones.std() > 15 and 60 < tones.mean() < 220, "in light and shade"
    flat.press("3")
    assert (flat.figure() != painted[:, ::-1]).mean() < 0.004
    flat.press("1", "s")
    assert flat.look()[6:-6, 6:-6][painted].std(axis=0).max() < 40
    flat.choose("cut", 10)
    assert 0.4 * painted.sum() < flat.figure().sum() < 0.8 * painted.sum()
    assert severe(flat) == []


def test_painted_flat_it_covers_what_the_solid_one_covers(browser: Any, tmp_path: Any) -> None:
    path = tmp_path / "armature.html"
    path.write_text(armature_page(replace(armature(), name="keeper")), encoding="utf-8")
    page, seen = Page(browser), []
    for source in ("", NO_SOLID_CANVAS):
        added = browser.execute_cdp_cmd("Page.addScriptToEvaluateOnNewDocument", {"source": source})
        page.open(path)
        page.press("w", "2")
        assert page.find("flat").is_displayed() == bool(source)
        seen.append(page.figure())
        browser.execute_cdp_cmd("Page.removeScriptToEvaluateOnNewDocument", added)
    assert (seen[0] & seen[1]).sum() / (seen[0] | seen[1]).sum() > 0.97


def test_a_lost_canvas_is_painted_flat(page: Page) -> None:
    page.browser.execute_script(
        "document.querySelector('#stage canvas').getContext('webgl').getExtension('WEBGL_lose_context').loseContext()")
    page.settle()
    page.settle()
    assert page.find("flat").is_displayed() and page.figure().sum() > 10_000


@pytest.mark.parametrize(("width", "height"), [(390, 844), (1600, 1000)])
@pytest.mark.parametrize("look", ["light", "dark"])
def test_everything_has_its_place_and_its_name(page: Page, width: int, height: int, look: str) -> None:
    page.screen(width, height, look)
    page.settle()
    assert page.browser.execute_script("return document.documentElement.scrollWidth") <= width
    assert page.find("stage").rect["height"] > 0.4 * height
    for element in page.browser.find_elements("css selector", "button, input, select"):
        assert element.get_attribute("aria-label") or element.text or element.find_element("xpath", "..").text
        if element.is_displayed():
            assert element.rect["height"] >= 44 and element.rect["width"] >= 44
    seen, shape = page.look()[6:-6, 6:-6], page.figure()
    assert shape.sum() > 5000
    assert np.abs(np.median(seen[shape], axis=0) - seen[-8, 8]).max() > 30, "the clay stands out from the stage"


def test_a_model_without_sections_and_joints_can_be_turned(browser: Any, tmp_path: Any) -> None:
    bare = armature(sections=(), wires=())
    bare = replace(bare, skeleton=Skeleton(tuple(replace(one, at=None) for one in bare.skeleton.joints), ()))
    path = tmp_path / "armature.html"
    path.write_text(armature_page(bare), encoding="utf-8")
    page = Page(browser)
    page.open(path)
    page.press("2")
    assert page.angle() == 90 and page.figure().sum() > 5000
    assert severe(page) == []


def test_buttons_turn_smoothly_where_motion_is_welcome(page: Page) -> None:
    from selenium.webdriver.support.ui import WebDriverWait

    page.screen(1280, 800, motion="no-preference")
    page.press("3")
    WebDriverWait(page.browser, 20).until(lambda _: page.angle() == 180)


def severe(page: Page) -> list[Any]:
    return [entry for entry in page.browser.get_log("browser") if entry["level"] == "SEVERE"]


def test_nothing_went_wrong_in_the_browser(page: Page) -> None:
    assert severe(page) == []
    asked = page.browser.execute_script("return performance.getEntriesByType('resource').map((one) => one.name)")
    assert asked == []
