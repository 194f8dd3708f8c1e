"""The local pages from outside: rubbish, requests, frames, orders, stills and pieces of files that no page would send.

A case starts ``silhouette open`` on a folder with a pose in it and attacks it for a while, from without and as one who
has entered. Whatever came: it still answers, no answer is a fault of the program, it stops with its sentence, the
pictures are the same to the byte, nothing lies outside the folder, and nothing half-written in it.
"""

from __future__ import annotations

import contextlib
import json
import os
import random
import re
import signal
import socket
import subprocess
import time
from collections.abc import Callable
from http.client import HTTPConnection, HTTPException
from pathlib import Path
from typing import Any

from campaign import mutate, samples, trees
from campaign.harness import Case, patience, run_apart

BLOWS = 120
"""Attacks in one case."""
METHODS = ("GET", "GET", "POST", "POST", "PUT", "PATCH", "DELETE", "HEAD", "OPTIONS", "TRACE", "BREW")
PATHS = (
    "/", "/live", "/phone", "/pair", "/enter", "/page/live.js", "/page/{name}", "/api/poses", "/api/poses/{id}",
    "/api/poses/{id}/check/{name}", "/api/results", "/api/results/report", "/api/results/{name}", "/api/sets",
    "/api/sets/{id}/{name}", "/api/jobs", "/api/jobs/{id}", "/api/uploads", "/api/uploads/{id}",
    "/api/uploads/{id}?from={number}", "/api/phone/check", "/api/phone/check/{id}", "/api/stage",
    "/api/stage/stills/{number}", "/{name}", "/api/{name}",
)  # fmt: skip
NAMES = (
    "", ".", "..", "../../../../etc/passwd", "..\\..\\x", "/etc/passwd", "%2e%2e%2f", "%00", "a\0b", "CON", "nul.jpg",
    "x.", " ", "a" * 5000, "\u202egpj.exe", "\udcff", "😀" * 200, "stop_01.jpg", "empty.jpg", "turn.csv",
    ".silhouette.json", "mine", "results", "checks", "film.mp4", "045.mask.png", "angles.csv", "a\nb", "-rf", "{{7*7}}",
    "<script>", "'; --", "$(id)", "COM1.jpg", "a/b.jpg", "a\\b.jpg",
)  # fmt: skip
NUMBERS = ("0", "-1", "1", "5", "4194304", "99999999999999999999", "1e9", "nan", "٣", "0x10", "")
KEYS = (
    "what", "poses", "settings", "name", "size", "pose", "new", "start", "do", "stop", "stops", "turn", "raised",
    "stops_wanted", "code", "height", "paper", "intents", "arc", "scale", "overwrite", "photographs", "x",
)  # fmt: skip
WORDS = (
    "rank", "read", "check", "export", "mend", "begin", "empty", "skip empty", "take", "undo", "ghost", "want", "close",
    "pause", "go on", "left", "right", "a4", "open", "instead", "after",
)  # fmt: skip
FAULT = re.compile(rb"fault of the program|Traceback|Internal Server Error")


