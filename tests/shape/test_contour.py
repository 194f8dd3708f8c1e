"""Closed forms, published values, and agreement with other libraries' own numbers."""

from __future__ import annotations

import json
import math

import numpy as np
import pytest
from scipy.stats import kendalltau
from shapely import affinity
from shapely.geometry import Polygon

from silhouette.shape import contour
from silhouette.shape.measure import normalised
from tests.shape.conftest import CIRCLE, DATA, ELL, PLUS, SQUARE, YOU

FORMS = [  # shape, solidity, hull perimeter / perimeter, 4 pi A / P^2, total absolute curvature: by hand
    (CIRCLE, 1, 1, 1, 1),
    (SQUARE, 1, 1, math.pi / 4, 1),
    (ELL, 6 / 7, (6 + math.sqrt(2)) / 8, 4 * math.pi * 3 / 64, 1.5),
    (PLUS, 5 / 7, (4 + 4 * math.sqrt(2)) / 12, 4 * math.pi * 5 / 144, 3),
    (YOU, 7 / 9, 12 / 16, 4 * math.pi * 7 / 256, 2),
]


@pytest.mark.parametrize(("shape", "solidity", "convexity", "circularity", "turning"), FORMS)
def test_closed_forms(shape: Polygon, solidity: float, convexity: float, circularity: float, turning: float) -> None:
    assert contour.solidity(shape) == pytest.approx(solidity, abs=1e-4)
    assert contour.convexity(shape) == pytest.approx(convexity, abs=1e-4)
    assert contour.circularity(shape) == pytest.approx(circularity, abs=1e-4)
    turns = contour.turns(contour.ring_points(shape.exterior))
    assert np.abs(turns).sum() / (2 * np.pi) == pytest.approx(turning, abs=1e-9)


def koch(level: int) -> Polygon:
    z = np.exp(-2j * np.pi * np.arange(3) / 3)
    for _ in range(level):
        step = (np.roll(z, -1) - z) / 3
        z = np.column_stack([z, z + step, z + step + step * np.exp(1j * np.pi / 3), z + 2 * step]).ravel()
    return Polygon(np.column_stack([z.real, z.imag]))


def test_koch_snowflake() -> None:
    """Area 1, 4/3, ... and perimeter (4/3)^n of von Koch's curve: 4 pi A / P^2, and level 1 is a hexagram."""
    assert [contour.circularity(koch(n)) for n in range(4)] == pytest.approx([0.6046, 0.4534, 0.2834, 0.1665], abs=1e-4)
    assert contour.solidity(koch(1)) == pytest.approx(2 / 3)
    assert contour.convexity(koch(1)) == pytest.approx(math.sqrt(3) / 2)


def test_koch_dimension() -> None:
    """The perimeter grows by 4/3 for rulers of a third: ln 4 / ln 3 (Mandelbrot)."""
    lengths = [koch(n).length for n in range(1, 5)]
    growth = np.diff(np.log(lengths)).mean()
    assert 1 + growth / math.log(3) == pytest.approx(math.log(4) / math.log(3))


def test_slit_and_spike() -> None:
    """Zunic & Rosin (2004), A new convexity measure for polygons, IEEE PAMI: unit square with a slit or a spike."""
    e = 1e-7
    slit = Polygon([(0, 0), (1, 0), (1, 1), (0.5 + e, 1), (0.5, e), (0.5 - e, 1), (0, 1)])
    assert contour.solidity(slit) == pytest.approx(1, abs=1e-5)
    assert contour.convexity(slit) == pytest.approx(2 / 3, abs=1e-5)
    for t in (0.5, 1.0, 3.0):
        spike = Polygon([(0, 0), (1, 0), (1, 1 - e), (1 + t, 1), (1, 1), (0, 1)])
        assert contour.solidity(spike) == pytest.approx(2 / (2 + t), abs=1e-5)


def test_smoothing_is_gaussian() -> None:
    """A wave round a ring keeps exp(-2 (pi f sigma)^2) of its height, f waves a point: the Gaussian's own spectrum."""
    n, waves, sigma = 240, 24, 2.5
    t = 2 * np.pi * np.arange(n) / n
    wave = np.column_stack([np.cos(waves * t), np.sin(waves * t)])
    kept = math.exp(-2 * (math.pi * waves / n * sigma) ** 2)
    assert contour.smooth(wave + 3.0, sigma) == pytest.approx(wave * kept + 3.0, abs=1e-12)


