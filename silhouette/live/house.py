"""What all routes of the local pages share, and the pages themselves, made from templates of ``page/``."""

from __future__ import annotations

import contextlib
from collections.abc import Callable
from dataclasses import dataclass, field
from pathlib import Path
from typing import Any

from starlette.requests import Request
from starlette.responses import HTMLResponse, Response
from starlette.types import ASGIApp

from silhouette.live.bench import Bench
from silhouette.live.folder import Folder
from silhouette.live.jobs import Jobs
from silhouette.live.keys import Keys
from silhouette.live.stage import Stage
from silhouette.show import html

SHOW = Path(html.__file__).parent
PAGE = Path(__file__).parent / "page"
KINDS = {".js": "text/javascript", ".css": "text/css", ".svg": "image/svg+xml", ".png": "image/png",
         ".webmanifest": "application/manifest+json"}
"""What is handed out as it is, by its ending."""


@dataclass
class House:
    """The folder, who may come in, the stage and the jobs of this start."""

    folder: Folder
    port: int
    keys: Keys
    stage: Stage
    jobs: Jobs
    app: ASGIApp | None = None
    """What answers behind each door; set by ``server.app_of``."""
    uploads: Any = None
    """What is on its way here; set by ``uploads.py``."""
    lines: Any = None
    """The stage by plain requests; set by ``line.py``."""
    phone: Any = None
    """The second door, for a phone's camera; set by ``phone.py``."""
    at_end: list[Callable[[], None]] = field(default_factory=list)
    """Called once when the program stops, last first; each ends soon."""

    @classmethod
    def of(cls, folder: Folder, port: int) -> House:
        jobs = Jobs(folder)
        stage = Stage(folder, Bench())
        return cls(folder, port, Keys(), stage, jobs, at_end=[stage.close, jobs.close])

    def close(self) -> None:
        """Put everything away, last come first, whatever one of them may run into."""
        with contextlib.ExitStack() as ends:
            for end in self.at_end:
                ends.callback(end)
            self.at_end = []


def page(name: str, **context: Any) -> Callable[[Request], Response]:
    """What answers with the page of this name, or with the one at which one enters.

    In the template each value of ``context`` is known by its name; one that can be called is called with the request
    first, so that it may be of this moment or of this path.
    """
    def show(request: Request) -> Response:
        if not request.scope["entered"]:
            return HTMLResponse(html.render("enter.html"))
        told = {key: value(request) if callable(value) else value for key, value in context.items()}
        return HTMLResponse(html.render(f"{name}.html", **told))

    return show


def files() -> dict[str, Path]:
    """Scripts, styles and signs that pages load from ``/page/NAME``: those of the pages, and of the report's own page.

    What can be asked for is this list: no name from outside ever becomes a path.
    """
    own = {path.name: path for path in PAGE.iterdir() if path.suffix in KINDS}
    return {name: SHOW / name for name in ("report.css", "report.js", "drawing.css")} | own


def file_of(request: Request) -> Response:
    """One of :func:`files`."""
    path = files().get(request.path_params["name"])
    if path is None:
        return Response(status_code=404)
    return Response(path.read_bytes(), media_type=KINDS[path.suffix])
