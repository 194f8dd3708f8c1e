"""Prints what it costs to ask an archive what looks like a picture: ``python tests/measure/likeness_time.py [VIEWS]``.

The archive has 12 views a pose: those of one rendered turn, with vectors drawn at random, since what it costs does not
hang on what they are. A whole ``find`` is asked in this process, once it has loaded what it needs, with the archive's
``views.parquet`` and then without it. Processor time of all threads.
"""

from __future__ import annotations

import os
import statistics
import sys
import tempfile
import time
from collections.abc import Callable, Sequence
from dataclasses import replace
from pathlib import Path
from typing import Any

import numpy as np

from silhouette import archive, finding, scoring, writing
from silhouette.archive import views as kept
from silhouette.find import embed, rows
from silhouette.find.nearest import nearest
from silhouette.geometry.framed import frame
from silhouette.records_find import ViewLine

TURN = Path(__file__).parents[1] / "data" / "rendered" / "turn"
A_POSE = 12


def seconds(what: Callable[[], object], times: int) -> tuple[float, float]:
    """Median and least of so many times."""
    taken = []
    for _ in range(times):
        began = time.process_time()
        what()
        taken.append(time.process_time() - began)
    return statistics.median(taken), min(taken)


def show(name: str, what: Callable[[], object], times: int) -> None:
    middle, least = seconds(what, times)
    print(f"{name}: median {1000 * middle:.1f} ms, least {1000 * least:.1f} ms, of {times}", flush=True)


def drawn(rng: np.random.Generator) -> Any:
    """(2, SIZE) of length 1."""
    pair = rng.normal(size=(2, embed.SIZE)).astype(np.float32)
    return pair / np.linalg.norm(pair, axis=1, keepdims=True)


def fill(place: Path, lines: Sequence[ViewLine], count: int) -> None:
    """An archive of so many views."""
    rng = np.random.default_rng(1)
    with writing.growing_folder(place, "archive", [], archive.NAMES) as folder:
        for i in range(count // A_POSE):
            own = [replace(line, source=f"turns/{i}", pose=f"pose {i}", vector=pair[0], mirror_vector=pair[1])
                   for line in lines for pair in [drawn(rng)]]
            about = {"ring": "level", "source": f"turns/{i}", "mark": f"{i:012d}"}
            folder.put(f"{kept.POSES}/{i:05d}.parquet", rows.to_parquet(own, about))
        kept.write(folder, kept.files_in(place))


def main() -> None:
    count = int(sys.argv[1]) if len(sys.argv) > 1 else 50_000
    pose = scoring.score_pose(TURN, jitter=0)
    found = archive.view_lines(pose, "turn")
    lines = [found[i * len(found) // A_POSE] for i in range(A_POSE)]
    outline = lines[0].outline
    assert outline is not None
    rng = np.random.default_rng(1)
    pairs = np.stack([drawn(rng) for _ in range(count)], 1)
    of = np.arange(count) // A_POSE
    show(f"nearest of {count} views", lambda: nearest((pairs[0, 7], pairs[1, 7]), (pairs[0], pairs[1]), of), 20)
    show("an outline, both looks", lambda: embed.vectors([outline]), 60)
    show("of that, drawing it", lambda: frame(outline), 60)
    with tempfile.TemporaryDirectory() as work:
        place, like = Path(work) / "archive", sorted((TURN / "masks").iterdir())[0]
        fill(place, lines, count)
        size = sum(path.stat().st_size for path in place.rglob("*.parquet"))
        print(f"archive of {count // A_POSE} poses: {size / 1e6:.0f} MB; {kept.FILE} "
              f"{(place / kept.FILE).stat().st_size / 1e6:.0f} MB")
        asked: dict[str, dict[str, Any]] = {
            "--like": {"like": like}, "--reads 100": {"reads": 100},
            "--gap big --arm over-head --like": {"gap": "big", "arm": "over-head", "like": like},
        }
        for told, question in asked.items():
            show(f"find {told}", lambda question=question: finding.find_views(place, **question), 5)  # type: ignore[misc]
        (place / kept.FILE).unlink()
        for told, question in asked.items():
            show(f"find {told}, without {kept.FILE}",
                 lambda question=question: finding.find_views(place, **question), 2)  # type: ignore[misc]
    print(f"load {os.getloadavg()[0]:.1f} on {os.cpu_count()} cores")


if __name__ == "__main__":
    main()
