"""The bench: one process that keeps the silhouettes of all stops so far and says what they tell together.

The stage puts every written still here and goes on; a moment later it has a :class:`StopsTold`. Stops that come while
the bench works are looked at together, so it never falls behind by more than one look. All that it knows it can work
out again from the stills, so where its process is ended from outside a new one begins by itself.
"""

from __future__ import annotations

import signal
import threading
from collections.abc import Callable, Sequence
from concurrent.futures import Future, InvalidStateError, ProcessPoolExecutor
from concurrent.futures.process import BrokenProcessPool
from contextlib import suppress
from dataclasses import dataclass, field, replace
from functools import partial
from multiprocessing import get_context
from pathlib import Path
from typing import Any, Literal

from silhouette.errors import SilhouetteError
from silhouette.intake import stills, turn_table
from silhouette.live.messages import StopsTold, WheelStop
from silhouette.pool import leave_with_parent
from silhouette.records import Band, Cut, Mask, Pixels
from silhouette.settings import TRUST, Settings

AGAIN = 3
"""Processes that are begun for one look before it is given up."""
MOST_KEPT = 200
"""Stops whose silhouettes are kept, half a megabyte each."""


@dataclass(frozen=True)
class Asked:
    """All that a look at the stops needs; so any process can take it up."""

    place: Path | None = None
    """The pose's folder, whose table says the order of the stops."""
    added: tuple[tuple[str, Path], ...] = ()
    """Name and still of stops told of one by one, which stand at the end where the folder does not list them."""
    removed: frozenset[str] = frozenset()
    turn: Literal["left", "right"] = "left"
    stops: int = 24
    """How many a full turn is meant to have."""
    called: frozenset[str] = frozenset()
    """Stops that were called moved at the last look."""
    looked: frozenset[str] = frozenset()
    """Stops that were there at the last look."""


