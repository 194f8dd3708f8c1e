"""Simple things that stand about in a studio, as meshes of boxes and bars; each stands on the floor at x = y = 0."""

from __future__ import annotations

import numpy as np

from silhouette.studio.clothes import lathe, tube
from silhouette.studio.raster import Mesh, joined
from silhouette.studio.room import Colour, linear

WOOD, METAL, WHITE = (0.48, 0.33, 0.2), (0.13, 0.13, 0.14), (0.9, 0.89, 0.86)


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


def stool(height: float = 0.62) -> Mesh:
    """A three-legged stool."""
    rim = [(0.0, -0.04), (0.17, -0.04), (0.18, -0.02), (0.17, 0.0), (0.0, 0.0)]
    seat = turned_shape([(r, height + h) for r, h in rim], WOOD)
    legs = []
    for a in np.radians([90, 210, 330]):
        out = np.array([np.cos(a), np.sin(a), 0.0])
        legs.append(tube(np.linspace(0.22 * out, 0.12 * out + np.array([0, 0, height - 0.03]), 3), 0.018, WOOD))
    return joined([seat, *legs])


def lamp_stand(height: float = 2.0) -> Mesh:
    """A lamp on a tripod stand, its softbox turned to the model."""
    legs = []
    for a in np.radians([30, 150, 270]):
        out = np.array([np.cos(a), np.sin(a), 0.0])
        legs.append(tube(np.linspace(0.4 * out, np.array([0, 0, 0.55]), 3), 0.012, METAL))
    pole = tube(np.array([[0, 0, 0.3], [0, 0, 1.0], [0, 0, height]]), 0.014, METAL)
    return joined([*legs, pole, box((0.1, 0.4, 0.4), (0.0, 0.0, height - 0.2), (0.2, 0.2, 0.2))])


def easel(height: float = 1.7) -> Mesh:
    """An easel with a board."""
    legs = [tube(np.array([[x, 0.0, 0.0], [x * 0.4, 0.1, height]]), 0.018, WOOD) for x in (-0.35, 0.35)]
    legs.append(tube(np.array([[0.0, 0.55, 0.0], [0.0, 0.12, height * 0.95]]), 0.018, WOOD))
    board, ledge = ((0.6, 0.03, 0.75), WHITE, 0.75), ((0.7, 0.08, 0.04), WOOD, 0.7)
    return joined([*legs, *(box(size, (0.0, -0.02, z), colour) for size, colour, z in (board, ledge))])
