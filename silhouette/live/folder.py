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

from silhouette.errors import OutputError, PoseError, SilhouetteError
from silhouette.intake import film, rings, stills
from silhouette.intake.turn_table import CSV_NAME
from silhouette.settings import RINGS, Ring
from silhouette.texts import printable
from silhouette.writing import REPLACED, read_mark

RESULTS, CHECKS, SETS, ARMATURES, MENDED = "results", "checks", "sets", "armatures", "mend"
TAKEN = frozenset({RESULTS, CHECKS, SETS, ARMATURES, MENDED})
"""Where the jobs of the pages leave what they make; no pose may be called so."""
LONGEST = 180
"""Bytes of a name at most: every disk takes as many, with a number or a suffix added."""
_SPOILS = re.compile(r'[<>:"|?*\x00-\x1f\x7f-\x9f\ufffd]')
"""What no file may have in its name on one system or another."""
_NO_NAME = re.compile(r"(con|prn|aux|nul|conin\$|conout\$|(com|lpt)[0-9¹²³])\s*(\.|$)", re.IGNORECASE)
"""Names that Windows keeps for devices, whatever suffix follows."""


def clean(name: str) -> str:
    """A name from outside as one that a file or a folder may bear on every system: no path, not hidden, not long."""
    name = _SPOILS.sub("", printable(re.split(r"[/\\]", name[-4 * LONGEST:])[-1]))
    name = unicodedata.normalize("NFC", name).strip(" .")
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
                if path.name not in TAKEN and _holds_pose(path):
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

    def new_pose(self, name: str) -> PosePlace:
        """A new, empty folder for a pose, of this name made fit for a folder, or the next one that is free.

        Raises
        ------
        OutputError
            If it cannot be made.
        """
        wanted, number = clean(name), 1
        lying = {path.name.casefold() for path in self.path.iterdir()} | TAKEN
        while True:
            called = wanted if number == 1 else f"{wanted} {number}"
            number += 1
            if called.casefold() in lying:
                continue
            try:
                (self.path / called).mkdir(mode=0o700)
            except FileExistsError:
                continue
            except OSError as error:
                raise OutputError(f"cannot be made ({error.strerror or error}).", path=Path(called),
                                  do="Give another name.") from error
            return PosePlace(self.id_of(self.path / called), printable(called), self.path / called, "stills")

    def said(self, error: BaseException) -> str:
        """What went wrong as a sentence for a page, which need not know where the folder lies."""
        if isinstance(error, OSError):
            return f"The disk does not do it ({error.strerror or type(error).__name__})."
        if not isinstance(error, SilhouetteError):
            return f"This is a fault of the program ({type(error).__name__})."
        lies = printable(self.path)
        return str(error).replace(f"{lies}{os.sep}", "").replace(lies, "the folder")

    def id_of(self, path: Path) -> str:
        return hmac.new(self._salt, path.name.encode("utf-8", "surrogateescape"), hashlib.sha256).hexdigest()[:16]


def _holds_pose(folder: Path) -> bool:
    """Whether a folder holds stills, or nothing yet but what a pose has before its first stop."""
    try:
        inside = [p for p in folder.iterdir() if not p.name.startswith(".")]
    except OSError:
        return False
    if stills.written_by_us(folder) is not None:
        return False
    if rings.holds_rings(folder) or any(stills.is_still(p) and not p.is_dir() for p in inside):
        return True
    return all(stills.is_empty_room(p) or p.name in (CSV_NAME, REPLACED) or _waits(p) for p in inside)


def _waits(path: Path) -> bool:
    """Whether it is a folder of a pose that has no stop yet: that of a ring, still empty, or of close-ups."""
    return rings.is_close_ups(path) or (path.name in RINGS and path.is_dir() and not any(path.iterdir()))


def live_place(pose: Path, ring: Ring = "level") -> Path:
    """Where a live turn of the pose at this folder goes: into the folder of its ring; the level ring has one of its own
    only where it lies there. The folder need not exist.

    Raises
    ------
    PoseError
        If this ring of it is a clip or lies among other stills, or the folder cannot be read.
    """
    found = next((one for one in rings.rings_in(pose) if one.ring == ring), None)
    loose = found is not None and found.files is not None
    if ring == "level" and (found is None or loose):
        return pose
    if loose:
        raise PoseError(f"The {ring} ring of this pose lies among its other stills.",
                        do=f"Put its stills into a folder called {ring}.")
    place = pose / ring if found is None else found.place
    if place.is_symlink():
        raise PoseError(f"The {ring} ring of this pose is a link, and nothing is written through it.")
    if found is not None and not place.is_dir():
        raise PoseError(f"The {ring} ring of this pose is a clip.", do="Shoot into a new pose.")
    return place


def _made(path: Path) -> Path:
    """The folder, made if it was missing, without links and dots in its path."""
    do = "Give another folder."
    try:
        place = path.resolve()
        if place.is_dir() and stills.written_by_us(place) is not None:
            raise OutputError("holds results of this program, and no poses.", path=path, do=do)
        if any(read_mark(above) is not None for above in place.parents):
            raise OutputError("lies in results of this program.", path=path, do=do)
        place.mkdir(mode=0o700, parents=True, exist_ok=True)
    except FileExistsError:
        raise OutputError("is a file, not a folder.", path=path, do=do) from None
    except NotADirectoryError:
        raise OutputError("lies in a file, not in a folder.", path=path, do=do) from None
    except (OSError, ValueError, RuntimeError) as error:
        why = getattr(error, "strerror", None) or "no folder can be called that"
        raise OutputError(f"cannot be made ({why}).", path=path, do=do) from None
    if not os.access(place, os.R_OK | os.W_OK | os.X_OK):
        raise OutputError("cannot be written to.", path=path, do="Check the rights, or give another folder.")
    return place
