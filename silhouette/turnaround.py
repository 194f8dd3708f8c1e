"""A place becomes a turnaround: every picture of one pose read, cut out of its backdrop and given its angle.

:func:`ingest_rings` is the only reader of pictures, whatever the command: a pose has a turnaround for each ring, most
often one. A picture takes four forms on its way: ``Picture``
as it was read, ``Cut`` once the figure is cut out of it, ``View`` when it is scored, ``Pose`` with all the others. The
camera stands still, so all pictures of a pose help with each: a few of them are looked at together first.
"""

from __future__ import annotations

import re
from collections.abc import Callable, Container, Iterable, Sequence
from dataclasses import dataclass, replace
from functools import partial
from pathlib import Path
from typing import Any, NamedTuple

import numpy as np
from numpy.typing import NDArray

from silhouette import empty_room
from silhouette.check.look import look_at
from silhouette.cutout import agreement, background_model, mask_cleanup, neural, person_net, room
from silhouette.empty_room import Empty
from silhouette.errors import AnglesError, FilmError, PictureError, PoseError
from silhouette.intake import filenames, film, reel, rings, stills, turn_table
from silhouette.intake.regular import is_there, open_regular
from silhouette.known import Memory, key_of
from silhouette.pool import Desk, Run, workers
from silhouette.records import CANNOT_TELL, AngleFrom, CloseUp, Cut, FilmStops, Mask, Note, Picture, Pixels, Stop
from silhouette.records_shoot import StopLook
from silhouette.settings import RINGS, TRUST, Ring, Settings
from silhouette.stop_angles import assign_angles
from silhouette.texts import printable
from silhouette.writing import SET_TABLE

__all__ = [
    "Progress", "Rings", "Run", "Turnaround", "files_of", "ingest", "ingest_rings", "name_of", "refuse_missing",
    "watched", "whole_path", "workers",
]

Progress = Callable[[str, int, int], None]
"""Called with what is being done, how many are done, and how many there are."""
Ahead = Callable[[Ring, Sequence[Stop], Sequence[Cut | None]], None]
"""Called with what was cut out of a ring as soon as it is there: the stops have no angles yet."""

SIDEWAYS, SIDEWAYS_VIEWS = 1.5, 5
"""Width over height of the figure's bulk in every picture, and how many pictures it takes, to ask whether they are
turned by a quarter."""


WITNESSES = 24
"""Stops, spread over the turn, that the room is learned from where there is no picture of it empty."""
FEW = 3
"""Stops to hold an empty picture against where there are too few to have learned anything in common."""
WEIGHTS = sorted(p for p in Path(background_model.__file__).parent.iterdir() if p.suffix in (".onnx", ".npz"))
"""The networks that cut: what was cut out with others is not known."""


def silent(what: str, done: int, total: int) -> None:
    """No one is watching the progress."""


@dataclass(frozen=True, eq=False)
class Turnaround:
    """Everything that is known of the pictures of one ring of a pose, in the order shot; n stops."""

    name: str
    """The pose's."""
    source: Path
    """Where the ring's pictures lie: the pose's own place, or a folder or clip in it."""
    settings: Settings
    """What it was read with."""
    stops: tuple[Stop, ...]
    """n, each with its angle (nan where only others have one), how it was found and how sure it is."""
    cuts: tuple[Cut | None, ...]
    """n, None where a picture could not be used: ``Stop.problem`` says why."""
    notes: tuple[Note, ...] = ()
    """For the person: how the angles were found, pictures left out and why."""
    turned: NDArray[np.float64] | None = None
    """(n,) degrees turned since the first stop as the outlines of stills without angles tell, see
    :class:`silhouette.stop_angles.Assigned`."""
    looks: tuple[StopLook | None, ...] | None = None
    """n, what the shoot check keeps of each picture; None as a whole until :func:`watched`."""
    ring: Ring = "level"


@dataclass(frozen=True, eq=False)
class Rings:
    """All rings of one pose, and its close-ups."""

    name: str
    source: Path
    settings: Settings
    all: tuple[Turnaround, ...]
    """In the order of RINGS, those that were shot; one for most poses."""
    close_ups: tuple[CloseUp, ...] = ()
    notes: tuple[Note, ...] = ()
    """Of the pose as a whole, for the person; each ring has its own too."""

    @property
    def several(self) -> bool:
        """Whether anything has to be told of rings at all."""
        return len(self.all) > 1

    @property
    def main(self) -> Turnaround:
        """The level ring; where none was shot, the first there is."""
        return next((one for one in self.all if one.ring == "level"), self.all[0])

    @property
    def sources(self) -> list[Path]:
        """Everything that its pictures lie in."""
        return [self.source, *self.settings.ring_places.values()]


