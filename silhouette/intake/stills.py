"""Find the stills of a pose and read them upright, no larger than they are worked at. Originals are only ever read."""

from __future__ import annotations

import csv
import json
import re
from collections import Counter
from collections.abc import Callable, Sequence
from pathlib import Path
from typing import Any

import cv2
import numpy as np
from numpy.typing import NDArray

from silhouette.errors import PoseError
from silhouette.intake import decode
from silhouette.intake.reel import is_clip
from silhouette.intake.regular import is_regular, is_there, read_regular
from silhouette.records import Picture, Pixels
from silhouette.settings import RINGS
from silhouette.texts import printable
from silhouette.writing import MARK, PHOTOGRAPHS, SET_TABLE

STILL_SUFFIXES = frozenset({".jpg", ".jpeg", ".png", ".webp", ".tif", ".tiff", ".heic", ".heif"})
MASK_SUFFIX = ".mask.png"
MASKS_SUFFIX = ".masks"
"""Of the folder beside a clip that holds masks by hand of its stops."""
RESULTS = ("result.json", "check.json")
"""What folders of results held before they were marked."""
SET_HEAD = "still,silhouette,outline,angle,"
"""How the table of an exported set begins."""
_EMPTY = re.compile(r"empty(room)?(?![^\W\d_])|.*\.empty$", re.IGNORECASE | re.DOTALL)
"""Stems that name the room without the model: ``empty``, ``Empty_room``, ``empty 2``; ``hauling.empty`` of a pose."""
MOST_MARK = 10_000_000
"""Bytes of a mark or of a set's table that are read; the largest have a few thousand lines."""


def natural_key(name: str) -> list[Any]:
    """Sort key that puts ``stop 2`` before ``stop 10``."""
    return [(0, int(bit), "") if bit.isdecimal() else (1, 0, bit.casefold()) for bit in re.findall(r"\d+|\D+", name)]


def is_still(path: Path) -> bool:
    """True for a visible file that looks like a picture, is no mask made by hand and not called an empty picture."""
    return _is_picture(path) and not _EMPTY.match(path.stem)


def is_empty_room(path: Path) -> bool:
    """True for a picture whose name says that it shows the room without the model: never a stop, never a pose."""
    return _is_picture(path) and _EMPTY.match(path.stem) is not None


def _is_picture(path: Path) -> bool:
    name = path.name.casefold()
    return path.suffix.casefold() in STILL_SUFFIXES and not name.startswith(".") and not name.endswith(MASK_SUFFIX)


def empty_rooms(place: Path) -> list[Path]:
    """Pictures called empty that hold for the pose at ``place`` (without links and dots), likeliest first.

    First those in the pose's own folder, then those beside it; of these first the one that bears its name
    (``hauling.empty.jpg``), then ``empty.jpg`` itself.
    """
    name = place.name if place.is_dir() else place.stem
    own = f"{name}.empty".casefold()

    def order(path: Path) -> tuple[Any, ...]:
        stem = path.stem.casefold()
        return stem != own, stem != "empty", natural_key(path.name), path.name

    inside = _called_empty(place) if place.is_dir() else []
    beside = [p for p in _called_empty(place.parent) if (s := p.stem.casefold()) == own or not s.endswith(".empty")]
    return [*sorted(inside, key=order), *sorted(beside, key=order)]


def _called_empty(folder: Path) -> list[Path]:
    try:
        return [p for p in folder.iterdir() if is_empty_room(p) and not p.is_dir()]
    except (OSError, ValueError):
        return []  # the pose itself can be read, what lies about it need not


def list_stills(folder: Path) -> list[Path]:
    """The stills of one pose in natural name order; of a set that was exported, the stills that its table names.

    Raises
    ------
    PoseError
        If the folder cannot be read, holds no pictures, or holds results of an earlier run.
    """
    folder = whole_set(folder)
    try:
        stills = [p for p in folder.iterdir() if is_still(p) and not p.is_dir()]
    except (OSError, ValueError) as error:
        raise cannot_open(folder, error) from None
    kind = written_by_us(folder)
    if kind == "results":
        raise PoseError(
            "holds results of an earlier run, not pictures of a pose.",
            path=folder,
            do="Give the folder of the pictures themselves.",
        )
    if kind == "set":
        stills = _stills_of_set(folder)
    if not stills and (empty := _called_empty(folder)):
        raise PoseError(
            f"holds no stops: {printable(empty[0].name)} counts as a picture of the room without the model.",
            path=folder,
            do="Add the stops. If it shows the model, give it a name that does not begin with empty.",
        )
    if not stills:
        raise PoseError("holds no pictures.", path=folder, do=_instead(folder, kind))
    return sorted(stills, key=lambda p: (natural_key(p.name), p.name))


