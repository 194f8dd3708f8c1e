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
from silhouette.records import BlindSpot, CloseUp, Note, Pose, PoseRing, RingCamera, Stop, View
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


def pose_of_rings() -> Pose:
    one = pose_called("keeper")
    views = {ring: tuple(replace(v, stop=replace(v.stop, ring=ring)) for v in one.views) for ring in ("low", "level")}
    low = PoseRing("low", views["low"], one.round, None, None, RingCamera("given", 0.25, None, 6.04, 2.3, 0.6, 0.45))
    inner = Note.of("unlike one body", angles=[90.0, float("nan")], views=2)
    notes = (Note.of("of ring", ring="low", note=inner.plain),
             Note.of("ring counts", ring="level", eye=1.054, lens=1.05, known=False))
    return replace(one, views=views["level"], other_rings=(low,), camera=RingCamera("unknown"), notes=notes,
                   blind_spots=(BlindSpot("hand", "left", 44.96, 0.7218, 0.123456, "level"),),
                   close_ups=(CloseUp("hands", (Path("keeper/close-ups/hands/1.jpg"),)),))


def test_every_view_says_its_ring_and_every_ring_what_it_reads() -> None:
    pose = pose_of_rings()
    told = json.loads(tables.to_json(tables.pose_to_dict(pose)))
    assert told["ring"] == "level" and [one["ring"] for one in told["rings"]] == ["low", "level"]
    assert [view["ring"] for view in told["views"]] == ["level", "level", "low", "low"]
    assert told["rings"][0]["stops"] == 2 and told["rings"][1]["camera"]["from"] == "unknown"
    assert told["rings"][0]["camera"] == {
        "from": "given", "height": 0.25, "height_sure": None, "tilt_deg": 6.0, "distance": 2.3, "waist": 0.6,
        "height_m": 0.45, "turned_deg": None}
    assert told["close_ups"] == [{"name": "hands", "files": ["1.jpg"]}]
    (spot,) = told["blind_spots"]
    assert (spot["part"], spot["side"], spot["angle"], spot["height"], spot["clear"]) == (
        "hand", "left", 45.0, 0.722, 0.123)
    assert spot["said"] == ("Figure's left hand stands clear in no view. Take a close-up from 45 degrees, at 1.30 m, "
                            "chest height.")
    rows = list(csv.DictReader(io.StringIO(tables.views_csv([pose]))))
    assert [row["ring"] for row in rows] == ["level", "level", "low", "low"]


def test_notes_of_a_ring_are_plain_data_however_deep_they_lie() -> None:
    told = json.loads(tables.to_json(tables.pose_to_dict(pose_of_rings())))
    assert told["note_kinds"][0] == {
        "kind": "of ring", "ring": "low",
        "note": {"kind": "unlike one body", "angles": [90.0, None], "views": 2}}
    assert told["note_kinds"][1]["eye"] == 1.05, "metres to the centimetre"


def test_a_pose_of_one_ring_has_one_and_was_not_asked_for_blind_spots() -> None:
    told = tables.pose_to_dict(pose_called("x"))
    assert [one["ring"] for one in told["rings"]] == ["level"] and told["rings"][0]["camera"] is None
    assert told["blind_spots"] is None and told["close_ups"] == []
