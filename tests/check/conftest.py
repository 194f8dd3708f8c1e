"""Turnarounds for the questions of the shoot check: made by hand, and rendered clips with known faults."""

from __future__ import annotations

from collections.abc import Callable
from dataclasses import replace
from functools import cache
from pathlib import Path

import numpy as np
import pytest

from silhouette import shoot
from silhouette.check.look import look_at
from silhouette.cutout import background_model
from silhouette.intake import film
from silhouette.records import Stop
from silhouette.records_shoot import Shot, StopLook
from silhouette.turn.estimate import estimate_angles


@pytest.fixture
def made() -> Callable[..., Shot]:
    """``made(24, step=15)``: a box of a figure before a grey wall, the same at every stop, all in order; ``looks``
    changes single stops (``{3: {"edges": ("top",)}}``), further keywords change the look of all."""

    def make(n: int = 24, step: float = 15.0, looks: dict[int, dict] | None = None, **changes: object) -> Shot:
        mask = np.zeros((200, 150), bool)
        mask[30:170, 60:90] = True
        look = StopLook(
            mask=mask, thumb=np.full((96, 72, 3), 120, np.uint8), confidence=0.95, flags=(), full_size=(3000, 4000),
            scale=0.05, focal_35mm=None, height_px=2800.0, edges=(), edge_width=2.0, figure_light=(40.0, 90.0, 160.0),
            backdrop_light=120.0, side_light=0.1,
        )
        look = replace(look, **changes)  # type: ignore[arg-type]
        stops = tuple(Stop(k, Path("x"), f"IMG_{k}", (k * step) % 360, "name") for k in range(n))
        seen = tuple(replace(look, **(looks or {}).get(k, {})) for k in range(n))
        return Shot(stops, seen, np.arange(n) * step, usual_step=step)

    return make


@cache
def _taken(clip: Path) -> tuple[tuple[Stop, ...], tuple[StopLook, ...]]:
    found = film.find_stops(clip)
    pictures = list(film.read_stops(clip, found))
    shared = background_model.learn([p.pixels for p in pictures])
    cuts = [background_model.cut(p.pixels, shared) for p in pictures]
    turned = estimate_angles([c.mask for c in cuts], found.motion_share)
    stops = tuple(
        Stop(k, clip, p.name, float(a), "clip", float(s), p.time)
        for k, (p, a, s) in enumerate(zip(pictures, turned.angles, turned.sure, strict=True))
    )
    return stops, tuple(look_at(p, c) for p, c in zip(pictures, cuts, strict=True))


@cache
def _measured(clip: Path) -> Shot:
    return shoot.measure(*_taken(clip), height_m=1.72)


@pytest.fixture
def clip() -> Callable[[str], Shot]:
    """``clip("droop")``: a rendered clip, cut out, its angles found, measured for a model of 1.72 m."""
    return lambda name: _measured(Path(__file__).parents[1] / "data" / "clips" / f"{name}.mp4")
