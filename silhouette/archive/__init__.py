"""An archive: the silhouettes, measures and joints of all turnarounds under some folders, as plain data.

One Parquet file a pose in ``poses/``, moved there whole, so that a run that is killed loses only what it had not
finished. ``archive.json`` lists them, and ``views.parquet`` holds what finding goes by; both are made from the files,
and nothing rests on them. No photograph is in an archive, no metadata of one, and no path but the way from a root to a
pose.
"""

from __future__ import annotations

import json
import re
from collections.abc import Iterator, Sequence
from dataclasses import asdict, dataclass
from pathlib import Path
from typing import Any, NamedTuple

from silhouette.archive import places, shared, views
from silhouette.archive.one import SCHEMA, Failure, Job, program, view_lines
from silhouette.archive.views import POSES, look
from silhouette.errors import OutputError, PoseError, SettingsError
from silhouette.find import rows
from silhouette.records_find import ViewLine
from silhouette.settings import Settings
from silhouette.tables import to_json
from silhouette.texts import printable
from silhouette.turnaround import Progress, silent
from silhouette.writing import Growing, growing_folder, read_mark

__all__ = ["Archived", "Known", "build", "is_archive", "lines", "look", "pose", "poses", "view_lines"]

INDEX = "archive.json"
NAMES = re.compile(rf"{re.escape(INDEX)}|{re.escape(views.FILE)}|{POSES}|{POSES}/[^/]+\.parquet")
LISTED = ("name", "source", "mark", "key", "intent", "ring", "reads_degrees", "reads_degrees_low", "reads_degrees_high",
          "counted_degrees")
"""What ``archive.json`` says of each pose, beside the name of its file."""


@dataclass(frozen=True)
class Known:
    """One pose as an archive holds it."""

    file: str
    """Its file, as it lies in the archive."""
    about: dict[str, Any]
    """What the file says of the pose as a whole: what ``result.json`` does but for views and notes, and ``source``,
    ``mark``, ``key``, ``schema``."""


class Unread(NamedTuple):
    """A pose that could not be read."""

    source: str
    root: str
    failure: Failure


@dataclass(frozen=True)
class Archived:
    """What a run did."""

    new: tuple[str, ...] = ()
    """Sources of the poses, as the others here."""
    changed: tuple[str, ...] = ()
    removed: tuple[str, ...] = ()
    kept: tuple[str, ...] = ()
    """As they were."""
    failed: tuple[tuple[str, str], ...] = ()
    """Poses and folders that could not be read, and why."""
    elsewhere: int = 0
    """Poses of roots that were not given this time, which stay."""


def build(
    roots: Sequence[Path], out: Path, settings: Settings | None = None, *, again: bool = False,
    cluster: str | None = None, tell: Progress = silent,
) -> Archived:
    """Make an archive of all poses under the roots, or bring one up to date.

    Parameters
    ----------
    roots : sequence of Path
        Folders that hold poses, however deep, see ``archive/places.py``; each known by its name.
    out : Path
        The archive's folder: new, empty, or an archive.
    settings : Settings, optional
        As for ``rank``. ``jobs`` is how many processes share the poses.
    again : bool
        Whether poses that could not be read before are tried again though nothing of them has changed.
    cluster : str, optional
        Address of a Dask scheduler, whose workers read the poses instead; they need the pictures under the same paths.
    tell : callable, optional
        Told how far it is.

    Returns
    -------
    Archived
        A pose that cannot be read is told in it and stops nobody; what the archive held of it stays. What it held of a
        pose that is gone from its root is removed; poses of other roots stay.

    Raises
    ------
    SilhouetteError
        Nothing can be read, or nothing may be written there.
    """
    settings = settings or Settings()
    if settings.ring_places:
        raise SettingsError("a ring that lies elsewhere belongs to one pose, and an archive holds many.",
                            do="Put the rings into the folders of their poses: hauling/low, hauling/level.")
    found = places.find(roots)
    sources = [*roots, *([Path(settings.empty)] if settings.empty else [])]
    processes = min(settings.jobs, len(found.poses))
    with shared.hands(processes, cluster) as hands, growing_folder(out, "archive", sources, NAMES) as folder:
        return _Run(folder, found, settings, again).all(hands, tell)


