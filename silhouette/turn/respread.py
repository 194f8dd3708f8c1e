"""Stills without an angle are spread evenly over a turn; do their outlines tell that they were not shot so?

A stop left out, shot twice or shot again at the end puts all that follow at wrong angles; so does a turn that ends
early or goes on past its start. Where the outlines show such a thing, the angles that they tell are the better ones;
where they show nothing of it, marks on the floor are kept to more exactly than outlines can tell.
``tests/measure/export_angles.py`` measures both.
"""

from __future__ import annotations

from collections.abc import Sequence
from typing import NamedTuple

import numpy as np
from numpy.typing import NDArray

from silhouette.geometry.angles import apart
from silhouette.records import Mask
from silhouette.turn import steps
from silhouette.turn.estimate import Turned

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
BARELY = 20.0
"""From this on an angle is not told at all: the outlines were of no use, or the camera was moved, degrees."""
LEAST_OF_HALF = 7
"""Stops from which a half turn is told from a whole one with gaps: of 6 stops left of 8, two in five seem to be one."""
PAST = 0.5
"""A turn goes on past its start from this share of a step on, and from half of :data:`UNSURE`: the last stop of a
closed one is found within 2 degrees of the first (7 in clips of models who sway)."""


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
    total: float
    """Degrees from the first stop to the last."""
    ends: bool
    """Whether the turn ends early, or goes on past its start: then it is no full turn."""

    @property
    def better(self) -> bool:
        """Whether these angles should be taken in place of the even spread."""
        return bool(self.skipped or self.repeated or self.ends)


def least_sure(found: Turned, masks: Sequence[Mask | None]) -> float:
    """How unsure the outlines are where they are least so, degrees: under :data:`UNSURE` they are to go by, under
    :data:`BARELY` they tell at least roughly how far the model turned. A stop without an outline does not count."""
    return float(max((s for s, mask in zip(found.sure, masks, strict=True) if mask is not None), default=BARELY))


def half_turn(found: Turned) -> bool | None:
    """Whether the last of the stops of a half turn stands on the far side (True) or one step short of it (False); None
    where they are no half turn in even steps."""
    n, total, step = len(found.turned), float(found.turned[-1]), steps.usual_step(found.turned)
    short = 180.0 * (n - 1) / n
    if n < LEAST_OF_HALF or not short - step / 2 < total < 180.0 + step / 2 or steps.skipped(found.turned):
        return None
    return abs(total - 180.0) < abs(total - short)


def respread(
    found: Turned, masks: Sequence[Mask | None], even: Sequence[float], *, start: float, full: bool = False
) -> Respread:
    """Hold what the outlines of a turn tell against its ``even`` angles.

    Parameters
    ----------
    found : angles that the outlines tell, see :func:`least_sure`
    masks : n masks in the order shot, None where the cut is not trusted
    even : n angles spread evenly over a full turn, degrees
    start : angle of the first stop, degrees
    full : whether the person says that it is a full turn
    """
    angles, closed = found.angles.copy(), apart(even[-1], start) < 1e-6
    if closed:  # the last outline repeats the first, which tells more than the fit
        angles[-1] = start % 360
    seen = [k for k, mask in enumerate(masks) if mask is not None]
    moved = [k for k in seen if apart(angles[k], even[k]) >= UNSURE]
    skipped, repeated = steps.skipped(found.turned, seen), steps.repeated(found.turned, masks)
    total, step = float(found.turned[-1]), steps.usual_step(found.turned)
    early = total + step < 360.0 - max(steps.GAP * step, steps.GAP_DEG)
    ends = not full and not closed and (early or total - 360.0 > max(PAST * step, UNSURE / 2))
    if not skipped and not repeated and not ends and (change := _one_change(found.turned, closed)):
        skipped, repeated = ([change[0]], []) if change[1] > 0 else ([], [change[0]])
    return Respread(angles, found.sure, tuple(skipped), tuple(repeated), tuple(moved), total, ends)


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
