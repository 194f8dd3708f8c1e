"""The printable massing model: the hull at scale, on a base, with no part thinner than asked."""

from __future__ import annotations

from dataclasses import replace

import numpy as np
from numpy.typing import NDArray

from silhouette.records_space import Sizes, Solid
from silhouette.space.hull import Field, Hull, triangles

Floats = NDArray[np.float64]

BASE_SHARE, BASE_LEAST_MM, BASE_MOST_MM = 0.02, 3.0, 15.0
"""Thickness of the base: this share of the figure's size as built, within these bounds, millimetres as built."""
MARGIN_SHARE = 0.04
"""How far the base reaches beyond the footing and the plumb line, as a share of the figure's size."""
LOW_SHARE = 0.04
"""What lies lower than this share of the figure's size has the base under it, whether it touches it or not."""
SOLE = 1.5
"""Cells above the ground from which the feet go straight down, so that they join the base with their whole soles."""


def massing(hull: Hull, sizes: Sizes, least_mm: float = 2.0, base: bool = True) -> tuple[Solid, float]:
    """The massing model, millimetres as built, standing flat at z = 0, and the thickness of its base.

    It keeps the hull's cells: 5 mm of the figure are 1.25 mm at 1:4, and round forms between the cells' points are off
    by less than a tenth of that.

    Parameters
    ----------
    hull : Hull
        Metres, the ground at z = 0.
    sizes : Sizes
    least_mm : float
        Thickness that no part may fall short of, millimetres as built; see :func:`thickened`.
    base : bool
        Whether a rounded rectangular plate lies under the figure, as part of the same body.
    """
    field = thickened(hull.field, hull.cell, max(least_mm / sizes.built / 2.0, 0.0))
    hull = _on_its_soles(replace(hull, field=field))
    x, y, z = hull.axes()
    if not base:
        solid = triangles(np.minimum(hull.field, z.astype(np.float32)), hull.origin, hull.cell)
        return _built(solid, sizes, 0.0), 0.0
    size = max(float(np.ptp(axis[(hull.field[:, :, z > 0] > 0).any(other)]))
               for axis, other in ((x, (1, 2)), (y, (0, 2)), (z[z > 0], (0, 1))))
    wished = np.clip(BASE_SHARE * size * sizes.built, max(BASE_LEAST_MM, least_mm), BASE_MOST_MM) / sizes.built
    thick = float(np.ceil(wished / hull.cell) * hull.cell)  # whole cells: both its faces lie half way between points
    low, high = _stands_on(hull, size)
    margin = MARGIN_SHARE * size
    hull = _room_for(hull, np.append(low - margin, -thick), np.append(high + margin, 0.0))
    x, y, z = hull.axes()
    upright = np.minimum(z + thick, -z).astype(np.float32)
    plate = np.minimum(_rounded(x[:, None], y[None, :], low, high, margin)[:, :, None], upright)
    field = np.maximum(np.minimum(hull.field, (z + thick / 2).astype(np.float32)), plate)
    return _built(triangles(field, hull.origin, hull.cell), sizes, thick), thick * sizes.built


def _built(solid: Solid, sizes: Sizes, lift: float) -> Solid:
    """The surface raised by ``lift`` metres, then in millimetres as built; what lies at the bottom lies at 0."""
    vertices = (solid.vertices + np.array([0.0, 0.0, lift])) * sizes.built
    vertices[np.abs(vertices[:, 2]) < FLAT_MM, 2] = 0.0
    return replace(solid, vertices=vertices)


def _on_its_soles(hull: Hull) -> Hull:
    """The hull with what lies just above the ground continued straight down."""
    z = hull.axes()[2]
    from_here = int(np.searchsorted(z, (SOLE - 0.25) * hull.cell))
    if not 0 < from_here < len(z):
        return hull
    field = hull.field.copy()
    field[:, :, :from_here] = np.maximum(field[:, :, from_here : from_here + 1], field[:, :, :from_here])
    return replace(hull, field=field)


def _stands_on(hull: Hull, size: float) -> tuple[Floats, Floats]:
    """Corners (2,), (2,) of the upright rectangle, seen from above, round what is near the ground and the foot of the
    plumb line."""
    x, y, z = hull.axes()
    above = hull.field[:, :, z > 0] > 0
    columns = above.sum(2)
    plumb = np.array([x @ columns.sum(1), y @ columns.sum(0)]) / columns.sum()
    low = above[:, :, : max(int(LOW_SHARE * size / hull.cell), 1)].any(2)
    if not low.any():
        return plumb, plumb
    feet = hull.origin[:2] + hull.cell * np.argwhere(low)
    return np.minimum(feet.min(0), plumb), np.maximum(feet.max(0), plumb)


