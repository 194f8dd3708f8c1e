"""Stills are read upright, at the size worked at, and never written to."""

from __future__ import annotations

import io
import os
import struct
import warnings
from pathlib import Path

import cv2
import numpy as np
import pytest
from PIL import Image

from silhouette.errors import PictureError, PoseError
from silhouette.intake import stills

# The eight EXIF orientations (JEITA CP-3451, tag 274) as the numpy step that stores an upright picture that way.
STORED = {
    1: lambda p: p,
    2: lambda p: p[:, ::-1],
    3: lambda p: p[::-1, ::-1],
    4: lambda p: p[::-1],
    5: lambda p: p.transpose(1, 0, 2),
    6: lambda p: np.rot90(p, 1),
    7: lambda p: p[::-1, ::-1].transpose(1, 0, 2),
    8: lambda p: np.rot90(p, -1),
}


def quarters(height: int = 160, width: int = 100) -> np.ndarray:
    """RGB, upright: a red, a green, a blue and a white quarter, so that every turn and flip is told apart."""
    picture = np.zeros((height, width, 3), np.uint8)
    picture[: height // 2, : width // 2] = (255, 0, 0)
    picture[: height // 2, width // 2 :] = (0, 255, 0)
    picture[height // 2 :, : width // 2] = (0, 0, 255)
    picture[height // 2 :, width // 2 :] = (255, 255, 255)
    return picture


def save(path: Path, rgb: np.ndarray, orientation: int = 1, **options: object) -> Path:
    exif = Image.Exif()
    exif[0x0112] = orientation
    exif.get_ifd(0x8769)[0xA405] = 26
    Image.fromarray(np.ascontiguousarray(rgb)).save(path, exif=exif, **options)
    return path


@pytest.mark.parametrize("suffix", [".jpg", ".png", ".webp", ".tif"])
@pytest.mark.parametrize("orientation", range(1, 9))
def test_orientation_is_honoured(tmp_path: Path, suffix: str, orientation: int) -> None:
    upright = quarters()
    path = save(tmp_path / f"a{suffix}", STORED[orientation](upright), orientation)
    picture = stills.read_still(path, 1008)
    full = stills.read_full(path)
    assert picture.full_size == (100, 160)
    for pixels in (picture.pixels, full):
        assert pixels.shape == (160, 100, 3)
        for y, x in ((30, 20), (30, 80), (130, 20), (130, 80)):
            assert np.abs(pixels[y, x, ::-1].astype(int) - upright[y, x]).max() < 12


def test_heic_from_a_phone(tmp_path: Path) -> None:
    import pillow_heif

    pillow_heif.register_heif_opener()
    path = save(tmp_path / "IMG_1.heic", STORED[6](quarters(320, 200)), 6, quality=90)
    picture = stills.read_still(path, 160)
    assert picture.full_size == (200, 320)
    assert picture.pixels.shape == (160, 100, 3)
    assert picture.pixels[20, 20, 2] > 200 > 60 > picture.pixels[20, 20, 0]


def test_large_pictures_come_in_at_the_size_worked_at(tmp_path: Path) -> None:
    path = save(tmp_path / "a.jpg", quarters(4032, 3024))
    picture = stills.read_still(path, 1008)
    assert picture.pixels.shape == (1008, 756, 3)
    assert picture.full_size == (3024, 4032)
    assert picture.scale == pytest.approx(0.25)
    assert picture.focal_35mm == 26


def test_small_pictures_are_not_enlarged(tmp_path: Path) -> None:
    assert stills.read_still(save(tmp_path / "a.png", quarters()), 1008).pixels.shape == (160, 100, 3)


@pytest.mark.parametrize("mode", ["L", "RGBA", "P", "CMYK", "I;16"])
def test_other_kinds_of_pixels(tmp_path: Path, mode: str) -> None:
    path = tmp_path / ("a.jpg" if mode == "CMYK" else "a.png")
    image = Image.fromarray(quarters())
    if mode == "I;16":
        image = Image.fromarray((np.asarray(image.convert("L")).astype(np.uint16)) * 257)
    else:
        image = image.convert(mode)
    image.save(path)
    pixels = stills.read_still(path, 1008).pixels
    assert pixels.dtype == np.uint8 and pixels.shape == (160, 100, 3)
    assert pixels[130, 80].min() > 235


@pytest.mark.parametrize("share", [0.05, 0.5, 0.97])
@pytest.mark.parametrize("suffix", [".jpg", ".png", ".webp", ".heic"])
def test_a_cut_off_file_is_refused(tmp_path: Path, suffix: str, share: float) -> None:
    rng = np.random.default_rng(1)
    noisy = rng.integers(0, 255, (300, 200, 3), np.uint8)
    whole = save(tmp_path / f"whole{suffix}", noisy)
    data = whole.read_bytes()
    path = tmp_path / f"cut{suffix}"
    path.write_bytes(data[: int(len(data) * share)])
    with pytest.raises(PictureError, match=f"cut{suffix}: .*(damaged|cut off)"):
        stills.read_still(path, 1008)
    assert stills.read_still(whole, 1008).pixels.shape == (300, 200, 3)


def test_an_embedded_thumbnail_does_not_hide_a_cut_off_picture(tmp_path: Path) -> None:
    thumb = io.BytesIO()
    Image.fromarray(quarters(80, 60)).save(thumb, "JPEG")
    whole = io.BytesIO()
    Image.fromarray(np.random.default_rng(0).integers(0, 255, (400, 300, 3), np.uint8)).save(whole, "JPEG")
    body = whole.getvalue()
    segment = b"\xff\xe5" + struct.pack(">H", len(thumb.getvalue()) + 2) + thumb.getvalue()
    path = tmp_path / "a.jpg"
    path.write_bytes(body[:2] + segment + body[2 : len(body) // 2])
    with pytest.raises(PictureError, match="cut off"):
        stills.read_still(path, 1008)


def test_what_is_not_a_picture(tmp_path: Path) -> None:
    (tmp_path / "a.jpg").write_text("not a picture")
    (tmp_path / "b.png").write_bytes(b"")
    Image.new("RGB", (1, 1)).save(tmp_path / "c.png")
    for name, words in (
        ("a.jpg", "not a picture"),
        ("b.png", "empty"),
        ("c.png", "1 x 1"),
        ("d.jpg", "cannot be read"),
    ):
        with pytest.raises(PictureError, match=words) as error:
            stills.read_still(tmp_path / name, 1008)
        assert name in str(error.value)


def test_listing_is_natural_and_leaves_masks_and_hidden_files_out(tmp_path: Path) -> None:
    for name in (
        "stop 10.jpg",
        "stop 2.JPG",
        "stop 1.heic",
        "stop 2.mask.png",
        ".hidden.jpg",
        "angles.csv",
        "notes.txt",
    ):
        (tmp_path / name).touch()
    assert [p.name for p in stills.list_stills(tmp_path)] == ["stop 1.heic", "stop 2.JPG", "stop 10.jpg"]
    assert stills.mask_beside(tmp_path / "stop 2.JPG") == tmp_path / "stop 2.mask.png"
    assert stills.mask_beside(tmp_path / "stop 1.heic") is None


@pytest.mark.parametrize("name", [
    "empty.jpg", "Empty.JPG", "empty.png", "EMPTY.heic", "empty_room.jpg", "empty room.jpeg", "emptyroom.tif",
    "empty-2.webp", "empty2.jpg", "empty (1).jpg", "hauling.empty.jpg", "IMG_2001.Empty.HEIC",
])
def test_a_picture_called_empty_is_no_stop(tmp_path: Path, name: str) -> None:
    (tmp_path / name).touch()
    assert stills.is_empty_room(tmp_path / name) and not stills.is_still(tmp_path / name)
    with pytest.raises(PoseError, match=r"holds no stops: .* counts as a picture of the room without the model"):
        stills.list_stills(tmp_path)
    (tmp_path / "045.jpg").touch()
    assert [p.name for p in stills.list_stills(tmp_path)] == ["045.jpg"]


@pytest.mark.parametrize("name", ["emptying_a_bucket.jpg", "emptyhanded.jpg", "not_empty.jpg", "half.empty.hands.jpg"])
def test_a_word_that_only_begins_like_empty_names_a_stop(tmp_path: Path, name: str) -> None:
    assert stills.is_still(tmp_path / name) and not stills.is_empty_room(tmp_path / name)


@pytest.mark.parametrize("name", ["empty.txt", "empty.mask.png", ".empty.jpg", "empty.mp4", "empty"])
def test_what_is_no_picture_is_no_empty_picture(tmp_path: Path, name: str) -> None:
    assert not stills.is_empty_room(tmp_path / name)


def test_the_empty_picture_in_the_folder_comes_before_those_beside_it(tmp_path: Path) -> None:
    pose = tmp_path / "hauling"
    pose.mkdir()
    for name in ("empty_2.jpg", "hauling.empty.jpg", "empty.JPG", "lookout.empty.jpg", "000.jpg"):
        (tmp_path / name).touch()
    assert [p.name for p in stills.empty_rooms(pose)] == ["hauling.empty.jpg", "empty.JPG", "empty_2.jpg"]
    for name in ("empty_room.jpg", "empty.png", "045.jpg"):
        (pose / name).touch()
    (pose / "empty.tif").mkdir()
    found = stills.empty_rooms(pose)
    assert [p.relative_to(tmp_path).as_posix() for p in found] == [
        "hauling/empty.png", "hauling/empty_room.jpg", "hauling.empty.jpg", "empty.JPG", "empty_2.jpg"]
    (tmp_path / "lookout.mov").touch()
    assert [p.name for p in stills.empty_rooms(tmp_path / "lookout.mov")] == [
        "lookout.empty.jpg", "empty.JPG", "empty_2.jpg"]


def test_an_empty_folder_says_what_a_pose_is(tmp_path: Path) -> None:
    with pytest.raises(PoseError, match="holds no pictures"):
        stills.list_stills(tmp_path)


def test_a_folder_with_a_clip_alone_says_to_give_the_clip(tmp_path: Path) -> None:
    (tmp_path / "IMG_2001.MOV").touch()
    with pytest.raises(PoseError, match=r"give that itself .*IMG_2001\.MOV"):
        stills.list_stills(tmp_path)


def test_a_large_picture_is_read_without_a_remark(tmp_path: Path, monkeypatch: pytest.MonkeyPatch) -> None:
    monkeypatch.setattr(Image, "MAX_IMAGE_PIXELS", 10_000)  # the test picture has 16,000
    path = save(tmp_path / "a.jpg", quarters())
    with warnings.catch_warnings():
        warnings.simplefilter("error")
        assert stills.read_still(path, 1008).full_size == stills.read_full(path).shape[1::-1] == (100, 160)


def test_colours_with_a_profile_come_out_in_srgb(tmp_path: Path) -> None:
    from PIL import ImageCms

    lab = ImageCms.ImageCmsProfile(ImageCms.createProfile("sRGB")).tobytes()
    path = tmp_path / "a.jpg"
    Image.fromarray(quarters()).save(path, icc_profile=lab, quality=95)
    assert np.abs(stills.read_full(path).astype(int) - cv2.imread(str(path)).astype(int)).max() <= 3


@pytest.mark.parametrize("name", ["1²", "½ 3", "stop ٣", "2³4", "①"])
def test_any_sign_for_a_number_can_be_sorted(name: str) -> None:
    assert sorted([name, "stop 10", "stop 2"], key=stills.natural_key)


def test_a_name_that_is_no_text_is_shown_as_one(tmp_path: Path) -> None:
    names = [Path(os.fsdecode(b"13\xfe5.jpg")), Path("line\nend.jpg"), Path("000.jpg")]
    told = stills.names_of(names)
    assert told == ["13\ufffd5", "line end", "000"]
    assert all(name.encode("utf-8") for name in told)


def test_stills_of_one_stem_are_told_apart(tmp_path: Path) -> None:
    for name in ("000.jpg", "000.jpeg", "090.jpg"):
        (tmp_path / name).touch()
    found = stills.list_stills(tmp_path)
    assert stills.names_of(found) == ["000.jpeg", "000.jpg", "090"]
    assert stills.names_of([Path("A.jpg"), Path("a.JPG")]) == ["A.jpg (1)", "a.JPG (2)"]
    for name in ("000.mask.png", "090.mask.png"):
        (tmp_path / name).touch()
    assert [stills.mask_beside(p) for p in found] == [None, None, tmp_path / "090.mask.png"]
    for name in ("000.jpeg.mask.png", "090.jpg.mask.png"):
        (tmp_path / name).touch()
    masks = [stills.mask_beside(p) for p in found]
    assert masks == [tmp_path / "000.jpeg.mask.png", None, tmp_path / "090.jpg.mask.png"]
    assert stills.list_stills(tmp_path) == found


SET = "still,silhouette,outline,angle,angle_from\noar_000.jpg,,,0,name\n../x.jpg,,,9,name\noar_090.jpg,,,90,name\n"


def test_of_an_exported_set_only_its_stills_count(tmp_path: Path) -> None:
    names = ("oar_000.jpg", "oar_090.jpg", "contact_sheet.png", "contact_photographs.png", "x.jpg")
    for name in names:
        (tmp_path / name).touch()
    assert len(stills.list_stills(tmp_path)) == 5
    (tmp_path / "set.csv").write_text(SET)
    assert stills.written_by_us(tmp_path) == "set"
    assert [p.name for p in stills.list_stills(tmp_path)] == ["oar_000.jpg", "oar_090.jpg"]
    (tmp_path / "set.csv").write_text("name,price\noar_000.jpg,3\n")
    assert stills.written_by_us(tmp_path) is None and len(stills.list_stills(tmp_path)) == 5
    (tmp_path / ".silhouette.json").write_text('{"silhouette": "1", "kind": "set", "files": {}}')
    (tmp_path / "set.csv").write_text("still,silhouette,outline,angle,angle_from\n,silhouettes/a.png,,0,name\n")
    with pytest.raises(PoseError, match="names no still"):
        stills.list_stills(tmp_path)


@pytest.mark.parametrize("name", ["result.json", "check.json", ".silhouette.json"])
@pytest.mark.parametrize("text", ['{"silhouette": "1", "kind": "results"}', "", "[" * 100_000, '{"kind"', "[1]"])
def test_a_folder_of_results_is_no_pose(tmp_path: Path, name: str, text: str) -> None:
    (tmp_path / "chart.png").touch()
    (tmp_path / name).write_text(text)
    with pytest.raises(PoseError, match="holds results of an earlier run, not pictures of a pose"):
        stills.list_stills(tmp_path)
