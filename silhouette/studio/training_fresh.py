"""Views that are never used up: while the reader learns, new poses take the place of the oldest.

Poses are drawn in processes of their own, since that is a thousand small steps; bodies are posed, dressed and drawn
where the network learns. What comes out hangs on the seed, the number of the card and the order alone, never on time.
"""

from __future__ import annotations

import contextlib
from collections import deque
from collections.abc import Iterator
from concurrent.futures import Executor, Future, ProcessPoolExecutor
from dataclasses import fields
from multiprocessing import get_context
from pathlib import Path

import numpy as np
import torch
from numpy.typing import NDArray

from silhouette.studio import training_views
from silhouette.studio.training_views import KINDS, TURN, Views

TOGETHER = 96
"""Poses made at once."""
HELD = 54
"""Times TOGETHER: poses that are held to be learned from."""
STEPS_EACH = 20
"""Steps between two makings."""
_AHEAD = 12
_Arrays = tuple[NDArray[np.float32], NDArray[np.float32]]


def _drawn(seed: int, part: int, at: int, together: int) -> _Arrays:
    torch.set_num_threads(1)
    vectors, outfits = training_views.drawn(np.random.default_rng([seed, part, at, 0]), KINDS["train"], together)
    return vectors.numpy(), outfits.numpy()


class Fresh:
    """Views to learn from; every ``STEPS_EACH`` steps ``TOGETHER`` of the poses are new."""

    def __init__(self, stock: Path, device: torch.device, seed: int, part: int, pool: Executor,
                 held: int = HELD, together: int = TOGETHER) -> None:
        """``part`` is the number of the card: each has views of its own."""
        self.stock = training_views.load_stock(stock, device)
        self.seed, self.part, self.pool, self.together = seed, part, pool, together
        self.asked = self.made = 0
        self.waiting: deque[Future[_Arrays]] = deque()
        first = self._next()
        self.size = len(first)
        self.views = Views(**{f.name: torch.empty(held * self.size, *getattr(first, f.name).shape[1:], device=device,
                                                  dtype=getattr(first, f.name).dtype) for f in fields(Views)})
        self._put(0, first)
        for place in range(1, held):
            self._put(place, self._next())
        self.held = held

    def _next(self) -> Views:
        while len(self.waiting) < _AHEAD:
            self.waiting.append(self.pool.submit(_drawn, self.seed, self.part, self.asked, self.together))
            self.asked += 1
        vectors, outfits = (torch.from_numpy(v) for v in self.waiting.popleft().result())
        rng = np.random.default_rng([self.seed, self.part, self.made, 1])
        with torch.no_grad():
            views = training_views.turnarounds(self.stock, rng, vectors, outfits, KINDS["train"],
                                               self.made * self.together)
        self.made += 1
        return views

    def _put(self, place: int, views: Views) -> None:
        for f in fields(Views):
            getattr(self.views, f.name)[place * self.size : (place + 1) * self.size] = getattr(views, f.name)

    def renew(self, step: int) -> None:
        """New poses in the place of the oldest, if it is time."""
        if step % STEPS_EACH == 0:
            self._put(self.made % self.held, self._next())

    @property
    def poses(self) -> int:
        return len(self.views) // TURN + (self.made - self.held) * self.together


@contextlib.contextmanager
def fresh(stock: Path, device: torch.device, seed: int, part: int, workers: int = 6) -> Iterator[Fresh]:
    """Fresh views as long as the block lasts."""
    with ProcessPoolExecutor(workers, get_context("spawn")) as pool:
        try:
            yield Fresh(stock, device, seed, part, pool)
        finally:
            pool.shutdown(cancel_futures=True)


class Fixed:
    """Views of files, always the same."""

    def __init__(self, files: list[Path], device: torch.device) -> None:
        self.views = training_views.load_views(files, device)
        self.poses = len(self.views) // TURN

    def renew(self, step: int) -> None:
        """Nothing is renewed."""
