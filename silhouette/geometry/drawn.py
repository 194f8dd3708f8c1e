"""An outline made ready to be drawn: no finer than can be seen, and as path data of an SVG file."""

from __future__ import annotations

import numpy as np
from numpy.typing import NDArray
from shapely.geometry import MultiPolygon, Polygon
from shapely.geometry.polygon import orient


def rings_of(polygon: Polygon | MultiPolygon) -> list[NDArray[np.float64]]:
    """The closed rings of a polygon as (n, 2) arrays: solid ones one way round, holes the other way."""
    pieces = list(polygon.geoms) if isinstance(polygon, MultiPolygon) else [polygon]
    turned = [orient(piece) for piece in pieces if not piece.is_empty]
    return [np.asarray(ring.coords)[:, :2] for piece in turned for ring in (piece.exterior, *piece.interiors)]


def thinned(polygon: Polygon | MultiPolygon, off: float) -> Polygon | MultiPolygon:
    """The polygon without the points that move its edge by less than ``off``, its own units."""
    thin = polygon.simplify(off)
    return thin if isinstance(thin, Polygon | MultiPolygon) and not thin.is_empty else polygon


LEAST_MOVES = 2
"""A ring that rounding leaves fewer steps than this, beside the one that closes it, is a speck that nobody sees."""


def path_data(polygon: Polygon | MultiPolygon, unit: float, x: float = 0.0, y: float = 0.0, *, digits: int) -> str:
    """SVG path data of a polygon with holes, each step told from the last point.

    Parameters
    ----------
    unit : float
        User units to one of the polygon's.
    x, y : float
        Where the polygon's (0, 0) lies, user units.
    digits : int
        Decimals of the user units; rounding does not add up from point to point.
    """
    fine = 10**digits
    pieces = []
    for ring in rings_of(polygon):
        points = np.round((ring[:-1] * unit + (x, y)) * fine).astype(int)
        steps = np.diff(points, axis=0)
        moved = steps[np.any(steps != 0, axis=1)].tolist()
        if len(moved) < LEAST_MOVES:
            continue
        told = " ".join(f"{_short(dx, fine)} {_short(dy, fine)}" for dx, dy in moved)
        pieces.append(f"M{_short(points[0, 0], fine)} {_short(points[0, 1], fine)}l{told}z")
    return "".join(pieces).replace(" -", "-")


def _short(value: int, fine: int) -> str:
    """``value`` over ``fine`` in as few letters as SVG can read."""
    text = f"{value / fine:.10g}"
    return text.replace("0.", ".", 1) if text.startswith(("0.", "-0.")) else text
