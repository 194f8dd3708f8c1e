"""Flags of the command line that are more than a word or a number, from what a person writes."""

from __future__ import annotations

import argparse
from pathlib import Path
from typing import get_args

from silhouette.settings import Intent, Ring


def angle_list(text: str) -> list[float]:
    """``0,45,90`` as [0.0, 45.0, 90.0]."""
    try:
        angles = [float(x) for x in text.split(",")]
    except ValueError:
        angles = []
    if not angles or not all(-360 <= a <= 360 for a in angles):
        raise argparse.ArgumentTypeError(f"'{text}' is not a list of angles; write it as 0,45,90")
    return angles


def print_scale(text: str) -> float:
    """``1:4`` or ``4`` as 4.0; ``2:1``, twice the size of life, as 0.5."""
    piece, colon, model = text.partition(":")
    try:
        return float(model) / float(piece) if colon else float(piece)
    except (ValueError, ZeroDivisionError):
        raise argparse.ArgumentTypeError(f"'{text}' is not a scale; write it as 1:4") from None


def intent(text: str) -> tuple[str, str]:
    """``closed`` as ("", "closed"), ``bundled=closed`` as ("bundled", "closed")."""
    pose, _, what = text.rpartition("=")
    if what not in get_args(Intent):
        raise argparse.ArgumentTypeError(f"'{what}' is none of {', '.join(get_args(Intent))}")
    return pose, what


def arc(text: str) -> tuple[float, float]:
    """``300-60`` as (300.0, 60.0)."""
    try:
        start, end = (float(x) for x in text.replace("..", "-").split("-"))
    except ValueError:
        raise argparse.ArgumentTypeError(f"'{text}' is not an arc; write it as 300-60") from None
    return start, end


def ring_place(text: str) -> tuple[str, Path | None]:
    """``low`` as ("low", None), ``low=low.mov`` as ("low", Path("low.mov"))."""
    ring, equals, place = text.partition("=")
    if ring not in get_args(Ring) or (equals and not place):
        raise argparse.ArgumentTypeError(f"'{text}' is no ring; write it as low, or as low=PLACE (low, level, high)")
    return ring, Path(place) if place else None


def ring_height(text: str) -> tuple[str | None, float]:
    """``1.1`` as (None, 1.1), ``low=0.4`` as ("low", 0.4)."""
    ring, equals, height = text.rpartition("=")
    try:
        metres = float(height)
    except ValueError:
        metres = float("nan")
    if (equals and ring not in get_args(Ring)) or metres != metres:
        raise argparse.ArgumentTypeError(f"'{text}' is no height; write it as 1.1, or as low=0.4")
    return ring or None, metres
