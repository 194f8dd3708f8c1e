"""Poses of several rings as strangers lay them out: rings missing, twice, broken, elsewhere; close-ups of any kind."""

from __future__ import annotations

import random
import shutil
from pathlib import Path

from campaign import mutate, samples
from campaign.harness import Case

QUICK = ("--work-px", 200)
COMMANDS = ("score", "rank", "check", "export", "armature", "mend")
RINGS = ("low", "level", "high")
CALLED = ("{}", "{}", "{}", "{}_ring", "{} row", "{}s", "the {} one")
"""What a ring's folder may be called; the last two call none."""
WAYS = ("whole", "whole", "whole", "mutated", "nothing", "words", "loop", "gone", "one", "clip", "no film", "marked",
        "both")
CLOSE_UPS = ("close-ups", "Close_Ups", "closeups", "close-ups", "details")


def run(case: Case) -> None:
    """One pose, its rings and close-ups laid out by dice, through one command."""
    home, dice = case.fresh(), case.dice
    command = dice.choice(COMMANDS)
    pose = home / "pose"
    pose.mkdir()
    for ring in RINGS:
        if dice.random() < 0.85:
            _lay(pose, ring, dice)
    if dice.random() < 0.4:
        _close_ups(pose / dice.choice(CLOSE_UPS), dice)
    out = home / ("out.html" if command == "mend" else "out")
    words: list[object] = [command, pose, *QUICK]
    words += ["--jitter", 0] if command in ("score", "rank") else []
    words += ["--height", "1.7"] if command == "armature" else []
    words += _asked(home, command, dice)
    out = dice.choice((out, out, out, pose / "low" / "out", pose / "close-ups")) if command != "mend" else out
    case.attack([*words, "-o", out], codes=(0, 1, 2) if command == "check" else (0, 2), out=out, originals=[pose])


def _lay(pose: Path, ring: str, dice: random.Random) -> None:
    """One ring of the pose, or what somebody took for one."""
    way = dice.choice(WAYS)
    place = pose / dice.choice(CALLED).format(dice.choice((ring, ring, ring.upper(), ring.capitalize())))
    angles = tuple(range(0, 360, dice.choice((30, 45, 90))))
    if way in ("clip", "no film", "both"):
        place.with_suffix(".mp4").write_bytes(samples.clip("phone.mp4") if way != "no film" else b"\0" * 300)
    if way == "nothing":
        place.mkdir()
    elif way in ("loop", "gone"):
        place.symlink_to(place.name if way == "loop" else "nowhere")
    elif way == "marked":
        for angle in angles:
            (pose / f"{ring}_{angle:03d}.jpg").write_bytes(samples.still(angle))
    elif way not in ("clip", "no film"):
        samples.pose(place, angles if way != "one" else (0,))
        files = sorted(place.iterdir())
        if way == "mutated":
            for file in dice.sample(files, dice.randint(1, len(files))):
                file.write_bytes(mutate.mutate(dice, file.read_bytes(), [file.read_bytes()]))
        elif way == "words":
            (place / "angles.csv").write_text("000.jpg,ninety\n;;;\n", encoding="utf-8")


def _close_ups(place: Path, dice: random.Random) -> None:
    """Details under names that a file system bears, some of them no pictures."""
    for name in dice.sample(("left hand", "face", "..hand", "=1+1", "a" * 120, "Füße", "x\ny"), 3):
        folder = place / name
        samples.pose(folder, (0, 30)[: dice.choice((1, 2))])
        if dice.random() < 0.4:
            first = next(folder.iterdir())
            first.write_bytes(mutate.mutate(dice, first.read_bytes(), [first.read_bytes()]))
    if dice.random() < 0.3:
        (place / "loop").symlink_to("loop")
    if dice.random() < 0.3:
        shutil.copyfile(next(p for p in place.rglob("*.jpg")), place / "foot.jpg")


def _asked(home: Path, command: str, dice: random.Random) -> list[object]:
    """Flags about rings, some of them nonsense."""
    asked: list[object] = []
    if dice.random() < 0.3:
        elsewhere = samples.pose(home / "elsewhere", (0, 90, 180, 270))
        ring = dice.choice((*RINGS, "middle"))
        asked += ["--ring", f"{ring}={dice.choice((elsewhere, home / 'nowhere', home / 'pose' / 'low', home / 'out'))}"]
    if dice.random() < 0.2:
        asked += ["--ring", dice.choice((*RINGS, "", "=", "low=", "LOW"))]
    if dice.random() < 0.3:
        asked += ["--camera-height", dice.choice(("1.1", "low=0.4", "high=nan", "level=", "low=1e9", "-2"))]
    if command in ("score", "rank") and dice.random() < 0.3:
        asked += ["--seen-from", dice.choice(("1.6", "0", "nan", "1e5"))]
        asked += ["--stands-on", dice.choice(("1.2", "0", "inf"))] if dice.random() < 0.6 else []
    return asked
