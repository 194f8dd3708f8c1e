"""``silhouette armature`` as a person meets it: what it passes on, what it says, what it refuses, what it leaves."""

from __future__ import annotations

import os
import stat
from collections.abc import Callable
from dataclasses import replace
from pathlib import Path
from typing import Any

import pytest

from silhouette import armature, cli
from silhouette.cli.flags import print_scale
from silhouette.records import Note
from silhouette.records_space import Taped
from silhouette.settings import Settings
from silhouette.show import section_sheets
from silhouette.space import skeleton as sk
from tests.space import made

EIGHT = range(0, 360, 45)
NAMES = [
    "about.txt", "armature.html", "armature.json", "armature.pdf", "calipers.csv", "massing.3mf", "massing.stl",
    "sections.pdf", "sections.svg",
]


def run(*words: object) -> int:
    return cli.main([str(w) for w in words])


def only_line(capsys: pytest.CaptureFixture[str]) -> str:
    """What was said on the error stream: one line, no traceback."""
    told = capsys.readouterr().err.strip()
    assert "Traceback" not in told and len(told.splitlines()) == 1, told
    return told


@pytest.fixture
def found(monkeypatch: pytest.MonkeyPatch) -> dict[str, Any]:
    """Everything is found at once, as a figure made by hand; gives what was asked for."""
    asked: dict[str, Any] = {}

    def armature_of(path: Path, **how: Any) -> Any:
        asked.update(how, path=path)
        skeleton = made.skeleton_of(unsure=["wrist left"], missing=["hand end left"])
        tape = [Taped("shoulder left", "elbow left", 312.0)] if how["tape"] else []
        whole = made.armature_of(scale=how["scale"], shrinkage=how["shrinkage"], skeleton=skeleton, tape=tape,
                                 notes=(Note.of("stops moved", names=["045", "060"]),))
        return replace(whole, tape_factor=sk.suggested(whole.tape), fitted_to_tape=how["fit_to_tape"])

    monkeypatch.setattr(armature, "armature_of", armature_of)
    return asked


def test_every_flag_reaches_the_work(found: dict[str, Any], tmp_path: Path) -> None:
    (tmp_path / "turn").mkdir()
    assert run("armature", tmp_path / "turn", "-o", tmp_path / "out", "--height", "1.72") == 0
    plain = dict(found)
    assert (plain["height_m"], plain["pose_height_m"], plain["scale"], plain["shrinkage"]) == (1.72, None, 4.0, 0.0)
    assert (plain["tape"], plain["fit_to_tape"], plain["base"], plain["path"]) == (None, False, True, tmp_path / "turn")
    assert {name: plain[name] for name in ("span", "turn", "start", "cutter", "work_px", "jobs")} == {
        name: getattr(Settings(), name) for name in ("span", "turn", "start", "cutter", "work_px", "jobs")}
    (tmp_path / "tape.csv").write_text("from,to,mm\n")
    assert run("armature", tmp_path / "turn", "-o", tmp_path / "more", "--height", "1.8", "--pose-height", "1.3",
               "--scale", "1:6", "--shrinkage", "8.5", "--tape", tmp_path / "tape.csv", "--fit-to-tape", "--least", "3",
               "--every", "10", "--no-base", "--turn", "right", "--work-px", "600") == 0
    assert (found["height_m"], found["pose_height_m"], found["scale"], found["shrinkage"]) == (1.8, 1.3, 6.0, 8.5)
    assert (found["tape"], found["fit_to_tape"], found["base"]) == (tmp_path / "tape.csv", True, False)
    assert (found["least_mm"], found["every_mm"], found["turn"], found["work_px"]) == (3.0, 10.0, "right", 600)


@pytest.mark.parametrize(("text", "scale"), [("1:4", 4.0), ("4", 4.0), ("1:1", 1.0), ("2:1", 0.5), ("2:3", 1.5)])
def test_a_scale_may_be_smaller_or_larger_than_life(text: str, scale: float) -> None:
    assert print_scale(text) == scale


