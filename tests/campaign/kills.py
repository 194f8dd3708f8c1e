"""Kill -9 in the middle, then the same command again: OUT is wholly old or wholly new, and nothing hidden is left."""

from __future__ import annotations

import contextlib
import hashlib
import json
import os
import shutil
import signal
import subprocess
import sys
import time
from pathlib import Path
from typing import Any

from campaign import samples, trees
from campaign.harness import HERE, Case, Told, marked, run_apart

QUICK = ("--work-px", "200")
READ = (*QUICK, "--jitter", "0")
WAYS: dict[str, tuple[tuple[str, ...] | None, tuple[str, ...]]] = {
    # what lies there before, and what is then run
    "export, fresh": (None, ("export", "pose", *QUICK, "-o", "out")),
    "export, again": (
        ("export", "pose", *QUICK, "-o", "out", "--name", "old", "--silhouettes-only"),
        ("export", "pose", *QUICK, "-o", "out", "--overwrite"),
    ),
    "rank, again": (("rank", "pose", *READ, "-o", "out"), ("rank", "pose", "other", *READ, "-o", "out", "--masks")),
    "export, two processes": (None, ("export", "pose", *QUICK, "-o", "out", "--jobs", "2", "--originals")),
    "score, fresh": (None, ("score", "pose", *READ, "-o", "out", "--masks")),
    "find, again": (
        ("find", "pose", *QUICK, "--reads", "0", "-o", "out"),
        ("find", "pose", *QUICK, "--like", "other/010.jpg", "-o", "out"),
    ),
    "rank, two processes": (
        ("score", "pose", *READ, "-o", "out", "--photos"),
        ("rank", "pose", "other", *READ, "-o", "out", "--jobs", "2"),
    ),
}


PARTS = len(WAYS)


def prepare(case: Case) -> None:
    """For one way: the folder as it is before, what comes out when nothing happens, how long and how many touches."""
    before, then = list(WAYS.values())[case.number]
    place = case.prepared / str(case.number)
    start, plain, counted = place / "start", place / "plain", place / "counted"
    samples.pose(start / "pose", (0, 45, 90, 135, 180, 225))
    samples.pose(start / "other", (10, 100))
    if before is not None:
        _must(run_apart(before, cwd=start))
    shutil.copytree(start, plain, symlinks=True)
    shutil.copytree(start, counted, symlinks=True)
    began = time.monotonic()
    _must(run_apart(then, cwd=plain))
    seconds, count = time.monotonic() - began, place / "count"
    command = victim("count", 0, counted)
    _must(run_apart(then, cwd=counted, command=command, env={"CAMPAIGN_COUNT": str(count)}))
    one, two = content(plain / "out"), content(counted / "out")
    told = {
        "old": content(start / "out"),
        "new": one,
        "seconds": seconds,
        "touches": int(count.read_text()),
        "differ": sorted(n for n in {**one, **two} if one.get(n) != two.get(n)),
    }
    (place / "told.json").write_text(json.dumps(told), encoding="utf-8")


def _must(told: Told) -> None:
    if told.code:
        raise RuntimeError(f"{told.code}: {told.out}{told.err}")


def victim(what: str, number: int, place: Path) -> list[str]:
    """The command line that runs the command with something happening to it: see ``victim.py``."""
    return [sys.executable, "-P", str(HERE / "victim.py"), what, str(number), str(place), "--"]


def content(out: Path) -> dict[str, str]:
    """Visible files by name, with a digest of what they hold."""
    return {
        str(p.relative_to(out)): hashlib.blake2b(p.read_bytes(), digest_size=12).hexdigest()
        for p in sorted(out.rglob("*"))
        if p.is_file() and not any(part.startswith(".") for part in p.relative_to(out).parts)
    }


