"""Whether a pose does what is asked, on views written down by hand."""

from __future__ import annotations

import math
from typing import Any

import pytest

from silhouette.find.asked import found_in, has_arm, has_gap, strong_from
from silhouette.records import CANNOT_TELL, Joint
from silhouette.records_find import Asked, ViewLine


def line(angle: float = 0.0, readability: float | None = 60.0, **other: Any) -> ViewLine:
    values: dict[str, Any] = {"band": "fair", **other}
    ring = values.pop("ring", "level")
    return ViewLine("hauling", "turns/hauling", ring, angle, "name", f"{angle:03.0f}", readability, **values)


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
    view = line(gaps=gaps)
    assert (has_gap(view, "small"), has_gap(view, "fair"), has_gap(view, "big")) == (small, fair, big)


@pytest.mark.parametrize(("joints", "over"), [
    (body(0.20), True), (body(0.28), False), (body(0.45), False), (body(0.20, sure=0.4), False),
    (body(0.20, spread=0.2), False), (body(0.20, also=(0.6, 0.7)), False), (body(0.10, head_y=0.95), False),
    ((), False),
])
def test_a_hand_over_the_head_counts_where_it_is_sure(joints: tuple[Joint, ...], over: bool) -> None:
    assert has_arm(line(joints=joints), "over-head") is over


def test_the_nearest_view_is_the_one_that_has_to_be_strong() -> None:
    views = [line(80, band="strong"), line(100, band="weak"), line(350, band="strong"),
             line(90, band="weak", ring="low")]
    assert strong_from(views, "level", 85) is views[0]
    assert strong_from(views, "level", 95) is None
    assert strong_from(views, "level", 5) is views[2]
    assert strong_from(views, "level", 200) is None, "a view 100 degrees away says nothing"
    assert strong_from([line(math.nan, band="strong")], "level", 0) is None


def test_all_that_is_asked_has_to_hold() -> None:
    views = [line(0, 50, gaps=(0.3,)), line(90, 80, joints=body(0.2)), line(180, 30, gaps=(0.3,), joints=body(0.2))]

    def found(reads: int | None = 200, **asked: Any) -> ViewLine | None:
        return found_in(views, "level", Asked(**asked), reads)

    assert found(gap="big") is views[0]
    assert found(gap="big", arm="over-head") is views[2], "one view has to show both"
    assert found(gap="big", arc=(100, 300)) is views[2]
    assert found(gap="big", arc=(80, 100)) is None
    assert found_in(views, "level", Asked(reads=200), 200) is views[1]
    assert found_in(views, "level", Asked(reads=201), 200) is None
    assert found_in(views, "level", Asked(reads=1), None) is None
    assert found(gap="big", strong_from=0) is None
    assert found(strong_from=0) is None


def test_a_view_whose_cut_out_is_not_trusted_shows_nothing() -> None:
    views = [line(0, 70, gaps=(0.3,), flags=(CANNOT_TELL,)), line(90, None, gaps=(0.3,))]
    assert found_in(views, "level", Asked(gap="big"), 100) is None


def test_without_gap_and_arm_the_view_asked_for_is_shown() -> None:
    views = [line(0, 60, band="strong"), line(90, 90, band="strong")]
    assert found_in(views, "level", Asked(strong_from=10), 100) is views[0]
    assert found_in(views, "level", Asked(reads=50), 100) is views[1]


def test_an_arc_alone_asks_nothing() -> None:
    assert not Asked(arc=(300, 60)).anything and Asked(reads=0).anything
