"""The poses of an archive that look most like a picture, each with the view of it that does."""

from __future__ import annotations

from typing import NamedTuple

import numpy as np
from numpy.typing import NDArray

from silhouette.find.views import Vectors, Whole, firsts

SHARP = 32.0
"""How much more a view counts that looks more like the picture: e^SHARP times for a cosine higher by 1. Neighbours of
the best view, and the mirror image of the one opposite, speak for the pose too."""
USUAL = 12
"""Views of a turn; one of more counts no more than one of so many."""
CLEARLY = 0.012
"""So much more like the picture, as a cosine, a mirror image must look than any view itself before the answer is
"mirrored": the opposite view, mirrored, looks nearly as the view does, and is seldom what a person means."""
EVEN, STEEP = 0.932, 41.4
"""What is the right pose as often as not, where half of the pictures have their pose in the archive, and how fast the
chance grows from there; fitted on 200 poses that are in no table."""


class Near(NamedTuple):
    """One pose, by the view of it that looks most like the picture."""

    row: int
    """Of the view."""
    mirrored: bool
    """Whether the view's mirror image looks clearly more like the picture than the view itself."""
    likeness: float
    """0 to 1: about the chance that it is the pose of the picture; never more than that of the pose before it."""


def nearest(query: tuple[Vectors, Vectors], views: tuple[Vectors, Vectors], pose: Whole, turn: Whole | None = None,
            most: int | None = None) -> list[Near]:
    """The poses that look most like a picture, best first.

    Parameters
    ----------
    query : (d,) and (d,)
        Of the picture's outline and of its mirror image, as :func:`silhouette.find.embed.vectors` makes them.
    views : (n, d) and (n, d)
        The same of the views; a row of nan is of a view without an outline and is never found.
    pose : (n,) int, 0 <= pose
        Which pose each view belongs to.
    turn : (n,) int, 0 <= turn, optional
        Which turn of it, where a pose has several (rings): only views of one turn speak for each other.
    most : int, optional
        How many poses at most.

    Returns
    -------
    list of Near
        One a pose that has a view with an outline; of two that are alike the one that comes first in ``views``.
    """
    plain, mirrored = _alike(query, views), _alike(query[::-1], views)
    best = np.maximum(plain, mirrored - CLEARLY)
    there = np.flatnonzero(~np.isnan(best))
    if not len(there):
        return []
    named = pose if turn is None else pose * (int(turn.max()) + 1) + turn
    _, at, count = np.unique(named[there], return_inverse=True, return_counts=True)
    spoken = np.bincount(at, np.exp(SHARP * (plain[there] - 1)) + np.exp(SHARP * (mirrored[there] - 1)))
    score = 1 + np.log(spoken / np.maximum(1, count / USUAL)) / SHARP
    found = there[firsts(pose[there], (-score[at], -best[there]))][:most]
    told = _likeness(score[at[np.searchsorted(there, found)]])
    return [Near(int(row), bool(mirrored[row] - CLEARLY > plain[row]), float(like))
            for row, like in zip(found, told, strict=True)]


def _alike(query: tuple[Vectors, Vectors], views: tuple[Vectors, Vectors]) -> NDArray[np.float64]:
    """(n,) cosine, the mean of both looks: so a mirrored picture finds the same, mirrored."""
    return np.asarray((views[0] @ query[0] + views[1] @ query[1]) / 2, np.float64)


def _likeness(score: NDArray[np.float64]) -> NDArray[np.float64]:
    return np.asarray(1 / (1 + np.exp(-STEEP * (score - EVEN))), np.float64)
