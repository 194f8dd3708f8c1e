"""The phone as camera: a second door, on this computer's own address in its network, for one paired phone.

It is shut unless somebody at this computer opens it. What comes through it is encrypted (TLS). The phone is let in by a
code of six digits that is shown here and typed there; from then on no other phone is. The door has its own paths: what
it does not list cannot be asked for from outside.

``GET /api/phone`` says how the door stands, ``POST`` opens and shuts it; both are for this computer alone. A phone asks
at ``/pair`` to be let in, sends what it has to ``/api/uploads``, and has it checked at ``/api/phone/check``.
"""

from __future__ import annotations

import asyncio
import contextlib
import secrets
import socket
import sys
import time
from collections.abc import Callable
from functools import lru_cache
from typing import Any

from starlette.concurrency import run_in_threadpool
from starlette.requests import Request
from starlette.responses import JSONResponse, Response
from starlette.routing import BaseRoute, Route

from silhouette.live.certificate import Certificate, certificate_for
from silhouette.live.guard import Door, Refused
from silhouette.live.house import House, page
from silhouette.live.jobs import read_json
from silhouette.live.keys import Cookies
from silhouette.live.listening import Listening
from silhouette.live.own_addresses import own_addresses

PORT = 8443
"""The port that is tried first; any free one serves as well."""
TRIES = 5
"""Wrong codes after which none is taken until a new one is made."""
LASTS = 600.0
"""Seconds for which a code can be used."""
COOKIE = "__Host-silhouette-phone"
"""Its name binds it to this one address, and to TLS."""
PATHS = ("/", "/phone", "/pair", "/live", "/page/*", "/api/stage", "/api/stage/*", "/api/poses", "/api/uploads",
         "/api/uploads/*", "/api/phone/check", "/api/phone/check/*")
"""All that can be asked for through the phone's door."""
FREE = ("/page/*", "/pair")
"""What can be asked for before the phone is paired, beside the page on which the code is typed."""


def routes(house: House) -> list[BaseRoute]:
    """What can be asked of the phone's door of a house, which stays shut for now."""
    house.phone = Phone(house)
    house.at_end.append(house.phone.close)
    return house.phone.routes()


class Pairing:
    """The code that lets one phone in, once."""

    def __init__(self, now: Callable[[], float] = time.monotonic) -> None:
        self._now = now
        self.cookies = Cookies()
        self.paired = False
        self.renew()

    def renew(self) -> None:
        """Make a new code. A phone that is paired stays so."""
        self.code = f"{secrets.randbelow(1_000_000):06d}"
        self.left, self._until = TRIES, self._now() + LASTS

    def forget(self) -> None:
        """Let the phone go, and make a new code."""
        self.cookies.forget()
        self.paired = False
        self.renew()

    @property
    def seconds(self) -> float:
        """For how long the code can still be used; 0 where it cannot."""
        return max(0.0, self._until - self._now()) if self.left and not self.paired else 0.0

    def enter(self, code: str) -> str:
        """The phone's cookie for the right code.

        Raises
        ------
        Refused
            If another phone is paired, the code is wrong, too old, or was tried too often.
        """
        if self.paired:
            raise Refused(409, "Another phone is paired already.",
                          do="To take this one, choose “Pair another phone” on the computer.")
        if not self.left:
            raise Refused(403, "Too many wrong codes were typed.", do="Make a new code on the computer.")
        if self._now() >= self._until:
            raise Refused(403, "This code is too old.", do="Make a new code on the computer.")
        if not secrets.compare_digest(code.encode("utf-8", "replace"), self.code.encode()):
            self.left -= 1
            tries = "1 try is" if self.left == 1 else f"{self.left} tries are"
            raise Refused(403, "This is not the code.", do=f"Look at the computer: {tries} left." if self.left else
                          "Make a new code on the computer.")
        self.paired = True
        return self.cookies.new()


