"""The stage: frames of a camera go to the one session, in one thread; answers go to everybody who watches.

Nothing piles up: of the frames that wait only the newest few are kept, and a page that reads slowly is shown less. Full
pictures are written in a second thread, and what the bench makes of them comes back when it is done.
"""

from __future__ import annotations

import asyncio
import contextlib
import json
import os
import time
import traceback
from collections import deque
from collections.abc import Callable, Coroutine, Sequence
from concurrent.futures import Future, ThreadPoolExecutor
from dataclasses import asdict, dataclass, replace
from pathlib import Path
from typing import Any, Literal, Protocol

import cv2
import numpy as np
from starlette.requests import ClientDisconnect, Request
from starlette.responses import JSONResponse, Response
from starlette.routing import BaseRoute, Route, WebSocketRoute
from starlette.websockets import WebSocket, WebSocketDisconnect

from silhouette.errors import SilhouetteError
from silhouette.intake import stills
from silhouette.intake.turn_table import live_turn
from silhouette.live import heard
from silhouette.live.folder import Folder, live_place
from silhouette.live.guard import Refused
from silhouette.live.messages import FRAME_PX, KEPT, Order, Seen, Signal, StopsTold, Turn, WheelStop, Word, without_nan
from silhouette.live.session import Session
from silhouette.live.shots import EMPTY, ShotFolder
from silhouette.records import Pixels
from silhouette.settings import Ring

WAITING = 4
"""Frames that wait to be looked at; a page sends no more than three without an answer."""
UNREAD = 8
"""Answers that wait for a page that reads slowly; then several become one."""
MOST_SIGNALS = 12
"""Signals that such an answer keeps."""
WATCHERS = 8
"""Pages that may watch at a time."""
SILENT_S = 5.0
"""Seconds without a frame after which another page may have the camera."""
ARRIVES_S = 20.0
"""Seconds that a page has to send a full picture that it was asked for."""
ASKED = 4
"""Full pictures that are asked for at a time; of more the oldest is given up."""
REMEMBERED = 2 * KEPT
"""Frames of which it is remembered when they were taken."""
STUCK_S = 20.0
"""Seconds after which a page that takes nothing is hung up on."""


@dataclass(frozen=True)
class Asked:
    """A full picture that is on its way."""

    frame: int
    take_as: Literal["empty", "stop"]
    seconds: float
    """Since the first frame of this turn."""
    size: tuple[int, int]
    moved: float | None
    after: str
    instead: str
    until: float
    shots: ShotFolder | None
    """Where it belongs, also if another pose is begun before it has come."""


class Bench(Protocol):
    """What looks at the stills that were written, in a process of its own; ``bench.py`` is one."""

    def begin(self, place: Path, *, turn: Literal["left", "right"], stops: int) -> Future[StopsTold]: ...
    def add(self, name: str, path: Path) -> Future[StopsTold]: ...
    def remove(self, name: str) -> Future[StopsTold]: ...
    def outline(self, still: Path) -> Future[tuple[str, tuple[int, int]] | None]: ...
    def close(self) -> None: ...


class Watcher:
    """A page that is shown what the stage shows, as fast as it reads and no faster."""

    def __init__(self, socket: WebSocket) -> None:
        self.socket = socket
        self._waiting: deque[dict[str, Any]] = deque()
        self._some = asyncio.Event()

    def tell(self, message: dict[str, Any]) -> None:
        """Put a message into its line; where that is long, two that were seen become one."""
        if len(self._waiting) >= UNREAD:
            before = self._waiting[-1]
            if before["kind"] == message["kind"] == "seen":
                self._waiting[-1] = _both(before, message)
                return
            self._waiting.popleft()
        self._waiting.append(message)
        self._some.set()

    async def run(self) -> None:
        """Send what waits until the page has gone."""
        with contextlib.suppress(RuntimeError, WebSocketDisconnect, TimeoutError):
            while True:
                await self._some.wait()
                while self._waiting:
                    text = json.dumps(self._waiting.popleft())
                    async with asyncio.timeout(STUCK_S):
                        await self.socket.send_text(text)
                self._some.clear()


