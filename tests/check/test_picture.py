"""Framing, size and sharpness on looks made by hand."""

from __future__ import annotations

from collections.abc import Callable

import numpy as np
import pytest

from silhouette.check import picture
from silhouette.records import CANNOT_TELL, TWO_FIGURES
from silhouette.records_shoot import Shot

EMPTY = {"mask": np.zeros((200, 150), bool)}


def test_a_figure_whole_and_alone_passes_and_its_margin_is_told(made: Callable[..., Shot]) -> None:
    found = picture.framing(made(8))
    assert found.verdict == "pass" and found["room"] == pytest.approx(30 / 200)  # 30 of 200 rows over and under it


@pytest.mark.parametrize(("top", "bottom", "left", "right"), [
    (8, 40, 40, 40), (40, 8, 40, 40), (40, 40, 8, 40), (40, 40, 40, 8)])
def test_the_margin_is_the_least_of_the_four(
    made: Callable[..., Shot], top: int, bottom: int, left: int, right: int
) -> None:
    """8 pixels of the longer side, 200."""
    mask = np.zeros((200, 150), bool)
    mask[top : 200 - bottom, left : 150 - right] = True
    assert picture.framing(made(8, mask=mask))["room"] == pytest.approx(8 / 200)


def test_a_cut_figure_is_retaken_where_it_is_cut(made: Callable[..., Shot]) -> None:
    found = picture.framing(made(8, looks={3: {"edges": ("top",)}, 5: {"edges": ("picture left", "top")}}))
    assert (found.verdict, found.kind, found.stops) == ("retake", "cut by the frame", (3, 5))
    assert found["edges"] == ("picture left", "top")


@pytest.mark.parametrize(("size", "edges", "upright_helps"), [
    ((4000, 3000), ("top",), True), ((4000, 3000), ("picture left",), False), ((3000, 4000), ("top",), False),
])
def test_the_camera_is_turned_upright_only_where_that_helps(
    made: Callable[..., Shot], size: tuple[int, int], edges: tuple[str, ...], upright_helps: bool
) -> None:
    found = picture.framing(made(8, full_size=size, looks={3: {"edges": edges}}))
    assert found["upright_helps"] == upright_helps and found.stops == (3,)


def test_a_stop_without_a_figure_is_retaken_and_all_without_one_are_not_judged(made: Callable[..., Shot]) -> None:
    found = picture.framing(made(8, looks={2: EMPTY}))
    assert (found.verdict, found.kind, found.stops) == ("retake", "no figure", (2,))
    assert picture.framing(made(8, **EMPTY)).verdict == "unknown"
    assert picture.figure_size(made(8, height_px=0.0)).verdict == "unknown"


@pytest.mark.parametrize(("count", "verdict", "kind"), [
    (8, "retake", "two people"), (5, "retake", "two people"), (4, "look", "second figure"),
])
def test_two_people_in_most_pictures_are_a_fault_of_the_set_up(
    made: Callable[..., Shot], count: int, verdict: str, kind: str
) -> None:
    found = picture.framing(made(8, looks={k: {"flags": (TWO_FIGURES,)} for k in range(count)}))
    assert (found.verdict, found.kind, found.stops) == (verdict, kind, tuple(range(count)))


def test_a_cut_that_is_not_trusted_is_looked_at_unless_a_second_person_explains_it(made: Callable[..., Shot]) -> None:
    faint = picture.framing(made(8, looks={k: {"flags": (CANNOT_TELL,)} for k in (2, 4)}))
    assert (faint.verdict, faint.kind, faint.stops) == ("look", "figure unclear", (2, 4))
    both = picture.framing(made(8, looks={0: {"flags": (TWO_FIGURES, CANNOT_TELL)}}))
    assert both.kind == "second figure" and not both.parts


def test_all_that_is_wrong_is_kept_and_the_gravest_stops_are_named(made: Callable[..., Shot]) -> None:
    found = picture.framing(made(8, looks={3: {"edges": ("top",)}, 5: {"flags": (TWO_FIGURES,)}, 6: EMPTY}))
    assert (found.verdict, found.kind, found.stops) == ("retake", "cut by the frame", (3, 6))
    assert [(p.kind, p.stops) for p in found.parts] == [
        ("cut by the frame", (3,)), ("no figure", (6,)), ("second figure", (5,))]


@pytest.mark.parametrize(("pixels", "verdict"), [(60.0, "retake"), (150.0, "look"), (250.0, "pass")])
def test_the_size_is_that_in_the_original(made: Callable[..., Shot], pixels: float, verdict: str) -> None:
    found = picture.figure_size(made(8, height_px=pixels))
    assert found.verdict == verdict and found["pixels"] == pixels


@pytest.mark.parametrize(("width", "verdict", "stops"), [
    (3.0, "pass", ()), (4.0, "look", (5,)), (5.0, "retake", (5,)),
])
def test_a_stop_is_blurred_against_the_others(
    made: Callable[..., Shot], width: float, verdict: str, stops: tuple[int, ...]
) -> None:
    found = picture.sharpness(made(8, looks={5: {"edge_width": width}}))  # the others: 2 pixels
    assert (found.verdict, found.stops) == (verdict, stops)


def test_a_set_may_be_soft_altogether_or_show_no_edges(made: Callable[..., Shot]) -> None:
    assert picture.sharpness(made(8, edge_width=40.0)).kind == "soft everywhere"  # 40 of 2800 pixels
    assert picture.sharpness(made(8, edge_width=None, looks={0: {"edge_width": 2.0}})).verdict == "unknown"