def written_by_us(folder: Path) -> str | None:
    """``set`` for a set that was exported, ``results`` for what a score or a check wrote, None for any other folder."""
    kind = _marked(folder / MARK)
    if kind == "set" or (kind is None and _set_table(folder).startswith(SET_HEAD)):
        return "set"
    if kind is not None or any(is_regular(folder / name) for name in RESULTS):
        return "results"
    return None


def _marked(mark: Path) -> str | None:
    if not is_regular(mark):
        return None
    try:
        return str(json.loads(read_regular(mark, PoseError, MOST_MARK))["kind"])
    except (PoseError, ValueError, KeyError, TypeError, RecursionError):
        return "unknown"  # only this program leaves a file of that name


def _set_table(folder: Path) -> str:
    table = folder / SET_TABLE
    if not is_regular(table):
        return ""
    try:
        return read_regular(table, PoseError, MOST_MARK).decode("utf-8-sig", errors="replace")
    except PoseError:
        return ""


def _stills_of_set(folder: Path) -> list[Path]:
    """The stills that the first column of a set's table names, in the set or in its folder of photographs."""
    named = {row[0] for row in _rows_of_set(folder)[1:] if row}
    photographs = folder / PHOTOGRAPHS
    inside = [*folder.iterdir(), *(photographs.iterdir() if photographs.is_dir() else ())]
    return [p for p in inside if _is_picture(p) and not p.is_dir() and p.relative_to(folder).as_posix() in named]


def _rows_of_set(folder: Path) -> list[list[str]]:
    try:
        return list(csv.reader(_set_table(folder).splitlines()))
    except csv.Error:
        return []


def table_of_set(folder: Path) -> dict[str, dict[str, str]]:
    """What the table of an exported set says of each still, by its place in the set and by the heads of the columns."""
    head, *rows = _rows_of_set(folder) or [[]]
    return {row[0]: dict(zip(head, row, strict=False)) for row in rows if row}


def whole_set(folder: Path) -> Path:
    """The exported set whose folder of photographs this is; any other folder as it is."""
    inside = folder.name == PHOTOGRAPHS and written_by_us(folder.parent) == "set"
    return folder.parent if inside else folder


def cannot_open(place: Path, error: Exception) -> PoseError:
    """The sentence for a folder or a name that the system refuses."""
    reason = (error.strerror if isinstance(error, OSError) else None) or "no file can be called that"
    return PoseError(f"cannot be opened ({reason}).", path=place, do="Check the name and the rights.")


def _instead(folder: Path, kind: str | None) -> str:
    """What to give in place of a folder that holds no pictures."""
    if kind == "set":
        return f"It is an exported set, and its {SET_TABLE} names no still that is there: give the pictures themselves."
    inside = sorted(folder.iterdir())
    if any(_holds_any(p) for p in inside):
        return "It holds folders that do: give one of them, or read them all with silhouette rank."
    clips = [p for p in inside if is_clip(p)]
    if clips:
        return f"It holds a clip: give that itself ({printable(clips[0])})."
    return "A pose is a folder of JPEG, PNG, WebP, TIFF or HEIC stills, a clip, or one picture."


def _holds_any(folder: Path) -> bool:
    try:
        return folder.is_dir() and any(map(is_still, folder.iterdir()))
    except OSError:
        return False


def names_of(stills: Sequence[Path]) -> list[str]:
    """What to call each still: its stem, or the whole file name where two would be called alike (also by a disk that
    does not tell ``A`` from ``a``)."""
    names = _told_apart([printable(p.stem) or printable(p.name) for p in stills], [printable(p.name) for p in stills])
    return _told_apart(names, [f"{name} ({k})" for k, name in enumerate(names, start=1)])


def _told_apart(names: Sequence[str], longer: Sequence[str]) -> list[str]:
    count = Counter(name.casefold() for name in names)
    return [name if count[name.casefold()] == 1 else more for name, more in zip(names, longer, strict=True)]


def mask_beside(still: Path) -> Path | None:
    """The mask corrected by hand that lies beside a still, if there is one.

    ``045.jpg.mask.png``, or ``045.mask.png`` where no other still of the folder is called ``045`` too. Of a ring's
    still, ``low/045.jpg``, rather ``low_045.mask.png`` beside the ring: see :func:`mask_beside_ring`.
    """
    if (of_ring := mask_beside_ring(still)) is not None and is_there(of_ring):
        return of_ring
    own, by_stem = still.with_name(still.name + MASK_SUFFIX), still.with_name(still.stem + MASK_SUFFIX)
    if is_there(own):
        return own
    return by_stem if is_there(by_stem) and _alone(still, is_still) else None


