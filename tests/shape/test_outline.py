"""The outline of a mask: where it lies, what is left out, and that it is always a valid polygon."""

from __future__ import annotations

import cv2
import numpy as np
import pytest
from hypothesis import given, settings
from hypothesis import strategies as st
from shapely import contains_xy
from shapely.geometry import Point

from silhouette.shape.outline import outline_of
from tests.shape.conftest import figure_mask


def disc(radius: float, size: int = 300) -> np.ndarray:
    y, x = np.mgrid[:size, :size] + 0.5
    return (x - size / 2) ** 2 + (y - size / 2) ** 2 < radius**2


def test_a_disc_has_its_area_and_place() -> None:
    found = outline_of(disc(100))
    assert found is not None
    assert found.height_px == pytest.approx(200, abs=1)
    assert found.polygon.area == pytest.approx(np.pi / 4, rel=0.01)
    assert found.origin_px == pytest.approx((150, 50), abs=0.6)
    assert found.picture_size == (300, 300)


def test_the_frame_is_the_agreed_one() -> None:
    found = outline_of(figure_mask("lunge_000"))
    assert found is not None
    x0, y0, x1, y1 = found.polygon.bounds
    assert (y0, y1) == pytest.approx((0, 1), abs=1e-9)
    assert x0 == pytest.approx(-x1, abs=1e-9)
    assert found.polygon.exterior.is_ccw and not any(r.is_ccw for r in found.polygon.interiors)


def test_pixels_come_back_from_the_outline() -> None:
    mask = figure_mask("lunge_030")
    found = outline_of(mask)
    assert found is not None
    y, x = np.mgrid[: mask.shape[0] : 2, : mask.shape[1] : 2]
    px, py = found.origin_px
    drawn = contains_xy(found.polygon, (x + 0.5 - px) / found.height_px, (y + 0.5 - py) / found.height_px)
    mask = mask[::2, ::2]
    assert (mask & drawn).sum() / (mask | drawn).sum() > 0.99


def test_agrees_with_scikit_image() -> None:
    """Area, holes and middle of a figure's pixels by skimage.measure."""
    measure = pytest.importorskip("skimage.measure")
    mask = figure_mask("akimbo_000")
    found = outline_of(mask)
    assert found is not None
    (theirs,) = measure.regionprops(mask.astype(np.uint8))
    unit, (x, y) = found.height_px, found.origin_px
    assert found.polygon.area * unit**2 == pytest.approx(theirs.area, rel=0.01)
    assert len(found.polygon.interiors) == 1 - theirs.euler_number
    middle = found.polygon.centroid
    assert (middle.y * unit + y - 0.5, middle.x * unit + x - 0.5) == pytest.approx(theirs.centroid, abs=0.5)


def test_every_gap_that_matters_is_kept() -> None:
    mask = disc(100)
    mask[140:150, 140:150] = False  # 0.3 % of the hull
    mask[170, 170] = False  # a pinhole
    mask[5:9, 5:9] = True  # a speck
    found = outline_of(mask)
    assert found is not None
    assert len(found.polygon.interiors) == 1
    assert found.polygon.covers(Point(0, 0.62))


def test_nothing_to_trace_is_none() -> None:
    assert outline_of(np.zeros((40, 40), bool)) is None
    speck = np.zeros((40, 40), bool)
    speck[3:6, 3:6] = True
    assert outline_of(speck) is None


@pytest.mark.parametrize(("rows", "traced"), [(11, False), (12, True)])
def test_a_figure_needs_twelve_rows(rows: int, traced: bool) -> None:
    mask = np.zeros((40, 40), bool)
    mask[3 : 3 + rows, 5:30] = True
    assert (outline_of(mask) is not None) == traced


def test_a_figure_that_touches_itself_is_one_valid_polygon() -> None:
    mask = np.zeros((60, 60), bool)
    mask[10:30, 10:30] = mask[30:50, 30:50] = True  # two squares that meet in a corner
    found = outline_of(mask)
    assert found is not None and found.polygon.is_valid


@settings(max_examples=40, deadline=None)
@given(st.integers(0, 2**32 - 1), st.floats(0.35, 0.65))
def test_any_mask_gives_a_valid_polygon_or_none(seed: int, share: float) -> None:
    noise = np.random.default_rng(seed).random((64, 48)).astype(np.float32)
    found = outline_of(cv2.GaussianBlur(noise, (0, 0), 1.0) > np.quantile(cv2.GaussianBlur(noise, (0, 0), 1.0), share))
    assert found is None or (found.polygon.is_valid and found.polygon.area > 0)


def test_the_contour_that_is_drawn_is_true_on_paper() -> None:
    """Printed 860 mm high, half of life: every point within 0.2 mm of the disc's own edge, the mask's staircase too."""
    size = 4200
    found = outline_of(disc(2000, size))
    assert found is not None and found.contour is not None
    edge = np.asarray(found.drawn.exterior.segmentize(0.002).coords) * found.height_px + found.origin_px
    off = np.abs(np.hypot(*(edge - size / 2).T) - 2000) / found.height_px * 860
    assert off.max() < 0.2
    assert found.drawn.is_valid and len(found.polygon.exterior.coords) < len(found.contour.exterior.coords) < 1500
    assert found.drawn.bounds == pytest.approx(found.polygon.bounds, abs=0.001)
