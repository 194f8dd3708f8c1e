"""All measures in one call: what must not change them, what they refuse, and what they are worth."""

from __future__ import annotations

import dataclasses

import numpy as np
import pytest
from hypothesis import given, settings
from hypothesis import strategies as st
from shapely import affinity
from shapely.geometry import LineString, MultiPolygon, Point, Polygon, box

from silhouette.errors import SilhouetteError
from silhouette.records import Measures
from silhouette.shape.measure import measure_outline, normalised
from silhouette.shape.outline import outline_of
from tests.shape.conftest import SQUARE, figure_mask

NUMBERS = ("negative_space", "contour_complexity", "limb_separation", "solidity", "circularity", "convexity",
           "symmetry")


def numbers(measures: Measures) -> np.ndarray:
    return np.array([getattr(measures, name) for name in NUMBERS])


def figure(name: str) -> Polygon:
    found = outline_of(figure_mask(name))
    assert found is not None
    return found.polygon


@settings(max_examples=20, deadline=None)
@given(name=st.sampled_from(["akimbo_030", "lunge_060", "reach_up_300"]), scale=st.floats(1e-3, 1e4),
       x=st.floats(-1e3, 1e3), y=st.floats(-1e3, 1e3), mirror=st.booleans(), start=st.integers(0, 400),
       backwards=st.booleans())
def test_what_must_change_nothing(
    name: str, scale: float, x: float, y: float, mirror: bool, start: int, backwards: bool
) -> None:
    """Position, scale, mirroring, the vertex that the ring starts at, and the way round it runs."""
    outline = figure(name)
    base = measure_outline(outline)
    rings = [np.roll(np.array(r.coords)[:-1], start, axis=0) for r in (outline.exterior, *outline.interiors)]
    if backwards:
        rings = [r[::-1] for r in rings]
    other = affinity.scale(Polygon(rings[0], rings[1:]), -scale if mirror else scale, scale, origin=(0, 0))
    moved = measure_outline(affinity.translate(other, x * scale, y * scale))
    assert numbers(moved) == pytest.approx(numbers(base), abs=2e-3)
    for found in ("gaps", "parts", "tangents"):
        assert len(getattr(moved, found)) == len(getattr(base, found)), found


def test_vertices_on_straight_edges_change_nothing() -> None:
    outline = figure("lunge_030")
    base, dense = measure_outline(outline), measure_outline(outline.segmentize(0.002))
    assert numbers(dense) == pytest.approx(numbers(base), abs=0.01)


@pytest.mark.parametrize("name", ["akimbo_000", "arms_flush_030", "lunge_090", "reach_up_330"])
def test_the_same_picture_at_other_sizes(name: str) -> None:
    import cv2

    mask = figure_mask(name).astype(np.float32)
    seen = []
    for factor in (0.75, 1.0, 1.4):
        how = cv2.INTER_AREA if factor < 1 else cv2.INTER_LINEAR
        drawn = cv2.resize(mask, None, fx=factor, fy=factor, interpolation=how)
        found = outline_of(drawn > 0.5)
        assert found is not None
        seen.append(measure_outline(found.polygon).limb_separation)
    assert np.ptp(seen) < 0.03


def test_everything_lies_in_the_normalised_frame() -> None:
    measures = measure_outline(affinity.scale(figure("lunge_030"), 500, 500, origin=(3, 9)))
    for shape in (*(g.polygon for g in measures.gaps), *(p.polygon for p in measures.parts)):
        x0, y0, x1, y1 = shape.bounds
        assert -1 < x0 <= x1 < 1 and -1e-6 <= y0 <= y1 <= 1 + 1e-6


def test_measures_are_within_their_ranges() -> None:
    for name in ("akimbo_090", "arms_flush_000", "lunge_030", "reach_up_210"):
        measures = measure_outline(figure(name))
        for field in dataclasses.fields(measures):
            value = getattr(measures, field.name)
            if isinstance(value, float) and field.name != "contour_complexity":
                assert 0 <= value <= 1, field.name
        assert 1 < measures.contour_complexity < 14


