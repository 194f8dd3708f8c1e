"""Spoilt clips, and things that call themselves clips: playlists, scripts, pipes, devices, films whose size changes."""

from __future__ import annotations

import os
from collections.abc import Callable
from functools import partial
from pathlib import Path

from campaign import mutate, samples
from campaign.harness import Case
from campaign.reader import corpus

SUFFIXES = (".mp4", ".mov", ".m4v", ".3gp", ".mkv", ".webm", ".avi", ".mts", ".m2ts", ".MOV")
SECOND = ((64, 64), (240, 320), (320, 96), (4096, 2304), (7680, 4320))
"""Sizes, wide and high, that a clip goes on with in mid-stream."""


def prepare(case: Case) -> None:
    """Whole clips in every container, and one that is far too large."""
    for name, data in samples.clips().items():
        (case.prepared / name).write_bytes(data)
    (case.prepared / "second").mkdir()
    for size in SECOND:
        clip = samples.clip("sport.mts", *size, frames=2 if size[0] > 999 else 24)
        (case.prepared / "second" / f"{size[0]}.mts").write_bytes(clip)


def run(case: Case) -> None:
    """One clip through score, check, export or rank."""
    folder, dice = case.fresh(), case.dice
    whole = corpus(case.prepared)
    out, codes = folder / "out", {0, 2}
    if dice.random() < 0.8:
        name = dice.choice(list(whole))
        suffix = Path(name).suffix if dice.random() < 0.85 else dice.choice(SUFFIXES)
        clip = folder / f"turn{suffix}"
        clip.write_bytes(mutate.mutate(dice, whole[name], list(whole.values())))
    else:
        clip, codes = dice.choice(ODD)(folder, whole, case)
    way = dice.random()
    quick = ("--work-px", 200)
    if way < 0.6:
        case.attack(["score", clip, *quick, "--jitter", 0], codes=codes)
    elif way < 0.75:
        case.attack(["check", clip, *quick], codes=codes | ({1} if 0 in codes else set()))
    elif way < 0.85:
        case.attack(["export", clip, *quick, "-o", out], codes=codes, out=out)
    elif way < 0.9:
        case.attack(["score", clip, *quick, "--jitter", 0, "-o", out], codes=codes, out=out)
    else:
        # a good pose beside it goes on, whatever the clip; a link that leads nowhere is a name mistyped
        good = samples.pose(folder / "good", (0,))
        case.attack(["rank", good, clip, *quick, "--jitter", 0], codes=(0,) if os.path.exists(clip) else (0, 2))  # noqa: PTH110


Made = tuple[Path, set[int]]
Whole = dict[str, bytes]


def _file(folder: Path, name: str, data: bytes, codes: set[int]) -> Made:
    (folder / name).write_bytes(data)
    return folder / name, codes


def _pipe(folder: Path, whole: Whole, case: Case) -> Made:
    os.mkfifo(folder / "x.mp4")
    return folder / "x.mp4", {2}


def _device(folder: Path, whole: Whole, case: Case) -> Made:
    (folder / "x.mp4").symlink_to(case.dice.choice(("/dev/zero", "/dev/full", "/dev/null", "/dev/urandom")))
    return folder / "x.mp4", {2}


def _loop(folder: Path, whole: Whole, case: Case) -> Made:
    (folder / "x.mov").symlink_to("y.mov")
    (folder / "y.mov").symlink_to("x.mov")
    return folder / "x.mov", {2}


def _folder(folder: Path, whole: Whole, case: Case) -> Made:
    (folder / "x.mkv").mkdir()
    return folder / "x.mkv", {2}


