"""What finding goes by, of all poses of an archive at once: from one file, so that a question need not open thousands.

The file, ``views.parquet``, is made of the files of the poses, pose after pose in the order of their names, and says
from the file with which seal each run of its rows was made. It is never believed further than these files are there:
rows of a file that is gone, or bears another seal by now, are passed over, and what it lacks is read from the file
itself. So whatever is done to an archive by hand, the answer is that of its poses; without this file it comes later.
"""

from __future__ import annotations

import contextlib
import json
from collections.abc import Callable, Iterable, Iterator, Sequence
from dataclasses import dataclass
from functools import partial
from pathlib import Path
from typing import Any, TypeVar

from silhouette import writing
from silhouette.errors import PoseError
from silhouette.find import rows
from silhouette.find.views import Views, views_of
from silhouette.intake.regular import open_regular, read_regular
from silhouette.texts import printable

T = TypeVar("T")

FILE, POSES = "views.parquet", "poses"
SCHEMA = 1
"""Of this file."""
AT_ONCE = 4096
"""About so many rows are held in memory as it is written."""
REPEATED = ("pose", "source", "ring", "band", "flags.list.element", "joints.list.element.joint")
"""Columns whose values come again and again; the others pack better as they are."""


@dataclass(frozen=True)
class Looked:
    """All poses of an archive as a question goes through them."""

    files: tuple[str, ...]
    """(p,) of each pose, by its name in the archive."""
    views: Views
    left_out: tuple[tuple[str, str], ...]
    """Files that cannot be read, and why."""


# -------------------------------------------------------------------------------------------------------------- written


def write(folder: writing.Growing, files: Sequence[str]) -> None:
    """Make the file anew, unless it is of these files already; few rows are in memory at a time.

    Parameters
    ----------
    folder : Growing
        The archive.
    files : sequence of str
        Names of the files of all its poses, in their order.

    Raises
    ------
    OutputError
        The disk is full, say, or what lies there is not ours.
    """
    if not files:
        if folder.check(FILE):
            folder.remove(FILE)
        return
    seals = [folder.seal(name) for name in files]
    if folder.check(FILE) and _seals_at(folder.place / FILE) == seals:
        return
    import pyarrow.parquet as pq

    counts = list[int]()
    how = {"compression": "zstd", "use_dictionary": list(REPEATED)}
    with folder.filling(FILE) as file, pq.ParquetWriter(file, rows.found_by_schema(), **how) as writer:
        for tables in _portions(rows.found_by(folder.read(name)) for name in files):
            counts += map(len, tables)
            table = rows.joined(tables)
            writer.write_table(table, max(1, len(table)))
        told = {"schema": SCHEMA, "made of": list(zip(seals, counts, strict=True))}
        writer.add_key_value_metadata({rows.ABOUT: json.dumps(told).encode()})


def _portions(tables: Iterable[Any]) -> Iterator[list[Any]]:
    """These tables, as many together as have :data:`AT_ONCE` rows."""
    held: list[Any] = []
    for table in tables:
        held.append(table)
        if sum(map(len, held)) >= AT_ONCE:
            yield held
            held = []
    if held:
        yield held


# -------------------------------------------------------------------------------------------------------------- asked


def look(archive: Path, columns: Sequence[str]) -> Looked:
    """All poses of an archive, with some columns of :data:`rows.FOUND_BY`. Nothing is written.

    Raises
    ------
    PoseError
        None of them can be read.
    """
    names, held = files_in(archive), _held(archive / FILE, columns)
    if held is not None:
        with contextlib.suppress(ValueError):  # it says what no view can be: the files know better
            return _look(archive, names, columns, held)
    try:
        return _look(archive, names, columns, _Held(None, {}))
    except ValueError as error:
        raise _unreadable(archive, error) from None


def files_in(archive: Path) -> list[str]:
    """Names of the files of all poses of an archive, in their order."""
    inside = archive / POSES
    return [f"{POSES}/{name}" for name in sorted(p.name for p in inside.iterdir() if p.suffix == ".parquet")
            ] if inside.is_dir() else []