@pytest.mark.parametrize("wrong", [
    Polygon(), MultiPolygon([box(0, 0, 1, 1), box(2, 2, 3, 3)]), LineString([(0, 0), (1, 1)]), "a polygon", None,
    Polygon([(0, 0), (2, 2), (2, 0), (0, 2)]), Polygon([(0, 0), (1, 0), (2, 0)]),
    Polygon([(0, 0), (1, 0), (float("nan"), 1)]),
], ids=["empty", "several", "line", "text", "none", "crosses itself", "no area", "not numbers"])
def test_what_is_no_outline_is_refused_in_one_sentence(wrong: object) -> None:
    with pytest.raises(SilhouetteError) as error:
        measure_outline(wrong)  # type: ignore[arg-type]
    assert "utline" in str(error.value) and "\n" not in str(error.value)


ANGLES = np.linspace(0, 2 * np.pi, 10_000, endpoint=False)
COG = np.column_stack([np.cos(ANGLES), np.sin(ANGLES)]) * (1 + 0.2 * np.sin(40 * ANGLES))[:, None]
ODD = {
    "triangle": Polygon([(0, 0), (1, 0), (0, 1)]),
    "upright sliver": box(0, 0, 1e-3, 1),
    "flat sliver": box(0, 0, 1e3, 1),
    "holes that touch": box(0, 0, 9, 9).difference(box(2, 2, 4, 4)).difference(box(4, 4, 6, 6)),
    "hole that touches the edge": Polygon([(0, 0), (9, 0), (9, 9), (0, 9)], [[(0, 4), (3, 3), (3, 5)]]),
    "ten thousand vertices": Polygon(COG),
    "spike without width": Polygon([(0, 0), (1, 0), (1, 1), (0.5 + 1e-12, 1), (0.5, 3), (0.5 - 1e-12, 1), (0, 1)]),
    "slit without width": Polygon([(0, 0), (1, 0), (1, 1), (0.5 + 1e-12, 1), (0.5, 0.2), (0.5 - 1e-12, 1), (0, 1)]),
    "far away": affinity.translate(SQUARE, 1e7, -1e7),
    "minute": affinity.scale(SQUARE, 1e-9, 1e-9),
}


@pytest.mark.parametrize("shape", ODD.values(), ids=ODD.keys())
def test_odd_shapes_give_numbers_or_one_clear_sentence(shape: Polygon) -> None:
    try:
        measures = measure_outline(shape)
    except SilhouetteError:
        return
    assert np.isfinite(numbers(measures)).all()
    assert 0 <= measures.limb_separation <= 1


@settings(max_examples=30, deadline=None)
@given(st.lists(st.tuples(st.floats(-5, 5), st.floats(-5, 5)), min_size=3, max_size=12))
def test_any_polygon_gives_numbers_or_one_clear_sentence(points: list[tuple[float, float]]) -> None:
    try:
        measures = measure_outline(Polygon(points))
    except SilhouetteError:
        return
    assert np.isfinite(numbers(measures)).all()


@pytest.mark.parametrize("name", ["square", "triangle", "ell", "with a window", "disc"])
def test_of_a_plain_shape_no_limbs_are_told(name: str) -> None:
    plain = {"square": SQUARE, "triangle": ODD["triangle"], "ell": box(0, 0, 1, 3).union(box(0, 2, 2, 3)),
             "with a window": box(0, 0, 3, 3).difference(box(1, 1, 2, 2)), "disc": Point(0, 0).buffer(1)}[name]
    assert measure_outline(plain).limbs is None
    assert measure_outline(figure("arms_flush_000")).limbs is not None


def test_an_outline_with_y_upwards_is_turned_over() -> None:
    shape = figure("lunge_030")
    turned = affinity.scale(shape, 250, -250, origin=(7, 9))
    assert numbers(measure_outline(turned, y_up=True)) == pytest.approx(numbers(measure_outline(shape)), abs=1e-6)
    top = max(p.tip[1] for p in measure_outline(shape).parts)
    assert max(p.tip[1] for p in measure_outline(turned, y_up=True).parts) == pytest.approx(top, abs=1e-6)


def test_normalised_keeps_the_shape() -> None:
    shape = normalised(affinity.translate(affinity.scale(SQUARE, 4, 2), 7, 7))
    assert shape.bounds == pytest.approx((-1, 0, 1, 1))
