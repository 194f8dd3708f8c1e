"""The views of an archive that look most like a picture."""

from __future__ import annotations

from typing import NamedTuple

import numpy as np
from numpy.typing import NDArray

Vectors = NDArray[np.float32]


class Near(NamedTuple):
    """One pose, by the view of it that looks most like the picture."""

    row: int
    """Of the view."""
    mirrored: bool
    """Whether the view's mirror image looks more like the picture than the view itself."""
    likeness: float
    """0 to 1."""


def nearest(query: tuple[Vectors, Vectors], views: tuple[Vectors, Vectors], pose: NDArray[np.intp],
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
    most : int, optional
        How many poses at most.

    Returns
    -------
    list of Near
        One a pose that has a view with an outline; of two alike the one that comes first in ``pose``.
    """
    plain = _alike(query, views)
    mirror = _alike(query[::-1], views)
    best = np.fmax(plain, mirror)
    told = []
    for row in _best_of_each(best, pose)[:most]:
        told.append(Near(int(row), bool(mirror[row] > plain[row]), _likeness(float(best[row]))))
    return told


def _alike(query: tuple[Vectors, Vectors], views: tuple[Vectors, Vectors]) -> NDArray[np.float32]:
    """(n,) cosine, the mean of both looks."""
    return np.asarray((views[0] @ query[0] + views[1] @ query[1]) / 2, np.float32)


def _best_of_each(best: NDArray[np.float32], pose: NDArray[np.intp]) -> NDArray[np.intp]:
    """The best row of each pose, best pose first."""
    there = np.flatnonzero(~np.isnan(best))
    order = there[np.lexsort((there, -best[there]))]
    _, first = np.unique(pose[order], return_index=True)
    return np.asarray(order[np.sort(first)], np.intp)


def _likeness(cosine: float) -> float:
    """0 to 1."""
    return min(1.0, max(0.0, cosine))
