"""Distance and height of the camera, by geometry."""

from __future__ import annotations

from collections.abc import Callable
from dataclasses import replace

import numpy as np
import pytest

from silhouette.check import distance
from silhouette.records_shoot import Held, Shot


def test_distance_is_the_pinhole_formula(made: Callable[..., Shot]) -> None:
    """26 mm, a 1.75 m figure on 0.3 of the long side: D = 26 x 1.75 / (36 x 0.3) = 4.213 m, and 8 cm for the feet."""
    looks = made(3, focal_35mm=26.0, height_px=1200.0).looks
    assert distance.from_lens(looks, 1.75) == pytest.approx(4.213 + 0.08, abs=0.001)
    assert distance.from_lens(made(3).looks, 1.75) is None, "no focal length"


@pytest.mark.parametrize(("height_px", "metres", "verdict", "larger"), [
    # 26 x 1.75 / (36 x share) + 0.08, and (D + 0.6) / (D - 0.6) - 1, worked out by hand
    (1200.0, 4.293, "pass", 0.325), (1700.0, 3.054, "pass", 0.489), (1800.0, 2.889, "look", 0.524),
    (2200.0, 2.378, "retake", 0.675),
])
def test_a_near_camera_is_judged_by_the_bands_of_the_plan(
    made: Callable[..., Shot], height_px: float, metres: float, verdict: str, larger: float
) -> None:
    found = distance.distance(replace(made(3, focal_35mm=26.0, height_px=height_px), height_m=1.75))
    assert found.verdict == verdict and found["told_by"] == "lens"
    assert found["metres"] == pytest.approx(metres, abs=0.001) and found["larger"] == pytest.approx(larger, abs=0.001)


def test_a_figure_cut_by_the_frame_does_not_tell_the_distance(made: Callable[..., Shot]) -> None:
    looks = made(3, focal_35mm=26.0, height_px=1200.0, looks={0: {"edges": ("top",), "height_px": 4000.0}}).looks
    assert distance.from_lens(looks, 1.75) == pytest.approx(4.293, abs=0.001)


@pytest.mark.parametrize(("nearness", "metres", "verdict"), [
    (0.4, 4.25, "pass"), (0.6, 2.83, "pass"), (0.8, 2.13, "look"),
])
def test_outlines_of_a_whole_turn_tell_it_roughly_and_never_ask_for_a_retake(
    made: Callable[..., Shot], nearness: float, metres: float, verdict: str
) -> None:
    turn = Held((), False, None, 0.0, 0.0, nearness, np.zeros(24))
    found = distance.distance(replace(made(), held=turn))
    assert found.verdict == verdict and found["told_by"] == "outlines"
    assert found["metres"] == pytest.approx(metres, abs=0.01)  # of a figure taken as 1.7 m high
    for unsure in (replace(made(12), held=turn), replace(made(edges=("top",)), held=turn),
                   replace(made(), held=replace(turn, unfit=True))):
        assert distance.distance(unsure).verdict == "unknown"


def test_it_is_said_what_is_lacking_to_tell_the_distance(made: Callable[..., Shot]) -> None:
    assert distance.distance(made(3, focal_35mm=26.0))["lacking"] == "height"
    assert distance.distance(replace(made(3), height_m=1.75))["lacking"] == "focal length"


@pytest.mark.parametrize(("top", "bottom", "share", "kind", "verdict"), [
    (30, 170, 70 / 140, "lens at a good height", "pass"), (2, 142, 42 / 140, "lens low", "look"),
    (90, 190, 90 / 100, "lens high", "look"),
])
def test_camera_height_if_level(
    made: Callable[..., Shot], top: int, bottom: int, share: float, kind: str, verdict: str
) -> None:
    """A level lens stands at row 100 of 200, so as high over the feet as the figure reaches below that row."""
    mask = np.zeros((200, 150), bool)
    mask[top:bottom, 60:90] = True
    found = distance.camera_height(replace(made(3, mask=mask), height_m=1.7))
    assert (found.kind, found.verdict) == (kind, verdict) and found["share"] == pytest.approx(share)
    assert distance.camera_height(made(3, mask=mask, edges=("bottom",))).verdict == "unknown"
