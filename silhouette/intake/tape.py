"""The table of lengths measured on the model: ``tape.csv``, from joint to joint, in millimetres.

The heading line ``from,to,mm`` is needed; columns are parted by comma, semicolon or tab; what follows a ``#`` at the
beginning of a line is left out. Joints are written with the figure's side, before or after: ``shoulder left``,
``Left knee``, ``crown``.
"""

from __future__ import annotations

import csv
import math
from pathlib import Path

from silhouette.errors import SettingsError
from silhouette.intake.filenames import short, text_of
from silhouette.records_space import JOINTS, SINGLE, Taped

HEAD = ("from", "to", "mm")
LEAST_MM, MOST_MM = 10.0, 3000.0
"""No length from joint to joint of a body lies outside."""
MOST_LINES = 500
_AS_IT_IS_WRITTEN = "Write from,to,mm and then a line for each length: shoulder left,elbow left,312"
_SIDES = ("left", "right")


def read_tape(path: Path) -> tuple[Taped, ...]:
    """The lengths of a table, in its order.

    Raises
    ------
    SettingsError
        If it cannot be read as text or as a table, has no heading or no length, or a line has no two joints, no length
        in millimetres, or the pair of joints of a line before; the line is named.
    """
    lines = text_of(path, SettingsError).splitlines()
    if len(lines) > MOST_LINES:
        raise SettingsError(f"has more than {MOST_LINES} lines.", path=path, do=_AS_IT_IS_WRITTEN)
    head = next((line for line in lines if line.strip() and not line.lstrip().startswith("#")), "")
    mark = max(",;\t", key=head.count)
    try:
        rows = [(n, [cell.strip() for cell in row]) for n, line in enumerate(lines, start=1)
                for row in csv.reader([line], delimiter=mark) if not line.lstrip().startswith("#")]
    except csv.Error:
        raise SettingsError("cannot be read as a table.", path=path, do=_AS_IT_IS_WRITTEN) from None
    (_, names), *rest = [(n, row) for n, row in rows if any(row)] or [(1, [""])]
    if tuple(name.casefold() for name in names[: len(HEAD)]) != HEAD:
        raise SettingsError(f"does not begin with {','.join(HEAD)}.", path=path, do=_AS_IT_IS_WRITTEN)
    found: list[Taped] = []
    seen: dict[frozenset[str], int] = {}
    for n, row in rest:
        one = _line(row, n, path)
        pair = frozenset((one.start, one.end))
        if pair in seen:
            raise SettingsError(f"line {n}: {one.start} to {one.end} stands in line {seen[pair]} already.", path=path,
                                do="Keep one of the two lines.")
        seen[pair] = n
        found.append(one)
    if not found:
        raise SettingsError("lists no length.", path=path, do=_AS_IT_IS_WRITTEN)
    return tuple(found)


def _line(row: list[str], n: int, path: Path) -> Taped:
    start, end, length = (*row, "", "", "")[:3]
    one, other = _joint(start, n, path), _joint(end, n, path)
    if one == other:
        raise SettingsError(f"line {n}: from and to are the same joint, {one}.", path=path, do=_AS_IT_IS_WRITTEN)
    try:
        mm = float(length.replace(",", "."))
    except ValueError:
        mm = math.nan
    if not LEAST_MM <= mm <= MOST_MM:
        raise SettingsError(f"line {n}: {short(length) or 'nothing'} is not a length of {LEAST_MM:g} to {MOST_MM:g} "
                            "millimetres.", path=path, do=_AS_IT_IS_WRITTEN)
    return Taped(one, other, mm)


def _joint(text: str, n: int, path: Path) -> str:
    """The joint's own name: ``knee left`` of ``Left Knee``."""
    words = text.casefold().replace("_", " ").split()
    sides = [word for word in words if word in _SIDES]
    joint = " ".join(word for word in words if word not in _SIDES)
    if joint in SINGLE and not sides:
        return joint
    if joint in JOINTS and joint not in SINGLE and len(sides) == 1:
        return f"{joint} {sides[0]}"
    if joint in JOINTS and joint not in SINGLE and not sides:
        raise SettingsError(f"line {n}: {joint} needs its side, the figure's own.", path=path,
                            do=f"Write {joint} left or {joint} right.")
    raise SettingsError(f"line {n}: {short(text) or 'nothing'} is no joint.", path=path,
                        do=f"Joints are {', '.join(JOINTS)}, each but the first two with left or right.")
