"""Damaged and oversized pictures: always one sentence, and never more memory than a laptop has to spare."""

from __future__ import annotations

import io
import random
import struct
import subprocess
import sys
import zlib
from pathlib import Path

import numpy as np
import pytest
from PIL import Image

from silhouette.errors import PictureError
from silhouette.intake import decode, stills

KINDS = ["PNG", "JPEG", "WEBP", "TIFF", "HEIF", "AVIF"]


def encoded(kind: str, seed: int = 0, **options: object) -> bytes:
    import pillow_heif

    pillow_heif.register_heif_opener()
    noise = np.random.default_rng(seed).integers(0, 255, (90, 80, 3), np.uint8)
    exif = Image.Exif()
    exif[0x0112] = 6
    exif.get_ifd(0x8769)[0xA405] = 26
    out = io.BytesIO()
    Image.fromarray(noise).save(out, kind, exif=exif, **options)
    return out.getvalue()


def damaged(data: bytes, rng: random.Random) -> bytes:
    broken = bytearray(data)
    for _ in range(rng.choice([1, 1, 2, 4])):
        at = rng.randrange(len(broken) if rng.random() < 0.5 else min(400, len(broken)))
        way = rng.random()
        if way < 0.5:
            broken[at] ^= 1 << rng.randrange(8)
        elif way < 0.7:
            broken[at : at + 4] = rng.choice([b"\0\0\0\0", b"\xff\xff\xff\xff", b"\x7f\xff\xff\xff", b"\0\0\xc3\x50"])
        elif way < 0.9:
            del broken[max(1, at) :]
        else:
            broken[at:at] = broken[at : at + 30]
    return bytes(broken)


@pytest.mark.parametrize("kind", KINDS)
def test_a_damaged_picture_is_read_or_told_in_one_sentence(tmp_path: Path, kind: str) -> None:
    rng, whole = random.Random(9), encoded(kind)
    suffix = ".heic" if kind in ("HEIF", "AVIF") else f".{kind.lower()}"
    for case in range(150):
        path = tmp_path / f"{case}{suffix}"
        path.write_bytes(damaged(whole, rng))
        for read in (lambda p: stills.read_still(p, 1008), stills.read_full, stills.read_mask):
            try:
                read(path)
            except PictureError as error:
                assert "\n" not in str(error) and str(path) in str(error)


@pytest.mark.parametrize("raised", [RuntimeError("x"), EOFError(), struct.error("x"), zlib.error("x"), MemoryError()])
def test_whatever_a_decoder_raises_becomes_a_sentence(
    tmp_path: Path, monkeypatch: pytest.MonkeyPatch, raised: Exception
) -> None:
    def fail(*_: object, **__: object) -> None:
        raise raised

    path = tmp_path / "a.png"
    path.write_bytes(encoded("PNG"))
    with monkeypatch.context() as patch:
        patch.setattr(Image.Image, "convert", fail)
        with pytest.raises(PictureError, match=r"a\.png: is cut off or damaged"):
            stills.read_still(path, 1008)
    with monkeypatch.context() as patch:
        patch.setattr(Image, "open", fail)
        with pytest.raises(PictureError, match=r"a\.png: is not a picture"):
            stills.read_still(path, 1008)


@pytest.mark.parametrize("broken", [b"Exif\0\0MM\0*\xff\xff\xff\xff", b"Exif\0\0rubbish", b"Exif\0\0II*\0\x08\0\0\0"])
@pytest.mark.parametrize("kind", ["JPEG", "PNG", "WEBP"])
def test_exif_that_cannot_be_read_is_passed_over(tmp_path: Path, kind: str, broken: bytes) -> None:
    out, path = io.BytesIO(), tmp_path / f"a.{kind.lower()}"
    Image.new("RGB", (80, 90), "red").save(out, kind, exif=broken)
    path.write_bytes(out.getvalue())
    picture = stills.read_still(path, 1008)
    assert picture.full_size == (80, 90) and picture.focal_35mm is None and picture.time is None


def test_exif_that_makes_the_library_fail_is_passed_over(tmp_path: Path, monkeypatch: pytest.MonkeyPatch) -> None:
    def fail(*_: object) -> None:
        raise struct.error("unpack requires a buffer")

    monkeypatch.setattr(Image.Image, "getexif", fail)
    (tmp_path / "a.jpg").write_bytes(encoded("JPEG"))
    assert stills.read_still(tmp_path / "a.jpg", 1008).full_size == (80, 90)


def test_only_the_kinds_that_are_promised_are_decoded(tmp_path: Path) -> None:
    for kind in ("PPM", "BMP", "GIF", "EPS", "TGA", "PCX"):
        Image.new("RGB", (80, 90), "red").save(tmp_path / "a.jpg", kind)
        with pytest.raises(PictureError, match="not a picture"):
            stills.read_still(tmp_path / "a.jpg", 1008)


