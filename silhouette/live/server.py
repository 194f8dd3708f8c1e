"""The server behind ``silhouette open``: what can be asked of it, and how it starts and ends.

A page is made from a template of ``page/`` (see ``house.py``); who has not entered yet gets ``enter.html``, which
exchanges the key in the address for a cookie and loads the page again. Everything under ``/api/`` is for those who have
entered. Each module brings its own routes; ``guard.py`` stands before all of them.
"""

from __future__ import annotations

import asyncio
import os
import signal
import socket
import threading
import traceback
from collections.abc import Callable, Iterator
from contextlib import contextmanager
from pathlib import Path
from typing import Any

from starlette.applications import Starlette
from starlette.exceptions import HTTPException
from starlette.requests import Request
from starlette.responses import JSONResponse, RedirectResponse, Response
from starlette.routing import BaseRoute, Route

from silhouette.errors import SilhouetteError
from silhouette.live import line, phone, poses, uploads
from silhouette.live.browser import forget, show_in_browser
from silhouette.live.folder import Folder
from silhouette.live.guard import Door, Refused, refusal
from silhouette.live.house import House, file_of, page
from silhouette.live.listening import Listening
from silhouette.live.shots import put_right
from silhouette.writing import alone_in

SAID = {404: "There is no such page.", 405: "That cannot be done here."}


def app_of(house: House) -> Starlette:
    """The application that answers behind every door."""
    routes: list[BaseRoute] = [
        Route("/", front),
        Route("/live", page("live")),
        Route("/enter", enter(house), methods=["POST"]),
        Route("/page/{name}", file_of),
        *house.stage.routes(),
        *house.jobs.routes(),
        *poses.routes(house),
        *uploads.routes(house),
        *line.routes(house),
        *phone.routes(house),
    ]
    told: dict[Any, Any] = {kind: telling(house) for kind in (SilhouetteError, OSError, HTTPException, Exception)}
    house.app = Starlette(routes=routes, exception_handlers=told)
    return house.app


def front(request: Request) -> Response:
    """The first page; through the second door that is the phone's own."""
    door: Door = request.scope["door"]
    return page("choose")(request) if door.scheme == "http" else RedirectResponse("/phone", status_code=303)


def door_of(house: House) -> Door:
    """The door on the loopback address."""
    hosts = frozenset({f"127.0.0.1:{house.port}", f"localhost:{house.port}"})
    return Door("http", hosts, f"silhouette-{house.port}", house.keys.cookies.know)


def enter(house: House) -> Callable[[Request], Any]:
    """The key in, a cookie out."""
    async def give(request: Request) -> Response:
        cookie = house.keys.enter((await request.body())[:200].decode("utf-8", "replace"))
        if cookie is None:
            tired = house.keys.tired()
            raise Refused(429 if tired else 403, "This is not the key.", do="Open the address that the program printed."
                          if not tired else "Wait a minute, then open the address that the program printed.")
        answer = JSONResponse({"entered": True})
        door: Door = request.scope["door"]
        answer.set_cookie(door.cookie, cookie, httponly=True, samesite="strict", secure=door.scheme == "https")
        return answer

    return give


def telling(house: House) -> Callable[[Request, Exception], Response]:
    """What is answered where something goes wrong: one sentence, without where the folder lies, and no name in any
    log. With SILHOUETTE_TRACEBACK set it is shown where in the program it was."""
    def tell(request: Request, error: Exception) -> Response:
        if isinstance(error, HTTPException):
            words = SAID.get(error.status_code, error.detail)
            return JSONResponse({"error": words}, status_code=error.status_code, headers=error.headers)
        words = house.folder.said(error)
        if isinstance(error, SilhouetteError):
            return refusal(error, words=words)
        if os.environ.get("SILHOUETTE_TRACEBACK"):
            traceback.print_exception(error)
        return JSONResponse({"error": words}, 507 if isinstance(error, OSError) else 500)

    return tell


# ------------------------------------------------------------------------------------------------------ start and end


def serve(folder: Path, port: int = 0, *, browser: bool = True, by_phone: bool = False) -> None:
    """Serve the pages of this folder on the loopback address until stopped.

    With ``browser`` the page is opened in the person's own; with ``by_phone`` the second door is opened too.

    Raises
    ------
    OutputError
        If the folder cannot be used, or is open already.
    SilhouetteError
        If the port is taken.
    KeyboardInterrupt
        When a signal said to stop, with its number, after all has been put away.
    """
    place = Folder(folder)
    with alone_in(place.path), listen(port) as at, stopping() as stop:
        forget(place.path)
        put_right([pose.path for pose in place.poses() if pose.kind == "stills"])
        house = House.of(place, at.getsockname()[1])
        try:
            app_of(house)
            asyncio.run(_until(stop, house, at, browser, by_phone))
        finally:
            house.close()
    if stop.number:
        raise KeyboardInterrupt(stop.number)  # as everywhere: the command line makes its exit code of it


async def _until(stop: Stop, house: House, at: socket.socket, browser: bool, by_phone: bool) -> None:
    """Answer until a signal comes."""
    assert house.app is not None
    listening = Listening(house.app, door_of(house), at)
    stop.heard_in(asyncio.get_running_loop())
    running = asyncio.create_task(listening.run())
    address = f"http://127.0.0.1:{house.port}/#{house.keys.key}"
    try:
        print(f"Open {address}", flush=True)
        if by_phone:
            await house.phone.open()
            print(house.phone.words(), flush=True)
        if browser:
            house.at_end.append(show_in_browser(house.folder.path, address))
        await asyncio.wait([running, asyncio.create_task(stop.came.wait())], return_when=asyncio.FIRST_COMPLETED)
    finally:
        await asyncio.to_thread(house.jobs.close)
        await house.phone.shut()
        listening.close()
        await running


@contextmanager
def listen(port: int) -> Iterator[socket.socket]:
    """A socket on the loopback address, for this computer alone.

    Raises
    ------
    SilhouetteError
        If the port is taken or not ours to take.
    """
    try:
        at = socket.create_server(("127.0.0.1", port))
    except (OSError, OverflowError) as error:
        why = getattr(error, "strerror", None) or "there is no such port"
        raise SilhouetteError(f"Port {port} cannot be used ({why}).", do="Give another with --port, or none.") from None
    with at:
        yield at


class Stop:
    """A signal to stop, heard in the server's thread."""

    def __init__(self) -> None:
        self.number = 0
        self.came = asyncio.Event()
        self._loop: asyncio.AbstractEventLoop | None = None

    def heard_in(self, loop: asyncio.AbstractEventLoop) -> None:
        self._loop = loop
        if self.number:
            self.came.set()

    def __call__(self, number: int, _: object) -> None:
        self.number = self.number or number
        if self._loop is not None and not self._loop.is_closed():
            self._loop.call_soon_threadsafe(self.came.set)


@contextmanager
def stopping() -> Iterator[Stop]:
    """While the server runs, signals to stop only say so, and it puts everything away in its own order."""
    stop = Stop()
    if threading.current_thread() is not threading.main_thread():
        yield stop
        return
    named = [getattr(signal, name) for name in ("SIGINT", "SIGTERM", "SIGHUP", "SIGBREAK") if hasattr(signal, name)]
    before = {one: was for one in named if (was := signal.getsignal(one)) not in (signal.SIG_IGN, None)}
    try:
        for one in before:
            signal.signal(one, stop)
        yield stop
    finally:
        for one, was in before.items():
            signal.signal(one, was)
