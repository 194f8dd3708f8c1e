"""A clip of a model turning on the spot, read once: where it holds still, and the best frame of each hold.

Decoding is what costs; so the clip is decoded a single time. Every frame leaves a thumbnail of its brightness, just
long enough to be compared with its neighbours. The stillest frame of every quarter second is scaled and kept as long as
it may turn out to be the one, so that when the end is reached the stills are already there. What was dropped too early
is read again from the clip by its time.
"""

from __future__ import annotations

from collections import deque
from collections.abc import Callable, Container, Iterator
from dataclasses import dataclass, field, replace
from pathlib import Path
from typing import TYPE_CHECKING, Any

import cv2
import numpy as np
from numpy.typing import NDArray

from silhouette.errors import FilmError
from silhouette.intake import pauses
from silhouette.intake.reel import CHANGES_SIZE, Reel, is_clip, quarter_turns, read_at, upright
from silhouette.records import FilmStops, Note, Picture, Pixels
from silhouette.settings import Settings

if TYPE_CHECKING:
    from av.video.frame import VideoFrame

__all__ = ["find_stops", "is_clip", "read_full", "read_stops", "without"]

Progress = Callable[[float], None]
"""Called with the share of the clip that has been read, 0 to 1."""

THUMB_PX = 160
"""Longer side of the brightness thumbnails, pixels: a moving figure changes hundreds, sensor noise is averaged out."""
LOOK_HZ = 35.0
"""Frames looked at a second, at most; a slow-motion clip has many more than a turning model needs."""
SLOT_S = 0.25
"""One still is considered in every slot of this many seconds: half the shortest hold."""
PER_HOLD = 3
"""Stills kept of one hold, so that one of them lies well inside it."""
KEEP_BYTES = 220e6
"""Stills kept while the clip is read, bytes."""
EVEN_STOPS = 24
"""Stills taken from a clip without pauses: every 15 degrees of one turn."""
NOISE_Q = 20
"""Percentile of the motion so far that stands for a figure holding still."""


def find_stops(path: str | Path, *, work_px: int | None = None, progress: Progress | None = None) -> FilmStops:
    """Find the held positions of a turn in one decoding pass.

    Parameters
    ----------
    path : path of a clip
    work_px : longer side of the stills to keep on the way, pixels; default as in the settings
    progress : called with the share read so far, 0 to 1

    Raises
    ------
    FilmError
        The file is no clip, holds no pictures or a single one, or its pictures are larger than 4K.
    """
    source = Path(path)
    px = work_px or Settings().work_px
    with Reel(source) as reel:
        scan = _Scan(px)
        for frame, time in reel.frames():
            scan.add(frame, time)
            if progress is not None and reel.length and scan.frames % 15 == 0:
                progress(min(time / reel.length, 1.0))
        if progress is not None:
            progress(1.0)
        return _decide(source, scan, reel.length, reel.broken)


def read_stops(
    path: str | Path, stops: FilmStops, work_px: int | None = None, *, progress: Progress | None = None
) -> Iterator[Picture]:
    """The chosen frames, upright, the longer side at most ``work_px``; those not kept are read again from the clip."""
    source = Path(path)
    px = work_px or Settings().work_px
    missing = [t for t in stops.chosen if stops.kept_px != px or t not in stops.kept]
    again = read_at(source, missing, px) if missing else iter(())
    for index, time in enumerate(stops.chosen):
        pixels = next(again) if time in missing else stops.kept[time]
        if progress is not None:
            progress((index + 1) / len(stops.chosen))
        yield Picture(source, f"stop_{index:02d}", pixels, stops.size, time=time)


def without(stops: FilmStops, gone: Container[int]) -> FilmStops:
    """The same less some of its stops, by their places; one at least is left."""
    kept = [k for k in range(len(stops.chosen)) if k not in gone]
    moved = np.concatenate([[0.0], np.cumsum(stops.motion_share)])[kept]
    share = np.diff(moved)
    return replace(
        stops,
        holds=tuple(stops.holds[k] for k in kept),
        chosen=tuple(stops.chosen[k] for k in kept),
        motion_share=share / max(float(share.sum()), 1e-9),
    )


