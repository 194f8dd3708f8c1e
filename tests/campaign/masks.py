"""Masks made by hand, spoilt: they come from any program that can draw."""

from __future__ import annotations

import io
import os
from pathlib import Path

import numpy as np
from campaign import mutate, samples
from campaign.harness import Case
from campaign.reader import corpus
from PIL import Image


def prepare(case: Case) -> None:
    """White figures on black, as drawing programs save them."""
    shape = Image.fromarray(np.where(samples.figure()[..., 0] < 120, 255, 0).astype(np.uint8))
    for name, image in {
        "grey": shape,
        "bits": shape.convert("1"),
        "rgb": shape.convert("RGB"),
        "palette": shape.quantize(2),
        "alpha": shape.convert("LA"),
    }.items():
        image.save(case.prepared / f"{name}.png")


def run(case: Case) -> None:
    """One mask beside one still."""
    folder, dice = case.fresh(), case.dice
    whole = corpus(case.prepared)
    place = folder / "pose"
    place.mkdir()
    still, mask = place / "045.jpg", place / "045.mask.png"
    still.write_bytes(samples.still())
    way = dice.random()
    if way < 0.75:
        mask.write_bytes(mutate.mutate(dice, dice.choice(list(whole.values())), list(whole.values())))
    elif way < 0.85:
        size = dice.choice(mutate.SIZES), dice.choice(mutate.SIZES)
        mask.write_bytes(mutate.declare(whole["grey.png"], *size))
    elif way < 0.92:
        mask.write_bytes(_another(dice.choice(("JPEG", "WEBP", "TIFF", "GIF", "BMP")), dice.choice((1, 10, 120, 3000))))
    else:
        _odd(mask, dice.choice(("pipe", "folder", "loop", "device", "empty", "gone")))
    out = folder / "out"
    if dice.random() < 0.85:
        case.attack(["score", still, "--work-px", 200, "--jitter", 0])
    else:
        case.attack(["score", place, "--work-px", 200, "--jitter", 0, "--masks", "-o", out], out=out)


def _another(kind: str, size: int) -> bytes:
    file = io.BytesIO()
    Image.new("L", (size, max(1, size // 2)), 255).save(file, kind)
    return file.getvalue()


def _odd(mask: Path, what: str) -> None:
    if what == "pipe":
        os.mkfifo(mask)
    elif what == "folder":
        mask.mkdir()
    elif what == "empty":
        mask.write_bytes(b"")
    else:
        mask.symlink_to({"loop": mask.name, "device": "/dev/zero", "gone": "nowhere.png"}[what])
