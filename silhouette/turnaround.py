"""Bring in the pictures of one pose, from a folder, a still or a clip, and cut the figure out of each.

The camera stands still, so all pictures of a pose help with each: a few of them are looked at together first. Pictures
are not handed between processes, which costs as much as reading them: each is read where it is cut, and a process keeps
the few that it has looked at in case it is given them to cut.
"""

from __future__ import annotations

import os
import re
import signal
import threading
from collections.abc import Callable, Iterable, Iterator, Sequence
from concurrent.futures import ProcessPoolExecutor
from concurrent.futures.process import BrokenProcessPool
from contextlib import contextmanager
from dataclasses import dataclass, replace
from multiprocessing import get_context, parent_process
from pathlib import Path
from typing import Any

import numpy as np

from silhouette.check.look import look_at
from silhouette.cutout import agreement, background_model, mask_cleanup, neural
from silhouette.errors import AnglesError, PictureError, PoseError, SilhouetteError
from silhouette.intake import filenames, film, stills
from silhouette.intake.regular import is_there
from silhouette.known import Memory, Taken, key_of
from silhouette.records import Cut, Mask, Note, Picture, Pixels, Stop
from silhouette.records_shoot import StopLook
from silhouette.settings import TRUST, Settings
from silhouette.texts import printable
from silhouette.turn import estimate

Progress = Callable[[str, int, int], None]
"""Called with what is being done, how many are done, and how many there are."""
Run = Callable[..., Iterator[Any]]
"""Works like ``map``; see :func:`workers`."""
Job = tuple[Stop, Picture | None, Any, Settings, bool]
"""One picture to cut out: its stop, the picture (None: to be read), what all pictures have in common, the settings, and
whether to look at it for the shoot check."""

SIDEWAYS, SIDEWAYS_VIEWS = 1.5, 5
"""Width over height of the figure's bulk in every picture, and how many pictures it takes, to ask whether they are
turned by a quarter."""

_looked_at: dict[tuple[Path, int, int, int], Picture] = {}
"""Pictures this process has looked at and not yet cut, see :func:`_mark`; no more than are looked at of one pose."""


@dataclass(frozen=True)
class Gathered:
    """All pictures of one pose, cut out, in the order shot."""

    name: str
    taken: tuple[Taken, ...]
    angled: bool
    """False where the angles have yet to be spread."""
    notes: tuple[Note, ...] = ()
    looks: tuple[StopLook | None, ...] = ()
    """What the shoot check keeps of each picture taken, None where it could not be used; empty unless asked for."""


def name_of(place: Path) -> str:
    """What to call the pose at this place: the folder's name, or the file's stem.

    Raises
    ------
    PoseError
        If the place cannot be found out: a link that leads to itself, a working folder that is gone.
    """
    resolved = whole_path(place)
    return printable(resolved.name if resolved.is_dir() else resolved.stem)


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


def gather(
    place: Path, settings: Settings, run: Run, tell: Progress, known: Memory | None = None, *, look: bool = False
) -> Gathered:
    """Read and cut every picture of the pose at ``place``, sharing the pictures out through ``run``.

    With ``look`` each picture is also looked at for the shoot check, which what is ``known`` cannot replace.

    Raises
    ------
    SilhouetteError
        If there is nothing there that can be a pose; a single bad picture of several is noted and passed over.
    """
    refuse_missing(place)
    if not place.is_dir() and film.is_clip(place):
        return _gather_clip(place, settings, run, tell, None if look else known, look)
    if not place.is_dir() and not stills.is_still(place):
        raise PoseError(
            "is neither a picture nor a clip that is known here.",
            path=place,
            do="JPEG, PNG, WebP, TIFF, HEIC, MP4 or MOV.",
        )
    files = stills.list_stills(place) if place.is_dir() else [place]
    angled = filenames.assign(files, place if place.is_dir() else None)
    stops = _stops(files, angled)
    watched = [p for p in (*files, *(s.given_mask for s in stops if s.given_mask)) if is_there(p)]
    known = None if look else known
    key = _key(watched, settings, known)
    found = None if known is None else known.recall(key, files)
    looks: list[StopLook | None] = []
    if found is None or len(found[0]) != len(stops):
        taken, looks = _cut_all(stops, settings, run, tell, look)
        if known is not None:
            known.keep(key, taken, {})
    else:
        taken = [replace(t, stop=s) for t, s in zip(found[0], stops, strict=True)]
        tell(f"{name_of(place)}: known", len(taken), len(taken))
    if angled is not None:
        taken = [t if not np.isnan(t.stop.angle) else _no_angle(t, stops) for t in taken]
    return Gathered(name_of(place), tuple(taken), angled is not None, tuple(_notes(taken, angled)), tuple(looks))


