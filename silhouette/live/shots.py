"""The stills of one live turn as they lie in the pose's folder: ``stop_01.jpg`` on, ``empty.jpg`` and ``turn.csv``.

A still is written whole, then the table; so what a kill leaves is a still too many for the table, and the next start
puts it in. No still is ever deleted: what is taken again or was none goes to ``replaced``.
"""

from __future__ import annotations

import contextlib
import csv
import io
import math
import re
from collections.abc import Sequence
from pathlib import Path

from silhouette import writing
from silhouette.errors import OutputError, PoseError
from silhouette.intake import stills
from silhouette.intake.turn_table import CSV_NAME, HEAD
from silhouette.live.folder import REPLACED
from silhouette.settings import RINGS

EMPTY = "empty.jpg"
"""The room without the model."""
_STOP = re.compile(r"stop_(\d{2,4})([a-z]?)")
_MOST = 500
"""Stops of one pose; nobody stands that long."""


class ShotFolder:
    """The live turn in a pose's folder; what a kill left of it is put right first.

    Names of stops are those of their stills without ``.jpg``. Every method may raise OutputError with one sentence when
    the disk does not take what is written; then all is as it was before.
    """

    def __init__(self, place: Path) -> None:
        self.place = place
        self._put_back: dict[str, Path | None] = {}
        writing.tidy(place)
        writing.tidy(place / REPLACED)
        rows = self._rows()
        found = [row[0] for row in rows]
        missing = [name for name in self._on_disk() if name not in found]
        if missing and (place / CSV_NAME).exists():
            self._write([*rows, *((name, "", "") for name in missing)])

    def names(self) -> tuple[str, ...]:
        """The stops in the order of the turn."""
        listed = [name for name, *_ in self._rows()]
        return (*listed, *(name for name in self._on_disk() if name not in listed))

    def path(self, name: str) -> Path:
        """Where a stop's still lies.

        Raises
        ------
        PoseError
            If there is no such stop.
        """
        if name not in self.names():
            raise PoseError("There is no stop of this name any more.", do="Load the page again.")
        return self.place / f"{name}.jpg"

    def keep_empty(self, jpeg: bytes) -> None:
        """Write the picture of the room without the model; an earlier one goes to ``replaced``."""
        path = self.place / EMPTY
        if path.exists():
            self._copy_away(path)
        writing.whole_file(path, jpeg, ours=True)

    def keep(
        self, jpeg: bytes, seconds: float | None, moved: float | None, after: str | None = None,
        instead: str | None = None,
    ) -> str:
        """Write the still of one stop and say what it is called.

        Parameters
        ----------
        jpeg : the still
        seconds : when it was taken, by the camera's clock; None where that is not known
        moved : how much the picture changed since the stop before, or None
        after : the stop behind which it belongs; at the end by default
        instead : the stop whose place it takes; that still goes to ``replaced``

        Raises
        ------
        PoseError
            If ``after`` or ``instead`` is no stop.
        OutputError
            If it cannot be written: then nothing has changed.
        """
        rows = self._all_rows()
        listed = [row[0] for row in rows]
        for name in (after, instead):
            if name is not None and name not in listed:
                raise PoseError("There is no stop of this name any more.", do="Load the page again.")
        name = instead or (self._next() if after is None else self._behind(after))
        path = self.place / f"{name}.jpg"
        earlier = self._copy_away(path) if instead is not None else None
        if earlier is not None:  # a mask by hand is of the still that goes
            self._mask_follows(path, earlier)
        writing.whole_file(path, jpeg, ours=instead is not None)
        row = (name, _number(seconds), _number(moved))
        if instead is not None:
            rows[listed.index(instead)] = row
        else:
            rows.insert(len(rows) if after is None else listed.index(after) + 1, row)
        try:
            self._write(rows)
        except OutputError:
            if instead is None:
                path.unlink(missing_ok=True)
                raise
        self._put_back[name] = earlier
        return name

    def undo(self, name: str) -> None:
        """The stop was none: its still goes to ``replaced``. What it took the place of, since this start, comes back.

        Raises
        ------
        PoseError
            If there is no such stop.
        """
        path = self.path(name)
        rows = self._all_rows()
        self._copy_away(path)
        earlier = self._put_back.pop(name, None)
        if earlier is not None and earlier.exists():
            writing.whole_file(path, earlier.read_bytes(), ours=True)
            rows = [(name, "", "") if row[0] == name else row for row in rows]
        else:
            path.unlink()
            rows = [row for row in rows if row[0] != name]
        self._write(rows)

    # ------------------------------------------------------------------------------------------------------ the table

    def _on_disk(self) -> list[str]:
        """Stops that lie there, by name."""
        found = [p.stem for p in self.place.iterdir() if p.suffix == ".jpg" and _STOP.fullmatch(p.stem) and p.is_file()]
        return sorted(found, key=lambda name: (stills.natural_key(name), name))

    def _all_rows(self) -> list[tuple[str, str, str]]:
        """The table's rows, those that are missing from it last."""
        rows = self._rows()
        listed = [row[0] for row in rows]
        return [*rows, *((name, "", "") for name in self._on_disk() if name not in listed)]

    def _rows(self) -> list[tuple[str, str, str]]:
        """(name, seconds, moved) of the table, of stops whose stills lie there."""
        table = self.place / CSV_NAME
        if not table.exists():
            return []
        try:
            lines = list(csv.reader(table.read_text(encoding="utf-8-sig").splitlines()))
        except (OSError, ValueError, csv.Error):
            lines = []
        if not lines or tuple(lines[0]) != HEAD:
            raise OutputError("is no table of a live turn.", path=table, do="Move it away, or take another pose.")
        here = set(self._on_disk())
        found: dict[str, tuple[str, str, str]] = {}
        for still, seconds, moved in ((*line, "", "", "")[:3] for line in lines[1:]):
            if (name := still.removesuffix(".jpg")) in here:
                found.setdefault(name, (name, seconds, moved))
        return list(found.values())

    def _write(self, rows: Sequence[tuple[str, str, str]]) -> None:
        text = io.StringIO()
        table = csv.writer(text, lineterminator="\n")
        table.writerow(HEAD)
        table.writerows((f"{name}.jpg", seconds, moved) for name, seconds, moved in rows)
        writing.whole_file(self.place / CSV_NAME, text.getvalue().encode(), ours=True)

    # ------------------------------------------------------------------------------------------------------ the files

    def _next(self) -> str:
        last = max((int(m[1]) for name in self._on_disk() if (m := _STOP.fullmatch(name))), default=0)
        if last >= _MOST:
            raise PoseError(f"This pose has {_MOST} stops, the most that it can have.", do="Begin another pose.")
        return f"stop_{last + 1:02d}"

    def _behind(self, name: str) -> str:
        """A name that stands behind another, and before the next, in the order of names too."""
        found = _STOP.fullmatch(name)
        here = self._on_disk()
        for letter in "bcdefghijklmnopqrstuvwxyz" if found else "":
            if found and letter > found[2] and f"stop_{found[1]}{letter}" not in here:
                return f"stop_{found[1]}{letter}"
        raise PoseError("So many stops lie there already.", do="Begin another pose.")

    def _copy_away(self, path: Path) -> Path:
        """A copy of a still in ``replaced``, under a name that is free there."""
        away = self.place / REPLACED
        try:
            away.mkdir(mode=0o700, exist_ok=True)
            data = path.read_bytes()
        except OSError as error:
            raise OutputError(f"cannot be written ({error.strerror or error}).", path=away,
                              do="Free some space, or check the rights.") from error
        free = next(place for k in range(1, 10_000)
                    if not (place := away / (path.name if k == 1 else f"{path.stem} ({k}){path.suffix}")).exists())
        return writing.whole_file(free, data)

    @staticmethod
    def _mask_follows(path: Path, earlier: Path) -> None:
        mask = stills.mask_beside(path)
        if mask is not None:
            with contextlib.suppress(OSError):
                mask.rename(earlier.with_name(f"{earlier.stem}{stills.MASK_SUFFIX}"))


def put_right(poses: Sequence[Path]) -> None:
    """Put what a kill left right in all poses that have a live turn: stills that their tables miss are put in."""
    for place in (folder for pose in poses for folder in (pose, *(pose / ring for ring in RINGS))):
        if (place / CSV_NAME).is_file():
            with contextlib.suppress(OutputError, OSError):
                ShotFolder(place)


def _number(value: float | None) -> str:
    return "" if value is None or not math.isfinite(value) else f"{round(value, 4):.10g}"
