"""The sample poses and the tests' pictures as they lie in the repository."""

import csv
import json
from pathlib import Path

import numpy as np
import pytest
from PIL import Image

ROOT = Path(__file__).resolve().parents[2]
SAMPLES, RENDERED = ROOT / "sample_poses", ROOT / "tests" / "data" / "rendered"
POSES = ("at_rest", "bundled", "hauling", "lookout", "oar")


def test_five_poses_of_twelve_to_sixteen_stops_in_little_space() -> None:
    assert sorted(p.name for p in SAMPLES.iterdir() if p.is_dir()) == list(POSES)
    assert sum(f.stat().st_size for f in SAMPLES.rglob("*") if f.is_file()) < 8e6
    for pose in POSES:
        assert 12 <= len(list((SAMPLES / pose).glob("*.jpg"))) <= 16


@pytest.mark.parametrize("pose", POSES)
def test_samples_tell_their_lens_but_no_place(pose: str) -> None:
    for path in (SAMPLES / pose).glob("*.jpg"):
        with Image.open(path) as image:
            exif = image.getexif()
            assert image.size == (900, 1200)
            assert exif.get_ifd(0x8769)[0xA405] == 52 and not exif.get_ifd(0x8825)


def test_the_oars_table_names_every_still_once() -> None:
    rows = list(csv.reader((SAMPLES / "oar" / "angles.csv").open()))[1:]
    assert sorted(r[0] for r in rows) == sorted(p.name for p in (SAMPLES / "oar").glob("*.jpg"))
    assert len({float(r[1]) for r in rows}) == len(rows)


def test_masks_fit_their_pictures() -> None:
    for mask in [*(RENDERED / "stills" / "masks").glob("*.png"), *(RENDERED / "turn" / "masks").glob("*.png")]:
        with Image.open(mask) as m, Image.open(mask.parents[1] / f"{mask.stem}.jpg") as picture:
            assert m.size == (picture.size[::-1] if mask.stem == "sideways" else picture.size)
            assert np.asarray(m).any() == (mask.stem != "nobody")
    assert len(json.loads((RENDERED / "turn" / "truth.json").read_text())) == 12
