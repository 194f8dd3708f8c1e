"""The command line as a person meets it: tables, files, one clear sentence for what is wrong, nothing half-written."""

from __future__ import annotations

import json
import os
import shutil
import signal
import subprocess
import sys
import time
from collections.abc import Callable
from pathlib import Path

import cv2
import numpy as np
import pytest

from silhouette import cli
from silhouette.cli import flags

EIGHT = range(0, 360, 45)


def run(*words: object) -> int:
    return cli.main([str(w) for w in words])


def only_line(capsys: pytest.CaptureFixture[str]) -> str:
    """What was said on the error stream: one line, no traceback."""
    told = capsys.readouterr().err.strip()
    assert "Traceback" not in told and len(told.splitlines()) == 1, told
    return told


def test_score_writes_all_its_files(
    drawn_turn: Callable[..., Path], tmp_path: Path, capsys: pytest.CaptureFixture[str]
) -> None:
    out = tmp_path / "out"
    assert run("score", drawn_turn("keeper", EIGHT), "-o", out, "--masks") == 0
    told = capsys.readouterr().out
    assert max(len(line) for line in told.splitlines() if str(out) not in line) <= 80
    assert "\x1b" not in told, "no colour codes when piped"
    for name in ("result.json", "views.csv", "chart.png", "chart.pdf", "sheet.png", "critique.pdf", "report.html"):
        assert (out / name).stat().st_size > 500, name
    assert json.loads((out / "result.json").read_text())["poses"][0]["name"] == "keeper"
    mask = cv2.imread(str(out / "masks" / "keeper" / "045.png"), cv2.IMREAD_UNCHANGED)
    assert mask.shape == (600, 450) and set(np.unique(mask)) == {0, 255}


def test_a_second_run_replaces_its_own_results_and_nothing_else(
    drawn_turn: Callable[..., Path], tmp_path: Path, capsys: pytest.CaptureFixture[str]
) -> None:
    out, folder = tmp_path / "out", drawn_turn("keeper", EIGHT)
    assert run("score", folder, "-o", out, "--masks") == 0 == run("score", folder, "-o", out)
    assert not (out / "masks").exists(), "what the first run wrote and the second did not is gone"
    assert sorted(p.name for p in tmp_path.iterdir()) == ["keeper", "out"]
    capsys.readouterr()
    (out / "mine.txt").write_text("notes")
    assert run("score", folder, "-o", out) == 2 and "mine.txt" in only_line(capsys)
    assert (out / "mine.txt").read_text() == "notes" and (out / "result.json").is_file()
    (out / "mine.txt").unlink()
    (out / "views.csv").write_text("my own numbers")
    assert run("score", folder, "-o", out) == 2 and "views.csv" in only_line(capsys)
    assert (out / "views.csv").read_text() == "my own numbers"
    assert run("check", folder, "-o", out) == 2 and "results of score or rank" in only_line(capsys)


def test_a_page_replaces_only_a_page_of_its_own(tmp_path: Path, capsys: pytest.CaptureFixture[str]) -> None:
    for name in ("plan.pdf", "plan.png"):
        page = tmp_path / name
        assert run("plan", "-o", page) == 0 == run("plan", "--height", "1.6", "-o", page)
        mine = page.read_bytes() + b"my remarks"
        page.write_bytes(mine)
        capsys.readouterr()
        assert run("plan", "-o", page) == 2 and "not a page that this program wrote" in only_line(capsys)
        assert page.read_bytes() == mine
    assert sorted(p.name for p in tmp_path.iterdir()) == ["plan.pdf", "plan.png"]


