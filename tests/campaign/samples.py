"""Small whole files to begin with: a figure of sticks before a plain wall, in every format that is read."""

from __future__ import annotations

import contextlib
import io
from fractions import Fraction
from pathlib import Path

import cv2
import numpy as np

WIDE, HIGH = 120, 160


def figure(angle: float = 0.0, wide: int = WIDE, high: int = HIGH) -> np.ndarray:
    """(high, wide, 3) RGB: head, trunk, legs, and arms held out that turn with ``angle`` (degrees)."""
    if high > 1000:
        return np.asarray(cv2.resize(figure(angle), (wide, high), interpolation=cv2.INTER_NEAREST), np.uint8)
    k = high / 160
    picture = np.full((high, wide, 3), (196, 192, 186), np.uint8)
    reach = 36 * np.cos(np.deg2rad(angle))

    def line(x0: float, y0: float, x1: float, y1: float, thick: float) -> None:
        ends = [(round(wide / 2 + k * x), round(k * y)) for x, y in ((x0, y0), (x1, y1))]
        cv2.line(picture, ends[0], ends[1], (70, 52, 44), max(1, round(k * thick)), cv2.LINE_AA)

    line(0, 24, 0, 26, 15)
    line(0, 44, 0, 84, 20)
    for side in (-1, 1):
        line(side * 5, 46, side * (5 + abs(reach)), 58 + 10 * side * np.sin(np.deg2rad(angle)), 6)
        line(side * 6, 84, side * 9, 140, 9)
    noise = np.random.default_rng(round(angle)).integers(-2, 3, picture.shape)
    return np.clip(picture.astype(int) + noise, 0, 255).astype(np.uint8)


def stills() -> dict[str, bytes]:
    """Name (with suffix) to file: one figure in many formats, modes and wrappings."""
    import pillow_heif
    from PIL import Image

    pillow_heif.register_heif_opener(thumbnails=False)
    rgb = Image.fromarray(figure())
    exif = Image.Exif()
    exif[0x0112], exif[0x010F] = 6, "a maker"
    exif.get_ifd(0x8769).update({0x9003: "2024:05:06 07:08:09", 0xA405: 26})
    clear = rgb.copy()
    clear.putalpha(Image.fromarray(np.where(figure()[..., 0] < 120, 255, 40).astype(np.uint8)))
    deep = Image.fromarray(figure()[..., 0].astype(np.uint16) * 257)
    ways = {
        "rgb.png": (rgb, {"exif": exif}),
        "palette.png": (rgb.quantize(16), {}),
        "alpha.png": (clear, {}),
        "deep.png": (deep, {}),
        "bits.png": (rgb.convert("1"), {}),
        "grey.png": (rgb.convert("L"), {}),
        "plain.jpg": (rgb, {"exif": exif}),
        "progressive.jpg": (rgb, {"progressive": True, "exif": exif}),
        "grey.jpg": (rgb.convert("L"), {"restart_marker_blocks": 4}),
        "inks.jpg": (rgb.convert("CMYK"), {}),
        "lossy.webp": (rgb, {"exif": exif}),
        "lossless.webp": (clear, {"lossless": True}),
        "moving.webp": (rgb, {"save_all": True, "append_images": [rgb.rotate(9)], "duration": 90}),
        "plain.tif": (rgb, {"exif": exif}),
        "lzw.tif": (rgb, {"compression": "tiff_lzw"}),
        "deflate.tif": (clear, {"compression": "tiff_adobe_deflate"}),
        "fax.tif": (rgb.convert("1"), {"compression": "group4"}),
        "jpeg.tif": (rgb, {"compression": "jpeg"}),
        "float.tif": (Image.fromarray(figure()[..., 0].astype(np.float32)), {}),
        "pages.tif": (rgb, {"save_all": True, "append_images": [rgb]}),
        "phone.heic": (rgb, {"exif": exif}),
        "alpha.heic": (clear, {}),
        "phone.avif": (rgb, {"exif": exif}),
    }
    made = {}
    for name, (image, how) in ways.items():
        file = io.BytesIO()
        kind = {"jpg": "JPEG", "tif": "TIFF", "heic": "HEIF"}.get(name.rpartition(".")[2], name.rpartition(".")[2])
        with contextlib.suppress(KeyError, OSError):  # an encoder that this machine lacks
            image.save(file, kind.upper(), **how)
            made[name] = file.getvalue()
    return made


def still(angle: float = 0.0, wide: int = WIDE, high: int = HIGH, suffix: str = ".jpg") -> bytes:
    """One whole picture."""
    done, data = cv2.imencode(suffix, figure(angle, wide, high)[..., ::-1])
    assert done
    return data.tobytes()


def pose(folder: Path, angles: tuple[float, ...] = (0, 90, 180), wide: int = WIDE, high: int = HIGH) -> Path:
    """A folder of stills named by angle."""
    folder.mkdir(parents=True)
    for angle in angles:
        (folder / f"{angle:03.0f}.jpg").write_bytes(still(angle, wide, high))
    return folder


CLIPS = {
    "phone.mp4": ("mp4", "libx264", "yuv420p"),
    "phone.mov": ("mov", "libx264", "yuv420p"),
    "old.mov": ("mov", "mpeg4", "yuv420p"),
    "screen.mkv": ("matroska", "libx264", "yuv420p"),
    "web.webm": ("webm", "libvpx", "yuv420p"),
    "web9.webm": ("webm", "libvpx-vp9", "yuv420p"),
    "camera.avi": ("avi", "mjpeg", "yuvj420p"),
    "camera.mts": ("mpegts", "mpeg2video", "yuv420p"),
    "sport.mts": ("mpegts", "libx264", "yuv420p"),
    "new.mp4": ("mp4", "libx265", "yuv420p"),
    "exact.mkv": ("matroska", "ffv1", "yuv420p"),
}


def clips() -> dict[str, bytes]:
    """Name to file: a figure that turns in steps for three seconds, in the containers that cameras write."""
    import av

    made = {}
    for name in CLIPS:
        with contextlib.suppress(av.error.FFmpegError, ValueError):
            made[name] = clip(name)
    return made


def clip(name: str, wide: int = WIDE, high: int = HIGH, frames: int = 24) -> bytes:
    """One clip as :data:`CLIPS` says, eight frames a second."""
    import av

    kind, codec, pixels = CLIPS[name]
    file = io.BytesIO()
    with av.open(file, "w", format=kind) as container:
        stream = container.add_stream(codec, rate=25 if codec == "mpeg2video" else 8)
        stream.width, stream.height, stream.pix_fmt = wide, high, pixels
        stream.time_base = Fraction(1, 25 if codec == "mpeg2video" else 8)
        if codec == "libx264":
            stream.options = {"preset": "ultrafast"}
        if codec == "libx265":
            stream.options = {"x265-params": "log-level=none"}
        for i in range(frames):
            frame = av.VideoFrame.from_ndarray(figure(i // 4 * 30, wide, high), format="rgb24")
            container.mux(stream.encode(frame))
        container.mux(stream.encode())
    return file.getvalue()
