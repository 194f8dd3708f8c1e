"""A cut-out comes whole through a process and through the memory beside the results."""

from __future__ import annotations

import pickle
from pathlib import Path

import numpy as np
import pytest

from silhouette.known import Memory
from silhouette.records import Cut, Stop


def _cut(doubted: bool) -> Cut:
    rng = np.random.default_rng(1)
    return Cut(rng.random((13, 7)) < 0.5, 0.9, "person", ("small figure",),
               rng.random((13, 7)) < 0.2 if doubted else None)


def _same(a: Cut, b: Cut) -> bool:
    doubts = a.doubt is b.doubt is None or (
        a.doubt is not None and b.doubt is not None and bool((a.doubt == b.doubt).all())
    )
    return bool((a.mask == b.mask).all()) and doubts and (a.confidence, a.cutter, a.flags) == (
        b.confidence, b.cutter, b.flags)


@pytest.mark.parametrize("doubted", [False, True])
def test_through_a_process(doubted: bool) -> None:
    cut = _cut(doubted)
    assert _same(pickle.loads(pickle.dumps(cut)), cut)


@pytest.mark.parametrize("doubted", [False, True])
def test_through_the_memory(tmp_path: Path, doubted: bool) -> None:
    cut, still = _cut(doubted), tmp_path / "045.jpg"
    memory = Memory(tmp_path)
    memory.keep("k", [Stop(0, still, "045", 45.0, "name")], [cut], {})
    memory.write(tmp_path)
    again = Memory(tmp_path).recall("k", [still])
    assert again is not None and again[1][0] is not None and _same(again[1][0], cut)
