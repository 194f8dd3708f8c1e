"""What lies in a folder, before and after: nothing is followed, nothing is opened but plain files."""

from __future__ import annotations

import hashlib
import json
import os
import stat
from collections.abc import Iterable
from pathlib import Path
from xml.etree import ElementTree

Look = tuple[str, int, int, str]
"""Kind of entry, its rights, time of change in nanoseconds (0 but for plain files), and a digest of what it holds."""


def look(path: str) -> Look:
    """One entry; a link is told by where it points."""
    told = os.lstat(path)
    mode = stat.S_IMODE(told.st_mode)
    if stat.S_ISREG(told.st_mode):
        with open(path, "rb") as file:  # noqa: PTH123  the paths here may be no text at all
            digest = hashlib.file_digest(file, lambda: hashlib.blake2b(digest_size=12))
            return "file", mode, told.st_mtime_ns, digest.hexdigest()
    if stat.S_ISLNK(told.st_mode):
        return "link", 0, 0, str(Path(path).readlink())
    if stat.S_ISDIR(told.st_mode):
        return "folder", mode, 0, ""
    return "other", mode, 0, str(stat.S_IFMT(told.st_mode))


def tree(top: Path, without: Iterable[Path] = ()) -> dict[str, Look]:
    """Everything under ``top``, by path; ``without`` what lies at these places (never resolved: a link is a link)."""
    skip = {os.path.abspath(p) for p in without}  # noqa: PTH100
    found: dict[str, Look] = {}
    heap = [str(top)]
    while heap:
        with os.scandir(heap.pop()) as entries:
            for entry in entries:
                if os.path.abspath(entry.path) in skip:  # noqa: PTH100
                    continue
                found[entry.path] = look(entry.path)
                if entry.is_dir(follow_symlinks=False):
                    heap.append(entry.path)
    return found


def open_to_others(out: Path) -> list[str]:
    """Files and folders of the results that somebody else on the machine may read, write or enter."""
    every = [str(out), *tree(out)] if out.is_dir() and not out.is_symlink() else [str(out)]
    return [p for p in every if not os.path.islink(p) and os.lstat(p).st_mode & 0o077]  # noqa: PTH114


def unreadable(out: Path) -> list[str]:
    """Results that their own readers refuse: JSON, SVG, and cells that a spreadsheet would run."""
    bad = []
    for name in tree(out) if out.is_dir() else ():
        if "/.known/" in name or not Path(name).is_file():
            continue
        path = Path(name)
        try:
            if path.suffix == ".json":
                json.loads(path.read_text(encoding="utf-8"), parse_constant=_refuse)
            elif path.suffix == ".svg":
                ElementTree.fromstring(path.read_bytes())
            elif path.suffix == ".csv":
                bad += [f"{name}: a cell begins with {cell[0]!r}" for cell in _cells(path) if _runs(cell)]
        except (ValueError, ElementTree.ParseError) as error:
            bad.append(f"{name}: {error}")
    return bad


def _refuse(word: str) -> None:
    raise ValueError(f"{word} is no JSON")


def _cells(path: Path) -> list[str]:
    import csv

    with path.open(encoding="utf-8", newline="") as file:
        return [cell for row in csv.reader(file) for cell in row]


def _runs(cell: str) -> bool:
    """Whether a spreadsheet would take the cell for a formula; a plain number is none."""
    if not cell.startswith(("=", "+", "-", "@", "\t", "\r")):
        return False
    try:
        float(cell)
    except ValueError:
        return True
    return False
