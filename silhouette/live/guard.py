"""The doors of the local pages: every request and socket passes one before anything else sees it.

A door has its own addresses, its own cookie and its own paths. The one on the loopback address is always open; a second
one, for a phone, is made like it. What is limited here is limited for all: the size of what is sent, how long it may
take, and how many ask at once.
"""

from __future__ import annotations

import asyncio
import time
from collections.abc import Callable
from dataclasses import dataclass, field
from typing import Any, Literal

from starlette.responses import JSONResponse
from starlette.types import ASGIApp, Message, Receive, Scope, Send

from silhouette.errors import SilhouetteError
from silhouette.live.messages import HEAD, MOST_FRAME, MOST_STILL

PIECE = 4 * 1024 * 1024
"""Bytes of one piece of what is sent in pieces, at most."""
SIZES = {"/api/stage/stills/": MOST_STILL, "/api/stage/line/": MOST_FRAME + HEAD.size, "/api/uploads/": PIECE}
"""What a request's body may hold, bytes, by how its path begins."""
SMALL = 65536
"""The same for all others."""
SILENT_S = 20.0
"""Seconds without a byte of a body after which its sender is given up, or without one taken by its reader."""
SLOWEST = 20_000.0
"""Bytes a second, in the mean, below which a body is given up once :data:`SILENT_S` are over."""
AT_ONCE, STRANGERS_AT_ONCE = 32, 12
"""Requests of a door that are answered at a time, of those who have entered and of the others; a browser has six open.
Counted apart, so that nobody outside can keep those inside waiting."""
STRANGER_S = 5.0
"""Seconds that the others have for the key or the code that they send."""


@dataclass
class Door:
    """One way in."""

    scheme: Literal["http", "https"]
    hosts: frozenset[str]
    """What the address bar may show: ``127.0.0.1:8000``."""
    cookie: str
    """Name of its cookie."""
    knows: Callable[[str | None], bool]
    """Whether a cookie's value was given out."""
    paths: tuple[str, ...] = ("/*",)
    """What can be asked for through it; ``*`` at the end stands for anything."""
    free: tuple[str, ...] = ("/page/*", "/enter")
    """What may be asked for without a cookie, beside the pages, which then show how one enters."""
    known: Callable[[Any], None] = field(default=lambda client: None)
    """Told the address of whoever showed a cookie that is right."""

    @property
    def origins(self) -> frozenset[str]:
        return frozenset(f"{self.scheme}://{host}" for host in self.hosts)

    def policy(self) -> str:
        """What its pages may load, and from where: this door alone, and no script that stands in a page."""
        sockets = " ".join(sorted(f"{self.scheme.replace('http', 'ws')}://{host}" for host in self.hosts))
        return ("default-src 'none'; script-src 'self'; style-src 'self' 'unsafe-inline'; img-src 'self' data: blob:; "
                f"font-src data:; connect-src 'self' {sockets}; media-src 'self' blob:; manifest-src 'none'; "
                "form-action 'none'; base-uri 'none'; frame-ancestors 'none'")


class Refused(SilhouetteError):
    """A request that is not taken in. ``status`` is what the answer bears."""

    def __init__(self, status: int, what: str, *, do: str | None = None) -> None:
        super().__init__(what, do=do)
        self.status = status


class Guard:
    """Lets in who shows the door's cookie, from the door's own address, and nothing that is too large or too slow."""

    def __init__(self, app: ASGIApp, door: Door) -> None:
        self.app, self.door, self._open = app, door, {True: 0, False: 0}
        self._headers = [(name.encode(), value.encode()) for name, value in _headers(door).items()]

    async def __call__(self, scope: Scope, receive: Receive, send: Send) -> None:
        if scope["type"] not in ("http", "websocket"):
            return await self.app(scope, receive, send)
        try:
            self._judge(scope)
        except Refused as no:
            return await self._refuse(scope, receive, send, no)
        if scope["type"] == "websocket":
            return await self.app(scope, receive, send)
        entered = scope["entered"]  # a page may show itself to others too, and says so there
        self._open[entered] += 1
        try:
            await self.app(scope, _Body(scope, receive).receive, self._sending(send))
        finally:
            self._open[entered] -= 1

    def _judge(self, scope: Scope) -> None:
        door, told = self.door, _told(scope)
        strange = Refused(403, "This page is not meant for you.", do="Open the address that the program printed.")
        if told.get("host") not in door.hosts or told.get("origin", "") not in {"", *door.origins}:
            raise strange
        if not _within(scope["path"], door.paths):
            raise Refused(404, "There is no such page.")
        if _from_elsewhere(scope, told):
            raise strange
        scope["door"], scope["entered"] = door, any(map(door.knows, _cookies(told.get("cookie", ""), door.cookie)))
        if scope["entered"]:
            door.known(scope.get("client"))
        page = scope["type"] == "http" and scope["method"] in ("GET", "HEAD") and not scope["path"].startswith("/api/")
        if not (scope["entered"] or page or _within(scope["path"], door.free)):
            raise strange
        if scope["type"] == "websocket" and not (scope["entered"] and told.get("origin")):
            raise strange
        if scope["type"] == "http" and self._open[scope["entered"]] >= (
                AT_ONCE if scope["entered"] else STRANGERS_AT_ONCE):
            raise Refused(503, "Too much is asked for at once.", do="Try again in a moment.")

    def _sending(self, send: Send) -> Send:
        async def sent(message: Message) -> None:
            if message["type"] == "http.response.start":
                message = {**message, "headers": [*message.get("headers", []), *self._headers]}
            async with asyncio.timeout(SILENT_S):
                await send(message)

        return sent

    async def _refuse(self, scope: Scope, receive: Receive, send: Send, no: Refused) -> None:
        if scope["type"] == "websocket":
            await send({"type": "websocket.close", "code": 1008})
            return
        await refusal(no)(scope, receive, self._sending(send))


