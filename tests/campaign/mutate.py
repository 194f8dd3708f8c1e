"""Spoil binary files: bits, runs, cuts, splices, lengths and declared sizes.

Our own, and small: there is no mutator at hand that knows these formats, and random bytes alone never get past their
first header. What matters is to keep most of a file right: so a change hits few places, sums are mended after it where
a format has them, and sizes are written where each format keeps them.
"""

from __future__ import annotations

import random
import struct
import zlib
from collections.abc import Callable, Sequence

SIZES = (0, 1, 2, 63, 64, 65, 4097, 12000, 16383, 16384, 20000, 50000, 65535, 65536, 2**24, 2**27, 2**31 - 1, 2**31)
LENGTHS = (0, 1, 2, 7, 0x7F, 0x80, 0xFF, 0x7FFF, 0x8000, 0xFFFF, 2**24 - 1, 2**31 - 1, 2**31, 2**32 - 1)


def mutate(dice: random.Random, data: bytes, others: Sequence[bytes]) -> bytes:
    """``data`` spoilt in one to four ways; ``others`` are whole files to splice with."""
    for _ in range(dice.choice((1, 1, 1, 2, 2, 3, 4))):
        way = dice.choices(_WAYS, _WEIGHTS)[0]
        data = way(dice, data, others) if data else data
    return mend_png(data) if data.startswith(b"\x89PNG") and dice.random() < 0.6 else data


def _at(dice: random.Random, data: bytes) -> int:
    """A place in the file; more often near its beginning, where the headers are."""
    reach = min(len(data), dice.choice((32, 128, 600, len(data), len(data))))
    return dice.randrange(reach)


def _flip(dice: random.Random, data: bytes, others: Sequence[bytes]) -> bytes:
    spoilt = bytearray(data)
    for _ in range(dice.choice((1, 1, 2, 8, 64))):
        spoilt[_at(dice, data)] ^= 1 << dice.randrange(8)
    return bytes(spoilt)


def _run(dice: random.Random, data: bytes, others: Sequence[bytes]) -> bytes:
    at, long = _at(dice, data), dice.choice((1, 2, 4, 16, 256))
    fill = dice.choice((b"\0", b"\xff", b"\x7f", dice.randbytes(1))) * long
    return data[:at] + fill[: len(data) - at] + data[at + long :]


def _cut(dice: random.Random, data: bytes, others: Sequence[bytes]) -> bytes:
    return data[: dice.choice((_at(dice, data), dice.randrange(len(data)), max(0, len(data) - dice.randrange(1, 40))))]


def _insert(dice: random.Random, data: bytes, others: Sequence[bytes]) -> bytes:
    at = _at(dice, data)
    return data[:at] + dice.randbytes(dice.choice((1, 2, 4, 100))) + data[at:]


def _delete(dice: random.Random, data: bytes, others: Sequence[bytes]) -> bytes:
    at = _at(dice, data)
    return data[:at] + data[at + dice.choice((1, 2, 4, 100, 1000)) :]


def _repeat(dice: random.Random, data: bytes, others: Sequence[bytes]) -> bytes:
    at, long = _at(dice, data), dice.choice((4, 12, 64, 1000))
    return data[:at] + data[at : at + long] * dice.choice((2, 3, 50)) + data[at + long :]


def _splice(dice: random.Random, data: bytes, others: Sequence[bytes]) -> bytes:
    other = dice.choice(others)
    return data[: dice.randrange(len(data))] + other[dice.randrange(len(other)) :]


def _length(dice: random.Random, data: bytes, others: Sequence[bytes]) -> bytes:
    at, size = _at(dice, data), dice.choice((2, 4, 4, 8))
    value = dice.choice((*LENGTHS, dice.getrandbits(8 * size))) % 256**size
    return data[:at] + value.to_bytes(size, dice.choice(("big", "little"))) + data[at + size :]


def _exif(dice: random.Random, data: bytes, others: Sequence[bytes]) -> bytes:
    """Change what stands in the EXIF block, if there is one."""
    at = data.find(b"Exif")
    at = at if at >= 0 else max(data.find(b"eXIf"), data.find(b"EXIF"))
    if at < 0:
        return _flip(dice, data, others)
    spoilt = bytearray(data)
    for _ in range(dice.choice((1, 2, 6))):
        spoilt[min(len(data) - 1, at + dice.randrange(4, 220))] = dice.choice((0, 1, 4, 5, 7, 12, 0x7F, 0xFF))
    return bytes(spoilt)


def _size(dice: random.Random, data: bytes, others: Sequence[bytes]) -> bytes:
    try:
        return declare(data, dice.choice(SIZES), dice.choice(SIZES))
    except (IndexError, struct.error):  # cut off before the place where its format keeps the size
        return _flip(dice, data, others)


_CHANCES: dict[Callable[[random.Random, bytes, Sequence[bytes]], bytes], int] = {
    _flip: 5,
    _run: 4,
    _cut: 3,
    _insert: 2,
    _delete: 2,
    _repeat: 2,
    _splice: 1,
    _length: 4,
    _exif: 3,
    _size: 2,
}
_WAYS, _WEIGHTS = list(_CHANCES), list(_CHANCES.values())


