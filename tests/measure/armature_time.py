"""Prints what an armature costs beside the cutting out: ``python tests/measure/armature_time.py TURN [HEIGHT]``.

TURN is a folder of stills; HEIGHT the model's, metres. Seconds of the clock and of the processor, the ratio to the
cutting in the same run, and the most memory that the whole run took. On a quiet machine; its load is printed.
"""

from __future__ import annotations

import os
import resource
import sys
import tempfile
import time
from collections.abc import Callable
from pathlib import Path
from typing import Any

from silhouette import armature, turnaround
from silhouette.settings import Settings


def timed(what: str, work: Callable[[], Any]) -> tuple[Any, float]:
    clock, processor = time.perf_counter(), time.process_time()
    done = work()
    took = time.perf_counter() - clock
    print(f"{what:22s}{took:7.2f} s, {time.process_time() - processor:6.2f} s of the processor", flush=True)
    return done, took


def main(place: str, height: float = 1.72) -> None:
    shot, cut = timed("cutting out", lambda: turnaround.ingest(place, Settings(), looks=True))
    made, found = timed("the figure in space", lambda: armature.armature_of(shot, height_m=height))
    with tempfile.TemporaryDirectory() as out:
        _, written = timed("writing", lambda: armature.write_armature(made, Path(out) / "armature"))
    peak = resource.getrusage(resource.RUSAGE_SELF).ru_maxrss / 1024
    print(f"{found + written:.1f} s on top of the cutting, {(found + written) / cut:.1f} times as long; {peak:.0f} MB; "
          f"load {os.getloadavg()[0]:.1f}")


if __name__ == "__main__":
    main(sys.argv[1], *map(float, sys.argv[2:3]))
