"""From a wrong cut-out to the mending page and back: what the page is made of, and that its mask is used."""

from __future__ import annotations

import json
import os
import re
import shutil
from pathlib import Path
from typing import Any

import cv2
import numpy as np
import pytest

from silhouette import cli, turnaround
from silhouette.errors import SilhouetteError
from silhouette.intake import stills
from silhouette.known import Memory
from silhouette.mending import write_mend_page
from silhouette.records import GIVEN_MASK, Cut
from silhouette.settings import Settings

DATA = Path(__file__).parent / "data" / "rendered"
SMALL = {"work_px": 240}


def pose(folder: Path, *names: str) -> Path:
    """A pose of a few rendered stills."""
    folder.mkdir(parents=True)
    for name in names:
        shutil.copy(DATA / "turn" / f"{name}.jpg", folder)
    return folder


def data_in(page: Path) -> dict[str, Any]:
    return json.loads(re.search(r'id="data">(.*?)</script>', page.read_text(encoding="utf-8"), re.DOTALL)[1])


def mask_in(still: dict[str, Any]) -> np.ndarray:
    """The mask that the page begins with, as its script makes it."""
    import base64

    runs = np.frombuffer(base64.b64decode(still["runs"]), "<u4")
    inside = np.array([letter == "1" for letter in still["inside"]])
    return inside[np.repeat(runs >> 12, runs & 4095)].reshape(still["h"], still["w"])


def doubted(monkeypatch: pytest.MonkeyPatch, **confidence: float) -> None:
    """Let the cut-outs of some stills, by their order, be trusted as far as this."""
    real, told = turnaround.cut_picture, iter(confidence.values())

    def cut(pixels: Any, shared: Any, settings: Settings, room: Any = None) -> Cut:
        made = real(pixels, shared, settings)
        return Cut(made.mask, next(told), made.cutter, made.flags)

    monkeypatch.setattr(turnaround, "cut_picture", cut)


def test_the_worst_come_first_and_masks_by_hand_last(tmp_path: Path, monkeypatch: pytest.MonkeyPatch) -> None:
    place = pose(tmp_path / "keeper", "000", "030", "060", "090")
    hand = np.zeros((400, 300), np.uint8)
    hand[40:360, 120:180] = 255
    cv2.imwrite(str(place / "000.mask.png"), hand)
    doubted(monkeypatch, a=0.99, b=0.6, c=0.95)
    made = write_mend_page(place, tmp_path / "mend.html", **SMALL)
    shown = data_in(made.page)["stills"]
    assert [(s["name"], s["state"]) for s in shown] == [
        ("060", "doubted"), ("090", "trusted"), ("030", "trusted"), ("000", "by hand")]
    assert (made.stills, made.doubted) == (4, 1) and made.size == made.page.stat().st_size


def test_the_page_begins_with_the_cut_outs_themselves(tmp_path: Path) -> None:
    place = pose(tmp_path / "keeper", "000", "090")
    cuts = turnaround.ingest(place, Settings(**SMALL)).cuts
    shown = data_in(write_mend_page(place, tmp_path / "mend.html", **SMALL).page)["stills"]
    by_name = {s["name"]: mask_in(s) for s in shown}
    assert all(np.array_equal(by_name[name], cut.mask) for name, cut in zip(("000", "090"), cuts, strict=True))


def test_the_same_pictures_give_the_same_page(tmp_path: Path) -> None:
    place = pose(tmp_path / "keeper", "000", "090")
    pages = [write_mend_page(place, tmp_path / name, **SMALL).page.read_bytes() for name in ("a.html", "b.html")]
    assert pages[0] == pages[1]


def test_two_stills_of_one_name_get_whole_names(tmp_path: Path) -> None:
    place = pose(tmp_path / "keeper", "000", "090")
    shutil.copy(place / "000.jpg", place / "000.jpeg")
    shutil.copy(place / "090.jpg", place / "090.jpg.mask.png")
    shown = data_in(write_mend_page(place, tmp_path / "mend.html", **SMALL).page)["stills"]
    assert {s["beside"]: s["file"] for s in shown} == {
        "000.jpg": "000.jpg.mask.png", "000.jpeg": "000.jpeg.mask.png", "090.jpg": "090.jpg.mask.png"}


def test_only_some_stills(tmp_path: Path) -> None:
    place = pose(tmp_path / "keeper", "000", "030", "060")
    made = write_mend_page(place, tmp_path / "mend.html", only=["060", "000.JPG"], **SMALL)
    assert {s["name"] for s in data_in(made.page)["stills"]} == {"000", "060"}
    with pytest.raises(SilhouetteError, match=r"No still is called 45\. They are called 000, 030, 060\."):
        write_mend_page(place, tmp_path / "other.html", only=["45"], **SMALL)


