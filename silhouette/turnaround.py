"""A place becomes a turnaround: every picture of one pose read, cut out of its backdrop and given its angle.

:func:`ingest` is the only reader of pictures, whatever the command. A picture takes four forms on its way: ``Picture``
as it was read, ``Cut`` once the figure is cut out of it, ``View`` when it is scored, ``Pose`` with all the others. The
camera stands still, so all pictures of a pose help with each: a few of them are looked at together first.
"""

from __future__ import annotations

import re
from collections.abc import Callable, Iterable, Sequence
from dataclasses import dataclass, replace
from functools import partial
from pathlib import Path
from typing import Any, NamedTuple

import numpy as np
from numpy.typing import NDArray

from silhouette.check.look import look_at
from silhouette.cutout import agreement, background_model, mask_cleanup, neural
from silhouette.errors import AnglesError, PictureError, PoseError
from silhouette.intake import filenames, film, reel, stills
from silhouette.intake.regular import is_there
from silhouette.known import Memory, key_of
from silhouette.pool import Desk, Run, workers
from silhouette.records import Cut, Mask, Note, Picture, Pixels, Stop
from silhouette.records_shoot import StopLook
from silhouette.settings import TRUST, Settings
from silhouette.stop_angles import assign_angles
from silhouette.texts import printable

__all__ = ["Progress", "Run", "Turnaround", "ingest", "name_of", "refuse_missing", "watched", "whole_path", "workers"]

Progress = Callable[[str, int, int], None]
"""Called with what is being done, how many are done, and how many there are."""

SIDEWAYS, SIDEWAYS_VIEWS = 1.5, 5
"""Width over height of the figure's bulk in every picture, and how many pictures it takes, to ask whether they are
turned by a quarter."""


WEIGHTS = sorted(p for p in Path(background_model.__file__).parent.iterdir() if p.suffix in (".onnx", ".npz"))
"""The networks that cut: what was cut out with others is not known."""


def silent(what: str, done: int, total: int) -> None:
    """No one is watching the progress."""


@dataclass(frozen=True, eq=False)
class Turnaround:
    """Everything that is known of the pictures of one pose, in the order shot; n stops."""

    name: str
    source: Path
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


def ingest(
    place: str | Path,
    settings: Settings | None = None,
    *,
    run: Run | None = None,
    tell: Progress = silent,
    known: Memory | None = None,
    looks: bool = False,
) -> Turnaround:
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

    Raises
    ------
    SilhouetteError
        If there is nothing there that can be a pose; a single bad picture of several is noted and passed over.
    """
    place, settings, run = Path(place), settings or Settings(), run or Run()
    refuse_missing(place)
    shot = _shot_at(place)
    key = "" if known is None else _key(shot, settings)
    done = _recall(shot, known, key, tell) or _cut_out(shot, settings, run, tell, looks)
    _keep(done, known, key)
    motion = done.extra.get("motion_share")
    angled = assign_angles(
        done.stops, done.cuts, settings, given=shot.given, motion=None if motion is None else np.array(motion)
    )
    cuts = tuple(None if stop.problem else cut for stop, cut in zip(angled.stops, done.cuts, strict=True))
    read = map(as_note, done.extra.get("notes", ()))
    notes = (*read, *angled.notes, *_notes(angled.stops, cuts))
    turnaround = Turnaround(shot.name, place, settings, angled.stops, cuts, notes, angled.turned, done.looks)
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

    name: str
    files: list[Path]
    """The stills in order, or the clip."""
    stops: list[Stop] | None
    """One a still; None for a clip, whose stops have yet to be found."""
    given: list[filenames.Angled] | None
    """What the stills' names or their table say of the angles; None where they say nothing."""


def _shot_at(place: Path) -> _Shot:
    if _is_clip(place):
        return _Shot(name_of(place), [place], None, None)
    if not place.is_dir() and not stills.is_still(place):
        raise PoseError(
            "is neither a picture nor a clip that is known here.",
            path=place,
            do="JPEG, PNG, WebP, TIFF, HEIC, MP4 or MOV.",
        )
    files = stills.list_stills(place) if place.is_dir() else [place]
    stops = [
        Stop(i, path, name, float("nan"), "spread", given_mask=stills.mask_beside(path))
        for i, (path, name) in enumerate(zip(files, stills.names_of(files), strict=True))
    ]
    return _Shot(name_of(place), files, stops, filenames.assign(files, place if place.is_dir() else None))


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
    if stops[0].angle_from != "clip" and _sideways([c.mask for c in cuts if c is not None and c.confidence >= TRUST]):
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
    """Of a clip, how much the picture moved between its stops, and what was noticed while it was read."""


def _cut_out(shot: _Shot, settings: Settings, run: Run, tell: Progress, looks: bool) -> _Done:
    done = (_cut_clip if shot.stops is None else _cut_stills)(shot, settings, run, tell, looks)
    if not done.stops:
        raise AnglesError("no stop of the turn could be found.", path=shot.files[0])
    return done


