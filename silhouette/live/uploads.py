"""Pictures and clips that a page sends: they come in pieces, go on after a break, and are put in place once they are
whole, never over a file that is there.

``POST /api/uploads`` says what will come and where it belongs, and is told how much of it is here already; ``PATCH``
sends the next piece, ``GET`` asks again (``busy`` while a connection that may have broken is still waited for),
``DELETE`` gives it up. What has come lies in a hidden file of the folder. A
sender that names the SHA-256 of the first :data:`START` bytes may go on after the program was started anew.
"""

from __future__ import annotations

import asyncio
import contextlib
import filecmp
import hashlib
import json
import os
import re
import secrets
import shutil
import time
from collections.abc import Awaitable, Callable
from dataclasses import dataclass, field
from pathlib import Path
from typing import IO, Any, Literal

from starlette.concurrency import run_in_threadpool
from starlette.requests import ClientDisconnect, Request
from starlette.responses import JSONResponse, Response
from starlette.routing import BaseRoute, Route

from silhouette.intake import filenames, stills, turn_table
from silhouette.intake.reel import is_clip
from silhouette.live.folder import Folder, clean
from silhouette.live.guard import PIECE, Refused, refusal
from silhouette.live.house import House
from silhouette.live.jobs import read_json
from silhouette.settings import RINGS
from silhouette.texts import printable
from silhouette.writing import arrival, forget_arrivals, open_arrival, put_new

MOST = 4_000_000_000
"""Bytes of one file at most."""
START = 65536
"""Bytes at the start of a file by which it is known again."""
AT_ONCE = 8
"""Files that may be on their way at the same time."""
SPARE = 500_000_000
"""Bytes that are left free on the disk."""
WAITS = 600.0
"""Seconds for which a file that nobody goes on with keeps its place from others."""
_WRITE = 512 * 1024
_REMEMBERED = 200
_READS = "JPEG, PNG, WebP, TIFF and HEIC pictures, and clips (MP4, MOV and the like)"

CLOSE_UPS = "close-ups"
"""The folder in a pose that close-ups go to."""

Kind = Literal["still", "empty", "clip", "mask", "table"]


class UploadError(Refused):
    """A file that cannot be taken, or not now. ``have`` is how much of it is here, where that helps the sender."""

    def __init__(self, status: int, what: str, *, do: str | None = None, have: int | None = None) -> None:
        super().__init__(status, what, do=do)
        self.have = have


@dataclass
class Upload:
    """One file on its way."""

    mark: str
    name: str
    kind: Kind
    size: int
    into: Path
    """The folder that it goes to, once it is whole."""
    pose: str
    """The id of its pose; empty where it is known only when the file is in place."""
    known_again: bool
    """Whether it may be gone on with after the program was started anew."""
    part: Path
    file: IO[bytes]
    have: int = 0
    busy: bool = False
    given_up: bool = False
    touched: float = field(default_factory=time.monotonic)

    def write(self, data: bytes) -> None:
        """Add bytes at the end."""
        try:
            self.file.seek(self.have)
            left = memoryview(data)
            while left:
                left = left[self.file.write(left):]
        except OSError:
            with contextlib.suppress(OSError):
                self.file.truncate(self.have)
            raise UploadError(507, "The disk has no room for more.", do="Make room on it, then go on.",
                              have=self.have) from None
        self.have += len(data)

    def go_on(self, start: str) -> None:
        """Take up what came before the program was started anew, if it begins as the sender's file does."""
        lying = os.fstat(self.file.fileno()).st_size
        begins = self.file.read(min(START, self.size)) if START <= lying <= self.size or lying == self.size else b""
        if begins and hashlib.sha256(begins).hexdigest() == start:
            self.have = lying
        else:
            self.file.truncate(0)


def routes(house: House) -> list[BaseRoute]:
    """What can be asked of the uploads of a house."""
    house.uploads = Uploads(house.folder)
    house.at_end.append(house.uploads.close)
    return house.uploads.routes()


