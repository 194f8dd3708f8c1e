"""The stage by plain requests, for browsers that refuse a socket: those of iPhones open none to a certificate that
nobody vouches for, even where their owner has let the page through.

``POST /api/stage/line`` opens a line, ``POST`` to its own address sends what a socket would (bytes as a frame, anything
else as an order), ``GET`` waits for what the stage says and gives it as a list, ``DELETE`` ends it. To the stage a line
is one more socket.
"""

from __future__ import annotations

import asyncio
import secrets
import time
from typing import Any, cast

from starlette.requests import ClientDisconnect, Request
from starlette.responses import JSONResponse, Response
from starlette.routing import BaseRoute, Route
from starlette.websockets import WebSocket, WebSocketDisconnect

from silhouette.live.guard import Refused
from silhouette.live.house import House

MOST = 4
"""Lines that may be open."""
WAITS = 10.0
"""Seconds for which one that asks waits for news."""
IDLE = 30.0
"""Seconds without a request after which a line has ended."""
UNREAD = 32
"""Messages that wait to be fetched, after which the stage has to wait itself."""
UNSEEN = 8
"""What was sent and not looked at, after which a sender has to wait."""


class Line:
    """What the stage takes for a socket."""

    def __init__(self, door: str) -> None:
        self.id = secrets.token_urlsafe(16)
        self.door = door
        self.touched = time.monotonic()
        self.open = True
        self._said: list[str] = []
        self._heard: asyncio.Queue[dict[str, Any]] = asyncio.Queue(UNSEEN)
        self._news, self._fetched = asyncio.Event(), asyncio.Event()

    # ------------------------------------------------------------------------------------------- as a socket is used

    async def accept(self) -> None:
        """Nothing to do: whoever opened it was let in."""

    async def receive(self) -> dict[str, Any]:
        return await self._heard.get() if self.open or not self._heard.empty() else {"type": "websocket.disconnect"}

    async def send_text(self, text: str) -> None:
        while len(self._said) >= UNREAD and self.open:
            self._fetched.clear()
            await self._fetched.wait()
        if not self.open:
            raise WebSocketDisconnect
        self._said.append(text)
        self._news.set()

    async def close(self, code: int = 1000) -> None:
        self.end()

    # ------------------------------------------------------------------------------------------------ as it is asked

    async def hear(self, message: dict[str, Any]) -> None:
        self.touched = time.monotonic()
        await self._heard.put({"type": "websocket.receive", **message})

    async def news(self) -> str:
        """What was said since, as a JSON list; an empty one where nothing was for a while."""
        self.touched = time.monotonic()
        try:
            async with asyncio.timeout(WAITS):
                await self._news.wait()
        except TimeoutError:
            pass
        self.touched = time.monotonic()
        said, self._said = self._said, []
        if self.open:
            self._news.clear()
        self._fetched.set()
        return f"[{','.join(said)}]"

    def end(self) -> None:
        """Nobody is there any more; whoever waits is told."""
        self.open = False
        self._news.set()
        self._fetched.set()
        if self._heard.full():
            self._heard.get_nowait()
        self._heard.put_nowait({"type": "websocket.disconnect"})


class Lines:
    """All lines to the stage of a house."""

    def __init__(self, house: House) -> None:
        self.house = house
        self._lines: dict[str, tuple[Line, asyncio.Task[None]]] = {}

    def routes(self) -> list[BaseRoute]:
        one = "/api/stage/line/{id}"
        return [Route("/api/stage/line", self._open, methods=["POST"]), Route(one, self._hear, methods=["POST"]),
                Route(one, self._tell, methods=["GET"]), Route(one, self._end, methods=["DELETE"])]

    def end(self, door: str) -> None:
        """End all lines that came through the door with this cookie."""
        for line, _ in self._lines.values():
            if line.door == door:
                line.end()

    async def _open(self, request: Request) -> Response:
        if len(self._lines) >= MOST:
            raise Refused(503, "Too many pages watch the stage.", do="Close one of them.")
        line = Line(request.scope["door"].cookie)
        self._lines[line.id] = line, asyncio.create_task(self._run(line))
        return JSONResponse({"line": line.id})

    async def _run(self, line: Line) -> None:
        stage = asyncio.create_task(self.house.stage.socket(cast(WebSocket, line)))
        try:
            while line.open and not stage.done():
                await asyncio.wait([stage], timeout=1)
                if time.monotonic() - line.touched > IDLE:
                    break
        finally:
            line.end()
            await asyncio.wait([stage], timeout=WAITS)
            stage.cancel()
            del self._lines[line.id]

    async def _hear(self, request: Request) -> Response:
        line = self._of(request)
        try:
            body = await request.body()
        except ClientDisconnect:
            return Response(status_code=499)
        binary = request.headers.get("content-type", "") == "application/octet-stream"
        await line.hear({"bytes": body} if binary else {"text": body.decode("utf-8", "replace")})
        return Response(status_code=204)

    async def _tell(self, request: Request) -> Response:
        return Response(await self._of(request).news(), media_type="application/json")

    async def _end(self, request: Request) -> Response:
        self._of(request).end()
        return Response(status_code=204)

    def _of(self, request: Request) -> Line:
        line, _ = self._lines.get(request.path_params["id"], (None, None))
        if line is None or not line.open or line.door != request.scope["door"].cookie:
            raise Refused(404, "This line has ended.", do="Load the page again.")
        return line


def routes(house: House) -> list[BaseRoute]:
    """The stage of a house by plain requests."""
    house.lines = Lines(house)
    return house.lines.routes()