def _cut_stills(shot: _Shot, settings: Settings, run: Run, tell: Progress, looks: bool) -> _Done:
    stops = shot.stops or []
    sample = [stops[i].source for i in background_model.sample(len(stops))]
    glimpses = []
    for done, seen in enumerate(run.at_desk(partial(_glimpse, work_px=settings.work_px), sample), start=1):
        glimpses += [seen] if seen is not None else []
        tell(f"{shot.name}: reading", done, len(sample))
    shared = background_model.learn_from(glimpses)
    return _cut_each(shot, stops, [None] * len(stops), shared, settings, run, tell, looks)


def _cut_clip(shot: _Shot, settings: Settings, run: Run, tell: Progress, looks: bool) -> _Done:
    def progress(share: float) -> None:
        tell(f"{shot.name}: finding the stops", round(100 * share), 100)

    (clip,) = shot.files
    found = film.find_stops(clip, work_px=settings.work_px, progress=progress)
    pictures = list(film.read_stops(clip, found, settings.work_px))
    shared = background_model.learn([p.pixels for p in pictures])
    masks = stills.masks_of_clip(clip)
    stops = [
        Stop(i, clip, p.name, float("nan"), "clip", time=time, hold=hold, given_mask=masks.get(p.name))
        for i, (p, time, hold) in enumerate(zip(pictures, found.chosen, found.holds, strict=True))
    ]
    done = _cut_each(shot, stops, pictures, shared, settings, run, tell, looks)
    notes = [as_note(told).plain for told in found.notes]
    return done._replace(extra={"motion_share": found.motion_share.tolist(), "notes": notes})


def _cut_each(
    shot: _Shot,
    stops: Sequence[Stop],
    pictures: Iterable[Picture | None],
    shared: background_model.Shared | None,
    settings: Settings,
    run: Run,
    tell: Progress,
    looks: bool,
) -> _Done:
    done = []
    take = partial(_take, shared=shared, settings=settings, looks=looks)
    for one in run.at_desk(take, stops, pictures):
        done.append(one)
        tell(f"{shot.name}: cutting out", len(done), len(stops))
    return _Done([d[0] for d in done], [d[1] for d in done], tuple(d[2] for d in done) if looks else None, {})


def _glimpse(desk: Desk, path: Path, *, work_px: int) -> background_model.Glimpse | None:
    """Look at a picture and keep it on the desk; None where it cannot be read."""
    try:
        return background_model.glimpse(desk.look(path, work_px).pixels)
    except PictureError:
        return None


def _take(
    desk: Desk,
    stop: Stop,
    picture: Picture | None,
    *,
    shared: background_model.Shared | None,
    settings: Settings,
    looks: bool,
) -> tuple[Stop, Cut | None, StopLook | None]:
    """Cut out one stop; its picture is None where it has to be read, by name, here."""
    try:
        picture = picture or desk.take(stop.source, settings.work_px)
        stop = replace(stop, full_size=picture.full_size, focal_35mm=picture.focal_35mm)
        h, w = picture.pixels.shape[:2]
        cut = (
            cut_picture(picture.pixels, shared, settings)
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


def cut_picture(pixels: Pixels, shared: Any, settings: Settings) -> Cut:
    """Cut the figure out of one working picture with the cutter that was asked for."""
    if settings.cutter == "backdrop":
        return background_model.cut(pixels, shared)
    if settings.cutter == "neural":
        return neural.cut(pixels, shared, None, settings.model)
    return agreement.cut(pixels, shared, settings.model)


# -------------------------------------------------------------------------------------------------- what is remembered


def _key(shot: _Shot, settings: Settings) -> str:
    """What the cut-outs of these files are remembered by: nothing where one of them cannot be read, which is told when
    it is its turn."""
    model = neural.find(settings.model) if settings.cutter != "backdrop" else None
    asked = {"cutter": settings.cutter, "model": settings.model, "work_px": settings.work_px}
    masks = [stop.given_mask for stop in shot.stops or () if stop.given_mask]
    if shot.stops is None:
        masks = [*stills.masks_of_clip(shot.files[0]).values()]
    try:
        return key_of([p for p in (*shot.files, *masks) if is_there(p)], asked, [*WEIGHTS, *([model] if model else [])])
    except (OSError, PictureError):
        return ""


def _recall(shot: _Shot, known: Memory | None, key: str, tell: Progress) -> _Done | None:
    """The cut-outs of these very pictures from an earlier run; the stops as they lie there now."""
    found = known.recall(key, shot.files) if known is not None and key else None
    if found is None:
        return None
    stops, cuts, extra = found
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
    tell(f"{shot.name}: known", len(stops), len(stops))
    return _Done(stops, cuts, None, extra)


def _keep(done: _Done, known: Memory | None, key: str) -> None:
    """Remember the cut-outs, unless a picture has a problem: its sentence names the place, which is not kept."""
    if known is not None and key and not known.holds(key) and not any(stop.problem for stop in done.stops):
        known.keep(key, done.stops, done.cuts, done.extra)