class Bench:
    """What the stage asks; may be used from any thread. A future may end in a SilhouetteError with one sentence."""

    def __init__(self) -> None:
        self._asked = Asked()
        self._lock = threading.RLock()
        self._pool: ProcessPoolExecutor | None = None
        self._at_work: list[Future[StopsTold]] = []
        self._waiting: list[Future[StopsTold]] = []
        self._since: set[str] = set()
        """Stops that were added after the look at work began."""
        self._closed = False

    def begin(
        self, place: Path, *, turn: Literal["left", "right"] = "left", stops: int = 24
    ) -> Future[StopsTold]:
        """Turn to the pose in this folder, and look at the stops that are there already.

        Whoever still waits for an answer about another pose is told of this one.
        """
        with self._lock:
            self._asked = Asked(place, turn=turn, stops=stops)
            self._waiting, self._at_work = [*self._at_work, *self._waiting], []
            return self._look()

    def add(self, name: str, path: Path) -> Future[StopsTold]:
        """The still of the stop ``name`` has been written, or written anew."""
        with self._lock:
            others = tuple(one for one in self._asked.added if one[0] != name)
            self._asked = replace(self._asked, added=(*others, (name, path)), removed=self._asked.removed - {name},
                                  called=self._asked.called - {name}, looked=self._asked.looked - {name})
            self._since.add(name)
            return self._look()

    def remove(self, name: str) -> Future[StopsTold]:
        """This stop was none."""
        with self._lock:
            others = tuple(one for one in self._asked.added if one[0] != name)
            self._asked = replace(self._asked, added=others, removed=self._asked.removed | {name})
            return self._look()

    def outline(self, still: Path) -> Future[tuple[str, tuple[int, int]] | None]:
        """The silhouette of one still of any pose, as a path of ``StopsTold.masks``, and the size (width, height) of
        the picture that it was cut from; None where there is no figure."""
        told: Future[tuple[str, tuple[int, int]] | None] = Future()
        with self._lock:
            self._hand_over(partial(_outline_of, still), partial(_end, told), AGAIN)
        return told

    def close(self) -> None:
        """End the process; what waits is given up."""
        with self._lock:
            self._closed = True
            for told in [*self._at_work, *self._waiting]:
                told.cancel()
            self._at_work, self._waiting = [], []
            pool, self._pool = self._pool, None
        if pool is not None:
            _end_processes(pool)

    # ------------------------------------------------------------------------------------------------------- one look

    def _look(self) -> Future[StopsTold]:
        told: Future[StopsTold] = Future()
        self._waiting.append(told)
        if not self._at_work:
            self._next()
        return told

    def _next(self) -> None:
        """Look at all that is known by now, for all who wait."""
        mine = self._at_work = self._waiting
        self._waiting, self._since = [], set()
        if mine:
            self._hand_over(partial(_look_at, self._asked), partial(self._told, mine), AGAIN)

    def _told(self, mine: list[Future[StopsTold]], done: StopsTold | None, error: BaseException | None) -> None:
        with self._lock:
            if self._at_work is not mine:
                return  # of a pose that was left meanwhile
            if done is not None:
                looked = frozenset(stop.name for stop in done.wheel) - self._since
                self._asked = replace(self._asked, called=frozenset(done.moved) - self._since, looked=looked)
            self._next()
        for told in mine:
            _end(told, done, error)

    def _hand_over(
        self, work: Callable[[], Any], then: Callable[[Any, BaseException | None], None], again: int
    ) -> None:
        """Have work done in the bench's process, in a new one where that has ended."""
        if self._closed:
            then(None, SilhouetteError("The bench is closed."))
            return
        if self._pool is None:
            self._pool = ProcessPoolExecutor(1, mp_context=get_context("spawn"), initializer=_begin)
        pool = self._pool
        try:
            future = pool.submit(work)
        except RuntimeError:  # BrokenProcessPool is one
            self._failed(pool, work, then, again)
            return
        future.add_done_callback(partial(self._ended, pool, work, then, again))

    def _ended(
        self, pool: ProcessPoolExecutor, work: Callable[[], Any], then: Callable[[Any, BaseException | None], None],
        again: int, done: Future[Any],
    ) -> None:
        error = InvalidStateError() if done.cancelled() else done.exception()
        if isinstance(error, BrokenProcessPool):
            with self._lock:
                self._failed(pool, work, then, again)
        else:
            then(None if error is not None else done.result(), error)

    def _failed(
        self, pool: ProcessPoolExecutor, work: Callable[[], Any], then: Callable[[Any, BaseException | None], None],
        again: int,
    ) -> None:
        """The process has ended: take another one."""
        if self._pool is pool:
            self._pool = None
            pool.shutdown(wait=False, cancel_futures=True)
        if again > 1:
            self._hand_over(work, then, again - 1)
        else:
            then(None, SilhouetteError(
                "The process that looks at the stops was ended from outside, perhaps for lack of memory.",
                do="Close other programs. The stills are kept.",
            ))


def _end(told: Future[Any], done: Any, error: BaseException | None) -> None:
    with suppress(InvalidStateError):  # given up meanwhile
        if error is None:
            told.set_result(done)
        else:
            told.set_exception(error)


def _end_processes(pool: ProcessPoolExecutor) -> None:
    """Nothing that the bench does has to be tidied up."""
    processes = list((pool._processes or {}).values())
    pool.shutdown(wait=False, cancel_futures=True)
    for process in processes:
        process.terminate()


# ----------------------------------------------------------------------------------------------- in the bench's process


@dataclass(eq=False)
class Kept:
    """What is kept of one still."""

    cut: Cut | None = None
    """None where it cannot be read."""
    told: WheelStop | None = None
    """Without its angle."""
    path: str = ""
    """See ``StopsTold.masks``."""
    without: str = ""
    """What the cut-out was made without, and should be made again with once it is there."""
    trusted: bool = False


@dataclass(eq=False)
class Room:
    """What is known of the room behind the stops of one pose."""

    empty: Any = None
    """The room without the model, made ready; None while there is no picture of it."""
    tried: dict[tuple[Any, ...], int] = field(default_factory=dict)
    """Empty pictures that did not fit, and against how many stops."""
    glimpses: dict[Path, Any] = field(default_factory=dict)
    shared: Any = None
    """What the stops have in common; None while they are too few."""
    learned: int = 0
    """From how many stops."""


@dataclass(eq=False)
class Desk:
    """What the bench's process has worked out."""

    kept: dict[tuple[Any, ...], Kept] = field(default_factory=dict)
    """By what a still is known by."""
    rooms: dict[Path, Room] = field(default_factory=dict)


