"""Full disks: a true small one where this process may mount it, a limit on the size of files, writing that fails."""

from __future__ import annotations

import contextlib
import resource
import shutil
import subprocess
from collections.abc import Iterator
from pathlib import Path

from campaign import kills, samples, trees
from campaign.harness import Case, run_apart

COMMANDS = (
    ("export", "pose", "--work-px", "200", "--originals"),
    ("score", "pose", "--work-px", "200", "--jitter", "0", "--masks"),
    ("rank", "pose", "other", "--work-px", "200", "--jitter", "0", "--photos"),
    ("check", "pose", "--work-px", "200"),
    ("plan",),
    ("export", "pose", "--work-px", "200", "--jobs", "2"),
    ("mend", "pose", "--work-px", "200"),
    ("find", "pose", "--work-px", "200", "--reads", "0"),
)
SIZES = (4, 16, 40, 64, 100, 128, 160, 200, 256, 300, 400, 700, 2000)
"""Kilobytes."""


@contextlib.contextmanager
def small_disk(place: Path, kilobytes: int) -> Iterator[bool]:
    """A disk of that size at ``place``; False where it may not be mounted."""
    place.mkdir()
    how = ["mount", "-t", "tmpfs", "-o", f"size={kilobytes}k", "campaign", str(place)]
    mounted = shutil.which("mount") is not None and subprocess.run(how, capture_output=True).returncode == 0
    try:
        yield mounted
    finally:
        if mounted:
            subprocess.run(["umount", "-l", str(place)], check=True)


def run(case: Case) -> None:
    """One command that runs out of room, or just does not."""
    folder, dice = case.fresh(), case.dice
    samples.pose(folder / "pose", (0, 90, 180))
    samples.pose(folder / "other", (0, 90))
    command = COMMANDS[case.number % len(COMMANDS)]
    name = {"plan": "out.pdf", "mend": "out.html"}.get(command[0], "out")
    codes = (0, 1, 2) if command[0] == "check" else (0, 2)
    way = case.number // len(COMMANDS) % 3 if case.number >= 2 * len(COMMANDS) else case.number % 3
    disk = folder / "disk"
    with small_disk(disk, dice.choice(SIZES) if way == 0 else 4096) as mounted:
        # the mount point itself is now and then where the results go
        out = disk if way == 0 and mounted and name == "out" and dice.random() < 0.3 else disk / name
        how = {}
        if way == 1 or (way == 0 and not mounted):
            most = 1024 * dice.choice(SIZES)
            how = {"preexec_fn": lambda: resource.setrlimit(resource.RLIMIT_FSIZE, (most, most))}
        elif way == 2:
            how = {"command": kills.victim("full", dice.randint(1, 40), folder)}
        before = trees.tree(folder, without=[out])
        told = run_apart(case.note([*command, "-o", out]), cwd=folder, **how)
        case.judge(told, codes)
        case.unchanged(folder, before, without=[out])
        left = kills.content(out) if out.is_dir() else {}
        if (
            told.code == 2
            and "Written to" not in told.out
            and ((out.is_dir() and (left or out != disk)) or out.is_file())
        ):
            case.find("leftovers", f"it says that it failed, but {name} is there: {sorted(left)[:5]}")
        elif told.code in (0, 1) and out.exists():
            for what in trees.unreadable(out)[:1]:
                case.find("other", f"cannot be read back: {what}")
            if out.is_file() and not out.read_bytes().rstrip().endswith((b"%%EOF", b"</html>")):
                case.find("leftovers", "half a page")
    case.scratch_is_empty()
