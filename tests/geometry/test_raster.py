"""Outlines drawn as pictures: by area, without a bias to any side."""

from __future__ import annotations

import numpy as np
import pytest
from shapely.geometry import Polygon, box

from silhouette.geometry.raster import coverage, rings_of


def test_a_box_covers_its_pixels_and_parts_of_others() -> None:
    seen = coverage(rings_of(box(2, 1, 5.5, 3)), (8, 4)) / 255
    wanted = np.zeros((4, 8))
    wanted[1:3, 2:5], wanted[1:3, 5] = 1, 0.5
    assert seen == pytest.approx(wanted, abs=0.26), "at most a row of the fine picture too much along an edge"
    assert seen[1:3, 2:5].min() == 1 and seen[:, 7].max() == seen[:, 0].max() == 0


def test_a_hole_stays_empty() -> None:
    seen = coverage(rings_of(box(1, 1, 15, 15).difference(box(5, 5, 11, 11))), (16, 16))
    assert seen[2:14, 2:4].min() == 255 and seen[6:10, 6:10].max() == 0


def test_area_is_kept() -> None:
    """A disc of radius 30 covers pi r^2 pixels: no edge is fattened."""
    t = np.linspace(0, 2 * np.pi, 400, endpoint=False)
    disc = Polygon(np.column_stack([40 + 30 * np.cos(t), 40 + 30 * np.sin(t)]))
    assert coverage(rings_of(disc), (80, 80)).sum() / 255 == pytest.approx(np.pi * 30**2, rel=0.012)


def test_what_reaches_out_of_the_picture_is_cut_off() -> None:
    seen = coverage([np.array([(-50.0, -50), (50, -50), (50, 2), (-50, 2)])], (6, 4))
    assert seen[:2].min() == 255 and seen[3].max() == 0


def test_rings_are_open_and_the_outer_one_comes_first() -> None:
    outer, hole = rings_of(box(0, 0, 4, 4).difference(box(1, 1, 2, 2)))
    assert outer.shape == hole.shape == (4, 2) and np.ptp(outer) == 4 and np.ptp(hole) == 1


def test_agrees_with_scikit_image() -> None:
    """The pixels that are covered by more than half are those whose middle skimage.draw finds inside."""
    draw = pytest.importorskip("skimage.draw")
    t = np.linspace(0, 2 * np.pi, 300, endpoint=False)
    radius = 60 + 20 * np.cos(5 * t)
    star = np.column_stack([100 + radius * np.cos(t), 90 + radius * np.sin(t)])
    ours = coverage([star], (200, 180)) > 127
    theirs = draw.polygon2mask((180, 200), star[:, ::-1] - 0.5)
    assert (ours ^ theirs).sum() < 0.01 * theirs.sum()