class _Run:
    """One run on an open archive."""

    def __init__(self, folder: Growing, found: places.Found, settings: Settings, again: bool) -> None:
        self.folder, self.found, self.settings, self.again = folder, found, settings, again
        folder.check(views.FILE)
        self.unread = _unread(folder)
        self.held = _held(folder)
        self.ours = {mark for mark, known in self.held.items() if known.about["root"] in found.roots}
        self.there = {place.mark for place in found.poses}
        for mark in [mark for mark, one in self.unread.items() if one.root in found.roots and mark not in self.there]:
            del self.unread[mark]
        self.told: dict[str, list[str]] = {"new": [], "changed": [], "kept": []}
        self.failed = list(found.troubles)
        for root in found.roots:
            self._refuse_all_gone(root)

    def _refuse_all_gone(self, root: str) -> None:
        """A disk that is not there, or another folder of that name, must not empty an archive."""
        marks = {mark for mark in self.ours if self.held[mark].about["root"] == root}
        if marks and not marks & self.there:
            count = "1 pose" if len(marks) == 1 else f"{len(marks)} poses"
            raise OutputError(
                f"holds {count} of {root}, and none lies there any more.", path=self.folder.place,
                do=f"Check the folder that you gave. If all are gone for good, delete their files in {POSES}.")

    def all(self, hands: shared.Hands, tell: Progress) -> Archived:
        """Read what is new or changed, and forget what is gone."""
        asked = program(self.settings)
        alone = self.settings.but(jobs=1)
        keys = {mark: known.about["key"] for mark, known in self.held.items()}
        failures = {} if self.again else {mark: one.failure for mark, one in self.unread.items()}
        jobs = [Job(place, alone, keys.get(place.mark), failures.get(place.mark), asked) for place in self.found.poses]
        try:
            for done, (job, came) in enumerate(hands(jobs), 1):
                self._take(job.place, came)
                tell("reading poses", done, len(jobs))
            removed = [self._forget(mark) for mark in sorted(self.ours - self.there)]
        finally:
            self._list()
        views.write(self.folder, sorted(known.file for known in self.held.values()))
        if not self.held:
            first = ": ".join(self.failed[0]) if self.failed else ""
            many = f"None of the {len(jobs)} poses can be read. The first: "
            raise PoseError(first if len(jobs) == 1 else f"{many}{first}")
        order = {place.source: i for i, place in enumerate(self.found.poses)}
        new, changed, kept = (tuple(sorted(self.told[name], key=order.__getitem__)) for name in self.told)
        failed = tuple(sorted(self.failed, key=lambda one: order.get(one[0], -1)))
        return Archived(new, changed, tuple(sorted(removed)), kept, failed,
                        len(self.held.keys() - self.ours - self.there))

    def _take(self, place: places.Place, came: shared.Done) -> None:
        """Keep what came of one pose."""
        if came.state != "unseen":
            self.unread.pop(place.mark, None)
        if came.state == "held":
            self.told["kept"].append(place.source)
        elif came.state == "read":
            known = self.held.get(place.mark)
            self.told["new" if known is None else "changed"].append(place.source)
            file = f"{POSES}/{place.file}" if known is None else known.file  # somebody may have renamed it
            self.folder.put(file, came.data)
            self.held[place.mark] = _slim(file, came.data)
        else:
            stays = " The archive keeps what it held of it." if place.mark in self.held else ""
            self.failed.append((place.source, f"{came.why}{stays}"))
            if came.failure is not None:
                self.unread[place.mark] = Unread(place.source, printable(place.root), came.failure)

    def _forget(self, mark: str) -> str:
        known = self.held.pop(mark)
        self.folder.remove(known.file)
        return str(known.about["source"])

    def _list(self) -> None:
        """Write ``archive.json``, where anything was ever read."""
        if not self.held and not (self.folder.place / INDEX).exists():
            return
        listed = [{"file": known.file, **{name: known.about.get(name) for name in LISTED}}
                  for known in sorted(self.held.values(), key=lambda known: known.file)]
        unread = [{"source": one.source, "root": one.root, "mark": mark, **asdict(one.failure)}
                  for mark, one in sorted(self.unread.items(), key=lambda item: (item[1].source, item[0]))]
        self.folder.put(INDEX, to_json({"schema": SCHEMA, "poses": listed, "unread": unread}).encode())


def _unread(folder: Growing) -> dict[str, Unread]:
    """The poses that could not be read before, by their marks; of a list that does not say so, none."""
    if not folder.check(INDEX):
        return {}
    try:
        told = json.loads(folder.read(INDEX))["unread"]
        return {str(one["mark"]): Unread(str(one["source"]), str(one["root"]), Failure(one["key"], tuple(
            part if isinstance(part, int) else str(part) for part in one["why"]))) for one in told}
    except (ValueError, KeyError, TypeError):
        return {}


def _held(folder: Growing) -> dict[str, Known]:
    """The poses of an archive by their marks; stops at a file that is none of ours or was changed, and at a copy."""
    held = dict[str, Known]()
    for file in views.files_in(folder.place):
        known = _slim(file, folder.read(file))
        twin = held.setdefault(known.about["mark"], known)
        if twin is not known:
            raise OutputError(f"holds one pose twice ({printable(twin.file)}, {printable(file)}).", path=folder.place,
                              do="Move one of them away.")
    return held


def _slim(file: str, data: bytes) -> Known:
    """What is kept in memory of one file, of thousands."""
    about = rows.about(data)
    return Known(file, {name: about.get(name) for name in (*LISTED, "root")})


# ------------------------------------------------------------------------------------------------------- what is in it


def is_archive(folder: Path) -> bool:
    """Whether an archive lies there."""
    mark = read_mark(folder)
    return mark is not None and mark["kind"] == "archive"


def poses(folder: Path) -> Iterator[tuple[Known, list[ViewLine]]]:
    """Every pose of an archive with its views, in the order of the files' names; one in memory at a time.

    Raises
    ------
    PoseError
        There is no archive, or a file of it was changed or cannot be read.
    """
    if not is_archive(folder):
        raise PoseError("is no archive.", path=folder, do="Make one with: silhouette archive ROOT -o ARCHIVE.")
    for file in views.files_in(folder):
        yield pose(folder, file)


def pose(folder: Path, file: str) -> tuple[Known, list[ViewLine]]:
    """One pose of an archive by its file. Raises as :func:`poses`."""
    found, about = views.read(folder / file, rows.from_parquet)
    return Known(file, about), found


def lines(folder: Path) -> Iterator[ViewLine]:
    """Every view of an archive, pose by pose. Raises as :func:`poses`."""
    for _, found in poses(folder):
        yield from found
