"""Pages served for tests, by the server that serves them to people."""

from __future__ import annotations

import socket
import threading
from collections.abc import Callable, Iterator
from typing import Any

import pytest


@pytest.fixture
def served() -> Iterator[Callable[[Any], int]]:
    """``served(app)`` serves an application on a port of the loopback address until the test is over."""
    import uvicorn

    running = []

    def serve(app: Any) -> int:
        listening = socket.create_server(("127.0.0.1", 0))
        server = uvicorn.Server(uvicorn.Config(app, log_level="critical", lifespan="off"))
        thread = threading.Thread(target=server.run, kwargs={"sockets": [listening]}, daemon=True)
        thread.start()
        running.append((server, thread, listening))
        return int(listening.getsockname()[1])

    yield serve
    for server, thread, listening in running:
        server.should_exit = True
        thread.join(60)
        listening.close()