def files_of(place: Path, settings: Settings) -> list[tuple[Ring, Path]]:
    """Every file that what is read of a pose depends on, with the ring that it belongs to: pictures, masks by hand,
    empty pictures, tables. No picture is read.

    Raises
    ------
    SilhouetteError
        As :func:`ingest_rings`.
    """
    found = []
    for shot in _shots_at(place, settings):
        tables = [shot.place / name for name in (filenames.CSV_NAME, SET_TABLE)] if shot.place.is_dir() else []
        found += [(shot.ring, path) for path in (*_cut_from(shot), *filter(is_there, tables))]
    return found


def ingest(
    place: str | Path,
    settings: Settings | None = None,
    *,
    run: Run | None = None,
    tell: Progress = silent,
    known: Memory | None = None,
    looks: bool = False,
) -> Turnaround:
    """The level ring of the pose at ``place`` alone, or the only one there is: see :func:`ingest_rings`."""
    place, settings = Path(place), settings or Settings()
    shots = _shots_at(place, settings)
    shot = next((one for one in shots if one.ring == "level"), shots[0])
    return _ingest(shot, settings, run or Run(), tell, known, looks)


def ingest_rings(
    place: str | Path,
    settings: Settings | None = None,
    *,
    run: Run | None = None,
    tell: Progress = silent,
    known: Memory | None = None,
    looks: bool = False,
    ahead: Ahead | None = None,
) -> Rings:
    """Read every picture of the pose at ``place``, cut the figure out of each, and say at which angle it was taken.

    Parameters
    ----------
    place : path-like
        A folder of stills, one still, a clip, or an exported set.
    settings : Settings, optional
        How to cut out, and what is known of the turn.
    run : Run, optional
        Shares the pictures out among processes, see :func:`silhouette.pool.workers`.
    tell : callable, optional
        Told what is being done and how far it is.
    known : Memory, optional
        Silhouettes already cut, see ``known.py``; None remembers nothing.
    looks : bool
        Also take what the shoot check needs of each picture, while it is at hand; nothing else changes by it.
    ahead : callable, optional
        May give the processes of ``run`` work on the cut-outs, which they then do while this one finds the angles.

    Raises
    ------
    SilhouetteError
        If there is nothing there that can be a pose; a single bad picture of several is noted and passed over, and so
        is a ring of several that cannot be used.
    """
    place, settings, run = Path(place), settings or Settings(), run or Run()
    shots = _shots_at(place, settings)
    read, notes = list[Turnaround](), list[Note]()
    for shot in shots:
        try:
            read.append(_ingest(shot, settings, run, tell, known, looks, ahead))
        except (AnglesError, FilmError, PictureError, PoseError) as error:
            if len(shots) == 1 or (shot is shots[-1] and not read):
                raise
            notes.append(Note.of("ring left out", ring=shot.ring, why=str(error)))
    details = rings.close_ups_in(place) if place.is_dir() else ()
    return Rings(name_of(place), place, settings, tuple(read), details, tuple(notes))


def _ingest(
    shot: _Shot, settings: Settings, run: Run, tell: Progress, known: Memory | None, looks: bool,
    ahead: Ahead | None = None,
) -> Turnaround:
    """One ring: its pictures cut out, or known from an earlier run, and their angles found."""
    key = "" if known is None else _key(shot, settings)
    done = _recall(shot, known, key, tell) or _cut_out(shot, settings, run, tell, looks)
    if ahead is not None:
        ahead(shot.ring, done.stops, done.cuts)
    _keep(done, known, key)
    shot = _without(shot, done.extra.get("empty", ()))
    motion = shot.motion() if shot.turn else done.extra.get("motion_share")
    angled = assign_angles(
        done.stops, done.cuts, settings, given=shot.given, motion=None if motion is None else np.array(motion)
    )
    cuts = tuple(None if stop.problem else cut for stop, cut in zip(angled.stops, done.cuts, strict=True))
    read = map(as_note, done.extra.get("notes", ()))
    notes = (*read, *shot.notes(), *angled.notes, *_notes(angled.stops, cuts))
    stops = tuple(replace(stop, ring=shot.ring) for stop in angled.stops)
    turnaround = Turnaround(shot.name, shot.place, settings, stops, cuts, notes, angled.turned, done.looks, shot.ring)
    return watched(turnaround, run) if looks else turnaround


