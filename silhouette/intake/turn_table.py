"""The table of a live turn: ``turn.csv`` beside stills that were taken one by one before a camera that stood still.

A line for each stop, in the order of the turn: the still, seconds since the turn began, and how much the picture
changed since the stop before. Such stills are stops as those of a clip are: the outlines tell their angles. The table
says nothing of angles itself, so where names or ``angles.csv`` state some, these hold, in the table's order.
"""

from __future__ import annotations

import csv
import math
from collections.abc import Sequence
from itertools import pairwise
from pathlib import Path
from typing import NamedTuple

from silhouette.errors import AnglesError
from silhouette.intake.filenames import short, text_of
from silhouette.intake.regular import is_there
from silhouette.texts import printable

CSV_NAME = "turn.csv"
HEAD = ("still", "seconds", "moved")
"""Its heading line, without which it is not read."""
MOST_MOVED = 1e9
"""No picture changes by more, whatever it is measured in; a table that says so is broken."""


class TurnRow(NamedTuple):
    """One stop as the table has it."""

    still: str
    """Name of its file."""
    seconds: float | None
    """Since the turn began; None where the table leaves it out."""
    moved: float | None
    """How much the picture changed since the stop of the line before; None where that is not known."""


class LiveTurn(NamedTuple):
    """The stills of one live turn."""

    files: tuple[Path, ...]
    """Those of the table in its order, then the others of the folder by name."""
    gone: tuple[str, ...]
    """Stills of the table that are not there any more."""
    rows: tuple[TurnRow, ...]
    """The table itself."""

    def motion(self, files: Sequence[Path]) -> list[float] | None:
        """(n - 1,) share of all motion between n of the stills, in their order; None where any of it is not known.

        What changed on the way to a still that is left out counts for the next one.
        """
        total, at, known = 0.0, dict[str, float](), True
        for row in self.rows[1:] if self.rows else ():
            known = known and row.moved is not None
            total += row.moved or 0.0
            at[row.still.casefold()] = total
        if self.rows:
            at[self.rows[0].still.casefold()] = 0.0
        names = [path.name.casefold() for path in files]
        if not known or len(names) < 2 or not all(name in at for name in names):
            return None
        whole = at[names[-1]] - at[names[0]]
        return [(at[b] - at[a]) / whole for a, b in pairwise(names)] if whole > 0 else None


def live_turn(folder: Path, stills: Sequence[Path]) -> LiveTurn | None:
    """What ``turn.csv`` says of the stills of a folder; None where there is no such table.

    Raises
    ------
    AnglesError
        If the table cannot be read, is none, lists a still twice, or lists none of those that are there.
    """
    table = folder / CSV_NAME
    if not is_there(table):
        return None
    rows = read_rows(table)
    here = {path.name.casefold(): path for path in stills}
    if rows and not any(row.still.casefold() in here for row in rows):
        raise AnglesError("names none of the pictures beside it.", path=table,
                          do="Put its pictures back, or take the table away.")
    listed = {row.still.casefold() for row in rows}
    files = [here[row.still.casefold()] for row in rows if row.still.casefold() in here]
    others = [path for path in stills if path.name.casefold() not in listed]
    gone = tuple(printable(row.still) for row in rows if row.still.casefold() not in here)
    return LiveTurn((*files, *others), gone, tuple(rows))


def read_rows(table: Path) -> list[TurnRow]:
    """The lines of the table, in order; columns parted by comma, semicolon or tab.

    Raises
    ------
    AnglesError
        If it cannot be read, has no heading, a line's number is none, or a still stands in two lines.
    """
    lines = text_of(table).splitlines()
    head = next((line for line in lines if line.strip()), "")
    mark = max(",;\t", key=head.count)
    try:
        cut = [(n, [cell.strip() for cell in row]) for n, row in enumerate(csv.reader(lines, delimiter=mark), start=1)]
    except csv.Error:
        raise AnglesError("cannot be read as a table.", path=table, do=_AS_IT_IS_WRITTEN) from None
    (_, names), *rest = [(n, row) for n, row in cut if any(row)] or [(1, [""])]
    if tuple(name.casefold() for name in names[: len(HEAD)]) != HEAD:
        raise AnglesError(f"does not begin with {','.join(HEAD)}.", path=table, do=_AS_IT_IS_WRITTEN)
    rows, seen = list[TurnRow](), set[str]()
    for n, (still, seconds, moved) in ((n, (*row, "", "")[:3]) for n, row in rest):
        if not still:
            raise AnglesError(f"line {n} names no still.", path=table, do=_AS_IT_IS_WRITTEN)
        if still.casefold() in seen:
            raise AnglesError(f"line {n} lists {short(still)} again.", path=table, do="Keep one of the two lines.")
        seen.add(still.casefold())
        rows.append(TurnRow(still, _number(seconds, n, table), _number(moved, n, table)))
    return rows


_AS_IT_IS_WRITTEN = f"Write {','.join(HEAD)} and then a line for each still: stop_01.jpg,2.5,0.8"


def _number(text: str, line: int, table: Path) -> float | None:
    if not text:
        return None
    try:
        value = float(text.replace(",", "."))
    except ValueError:
        value = math.nan
    if not 0 <= value <= MOST_MOVED:
        raise AnglesError(f"line {line}: {short(text)} is not a number from 0 up.", path=table, do=_AS_IT_IS_WRITTEN)
    return value