def mask_place(still: Path) -> Path:
    """Where a mask by hand of this still belongs: in place of the one that is used, or beside the still."""
    name = still.stem if _alone(still, is_still) else still.name
    return mask_beside(still) or still.with_name(name + MASK_SUFFIX)


def mask_beside_ring(still: Path) -> Path | None:
    """Where the mask by hand of a still in a ring's folder may lie too, so that those of all rings lie in one folder:
    ``low_045.mask.png`` beside ``low``. None of a still that lies in no such folder."""
    ring = still.parent.name.casefold()
    if ring not in RINGS:
        return None
    return still.parent.with_name(f"{ring}_{still.stem if _alone(still, is_still) else still.name}{MASK_SUFFIX}")


def masks_folder(clip: Path) -> Path:
    """The folder of the masks by hand of a clip's stops, which need not exist.

    ``turn.mov.masks``, or ``turn.masks`` where no other clip of the folder is called ``turn`` too.
    """
    own = clip.with_name(clip.name + MASKS_SUFFIX)
    return own if own.is_dir() or not _alone(clip, is_clip) else clip.with_name(clip.stem + MASKS_SUFFIX)


def masks_of_clip(clip: Path) -> dict[str, Path]:
    """The masks corrected by hand that lie in the folder of a clip's masks, by the name of their stop, in order; of a
    ring's clip, ``low.mov``, also those beside it: ``low_stop_03.mask.png``."""
    found = {p.name[: -len(MASK_SUFFIX)]: p for p in _masks_in(masks_folder(clip))}
    if (ring := clip.stem.casefold()) in RINGS:
        mark = f"{ring}_"
        beside = [p for p in _masks_in(clip.parent) if p.name.casefold().startswith(mark)]
        found |= {p.name[len(mark):-len(MASK_SUFFIX)]: p for p in beside}
    return dict(sorted(found.items()))


def _masks_in(folder: Path) -> list[Path]:
    try:
        inside = sorted(folder.iterdir())
    except (OSError, ValueError):
        return []
    return [p for p in inside if p.name.casefold().endswith(MASK_SUFFIX) and is_there(p)]


def _alone(one: Path, alike: Callable[[Path], bool]) -> bool:
    """Whether no other file of its folder that is ``alike`` has this one's stem."""
    try:
        beside = list(one.parent.iterdir())
    except OSError:
        return True
    stem = one.stem.casefold()
    return not any(p.stem.casefold() == stem and p.name != one.name and alike(p) for p in beside)


def read_still(path: Path, work_px: int) -> Picture:
    """One still, upright, its longer side at most ``work_px`` pixels (smaller pictures are not enlarged).

    JPEG is decoded at a half, quarter or eighth where that is large enough, which costs about half of a full decode.

    Raises
    ------
    PictureError
        If the file is missing, cut off, not a picture, too large to be read, or too small to hold a figure.
    """
    pixels, header = decode.read_picture(path, work_px)
    return Picture(
        source=path,
        name=printable(path.stem),
        pixels=shrink(pixels, work_px),
        full_size=header.upright_size,
        focal_35mm=header.focal_35mm,
        time=header.taken,
    )


def read_full(path: Path) -> Pixels:
    """(h, w, 3) BGR, full size, upright, colours converted to sRGB where the file carries another profile.

    Raises
    ------
    PictureError
        As :func:`read_still`.
    """
    return decode.read_picture(path)[0]


def read_mask(path: Path) -> NDArray[np.uint8]:
    """(h, w) 0 to 255, upright: a mask corrected by hand, under the same limits as a still.

    Raises
    ------
    PictureError
        If it is missing, no picture, cut off or too large to be read.
    """
    return decode.read_grey(path)


def shrink(pixels: Pixels, longer: int) -> Pixels:
    """The picture with its longer side at most ``longer`` pixels; each new pixel is the mean of those it replaces."""
    h, w = pixels.shape[:2]
    factor = longer / max(h, w)
    if factor >= 1:
        return pixels
    size = (max(1, round(w * factor)), max(1, round(h * factor)))
    return np.asarray(cv2.resize(pixels, size, interpolation=cv2.INTER_AREA), dtype=np.uint8)