def watched(shot: Turnaround, run: Run | None = None) -> Turnaround:
    """The same with what the shoot check needs of each picture; they are read again only if it was not taken yet."""
    if shot.looks is not None:
        return shot
    run = run or Run()
    pictures: Iterable[Picture | None] = [None] * len(shot.stops)
    if _is_clip(shot.source):
        times = [stop.time or 0.0 for stop in shot.stops]
        frames = reel.read_at(shot.source, times, shot.settings.work_px)
        pictures = (_picture(stop, pixels) for stop, pixels in zip(shot.stops, frames, strict=True))
    looks = run.at_desk(partial(_look_again, work_px=shot.settings.work_px), shot.stops, shot.cuts, pictures)
    return replace(shot, looks=tuple(looks))


# ------------------------------------------------------------------------------------------------- what lies at a place


class _Shot(NamedTuple):
    """What lies at a place, before any picture of it is read."""

    place: Path
    name: str
    files: list[Path]
    """The stills in order, or the clip."""
    stops: list[Stop] | None
    """One a still; None for a clip, whose stops have yet to be found."""
    given: list[filenames.Angled] | None
    """What the stills' names or their table say of the angles; None where they say nothing."""
    empty: list[Path]
    """Pictures of the room without the model that may be of use, likeliest first."""
    turn: turn_table.LiveTurn | None = None
    """The table beside the stills, where they are the stops of a live turn."""
    ring: Ring = "level"
    one_of: bool = False
    """Whether the pose has other rings too."""
    by_table: bool = False
    """Whether ``given`` is what an exported set's table says, not names."""

    @property
    def called(self) -> str:
        """What to call it while it is worked on."""
        return f"{self.name}, {self.ring}" if self.one_of else self.name

    def motion(self) -> list[float] | None:
        """(n - 1,) share of all motion between the stops of a live turn, as far as its table knows it."""
        return None if self.turn is None else self.turn.motion(self.files)

    def notes(self) -> list[Note]:
        """What the table of a live turn has that the folder has not."""
        gone = () if self.turn is None else self.turn.gone
        return [Note.of("stops gone", names=gone, table=turn_table.CSV_NAME)] if gone else []


def _shots_at(place: Path, settings: Settings) -> list[_Shot]:
    """The rings of the pose at a place, those that were said to lie elsewhere included, in the order of RINGS."""
    refuse_missing(place)
    if settings.one_ring is not None and place.is_dir() and rings.holds_rings(place):
        raise PoseError(f"has rings in folders of their own, and all of it was called the {settings.one_ring} ring.",
                        path=place, do="Leave --ring out.")
    found = rings.rings_in(place) if place.is_dir() and settings.one_ring is None else []
    own = settings.one_ring or "level"
    shots = [_ring_at(one, settings) for one in found] or [_shot_at(place, settings)._replace(ring=own)]
    for ring, other in settings.ring_places.items():
        refuse_missing(other)
        _refuse_twice(place, ring, other, shots, bool(found))
        shots.append(_shot_at(other, settings)._replace(ring=ring))
    shots.sort(key=lambda shot: RINGS.index(shot.ring))
    name = name_of(place)
    return [shot._replace(name=name, one_of=len(shots) > 1) for shot in shots]


def _refuse_twice(place: Path, ring: Ring, other: Path, shots: Sequence[_Shot], named: bool) -> None:
    """Stop where the pose has that ring, or has those pictures, already; ``named``: its rings are called so there."""
    if any(shot.ring == ring for shot in shots):
        rest = [f"--ring {one}" for one in RINGS if one != ring]
        do = f"Leave --ring {ring}=... out." if named else f"Say which ring this one is: {' or '.join(rest)}."
        raise PoseError(f"has a {ring} ring already, and another one was given.", path=place, do=do)
    if any(whole_path(shot.place) == whole_path(other) for shot in shots):
        raise PoseError(f"was given as the {ring} ring, and is another ring of the pose already.", path=other,
                        do="Give the place of the other ring.")


