"""Outlines of solids that have a formula, as a stop's camera shows them: a pixel belongs to the solid where the ray
through its middle meets it. Upright cylinders and boxes, and balls; places and sizes in metres."""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass

import numpy as np
from numpy.typing import NDArray

from silhouette.records_space import StopCamera

Floats = NDArray[np.float64]


@dataclass(frozen=True)
class Ball:
    at: tuple[float, float, float]
    radius: float

    def met(self, start: Floats, ahead: Floats) -> NDArray[np.bool_]:
        away = start - np.array(self.at)
        b, c = ahead @ away, away @ away - self.radius**2
        return b**2 - (ahead**2).sum(-1) * c >= 0


@dataclass(frozen=True)
class Cylinder:
    """Upright, its middle line at ``at``."""

    at: tuple[float, float]
    radius: float
    low: float
    high: float

    def met(self, start: Floats, ahead: Floats) -> NDArray[np.bool_]:
        away = start[:2] - np.array(self.at)
        a, b = (ahead[..., :2] ** 2).sum(-1), ahead[..., :2] @ away
        root = np.sqrt(np.maximum(b**2 - a * (away @ away - self.radius**2), 0))
        through = b**2 >= a * (away @ away - self.radius**2)
        first, last = _slab(start[2], ahead[..., 2], self.low, self.high)
        return through & (np.maximum((-b - root) / a, first) <= np.minimum((-b + root) / a, last))


@dataclass(frozen=True)
class Box:
    low: tuple[float, float, float]
    high: tuple[float, float, float]
    turned: float = 0.0
    """Degrees about the upright axis through the origin."""

    def met(self, start: Floats, ahead: Floats) -> NDArray[np.bool_]:
        t = np.radians(self.turned)
        turn = np.array([[np.cos(t), np.sin(t), 0], [-np.sin(t), np.cos(t), 0], [0, 0, 1.0]])
        start, ahead = turn @ start, ahead @ turn.T
        spans = [_slab(start[k], ahead[..., k], self.low[k], self.high[k]) for k in range(3)]
        return np.maximum.reduce([s[0] for s in spans]) <= np.minimum.reduce([s[1] for s in spans])


Shape = Ball | Cylinder | Box


def _slab(start: float, ahead: Floats, low: float, high: float) -> tuple[Floats, Floats]:
    """Where rays enter and leave what lies between two parallel planes."""
    step = np.where(np.abs(ahead) < 1e-12, 1e-12, ahead)
    one, other = (low - start) / step, (high - start) / step
    return np.minimum(one, other), np.maximum(one, other)


def rays(camera: StopCamera) -> tuple[Floats, Floats]:
    """Where the lens stands (3,), and the directions (h, w, 3) through the middles of all pixels."""
    width, height = camera.size
    across = (np.arange(width) + 0.5 - width / 2 - camera.shift[0]) / camera.focal_px
    below = (np.arange(height) + 0.5 - height / 2 - camera.shift[1]) / camera.focal_px
    a, p = np.radians(camera.angle), np.radians(camera.pitch)
    side, down = np.meshgrid(across, below)
    ahead, up = np.cos(p) + np.sin(p) * down, np.sin(p) - np.cos(p) * down
    way = np.stack([np.cos(a) * side + np.sin(a) * ahead, -np.sin(a) * side + np.cos(a) * ahead, up], -1)
    start = np.array([-camera.aside * np.cos(a) - camera.distance * np.sin(a),
                      camera.aside * np.sin(a) - camera.distance * np.cos(a), camera.height])
    return start, way


def seen(shapes: Sequence[Shape], camera: StopCamera) -> NDArray[np.bool_]:
    """(h, w) the outline of all shapes together."""
    start, way = rays(camera)
    return np.logical_or.reduce([s.met(start, way) for s in shapes])


def turn(shapes: Sequence[Shape], stops: int = 24, *, distance: float = 4.0, height: float = 1.0, pitch: float = 0.0,
         aside: float = 0.0, focal: float = 1300.0, size: tuple[int, int] = (756, 1008),
         first: float = 0.0) -> tuple[list[NDArray[np.bool_]], list[StopCamera]]:
    """Masks and cameras of a whole turn."""
    cameras = [StopCamera(first + 360.0 * k / stops, distance, height, pitch, focal, aside, size) for k in range(stops)]
    return [seen(shapes, c) for c in cameras], cameras
