"""Two rings of one pose held against each other by the joints that each of them tells alone.

Each ring has its own frame: where its model stood is the middle, and where its turn began is the front. One is turned
about the plumb line and moved until most joints meet; those that still lie elsewhere have moved.
"""

from __future__ import annotations

from dataclasses import dataclass, replace

import numpy as np

from silhouette.geometry.orbit import StopCamera
from silhouette.records_space import BodySide, Skeleton
from silhouette.space.rings import laid_over

LEAST_JOINTS = 6
"""Joints that both rings must know."""


@dataclass(frozen=True)
class Apart:
    """A joint that lies elsewhere in another ring."""

    joint: str
    side: BodySide | None
    far: float
    """How far, statures."""
    sure: float
    """How far it may seem to without having moved, 9 times in 10."""


@dataclass(frozen=True)
class Alignment:
    """How another ring's frame is set into that of the first: turned, then moved. Lengths are statures."""

    turned: float
    """Degrees by which cameras of the other ring stand farther round the figure than their angles say, -180 to 180."""
    moved: tuple[float, float, float]
    apart: tuple[Apart, ...]
    """Of every joint that both know, farthest first."""

    def set_in(self, camera: StopCamera) -> StopCamera:
        """A camera of the other ring in the frame of the first: a point there is seen by it where it was seen here."""
        angle = camera.angle + self.turned
        a = np.radians(angle)
        x, y, z = self.moved
        return replace(
            camera, angle=angle, height=camera.height + z, aside=camera.aside - x * np.cos(a) + y * np.sin(a),
            distance=camera.distance - x * np.sin(a) - y * np.cos(a),
        )


def align(first: Skeleton, other: Skeleton) -> Alignment | None:
    """Turn and move the other skeleton so that most of its joints meet those of the first, both in statures; None where
    too few are known to both."""
    known = [(a, b) for a, b in zip(first.joints, other.joints, strict=True) if a.at is not None and b.at is not None]
    if len(known) < LEAST_JOINTS:
        return None
    here, there = (np.array([pair[k].at for pair in known], np.float64) for k in (0, 1))
    lay = laid_over(here, there)
    far = np.linalg.norm(here - lay.on(there), axis=1)
    sure = [float(np.hypot(a.within or 0.0, b.within or 0.0)) for a, b in known]
    apart = tuple(Apart(known[k][0].joint, known[k][0].side, float(far[k]), sure[k]) for k in np.argsort(-far))
    turned = (180.0 - float(np.degrees(lay.turn))) % 360.0 - 180.0
    x, y, z = (float(v) for v in lay.shift)
    return Alignment(turned, (x, y, z), apart)
