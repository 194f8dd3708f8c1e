"""Open and decode clips that strangers made: one file and no other, frames of 4K at most, errors as one sentence."""

from __future__ import annotations

from collections.abc import Iterator
from pathlib import Path
from types import TracebackType
from typing import TYPE_CHECKING, Any, BinaryIO

import numpy as np

from silhouette.errors import FilmError, SilhouetteError
from silhouette.intake.decode import SMALLEST
from silhouette.intake.regular import open_regular
from silhouette.records import Pixels

if TYPE_CHECKING:
    from av.container import InputContainer
    from av.video.frame import VideoFrame
    from av.video.stream import VideoStream

SUFFIXES = frozenset({".mp4", ".mov", ".m4v", ".3gp", ".mkv", ".webm", ".avi", ".mts", ".m2ts"})
CONTAINERS = "mov,matroska,avi,mpegts"
"""FFmpeg's names of the containers that those suffixes stand for. Playlists and scripts, which name other files, are
none of them."""
CODECS = ("h264", "hevc", "av1", "libdav1d", "vp8", "vp9", "libvpx", "libvpx-vp9", "mpeg4", "mjpeg", "mpeg2video",
          "mpegvideo", "h263", "prores", "dnxhd", "dvvideo", "ffv1", "rawvideo")
"""FFmpeg's names of the decoders that are let near a stranger's clip: what phones and cameras write. It brings hundreds
of others, some with known faults."""
MOST_PIXELS = 4096 * 3072
"""Largest frame that is decoded: 4K at any shape. 8K would take over a gigabyte and shows an outline no better."""
LONGEST_GAP_S = 30.0
"""Seconds between two frames from which the clip's clock counts as damaged: a phone writes at least one a second."""
NEAR_S = 0.1
"""Seconds that a frame read again may lie from the one that is wanted; a hold lasts half a second."""
SAME_S = 0.004
"""Seconds within which two times mean one frame: less than half a frame of slow motion."""
BREAKS_OFF, CHANGES_SIZE = "breaks off", "changes size"
"""What ends a clip before its time."""


def is_clip(path: str | Path) -> bool:
    """Whether the file's name says that it is a clip."""
    return Path(path).suffix.lower() in SUFFIXES


