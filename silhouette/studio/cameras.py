"""The studio's camera: a pinhole on a tripod, looking at the turning axis.

The figure turns, the camera stands (as in the studio); ``angle`` says where the camera stands round the figure,
degrees, clockwise seen from above: 0 the figure faces it, 90 the figure's right side is toward it.
"""

from __future__ import annotations

from collections.abc import Iterable
from dataclasses import dataclass, replace

import numpy as np
from numpy.typing import NDArray


@dataclass(frozen=True)
class Camera:
    """Where the camera stands and what lens it has."""

    distance_m: float = 4.2
    """From the turning axis, level, metres."""
    height_m: float = 1.0
    tilt_deg: float = 0.0
    """Pitch in degrees, up positive; 0 is level."""
    focal_35mm: float = 50.0
    """35 mm equivalent: the long side of the picture spans 36 mm."""
    width: int = 600
    height: int = 800
    roll_deg: float = 0.0
    """How far the picture leans, degrees clockwise."""
    aim: tuple[float, float] = (0.0, 0.0)
    """Shift of the picture's centre, as a share of the long side: right, down."""

    @property
    def focal_px(self) -> float:
        return self.focal_35mm / 36.0 * max(self.width, self.height)

    def project(self, points: NDArray[np.float32], angle: float) -> NDArray[np.float32]:
        """Points of the body (n, 3), metres, to picture (n, 3): x right, y down in pixels, depth in metres."""
        seen = self.to_camera(points, angle)
        depth = np.maximum(seen[:, 2:], 1e-3)
        centre = np.array([self.width / 2 + self.aim[0] * max(self.width, self.height),
                           self.height / 2 + self.aim[1] * max(self.width, self.height)])
        return np.hstack([seen[:, :2] / depth * self.focal_px + centre, depth]).astype(np.float32)

    def to_camera(self, points: NDArray[np.float32], angle: float) -> NDArray[np.float32]:
        """Points of the body (n, 3) in the camera's frame: x right, y down, z away from the lens, metres."""
        rotation, shift = self.pose(angle)
        return (points @ rotation.T + shift).astype(np.float32)

    def pose(self, angle: float) -> tuple[NDArray[np.float64], NDArray[np.float64]]:
        """Rotation (3, 3) and shift (3,) from the body's frame to the camera's."""
        a = np.deg2rad(angle)
        # seen from above, x to the figure's left and y to its back, clockwise from the front runs over its right side
        place = np.array([-self.distance_m * np.sin(a), -self.distance_m * np.cos(a), self.height_m])
        ahead = np.array([np.sin(a), np.cos(a), 0.0])
        right = np.array([np.cos(a), -np.sin(a), 0.0])
        pitch = np.deg2rad(self.tilt_deg)
        up = np.array([0.0, 0.0, 1.0])
        look = np.cos(pitch) * ahead + np.sin(pitch) * up
        down = np.cross(look, right)
        roll = np.deg2rad(self.roll_deg)
        across = np.cos(roll) * right - np.sin(roll) * down
        below = np.sin(roll) * right + np.cos(roll) * down
        rotation = np.stack([across, below, look])
        return rotation, -rotation @ place


def framed(camera: Camera, points: NDArray[np.float64], angles: Iterable[float], margin: float = 0.03) -> Camera:
    """The same camera with a lens wide enough for all of these points (n, 3), metres, from all angles; ``margin`` is
    what stays free at every edge, as a share of the picture."""
    size = np.array([camera.width, camera.height])
    for angle in angles:
        while True:
            seen = camera.project(points.astype(np.float32), angle)[:, :2] / size
            if seen.min() >= margin and seen.max() <= 1 - margin:
                break
            camera = replace(camera, focal_35mm=0.95 * camera.focal_35mm)
    return camera