class Phone:
    """The second door of a house: open or shut."""

    def __init__(self, house: House) -> None:
        self.house = house
        self.pairing = Pairing()
        self.address, self.port = "", 0
        self.certificate: Certificate | None = None
        self._listening: Listening | None = None
        self._running: asyncio.Task[None] | None = None
        self._turning = asyncio.Lock()
        self._checks: set[str] = set()

    def routes(self) -> list[BaseRoute]:
        return [
            Route("/phone", self._page),
            Route("/pair", self._pair, methods=["POST"]),
            Route("/api/phone", self._look, methods=["GET"]),
            Route("/api/phone", self._ask, methods=["POST"]),
            Route("/api/phone/check", self._check, methods=["POST"]),
            Route("/api/phone/check/{id}", self._checked, methods=["GET"]),
            Route("/api/phone/check/{id}", self._stop, methods=["DELETE"]),
        ]

    # ------------------------------------------------------------------------------------------------------- the door

    @property
    def on(self) -> bool:
        """Whether the door stands open."""
        return self._listening is not None

    @property
    def url(self) -> str:
        """The address that the phone opens; empty while the door is shut."""
        return f"https://{self.address}:{self.port}/phone" if self.on else ""

    async def open(self, address: str = "") -> None:
        """Open the door on this address of the computer, or on the one that a phone most likely reaches.

        Raises
        ------
        Refused
            If there is no such address, or it cannot be listened at. The door is then shut.
        """
        async with self._turning:
            if self.on and address in ("", self.address):
                return
            await self._shut()
            self.pairing.forget()
            chosen = _chosen(address)
            if self.certificate is None or chosen != self.address:
                self.certificate = await run_in_threadpool(certificate_for, chosen)
            self.address = chosen
            self._listen(self.port)

    async def shut(self) -> None:
        """Shut the door and forget the phone; the next time it has another certificate."""
        async with self._turning:
            await self._shut()
            self.certificate, self.address, self.port = None, "", 0

    async def pair_another(self) -> None:
        """Let the phone go and make a new code. The door shuts for a moment, so that nothing of the old phone stays
        connected; certificate and address stay."""
        async with self._turning:
            if self.on:
                await self._shut()
                self._listen(self.port)

    def close(self) -> None:
        """Take in nobody any more: the program stops."""
        self.pairing.forget()
        if self._listening is not None:
            self._listening.close()

    def _listen(self, port: int) -> None:
        at = _socket(self.address, port)
        self.port = int(at.getsockname()[1])
        door = Door("https", frozenset({f"{self.address}:{self.port}"}), COOKIE, self.pairing.cookies.know, PATHS, FREE)
        assert self.certificate is not None and self.house.app is not None
        self._listening = Listening(self.house.app, door, at, self.certificate.tls)
        self._running = asyncio.create_task(self._listening.run())

    async def _shut(self) -> None:
        self.pairing.forget()
        self.house.lines.end(COOKIE)
        if self._listening is not None and self._running is not None:
            self._listening.close()
            with contextlib.suppress(asyncio.CancelledError, OSError):
                await self._running
        self._listening = self._running = None

    def plain(self) -> dict[str, Any]:
        """How the door stands, for the page of this computer."""
        found = own_addresses()
        told: dict[str, Any] = {"on": self.on, "addresses": [
            {"address": one.address, "card": one.card, "private": one.private} for one in found]}
        if self.on and self.certificate is not None:
            pairing = self.pairing
            told |= {
                "address": self.address, "url": self.url, "qr": qr_picture(self.url),
                "fingerprint": self.certificate.fingerprint, "paired": pairing.paired, "locked": not pairing.left,
                "gone": self.address not in [one.address for one in found],
                "code": pairing.code if pairing.seconds else "", "seconds": round(pairing.seconds),
            }
        return told

    def words(self) -> str:
        """What the terminal shows once the door is open."""
        assert self.certificate is not None
        code, digits = self.pairing.code, self.certificate.fingerprint.split(":")
        halves = [" ".join(digits[k:k + 16]) for k in (0, 16)]
        return "\n".join([
            *([qr_blocks(self.url)] if _shows_blocks() else []),
            f"Phone: the door is open for one phone in this network. Open {self.url} on it.",
            f"Phone: type the code {code[:3]} {code[3:]} there.",
            "Phone: its browser warns that it does not know the certificate. Its SHA-256 fingerprint must be:",
            *(f"  {half}" for half in halves),
        ])

    # -------------------------------------------------------------------------------------------------- what is asked

    async def _page(self, request: Request) -> Response:
        if request.scope["door"].cookie != COOKIE:
            return page("phone_here")(request)
        request.scope["paired"] = request.scope["entered"]
        request.scope["entered"] = True  # the same page, on which the code is typed first
        return page("phone", paired=lambda asked: asked.scope["paired"], another=self._taken)(request)

    def _taken(self, request: Request) -> bool:
        """Whether another phone is paired than the one that asks."""
        return self.pairing.paired and not request.scope["paired"]

    async def _pair(self, request: Request) -> Response:
        code = (await read_json(request)).get("code")
        cookie = self.pairing.enter("".join(code.split()) if isinstance(code, str) else "")
        answer = JSONResponse({"paired": True})
        answer.set_cookie(COOKIE, cookie, path="/", secure=True, httponly=True, samesite="strict")
        return answer

    async def _look(self, request: Request) -> Response:
        return JSONResponse(self.plain())

    async def _ask(self, request: Request) -> Response:
        told = await read_json(request)
        address = told.get("address")
        if told.get("on") is True:
            await self.open(address if isinstance(address, str) else "")
        elif told.get("on") is False:
            await self.shut()
        elif told.get("code") == "new" and not self.pairing.paired:
            self.pairing.renew()
        elif told.get("pair") == "another":
            await self.pair_another()
        return JSONResponse(self.plain())

    async def _check(self, request: Request) -> Response:
        """Check what this phone sent, and nothing else."""
        pose = (await read_json(request)).get("pose")
        if not isinstance(pose, str) or pose not in self.house.uploads.sent_through(COOKIE):
            raise Refused(404, "This phone has not sent this pose.", do="Send it again.")
        job = self.house.jobs.begin("check", [self.house.folder.pose(pose).path], {})
        self._checks.add(job.id)
        return JSONResponse({"job": job.id})

    async def _checked(self, request: Request) -> Response:
        told = self._job(request).plain()
        if isinstance(told.get("result"), dict):  # in words; pictures and outlines stay here
            told["result"] = {name: told["result"].get(name) for name in ("verdict", "rests_on", "notes")} | {
                "findings": [{name: one.get(name) for name in ("verdict", "said", "do")}
                             for one in told["result"].get("findings", [])]}
        return JSONResponse(told)

    async def _stop(self, request: Request) -> Response:
        job = self._job(request)
        self.house.jobs.stop(job)
        return JSONResponse(job.plain())

    def _job(self, request: Request) -> Any:
        asked = request.path_params["id"]
        if asked not in self._checks:
            raise Refused(404, "This check is not known any more.", do="Start it again.")
        return self.house.jobs.job(asked)