def _stops(files: Sequence[Path], angled: Sequence[filenames.Angled] | None) -> list[Stop]:
    stops = []
    for i, (path, name) in enumerate(zip(files, stills.names_of(files), strict=True)):
        angle = None if angled is None else angled[i].angle
        stops.append(
            Stop(
                index=i,
                source=path,
                name=name,
                angle=float("nan") if angle is None else angle,
                angle_from="spread" if angled is None else angled[i].angle_from,
                given_mask=stills.mask_beside(path),
            )
        )
    return stops


def _no_angle(taken: Taken, stops: Sequence[Stop]) -> Taken:
    where = "its name" if stops[0].angle_from == "name" else filenames.CSV_NAME
    told = f"{printable(taken.stop.source)}: {where} gives no angle; left out."
    return replace(taken, cut=None, problem=taken.problem or told)


def _notes(taken: Sequence[Taken], angled: Sequence[filenames.Angled] | None) -> list[Note]:
    notes = [Note.of("problem", text=t.problem) for t in taken if t.problem]
    if angled is not None and len(taken) > 1:
        table = Note.of("angles from table", file=filenames.CSV_NAME)
        notes.insert(0, Note.of("angles from names") if angled[0].angle_from == "name" else table)
        if poses := _several_poses([t.stop for t in taken]):
            notes.append(Note.of("several poses", names=poses))
    if _sideways([t.cut.mask for t in taken if t.cut is not None and t.cut.confidence >= TRUST]):
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


def _key(files: Sequence[Path], settings: Settings, known: Memory | None) -> str:
    """What the cut-outs of these files are remembered by; nothing where nothing is."""
    if known is None:
        return ""
    try:
        return key_of(files, _asked(settings))
    except OSError:
        return ""  # a file that cannot be read is told when it is its turn


def _asked(settings: Settings) -> dict[str, Any]:
    return {
        "cutter": settings.cutter,
        "model": settings.model,
        "work_px": settings.work_px,
        "at_hand": settings.cutter != "backdrop" and neural.at_hand(settings.model),
    }


# ----------------------------------------------------------------------------------------------------- stills, in steps


def _cut_all(
    stops: Sequence[Stop], settings: Settings, run: Run, tell: Progress, look: bool
) -> tuple[list[Taken], list[StopLook | None]]:
    name, total = name_of(stops[0].source.parent), len(stops)
    sample = [(stops[i].source, settings.work_px) for i in background_model.sample(total)]
    glimpses = []
    for done, seen in enumerate(run(_glimpse, sample), start=1):
        glimpses += [seen] if seen is not None else []
        tell(f"{name}: reading", done, len(sample))
    shared = background_model.learn_from(glimpses)
    jobs = ((stop, None, shared, settings, look) for stop in stops)
    return _take_each(jobs, total, name, run, tell)


def _take_each(
    jobs: Iterable[Job], total: int, name: str, run: Run, tell: Progress
) -> tuple[list[Taken], list[StopLook | None]]:
    taken: list[Taken] = []
    looks: list[StopLook | None] = []
    for one, seen in run(_take, jobs):
        taken.append(one)
        looks.append(seen)
        tell(f"{name}: cutting out", len(taken), total)
    return taken, looks


@contextmanager
def workers(jobs: int) -> Iterator[Run]:
    """A map over ``jobs`` processes, or in this one; results come in order.

    Ctrl-C reaches every process of a terminal. Only this one heeds it: it drops what has not been begun.

    Raises
    ------
    SilhouetteError
        If one of the processes is ended from outside.
    """
    if jobs <= 1:
        yield map
        return
    with ProcessPoolExecutor(jobs, mp_context=get_context("spawn"), initializer=_alone) as pool:

        def run(work: Callable[..., Any], *over: Iterable[Any]) -> Iterator[Any]:
            with _stop_held_back():
                return pool.map(work, *over)

        try:
            yield run
        except BrokenProcessPool:
            raise SilhouetteError(
                "One of the processes that share the pictures was ended from outside, perhaps for lack of memory.",
                do="Try again with --jobs 1.",
            ) from None
        except BaseException:
            pool.shutdown(cancel_futures=True)
            raise


@contextmanager
def _stop_held_back() -> Iterator[None]:
    """Ctrl-C and the like wait until the end; processes started meanwhile never see them."""
    if not hasattr(signal, "pthread_sigmask"):  # Windows
        yield
        return
    before = signal.pthread_sigmask(signal.SIG_BLOCK, {signal.SIGINT, signal.SIGTERM, signal.SIGHUP})
    try:
        yield
    finally:
        signal.pthread_sigmask(signal.SIG_SETMASK, before)


def _alone() -> None:
    """One thread a worker: the processes are the parallel part. Deaf to Ctrl-C, on Windows too, and gone with its
    parent, even where that is killed."""
    import cv2

    signal.signal(signal.SIGINT, signal.SIG_IGN)
    cv2.setNumThreads(1)
    threading.Thread(target=_leave_with_parent, daemon=True).start()