def test_it_says_what_one_builds_by(
    found: dict[str, Any], tmp_path: Path, capsys: pytest.CaptureFixture[str]
) -> None:
    (tmp_path / "turn").mkdir()
    (tmp_path / "tape.csv").write_text("from,to,mm\n")
    out = tmp_path / "out"
    assert run("armature", tmp_path / "turn", "-o", out, "--height", "1.7", "--shrinkage", "8", "--tape",
               tmp_path / "tape.csv") == 0
    lines = capsys.readouterr().out.splitlines()
    assert max(len(line) for line in lines if str(out) not in line) <= 80
    told = " ".join(lines)
    for said in (
        "from 24 stops. Scale 1:4, built 462 mm high, finished 425 mm after 8 % shrinkage.",
        "Of 18 joints 16 are sure.",
        "Figure's left wrist is not sure: ", "Figure's left hand end was not found:",
        "61.4 litres; the piece as built 1.23 litres", "The plumb line from the neck", "312 mm by the tape",
        "Nothing was changed.", "Left out, as the pose had moved: 045 and 060.",
    ):
        assert said in told, said
    listed = told.split(f"Written to {out}{os.sep}")[1].split(",")
    assert [name.strip() for name in listed] == NAMES == sorted(p.name for p in out.iterdir() if p.name[0] != ".")


def test_a_figure_that_leans_is_a_prompt(
    found: dict[str, Any], tmp_path: Path, capsys: pytest.CaptureFixture[str], monkeypatch: pytest.MonkeyPatch
) -> None:
    whole = made.armature_of()
    leaning = replace(whole, plumb=sk.plumb(whole.skeleton, (0.0, 0.6, 0.9), whole.footing))
    monkeypatch.setattr(armature, "armature_of", lambda path, **how: leaning)
    (tmp_path / "turn").mkdir()
    assert run("armature", tmp_path / "turn", "-o", tmp_path / "out", "--height", "1.7") == 0
    assert "needs a support from outside" in " ".join(capsys.readouterr().out.split())


# --------------------------------------------------------------------------------------------------- what it refuses


@pytest.mark.parametrize(
    ("words", "said"),
    [
        (["keeper", "--height", "9"], "height is 0.5 to 2.5 m, not 9"),
        (["keeper", "--height", "nan"], "height"),
        (["keeper", "--height", "1.7", "--pose-height", "0"], "pose height"),
        (["keeper", "--height", "1.7", "--scale", "0"], "scale"),
        (["keeper", "--height", "1.7", "--scale", "1:nan"], "scale"),
        (["keeper", "--height", "1.7", "--scale", "1:1000"], "scale"),
        (["keeper", "--height", "1.7", "--shrinkage", "-1"], "shrinkage"),
        (["keeper", "--height", "1.7", "--shrinkage", "100"], "shrinkage"),
        (["keeper", "--height", "1.7", "--least", "-1"], "least thickness"),
        (["keeper", "--height", "1.7", "--every", "0"], "distance of the sections"),
        (["keeper", "--height", "1.7", "--fit-to-tape"], "Give --tape FILE too."),
        (["keeper", "--height", "1.7", "--tape", "nowhere.csv"], "nowhere.csv"),
        (["keeper", "--height", "1.7", "--tape", "keeper"], "keeper"),
        (["keeper", "--height", "1.7", "--tape", "notes.txt"], "notes.txt: does not begin with from,to,mm"),
        (["keeper", "--height", "1.7"], "only 4 of its 4 stops can be used, 8 are needed"),
        (["half", "--height", "1.7"], "A half turn"),
        (["nowhere", "--height", "1.7"], "nowhere: does not exist"),
        (["notes.txt", "--height", "1.7"], "neither a picture nor a clip"),
        (["empty", "--height", "1.7"], "holds no pictures"),
        (["keeper", "--height", "1.7", "-o", "keeper"], "where the pictures lie"),
        (["keeper", "--height", "1.7", "-o", "keeper/out"], "lies among the pictures"),
        (["keeper", "--height", "1.7", "-o", "notes.txt"], "is a file, not a folder"),
        (["keeper", "--height", "1.7", "-o", "half"], "holds other things"),
    ],
)
def test_bad_input_gets_one_sentence_and_nothing_is_left(
    drawn_turn: Callable[..., Path], tmp_path: Path, monkeypatch: pytest.MonkeyPatch,
    capsys: pytest.CaptureFixture[str], words: list[str], said: str,
) -> None:
    monkeypatch.chdir(tmp_path)
    drawn_turn("keeper", range(0, 360, 90))
    drawn_turn("half", range(0, 181, 15))
    (tmp_path / "empty").mkdir()
    (tmp_path / "notes.txt").write_text("Ask about the rope.")
    before = {path: path.stat().st_mtime_ns for path in tmp_path.rglob("*")}
    line = ["armature", *words] if "-o" in words else ["armature", *words, "-o", "out"]
    assert run(*line, "--work-px", "400") == 2
    assert said in only_line(capsys)
    assert {path: path.stat().st_mtime_ns for path in tmp_path.rglob("*")} == before


