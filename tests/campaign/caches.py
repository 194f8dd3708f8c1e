"""The memory of earlier cuts, ``OUT/.known``, spoilt: the next run is as right as the first, and runs nothing in it."""

from __future__ import annotations

import io
import os
import pickle
import shutil
import zipfile
from pathlib import Path

import numpy as np
from campaign import kills, mutate, samples, trees
from campaign.harness import Case

ARGV = ("score", "pose", "--work-px", "200", "--jitter", "0", "-o", "out")


class Trap:
    """Unpickled, it makes a folder."""

    def __init__(self, place: Path) -> None:
        self.place = place

    def __reduce__(self) -> tuple[object, tuple[str]]:
        return os.mkdir, (str(self.place),)


def run(case: Case) -> None:
    """One way to spoil it, then the same command again."""
    folder = case.fresh()
    samples.pose(folder / "pose")
    out, trap = folder / "out", folder / "sprung"
    case.attack(ARGV, codes=(0,), out=out, cwd=folder)
    asked = kills.content(out)
    spoil(case, out / ".known", trap)
    before = trees.tree(out)
    told = case.attack(ARGV, codes=(0, 2), out=out, cwd=folder)
    if trap.exists():
        case.find("other", "what lay in .known was run")
    if told.code == 2 and trees.tree(out) != before:
        case.find("originals changed", "refused, but OUT is not as it was")
    now = kills.content(out)
    differ = [n for n in {**asked, **now} if asked.get(n) != now.get(n)]
    if told.code == 0 and differ:
        case.find("other", f"other results from a spoilt memory: {sorted(differ)}")


def spoil(case: Case, known: Path, trap: Path) -> None:
    """Do something to one file of the memory, or to its folder."""
    dice = case.dice
    files = sorted(p for p in known.rglob("*") if p.is_file())
    file = dice.choice(files)
    data = file.read_bytes()
    way = dice.choice(
        (
            "empty",
            "cut",
            "flip",
            "flip",
            "mutate",
            "folder",
            "unreadable",
            "version",
            "pickle",
            "member",
            "all",
            "pipe",
            "loop",
            "known is a file",
            "known is a link",
            "huge",
        )
    )
    if way in ("folder", "pipe", "loop"):
        file.unlink()
        {"folder": file.mkdir, "pipe": lambda: os.mkfifo(file), "loop": lambda: file.symlink_to(file.name)}[way]()
    elif way == "unreadable":
        file.chmod(0)
    elif way.startswith("known"):
        shutil.rmtree(known)
        known.symlink_to("../pose") if way.endswith("link") else known.write_bytes(b"no folder")
    elif way == "pickle":
        packed = io.BytesIO()
        np.savez(packed, story=np.array([Trap(trap)], dtype=object), allow_pickle=True)
        file.write_bytes(dice.choice((packed.getvalue(), pickle.dumps(Trap(trap)))))
    elif way in ("version", "member", "huge"):
        file.write_bytes(_repacked(data, way, case))
    elif way == "all":
        for one in files:
            one.write_bytes(mutate.mutate(dice, one.read_bytes(), [data]))
    else:
        spoilt = {"empty": b"", "cut": data[: dice.randrange(len(data))]}.get(way)
        if spoilt is None:
            flipped = bytearray(data)
            flipped[dice.randrange(len(data))] ^= 1 << dice.randrange(8)
            spoilt = bytes(flipped) if way == "flip" else mutate.mutate(dice, data, [data])
        file.write_bytes(spoilt)


def _repacked(data: bytes, way: str, case: Case) -> bytes:
    """The same archive with right sums and wrong contents; what is no archive is spoilt as it stands."""
    try:
        with zipfile.ZipFile(io.BytesIO(data)) as old:
            members = {n: old.read(n) for n in old.namelist()}
    except zipfile.BadZipFile:
        return mutate.mutate(case.dice, data, [data])
    name = case.dice.choice(list(members))
    if way == "version":
        members = {
            n: m.replace(b"t\0a\0k\0e\0n", b"t\0o\0k\0e\0n").replace(b"0\0.\0", b"9\0.\0") for n, m in members.items()
        }
    elif way == "huge":
        members[name] = b"\x93NUMPY\x01\x00v\x00{'descr': '<U900000000', 'fortran_order': False, 'shape': (), }".ljust(
            128
        )
    else:
        members[name] = mutate.mutate(case.dice, members[name], list(members.values()))
    packed = io.BytesIO()
    with zipfile.ZipFile(packed, "w", zipfile.ZIP_DEFLATED) as new:
        for member, body in members.items():
            new.writestr(member, body)
    return packed.getvalue()
