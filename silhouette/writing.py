"""Write results whole or not at all: everything goes to a folder beside the target first and is moved when complete."""

from __future__ import annotations

import os
import shutil
import tempfile
from collections.abc import Iterator
from contextlib import contextmanager
from pathlib import Path

from silhouette.errors import OutputError


def refuse(out: Path) -> None:
    """Stop before any work is done where ``out`` cannot become a folder of results.

    Raises
    ------
    OutputError
        If ``out`` or a part of its path is a file, or its nearest folder cannot be written in.
    """
    place = out
    while not place.exists() and place != place.parent:
        place = place.parent
    if not place.is_dir():
        raise OutputError("is a file, not a folder.", path=place, do="Give another place with -o.")
    if not os.access(place, os.W_OK | os.X_OK):
        raise OutputError("cannot be written to.", path=place, do="Give another place with -o.")


@contextmanager
def whole_folder(out: Path) -> Iterator[Path]:
    """A temporary folder beside ``out`` to write into; at the end its files replace those of the same name in ``out``.

    Whatever else lies in ``out`` stays. After an error or Ctrl-C the temporary folder is gone and ``out`` as it was.

    Raises
    ------
    OutputError
        If the place cannot be written to or is full.
    """
    refuse(out)
    try:
        out.parent.mkdir(parents=True, exist_ok=True)
        work = Path(tempfile.mkdtemp(prefix=f".{out.name}.", suffix=".partial", dir=out.parent))
    except OSError as error:
        raise _unwritable(out, error) from None
    try:
        yield work
        _move(work, out)
    except OutputError as error:
        inside = error.path is not None and error.path.is_relative_to(work)
        raise OutputError(error.what, path=out if inside else error.path, do=error.do) from error
    except OSError as error:
        raise _unwritable(out, error) from error
    finally:
        shutil.rmtree(work, ignore_errors=True)


def _move(work: Path, out: Path) -> None:
    if not out.exists():
        work.chmod(0o755)
        work.replace(out)
        return
    for source in sorted(p for p in work.rglob("*") if p.is_file()):
        target = out / source.relative_to(work)
        target.parent.mkdir(parents=True, exist_ok=True)
        source.replace(target)


def _unwritable(out: Path, error: OSError) -> OutputError:
    reason = error.strerror or str(error)
    return OutputError(f"cannot be written ({reason}).", path=out, do="Free some space or give another place with -o.")