class Uploads:
    """All files on their way into one folder."""

    def __init__(self, folder: Folder) -> None:
        self.folder = folder
        self._open: dict[str, Upload] = {}
        self._done: dict[str, dict[str, Any]] = {}
        self._sent: dict[str, set[str]] = {}
        self._making = asyncio.Lock()
        forget_arrivals(folder.path)

    def routes(self) -> list[BaseRoute]:
        one = "/api/uploads/{mark}"
        return [
            Route("/api/uploads", _polite(self.begin), methods=["POST"]),
            Route(one, _polite(self.piece), methods=["PATCH"]),
            Route(one, _polite(self.look), methods=["GET"]),
            Route(one, _polite(self.give_up), methods=["DELETE"]),
        ]

    def close(self) -> None:
        """Let go of everything. What could be gone on with stays for a day."""
        for upload in list(self._open.values()):
            self._drop(upload, keep=upload.known_again)

    # ------------------------------------------------------------------------------------------------ what is asked

    async def begin(self, request: Request) -> dict[str, Any]:
        told = await read_json(request)
        async with self._making:
            return self._note(request, await run_in_threadpool(self._begin, told))

    def sent_through(self, cookie: str) -> set[str]:
        """The ids of the poses to which something came whole through the door with this cookie."""
        return self._sent.get(cookie, set())

    def _note(self, request: Request, told: dict[str, Any]) -> dict[str, Any]:
        if told["done"] and told["pose"]:
            self._sent.setdefault(request.scope["door"].cookie, set()).add(told["pose"])
        return told

    async def look(self, request: Request) -> dict[str, Any]:
        mark = request.path_params["mark"]
        if mark in self._done:
            return self._done[mark]
        upload = self._of(mark)
        return {"have": upload.have, "done": False, "busy": upload.busy}

    async def give_up(self, request: Request) -> dict[str, Any]:
        upload = self._of(request.path_params["mark"])
        upload.given_up = True
        if not upload.busy:
            await run_in_threadpool(self._drop, upload)
        return {"have": 0, "done": False}

    async def piece(self, request: Request) -> dict[str, Any]:
        """The next bytes of a file, from where it stands."""
        mark = request.path_params["mark"]
        if mark in self._done:
            return self._done[mark]
        upload = self._of(mark)
        if upload.busy:
            raise UploadError(409, "This file is being sent already.", do="Wait a moment.", have=upload.have)
        if _number(request.query_params.get("from", "")) != upload.have:
            raise UploadError(409, "This piece does not follow what is here.", have=upload.have)
        most = min(PIECE, upload.size - upload.have)
        if _number(request.headers.get("content-length", "0")) > most:
            raise _too_long(upload, most)
        upload.busy = True
        try:
            await _receive(request, upload, most)
            if upload.have == upload.size and not upload.given_up:
                return self._note(request, await run_in_threadpool(self._finish, upload))
        finally:
            upload.busy, upload.touched = False, time.monotonic()
            if upload.given_up:
                await run_in_threadpool(self._drop, upload)
        return {"have": upload.have, "done": False}

    # ------------------------------------------------------------------------------------------------- what is done

    def _of(self, mark: str) -> Upload:
        upload = self._open.get(mark)
        if upload is None or upload.given_up:
            raise UploadError(404, "This file is not expected any more.", do="Begin again.")
        return upload

    def _begin(self, told: dict[str, Any]) -> dict[str, Any]:
        name, size, start = clean(_text(told, "name")), told.get("size"), _text(told, "start")
        kind = _kind(name)
        if type(size) is not int or size < 1:
            raise UploadError(400, f"{name}: is empty.", do="Leave it out.")
        if size > MOST:
            raise UploadError(413, f"{name}: is larger than {_size(MOST)}, the most that is taken.",
                              do="Send a shorter clip.")
        known_again = re.fullmatch(r"[0-9a-f]{64}", start) is not None
        said = json.dumps([name, size, start])
        mark = hashlib.sha256(said.encode()).hexdigest()[:24] if known_again else secrets.token_hex(12)
        self._done.pop(mark, None)
        upload = self._open.get(mark)
        if upload is not None and (upload.busy or upload.given_up):
            raise UploadError(409, f"{name}: is being sent already.", do="Wait a moment.")
        if upload is None:
            upload = self._new(mark, name, kind, size, start if known_again else "")
        elif not _text(told, "pose"):  # a page that was loaded again goes on with what it began
            upload.touched = time.monotonic()
            return self._plain(upload)
        try:
            self._room(upload)
            upload.into, upload.name, upload.pose = self._target(told, name, kind)
        except BaseException:
            self._drop(upload, keep=upload.known_again)
            raise
        upload.touched = time.monotonic()
        return self._finish(upload) if upload.have == size else self._plain(upload)

    def _new(self, mark: str, name: str, kind: Kind, size: int, start: str) -> Upload:
        for waiting in sorted(list(self._open.values()), key=lambda u: u.touched):
            if len(self._open) >= AT_ONCE and not waiting.busy and waiting.touched < time.monotonic() - WAITS:
                self._drop(waiting, keep=waiting.known_again)
        if len(self._open) >= AT_ONCE:
            raise UploadError(429, f"{AT_ONCE} files are on their way already.", do="Send this one when they are here.")
        part = arrival(self.folder.path, mark)
        try:
            file = open_arrival(part)
        except OSError as error:
            raise _cannot_write(error) from None
        if file is None:
            raise UploadError(409, f"{name}: is being sent to another window of this program.", do="Wait a moment.")
        upload = Upload(mark, name, kind, size, self.folder.path, "", bool(start), part, file)
        self._open[mark] = upload
        upload.go_on(start)
        return upload

    def _room(self, upload: Upload) -> None:
        """Refuse what the disk has no room for, beside what is on its way already."""
        free = shutil.disk_usage(self.folder.path).free - SPARE
        free -= sum(one.size - one.have for one in list(self._open.values()) if one is not upload)
        if upload.size - upload.have > free:
            raise UploadError(507, f"{upload.name}: is {_size(upload.size)}, and the disk has room for "
                              f"{_size(max(0, free))} more.", do="Make room on it, then send the file again.")

    def _target(self, told: dict[str, Any], name: str, kind: Kind) -> tuple[Path, str, str]:
        """The folder that a file goes to, its name there, and the id of its pose as far as it is known."""
        pose, new, inside = _text(told, "pose"), _text(told, "new"), _inside(told)
        suffix = Path(name).suffix
        if inside:
            return self._target_inside(pose, new, inside, name, kind)
        if kind == "clip":
            return self.folder.path, f"{clean(new)}{suffix}" if new else name, ""
        if pose:
            place = self.folder.pose(pose)
            if place.kind == "stills":
                return place.path, name, place.id
            if kind == "mask":
                return stills.masks_folder(place.path), name, place.id
            if kind == "empty":
                return self.folder.path, f"{place.path.stem}.empty{suffix}", place.id
            raise UploadError(400, f"{place.name} is a clip: no stills can be added to it.", do="Choose another pose.")
        if kind in ("mask", "table"):
            raise UploadError(400, f"{name}: belongs to a pose.", do="Choose the pose first.")
        if kind == "empty" and not new:
            return self.folder.path, name, ""
        made = self.folder.new_pose(new or Path(name).stem)
        return made.path, name, made.id

    def _target_inside(
        self, pose: str, new: str, inside: tuple[str, ...], name: str, kind: Kind
    ) -> tuple[Path, str, str]:
        """The same for what belongs to a ring of a pose, or to its close-ups."""
        ring = inside[0] if inside[0] in RINGS else ""
        if kind == "clip" and not ring:
            raise UploadError(415, f"{name}: is a clip, and close-ups are pictures.", do="Leave it out.")
        if not pose and (not new or kind in ("mask", "table")):
            raise UploadError(400, f"{name}: belongs to a pose.", do="Choose the pose first.")
        place = self.folder.pose(pose) if pose else self.folder.new_pose(new)
        if place.kind == "clip":
            raise UploadError(400, f"{place.name} is a clip: it has no other rings.", do="Choose another pose.")
        if kind == "clip":  # a ring that is a clip lies in the pose's folder and is called after the ring
            return place.path, f"{ring}{Path(name).suffix}", place.id
        into = place.path.joinpath(*inside)
        if any(at.is_symlink() for at in (into, into.parent)):
            raise UploadError(409, f"{'/'.join(inside)}: is a link, and nothing is written through it.")
        return into, name, place.id

    def _finish(self, upload: Upload) -> dict[str, Any]:
        """Put a whole file in place."""
        upload.file.close()
        del self._open[upload.mark]
        try:
            for folder in _down_to(upload.into, self.folder.path):
                folder.mkdir(mode=0o700, exist_ok=True)
            place = _put(upload, ring=upload.kind == "clip" and upload.into != self.folder.path)
        except OSError as error:
            raise _cannot_write(error) from None
        pose = upload.pose or (self.folder.id_of(place) if upload.kind == "clip" else "")
        done = {"upload": upload.mark, "have": upload.size, "done": True, "pose": pose, "name": printable(place.name)}
        self._done[upload.mark] = done
        while len(self._done) > _REMEMBERED:
            del self._done[next(iter(self._done))]
        return done

    def _drop(self, upload: Upload, keep: bool = False) -> None:
        self._open.pop(upload.mark, None)
        upload.file.close()
        if not keep:
            with contextlib.suppress(OSError):
                upload.part.unlink()
            for folder in reversed(_down_to(upload.into, self.folder.path)):
                with contextlib.suppress(OSError):  # a pose that was made for it, if nothing else came
                    folder.rmdir()

    @staticmethod
    def _plain(upload: Upload) -> dict[str, Any]:
        return {"upload": upload.mark, "have": upload.have, "done": False, "pose": upload.pose}