def refusal(no: SilhouetteError, status: int = 400, words: str | None = None, have: int | None = None) -> JSONResponse:
    """The answer to what is refused: a sentence, and how much of a file is here where that helps. Whoever sent too much
    or too slowly is hung up on."""
    status = getattr(no, "status", status)
    told: dict[str, Any] = {"error": words or str(no)} | ({} if have is None else {"have": have})
    return JSONResponse(told, status_code=status,
                        headers={"connection": "close"} if status in (403, 408, 413, 503) else None)


class _Body:
    """What a request brings along, piece by piece, within the limits."""

    def __init__(self, scope: Scope, receive: Receive) -> None:
        self._receive, self._came, self._more = receive, 0, True
        self._began, self._entered = time.monotonic(), scope["entered"]
        self._most = next((most for begins, most in SIZES.items() if scope["path"].startswith(begins)), SMALL)
        self._declared = _told(scope).get("content-length", "0")

    async def receive(self) -> Message:
        if not self._more:  # nothing comes but the end of the connection
            return await self._receive()
        if not self._came:
            self._judge(int(self._declared) if self._declared.isascii() and self._declared.isdigit() else 0)
        left = self._began + SILENT_S + self._came / SLOWEST - time.monotonic()
        if not self._entered:
            left = self._began + STRANGER_S - time.monotonic()
        if left < 0:
            raise Refused(408, "What was sent came too slowly.", do="Try again.")
        try:
            async with asyncio.timeout(SILENT_S if self._entered else left):
                message = await self._receive()
        except TimeoutError:
            raise Refused(408, "What was sent did not come.", do="Try again.") from None
        self._came += len(message.get("body", b""))
        self._more = message["type"] == "http.request" and message.get("more_body", False)
        self._judge(self._came)
        return message

    def _judge(self, size: int) -> None:
        if size > self._most:
            raise Refused(413, f"That is larger than {self._most / 1e6:g} MB, the most that is taken.")


def _told(scope: Scope) -> dict[str, str]:
    """The headers; one that comes twice is as good as none, or two could be told apart by who reads which."""
    found: dict[str, str] = {}
    for raw, value in scope["headers"]:
        name = raw.decode("latin-1")
        twice = name in found and name in ("host", "origin", "content-length", "sec-fetch-site")
        found[name] = "twice" if twice else f"{found[name]}; {value.decode('latin-1')}" if name in found else (
            value.decode("latin-1"))
    return found


def _from_elsewhere(scope: Scope, told: dict[str, str]) -> bool:
    """Whether another page asks. One may be linked to: that shows the page at which one enters, or no cookie goes with
    it at all. Of a socket the origin, which it has to name, says all there is to say."""
    if scope["type"] == "websocket" or told.get("sec-fetch-site", "none") in ("none", "same-origin"):
        return False
    followed = told.get("sec-fetch-mode") == "navigate" and told.get("sec-fetch-dest") == "document"
    return not (followed and scope["method"] == "GET" and not scope["path"].startswith("/api/"))


def _cookies(jar: str, name: str) -> list[str]:
    """The values of all cookies of this name. Others that lie there come from other servers of this computer, and need
    not keep to any form."""
    pairs = [one.strip().partition("=") for one in jar.split(";")]
    return [value for key, _, value in pairs if key == name]


def _within(path: str, allowed: tuple[str, ...]) -> bool:
    return any(path.startswith(one[:-1]) if one.endswith("*") else path == one for one in allowed)


def _headers(door: Door) -> dict[str, str]:
    return {
        "content-security-policy": door.policy(), "cache-control": "no-store", "x-content-type-options": "nosniff",
        "referrer-policy": "no-referrer", "cross-origin-resource-policy": "same-origin",
        "cross-origin-opener-policy": "same-origin", "x-frame-options": "DENY",
        "permissions-policy": "camera=(self), microphone=(), geolocation=(), display-capture=(), usb=(), serial=()",
    }
