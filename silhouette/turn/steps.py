"""The steps from stop to stop: how far the model turned, where a step is so large that a stop was skipped, where one is
so small that two show one view. Pure; shared by the shoot check and by the naming of a reference set."""

from __future__ import annotations

from collections.abc import Sequence
from itertools import pairwise

import numpy as np
from numpy.typing import NDArray

from silhouette.geometry.angles import difference
from silhouette.records import Mask

Floats = NDArray[np.float64]

GAP, GAP_DEG = 0.6, 9.0
"""A stop is missing where a step exceeds the usual one by this share of it and by this many degrees: more than uneven
steps do by themselves."""
DOUBLED, DOUBLED_DEG, ALIKE = 0.35, 6.0, 0.4
"""Two stops are one where their step is under this share of the usual, under this many degrees, and their outlines
differ by less than this share of the usual difference."""

AGAINST = 90.0
"""A step that runs against the turn by more than this is one of over half a turn with it: nobody turns back so far."""


def turned_through(angles: Sequence[float]) -> Floats:
    """(n,) degrees turned since the first of (n,) stops at these angles, past 360 if need be; negative where the model
    turned to its right.

    Each step is taken the short way round, but for one that seems to run back by more than ``AGAINST`` degrees: there a
    stretch was left out.
    """
    places = np.asarray(angles, dtype=np.float64)
    steps = difference(places[1:], places[:-1])
    if len(steps) and np.median(steps) < 0:
        steps = np.where(steps > AGAINST, steps - 360, steps)
    elif len(steps):
        steps = np.where(steps < -AGAINST, steps + 360, steps)
    return np.concatenate([[0.0], np.cumsum(steps)])[: len(places)]


def usual_step(turned: Floats) -> float:
    """Median step of (n,) degrees turned since the first stop; 0 for a single stop."""
    return float(np.median(np.abs(np.diff(turned)))) if len(turned) > 1 else 0.0


def skipped(turned: Floats, seen: Sequence[int] | None = None) -> list[int]:
    """The stops, counted from 0, after which at least one is missing.

    ``seen`` are the stops whose angle is known, all by default: of a stretch between two of them, the whole is held
    against as many usual steps, and the stop before it is named.
    """
    places = np.arange(len(turned)) if seen is None else np.asarray(list(seen), dtype=np.int64)
    steps, spans, usual = np.abs(np.diff(turned[places])), np.diff(places), usual_step(turned)
    most = spans * usual + np.sqrt(spans) * max(GAP * usual, GAP_DEG)
    return [int(places[k]) for k in np.flatnonzero(steps > most)]


def repeated(turned: Floats, masks: Sequence[Mask | None]) -> list[int]:
    """The stops, counted from 0, whose view the next stop shows again."""
    steps, usual = np.abs(np.diff(turned)), usual_step(turned)
    differences = [_unlike(a, b) for a, b in pairwise(masks)]
    known = [d for d in differences if d is not None]
    typical = float(np.median(known)) if known else 0.0
    return [
        k
        for k, (step, unlike) in enumerate(zip(steps, differences, strict=True))
        if step < min(DOUBLED * usual, DOUBLED_DEG) and (unlike is None or unlike <= ALIKE * typical)
    ]


def _unlike(one: Mask | None, other: Mask | None) -> float | None:
    """Area in which two outlines differ over the area of both."""
    if one is None or other is None or one.shape != other.shape or not one.any() or not other.any():
        return None
    return float((one ^ other).sum() / (one | other).sum())
