"""A set of a pose that was shot in several rings, with close-ups: named, written, private, and given again."""

from __future__ import annotations

import csv
import shutil
from dataclasses import replace
from pathlib import Path

import cv2
import numpy as np
import pytest
from PIL import Image

from silhouette import cli, shoot, turnaround
from silhouette.errors import OutputError, PoseError
from silhouette.export import reference_set, write_set
from silhouette.intake import rings as ring_places
from silhouette.records import BlindSpot, RingCamera
from silhouette.records_shoot import SetLayout
from silhouette.settings import Settings
from silhouette.show import set_sheets, words_set
from tests.rendered_stills import some

QUICK = {"work_px": 400, "cutter": "backdrop"}
SECRET = b"Kwai Tai 52N"
"""Stands in the metadata of a close-up: place, maker and thumbnail."""


def detail(path: Path, *, sideways: bool = False) -> np.ndarray:
    """Write a picture of a hand, red at the top, and give it as it should be seen; ``sideways`` as a phone stores it,
    with all that a phone tells."""
    path.parent.mkdir(parents=True, exist_ok=True)
    seen = np.full((120, 160, 3), (150, 170, 190), np.uint8)
    seen[:40] = (40, 40, 200)
    picture = Image.fromarray(seen[..., ::-1])
    exif = Image.Exif()
    if sideways:
        exif[0x0112] = 6
        exif[0x010F] = SECRET.decode()
        exif.get_ifd(0x8825)[1] = "N"
        exif.get_ifd(0x8825)[29] = SECRET.decode()
        picture = picture.transpose(Image.Transpose.ROTATE_90)
    picture.save(path, exif=exif.tobytes() + (b"\xff\xd8" + SECRET + b"\xff\xd9" if sideways else b""), quality=95,
                 comment=SECRET if sideways else b"")
    return seen


@pytest.fixture(scope="module")
def pose(tmp_path_factory: pytest.TempPathFactory) -> Path:
    """4 low stops, 6 level ones, 3 high ones; close-ups of a left hand (2), of feet, of a face that cannot be read."""
    pose = tmp_path_factory.mktemp("rings") / "ferry"
    some(pose / "low", range(0, 360, 90))
    some(pose / "level", range(0, 360, 60))
    some(pose / "high", range(0, 360, 120))
    detail(pose / "close-ups" / "left hand" / "IMG_1.jpg", sideways=True)
    detail(pose / "close-ups" / "left hand" / "IMG_2.png")
    detail(pose / "close-ups" / "feet.jpg")
    (pose / "close-ups" / "face").mkdir()
    (pose / "close-ups" / "face" / "IMG_3.jpg").write_bytes(b"no picture at all")
    return pose


@pytest.fixture(scope="module")
def read(pose: Path) -> turnaround.Rings:
    return turnaround.ingest_rings(pose, Settings(**QUICK))


@pytest.fixture(scope="module")
def kept(read: turnaround.Rings, tmp_path_factory: pytest.TempPathFactory) -> tuple[Path, SetLayout]:
    """The set of that pose, and how it was laid out."""
    out = tmp_path_factory.mktemp("kept") / "set"
    layout = shoot.export_set(read, out, height_m=1.7, print_scale=4, originals=True, photos_in_page=True)
    return out, layout


STEMS = [*(f"ferry_low_{a:03d}" for a in range(0, 360, 90)), *(f"ferry_level_{a:03d}" for a in range(0, 360, 60)),
         *(f"ferry_high_{a:03d}" for a in range(0, 360, 120))]
DETAILS = ["ferry_closeup_feet_1", "ferry_closeup_left_hand_1", "ferry_closeup_left_hand_2"]


def names_in(folder: Path) -> list[str]:
    return sorted(p.name for p in folder.iterdir() if p.is_file())


def rows_of(out: Path) -> list[dict[str, str]]:
    return list(csv.DictReader((out / "set.csv").read_text(encoding="utf-8").splitlines()))