def read_full(path: str | Path, time: float) -> Pixels:
    """The frame at ``time`` (seconds from the clip's start), upright, at full size: (h, w, 3) BGR."""
    return next(read_at(Path(path), [time], None))


# ------------------------------------------------------------------------------------------------------- the one pass

@dataclass
class _Seen:
    """One frame that may become a still."""

    time: float
    motion: float
    sharp: float
    thumb: NDArray[np.float32]
    frame: VideoFrame | None
    pixels: Pixels | None = None

    def better_than(self, other: _Seen) -> bool:
        """Clearly stiller, or about as still and sharper."""
        if self.motion < 0.7 * other.motion:
            return True
        return self.motion < 1.3 * other.motion and self.sharp > other.sharp


@dataclass
class _Scan:
    """What is gathered while the clip goes by; memory does not grow with its length but for one number a frame."""

    work_px: int
    frames: int = 0
    first: VideoFrame | None = None
    rotation: int = 0
    times: list[float] = field(default_factory=list)
    motion: list[float] = field(default_factory=list)
    flow: list[float] = field(default_factory=list)
    kept: list[_Seen] = field(default_factory=list)
    slots: list[tuple[float, NDArray[np.uint8]]] = field(default_factory=list)
    """A thumbnail of every slot: 14 kB each."""
    last_time: float = 0.0
    _ring: deque[_Seen] = field(default_factory=lambda: deque(maxlen=3))
    _slot: _Seen | None = None
    _slot_end: float = 0.0

    def add(self, frame: VideoFrame, time: float) -> None:
        self.frames += 1
        self.last_time = time
        if self.first is None:
            self.first, self.rotation = frame, quarter_turns(frame)
        elif time - self._ring[-1].time < 1 / LOOK_HZ:
            return
        luma = _luma(frame)
        self._ring.append(_Seen(time, 0.0, _sharpness(luma), _thumbnail(luma), frame))
        if len(self._ring) == 3:
            self._look()

    def _look(self) -> None:
        """Judge the middle one of the three newest frames: its past and its future are known."""
        before, now, after = self._ring
        now.motion = _change(before.thumb, after.thumb)
        self.times.append(now.time)
        self.motion.append(now.motion)
        self.flow.append(_flow(before.thumb, now.thumb))
        if self._slot is None or now.time >= self._slot_end:
            self._settle()
            self._slot, self._slot_end = now, now.time + SLOT_S
        elif now.better_than(self._slot):
            self._slot = now

    def _settle(self) -> None:
        """The slot is over: keep its best frame as a scaled still, unless it shows the model moving."""
        best = self._slot
        if best is None or best.frame is None:
            return
        self.slots.append((best.time, best.thumb.astype(np.uint8)))
        still = float(np.percentile(self.motion, NOISE_Q))
        if best.motion > 4 * still + 1.0:
            return
        rivals = self.kept[-PER_HOLD:]
        if len(rivals) == PER_HOLD and all(_change(r.thumb, best.thumb) < 2 * still + 0.5 for r in rivals):
            if not best.better_than(rivals[-1]):
                return
            self.kept.pop()
        self._scale_last()
        self.kept.append(best)
        if sum(k.pixels.nbytes for k in self.kept if k.pixels is not None) > KEEP_BYTES:
            self.kept = _thinned(self.kept)

    def _scale_last(self) -> None:
        """Scale the newest still that was kept; not before it is sure that no better one takes its place."""
        last = self.kept[-1] if self.kept else None
        if last is not None and last.frame is not None:
            last.pixels, last.frame = upright(last.frame, self.rotation, self.work_px), None

    def change(self, one: float, other: float) -> float:
        """How much the picture differs between the slots nearest to two moments."""
        clock = np.asarray([t for t, _ in self.slots])
        a, b = (self.slots[int(np.argmin(np.abs(clock - t)))][1].astype(np.float32) for t in (one, other))
        return _change(a, b)

    def finish(self) -> None:
        self._settle()
        self._scale_last()
        self._slot = None
        self._ring.clear()


