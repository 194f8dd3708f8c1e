"""What a still costs from file to verdict, as ratios taken in one run.

    python tests/measure/speed.py FOLDER [--stills 36] [--model u2netp.onnx]

FOLDER is one pose; its stills are enlarged to 12 megapixels with fresh sensor noise and written as JPEG (quality 92) to
a temporary folder. The yardstick is one full ``cv2.imread`` of such a file, in the same process, one thread. What one
process does is given in processor time, which other work on the machine disturbs little; two processes are compared
with one by the clock, so let the machine be idle. Between two runs only ratios can be compared.
"""

from __future__ import annotations

import argparse
import os
import statistics
import subprocess
import sys
import tempfile
import time
from collections.abc import Callable
from functools import partial
from pathlib import Path

import cv2
import numpy as np

from silhouette import scoring, turnaround
from silhouette.settings import Settings


def enlarge(folder: Path, into: Path, count: int) -> list[Path]:
    """``count`` JPEG stills of 3024 x 4032 made from the pictures of ``folder``."""
    sources = sorted(p for p in folder.iterdir() if p.suffix.lower() in (".jpg", ".jpeg", ".png"))
    rng = np.random.default_rng(0)
    noise = rng.normal(0, 3, (4032, 3024, 1)).astype(np.float32)
    paths = []
    for i in range(count):
        small = cv2.imread(str(sources[i % len(sources)]))
        large = cv2.resize(small, (3024, 4032), interpolation=cv2.INTER_CUBIC).astype(np.float32)
        path = into / f"IMG_{i:04d}.jpg"
        cv2.imwrite(str(path), np.clip(large + np.roll(noise, i * 37, 0), 0, 255).astype(np.uint8), [1, 92])
        paths.append(path)
    return paths


def median_ms(do: Callable[[], object], times: int) -> float:
    spent = []
    for _ in range(times):
        start = time.process_time()
        do()
        spent.append(1000 * (time.process_time() - start))
    return statistics.median(spent)


def turn_seconds(
    folder: Path, settings: Settings, run: turnaround.Run, clock: Callable[[], float] = time.perf_counter
) -> float:
    """Seconds for a whole pose, file to measures and verdict of every view, with the processes already warm."""
    start = clock()
    shot = turnaround.ingest(folder, settings, run=run)
    list(run(partial(scoring._read_view, intent=settings.intent), shot.stops, shot.cuts))
    return clock() - start


def peak_mb(folder: Path, count: int) -> float:
    """Peak resident memory of a fresh process that scores the first ``count`` stills of ``folder``, MB."""
    code = (
        "import sys, tempfile, pathlib, os, re, silhouette\n"
        "with tempfile.TemporaryDirectory() as t:\n"
        "    for p in sorted(pathlib.Path(sys.argv[1]).iterdir())[: int(sys.argv[2])]:\n"
        "        os.link(p, pathlib.Path(t, p.name))\n"
        "    silhouette.score_pose(t)\n"
        "print(int(re.search(r'VmHWM:\\s+(\\d+)', pathlib.Path('/proc/self/status').read_text())[1]) / 1024)"
    )
    told = subprocess.run(
        [sys.executable, "-c", code, str(folder), str(count)], capture_output=True, text=True, check=True
    )
    return float(told.stdout.split()[-1])


def main() -> None:
    parser = argparse.ArgumentParser(description=__doc__, formatter_class=argparse.RawDescriptionHelpFormatter)
    parser.add_argument("folder", type=Path)
    parser.add_argument("--stills", type=int, default=36)
    parser.add_argument("--model", type=Path, help="rembg's smallest model, for comparison")
    args = parser.parse_args()
    cv2.setNumThreads(1)
    settings = Settings()
    with tempfile.TemporaryDirectory() as t:
        folder = Path(t)
        paths = enlarge(args.folder, folder, args.stills)
        decode = median_ms(lambda: cv2.imread(str(paths[0])), 9)
        with turnaround.workers(1) as run:
            turn_seconds(folder, settings, run)
            one = min(turn_seconds(folder, settings, run, time.process_time) for _ in range(3))
            wall = min(turn_seconds(folder, settings, run) for _ in range(3))
        decode = min(decode, median_ms(lambda: cv2.imread(str(paths[0])), 9))
        per_still = 1000 * one / len(paths)
        rows = [("full decode by OpenCV", decode, 1.0), ("file to verdict, one process", per_still, per_still / decode)]
        rows.append(("one process, by the clock", 1000 * wall / len(paths), 1000 * wall / len(paths) / decode))
        with turnaround.workers(2) as run:
            turn_seconds(folder, settings, run)
            two = min(turn_seconds(folder, settings, run) for _ in range(3))
        rows.append(("two processes, by the clock", 1000 * two / len(paths), 1000 * two / len(paths) / decode))
        if args.model is not None:
            rows.append(neural_row(paths[0], args.model, decode))
        print(f"{'':34}{'ms':>9}{'x decode':>10}")
        for name, ms, ratio in rows:
            print(f"{name:34}{ms:9.1f}{ratio:10.2f}")
        print(f"two processes against one: {wall / two:.2f} times as many stills a second")
        half = max(2, len(paths) // 3)
        peaks = ", ".join(f"{n} stills {peak_mb(folder, n):.0f} MB" for n in (half, len(paths)))
        print(f"peak memory: {peaks}")
    print(f"silhouette --help: {help_ms():.0f} ms by the clock")


def help_ms() -> float:
    spent = []
    for _ in range(7):
        start = time.perf_counter()
        subprocess.run([sys.executable, "-m", "silhouette.cli", "--help"], capture_output=True, check=True)
        spent.append(1000 * (time.perf_counter() - start))
    return statistics.median(spent)


def neural_row(path: Path, model: Path, decode: float) -> tuple[str, float, float]:
    """The same file through rembg with the given model, as its users call it."""
    os.environ["U2NET_HOME"] = str(model.resolve().parent)  # so that rembg takes this file and asks no server
    from rembg import new_session, remove

    session = new_session(model.stem)
    data = path.read_bytes()
    remove(data, session=session, only_mask=True)
    ms = median_ms(lambda: remove(data, session=session, only_mask=True), 3)
    return "rembg, its smallest model", ms, ms / decode


if __name__ == "__main__":
    main()
