"""The mending page: what it holds, that it reaches for nothing, and that taps, keys and fingers mend a mask."""

from __future__ import annotations

import base64
import io
import json
import re
import shutil
import time
from pathlib import Path

import cv2
import numpy as np
import pytest
from PIL import Image

from silhouette.show import mend_page
from silhouette.show.mend_page import MendStop

NAME = 'Keeper </script><script>alert("x")</script> & co'
W, H = 120, 200
SHADOW = 3
"""Number of the small piece, and of the large one, that is a shadow between the legs."""


def pieces() -> np.ndarray:
    """(H, W) 0 wall, 1 and 2 the figure's upper and lower half, 3 a shadow at its side, 4 a strip of wall, 5 a hand."""
    small = np.zeros((H, W), np.int32)
    small[20:100, 40:80] = 1
    small[100:180, 40:80] = 2
    small[100:180, 80:100] = 3
    small[:, :10] = 4
    small[60:80, 30:40] = 5
    return small


def stop(name: str = "045", **changes) -> MendStop:
    small = pieces()
    pixels = np.repeat((60 + 30 * small[..., None]).astype(np.uint8), 3, axis=2)
    made = {"name": name, "beside": f"{name}.jpg", "file": f"{name}.mask.png", "state": "doubted", "confidence": 0.7,
            "pixels": pixels, "small": small, "inside": np.array([0, 1, 1, 1, 0, 0], bool),
            "large": np.array([0, 1, 1, 2, 3, 4], np.int32), "doubtful": np.array([2], np.int32)}
    return MendStop(**made | changes)


def mask_of(*numbers: int) -> np.ndarray:
    return np.isin(pieces(), numbers)


def data_in(page: str) -> dict:
    return json.loads(re.search(r'id="data">(.*?)</script>', page, re.DOTALL)[1])


def test_labels_come_back_from_their_runs():
    rng = np.random.default_rng(5)
    for labels in (pieces(), np.zeros((90, 130), np.int32), rng.integers(0, 70_000, (40, 50)).astype(np.int32)):
        runs = mend_page.runs_of(labels)
        assert np.array_equal(np.repeat(runs >> 12, runs & 4095), labels.ravel())


def test_page_reaches_for_nothing():
    page = mend_page.mend_page(NAME, [stop()], folder=NAME)
    assert not re.search(r"https?://|//[a-z]", re.sub(r"(?m)^\s*// .*$| // .*$", "", page.split('id="data"')[0]))
    assert not re.search(r"https?://", page) and "@import" not in page and "url(" not in page
    assert not re.search(r"(?:src|href)\s*=\s*[\"'](?!data:)", page)
    for rule in ("default-src", "base-uri", "form-action"):
        assert f"{rule} 'none'" in page
    assert "connect-src" not in page and "fetch(" not in page and "XMLHttp" not in page and "Storage" not in page


def test_page_says_first_that_it_holds_photographs():
    page = mend_page.mend_page("keeper", [stop()], folder="keeper")
    assert page.index("This page holds photographs") < page.index("<main>")


def test_photographs_carry_no_metadata():
    photo = data_in(mend_page.mend_page("keeper", [stop()], folder="keeper"))["stills"][0]["photo"]
    data = base64.b64decode(photo.removeprefix("data:image/jpeg;base64,"))
    picture = Image.open(io.BytesIO(data))
    assert picture.size == (W, H) and not picture.getexif()
    assert set(picture.info) <= {"jfif", "jfif_version", "jfif_unit", "jfif_density"}
    assert not re.search(rb"Exif|http:|ICC_PROFILE|Photoshop", data)


def test_names_cannot_break_the_page():
    page = mend_page.mend_page(NAME, [stop(NAME, file=NAME + ".mask.png")], folder=NAME, masks_folder=NAME)
    assert page.count("<script") == 2 and page.count("</script>") == 2
    assert data_in(page)["stills"][0]["file"] == NAME + ".mask.png"


def test_a_clip_says_which_folder_to_make():
    assert "<b>turn.masks</b>" in mend_page.mend_page("turn", [stop()], folder="clips", masks_folder="turn.masks")


# ------------------------------------------------------------------------------------------------------ in a browser


def until(true) -> bool:
    """Whether something becomes true within ten seconds."""
    end = time.monotonic() + 10
    while not true() and time.monotonic() < end:
        time.sleep(0.05)
    return bool(true())


