"""Clips that are no clips, that change on the way, or that name other files."""

from __future__ import annotations

import random
from collections.abc import Iterator
from fractions import Fraction
from pathlib import Path

import av
import numpy as np
import pytest
from av.video.frame import VideoFrame

from silhouette.errors import FilmError
from silhouette.intake import film, reel

CLIPS = Path(__file__).parents[1] / "data" / "clips"


def written(path: Path, sizes: list[tuple[int, int]], codec: str = "libx264", kind: str | None = None) -> Path:
    """A clip with 30 frames of each size (width, height), each a stream of its own, one behind the other."""
    parts = []
    for width, height in sizes:
        part = path.with_name(f"part_{width}{path.suffix}")
        with av.open(str(part), "w", format=kind) as out:
            stream = out.add_stream(codec, rate=15)
            stream.width, stream.height = width, height
            stream.pix_fmt = "yuv420p"
            for k in range(30):
                pixels = np.full((height, width, 3), 150, np.uint8)
                pixels[: height // 2, 2 * k : 2 * k + width // 3] = (30, 40, 120)
                frame = av.VideoFrame.from_ndarray(pixels, format="bgr24")
                frame.pts, frame.time_base = k, Fraction(1, 15)
                for packet in stream.encode(frame):
                    out.mux(packet)
            for packet in stream.encode():
                out.mux(packet)
        parts.append(part.read_bytes())
        part.unlink()
    path.write_bytes(b"".join(parts))
    return path


def test_a_change_of_size_in_mid_stream_ends_the_clip_there(tmp_path: Path) -> None:
    clip = written(tmp_path / "a.mts", [(320, 240), (160, 120)], kind="mpegts")
    stops = film.find_stops(clip)
    assert stops.size == (320, 240)
    assert any(note.kind == "clip changes size" and round(note["read"]) == 2 for note in stops.notes)
    assert all(p.full_size == (320, 240) for p in film.read_stops(clip, stops))


def test_frames_over_the_limit_in_mid_stream_are_not_decoded(tmp_path: Path, monkeypatch: pytest.MonkeyPatch) -> None:
    clip = written(tmp_path / "a.mts", [(320, 240), (640, 480)], kind="mpegts")
    monkeypatch.setattr(reel, "MOST_PIXELS", 100_000)
    with reel.Reel(clip) as opened:
        assert {(f.width, f.height) for f, _ in opened.frames()} == {(320, 240)}
        assert opened.broken


@pytest.mark.parametrize("name", ["a.avi", "a.mkv", "a.mts"])
def test_frames_dropped_too_early_are_read_again_from_every_container(tmp_path: Path, name: str) -> None:
    codec = {"a.avi": "mpeg4", "a.mkv": "libvpx", "a.mts": "libx264"}[name]
    clip = written(tmp_path / name, [(128, 96)], codec, {"a.mkv": "matroska", "a.mts": "mpegts"}.get(name))
    stops = film.find_stops(clip)
    assert film.read_full(clip, stops.chosen[0]).shape == (96, 128, 3)
    assert film.read_full(clip, stops.chosen[-1]).shape == (96, 128, 3)


@pytest.mark.parametrize("name", ["steady.mp4", "a.avi", "a.mkv", "a.mts"])
def test_frames_asked_for_in_order_are_those_asked_for_apart(
    tmp_path: Path, name: str, monkeypatch: pytest.MonkeyPatch
) -> None:
    clip = CLIPS / name
    if not clip.exists():
        codec = {"a.avi": "mpeg4", "a.mkv": "libvpx", "a.mts": "libx264"}[name]
        clip = written(tmp_path / name, [(128, 96)], codec, {"a.mkv": "matroska", "a.mts": "mpegts"}.get(name))
    decoded, frames = list[float](), reel.Reel.frames

    def counted(self: reel.Reel) -> Iterator[tuple[VideoFrame, float]]:
        for frame, time in frames(self):
            decoded.append(time)
            yield frame, time

    with reel.Reel(clip) as opened:
        all_times = [time for _, time in opened.frames()]
    monkeypatch.setattr(reel.Reel, "frames", counted)
    step = max(1, len(all_times) // 23)
    wanted = sorted([*all_times[::step], *(time + 0.011 for time in all_times[3::step]), all_times[-1]])
    apart = [next(reel.read_at(clip, [time], 96)) for time in wanted]
    decoded.clear()
    together = list(reel.read_at(clip, wanted, 96))
    assert all(map(np.array_equal, together, apart))
    if name in ("steady.mp4", "a.avi"):  # those whose index is read with the head; a key frame may be begun at twice
        assert len(decoded) < 1.1 * len(all_times)


def test_a_seek_that_fails_is_no_end(tmp_path: Path, monkeypatch: pytest.MonkeyPatch) -> None:
    clip = CLIPS / "gap_and_short.mp4"
    wanted = film.read_full(clip, 3.0)
    plain = reel.Reel.at
    monkeypatch.setattr(reel.Reel, "at", lambda self, t, jump=True: None if jump else plain(self, t, jump=False))
    assert np.array_equal(film.read_full(clip, 3.0), wanted)
    monkeypatch.setattr(reel.Reel, "at", lambda self, t, jump=True: None)
    with pytest.raises(FilmError, match=r"frame at 3\.0 s cannot be read again"):
        film.read_full(clip, 3.0)


def test_one_pixel_holds_no_figure(tmp_path: Path) -> None:
    with pytest.raises(FilmError, match=r"a\.mkv: The clip is only 16 x 16 pixels"):
        film.find_stops(written(tmp_path / "a.mkv", [(16, 16)], "libvpx", "matroska"))
    with pytest.raises(FilmError, match=r"The clip is only 1 x 1 pixels"):
        film.find_stops(written(tmp_path / "a.avi", [(1, 1)], "ffv1", "avi"))


def test_a_codec_that_is_not_known_here_is_said(tmp_path: Path) -> None:
    data = (CLIPS / "steady.mp4").read_bytes()
    assert data.count(b"avc1") >= 1
    clip = tmp_path / "a.mp4"
    clip.write_bytes(data.replace(b"avc1", b"zzz9"))
    with pytest.raises(FilmError, match=r"a\.mp4: The clip (is written in a way|holds no picture)"):
        film.find_stops(clip)


def test_a_container_that_names_other_files_is_refused(tmp_path: Path) -> None:
    secret = tmp_path / "other.mp4"
    secret.write_bytes((CLIPS / "gap_and_short.mp4").read_bytes())
    still = tmp_path / "img_001.png"
    still.write_bytes(b"")
    texts = {
        "ffconcat": "ffconcat version 1.0\nfile other.mp4\n",
        "playlist": f"#EXTM3U\n#EXT-X-TARGETDURATION:30\n#EXTINF:30,\n{secret}\n#EXT-X-ENDLIST\n",
        "session": "v=0\no=- 0 0 IN IP4 127.0.0.1\ns=x\nc=IN IP4 127.0.0.1\nt=0 0\nm=video 5004 RTP/AVP 96\n",
        "manifest": f'<?xml version="1.0"?><MPD><Period><BaseURL>{secret}</BaseURL></Period></MPD>',
    }
    for kind, text in texts.items():
        clip = tmp_path / f"{kind}.mp4"
        clip.write_text(text)
        with pytest.raises(FilmError, match=f"{kind}.mp4: The clip cannot be opened"):
            film.find_stops(clip)
    with pytest.raises(FilmError):
        film.find_stops(tmp_path / "img_%03d.mp4")


def test_a_clip_is_read_without_a_path(monkeypatch: pytest.MonkeyPatch) -> None:
    """The library is handed an open file alone, and asked to open no other."""
    asked = []
    plain = av.open

    def watched(file: object, *args: object, **options: object) -> object:
        asked.append((file, options))
        return plain(file, *args, **options)

    monkeypatch.setattr(av, "open", watched)
    film.find_stops(CLIPS / "gap_and_short.mp4")
    ((file, options),) = asked
    assert hasattr(file, "read")
    with pytest.raises(OSError, match="other files"):
        options["io_open"]("other.mp4", 0, {})  # type: ignore[operator, index]


@pytest.mark.parametrize("raised", [MemoryError(), RuntimeError("x"), ValueError("x"), IndexError("x")])
def test_whatever_the_decoder_raises_becomes_a_sentence(monkeypatch: pytest.MonkeyPatch, raised: Exception) -> None:
    def fail(*_: object, **__: object) -> None:
        raise raised

    monkeypatch.setattr(film, "_luma", fail)
    with pytest.raises(FilmError, match=r"gap_and_short\.mp4: The clip is damaged"):
        film.find_stops(CLIPS / "gap_and_short.mp4")


def test_a_clock_that_jumps_ends_the_clip_there(monkeypatch: pytest.MonkeyPatch) -> None:
    class Frame:
        width, height = 128, 96
        format = type("Format", (), {"name": "yuv420p"})

        def __init__(self, time: float) -> None:
            self.time = time

    opened = reel.Reel(CLIPS / "steady.mp4")
    stream = type("Stream", (), {"start_time": 0, "time_base": Fraction(1, 90_000), "average_rate": 30})
    opened._stream = stream()  # type: ignore[assignment]
    times = [0.0, 0.1, 0.2, 4e12]
    opened._container = type("Container", (), {"decode": lambda *_: map(Frame, times)})()  # type: ignore[assignment]
    assert [time for _, time in opened.frames()] == [0.0, 0.1, 0.2] and opened.broken


@pytest.mark.parametrize("name", ["steady.mp4", "other.mkv"])
def test_a_damaged_clip_is_read_or_told_in_one_sentence(tmp_path: Path, name: str) -> None:
    whole = (
        CLIPS.joinpath(name).read_bytes()
        if name.endswith("mp4")
        else written(tmp_path / name, [(128, 96)], "libvpx", "matroska").read_bytes()
    )
    rng = random.Random(3)
    for case in range(12):
        broken = bytearray(whole)
        for _ in range(3):
            at = rng.randrange(len(whole) if rng.random() < 0.5 else 4000)
            broken[at : at + 4] = rng.choice([b"\0\0\0\0", b"\xff\xff\xff\xff", b"\x7f\0\0\0"])
        clip = tmp_path / f"{case}.{name[-3:]}"
        clip.write_bytes(broken[: rng.choice([len(whole), len(whole) // 2])])
        try:
            list(film.read_stops(clip, film.find_stops(clip), 320))
        except FilmError as error:
            assert "\n" not in str(error) and str(clip) in str(error)


def test_a_codec_that_no_camera_writes_is_refused(tmp_path: Path) -> None:
    clip = tmp_path / "old.avi"
    with av.open(str(clip), "w") as out:
        stream = out.add_stream("msmpeg4v2", rate=10)
        stream.width, stream.height, stream.pix_fmt = 160, 120, "yuv420p"
        for _ in range(20):
            for packet in stream.encode(av.VideoFrame(160, 120, "yuv420p")):
                out.mux(packet)
        out.mux(stream.encode(None))
    with pytest.raises(FilmError, match="cannot be read here"), reel.Reel(clip):
        pass
