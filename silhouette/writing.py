"""Everything that is written: whole or not at all, private, and never over what somebody else put there.

A folder of results is made in a hidden folder beside its place (``.OUT.1a2b3c4d.silhouette-part``) and put there by one
rename. In it lies a mark, ``.silhouette.json``, that lists what was written: only a folder that bears the mark, and
holds nothing else and nothing that was changed since, is ever replaced. Where nothing can be put beside the place (a
USB stick, the folder one stands in) the hidden folder lies inside it; one rename decides there too
(``.silhouette-new``), and the next run finishes what was decided.
"""

from __future__ import annotations

import contextlib
import ctypes
import hashlib
import importlib.util
import json
import os
import re
import secrets
import shutil
import stat
import sys
import time
import zlib
from collections.abc import Iterator, Sequence
from pathlib import Path
from typing import IO, Any, Literal

from silhouette.errors import OutputError

Kind = Literal["results", "check", "set", "armature", "archive", "found"]
"""What a folder holds: of a score or ranking, of a check, a reference set, an armature, an archive, or an
answer of find."""

MARK = ".silhouette.json"
SET_TABLE, PHOTOGRAPHS = "set.csv", "photographs"
"""Of a reference set: its table, and the folder that holds every file with a photograph in it, and nothing else."""
CLOSE_UPS, CLOSE_UP = "close_ups", "_closeup_"
"""In that folder, the folder of pictures of details; and what stands in their names between pose and detail."""
KNOWN = ".known"
"""Folder of remembered cut-outs inside results, see ``known.py``."""
REPLACED = "replaced"
"""In a pose: stills that were taken again, or were none."""
PART, NEW, OLD = ".silhouette-part", ".silhouette-new", ".silhouette-old"
"""Endings of hidden folders: being written, decided but not all in place, and about to be removed."""
WHAT = {"results": "results of score or rank", "check": "a check", "set": "a reference set",
        "armature": "an armature", "archive": "an archive", "found": "an answer of find"}

_JUNK = re.compile(
    r"\.DS_Store|\._.*|Thumbs\.db|desktop\.ini|\.directory|lost\+found|System Volume Information|\$RECYCLE\.BIN"
    r"|\.Trash.*|\.Spotlight-V100|\.fseventsd"
)
"""What systems put into folders by themselves; nobody's work."""
_REMEMBERED = re.compile(r"[0-9a-f]{24}\.npz")
_HIDDEN = re.compile(r"\..*\.[0-9a-f]{8}\.silhouette-(part|new|old)", re.DOTALL)
_LONGEST = 60
"""Letters of a folder's name that its hidden folder bears, so that no name grows too long for the disk."""
_STALE = 24 * 3600.0
"""Seconds after which a hidden folder counts as left behind where files cannot be locked."""

# ------------------------------------------------------------------------------------------- may it be written there?


def refuse(out: Path, sources: Sequence[Path] = (), *, kind: Kind = "results", overwrite: bool = True) -> None:
    """Stop before any work is done where ``out`` may not become a folder of this kind.

    What a killed run left at this place is put right first: removed, or finished where it had been decided.

    Parameters
    ----------
    out : Path
        Folder for the results; it need not exist.
    sources : sequence of Path
        Folders and files that are read: ``out`` must not be, hold or lie in one of them.
    kind : "results", "check", "set" or "armature"
        Only a folder of the same kind is replaced.
    overwrite : bool
        Whether an earlier folder of this kind may be replaced at all.

    Raises
    ------
    OutputError
        One sentence that says why not, and what to do.
    """
    with _told(out):
        if out.is_symlink() and not out.exists():
            raise OutputError("is a link that leads nowhere.", path=out, do="Give another place with -o.")
        place = _resolved(out)
        for source in sources:
            _refuse_source(out, place, source)
        _sweep(place)
        _refuse_foreign(out, place, kind, overwrite)
        nearest = place
        while not nearest.exists() and nearest != nearest.parent:
            nearest = nearest.parent
        if not nearest.is_dir():
            raise OutputError("is a file, not a folder.", path=nearest, do="Give another place with -o.")
        probe = _hidden(nearest / "try" if nearest != place or _inside(place) else place)
        try:
            probe.mkdir(mode=0o700)
        finally:
            with contextlib.suppress(FileNotFoundError):
                probe.rmdir()