def test_names_and_table_carry_ring_and_angle(kept: tuple[Path, SetLayout]) -> None:
    out, layout = kept
    assert [stem for stem, _ in layout.views] == STEMS
    assert names_in(out / "silhouettes") == sorted(f"{s}.png" for s in STEMS)
    assert names_in(out / "outlines") == sorted(f"{s}.svg" for s in STEMS)
    rows = rows_of(out)
    assert list(rows[0])[-1] == "ring" and (out / "set.csv").read_text().startswith("still,silhouette,outline,angle,")
    assert [(Path(r["still"]).stem, r["ring"]) for r in rows] == [(s, s.split("_")[1]) for s in STEMS]
    assert [float(r["angle"]) for r in rows] == [float(s[-3:]) for s in STEMS]
    sizes = {cv2.imread(str(p), 0).shape for p in (out / "silhouettes").iterdir()}
    assert len(sizes) == 1, "all rings in one window"


def test_close_ups_are_kept_by_their_names_and_one_that_cannot_be_read_is_named(kept: tuple[Path, SetLayout]) -> None:
    out, layout = kept
    photographs = out / "photographs"
    assert names_in(photographs / "close_ups") == [f"{s}.jpg" for s in DETAILS]
    assert names_in(photographs) == sorted([*(f"{s}.jpg" for s in STEMS), "close_ups.pdf", "close_ups.png",
                                            "contact_sheet.pdf", "contact_sheet.png", "turnaround.html"])
    assert names_in(photographs / "originals") == sorted(f"{s}.png" for s in [*STEMS, *DETAILS])
    (left_out,) = [note for note in layout.notes if note.kind == "close-up unread"]
    about = (out / "about.txt").read_text(encoding="utf-8")
    assert left_out["name"] == "face" and "Of the close-up face a picture was left out: IMG_3.jpg is not" in about
    assert "feet, left hand (2)" in about and str(out.parent) not in about and "ferry/close-ups" not in about


def test_close_ups_are_upright_and_tell_nothing_but_the_picture(kept: tuple[Path, SetLayout], pose: Path) -> None:
    out, _ = kept
    assert SECRET in (pose / "close-ups" / "left hand" / "IMG_1.jpg").read_bytes()
    for path in (p for p in out.rglob("*") if p.is_file()):
        assert SECRET not in path.read_bytes(), path.name
    for stem in DETAILS:
        with Image.open(out / "photographs" / "close_ups" / f"{stem}.jpg") as image:
            assert not image.getexif() and set(image.info) <= {"jfif", "jfif_version", "jfif_unit", "jfif_density"}
            seen = np.asarray(image.convert("RGB")).astype(int)
        assert seen.shape == (120, 160, 3)
        assert seen[10, 80, 0] > 180 > 60 > seen[10, 80, 2] and seen[100, 80, 2] > 130, "red at the top"


def test_about_tells_the_rings_and_only_the_level_one_is_drawn_to_scale(kept: tuple[Path, SetLayout]) -> None:
    out, layout = kept
    about = (out / "about.txt").read_text(encoding="utf-8")
    assert about.startswith("Reference set: ferry, 13 stops in 3 rings\n")
    for ring, stops in (("Low", 4), ("Level", 6), ("High", 3)):
        assert f"{ring} ring: {stops} stops, " in about
    assert "Only the level ring is drawn to scale" in about and "to_scale.pdf" in about
    kinds = {note.kind for note in layout.notes}
    assert "rings on their own scales" in kinds and "rings on one scale" not in kinds
    level = set_sheets.scale_sheets(layout.of("level"), pose_mm=425, words="")
    assert (out / "to_scale.pdf").read_bytes().count(b"/MediaBox") == level.count(b"/MediaBox") > 0


def test_without_a_level_ring_nothing_is_drawn_to_scale(read: turnaround.Rings, tmp_path: Path) -> None:
    shot = replace(read, all=tuple(one for one in read.all if one.ring != "level"))
    layout = shoot.export_set(shot, tmp_path / "set", silhouettes_only=True, height_m=1.7, print_scale=4)
    assert "no ring to scale" in {note.kind for note in layout.notes} and layout.main == "low"
    assert not (tmp_path / "set" / "to_scale.pdf").exists()
    about = (tmp_path / "set" / "about.txt").read_text(encoding="utf-8")
    assert "Nothing is drawn to scale" in about and "to_scale.pdf" not in about and "Scale 1:4" not in about
    assert '"name":"low ring"' in (tmp_path / "set" / "turnaround.html").read_text(encoding="utf-8")