def _thinned(kept: list[_Seen]) -> list[_Seen]:
    """At most three quarters of the stills: one of every PER_HOLD that follow on each other, the middle one, so that no
    hold loses all of its own; where that leaves more, the stiller half."""
    begins = [i for i, one in enumerate(kept) if not i or one.time - kept[i - 1].time > 2 * SLOT_S]
    runs = [kept[begin:end] for begin, end in zip(begins, [*begins[1:], len(kept)], strict=True)]
    middles = [one for run in runs for one in (run[1::PER_HOLD] or run)]
    if len(middles) <= 0.75 * len(kept):
        return middles
    return sorted(sorted(kept, key=lambda k: k.motion)[: len(kept) // 2], key=lambda k: k.time)


def _decide(source: Path, scan: _Scan, length: float, broken: str) -> FilmStops:
    """Holds, chosen frames and shares of motion from what the pass gathered."""
    scan.finish()
    if scan.first is None:
        raise FilmError(
            "The clip holds no picture that can be read: it is damaged, or its pictures are larger than 4K.",
            path=source, do="Copy it from the phone again, or film in 4K or 1080p.",
        )
    if len(scan.times) < 3:
        raise FilmError(
            "The clip is too short: it holds hardly more than one picture.", path=source,
            do="Film the whole turn, or give stills.",
        )
    times, motion, flow = (np.asarray(x, dtype=np.float64) for x in (scan.times, scan.motion, scan.flow))
    holds = pauses.find_holds(times, motion, scan.change)
    notes = []
    turn = pauses.slow_turn(holds)
    paused = len(holds) >= 2 and turn is None
    if paused:
        chosen = [_choose(scan, times, motion, span) for span in holds]
    elif turn is not None or pauses.moves(motion):
        chosen = _evenly(scan, times, turn or pauses.moving_stretch(times, motion))
        holds = [(t, t) for t in chosen]
        notes.append(Note.of("no pauses", count=len(chosen)))
    else:
        chosen, holds, paused = [_choose(scan, times, motion, (times[0], times[-1]))], [(times[0], times[-1])], True
        notes.append(Note.of("nothing turns"))
    if broken or (length and scan.last_time < length - 1.0):
        ended = {"read": scan.last_time, "length": length}
        changed = broken == CHANGES_SIZE
        notes.append(Note.of("clip changes size", **ended) if changed else Note.of("clip breaks off", **ended))
    if _hdr(scan.first):
        notes.append(Note.of("hdr"))
    width, height = scan.first.width, scan.first.height
    return FilmStops(
        source, scan.last_time, scan.frames / max(scan.last_time, 1e-6),
        (height, width) if scan.rotation % 2 else (width, height), scan.rotation, times, motion, tuple(holds),
        tuple(chosen), pauses.shares(times, flow, chosen), paused, tuple(notes),
        {k.time: k.pixels for k in scan.kept if k.time in set(chosen) and k.pixels is not None}, scan.work_px,
    )


def _choose(scan: _Scan, times: NDArray[np.float64], motion: NDArray[np.float64], span: pauses.Span) -> float:
    """The best kept frame well inside the hold; where none was kept, the stillest moment of its inner part."""
    margin = min(0.1, 0.15 * (span[1] - span[0]))
    start, end = span[0] + margin, span[1] - margin
    inside = [k for k in scan.kept if start <= k.time <= end]
    if inside:
        best = inside[0]
        for other in inside[1:]:
            best = other if other.better_than(best) else best
        return best.time
    within = np.flatnonzero((times >= start) & (times <= end))
    if not len(within):
        return float(times[np.argmin(np.abs(times - (start + end) / 2))])
    return float(times[within[np.argmin(motion[within])]])


def _evenly(scan: _Scan, times: NDArray[np.float64], stretch: pauses.Span) -> list[float]:
    """Moments spread evenly over the stretch that moves, each the nearest kept frame or the nearest frame."""
    start, end = stretch
    count = int(min(EVEN_STOPS, max(2, (end - start) / SLOT_S)))
    kept = np.asarray([k.time for k in scan.kept])
    close = min(0.75 * SLOT_S, 0.2 * (end - start) / count)
    chosen = []
    for t in np.linspace(start, end, count + 1)[:-1]:
        near = kept[np.argmin(np.abs(kept - t))] if len(kept) else np.inf
        chosen.append(float(near if abs(near - t) <= close else times[np.argmin(np.abs(times - t))]))
    return sorted(set(chosen))


# ------------------------------------------------------------------------------------------------- looking at a frame

def _luma(frame: VideoFrame) -> NDArray[Any]:
    """The frame's brightness as it lies in memory, (h, w), 8 or 16 bit; no copy for the usual planar formats."""
    plane, name = frame.planes[0], frame.format.name
    deep = frame.format.components[0].bits > 8
    if not name.startswith(("yuv", "nv", "gray", "p0")) or name.startswith("yuyv"):
        frame = frame.reformat(format="gray")
        plane, deep = frame.planes[0], False
    kind = np.dtype(np.uint16 if deep else np.uint8)
    rows = np.frombuffer(memoryview(plane), dtype=kind).reshape(-1, plane.line_size // kind.itemsize)
    return rows[: frame.height, : frame.width]


def _thumbnail(luma: NDArray[Any]) -> NDArray[np.float32]:
    """Brightness at about 160 pixels, blurred, 0 to 255: strided to twice that, then averaged in fours."""
    step = max(1, max(luma.shape) // (2 * THUMB_PX))
    small = luma[::step, ::step]
    height, width = small.shape[0] // 2 * 2, small.shape[1] // 2 * 2
    small = np.ascontiguousarray(small[:height, :width])
    grey = cv2.resize(small, (width // 2, height // 2), interpolation=cv2.INTER_AREA)
    scale = 1.0 if luma.dtype == np.uint8 else 255.0 / 1023.0
    return np.asarray(cv2.GaussianBlur(grey.astype(np.float32) * scale, (0, 0), 1.0), dtype=np.float32)


def _change(one: NDArray[np.float32], other: NDArray[np.float32]) -> float:
    """How much the picture changed where it changed most: 99th percentile, less a change of light common to all."""
    flat = _apart(one, other).ravel()
    rank = int(0.99 * len(flat))
    flat.partition(rank)
    return float(flat[rank])


def _flow(one: NDArray[np.float32], other: NDArray[np.float32]) -> float:
    """Mean change from one thumbnail to the next, less a change of light common to all."""
    return float(_apart(one, other).mean())


def _apart(one: NDArray[np.float32], other: NDArray[np.float32]) -> NDArray[np.float32]:
    """How far each pixel is from what it was, less the median of all, which is a change of light."""
    diff = other - one
    some = diff[::3, ::3].ravel()
    middle = len(some) // 2
    some.partition([middle - 1, middle])
    diff -= some[middle] if len(some) % 2 else (some[middle - 1] + some[middle]) / 2
    return np.asarray(np.abs(diff, out=diff))


def _sharpness(luma: NDArray[Any]) -> float:
    """Mean absolute step between neighbouring pixels on every 16th row of the picture's middle."""
    height, width = luma.shape
    rows = luma[height // 8 : height * 7 // 8 : 16, width // 4 : width * 3 // 4]
    return float(cv2.norm(rows[:, 1:], rows[:, :-1], cv2.NORM_L1)) / max(rows[:, 1:].size, 1)


def _hdr(frame: VideoFrame) -> bool:
    """Perceptual quantizer or hybrid log-gamma, as numbered in ITU-T H.273."""
    return int(frame.color_trc or 0) in (16, 18)