def png_of(width: int, height: int, depth: int = 1) -> bytes:
    def chunk(kind: bytes, body: bytes) -> bytes:
        return struct.pack(">I", len(body)) + kind + body + struct.pack(">I", zlib.crc32(kind + body))

    head = struct.pack(">IIBBBBB", width, height, depth, 0, 0, 0, 0)
    lines = zlib.compress(bytes((width * depth + 7) // 8 + 1) * 64)
    return b"\x89PNG\r\n\x1a\n" + chunk(b"IHDR", head) + chunk(b"IDAT", lines) + chunk(b"IEND", b"")


def test_a_declared_size_is_judged_before_it_is_decoded(tmp_path: Path) -> None:
    (tmp_path / "a.png").write_bytes(png_of(20_000, 20_000))
    (tmp_path / "b.png").write_bytes(png_of(11_000, 11_000))
    for read in (lambda p: stills.read_still(p, 1008), stills.read_full, stills.read_mask):
        with pytest.raises(PictureError, match="has 400 million pixels; 110 million is the most that is read"):
            read(tmp_path / "a.png")
        with pytest.raises(PictureError, match="has 121 million pixels"):
            read(tmp_path / "b.png")


def test_a_tile_that_declares_more_than_its_picture_is_refused(tmp_path: Path) -> None:
    """A TIFF by hand: 80 x 90 grey pixels in one deflated tile whose width is said to be 5 million."""
    body = zlib.compress(bytes(96 * 96))
    rows = [(256, 80), (257, 90), (258, 8), (259, 8), (262, 1), (277, 1), (322, 5_000_000), (323, 96)]
    rows += [(324, 8), (325, len(body))]
    table = struct.pack("<H", len(rows)) + b"".join(struct.pack("<HHII", tag, 4, 1, value) for tag, value in rows)
    (tmp_path / "a.tif").write_bytes(b"II*\0" + struct.pack("<I", 8 + len(body)) + body + table + bytes(4))
    with pytest.raises(PictureError, match=r"a\.tif: is a TIFF in pieces of 480 MB; 440 MB is the most"):
        stills.read_still(tmp_path / "a.tif", 1008)


CHILD = """
import re, sys
from pathlib import Path
from silhouette.errors import PictureError
from silhouette.intake import stills
for read in (lambda p: stills.read_still(p, 1008), stills.read_full, stills.read_mask):
    try:
        read(Path(sys.argv[1]))
    except PictureError as error:
        print(error)
print(int(re.search(r"VmHWM:\\s+(\\d+) kB", Path("/proc/self/status").read_text()).group(1)) * 1024)
"""


@pytest.mark.skipif(sys.platform != "linux", reason="no measure of a process's own peak")
@pytest.mark.parametrize(
    ("mode", "side", "name", "options", "refused"),
    [
        ("RGBA", 10_400, "a.png", {"compress_level": 1}, False),
        ("RGB", 10_400, "a.webp", {"method": 0}, False),
        ("1", 20_000, "a.png", {}, True),
        ("RGB", 11_000, "a.webp", {"method": 0}, True),
    ],
)
def test_no_picture_takes_more_than_a_gigabyte_and_a_half(
    tmp_path: Path, mode: str, side: int, name: str, options: dict[str, int], refused: bool
) -> None:
    Image.new(mode, (side, side)).save(tmp_path / name, **options)
    told = subprocess.run([sys.executable, "-c", CHILD, tmp_path / name], capture_output=True, text=True, check=True)
    *sentences, peak = told.stdout.splitlines()
    assert int(peak) < (0.3e9 if refused else 1.5e9)
    assert len(sentences) == (3 if refused else 0)


def test_a_mask_is_light_where_the_figure_is(tmp_path: Path) -> None:
    drawn = np.zeros((90, 80), np.uint8)
    drawn[20:70, 30:50] = 255
    deep = Image.fromarray(drawn.astype(np.uint16) * 257)
    for image in (deep, *(Image.fromarray(drawn).convert(mode) for mode in ("L", "1", "RGB", "P", "LA"))):
        image.save(tmp_path / "a.mask.png")
        assert ((stills.read_mask(tmp_path / "a.mask.png") > 127) == (drawn > 127)).all()
    clear = np.dstack([np.full((90, 80, 3), 255, np.uint8), drawn])  # white all over, the ground erased
    Image.fromarray(clear).save(tmp_path / "a.mask.png")
    assert ((stills.read_mask(tmp_path / "a.mask.png") > 127) == (drawn > 127)).all()


def test_samples_of_sixteen_and_thirty_two_bits_are_brought_to_eight(tmp_path: Path) -> None:
    grey = np.tile(np.linspace(0, 65535, 80), (90, 1))
    for values, suffix in ((grey.astype(np.uint16), "png"), (grey.astype(np.float32), "tif"), (grey / 257, "tif")):
        Image.fromarray(values.astype(values.dtype if values.dtype != float else np.float32)).save(
            tmp_path / f"a.{suffix}"
        )
        pixels = stills.read_full(tmp_path / f"a.{suffix}")
        assert np.abs(pixels[5, :, 1] - np.linspace(0, 255, 80)).max() <= 1


def test_strips_join_without_a_seam(tmp_path: Path, monkeypatch: pytest.MonkeyPatch) -> None:
    (tmp_path / "a.png").write_bytes(encoded("PNG"))
    (tmp_path / "a.webp").write_bytes(encoded("WEBP", lossless=True))
    whole = stills.read_full(tmp_path / "a.png")
    assert np.array_equal(stills.read_full(tmp_path / "a.webp"), whole)
    monkeypatch.setattr(decode, "STRIP_PIXELS", 700)
    for name in ("a.png", "a.webp"):
        assert np.array_equal(stills.read_full(tmp_path / name), whole)
