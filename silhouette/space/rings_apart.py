"""Two rings of one pose held against each other by the joints that each of them tells alone.

Each ring has its own frame: where its model stood is the middle, and where its turn began is the front. One is turned
about the plumb line, moved and set to one size until most joints meet; those that still lie elsewhere have moved.
"""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass, replace

import numpy as np
from numpy.typing import NDArray

from silhouette.geometry.orbit import StopCamera, scaled
from silhouette.records_space import Skeleton, SpaceJoint

Floats = NDArray[np.float64]

LEAST_JOINTS = 6
"""Joints that both rings must know."""
ROUNDS = 30
"""Times that the joints are weighed anew by how well they meet."""
NEAR = 0.01
"""Statures within which joints meet as well as can be; what lies farther off counts less and less."""
TO_90 = 1.645


@dataclass(frozen=True)
class Apart:
    """A joint that lies elsewhere in another ring."""

    joint: str
    side: str | None
    """The figure's."""
    far: float
    """How far, in the unit of the first ring."""
    sure: float
    """How far it may seem to without having moved, 9 times in 10."""


@dataclass(frozen=True)
class Alignment:
    """How another ring's frame is set into that of the first: turned, made larger, moved."""

    turned: float
    """Degrees by which cameras of the other ring stand farther round the figure than their angles say."""
    larger: float
    moved: tuple[float, float, float]
    """In the unit of the first ring."""
    apart: tuple[Apart, ...]
    """Of every joint that both know, farthest first."""

    def set_in(self, camera: StopCamera) -> StopCamera:
        """A camera of the other ring in the frame of the first: a point there is seen by it where it was seen here."""
        camera = scaled(camera, self.larger)
        angle = camera.angle + self.turned
        a = np.radians(angle)
        x, y, z = self.moved
        return replace(
            camera, angle=angle, height=camera.height + z, aside=camera.aside - x * np.cos(a) + y * np.sin(a),
            distance=camera.distance - x * np.sin(a) - y * np.cos(a),
        )


def align(first: Skeleton, other: Skeleton) -> Alignment | None:
    """Turn, move and size the other skeleton so that most of its joints meet those of the first; None where too few are
    known to both.

    Weights 1 / (1 + (r / NEAR)^2) of the distances r (Cauchy) let joints that have moved go.
    """
    known = [(a, b) for a, b in zip(first.joints, other.joints, strict=True) if a.at is not None and b.at is not None]
    if len(known) < LEAST_JOINTS:
        return None
    a, b = (np.array([pair[k].at for pair in known], np.float64) for k in (0, 1))
    unit = float(np.ptp(a[:, 2])) or 1.0
    weight = np.array([1.0 if p.sure and q.sure else 0.3 for p, q in known])
    counts = weight
    turn, larger, shift = 0.0, 1.0, np.zeros(3)
    for _ in range(ROUNDS):
        turn, larger, shift = _fit(a, b, counts)
        far = np.linalg.norm(a - _set(b, turn, larger, shift), axis=1)
        counts = weight / (1 + (far / (NEAR * unit)) ** 2)
    far = np.linalg.norm(a - _set(b, turn, larger, shift), axis=1)
    order = np.argsort(-far)
    apart = tuple(Apart(known[k][0].joint, known[k][0].side, float(far[k]), _doubt(known[k], larger)) for k in order)
    return Alignment(float(np.degrees(-turn)), larger, (float(shift[0]), float(shift[1]), float(shift[2])), apart)


def _fit(a: Floats, b: Floats, counts: Floats) -> tuple[float, float, Floats]:
    """Weighted least squares: turn about z (radians), size, shift that carry b to a (Umeyama 1991, about one axis)."""
    share = counts / counts.sum()
    p, q = a - share @ a, b - share @ b
    turn = float(np.arctan2(share @ (q[:, 0] * p[:, 1] - q[:, 1] * p[:, 0]), share @ (q[:, :2] * p[:, :2]).sum(axis=1)))
    turned = _set(q, turn, 1.0, np.zeros(3))
    larger = float((share @ (turned * p).sum(axis=1)) / max(share @ (q * q).sum(axis=1), 1e-12))
    return turn, larger, share @ a - _set((share @ b)[None], turn, larger, np.zeros(3))[0]


def _set(points: Floats, turn: float, larger: float, shift: Floats) -> Floats:
    sin, cos = np.sin(turn), np.cos(turn)
    x, y, z = points.T
    return np.stack([x * cos - y * sin, x * sin + y * cos, z], axis=1) * larger + shift


def _doubt(pair: tuple[SpaceJoint, SpaceJoint], larger: float) -> float:
    return float(np.hypot(pair[0].within or 0.0, larger * (pair[1].within or 0.0)))


def together(cameras: Sequence[Sequence[StopCamera]], aligned: Sequence[Alignment]) -> list[StopCamera]:
    """The cameras of all rings in the frame of the first; ``aligned`` has one for each of the others."""
    out = list(cameras[0])
    for own, how in zip(cameras[1:], aligned, strict=True):
        out += [how.set_in(camera) for camera in own]
    return out
