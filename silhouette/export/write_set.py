"""Write a reference set: whole or not at all, with nothing in it that the pictures do not show.

Pictures are decoded to plain pixels and encoded anew, so that no place, time, device, comment or thumbnail comes along.
Nothing is ever written to the originals.
"""

from __future__ import annotations

import csv
import io
from collections.abc import Callable, Iterable, Iterator, Mapping
from pathlib import Path

import cv2
import numpy as np

from silhouette.errors import OutputError
from silhouette.export.svg import POSE_MM, outline_svg
from silhouette.records import Pixels
from silhouette.records_shoot import SetFigure, SetLayout, SetView
from silhouette.settings import RINGS
from silhouette.texts import csv_cell
from silhouette.writing import CLOSE_UPS, PHOTOGRAPHS, SET_TABLE, whole_folder

Small = Mapping[str, Pixels]
"""Photographs for pages, see :func:`small_picture`, by stem: of stops with a figure and a picture."""
Page = bytes | str | Callable[[Small], bytes | str]
"""A finished page, or what makes it of the photographs; text is written as UTF-8."""
Progress = Callable[[str, int, int], None]

JPEG_QUALITY = 95
"""With full colour resolution (4:4:4): no difference to be seen beside the original; lossless files are far larger."""
SMALL_PX = 900
"""Most pixels that a photograph for pages is high."""
SHAPE_PX = 2400
"""Most pixels that the pose is high in a silhouette picture."""
COLUMNS = ("still", "silhouette", "outline", "angle", "angle_from", "angle_sure", "seconds", "height_px")
RING = "ring"
"""The last column, where there are several rings."""


def export(
    layout: SetLayout,
    out: str | Path,
    *,
    silhouettes_only: bool = False,
    originals: bool = False,
    crop: bool = False,
    print_scale: float | None = None,
    pages: Mapping[str, Page] | None = None,
    pictures: Iterable[tuple[str, Pixels]] | None = None,
    overwrite: bool = False,
    progress: Progress | None = None,
) -> Path:
    """Write the set to the new folder ``out``.

    In it: ``silhouettes/NAME_045.png`` (black on white), ``outlines/NAME_045.svg`` (millimetres), ``set.csv``, the
    given ``pages`` and, in the folder ``photographs`` alone, ``NAME_045.jpg`` for each stop (JPEG, quality 95, 4:4:4,
    sRGB, upright); pictures of details in ``photographs/close_ups``. Of several rings the names say which one it is:
    ``NAME_low_045``.

    Parameters
    ----------
    layout : SetLayout
        From :func:`silhouette.export.reference_set.lay_out`.
    silhouettes_only : bool
        No photograph goes in, and there is no such folder: to show round without showing the body.
    originals : bool
        Also ``photographs/originals/NAME_045.png``: every pixel of the whole picture, without loss. The original files
        themselves are never copied, since they carry place, time, device and thumbnails.
    crop : bool
        Cut the stills to the figures' common window, with a margin.
    print_scale : float, optional
        4 for 1:4; the SVG outlines are then that size. Needs ``layout.pose_height_m``.
    pages : mapping of file name to page
        Made elsewhere: contact sheets, scale sheets, ``turnaround.html``, ``about.txt``; one that shows photographs is
        called ``photographs/…``. Callables are called while writing.
    pictures : iterable of (stem, (h, w, 3) BGR), optional
        The full picture of every stop that has one, in any order, where they are read together more cheaply than each
        by its view; gone through once, one picture at a time.
    overwrite : bool
        Replace an earlier set at ``out``; nothing that was put there or changed since is ever replaced.
    progress : callable, optional
        Called with what is being done, how many are done, and how many there are.

    Raises
    ------
    OutputError
        ``out`` exists (and is no set, or ``overwrite`` is False), or cannot be written to. Nothing is left behind.
    PictureError, FilmError
        A picture could not be read any more. Nothing is left behind.
    """
    out = Path(out)
    pose_mm = POSE_MM if print_scale is None else print_height(layout, print_scale)
    tell = progress or (lambda what, done, of: None)
    with whole_folder(out, "set", overwrite=overwrite) as folder:
        _write_shapes(layout, folder, pose_mm)
        small: Small = {}
        if not silhouettes_only:
            small = _write_stills(layout, pictures or _one_by_one(layout), folder, originals, crop, tell)
        (folder / SET_TABLE).write_text(_table(layout, silhouettes_only), encoding="utf-8", newline="")
        for i, (name, page) in enumerate((pages or {}).items()):
            tell("pages", i, len(pages or {}))
            made = page(small) if callable(page) else page
            (folder / name).parent.mkdir(exist_ok=True)
            (folder / name).write_bytes(made.encode() if isinstance(made, str) else made)
    return out


