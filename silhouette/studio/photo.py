"""Writes pictures the way phones do: JPEG with EXIF, sideways pixels and an orientation tag, even a false place."""

from __future__ import annotations

from pathlib import Path

import cv2
import numpy as np
from numpy.typing import NDArray
from PIL import Image

_TURNS = {1: None, 3: cv2.ROTATE_180, 6: cv2.ROTATE_90_COUNTERCLOCKWISE, 8: cv2.ROTATE_90_CLOCKWISE}
"""How the upright picture is laid into the file for an orientation tag that says how to bring it back."""


def save_photo(path: Path, picture: NDArray[np.uint8], *, quality: int = 92, focal_35mm: float | None = None,
               orientation: int = 1, place: bool = False, taken: str | None = None, fine_colour: bool = False) -> None:
    """Write an upright BGR picture as a JPEG.

    Parameters
    ----------
    path : Path
    picture : (h, w, 3) uint8 BGR, upright
    quality : int
        1 to 95.
    focal_35mm : float, optional
        35 mm equivalent focal length for EXIF, mm (EXIF keeps whole millimetres).
    orientation : 1, 3, 6 or 8
        EXIF orientation; the pixels are laid down turned, so that a reader who honours it sees the picture upright.
    place : bool
        Add an invented place, maker and thumbnail-sized secrets, for the privacy tests.
    taken : str, optional
        ``2024:05:01 10:00:00``.
    fine_colour : bool
        Keep full colour resolution (4:4:4) instead of halving it.
    """
    turn = _TURNS[orientation]
    laid = picture if turn is None else cv2.rotate(picture, turn)
    image = Image.fromarray(cv2.cvtColor(laid, cv2.COLOR_BGR2RGB))
    exif = Image.Exif()
    if orientation != 1:
        exif[0x0112] = orientation
    detail: dict[int, object] = {}
    if focal_35mm is not None:
        detail[0xA405] = round(focal_35mm)
    if taken is not None:
        exif[0x0132] = taken
        detail[0x9003] = taken
    if place:
        exif[0x010F], exif[0x0110] = "Harbour Works", "Tide 1"
        exif[0x8825] = {1: "N", 2: (54.0, 30.0, 15.0), 3: "W", 4: (12.0, 12.0, 12.0)}
        exif[0x013B] = "nobody in particular"
    if detail:
        exif[0x8769] = detail
    path.parent.mkdir(parents=True, exist_ok=True)
    image.save(path, quality=quality, subsampling=0 if fine_colour else 2, exif=exif if len(exif) else b"")


def save_mask(path: Path, mask: NDArray[np.bool_]) -> None:
    """Write a mask as a 1-bit PNG."""
    path.parent.mkdir(parents=True, exist_ok=True)
    Image.fromarray(mask).convert("1").save(path, optimize=True)
