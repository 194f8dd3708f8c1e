"""The picture of the room without the model, spoilt, misnamed or misplaced: it may help or be passed over, no more."""

from __future__ import annotations

import os
import random
import shutil
from pathlib import Path

import cv2
import numpy as np
from campaign import mutate, samples
from campaign.harness import Case

QUICK = ("--work-px", 200)
NAMES = (
    "empty.jpg", "Empty_Room.PNG", "empty 2.webp", "empty.heic", "pose.empty.jpg", "empty", "empty.txt", "room.jpg",
)
WAYS = ("whole", "whole", "mutated", "mutated", "size", "light", "turned", "somebody", "odd", "declared")
COMMANDS = ("score", "rank", "check", "export", "mend")


def prepare(case: Case) -> None:
    """Whole pictures of the room, and one of another."""
    for suffix in ("jpg", "png", "webp", "tif"):
        _write(case.prepared / f"room.{suffix}", _room())
    _write(case.prepared / "other.jpg", np.full((samples.HIGH, samples.WIDE, 3), (40, 90, 30), np.uint8))


def run(case: Case) -> None:
    """One pose, or a clip, with one picture that may be of its empty room."""
    home, dice = case.fresh(), case.dice
    command = dice.choice(COMMANDS)
    trials = home / "trials"
    pose = samples.pose(trials / "pose", tuple(range(0, 360, dice.choice((45, 90)))))
    source = pose
    if dice.random() < 0.2:
        source = trials / "pose.mp4"
        source.write_bytes(samples.clip("phone.mp4"))
    beside = dice.random() < 0.3 or source != pose
    place = (trials if beside else pose) / dice.choice(NAMES)
    _spoilt(dice, place, case.prepared, pose)
    asked = dice.random() < 0.25
    if dice.random() < 0.1:
        place = trials / dice.choice(("nowhere.jpg", "pose", "x" * 300, "a\nb.jpg"))
        asked = True
    out = home / ("out.html" if command == "mend" else "out")
    words = [command, trials if command == "rank" and not beside and source == pose else source, *QUICK]
    words += ["--jitter", 0] if command in ("score", "rank") else []
    words += ["--empty", place] if asked else []
    words += ["--cutter", dice.choice(("backdrop", "person", "auto"))] if dice.random() < 0.3 else []
    codes = (0, 1, 2) if command == "check" else (0, 2) if asked or source != pose else (0,)
    case.attack([*words, "-o", out], codes=codes, out=out, originals=[trials])
    if dice.random() < 0.3 and out.is_dir():  # once more, by what is remembered
        case.attack([*words, "-o", out, *(["--overwrite"] if command == "export" else [])], codes=codes, out=out)


def _spoilt(dice: random.Random, place: Path, whole: Path, pose: Path) -> None:
    """Something at ``place``: the room as it is, turned, of another size or light, broken, or nothing of the kind."""
    rooms = {path.name: path.read_bytes() for path in sorted(whole.iterdir())}
    way = dice.choice(WAYS)
    if way == "mutated":
        place.write_bytes(mutate.mutate(dice, dice.choice(list(rooms.values())), list(rooms.values())))
    elif way == "declared":
        place.write_bytes(mutate.declare(rooms["room.png"], dice.choice(mutate.SIZES), dice.choice(mutate.SIZES)))
    elif way == "somebody":
        shutil.copyfile(pose / "000.jpg", place)
    elif way == "odd":
        _odd(place, dice.choice(("pipe", "folder", "loop", "device", "nothing", "gone")))
    elif way == "whole":
        place.write_bytes(dice.choice(list(rooms.values())))
    else:
        picture = _room()
        if way == "size":
            size = dice.choice(((1, 1), (2, 300), (60, 80), (240, 320), (1200, 1600), (1200, 1590)))
            picture = cv2.resize(picture, size)
        elif way == "light":
            picture = np.clip(picture * dice.choice((0.0, 0.3, 0.9, 1.1, 3.0)), 0, 255).astype(np.uint8)
        else:
            picture = np.ascontiguousarray(np.rot90(picture, dice.choice((1, 2, 3))))
        place.write_bytes(cv2.imencode(".png", picture)[1].tobytes())


def _odd(place: Path, what: str) -> None:
    if what == "pipe":
        os.mkfifo(place)
    elif what == "folder":
        place.mkdir()
    elif what == "nothing":
        place.write_bytes(b"")
    else:
        place.symlink_to({"loop": place.name, "device": "/dev/zero", "gone": "nowhere.png"}[what])


def _room() -> np.ndarray:
    noise = np.random.default_rng(7).integers(-2, 3, (samples.HIGH, samples.WIDE, 3))
    return np.clip(np.array((186, 192, 196)) + noise, 0, 255).astype(np.uint8)


def _write(path: Path, picture: np.ndarray) -> None:
    path.write_bytes(cv2.imencode(path.suffix, picture)[1].tobytes())