@pytest.mark.parametrize(
    ("words", "said"),
    [
        (["score", "nowhere"], "nowhere: does not exist"),
        (["score", "empty"], "holds no pictures"),
        (["rank", "empty"], "neither pictures nor folders"),
        (["score", "notes.txt"], "neither a picture nor a clip"),
        (["score", "broken.jpg"], "broken.jpg: is not a picture"),
        (["score", "dot.png"], "1 x 1 pixels"),
        (["score", "wall.png"], "no figure"),
        (["score", "keeper", "--span", "0"], "span"),
        (["score", "keeper", "--empty", "nowhere.jpg"], "nowhere.jpg: cannot be read"),
        (["rank", "keeper", "trials/a", "--empty", "notes.txt"], "notes.txt: is not a picture"),
        (["check", "keeper", "--empty", "dot.png"], "1 x 1 pixels"),
        (["export", "keeper", "-o", "set", "--empty", "empty"], "empty: is a folder"),
        (["score", "keeper", "--empty", "wall.png", "--cutter", "neural"], "takes no empty picture"),
        (["score", "keeper", "--empty", "out/wall.png", "-o", "out"], "out: holds the pictures"),
        (["score", "rooms/empty.png"], "not as a pose"),
        (["score", "rooms"], "rooms: holds no stops"),
        (["rank", "rooms"], "rooms: holds neither pictures nor folders of pictures"),
        (["score", "keeper", "-o", "keeper"], "where the pictures lie"),
        (["score", "keeper", "-o", "notes.txt"], "is a file, not a folder"),
        (["score", "keeper", "-o", "notes.txt/out"], "is a file, not a folder"),
        (["score", "trials"], "silhouette rank"),
        (["score", "keeper", "--cutter", "neural", "--model", "nowhere.onnx"], "nowhere.onnx"),
        (["plan", "--height", "9"], "9"),
        (["score", "keeper", "--jobs", "0"], "jobs"),
        (["score", "keeper", "--jobs", "5000"], "jobs"),
        (["score", "keeper", "--jitter", "-1"], "jitter"),
        (["score", "keeper", "--seed", "-1"], "seed"),
        (["score", "keeper", "--start", "999"], "start"),
        (["check", "keeper", "--start", "nan"], "start"),
        (["score", "keeper", "--arc", "0-999"], "arc"),
        (["score", "keeper", "--work-px", "-5"], "work_px"),
        (["export", "keeper", "-o", "set", "--scale", "0", "--height", "1.7"], "1:0"),
        (["export", "keeper", "-o", "set", "--scale", "-4", "--height", "1.7"], "1:-4"),
        (["export", "keeper", "-o", "set", "--scale", "nan", "--height", "1.7"], "1:nan"),
        (["export", "keeper", "-o", "set", "--scale", "4"], "real height"),
        (["export", "keeper", "-o", "set", "--height", "-1"], "height"),
        (["export", "keeper", "-o", "set", "--head", "0"], "head"),
        (["export", "keeper", "-o", "set", "--sheets-at", "0,90"], "--scale"),
    ],
)
def test_bad_input_gets_one_sentence_and_exit_code_2(
    drawn_turn: Callable[..., Path],
    tmp_path: Path,
    monkeypatch: pytest.MonkeyPatch,
    capsys: pytest.CaptureFixture[str],
    words: list[str],
    said: str,
) -> None:
    monkeypatch.chdir(tmp_path)
    drawn_turn("keeper", [0, 45])
    (tmp_path / "empty").mkdir()
    (tmp_path / "trials" / "a").mkdir(parents=True)
    (tmp_path / "trials" / "a" / "000.jpg").touch()
    (tmp_path / "notes.txt").write_text("notes")
    (tmp_path / "broken.jpg").write_text("no")
    cv2.imwrite("dot.png", np.zeros((1, 1, 3), np.uint8))
    cv2.imwrite("wall.png", np.full((400, 300, 3), 170, np.uint8))
    for folder, name in (("rooms", "empty.png"), ("out", "wall.png")):
        (tmp_path / folder).mkdir()
        shutil.copy("wall.png", tmp_path / folder / name)
    before = sorted(p.name for p in tmp_path.rglob("*"))
    assert run(*words) == 2
    assert said in only_line(capsys)
    assert sorted(p.name for p in tmp_path.rglob("*")) == before


@pytest.mark.parametrize(
    ("words", "said"),
    [
        (["score", "keeper", "--jobs", "two"], "--jobs"),
        (["export", "keeper", "-o", "set", "--scale", "four"], "--scale"),
        (["export", "keeper", "-o", "set", "--sheets-at", "999"], "--sheets-at"),
        (["score"], "POSE"),
    ],
)
def test_a_flag_that_cannot_be_read_gets_one_sentence_too(
    capsys: pytest.CaptureFixture[str], words: list[str], said: str
) -> None:
    with pytest.raises(SystemExit) as stopped:
        run(*words)
    assert stopped.value.code == 2
    assert said in only_line(capsys)


def test_a_start_below_zero_goes_the_other_way_round(drawn_turn: Callable[..., Path], tmp_path: Path) -> None:
    folder = drawn_turn("keeper", [0, 45, 90, 135], stem="IMG_{i}")
    assert run("score", folder, "--start", "-90", "-o", tmp_path / "out") == 0
    views = json.loads((tmp_path / "out" / "result.json").read_text())["poses"][0]["views"]
    assert {v["name"]: v["angle"] for v in views}["IMG_0"] == 270


def test_a_closed_pipe_loses_no_results(drawn_turn: Callable[..., Path], tmp_path: Path) -> None:
    folder, out = drawn_turn("keeper", [0, 45, 90]), tmp_path / "out"
    command = f'"{sys.executable}" -m silhouette.cli score "{folder}" -o "{out}" | true'
    subprocess.run(["bash", "-c", command], check=True, capture_output=True)
    assert (out / "result.json").is_file()


