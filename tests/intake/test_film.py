"""Clips: stops found, stills inside their holds, and every kind of clip that is none. Rendered clips, with truth."""

from __future__ import annotations

import json
import struct
from fractions import Fraction
from pathlib import Path

import av
import numpy as np
import pytest

from silhouette.errors import FilmError
from silhouette.intake import film, pauses, reel
from silhouette.records import Note

CLIPS = Path(__file__).parents[1] / "data" / "clips"


def truth_of(name: str) -> list[dict[str, float]]:
    return list(json.loads((CLIPS / f"{name}.truth.json").read_text()))


def write(path: Path, frames: list[np.ndarray], *, times: list[int] | None = None, pix_fmt: str = "yuv420p") -> Path:
    """A small H.264 clip; times in milliseconds, 30 frames a second if not given."""
    with av.open(str(path), "w") as out:
        stream = out.add_stream("libx264" if pix_fmt == "yuv420p" else "libx265", rate=30)
        stream.height, stream.width = frames[0].shape[:2]
        stream.pix_fmt = pix_fmt
        stream.codec_context.time_base = Fraction(1, 1000)
        stream.options = {"crf": "20"} if pix_fmt == "yuv420p" else {"x265-params": "log-level=none"}
        for k, pixels in enumerate(frames):
            frame = av.VideoFrame.from_ndarray(pixels, format="bgr24")
            frame.pts, frame.time_base = (round(k * 1000 / 30) if times is None else times[k]), Fraction(1, 1000)
            for packet in stream.encode(frame):
                out.mux(packet)
        for packet in stream.encode():
            out.mux(packet)
    return path