def _refuse_source(
    out: Path, place: Path, source: Path, do: str = "Give a folder of its own, outside the pictures, with -o."
) -> None:
    taken = _resolved(source)
    if _same(place, taken):
        why = "is where the pictures lie."
    elif any(_same(place, above) for above in taken.parents):
        why = f"holds the pictures ({source})."
    elif source.is_dir() and any(_same(taken, above) for above in place.parents):
        why = f"lies among the pictures ({source})."
    else:
        return
    raise OutputError(why, path=out, do=do)


def _refuse_foreign(out: Path, place: Path, kind: Kind, overwrite: bool) -> None:
    if not place.exists():
        return
    if not place.is_dir():
        raise OutputError("is a file, not a folder.", path=out, do="Give another place with -o.")
    lying = [name for name in _lying(place) if not _HIDDEN.fullmatch(name.split("/")[0])]
    if not lying:
        return
    mark = read_mark(place)
    if mark is None:
        raise OutputError(f"holds other things ({lying[0]}), and they are not touched.", path=out,
                          do="Give a new folder with -o.")
    if mark["kind"] != kind:
        raise OutputError(f"holds {WHAT[mark['kind']]}.", path=out, do="Give another folder with -o.")
    for name in lying:
        if name not in mark["files"]:
            raise OutputError(f"holds something else ({name}), and it is not touched.", path=out,
                              do="Move it away, or give a new folder with -o.")
        if _told_of(place / name) != mark["files"][name]:
            raise OutputError(f"holds a file that was changed since it was written ({name}).", path=out,
                              do="Move it away, or give a new folder with -o.")
    if not overwrite:
        raise OutputError(f"is {WHAT[kind]} already.", path=out, do="Give a new folder with -o, or --overwrite.")


def read_mark(folder: Path) -> dict[str, Any] | None:
    """What the mark of a folder says, None where it bears none: ``kind``, ``files`` with size and digest, ``known``."""
    try:
        if not stat.S_ISREG((folder / MARK).lstat().st_mode):
            return None
        told = json.loads((folder / MARK).read_text(encoding="utf-8"))
        mark = {"kind": told["kind"], "files": {str(k): list(v) for k, v in told["files"].items()}}
        mark["known"] = [str(name) for name in told["known"]]
    except (OSError, ValueError, KeyError, TypeError, AttributeError, RecursionError):
        return None
    return mark if mark["kind"] in WHAT else None


def _lying(folder: Path) -> list[str]:
    """What lies in a folder and is somebody's: paths in it, folders only where they are empty or links."""
    found = []
    for path in sorted(folder.iterdir()):
        if _JUNK.fullmatch(path.name) or path.name == MARK:
            continue
        if path.is_symlink() or not path.is_dir():
            found.append(path.name)
        elif path.name == KNOWN:
            found += [f"{KNOWN}/{p.name}" for p in sorted(path.iterdir()) if not _is_remembered(p)]
        else:
            found += [f"{path.name}/{name}" for name in _lying(path)] or [path.name]
    return found


def _is_remembered(path: Path) -> bool:
    return _REMEMBERED.fullmatch(path.name) is not None and path.is_file() and not path.is_symlink()


def _told_of(path: Path) -> list[Any]:
    """[size in bytes, SHA-256] of a plain file; of anything else what no file has."""
    if path.is_symlink() or not path.is_file():
        return [-1, ""]
    with path.open("rb") as file:
        digest = hashlib.file_digest(file, "sha256").hexdigest()
    return [path.stat().st_size, digest]


def _same(one: Path, other: Path) -> bool:
    """Whether two paths are one place, however they are spelled."""
    if one == other:
        return True
    try:
        return one.samefile(other)
    except OSError:
        return False


