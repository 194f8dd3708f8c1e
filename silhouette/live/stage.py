"""The stage: frames of a camera go to the one session, in one thread; answers go to everybody who watches."""

from __future__ import annotations

import asyncio
import json
from concurrent.futures import ThreadPoolExecutor
from dataclasses import fields
from typing import Any

import cv2
import numpy as np
from starlette.routing import BaseRoute, WebSocketRoute
from starlette.websockets import WebSocket, WebSocketDisconnect

from silhouette.live.messages import HEAD, Frame, Order, Seen, without_nan
from silhouette.live.session import Session


class Stage:
    """Joins the sockets of the pages and the session."""

    def __init__(self) -> None:
        self.session = Session()
        self.thread = ThreadPoolExecutor(1, thread_name_prefix="stage")
        self.watching: set[WebSocket] = set()

    def routes(self) -> list[BaseRoute]:
        return [WebSocketRoute("/api/stage", self.socket)]

    async def socket(self, socket: WebSocket) -> None:
        """One page: it sends frames if it has the camera, and orders; it is sent what the stage shows."""
        await socket.accept()
        self.watching.add(socket)
        newest: asyncio.Queue[bytes] = asyncio.Queue()
        work = asyncio.create_task(self._look(newest))
        try:
            while True:
                message = await socket.receive()
                if message["type"] == "websocket.disconnect":
                    break
                if message.get("bytes"):
                    newest.put_nowait(message["bytes"])
                elif message.get("text"):
                    await self._order(json.loads(message["text"]))
        except WebSocketDisconnect:
            pass
        finally:
            self.watching.discard(socket)
            work.cancel()

    async def _look(self, waiting: asyncio.Queue[bytes]) -> None:
        loop = asyncio.get_running_loop()
        while True:
            data = await waiting.get()
            quick = not waiting.empty()
            seen = await loop.run_in_executor(self.thread, self._see, data, quick)
            await self.tell(seen.plain())

    def _see(self, data: bytes, quick: bool) -> Any:
        number, seconds, width, height = HEAD.unpack_from(data)
        pixels: Any = cv2.imdecode(np.frombuffer(data, np.uint8, offset=HEAD.size), cv2.IMREAD_COLOR)
        if pixels is None:
            return Seen(number, "no-camera", captured=seconds)
        return self.session.see(Frame(number, seconds, pixels, (width, height)), quick=quick)

    async def _order(self, asked: dict[str, Any]) -> None:
        known = {f.name for f in fields(Order)}
        order = Order(**{name: value for name, value in asked.items() if name in known})
        signals = await asyncio.get_running_loop().run_in_executor(self.thread, self.session.order, order)
        await self.tell({"kind": "told", "signals": [without_nan(vars(s)) for s in signals]})

    async def tell(self, message: dict[str, Any]) -> None:
        """Send a message to every page that watches."""
        text = json.dumps(message)
        for socket in list(self.watching):
            try:
                await socket.send_text(text)
            except (RuntimeError, WebSocketDisconnect):
                self.watching.discard(socket)
