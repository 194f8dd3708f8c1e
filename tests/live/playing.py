"""A page with a camera, played to a session without any server: frames of a clip, or of a figure that is drawn here."""

from __future__ import annotations

import json
from collections import deque
from collections.abc import Callable, Iterable, Iterator, Sequence
from dataclasses import dataclass, field
from pathlib import Path
from typing import Any

import av
import cv2
import numpy as np

from silhouette.cutout import mask_cleanup
from silhouette.live import looking
from silhouette.live.looking import Look, Looker
from silhouette.live.messages import FRAME_PX, KEPT, Frame, Order, Seen, Signal, WheelStop
from silhouette.live.session import Session
from silhouette.records import Pixels

CLIPS = Path(__file__).parents[1] / "data" / "clips"
Shown = tuple[float, Pixels]


# ----------------------------------------------------------------------------------------------------- clips as cameras


def camera(path: Path, hz: float = 12.0, *, jitter: float = 0.0, until: float = 1e9) -> Iterator[Shown]:
    """(seconds, frame) of a clip as a page would send them; ``jitter``: how uneven, shares of a step."""
    rng = np.random.default_rng(1)
    due = 0.0
    with av.open(str(path)) as container:
        for frame in container.decode(container.streams.video[0]):
            time = float(frame.time or 0.0)
            if time > until:
                return
            if time < due - 1e-6:
                continue
            due = time + (1 + jitter * float(rng.uniform(-1, 1))) / hz
            yield time, small(frame.to_ndarray(format="bgr24"))


def small(pixels: Pixels) -> Pixels:
    """A frame as it arrives: no larger than the page sends it, and through JPEG."""
    scale = min(1.0, FRAME_PX / max(pixels.shape[:2]))
    size = round(pixels.shape[1] * scale), round(pixels.shape[0] * scale)
    fitted = pixels if scale == 1 else cv2.resize(pixels, size, interpolation=cv2.INTER_AREA)
    return np.asarray(cv2.imdecode(cv2.imencode(".jpg", fitted, [1, 80])[1], cv2.IMREAD_COLOR), np.uint8)


def truth(path: Path) -> list[dict[str, float]]:
    """A row a stop: ``start`` and ``end`` of its hold."""
    rows: list[dict[str, float]] = json.loads(path.with_suffix(".truth.json").read_text())
    return rows


# --------------------------------------------------------------------------------------------------------- a drawn turn

SIZE = (240, 320)
"""Width and height of drawn frames."""
WALL, SKIN = 150, 60


def drawn(angle: float, *, at: float = 0.5, tall: float = 0.7, skin: int = SKIN, sway: float = 0.0,
          base: Pixels | None = None) -> Pixels:
    """A figure turned by ``angle``, with one arm and one foot held out; ``at``: where it stands, share of the width."""
    w, h = SIZE
    picture = np.full((h, w, 3), WALL, np.uint8) if base is None else base.copy()
    height, foot, middle = tall * h, 0.93 * h, at * w
    fine = 4

    def spot(x: float, y: float) -> tuple[int, int]:
        """x to the side and y above the ground, figure heights."""
        return (round((middle + (x + sway * y) * height) * 2**fine), round((foot - y * height) * 2**fine))

    def limb(a: tuple[float, float], b: tuple[float, float], wide: float) -> None:
        cv2.line(picture, spot(*a), spot(*b), (skin,) * 3, max(1, round(wide * height)), cv2.LINE_AA, fine)

    turn = np.radians(angle)
    out, side = float(np.cos(turn)), float(np.sin(turn))
    limb((0.0, 0.5), (0.0, 0.8), 0.16)
    limb((0.02 * side, 0.92), (0.03 * side, 0.93), 0.13)
    limb((0.05 * out, 0.78), (0.36 * out, 0.90), 0.06)
    limb((-0.05 * out, 0.78), (-0.14 * out + 0.1 * side, 0.5), 0.06)
    limb((0.05 * out, 0.5), (0.10 * out, 0.04), 0.08)
    limb((-0.05 * out, 0.5), (-0.10 * out + 0.14 * side, 0.04), 0.08)
    return picture


def noisy(pixels: Pixels, sigma: float, rng: np.random.Generator) -> Pixels:
    """The same with a sensor's noise."""
    return np.asarray(np.clip(pixels + rng.normal(0, sigma, pixels.shape), 0, 255), np.uint8)