def bar(at: float, size: tuple[int, int] = (180, 320)) -> np.ndarray:
    """A dark bar on grey, ``at`` its place from 0 to 1, in the upper half only."""
    pixels = np.full((*size, 3), 150, np.uint8)
    left = int(20 + at * (size[1] - 80))
    pixels[10 : size[0] // 2, left : left + 40] = (40, 30, 120)
    return pixels


def stepping(places: list[float], hold: int = 18, move: int = 12) -> list[np.ndarray]:
    frames: list[np.ndarray] = []
    for here, there in zip(places, [*places[1:], places[-1]], strict=True):
        frames += [bar(here)] * hold
        if there != here:
            frames += [bar(here + (there - here) * (k + 1) / (move + 1)) for k in range(move)]
    return frames


def turned_by(source: Path, into: Path, clockwise: int) -> Path:
    """The same file with the display matrix of its track header set, as a phone held upright does (ISO 14496-12)."""
    data = bytearray(source.read_bytes())
    at = data.find(b"tkhd")
    start = at + 4 + 4 + (32 if data[at + 4] else 20) + 16
    a, b, c, d = {90: (0, 1, -1, 0), 180: (-1, 0, 0, -1), 270: (0, -1, 1, 0)}[clockwise]
    data[start : start + 36] = struct.pack(">9i", a << 16, b << 16, 0, c << 16, d << 16, 0, 0, 0, 1 << 30)
    into.write_bytes(data)
    return into


@pytest.mark.parametrize("name", ["steady", "droop", "gap_and_short"])
def test_every_hold_is_found_and_its_still_lies_inside(name: str) -> None:
    stops, truth = film.find_stops(CLIPS / f"{name}.mp4"), truth_of(name)
    assert stops.paused and len(stops.chosen) == len(truth)
    for time, row in zip(stops.chosen, truth, strict=True):
        assert row["start"] - 1e-3 <= time <= row["end"] + 1e-3
    assert stops.motion_share.shape == (len(truth) - 1,)
    assert stops.motion_share.sum() == pytest.approx(1)


def test_stills_are_kept_on_the_way_and_read_again_alike() -> None:
    clip = CLIPS / "gap_and_short.mp4"
    stops = film.find_stops(clip, work_px=320)
    pictures = list(film.read_stops(clip, stops, 320))
    assert [p.name for p in pictures[:2]] == ["stop_00", "stop_01"]
    assert all(max(p.pixels.shape[:2]) == 320 and p.full_size == (360, 640) for p in pictures)
    assert [p.time for p in pictures] == list(stops.chosen)
    again = list(film.read_stops(clip, film.find_stops(clip, work_px=400), 320))
    for one, other in zip(pictures, again, strict=True):
        assert np.abs(one.pixels.astype(int) - other.pixels).mean() < 1.0
    full = film.read_full(clip, stops.chosen[3])
    assert full.shape == (640, 360, 3)


@pytest.mark.parametrize(("name", "least"), [("steady", 16), ("gap_and_short", 13)])
def test_of_a_clip_with_more_stills_than_are_kept_most_holds_keep_one(
    name: str, least: int, monkeypatch: pytest.MonkeyPatch
) -> None:
    """Some 70 stills come up, and there is room for 40; when the less still half went, 11 holds kept one of each."""
    monkeypatch.setattr(film, "KEEP_BYTES", 40 * 320 * 180 * 3)
    stops, truth = film.find_stops(CLIPS / f"{name}.mp4", work_px=320), truth_of(name)
    assert len(stops.chosen) == len(truth) and sum(time in stops.kept for time in stops.chosen) >= least
    for time, row in zip(stops.chosen, truth, strict=True):
        assert row["start"] - 1e-3 <= time <= row["end"] + 1e-3


@pytest.mark.parametrize("clockwise", [90, 180, 270])
def test_rotation_flag_sets_pictures_upright(tmp_path: Path, clockwise: int) -> None:
    plain = write(tmp_path / "plain.mp4", stepping([0.0, 0.5, 1.0]))
    turned = turned_by(plain, tmp_path / "turned.mp4", clockwise)
    first = next(iter(film.read_stops(turned, film.find_stops(turned))))
    upright = np.rot90(film.read_full(plain, first.time or 0.0), -clockwise // 90)
    assert first.pixels.shape == upright.shape
    assert np.abs(first.pixels.astype(int) - upright).mean() < 2.0
    assert first.full_size == (first.pixels.shape[1], first.pixels.shape[0])


def test_variable_frame_rate_uses_the_time_stamps(tmp_path: Path) -> None:
    frames = stepping([0.0, 0.4, 0.8])
    gaps = np.random.default_rng(1).integers(20, 60, len(frames))
    times = [int(t) for t in np.concatenate([[0], np.cumsum(gaps)[:-1]])]
    clip = write(tmp_path / "uneven.mp4", frames, times=times)
    stops = film.find_stops(clip)
    starts = [times[0], times[30], times[60]]
    ends = [times[17], times[47], times[77]]
    assert len(stops.chosen) == 3
    for time, start, end in zip(stops.chosen, starts, ends, strict=True):
        assert start / 1000 - 0.01 <= time <= end / 1000 + 0.01


@pytest.mark.parametrize(("holds", "turn"), [
    ([(0.0, 1.0), (9.0, 10.0)], (1.0, 9.0)),
    ([(0.0, 1.5), (3.0, 4.0), (14.0, 15.0), (16.0, 17.5)], (4.0, 14.0)),  # empty, still, turn, still, empty
    ([(0.0, 1.0), (2.0, 3.0)], None),  # two stops
    ([(0.0, 1.0), (6.5, 7.0), (12.5, 13.5)], None),  # two long moves
    ([(0.0, 1.0), (11.0, 12.0), (13.0, 14.0), (15.0, 16.0), (17.0, 18.0)], None),  # a long way in, then four stops
    ([(0.0, 1.0)], None),
    ([], None),
])
def test_one_long_move_between_few_holds_is_a_slow_turn(
    holds: list[tuple[float, float]], turn: tuple[float, float] | None
) -> None:
    assert pauses.slow_turn(holds) == turn


def test_a_slow_turn_after_standing_still_is_sampled_over_the_turn_alone(tmp_path: Path) -> None:
    frames = [bar(0.0)] * 40 + [bar(k / 240) for k in range(240)] + [bar(1.0)] * 40
    stops = film.find_stops(write(tmp_path / "slow.mp4", frames))
    assert not stops.paused and len(stops.chosen) == film.EVEN_STOPS
    assert stops.chosen[0] == pytest.approx(40 / 30, abs=0.25) and stops.chosen[-1] < 280 / 30


def test_slow_turn_without_pauses_is_sampled_evenly_and_says_so(tmp_path: Path) -> None:
    frames = [bar(0.5 + 0.5 * np.sin(2 * np.pi * k / 90)) for k in range(240)]
    stops = film.find_stops(write(tmp_path / "slow.mp4", frames))
    assert not stops.paused and stops.notes == (Note.of("no pauses", count=len(stops.chosen)),)
    steps = np.diff(stops.chosen)
    assert len(stops.chosen) == film.EVEN_STOPS and steps.max() < 2 * steps.min()


def test_nothing_moves(tmp_path: Path) -> None:
    stops = film.find_stops(write(tmp_path / "still.mp4", [bar(0.3)] * 60))
    assert len(stops.chosen) == 1 and stops.notes == (Note.of("nothing turns"),)


def test_truncated_clip_is_used_as_far_as_it_goes(tmp_path: Path) -> None:
    source = CLIPS / "steady.mp4"
    with av.open(str(source)) as whole, av.open(
        str(tmp_path / "front.mp4"), "w", options={"movflags": "faststart"}
    ) as out:
        stream = out.add_stream_from_template(whole.streams.video[0])
        for packet in whole.demux(whole.streams.video[0]):
            if packet.dts is not None:
                packet.stream = stream
                out.mux(packet)
    data = (tmp_path / "front.mp4").read_bytes()
    cut = tmp_path / "cut.mp4"
    cut.write_bytes(data[: len(data) * 6 // 10])
    stops = film.find_stops(cut)
    assert 8 <= len(stops.chosen) < 22
    assert any(note.kind == "clip breaks off" for note in stops.notes)


def test_ten_bit_hevc_is_read(tmp_path: Path) -> None:
    clip = write(tmp_path / "deep.mp4", stepping([0.0, 0.5, 1.0]), pix_fmt="yuv420p10le")
    stops = film.find_stops(clip)
    assert len(stops.chosen) == 3
    assert next(iter(film.read_stops(clip, stops))).pixels.dtype == np.uint8


def _sound_only(path: Path) -> None:
    with av.open(str(path), "w") as out:
        stream = out.add_stream("aac", rate=8000)
        frame = av.AudioFrame.from_ndarray(np.zeros((1, 1024), np.float32), format="fltp", layout="mono")
        frame.sample_rate, frame.pts = 8000, 0
        for packet in [*stream.encode(frame), *stream.encode()]:
            out.mux(packet)


@pytest.mark.parametrize(("make", "words"), [
    (lambda p: None, "no such clip"),
    (lambda p: p.write_bytes(b"not a film at all"), "cannot be opened"),
    (lambda p: p.write_bytes((CLIPS / "steady.mp4").read_bytes()[:50_000]), "cannot be opened"),
    (_sound_only, "sound but no pictures"),
    (lambda p: write(p, [bar(0.1)]), "too short"),
], ids=["missing", "rubbish", "no index", "sound only", "one frame"])
def test_unusable_clips_say_so_in_one_sentence(tmp_path: Path, make, words: str) -> None:
    path = tmp_path / "clip.mp4"
    make(path)
    with pytest.raises(FilmError, match=words) as caught:
        film.find_stops(path)
    assert str(path) in str(caught.value)


def test_too_large_a_picture_is_refused(monkeypatch: pytest.MonkeyPatch) -> None:
    monkeypatch.setattr(reel, "MOST_PIXELS", 100_000)
    with pytest.raises(FilmError, match="360 x 640"):
        film.find_stops(CLIPS / "steady.mp4")


def test_is_clip_goes_by_the_name() -> None:
    assert film.is_clip("a/B.MOV") and not film.is_clip("a/b.jpg")


def test_holds_of_a_drawn_curve() -> None:
    times = np.arange(0, 6, 1 / 30)
    moving = (times % 2) > 1.2
    holds = pauses.find_holds(times, np.where(moving, 8.0, 0.5))
    assert len(holds) == 3
    for (start, end), k in zip(holds, range(3), strict=True):
        assert abs(start - 2 * k) < 0.12 and abs(end - (2 * k + 1.2)) < 0.12
    assert pauses.find_holds(times, np.full(len(times), 3.0)) == []


def test_twitch_is_no_move_and_small_move_is_one() -> None:
    times = np.arange(0, 8, 1 / 30)
    motion = np.where((times % 2) > 1.4, 8.0, 0.5)
    motion[(times > 0.5) & (times < 0.9)] = 2.5
    places = {0.0: 0.0, 0.9: 0.0, 2.0: 10.0, 4.0: 20.0, 6.0: 30.0}

    def change(moved: float):
        def between(one: float, other: float) -> float:
            a, b = (places[max(t for t in places if t <= x)] + (moved if 0.9 <= x < 2 else 0) for x in (one, other))
            return abs(a - b)
        return between

    assert len(pauses.find_holds(times, motion, change(0.0))) == 4
    assert len(pauses.find_holds(times, motion, change(5.0))) == 5


def test_shares_of_motion_take_noise_off() -> None:
    times = np.arange(0, 4, 0.1)
    flow = np.full(len(times), 0.5)
    flow[(times > 1) & (times < 1.45)] += 1.0
    flow[(times > 3) & (times < 3.25)] += 3.0
    assert pauses.shares(times, flow, [0.5, 2.0, 3.8]) == pytest.approx([4 / 10, 6 / 10], abs=0.08)