def test_agrees_with_scikit_image() -> None:
    """Area, convex area and solidity of the same drawing by skimage.measure.regionprops."""
    measure = pytest.importorskip("skimage.measure")
    import cv2

    for shape in (ELL, PLUS, YOU):
        canvas = np.zeros((700, 700), np.uint8)
        cv2.fillPoly(canvas, [np.array(shape.exterior.coords[:-1], np.int32) * 200 + 20], 1)
        found = measure.regionprops(canvas)[0]
        assert contour.solidity(shape) == pytest.approx(found.solidity, abs=0.005)
        assert shape.area == pytest.approx(found.area / 200**2, rel=0.02)


def test_agrees_with_shapely() -> None:
    shape = PLUS.difference(SQUARE.buffer(-0.3))
    assert contour.convexity(shape) == pytest.approx(shape.convex_hull.length / shape.exterior.length)
    assert contour.raster(affinity.translate(affinity.scale(PLUS, 1 / 3, 1 / 3, origin=(0, 0)), -0.5)).sum() == (
        pytest.approx(PLUS.area / 9 * 192**2, rel=0.005))


def test_mirrored_shape_gives_the_mirrored_picture() -> None:
    shape = affinity.translate(affinity.scale(ELL, 0.5, 0.5, origin=(0, 0)), -0.5)
    one = contour.raster(shape)
    other = contour.raster(affinity.scale(shape, -1, 1, origin=(0, 0)))
    assert np.array_equal(one, other[:, ::-1])


def test_symmetry() -> None:
    half = affinity.translate(affinity.scale(PLUS, 1 / 3, 1 / 3, origin=(0, 0)), -0.5)
    assert contour.symmetry(contour.raster(half)) > 0.97
    ell = affinity.translate(affinity.scale(ELL, 0.5, 0.5, origin=(0, 0)), -0.5)
    # best upright axis of the L: at x = 1/2 of its foot, 1x2 column on itself: overlap 2 of 2 * 3 - 2, or 2 of 4
    # across; leaning 4 degrees to the foot it takes in a little more
    assert 0.5 <= contour.symmetry(contour.raster(ell)) < 0.58


@pytest.mark.parametrize("lean", [-3, 1, 2, 4])
def test_a_camera_that_hangs_crooked_makes_no_figure_asymmetric(lean: float) -> None:
    upright = affinity.translate(affinity.scale(PLUS, 1 / 6, 1 / 3, origin=(0, 0)), -0.25)
    leaning = affinity.rotate(upright, lean)
    _, y0, _, y1 = leaning.bounds
    leaning = affinity.translate(affinity.scale(leaning, 1 / (y1 - y0), 1 / (y1 - y0), origin=(0, y0)), 0, -y0)
    assert contour.symmetry(contour.raster(leaning)) > 0.9


@pytest.mark.parametrize(("shape", "bays"), [(CIRCLE, 0), (SQUARE, 0), (ELL, 1), (PLUS, 4), (YOU, 1)])
def test_bays_can_be_counted(shape: Polygon, bays: float) -> None:
    assert contour.contour_complexity(shape) == pytest.approx(bays, abs=0.35)


def test_a_hole_counts_as_a_bay_by_its_width() -> None:
    """In full from a tenth of the size of the hull; half as wide counts half."""
    for side, bays in ((0.3, 1.0), (0.1, 1.0), (0.05, 0.5)):
        holed = normalised(SQUARE.difference(affinity.scale(SQUARE, side, side)))
        assert contour.contour_complexity(holed) == pytest.approx(bays, abs=0.01)


def test_complexity_follows_the_parts_people_mark() -> None:
    """Kendall's tau with the median part count of Carlier et al. (2016): total absolute curvature reaches 0.59."""
    rows = json.loads((DATA / "parts.json").read_text())
    ours = np.array([contour.contour_complexity(Polygon(r["outline"]).buffer(0)) for r in rows])
    theirs = np.array([r["parts_median"] for r in rows])
    assert kendalltau(ours, theirs)[0] > 0.60
