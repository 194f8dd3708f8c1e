"""One pose for the archive: whether it is held already, else read and made into the bytes of its file.

This runs wherever the work is shared out to: here, in a process of a pool, or in a worker of a cluster.
"""

from __future__ import annotations

import contextlib
import os
import re
import threading
from collections.abc import Sequence
from dataclasses import asdict, dataclass, replace
from functools import cache
from pathlib import Path
from typing import Any, Literal

from silhouette import scoring, tables, turnaround
from silhouette.archive.places import Place
from silhouette.cutout import neural
from silhouette.errors import AnglesError, CutterError, PictureError, SettingsError
from silhouette.find import embed, rows
from silhouette.intake import rings
from silhouette.intake.regular import open_regular
from silhouette.known import key_of
from silhouette.pool import Run
from silhouette.records import Pose, View
from silhouette.records_find import ViewLine
from silhouette.settings import Settings
from silhouette.texts import printable

SCHEMA = 1
"""Of the files of an archive."""
LEFT_OUT = ("views", "notes", "note_kinds", "close_ups", "rank", "tied_with")
"""Of a pose in ``result.json``, what its file does not hold: views are its rows, notes may name folders."""
DIGITS = 6
"""Of scores and measures, after the point."""
PACKAGE = Path(__file__).parents[1]
_one_at_a_time = threading.Lock()
"""A worker of a cluster may have several threads; OpenCV's networks are not made for that."""


@dataclass(frozen=True)
class Failure:
    """Why a pose could not be read, as an archive remembers it."""

    key: str
    """Of the pose as it was then."""
    why: tuple[str | int, ...]
    """The sentence. Names of files stay out of an archive, so a number stands for each: its place in :func:`_names`."""


@dataclass(frozen=True)
class Job:
    """One pose that is to be in the archive."""

    place: Place
    settings: Settings
    held: str | None
    """Key under which the archive holds it already."""
    failed: Failure | None
    """Why it could not be read before; it is read again only if it is another one now."""
    program: str
    """:func:`program` of whoever asks."""


@dataclass(frozen=True)
class Done:
    """What came of one pose."""

    state: Literal["held", "read", "failed", "unseen"]
    """As it was, read anew, not readable, or not looked at: nothing is then known of it."""
    data: bytes = b""
    """Its file, where it was read."""
    why: str = ""
    """In a sentence, where it failed or was not looked at."""
    failure: Failure | None = None
    """To be remembered, where it would fail again."""


def hold(job: Job) -> Done:
    """Look at one pose, and read it if the archive does not hold it as it is now.

    Raises
    ------
    SilhouetteError
        For what would fail with every pose: a cutter that is not at hand, another version of the program.
    """
    if job.program != program(job.settings):
        raise SettingsError("A worker of the cluster runs another version of this program, or has other networks.",
                            do="Install the same version on all machines.")
    place = job.place.path
    if not place.exists():
        return Done("unseen", why="does not exist where it was to be read. "
                    "Workers of a cluster need the pictures under the same path.")
    with _one_at_a_time:
        try:
            key = key_of_pose(place, job.settings)
            if key == job.held:
                return Done("held")
            return _failed_before(job, key) or _read(job, key)
        except scoring.POSE_FAULTS as error:
            return Done("failed", why=_without(str(error), place))
        except CutterError:
            raise
        except (Exception, MemoryError) as error:  # one pose of thousands: told, and the others go on
            return Done("failed", why=f"this is a fault of the program ({type(error).__name__}: {error}).")


def hold_alone(job: Job) -> Done:
    """The same in a worker of a cluster, on one thread: the workers of a machine are the parallel part."""
    import cv2

    cv2.setNumThreads(1)
    return hold(job)


def _read(job: Job, key: str) -> Done:
    place = job.place.path
    try:
        return Done("read", file_of(scoring.read_useful(place, job.settings, Run()), job.place, key))
    except AnglesError:  # quickly found again, and it may quote a table
        raise
    except scoring.POSE_FAULTS as error:
        why = _without(str(error), place)
        parts = _numbered(why, _names(place, job.settings))
        names_more = any(isinstance(part, str) and os.sep in part for part in parts)
        return Done("failed", why=why, failure=None if names_more else Failure(key, parts))


def _failed_before(job: Job, key: str) -> Done | None:
    """What was said of the pose when it could not be read, if it is still the same."""
    if job.failed is None or job.failed.key != key:
        return None
    names = _names(job.place.path, job.settings)
    with contextlib.suppress(IndexError):
        why = "".join(part if isinstance(part, str) else names[part] for part in job.failed.why)
        return Done("failed", why=printable(why), failure=job.failed)
    return None


