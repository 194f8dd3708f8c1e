"""Stills without an angle are spread evenly over the turn; do their outlines tell that they were not shot so?

A stop left out, shot twice or shot again at the end puts all that follow at wrong angles. Where the outlines show that
a stop is missing or shown twice, the angles that they tell are the better ones; where they show neither, marks on the
floor are kept to more exactly than outlines can tell. ``tests/measure/export_angles.py`` measures both.
"""

from __future__ import annotations

from collections.abc import Sequence
from typing import Literal, NamedTuple

import numpy as np
from numpy.typing import NDArray

from silhouette.geometry.angles import apart
from silhouette.records import Mask
from silhouette.turn import estimate, steps

Floats = NDArray[np.float64]

LEAST_STOPS = 11
"""Stops from which outlines tell angles well enough to be held against an even spread: a turn of 12, one left out."""
ONE_CHANGE = 0.75
"""One stop is missing or shown twice somewhere, too little for its own step to betray it, if equal steps with that one
change leave less than this share of what equal steps leave unexplained of the angles (root mean square). Whole
turns with uneven steps leave 1.07 and more."""
UNSURE = 12.0
"""The angle of a stop must be surer than this (half width of the 90 % interval), and a stop is out of its place where
outline and spread differ by as much, degrees. Whole turns stay under 9, even those with uneven steps; the same with
two stops left out or one shot last reach 15 to 48."""


class Respread(NamedTuple):
    """What the outlines of a turn say against an even spread."""

    angles: Floats
    """(n,) degrees, 0 <= angle < 360, in the order shot."""
    sure: Floats
    """(n,) half width of the 90 % interval, degrees; 0 for the first stop, which is given."""
    skipped: tuple[int, ...]
    """Stops after which at least one is missing."""
    repeated: tuple[int, ...]
    """Stops whose view the next one shows again."""
    moved: tuple[int, ...]
    """Stops that the even spread puts elsewhere."""

    @property
    def better(self) -> bool:
        """Whether these angles should be taken in place of the even spread."""
        return bool(self.skipped or self.repeated)


def respread(
    masks: Sequence[Mask | None], even: Sequence[float], *, start: float, turn: Literal["left", "right"]
) -> Respread | None:
    """Hold the outlines (None where the cut is not trusted) against the ``even`` angles; None where they do not tell.

    Takes about a second for 25 stops.
    """
    if len(masks) < LEAST_STOPS:
        return None
    found = estimate.estimate_angles(masks, start=start, turn=turn)
    if found.sure.max() >= UNSURE:
        return None
    angles, closed = found.angles.copy(), apart(even[-1], start) < 1e-6
    if closed:  # the last outline repeats the first, which tells more than the fit
        angles[-1] = start % 360
    moved = [k for k, (a, b) in enumerate(zip(angles, even, strict=True)) if apart(a, b) >= UNSURE]
    skipped, repeated = steps.skipped(found.turned), steps.repeated(found.turned, masks)
    if not skipped and not repeated and (change := _one_change(found.turned, closed)):
        skipped, repeated = ([change[0]], []) if change[1] > 0 else ([], [change[0]])
    return Respread(angles, found.sure, tuple(skipped), tuple(repeated), tuple(moved))


def _one_change(turned: Floats, closed: bool) -> tuple[int, int] | None:
    """(stop, 1) if equal steps explain (n,) degrees turned far better once a stop is missing after that one; (stop, -1)
    if they do once the next one shows the same view; None if neither."""

    def left(counts: NDArray[np.int64]) -> float:
        passed = np.concatenate([[0], np.cumsum(counts)])
        return float(np.std(turned - passed * 360.0 / (passed[-1] + (0 if closed else 1))))

    ones = np.ones(len(turned) - 1, dtype=np.int64)
    places = np.eye(len(ones), dtype=np.int64)
    least, stop, change = min((left(ones + by * places[k]), k, by) for k in range(len(ones)) for by in (1, -1))
    return (stop, change) if least < ONE_CHANGE * left(ones) else None
