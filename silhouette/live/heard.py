"""What comes from a page, judged before anything is done with it: frames, full pictures and orders."""

from __future__ import annotations

import json
import math
from dataclasses import MISSING, fields
from pathlib import Path
from typing import Any, get_args, get_type_hints

from silhouette.errors import PictureError
from silhouette.intake import decode, stills
from silhouette.live.guard import Refused
from silhouette.live.messages import FRAME_PX, HEAD, MOST_FRAME, MOST_STILL, Frame, Order
from silhouette.records import Pixels

MOST_SIDE = 20_000
"""Pixels a side that a camera may have."""
MOST_TEXT = 200
"""Letters of a name or an id in an order."""
STOPS = (4, 72)
"""Stops of a turn, from and to."""
MOST_WANTED = 100
_START = b"\xff\xd8\xff"
"""How a JPEG begins; nothing else is taken from a camera."""
_WHERE = {"frame": Path("the camera's picture"), "still": Path("the full picture")}


def head(data: bytes) -> tuple[int, float, int, int]:
    """The head of a frame: its number, seconds, the camera's width and height.

    Raises
    ------
    PictureError
        If it is cut off, or no camera gives such numbers.
    """
    if not HEAD.size < len(data) <= HEAD.size + MOST_FRAME:
        raise PictureError("is cut off, or too large.", path=_WHERE["frame"])
    number, seconds, width, height = HEAD.unpack_from(data)
    if not (math.isfinite(seconds) and abs(seconds) < 1e12 and 0 < width <= MOST_SIDE and 0 < height <= MOST_SIDE):
        raise PictureError("says what no camera would.", path=_WHERE["frame"])
    return number, seconds, width, height


def frame(data: bytes) -> Frame:
    """A frame, decoded under the limits of every picture.

    Raises
    ------
    PictureError
        If it is no JPEG, damaged, larger than frames are or too small to hold a figure.
    """
    number, seconds, width, height = head(data)
    pixels = _decoded(data[HEAD.size:], "frame", None, FRAME_PX)
    return Frame(number, seconds, pixels, (width, height))


def still(data: bytes) -> Pixels:
    """A full picture, made small: (h, w, 3) BGR, longer side at most :data:`FRAME_PX`, upright.

    Raises
    ------
    PictureError
        If it is no JPEG, damaged, cut off, too large to be read or too small to hold a figure.
    """
    if len(data) > MOST_STILL:
        raise PictureError("is too large.", path=_WHERE["still"])
    return stills.shrink(_decoded(data, "still", FRAME_PX, None), FRAME_PX)


def _decoded(data: bytes, what: str, work_px: int | None, longer: int | None) -> Pixels:
    if not data.startswith(_START):
        raise PictureError("is no JPEG.", path=_WHERE[what])
    return decode.picture_of(data, _WHERE[what], work_px, longer=longer)[0]


def order(text: str) -> Order:
    """What a person asked for.

    Raises
    ------
    Refused
        If it is none of the orders, or says what none of them may.
    """
    try:
        told = json.loads(text)
    except (ValueError, RecursionError):
        told = None
    if not isinstance(told, dict):
        raise _not_understood()
    hints, given = get_type_hints(Order), {}
    for one in fields(Order):
        if one.name not in told:
            if one.default is MISSING:
                raise _not_understood()
            continue
        given[one.name] = _JUDGES.get(one.name, _choice)(told[one.name], hints[one.name])
    return Order(**given)


def _choice(value: Any, hint: Any) -> Any:
    if not isinstance(value, str) or value not in get_args(hint):
        raise _not_understood()
    return value


def _text(value: Any, hint: Any) -> str:
    if not isinstance(value, str) or len(value) > MOST_TEXT:
        raise _not_understood()
    return value


def _count(value: Any, hint: Any) -> int:
    if type(value) is not int or not STOPS[0] <= value <= STOPS[1]:
        raise Refused(400, f"A turn has {STOPS[0]} to {STOPS[1]} stops.")
    return value


def _yes(value: Any, hint: Any) -> bool:
    if not isinstance(value, bool):
        raise _not_understood()
    return value


def _wanted(value: Any, hint: Any) -> tuple[dict[str, Any], ...]:
    if not isinstance(value, list) or len(value) > MOST_WANTED:
        raise _not_understood()
    for one in value:
        if not isinstance(one, dict) or len(one) != 1 or next(iter(one)) not in ("instead", "after"):
            raise _not_understood()
        _text(next(iter(one.values())), hint)
    return tuple(dict(one) for one in value)


_JUDGES = {"pose": _text, "stop": _text, "stops": _count, "raised": _yes, "stops_wanted": _wanted}


def _not_understood() -> Refused:
    return Refused(400, "This page asked for something that is not known.", do="Load the page again.")