def _inside(place: Path) -> bool:
    """Whether the place itself cannot be replaced, only what is in it."""
    if not place.is_dir():
        return False
    here = Path.cwd()
    return (
        os.path.ismount(place)
        or not os.access(place.parent, os.W_OK | os.X_OK)
        or any(_same(place, above) for above in (here, *here.parents))
    )


def _resolved(path: Path) -> Path:
    try:
        return path.resolve()
    except (RuntimeError, ValueError):  # links that lead back to themselves; a zero byte in a name
        raise OutputError("leads nowhere.", path=path, do="Check the name.") from None


@contextlib.contextmanager
def _told(out: Path) -> Iterator[None]:
    """Whatever the disk says while ``out`` is looked at or written, as one sentence about ``out``."""
    try:
        yield
    except OutputError as error:
        hidden = error.path is not None and any(part.endswith(PART) for part in error.path.parts)
        raise OutputError(error.what, path=out if hidden else error.path, do=error.do) from error
    except OSError as error:
        raise OutputError(f"cannot be written ({error.strerror or error}).", path=out,
                          do="Free some space, or give another place with -o.") from error


# -------------------------------------------------------------------------------------------------- a folder, whole


@contextlib.contextmanager
def whole_folder(
    out: Path, kind: Kind, sources: Sequence[Path] = (), *, overwrite: bool = True
) -> Iterator[Path]:
    """A hidden folder to write into; at the end it stands at ``out``, whole, in place of an earlier one of its kind.

    After an error, Ctrl-C or a signal it is gone and ``out`` is as it was. Files are readable by their owner alone.
    Parameters and errors as :func:`refuse`.
    """
    refuse(out, sources, kind=kind, overwrite=overwrite)
    with _told(out):
        place = _resolved(out)
        made = _make_parents(place.parent)
        inside = _inside(place)
        work = _hidden(place / place.name if inside else place)
        mark: IO[bytes] | None = None
        try:
            work.mkdir(mode=0o700)
            mark = _start_mark(work)
            yield work
            _finish_mark(mark, work, kind)
            _refuse_foreign(out, place, kind, overwrite)
            if inside:
                decided = work.with_name(work.name.removesuffix(PART) + NEW)
                work.rename(decided)
                made = []
                try:
                    _roll_forward(decided, place)
                finally:  # a signal may have cut it short: what is decided is finished
                    if decided.is_dir():
                        _roll_forward(decided, place)
            else:
                _put(mark, work, place)
                made = []
        finally:
            try:
                _tidy(mark, work, made)
            finally:  # a signal may have cut it short
                _tidy(mark, work, made)


def _tidy(mark: IO[bytes] | None, work: Path, made: Sequence[Path]) -> None:
    """Remove the hidden folder, and the folders made for it where they are empty; twice does no harm."""
    if mark is not None:
        mark.close()
    _discard(work)
    for folder in reversed(made):
        with contextlib.suppress(OSError):
            folder.rmdir()


def _make_parents(folder: Path) -> list[Path]:
    """Make a folder and what is missing above it; says what was made, outermost first."""
    missing = []
    while not folder.exists():
        missing.append(folder)
        folder = folder.parent
    for one in reversed(missing):
        one.mkdir()
    return missing[::-1]


def _hidden(place: Path) -> Path:
    """A new name for a hidden folder or file beside ``place``."""
    return place.with_name(f".{place.name[:_LONGEST]}.{secrets.token_hex(4)}{PART}")


def _start_mark(work: Path) -> IO[bytes]:
    """The mark, held open and locked for as long as somebody writes here."""
    mark = (work / MARK).open("xb")
    mark.write(b'{"unfinished": true}\n')
    mark.flush()
    _lock(mark)
    return mark


def _finish_mark(mark: IO[bytes], work: Path, kind: Kind) -> None:
    """List what lies in ``work`` and make it private; of remembered cut-outs the names do, they may be lost."""
    from silhouette import __version__

    listed = {name: _told_of(work / name) for name in _lying(work)}
    told = {"silhouette": __version__, "kind": kind, "files": listed, "known": _remembered(work)}
    mark.seek(0)
    mark.truncate()
    mark.write((json.dumps(told, indent=1, sort_keys=True, ensure_ascii=True) + "\n").encode())
    mark.flush()
    for path in (work, *work.rglob("*")):
        with contextlib.suppress(OSError):  # file systems without rights
            path.chmod(path.stat().st_mode & 0o700)


