"""Say at which angle each still was taken: from its name, else from ``angles.csv``, else from an even spread."""

from __future__ import annotations

import csv
import re
from collections.abc import Callable, Sequence
from pathlib import Path
from typing import NamedTuple

import numpy as np
from numpy.typing import NDArray

from silhouette.errors import AnglesError, SilhouetteError
from silhouette.intake.regular import is_there, read_regular
from silhouette.records import AngleFrom
from silhouette.texts import printable

CSV_NAME = "angles.csv"
MOST_TABLE = 2_000_000
"""Bytes of a table that are read: a line for each of thirty thousand pictures."""
LEAST_STEP = 3.0
"""Bare numbers closer together than this (median step, degrees) are counters, not angles: 001, 002, 003."""
LEAST_TURN = 30.0
"""So are bare numbers that all lie within this many degrees, unless all are multiples of 5: 3, 7, 12."""
PARTS = (*range(3, 37), 40, 45, 48, 60, 72)
"""Into how many equal steps a turn is divided; the finer ones are those that come out at 5 to 9 degrees sharp."""
ROUND_ABOUT, LARGEST_GAP = 150.0, 90.0
"""Uneven numbers after a word are angles if they begin at 0, go on at least so far and leave no larger gap, degrees."""

Row = tuple[int, list[str]]
"""The number of a line, and what it holds."""

_WITH_UNIT = re.compile(r"(?<![\d.])(-?\d{1,3}(?:[.,]\d+)?)\s*(?:deg(?:rees?)?|°)(?![a-z])", re.IGNORECASE)
_BARE = re.compile(r"^(-?\d{1,3}(?:[.,]\d+)?)$")
_AT_END = re.compile(r"[_\- ](\d{3})$")


class Angled(NamedTuple):
    """The angle of one still, or None where its folder's way of telling angles does not cover it."""

    angle: float | None
    angle_from: AngleFrom


def angles_from_names(stems: Sequence[str]) -> list[float | None] | None:
    """Angles in degrees, 0 <= a < 360, that the names state, or None where they state none.

    ``045``, ``12.5``, ``oar_045deg`` and ``oar 45°`` state angles. Numbers without a unit are believed only if the
    folder as a whole looks like a turn: none over 360 and not a counter.
    """
    with_unit = [_number(_WITH_UNIT.search(s)) for s in stems]
    if any(a is not None for a in with_unit):
        return [_wrap(a) for a in with_unit]
    return _believed(_BARE, _like_a_turn, stems)


def angles_from_numbers(stems: Sequence[str]) -> list[float | None] | None:
    """As :func:`angles_from_names`, from numbers after a word: ``keeper_045``.

    A camera counts too, with gaps where pictures were deleted (``IMG_003``, ``IMG_007``, ``IMG_012``), so these must
    besides be equal parts of a turn, multiples of 5 say, or go from 0 round the figure.
    """
    return _believed(_AT_END, _plainly_a_turn, stems)


def _believed(
    pattern: re.Pattern[str], plain: Callable[[Sequence[float], Sequence[str]], bool], stems: Sequence[str]
) -> list[float | None] | None:
    """The numbers that the pattern finds, if most names have one and they are plainly angles."""
    found = [_number(pattern.search(s)) for s in stems]
    known = [a for a in found if a is not None]
    if len(known) >= max(1, round(0.6 * len(stems))) and plain(known, stems):
        return [_wrap(a) for a in found]
    return None


def angles_from_csv(path: Path, names: Sequence[str]) -> list[float | None]:
    """Angles that ``angles.csv`` gives to files named ``names`` (with suffix), None where it does not list one.

    Two columns, file and angle in degrees, parted by semicolon, tab or comma; a heading line is allowed, the suffix
    of a file may be left out.

    Raises
    ------
    AnglesError
        If the file cannot be read, a line has no angle, or one file is listed twice with different angles.
    """
    known = {n.casefold() for n in names} | {Path(n).stem.casefold() for n in names}
    mark, rows = _best_split(text_of(path), known, path)
    listed: dict[str, float] = {}
    for place, (number, cells) in enumerate(rows):
        value, line = _angle_in(cells), short(mark.join(cells))
        if value is None:
            if place == 0 and cells[0].casefold() not in known:
                continue  # a heading
            raise AnglesError(f"line {number} ('{line}') has no angle.", path=path, do="Write it as: picture.jpg,45")
        if mark == "," and len(cells) > 2 and cells[2].isdecimal():
            raise AnglesError(
                f"line {number} ('{line}') has two numbers.", path=path, do="Write the angle as: picture.jpg,22.5"
            )
        if listed.setdefault(cells[0].casefold(), value) != value:
            raise AnglesError(
                f"line {number} gives {short(cells[0])} a second angle.", path=path, do="Keep one of the two."
            )
    found = [listed.get(n.casefold(), listed.get(Path(n).stem.casefold())) for n in names]
    if all(a is None for a in found):
        raise AnglesError("names none of the pictures beside it.", path=path, do="Check the file names in it.")
    return [_wrap(a) for a in found]