class Attacker:
    """Somebody who has the address, and for half of the time the key."""

    def __init__(self, case: Case, port: int, key: str) -> None:
        self.case, self.dice, self.port = case, case.dice, port
        self.cookie, self.ids = "", ["0" * 16, "x"]
        self._held: list[socket.socket] = []
        self.still, self.frame = samples.still(), samples.still(wide=120, high=160)
        self.cookie = self._ask("POST", "/enter", key.encode())[1]
        self.ids += [pose["id"] for pose in json.loads(self._ask("GET", "/api/poses")[2])]

    def blow(self) -> None:
        """One attack."""
        way = self.dice.choice((self._request, self._request, self._request, self._api, self._api, self._api,
                                self._rubbish, self._trickle, self._upload, self._socket))  # fmt: skip
        with contextlib.suppress(OSError, HTTPException, ValueError):
            way()

    def answers(self) -> bool:
        """Whether the pages are still there, for whoever has entered."""
        with contextlib.suppress(OSError, HTTPException):
            return self._ask("GET", "/api/poses")[0] == 200 and self._ask("GET", "/", cookie="")[0] == 200
        return False

    # -------------------------------------------------------------------------------------------------------- the ways

    def _request(self) -> None:
        """A request that a client library lets through, with anything in it."""
        headers = {"Host": self.dice.choice((f"127.0.0.1:{self.port}",) * 6 + ("evil.example", "", "127.0.0.1"))}
        if self.dice.random() < 0.3:
            name = self.dice.choice(("Origin", "Sec-Fetch-Site", "Range", "Expect", "Cookie", "If-Match", "Connection",
                                     "Transfer-Encoding", "Content-Type", "Upgrade", "X-Forwarded-For"))  # fmt: skip
            headers[name] = self.dice.choice(("null", "cross-site", "bytes=0-", "100-continue", "a=b", "*", "upgrade",
                                              "chunked", "websocket", "http://evil.example", "é" * 300))  # fmt: skip
        self._ask(self.dice.choice(METHODS), self._path(), self._body(), headers=headers)

    def _api(self) -> None:
        """A request as a page makes it, with strange things in it."""
        path = self.dice.choice(("/api/poses", "/api/jobs", "/api/uploads", "/api/phone/check", "/pair"))
        _, _, text = self._ask("POST", path, json.dumps(self._asked()).encode("utf-8", "replace"))
        self._learn(text)

    def _rubbish(self) -> None:
        """Bytes that are no request, or nearly one."""
        whole = f"POST /api/jobs HTTP/1.1\r\nHost: 127.0.0.1:{self.port}\r\nCookie: {self.cookie}\r\n".encode()
        whole += b"Content-Length: 2\r\n\r\n{}"
        with self._line() as line:
            line.sendall(mutate.mutate(self.dice, whole, (self.still, b"\r\n\r\n", b"\0" * 500)))
            line.shutdown(socket.SHUT_WR)
            self._judge(line.recv(65536))

    def _trickle(self) -> None:
        """A request that never ends; what is left of it goes when the case does."""
        size = self.dice.choice((10, 10**10, 10**30))
        head = f"POST /api/jobs HTTP/1.1\r\nHost: 127.0.0.1:{self.port}\r\nCookie: {self.cookie}\r\n"
        line = socket.create_connection(("127.0.0.1", self.port), timeout=10)
        line.sendall(f"{head}Content-Length: {size}\r\n\r\n{{"[: self.dice.randrange(20, 300)].encode())
        self._held.append(line)
        del self._held[:-20]

    def _upload(self) -> None:
        """A file that comes in pieces, some of them where they do not belong."""
        data = mutate.mutate(self.dice, self.still, (b"\0" * 100,)) if self.dice.random() < 0.5 else self.still
        name = self.dice.choice((*NAMES, "a.jpg", "b.jpg", "film.mp4", "empty.jpg"))
        told = {"name": name, "size": len(data), "pose": self.dice.choice(self.ids), "new": self.dice.choice(NAMES)}
        begun = json.loads(self._ask("POST", "/api/uploads", json.dumps(told).encode("utf-8", "replace"))[2])
        if "upload" not in begun:
            return
        at, mark = 0, begun["upload"]
        while at < len(data):
            piece = data[at : at + self.dice.randint(1, len(data))]
            place = at if self.dice.random() < 0.8 else self.dice.choice(NUMBERS)
            done = json.loads(self._ask("PATCH", f"/api/uploads/{mark}?from={place}", piece)[2])
            if self.dice.random() < 0.1:
                self._ask("DELETE", f"/api/uploads/{mark}")
                return
            if done.get("have", at) == at and self.dice.random() < 0.3:
                return
            at = done.get("have", at)

    def _socket(self) -> None:
        """A page before the stage that sends frames, orders and rubbish, and the pictures that it is asked for."""
        from websockets.exceptions import WebSocketException
        from websockets.sync.client import connect

        here: Any = f"http://127.0.0.1:{self.port}"
        with (
            contextlib.suppress(WebSocketException, TimeoutError),
            connect(f"ws://127.0.0.1:{self.port}/api/stage", origin=here, additional_headers={"cookie": self.cookie},
                    proxy=None, open_timeout=20, close_timeout=1) as page,
        ):  # fmt: skip
            page.send(json.dumps({"do": "begin", "pose": self.dice.choice(self.ids)}))
            page.send(json.dumps({"do": "skip empty"}))
            for number in range(self.dice.randint(1, 25)):
                page.send(self._message(number))
                with contextlib.suppress(TimeoutError):
                    while True:
                        told = page.recv(0.05)
                        self._judge(told.encode() if isinstance(told, str) else told)
                        if (frame := json.loads(told).get("take")) is not None:
                            picture = self.still if self.dice.random() < 0.7 else self._spoilt(self.still)
                            self._ask("POST", f"/api/stage/stills/{frame}", picture)

    def _message(self, number: int) -> Any:
        if self.dice.random() < 0.3:
            text = json.dumps(self._asked())
            return text if self.dice.random() < 0.7 else self._spoilt(text.encode()).decode("utf-8", "replace")
        from silhouette.live.messages import HEAD

        data = HEAD.pack(number, number / 12, 240, 320) + self.frame
        return data if self.dice.random() < 0.6 else self._spoilt(data)

    # ----------------------------------------------------------------------------------------------------------- pieces

    def _spoilt(self, data: bytes) -> bytes:
        return mutate.mutate(self.dice, data, (self.still, b"\xff" * 200))

    def _path(self) -> str:
        name = self.dice.choice(NAMES).encode("utf-8", "surrogateescape")
        shown = "".join(chr(b) if 0x21 <= b < 0x7F else f"%{b:02X}" for b in name)
        return self.dice.choice(PATHS).format(name=shown, id=self.dice.choice((*self.ids, shown)),
                                              number=self.dice.choice(("0", "7", "-1", "x")))  # fmt: skip

    def _body(self) -> bytes | None:
        return self.dice.choice((None, b"", b"{}", self.still, self._spoilt(b'{"what": "rank", "poses": []}'),
                                 b" " * 70_000, json.dumps(self._asked()).encode("utf-8", "replace")))  # fmt: skip

    def _asked(self) -> dict[str, Any]:
        told = {key: strange(self.dice, self.ids) for key in self.dice.sample(KEYS, self.dice.randint(0, 6))}
        if self.dice.random() < 0.5:
            told |= {self.dice.choice(("what", "do")): self.dice.choice(WORDS), "pose": self.dice.choice(self.ids)}
        return told

    def _line(self) -> socket.socket:
        return socket.create_connection(("127.0.0.1", self.port), timeout=10)

    def _learn(self, text: bytes) -> None:
        with contextlib.suppress(ValueError, AttributeError):
            told = json.loads(text)
            self.ids += [str(told[key]) for key in ("id", "job", "upload") if told.get(key)]

    def _ask(
        self, method: str, path: str, body: bytes | None = None, *, cookie: str | None = None,
        headers: dict[str, str] | None = None,
    ) -> tuple[int, str, bytes]:
        """(status, cookie that was given, body) of a request."""
        line = HTTPConnection("127.0.0.1", self.port, timeout=20 * patience())
        try:
            line.request(method, path, body, {"Cookie": self.cookie if cookie is None else cookie, **(headers or {})})
            answer = line.getresponse()
            text = answer.read()
            self._judge(text, answer.status)
            return answer.status, (answer.getheader("set-cookie") or "").split(";")[0], text
        finally:
            line.close()

    def _judge(self, text: bytes, status: int = 200) -> None:
        if FAULT.search(text) or (status >= 500 and status not in (503, 507)):
            self.case.find("tracebacks", f"an answer of {status}: {text[:500]!r}")
        if b"root:x:" in text or b"PRIVATE" in text:
            self.case.find("other", f"a file from outside was handed out: {text[:200]!r}")


