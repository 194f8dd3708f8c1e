"""Find the stills of a pose and read them upright, no larger than they are worked at. Originals are only ever read."""

from __future__ import annotations

import re
import warnings
from datetime import datetime
from io import BytesIO
from pathlib import Path
from typing import TYPE_CHECKING, Any

import cv2
import numpy as np

from silhouette.errors import PictureError, PoseError
from silhouette.intake.film import is_clip
from silhouette.records import Picture, Pixels

if TYPE_CHECKING:
    from PIL import Image

STILL_SUFFIXES = frozenset({".jpg", ".jpeg", ".png", ".webp", ".tif", ".tiff", ".heic", ".heif"})
MASK_SUFFIX = ".mask.png"
SMALLEST = 64
"""Shortest side, pixels, that can hold a figure worth measuring."""

_REDUCED = {8: cv2.IMREAD_REDUCED_COLOR_8, 4: cv2.IMREAD_REDUCED_COLOR_4, 2: cv2.IMREAD_REDUCED_COLOR_2}
_ORIENTATION, _EXIF_IFD, _TAKEN, _FOCAL_35MM = 0x0112, 0x8769, 0x9003, 0xA405


def natural_key(name: str) -> list[Any]:
    """Sort key that puts ``stop 2`` before ``stop 10``."""
    return [(0, int(bit), "") if bit.isdigit() else (1, 0, bit.casefold()) for bit in re.findall(r"\d+|\D+", name)]


def is_still(path: Path) -> bool:
    """True for a visible file that looks like a picture and is not a mask made by hand."""
    name = path.name.casefold()
    return path.suffix.casefold() in STILL_SUFFIXES and not name.startswith(".") and not name.endswith(MASK_SUFFIX)


def list_stills(folder: Path) -> list[Path]:
    """The stills of one pose in natural name order.

    Raises
    ------
    PoseError
        If the folder cannot be read or holds no pictures.
    """
    try:
        stills = [p for p in folder.iterdir() if is_still(p) and p.is_file()]
    except OSError as error:
        raise PoseError(
            f"cannot be opened ({error.strerror}).", path=folder, do="Check the name and the rights."
        ) from None
    if not stills:
        raise PoseError("holds no pictures.", path=folder, do=_instead(folder))
    return sorted(stills, key=lambda p: natural_key(p.name))


def _instead(folder: Path) -> str:
    """What to give in place of a folder that holds no pictures."""
    if any(p.is_dir() and any(map(is_still, p.iterdir())) for p in folder.iterdir()):
        return "It holds folders that do: give one of them, or read them all with silhouette rank."
    clips = sorted(p.name for p in folder.iterdir() if is_clip(p))
    if clips:
        return f"It holds a clip: give that itself ({folder / clips[0]})."
    return "A pose is a folder of JPEG, PNG, WebP, TIFF or HEIC stills, a clip, or one picture."


def mask_beside(still: Path) -> Path | None:
    """The mask corrected by hand that lies beside a still (``045.mask.png`` for ``045.jpg``), if there is one."""
    mask = still.with_name(still.stem + MASK_SUFFIX)
    return mask if mask.is_file() else None


def read_still(path: Path, work_px: int) -> Picture:
    """One still, upright, its longer side at most ``work_px`` pixels (smaller pictures are not enlarged).

    JPEG is decoded at a half, quarter or eighth where that is large enough, which costs about half of a full decode.

    Raises
    ------
    PictureError
        If the file is missing, cut off, not a picture, or too small to hold a figure.
    """
    data = _read_bytes(path)
    with _open(data, path) as image:
        size, exif = image.size, image.getexif()
        turned = exif.get(_ORIENTATION, 1) in (5, 6, 7, 8)
        full_size = (size[1], size[0]) if turned else size
        _refuse_tiny(full_size, path)
        if image.format in ("JPEG", "MPO"):
            pixels = _decode_jpeg(data, max(size), work_px, path)
        else:
            pixels = _decode_other(image, path)
            full_size = (pixels.shape[1], pixels.shape[0])
    return Picture(
        source=path,
        name=path.stem,
        pixels=shrink(pixels, work_px),
        full_size=full_size,
        focal_35mm=_focal(exif),
        time=_taken(exif),
    )


def read_full(path: Path) -> Pixels:
    """(h, w, 3) BGR, full size, upright, colours converted to sRGB where the file carries another profile.

    Raises
    ------
    PictureError
        As :func:`read_still`.
    """
    from PIL import Image, ImageCms, ImageOps

    data = _read_bytes(path)
    with _open(data, path) as image:
        profile = image.info.get("icc_profile")
        try:
            upright = ImageOps.exif_transpose(image)
            if profile and upright.mode in ("RGB", "RGBA", "L"):
                source = ImageCms.ImageCmsProfile(BytesIO(profile))
                converted = ImageCms.profileToProfile(
                    upright.convert("RGB"), source, ImageCms.createProfile("sRGB"), outputMode="RGB"
                )
                upright = converted if isinstance(converted, Image.Image) else upright
        except ImageCms.PyCMSError:
            pass  # a broken profile: the plain numbers are the best that is left
        except (OSError, SyntaxError, ValueError) as error:
            raise _broken(path) from error
        return _to_bgr(upright)