def _ring_at(one: rings.RingPlace, settings: Settings) -> _Shot:
    """What lies at the place of a ring, or the stills there that bear its mark."""
    if one.files is None:
        return _shot_at(one.place, settings)._replace(ring=one.ring)
    empty = _empty_pictures(one.place, settings)
    shot = _of_stills(one.place, list(one.files), empty)._replace(ring=one.ring)
    if one.angles is None:
        return shot
    return shot._replace(given=[filenames.Angled(angle, "name") for angle in one.angles], by_table=True)


def _shot_at(place: Path, settings: Settings) -> _Shot:
    empty = _empty_pictures(place, settings)
    if _is_clip(place):
        return _Shot(place, name_of(place), [place], None, None, empty)
    if stills.is_empty_room(place) and not place.is_dir():
        raise PoseError(
            "counts as a picture of the room without the model, not as a pose.",
            path=place,
            do="If it shows the model, give it a name that does not begin with empty.",
        )
    if not place.is_dir() and not stills.is_still(place):
        raise PoseError(
            "is neither a picture nor a clip that is known here.",
            path=place,
            do="JPEG, PNG, WebP, TIFF, HEIC, MP4 or MOV.",
        )
    if not place.is_dir():
        return _of_stills(place, [place], empty)
    files = stills.list_stills(place)
    turn = turn_table.live_turn(place, files)
    return _of_stills(place, files if turn is None else list(turn.files), empty, turn)


def _of_stills(
    place: Path, files: list[Path], empty: list[Path], turn: turn_table.LiveTurn | None = None
) -> _Shot:
    how: AngleFrom = "spread" if turn is None else "clip"
    stops = [
        Stop(i, path, name, float("nan"), how, given_mask=stills.mask_beside(path))
        for i, (path, name) in enumerate(zip(files, stills.names_of(files), strict=True))
    ]
    stems = [rings.without_mark(path.stem) for path in files]
    given = filenames.assign(files, place if place.is_dir() else None, stems=stems, guess=turn is None)
    return _Shot(place, name_of(place), files, stops, given, [path for path in empty if path not in files], turn)


def _without(shot: _Shot, names: Iterable[str]) -> _Shot:
    """The same less some of its stills, by the names of their files; a clip stays whole."""
    gone = set(names)
    if not gone or shot.stops is None:
        return shot
    kept = _of_stills(shot.place, [path for path in shot.files if path.name not in gone], shot.empty, shot.turn)
    if shot.by_table and shot.given is not None:
        own = [angled for angled, path in zip(shot.given, shot.files, strict=True) if path.name not in gone]
        kept = kept._replace(given=own, by_table=True)
    return kept._replace(name=shot.name, ring=shot.ring, one_of=shot.one_of)


def _empty_pictures(place: Path, settings: Settings) -> list[Path]:
    if settings.empty is None:
        return stills.empty_rooms(whole_path(place))
    asked = Path(settings.empty)
    try:
        open_regular(asked, PictureError).close()
    except PictureError as error:
        raise empty_room.unusable(error) from None
    return [asked]


def _is_clip(place: Path) -> bool:
    return not place.is_dir() and film.is_clip(place)


def name_of(place: Path) -> str:
    """What to call the pose at this place: the folder's name, or the file's stem.

    Raises
    ------
    PoseError
        If the place cannot be found out: a link that leads to itself, a working folder that is gone.
    """
    resolved = whole_path(place)
    return printable(resolved.name if resolved.is_dir() else resolved.stem) or "pose"


def whole_path(place: Path) -> Path:
    """The place without links and dots.

    Raises
    ------
    PoseError
        If there is none, see :func:`name_of`; with a sentence.
    """
    try:
        return place.resolve()
    except (OSError, RuntimeError, ValueError) as error:  # RuntimeError: a loop of links, before Python 3.13
        raise stills.cannot_open(place, error) from None


def refuse_missing(place: Path) -> None:
    """Stop where nothing is, or what is there cannot be looked at.

    Raises
    ------
    PoseError
        With a sentence.
    """
    try:
        place.stat()
        whole_path(place)
    except FileNotFoundError:
        raise PoseError(
            "does not exist.", path=place, do="Check the name, or drag the folder onto the terminal."
        ) from None
    except (OSError, ValueError) as error:
        raise stills.cannot_open(place, error) from None