class Page:
    """The page in a browser, as a person handles it."""

    def __init__(self, browser, folder: Path) -> None:
        self.browser, self.saved = browser, folder / "saved"
        self.saved.mkdir()
        browser.execute_cdp_cmd("Browser.setDownloadBehavior",
                                {"behavior": "allow", "downloadPath": str(self.saved)})

    def open(self, page: str, folder: Path, width: int = 1280, height: int = 800) -> None:
        path = folder / "mend.html"
        path.write_text(page, encoding="utf-8")
        self.browser.get("about:blank")
        self.browser.execute_cdp_cmd("Emulation.setDeviceMetricsOverride", {
            "width": width, "height": height, "deviceScaleFactor": 1, "mobile": width < 600})
        self.browser.get(path.as_uri())
        self.press("0")

    def find(self, name: str):
        return self.browser.find_element("id", name)

    def press(self, *keys: str) -> None:
        for key in keys:
            self.browser.find_element("tag name", "body").send_keys(key)

    def spot(self, x: float, y: float) -> tuple[float, float]:
        """Where a pixel of the picture lies from the stage's corner, when all of the picture is shown."""
        box = self.find("stage").rect
        scale = min(box["width"] / W, box["height"] / H)
        return (box["width"] - scale * W) / 2 + scale * x, (box["height"] - scale * H) / 2 + scale * y

    def drag(self, *points: tuple[float, float]) -> None:
        """Press at the first pixel of the picture, move over the others, let go: of one, a tap."""
        from selenium.webdriver import ActionChains

        stage = self.find("stage")
        box, hand = stage.rect, ActionChains(self.browser, duration=20)
        for k, point in enumerate(points):
            x, y = self.spot(*point)
            hand.move_to_element_with_offset(stage, round(x - box["width"] / 2), round(y - box["height"] / 2))
            if k == 0:
                hand.click_and_hold()
        hand.release().perform()

    def mask(self, name: str = "045.mask.png") -> np.ndarray:
        """Save, and read the file that the browser wrote; the page tells of it a moment after the file is there."""
        (self.saved / name).unlink(missing_ok=True)
        self.browser.execute_script("document.getElementById('answer').textContent = ''")
        self.find("save").click()
        mask = self.read(name)
        assert until(lambda: self.find("answer").text == f"{name} saved.")
        return mask

    def read(self, name: str) -> np.ndarray:
        assert until((self.saved / name).exists), f"{name} was not saved"
        return cv2.imread(str(self.saved / name), cv2.IMREAD_UNCHANGED)


@pytest.fixture
def page(browser, tmp_path):
    page = Page(browser, tmp_path)
    page.open(mend_page.mend_page(NAME, [stop(), stop("090", state="trusted")], folder="keeper"), tmp_path)
    return page


def same(saved: np.ndarray, mask: np.ndarray) -> bool:
    return saved.dtype == np.uint8 and np.array_equal(saved, np.where(mask, 255, 0))


def test_an_untouched_mask_is_saved_exactly(page):
    assert same(page.mask(), mask_of(1, 2, 3))
    assert until(lambda: page.find("answer").text == "045.mask.png saved.")
    assert Image.open(page.saved / "045.mask.png").info == {}


def test_one_tap_takes_the_shadow_out_and_one_adds_the_hand(page):
    page.drag((90, 140))
    assert same(page.mask(), mask_of(1, 2))
    page.drag((35, 70))
    assert same(page.mask(), mask_of(1, 2, 5))
    page.drag((35, 70))
    assert same(page.mask(), mask_of(1, 2))


def test_large_and_small_pieces(page):
    page.drag((60, 50))
    assert same(page.mask(), mask_of(3))
    page.press("u")
    page.browser.find_element("css selector", "[data-tool=small]").click()
    page.drag((60, 50))
    assert same(page.mask(), mask_of(2, 3))


def test_dragging_makes_all_what_the_first_became(page):
    page.press("2")
    page.drag((90, 170), (90, 110), (60, 110), (60, 105))
    assert same(page.mask(), mask_of(1))
    page.drag((5, 150), (35, 70), (60, 60))
    assert same(page.mask(), mask_of(0, 1, 4, 5)), "what is figure stays figure"


def test_undo_goes_back_step_by_step_and_as_it_was_to_the_start(page):
    undo, first = page.find("undo"), page.find("as-it-was")
    assert not undo.is_enabled() and not first.is_enabled()
    page.drag((90, 140))
    page.drag((35, 70))
    undo.click()
    assert same(page.mask(), mask_of(1, 2))
    page.press("u")
    assert same(page.mask(), mask_of(1, 2, 3)) and not undo.is_enabled()
    page.drag((90, 140))
    page.drag((35, 70))
    first.click()
    assert same(page.mask(), mask_of(1, 2, 3)) and not first.is_enabled()
    undo.click()
    assert same(page.mask(), mask_of(1, 2, 5))


