"""Remember cut-out silhouettes beside the results, so that a second run on unchanged pictures is quick.

What is kept is black shapes and numbers, never photographs, inside the output folder that the person chose; deleting
the folder forgets it all. A picture is known by its content: where it lies, and when, is not kept.
"""

from __future__ import annotations

import hashlib
import json
import zipfile
from collections.abc import Sequence
from dataclasses import asdict
from functools import lru_cache
from io import BytesIO
from pathlib import Path
from typing import Any

import numpy as np

from silhouette import __version__
from silhouette.errors import PictureError
from silhouette.intake.regular import open_regular
from silhouette.records import Cut, Stop
from silhouette.writing import KNOWN

MOST_BYTES = 512 << 20
"""Most that one remembered pose may unpack to; a damaged file can claim anything."""


Known = tuple[list[Stop], list[Cut | None], dict[str, Any]]
"""The stops of one place, what was cut out at each, and some plain data with them."""


def key_of(files: Sequence[Path], asked: dict[str, Any], weights: Sequence[Path] = ()) -> str:
    """A short digest of what the cut-outs depend on: the pictures' content, the settings that matter, the version, and
    the weights of the networks that cut.

    Raises
    ------
    OSError, PictureError
        If a file cannot be read, or is none.
    """
    stamp: list[Any] = [__version__, sorted(asked.items()), [_digest_once(path) for path in weights]]
    stamp += [(path.name, _digest(path)) for path in files]
    return hashlib.sha256(json.dumps(stamp, default=str).encode()).hexdigest()[:24]


def _digest(path: Path) -> str:
    with open_regular(path, PictureError) as file:  # a pipe of that name would never end
        return hashlib.file_digest(file, "sha256").hexdigest()  # type: ignore[arg-type]


def _digest_once(path: Path) -> str:
    """Of a large file that all poses share, taken once while it is not touched."""
    told = path.stat()
    return _digest_of(path, told.st_mtime_ns, told.st_size)


@lru_cache
def _digest_of(path: Path, changed: int, size: int) -> str:
    return _digest(path)


class Memory:
    """Silhouettes already cut, from an earlier run's results; :meth:`write` keeps those that were asked for or are new.

    Parameters
    ----------
    out : Path
        The folder of results, which need not exist.
    others : Path
        Other folders of results that may know the pictures too; nothing is ever written there.
    """

    def __init__(self, out: Path, *others: Path) -> None:
        self._folders = [results / KNOWN for results in (out, *others)]
        self._packed: dict[str, bytes] = {}

    def recall(self, key: str, files: Sequence[Path]) -> Known | None:
        """What is known of these files under this key, or None; a damaged memory counts as unknown.

        A clip is one file with many stops; of stills each has one.
        """
        found = (self._recall(folder / f"{key}.npz", key, files) for folder in self._folders)
        return next((one for one in found if one is not None), None)

    def _recall(self, path: Path, key: str, files: Sequence[Path]) -> Known | None:
        try:
            if not path.is_file() or path.stat().st_size > MOST_BYTES:
                return None
            data = path.read_bytes()
            packed, seal = data[:-SEAL], data[-SEAL:]
            if seal != _seal(key, packed):
                return None
            with zipfile.ZipFile(BytesIO(packed)) as pack:
                if sum(entry.file_size for entry in pack.infolist()) > MOST_BYTES:
                    return None
            with np.load(BytesIO(packed), allow_pickle=False) as data:
                story = json.loads(str(data["story"]))
                where = {path.name: path for path in files}
                stops = [_stop(row, where) for row in story["stops"]]
                cuts = [_cut(row, data) for row in story["cuts"]]
                extra = dict(story["extra"])
                if len(stops) != len(cuts):
                    return None
        except Exception:  # whatever a damaged file makes of its reader: it is only slower without
            return None
        self._packed[key] = packed
        return stops, cuts, extra

    def holds(self, key: str) -> bool:
        """Whether this run has recalled or kept something under this key."""
        return key in self._packed

    def keep(self, key: str, stops: Sequence[Stop], cuts: Sequence[Cut | None], extra: dict[str, Any]) -> None:
        """Remember these cut-outs, and some plain data with them, under this key."""
        held = BytesIO()
        np.savez_compressed(held, **_pack(stops, cuts, extra))
        self._packed[key] = held.getvalue()

    def write(self, results: Path) -> None:
        """Write down, in a folder of results, all that this run recalled or kept."""
        if self._packed:
            (results / KNOWN).mkdir()
        for key, packed in self._packed.items():
            (results / KNOWN / f"{key}.npz").write_bytes(packed + _seal(key, packed))


SEAL = 32
"""Bytes of SHA-256 behind what is remembered: whatever was changed in it, or put under another key, is not believed."""


def _seal(key: str, packed: bytes) -> bytes:
    return hashlib.sha256(key.encode() + packed).digest()


def _pack(stops: Sequence[Stop], cuts: Sequence[Cut | None], extra: dict[str, Any]) -> dict[str, Any]:
    arrays: dict[str, Any] = {}
    told: dict[str, Any] = {"stops": [], "cuts": [], "extra": extra}
    for i, (stop, cut) in enumerate(zip(stops, cuts, strict=True)):
        row = asdict(stop)
        for name in ("source", "given_mask"):
            row[name] = None if row[name] is None else row[name].name
        told["stops"].append(row)
        if cut is not None:
            arrays[f"mask_{i}"] = np.packbits(cut.mask)
            if cut.doubt is not None:
                arrays[f"doubt_{i}"] = np.packbits(cut.doubt)
        told["cuts"].append(cut and {
            "mask": [i, *cut.mask.shape], "confidence": cut.confidence, "cutter": cut.cutter, "flags": cut.flags
        })
    return {**arrays, "story": np.array(json.dumps(told, default=str))}


def _stop(row: dict[str, Any], where: dict[str, Path]) -> Stop:
    source = where[row["source"]]
    return Stop(**row | {
        "source": source,
        "given_mask": None if row["given_mask"] is None else source.with_name(row["given_mask"]),
        "hold": None if row["hold"] is None else tuple(row["hold"]),
        "full_size": tuple(row["full_size"]),
    })


def _cut(row: dict[str, Any] | None, data: Any) -> Cut | None:
    if row is None:
        return None
    i, h, w = row["mask"]
    mask, doubt = (
        np.unpackbits(data[name], count=h * w).reshape(h, w).astype(bool) if name in data else None
        for name in (f"mask_{i}", f"doubt_{i}")
    )
    assert mask is not None
    return Cut(mask, float(row["confidence"]), row["cutter"], tuple(row["flags"]), doubt)
