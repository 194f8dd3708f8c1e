"""Which poses lie under some folders, however deep.

The rules are those of ``rank``, folder by folder: a clip is a pose, and so is a folder of stills, or one that holds
rings. Any other folder is looked into, whatever its name: ``2019/spring/hauling``. Never a pose: what this program
wrote, what is hidden, pictures called empty, close-ups, the stills that ``open`` keeps in ``replaced``, and cut-outs in
a folder ``masks``.
"""

from __future__ import annotations

import hashlib
import os
import re
from collections.abc import Iterator, Sequence
from dataclasses import dataclass
from itertools import combinations
from pathlib import Path

from silhouette import turnaround
from silhouette.errors import PoseError
from silhouette.intake import film, rings, stills
from silhouette.texts import printable
from silhouette.writing import REPLACED

NEVER = frozenset({REPLACED, "masks"})
"""Folders that lie in a pose and are none."""


@dataclass(frozen=True)
class Place:
    """Where one pose lies."""

    path: Path
    root: str
    """Name of the root."""
    inside: str
    """The way from the root to it, ``/`` between folders; empty where the root is the pose itself."""

    @property
    def source(self) -> str:
        """As people are told: ``turns/2019/hauling``."""
        return printable(f"{self.root}/{self.inside}" if self.inside else self.root)

    @property
    def mark(self) -> str:
        """What it is known by in the archive: a short digest of its way from the root."""
        return hashlib.sha256(os.fsencode(f"{self.root}\0{self.inside}")).hexdigest()[:12]

    @property
    def file(self) -> str:
        """Name of its file in the archive."""
        name = re.sub(r"[^\w.-]+", "_", turnaround.name_of(self.path))[:60].strip("._")
        return f"{name or 'pose'}-{self.mark}.parquet"


@dataclass(frozen=True)
class Found:
    """What lies under the roots."""

    roots: tuple[str, ...]
    """Their names."""
    poses: tuple[Place, ...]
    troubles: tuple[tuple[str, str], ...]
    """Folders that are passed over, and why."""


def find(roots: Sequence[Path]) -> Found:
    """All poses under the roots, in the order of the roots and of natural names.

    Raises
    ------
    PoseError
        If a root does not exist or lies in another, two have one name, or there is no pose under any.
    """
    for root in roots:
        turnaround.refuse_missing(root)
    whole = [turnaround.whole_path(root) for root in roots]
    for one, other in combinations(whole, 2):
        if one == other or one in other.parents or other in one.parents:
            raise PoseError(f"lies in another of the folders given, or is it ({printable(one)}).", path=other,
                            do="Give one of them.")
        if one.name == other.name:
            raise PoseError(f"has the name of another of the folders given ({printable(one)}).", path=other,
                            do="Give the folder that holds both, or give one of them another name.")
    walk = _Walk()
    poses = [Place(path, root.name or "root", path.relative_to(root).as_posix().removeprefix("."))
             for root in whole for path in walk.at(root, first=True)]
    if not poses:
        raise PoseError("holds neither pictures nor folders of pictures." if len(roots) == 1 else
                        "No pose lies in any of the folders.", path=roots[0] if len(roots) == 1 else None,
                        do="Give the folder that holds the folders or clips of the poses.")
    told = [(printable(path.relative_to(root.parent).as_posix()), why)
            for path, why in walk.troubles for root in whole if path == root or root in path.parents]
    return Found(tuple(printable(root.name or "root") for root in whole), tuple(poses), tuple(told))


class _Walk:
    """One walk through all roots; a folder that links lead to again is passed over."""

    def __init__(self) -> None:
        self.troubles: list[tuple[Path, str]] = []
        self._seen: set[Path] = set()

    def at(self, place: Path, *, first: bool = False) -> Iterator[Path]:
        """The poses at a place and below. What this program wrote is one only where it is the ``first``, a root."""
        try:
            if not place.is_dir():
                if first or film.is_clip(place):
                    yield place
                return
            real = place.resolve()
            if real in self._seen:
                return
            self._seen.add(real)
            if stills.written_by_us(place) is not None:
                if first:
                    yield place
                return
            inside = sorted(place.iterdir(), key=lambda p: (stills.natural_key(p.name), p.name))
            if rings.holds_rings(place):
                yield place
                return
            yield from self._among(place, [p for p in inside if not p.name.startswith(".")])
        except (OSError, RuntimeError) as error:  # RuntimeError: a loop of links, before Python 3.13
            why = getattr(error, "strerror", None) or str(error)
            self.troubles.append((place, f"cannot be opened ({why})."))

    def _among(self, place: Path, inside: Sequence[Path]) -> Iterator[Path]:
        loose = [p for p in inside if stills.is_still(p) and not p.is_dir()]
        below = None
        for path in inside:
            if rings.is_close_ups(path) or (path.name.casefold() in NEVER and path.is_dir()):
                continue
            for below in self.at(path):
                yield below
        if loose and below is None:
            yield place
        elif loose:
            what = f"holds loose pictures ({printable(loose[0].name)}) beside poses."
            self.troubles.append((place, f"{what} Move them into a folder of their own."))