async def _receive(request: Request, upload: Upload, most: int) -> None:
    """Write what comes of one piece; where the connection breaks or its sender falls silent, what has come so far."""
    waiting, came = bytearray(), 0
    try:
        async for data in request.stream():
            came += len(data)
            if came > most:
                waiting.clear()
                raise _too_long(upload, most)
            waiting += data
            if upload.given_up:
                break
            if len(waiting) >= _WRITE:
                await run_in_threadpool(upload.write, bytes(waiting))
                waiting.clear()
    finally:
        if waiting and not upload.given_up:
            await run_in_threadpool(upload.write, bytes(waiting))


def _down_to(place: Path, top: Path) -> list[Path]:
    """The folders from below ``top`` to ``place``; none where they are one."""
    return [top.joinpath(*place.relative_to(top).parts[:n + 1]) for n in range(len(place.relative_to(top).parts))]


def _inside(told: dict[str, Any]) -> tuple[str, ...]:
    """Where in its pose a file belongs: to a ring, or to its close-ups and, by name, to one of them."""
    given = _text(told, "inside")
    if not given or given in RINGS:
        return (given,) if given else ()
    first, _, rest = given.partition("/")
    if first != CLOSE_UPS:
        raise UploadError(400, "A pose holds rings called low, level and high, and close-ups.")
    return (first, clean(rest)) if rest else (first,)


