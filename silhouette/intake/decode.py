"""Decode pictures that strangers made: sizes are judged before pixels, and a damaged file ends in one sentence."""

from __future__ import annotations

import re
from collections.abc import Callable
from dataclasses import dataclass, replace
from datetime import datetime
from io import BytesIO
from pathlib import Path
from typing import TYPE_CHECKING, Any

import cv2
import numpy as np
from numpy.typing import NDArray

from silhouette.errors import PictureError
from silhouette.intake.guard import decoding
from silhouette.intake.regular import read_regular
from silhouette.records import Pixels

if TYPE_CHECKING:
    from PIL import Image

SMALLEST = 64
"""Shortest side, pixels, that can hold a figure worth measuring."""
MOST_PIXELS = 110_000_000
"""Largest picture that is decoded, pixels: the 108 megapixels of a phone. No kind of file takes 1.5 GB at that size."""
MOST_PIECE = 4 * MOST_PIXELS
"""Largest tile or strip of a TIFF, bytes: it is held twice while it is decoded."""
STRIP_PIXELS = 4_000_000
"""Pixels brought to 8-bit colours at a time, so that whole copies of a large picture do not add up."""

_FORMATS = ("JPEG", "PNG", "WEBP", "TIFF", "AVIF")
"""What is read, whatever the file's name says: a decoder that is not asked cannot be tricked."""
_REDUCED = {8: cv2.IMREAD_REDUCED_COLOR_8, 4: cv2.IMREAD_REDUCED_COLOR_4, 2: cv2.IMREAD_REDUCED_COLOR_2}
_ORIENTATION, _EXIF_IFD, _TAKEN, _FOCAL_35MM = 0x0112, 0x8769, 0x9003, 0xA405
_TILE_WIDTH, _TILE_LENGTH, _ROWS_PER_STRIP, _BITS, _SAMPLES = 322, 323, 278, 258, 277
_DO = "Copy it from the camera again or leave it out."
_UPRIGHT: dict[int, Callable[[Any], Any]] = {
    2: lambda p: p[:, ::-1],
    3: lambda p: p[::-1, ::-1],
    4: lambda p: p[::-1],
    5: lambda p: p.swapaxes(0, 1),
    6: lambda p: np.rot90(p, -1),
    7: lambda p: p[::-1, ::-1].swapaxes(0, 1),
    8: lambda p: np.rot90(p, 1),
}
"""What sets a stored picture upright, by EXIF orientation (JEITA CP-3451, tag 274)."""


@dataclass(frozen=True)
class Header:
    """What a picture's file says before its pixels are decoded."""

    size: tuple[int, int]
    """(width, height) as stored, pixels."""
    orientation: int = 1
    focal_35mm: float | None = None
    taken: float | None = None

    @property
    def upright_size(self) -> tuple[int, int]:
        return self.size[::-1] if self.orientation >= 5 else self.size


def read_picture(path: Path, work_px: int | None = None) -> tuple[Pixels, Header]:
    """(h, w, 3) BGR, upright, and what the file says of it.

    With ``work_px`` a JPEG may come at a half, quarter or eighth of its size, its longer side still at least that.
    Without, colours are converted to sRGB where the file carries another profile.

    Raises
    ------
    PictureError
        If it is missing, no picture, damaged, too large to be decoded or too small to hold a figure.
    """
    return picture_of(_read(path), path, work_px)


def picture_of(
    data: bytes, path: Path, work_px: int | None = None, *, longer: int | None = None
) -> tuple[Pixels, Header]:
    """The same of a picture that is at hand as the bytes of its file; ``path`` is what errors call it.

    With ``longer`` one whose longer side is more pixels than that is too large.
    """
    with decoding(_no_picture(path)):
        image = _open(data, path)
        header = _header(image, data)
    if longer is not None and max(header.size) > longer:
        raise PictureError(f"is {header.size[0]} x {header.size[1]} pixels; {longer} is the most.", path=path)
    _refuse_tiny(header.upright_size, path)
    with decoding(_damaged(path)):
        if image.format in ("JPEG", "MPO") and not _jpeg_is_whole(data, header.size):
            raise _damaged(path)
        if image.format in ("JPEG", "MPO") and work_px is not None:
            pixels = _reduced(data, max(header.size), work_px)
        else:
            profile = None if work_px is not None else image.info.get("icc_profile")
            pixels = _colours(_decoded(image, data), profile)
            header = replace(header, size=pixels.shape[1::-1])  # the size of a HEIC can change while it is decoded
        return np.ascontiguousarray(_turned(pixels, header.orientation)), header


