"""The table of cuts in rooms: its sums, its halves, and the outlines of real people that it goes by."""

from __future__ import annotations

import importlib.util
import json
from pathlib import Path
from types import ModuleType

import numpy as np
import pytest

MEASURE = Path(__file__).parent / "measure"


@pytest.fixture
def table(monkeypatch: pytest.MonkeyPatch) -> ModuleType:
    monkeypatch.syspath_prepend(str(MEASURE))
    spec = importlib.util.spec_from_file_location("measure_rooms", MEASURE / "rooms.py")
    assert spec and spec.loader
    module = importlib.util.module_from_spec(spec)
    monkeypatch.setitem(__import__("sys").modules, "measure_rooms", module)
    spec.loader.exec_module(module)
    return module


def test_the_calibration_error_weighs_each_tenth_by_its_counts(table: ModuleType) -> None:
    promised, true = np.array([0.95, 0.97, 0.55, 1.0]), np.array([0.90, 0.96, 0.85, 0.98])
    # 0.9 to 1: means 0.97333 and 0.94667, three of four; 0.5 to 0.6: off by 0.3, one of four.
    assert table.calibration_error(promised, true) == pytest.approx(0.75 * 0.026667 + 0.25 * 0.3, abs=1e-5)
    assert table.calibration_error(np.array([0.91, 0.99]), np.array([0.99, 0.91])) == pytest.approx(0.0)


@pytest.mark.parametrize(("folder", "row", "half", "wanted"), [
    ("held_drawn_00", {}, "held", True), ("held_drawn_00", {}, "tune", False), ("tune_drawn_00", {}, "held", False),
    ("plinth", {"held": True}, "held", True), ("plinth", {"held": False}, "held", False),
    ("akimbo", {}, "held", True), ("tune_drawn_00", {}, "both", True)])
def test_only_the_half_asked_for_is_measured(table: ModuleType, folder: str, row: dict, half: str, wanted: bool
                                             ) -> None:
    assert table.wanted_half(Path(folder), row, half) is wanted


def test_a_ring_inside_another_is_a_gap(table: ModuleType) -> None:
    rings = [[[2, 2], [17, 2], [17, 17], [2, 17]], [[8, 8], [11, 8], [11, 11], [8, 11]]]
    mask = table.drawn({"rings": rings}, (20, 20)) > 0
    assert mask[4, 4] and not mask[9, 9] and not mask[0, 0] and mask.sum() == 16 * 16 - 4 * 4


def test_the_outlines_of_real_people_are_whole_figures(table: ModuleType) -> None:
    clips = json.loads(table.OUTLINES.read_text())["clips"]
    assert [len(c["frames"]) for c in clips] == [4, 4, 4, 4, 8]
    for clip in clips:
        left, top, right, bottom = clip.get("crop", (0, 0, 1088, 1920))
        for row in clip["frames"]:
            mask = table.drawn(row, (bottom - top, right - left)) > 0
            rows, columns = np.nonzero(mask)
            assert 0.02 < mask.mean() < 0.15 and np.ptp(rows) > 380 and np.ptp(columns) < 2 * np.ptp(rows)
            assert max(len(ring) for ring in row["rings"]) > 100
            points = np.concatenate([np.array(ring) for ring in row["rings"]])
            assert points.min() >= 0 and points[:, 0].max() < right - left and points[:, 1].max() < bottom - top


def test_the_table_of_the_notebook_holds_promises_and_overlaps() -> None:
    lines = (MEASURE / "trust.csv").read_text().splitlines()
    assert lines[0] == "promised,true,kind,way" and len(lines) > 100
    values = np.array([line.split(",")[:2] for line in lines[1:]], float)
    assert values.min() >= 0 and values.max() <= 1