def _chosen(address: str) -> str:
    found = own_addresses()
    if address:
        if address not in [one.address for one in found]:
            raise Refused(400, "This computer does not have this address any more.", do="Choose another one.")
        return address
    if not found:
        raise Refused(409, "This computer is in no network.", do="Join the Wi-Fi that the phone is in, then try again.")
    if not found[0].private:
        raise Refused(409, "This computer can be reached from the internet, and in no network of its own.",
                      do="Join the Wi-Fi that the phone is in, or choose the address yourself.")
    return found[0].address


def _socket(address: str, port: int) -> socket.socket:
    """A socket that listens at the address, on the port it had, the usual one or any."""
    for wanted in (port, PORT, 0) if port else (PORT, 0):
        try:
            return socket.create_server((address, wanted))
        except OSError as error:
            why = error.strerror or str(error)
    raise Refused(409, f"The door cannot be opened ({why}).", do="Choose another address.")


@lru_cache(maxsize=4)
def qr_picture(text: str) -> str:
    """A QR code as the address of an SVG picture that carries itself."""
    import segno

    return str(segno.make_qr(text, error="m").svg_data_uri(scale=4, border=4, dark="#000", light="#fff"))


def qr_blocks(text: str) -> str:
    """A QR code for a terminal: two rows a line, black on white whatever the terminal's own colours are."""
    import segno

    rows = [list(map(bool, row)) for row in segno.make_qr(text, error="m").matrix_iter(border=3)]
    rows += [[False] * len(rows[0])] * (len(rows) % 2)
    signs = {(False, False): " ", (True, False): "▀", (False, True): "▄", (True, True): "█"}
    lines = ["".join(signs[pair] for pair in zip(rows[k], rows[k + 1], strict=True)) for k in range(0, len(rows), 2)]
    return "\n".join(f"\x1b[30;107m{line}\x1b[0m" for line in lines)


def _shows_blocks() -> bool:
    """Whether somebody looks at a terminal that has these signs."""
    with contextlib.suppress(LookupError, UnicodeError):
        "▀▄█".encode(sys.stdout.encoding or "ascii")
        return sys.stdout.isatty()
    return False
