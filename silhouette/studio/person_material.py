"""Pictures, cloth, light and furniture to train the person network with, cut from freely licensed packages.

Nothing is fetched here. Unpack each package that `person_material.json` names, in the version named, into a folder of
its own first, UNPACKED/<name> (the npm package `@pmndrs/assets` into pmndrs-assets):

    Debian:  apt-get download NAME && dpkg-deb -x NAME_*.deb UNPACKED/NAME
    Python:  pip download --no-deps NAME==VERSION && unzip NAME-*.whl -d UNPACKED/NAME
    npm:     npm pack NAME@VERSION && tar -xzf NAME-*.tgz -C UNPACKED/NAME

Debian: endless-sky-data, libjxl-testdata, lomiri-wallpapers-16.04, mypaint-data-extras, redeclipse-data,
supertuxkart-data and sweethome3d-furniture from Debian 12; budgie-backgrounds from 13;
wordpress-theme-twentytwentyfour and -twentytwentyfive from unstable.
Python: bpy, metaworld, miniworld, robosuite, scikit-image, viser. npm: @pmndrs/assets.

The same file says who made what under which licence, how each picture is cropped, which crops are dropped, and what was
left out because it shows people, animals or drawings. Then

    python -m silhouette.studio.person_material UNPACKED OUT

writes photos.npz, photos_share_alike.npz, textures.npz, textures_share_alike.npz, light.npz, furniture.npz and
sources.json. The same packages and libraries give the same bytes; the SHA-256 of each file is printed at the end. Leave
the two share-alike files out where share-alike is not wanted.
Needs OpenEXR and fast-simplification besides what the program itself needs.
"""

from __future__ import annotations

import base64
import hashlib
import io
import json
import re
import sys
import zipfile
from collections.abc import Callable, Iterator
from pathlib import Path
from typing import Any

import cv2
import numpy as np

from silhouette.studio.person_furniture import furnished, joined

CHOICES = Path(__file__).with_suffix(".json")
PICTURE = (768, 512)  # width, height
TILE = 256


def encoded(pixels: np.ndarray, quality: int) -> bytes:
    """A picture (h, w, 3) uint8 BGR as the bytes of a JPEG."""
    return cv2.imencode(".jpg", pixels, [cv2.IMWRITE_JPEG_QUALITY, quality])[1].tobytes()


def resized(pixels: np.ndarray, size: tuple[int, int]) -> np.ndarray:
    """Pixels brought to (width, height): averaged when they shrink, interpolated when they grow."""
    shrinks = pixels.shape[1] >= size[0]
    return cv2.resize(pixels, size, interpolation=cv2.INTER_AREA if shrinks else cv2.INTER_CUBIC)