def _notes(stops: Sequence[Stop], cuts: Sequence[Cut | None]) -> list[Note]:
    notes = [Note.of("problem", text=stop.problem) for stop in stops if stop.problem]
    if stops[0].angle_from in ("name", "csv") and (poses := _several_poses(stops)):
        notes.append(Note.of("several poses", names=poses))
    trusted = [cut.mask for cut in cuts if cut is not None and cut.confidence >= TRUST]
    if not film.is_clip(stops[0].source) and _sideways(trusted):
        notes.append(Note.of("on its side"))
    return notes


def as_note(told: Note | str | dict[str, Any]) -> Note:
    """A note from another room: as it is, in its plain form, or as a sentence of its own."""
    if isinstance(told, Note):
        return told
    return Note.of("said", text=told) if isinstance(told, str) else Note.of(**told)


def _several_poses(stops: Sequence[Stop]) -> list[str]:
    """What the names begin with, where pictures that begin otherwise show one angle again: oar_045, lookout_045."""
    begins = [re.split(r"\d", stop.name)[0].strip(" _-.").casefold() for stop in stops]
    found = sorted({word for word in begins if begins.count(word) > 2 and word})
    angles_of = [{round(s.angle, 1) for s, word in zip(stops, begins, strict=True) if word == one} for one in found]
    shared = any(len(a & b) > 1 for i, a in enumerate(angles_of) for b in angles_of[:i])
    return found if shared else []


def _sideways(masks: Sequence[Mask]) -> bool:
    """Whether the pictures seem to be turned by a quarter: the figure's bulk is wider than tall from everywhere.

    A body that does lie shows its short end on the way round. Of 81 rendered turns none is called turned as it is, not
    even from 5 stops of half a turn; with the pictures turned 67 are.
    """
    if len(masks) < SIDEWAYS_VIEWS or not all(m.any() for m in masks):
        return False
    return all(_bulk(m.sum(axis=0)) > SIDEWAYS * _bulk(m.sum(axis=1)) for m in masks)


def _bulk(profile: Any) -> int:
    """Length of the middle three fifths of what a profile adds up to: a line that runs through hardly counts."""
    grown = np.cumsum(profile)
    return int(np.searchsorted(grown, 0.8 * grown[-1]) - np.searchsorted(grown, 0.2 * grown[-1])) + 1


# --------------------------------------------------------------------------------------------------------- cutting out


class _Done(NamedTuple):
    """The pictures of one place, cut out; the stops have no angles yet."""

    stops: list[Stop]
    cuts: list[Cut | None]
    looks: tuple[StopLook | None, ...] | None
    extra: dict[str, Any]
    """Of a clip, how much the picture moved between its stops; what was noticed while the pictures were read; the names
    of stills that are no stops, as they show the room without the model."""

    def but(self, stops: Sequence[Stop], gone: Container[int]) -> _Done:
        """The same, less the stops whose places are ``gone``; those that are left as given."""
        kept = [k for k in range(len(self.cuts)) if k not in gone]
        left = [replace(new, full_size=self.stops[k].full_size, focal_35mm=self.stops[k].focal_35mm,
                        problem=self.stops[k].problem) for new, k in zip(stops, kept, strict=True)]
        looks = None if self.looks is None else tuple(self.looks[k] for k in kept)
        return _Done(left, [self.cuts[k] for k in kept], looks, self.extra)


def _cut_out(shot: _Shot, settings: Settings, run: Run, tell: Progress, looks: bool) -> _Done:
    done = (_cut_clip if shot.stops is None else _cut_stills)(shot, settings, run, tell, looks)
    if not done.stops:
        raise AnglesError("no stop of the turn could be found.", path=shot.files[0])
    return done