def test_where_little_is_right_the_figure_is_tapped_in_afresh(page):
    page.find("empty").click()
    page.drag((60, 50))
    assert same(page.mask(), mask_of(1, 2))
    page.press("u", "u")
    assert same(page.mask(), mask_of(1, 2, 3))


@pytest.mark.parametrize(("key", "radius"), [("3", 2.5), ("4", 1.5)])
def test_the_brushes_add_and_take_away(page, key, radius):
    page.press(key)
    page.drag((20, 30), (20, 60))
    added = page.mask() > 0
    new = added & ~mask_of(1, 2, 3)
    rows, columns = np.flatnonzero(new.any(axis=1)), np.flatnonzero(new.any(axis=0))
    assert abs(rows[0] - (30 - radius)) <= 1.5 and abs(rows[-1] - (60 + radius)) <= 1.5
    assert abs(len(columns) - 2 * radius) <= 1.5
    page.drag((60, 30), (60, 60))
    taken = mask_of(1, 2, 3) & ~(page.mask() > 0)
    assert 30 * 2 * radius * 0.6 < taken.sum() < 36 * (2 * radius + 2)
    assert (page.mask() > 0)[new].all()


def test_keys_walk_through_pieces_doubt_first_and_flip_them(page):
    from selenium.webdriver.common.keys import Keys

    page.press("n")
    assert page.find("answer").text.startswith("Piece 1 of 5: figure.")
    page.press(Keys.ENTER)
    assert page.find("answer").text == "Piece 1 of 5: now not figure."
    assert same(page.mask(), mask_of(1, 2))
    page.press("n", "n", "p", "p", "p")
    assert page.find("answer").text.startswith("Piece 5 of 5")


def test_arrows_go_to_the_next_still_and_back(page):
    from selenium.webdriver.common.keys import Keys

    names = []
    for key in (Keys.ARROW_RIGHT, Keys.ARROW_RIGHT, Keys.ARROW_LEFT, Keys.ARROW_LEFT):
        page.press(key)
        names.append(page.find("name").text)
    assert names == ["090", "045", "090", "045"]
    page.drag((90, 140))
    page.press(Keys.ARROW_RIGHT, Keys.ARROW_LEFT)
    assert same(page.mask(), mask_of(1, 2)), "what was mended is kept while another still is looked at"


def test_zoom_keeps_the_taps_where_they_fall(page):
    for key in "+++-":
        page.press(key)
    page.drag((60, 100 + 12))  # the middle stays put, and a little below it is the lower half
    assert same(page.mask(), mask_of(3))


def touch(page, *frames: tuple[str, list[tuple[float, float]]]) -> None:
    page.browser.execute_cdp_cmd("Emulation.setTouchEmulationEnabled", {"enabled": True})
    box = page.find("stage").rect
    page.browser.execute_script("scrollTo(0, 0)")
    for kind, points in frames:
        places = [{"x": box["x"] + page.spot(*p)[0], "y": box["y"] + page.spot(*p)[1], "id": k}
                  for k, p in enumerate(points)]
        page.browser.execute_cdp_cmd("Input.dispatchTouchEvent", {"type": kind, "touchPoints": places})
    page.browser.execute_cdp_cmd("Emulation.setTouchEmulationEnabled", {"enabled": False})


def test_a_finger_flips_and_two_fingers_only_zoom(page, tmp_path):
    page.open(mend_page.mend_page(NAME, [stop()], folder="keeper"), tmp_path, 390, 844)
    touch(page, ("touchStart", [(90, 140)]), ("touchEnd", []))
    assert same(page.mask(), mask_of(1, 2))
    touch(page, ("touchStart", [(60, 100)]), ("touchStart", [(60, 100), (60, 120)]),
          ("touchMove", [(60, 80), (60, 140)]), ("touchEnd", []))
    assert same(page.mask(), mask_of(1, 2)), "the first finger of two flipped something"
    page.find("undo").click()
    assert same(page.mask(), mask_of(1, 2, 3)), "a pinch counted as a step"


def test_all_that_was_changed_is_saved_at_once(page):
    from selenium.webdriver.common.keys import Keys

    assert not page.find("save-all").is_enabled()
    page.drag((90, 140))
    page.press(Keys.ARROW_RIGHT, "0")
    page.drag((35, 70))
    page.find("save-all").click()
    assert same(page.read("045.mask.png"), mask_of(1, 2)) and same(page.read("090.mask.png"), mask_of(1, 2, 3, 5))
    assert until(lambda: page.find("answer").text == "2 masks saved.") and not page.find("save-all").is_enabled()


