"""The server behind ``silhouette open``: what can be asked of it, and how it starts and ends.

A page is made here from a template of ``page/``; who has not entered yet gets ``enter.html``, which exchanges the key
in the address for a cookie and loads the page again. Everything under ``/api/`` is for those who have entered.
"""

from __future__ import annotations

import socket
from collections.abc import Callable
from dataclasses import dataclass
from pathlib import Path

import uvicorn
from starlette.applications import Starlette
from starlette.requests import Request
from starlette.responses import HTMLResponse, JSONResponse, Response
from starlette.routing import Mount, Route
from starlette.staticfiles import StaticFiles

from silhouette.live.folder import Folder
from silhouette.live.guard import Guard
from silhouette.live.keys import Keys
from silhouette.live.stage import Stage

PAGE = Path(__file__).parent / "page"


@dataclass
class House:
    """What all routes share."""

    folder: Folder
    keys: Keys
    stage: Stage
    port: int


def app_of(house: House) -> Starlette:
    """The application: pages, what they ask for, and the door before them."""
    routes = [
        Route("/", page(house, "choose")),
        Route("/live", page(house, "live")),
        Route("/enter", enter(house), methods=["POST"]),
        Mount("/page", StaticFiles(directory=PAGE)),
        *house.stage.routes(),
    ]
    app = Starlette(routes=routes)
    app.add_middleware(Guard, keys=house.keys, port=house.port)
    return app


def page(house: House, name: str) -> Callable[[Request], Response]:
    """The page of this name, or the one at which one enters."""
    def show(request: Request) -> Response:
        shown = name if request.scope["entered"] else "enter"
        return HTMLResponse((PAGE / f"{shown}.html").read_text(encoding="utf-8"))

    return show


def enter(house: House) -> Callable[[Request], object]:
    """The key in, a cookie out."""
    async def give(request: Request) -> Response:
        cookie = house.keys.enter((await request.body())[:200].decode("utf-8", "replace"))
        if cookie is None:
            return JSONResponse({"entered": False}, status_code=403)
        answer = JSONResponse({"entered": True})
        answer.set_cookie(f"silhouette-{house.port}", cookie, httponly=True, samesite="strict", path="/")
        return answer

    return give


def serve(folder: Path, port: int = 0, browser: bool = True) -> None:
    """Serve the pages of this folder on the loopback address until stopped."""
    listening = socket.create_server(("127.0.0.1", port))
    port = listening.getsockname()[1]
    house = House(Folder(folder), Keys(), Stage(), port)
    print(f"Open http://127.0.0.1:{port}/#{house.keys.key}", flush=True)
    config = uvicorn.Config(app_of(house), log_level="critical", access_log=False, ws_max_size=2_000_000)
    uvicorn.Server(config).run(sockets=[listening])
