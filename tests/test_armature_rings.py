"""An armature from a pose that was shot low, level and high."""

from __future__ import annotations

import shutil
from collections.abc import Iterator
from dataclasses import replace
from pathlib import Path

import cv2
import numpy as np
import pytest

from silhouette import armature, tables, turnaround
from silhouette.errors import PoseError, SettingsError
from silhouette.records_space import Armature
from silhouette.settings import RINGS
from silhouette.show import armature_told, words_space
from silhouette.turnaround import Rings
from tests.test_armature import picture_of
from tests.test_in_space import TALL, THROWING, TRUTH


@pytest.fixture(scope="module", autouse=True)
def coarse() -> Iterator[None]:
    """Cells of 15 mm, so that a hull takes a second."""
    with pytest.MonkeyPatch.context() as patch:
        patch.setattr(armature, "CELL_M", 0.015)
        yield


@pytest.fixture(scope="module")
def pose(tmp_path_factory: pytest.TempPathFactory) -> Path:
    folder = tmp_path_factory.mktemp("pose") / "throwing"
    for ring in RINGS:
        (folder / ring).mkdir(parents=True)
        for row in TRUTH["rings"][ring]["stops"]:
            mask = THROWING / row["mask"]
            cv2.imwrite(str(folder / ring / f"{mask.stem}.jpg"), picture_of(mask), [cv2.IMWRITE_JPEG_QUALITY, 92])
    return folder


@pytest.fixture(scope="module")
def shot(pose: Path) -> Rings:
    return turnaround.ingest_rings(pose, looks=True)


@pytest.fixture(scope="module")
def made(shot: Rings) -> Armature:
    return armature.armature_of(shot, height_m=TALL)


def kinds(made: Armature) -> list[str]:
    return [note.kind for note in made.notes if note.kind != "of ring"]


def test_all_rings_are_used_and_the_figure_is_slimmer_by_them(made: Armature) -> None:
    assert made.rings == ("level", "low", "high") and made.gain is not None
    assert len(made.stops) == len(made.agreement) == len(made.skeleton.cameras) == 27
    assert made.stops[0] == "level/000" and made.stops[-1].startswith("high/")
    assert made.gain.ring == "level"
    true = TRUTH["volume_l"]
    assert abs(made.volume_l - true) < 0.9 * abs(made.gain.volume_l - true)
    assert made.gain.within_m is not None and made.gain.within_all_m is not None
    assert made.gain.within_all_m < 1.1 * made.gain.within_m
    assert kinds(made) == []


def test_joints_lie_where_they_are(made: Armature) -> None:
    off = [float(np.linalg.norm(np.asarray(j.at) - TRUTH["joints"][
        j.joint.replace(" ", "_") + ("" if j.side is None else f"_{j.side[0]}")]))
        for j in made.skeleton.joints if j.at is not None]
    assert len(off) == 18 and np.median(off) < 0.02


def test_the_gain_is_said_in_a_sentence_and_in_numbers(made: Armature) -> None:
    gain = made.gain
    assert gain is not None
    less = 100 * (1 - made.volume_l / gain.volume_l)
    said = words_space.gained(made)
    assert f"with the low ring and high ring the figure takes up {less:.0f} % less" in said
    assert said in armature_told.in_short(made) and said in words_space.about(made)
    table = tables.armature_to_dict(made)
    assert table["rings"] == ["level", "low", "high"]
    assert table["gain"]["volume_l"] == pytest.approx(gain.volume_l, abs=0.001)
    assert table["gain"]["ring"] == "level"


def test_of_one_ring_nothing_is_said_of_rings(shot: Rings) -> None:
    made = armature.armature_of(shot.main, height_m=TALL)
    assert made.rings == () and made.gain is None and len(made.stops) == 9 and made.stops[0] == "000"
    assert words_space.gained(made) == ""
    assert not {"rings", "gain"} & set(tables.armature_to_dict(made))
    assert "ring" not in words_space.about(made).split()


def test_a_ring_that_cannot_be_used_is_left_out_and_named(shot: Rings) -> None:
    low = shot.all[0]
    assert low.ring == "low" and low.looks is not None
    few = replace(low, stops=low.stops[:5], cuts=low.cuts[:5], looks=low.looks[:5])
    made = armature.armature_of(replace(shot, all=(few, *shot.all[1:])), height_m=TALL)
    assert made.rings == ("level", "high") and kinds(made) == ["ring left out"]
    (note,) = [note for note in made.notes if note.kind == "ring left out"]
    assert words_space.note(note) == (
        "The low ring was left out: only 5 of its 5 stops can be used, 8 are needed.")
    with pytest.raises(PoseError, match="only 5 of its 5 stops"):
        armature.armature_of(replace(shot, all=(few,)), height_m=TALL)


def test_settings_come_too_late_for_what_was_read(shot: Rings) -> None:
    with pytest.raises(SettingsError, match="span: a turnaround that was read already"):
        armature.armature_of(shot, height_m=TALL, span=180.0)


def test_a_folder_of_rings_is_read_whole(pose: Path, tmp_path: Path, monkeypatch: pytest.MonkeyPatch) -> None:
    asked: list[tuple[str, ...]] = []

    def usable(shot: Rings) -> None:
        asked.append(tuple(one.ring for one in shot.all))
        raise PoseError("enough")

    monkeypatch.setattr(armature, "_usable_rings", usable)
    small = tmp_path / "small"
    for ring in ("low", "level"):
        (small / ring).mkdir(parents=True)
        for name in ("000.jpg", sorted(p.name for p in (pose / ring).iterdir())[1]):
            shutil.copy(pose / ring / name, small / ring / name)
    with pytest.raises(PoseError, match="enough"):
        armature.armature_of(small, height_m=TALL)
    assert asked == [("low", "level")]
