"""What is kept of one picture, read off a picture whose answer is known."""

from __future__ import annotations

from pathlib import Path

import cv2
import numpy as np
import pytest

from silhouette.check.look import look_at
from silhouette.records import Cut, Picture


def test_look_measures_the_edge_and_the_light() -> None:
    sharp = np.full((300, 200, 3), 180, np.uint8)
    mask = np.zeros((300, 200), bool)
    mask[60:260, 70:130] = True
    sharp[mask] = 60
    sharp[60:260, 70:100] = 90
    widths = []
    for blur in (0.8, 2.0):
        picture = Picture(Path("x"), "x", cv2.GaussianBlur(sharp, (0, 0), blur), (400, 600))
        look = look_at(picture, Cut(mask, 0.99, "backdrop"))
        widths.append(look.edge_width or 0.0)
    # an edge blurred by sigma rises over sqrt(2 pi) sigma at its steepest; working pixels are two original ones
    assert widths[1] == pytest.approx(2 * np.sqrt(2 * np.pi) * 2.0, rel=0.15)
    assert widths[0] < 0.6 * widths[1]
    assert look.height_px == 400 and look.edges == () and look.side_light > 0.2
    assert look.backdrop_light == pytest.approx(180, abs=6)


def test_a_hard_edge_is_one_pixel_wide() -> None:
    """From one pixel to the next the whole contrast: one working pixel, which is two of the original."""
    picture = np.full((300, 200, 3), 180, np.uint8)
    mask = np.zeros((300, 200), bool)
    mask[60:260, 60:140] = True
    picture[mask] = 60
    look = look_at(Picture(Path("x"), "x", picture, (400, 600)), Cut(mask, 0.99, "backdrop"))
    assert look.edge_width == pytest.approx(2.0, rel=0.05)
