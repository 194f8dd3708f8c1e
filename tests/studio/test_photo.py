"""Pictures written as phones write them, read back by Pillow and OpenCV."""

from pathlib import Path

import cv2
import numpy as np
import pytest
from PIL import Image, ImageOps

from silhouette.studio.photo import save_mask, save_photo


def picture() -> np.ndarray:
    image = np.full((80, 60, 3), 90, np.uint8)
    image[:20, :30] = (30, 60, 220)
    return image


@pytest.mark.parametrize("orientation", [1, 3, 6, 8])
def test_whoever_honours_the_tag_sees_it_upright(tmp_path: Path, orientation: int) -> None:
    path = tmp_path / "a" / "sideways.jpg"
    save_photo(path, picture(), orientation=orientation, fine_colour=True, quality=95)
    with Image.open(path) as raw:
        assert raw.size == ((80, 60) if orientation in (6, 8) else (60, 80))
        pillow = np.asarray(ImageOps.exif_transpose(raw))[..., ::-1].astype(int)
    for seen in (pillow, cv2.imread(str(path)).astype(int)):
        assert seen.shape == (80, 60, 3)
        assert np.abs(seen - picture()).mean() < 3


def test_focal_length_time_and_place_are_in_exif(tmp_path: Path) -> None:
    path = tmp_path / "p.jpg"
    save_photo(path, picture(), focal_35mm=26.4, taken="2024:05:01 10:00:00", place=True)
    exif = Image.open(path).getexif()
    assert exif.get_ifd(0x8769)[0xA405] == 26
    assert exif.get_ifd(0x8769)[0x9003] == "2024:05:01 10:00:00"
    assert exif.get_ifd(0x8825)[1] == "N"


def test_without_asking_nothing_is_told(tmp_path: Path) -> None:
    save_photo(tmp_path / "p.jpg", picture())
    assert not len(Image.open(tmp_path / "p.jpg").getexif())


def test_masks_come_back_exactly(tmp_path: Path) -> None:
    mask = np.random.default_rng(1).random((33, 47)) > 0.5
    save_mask(tmp_path / "m.png", mask)
    assert (np.asarray(Image.open(tmp_path / "m.png")) == mask).all()