def _room_for(hull: Hull, low: Floats, high: Floats) -> Hull:
    """The hull on a grid that holds this box with two cells to spare."""
    last = hull.origin + hull.cell * (np.array(hull.field.shape) - 1)
    before = np.maximum(np.ceil((hull.origin - low) / hull.cell).astype(int) + 2, 0)
    after = np.maximum(np.ceil((high - last) / hull.cell).astype(int) + 2, 0)
    field = np.pad(hull.field, list(zip(before, after, strict=True)), constant_values=-hull.cell)
    if before[2]:  # straight down, as far as the plate is thick
        inner = tuple(slice(b, b + n) for b, n in zip(before[:2], hull.field.shape[:2], strict=True))
        field[inner[0], inner[1], : before[2]] = hull.field[:, :, :1]
    return replace(hull, field=field, origin=hull.origin - hull.cell * before)


def _rounded(x: Floats, y: Floats, low: Floats, high: Floats, radius: float) -> Field:
    """How far places seen from above lie inside the rectangle widened by ``radius``, its corners rounded by it."""
    across = np.maximum(low[0] - x, x - high[0])
    along = np.maximum(low[1] - y, y - high[1])
    beyond = np.hypot(np.maximum(across, 0), np.maximum(along, 0)) + np.minimum(np.maximum(across, along), 0)
    return np.asarray(radius - beyond, np.float32)


FLAT_MM = 1e-3
"""What lies so near the bottom lies in it: the field rounds to single precision."""
LEAST_CELLS = 0.75
"""Half the thickness, in cells, that every part gets at least, whatever is asked."""


def thickened(field: Field, cell: float, radius: float) -> Field:
    """The field grown where a ball of ``radius`` does not fit into the body.

    A part is thin where no such ball reaches it: more precisely, a piece of what an opening with the ball takes away
    that lies farther than the ball's own size from what it leaves, so that plain edges are not thickened. Along the
    middle of such a piece balls of that radius are laid in; nothing else changes.
    """
    from scipy import ndimage
    from scipy.spatial import cKDTree

    radius = max(radius, LEAST_CELLS * cell)
    shell = np.argwhere((field > 0) & (field < radius))
    deep = np.argwhere((field >= radius) & (field < radius + 1.8 * cell))
    if not len(shell):
        return field
    away = np.full(len(shell), np.inf)
    if len(deep):
        limit = 3 * radius / cell + 1.0
        away = cKDTree(deep).query(shell, distance_upper_bound=limit)[0]
        thin = away > radius / cell + 0.9
    else:
        thin = np.ones(len(shell), bool)
    if not np.isinf(away).any():
        return field
    low = shell[thin].min(0)
    at = shell[thin] - low
    box = np.zeros(at.max(0) + 1, bool)
    box[tuple(at.T)] = True
    labels, _ = ndimage.label(box, np.ones((3, 3, 3)))
    labels = labels[tuple(at.T)]
    parts = np.unique(labels[np.isinf(away[thin])])
    middles = _middles(field, at[np.isin(labels, parts)] + low, 0.5 * cell)
    # Balls in diagonal neighbours lie sqrt(3) cells apart: between them they must still be so thick.
    return _with_balls(field, middles, float(np.hypot(radius, np.sqrt(0.75) * cell)), cell)


def _middles(field: Field, points: NDArray[np.int64], slack: float) -> NDArray[np.int64]:
    """Those of the points (n, 3) that lie as deep as any of their neighbours, or nearly."""
    most = np.full(len(points), -np.inf, np.float32)
    last = np.array(field.shape) - 1
    for step in np.ndindex(3, 3, 3):
        near = np.clip(points + np.array(step) - 1, 0, last)
        np.maximum(most, field[tuple(near.T)], out=most)
    return points[field[tuple(points.T)] >= most - slack]


def _with_balls(field: Field, middles: NDArray[np.int64], radius: float, cell: float) -> Field:
    reach = int(np.ceil(radius / cell)) + 1
    pad = np.pad(field, reach, constant_values=-cell)
    for step in np.ndindex(*[2 * reach + 1] * 3):
        value = np.float32(radius - cell * float(np.linalg.norm(np.array(step) - reach)))
        if value > -1.5 * cell:
            at = tuple((middles + np.array(step)).T)
            pad[at] = np.maximum(pad[at], value)
    inner = slice(reach, -reach)
    return np.asarray(pad[inner, inner, inner])