def _both(before: dict[str, Any], after: dict[str, Any]) -> dict[str, Any]:
    """The later of two answers, with what the earlier one told once."""
    once = {name: after.get(name) if after.get(name) is not None else before.get(name)
            for name in ("wheel", "wanted")}
    signals = [*before.get("signals", ()), *after.get("signals", ())][-MOST_SIGNALS:]
    taken = {name: before[name] for name in before if name.startswith("take")} if after.get("take") is None else {}
    return {**after, **once, **taken, "signals": signals}


class Stage:
    """Joins the sockets of the pages, the session, and the pictures on the disk."""

    def __init__(self, folder: Folder, bench: Bench | None = None) -> None:
        self.folder, self.bench = folder, bench
        self.session = Session()
        self.shots: ShotFolder | None = None
        self.watching: dict[WebSocket, Watcher] = {}
        self._thread = ThreadPoolExecutor(1, thread_name_prefix="look")
        self._keeping = ThreadPoolExecutor(1, thread_name_prefix="keep")
        self._camera: WebSocket | None = None
        self._came = 0.0
        self._asked: dict[int, Asked] = {}
        self._taken: list[str] = []
        self._began: float | None = None
        self._times: dict[int, float] = {}
        self._room: Pixels | None = None
        self._empty: Path | None = None
        """The empty picture that this camera took, or that lay where it began."""
        self._pose = ""
        self._ring: Ring = "level"
        self._following: set[asyncio.Task[None]] = set()
        self._last: dict[str, Any] = Seen(0, "no-camera").plain()

    def routes(self) -> list[BaseRoute]:
        return [
            WebSocketRoute("/api/stage", self.socket),
            Route("/api/stage/stills/{frame:int}", self.still, methods=["POST"]),
        ]

    def close(self) -> None:
        """Wait until the picture that is being written is written, and end the bench."""
        if self.bench is not None:
            self.bench.close()
        self._keeping.shutdown(wait=True, cancel_futures=True)
        self._thread.shutdown(wait=True, cancel_futures=True)

    # -------------------------------------------------------------------------------------------------------- sockets

    async def socket(self, socket: WebSocket) -> None:
        """One page: it sends frames if it has the camera, and orders; it is sent what the stage shows."""
        if len(self.watching) >= WATCHERS:
            await socket.close(1013)
            return
        await socket.accept()
        watcher = self.watching[socket] = Watcher(socket)
        if self._pose:
            watcher.tell(Turn(self._pose).plain())
        watcher.tell({**self._last, "frame": -1, "signals": [], "take": None, "skipped": True})
        line = _Line(self._look)
        work = [asyncio.create_task(watcher.run()), asyncio.create_task(line.run())]
        hearing = asyncio.create_task(self._hear(socket, watcher, line))
        try:
            await asyncio.wait([hearing, work[0]], return_when=asyncio.FIRST_COMPLETED)
        finally:
            for task in (hearing, *work):
                task.cancel()
            self.watching.pop(socket, None)
            if self._camera is socket:
                await self._camera_gone()
            with contextlib.suppress(RuntimeError, WebSocketDisconnect, TimeoutError):
                async with asyncio.timeout(1):
                    await socket.close()

    async def _hear(self, socket: WebSocket, watcher: Watcher, line: _Line) -> None:
        told = False  # whether this page knows that another one has the camera
        while (message := await socket.receive())["type"] != "websocket.disconnect":
            if (data := message.get("bytes")) is not None:
                told = await self._frame(socket, watcher, line, data, told)
            elif (text := message.get("text")) is not None:
                try:
                    await self._order(heard.order(text))
                except Exception as error:
                    watcher.tell(Word("refused", self._said(error)).plain())

    async def _frame(self, socket: WebSocket, watcher: Watcher, line: _Line, data: bytes, told: bool) -> bool:
        """Let a frame wait, if this page has the camera; else say so, once. Gives whether it has been said."""
        try:
            head = heard.head(data)
        except SilhouetteError as error:
            watcher.tell(Word("refused", self.folder.said(error)).plain())
            return told
        if not await self._has_camera(socket):
            if not told:
                watcher.tell(Word("camera", "Another page has the camera. Close it first.").plain())
            watcher.tell(self._unseen(*head))
            return True
        for gone in line.put(head, data):
            self.tell(self._unseen(*gone))
        return False

    def _unseen(self, number: int, seconds: float, *_: int) -> dict[str, Any]:
        """The answer to a frame that is not looked at."""
        return {**self._last, **_not_again(), "frame": number, "captured": seconds, "skipped": True}

    async def _has_camera(self, socket: WebSocket) -> bool:
        """Whether the frames of this page count: of the first that sends some, until it goes or falls silent."""
        now = time.monotonic()
        if self._camera is not socket and self._camera is not None:
            if now - self._came < SILENT_S:
                return False
            await self._camera_gone()
        self._camera, self._came = socket, now
        return True

    async def _camera_gone(self) -> None:
        self._camera, self._times, self._empty = None, {}, None
        for frame in list(self._asked):
            await self._lost(self._asked.pop(frame), "The page with the camera has gone.")
        self._last = {**self._last, **_not_again(), "state": "no-camera", "path": None}
        self.tell({**self._last, "skipped": True})

    def tell(self, message: dict[str, Any]) -> None:
        """Say something to every page that watches; only the one with the camera is asked for pictures. Called in the
        server's thread."""
        for socket, watcher in list(self.watching.items()):
            meant = socket is self._camera or message.get("take") is None
            watcher.tell(message if meant else {**message, "take": None})

    # --------------------------------------------------------------------------------------------------------- frames

    async def _look(self, data: bytes, quick: bool) -> None:
        """Look at one frame and tell everybody."""
        number, seconds, *_ = heard.head(data)
        try:
            seen, signals = await self._in_thread(lambda: self._see(data, quick))
            self._say(signals)
        except Exception as error:
            about: Literal["refused", "trouble"] = "refused" if isinstance(error, SilhouetteError) else "trouble"
            self.tell(Word(about, self._said(error), number).plain())
            seen = Seen(number, self._last["state"], skipped=True, captured=seconds)
        self._began = seconds if self._began is None else self._began
        self._times[number] = seconds
        while len(self._times) > REMEMBERED:
            del self._times[next(iter(self._times))]
        if seen.take is not None:
            await self._ask(seen, max(0.0, self._times.get(seen.take, seconds) - self._began))
        plain = seen.plain()
        kept = {name: self._last.get(name) for name in ("wheel", "wanted") if plain[name] is None}
        self._last = {**plain, **kept}
        self.tell(plain)
        await self._overdue()

    def _see(self, data: bytes, quick: bool) -> tuple[Seen, Sequence[Signal]]:
        """In the session's thread: look at a frame, after the empty picture of an earlier day, if one waits for it."""
        frame, signals = heard.frame(data), tuple[Signal, ...]()
        if self._room is not None:
            signals = self.session.kept_empty(_as_large(self._room, frame.pixels.shape[1::-1]))
            self._room = None
        return self.session.see(frame, quick=quick), signals

    async def _ask(self, seen: Seen, seconds: float) -> None:
        assert seen.take is not None
        while len(self._asked) >= ASKED:
            await self._lost(self._asked.pop(next(iter(self._asked))), "The page does not send its pictures.")
        self._asked[seen.take] = Asked(
            seen.take, seen.take_as, seconds, seen.size, seen.take_moved, seen.take_after, seen.take_instead,
            time.monotonic() + ARRIVES_S, self.shots)

    async def _overdue(self) -> None:
        for frame, asked in list(self._asked.items()):
            if time.monotonic() > asked.until:
                del self._asked[frame]
                await self._lost(asked, "The full picture did not arrive.")

    def _said(self, error: Exception) -> str:
        if os.environ.get("SILHOUETTE_TRACEBACK"):
            traceback.print_exception(error)
        return self.folder.said(error)

    async def _in_thread(self, work: Callable[[], Any]) -> Any:
        return await asyncio.get_running_loop().run_in_executor(self._thread, work)

    # --------------------------------------------------------------------------------------------------------- stills

    async def still(self, request: Request) -> Response:
        """The full picture of a frame that was asked for becomes a still."""
        asked = self._asked.pop(request.path_params["frame"], None)
        if asked is None:
            raise Refused(409, "This picture was not asked for, or came too late.")
        try:
            data = await request.body()
            kept = await self._to_disk(lambda: self._keep(asked, data))
        except ClientDisconnect:  # it may come again
            self._asked[asked.frame] = asked
            return Response(status_code=499)
        except Exception as error:
            words = self._said(error)
            await self._lost(asked, words)
            raise Refused(getattr(error, "status", 422), words) from error
        if isinstance(kept, str):
            if asked.shots is self.shots:
                await self._kept(asked, kept)
            return JSONResponse({"kept": kept})
        if asked.shots is self.shots:
            await self._signals(lambda: self.session.kept_empty(kept))
        return JSONResponse({"kept": "empty"})

    async def _kept(self, asked: Asked, name: str) -> None:
        """A stop of the turn that is being shot is written."""
        self._taken.append(name)
        await self._signals(lambda: self.session.kept_stop(asked.frame, name))
        if self.bench is not None and asked.shots is not None:
            self._follow(self.bench.add(name, asked.shots.place / f"{name}.jpg"))

    def _keep(self, asked: Asked, data: bytes) -> str | Pixels:
        """Write a picture: the stop's name, or the empty picture at the size of the frames."""
        small = heard.still(data)
        if asked.shots is None:
            raise Refused(409, "No pose has been begun.", do="Choose a pose first.")
        if asked.take_as == "stop":
            return asked.shots.keep(data, asked.seconds, asked.moved, asked.after or None, asked.instead or None)
        asked.shots.keep_empty(data)
        self._empty = asked.shots.place / EMPTY
        return _as_large(small, asked.size)

    async def _lost(self, asked: Asked, words: str) -> None:
        self.tell(Word("not kept", words, asked.frame).plain())
        await self._signals(lambda: self.session.lost_stop(asked.frame))

    # --------------------------------------------------------------------------------------------------------- orders

    async def _order(self, order: Order) -> None:
        if order.do == "begin":
            await self._begin(order)
        elif order.do == "undo":
            undone = await self._to_disk(self._undo)
            await self._signals(lambda: self.session.order(replace(order, stop=undone)))
            if self.bench is not None and self.shots is not None:
                back = self.shots.place / f"{undone}.jpg"  # what it had taken the place of
                self._follow(self.bench.add(undone, back) if back.exists() else self.bench.remove(undone))
        elif order.do == "ghost" and self.bench is not None and order.pose not in ("", self._pose):
            self._meanwhile(self._earlier(order, self.bench), "refused")
        else:
            await self._signals(lambda: self.session.order(order))

    async def _begin(self, order: Order) -> None:
        """Begin a turn, or go on with one: the session is given what the pose has already."""
        pose = self.folder.pose(order.pose)
        if pose.kind != "stills":
            raise Refused(400, "This pose is a clip.", do="Shoot into a new pose.")

        moved = order.ring != self._ring  # for another ring the camera was moved, and sees another part of the room

        def look() -> tuple[ShotFolder, tuple[str, ...], Pixels | None]:
            place = live_place(pose.path, order.ring)
            place.mkdir(mode=0o700, exist_ok=True)
            shots, empty = ShotFolder(place), place / EMPTY
            names, known = shots.names(), None if moved else self._empty
            if not names and not empty.exists() and known is not None and known.is_file():
                shots.keep_empty(known.read_bytes())  # the camera has not gone since: it shows this pose's room too
                self._empty = empty
                return shots, names, None
            with contextlib.suppress(SilhouetteError):  # one that cannot be read is none
                found = stills.read_still(empty, FRAME_PX).pixels
                self._empty = empty
                return shots, names, found
            return shots, names, None

        self.shots, names, self._room = await self._to_disk(look)
        self._pose, self._taken, self._began, self._asked = pose.id, [], None, {}
        self._ring = order.ring
        self.tell(Turn(pose.id).plain())
        await self._signals(lambda: self.session.order(order))
        if names:
            wheel = tuple(WheelStop(name, None, None, "") for name in names)
            await self._signals(lambda: self.session.told(StopsTold(wheel)))
        if self.bench is not None:
            self._follow(self.bench.begin(self.shots.place, turn=order.turn, stops=order.stops))

    async def _earlier(self, order: Order, bench: Bench) -> None:
        """Lay the outline of a stop of another pose over the live one: the first, if none is named."""
        pose = self.folder.pose(order.pose)
        if pose.kind != "stills":
            raise Refused(400, "This pose is a clip.", do="Take a pose that was shot as stills.")
        files = await self._to_disk(lambda: _in_order(live_place(pose.path)))
        names = stills.names_of(files)
        at = names.index(order.stop) if order.stop in names else 0 if not order.stop else -1
        found = None if at < 0 else await asyncio.wrap_future(bench.outline(files[at]))
        if found is None:
            raise Refused(400, "There is no outline of this stop.", do="Take another one.")
        name, path = names[at], found[0]
        await self._in_thread(lambda: self.session.earlier(order.pose, [(name, path)]))
        await self._signals(lambda: self.session.order(replace(order, stop=name)))

    def _follow(self, looked: Future[StopsTold]) -> None:
        """Once the bench has looked, the session is told, unless another pose or ring was begun meanwhile."""
        shots = self.shots

        async def tell() -> None:
            told = await asyncio.wrap_future(looked)
            if self.shots is shots:
                await self._signals(lambda: self.session.told(told))

        self._meanwhile(tell(), "trouble")

    def _meanwhile(self, work: Coroutine[Any, Any, None], about: Literal["refused", "trouble"]) -> None:
        """Do something while frames go on; what goes wrong is said to all."""
        async def done() -> None:
            try:
                await work
            except asyncio.CancelledError:
                pass  # the bench has closed
            except Exception as error:
                self.tell(Word(about, self._said(error)).plain())

        task = asyncio.create_task(done())
        self._following.add(task)
        task.add_done_callback(self._following.discard)

    async def _to_disk(self, work: Callable[[], Any]) -> Any:
        """Do something with the pose's folder, in the one thread for it."""
        return await asyncio.get_running_loop().run_in_executor(self._keeping, work)

    def _undo(self) -> str:
        """Take back the stop that was kept last, and say which."""
        names = self.shots.names() if self.shots is not None else ()
        while self._taken and self._taken[-1] not in names:
            self._taken.pop()
        if self.shots is None or not names:
            raise Refused(400, "There is no stop to take back.")
        name = self._taken.pop() if self._taken else names[-1]
        self.shots.undo(name)
        return name

    async def _signals(self, work: Callable[[], Sequence[Signal]]) -> None:
        """Do something to the session, in its thread, and tell everybody what it says."""
        self._say(await self._in_thread(work))

    def _say(self, signals: Sequence[Signal]) -> None:
        if signals:
            self.tell({"kind": "told", "signals": [without_nan(asdict(one)) for one in signals]})


