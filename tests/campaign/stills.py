"""Spoilt pictures through the whole command: alone, among good ones of the same pose, and in one pose of several."""

from __future__ import annotations

from campaign import reader, samples
from campaign.harness import Case

QUICK = ("--work-px", 200)
READ = (*QUICK, "--jitter", 0)


def run(case: Case) -> None:
    """One spoilt picture: refused, read, or passed over so that the others go on."""
    folder = case.fresh()
    suffix, data = reader.spoilt(case)
    way, out = case.dice.random(), folder / "out"
    bad = folder / "bad" / f"045{suffix}"
    bad.parent.mkdir()
    bad.write_bytes(data)
    if way < 0.55:
        case.attack(["score", bad, *READ])
    elif way < 0.65:
        case.attack(["score", bad, *READ, "-o", out], out=out)
    elif way < 0.7:
        case.attack(["export", bad, *QUICK, "-o", out], out=out)
    elif way < 0.8:
        # a pose of its own beside a good one: that it cannot be read stops nothing
        good = samples.pose(folder / "good", (0,))
        case.attack(["rank", good, bad.parent, *READ], codes=(0,) if _is_listed(suffix) else (0, 2))
    else:
        for angle in (0, 90, 180):
            (bad.parent / f"{angle:03d}.jpg").write_bytes(samples.still(angle))
        if way < 0.9:
            case.attack(["score", bad.parent, *READ], codes=(0,))
        elif way < 0.95:
            case.attack(["check", bad.parent, *QUICK], codes=(0, 1, 2))
        else:
            case.attack(["export", bad.parent, *QUICK, "-o", out], codes=(0,), out=out)


def _is_listed(suffix: str) -> bool:
    """Whether a folder with such a file holds a picture at all; what is read may grow."""
    return suffix.lower() != ".avif"