def _cut_stills(shot: _Shot, settings: Settings, run: Run, tell: Progress, looks: bool) -> _Done:
    stops = shot.stops or []
    which = _looked_at(len(stops), shot)
    glimpses = []
    look = partial(_glimpse, work_px=settings.work_px)
    for one in run.at_desk(look, [stops[i].source for i in which], _glanced_at(len(which), settings)):
        glimpses.append(one)
        tell(f"{shot.called}: reading", len(glimpses), len(which))
    job = _job(shot, which, glimpses, settings, run, tell, looks)
    done, notes, gone = job.cut(stops, [None] * len(stops)), list(job.notes), dict[int, Pixels]()

    def read(k: int) -> Pixels | None:
        try:
            return stills.read_still(stops[k].source, settings.work_px).pixels
        except PictureError:
            return None

    if (manned := empty_room.manned(job.seen, done.cuts)) is not None:
        gone = dict(empty_room.unmanned(done.cuts, manned, read, range(len(stops))))
    if gone:
        notes.append(Note.of("empty found", names=[stops[k].name for k in gone], used=job.wants_room))
        shot = _without(shot, [stops[k].source.name for k in gone])
        if job.wants_room:
            done = replace(job, empty=empty_room.made(next(iter(gone.values())))).cut(shot.stops or [], [])
        else:
            done = done.but(shot.stops or [], gone)
    told = {"notes": [note.plain for note in notes], "empty": [stops[k].source.name for k in gone]}
    return done._replace(extra={what: value for what, value in told.items() if value})


def _cut_clip(shot: _Shot, settings: Settings, run: Run, tell: Progress, looks: bool) -> _Done:
    def progress(share: float) -> None:
        tell(f"{shot.called}: finding the stops", round(100 * share), 100)

    (clip,) = shot.files
    found = film.find_stops(clip, work_px=settings.work_px, progress=progress)
    pictures = list(film.read_stops(clip, found, settings.work_px))
    which = _looked_at(len(pictures), shot)
    glances = _glanced_at(len(which), settings)
    glimpses = [background_model.glimpse(pictures[i].pixels, g) for i, g in zip(which, glances, strict=True)]
    job = _job(shot, which, glimpses, settings, run, tell, looks)
    done, notes = job.cut(_held(clip, found, pictures), pictures), [*map(as_note, found.notes), *job.notes]
    gone, end, alone = dict[int, Pixels](), None, None
    if (manned := empty_room.manned(job.seen, done.cuts)) is not None:
        ends = empty_room.at_the_ends(done.cuts)
        gone = dict(empty_room.unmanned(done.cuts, manned, lambda k: pictures[k].pixels, ends))
        shows = partial(job.shows_nobody, manned=manned)
        end, alone = empty_room.empty_end(clip, found, gone, settings.work_px, shows)
    if end is not None:
        on_the_way = [k for k in empty_room.on_the_way(done.cuts) if k not in gone]
        notes.append(Note.of("empty end", end=end, used=job.wants_room, walking=len(on_the_way)))
        gone |= {k: pictures[k].pixels for k in on_the_way}
    if gone:
        found = film.without(found, gone)
        pictures = [p for k, p in enumerate(pictures) if k not in gone]  # names stay: masks by hand go by them
    if alone is not None and job.wants_room:
        done = replace(job, empty=empty_room.made(alone)).cut(_held(clip, found, pictures), pictures)
    elif gone:
        done = done.but(_held(clip, found, pictures), gone)
    return done._replace(extra={
        "motion_share": found.motion_share.tolist(), "notes": [note.plain for note in notes]})


def _held(clip: Path, found: FilmStops, pictures: Sequence[Picture]) -> list[Stop]:
    masks = stills.masks_of_clip(clip)
    return [
        Stop(i, clip, p.name, float("nan"), "clip", time=time, hold=hold, given_mask=masks.get(p.name))
        for i, (p, time, hold) in enumerate(zip(pictures, found.chosen, found.holds, strict=True))
    ]


def _looked_at(count: int, shot: _Shot) -> list[int]:
    """The pictures to look at first: for what all have in common, or to hold an empty picture against."""
    return background_model.sample(count) or (list(range(min(count, FEW))) if shot.empty else [])