def _names(place: Path, settings: Settings) -> list[str]:
    """What a sentence about a pose may call: the pose and its files, with their folders and without."""
    files = [path for _, path in turnaround.files_of(place, settings)]
    return [*map(printable, (place, *files)), *(printable(path.name) for path in files)]


def _numbered(sentence: str, names: Sequence[str]) -> tuple[str | int, ...]:
    """A sentence in which numbers stand for names."""
    longest_first = sorted(set(names), key=lambda name: (-len(name), name))
    parts = re.split(f"({'|'.join(map(re.escape, longest_first))})", sentence)
    return tuple(names.index(part) if part in names else part for part in parts if part)


def _without(sentence: str, place: Path) -> str:
    """A sentence that begins with the whole path of the pose, less that."""
    return sentence.removeprefix(f"{printable(place)}: ")


def file_of(pose: Pose, place: Place, key: str) -> bytes:
    """The bytes of the file of a pose."""
    plain = tables.pose_to_dict(pose)
    about = {name: value for name, value in plain.items() if name not in LEFT_OUT}
    about |= {"schema": SCHEMA, "source": place.source, "root": printable(place.root), "mark": place.mark, "key": key}
    return rows.to_parquet(view_lines(pose, place.source), about)


# ----------------------------------------------------------------------------------------------- what a pose depends on


def key_of_pose(place: Path, settings: Settings) -> str:
    """A short digest of all that the file of a pose depends on: the content of its pictures, masks by hand, empty
    pictures and tables, the settings, the version and the weights of all networks."""
    asked: dict[str, Any] = {**asdict(settings), "schema": SCHEMA, "unreadable": []}
    for name in ("jobs", "empty", "ring"):  # how many share the work, and files, which count by their content
        asked.pop(name)
    files = []
    for ring, path in turnaround.files_of(place, settings):
        try:
            open_regular(path, PictureError).close()
            files.append((ring, path))
        except PictureError:
            asked["unreadable"].append((ring, path.name))
    asked["rings"] = [ring for ring, _ in files]
    asked["close-ups"] = [one.name for one in rings.close_ups_in(place)] if place.is_dir() else []
    return key_of([path for _, path in files], asked, _weights(settings))


def program(settings: Settings) -> str:
    """A short digest of the program itself and of its networks."""
    return key_of([], {"schema": SCHEMA}, _weights(settings))


def _weights(settings: Settings) -> list[Path]:
    model = None if settings.cutter == "backdrop" else neural.find(settings.model)
    return [*_own_weights(), *([] if model is None else [model])]


@cache
def _own_weights() -> list[Path]:
    return sorted(p for p in PACKAGE.glob("*/*") if p.suffix in (".onnx", ".npz"))


# ------------------------------------------------------------------------------------------------------ a pose as rows


def view_lines(pose: Pose, source: str) -> list[ViewLine]:
    """Every view of a pose as an archive holds it, those of all rings, with the vectors of its outlines."""
    lines = [_view_line(pose, view, source) for view in pose.all_views]
    outlined = [line.outline for line in lines if line.outline is not None]
    found = zip(*embed.vectors(outlined), strict=True) if outlined else iter(())
    return [_with_vectors(line, next(found)) if line.outline is not None else line for line in lines]


def _with_vectors(line: ViewLine, vectors: Sequence[Any]) -> ViewLine:
    return replace(line, vector=vectors[0], mirror_vector=vectors[1])


def _number(value: float) -> float:
    """Without the last digits, in which one thread may differ from several: an archive is the same however made."""
    return round(float(value), DIGITS)


def _view_line(pose: Pose, view: View, source: str) -> ViewLine:
    measures, reading, body, line = view.measures, view.reading, view.body, view.outline
    return ViewLine(
        pose=pose.name,
        source=source,
        ring=view.stop.ring,
        angle=view.angle,
        angle_from=view.stop.angle_from,
        name=printable(view.name),
        readability=None if reading is None else _number(reading.readability),
        clear=None if reading is None else _number(reading.clear),
        interesting=None if reading is None else _number(reading.interesting),
        band=None if reading is None else reading.band,
        confidence=view.confidence,
        flags=view.flags,
        reasons=tuple(tables.view_to_dict(view)["reasons"]),
        measures={} if measures is None else {name: _number(getattr(measures, name)) for name in rows.MEASURES},
        gaps=() if measures is None else tuple(sorted((gap.share for gap in measures.gaps), reverse=True)),
        limbs=None if body is None else body.limb_legibility,
        joints=() if body is None else body.joints,
        outline=None if line is None else line.polygon,
    )
