"""Ctrl-C, SIGTERM and a closed terminal at random moments: each ends the run, cleans up, and tells by its exit code."""

from __future__ import annotations

import signal
from pathlib import Path

from campaign import kills
from campaign.harness import Case, run_apart

CODES = {signal.SIGINT: 130, signal.SIGTERM: 143, signal.SIGHUP: 129}


def run(case: Case) -> None:
    """One signal in one run; plan, which takes but a moment, is interrupted too."""
    if case.number % 10 == 9:
        _plan(case)
        return
    scene = kills.Scene(case)
    number = case.dice.choice(list(CODES))
    touch, seconds = kills.moment(scene)
    if case.dice.random() < 0.5:
        told = scene.run(str(int(number)), touch)
    else:
        to_all = number != signal.SIGTERM and case.dice.random() < 0.7
        told = scene.run("wait", 0, (int(number), seconds, to_all))
    scene.nobody_lives_on()
    case.judge(told, (0, CODES[number]))
    state = scene.state()
    if state not in ("old", "new"):
        case.find("leftovers", f"{scene.name}: after the signal {state}")
    elif told.code == 0 and state != "new":
        case.find("wrong exit codes", f"{scene.name}: 0, but the results are old")
    for path in scene.hidden()[:1]:
        case.find("leftovers", f"{scene.name}: after the signal {path}")
    case.unchanged(scene.folder, scene.before, without=[scene.out, *map(Path, scene.hidden())])
    case.scratch_is_empty()


def _plan(case: Case) -> None:
    folder = case.fresh()
    out = folder / "plan.pdf"
    number = case.dice.choice(list(CODES))
    touch = case.dice.randint(1, 3)
    told = run_apart(case.note(["plan", "-o", out]), command=kills.victim(str(int(number)), touch, folder))
    case.judge(told, (0, CODES[number]))
    left = sorted(p.name for p in folder.iterdir())
    if left not in ([], ["plan.pdf"]):
        case.find("leftovers", f"beside the page: {left}")
    elif left and not out.read_bytes().rstrip().endswith(b"%%EOF"):
        case.find("leftovers", "half a page")
    case.scratch_is_empty()