class _Line:
    """The frames of one page that wait to be looked at, the newest few."""

    def __init__(self, look: Callable[[bytes, bool], Any]) -> None:
        self._look = look
        self._waiting: deque[tuple[tuple[int, float, int, int], bytes]] = deque()
        self._some = asyncio.Event()

    def put(self, head: tuple[int, float, int, int], data: bytes) -> list[tuple[int, float, int, int]]:
        """Let a frame wait; gives the heads of those that have to go for it."""
        gone = []
        while len(self._waiting) >= WAITING:
            gone.append(self._waiting.popleft()[0])
        self._waiting.append((head, data))
        self._some.set()
        return gone

    async def run(self) -> None:
        while True:
            await self._some.wait()
            while self._waiting:
                _, data = self._waiting.popleft()
                await self._look(data, bool(self._waiting))
            self._some.clear()


def _in_order(place: Path) -> list[Path]:
    """The stills of a pose in the order of its turn."""
    files = stills.list_stills(place)
    turn = live_turn(place, files)
    return files if turn is None else list(turn.files)


def _as_large(pixels: Pixels, size: tuple[int, int]) -> Pixels:
    """The picture at (width, height)."""
    return np.asarray(cv2.resize(pixels, size, interpolation=cv2.INTER_AREA), dtype=np.uint8)


def _not_again() -> dict[str, Any]:
    """What an answer that says nothing new leaves out."""
    return {"signals": [], "take": None, "wheel": None, "wanted": None}
