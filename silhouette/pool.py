"""Share work out among processes, or do it in this one.

Pictures are not handed between processes, which costs as much as reading them: each is read where it is cut out, and a
process keeps on its desk the few that it has looked at, in case it is given them to cut.
"""

from __future__ import annotations

import os
import signal
import threading
from collections.abc import Callable, Iterable, Iterator
from concurrent.futures import ProcessPoolExecutor
from concurrent.futures.process import BrokenProcessPool
from contextlib import contextmanager
from functools import partial
from multiprocessing import get_context, parent_process
from pathlib import Path
from typing import Any

from silhouette.cutout import background_model
from silhouette.errors import SilhouetteError
from silhouette.intake import stills
from silhouette.records import Picture

MOST_KEPT = background_model.ENOUGH_VIEWS
"""Pictures on a desk, 2 MB each: as many as are looked at of one pose."""


class Desk:
    """The pictures that one process has looked at and not yet cut out."""

    def __init__(self) -> None:
        self._kept: dict[tuple[Path, int, int, int], Picture] = {}

    def look(self, path: Path, work_px: int) -> Picture:
        """Read a still and keep it. Raises what :func:`silhouette.intake.stills.read_still` does."""
        picture = stills.read_still(path, work_px)
        while len(self._kept) >= MOST_KEPT:
            self._kept.pop(next(iter(self._kept)))
        self._kept[_mark(path, work_px)] = picture
        return picture

    def take(self, path: Path, work_px: int) -> Picture:
        """A still that was looked at, which then leaves the desk, or is read now. Raises as :meth:`look`."""
        return self._kept.pop(_mark(path, work_px), None) or stills.read_still(path, work_px)


def _mark(path: Path, work_px: int) -> tuple[Path, int, int, int]:
    """What a picture is known by while it is kept: a file that has been changed since is another one."""
    try:
        told = path.stat()
    except OSError:
        return path, 0, 0, work_px
    return path, told.st_mtime_ns, told.st_size, work_px


class Run:
    """Works like ``map``, over the processes of a pool, or here without one. Results come in order."""

    def __init__(self, pool: ProcessPoolExecutor | None = None) -> None:
        self._pool, self._desk = pool, Desk()

    def __call__(self, work: Callable[..., Any], *over: Iterable[Any]) -> Iterator[Any]:
        if self._pool is None:
            return map(work, *over)
        with _stop_held_back():
            return self._pool.map(work, *over)

    def at_desk(self, work: Callable[..., Any], *over: Iterable[Any]) -> Iterator[Any]:
        """The same for work that takes a :class:`Desk` first: that of the process it is done in."""
        if self._pool is None:
            return map(partial(work, self._desk), *over)
        return self(partial(_at_own_desk, work), *over)


@contextmanager
def workers(jobs: int) -> Iterator[Run]:
    """A map over ``jobs`` processes, or in this one.

    Ctrl-C reaches every process of a terminal. Only this one heeds it: it drops what has not been begun.

    Raises
    ------
    SilhouetteError
        If one of the processes is ended from outside.
    """
    if jobs <= 1:
        yield Run()
        return
    with ProcessPoolExecutor(jobs, mp_context=get_context("spawn"), initializer=_begin) as pool:
        try:
            yield Run(pool)
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


# ------------------------------------------------------------------------------------------------- in a worker process

_own_desk: Desk
"""Set when a worker process begins; the process that started them has none."""


def _begin() -> None:
    """A desk of its own, and one thread: the processes are the parallel part. Deaf to Ctrl-C, on Windows too, and gone
    with its parent, even where that is killed."""
    import cv2

    global _own_desk
    _own_desk = Desk()
    signal.signal(signal.SIGINT, signal.SIG_IGN)
    cv2.setNumThreads(1)
    threading.Thread(target=leave_with_parent, daemon=True).start()


def _at_own_desk(work: Callable[..., Any], *job: Any) -> Any:
    return work(_own_desk, *job)


def leave_with_parent() -> None:
    parent = parent_process()
    if parent is not None:
        parent.join()
        os._exit(1)