def print_height(layout: SetLayout, print_scale: float) -> float:
    """Height of the pose on paper, mm, at 1 : ``print_scale``.

    Raises
    ------
    OutputError
        If the real height of the pose is not known, or the scale makes no sense.
    """
    refuse_scale(print_scale, layout.pose_height_m)
    return 1000 * (layout.pose_height_m or 0.0) / print_scale


def refuse_scale(print_scale: float, pose_height_m: float | None) -> None:
    """Stop before any work is done where nothing can be printed at 1 : ``print_scale``: see :func:`print_height`."""
    if not 0.5 <= print_scale <= 100:  # a nan fails this too
        raise OutputError(f"A print scale of 1:{print_scale:g} makes no sense.", do="Give 4 for 1:4; 0.5 to 100 go.")
    if pose_height_m is None:
        raise OutputError("A print scale needs the figure's real height.", do="Give the model's height in metres.")


def encode_still(pixels: Pixels) -> bytes:
    """(h, w, 3) BGR as a JPEG file that holds the picture and nothing else."""
    how = [cv2.IMWRITE_JPEG_QUALITY, JPEG_QUALITY,
           cv2.IMWRITE_JPEG_SAMPLING_FACTOR, cv2.IMWRITE_JPEG_SAMPLING_FACTOR_444]
    return _encode(".jpg", pixels, how)


def shape_picture(figure: SetFigure, layout: SetLayout) -> Pixels:
    """(h, w) black figure on white; the same window and scale for every stop."""
    unit = min(float(np.median([f.to_px[0] for f in layout.figures])), SHAPE_PX)
    left, top, right, bottom = layout.window
    wide, high = round((right - left) * unit), round((bottom - top) * unit)
    # Drawn four times as large and averaged down: OpenCV's own smoothing fattens a shape by half a pixel all round.
    fine = np.full((4 * high, 4 * wide), 255, np.uint8)
    rings = [figure.polygon.exterior, *figure.polygon.interiors]
    # 4 binary places under the pixel; a pixel's centre lies half a pixel from its corner.
    spots = [((np.asarray(ring.coords)[:, :2] - (left, top)) * 4 * unit - 0.5) * 16 for ring in rings]
    cv2.fillPoly(fine, [np.round(at).astype(np.int32) for at in spots], 0, shift=4)
    return np.asarray(cv2.resize(fine, (wide, high), interpolation=cv2.INTER_AREA), np.uint8)


# --------------------------------------------------------------------------------------------------------- writing

def _write_shapes(layout: SetLayout, folder: Path, pose_mm: float) -> None:
    for name in ("silhouettes", "outlines"):
        (folder / name).mkdir()
    for figure in layout.figures:
        shape = _encode(".png", shape_picture(figure, layout), [])
        (folder / "silhouettes" / f"{figure.stem}.png").write_bytes(shape)
        svg = outline_svg(figure, layout, pose_mm=pose_mm)
        (folder / "outlines" / f"{figure.stem}.svg").write_text(svg, encoding="utf-8", newline="\n")


def _one_by_one(layout: SetLayout) -> Iterator[tuple[str, Pixels]]:
    return ((stem, view.read()) for stem, view in layout.views if view.read is not None)