def test_a_still_whose_mask_is_of_no_use_can_be_mended(tmp_path: Path) -> None:
    place = pose(tmp_path / "keeper", "000", "030")
    cv2.imwrite(str(place / "000.mask.png"), np.zeros((400, 300), np.uint8))
    shown = data_in(write_mend_page(place, tmp_path / "mend.html", **SMALL).page)["stills"]
    assert (shown[0]["name"], shown[0]["state"]) == ("000", "no figure") and not mask_in(shown[0]).any()


def test_a_still_that_cannot_be_read_is_told_and_left_out(tmp_path: Path, capsys: pytest.CaptureFixture[str]) -> None:
    place = pose(tmp_path / "keeper", "000", "030")
    (place / "060.jpg").write_bytes((place / "000.jpg").read_bytes()[:300])
    assert cli.main(["mend", str(place), "-o", str(tmp_path / "m.html"), "--work-px", "240"]) == 0
    said = " ".join(capsys.readouterr().out.split())
    assert "060.jpg" in said and "2 cut-outs to look at" in said


# ------------------------------------------------------------------------------------------------- where it is written


def test_the_command_says_last_that_the_page_holds_photographs(
    tmp_path: Path, capsys: pytest.CaptureFixture[str]
) -> None:
    place, page = pose(tmp_path / "keeper", "000"), tmp_path / "mend.html"
    assert cli.main(["mend", str(place), "-o", str(page), "--work-px", "240"]) == 0
    said = " ".join(capsys.readouterr().out.split())
    assert said.endswith("mend.html holds photographs: keep it private, and delete it when the masks are saved.")
    assert os.name == "nt" or page.stat().st_mode & 0o777 == 0o600


@pytest.mark.parametrize(("out", "why"), [
    ("keeper/mend.html", "among the pictures"), ("keeper/in/mend.html", "among the pictures"), ("mend.pdf", ".html"),
    ("taken.html", "not a page that this program wrote"), ("no/mend.html", "does not exist"), ("keeper", ".html"),
])
def test_refused_before_any_work(tmp_path: Path, monkeypatch: pytest.MonkeyPatch, out: str, why: str,
                                 capsys: pytest.CaptureFixture[str]) -> None:
    place = pose(tmp_path / "keeper", "000")
    (place / "in").mkdir()
    (tmp_path / "taken.html").write_text("<!doctype html><p>mine</p></html>", encoding="utf-8")
    before = sorted(tmp_path.rglob("*"))
    monkeypatch.setattr(turnaround, "ingest_rings", lambda *a, **k: pytest.fail("worked"))
    assert cli.main(["mend", str(place), "-o", str(tmp_path / out)]) == 2
    assert why in capsys.readouterr().err
    assert sorted(tmp_path.rglob("*")) == before
    assert (tmp_path / "taken.html").read_text(encoding="utf-8").endswith("mine</p></html>")


def test_the_still_itself_is_no_place_for_its_page(tmp_path: Path, capsys: pytest.CaptureFixture[str]) -> None:
    place = pose(tmp_path / "keeper", "000")
    shutil.move(place / "000.jpg", place / "000.html")
    assert cli.main(["mend", str(place / "000.html"), "-o", str(place / "000.html")]) == 2
    assert "where the pictures lie" in capsys.readouterr().err


def test_a_page_replaces_only_a_page_that_nobody_changed(tmp_path: Path) -> None:
    place, page = pose(tmp_path / "keeper", "000", "090"), tmp_path / "mend.html"
    write_mend_page(place, page, **SMALL)
    write_mend_page(place, page, only=["090"], **SMALL)
    assert len(data_in(page)["stills"]) == 1
    for change in (b"<p>note</p></html>", b"</html> "):
        page.write_bytes(page.read_bytes().replace(b"</html>", change))
        with pytest.raises(SilhouetteError, match="not a page that this program wrote"):
            write_mend_page(place, page, **SMALL)


# --------------------------------------------------------------------------------------------------- masks of a clip


@pytest.fixture
def clip(tmp_path: Path) -> Path:
    (tmp_path / "clips").mkdir()
    return Path(shutil.copy(DATA / "clip.mp4", tmp_path / "clips" / "turn.mp4"))


