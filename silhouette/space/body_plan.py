"""What bodies have in common: which points belong together, how long the bones are, what bends which way.

Shares are of the stature, measured on 300 of the studio's adults in 300 poses; spreads are widened where living people
vary more than the studio's bodies do. Points are numbered as in ``POINTS``; of a pair the first is the figure's left.
"""

from __future__ import annotations

import numpy as np
from numpy.typing import NDArray

from silhouette.records_space import POINTS

Floats = NDArray[np.float64]

P = len(POINTS)
TWIN = np.array([
    next((j for j in range(P) if j != i and POINTS[j] == POINTS[i]), i) for i in range(P)
])
"""(23,) the other one of the pair; a point without a pair is its own."""
LEFT = np.flatnonzero(np.arange(P) < TWIN)
"""(10,) first members of the pairs."""


def index(point: str, side: str | None = None) -> int:
    """Number of a point; ``side`` left or right where it has one."""
    first = POINTS.index(point)
    return first + (1 if side == "right" else 0)


HEAD, CROWN, NECK = index("head"), index("crown"), index("neck")
HAND, ELBOW, FOOT, KNEE, SHOULDER, WRIST, HIP, ANKLE, HAND_END, FOOT_END = (
    index(name) for name in ("hand", "elbow", "foot", "knee", "shoulder", "wrist", "hip", "ankle", "hand end",
                             "foot end")
)

_LIMB_BONES = (
    (SHOULDER, ELBOW, 0.1542, 0.05), (ELBOW, WRIST, 0.1374, 0.06), (WRIST, HAND, 0.0307, 0.15),
    (WRIST, HAND_END, 0.0937, 0.25), (HIP, KNEE, 0.2397, 0.08), (KNEE, ANKLE, 0.2484, 0.05),
    (ANKLE, FOOT, 0.0453, 0.08), (ANKLE, FOOT_END, 0.1239, 0.06), (FOOT, FOOT_END, 0.0785, 0.08),
    (NECK, SHOULDER, 0.1082, 0.11), (NECK, HIP, 0.3279, 0.05), (SHOULDER, HIP, 0.2836, 0.11),
)
_MIDDLE_BONES = (
    (CROWN, NECK, 0.1445, 0.06), (HEAD, NECK, 0.0839, 0.10), (CROWN, HEAD, 0.0830, 0.06),
    (SHOULDER, SHOULDER + 1, 0.1977, 0.07), (HIP, HIP + 1, 0.1279, 0.10),
)


def _mirrored(point: int) -> int:
    return int(TWIN[point])


BONES = tuple(
    [(a, b) for a, b, _, _ in _LIMB_BONES] + [(_mirrored(a), _mirrored(b)) for a, b, _, _ in _LIMB_BONES]
    + [(a, b) for a, b, _, _ in _MIDDLE_BONES]
)
"""Pairs of points that keep their distance, or nearly: left ones, right ones, middle ones."""
SHARE = np.array([s for *_, s, _ in _LIMB_BONES] * 2 + [s for *_, s, _ in _MIDDLE_BONES])
"""Length of each over the stature, the geometric mean."""
BENDS = np.array([(a, b) in ((WRIST, HAND_END), (WRIST + 1, HAND_END + 1)) for a, b in BONES])
SPREAD = np.array([s for *_, s in _LIMB_BONES] * 2 + [s for *_, s in _MIDDLE_BONES])
"""Standard deviation of its logarithm."""
ALIKE = tuple((i, i + len(_LIMB_BONES)) for i in (0, 1, 2, 4, 5, 6, 7, 8, 10))
"""Pairs of bones, left and right, that are about equally long."""
ALIKE_SPREAD = np.array([0.02, 0.02, 0.05, 0.02, 0.02, 0.04, 0.03, 0.04, 0.045])
"""Standard deviation of the difference of their logarithms."""


def off_length(length: Floats, log_stature: float) -> tuple[Floats, Floats]:
    """How far bones' lengths (..., bones) lie from the plan's, and how that changes with the logarithm of the length.

    As a logarithm, but for hands, which bend: their length from wrist to fingertip as a share of the plan's, less 1.
    """
    log = np.log(length) - log_stature - np.log(SHARE)
    ratio = np.exp(np.minimum(log, 3.0))
    return np.where(BENDS, ratio - 1, log), np.where(BENDS, ratio, 1.0)