def _put(upload: Upload, ring: bool = False) -> Path:
    """Give the whole file the name it was sent under, or the next one that is free; what lies there already, byte for
    byte the same, is left as it is. The clip of a ring has its name and no other."""
    place, number = upload.into / upload.name, 1
    while not put_new(upload.part, place):
        if _same(upload.part, place):
            upload.part.unlink()
            break
        number += 1
        if ring or upload.kind in ("mask", "table"):
            upload.part.unlink()
            raise UploadError(409, f"{upload.name}: is there already, and it is not touched.",
                              do="Remove that one from the folder first.")
        place = upload.into / f"{Path(upload.name).stem} {number}{Path(upload.name).suffix}"
    return place


def _same(one: Path, other: Path) -> bool:
    try:
        return not other.is_symlink() and filecmp.cmp(one, other, shallow=False)
    except OSError:
        return False


def _kind(name: str) -> Kind:
    path, folded = Path(name), name.casefold()
    if name in (filenames.CSV_NAME, turn_table.CSV_NAME):
        return "table"
    if folded.endswith(stills.MASK_SUFFIX):
        return "mask"
    if stills.is_empty_room(path):
        return "empty"
    if stills.is_still(path):
        return "still"
    if is_clip(path):
        return "clip"
    raise UploadError(415, f"{name}: is of no kind that is read here.", do=f"Send {_READS}.")


def _too_long(upload: Upload, most: int) -> UploadError:
    if most < PIECE:
        return UploadError(413, f"{upload.name}: is larger than was said.", do="Send it again.", have=upload.have)
    return UploadError(413, f"A piece may have {PIECE} bytes at most.", have=upload.have)


def _cannot_write(error: OSError) -> UploadError:
    return UploadError(507, f"The folder cannot be written to ({error.strerror}).", do="Check the disk.")


def _number(text: str) -> int:
    """A plain number of an address or a header, -1 where it is none."""
    return int(text) if text.isascii() and text.isdecimal() and len(text) <= 15 else -1


def _text(told: dict[str, Any], name: str) -> str:
    value = told.get(name)
    return value if isinstance(value, str) else ""


def _size(of: int) -> str:
    return f"{of / 1e9:.1f} GB" if of >= 1e9 else f"{max(1, round(of / 1e6))} MB"


def _polite(answer: Callable[[Request], Awaitable[dict[str, Any]]]) -> Callable[[Request], Awaitable[Response]]:
    """A route that answers with JSON; a sender who is refused is told how much is here."""
    async def give(request: Request) -> Response:
        try:
            return JSONResponse(await answer(request))
        except UploadError as no:
            return refusal(no, have=no.have)
        except ClientDisconnect:
            return Response(status_code=499)

    return give
