"""Which rings of a pose lie in its folder, and its close-ups.

A pose is most often one ring: its stills, or a clip. Shot in several, its folder holds folders or clips called
``low``, ``level`` and ``high``; or stills whose names say it: ``low_045.jpg``, ``keeper_high_090.jpg``. What bears no
mark beside others that do, stills or a single clip, is the level ring. ``close-ups/NAME/`` holds pictures of details.
Of an exported set its table says it, so that a pose called ``high`` is not taken for a ring.
"""

from __future__ import annotations

import math
import re
from collections.abc import Sequence
from pathlib import Path
from typing import NamedTuple

from silhouette.errors import PoseError
from silhouette.intake import stills
from silhouette.intake.reel import is_clip
from silhouette.records import CloseUp
from silhouette.settings import RINGS, Ring
from silhouette.texts import printable
from silhouette.writing import CLOSE_UP, CLOSE_UPS, PHOTOGRAPHS, SET_TABLE

_MARK = re.compile(r"(?:^|(?<=[_\- ]))(low|level|high)[_\- ]*(?=\d)", re.IGNORECASE)
"""A ring before a number: ``low_045``, ``keeper_high_090deg``."""
_BEGINS = re.compile(r"^(low|level|high)[_\- ]+", re.IGNORECASE)
"""A ring before anything: ``low_IMG_0012``; believed only where the folder holds another ring too."""
_PLACE = re.compile(r"(low|level|high)(?:[-_ ](?:ring|row))?", re.IGNORECASE)
"""What a ring's folder or clip is called."""
_CLOSE_UPS = re.compile(r"close[-_ ]?ups?", re.IGNORECASE)


class RingPlace(NamedTuple):
    """Where the pictures of one ring lie."""

    ring: Ring
    place: Path
    """A folder or a clip."""
    files: tuple[Path, ...] | None = None
    """Those of the folder's stills that are of this ring; None: all that a pose at this place has."""
    angles: tuple[float | None, ...] | None = None
    """Of an exported set, the angle that its table says of each of the files, degrees."""


def rings_in(folder: Path) -> list[RingPlace]:
    """The rings of the pose in this folder, in the order of RINGS; empty where it is one ring that says nothing of it.

    Raises
    ------
    PoseError
        If the folder cannot be read, or a ring lies there twice.
    """
    folder = stills.whole_set(folder)
    if (kind := stills.written_by_us(folder)) is not None:
        return _rings_of_set(folder) if kind == "set" else []
    try:
        inside = sorted(folder.iterdir(), key=lambda p: (stills.natural_key(p.name), p.name))
        loose = [p for p in inside if stills.is_still(p) and not p.is_dir()]
    except (OSError, ValueError) as error:
        raise stills.cannot_open(folder, error) from None
    apart = [RingPlace(ring, p) for p in inside if (ring := ring_called(p)) is not None]
    marked = _marked(folder, loose)
    if not apart:
        return marked
    if loose and not marked:
        marked = [RingPlace("level", folder, tuple(loose))]
    found = [*apart, *marked]
    clips = [p for p in inside if is_clip(p) and not p.is_dir() and ring_called(p) is None]
    if len(clips) == 1 and all(one.ring != "level" for one in found):
        found.append(RingPlace("level", clips[0]))
    for ring in RINGS:
        places = [one for one in found if one.ring == ring]
        if len(places) > 1:
            names = [printable((one.files[0] if one.files else one.place).name) for one in places]
            raise PoseError(f"holds the {ring} ring twice: {' and '.join(names)}.", path=folder, do="Keep one of them.")
    return sorted(found, key=lambda one: RINGS.index(one.ring))


def holds_rings(folder: Path) -> bool:
    """Whether a pose lies there whose rings are folders or clips of their own."""
    try:
        return stills.written_by_us(folder) is None and any(ring_called(p) is not None for p in folder.iterdir())
    except OSError:
        return False


