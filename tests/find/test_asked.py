"""Whether a pose does what is asked, on views written down by hand."""

from __future__ import annotations

import math
from dataclasses import replace
from typing import Any

import numpy as np
import pytest

from silhouette.find import rows
from silhouette.find.asked import found_in, has_arm, has_gap, strong_from
from silhouette.find.views import Views, views_of
from silhouette.records import CANNOT_TELL, Joint
from silhouette.records_find import Asked, ViewLine


def line(angle: float = 0.0, readability: float | None = 60.0, **other: Any) -> ViewLine:
    values: dict[str, Any] = {"band": "fair", **other}
    ring = values.pop("ring", "level")
    return ViewLine("hauling", "turns/hauling", ring, angle, "name", f"{angle:03.0f}", readability, **values)


def columns(*poses: list[ViewLine]) -> Views:
    """The views of some poses whose headline is of the level ring."""
    table = rows.joined([rows.found_by_of(lines, "level") for lines in poses])
    return views_of(table, [len(lines) for lines in poses])


def body(hand_y: float, sure: float = 0.9, spread: float = 0.02, also: tuple[float, float] | None = None,
         head_y: float = 0.30) -> tuple[Joint, ...]:
    """A head, a hand at the side, another one so high, and feet; fractions of the picture, y downwards."""
    return (Joint("head", 0.5, head_y, 0.02, 0.9), Joint("hand", 0.4, 0.6, 0.02, 0.9),
            Joint("hand", 0.6, hand_y, spread, sure, also), Joint("foot", 0.45, 0.9, 0.02),
            Joint("foot", 0.55, 0.88, 0.02))


@pytest.mark.parametrize(("gaps", "small", "fair", "big"), [
    ((), False, False, False), ((0.01,), False, False, False), ((0.05, 0.01), True, False, False),
    ((0.12,), True, True, False), ((0.02, 0.31), True, True, True),
])
def test_a_gap_counts_from_its_size_on(gaps: tuple[float, ...], small: bool, fair: bool, big: bool) -> None:
    views = columns([line(), line(gaps=gaps)])
    for size, has in (("small", small), ("fair", fair), ("big", big)):
        assert has_gap(views, size).tolist() == [False, has]  # type: ignore[arg-type]


@pytest.mark.parametrize(("joints", "over"), [
    (body(0.20), True), (body(0.28), False), (body(0.45), False), (body(0.20, sure=0.4), False),
    (body(0.20, spread=0.2), False), (body(0.20, also=(0.6, 0.7)), False), (body(0.10, head_y=0.95), False),
    ((), False),
])
def test_a_hand_over_the_head_counts_where_it_is_sure(joints: tuple[Joint, ...], over: bool) -> None:
    views = columns([line(joints=joints), line(joints=body(0.5))], [line(joints=body(0.1))])
    assert has_arm(views, "over-head").tolist() == [over, False, True]


def test_the_nearest_view_is_the_one_that_has_to_be_strong() -> None:
    views = [line(80, band="strong"), line(100, band="weak"), line(350, band="strong"),
             line(90, band="weak", ring="low")]
    other = [line(math.nan, band="strong"), line(95, band="strong")]
    for angle, found in ((85, [0, 5]), (95, [5]), (5, [2])):
        assert strong_from(columns(views, other), angle).tolist() == found
    assert not len(strong_from(columns(views), 200)), "a view 100 degrees away says nothing"


def found(*poses: list[ViewLine], reads: float | None = 200, **asked: Any) -> list[int]:
    """Rows of the views by which poses that all read from so many degrees are found."""
    known = np.full(len(poses), np.nan if reads is None else reads)
    return found_in(columns(*poses), Asked(**asked), known).tolist()


def test_all_that_is_asked_has_to_hold() -> None:
    views = [line(0, 50, gaps=(0.3,)), line(90, 80, joints=body(0.2)), line(180, 30, gaps=(0.3,), joints=body(0.2))]
    assert found(views, gap="big") == [0]
    assert found(views, gap="big", arm="over-head") == [2], "one view has to show both"
    assert found(views, gap="big", arc=(100, 300)) == [2]
    assert found(views, gap="big", arc=(80, 100)) == []
    assert found(views, reads=200, gap=None) == [1]
    assert found(views, gap="big", strong_from=0) == []
    assert found(views, strong_from=0) == []
    assert found(views, [line(0, 10)], [line(0, 60, gaps=(0.2,)), line(9, 70, gaps=(0.4,))], gap="big") == [0, 5]


def test_degrees_that_are_not_known_are_not_enough() -> None:
    views = columns([line(0, 50)], [line(0, 60)], [line(0, 70)])
    known = np.array([200, 199.0, np.nan])
    assert found_in(views, Asked(reads=200), known).tolist() == [0]
    assert found_in(views, Asked(reads=0), known).tolist() == [0, 1]


def test_a_view_whose_cut_out_is_not_trusted_shows_nothing() -> None:
    assert found([line(0, 70, gaps=(0.3,), flags=(CANNOT_TELL,)), line(90, None, gaps=(0.3,))], gap="big") == []


def test_without_gap_and_arm_the_view_asked_for_is_shown() -> None:
    views = [line(0, 60, band="strong", gaps=(0.3,)), line(90, 90, band="strong", gaps=(0.3,))]
    assert found(views, strong_from=10) == [0]
    assert found(views, strong_from=10, gap="big") == [1]
    assert found(views, arc=None) == [1]
    assert found(views, views, strong_from=10) == [0, 2]


@pytest.mark.parametrize("bad", [
    {"ring": "middle"}, {"band": "superb"}, {"angle": math.inf}, {"readability": 400.0}, {"gaps": (math.nan,)},
    {"vector": np.full(rows.SIZE, 2.0)}, {"vector": np.full(rows.SIZE, math.nan)},
])
def test_what_no_view_can_be_is_refused(bad: dict[str, Any]) -> None:
    table = rows.found_by_of([line(), replace(line(), **bad)], "level")
    with pytest.raises(ValueError, match="holds"):
        views_of(table, [2])


def test_an_arc_alone_asks_nothing() -> None:
    assert not Asked(arc=(300, 60)).anything and Asked(reads=0).anything