class Scene:
    """One way of :data:`WAYS`, set up in a fresh folder."""

    def __init__(self, case: Case) -> None:
        place = case.prepared / str(case.number % len(WAYS))
        self.case = case
        self.name = list(WAYS)[case.number % len(WAYS)]
        self.argv = WAYS[self.name][1]
        self.told: dict[str, Any] = json.loads((place / "told.json").read_text(encoding="utf-8"))
        self.folder = case.folder / "r1"
        shutil.copytree(place / "start", self.folder, symlinks=True)
        self.out = self.folder / "out"
        self.before = trees.tree(self.folder, without=[self.out])
        self.mark = f"{os.getpid()}-{case.number}-{case.seed}"

    def state(self) -> str:
        """``old``, ``new``, or what is wrong with the results."""
        now = content(self.out)
        for state in ("old", "new"):
            asked = self.told[state]
            if set(now) == set(asked) and all(now[n] == asked[n] for n in now if n not in self.told["differ"]):
                return state
        missing, more = sorted(set(self.told["new"]) - set(now)), sorted(set(now) - set(self.told["new"]))
        return f"neither old nor new: {len(now)} files, of the new ones {missing[:4]} missing, {more[:4]} besides"

    def hidden(self) -> list[str]:
        """What lies beside the results that did not before."""
        return sorted(p for p in trees.tree(self.folder, without=[self.out]) if p not in self.before)

    def nobody_lives_on(self) -> None:
        """Every process of the run ends with it, within a few seconds."""
        end = time.monotonic() + 6
        while (left := marked(self.mark)) and time.monotonic() < end:
            time.sleep(0.05)
        for pid in left:
            with contextlib.suppress(OSError):
                os.kill(pid, signal.SIGKILL)
        if left:
            self.case.find("leftovers", f"{self.name}: processes live on: {len(left)}")

    def run(self, what: str, number: int, send: tuple[int, float, bool] | None = None) -> Told:
        """Run it with something happening at a touch, or with a signal (number, after seconds, to all of the group)."""
        ready, tell = os.pipe()

        def meanwhile(child: subprocess.Popen[bytes]) -> None:
            os.close(tell)
            with os.fdopen(ready, "rb") as begun:
                begun.read(1)
            if send is not None:
                time.sleep(send[1])
                with contextlib.suppress(ProcessLookupError):
                    (os.killpg if send[2] else os.kill)(child.pid, send[0])

        self.case.note([self.name, what, number, send or "", *self.argv])
        return run_apart(
            self.argv,
            command=victim(what, number, self.folder),
            cwd=self.folder,
            meanwhile=meanwhile,
            pass_fds=[tell],
            env={"CAMPAIGN_READY": str(tell), "CAMPAIGN_MARK": self.mark},
        )


def moment(scene: Scene) -> tuple[int, float]:
    """A touch of the disk, more often one of the last, and a time within the run."""
    dice, touches = scene.case.dice, scene.told["touches"]
    last = max(1, touches - 12)
    touch = dice.randint(last, touches) if dice.random() < 0.5 else dice.randint(1, touches)
    return touch, dice.random() * 1.05 * scene.told["seconds"]


def run(case: Case) -> None:
    """One kill and one run after it."""
    scene = Scene(case)
    touch, seconds = moment(scene)
    by_touch = case.dice.random() < 0.6
    killed = scene.run("kill", touch) if by_touch else scene.run("wait", 0, (signal.SIGKILL, seconds, False))
    scene.nobody_lives_on()
    if killed.code not in (0, -signal.SIGKILL) or killed.hung:
        case.judge(killed, (0,))
    if (state := scene.state()) not in ("old", "new"):
        case.find("leftovers", f"{scene.name}: after the kill {state}")
    case.unchanged(scene.folder, scene.before, without=[scene.out, *map(Path, scene.hidden())])
    for path in scene.hidden():
        if Path(path).parent == scene.folder and not Path(path).name.startswith(".out."):
            case.find("leftovers", f"{scene.name}: not known as the program's own: {path}")
    again = run_apart(case.note(scene.argv), cwd=scene.folder)
    stands = state == "new" and "--overwrite" not in scene.argv and scene.argv[0] == "export"
    case.judge(again, (0, 2) if stands else (0,))
    if (state := scene.state()) != "new":
        case.find("leftovers", f"{scene.name}: after the next run {state}")
    for path in scene.hidden()[:1]:
        case.find("leftovers", f"{scene.name}: after the next run {path}")
    case.unchanged(scene.folder, scene.before, without=[scene.out, *map(Path, scene.hidden())])
    for left in Path(os.environ["TMPDIR"]).rglob("*"):
        if left.is_file() and left.stat().st_size:
            case.find("leftovers", f"in the folder for temporary files: {left.name}")
    for left in Path(os.environ["TMPDIR"]).iterdir():  # empty folders of a killed process are forgiven
        shutil.rmtree(left, ignore_errors=True) if left.is_dir() else left.unlink()