@pytest.mark.parametrize("words", [["--height"], [], ["--height", "tall"], ["--height", "1.7", "--scale", "one"],
                                   ["--height", "1.7", "--profiles", "front"]])
def test_a_wrong_flag_is_said_in_one_sentence(
    words: list[str], tmp_path: Path, capsys: pytest.CaptureFixture[str]
) -> None:
    with pytest.raises(SystemExit) as ended:
        cli.build_parser().parse_args(["armature", str(tmp_path), "-o", str(tmp_path / "out"), *words])
    assert ended.value.code == 2 and len(only_line(capsys)) > 20


# ------------------------------------------------------------------------------------------------------ what it leaves


def test_results_are_private_and_replaced_only_when_asked(
    found: dict[str, Any], tmp_path: Path, capsys: pytest.CaptureFixture[str]
) -> None:
    (tmp_path / "turn").mkdir()
    line = ("armature", tmp_path / "turn", "-o", tmp_path / "out", "--height", "1.7")
    assert run(*line) == 0
    if os.name != "nt":
        assert stat.S_IMODE((tmp_path / "out").stat().st_mode) == 0o700
        assert {stat.S_IMODE(path.stat().st_mode) for path in (tmp_path / "out").iterdir()} == {0o600}
    first = {path.name: path.read_bytes() for path in (tmp_path / "out").iterdir()}
    capsys.readouterr()
    assert run(*line) == 2 and "is an armature already" in only_line(capsys)
    assert run(*line, "--overwrite") == 0
    assert {path.name: path.read_bytes() for path in (tmp_path / "out").iterdir()} == first, "the same files again"
    capsys.readouterr()
    (tmp_path / "out" / "mine.txt").write_text("notes")
    assert run(*line, "--overwrite") == 2 and "mine.txt" in only_line(capsys)
    assert (tmp_path / "out" / "mine.txt").read_text() == "notes"


@pytest.mark.parametrize("error", [OSError(28, "No space left on device"), KeyboardInterrupt(), MemoryError()])
def test_what_goes_wrong_half_way_leaves_nothing(
    found: dict[str, Any], tmp_path: Path, capsys: pytest.CaptureFixture[str], monkeypatch: pytest.MonkeyPatch,
    error: BaseException,
) -> None:
    def fails(*_: Any, **__: Any) -> bytes:
        raise error

    (tmp_path / "turn").mkdir()
    monkeypatch.setattr(section_sheets, "sections_pdf", fails)
    assert run("armature", tmp_path / "turn", "-o", tmp_path / "out", "--height", "1.7") in (2, 130)
    only_line(capsys)
    assert sorted(path.name for path in tmp_path.iterdir()) == ["turn"]


def test_an_armature_is_no_pose(
    found: dict[str, Any], tmp_path: Path, capsys: pytest.CaptureFixture[str]
) -> None:
    (tmp_path / "turn").mkdir()
    assert run("armature", tmp_path / "turn", "-o", tmp_path / "out", "--height", "1.7") == 0
    capsys.readouterr()
    assert run("score", tmp_path / "out") == 2 and "holds results of an earlier run" in only_line(capsys)
    assert run("check", tmp_path / "turn", "-o", tmp_path / "out") == 2 and "holds an armature" in only_line(capsys)