@dataclass(frozen=True, eq=False)
class _Job:
    """How the pictures of one pose are to be cut out."""

    name: str
    shared: background_model.Shared | None
    seen: empty_room.Seen | None
    """Those looked at first."""
    empty: Empty | None
    notes: tuple[Note, ...]
    """What is to be told of pictures called empty."""
    settings: Settings
    run: Run
    tell: Progress
    looks: bool

    @property
    def wants_room(self) -> bool:
        """Whether an empty picture would help: the cutter that was asked for takes one, and there is none yet."""
        return self.empty is None and self.settings.cutter == "auto"

    def cut(self, stops: Sequence[Stop], pictures: Sequence[Picture | None]) -> _Done:
        """All stops; their pictures are read where none are given."""
        done = []
        take = partial(_take, shared=self.shared, settings=self.settings, looks=self.looks, empty=self.empty)
        for one in self.run.at_desk(take, stops, pictures or [None] * len(stops)):
            done.append(one)
            self.tell(f"{self.name}: cutting out", len(done), len(stops))
        if unsure := self._unsure(done):
            room = self._as_the_turn_shows_it(stops, pictures)
            again = [stops[k] for k in unsure], [pictures[k] if pictures else None for k in unsure]
            if room is not None:
                for k, one in zip(unsure, self.run.at_desk(partial(take, empty=room), *again), strict=True):
                    done[k] = one
        looks = tuple(d[2] for d in done) if self.looks else None
        return _Done([d[0] for d in done], [d[1] for d in done], looks, {})

    def _unsure(self, done: Sequence[tuple[Stop, Cut | None, StopLook | None]]) -> list[int]:
        """Stops whose cut-out is not trusted, if the turn as a whole may help."""
        if not self.wants_room or len(done) < room.FEWEST_GLIMPSES:
            return []
        return [k for k, (_, cut, _) in enumerate(done) if cut is not None and CANNOT_TELL in cut.flags]

    def _as_the_turn_shows_it(self, stops: Sequence[Stop], pictures: Sequence[Picture | None]) -> Empty | None:
        """The room behind the figure, learned from a part of the stops."""
        few = sorted({round(i) for i in np.linspace(0, len(stops) - 1, WITNESSES)})
        look = partial(_witness, work_px=self.settings.work_px)
        told = self.run.at_desk(look, [stops[i] for i in few], [pictures[i] if pictures else None for i in few])
        glimpses = [one for one in told if one is not None]
        self.tell(f"{self.name}: learning the room", len(glimpses), len(few))
        shape = self.seen.shape if self.seen is not None else None
        glimpses = [(half, chance) for half, chance, size in glimpses if size == shape]
        learned = None if shape is None else room.learn(glimpses, shape)
        return None if learned is None or shape is None else Empty(learned, shape)

    def shows_nobody(self, pixels: Pixels, manned: empty_room.Manned) -> bool:
        """Whether a picture that is no stop shows the room without the model."""
        return empty_room.shows_nobody(pixels, cut_picture(pixels, self.shared, self.settings), manned)


def _job(
    shot: _Shot,
    which: Sequence[int],
    glimpses: Sequence[background_model.Glimpse | None],
    settings: Settings,
    run: Run,
    tell: Progress,
    looks: bool,
) -> _Job:
    looked = [(i, g) for i, g in zip(which, glimpses, strict=True) if g is not None]
    shared = background_model.learn_from([g for _, g in looked])
    seen = empty_room.seen([g.shape for _, g in looked], [g.thumb for _, g in looked], [i for i, _ in looked])
    found, notes = None, list[Note]()
    if shot.empty and seen is not None and settings.cutter == "auto":
        found, notes = empty_room.chosen(shot.empty, seen, settings, lambda p: cut_picture(p, shared, settings))
    empty = None if found is None else empty_room.made(found)
    return _Job(shot.called, shared, seen, empty, tuple(notes), settings, run, tell, looks)


def _glanced_at(count: int, settings: Settings) -> list[bool]:
    """At which of the pictures looked at first the person network glances: at every other one, as the wall's figure is
    found in those."""
    return [settings.cutter in ("auto", "backdrop") and i % 2 == 0 for i in range(count)]


def _glimpse(desk: Desk, path: Path, person: bool, *, work_px: int) -> background_model.Glimpse | None:
    """Look at a picture and keep it on the desk; None where it cannot be read."""
    try:
        return background_model.glimpse(desk.look(path, work_px).pixels, person)
    except PictureError:
        return None


def _witness(
    desk: Desk, stop: Stop, picture: Picture | None, *, work_px: int
) -> tuple[Pixels, NDArray[np.float32], tuple[int, int]] | None:
    """What one stop tells of the room: the half picture, the chance of figure, and the size worked at."""
    try:
        pixels = (picture or desk.look(stop.source, work_px)).pixels
    except PictureError:
        return None
    return background_model.halved(pixels), person_net.look(pixels), (pixels.shape[0], pixels.shape[1])


