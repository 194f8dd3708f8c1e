"""Two runs on the same pictures leave the same files, byte for byte: whatever the clock, the hash seed, the processes.

Hidden files are left out: ``.known`` is a memory for the next run, an archive that bears the time it was packed.
"""

from __future__ import annotations

import os
import re
import shutil
import subprocess
import sys
from collections.abc import Callable, Iterator
from concurrent.futures import ThreadPoolExecutor
from pathlib import Path

import numpy as np
import pytest

RUNS: dict[str, dict[str, str]] = {
    "first": {"PYTHONHASHSEED": "1", "TZ": "UTC", "jobs": "1"},
    "second": {"PYTHONHASHSEED": "4242", "TZ": "Pacific/Kiritimati", "SOURCE_DATE_EPOCH": "1", "jobs": "2"},
}


@pytest.fixture(scope="module")
def runs(tmp_path_factory: pytest.TempPathFactory) -> Iterator[dict[str, Path]]:
    """What every command writes, once by each of ``RUNS``, from the same pictures."""
    root = tmp_path_factory.mktemp("repeatable")
    turn = Path(__file__).parent / "data" / "rendered" / "turn"
    for pose, every in (("whole", 1), ("half", 2)):
        (root / "poses" / pose).mkdir(parents=True)
        for picture in sorted(turn.glob("*.jpg"))[::every]:
            shutil.copy(picture, root / "poses" / pose / picture.name)

    def run(name: str) -> Path:
        out = root / name
        out.mkdir()
        told = {**os.environ, **RUNS[name], "OMP_NUM_THREADS": "1", "MPLBACKEND": "Agg"}
        jobs = told.pop("jobs")
        whole, half = root / "poses" / "whole", root / "poses" / "half"
        few = ["--work-px", "400", "--jobs", jobs]
        said = []
        for command in (
            ["score", whole, "-o", out / "score", "--masks", "--photos", *few],
            ["rank", whole, half, "-o", out / "rank", "--jitter", "2", *few],
            ["check", half, "-o", out / "check", *few],
            ["export", half, "-o", out / "set", "--scale", "1:8", "--height", "1.7", "--originals", *few],
            ["armature", whole, "-o", out / "armature", "--height", "1.7", *few],
            ["plan", "-o", out / "plan.pdf"],
            ["plan", "-o", out / "plan.png"],
        ):
            done = subprocess.run([sys.executable, "-m", "silhouette.cli", *map(str, command)], env=told, text=True,
                                  capture_output=True, cwd=root, check=False)
            assert done.returncode in (0, 1) and "Traceback" not in done.stderr, done.stderr
            said.append(done.stdout.replace(str(out), "OUT"))
        (out / "terminal.txt").write_text("".join(said), encoding="utf-8")
        return out

    with ThreadPoolExecutor() as pool:
        yield dict(zip(RUNS, pool.map(run, RUNS), strict=True))


def files_in(folder: Path) -> dict[str, bytes]:
    inside = [path.relative_to(folder) for path in sorted(folder.rglob("*")) if path.is_file()]
    return {path.as_posix(): (folder / path).read_bytes() for path in inside
            if not any(part.startswith(".") for part in path.parts)}


def test_every_file_is_the_same_in_both_runs(runs: dict[str, Path]) -> None:
    first, second = (files_in(runs[name]) for name in RUNS)
    assert list(first) == list(second)
    assert len(first) >= 60 and {Path(name).suffix for name in first} >= {
        ".html", ".pdf", ".png", ".jpg", ".json", ".csv", ".svg", ".txt", ".stl", ".3mf"}
    assert [name for name in first if first[name] != second[name]] == []


def test_no_file_bears_the_date(runs: dict[str, Path]) -> None:
    for name, data in files_in(runs["first"]).items():
        if name.endswith(".pdf"):
            assert b"CreationDate" not in data and b"ModDate" not in data, name
        if name.endswith(".png"):
            assert b"tIME" not in data[:200] and b"tEXt" not in data[:400], name


def test_no_measure_rests_on_a_root_that_hangs_on_the_address_of_its_picture() -> None:
    """The last digits of ``cv2.magnitude`` differ with where its pictures lie, so from run to run, and with them the
    limb separation. It is too seldom in one process to be caught there, so the call itself is what is looked for."""
    import silhouette

    package = Path(silhouette.__file__).parent
    read = [path for path in package.rglob("*.py") if "studio" not in path.relative_to(package).parts]
    assert [path.name for path in read
            if re.search(r"cv2\.(magnitude|cartToPolar|polarToCart|phase)\(", path.read_text(encoding="utf-8"))] == []


def test_the_reader_answers_the_same_on_one_thread_and_on_many(capsule_mask: Callable[..., np.ndarray]) -> None:
    import cv2

    from silhouette.reading import reader
    from silhouette.shape.outline import outline_of

    before = cv2.getNumThreads()
    line = outline_of(capsule_mask(30))
    assert line is not None
    try:
        told = []
        for threads in (1, 2, 4):
            cv2.setNumThreads(threads)
            told.append(reader.read_body(line))
            assert cv2.getNumThreads() == threads
    finally:
        cv2.setNumThreads(before)
    assert told[0] == told[1] == told[2]
