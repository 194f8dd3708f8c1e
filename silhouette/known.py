"""Remember cut-out silhouettes beside the results, so that a second run on unchanged pictures is quick.

What is kept is black shapes and numbers, never photographs, inside the output folder that the person chose; deleting
the folder forgets it all. A picture is known by its content: where it lies, and when, is not kept.
"""

from __future__ import annotations

import hashlib
import json
import zipfile
from collections.abc import Sequence
from dataclasses import asdict, dataclass, replace
from io import BytesIO
from pathlib import Path
from typing import Any

import numpy as np

from silhouette import __version__
from silhouette.records import Cut, Stop
from silhouette.writing import KNOWN

MOST_BYTES = 512 << 20
"""Most that one remembered pose may unpack to; a damaged file can claim anything."""


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
    """A short digest of what the cut-outs depend on: the pictures' content, the settings that matter, the version.

    Raises
    ------
    OSError
        If a file cannot be read.
    """
    stamp: list[Any] = [__version__, sorted(asked.items())]
    for path in files:
        with path.open("rb") as file:
            stamp.append((path.name, hashlib.file_digest(file, "sha256").hexdigest()))
    return hashlib.sha256(json.dumps(stamp, default=str).encode()).hexdigest()[:24]


class Memory:
    """Silhouettes already cut, from an earlier run's results; :meth:`write` keeps those that were asked for or are new.

    Parameters
    ----------
    out : Path
        The folder of results, which need not exist.
    """

    def __init__(self, out: Path) -> None:
        self._folder = out / KNOWN
        self._packed: dict[str, bytes] = {}

    def recall(self, key: str, files: Sequence[Path]) -> tuple[list[Taken], dict[str, Any]] | None:
        """What is known of these files under this key, or None; a damaged memory counts as unknown.

        A clip is one file with many stops; of stills each has one.
        """
        path = self._folder / f"{key}.npz"
        try:
            if not path.is_file() or path.stat().st_size > MOST_BYTES:
                return None
            packed = path.read_bytes()
            with zipfile.ZipFile(BytesIO(packed)) as pack:
                if sum(entry.file_size for entry in pack.infolist()) > MOST_BYTES:
                    return None
            with np.load(BytesIO(packed), allow_pickle=False) as data:
                story = json.loads(str(data["story"]))
                where = {path.name: path for path in files}
                taken, extra = [_revive(row, data, where) for row in story["taken"]], dict(story["extra"])
        except Exception:  # whatever a damaged file makes of its reader: it is only slower without
            return None
        self._packed[key] = packed
        return taken, extra

    def keep(self, key: str, taken: Sequence[Taken], extra: dict[str, Any]) -> None:
        """Remember these cut-outs, and some plain data with them, under this key."""
        held = BytesIO()
        np.savez_compressed(held, **_pack(taken, extra))
        self._packed[key] = held.getvalue()

    def write(self, results: Path) -> None:
        """Write down, in a folder of results, all that this run recalled or kept."""
        if self._packed:
            (results / KNOWN).mkdir()
        for key, packed in self._packed.items():
            (results / KNOWN / f"{key}.npz").write_bytes(packed)


def _pack(taken: Sequence[Taken], extra: dict[str, Any]) -> dict[str, Any]:
    arrays: dict[str, Any] = {}
    rows = []
    for i, one in enumerate(taken):
        row = asdict(replace(one, cut=None))
        for name in ("source", "given_mask"):
            row["stop"][name] = None if row["stop"][name] is None else row["stop"][name].name
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


def _revive(row: dict[str, Any], data: Any, where: dict[str, Path]) -> Taken:
    stop, cut = row["stop"], row["cut"]
    stop["source"] = where[stop["source"]]
    stop["given_mask"] = None if stop["given_mask"] is None else stop["source"].with_name(stop["given_mask"])
    stop["hold"] = None if stop["hold"] is None else tuple(stop["hold"])
    if cut is not None:
        i, h, w = cut["mask"]
        mask = np.unpackbits(data[f"mask_{i}"], count=h * w).reshape(h, w).astype(bool)
        cut = Cut(mask, float(cut["confidence"]), cut["cutter"], tuple(cut["flags"]))
    return Taken(Stop(**stop), cut, tuple(row["full_size"]), row["focal_35mm"], row["problem"])
