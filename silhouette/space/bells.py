"""What every view says of every point, as numbers in one frame, and how well a body in space agrees with it.

A view says a point's place as a handful of round bells; the members of a pair have no names in it. So a pair's
likelihood is the sum over both ways of naming them, and each point's own is a mixture of its bells and a floor, the
chance that the view is wrong about it. Lengths are statures, as far as they are known, at the turning axis.
"""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass, replace

import numpy as np
from numpy.typing import NDArray

from silhouette.records_space import PointBells, StopCamera
from silhouette.space.body_plan import TWIN, P

Floats = NDArray[np.float64]

WRONG = 0.06
"""Chance that a view's bells hold nothing of a point."""
ROOM = 0.5
"""Area over which a point may lie then, square statures."""


@dataclass(frozen=True)
class Views:
    """The bells of the views that have some, about the picture's middle."""

    share: Floats
    """(n, 23, k)"""
    x: Floats
    y: Floats
    width: Floats
    stop: NDArray[np.int64]
    """(n,) which of the turn's stops each view is."""


    def some(self, kept: NDArray[np.int64]) -> Views:
        """Some of the views."""
        return Views(self.share[kept], self.x[kept], self.y[kept], self.width[kept], self.stop[kept])

    def larger(self, by: float) -> Views:
        """The same in a unit so many times smaller."""
        return replace(self, x=self.x * by, y=self.y * by, width=self.width * by)


def gathered(bells: Sequence[PointBells | None], cameras: Sequence[StopCamera]) -> Views:
    """Bells in pixels as bells in the cameras' unit of length; views without any are left out."""
    there = [i for i, b in enumerate(bells) if b is not None]
    most = max((b.share.shape[1] for b in bells if b is not None), default=1)
    share, x, y = (np.zeros((len(there), P, most)) for _ in range(3))
    width = np.ones((len(there), P, most))
    for row, i in enumerate(there):
        one, camera = bells[i], cameras[i]
        assert one is not None
        k, unit = one.share.shape[1], camera.focal_px / camera.distance
        share[row, :, :k] = one.share
        x[row, :, :k] = (one.x - camera.size[0] / 2) / unit
        y[row, :, :k] = (one.y - camera.size[1] / 2) / unit
        width[row, :, :k] = one.width / unit
    return Views(share, x, y, width, np.array(there, np.int64))


def log_bells(views: Views, spots: Floats, more: float) -> tuple[Floats, Floats]:
    """How likely each point's bells, and its twin's, find it at its spot.

    Parameters
    ----------
    spots : (n, 23, 2) where the points would lie in the views.
    more : how much wider than told the bells are taken.

    Returns
    -------
    (2, n, 23) logarithms of the densities: by the point's own row of bells, by its twin's; and (2, n, 23, k) of each
    bell's part in them, from 0 to 1.
    """
    logs, parts = [], []
    for rows in (np.arange(P), TWIN):
        wide = views.width[:, rows] ** 2 + more**2
        away = (views.x[:, rows] - spots[:, :, :1]) ** 2 + (views.y[:, rows] - spots[:, :, 1:]) ** 2
        bell = (1 - WRONG) * views.share[:, rows] * np.exp(-0.5 * away / wide) / (2 * np.pi * wide)
        whole = bell.sum(axis=2) + WRONG / ROOM
        logs.append(np.log(whole))
        parts.append(bell / whole[:, :, None])
    return np.stack(logs), np.stack(parts)


@dataclass(frozen=True)
class Targets:
    """What the views ask for, given where the points are now: one spot a point and view, and its weight."""

    spot: Floats
    """(n, 23, 2)"""
    weight: Floats
    """(n, 23) one over variance; 0 where the view is taken to be wrong."""
    agrees: Floats
    """(n, 23) chance that the view is right about the point, 0 to 1."""
    log: float
    """Logarithm of the likelihood of all views."""


def targets(views: Views, spots: Floats, more: float) -> Targets:
    """The expectation step: which bell means which point, softly, the members of a pair one to one."""
    logs, parts = log_bells(views, spots, more)
    straight = logs[0] + logs[0][:, TWIN]
    crossed = logs[1] + logs[1][:, TWIN]
    single = np.arange(P) == TWIN
    named = np.where(single, 1.0, 1.0 / (1.0 + np.exp(np.clip(crossed - straight, -60, 60))))
    pair = np.logaddexp(straight, crossed) - np.log(2.0)
    log = float(logs[0][:, single].sum() + pair[:, ~single].sum() / 2)
    weight = np.zeros(named.shape)
    agrees = np.zeros(named.shape)
    spot = np.zeros((*named.shape, 2))
    for order, rows, chance in ((0, np.arange(P), named), (1, TWIN, 1 - named)):
        part = chance[:, :, None] * parts[order]
        agrees += part.sum(axis=2)
        part = part / (views.width[:, rows] ** 2 + more**2)
        weight += part.sum(axis=2)
        spot += np.stack([(part * views.x[:, rows]).sum(axis=2), (part * views.y[:, rows]).sum(axis=2)], axis=2)
    return Targets(spot / np.maximum(weight, 1e-12)[:, :, None], weight, agrees, log)
