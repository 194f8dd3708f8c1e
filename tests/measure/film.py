"""What reading and checking a clip costs over merely decoding it, its peak memory, and how well its stops are found.

    python tests/measure/film.py CLIP [CLIP ...] [--rounds 3]

Each clip is decoded by PyAV alone, read by ``find_stops`` and ``read_stops``, and checked from the file on, by turns
in one process, and the ratios of the medians are printed, by the clock and by processor time (other work on the
machine disturbs the clock). All three decode every frame, with as many threads as PyAV takes. Peak memory is that of
a fresh process. With a ``NAME.truth.json`` beside the clip (start and end of each hold, seconds) precision and recall
of the stops are printed, and how many stills lie inside their hold.
"""

from __future__ import annotations

import argparse
import json
import statistics
import subprocess
import sys
import time
from collections.abc import Callable
from pathlib import Path

import av

from silhouette import shoot
from silhouette.intake import film
from silhouette.records import FilmStops

PEAK = """
import resource, sys
from silhouette.intake import film
stops = film.find_stops(sys.argv[1])
for picture in film.read_stops(sys.argv[1], stops):
    pass
print(resource.getrusage(resource.RUSAGE_SELF).ru_maxrss / 1024)
"""


def decode(clip: Path) -> None:
    with av.open(str(clip)) as container:
        stream = container.streams.video[0]
        stream.thread_type = "AUTO"
        for _ in container.decode(stream):
            pass


def read(clip: Path) -> FilmStops:
    stops = film.find_stops(clip)
    for _ in film.read_stops(clip, stops):
        pass
    return stops


def timed(work: Callable[[Path], object], clip: Path) -> tuple[float, float]:
    clock, own = time.perf_counter(), time.process_time()
    work(clip)
    return time.perf_counter() - clock, time.process_time() - own


def quality(stops: FilmStops, truth: Path) -> str:
    found = json.loads(truth.read_text())
    rows = found if isinstance(found, list) else found["stops"]
    spans = [(row["start"] - 0.001, row["end"] + 0.001) for row in rows if row["end"] > row["start"]]
    if not spans:
        return "no holds in the truth"
    hit = {k for k, (start, end) in enumerate(spans) if any(start <= t <= end for t in stops.chosen)}
    inside = sum(any(start <= t <= end for start, end in spans) for t in stops.chosen)
    return (
        f"stops {len(stops.chosen)} of {len(spans)}, recall {len(hit) / len(spans):.3f}, "
        f"precision {len(hit) / len(stops.chosen):.3f}, stills inside a hold {inside}/{len(stops.chosen)}"
    )


def main() -> None:
    parser = argparse.ArgumentParser(description=__doc__, formatter_class=argparse.RawDescriptionHelpFormatter)
    parser.add_argument("clips", nargs="+", type=Path)
    parser.add_argument("--rounds", type=int, default=3, help="0 leaves the timing out")
    args = parser.parse_args()
    for clip in args.clips:
        stops = read(clip)
        line = f"{clip.name:24} {stops.size[0]}x{stops.size[1]} {stops.duration:.0f} s"
        if args.rounds:
            works = {"decoded": decode, "read": read, "checked": shoot.check_turnaround}
            works["checked"](clip)
            spent = [{name: timed(work, clip) for name, work in works.items()} for _ in range(args.rounds)]
            for name in ("read", "checked"):
                clock, own = (
                    statistics.median(s[name][k] for s in spent) / statistics.median(s["decoded"][k] for s in spent)
                    for k in (0, 1)
                )
                line += f", {name} {clock:.2f} x decoding by the clock, {own:.2f} x processor time"
            peak = subprocess.run([sys.executable, "-c", PEAK, str(clip)], capture_output=True, text=True, check=True)
            line += f", peak {float(peak.stdout):.0f} MB"
        truth = clip.with_suffix(".truth.json")
        print(line + (f", {quality(stops, truth)}" if truth.is_file() else ""), *stops.notes, sep="\n    ", flush=True)


if __name__ == "__main__":
    main()