def _put(mark: IO[bytes], work: Path, place: Path) -> None:
    """One rename puts ``work`` at ``place``; what stood there is left at ``work``."""
    if os.name == "nt":  # an open file holds its folder fast
        mark.close()
    if not place.exists():
        work.rename(place)
    elif not _exchange(work, place):
        # No exchange here: two renames. Killed between them, the next run puts the old folder back.
        old = work.with_name(work.name.removesuffix(PART) + OLD)
        place.rename(old)
        try:
            work.rename(place)
        except BaseException:
            old.rename(place)
            raise
        _discard(old)


def _exchange(one: Path, other: Path) -> bool:
    """Let two folders change places in one step; False where the system cannot."""
    try:
        libc = ctypes.CDLL(None, use_errno=True)
        a, b = os.fsencode(one), os.fsencode(other)
        if sys.platform == "darwin":
            return bool(libc.renamex_np(a, b, 2) == 0)
        return bool(libc.renameat2(-100, a, -100, b, 2) == 0)
    except (AttributeError, OSError, TypeError):
        return False


def _roll_forward(decided: Path, place: Path) -> None:
    """Put what was decided into ``place``, the mark last, so that a killed run can be finished by the next."""
    old, new = read_mark(place), read_mark(decided)
    if old is not None and new is not None:
        stays = {*new["files"], *new["known"]}
        _remove(place, [name for name in (*old["files"], *_remembered(place)) if name not in stays])
    moving = [p.relative_to(decided).as_posix() for p in decided.rglob("*") if not p.is_dir()]
    for name in sorted(moving, key=lambda n: (n == MARK, n)):
        (place / name).parent.mkdir(mode=0o700, parents=True, exist_ok=True)
        (decided / name).replace(place / name)
    shutil.rmtree(decided, ignore_errors=True)


def _remembered(folder: Path) -> list[str]:
    known = folder / KNOWN
    return [f"{KNOWN}/{p.name}" for p in known.iterdir() if _is_remembered(p)] if known.is_dir() else []


def _remove(folder: Path, names: Sequence[str]) -> None:
    """Remove these files of a folder, and the folders inside it that this empties."""
    for name in names:
        with contextlib.suppress(OSError):
            (folder / name).unlink()
    above = {p for name in names for p in (folder / name).parents if p != folder and p.is_relative_to(folder)}
    for inner in sorted(above, key=lambda p: -len(p.parts)):
        with contextlib.suppress(OSError):
            inner.rmdir()


def _discard(work: Path) -> None:
    """Remove a hidden folder: an unfinished one as it is; of a whole one what its mark lists. The mark goes last, so
    that what a kill leaves of it is still known for our own."""
    if not work.is_dir() or work.is_symlink():
        return
    mark = read_mark(work)
    if mark is None and (work / MARK).is_file():
        names = [str(p.relative_to(work)) for p in work.rglob("*") if not p.is_dir() and p != work / MARK]
        _remove(work, names)
        for empty in work.iterdir():
            if empty.is_dir():
                shutil.rmtree(empty, ignore_errors=True)
    else:
        junk = [str(p.relative_to(work)) for p in work.rglob("*") if _JUNK.fullmatch(p.name) and p.is_file()]
        _remove(work, [*(mark["files"] if mark else ()), *_remembered(work), *junk])
        with contextlib.suppress(OSError):  # emptied before, but still there
            (work / KNOWN).rmdir()
    if not [p for p in work.iterdir() if p.name != MARK]:
        _remove(work, [MARK])
        work.rmdir()


# -------------------------------------------------------------------------------------- what a killed run left behind


