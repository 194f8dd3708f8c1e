"""Runs the program as a person would, in an empty home, and watches it from outside and from inside."""

from __future__ import annotations

import os
import re
import shutil
import subprocess
import sys
from collections.abc import Callable
from dataclasses import dataclass
from functools import cache
from pathlib import Path

import pytest

WATCHED = "%network,execve,open,openat,creat"
IN_CI = bool(os.environ.get("CI") or os.environ.get("SILHOUETTE_CI"))


@cache
def strace() -> str | None:
    """The tool that sees every call to the system; None where it is missing or may not watch."""
    found = shutil.which("strace")
    if found is None:
        return None
    tried = subprocess.run([found, "-f", "-qq", "--seccomp-bpf", "-o", os.devnull, sys.executable, "-c", ""],
                           capture_output=True)
    return None if tried.returncode else found


@pytest.fixture
def needs_strace() -> None:
    """Fails in CI where the proof from outside cannot be made; elsewhere skips, loudly."""
    if strace() is None:
        why = "NOT PROVED that nothing leaves this computer: strace is missing, or may not watch here"
        if IN_CI:
            pytest.fail(why)
        pytest.skip(why)


@dataclass(frozen=True)
class Run:
    """One watched run, in a folder of its own with ``home``, ``tmp`` and ``here`` (where it starts)."""

    place: Path
    code: int
    said: str

    @property
    def attempts(self) -> str:
        """What Python code tried to connect to, a line each."""
        record = self.place / "attempts"
        return record.read_text(encoding="utf-8") if record.exists() else ""

    @property
    def calls(self) -> list[str]:
        """The watched calls to the system, a line each, without the process id."""
        lines = (self.place / "calls").read_text(encoding="utf-8", errors="replace").splitlines()
        return [re.sub(r"^\d+ +", "", line) for line in lines]

    @property
    def left(self) -> set[str]:
        """Everything in its home and its temporary folder, ``home/...`` or ``tmp/...``."""
        return {p.relative_to(self.place).as_posix() for top in ("home", "tmp") for p in (self.place / top).rglob("*")}


def _watched(
    place: Path, *python: str | Path, start: Path | None = None, watch: bool = True,
    meanwhile: Callable[[subprocess.Popen[str]], str] | None = None,
) -> Run:
    """Run Python with these arguments in an empty home, watched by both watchers.

    It starts in ``here`` of its folder, or in ``start``. Without ``watch`` the watcher inside Python is left out, so
    that the one outside sees what would happen. A program that serves is used by ``meanwhile``, which ends it and gives
    what it said; it may listen on the loopback address.
    """
    for folder in ("home", "tmp", "here"):
        (place / folder).mkdir(parents=True)
    home, tmp = str(place / "home"), str(place / "tmp")
    kept = {k: v for k, v in os.environ.items() if k in ("PATH", "SYSTEMROOT", "LANG", "LC_ALL", "PYTHONPATH")}
    paths = [str(Path(__file__).parent / "watch")] * watch + [p for p in [kept.get("PYTHONPATH")] if p]
    given = {**kept, "HOME": home, "USERPROFILE": home, "LOCALAPPDATA": home, "APPDATA": home,
             "TMPDIR": tmp, "TMP": tmp, "TEMP": tmp, "PYTHONPATH": os.pathsep.join(paths),
             "PYTHONDONTWRITEBYTECODE": "1", "OMP_NUM_THREADS": "1", "ATTEMPTS": str(place / "attempts")}
    tool = strace()
    outside = [] if tool is None else [tool, "-f", "-qq", "-yy", "--seccomp-bpf", "-e", f"trace={WATCHED}",
                                       "-o", str(place / "calls")]
    if meanwhile is not None:
        child = subprocess.Popen([*outside, sys.executable, *map(str, python)], cwd=start or place / "here",
                                 env=given | {"LISTENS": "127.0.0.1"}, text=True, stdout=subprocess.PIPE,
                                 stderr=subprocess.PIPE)
        said = meanwhile(child)
        return Run(place, child.wait(300), said)
    told = subprocess.run([*outside, sys.executable, *map(str, python)], cwd=start or place / "here", env=given,
                          capture_output=True, text=True, timeout=300)
    return Run(place, told.returncode, told.stdout + told.stderr)


@pytest.fixture(scope="session")
def watched() -> Callable[..., Run]:
    """``watched(place, *arguments of Python, start=, watch=, meanwhile=)``, see :func:`_watched`."""
    return _watched
