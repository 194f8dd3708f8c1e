"""Parts that stand clear in no view: drawn figures of thick lines, whose answer a person can see."""

from __future__ import annotations

from collections.abc import Sequence
from typing import Any

import cv2
import numpy as np
import pytest

from silhouette.geometry.orbit import StopCamera, project
from silhouette.space import blind_spots as bs
from tests.space import made

ANGLES = range(0, 360, 15)
STANDING = {
    "crown": (0.0, -0.02, 1.70), "neck": (0.0, 0.0, 1.45),
    "shoulder left": (0.17, 0.0, 1.40), "shoulder right": (-0.17, 0.0, 1.40),
    "elbow left": (0.40, 0.0, 1.22), "elbow right": (-0.40, 0.0, 1.22),
    "wrist left": (0.60, 0.0, 1.06), "wrist right": (-0.60, 0.0, 1.06),
    "hand end left": (0.70, 0.0, 0.95), "hand end right": (-0.70, 0.0, 0.95),
    "hip left": (0.09, 0.0, 0.90), "hip right": (-0.09, 0.0, 0.90),
    "knee left": (0.16, 0.0, 0.50), "knee right": (-0.16, 0.0, 0.50),
    "ankle left": (0.20, 0.03, 0.08), "ankle right": (-0.20, 0.03, 0.08),
    "foot end left": (0.22, -0.15, 0.03), "foot end right": (-0.22, -0.15, 0.03),
}
"""Arms spread, legs apart: nothing is hidden."""
BEHIND = STANDING | {
    "elbow right": (-0.26, 0.08, 1.14), "wrist right": (-0.11, 0.20, 0.98), "hand end right": (-0.01, 0.22, 0.92),
}
"""The right hand lies on the small of the back, under a thick coat: see COAT."""
COAT = [((0.0, 0.05, 0.80), (0.0, 0.05, 1.25), 0.24)]


def cameras(height: float, angles: Sequence[float] = ANGLES) -> list[StopCamera]:
    pitch = float(np.degrees(np.arctan2(0.85 - height, 4.0)))
    return [StopCamera(float(a), 4.0, height, pitch, 900.0, 0.0, (400, 520)) for a in angles]


def seen(body: Sequence[Any], camera: StopCamera) -> np.ndarray:
    """What a camera sees of thick lines."""
    picture = np.zeros((camera.size[1], camera.size[0]), np.uint8)
    for p, q, radius in body:
        (a, b), depth = project(camera, np.array([p, q], float))
        wide = [radius * camera.focal_px / d for d in depth]
        for share in np.linspace(0, 1, 40):
            x, y = a + share * (b - a)
            cv2.circle(picture, (round(16 * x), round(16 * y)), round(16 * (wide[0] + share * (wide[1] - wide[0]))), 1,
                       -1, shift=4)
    return picture > 0


def found(places: dict[str, Any], extra: Sequence[Any] = (), heights: dict[str, float] | None = None,
          close_ups: Sequence[str] = (), **skeleton: Any) -> tuple[Any, ...]:
    body, shot, masks, rings = [*made.capsules(places), *extra], [], [], []
    for ring, height in (heights or {"level": 1.0}).items():
        for camera in cameras(height):
            shot.append(camera)
            masks.append(seen(body, camera))
            rings.append(ring)
    return bs.blind_spots(made.skeleton_of(places, **skeleton), masks, shot, rings, close_ups)  # type: ignore[arg-type]


def test_a_figure_with_arms_and_legs_spread_has_no_blind_spot():
    assert found(STANDING) == ()


def test_a_hand_behind_the_back_under_a_coat_is_the_only_blind_spot_and_is_seen_from_behind():
    spots = found(BEHIND, COAT)
    assert {(s.part, s.side) for s in spots} <= {("hand", "right"), ("forearm", "right")}
    hand = next(s for s in spots if s.part == "hand")
    assert abs((hand.angle - 180 + 180) % 360 - 180) <= 60
    assert hand.clear < 0.2 and hand.ring == "level" and hand.covered_by is None
    assert hand.height == pytest.approx(0.95 / 1.70, abs=0.08)
