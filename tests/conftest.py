"""A model made of capsules, whose outline at every angle can be reasoned out, drawn before a plain wall.

She is a ferry keeper 1.7 m tall: trunk, head, two arms, two legs. Arms hang at the side or reach out level, so that a
person can see in every test what should come out.
"""

from __future__ import annotations

from collections.abc import Callable, Sequence
from pathlib import Path

import cv2
import numpy as np
import pytest

Capsule = tuple[tuple[float, float, float], tuple[float, float, float], float]
DATA = Path(__file__).parent / "data"


def model(arms: str = "out") -> list[Capsule]:
    """Capsules (from, to, radius) in metres: x to the figure's left, y to its back, z up."""
    hand_z, hand_x = (1.38, 0.78) if arms == "out" else (0.75, 0.22)
    body: list[Capsule] = [
        ((0, 0, 0.95), (0, 0, 1.35), 0.14),
        ((0, 0, 1.45), (0, 0, 1.50), 0.05),
        ((0, -0.01, 1.58), (0, -0.01, 1.60), 0.10),
    ]
    for side in (1, -1):
        body.append(((side * 0.16, 0, 1.38), (side * hand_x, 0, hand_z), 0.045))
        body.append(((side * 0.10, 0, 0.90), (side * 0.16, 0, 0.07), 0.07))
        body.append(((side * 0.16, 0, 0.04), (side * 0.18, -0.16, 0.04), 0.04))
    return body


def draw_mask(body: Sequence[Capsule], angle: float, size: tuple[int, int] = (450, 600)) -> np.ndarray:
    """(h, w) bool: the model seen from far at ``angle``; 1.7 m fill 70 % of the height, the ground at 90 %."""
    width, height = size
    k = 0.7 * height / 1.7
    a = np.deg2rad(angle)
    canvas = np.zeros((height, width), np.uint8)
    for p, q, r in body:
        ends = [
            (width / 2 + k * (e[0] * np.cos(a) - e[1] * np.sin(a)), 0.9 * height - k * e[2])
            for e in (np.linspace(p, q, 24))
        ]
        for x, y in ends:
            cv2.circle(canvas, (round(x * 16), round(y * 16)), round(k * r * 16), 255, -1, shift=4)
        pts = np.round(np.array(ends)).astype(np.int32)
        cv2.polylines(canvas, [pts], False, 255, max(1, round(2 * k * r)))
    return canvas > 0


def draw_picture(mask: np.ndarray, seed: int = 0, figure: tuple[int, int, int] = (70, 60, 110)) -> np.ndarray:
    """The masked figure before a grey wall with a fall-off of light and the noise of a sensor, BGR."""
    h, w = mask.shape
    rng = np.random.default_rng(seed)
    wall = 190 - 40 * np.hypot(*np.meshgrid(np.linspace(-1, 1, w), np.linspace(-1, 1, h)))[..., None]
    soft = cv2.GaussianBlur(mask.astype(np.float32), (0, 0), 0.7)[..., None]
    picture = wall * np.ones(3) * (1 - soft) + np.array(figure, float) * soft + rng.normal(0, 2, (h, w, 3))
    return np.clip(picture, 0, 255).astype(np.uint8)


@pytest.fixture
def data() -> Path:
    """Rendered pictures that come with the tests; their README says how they were made."""
    return DATA


@pytest.fixture
def capsule_mask() -> Callable[..., np.ndarray]:
    """``capsule_mask(angle, arms="out"|"down", size=(450, 600))`` as (h, w) bool."""
    return lambda angle, arms="out", size=(450, 600): draw_mask(model(arms), angle, size)


@pytest.fixture
def drawn_wall() -> Callable[..., Path]:
    """``drawn_wall(path, seed=99, size=(450, 600), light=1.0)`` writes a picture of that wall with nobody before it."""

    def make(path: Path, seed: int = 99, size: tuple[int, int] = (450, 600), light: float = 1.0) -> Path:
        picture = draw_picture(np.zeros(size[::-1], bool), seed)
        cv2.imwrite(str(path), np.clip(picture * light, 0, 255).astype(np.uint8))
        return path

    return make


@pytest.fixture
def drawn_turn(tmp_path: Path) -> Callable[..., Path]:
    """``drawn_turn(name, angles, arms="out", stem="{:03.0f}")`` writes a folder of JPEG stills and returns it."""

    def make(
        name: str, angles: Sequence[float], arms: str = "out", stem: str = "{a:03.0f}", suffix: str = ".jpg"
    ) -> Path:
        folder = tmp_path / name
        folder.mkdir()
        for i, a in enumerate(angles):
            picture = draw_picture(draw_mask(model(arms), a), seed=i)
            cv2.imwrite(str(folder / (stem.format(a=a, i=i) + suffix)), picture)
        return folder

    return make