@dataclass(frozen=True)
class _Held:
    """The file as it lies there."""

    table: Any
    at: dict[str, tuple[int, int]]
    """Where the rows of each pose begin, and how many there are, by the seal of its file."""


def _look(archive: Path, names: Sequence[str], columns: Sequence[str], held: _Held) -> Looked:
    files, counts, faults = list[str](), list[int](), dict[str, PoseError]()
    taken = _Taken(held.table)
    for name in names:
        try:
            with open_regular(archive / name, PoseError) as file:
                at = held.at.get(writing.seal_borne(file) or "")
            if at is None:
                table = read(archive / name, partial(rows.found_by, columns=columns))
                taken.more(table)
                counts.append(len(table))
            else:
                taken.held(*at)
                counts.append(at[1])
            files.append(name)
        except PoseError as error:
            faults[name] = error
    if faults and not files:
        raise next(iter(faults.values()))
    left_out = tuple((printable(name), str(error)) for name, error in faults.items())
    return Looked(tuple(files), views_of(taken.table(columns), counts), left_out)


def read(path: Path, how: Callable[[bytes], T]) -> T:
    """What is made of the bytes of a pose's file.

    Raises
    ------
    PoseError
        It cannot be read, was changed, or is none.
    """
    data = read_regular(path, PoseError)
    try:
        if not writing.holds_seal(data):
            raise ValueError("it was changed since it was written")
        return how(data)
    except ValueError as error:
        raise _unreadable(path, error) from None


def _unreadable(path: Path, why: Exception) -> PoseError:
    return PoseError(f"cannot be read ({printable(str(why))}).", path=path,
                     do="Move it away, then run silhouette archive again.")


class _Taken:
    """Rows for a question: runs of rows of one table, and other tables, in the order in which they come."""

    def __init__(self, table: Any) -> None:
        self._table, self._parts = table, list[Any]()
        self._begin = self._end = 0

    def held(self, start: int, count: int) -> None:
        """Rows of the table; what follows on the rows before is one run with them."""
        if start != self._end:
            self._close()
            self._begin = start
        self._end = start + count

    def more(self, table: Any) -> None:
        """Another table."""
        self._close()
        self._parts.append(table)

    def _close(self) -> None:
        if self._end > self._begin:
            self._parts.append(self._table.slice(self._begin, self._end - self._begin))
        self._begin = self._end

    def table(self, columns: Sequence[str]) -> Any:
        self._close()
        return rows.joined(self._parts) if self._parts else rows.found_by_schema(columns).empty_table()


def _held(path: Path, columns: Sequence[str]) -> _Held | None:
    """What the file holds; None where it is missing, or not whole."""
    try:
        with open_regular(path, PoseError) as file:
            if not writing.is_whole(file):
                return None
            with rows.opened(file) as held:
                at = _places(rows.about_in(held.metadata.metadata), held.metadata.num_rows)
                schema = rows.found_by_schema(columns)
                table = held.read(columns=list(columns), use_threads=False).select(list(columns))
                return _Held(table.replace_schema_metadata(None).cast(schema), at)
    except (OSError, PoseError, ValueError):
        return None


def _places(told: dict[str, Any], rows_there: int) -> dict[str, tuple[int, int]]:
    """Where the rows of each pose begin, and how many there are. Raises a ValueError where that cannot be."""
    if told["schema"] != SCHEMA:
        raise ValueError("is of another version")
    at, start = dict[str, tuple[int, int]](), 0
    for seal, count in told["made of"]:
        if not (isinstance(seal, str) and isinstance(count, int) and count >= 0):
            raise ValueError("names no files")
        at[seal] = start, count
        start += count
    if start != rows_there:
        raise ValueError("holds other rows than it says")
    return at


def _seals_at(path: Path) -> list[str] | None:
    """With the seals of which files it was made, in their order; None where that cannot be said."""
    try:
        with path.open("rb") as file, rows.opened(file) as held:
            if not held.schema_arrow.equals(rows.found_by_schema()):
                return None
            return list(_places(rows.about_in(held.metadata.metadata), held.metadata.num_rows))
    except (OSError, ValueError):
        return None
