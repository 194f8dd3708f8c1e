"""The folder that the pages work in: poses as the commands expect them, told by ids that are no paths."""

from __future__ import annotations

import hashlib
import hmac
import os
import re
import secrets
import unicodedata
from dataclasses import dataclass
from pathlib import Path
from typing import Literal

from silhouette.errors import OutputError, PoseError
from silhouette.intake import film, stills
from silhouette.texts import printable

RESULTS, CHECKS, SETS, MENDED = "results", "checks", "sets", "mend"
"""Where the jobs of the pages leave what they make; no pose may be called so."""
REPLACED = "replaced"
"""In a pose: stills that were taken again, or were none."""
TABLE = "turn.csv"
"""In a pose: its live turn, see ``shots.py``."""
LONGEST, MOST_BYTES = 80, 200
"""Letters of a name, and bytes of it on the disk, at most; endings come on top."""
_SPOILS = re.compile(r'[\\/:*?"<>|\x00-\x1f\x7f-\x9f]')
"""What no file may have in its name on one system or another."""
_DEVICE = re.compile(r"(con|prn|aux|nul|conin\$|conout\$|(com|lpt)[0-9¹²³])\s*(\..*)?", re.IGNORECASE | re.DOTALL)
"""Names that are devices on Windows, whatever ending follows."""


@dataclass(frozen=True)
class PosePlace:
    """One pose in the folder."""

    id: str
    name: str
    path: Path
    kind: Literal["stills", "clip"]


class Folder:
    """What lies in the folder. Nothing from outside is ever made into a path: poses are asked for by their ids.

    Raises
    ------
    OutputError
        If it is a file, cannot be made or written to, or lies in results of this program.
    """

    def __init__(self, path: Path) -> None:
        self.path = _made(path)
        self._salt = secrets.token_bytes(16)

    def poses(self) -> list[PosePlace]:
        """The poses that lie there now, in the order of their names."""
        found = []
        for path in sorted(self.path.iterdir(), key=lambda p: (stills.natural_key(p.name), p.name)):
            if path.name.startswith(".") or path.is_symlink():
                continue
            if path.is_dir():
                if path.name not in (RESULTS, CHECKS, SETS, MENDED) and _holds_pose(path):
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
            if hmac.compare_digest(one.id.encode(), asked.encode("utf-8", "replace")):
                return one
        raise PoseError("This pose is not in the folder any more.", do="Load the page again.")

    def new(self, name: str) -> PosePlace:
        """Make the folder of a new pose; its name is cleaned first, see :func:`file_name`.

        Raises
        ------
        PoseError
            If nothing is left of the name, or something is called so already.
        OutputError
            If it cannot be made.
        """
        called = file_name(name)
        lying = {path.name.casefold() for path in self.path.iterdir()}
        if called.casefold() in {*lying, RESULTS, CHECKS, SETS, MENDED}:
            raise PoseError(f"{printable(called)}: there is something of this name already.", do="Give another name.")
        place = self.path / called
        try:
            place.mkdir(mode=0o700)
        except OSError as error:
            raise OutputError(f"cannot be made ({error.strerror or error}).", path=Path(called),
                              do="Give another name.") from error
        return PosePlace(self.id_of(place), printable(called), place, "stills")

    def id_of(self, path: Path) -> str:
        return hmac.new(self._salt, path.name.encode("utf-8", "surrogateescape"), hashlib.sha256).hexdigest()[:16]


def file_name(text: str) -> str:
    """A name that a person gave, as one that a file or folder may bear on any system: never a path, never hidden.

    Raises
    ------
    PoseError
        If nothing is left of it.
    """
    name = unicodedata.normalize("NFC", printable(_SPOILS.sub("-", text[: 4 * LONGEST])))[:LONGEST]
    name = name.encode("utf-8", "replace")[:MOST_BYTES].decode("utf-8", "ignore").strip(" .")
    if not any(letter.isalnum() for letter in name):
        raise PoseError("This name has no letter and no digit in it.", do="Give another name.")
    return f"_{name}" if _DEVICE.fullmatch(name) else name


def _holds_pose(folder: Path) -> bool:
    """Whether a folder holds stills, or nothing yet but what a pose has before its first stop."""
    try:
        inside = [p for p in folder.iterdir() if not p.name.startswith(".")]
    except OSError:
        return False
    if stills.written_by_us(folder) is not None:
        return False
    begun = all(stills.is_empty_room(p) or p.name in (TABLE, REPLACED) for p in inside)
    return begun or any(stills.is_still(p) and not p.is_dir() for p in inside)


def _made(path: Path) -> Path:
    """The folder, made if it was missing, without links and dots in its path."""
    do = "Give another folder."
    try:
        place = path.resolve()
        for one in (place, *place.parents):
            if one.is_dir() and stills.written_by_us(one) is not None:
                raise OutputError("lies in results of this program." if one != place else
                                  "holds results of this program, and no poses.", path=path, do=do)
        place.mkdir(mode=0o700, parents=True, exist_ok=True)
    except FileExistsError:
        raise OutputError("is a file, not a folder.", path=path, do=do) from None
    except NotADirectoryError:
        raise OutputError("lies in a file, not in a folder.", path=path, do=do) from None
    except (OSError, ValueError, RuntimeError) as error:
        why = getattr(error, "strerror", None) or "no folder can be called that"
        raise OutputError(f"cannot be made ({why}).", path=path, do=do) from None
    if not os.access(place, os.R_OK | os.W_OK | os.X_OK):
        raise OutputError("cannot be written to.", path=path, do="Check its rights, or give another folder.")
    return place