def _leave_with_parent() -> None:
    parent = parent_process()
    if parent is not None:
        parent.join()
        os._exit(1)


def _read(job: tuple[Path, int]) -> Picture | str:
    try:
        return stills.read_still(*job)
    except PictureError as error:
        return str(error)


def _glimpse(job: tuple[Path, int]) -> background_model.Glimpse | None:
    """Look at a picture and keep it in this process; None where it cannot be read."""
    picture = _read(job)
    if isinstance(picture, str):
        return None
    while len(_looked_at) >= background_model.ENOUGH_VIEWS:
        _looked_at.pop(next(iter(_looked_at)), None)
    _looked_at[_mark(*job)] = picture
    return background_model.glimpse(picture.pixels)


def _mark(path: Path, work_px: int) -> tuple[Path, int, int, int]:
    """What a picture is known by while it is kept: a file that has been changed since is another one."""
    try:
        told = path.stat()
    except OSError:
        return path, 0, 0, work_px
    return path, told.st_mtime_ns, told.st_size, work_px


def _take(job: Job) -> tuple[Taken, StopLook | None]:
    stop, picture, shared, settings, wanted = job
    if picture is None:
        asked = stop.source, settings.work_px
        found = _looked_at.pop(_mark(*asked), None) or _read(asked)
        if isinstance(found, str):
            return Taken(stop, None, problem=found), None
        picture = found
    h, w = picture.pixels.shape[:2]
    try:
        cut = (
            cut_picture(picture.pixels, shared, settings)
            if stop.given_mask is None
            else mask_cleanup.given(stills.read_mask(stop.given_mask), (w, h), stop.given_mask)
        )
    except PictureError as error:
        return Taken(stop, None, picture.full_size, picture.focal_35mm, str(error)), None
    seen = look_at(picture, cut) if wanted else None
    return Taken(stop, cut, picture.full_size, picture.focal_35mm), seen


def cut_picture(pixels: Pixels, shared: Any, settings: Settings) -> Cut:
    """Cut the figure out of one working picture with the cutter that was asked for."""
    if settings.cutter == "backdrop":
        return background_model.cut(pixels, shared)
    if settings.cutter == "neural":
        return neural.cut(pixels, shared, None, settings.model)
    return agreement.cut(pixels, shared, settings.model)


# -------------------------------------------------------------------------------------------------------------- clips


def _gather_clip(
    place: Path, settings: Settings, run: Run, tell: Progress, known: Memory | None, look: bool
) -> Gathered:
    key = _key([place], settings, known)
    found = None if known is None else known.recall(key, [place])
    looks: list[StopLook | None] = []
    if found is None or not found[0] or not {"motion_share", "notes"} <= found[1].keys():
        taken, looks, extra = _cut_clip(place, settings, run, tell, look)
        if known is not None:
            known.keep(key, taken, extra)
    else:
        taken, extra = found
    share = None if extra["motion_share"] is None else np.array(extra["motion_share"])
    gathered = _angled_clip(place, taken, share, extra["notes"], settings)
    return replace(gathered, looks=tuple(looks))


def _cut_clip(
    place: Path, settings: Settings, run: Run, tell: Progress, look: bool
) -> tuple[list[Taken], list[StopLook | None], dict[str, Any]]:
    def progress(share: float) -> None:
        tell(f"{printable(place.stem)}: finding the stops", round(100 * share), 100)

    found = film.find_stops(place, work_px=settings.work_px, progress=progress)
    pictures = list(film.read_stops(place, found, settings.work_px))
    shared = background_model.learn([p.pixels for p in pictures])
    stops = [
        Stop(i, place, p.name, float("nan"), "clip", time=time, hold=hold)
        for i, (p, time, hold) in enumerate(zip(pictures, found.chosen, found.holds, strict=True))
    ]
    jobs = [(stop, p, shared, settings, look) for stop, p in zip(stops, pictures, strict=True)]
    taken, looks = _take_each(jobs, len(stops), printable(place.stem), run, tell)
    notes = [as_note(told).plain for told in found.notes]
    return taken, looks, {"motion_share": found.motion_share.tolist(), "notes": notes}


def _angled_clip(
    place: Path, taken: Sequence[Taken], share: Any, notes: Sequence[dict[str, Any]], settings: Settings
) -> Gathered:
    masks = [t.cut.mask if t.cut is not None and t.cut.confidence >= TRUST else None for t in taken]
    turn = estimate.estimate_angles(masks, share, start=settings.start, turn=settings.turn)
    angled = [
        replace(t, stop=replace(t.stop, angle=float(a) % 360, angle_sure=float(s)))
        for t, a, s in zip(taken, turn.angles, turn.sure, strict=True)
    ]
    if not angled:
        raise AnglesError("no stop of the turn could be found.", path=place)
    told: list[dict[str, Any] | Note | str] = [*notes, *turn.notes]
    return Gathered(printable(place.stem), tuple(angled), True, tuple(map(as_note, told)))
