"""Ranking, checks, sets and armatures: one at a time, in a process of its own that ends with the server."""

from __future__ import annotations

import contextlib
import json
import secrets
import signal
import threading
from collections.abc import Callable
from dataclasses import dataclass
from multiprocessing import get_context
from multiprocessing.connection import Connection
from pathlib import Path
from typing import Any, Literal

from starlette.requests import Request
from starlette.responses import JSONResponse, Response
from starlette.routing import BaseRoute, Route

from silhouette.errors import SilhouetteError
from silhouette.live.folder import Folder
from silhouette.live.guard import Refused
from silhouette.live.messages import without_nan
from silhouette.pool import leave_with_parent

WHATS = ("rank", "read", "check", "export", "armature", "mend")
"""What can be worked out: the names of ``work.WORK``."""
KEPT = 16
"""Jobs that are remembered; of those that are over the oldest goes first."""
MOST_POSES = 200
TIDY_S = 10.0
"""Seconds that a job has to tidy up once it is stopped."""

_ENDED = "The work was ended from outside, perhaps for lack of memory. Try again."

State = Literal["running", "done", "failed", "stopped"]


@dataclass
class Job:
    """What is known of one job."""

    id: str
    what: str
    state: State = "running"
    doing: str = ""
    done: int = 0
    total: int = 0
    error: str = ""
    result: Any = None

    def plain(self) -> dict[str, Any]:
        return {name: value for name, value in without_nan(vars(self)).items() if name != "id"} | {"job": self.id}


class Jobs:
    """The jobs of this start. Called from the server's one thread, but for :meth:`_follow`."""

    def __init__(self, folder: Folder) -> None:
        self.folder = folder
        self._jobs: dict[str, Job] = {}
        self._process: Any = None
        self._follower: threading.Thread | None = None
        self._lock = threading.Lock()
        self._working = False
        """Whether the process of a job is there: what it has to say it says before it ends."""
        self._closed = False

    def routes(self) -> list[BaseRoute]:
        return [
            Route("/api/jobs", self._begin, methods=["POST"]),
            Route("/api/jobs/{id}", self._look, methods=["GET"]),
            Route("/api/jobs/{id}", self._stop, methods=["DELETE"]),
        ]

    async def _begin(self, request: Request) -> Response:
        told = await read_json(request)
        what, poses, settings = told.get("what"), told.get("poses", []), told.get("settings", {})
        if what not in WHATS or not isinstance(settings, dict):
            raise Refused(400, "That is no job.", do=f"It is one of {', '.join(WHATS)}.")
        if not isinstance(poses, list) or len(poses) > MOST_POSES or not all(isinstance(one, str) for one in poses):
            raise Refused(400, "That is no list of poses.")
        return JSONResponse({"job": self.begin(what, [self.folder.pose(one).path for one in poses], settings).id})

    async def _look(self, request: Request) -> Response:
        return JSONResponse(self.job(request.path_params["id"]).plain())

    async def _stop(self, request: Request) -> Response:
        job = self.job(request.path_params["id"])
        self.stop(job)
        return JSONResponse(job.plain())

    def job(self, asked: str) -> Job:
        """The job of this id.

        Raises
        ------
        Refused
            If there is none.
        """
        if asked not in self._jobs:
            raise Refused(404, "This job is not known any more.", do="Start it again.")
        return self._jobs[asked]

    def begin(self, what: str, poses: list[Path], settings: dict[str, Any]) -> Job:
        """Start a job.

        Raises
        ------
        Refused
            If another one is running, or the program is about to end.
        """
        if self._closed or self._working:
            raise Refused(409, "Something else is being worked out.", do="Wait until it is done, or stop it.")
        context = get_context("spawn")
        heard, says = context.Pipe(duplex=False)
        job = Job(secrets.token_hex(8), what)
        self._process = context.Process(target=_work, args=(says, what, self.folder.path, poses, settings))
        self._process.start()
        self._working = True
        says.close()
        self._jobs[job.id] = job
        for old in list(self._jobs)[:-KEPT]:
            del self._jobs[old]
        self._follower = threading.Thread(target=self._follow, args=(job, self._process, heard), daemon=True)
        self._follower.start()
        return job

    def stop(self, job: Job) -> None:
        """Stop a job that is running; nothing half-written is left."""
        with self._lock:
            if job.state == "running":
                job.state = "stopped"
                self._process.terminate()

    def close(self) -> None:
        """Stop what is running, wait until it has tidied up, and begin nothing any more."""
        self._closed = True
        for job in self._jobs.values():
            self.stop(job)
        if self._follower is not None:
            self._follower.join(TIDY_S)
            if self._process.is_alive():
                self._process.kill()
                self._process.join()

    def _follow(self, job: Job, process: Any, heard: Connection) -> None:
        """Listen to the process until it ends; only then is the job over, and another one may begin."""
        over: tuple[State, Any] | None = None
        with contextlib.suppress(EOFError, OSError), heard:
            while True:
                kind, *told = heard.recv()
                if kind != "doing":
                    over = (kind, told[0])
                    continue
                with self._lock:
                    if job.state == "running":
                        job.doing, job.done, job.total = told
        process.join()
        with self._lock:
            self._working = False
            if job.state != "running":
                return
            job.state, told_last = over or ("failed", _ENDED)
            if job.state == "done":
                job.result = told_last
            else:
                job.error = told_last


async def read_json(request: Request) -> dict[str, Any]:
    """What a request brings along as a JSON object.

    Raises
    ------
    Refused
        If it is none.
    """
    try:
        told = json.loads(await request.body())
    except (ValueError, RecursionError):
        told = None
    if not isinstance(told, dict):
        raise Refused(400, "That could not be read.", do="Load the page again.")
    return told


# ------------------------------------------------------------------------------------------------- in the job's process


def _work(says: Connection, what: str, folder: Path, poses: list[Path], settings: dict[str, Any]) -> None:
    """Do the work and say how far it is; deaf to Ctrl-C, which the server hears and passes on in its own way."""
    signal.signal(signal.SIGINT, signal.SIG_IGN)
    signal.signal(signal.SIGTERM, _stopped)
    threading.Thread(target=leave_with_parent, daemon=True).start()
    with contextlib.suppress(BrokenPipeError, KeyboardInterrupt):
        says.send(_done(says, what, folder, poses, settings))


def _done(says: Connection, what: str, folder: Path, poses: list[Path], settings: dict[str, Any]) -> tuple[Any, ...]:
    def doing(words: str, done: int, total: int) -> None:
        says.send(("doing", words, done, total))

    try:
        from silhouette.live.work import WORK

        work: Callable[..., Any] = WORK[what]
        return "done", work(folder, poses, settings, doing)
    except SilhouetteError as error:
        return "failed", str(error)
    except MemoryError:
        return "failed", "This needs more memory than there is. Take fewer or smaller pictures."
    except OSError as error:
        return "failed", f"{error.strerror or error}. Nothing half-written was left behind."
    except Exception as error:
        return "failed", f"This is a fault of the program ({type(error).__name__}). Nothing half-written was left."


def _stopped(number: int, _: object) -> None:
    signal.signal(signal.SIGTERM, signal.SIG_IGN)
    raise KeyboardInterrupt(number)
