"""One open door: uvicorn behind a listening socket, with the patience that it has not itself.

Whoever connects and says nothing is hung up on; of those who have not shown a cookie yet only a few are kept, so that
who has one always gets through.
"""

from __future__ import annotations

import asyncio
import contextlib
import socket
import ssl
from collections.abc import Callable, Iterator
from functools import partial
from typing import Any

import h11
import uvicorn
from starlette.types import ASGIApp
from uvicorn.protocols.http.h11_impl import H11Protocol

from silhouette.live.guard import Door, Guard
from silhouette.live.messages import HEAD, MOST_FRAME

HEAD_S = 10.0
"""Seconds for the head of a request to arrive."""
STRANGERS = 48
"""Connections that have not shown a cookie; one more, and the one that has been open longest goes."""
OPEN = 160
"""Connections of a door that are answered, and requests; more are told to come again."""
BACKLOG = 256
"""Connections that the system takes in at a time."""
GRACE_S = 3
"""Seconds that what is being answered has when the door closes."""


class Crowd:
    """Who is connected and has not shown a cookie yet; before TLS, who has not even greeted."""

    def __init__(self) -> None:
        self._strangers: dict[Any, Callable[[], None]] = {}

    def came(self, client: Any, hang_up: Callable[[], None]) -> None:
        """Somebody new, or the same one greater by a step; of too many the one that came first has to go."""
        self._strangers.pop(client, None)
        while len(self._strangers) >= STRANGERS:
            self._strangers.pop(next(iter(self._strangers)))()
        self._strangers[client] = hang_up

    def known(self, client: Any) -> None:
        """This one showed a cookie, or has gone."""
        self._strangers.pop(tuple(client or ()), None)


class _Gate(socket.socket):
    """A listening socket that says who connects before the greeting of TLS, for which nobody else is counted."""

    crowd: Crowd

    @classmethod
    def before(cls, at: socket.socket, crowd: Crowd) -> _Gate:
        gate = cls(at.family, at.type, at.proto, at.detach())
        gate.crowd = crowd
        return gate

    def accept(self) -> tuple[socket.socket, Any]:
        line, client = super().accept()
        self.crowd.came(client, partial(_hang_up, line))
        return line, client


def _hang_up(line: socket.socket) -> None:
    with contextlib.suppress(OSError):  # closed already
        line.shutdown(socket.SHUT_RDWR)


class Listening:
    """A door that stands open from :meth:`run` until :meth:`close`.

    Parameters
    ----------
    app : what answers behind the guard
    door : who may come in
    at : the listening socket, bound to the door's address
    tls : for a door of https
    """

    def __init__(self, app: ASGIApp, door: Door, at: socket.socket, tls: ssl.SSLContext | None = None) -> None:
        crowd = Crowd()
        door.known = crowd.known
        meet: Any = partial(_Patient, crowd)
        config = uvicorn.Config(
            Guard(app, door), http=meet, ws="websockets-sansio", loop="asyncio", lifespan="off",
            log_config=None, log_level="critical", access_log=False, proxy_headers=False, server_header=False,
            ws_max_size=MOST_FRAME + HEAD.size, ws_per_message_deflate=False,
            limit_concurrency=OPEN, backlog=BACKLOG, timeout_keep_alive=30, timeout_graceful_shutdown=GRACE_S,
            h11_max_incomplete_event_size=16384,
            ssl_context_factory=None if tls is None else lambda config, default: tls,
        )
        self._at, self._server = at if tls is None else _Gate.before(at, crowd), _Quiet(config)

    async def run(self) -> None:
        """Answer until closed."""
        await self._server.serve(sockets=[self._at])

    def close(self) -> None:
        """Take in nobody any more, and let :meth:`run` end once what is being answered is done."""
        self._server.should_exit = True


class _Quiet(uvicorn.Server):
    """Signals are no matter of the server: the program has its own way with them."""

    @contextlib.contextmanager
    def capture_signals(self) -> Iterator[None]:
        yield


class _Patient(H11Protocol):
    """Waits so long for a request, and no longer."""

    def __init__(self, crowd: Crowd, **given: Any) -> None:
        super().__init__(**given)
        self._crowd, self._ends = crowd, None

    _ends: asyncio.TimerHandle | None

    def connection_made(self, transport: Any) -> None:
        super().connection_made(transport)
        self._crowd.came(self.client, transport.abort)
        self._wait()

    def data_received(self, data: bytes) -> None:
        super().data_received(data)
        if self.conn.their_state is h11.IDLE:
            self._wait()
        else:
            self._forget()

    def connection_lost(self, exc: Exception | None) -> None:
        self._forget()
        self._crowd.known(self.client)
        super().connection_lost(exc)

    def _wait(self) -> None:
        """The head of a request is to come, or has begun to."""
        if self._ends is None:
            self._ends = self.loop.call_later(HEAD_S, self.transport.abort)

    def _forget(self) -> None:
        if self._ends is not None:
            self._ends.cancel()
            self._ends = None
