"""The folder that the pages work in: poses as the commands expect them, told by ids that are no paths."""

from __future__ import annotations

import hashlib
import hmac
import re
import secrets
from dataclasses import dataclass
from pathlib import Path
from typing import Literal

from silhouette.errors import PoseError
from silhouette.intake import film, stills
from silhouette.texts import printable

LONGEST = 180
"""Bytes of a name at most: every disk takes as many, with a number or a suffix added."""
_NO_NAME = re.compile(r"(con|prn|aux|nul|com\d|lpt\d)(\.|$)", re.IGNORECASE)
"""Names that Windows keeps for devices."""


def clean(name: str) -> str:
    """A name from outside as one that a file or a folder may bear on every system: no path, not hidden, not long."""
    name = re.sub(r'[<>:"|?*]', "", printable(re.split(r"[/\\]", name)[-1]))
    name = name.replace("\ufffd", "").strip(" .")
    stem, dot, suffix = name.rpartition(".")
    if not dot or len(suffix) > 12:
        stem, suffix = name, ""
    room = LONGEST - len((dot + suffix).encode()) if suffix else LONGEST
    stem = stem.encode()[:room].decode("utf-8", "ignore").rstrip(" .")
    if not stem or _NO_NAME.match(stem):
        stem = f"unnamed {stem}".strip()
    return f"{stem}.{suffix}" if suffix else stem


@dataclass(frozen=True)
class PosePlace:
    """One pose in the folder."""

    id: str
    name: str
    path: Path
    kind: Literal["stills", "clip"]


class Folder:
    """What lies in the folder. Nothing from outside is ever made into a path: poses are asked for by their ids."""

    def __init__(self, path: Path) -> None:
        self.path = path
        self._salt = secrets.token_bytes(16)
        path.mkdir(mode=0o700, parents=True, exist_ok=True)

    def poses(self) -> list[PosePlace]:
        """The poses that lie there now, in the order of their names."""
        found = []
        for path in sorted(self.path.iterdir(), key=lambda p: (stills.natural_key(p.name), p.name)):
            if path.name.startswith(".") or path.is_symlink():
                continue
            if path.is_dir():
                if stills.written_by_us(path) is None and any(map(stills.is_still, path.iterdir())):
                    found.append(PosePlace(self.id_of(path), printable(path.name), path, "stills"))
            elif film.is_clip(path):
                found.append(PosePlace(self.id_of(path), printable(path.stem), path, "clip"))
        return found

    def pose(self, asked: str) -> PosePlace:
        """The pose of this id.

        Raises
        ------
        PoseError
            If there is none.
        """
        for one in self.poses():
            if hmac.compare_digest(one.id, asked):
                return one
        for path in self.path.iterdir():  # a pose that has no stills yet
            if path.is_dir() and not path.name.startswith(".") and hmac.compare_digest(self.id_of(path), asked):
                return PosePlace(asked, printable(path.name), path, "stills")
        raise PoseError("This pose is not in the folder any more.", do="Load the page again.")

    def new_pose(self, name: str) -> PosePlace:
        """A new, empty folder for a pose, of this name or the next one that is free."""
        wanted, number = clean(name), 1
        path = self.path / wanted
        while True:
            try:
                path.mkdir(mode=0o700)
                return PosePlace(self.id_of(path), printable(path.name), path, "stills")
            except FileExistsError:
                number += 1
                path = self.path / f"{wanted} {number}"

    def id_of(self, path: Path) -> str:
        return hmac.new(self._salt, path.name.encode("utf-8", "surrogateescape"), hashlib.sha256).hexdigest()[:16]
