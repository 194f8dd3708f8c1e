"""Closed rings as arrays: the first point comes after the last."""

from __future__ import annotations

from typing import Any

import numpy as np
from numpy.typing import NDArray


def begun_at(ring: NDArray[Any], at: int) -> NDArray[Any]:
    """The same ring (n, ...) begun at its point ``at``, -n < at < n, so that row i is what stood at i + ``at``.

    ``numpy.roll`` by -``at``, in a fifth of its time for the short rings of an outline.

    >>> begun_at(np.array([1, 2, 3]), 1), begun_at(np.array([1, 2, 3]), -1)
    (array([2, 3, 1]), array([3, 1, 2]))
    """
    return np.concatenate([ring[at:], ring[:at]])