def _sweep(place: Path) -> None:
    """Put right what a killed run left beside or inside ``place``, unless somebody is still writing there."""
    begins = f".{place.name[:_LONGEST]}."
    for folder in (place.parent, place):
        left = []
        with contextlib.suppress(OSError):
            left = [p for p in folder.iterdir() if p.name.startswith(begins) and _HIDDEN.fullmatch(p.name)]
        for path in left:
            if path.is_symlink() or _alive(path):
                continue
            if path.is_file():
                path.unlink()
            elif path.name.endswith(NEW):
                _roll_forward(path, place)
            elif path.name.endswith(OLD) and not place.exists():
                path.rename(place)
            else:
                _discard(path)


@contextlib.contextmanager
def alone_in(folder: Path) -> Iterator[None]:
    """Keep a folder from a second process that wants to be alone in it too; one that only reads or writes there is not
    kept out. Where a system cannot lock folders nobody is.

    Raises
    ------
    OutputError
        If another process is in it.
    """
    try:
        handle = os.open(folder, os.O_RDONLY)
    except OSError:  # some systems open no folder
        yield
        return
    try:
        if not _lock(handle):
            raise OutputError("is open already.", path=folder, do="Go on with that page, or stop it first.")
        yield
    finally:
        os.close(handle)


def _lock(mark: IO[bytes] | int) -> bool:
    """Lock an open file without waiting; False where another process holds it, True where nothing can be locked."""
    try:
        import fcntl
    except ImportError:
        return True
    try:
        fcntl.flock(mark, fcntl.LOCK_EX | fcntl.LOCK_NB)
    except BlockingIOError:
        return False
    except OSError:  # a file system without locks
        return True
    return True


def _alive(hidden: Path) -> bool:
    """Whether a process still writes in this hidden folder or file."""
    held = hidden / MARK if hidden.is_dir() else hidden
    if importlib.util.find_spec("fcntl") is None:
        return hidden.stat().st_mtime > time.time() - _STALE
    try:
        with held.open("rb") as mark:
            return not _lock(mark)
    except OSError:
        return False


# ----------------------------------------------------------------------------------------------------- a file, whole


def whole_file(path: Path, data: bytes, *, sealed: bool = False, ours: bool = False) -> Path:
    """Write one file, private to its owner: it is there whole or not at all.

    A file that lies there already is replaced only if it is a page of our own that nobody has changed: with ``sealed``
    the file carries a seal by which that is known. With ``ours`` whoever calls has made sure of it.

    Raises
    ------
    OutputError
        The folder is missing, full or not ours to write in, or another file lies there.
    """
    if not (ours and path.is_file() and not path.is_symlink()):
        refuse_file(path)
    with _told(path):
        _sweep(path)
        _put_file(path, seal(data) if sealed else data)
    return path


def _put_file(path: Path, data: bytes) -> None:
    with _put_in_place(path) as file:
        file.write(data)


@contextlib.contextmanager
def _put_in_place(path: Path) -> Iterator[IO[bytes]]:
    """A private file to write into; at the end one rename puts it in place of whatever lies there."""
    beside = _hidden(path)
    try:
        with os.fdopen(os.open(beside, os.O_RDWR | os.O_CREAT | os.O_EXCL, 0o600), "w+b") as file:
            _lock(file)
            yield file
        beside.replace(path)
    finally:
        beside.unlink(missing_ok=True)


def tidy(folder: Path) -> None:
    """Remove what a killed run left of single files in a folder, unless somebody is still writing there."""
    with contextlib.suppress(OSError):
        for path in [p for p in folder.iterdir() if _HIDDEN.fullmatch(p.name) and p.name.endswith(PART)]:
            if path.is_file() and not path.is_symlink() and not _alive(path):
                path.unlink()


def refuse_file(path: Path, sources: Sequence[Path] = ()) -> None:
    """Stop before any work is done where ``path`` may not be written: see :func:`whole_file`.

    It must also not be, or lie in, one of the ``sources``: folders and files that are read.
    """
    with _told(path):
        for source in sources:
            _refuse_source(path, _resolved(path), source, "Give the page a place outside the pictures, with -o.")
        if path.is_dir():
            raise OutputError("is a folder, not a file.", path=path, do="Give the page a name with -o.")
        if (path.exists() or path.is_symlink()) and not (path.is_file() and not path.is_symlink() and is_sealed(path)):
            raise OutputError("is there already, and it is not a page that this program wrote.", path=path,
                              do="Give another name with -o.")
        if not path.parent.is_dir():
            raise OutputError("is in a folder that does not exist.", path=path, do="Make the folder first.")


