"""Steady light and its direction, on thumbnails made by hand."""

from __future__ import annotations

from collections.abc import Callable

import numpy as np
import pytest

from silhouette.check import light
from silhouette.records_shoot import Shot


def grey(level: int) -> dict[str, object]:
    return {"thumb": np.full((96, 72, 3), level, np.uint8)}


@pytest.mark.parametrize(("level", "verdict", "kind"), [
    (80, "retake", "light changed"), (140, "retake", "light changed"), (110, "look", "light changed a little"),
    (119, "pass", "light steady"),
])
def test_a_stop_that_is_darker_or_brighter_than_the_others(
    made: Callable[..., Shot], level: int, verdict: str, kind: str
) -> None:
    found = light.steady_light(made(10, looks={4: grey(level)}))  # the others: 120
    assert (found.verdict, found.kind) == (verdict, kind)
    assert found.stops == ((4,) if verdict != "pass" else ())
    if kind == "light changed":
        assert found["brighter"] == pytest.approx((level + 4) / 124 - 1)


def test_a_shadow_on_part_of_the_backdrop_does_not_count(made: Callable[..., Shot]) -> None:
    shaded = np.full((96, 72, 3), 120, np.uint8)
    shaded[60:, :20] = 70
    assert light.steady_light(made(10, looks={4: {"thumb": shaded}})).verdict == "pass"


def test_a_colour_that_changes_is_looked_at(made: Callable[..., Shot]) -> None:
    warm = np.full((96, 72, 3), (108, 120, 132), np.uint8)
    found = light.steady_light(made(10, looks={4: {"thumb": warm}}))
    assert (found.verdict, found.kind, found.stops) == ("look", "colour changed", (4,))


def test_two_stops_have_no_usual_light(made: Callable[..., Shot]) -> None:
    assert light.steady_light(made(2)).verdict == "unknown" and light.steady_light(made(3)).verdict == "pass"


def test_the_lamp_is_told_from_the_side_that_stays_brighter(made: Callable[..., Shot]) -> None:
    for side, where in ((0.1, "picture left"), (-0.1, "picture right")):
        found = light.light_direction(made(8, side_light=side))
        assert found["side"] == where and found["brighter"] == pytest.approx(np.exp(0.1) - 1)
    assert light.light_direction(made(8, side_light=0.0)).kind == "flat light"
    assert light.light_direction(made(5)).verdict == "unknown", "clothes may be brighter on one side"


def test_back_light_is_told_from_few_stops_too(made: Callable[..., Shot]) -> None:
    found = light.light_direction(made(3, figure_light=(5.0, 20.0, 40.0)))
    assert found.kind == "back light" and found["share"] == pytest.approx(42 / 122)


def test_a_drawing_filled_in_shows_no_light(made: Callable[..., Shot]) -> None:
    found = light.light_direction(made(8, figure_light=(28.0, 30.0, 34.0)))
    assert (found.verdict, found.kind) == ("unknown", "filled in")
