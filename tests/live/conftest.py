"""Pages served for tests, behind the doors that stand before them for people."""

from __future__ import annotations

import asyncio
import json
import socket
import ssl
import threading
from collections.abc import Callable, Iterator
from http.client import HTTPConnection, HTTPSConnection
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
        door = Door("http", frozenset({f"127.0.0.1:{port}"}), "any", lambda _: True, free=("/*",))
        listening = Listening(app, door, at)
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
                       open_timeout=60, close_timeout=5, max_size=None)


@pytest.fixture
def opened(tmp_path: Path) -> Iterator[Opened]:
    """The pages of the folder ``studio``, open until the test is over."""
    pages = Opened(tmp_path / "studio")
    yield pages
    pages.close()


class Client:
    """Somebody who asks through one door, with a cookie jar of their own; every request is a connection of its own."""

    def __init__(self, port: int, tls: ssl.SSLContext | None = None, cookie: str = "") -> None:
        self.port, self.tls, self.cookie = port, tls, cookie
        self.head: Any = {}

    def ask(self, method: str, path: str, body: Any = None, **heads: str) -> tuple[int, Any]:
        """Status and JSON of the answer, or its text; its headers are kept in ``head``."""
        line = (HTTPConnection("127.0.0.1", self.port, timeout=60) if self.tls is None else
                HTTPSConnection("127.0.0.1", self.port, timeout=60, context=self.tls))
        given = {"Cookie": self.cookie} if self.cookie else {}
        data = body if body is None or isinstance(body, bytes) else json.dumps(body)
        try:
            line.request(method, path, data, {**given, **{k.replace("_", "-"): v for k, v in heads.items()}})
            answer = line.getresponse()
            text, self.head = answer.read().decode(), answer.headers
        finally:
            line.close()
        if "set-cookie" in self.head:
            self.cookie = self.head["set-cookie"].split(";")[0]
        return answer.status, json.loads(text) if "json" in self.head.get("content-type", "") else text


class Home:
    """A whole house behind its own door, in a thread of its own, on a computer whose network is the loopback one."""

    def __init__(self, path: Path) -> None:
        from silhouette.live.folder import Folder
        from silhouette.live.house import House
        from silhouette.live.listening import Listening
        from silhouette.live.server import app_of, door_of

        self._at = socket.create_server(("127.0.0.1", 0))
        self.port = int(self._at.getsockname()[1])
        self.house = House.of(Folder(path), self.port)
        self.folder: Path = self.house.folder.path
        self._listening = Listening(app_of(self.house), door_of(self.house), self._at)
        self._thread = threading.Thread(target=lambda: asyncio.run(self._run()), daemon=True)
        self._thread.start()
        self.here = Client(self.port)
        assert self.here.ask("POST", "/enter", self.house.keys.key.encode())[0] == 200

    async def _run(self) -> None:
        self._loop = asyncio.get_running_loop()
        await self._listening.run()

    def open(self) -> Client:
        """Open the phone's door, and somebody before it who has the certificate."""
        status, told = self.here.ask("POST", "/api/phone", {"on": True})
        assert status == 200 and told["on"], told
        return self.phone()

    def phone(self) -> Client:
        """Somebody more before the phone's door."""
        door = self.house.phone
        return Client(door.port, ssl.create_default_context(cadata=door.certificate.pem.decode()))

    def close(self) -> None:
        asyncio.run_coroutine_threadsafe(self.house.phone.shut(), self._loop).result(60)
        self._listening.close()
        self._thread.join(60)
        self._at.close()
        self.house.close()


@pytest.fixture
def home(tmp_path: Path, monkeypatch: pytest.MonkeyPatch) -> Iterator[Home]:
    """A :class:`Home` whose folder is empty."""
    from silhouette.live import phone
    from silhouette.live.own_addresses import OwnAddress

    monkeypatch.setattr(phone, "own_addresses", lambda: (OwnAddress("127.0.0.1", "lo"), OwnAddress("127.0.0.2", "lo")))
    home = Home(tmp_path / "studio")
    yield home
    home.close()
