"""The door of the local pages: every request and socket passes here before anything else sees it."""

from __future__ import annotations

from http.cookies import SimpleCookie
from typing import Any

from starlette.responses import PlainTextResponse
from starlette.types import ASGIApp, Message, Receive, Scope, Send

from silhouette.live.keys import Keys

POLICY = ("default-src 'none'; script-src 'self'; style-src 'self' 'unsafe-inline'; img-src 'self' data: blob:; "
          "connect-src 'self'; media-src 'self' blob:; form-action 'none'; base-uri 'none'; frame-ancestors 'none'")
HEADERS = [
    (b"content-security-policy", POLICY.encode()), (b"cache-control", b"no-store"),
    (b"x-content-type-options", b"nosniff"), (b"referrer-policy", b"no-referrer"),
    (b"cross-origin-resource-policy", b"same-origin"), (b"cross-origin-opener-policy", b"same-origin"),
    (b"permissions-policy", b"camera=(self), microphone=(), geolocation=()"),
]


class Guard:
    """Lets in who knows the key, from this computer's own address."""

    def __init__(self, app: ASGIApp, keys: Keys, port: int) -> None:
        self.app, self.keys = app, keys
        self.hosts = {f"127.0.0.1:{port}", f"localhost:{port}"}
        self.cookie = f"silhouette-{port}"

    async def __call__(self, scope: Scope, receive: Receive, send: Send) -> None:
        if scope["type"] == "lifespan":
            return await self.app(scope, receive, send)
        told = {name: value.decode("latin-1") for name, value in scope["headers"]}
        host, origin = told.get(b"host", ""), told.get(b"origin")
        if host not in self.hosts or (origin is not None and origin not in {f"http://{h}" for h in self.hosts}):
            return await self._refuse(scope, receive, send, 403)
        jar = SimpleCookie(told.get(b"cookie", ""))
        scope["entered"] = self.keys.knows(jar[self.cookie].value if self.cookie in jar else None)
        if scope["type"] == "websocket" and (origin is None or not scope["entered"]):
            return await self._refuse(scope, receive, send, 403)
        if scope["path"].startswith("/api/") and not scope["entered"]:
            return await self._refuse(scope, receive, send, 403)

        async def with_headers(message: Message) -> None:
            if message["type"] == "http.response.start":
                message["headers"] = [*message.get("headers", []), *HEADERS]
            await send(message)

        return await self.app(scope, receive, with_headers)

    async def _refuse(self, scope: Scope, receive: Receive, send: Send, status: int) -> None:
        if scope["type"] == "websocket":
            await send({"type": "websocket.close", "code": 1008})
            return
        answer: Any = PlainTextResponse("Open the address that the program printed.\n", status_code=status)
        await answer(scope, receive, send)