def test_an_outline_of_a_low_or_high_ring_bears_no_head_heights(kept: tuple[Path, SetLayout]) -> None:
    for stem in STEMS:
        svg = (kept[0] / "outlines" / f"{stem}.svg").read_text(encoding="utf-8")
        assert ('id="head-0"' in svg) == ("_level_" in stem) and 'id="ground"' in svg


def test_without_photographs_no_close_up_goes_in_and_the_set_says_so(read: turnaround.Rings, tmp_path: Path) -> None:
    layout = shoot.export_set(read, tmp_path / "set", silhouettes_only=True, photos_in_page=True, originals=True)
    assert not (tmp_path / "set" / "photographs").exists() and layout.close_ups == ()
    assert not list((tmp_path / "set").rglob("*.jpg"))
    about = (tmp_path / "set" / "about.txt").read_text(encoding="utf-8")
    assert "The close-ups (4 pictures) were left out: they are photographs." in about


def test_a_set_of_rings_given_again_is_the_same_pose(kept: tuple[Path, SetLayout], tmp_path: Path) -> None:
    out, layout = kept
    for place in (out, out / "photographs"):
        shot = turnaround.ingest_rings(place, Settings(**QUICK))
        assert [(one.ring, len(one.stops)) for one in shot.all] == [("low", 4), ("level", 6), ("high", 3)]
        assert [(one.name, len(one.files)) for one in shot.close_ups] == [("feet", 1), ("left hand", 2)]
        assert {stop.angle_from for one in shot.all for stop in one.stops} == {"name"}
    again = shoot.export_set(replace(shot, name="ferry"), tmp_path / "again")
    assert [stem for stem, _ in again.views] == STEMS and [one.stem for one in again.close_ups] == DETAILS
    assert [(r["ring"], r["angle"]) for r in rows_of(tmp_path / "again")] == [
        (r["ring"], r["angle"]) for r in rows_of(out)]
    for mine, other in zip(again.figures, layout.figures, strict=True):
        assert mine.polygon.symmetric_difference(other.polygon).area < 0.06 * other.polygon.area


def written(out: Path, name: str, shot: turnaround.Rings) -> None:
    """The set of a pose called so, without its pages."""
    read = [(stop, cut) for one in shot.all for stop, cut in zip(one.stops, one.cuts, strict=True)]
    views = [shoot.set_view(stop, cut) for stop, cut in read if cut is not None]
    close_ups, _ = shoot.close_ups(name, shot)
    write_set.export(replace(reference_set.lay_out(name, views), close_ups=close_ups), out)


def test_a_set_is_read_by_its_table_and_not_by_what_the_pose_is_called(
    pose: Path, read: turnaround.Rings, tmp_path: Path
) -> None:
    """A pose called "high", of one ring and of several, and one whose name looks like a ring and an angle."""
    one, several, odd = tmp_path / "one", tmp_path / "several", tmp_path / "odd"
    written(one, "high", turnaround.ingest_rings(pose / "level", Settings(**QUICK)))
    assert ring_places.rings_in(one) == [] and "ring" not in rows_of(one)[0]
    shot = turnaround.ingest_rings(one, Settings(**QUICK))
    assert [each.ring for each in shot.all] == ["level"] and [s.angle for s in shot.main.stops] == [*range(0, 360, 60)]
    written(several, "high", read)
    assert [(p.ring, len(p.files or ())) for p in ring_places.rings_in(several)] == [
        ("low", 4), ("level", 6), ("high", 3)]
    table = (several / "set.csv").read_text(encoding="utf-8")
    (several / "set.csv").write_text(table.replace(",high\n", ",hihg\n"), encoding="utf-8")
    with pytest.raises(PoseError, match="names a ring 'hihg'"):
        ring_places.rings_in(several)
    (several / "set.csv").write_text(table.replace(",level\n", ",\n"), encoding="utf-8")
    assert [len(p.files or ()) for p in ring_places.rings_in(several)] == [4, 6, 3]
    written(odd, "low 7", read)
    found = ring_places.rings_in(odd)
    assert [p.ring for p in found] == ["low", "level", "high"]
    assert found[0].angles == (0.0, 90.0, 180.0, 270.0)
    assert {one.name for one in ring_places.close_ups_in(odd)} == {"feet", "left hand"}


