"""Prints what it costs to ask an archive what looks like a picture: ``python tests/measure/likeness_time.py [VIEWS]``.

The archive is vectors drawn at random, 12 a pose: what it costs does not hang on what they are.
"""

from __future__ import annotations

import os
import statistics
import sys
import time
from collections.abc import Callable
from pathlib import Path

import numpy as np
from shapely.geometry import Polygon

from silhouette.find import embed
from silhouette.find.nearest import nearest
from silhouette.geometry.framed import frame

STORED = Path(__file__).parents[1] / "data" / "likeness" / "kept_out.npz"


def seconds(what: Callable[[], object], times: int) -> tuple[float, float]:
    """Median and least of so many times."""
    taken = []
    for _ in range(times):
        began = time.perf_counter()
        what()
        taken.append(time.perf_counter() - began)
    return statistics.median(taken), min(taken)


def main() -> None:
    count = int(sys.argv[1]) if len(sys.argv) > 1 else 50_000
    with np.load(STORED) as f:
        outline = Polygon(np.cumsum(f["steps"][: f["corners"][0]].astype(int), 0) / 1e4)
    rng = np.random.default_rng(1)
    views = rng.normal(size=(2, count, embed.SIZE)).astype(np.float32)
    views /= np.linalg.norm(views, axis=2, keepdims=True)
    query, pose = (views[0, 7], views[1, 7]), np.arange(count) // 12
    embed.vectors([outline])
    for name, what, times in (
        (f"nearest of {count} views", lambda: nearest(query, (views[0], views[1]), pose), 20),
        ("an outline, both looks", lambda: embed.vectors([outline]), 60),
        ("of that, drawing it", lambda: frame(outline), 60),
    ):
        middle, least = seconds(what, times)
        print(f"{name}: median {1000 * middle:.1f} ms, least {1000 * least:.1f} ms")
    print(f"load {os.getloadavg()[0]:.1f} on {os.cpu_count()} cores")


if __name__ == "__main__":
    main()