_desk = Desk()


def _begin() -> None:
    """One thread, deaf to Ctrl-C, and gone with its parent."""
    import cv2

    signal.signal(signal.SIGINT, signal.SIG_IGN)
    cv2.setNumThreads(1)
    threading.Thread(target=leave_with_parent, daemon=True).start()


def _look_at(asked: Asked) -> StopsTold:
    return look_at(asked, _desk)


def _outline_of(still: Path) -> tuple[str, tuple[int, int]] | None:
    kept = _cut_out([("", still)], _desk)[0]
    if kept.cut is None or not kept.path:
        return None
    h, w = kept.cut.mask.shape
    return kept.path, (w, h)


def look_at(asked: Asked, desk: Desk) -> StopsTold:
    """Cut out the stops that are new, and say what all of them tell together."""
    named = listed(asked)
    kept = _cut_out(named, desk)
    return told(asked, [name for name, _ in named], kept)


def listed(asked: Asked) -> list[tuple[str, Path]]:
    """Name and still of every stop, in the order of the turn."""
    found: list[tuple[str, Path]] = []
    if asked.place is not None:
        files = _in_order(asked.place)
        found = list(zip(stills.names_of(files), files, strict=True))
    here = {name for name, _ in found}
    found += [(name, path) for name, path in asked.added if name not in here]
    return [(name, path) for name, path in found if name not in asked.removed]


def _in_order(place: Path) -> list[Path]:
    """The stills of a pose in the order of its turn; none where there are none yet."""
    try:
        found = [p for p in place.iterdir() if stills.is_still(p) and not p.is_dir()]
    except (OSError, ValueError):
        return []
    files = sorted(found, key=lambda p: (stills.natural_key(p.name), p.name))
    with suppress(SilhouetteError):
        turn = turn_table.live_turn(place, files)
        files = files if turn is None else list(turn.files)
    return files


# ---------------------------------------------------------------------------------------------------------- cutting out


def _cut_out(named: Sequence[tuple[str, Path]], desk: Desk) -> list[Kept]:
    """The silhouettes of these stills; those that are known are not cut out again."""
    new = [path for _, path in named if _mark(path) not in desk.kept]
    pictures = {path: _seen(path, desk.rooms.setdefault(path.parent, Room())) for path in new[:AT_ONCE]}
    found = []
    for name, path in named:
        key, room = _mark(path), desk.rooms.setdefault(path.parent, Room())
        kept = desk.kept.get(key)
        if kept is None or (kept.without and kept.without != _without(room)):
            kept = desk.kept[key] = _one(name, path, pictures.pop(path, None), room)
        found.append(kept)
    while len(desk.kept) > MOST_KEPT:
        del desk.kept[next(iter(desk.kept))]
    return found


AT_ONCE = 9
"""New stops that are looked at for the room before the first of them is cut out; their pictures are 2 MB each."""


def _seen(path: Path, room: Room) -> Pixels | None:
    """A picture from which the room was learned; None where it cannot be read."""
    try:
        pixels = stills.read_still(path, Settings().work_px).pixels
        _learn(path, pixels, room)
    except SilhouetteError:
        return None
    return pixels


def _mark(path: Path) -> tuple[Any, ...]:
    """What a still is known by: a file that has been changed since is another one."""
    try:
        told = path.stat()
    except OSError:
        return (path,)
    return path, told.st_mtime_ns, told.st_size


def _without(room: Room) -> str:
    """What a cut-out that is not trusted lacks: it is made again when this has changed."""
    return "" if room.empty is not None else f"from {room.learned}"