def test_one_ring_with_close_ups_is_named_as_ever(pose: Path, tmp_path: Path) -> None:
    alone = some(tmp_path / "ferry", range(0, 360, 120))
    plain = shoot.export_set(alone, tmp_path / "plain", **QUICK)
    shutil.copytree(pose / "close-ups", alone / "close-ups")
    out = tmp_path / "set"
    layout = shoot.export_set(alone, out, **QUICK)
    assert layout.rings == () and [s for s, _ in layout.views] == [s for s, _ in plain.views]
    assert names_in(out / "photographs" / "close_ups") == [f"{s}.jpg" for s in DETAILS]
    for path in sorted(p for p in (tmp_path / "plain").rglob("*") if p.is_file()):
        if path.name not in ("about.txt", ".silhouette.json"):
            assert path.read_bytes() == (out / path.relative_to(tmp_path / "plain")).read_bytes(), path.name
    told, before = ((folder / "about.txt").read_text().splitlines() for folder in (out, tmp_path / "plain"))
    more = set(told) - set(before)
    assert len(more) == 2 and all("lose" in line for line in more), "close-ups, and the one that was left out"
    assert [(c.name, len(c.files)) for c in turnaround.ingest_rings(out, Settings(**QUICK)).close_ups] == [
        ("feet", 1), ("left hand", 2)]


def test_nothing_is_written_among_rings_or_close_ups(pose: Path, tmp_path: Path) -> None:
    low = some(tmp_path / "elsewhere" / "low", range(0, 360, 120))
    before = {p: p.read_bytes() for p in [*pose.rglob("*.*"), *low.iterdir()] if p.is_file()}
    for out in (pose / "close-ups", pose / "close-ups" / "set", pose / "low" / "set", pose.parent):
        with pytest.raises(OutputError):
            shoot.export_set(pose, out, **QUICK)
    for out in (low, low / "set", low.parent):
        with pytest.raises(OutputError):
            shoot.export_set(pose / "level", out, ring={"low": str(low)}, **QUICK)
    shot = turnaround.ingest_rings(pose / "level", Settings(**QUICK, ring={"low": low}))
    with pytest.raises(OutputError):
        shoot.export_set(shot, low / "set")
    assert {p: p.read_bytes() for p in before} == before and not list(pose.rglob("set.csv"))


def test_the_command_tells_the_rings_and_keeps_silent_of_one(
    pose: Path, tmp_path: Path, capsys: pytest.CaptureFixture[str]
) -> None:
    quick = ["--work-px", "400", "--cutter", "backdrop", "--silhouettes-only"]
    assert cli.main(["export", str(pose), "-o", str(tmp_path / "set"), *quick]) == 0
    assert "ferry: 13 stops (low 4, level 6, high 3), silhouettes only." in capsys.readouterr().out
    assert cli.main(["export", str(pose / "level"), "-o", str(tmp_path / "one"), *quick]) == 0
    said = capsys.readouterr().out + (tmp_path / "one" / "about.txt").read_text()
    assert "level: 6 stops, silhouettes only." in said
    assert not [word for word in (" ring", "close-up", "blind spot") if word in said]


def test_blind_spots_and_cameras_are_told_in_about(kept: tuple[Path, SetLayout]) -> None:
    _, layout = kept
    cameras = {"low": RingCamera("outlines", 0.24, 0.02, 6.0, 2.0), "high": RingCamera("given", 1.3, height_m=2.2)}
    gone = {"high": (30.0, 60.0)}
    rings = tuple(replace(one, camera=cameras.get(one.ring, one.camera), missing=gone.get(one.ring, ()))
                  for one in layout.rings)
    spots = (BlindSpot("hand", "left", 45.0, 0.75, 0.1, "level"),)
    about = words_set.about_set(replace(layout, rings=rings, blind_spots=spots), photographs=True, originals=False,
                                print_scale=None)
    assert "tilted up 6 degrees; found from the outlines." in about
    assert "camera 2.20 m above the ground; as given. 30 and 60 are missing, which another ring has." in about
    assert "Figure's left hand stands clear in no view. Take a close-up from 45 degrees" in about
