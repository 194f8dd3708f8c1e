"""How well a live turn takes its stops: clips played as a camera, without server, socket and browser.

    python tests/measure/holds.py [CLIP.mp4 ...] [--hz 12] [--busy 0.5] [--stops 24]

Beside each clip lies ``NAME.truth.json``, a row a stop with ``start`` and ``end`` of its hold in seconds. Printed are
the stops taken, those outside every hold, those taken twice, what was said, and what a frame costs on one thread,
JPEG left out. ``--busy``: share of the frames of which only the motion is looked at, as on a computer that is too slow.
"""

from __future__ import annotations

import argparse
import sys
import time
from collections import Counter
from pathlib import Path

import cv2
import numpy as np

sys.path.insert(0, str(Path(__file__).resolve().parents[2]))

from silhouette.live.messages import Frame, Seen
from silhouette.live.session import Session
from tests.live.playing import CLIPS, Page, begun, camera, score, truth


class Timed(Session):
    """Notes what each frame costs, milliseconds of its thread."""

    def see(self, frame: Frame, *, quick: bool = False) -> Seen:
        start = time.thread_time()
        seen = super().see(frame, quick=quick)
        COSTS.append((time.thread_time() - start) * 1000)
        return seen


COSTS: list[float] = []


def main() -> None:
    asked = argparse.ArgumentParser(description=__doc__, formatter_class=argparse.RawDescriptionHelpFormatter)
    asked.add_argument("clips", nargs="*", type=Path)
    asked.add_argument("--hz", type=float, default=12.0)
    asked.add_argument("--busy", type=float, default=0.0)
    asked.add_argument("--stops", type=int, default=24)
    given = asked.parse_args()
    cv2.setNumThreads(1)
    print(f"{'clip':18}{'holds':>6}{'taken':>7}{'outside':>8}{'twice':>6}{'late':>6}   ms median, 95 %   said")
    for path in given.clips or sorted(CLIPS.glob("*.mp4")):
        rng, holds = np.random.default_rng(0), truth(path)
        waits = (rng.random(100_000) < given.busy).tolist()
        COSTS.clear()
        played = Page(begun(kind=Timed, stops=given.stops), busy=waits.__getitem__).play(
            camera(path, given.hz, jitter=0.3))
        found = score(played.taken, holds)
        said = Counter(signal.kind for signal in played.signals)
        print(f"{path.stem:18}{len(holds):6}{100 * found.share:6.1f}%{len(found.outside):8}{len(found.twice):6}"
              f"{played.too_late:6}   {np.median(COSTS):6.1f} {np.percentile(COSTS, 95):8.1f}   "
              f"{', '.join(f'{kind} {count}' for kind, count in said.items())}"
              f"{'; ' + ', '.join(sorted(played.troubles())) if played.troubles() else ''}", flush=True)


if __name__ == "__main__":
    main()