def read_grey(path: Path) -> NDArray[np.uint8]:
    """(h, w) 0 to 255, upright: a mask; what is transparent is black.

    Raises
    ------
    PictureError
        If it is missing, no picture, damaged or too large to be decoded.
    """
    data = _read(path)
    with decoding(_no_picture(path)):
        image = _open(data, path)
        header = _header(image, data)
    with decoding(_damaged(path)):
        grey = _in_strips(_decoded(image, data), _grey, 1)[..., 0]
        return np.ascontiguousarray(_turned(grey, header.orientation))


def _read(path: Path) -> bytes:
    data = read_regular(path, PictureError)
    if not data:
        raise PictureError("is empty.", path=path, do="Copy it from the camera again.")
    return data


def _no_picture(path: Path) -> PictureError:
    return PictureError("is not a picture that can be read, or is damaged.", path=path, do=_DO)


def _damaged(path: Path) -> PictureError:
    return PictureError("is cut off or damaged.", path=path, do=_DO)


# -------------------------------------------------------------------------------------------------------- the header


def _open(data: bytes, path: Path) -> Image.Image:
    """The picture's header; the size that it declares is within the limit."""
    from PIL import Image

    formats: tuple[str, ...] = _FORMATS
    if data[4:8] == b"ftyp":
        import pillow_heif

        pillow_heif.register_heif_opener(thumbnails=False, depth_images=False, aux_images=False)
        formats = ("HEIF", *_FORMATS)
    try:
        image = Image.open(BytesIO(data), formats=formats)
    except Image.DecompressionBombError as error:
        told = re.search(r"\((\d+) pixels\)", str(error))
        raise _too_large(int(told.group(1)) if told else 2 * MOST_PIXELS, path) from None
    _refuse_large(image.size, path)
    if image.format == "TIFF":
        _refuse_large_piece(image, path)
    return image


def _refuse_large_piece(image: Any, path: Path) -> None:
    """A TIFF is decoded a tile or strip at a time, whose size it declares apart from the picture's."""
    tags = image.tag_v2
    width, rows = tags.get(_TILE_WIDTH), tags.get(_TILE_LENGTH)
    if not (width and rows):
        width, rows = image.size[0], min(image.size[1], tags.get(_ROWS_PER_STRIP, image.size[1]))
    bits = tags.get(_BITS, (8,))
    size = width * rows * tags.get(_SAMPLES, 1) * max(bits if isinstance(bits, tuple) else (bits,)) // 8
    if size > MOST_PIECE:
        raise PictureError(
            f"is a TIFF in pieces of {size / 1e6:.0f} MB; {MOST_PIECE // 1_000_000} MB is the most that is read.",
            path=path,
            do="Save it again without compression, or as PNG.",
        )


def _refuse_large(size: tuple[int, int], path: Path) -> None:
    if size[0] * size[1] > MOST_PIXELS:
        raise _too_large(size[0] * size[1], path)


def _too_large(pixels: int, path: Path) -> PictureError:
    return PictureError(
        f"has {pixels / 1e6:.0f} million pixels; {MOST_PIXELS // 1_000_000} million is the most that is read.",
        path=path,
        do="Save it smaller.",
    )


def _refuse_tiny(size: tuple[int, int], path: Path) -> None:
    if min(size) < SMALLEST:
        raise PictureError(
            f"is only {size[0]} x {size[1]} pixels, too small to hold a figure.",
            path=path,
            do=f"{SMALLEST} is the least.",
        )


def _header(image: Image.Image, data: bytes) -> Header:
    """Size and EXIF; EXIF that cannot be read makes no picture unreadable, it is passed over."""
    try:
        exif = image.getexif()
        turned = image.info.get("original_orientation")
        if not turned or b"irot" in data[:65536] or b"imir" in data[:65536]:
            turned = exif.get(_ORIENTATION, 1)  # else a HEIC without its own turn: the EXIF one is all there is
        camera = exif.get_ifd(_EXIF_IFD)
        orientation = turned if turned in _UPRIGHT and image.format != "TIFF" else 1  # Pillow turns a TIFF by itself
        return Header(image.size, orientation, _focal(camera), _taken(camera))
    except Exception:
        return Header(image.size)


def _focal(camera: Any) -> float | None:
    try:
        value = float(camera.get(_FOCAL_35MM, 0))
    except (TypeError, ValueError, ZeroDivisionError):
        return None
    return value if 5 <= value <= 2000 else None


def _taken(camera: Any) -> float | None:
    try:
        text = str(camera.get(_TAKEN, ""))
        return datetime.strptime(text.strip("\0 "), "%Y:%m:%d %H:%M:%S").timestamp()
    except (TypeError, ValueError, OverflowError, OSError):
        return None


# -------------------------------------------------------------------------------------------------------- the pixels


def _turned(pixels: Any, orientation: int) -> Any:
    return _UPRIGHT[orientation](pixels) if orientation in _UPRIGHT else pixels