def window(pixels: np.ndarray, share: float, x: float, y: float) -> np.ndarray:
    """A crop of 3:2, `share` as wide as the widest there is; x, y in 0..1 say where in the room that is left."""
    height, width = pixels.shape[:2]
    w = int(min(width, height * 3 // 2) * share)
    h = min(w * 2 // 3, height)
    left, top = int((width - w) * x), int((height - h) * y)
    return pixels[top : top + h, left : left + w]


def looked_at(panorama: np.ndarray, yaw: float, pitch: float, field: float) -> np.ndarray:
    """What a camera inside an equirectangular panorama sees; yaw, pitch and the field of view across in degrees."""
    w, h = PICTURE
    x, y = np.meshgrid((np.arange(w) + 0.5 - w / 2), (np.arange(h) + 0.5 - h / 2))
    z = w / 2 / np.tan(np.radians(field) / 2)
    p = np.radians(pitch)
    up, forth = -y * np.cos(p) + z * np.sin(p), z * np.cos(p) + y * np.sin(p)
    lon = np.arctan2(x, forth) + np.radians(yaw)
    lat = np.arctan2(up, np.hypot(x, forth))
    rows, cols = panorama.shape[:2]
    u = ((lon / (2 * np.pi) + 0.5) % 1.0 * cols - 0.5).astype(np.float32)
    v = ((0.5 - lat / np.pi) * rows - 0.5).astype(np.float32)
    return cv2.remap(panorama, u, v, cv2.INTER_CUBIC, borderMode=cv2.BORDER_WRAP)


def held(place: Path, name: str) -> np.ndarray:
    """A picture (h, w, 3) uint8 BGR out of a folder or a zip file."""
    if place.is_file():
        with zipfile.ZipFile(place) as archive:
            data = archive.read(name)
    else:
        data = (place / name).read_bytes()
    pixels = cv2.imdecode(np.frombuffer(data, np.uint8), cv2.IMREAD_COLOR)
    assert pixels is not None, f"{place} / {name} is no picture"
    return pixels


def high_range(path: Path) -> np.ndarray:
    """A panorama in linear light, (h, w, 3) float32 RGB, from .hdr, .exr, or .exr packed into JavaScript."""
    if path.suffix == ".hdr":
        pixels = cv2.imread(str(path), cv2.IMREAD_UNCHANGED)
        assert pixels is not None, f"{path} is no picture"
        return np.ascontiguousarray(pixels[..., ::-1], np.float32)
    import OpenEXR

    source: Any = str(path)
    if path.suffix == ".js":
        found = re.search(r"base64,([A-Za-z0-9+/=]+)", path.read_text())
        assert found, f"{path} holds no picture"
        source = io.BytesIO(base64.b64decode(found.group(1)))
    channels = OpenEXR.File(source).channels()
    return np.asarray(channels["RGB"].pixels, np.float32)


def seen(light: np.ndarray) -> np.ndarray:
    """A panorama in linear light made a photograph, (h, w, 3) uint8 BGR: half of it below the middle grey, highlights
    rolled off."""
    bright = light[light.shape[0] // 4 : -light.shape[0] // 4].mean(2)
    x = light * (0.18 / max(float(np.median(bright)), 1e-4))
    x = x * (1 + x / 16) / (1 + x)
    return (np.clip(1.18 * x, 0, 1) ** (1 / 2.2) * 255 + 0.5).astype(np.uint8)[..., ::-1].copy()


def photographs(root: Path, group: dict[str, Any]) -> Iterator[bytes]:
    """The crops of one source, in the order of its files."""
    for name in group["files"]:
        place = root / group["package"] / group["folder"]
        if "views" in group:
            panorama = seen(high_range(place / name)) if name.endswith((".exr", ".js")) else held(place, name)
            pictures = [looked_at(panorama, *view) for view in group["views"]]
        else:
            pixels = held(place, name)
            pictures = [resized(window(pixels, *zoom), PICTURE) for zoom in group["zooms"]]
        for k, picture in enumerate(pictures):
            if f"{name}#{k}" not in group.get("drop", []):
                yield encoded(picture, 85)


def tiles(root: Path, group: dict[str, Any]) -> Iterator[bytes]:
    """Square textures of one source: the whole file if it is square, else the middle of it."""
    for name in group["files"]:
        pixels = held(root / group["package"] / group["folder"], name)
        side = min(pixels.shape[:2])
        top, left = (pixels.shape[0] - side) // 2, (pixels.shape[1] - side) // 2
        yield encoded(resized(pixels[top : top + side, left : left + side], (TILE, TILE)), 88)


def lights(root: Path, group: dict[str, Any]) -> Iterator[np.ndarray]:
    """Panoramas (64, 128, 3) float32 RGB in linear light, averaged over areas; nothing above what a float16 holds."""
    for name in group["files"]:
        light = np.clip(np.nan_to_num(high_range(root / group["package"] / group["folder"] / name)), 0, 6e4)
        yield cv2.resize(light, (128, 64), interpolation=cv2.INTER_AREA)


def packed(parts: list[bytes]) -> dict[str, np.ndarray]:
    """Bytes one after the other, and where each begins."""
    index = np.concatenate([[0], np.cumsum([len(p) for p in parts])]).astype(np.int64)
    return {"data": np.frombuffer(b"".join(parts), np.uint8), "index": index}


def archived(arrays: dict[str, np.ndarray], squeezed: bool) -> bytes:
    """An .npz that bears no date."""
    whole = io.BytesIO()
    with zipfile.ZipFile(whole, "w", zipfile.ZIP_DEFLATED if squeezed else zipfile.ZIP_STORED) as archive:
        for name, array in arrays.items():
            one = io.BytesIO()
            np.lib.format.write_array(one, np.ascontiguousarray(array), allow_pickle=False)
            entry = zipfile.ZipInfo(name + ".npy", (1980, 1, 1, 0, 0, 0))
            archive.writestr(entry, one.getvalue(), archive.compression)
    return whole.getvalue()


def written(path: Path, data: bytes) -> None:
    """A file put in place by one rename."""
    part = path.with_name(f".{path.name}.part")
    part.write_bytes(data)
    part.replace(path)


MAKERS: dict[str, tuple[Callable[[Path, dict[str, Any]], Iterator[Any]], Callable[[list[Any]], dict[str, np.ndarray]]]]
MAKERS = {
    "photos": (photographs, packed),
    "photos_share_alike": (photographs, packed),
    "textures": (tiles, packed),
    "textures_share_alike": (tiles, packed),
    "light": (lights, lambda made: {"hdr": np.array(made, np.float16)}),
    "furniture": (furnished, joined),
}


def main(root: Path, out: Path) -> None:
    """Make every file, then the list of where all came from: `first` and `count` say which entries of the file."""
    choices = json.loads(CHOICES.read_text(encoding="utf-8"))
    out.mkdir(parents=True, exist_ok=True)
    sources = []
    for target, (make, pack) in MAKERS.items():
        entries: list[Any] = []
        for group in choices[target]:
            made = list(make(root, group))
            kept = ("package", "version", "what", "authors", "licence", "likely")
            said = {key: group[key] for key in kept if key in group}
            span = {"files": len(group["files"]), "first": len(entries), "count": len(made)}
            sources.append({"file": target + ".npz", **said, **span})
            entries += made
        written(out / (target + ".npz"), archived(pack(entries), target in ("light", "furniture")))
    written(out / "sources.json", (json.dumps(sources, indent=1, ensure_ascii=False) + "\n").encode())
    for name in [target + ".npz" for target in MAKERS] + ["sources.json"]:
        data = (out / name).read_bytes()
        print(hashlib.sha256(data).hexdigest(), len(data), name)


if __name__ == "__main__":
    main(Path(sys.argv[1]), Path(sys.argv[2]))