def strange(dice: random.Random, ids: list[str], depth: int = 3) -> Any:
    """A piece of JSON that nobody should send."""
    if depth and dice.random() < 0.3:
        inside = [strange(dice, ids, depth - 1) for _ in range(dice.randint(0, 4))]
        return inside if dice.random() < 0.5 else dict(zip(dice.sample(KEYS, len(inside)), inside, strict=True))
    return dice.choice((None, True, False, 0, -1, 2**70, 1e308, float("nan"), 1.5, dice.choice(NAMES),
                        dice.choice(WORDS), dice.choice(ids), dice.choice(NUMBERS)))  # fmt: skip


def run(case: Case) -> None:
    """One start of the program, some attacks, and its end."""
    top = case.fresh()
    studio = top / "studio"
    samples.pose(studio / "mine")
    (studio / "film.mp4").write_bytes(samples.clip(next(iter(samples.clips()))))
    (top / "secret.txt").write_text("PRIVATE")
    before = trees.tree(top)

    def meanwhile(child: subprocess.Popen[bytes]) -> None:
        if (found := _address(child)) is None:
            return
        attacker = Attacker(case, *found)
        for _ in range(BLOWS):
            attacker.blow()
        if not _soon(attacker.answers):
            case.find("hangs", "the pages do not answer any more")
        attacker._held.clear()
        child.send_signal(case.dice.choice((signal.SIGINT, signal.SIGTERM)))

    told = run_apart(case.note(["open", studio, "--no-browser"]), meanwhile=meanwhile, limit=60)
    case.judge(told, (130, 143))
    after = trees.tree(top)
    files = {path: look for path, look in before.items() if look[0] == "file"}
    case._diff(files, {path: after[path] for path in files if path in after})
    for path in after:
        name = Path(path).name
        if not Path(path).is_relative_to(studio) and path not in before:
            case.find("leftovers", f"outside the folder: {path}")
        elif name.startswith(".") and name.endswith("silhouette-part") and not name.startswith(".arriving-"):
            case.find("leftovers", f"half-written: {path}")
        elif path not in before and after[path][0] in ("file", "folder") and after[path][1] & 0o077:
            case.find("other", f"others may read {path}")
    case.scratch_is_empty()


def _address(child: subprocess.Popen[bytes]) -> tuple[int, str] | None:
    """Port and key that the program printed; None where it has ended."""
    out = Path(os.environ["CAMPAIGN_STACK"] + "apart-out")
    found: list[re.Match[bytes]] = []

    def printed() -> bool:
        found.extend(re.finditer(rb"Open http://127\.0\.0\.1:(\d+)/#(\S+)\n", out.read_bytes()))
        return bool(found) or child.poll() is not None

    return (int(found[0][1]), found[0][2].decode()) if _soon(printed) and found else None


def _soon(true: Callable[[], bool]) -> bool:
    """Whether something becomes true before a run counts as hung."""
    until = time.monotonic() + 30 * patience()
    while not true():
        if time.monotonic() > until:
            return False
        time.sleep(0.05)
    return True
