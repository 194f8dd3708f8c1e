"""Simple things that stand about in a studio, as meshes of boxes and bars; each stands on the floor at x = y = 0."""

from __future__ import annotations

import numpy as np

from silhouette.studio.raster import Mesh, joined
from silhouette.studio.solids import box, tube, turned_shape

WOOD, METAL, WHITE = (0.48, 0.33, 0.2), (0.13, 0.13, 0.14), (0.9, 0.89, 0.86)


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