def mend_png(data: bytes) -> bytes:
    """The checksums of a PNG made right again, as far as its chunks can be followed."""
    mended, at = bytearray(data), 8
    while at + 12 <= len(mended):
        long = int.from_bytes(mended[at : at + 4], "big")
        end = at + 8 + long
        if end + 4 > len(mended):
            break
        mended[end : end + 4] = zlib.crc32(mended[at + 4 : end]).to_bytes(4, "big")
        at = end + 4
    return bytes(mended)


def declare(data: bytes, wide: int, high: int) -> bytes:
    """The file says that it is ``wide`` by ``high``, as well as its format can; other files come back as they are."""
    if data.startswith(b"\x89PNG"):
        return mend_png(data[:16] + struct.pack(">II", wide % 2**32, high % 2**32) + data[24:])
    if data.startswith(b"\xff\xd8"):
        return _declare_jpeg(data, wide, high)
    if data[8:12] == b"WEBP":
        return _declare_webp(data, wide, high)
    if data[:4] in (b"II*\0", b"MM\0*"):
        return _declare_tiff(data, wide, high)
    spoilt, at = bytearray(data), data.find(b"ispe")
    while at >= 0:  # HEIC, AVIF
        spoilt[at + 8 : at + 16] = struct.pack(">II", wide % 2**32, high % 2**32)
        at = data.find(b"ispe", at + 4)
    at = data.find(b"avc1", data.find(b"stsd"))
    if at >= 0:  # MP4, MOV
        spoilt[at + 28 : at + 32] = struct.pack(">HH", wide % 2**16, high % 2**16)
    at = data.find(b"strf")
    if at >= 0:  # AVI
        spoilt[at + 12 : at + 20] = struct.pack("<II", wide % 2**32, high % 2**32)
    return bytes(spoilt)


def _declare_jpeg(data: bytes, wide: int, high: int) -> bytes:
    at = 2
    while at + 9 < len(data) and data[at] == 0xFF:
        if data[at + 1] in (0xC0, 0xC1, 0xC2):
            return data[: at + 5] + struct.pack(">HH", high % 2**16, wide % 2**16) + data[at + 9 :]
        at += 2 + int.from_bytes(data[at + 2 : at + 4], "big")
    return data


def _declare_webp(data: bytes, wide: int, high: int) -> bytes:
    kind, spoilt = data[12:16], bytearray(data)
    if kind == b"VP8X":
        spoilt[24:30] = ((wide - 1) % 2**24).to_bytes(3, "little") + ((high - 1) % 2**24).to_bytes(3, "little")
    if (at := data.find(b"VP8 ")) >= 0:
        spoilt[at + 14 : at + 18] = struct.pack("<HH", wide % 2**14, high % 2**14)
    if (at := data.find(b"VP8L")) >= 0:
        both = ((wide - 1) % 2**14) | (((high - 1) % 2**14) << 14)
        spoilt[at + 9 : at + 13] = (both | (spoilt[at + 12] & 0xF0) << 24).to_bytes(4, "little")
    return bytes(spoilt)


def _declare_tiff(data: bytes, wide: int, high: int) -> bytes:
    end = "<" if data.startswith(b"II") else ">"
    spoilt = bytearray(data)
    (at,) = struct.unpack_from(end + "I", data, 4)
    if at + 2 > len(data):
        return data
    (count,) = struct.unpack_from(end + "H", data, at)
    for entry in range(at + 2, min(at + 2 + 12 * count, len(data) - 12), 12):
        (tag,) = struct.unpack_from(end + "H", data, entry)
        if tag in (256, 257):
            struct.pack_into(end + "HII", spoilt, entry + 2, 4, 1, (wide if tag == 256 else high) % 2**32)
    return bytes(spoilt)


def flat_png(wide: int, high: int, bits: int = 1, colour: int = 0, interlaced: bool = False) -> bytes:
    """A true PNG of one tone, however large: a few kilobytes that ask for gigabytes.

    ``colour`` is 0 grey, 2 RGB, 3 palette, 6 RGB with alpha. Interlaced ones are cut off behind the first pass.
    """
    samples = {0: 1, 2: 3, 3: 1, 6: 4}[colour]
    row = b"\0" + bytes((wide * bits * samples + 7) // 8)
    packer = zlib.compressobj(1)
    block, left, packed = row * 64, high, b""
    while left > 0:
        packed += packer.compress(block if left >= 64 else row * left)
        left -= 64
    packed += packer.flush()
    head = struct.pack(">IIBBBBB", wide, high, bits, colour, 0, 0, int(interlaced))
    palette = _chunk(b"PLTE", bytes((200, 190, 180, 20, 20, 20))) if colour == 3 else b""
    return b"\x89PNG\r\n\x1a\n" + _chunk(b"IHDR", head) + palette + _chunk(b"IDAT", packed) + _chunk(b"IEND", b"")


def _chunk(name: bytes, body: bytes) -> bytes:
    return struct.pack(">I", len(body)) + name + body + struct.pack(">I", zlib.crc32(name + body))