def _write_stills(
    layout: SetLayout, pictures: Iterable[tuple[str, Pixels]], folder: Path, originals: bool, crop: bool, tell: Progress
) -> Small:
    """One picture in memory at a time; what pages show of each is made of it on the way."""
    folder = folder / PHOTOGRAPHS
    folder.mkdir()
    if originals:
        (folder / "originals").mkdir()
    figures, small = {f.stem: f for f in layout.figures}, dict[str, Pixels]()
    tell("stills", 0, len(layout.views))
    for i, (stem, pixels) in enumerate(pictures, start=1):
        figure = figures.get(stem)
        cut = pixels if figure is None or not crop else crop_to_window(pixels, figure, layout)
        (folder / f"{stem}.jpg").write_bytes(encode_still(cut))
        if originals:
            (folder / "originals" / f"{stem}.png").write_bytes(_encode(".png", pixels, []))
        if figure is not None:
            small[stem] = small_picture(pixels, figure, layout)
        tell("stills", i, len(layout.views))
    if layout.close_ups:
        (folder / CLOSE_UPS).mkdir()
    for i, one in enumerate(layout.close_ups):
        tell("close-ups", i, len(layout.close_ups))
        pixels = one.read()
        (folder / CLOSE_UPS / f"{one.stem}.jpg").write_bytes(encode_still(pixels))
        if originals:
            (folder / "originals" / f"{one.stem}.png").write_bytes(_encode(".png", pixels, []))
    return small


def crop_to_window(pixels: Pixels, figure: SetFigure, layout: SetLayout) -> Pixels:
    """The part of the full picture in which the figures of the set move, with a margin, as far as the picture goes."""
    unit, x, y = figure.to_px
    left, top, right, bottom = layout.window
    h, w = pixels.shape[:2]
    x0, x1 = (int(np.clip(round(x + v * unit), 0, w)) for v in (left, right))
    y0, y1 = (int(np.clip(round(y + v * unit), 0, h)) for v in (top, bottom))
    return pixels[y0:y1, x0:x1] if x1 > x0 and y1 > y0 else pixels


def small_picture(full: Pixels, figure: SetFigure, layout: SetLayout, height_px: int = SMALL_PX) -> Pixels:
    """A photograph for pages: (h, w, 3) BGR, the figures' common window, at most ``height_px`` high.

    All of a set show the same window at the same size, white where it reaches past the picture, so that they lie one
    over the other and over the outlines.
    """
    left, top, right, bottom = layout.window
    unit = min([f.to_px[0] for f in layout.figures] + [height_px / (bottom - top)])
    size = (round((right - left) * unit), round((bottom - top) * unit))
    per, x, y = figure.to_px
    grow = unit / per
    move = np.array([[grow, 0, -(x + left * per) * grow], [0, grow, -(y + top * per) * grow]])
    # Blurred first where it shrinks: each new pixel is a mean of old ones, a plain warp would leave stairs.
    soft = cv2.GaussianBlur(full, (0, 0), 0.35 / grow) if grow < 1 else full
    moved = cv2.warpAffine(soft, move, size, flags=cv2.INTER_LINEAR, borderValue=(255, 255, 255))
    return np.asarray(moved, np.uint8)


def _encode(kind: str, pixels: Pixels, how: list[int]) -> bytes:
    done, data = cv2.imencode(kind, pixels, how)
    if not done:
        size = f"{pixels.shape[1]} x {pixels.shape[0]}"
        raise OutputError(f"A picture of {size} pixels could not be written as {kind[1:]}.")
    return data.tobytes()


# ----------------------------------------------------------------------------------------------------------- texts

def _table(layout: SetLayout, silhouettes_only: bool) -> str:
    figures = {f.stem: f for f in layout.figures}
    times = {ring: [v.time for _, v in layout.views if v.time is not None and v.ring == ring] for ring in RINGS}
    rows = io.StringIO()
    writer = csv.writer(rows, lineterminator="\n")
    writer.writerow((*COLUMNS, RING) if layout.rings else COLUMNS)
    for stem, view in layout.views:
        has_shape = stem in figures
        writer.writerow([csv_cell(cell) for cell in (
            "" if silhouettes_only or view.read is None else f"{PHOTOGRAPHS}/{stem}.jpg",
            f"silhouettes/{stem}.png" if has_shape else "", f"outlines/{stem}.svg" if has_shape else "",
            f"{view.angle % 360:.1f}", view.angle_from, "" if view.angle_sure is None else f"{view.angle_sure:.1f}",
            # Seconds after the first stop: the day and the hour stay out of the set.
            "" if view.time is None else f"{view.time - min(times[view.ring]):.1f}",
            f"{_height_px(view):.0f}" if has_shape else "",
            *([view.ring] if layout.rings else []),
        )])
    return rows.getvalue()


def _height_px(view: SetView) -> float:
    assert view.outline is not None
    return view.outline.height_px / view.scale