def _take(
    desk: Desk,
    stop: Stop,
    picture: Picture | None,
    *,
    shared: background_model.Shared | None,
    settings: Settings,
    looks: bool,
    empty: Empty | None = None,
) -> tuple[Stop, Cut | None, StopLook | None]:
    """Cut out one stop; its picture is None where it has to be read, by name, here."""
    try:
        picture = picture or desk.take(stop.source, settings.work_px)
        stop = replace(stop, full_size=picture.full_size, focal_35mm=picture.focal_35mm)
        h, w = picture.pixels.shape[:2]
        known = None if empty is None or not empty.fits(picture.pixels) else empty.room
        cut = (
            cut_picture(picture.pixels, shared, settings, known)
            if stop.given_mask is None
            else mask_cleanup.given(stills.read_mask(stop.given_mask), (w, h), stop.given_mask)
        )
    except PictureError as error:
        return replace(stop, problem=str(error)), None, None
    return stop, cut, look_at(picture, cut) if looks else None


def _look_again(desk: Desk, stop: Stop, cut: Cut | None, picture: Picture | None, *, work_px: int) -> StopLook | None:
    try:
        return None if cut is None else look_at(picture or desk.take(stop.source, work_px), cut)
    except PictureError:
        return None  # gone, or no longer whole, since it was cut out


def _picture(stop: Stop, pixels: Pixels) -> Picture:
    return Picture(stop.source, stop.name, pixels, stop.full_size, time=stop.time)


def cut_picture(pixels: Pixels, shared: Any, settings: Settings, known: room.Room | None = None) -> Cut:
    """Cut the figure out of one working picture with the cutter that was asked for."""
    if settings.cutter == "backdrop":
        return agreement.by_wall(pixels, shared)
    if settings.cutter == "person":
        return agreement.by_person(pixels)
    if settings.cutter == "neural":
        return neural.cut(pixels, settings.model)
    return agreement.cut(pixels, shared, settings.model, room=known)


# -------------------------------------------------------------------------------------------------- what is remembered


def _key(shot: _Shot, settings: Settings) -> str:
    """What the cut-outs of these files are remembered by: nothing where one of them cannot be read, which is told when
    it is its turn."""
    model = neural.find(settings.model) if settings.cutter != "backdrop" else None
    asked = {"cutter": settings.cutter, "model": settings.model, "work_px": settings.work_px,
             "empty": settings.empty is not None}
    try:
        return key_of(_cut_from(shot), asked, [*WEIGHTS, *([model] if model else [])])
    except (OSError, PictureError):
        return ""


def _cut_from(shot: _Shot) -> list[Path]:
    """The files that the cut-outs of a ring are made from."""
    masks = [stop.given_mask for stop in shot.stops or () if stop.given_mask]
    if shot.stops is None:
        masks = [*stills.masks_of_clip(shot.files[0]).values()]
    table = [] if shot.turn is None else [shot.place / turn_table.CSV_NAME]
    return [p for p in (*shot.files, *masks, *shot.empty, *table) if is_there(p)]


def _recall(shot: _Shot, known: Memory | None, key: str, tell: Progress) -> _Done | None:
    """The cut-outs of these very pictures from an earlier run; the stops as they lie there now."""
    found = known.recall(key, shot.files) if known is not None and key else None
    if found is None:
        return None
    stops, cuts, extra = found
    shot = _without(shot, extra.get("empty", ()))
    if shot.stops is None:
        if not stops or not {"motion_share", "notes"} <= extra.keys():
            return None
        masks = stills.masks_of_clip(shot.files[0])
        stops = [replace(stop, given_mask=masks.get(stop.name)) for stop in stops]
    elif len(stops) != len(shot.stops):
        return None
    else:
        stops = [
            replace(new, full_size=old.full_size, focal_35mm=old.focal_35mm)
            for new, old in zip(shot.stops, stops, strict=True)
        ]
    tell(f"{shot.called}: known", len(stops), len(stops))
    return _Done(stops, cuts, None, extra)


def _keep(done: _Done, known: Memory | None, key: str) -> None:
    """Remember the cut-outs, unless a picture has a problem: its sentence names the place, which is not kept."""
    if known is not None and key and not known.holds(key) and not any(stop.problem for stop in done.stops):
        known.keep(key, done.stops, done.cuts, done.extra)