def shrink(pixels: Pixels, longer: int) -> Pixels:
    """The picture with its longer side at most ``longer`` pixels; each new pixel is the mean of those it replaces."""
    h, w = pixels.shape[:2]
    factor = longer / max(h, w)
    if factor >= 1:
        return pixels
    size = (max(1, round(w * factor)), max(1, round(h * factor)))
    return np.asarray(cv2.resize(pixels, size, interpolation=cv2.INTER_AREA), dtype=np.uint8)


def _read_bytes(path: Path) -> bytes:
    try:
        data = path.read_bytes()
    except OSError as error:
        raise PictureError(f"cannot be read ({error.strerror}).", path=path) from None
    if not data:
        raise PictureError("is empty.", path=path, do="Copy it from the camera again.")
    return data


def _open(data: bytes, path: Path) -> Image.Image:
    """The picture's header, without decoding it."""
    from PIL import Image, UnidentifiedImageError

    if path.suffix.casefold() in (".heic", ".heif") or data[4:8] == b"ftyp":
        import pillow_heif

        pillow_heif.register_heif_opener(thumbnails=False)
    try:
        with warnings.catch_warnings():
            warnings.simplefilter("ignore", Image.DecompressionBombWarning)  # under the limit it is only a large one
            image = Image.open(BytesIO(data))
        turned = image.info.get("original_orientation")
        if turned and not (b"irot" in data[:65536] or b"imir" in data[:65536]):
            image.getexif()[_ORIENTATION] = turned  # a HEIC without its own turn: the EXIF one is all there is
        return image
    except Image.DecompressionBombError:
        raise PictureError("has more than 170 million pixels.", path=path, do="Export it smaller.") from None
    except (UnidentifiedImageError, OSError, SyntaxError, ValueError):
        raise PictureError(
            "is not a picture that can be read, or is damaged.",
            path=path,
            do="Copy it from the camera again or leave it out.",
        ) from None


def _broken(path: Path) -> PictureError:
    return PictureError("is cut off or damaged.", path=path, do="Copy it from the camera again or leave it out.")


def _refuse_tiny(size: tuple[int, int], path: Path) -> None:
    if min(size) < SMALLEST:
        raise PictureError(
            f"is only {size[0]} x {size[1]} pixels, too small to hold a figure.",
            path=path,
            do=f"{SMALLEST} is the least.",
        )


def _decode_jpeg(data: bytes, longer: int, work_px: int, path: Path) -> Pixels:
    if not _jpeg_is_whole(data):
        raise _broken(path)
    factor = next((f for f in _REDUCED if longer // f >= work_px), 1)
    pixels = cv2.imdecode(np.frombuffer(data, np.uint8), _REDUCED.get(factor, cv2.IMREAD_COLOR))
    if pixels is None:
        raise _broken(path)
    return np.asarray(pixels, dtype=np.uint8)


def _jpeg_is_whole(data: bytes) -> bool:
    """True if the end marker follows the start of the scan; a decoder would fill a cut-off picture up with grey."""
    at = 2
    while at + 4 <= len(data) and data[at] == 0xFF:
        marker = data[at + 1]
        if marker == 0xDA:
            return data.rfind(b"\xff\xd9", at) > 0  # from behind, where it is
        at += 1 if marker == 0xFF else 2 if 0xD0 <= marker <= 0xD8 else 2 + int.from_bytes(data[at + 2 : at + 4], "big")
    return False


def _decode_other(image: Image.Image, path: Path) -> Pixels:
    from PIL import ImageOps

    try:
        return _to_bgr(ImageOps.exif_transpose(image))
    except (OSError, SyntaxError, ValueError, EOFError):
        raise _broken(path) from None


def _to_bgr(image: Image.Image) -> Pixels:
    from PIL import Image

    if image.mode.startswith(("I", "F")):  # 16 or 32 bits a sample: bring the range that is used to 8 bits
        values = np.asarray(image, dtype=np.float64)
        top = 65535.0 if values.max(initial=0) > 255 else 255.0
        image = Image.fromarray(np.clip(values / top * 255, 0, 255).astype(np.uint8))
    if "A" in image.getbands() or "transparency" in image.info:
        layer = image.convert("RGBA")
        paper = Image.new("RGBA", layer.size, "white")
        image = Image.alpha_composite(paper, layer)
    rgb = np.asarray(image.convert("RGB"), dtype=np.uint8)
    return np.ascontiguousarray(rgb[..., ::-1])


def _focal(exif: Any) -> float | None:
    try:
        value = float(exif.get_ifd(_EXIF_IFD).get(_FOCAL_35MM, 0))
    except (TypeError, ValueError, ZeroDivisionError, KeyError):
        return None
    return value if 5 <= value <= 2000 else None


def _taken(exif: Any) -> float | None:
    try:
        text = str(exif.get_ifd(_EXIF_IFD).get(_TAKEN, ""))
        return datetime.strptime(text.strip("\0 "), "%Y:%m:%d %H:%M:%S").timestamp()
    except (TypeError, ValueError, KeyError, OverflowError, OSError):
        return None
