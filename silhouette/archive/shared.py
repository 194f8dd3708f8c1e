"""The poses of an archive shared out: one after another, among processes of this machine, or to a cluster.

Whoever asks gets the bytes of each finished pose as it comes and writes them; workers read the pictures where they lie.
So no picture travels, and a worker need not see the disk that the archive lies on.
"""

from __future__ import annotations

import contextlib
import logging
import sys
from collections.abc import Callable, Iterable, Iterator, Sequence
from typing import Any

from silhouette.archive.one import Done, Job, hold, hold_alone
from silhouette.errors import SilhouetteError
from silhouette.pool import workers

PATIENCE_S = 10.0
"""How long a scheduler may take to answer."""
AT_ONCE = 1000
"""Poses that a cluster is given ahead, so that neither side holds much of what is not done."""

Hands = Callable[[Sequence[Job]], Iterable[tuple[Job, Done]]]
"""Does these jobs and says what came of each, as soon as it is known; raises a :class:`SilhouetteError` for what fails
with every pose."""


@contextlib.contextmanager
def hands(processes: int, cluster: str | None) -> Iterator[Hands]:
    """Whoever reads the poses.

    Raises
    ------
    SilhouetteError
        A process of the pool was ended from outside; no scheduler answers, or its workers cannot do this.
    """
    if cluster is None:
        with workers(processes) as run:
            yield lambda jobs: zip(jobs, run(hold, jobs), strict=True)
    else:
        with _client(cluster) as client:
            yield lambda jobs: _on_cluster(jobs, client)


def _on_cluster(jobs: Sequence[Job], client: Any) -> Iterator[tuple[Job, Done]]:
    """By the workers of a Dask scheduler. One that dies is made up for by the others; a pose with which several died is
    said to be the cause."""
    for start in range(0, len(jobs), AT_ONCE):
        yield from _some_on_cluster(jobs[start : start + AT_ONCE], client)


def _some_on_cluster(jobs: Sequence[Job], client: Any) -> Iterator[tuple[Job, Done]]:
    from distributed import as_completed
    from distributed.client import FutureCancelledError
    from distributed.scheduler import KilledWorker

    asked = dict(zip(client.map(hold_alone, jobs, pure=False, key="pose"), jobs, strict=True))
    with _bar(list(asked)):
        for future in as_completed(list(asked)):
            job = asked.pop(future)
            try:
                done = future.result()
            except KilledWorker:
                done = Done("unseen", why="every worker that read it was ended, perhaps for lack of memory.")
            except SilhouetteError:
                raise
            except FutureCancelledError:
                raise SilhouetteError("the scheduler of the cluster went away. What was finished is kept.",
                                      do="Start it again, then run this again.") from None
            except Exception as error:
                raise SilhouetteError(f"the cluster could not do it ({type(error).__name__}: {error}).",
                                      do="Install this program for every worker, then run it again.") from None
            future.release()
            yield job, done


@contextlib.contextmanager
def _client(address: str) -> Iterator[Any]:
    try:
        from distributed import Client
    except ImportError:
        raise SilhouetteError("--cluster needs Dask, which is not installed.",
                              do="Install it with: pip install 'pose-silhouette[cluster]'.") from None
    for name in logging.root.manager.loggerDict:
        if name.startswith("distributed"):  # what matters is said in a sentence
            logging.getLogger(name).setLevel(logging.CRITICAL + 1)
    try:
        client = Client(address, timeout=PATIENCE_S)
    except (OSError, ValueError, TypeError) as error:
        raise SilhouetteError(f"no Dask scheduler answers at {address} ({type(error).__name__}).",
                              do="Start one with: dask scheduler. It prints its address.") from None
    with client:
        yield client


@contextlib.contextmanager
def _bar(futures: Sequence[Any]) -> Iterator[None]:
    """Dask's own bar, where a person watches. It waits for the poses by itself, so it has a thread of its own."""
    if not sys.stdout.isatty():
        yield
        return
    from threading import Thread

    from distributed import progress

    watcher = Thread(target=progress, args=(list(futures),), kwargs={"notebook": False}, daemon=True)
    watcher.start()
    yield
    watcher.join(1.0)
    print()