def _rings_of_set(folder: Path) -> list[RingPlace]:
    """The rings that the table of an exported set tells apart; empty where it has no such column."""
    table = stills.table_of_set(folder)
    told = {row.get("ring") or "" for row in table.values()} - {""}
    if not told:
        return []
    if unknown := sorted(told.difference(RINGS)):
        raise PoseError(f"names a ring '{printable(unknown[0][:40])}'.", path=folder / SET_TABLE,
                        do="Write low, level or high.")
    rows = [(path, table[path.relative_to(folder).as_posix()]) for path in stills.list_stills(folder)]
    found = []
    for ring in RINGS:
        own = [(path, _angle(row.get("angle"))) for path, row in rows if (row.get("ring") or "level") == ring]
        if own:
            found.append(RingPlace(ring, folder, tuple(p for p, _ in own), tuple(a for _, a in own)))
    return found


def _angle(text: str | None) -> float | None:
    """What a cell says, degrees, 0 <= angle < 360; None where it says no angle."""
    try:
        angle = float(text or "")
    except ValueError:
        return None
    return angle % 360 if math.isfinite(angle) else None


def close_ups_in(folder: Path) -> tuple[CloseUp, ...]:
    """The close-ups of a pose: a folder of stills each, or single stills, in ``close-ups``; of an exported set those
    that it holds."""
    folder = stills.whole_set(folder)
    if stills.written_by_us(folder) is not None:
        return _close_ups_of_set(folder / PHOTOGRAPHS / CLOSE_UPS)
    try:
        places = [p for p in folder.iterdir() if is_close_ups(p)]
        inside = [p for place in places for p in place.iterdir() if not p.name.startswith(".")]
    except OSError:
        return ()
    ordered = sorted(inside, key=lambda p: (stills.natural_key(p.name), p.name))
    found = [(path, _stills_in(path) if path.is_dir() else [path] * stills.is_still(path)) for path in ordered]
    return tuple(CloseUp(printable(p.name if p.is_dir() else p.stem), tuple(files)) for p, files in found if files)


def _close_ups_of_set(folder: Path) -> tuple[CloseUp, ...]:
    """By their names: ``keeper_closeup_left_hand_1.jpg`` shows a left hand."""
    found: dict[str, list[Path]] = {}
    for path in _stills_in(folder):
        detail = path.stem.rpartition(CLOSE_UP)[2]
        found.setdefault(printable(re.sub(r"_\d+$", "", detail).replace("_", " ")), []).append(path)
    return tuple(CloseUp(name, tuple(files)) for name, files in found.items())


def is_close_ups(path: Path) -> bool:
    """Whether a folder is called after the close-ups of a pose."""
    return _CLOSE_UPS.fullmatch(path.name) is not None and path.is_dir()


def without_mark(stem: str) -> str:
    """A still's name without the ring that it says: ``keeper_045`` of ``keeper_low_045``."""
    shorter = _MARK.sub("", stem, count=1)
    return shorter if shorter != stem else _BEGINS.sub("", stem, count=1)


def _stills_in(folder: Path) -> list[Path]:
    try:
        found = [p for p in folder.iterdir() if stills.is_still(p) and not p.is_dir()]
    except OSError:
        return []
    return sorted(found, key=lambda p: (stills.natural_key(p.name), p.name))


def ring_called(path: Path) -> Ring | None:
    """The ring that a folder of stills, or a clip, is called after."""
    clip = is_clip(path) and not path.is_dir()
    ring = _mark(_PLACE.fullmatch(path.stem if clip else path.name))
    if ring is None or not (clip or path.is_dir()):
        return None
    return ring if not path.is_dir() or _stills_in(path) else None


def _marked(folder: Path, files: Sequence[Path]) -> list[RingPlace]:
    """The stills of a folder parted by the rings in their names; empty where none of them names any."""
    marks = [_mark(_MARK.search(p.stem)) for p in files]
    begun = [_mark(_BEGINS.match(p.stem)) for p in files]
    if len({mark for mark in begun if mark}) > 1:
        marks = [mark or other for mark, other in zip(marks, begun, strict=True)]
    if not any(marks):
        return []
    of = {ring: tuple(p for p, mark in zip(files, marks, strict=True) if (mark or "level") == ring) for ring in RINGS}
    return [RingPlace(ring, folder, found) for ring, found in of.items() if found]


def _mark(match: re.Match[str] | None) -> Ring | None:
    return next((ring for ring in RINGS if match is not None and match.group(1).casefold() == ring), None)