def test_a_full_disk_leaves_nothing_half_written(drawn_turn: Callable[..., Path], tmp_path: Path) -> None:
    resource = pytest.importorskip("resource")
    folder, out = drawn_turn("keeper", [0, 45]), tmp_path / "out"
    done = subprocess.run(
        [sys.executable, "-m", "silhouette.cli", "score", str(folder), "-o", str(out)],
        capture_output=True,
        text=True,
        preexec_fn=lambda: resource.setrlimit(resource.RLIMIT_FSIZE, (20_000, 20_000)),
        env={**os.environ, "MPLCONFIGDIR": str(tmp_path / "mpl")},
    )
    assert done.returncode == 2, done.stderr
    (said,) = done.stderr.splitlines()
    assert str(out) in said and "written" in said
    assert not out.exists() and not [p for p in tmp_path.iterdir() if ".partial" in p.name]


@pytest.mark.skipif(sys.platform == "win32", reason="Ctrl-C is sent otherwise there")
def test_ctrl_c(drawn_turn: Callable[..., Path], tmp_path: Path) -> None:
    folder, out = drawn_turn("keeper", range(0, 360, 5)), tmp_path / "out"
    process = subprocess.Popen(
        [sys.executable, "-m", "silhouette.cli", "score", str(folder), "-o", str(out)],
        stdout=subprocess.PIPE,
        stderr=subprocess.PIPE,
        text=True,
    )
    time.sleep(1.5)
    process.send_signal(signal.SIGINT)
    _, told = process.communicate(timeout=60)
    assert process.returncode == 130, told
    assert "stopped" in told and "Traceback" not in told
    assert not out.exists() and not [p for p in tmp_path.iterdir() if ".partial" in p.name]


def test_every_command_has_help_with_an_example(capsys: pytest.CaptureFixture[str]) -> None:
    parser = cli.build_parser()
    commands = next(a for a in parser._actions if isinstance(a.choices, dict)).choices
    assert {"score", "rank", "demo", "plan", "check", "export"} <= set(commands)
    for name, command in commands.items():
        text = command.format_help()
        assert f"silhouette {name}" in text.split("example:")[1], name
        assert "exit codes" in text
        for action in command._actions:
            assert action.help, f"{name} {action.dest} has no help"


@pytest.mark.parametrize(("wide", "most"), [("44", 44), ("20", 40), ("200", 80)])
def test_what_is_printed_is_as_wide_as_the_terminal(
    drawn_turn: Callable[..., Path],
    monkeypatch: pytest.MonkeyPatch,
    capsys: pytest.CaptureFixture[str],
    wide: str,
    most: int,
) -> None:
    monkeypatch.setenv("COLUMNS", wide)
    folder = drawn_turn("keeper", EIGHT, stem="IMG_{i}")
    assert run("score", folder) == 0 == run("rank", folder) == run("plan")
    assert run("check", folder) in (0, 1)
    lines = capsys.readouterr().out.splitlines()
    assert most - 12 <= max(map(len, lines)) <= most


def test_help_is_instant() -> None:
    code = (
        "import sys, silhouette.cli as c\n"
        "try: c.main(['--help'])\n"
        "except SystemExit: pass\n"
        "heavy = [m for m in ('numpy', 'cv2', 'matplotlib', 'shapely', 'pandas', 'av', 'rembg') if m in sys.modules]\n"
        "assert not heavy, heavy"
    )
    subprocess.run([sys.executable, "-c", code], check=True, capture_output=True)


def test_poses_may_be_meant_differently(drawn_turn: Callable[..., Path], tmp_path: Path) -> None:
    poses = [drawn_turn("a", EIGHT, arms="down"), drawn_turn("b", EIGHT, arms="down")]
    assert run("rank", *poses, "--intent", "a=closed", "-o", tmp_path / "out") == 0
    told = json.loads((tmp_path / "out" / "result.json").read_text())["poses"]
    assert {p["name"]: p["intent"] for p in told} == {"a": "closed", "b": "open"}
    mean = {p["name"]: p["readability"]["mean"] for p in told}
    assert mean["a"] > mean["b"], "a closed pose is not marked down for want of gaps"
    assert run("rank", *poses, "--intent", "c=closed") == 2


def test_an_arc_is_read_as_people_write_it() -> None:
    assert flags.arc("300-60") == (300, 60)
    with pytest.raises(SystemExit):
        cli.build_parser().parse_args(["score", "x", "--arc", "front"])