def seal(data: bytes) -> bytes:
    """The page, a PDF, PNG or HTML, or the file, Parquet or a JSON object, with a seal inside: SHA-256 of all the rest,
    as a comment, a private chunk, bytes that readers pass over between data and footer, or one member more."""
    before, after = _ends(data)
    return before + _seal_of(before, after) + after


def is_sealed(path: Path) -> bool:
    """Whether a file is a page of our own that nobody has changed since."""
    return holds_seal(path.read_bytes())


def holds_seal(data: bytes) -> bool:
    """The same of the bytes of a file."""
    before, after = _ends(data)
    bare = before[: -len(_seal_of(b"", after))]
    return before == bare + _seal_of(bare, after)


def _ends(data: bytes) -> tuple[bytes, bytes]:
    """A page parted where its seal stands: before the end chunk of a PNG, the last line but one of a PDF, the end tag
    of HTML, the footer of a Parquet file, whose length stands in four bytes before its last four."""
    if data.startswith(_PARQUET) and data.endswith(_PARQUET):
        at = max(0, len(data) - 8 - int.from_bytes(data[-8:-4], "little"))
        return data[:at], data[at:]
    if data.startswith(b"{") and data.endswith(_JSON_END):
        return data[: -len(_JSON_END)], _JSON_END
    at = data.rfind(_PNG_END if data.startswith(_PNG) else _HTML_END if data.startswith(_HTML) else b"startxref")
    return data[:at], data[at:]


_PNG, _PNG_END = b"\x89PNG", b"\0\0\0\0IEND"
_HTML, _HTML_END = b"<!doctype html>", b"</html>"
_PARQUET, _JSON_END = b"PAR1", b"}\n"


def _seal_of(before: bytes, after: bytes) -> bytes:
    digest = hashlib.sha256(before + after).hexdigest().encode()
    if after == _JSON_END:
        return b', "seal": "' + digest + b'"\n'
    if after.startswith(_HTML_END):
        return b"<!--silhouette page " + digest + b"-->\n"
    if not after.startswith(_PNG_END):
        return b"%silhouette page " + digest + b"\n"
    chunk = b"siLh" + digest  # ancillary, private, safe to copy (PNG 1.2, 3.3)
    return len(digest).to_bytes(4, "big") + chunk + zlib.crc32(chunk).to_bytes(4, "big")


_PARQUET_SEAL = re.compile(rb"%silhouette page ([0-9a-f]{64})\n")
_PARQUET_SEAL_BYTES = len(b"%silhouette page \n") + 64
_AT_ONCE = 1 << 20
"""Bytes of a long file that are held in memory."""


def seal_borne(file: IO[bytes]) -> str | None:
    """The seal that an open Parquet file bears, None where it bears none.

    Whether it is true is not looked at: it says what the file held when it was written, and is quickly read.
    """
    footer = _footer_at(file)
    if footer < _PARQUET_SEAL_BYTES:
        return None
    file.seek(footer - _PARQUET_SEAL_BYTES)
    found = _PARQUET_SEAL.fullmatch(file.read(_PARQUET_SEAL_BYTES))
    return None if found is None else found[1].decode()


def is_whole(file: IO[bytes]) -> bool:
    """Whether an open Parquet file, however long, bears a true seal."""
    borne = seal_borne(file)
    return borne is not None and borne == _digest_of_parquet(file, _footer_at(file), sealed=True)


def _seal_parquet(file: IO[bytes]) -> None:
    """Put the seal into an open Parquet file, however long."""
    at = _footer_at(file)
    digest = _digest_of_parquet(file, at, sealed=False)
    file.seek(at)
    footer = file.read()
    file.seek(at)
    file.write(b"%silhouette page " + digest.encode() + b"\n" + footer)