def _reduced(data: bytes, longer: int, work_px: int) -> Pixels:
    factor = next((f for f in _REDUCED if longer // f >= work_px), 1)
    flags = _REDUCED.get(factor, cv2.IMREAD_COLOR) | cv2.IMREAD_IGNORE_ORIENTATION
    return _by_opencv(data, flags)


def _by_opencv(data: bytes, flags: int) -> Pixels:
    pixels = cv2.imdecode(np.frombuffer(data, np.uint8), flags)
    if pixels is None:
        raise ValueError("no picture")
    return np.asarray(pixels, dtype=np.uint8)


def _jpeg_is_whole(data: bytes, size: tuple[int, int]) -> bool:
    """True if the end marker follows the start of the scan, and the frame has the size that was judged.

    A decoder would fill a cut-off picture up with grey.
    """
    at, framed = 2, False
    while at + 4 <= len(data) and data[at] == 0xFF:
        marker = data[at + 1]
        if marker == 0xDA:
            return framed and data.rfind(b"\xff\xd9", at) > 0  # from behind, where it is
        if 0xC0 <= marker <= 0xCF and marker not in (0xC4, 0xC8, 0xCC):
            height, width = (int.from_bytes(data[at + k : at + k + 2], "big") for k in (5, 7))
            framed = (width, height) == size
        at += 1 if marker == 0xFF else 2 if 0xD0 <= marker <= 0xD8 else 2 + int.from_bytes(data[at + 2 : at + 4], "big")
    return False


def _decoded(image: Image.Image, data: bytes) -> Image.Image | Pixels:
    """The pixels as stored. A WebP comes as an array of BGR or BGRA, by a way that needs half the memory."""
    if image.format == "WEBP":
        return _by_opencv(data, cv2.IMREAD_UNCHANGED)
    image.load()
    return image


def _colours(source: Image.Image | Pixels, profile: bytes | None) -> Pixels:
    """(h, w, 3) BGR, as stored; transparent parts on white."""
    if profile and (isinstance(source, np.ndarray) or source.mode in ("RGB", "RGBA", "L")):
        from PIL import ImageCms

        try:
            own = ImageCms.ImageCmsProfile(BytesIO(profile))
            to_srgb = ImageCms.buildTransform(own, ImageCms.createProfile("sRGB"), "RGB", "RGB")
            return _in_strips(source, lambda strip, top: ImageCms.applyTransform(_rgb(strip, top), to_srgb), 3)
        except (ImageCms.PyCMSError, OSError, TypeError, ValueError):
            pass  # a broken profile: the plain numbers are the best that is left
    return _in_strips(source, _rgb, 3)


def _in_strips(source: Image.Image | Pixels, convert: Callable[[Image.Image, float], Any], bands: int) -> Any:
    """The picture converted strip by strip into one array, (h, w, bands), colours in the order blue, green, red."""
    width, height = source.shape[1::-1] if isinstance(source, np.ndarray) else source.size
    top = 255.0 if isinstance(source, np.ndarray) else _top(source)
    out = np.empty((height, width, bands), np.uint8)
    rows = max(1, STRIP_PIXELS // width)
    for y in range(0, height, rows):
        strip = convert(_strip(source, y, min(y + rows, height)), top)
        out[y : y + rows] = np.asarray(strip).reshape(-1, width, bands)[..., ::-1]
    return out


def _strip(source: Image.Image | Pixels, first: int, last: int) -> Image.Image:
    """The rows from ``first`` up to ``last``, as a picture of their own."""
    from PIL import Image

    if not isinstance(source, np.ndarray):
        return source.crop((0, first, source.size[0], last))
    code = cv2.COLOR_BGR2RGB if source.shape[2] == 3 else cv2.COLOR_BGRA2RGBA
    return Image.fromarray(cv2.cvtColor(source[first:last], code))


def _top(image: Image.Image) -> float:
    """What counts as white in a picture of 16 or 32 bits a sample."""
    if not image.mode.startswith(("I", "F")):
        return 255.0
    highest: Any = image.getextrema()[1]
    return 65535.0 if highest > 255 else 255.0


def _rgb(strip: Image.Image, top: float, paper: str = "white") -> Image.Image:
    from PIL import Image

    if strip.mode.startswith(("I", "F")):  # 16 or 32 bits a sample: bring the range that is used to 8 bits
        values = np.nan_to_num(np.asarray(strip, dtype=np.float32))
        strip = Image.fromarray(np.clip(values * (255 / top), 0, 255).astype(np.uint8))
    if "A" in strip.getbands() or "transparency" in strip.info:
        layer = strip.convert("RGBA")
        strip = Image.alpha_composite(Image.new("RGBA", layer.size, paper), layer)
    return strip.convert("RGB")


def _grey(strip: Image.Image, top: float) -> Image.Image:
    return _rgb(strip, top, "black").convert("L")