FAKE = """
window.kept = {};
const folder = (name, held) => ({
  name,
  getFileHandle: async (file, {create} = {}) => {
    if (!create && !held.includes(file)) { const error = new Error("none"); error.name = "NotFoundError"; throw error; }
    return { createWritable: async () => ({ write: async (blob) => {
      kept[name + "/" + file] = [...new Uint8Array(await blob.arrayBuffer())]; }, close: async () => {} }) };
  },
  getDirectoryHandle: async (inner) => folder(name + "/" + inner, []),
});
window.showDirectoryPicker = async () => folder(...arguments[0]);
document.getElementById("choose").hidden = false;
"""


@pytest.mark.parametrize(("masks", "beside", "where"), [
    (None, "045.jpg", "trials/045.mask.png"), ("turn.masks", "turn.mov", "trials/turn.masks/045.mask.png")])
def test_masks_go_straight_into_the_folder_of_the_pictures(page, tmp_path, masks, beside, where):
    page.open(mend_page.mend_page("k", [stop(beside=beside)], folder="trials", masks_folder=masks), tmp_path)
    page.browser.execute_script(FAKE, ["elsewhere", []])
    page.find("choose").click()
    told = page.find("answer")
    assert until(lambda: told.text)
    assert told.text == f"elsewhere does not hold {beside}. Choose the folder of the pictures."
    page.browser.execute_script(FAKE, ["trials", [beside]])
    page.find("choose").click()
    assert until(lambda: told.text.startswith("Masks now go straight into trials"))
    page.find("save").click()
    assert until(lambda: told.text.startswith("045.mask.png saved into trials"))
    kept = page.browser.execute_script("return kept")
    assert list(kept) == [where]
    assert same(cv2.imdecode(np.uint8(kept[where]), cv2.IMREAD_UNCHANGED), mask_of(1, 2, 3))


def test_a_mask_without_a_figure_is_not_saved(page, tmp_path):
    nothing = stop(inside=np.zeros(6, bool), state="no figure")
    page.open(mend_page.mend_page("k", [nothing], folder="k"), tmp_path)
    page.find("save").click()
    assert page.find("answer").text == "045 has no figure yet. Tap it first."


@pytest.mark.parametrize(("width", "height"), [(390, 844), (1280, 800)])
def test_everything_can_be_reached(page, tmp_path, width, height):
    page.open(mend_page.mend_page(NAME * 2, [stop(str(k)) for k in range(24)], folder=NAME), tmp_path, width, height)
    seen = page.browser.execute_script("return [document.documentElement.scrollWidth, innerWidth, innerHeight]")
    assert seen[0] <= width
    for button in page.browser.find_elements("css selector", "button"):
        assert button.get_attribute("aria-label") or button.get_attribute("textContent").strip()
        if button.is_displayed():
            assert button.rect["width"] >= 44 and button.rect["height"] >= 44, button.get_attribute("outerHTML")
    stage = page.find("stage").rect
    assert stage["height"] > 0.4 * height
    assert stage["y"] + stage["height"] < height
    assert page.find("stage").get_attribute("tabindex") == "0"


def test_nothing_went_wrong_in_the_browser(page):
    page.drag((90, 140))
    assert [entry for entry in page.browser.get_log("browser") if entry["level"] == "SEVERE"] == []


def test_the_mask_that_was_saved_is_the_one_that_is_scored(browser, tmp_path):
    """From the command to the page, a few taps, the file beside the still, and back into the score."""
    from silhouette import cli

    place, page = tmp_path / "keeper", Page(browser, tmp_path)
    place.mkdir()
    shutil.copy(Path(__file__).parents[1] / "data" / "rendered" / "turn" / "000.jpg", place)
    made = tmp_path / "made.html"
    assert cli.main(["mend", str(place), "-o", str(made), "--work-px", "240"]) == 0
    page.open(made.read_text(encoding="utf-8"), tmp_path)
    page.press("n")
    page.browser.find_element("tag name", "body").send_keys("\ue007")
    still = data_in(made.read_text(encoding="utf-8"))["stills"][0]
    saved = page.mask(still["file"])
    assert saved.shape == (240, 180) and page.find("as-it-was").is_enabled(), "nothing was flipped"
    shutil.copy(page.saved / still["file"], place)
    quick = ["--work-px", "240", "--jitter", "0"]
    assert cli.main(["score", str(place), "-o", str(tmp_path / "out"), "--masks", *quick]) == 0
    (view,) = json.loads((tmp_path / "out" / "result.json").read_text(encoding="utf-8"))["poses"][0]["views"]
    assert "mask by hand" in view["flags"]
    (written,) = (tmp_path / "out" / "masks").rglob("*.png")
    assert np.array_equal(cv2.imread(str(written), cv2.IMREAD_GRAYSCALE) > 0, saved > 0)
