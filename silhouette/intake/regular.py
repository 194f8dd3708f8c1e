"""Open only plain files: a pipe, a device or a socket that lies there under a picture's name would never end."""

from __future__ import annotations

import os
import stat
from pathlib import Path
from typing import BinaryIO

from silhouette.errors import SilhouetteError

MOST_BYTES = 400_000_000
"""Largest file that is read into memory, bytes: the largest picture that is read is 330 MB without compression."""


def is_regular(path: Path) -> bool:
    """Whether a plain file lies there, or a link to one; False for whatever cannot be told."""
    try:
        return stat.S_ISREG(path.stat().st_mode)
    except (OSError, ValueError):
        return False


def is_there(path: Path) -> bool:
    """Whether anything has this name, a pipe or a folder too; False where that cannot be told."""
    try:
        path.stat()
    except (OSError, ValueError):
        return False
    return True


def open_regular(path: Path, kind: type[SilhouetteError]) -> BinaryIO:
    """The file, open to be read in binary.

    Raises
    ------
    kind
        If it is missing, may not be read, or is no plain file; also where it stopped being one on the way.
    """
    try:
        _refuse_odd(path.stat(), path, kind)
        flags = os.O_RDONLY | getattr(os, "O_BINARY", 0) | getattr(os, "O_NONBLOCK", 0)
        file = os.fdopen(os.open(path, flags), "rb")
    except (OSError, ValueError) as error:  # a name with a zero byte is a ValueError
        raise kind(f"cannot be read ({_reason(error)}).", path=path) from None
    try:
        _refuse_odd(os.fstat(file.fileno()), path, kind)
    except BaseException:
        file.close()
        raise
    return file


def read_regular(path: Path, kind: type[SilhouetteError], most: int = MOST_BYTES) -> bytes:
    """All bytes of a plain file.

    Raises
    ------
    kind
        As :func:`open_regular`; also if it holds more than ``most`` bytes.
    """
    with open_regular(path, kind) as file:
        try:
            size = os.fstat(file.fileno()).st_size
            # Not asked for ``most``: Python would clear as much memory first.
            data = file.read(size + 1) if size <= most else b""
            if len(data) > size:  # it grew meanwhile
                data += file.read(max(0, most + 1 - len(data)))
        except OSError as error:
            raise kind(f"cannot be read ({_reason(error)}).", path=path) from None
    if size > most or len(data) > most:
        raise kind(f"is larger than {_size(most)}, the most that is read.", path=path, do="Save it smaller.")
    return data


def _refuse_odd(told: os.stat_result, path: Path, kind: type[SilhouetteError]) -> None:
    if not stat.S_ISREG(told.st_mode):
        what = "a folder" if stat.S_ISDIR(told.st_mode) else "a pipe, a device or the like"
        raise kind(f"is {what}, not a file that can be read.", path=path, do="Leave it out.")


def _reason(error: Exception) -> str:
    return (error.strerror if isinstance(error, OSError) else None) or "no file can be called that"


def _size(count: int) -> str:
    return f"{count // 1_000_000} MB" if count >= 1_000_000 else f"{count // 1000} kB"
