"""What the tables hold: nothing that a spreadsheet would run, and every number as it was."""

from __future__ import annotations

import csv
import io
import json
from dataclasses import replace
from pathlib import Path

import numpy as np
import pytest
from hypothesis import given
from hypothesis import strategies as st

from silhouette import tables
from silhouette.reading.circle import walk_round
from silhouette.records import Pose, Stop, View
from silhouette.texts import csv_cell


def pose_called(name: str) -> Pose:
    views = tuple(View(Stop(i, Path(name.replace("/", "_") or "x"), name, 90.0 * i, "name"), 1.0, "backdrop",
                       problem=name) for i in range(2))
    return Pose(name, Path("x"), views, walk_round(views), None, None)


@pytest.mark.parametrize("name", ["=cmd|' /C calc'!A1", "+1+1", "-2+3+cmd|' /C calc'!A1", "@SUM(1)", "\t=1", "\r=1",
                                  "\n=1", " =1+1", "＝1+1", "\x00=1"])
def test_a_name_is_no_formula_in_the_table(name: str) -> None:
    rows = list(csv.DictReader(io.StringIO(tables.views_csv([pose_called(name)]))))
    for row in rows:
        for cell in (row["pose"], row["source"], row["name"], row["problem"]):
            assert cell.startswith("'") and not any(ord(letter) < 32 for letter in cell)
        assert row["angle"] in ("0.0", "90.0")


@pytest.mark.parametrize("cell", [-1, -1.5, 0, None, True, "-45", "+5", "-0.5", "-0,5", "", "hauling", "a=b", "'x",
                                  "1-2"])
def test_numbers_and_plain_texts_stay_as_they_are(cell: object) -> None:
    assert csv_cell(cell) is cell or csv_cell(cell) == cell


@given(st.text())
def test_any_text_is_safe_and_keeps_its_letters(text: str) -> None:
    cell = csv_cell(text)
    cell.encode()
    assert not cell.lstrip().startswith(("=", "@", "\t", "\r"))
    assert cell.removeprefix("'") == tables.printable(text).removeprefix("'")


def test_negative_numbers_of_a_table_are_numbers() -> None:
    pose = pose_called("x")
    views = tuple(replace(v, stop=replace(v.stop, angle=-45.0)) for v in pose.views)
    rows = list(csv.DictReader(io.StringIO(tables.views_csv([replace(pose, views=views)]))))
    assert {row["angle"] for row in rows} == {"-45.0"} and {row["readability"] for row in rows} == {""}


def test_python_and_json_keep_the_true_name() -> None:
    name = "=1\tcaf\udce9"
    assert set(tables.views_table([pose_called(name)])["pose"]) == {name}
    text = tables.to_json(tables.pose_to_dict(pose_called(name)))
    assert json.loads(text.encode())["name"] == name


def test_a_table_of_no_poses_is_empty() -> None:
    assert tables.views_csv([]).strip() == "" and np.isnan(csv_cell(np.nan))
