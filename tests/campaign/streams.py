"""Streams that are closed, full or gone: what is said cannot always be said, and that is no reason to break."""

from __future__ import annotations

import os

from campaign import samples
from campaign.harness import Case

WAYS = (
    ">/dev/full",
    "2>&-",
    ">&-",
    "<&-",
    "2>/dev/full",
    ">&- 2>&-",
    ">/dev/full 2>&-",
    "<&- >&- 2>&-",
    "reader gone",
    "PYTHONIOENCODING=ascii",
    "COLUMNS=1",
)
READ = ("--work-px", "200", "--jitter", "0")
COMMANDS: tuple[tuple[str, ...], ...] = (
    ("plan",),
    ("score", "pose", *READ),
    ("--help",),
    ("score", "pose", *READ, "-o", "out"),
    ("rank", "nowhere"),
    ("export", "pose", *READ[:2], "-o", "out"),
    ("check", "pose", *READ[:2]),
    ("rank", "pose", "--no-such-flag"),
    ("--version",),
    ("rank", "pose", *READ, "--jobs", "2"),
    ("plan", "-o", "out.pdf"),
    ("score", "\udcff \u2192", *READ),
)


def run(case: Case) -> None:
    """One command with its streams as nobody wants them."""
    folder = case.fresh()
    samples.pose(folder / "pose")
    way, command = WAYS[case.number % len(WAYS)], COMMANDS[case.number % len(COMMANDS)]
    out = folder / ("out.pdf" if "out.pdf" in command else "out")
    codes = {0, 2} | ({1} if command[0] == "check" else set())
    how: dict[str, object] = {"env": dict([way.split("=")])} if "=" in way else {"shell": way}
    if way == "reader gone":
        receive, send = os.pipe()
        os.close(receive)
        how = {"stdout": send}
    quiet = way in ("2>&-", "2>/dev/full") or "2>&-" in way
    told = case.attack(command, codes=codes, out=out, apart=True, cwd=folder, **how)
    if quiet:  # nobody can have heard a sentence
        case.findings = [f for f in case.findings if "no sentence at all" not in f.message]
    if command[0].startswith("--"):  # help is no sentence; without a screen Python itself puts it on the error stream
        case.findings = [f for f in case.findings if "more than a sentence" not in f.message]
    if way == "reader gone":
        os.close(send)
    if "/dev/full" in way and "2>" not in way.split("/dev/full")[0]:  # nobody heard that it was done, but it was
        case.findings = [f for f in case.findings if f.what != "leftovers"]
    whole = {"score": "result.json", "export": "set.csv", "plan": ""}.get(command[0])
    if out.exists() and whole and not (out / whole).exists():
        case.find("leftovers", f"half a result, exit code {told.code}")
