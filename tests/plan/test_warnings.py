"""Every warning of a plan on both sides of its limit."""

from __future__ import annotations

import math
from dataclasses import replace
from typing import Any

import pytest

from silhouette.plan.camera import make_plan
from silhouette.plan.warnings import warnings_for
from silhouette.records_shoot import Slot

EASY = make_plan(lens_mm=50)
"""1.70 m at 4 m with 50 mm: 1.7 x 50 / (36 x 4) = 0.59 of the picture, which shows 2.16 m across."""


def lasting(minutes: float) -> tuple[Slot, ...]:
    return (Slot(start=0.0, end=minutes, what="main turn", kind="turn", pose=1),)


def test_a_shoot_at_ease_is_warned_of_nothing() -> None:
    assert EASY.warnings == ()


@pytest.mark.parametrize(("change", "warned"), [
    ({"model_height": 1.39}, ["perhaps a child"]),
    ({"model_height": 1.4}, []),
    ({"stand": 0.31}, ["high stand"]),
    ({"stand": 0.3}, []),
    ({"pose": "arms raised"}, ["arms raised"]),
    ({"farthest": 3.9}, ["room too short"]),
    ({"farthest": 4.0}, []),
    ({"lens_to_fill": 49.9}, ["lens too long"]),
    ({"lens_to_fill": 50.0}, []),
    ({"lens_to_fill": 25.9}, ["no lens wide enough"]),  # the widest of the table is a phone's, 26 mm
    ({"lens_to_fill": 26.0}, ["lens too long"]),
    ({"forward": math.inf, "verdict": "too close"}, ["at the lens"]),
    ({"verdict": "too close"}, ["too close"]),
    ({"verdict": "close"}, ["close"]),
    ({"verdict": "tolerable"}, ["tolerable"]),
    ({"pose": "lying"}, ["end-on", "cannot turn"]),
    ({"pose": "lying", "verdict": "close"}, ["end-on", "cannot turn"]),
    ({"pose": "lying", "verdict": "too close"}, ["too close", "cannot turn"]),
    ({"lens": 34.9, "frame_share": 0.59}, ["do not walk closer"]),
    ({"lens": 34.9, "frame_share": 0.6}, []),
    ({"lens": 35.0, "frame_share": 0.59}, []),
    ({"lens": 34.9, "frame_share": 0.59, "fits": False}, []),
    ({"figure_px": 599.0}, ["few pixels"]),
    ({"figure_px": 600.0}, []),
    ({"figure_px": 599.0, "fits": False}, []),
    ({"frame": (1.69, 3.0)}, ["spread arms cut"]),  # spread arms span one stature, 1.70 m
    ({"frame": (1.70, 1.0)}, []),
    ({"frame": (1.69, 3.0), "pose": "arms raised"}, ["arms raised", "spread arms cut"]),
    ({"frame": (1.69, 3.0), "pose": "seated"}, []),
    ({"frame": (1.69, 3.0), "fits": False}, []),
    ({"backdrop_gap": 1.49}, ["backdrop near"]),
    ({"backdrop_gap": 1.5}, []),
    ({"ratio": 8.1}, ["deep shadows"]),
    ({"ratio": 8.0}, []),
    ({"camera_height": 0.39}, ["camera near the floor"]),
    ({"camera_height": 0.4}, []),
    ({"turn_s": 22 * 60 + 1.0}, ["turn too long"]),
    ({"turn_s": 22 * 60.0}, []),
    ({"timetable": lasting(180.1)}, ["session too long"]),
    ({"timetable": lasting(180.0)}, []),
])
def test_each_limit(change: dict[str, Any], warned: list[str]) -> None:
    assert list(warnings_for(replace(EASY, **change))) == warned


def test_harm_is_told_before_a_spoilt_shoot() -> None:
    """People, then the place, then the picture, then the pose."""
    bad = replace(EASY, stand=0.5, verdict="close", ratio=12.0, camera_height=0.3)
    assert warnings_for(bad) == ("high stand", "close", "deep shadows", "camera near the floor")
