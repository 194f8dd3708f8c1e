"""Where a point of the figure lies in the picture of a stop: a pinhole camera on its way round the figure.

World frame: x toward the figure's left, y toward its back, z up; the camera at angle a stands at
(-D sin a, -D cos a, h),
so that at 0 it faces the front and at 90 sees the figure's right side. With across = x cos a - y sin a + aside and
ahead = D + x sin a + y cos a, a camera that looks up by p sees the point at

    depth = ahead cos p + (z - h) sin p,
    u = w / 2 + f across / depth,    v = h_px / 2 + f (ahead sin p - (z - h) cos p) / depth.
"""

from __future__ import annotations

from dataclasses import dataclass, replace

import numpy as np
from numpy.typing import NDArray

Floats = NDArray[np.float64]


@dataclass(frozen=True)
class StopCamera:
    """The camera as one stop was taken: it stands at ``angle`` round the figure."""

    angle: float
    """Degrees, clockwise seen from above; 0 faces the figure's front."""
    distance: float
    """From the lens to the turning axis, level, metres."""
    height: float
    """Of the lens above the ground, metres."""
    pitch: float
    """How far the camera looks up, degrees; negative: down."""
    focal_px: float
    """Focal length, pixels of the picture worked at."""
    aside: float
    """How far the turning axis lies to picture right of the picture's middle, metres."""
    size: tuple[int, int]
    """(width, height) of the picture, pixels; its middle is where the lens looks."""
    shift: tuple[float, float] = (0.0, 0.0)
    """Pixels to picture right and down by which this stop's picture lies off, as where the model sways."""


def project(camera: StopCamera, points: Floats) -> tuple[Floats, Floats]:
    """Picture places (n, 2), pixels, and depths (n,) of points (n, 3), in the camera's unit of length."""
    a, p = np.radians(camera.angle), np.radians(camera.pitch)
    x, y, z = np.asarray(points, np.float64).T
    across = x * np.cos(a) - y * np.sin(a) + camera.aside
    ahead = camera.distance + x * np.sin(a) + y * np.cos(a)
    up = z - camera.height
    depth = ahead * np.cos(p) + up * np.sin(p)
    below = ahead * np.sin(p) - up * np.cos(p)
    width, height = camera.size
    u = width / 2 + camera.shift[0] + camera.focal_px * across / depth
    v = height / 2 + camera.shift[1] + camera.focal_px * below / depth
    return np.stack([u, v], axis=1), depth


def scaled(camera: StopCamera, unit: float) -> StopCamera:
    """The same camera with lengths in another unit: figure heights to metres by the figure's height in metres."""
    return replace(camera, distance=camera.distance * unit, height=camera.height * unit, aside=camera.aside * unit)


def standing(camera: StopCamera) -> Floats:
    """(3,) where the lens stands."""
    a = np.radians(camera.angle)
    aside = camera.aside
    return np.array([
        -camera.distance * np.sin(a) - aside * np.cos(a), -camera.distance * np.cos(a) + aside * np.sin(a),
        camera.height,
    ])
