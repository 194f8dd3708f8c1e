"""Turns that are none, and tapes as a stranger might write them: an armature, or one sentence that says why not."""

from __future__ import annotations

import shutil
import traceback
from pathlib import Path

import cv2
import numpy as np
from campaign import drawn, mutate, samples, tables
from campaign.harness import LIMIT_S, Case, caught, within
from hypothesis import strategies as st

QUICK = ("--work-px", 200)
ROUND = tuple(range(0, 360, 30))
WAYS = ("whole", "one", "half", "cropped", "two", "nobody", "sizes", "mutated", "words", "results", "clip", "once")
JOINTS = ("crown", "neck", "Left Knee", "knee left", "shoulder right", "elbow", "hip_left", "hand end right", "toes")
TAPE = st.one_of(
    st.builds(
        lambda head, rows, mark, end, encoding: end.join([head, *map(mark.join, rows)]).encode(encoding, "replace"),
        st.sampled_from(("from,to,mm", "From;To;MM", "from\tto\tmm\tnote", "from,to", "", "# mine\nfrom,to,mm")),
        st.lists(
            st.tuples(st.sampled_from(JOINTS), st.sampled_from(JOINTS), st.one_of(tables.CELL, st.just("312"))),
            max_size=6,
        ),
        st.sampled_from((",", ";", "\t")),
        st.sampled_from(("\n", "\r\n", "\r")),
        tables.ENCODING,
    ),
    tables.TABLE,
    st.binary(max_size=200),
)


def run(case: Case) -> None:
    """Every third case a block of tapes, straight to their reader; the others one turn through the command."""
    if case.number % 3 == 1:
        drawn.examples(case, TAPE, lambda data: _read(case, data))
        return
    home, dice = case.fresh(), case.dice
    way = WAYS[(case.number - (case.number + 1) // 3) % len(WAYS)]
    turn = _turn(home / "turn", way, case)
    words: list[object] = ["armature", turn, *QUICK, "--height", "1.7"]
    if dice.random() < 0.3:
        (home / "tape.csv").write_bytes(dice.choice((b"from,to,mm\nneck,crown,240\n", b"\xff" * 99, b"from,to,mm\n")))
        words += ["--tape", home / "tape.csv"]
    case.attack([*words, "-o", home / "out"], codes=(0, 2) if way in ("whole", "mutated", "clip") else (2,),
                out=home / "out", originals=[turn])


def _turn(place: Path, way: str, case: Case) -> Path:
    """Something at ``place`` that is taken for a turn, or is one."""
    if way == "clip":
        place = place.with_suffix(".mp4")
        place.write_bytes(samples.clip("phone.mp4"))
        return place
    if way == "words":
        place.mkdir()
        (place / "notes.txt").write_text("Ask about the rope.", encoding="utf-8")
        return place
    samples.pose(place, {"one": (0,), "half": (0, 30, 60, 90, 120, 150, 180, 15, 45)}.get(way, ROUND))
    files = sorted(place.iterdir())
    if way == "results":
        (place / ".silhouette.json").write_text('{"kind": "armature", "files": {}, "known": []}', encoding="utf-8")
    elif way == "once":  # the same view all round
        for file in files[1:]:
            shutil.copyfile(files[0], file)
    elif way == "mutated":
        for file in case.dice.sample(files, case.dice.randint(1, len(files))):
            file.write_bytes(mutate.mutate(case.dice, file.read_bytes(), [file.read_bytes()]))
    elif way != "whole":
        for k, file in enumerate(files):
            cv2.imwrite(str(file), _spoilt(cv2.imread(str(file)), way, k))
    return place


def _spoilt(picture: np.ndarray, way: str, number: int) -> np.ndarray:
    """A still of which something is wrong for a whole turn."""
    if way == "cropped":
        return picture[50:100]
    if way == "two":
        return np.concatenate([picture, picture], axis=1)
    if way == "nobody":
        return np.full_like(picture, 190)
    return cv2.resize(picture, (120 + 10 * number, 160 + 9 * number)) if way == "sizes" else picture


def _read(case: Case, data: bytes) -> None:
    from silhouette.errors import SilhouetteError
    from silhouette.intake.tape import read_tape

    path = Path("tape.csv").resolve()
    path.write_bytes(data)
    case.note(["read_tape", data[:300]])
    with within(LIMIT_S), caught() as said:
        try:
            lines = read_tape(path)
        except SilhouetteError:
            lines = ()
        except BaseException:
            case.find("tracebacks", traceback.format_exc())
            lines = ()
        noise = "".join(said())
    if noise:
        case.find("other", f"a library speaks: {noise}")
    if not all(10 <= one.mm <= 3000 and one.start != one.end for one in lines):
        case.find("other", f"cannot be lengths: {lines}")
    if path.read_bytes() != data:
        case.find("originals changed", str(path))