def _footer_at(file: IO[bytes]) -> int:
    """Where the footer of an open Parquet file begins; below 0 where it is none."""
    size = file.seek(0, os.SEEK_END)
    file.seek(max(0, size - 8))
    end = file.read(8)
    return size - 8 - int.from_bytes(end[:4], "little") if end[4:] == _PARQUET else -1


def _digest_of_parquet(file: IO[bytes], footer: int, *, sealed: bool) -> str:
    """SHA-256 of all of it but its seal."""
    digest = hashlib.sha256()
    left = footer - _PARQUET_SEAL_BYTES * sealed
    file.seek(0)
    while left and (part := file.read(min(left, _AT_ONCE))):
        digest.update(part)
        left -= len(part)
    file.seek(footer)
    while part := file.read(_AT_ONCE):
        digest.update(part)
    return digest.hexdigest()


# ----------------------------------------------------------------------------------------------- a folder that grows


class Growing:
    """A folder of ours that grows file by file, each there whole or not at all; open to one process at a time.

    Its mark says what it is, not what lies in it: every file bears a seal of its own, and only sealed ones are ever
    replaced or removed.
    """

    def __init__(self, place: Path) -> None:
        self.place = place

    def put(self, name: str, data: bytes) -> None:
        """Write one file, in place of an earlier one of ours.

        Raises
        ------
        OutputError
            The disk is full, say, or something else lies there.
        """
        path = self.place / name
        self.check(name)
        with _told(path):
            path.parent.mkdir(mode=0o700, exist_ok=True)
            _put_file(path, seal(data))

    @contextlib.contextmanager
    def filling(self, name: str) -> Iterator[IO[bytes]]:
        """A Parquet file to be written piece by piece; at the end it is sealed and put in place of an earlier one of
        ours. Raises as :meth:`put`; after any error nothing has changed."""
        path = self.place / name
        self.check(name)
        with _told(path), _put_in_place(path) as file:
            yield file
            _seal_parquet(file)

    def remove(self, name: str) -> None:
        """Remove a file of ours. Raises as :meth:`put`."""
        self.read(name)
        with _told(self.place / name):
            (self.place / name).unlink()

    def check(self, name: str) -> bool:
        """Whether this file is there.

        Raises
        ------
        OutputError
            Something else lies there, or it was changed.
        """
        path = self.place / name
        if not path.exists() and not path.is_symlink():
            return False
        if path.suffix != ".parquet":
            self.read(name)
            return True
        with _told(path):
            if path.is_file() and not path.is_symlink():
                with path.open("rb") as file:
                    if is_whole(file):
                        return True
        raise self._changed(name)

    def read(self, name: str) -> bytes:
        """The bytes of a file of ours.

        Raises
        ------
        OutputError
            If it is none, or was changed.
        """
        with _told(self.place / name):
            path = self.place / name
            data = path.read_bytes() if path.is_file() and not path.is_symlink() else b""
        if not holds_seal(data):
            raise self._changed(name)
        return data

    def seal(self, name: str) -> str:
        """The seal that a Parquet file of ours bears. Raises as :meth:`read`."""
        with _told(self.place / name), (self.place / name).open("rb") as file:
            borne = seal_borne(file)
        if borne is None:
            raise self._changed(name)
        return borne

    def _changed(self, name: str) -> OutputError:
        return OutputError(f"holds a file that was changed since it was written ({name}).", path=self.place,
                           do="Move it away, or give a new folder with -o.")