class Reel:
    """An open clip; used in ``with``, where whatever its decoder raises becomes a :class:`FilmError`."""

    def __init__(self, path: Path) -> None:
        self.path = path
        self.broken = ""
        """What ended the frames before the clip's end, if anything did."""
        self.length = 0.0
        """Seconds that the file claims; 0 where it does not say."""
        self._file: BinaryIO | None = None
        self._container: InputContainer
        self._stream: VideoStream
        self._going: Iterator[tuple[VideoFrame, float]] = iter(())
        self._last: tuple[VideoFrame, float] | None = None
        """Where :meth:`at` goes on, and the last frame that it came by."""

    def __enter__(self) -> Reel:
        if not self.path.exists():
            raise FilmError("There is no such clip.", path=self.path)
        self._file = open_regular(self.path, FilmError)
        try:
            self._open(self._file)
        except BaseException as error:
            self._file.close()
            if isinstance(error, SilhouetteError) or not isinstance(error, Exception):
                raise
            raise FilmError(
                "The clip cannot be opened: it is no film, or its index is missing because the copy broke off.",
                path=self.path,
                do="Copy it from the phone again.",
            ) from error
        return self

    def __exit__(self, kind: type[BaseException] | None, error: BaseException | None, _: TracebackType | None) -> None:
        self._container.close()
        if self._file is not None:
            self._file.close()
        if isinstance(error, Exception) and not isinstance(error, SilhouetteError):
            raise FilmError("The clip is damaged.", path=self.path, do="Copy it from the phone again.") from error

    def _open(self, file: BinaryIO) -> None:
        import av

        options = {
            "format_whitelist": CONTAINERS,
            "codec_whitelist": ",".join(CODECS),
            "max_pixels": str(MOST_PIXELS),
        }
        self._container = av.open(
            file, mode="r", options=options, io_open=_refuse_other_files, metadata_errors="replace"
        )
        stream = next((s for s in self._container.streams.video if not _is_cover(s)), None)
        if stream is None:
            kind = "sound but no pictures" if self._container.streams.audio else "no pictures"
            raise FilmError(f"The clip holds {kind}.", path=self.path, do="Give the clip that the phone filmed.")
        if stream.codec_context is None or stream.codec_context.name not in CODECS:
            raise FilmError(
                "The clip is written in a way that cannot be read here.", path=self.path, do="Save it as H.264 (MP4)."
            )
        self._refuse_size(stream.width, stream.height)
        stream.codec_context.options = {"max_pixels": str(MOST_PIXELS)}
        stream.thread_type = "AUTO"
        self._stream = stream
        self.length = _length(self._container, stream)

    def _refuse_size(self, width: int, height: int) -> None:
        if width * height > MOST_PIXELS:
            raise FilmError(
                f"The clip is {width} x {height}, more than the {MOST_PIXELS / 1e6:.1f} million pixels that are read.",
                path=self.path,
                do="Film in 4K or 1080p, or save a 4K copy; an outline gains nothing from more.",
            )
        if 0 < min(width, height) < SMALLEST:
            raise FilmError(
                f"The clip is only {width} x {height} pixels, too small to hold a figure.",
                path=self.path,
                do=f"{SMALLEST} is the least.",
            )

    def frames(self) -> Iterator[tuple[VideoFrame, float]]:
        """Decoded frames with their time from the clip's start, growing, as far as they can be read; then ``broken``
        says what ended them."""
        stream = self._stream
        start = float((stream.start_time or 0) * stream.time_base) if stream.time_base else 0.0
        fps, count, last = float(stream.average_rate or stream.guessed_rate or 30), 0, -1.0
        first: tuple[Any, ...] | None = None
        decoded = self._container.decode(stream)
        while True:
            try:
                frame = next(decoded)
            except StopIteration:
                return
            except Exception:
                self.broken = BREAKS_OFF
                return
            shape = frame.width, frame.height, frame.format.name
            if first is None:
                first = shape
                self._refuse_size(frame.width, frame.height)
            time = count / fps if frame.time is None else frame.time - start
            if shape != first or (count and time - last > LONGEST_GAP_S):
                self.broken = CHANGES_SIZE if shape != first else BREAKS_OFF
                return
            count += 1
            if time > last:
                last = time
                yield frame, time

    def at(self, wanted: float, *, jump: bool = True) -> tuple[VideoFrame, float] | None:
        """The frame nearest to a time, and its own time; by jumping to the key frame before it, or from the start on.

        Asked for in growing order, frames that lie behind one key frame are decoded in one go. None where no frame is
        near, as in containers that cannot be jumped about in.
        """
        if not (jump and self._on_the_way(wanted)):
            if jump and not self._jump(wanted):
                return None
            self._going, self._last = self.frames(), None
        best = self._last
        while best is None or best[1] < wanted - SAME_S:
            self._last = next(self._going, None)
            if self._last is None or (best is not None and self._last[1] > wanted + SAME_S):
                break
            best = self._last
        return best if best is not None and abs(best[1] - wanted) <= NEAR_S else None

    def _on_the_way(self, wanted: float) -> bool:
        """Whether to go on from the last frame leads to a time with fewer frames than to jump would."""
        if self._last is None or wanted < self._last[1] - SAME_S:
            return False
        found = self._stream.index_entries.search_timestamp(self._stamp(wanted))
        if found < 0:
            return False
        return self._stream.index_entries[found].timestamp <= self._stamp(self._last[1])

    def _jump(self, wanted: float) -> bool:
        try:
            self._container.seek(self._stamp(wanted), stream=self._stream, backward=True)
        except Exception:
            return False
        return True

    def _stamp(self, time: float) -> int:
        """The clip's own clock just before a time, seconds from its start."""
        base, first = float(self._stream.time_base or 1e-6), self._stream.start_time or 0
        return max(0, int(first + (time - 0.02) / base))


def read_at(path: Path, times: list[float], work_px: int | None) -> Iterator[Pixels]:
    """The frames nearest to the given growing times (seconds), upright, the longer side at most ``work_px``.

    Raises
    ------
    FilmError
        If the clip cannot be used, or one of them cannot be read.
    """
    with Reel(path) as reel:
        for wanted in times:
            found = reel.at(wanted)
            if found is None:
                with Reel(path) as again:
                    found = again.at(wanted, jump=False)
            if found is None:
                raise FilmError(f"The frame at {wanted:.1f} s cannot be read again.", path=path)
            yield upright(found[0], quarter_turns(found[0]), work_px)


def upright(frame: VideoFrame, rotation: int, work_px: int | None) -> Pixels:
    """BGR, scaled to ``work_px`` (never up; None for full size) and turned upright."""
    scale = 1.0 if work_px is None else min(1.0, work_px / max(frame.width, frame.height))
    width, height = max(1, round(frame.width * scale)), max(1, round(frame.height * scale))
    out = frame.reformat(width=width, height=height, format="bgr24", interpolation="AREA").to_ndarray()
    return np.ascontiguousarray(np.rot90(out, -rotation))


def quarter_turns(frame: VideoFrame) -> int:
    """Clockwise quarter turns that set the stored picture upright; the flag counts degrees the other way round."""
    return round(-frame.rotation / 90) % 4


def _refuse_other_files(url: str, *_: object) -> BinaryIO:
    """A clip is one file; what it says of others is not looked at."""
    raise OSError("a clip may not name other files")


def _is_cover(stream: VideoStream) -> bool:
    """A still picture attached to a sound file."""
    import av

    return bool(stream.disposition & av.stream.Disposition.attached_pic)


def _length(container: InputContainer, stream: VideoStream) -> float:
    if stream.duration and stream.time_base:
        return float(stream.duration * stream.time_base)
    return float(container.duration or 0) / 1e6
