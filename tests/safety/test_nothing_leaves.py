"""Nothing leaves this computer, and nothing is left on it but what was asked for.

Each command runs once as a person would run it, in an empty home. Two watchers look on: strace sees every call to the
system, of libraries written in C too; a hook in Python sees what Python code tries, with or without strace.
"""

from __future__ import annotations

import re
from collections.abc import Callable, Iterable, Iterator
from concurrent.futures import ThreadPoolExecutor
from fnmatch import fnmatch
from pathlib import Path
from typing import Any

import pytest

DATA = Path(__file__).parents[1] / "data" / "rendered"
SAMPLES = Path(__file__).parents[2] / "sample_poses"
COMMANDS: dict[str, tuple[str | Path, ...]] = {
    "demo": ("demo", "-o", "out"),
    "score": ("score", DATA / "turn", "-o", "out", "--masks", "--photos"),
    "rank": ("rank", DATA / "turn", SAMPLES / "oar", "--jobs", "2", "-o", "out"),
    "check": ("check", DATA / "clip.mp4", "-o", "out"),
    "export": ("export", DATA / "clip.mp4", "-o", "out", "--scale", "1:4", "--height", "1.7", "--originals"),
    "plan": ("plan", "--room", "6", "-o", "plan.pdf"),
}
LEFT = ("matplotlib", "fontlist-*.json", "fontconfig")
"""What may be left outside OUT, in the user's cache and settings folders; DEVELOPERS.md names each."""
STARTED = ("fc-list",)
"""Other programs that may be started; DEVELOPERS.md names each."""


@pytest.fixture(scope="module")
def runs(watched: Callable[..., Any], tmp_path_factory: pytest.TempPathFactory) -> Iterator[dict[str, Any]]:
    """Every command, run once; two at a time."""
    place = tmp_path_factory.mktemp("safety")
    with ThreadPoolExecutor(2) as pool:
        jobs = {name: pool.submit(watched, place / name, "-m", "silhouette.cli", *arguments)
                for name, arguments in COMMANDS.items()}
        yield {name: job.result() for name, job in jobs.items()}


# ---------------------------------------------------------------------------------- what the calls to the system say

def leaving(calls: Iterable[str]) -> list[str]:
    """The calls that open, use or ask for a connection to anything but a process on this computer."""
    bad = []
    for call in calls:
        name, _, rest = call.partition("(")
        if name == "socket":
            local = rest.startswith("AF_UNIX")
        elif name in ("connect", "bind", "sendto", "sendmsg", "sendmmsg"):
            local = "<UNIX" in rest.split(",")[0] and "resolve" not in rest
        elif name in ("listen", "accept", "accept4"):
            local = False
        else:
            continue
        if not local:
            bad.append(call)
    return bad


def started(calls: Iterable[str]) -> set[str]:
    """The programs that were started, by their name."""
    tried = (re.match(r'execve\("([^"]+)".*(= 0|<unfinished \.\.\.>)$', call) for call in calls)
    return {Path(found[1]).name for found in tried if found}


def written(calls: Iterable[str]) -> set[str]:
    """The files that were opened to be written."""
    tried = (re.match(r'(?:openat\([^,]*<([^>]*)>, |open\(|creat\()"([^"]+)"(.*)', call) for call in calls)
    return {str(Path(found[1] or "/", found[2])) for found in tried
            if found and (re.search(r"O_WRONLY|O_RDWR|O_CREAT", found[3]) or found[0].startswith("creat"))
            and not re.search(r"= -1 E", found[3])}


TRIES = """
import socket, subprocess
for what in (lambda: socket.create_connection(("127.0.0.1", 9), 1), lambda: socket.getaddrinfo("a.example", 1)):
    try:
        what()
    except OSError:
        pass
subprocess.run(["true"])
open("../beside", "w").close()
"""


def test_the_watcher_in_python_sees_a_connection_and_a_look_up(watched: Callable[..., Any], tmp_path: Path) -> None:
    """The control: it must see what the tests below say is not there."""
    attempts = watched(tmp_path / "run", "-c", TRIES).attempts
    assert "127.0.0.1" in attempts and "a.example" in attempts


def test_the_watcher_outside_sees_a_connection_and_a_look_up(needs_strace: None, watched: Callable[..., Any],
                                                             tmp_path: Path) -> None:
    calls = watched(tmp_path / "run", "-c", TRIES, watch=False).calls
    for tried in ("connect(", "socket(AF_INET"):
        assert any(tried in call for call in leaving(calls))
    assert "true" in started(calls) and str(tmp_path / "run/work/../beside") in written(calls)


@pytest.mark.parametrize("name", COMMANDS)
def test_command_does_its_work(runs: dict[str, Any], name: str) -> None:
    """So that the tests below are not passed by a program that stops at once."""
    assert runs[name].code in ((0, 1) if name == "check" else (0,)), runs[name].said
    assert "Written to" in runs[name].said


@pytest.mark.parametrize("name", COMMANDS)
def test_no_call_to_the_system_leaves_this_computer(needs_strace: None, runs: dict[str, Any], name: str) -> None:
    assert runs[name].calls, "strace saw nothing at all"
    assert not leaving(runs[name].calls)


@pytest.mark.parametrize("name", COMMANDS)
def test_no_python_code_tries_to_connect(runs: dict[str, Any], name: str) -> None:
    assert not runs[name].attempts


@pytest.mark.parametrize("name", COMMANDS)
def test_no_other_program_is_started(needs_strace: None, runs: dict[str, Any], name: str) -> None:
    others = {p for p in started(runs[name].calls) if not p.startswith("python")}
    assert others <= set(STARTED)


@pytest.mark.parametrize("name", COMMANDS)
def test_home_and_temporary_folder_stay_empty(runs: dict[str, Any], name: str) -> None:
    parts = {part for path in runs[name].left for part in Path(path).parts[1:]}
    homes = {".cache", ".config", ".matplotlib", "Library", "Caches"}
    strange = {part for part in parts - homes if not any(fnmatch(part, meant) for meant in LEFT)}
    assert not strange, sorted(runs[name].left)
    assert not [path for path in runs[name].left if path.startswith("tmp/")]


@pytest.mark.parametrize("name", COMMANDS)
def test_nothing_is_written_elsewhere(needs_strace: None, runs: dict[str, Any], name: str) -> None:
    """Outside the run's own folder only devices, and the semaphores that worker processes share."""
    place = runs[name].place
    elsewhere = {p for p in written(runs[name].calls) if not p.startswith((f"{place}/", "/dev/", "/proc/self/"))}
    assert not elsewhere
