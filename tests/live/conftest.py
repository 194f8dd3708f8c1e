"""Pages served for tests, behind the doors that stand before them for people."""

from __future__ import annotations

import asyncio
import json
import socket
import threading
from collections.abc import Callable, Iterator
from http.client import HTTPConnection
from pathlib import Path
from typing import Any

import pytest

from silhouette.live import server
from silhouette.live.folder import Folder
from silhouette.live.house import House
from silhouette.live.listening import Listening


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


class Opened:
    """The pages of a folder, open on a port of the loopback address as ``silhouette open`` opens them."""

    def __init__(self, folder: Path) -> None:
        self._at = socket.create_server(("127.0.0.1", 0))
        self.port = int(self._at.getsockname()[1])
        self.host = f"127.0.0.1:{self.port}"
        self.origin = f"http://{self.host}"
        self.house = House.of(Folder(folder), self.port)
        self.door = server.door_of(self.house)
        self.cookie = f"{self.door.cookie}={self.house.keys.cookies.new()}"
        self._listening = Listening(server.app_of(self.house), self.door, self._at)
        self._thread = threading.Thread(target=lambda: asyncio.run(self._listening.run()), daemon=True)
        self._thread.start()

    def close(self) -> None:
        self._listening.close()
        self._thread.join(60)
        self.house.close()
        self._at.close()

    def ask(
        self, method: str, path: str, body: Any = None, *, cookie: str | None = "", without: str = "", **headers: str
    ) -> tuple[int, dict[str, str], bytes]:
        """(status, headers, body) of one request, with the cookie unless another or None is given.

        Headers are given with underscores, ``without`` leaves one out that is sent else.
        """
        sent = {"host": self.host, "cookie": self.cookie if cookie == "" else cookie}
        sent |= {name.replace("_", "-"): value for name, value in headers.items()}
        line = HTTPConnection("127.0.0.1", self.port, timeout=60)
        try:
            line.putrequest(method, path, skip_host=True, skip_accept_encoding=True)
            data = body if body is None or isinstance(body, bytes) else json.dumps(body).encode()
            for name, value in sent.items():
                if value is not None and name != without:
                    line.putheader(name, value)
            if data is not None and "content-length" not in sent:
                line.putheader("content-length", str(len(data)))
            line.endheaders(data)
            answer = line.getresponse()
            return answer.status, {k.casefold(): v for k, v in answer.getheaders()}, answer.read()
        finally:
            line.close()

    def told(self, method: str, path: str, body: Any = None, status: int = 200, **how: Any) -> Any:
        """What a request that ends so is told, as data."""
        got, _, text = self.ask(method, path, body, **how)
        assert got == status, text
        return json.loads(text)

    def raw(self, data: bytes = b"") -> socket.socket:
        """A connection on which these bytes were sent."""
        line = socket.create_connection(("127.0.0.1", self.port), timeout=60)
        line.sendall(data)
        return line

    def watch(self, **headers: str) -> Any:
        """A socket to the stage, as a page opens it."""
        from websockets.sync.client import connect

        sent = {"origin": self.origin, "cookie": self.cookie} | headers
        return connect(f"ws://{self.host}/api/stage", origin=sent.pop("origin"), additional_headers=sent, proxy=None,
                       open_timeout=60, close_timeout=5, max_size=None, legacy=True)


@pytest.fixture
def opened(tmp_path: Path) -> Iterator[Opened]:
    """The pages of the folder ``studio``, open until the test is over."""
    pages = Opened(tmp_path / "studio")
    yield pages
    pages.close()
