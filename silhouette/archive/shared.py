"""The poses of an archive shared out: one after another, among processes of this machine, or to a cluster.

Whoever asks gets the bytes of each finished pose as it comes and writes them; workers read the pictures where they lie.
So no picture travels, and a worker need not see the disk that the archive lies on.
"""

from __future__ import annotations

import contextlib
import sys
from collections.abc import Iterator, Sequence
from typing import Any

from silhouette.archive.one import Done, Job, hold
from silhouette.errors import SilhouetteError
from silhouette.pool import workers

PATIENCE_S = 10.0
"""How long a scheduler may take to answer."""
AT_ONCE = 1000
"""Poses that a cluster is given ahead, so that neither side holds much of what is not done."""


def done(jobs: Sequence[Job], processes: int, cluster: str | None) -> Iterator[tuple[Job, Done]]:
    """What came of each pose, as soon as it is known.

    Raises
    ------
    SilhouetteError
        What fails with every pose; a process of the pool was ended from outside; no scheduler answers.
    """
    if cluster is not None:
        yield from _on_cluster(jobs, cluster)
        return
    with workers(min(processes, len(jobs))) as run:
        yield from zip(jobs, run(hold, jobs), strict=True)


def _on_cluster(jobs: Sequence[Job], address: str) -> Iterator[tuple[Job, Done]]:
    """By the workers of a Dask scheduler. One that dies is made up for by the others; a pose with which several died is
    said to be the cause."""
    with _client(address) as client:
        for start in range(0, len(jobs), AT_ONCE):
            yield from _some_on_cluster(jobs[start : start + AT_ONCE], client)


def _some_on_cluster(jobs: Sequence[Job], client: Any) -> Iterator[tuple[Job, Done]]:
    from distributed import as_completed
    from distributed.scheduler import KilledWorker

    futures = client.map(hold, jobs, pure=False, retries=2, key="pose")
    asked = dict(zip(futures, jobs, strict=True))
    del futures
    with _bar(list(asked)):
        for future in as_completed(list(asked)):
            job = asked.pop(future)
            try:
                yield job, future.result()
            except KilledWorker:
                yield job, Done("unseen", why="each worker that read it was ended, perhaps for lack of memory.")
            future.release()


@contextlib.contextmanager
def _client(address: str) -> Iterator[Any]:
    try:
        from distributed import Client
    except ImportError:
        raise SilhouetteError("--cluster needs Dask, which is not installed.",
                              do="Install it with: pip install 'pose-silhouette[cluster]'.") from None
    try:
        client = Client(address, timeout=PATIENCE_S, set_as_default=False)
    except (OSError, ValueError, TypeError) as error:
        raise SilhouetteError(f"no Dask scheduler answers at {address} ({type(error).__name__}).",
                              do="Start one with: dask scheduler. It prints its address.") from None
    with client:
        yield client


@contextlib.contextmanager
def _bar(futures: Sequence[Any]) -> Iterator[None]:
    """Dask's own bar, where a person watches."""
    if not sys.stderr.isatty():
        yield
        return
    from threading import Thread

    from distributed import progress

    watcher = Thread(target=progress, args=(list(futures),), kwargs={"notebook": False}, daemon=True)
    watcher.start()
    yield
    watcher.join(1.0)
    print(file=sys.stderr)