def test_the_folder_of_a_clips_masks_is_told_and_read(tmp_path: Path, clip: Path) -> None:
    page = data_in(write_mend_page(clip, tmp_path / "mend.html", **SMALL).page)
    assert page["masks"] == "turn.masks" and page["stills"][0]["beside"] == "turn.mp4"
    assert "stop_02.mask.png" in {s["file"] for s in page["stills"]}
    shown = next(s for s in page["stills"] if s["name"] == "stop_02")
    mended = mask_in(shown)
    mended[: shown["h"] // 2] = False
    (clip.parent / "turn.masks").mkdir()
    cv2.imwrite(str(clip.parent / "turn.masks" / shown["file"]), mended.astype(np.uint8) * 255)
    seen = turnaround.ingest(clip, Settings(**SMALL))
    by_hand = [GIVEN_MASK in cut.flags for cut in seen.cuts if cut is not None]
    assert [stop.name for stop, by in zip(seen.stops, by_hand, strict=True) if by] == ["stop_02"]
    assert np.array_equal(seen.cuts[2].mask, mended)


def test_a_clips_masks_are_part_of_what_is_remembered(tmp_path: Path, clip: Path) -> None:
    out = tmp_path / "out"
    out.mkdir()

    def run() -> turnaround.Turnaround:
        memory = Memory(out)
        seen = turnaround.ingest(clip, Settings(**SMALL), known=memory)
        shutil.rmtree(out / ".known", ignore_errors=True)
        memory.write(out)
        return seen

    plain = run()
    masks = clip.parent / "turn.masks"
    masks.mkdir()
    cv2.imwrite(str(masks / "stop_00.mask.png"), plain.cuts[0].mask.astype(np.uint8) * 255)
    fresh, again = run(), run()
    for seen in (fresh, again):
        assert GIVEN_MASK in seen.cuts[0].flags and seen.stops[0].given_mask == masks / "stop_00.mask.png"
    shutil.rmtree(masks)
    assert GIVEN_MASK not in run().cuts[0].flags


def test_clips_of_one_name_have_folders_of_their_own(clip: Path) -> None:
    other = Path(shutil.copy(clip, clip.with_suffix(".mov")))
    (clip.parent / "turn.masks").mkdir()
    (clip.parent / "turn.masks" / "stop_00.mask.png").touch()
    assert stills.masks_of_clip(clip) == {} == stills.masks_of_clip(other)
    assert stills.masks_folder(other).name == "turn.mov.masks"
    other.unlink()
    assert list(stills.masks_of_clip(clip)) == ["stop_00"]
    clip.with_name("turn.jpg").touch()
    assert list(stills.masks_of_clip(clip)) == ["stop_00"], "a still of that name has a mask of its own"


def test_a_mask_of_a_stop_that_is_of_no_use_is_told(clip: Path) -> None:
    (clip.parent / "turn.masks").mkdir()
    cv2.imwrite(str(clip.parent / "turn.masks" / "stop_01.mask.png"), np.zeros((400, 300), np.uint8))
    seen = turnaround.ingest(clip, Settings(**SMALL))
    assert [stop.name for stop in seen.stops if stop.problem] == ["stop_01"]
    assert "stop_01.mask.png" in seen.stops[1].problem and "mask" in seen.stops[1].problem


# ---------------------------------------------------------------------------------------------------- several rings


@pytest.fixture
def ringed(tmp_path: Path) -> Path:
    """A pose of three rings: a folder, loose stills, and marked ones; names that two rings share."""
    place = pose(tmp_path / "keeper", "000", "030")
    pose(place / "low", "000", "030")
    for name in ("000", "090"):
        shutil.copy(DATA / "turn" / f"{name}.jpg", place / f"high_{name}.jpg")
    return place


def test_all_rings_of_a_pose_lie_on_one_page_told_apart(tmp_path: Path, ringed: Path) -> None:
    (ringed / "close-ups").mkdir()
    shutil.copy(DATA / "turn" / "000.jpg", ringed / "close-ups" / "hand.jpg")
    made = write_mend_page(ringed, tmp_path / "mend.html", **SMALL)
    assert {s["name"]: (s["beside"], s["file"]) for s in data_in(made.page)["stills"]} == {
        "low 000": ("low/000.jpg", "low_000.mask.png"), "low 030": ("low/030.jpg", "low_030.mask.png"),
        "level 000": ("000.jpg", "000.mask.png"), "level 030": ("030.jpg", "030.mask.png"),
        "high 000": ("high_000.jpg", "high_000.mask.png"), "high 090": ("high_090.jpg", "high_090.mask.png")}
    said = re.sub(r"<.*?>", "", made.page.read_text(encoding="utf-8"))
    assert "Put the masks of all rings into keeper, beside the rings." in said and made.stills == 6


def test_masks_of_rings_are_found_again_by_the_names_the_page_gives_them(tmp_path: Path, ringed: Path) -> None:
    """Each still's mask is another one, so that a mask that goes to another ring's still is noticed."""
    shown = data_in(write_mend_page(ringed, tmp_path / "mend.html", **SMALL).page)["stills"]
    assert len({s["file"] for s in shown}) == len(shown)
    masks: dict[str, np.ndarray] = {}
    for k, still in enumerate(shown):
        mask = masks[still["name"]] = np.zeros((still["h"], still["w"]), np.bool_)
        mask[20:-10, 60 + 5 * k:100 + 5 * k] = True
        cv2.imwrite(str(ringed / still["file"]), mask.astype(np.uint8) * 255)
    for shot in turnaround.ingest_rings(ringed, Settings(**SMALL)).all:
        for stop, cut in zip(shot.stops, shot.cuts, strict=True):
            name = f"{shot.ring} {stop.name.removeprefix('high_')}"
            assert GIVEN_MASK in cut.flags and np.array_equal(cut.mask, masks[name]), name
    again = data_in(write_mend_page(ringed, tmp_path / "mend.html", **SMALL).page)["stills"]
    assert {(s["name"], s["file"], s["state"]) for s in again} == {(s["name"], s["file"], "by hand") for s in shown}


def test_a_mask_beside_the_rings_comes_before_one_in_them(tmp_path: Path, ringed: Path) -> None:
    """What the page says to save must count, also where an older mask lies beside the still."""
    old, new = np.zeros((400, 300), np.uint8), np.zeros((400, 300), np.uint8)
    old[40:360, 60:120] = new[40:360, 180:240] = 255
    cv2.imwrite(str(ringed / "low" / "000.mask.png"), old)
    shown = data_in(write_mend_page(ringed, tmp_path / "mend.html", only=["low_000"], **SMALL).page)["stills"]
    assert [(s["file"], s["state"]) for s in shown] == [("low_000.mask.png", "by hand")]
    cv2.imwrite(str(ringed / shown[0]["file"]), new)
    low = turnaround.ingest_rings(ringed, Settings(**SMALL)).all[0]
    assert low.stops[0].given_mask == ringed / "low_000.mask.png" and low.cuts[0].mask[:, 120:].any()
    alone = data_in(write_mend_page(ringed / "low", tmp_path / "low.html", only=["000"], **SMALL).page)["stills"]
    assert [(s["name"], s["beside"], s["file"]) for s in alone] == [("000", "low/000.jpg", "low_000.mask.png")]
    assert "into <b>keeper</b>" in (tmp_path / "low.html").read_text(encoding="utf-8")


@pytest.mark.parametrize(("only", "names"), [
    (["low_030"], {"low 030"}), (["LOW 030", "high_000"], {"low 030", "high 000"}), (["low"], {"low 000", "low 030"}),
    (["030"], {"low 030", "level 030"}), (["high_090.jpg"], {"high 090"})])
def test_only_some_stills_of_some_rings(tmp_path: Path, ringed: Path, only: list[str], names: set[str]) -> None:
    made = write_mend_page(ringed, tmp_path / "mend.html", only=only, **SMALL)
    assert {s["name"] for s in data_in(made.page)["stills"]} == names


def test_a_still_that_no_ring_has_is_told_with_those_there_are(tmp_path: Path, ringed: Path) -> None:
    with pytest.raises(SilhouetteError, match=r"called low_090\. They are called low 000, low 030, level 000"):
        write_mend_page(ringed, tmp_path / "mend.html", only=["low_090"], **SMALL)
    with pytest.raises(SilhouetteError, match="rings in the pose's own folder"):
        write_mend_page(ringed / "low", tmp_path / "mend.html", ring={"high": str(ringed)}, **SMALL)


def test_masks_of_a_ring_that_is_a_clip_lie_among_the_others(tmp_path: Path, ringed: Path) -> None:
    shutil.rmtree(ringed / "low")
    shutil.copy(DATA / "clip.mp4", ringed / "low.mp4")
    shown = data_in(write_mend_page(ringed, tmp_path / "mend.html", only=["low"], **SMALL).page)["stills"]
    one = next(s for s in shown if s["name"] == "low stop_02")
    assert (one["file"], one["beside"]) == ("low_stop_02.mask.png", "low.mp4")
    mended = mask_in(one)
    mended[: one["h"] // 2] = False
    cv2.imwrite(str(ringed / one["file"]), mended.astype(np.uint8) * 255)
    low = turnaround.ingest_rings(ringed, Settings(**SMALL)).all[0]
    assert [s.name for s, c in zip(low.stops, low.cuts, strict=True) if c and GIVEN_MASK in c.flags] == ["stop_02"]
    assert np.array_equal(low.cuts[2].mask, mended)


def test_one_ring_is_told_nothing_of_rings(tmp_path: Path) -> None:
    place = pose(tmp_path / "keeper", "000")
    text = write_mend_page(place, tmp_path / "mend.html", **SMALL).page.read_text(encoding="utf-8")
    assert "beside the pictures" in text and "of all rings" not in text
    cv2.imwrite(str(place / "keeper_000.mask.png"), np.zeros((4, 3), np.uint8))  # belongs to no still
    assert data_in(write_mend_page(place, tmp_path / "mend.html", **SMALL).page)["stills"][0]["file"] == "000.mask.png"
