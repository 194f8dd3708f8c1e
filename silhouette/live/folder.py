"""The folder that the pages work in: poses as the commands expect them, told by ids that are no paths."""

from __future__ import annotations

import hashlib
import hmac
import secrets
from dataclasses import dataclass
from pathlib import Path
from typing import Literal

from silhouette.errors import PoseError
from silhouette.intake import film, stills
from silhouette.texts import printable


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
        raise PoseError("This pose is not in the folder any more.", do="Load the page again.")

    def id_of(self, path: Path) -> str:
        return hmac.new(self._salt, path.name.encode("utf-8", "surrogateescape"), hashlib.sha256).hexdigest()[:16]