@dataclass
class Turning:
    """A drawn figure that turns in stops."""

    stops: int = 12
    step: float = 15.0
    hold: float = 0.9
    move: float = 0.5
    start: float = 0.0
    sway: float = 0.004
    """How far the head sways while the pose is held, figure heights."""

    @property
    def length(self) -> float:
        return self.stops * (self.hold + self.move) - self.move

    def holds(self) -> list[dict[str, float]]:
        starts = [self.start + k * (self.hold + self.move) for k in range(self.stops)]
        return [{"start": a, "end": a + self.hold} for a in starts]

    def angle(self, time: float) -> float:
        k, into = divmod(max(time - self.start, 0.0), self.hold + self.move)
        if k >= self.stops - 1:
            return (self.stops - 1) * self.step
        share = max(0.0, into - self.hold) / self.move
        return float((k + share * share * (3 - 2 * share)) * self.step)

    def frames(self, hz: float = 12.0, *, noise: float = 1.0, jitter: float = 0.0, until: float | None = None,
               **how: Any) -> Iterator[Shown]:
        rng = np.random.default_rng(3)
        time = 0.0
        while time <= (self.start + self.length if until is None else until):
            sway = self.sway * float(np.sin(2 * np.pi * 0.35 * time))
            yield time, noisy(drawn(self.angle(time), sway=sway, **how), noise, rng)
            time += (1 + jitter * float(rng.uniform(-1, 1))) / hz


class DrawnLooker(Looker):
    """Sees what is drawn: whatever is dark is figure."""

    def look(self, pixels: Pixels) -> Look:
        dark = cv2.GaussianBlur(cv2.cvtColor(pixels, cv2.COLOR_BGR2GRAY), (3, 3), 0) < (WALL + SKIN) / 2
        mask, flags = mask_cleanup.one_figure(np.asarray(dark, np.bool_))
        return looking.look_of(mask_cleanup.finished(mask, 0.98, "backdrop", flags, 0.0))


# ------------------------------------------------------------------------------------------------------------- the page


@dataclass
class Played:
    """What came of it."""

    session: Session
    seen: list[Seen] = field(default_factory=list)
    taken: list[float] = field(default_factory=list)
    """Seconds of the stills that the page still had."""
    too_late: int = 0
    """Stills that were asked for when the page had thrown them away."""
    signals: list[Signal] = field(default_factory=list)
    wheel: tuple[WheelStop, ...] = ()

    def said(self, kind: str) -> list[str]:
        return [signal.words for signal in self.signals if signal.kind == kind]

    def troubles(self) -> set[str]:
        return {seen.trouble.kind for seen in self.seen if seen.trouble is not None}


@dataclass
class Page:
    """Sends frames, keeps the last ones at full size, posts the stills that are asked for."""

    session: Session
    late: int = 2
    """Frames sent between a frame and the arrival of its answer."""
    upload: float = 0.3
    """Seconds until a still is written."""
    busy: Callable[[int], bool] = lambda number: False
    """Whether a newer frame waits when this one is looked at."""
    number: int = 0
    stills: int = 0

    def play(self, frames: Iterable[Shown], *, fails: Sequence[int] = ()) -> Played:
        """``fails``: numbers of stills, from 0, that do not arrive."""
        played, on_the_way = Played(self.session), deque[tuple[float, int]]()
        times: dict[int, float] = {}
        for time, pixels in frames:
            while on_the_way and on_the_way[0][0] <= time:
                self._arrives(on_the_way.popleft()[1], played, fails)
            times[self.number] = time
            seen = self.session.see(Frame(self.number, time, pixels, pixels.shape[1::-1]), quick=self.busy(self.number))
            played.seen.append(seen)
            played.signals.extend(seen.signals)
            played.wheel = seen.wheel if seen.wheel is not None else played.wheel
            if seen.take is not None:
                if seen.take > self.number + self.late - KEPT:
                    if seen.take_as == "stop":
                        played.taken.append(times[seen.take])
                    on_the_way.append((time + self.upload, seen.take))
                else:
                    played.too_late += 1
                    played.signals.extend(self.session.lost_stop(seen.take))
                if seen.take_as == "empty":
                    on_the_way.pop()
                    played.signals.extend(self.session.kept_empty(pixels))
            self.number += 1
        while on_the_way:
            self._arrives(on_the_way.popleft()[1], played, fails)
        return played

    def _arrives(self, frame: int, played: Played, fails: Sequence[int]) -> None:
        if self.stills in fails:
            played.signals.extend(self.session.lost_stop(frame))
        else:
            played.signals.extend(self.session.kept_stop(frame, f"stop_{len(self.session.course.names) + 1:02d}"
                                                         if self.session.course else "stop_01"))
        self.stills += 1


def begun(looker: Looker | None = None, kind: type[Session] = Session, **order: Any) -> Session:
    """A session with a turn begun, and no empty picture."""
    session = kind() if looker is None else kind(looker=looker)
    session.order(Order("begin", pose="pose", **order))
    session.order(Order("skip empty"))
    return session


@dataclass(frozen=True)
class Score:
    """Stills against the holds of a clip."""

    share: float
    outside: list[float]
    twice: list[int]


def score(taken: Sequence[float], holds: Sequence[dict[str, float]]) -> Score:
    """How many of the holds a still was taken of, which lie in none, and of which there are two."""
    within = [[k for k, hold in enumerate(holds) if hold["start"] <= time <= hold["end"]] for time in taken]
    found = [k[0] for k in within if k]
    return Score(len(set(found)) / max(len(holds), 1), [t for t, k in zip(taken, within, strict=True) if not k],
                 sorted({k for k in found if found.count(k) > 1}))
