"""Simple solids as meshes: shapes turned about an axis, bars along a path, boxes."""

from __future__ import annotations

import numpy as np
from numpy.typing import NDArray

from silhouette.studio.raster import Mesh
from silhouette.studio.room import Colour, Floats, linear


def lathe(profile: list[tuple[float, float]], around: int = 28) -> tuple[Floats, NDArray[np.int64]]:
    """Points and triangles of a shape turned about the upright axis from (radius, height) pairs, metres."""
    turn = np.linspace(0, 2 * np.pi, around, endpoint=False)
    points = np.array([(r * np.cos(t), r * np.sin(t), h) for r, h in profile for t in turn])
    triangles = []
    for ring in range(len(profile) - 1):
        for k in range(around):
            a, b = ring * around + k, ring * around + (k + 1) % around
            triangles += [(a, b, a + around), (b, b + around, a + around)]
    return points, np.array(triangles, np.int64)


def sheet(rows: int, columns: int) -> NDArray[np.int64]:
    """Triangles of a sheet whose points lie in rows."""
    at = np.arange(rows * columns).reshape(rows, columns)
    a, b, c, d = at[:-1, :-1], at[:-1, 1:], at[1:, :-1], at[1:, 1:]
    return np.concatenate([np.stack(t, axis=-1).reshape(-1, 3) for t in ((a, b, c), (b, d, c))])


def tube(path: Floats, radius: float, colour: Colour, around: int = 12) -> Mesh:
    """A round bar or rope along (n, 3) points, metres."""
    path = np.asarray(path, float)
    ahead = np.gradient(path, axis=0)
    ahead /= np.linalg.norm(ahead, axis=1, keepdims=True)
    side = np.cross(ahead, np.where(np.abs(ahead[:, 2:]) > 0.9, [[1.0, 0.0, 0.0]], [[0.0, 0.0, 1.0]]))
    side /= np.linalg.norm(side, axis=1, keepdims=True)
    other = np.cross(ahead, side)
    turn = np.linspace(0, 2 * np.pi, around, endpoint=False)
    rings = path[:, None] + radius * (np.cos(turn)[None, :, None] * side[:, None]
                                      + np.sin(turn)[None, :, None] * other[:, None])
    _, triangles = lathe([(1.0, float(k)) for k in range(len(path))], around)
    points = np.concatenate([rings.reshape(-1, 3), path[:1], path[-1:]])
    last = len(path) * around
    ends = [(last, (k + 1) % around, k) for k in range(around)]
    ends += [(last + 1, last - around + k, last - around + (k + 1) % around) for k in range(around)]
    triangles = np.concatenate([triangles, np.array(ends, np.int64)])
    return Mesh(points, triangles, np.tile(linear(colour), (len(points), 1)))


def turned_shape(profile: list[tuple[float, float]], colour: Colour) -> Mesh:
    """A closed shape turned about the upright axis, from (radius, height) pairs, lowest first."""
    points, triangles = lathe(profile)
    return Mesh(points, triangles, np.tile(linear(colour), (len(points), 1)))


def box(size: tuple[float, float, float], at: tuple[float, float, float], colour: Colour) -> Mesh:
    """An upright box of (x, y, z) size, metres, the middle of its bottom at ``at``; corners are not shared."""
    corners = np.array([(x, y, z) for x in (-0.5, 0.5) for y in (-0.5, 0.5) for z in (0.0, 1.0)])
    sides = [(0, 1, 3, 2), (4, 6, 7, 5), (0, 4, 5, 1), (2, 3, 7, 6), (0, 2, 6, 4), (1, 5, 7, 3)]
    points = np.concatenate([corners[list(s)] for s in sides]) * np.array(size) + np.array(at)
    triangles = np.concatenate([[(4 * k, 4 * k + 1, 4 * k + 2), (4 * k, 4 * k + 2, 4 * k + 3)] for k in range(6)])
    return Mesh(points, triangles, np.tile(linear(colour), (len(points), 1)))
