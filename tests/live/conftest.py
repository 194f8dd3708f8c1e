"""Pages served for tests, behind the doors that stand before them for people."""

from __future__ import annotations

import asyncio
import socket
import threading
from collections.abc import Callable, Iterator
from typing import Any

import pytest


@pytest.fixture
def served() -> Iterator[Callable[[Any], int]]:
    """``served(app)`` serves an application to everybody, on a port of the loopback address, until the test is over."""
    from silhouette.live.guard import Door
    from silhouette.live.listening import Listening

    running = []

    def serve(app: Any) -> int:
        at = socket.create_server(("127.0.0.1", 0))
        port = int(at.getsockname()[1])
        listening = Listening(app, Door("http", frozenset({f"127.0.0.1:{port}"}), "any", lambda _: True), at)
        thread = threading.Thread(target=lambda: asyncio.run(listening.run()), daemon=True)
        thread.start()
        running.append((listening, thread, at))
        return port

    yield serve
    for listening, thread, at in running:
        listening.close()
        thread.join(60)
        at.close()
