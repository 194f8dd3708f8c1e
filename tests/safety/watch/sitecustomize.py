"""Put first on PYTHONPATH, this stops every connection that Python code tries to open, and writes the attempt down."""

from __future__ import annotations

import os
import sys
from pathlib import Path

STOPPED = {"socket.connect", "socket.getaddrinfo", "socket.gethostbyname", "socket.gethostbyaddr", "socket.getnameinfo",
           "socket.sendto", "socket.sendmsg", "socket.bind", "urllib.Request", "webbrowser.open"}
_record = Path(os.environ["ATTEMPTS"])
_listens = os.environ.get("LISTENS")
"""The one address at which the program may listen; none without it."""


def _watch(event: str, args: tuple[object, ...]) -> None:
    if event in STOPPED and not (event == "socket.bind" and _listens and args[1][0] == _listens):  # type: ignore[index]
        with _record.open("a", encoding="utf-8") as file:
            file.write(f"{event} {args!r}\n")
        raise ConnectionRefusedError(f"{event} {args!r}")


sys.addaudithook(_watch)