@contextlib.contextmanager
def growing_folder(
    out: Path, kind: Kind, sources: Sequence[Path], names: re.Pattern[str]
) -> Iterator[Growing]:
    """The folder at ``out``, made if it is missing, to be filled file by file; what a killed run left half is removed.

    Parameters
    ----------
    out, sources
        As in :func:`refuse`.
    kind : "archive"
        Only a folder of the same kind, or an empty one, is gone on with.
    names : pattern
        Of the files that may lie in it, ``/`` between folders.

    Raises
    ------
    OutputError
        It may not lie there, holds other things, or another process is writing in it.
    """
    with _told(out):
        if out.is_symlink() and not out.exists():
            raise OutputError("is a link that leads nowhere.", path=out, do="Give another place with -o.")
        place = _resolved(out)
        for source in sources:
            _refuse_source(out, place, source)
        _refuse_other_names(out, place, kind, names)
        made = _make_parents(place)
        fresh = not (place / MARK).exists()
        try:
            with contextlib.suppress(OSError):  # file systems without rights
                place.chmod(place.stat().st_mode & 0o700)
            if fresh:
                told: dict[str, Any] = {"kind": kind, "files": {}, "known": []}
                _put_file(place / MARK, (json.dumps(told, indent=1, sort_keys=True) + "\n").encode())
            with (place / MARK).open("r+b") as mark:
                if not _lock(mark):
                    raise OutputError("is being written by another run.", path=out, do="Wait until it is done.")
                for folder in (place, *(p for p in place.iterdir() if p.is_dir() and not p.is_symlink())):
                    tidy(folder)
                yield Growing(place)
        finally:
            if fresh and not _lying(place):  # nothing came of it
                (place / MARK).unlink(missing_ok=True)
                for one in reversed(made):
                    with contextlib.suppress(OSError):
                        one.rmdir()


def _refuse_other_names(out: Path, place: Path, kind: Kind, names: re.Pattern[str]) -> None:
    """Stop where a folder that is to grow is none of ours, or holds what it never wrote."""
    if not place.exists():
        return
    if not place.is_dir():
        raise OutputError("is a file, not a folder.", path=out, do="Give another place with -o.")
    lying = [name for name in _lying(place) if not _HIDDEN.fullmatch(name.rpartition("/")[2])]
    mark = read_mark(place)
    if mark is None and (lying or (place / MARK).exists()):
        name = lying[0] if lying else MARK
        raise OutputError(f"holds other things ({name}), and they are not touched.", path=out,
                          do="Give a new folder with -o.")
    if mark is not None and mark["kind"] != kind:
        raise OutputError(f"holds {WHAT[mark['kind']]}.", path=out, do="Give another folder with -o.")
    for name in lying:
        if not names.fullmatch(name):
            raise OutputError(f"holds something else ({name}), and it is not touched.", path=out,
                              do="Move it away, or give a new folder with -o.")


# ------------------------------------------------------------------------------------------ a file that comes in pieces

ARRIVING = ".arriving-"


def arrival(folder: Path, mark: str) -> Path:
    """Where what comes to ``folder`` in pieces lies until it is whole: a hidden file. ``mark``, made of plain letters
    and digits, tells it from others."""
    return folder / f"{ARRIVING}{mark}{PART}"


def open_arrival(path: Path) -> IO[bytes] | None:
    """The file of an :func:`arrival`, made private if it is missing, open for reading and writing, without a buffer;
    None where another process writes it.

    Raises
    ------
    OSError
        As the system says.
    """
    flags = os.O_RDWR | os.O_CREAT | getattr(os, "O_BINARY", 0) | getattr(os, "O_NOFOLLOW", 0)
    file = os.fdopen(os.open(path, flags, 0o600), "r+b", buffering=0)
    if _lock(file):
        return file
    file.close()
    return None


def forget_arrivals(folder: Path, older: float = _STALE) -> None:
    """Remove what began to arrive in ``folder`` and was not gone on with for ``older`` seconds."""
    for path in folder.glob(arrival(folder, "*").name):
        with contextlib.suppress(OSError):
            if path.lstat().st_mtime < time.time() - older and not path.is_symlink() and not _alive(path):
                path.unlink()


def put_new(part: Path, place: Path) -> bool:
    """Put a whole file at a place where nothing lies yet; False, and nothing done, where something does."""
    try:
        os.link(part, place)  # fails where something lies, in the one step that decides
    except FileExistsError:
        return False
    except OSError:  # a file system without hard links
        if place.exists() or place.is_symlink():
            return False
        part.rename(place)
    else:
        part.unlink()
    return True