SCRIPTS = (
    "#EXTM3U\n#EXT-X-TARGETDURATION:10\n#EXTINF:10,\n{0}\n#EXT-X-ENDLIST\n",
    "#EXTM3U\n#EXT-X-TARGETDURATION:10\n#EXTINF:10,\nfile://{1}\n#EXT-X-ENDLIST\n",
    "#EXTM3U\n#EXT-X-TARGETDURATION:10\n#EXTINF:10,\nhttp://127.0.0.1:9/a.ts\n#EXT-X-ENDLIST\n",
    "ffconcat version 1.0\nfile {0}\nfile {0}\n",
    "ffconcat version 1.0\nfile '{1}'\n",
    "v=0\no=- 0 0 IN IP4 127.0.0.1\nc=IN IP4 127.0.0.1\nt=0 0\nm=video 9 RTP/AVP 96\na=rtpmap:96 H264/90000\n",
    '<?xml version="1.0"?><MPD xmlns="urn:mpeg:dash:schema:mpd:2011" type="static" mediaPresentationDuration="PT3S">'
    '<Period><AdaptationSet mimeType="video/mp4"><Representation id="1" bandwidth="9"><BaseURL>{0}</BaseURL>'
    "</Representation></AdaptationSet></Period></MPD>",
    "<smil><body><video src='{0}'/></body></smil>",
)


def _script(folder: Path, whole: Whole, case: Case) -> Made:
    """Text that names another film: it is refused, or a stranger's file chooses what is opened."""
    other = folder / "other.mts"
    other.write_bytes(whole.get("camera.mts", b""))
    text = case.dice.choice(SCRIPTS).format(other.name, other)
    return _file(folder, f"list{case.dice.choice(SUFFIXES)}", text.encode(), {2})


def _no_film(data: bytes, folder: Path, whole: Whole, case: Case) -> Made:
    return _file(folder, f"x{case.dice.choice(SUFFIXES)}", data, {2})


def _still(folder: Path, whole: Whole, case: Case) -> Made:
    return _file(folder, "x.mp4", samples.still(), {2, 0})


def _small(folder: Path, whole: Whole, case: Case) -> Made:
    name, wide = case.dice.choice((("exact.mkv", 1), ("exact.mkv", 2), ("phone.mp4", 2), ("old.mov", 16)))
    return _file(folder, name, samples.clip(name, wide, wide), {0, 2})


def _short(folder: Path, whole: Whole, case: Case) -> Made:
    name = case.dice.choice(list(samples.CLIPS))
    return _file(folder, name, samples.clip(name, frames=case.dice.choice((1, 2, 3))), {0, 2})


def _grows(folder: Path, whole: Whole, case: Case) -> Made:
    """The picture changes its size in mid-stream; the second one may be more than is ever decoded."""
    second = case.prepared / "second" / f"{case.dice.choice(SECOND)[0]}.mts"
    return _file(folder, "turn.mts", whole["sport.mts"] + second.read_bytes(), {0, 2})


def _codec(folder: Path, whole: Whole, case: Case) -> Made:
    """A codec that nobody knows."""
    name, mark = case.dice.choice(
        (("phone.mp4", b"avc1"), ("old.mov", b"mp4v"), ("camera.avi", b"MJPG"), ("screen.mkv", b"V_MPEG4/ISO/AVC"))
    )
    return _file(folder, name, whole[name].replace(mark, (b"zqx9" * 4)[: len(mark)]), {0, 2})


def _named(folder: Path, whole: Whole, case: Case) -> Made:
    """A good clip whose name reads like an address or a pattern."""
    name = case.dice.choice(
        ("file:x.mp4", "http:x.mp4", "concat:a|b.mp4", "x%03d.mp4", "-i.mp4", "pipe:0.mp4", "x?.mp4")
    )
    return _file(folder, name, whole["phone.mp4"], {0})


ODD: tuple[Callable[[Path, Whole, Case], Made], ...] = (
    _pipe,
    _device,
    _loop,
    _folder,
    _script,
    _script,
    _script,
    _still,
    _small,
    _short,
    _grows,
    _grows,
    _codec,
    _named,
    partial(_no_film, b""),
    partial(_no_film, b"\0" * 5000),
    partial(_no_film, b"not a film\n" * 50),
)
