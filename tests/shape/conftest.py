"""Drawings whose answer a person can see, and rendered figures whose limbs are known."""

from __future__ import annotations

import json
from pathlib import Path

import cv2
import numpy as np
import pytest
from shapely.geometry import Polygon

DATA = Path(__file__).parents[1] / "data" / "shapes"

SQUARE = Polygon([(0, 0), (1, 0), (1, 1), (0, 1)])
ELL = Polygon([(0, 0), (2, 0), (2, 1), (1, 1), (1, 2), (0, 2)])
PLUS = Polygon([(1, 0), (2, 0), (2, 1), (3, 1), (3, 2), (2, 2), (2, 3), (1, 3), (1, 2), (0, 2), (0, 1), (1, 1)])
YOU = Polygon([(0, 0), (3, 0), (3, 3), (2, 3), (2, 1), (1, 1), (1, 3), (0, 3)])
CIRCLE = Polygon([(np.cos(t), np.sin(t)) for t in np.linspace(0, 2 * np.pi, 720, endpoint=False)])


def figure_mask(name: str) -> np.ndarray:
    """(800, 600) bool of a rendered figure, ``POSE_AAA``."""
    return np.asarray(cv2.imread(str(DATA / "masks" / f"{name}.png"), cv2.IMREAD_GRAYSCALE)) > 0


@pytest.fixture(scope="session")
def truth() -> list[dict[str, float | str]]:
    """Rows of the rendered figures: mask, pose, angle and the legibility of the five limbs."""
    rows: list[dict[str, float | str]] = json.loads((DATA / "truth.json").read_text())
    return rows
