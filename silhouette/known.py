"""Remember cut-out silhouettes beside the results, so that a second run on unchanged pictures is quick.

What is kept is black shapes and numbers, never photographs, inside the output folder that the person chose; deleting
the folder forgets it all. A file counts as unchanged while its name, size and time of change are.
"""

from __future__ import annotations

import hashlib
import json
import os
import zipfile
from collections.abc import Sequence
from dataclasses import asdict, dataclass, replace
from pathlib import Path
from typing import Any

import numpy as np

from silhouette import __version__
from silhouette.records import Cut, Stop

FOLDER = ".known"


@dataclass(frozen=True)
class Taken:
    """One picture after the camera and the scissors, before it is measured."""

    stop: Stop
    """Its angle is nan until the angles of the turn are known."""
    cut: Cut | None
    full_size: tuple[int, int] = (0, 0)
    focal_35mm: float | None = None
    problem: str | None = None


def key_of(files: Sequence[Path], asked: dict[str, Any]) -> str:
    """A short digest of what the cut-outs depend on: the files, the settings that matter and the version."""
    stamp: list[Any] = [__version__, sorted(asked.items())]
    for path in files:
        stat = path.stat()
        stamp.append((str(path.resolve()), stat.st_size, stat.st_mtime_ns))
    return hashlib.sha256(json.dumps(stamp, default=str).encode()).hexdigest()[:24]


class Memory:
    """Silhouettes already cut, kept in one folder; what is new is written by :meth:`flush`, after the results."""

    def __init__(self, folder: Path) -> None:
        self.folder = folder
        self._new: dict[str, tuple[Sequence[Taken], dict[str, Any]]] = {}

    def recall(self, key: str) -> tuple[list[Taken], dict[str, Any]] | None:
        """What is known under this key, or None; a damaged file counts as unknown."""
        try:
            with np.load(self.folder / f"{key}.npz", allow_pickle=False) as data:
                story = json.loads(str(data["story"]))
                return [_revive(row, data) for row in story["taken"]], story["extra"]
        except (OSError, ValueError, KeyError, zipfile.BadZipFile, TypeError):
            return None

    def keep(self, key: str, taken: Sequence[Taken], extra: dict[str, Any]) -> None:
        """Remember these cut-outs, and some plain data with them, under this key."""
        self._new[key] = taken, extra

    def flush(self) -> None:
        """Write down what is new. A place that cannot be written is no reason to fail: it is only slower next time."""
        for key, (taken, extra) in self._new.items():
            partial = self.folder / f"{key}.{os.getpid()}.part"
            try:
                self.folder.mkdir(parents=True, exist_ok=True)
                with partial.open("wb") as file:
                    np.savez_compressed(file, **_packed(taken, extra))
                partial.replace(self.folder / f"{key}.npz")
            except OSError:
                partial.unlink(missing_ok=True)
        self._new.clear()


def _packed(taken: Sequence[Taken], extra: dict[str, Any]) -> dict[str, Any]:
    arrays: dict[str, Any] = {}
    rows = []
    for i, one in enumerate(taken):
        row = asdict(replace(one, cut=None))
        if one.cut is not None:
            arrays[f"mask_{i}"] = np.packbits(one.cut.mask)
            size = [i, *one.cut.mask.shape]
            row["cut"] = {
                "mask": size,
                "confidence": one.cut.confidence,
                "cutter": one.cut.cutter,
                "flags": one.cut.flags,
            }
        rows.append(row)
    return {**arrays, "story": np.array(json.dumps({"taken": rows, "extra": extra}, default=str))}


def _revive(row: dict[str, Any], data: Any) -> Taken:
    stop, cut = row["stop"], row["cut"]
    for name in ("source", "given_mask"):
        stop[name] = None if stop[name] is None else Path(stop[name])
    stop["hold"] = None if stop["hold"] is None else tuple(stop["hold"])
    if cut is not None:
        i, h, w = cut["mask"]
        mask = np.unpackbits(data[f"mask_{i}"], count=h * w).reshape(h, w).astype(bool)
        cut = Cut(mask, cut["confidence"], cut["cutter"], tuple(cut["flags"]))
    return Taken(Stop(**stop), cut, tuple(row["full_size"]), row["focal_35mm"], row["problem"])