def text_of(path: Path, kind: type[SilhouetteError] = AnglesError) -> str:
    """A table's text: UTF-8, UTF-16 where it says so, else as Windows writes it in the West.

    Raises
    ------
    kind
        If the file cannot be read, is too large, or is no text.
    """
    data = read_regular(path, kind, MOST_TABLE)
    ways = ("utf-16",) if data[:2] in (b"\xff\xfe", b"\xfe\xff") else ("utf-8-sig", "cp1252")
    for way in ways:
        try:
            text = data.decode(way)
        except UnicodeDecodeError:
            continue
        if "\0" not in text:
            return text
    raise kind("cannot be read as text.", path=path, do="Save it as CSV in UTF-8.")


def _best_split(text: str, known: set[str], path: Path) -> tuple[str, list[Row]]:
    """The mark that parts most lines into a picture that is there and a number, and the lines parted by it."""
    tries = []
    for mark in ";\t,":
        try:
            cut = list(enumerate(csv.reader(text.splitlines(), delimiter=mark), start=1))
        except csv.Error:
            continue  # a field longer than any name
        rows = [(number, cells) for number, row in cut if (cells := [c.strip() for c in row if c.strip()])]
        good = [cells[0].casefold() in known for _, cells in rows if _angle_in(cells) is not None]
        tries.append(((sum(good), len(good)), mark, rows))
    if not tries:
        raise AnglesError("cannot be read as a table.", path=path, do="Write a line for each picture: picture.jpg,45")
    _, mark, rows = max(tries, key=lambda one: one[0])
    return mark, rows


def _angle_in(cells: Sequence[str]) -> float | None:
    return _number(_BARE.match(cells[1].rstrip("° "))) if len(cells) > 1 else None


def short(text: str) -> str:
    """What a stranger's table says, fit to stand in a sentence."""
    return printable(text if len(text) <= 60 else text[:57] + "...")


def spread(count: int, span: float, *, start: float = 0.0, turn: str = "left", repeats: bool = False) -> list[float]:
    """``count`` angles spread evenly over ``span`` degrees.

    The last one stands a step short of the end of the span, unless it ``repeats`` the start (a turn of 360 degrees that
    closes, or a half turn that ends on the far side). With the model turning to its own left angles grow.
    """
    steps = max(1, count - 1 if repeats else count)
    sign = 1 if turn == "left" else -1
    return [(start + sign * span * i / steps) % 360 for i in range(count)]


def assign(
    stills: Sequence[Path], folder: Path | None, *, stems: Sequence[str] | None = None, guess: bool = True
) -> list[Angled] | None:
    """Angles that the stills' names state, else ``angles.csv``, else (``guess``) the numbers after a word in their
    names; None where none of them does. ``stems``: the names without what says something else."""
    stems = [p.stem for p in stills] if stems is None else stems
    if (named := angles_from_names(stems)) is not None:
        return [Angled(a, "name") for a in named]
    table = None if folder is None else folder / CSV_NAME
    if table is not None and is_there(table):
        return [Angled(a, "csv") for a in angles_from_csv(table, [p.name for p in stills])]
    if guess and (numbered := angles_from_numbers(stems)) is not None:
        return [Angled(a, "name") for a in numbered]
    return None


def _number(match: re.Match[str] | None) -> float | None:
    return None if match is None else float(match.group(1).replace(",", "."))


def _wrap(angle: float | None) -> float | None:
    return None if angle is None else float(angle % 360)


def _like_a_turn(angles: Sequence[float], stems: Sequence[str]) -> bool:
    if max(angles) > 360 or min(angles) < -180:
        return False
    distinct = np.unique(angles)
    if len(distinct) == 1:
        return len(stems) > 1 or re.search(r"\d{3}$", stems[0]) is not None
    far = bool(np.ptp(distinct) >= LEAST_TURN) or _on_steps(distinct, 72)
    return far and bool(np.median(np.diff(distinct)) >= LEAST_STEP)


def _plainly_a_turn(angles: Sequence[float], stems: Sequence[str]) -> bool:
    if not _like_a_turn(angles, stems):
        return False
    distinct = np.unique(angles)
    if len(distinct) < 3:
        return _on_steps(distinct, 72) or _on_steps(distinct, 16)
    from_0 = distinct[0] == 0 and distinct[-1] >= ROUND_ABOUT and np.diff(distinct).max() <= LARGEST_GAP
    return bool(from_0) or any(_on_steps(distinct, parts) for parts in PARTS)


def _on_steps(angles: NDArray[np.float64], parts: int) -> bool:
    """Whether all angles, rounded or cut to whole degrees, are multiples of a turn's equal ``parts``."""
    step = 360 / parts
    nearest = np.round(angles / step) * step
    slack = 0.0 if step == round(step) else 0.8 if step >= 10 else 0.5
    return bool((np.abs(angles - nearest) <= slack).all())