def _one(name: str, path: Path, pixels: Pixels | None, room: Room) -> Kept:
    """Cut out one still; its picture is None where it has to be read."""
    from silhouette.cutout import agreement, mask_cleanup
    from silhouette.live.ghost import path_in_shares
    from silhouette.measuring import read_line
    from silhouette.shape.outline import outline_of
    from silhouette.show import svg, words_turn

    try:
        if pixels is None:
            pixels = stills.read_still(path, Settings().work_px).pixels
            _learn(path, pixels, room)
        given = stills.mask_beside(path)
        if given is not None:
            cut = mask_cleanup.given(stills.read_mask(given), pixels.shape[1::-1], given)
        else:
            known = room.empty.room if room.empty is not None and room.empty.fits(pixels) else None
            cut = agreement.cut(pixels, room.shared, room=known)
    except SilhouetteError:
        return Kept(None, WheelStop(name, None, None, "", words_turn.UNREADABLE_STILL))
    trusted = cut.confidence >= TRUST
    without = "" if trusted else _without(room)
    line = outline_of(cut.mask) if cut.mask.any() else None
    trouble = words_turn.trouble(cut.flags, trusted)
    if line is None:
        return Kept(cut, WheelStop(name, None, None, "", trouble), without=without)
    band: Band | None = read_line(line)[2].band if trusted else None
    wheel = WheelStop(name, None, band, svg.path_d(line.drawn), trouble)
    return Kept(cut, wheel, path_in_shares(line), without, trusted)


def _learn(path: Path, pixels: Pixels, room: Room) -> None:
    """Learn the room from the empty picture, or from what the stops have in common."""
    from silhouette.cutout import agreement, background_model

    if room.empty is not None:
        return
    if path not in room.glimpses and len(room.glimpses) < background_model.ENOUGH_VIEWS:
        person = len(room.glimpses) % 2 == 0
        room.glimpses[path] = background_model.glimpse(pixels, person)
    _find_empty(path, room, lambda p: agreement.cut(p, room.shared))
    count = len(room.glimpses)
    if room.empty is None and count != room.learned and count in LEARNED_AT:
        room.shared, room.learned = background_model.learn_from(list(room.glimpses.values())), count


LEARNED_AT = (4, 6, AT_ONCE)
"""Stops from which the room is learned anew, where there is no picture of it empty."""


def _find_empty(path: Path, room: Room, cut: Callable[[Pixels], Cut]) -> None:
    """Take the empty picture of the pose, if there is one that fits the stops."""
    from silhouette import empty_room

    files = stills.empty_rooms(path.parent)
    few = list(room.glimpses.values())[: empty_room_few()]
    marks = tuple(_mark(file) for file in files)
    if not files or room.tried.get(marks) == len(few):
        return
    room.tried[marks] = len(few)
    seen = empty_room.seen([g.shape for g in few], [g.thumb for g in few], list(range(len(few))))
    if seen is not None:
        found, _ = empty_room.chosen(files, seen, Settings(), cut)
        room.empty = None if found is None else empty_room.made(found)


def empty_room_few() -> int:
    """Stops that an empty picture is held against, as everywhere."""
    from silhouette.turnaround import FEW

    return FEW


# ------------------------------------------------------------------------------------------------ what all of them tell


def told(asked: Asked, names: Sequence[str], kept: Sequence[Kept]) -> StopsTold:
    """What the stops tell together."""
    from silhouette.show import words_turn
    from silhouette.turn import so_far

    shapes = [one.cut.mask.shape for one in kept if one.cut is not None and one.trusted]
    common = max(set(shapes), key=shapes.count, default=None)
    masks: list[Mask | None] = [
        one.cut.mask if one.cut is not None and one.trusted and one.cut.mask.shape == common else None for one in kept]
    step = 360.0 / max(1, asked.stops)
    called = {k for k, name in enumerate(names) if name in asked.called}
    new = {k for k, name in enumerate(names) if name not in asked.looked}
    found = so_far.look(masks, turn=asked.turn, step=step, called=called, new=new)
    turned = [k * step for k in range(len(names))] if found.turned is None else found.turned.tolist()
    sign = 1 if asked.turn == "left" else -1
    wheel = tuple(
        replace(one.told, name=name, angle=(sign * by) % 360)
        for name, one, by in zip(names, kept, turned, strict=True) if one.told is not None)
    moved, words = tuple(names[k] for k in found.moved), ""
    if found.jumped is not None:
        before = max((k for k in range(found.jumped) if masks[k] is not None), default=0)
        moved, words = (names[found.jumped],), words_turn.camera_moved(names[before], names[found.jumped])
    elif found.how is not None:
        words = words_turn.pose_moved(names[found.worst], found.how)
    return StopsTold(
        wheel, moved, words, None if found.turned is None else float(found.turned[-1]), found.closes,
        tuple((name, one.path) for name, one in zip(names, kept, strict=True) if one.path))
