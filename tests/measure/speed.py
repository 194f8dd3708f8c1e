"""What a still costs from file to verdict, as ratios taken in one run.

    python tests/measure/speed.py FOLDER [--stills 36] [--named] [--parts] [--model u2netp.onnx]

FOLDER is one pose; its stills are enlarged to 12 megapixels with fresh sensor noise and written as JPEG (quality 92) to
a temporary folder. The yardstick is one full ``cv2.imread`` of such a file, in the same process, one thread. What one
process does is given in processor time, which other work on the machine disturbs little; two processes are compared
with one by the clock, so let the machine be idle. Between two runs only ratios can be compared.

With --named their names say the angles, else these are found from the outlines as well. --parts says where the time
goes and ends there: quick enough for a busy machine, on which two versions are best run in turns.
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
from pathlib import Path

import cv2
import numpy as np

from silhouette import scoring, turnaround
from silhouette.cutout import background_model
from silhouette.intake import stills
from silhouette.reading import reader
from silhouette.settings import Settings
from silhouette.shape import measure, outline
from silhouette.turn import estimate


def enlarge(folder: Path, into: Path, count: int, named: bool = False) -> list[Path]:
    """``count`` JPEG stills of 3024 x 4032 made from the pictures of ``folder``, spread over its turn; ``named``: each
    by its angle."""
    sources = sorted(p for p in folder.iterdir() if p.suffix.lower() in (".jpg", ".jpeg", ".png"))
    rng = np.random.default_rng(0)
    noise = rng.normal(0, 3, (4032, 3024, 1)).astype(np.float32)
    paths = []
    for i in range(count):
        small = cv2.imread(str(sources[i * len(sources) // count]))
        large = cv2.resize(small, (3024, 4032), interpolation=cv2.INTER_CUBIC).astype(np.float32)
        path = into / (f"pose_{round(360 * i / count):03d}.jpg" if named else f"IMG_{i:04d}.jpg")
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
    begun = scoring.Begun(run, settings.intent)
    begun.views(turnaround.ingest_rings(folder, settings, run=run, ahead=begun.begin).main)
    return clock() - start


def parts(paths: list[Path], settings: Settings) -> list[tuple[str, float]]:
    """(what, ms a still) of each step by itself, in processor time."""
    told: list[tuple[str, float]] = []

    def each(name: str, do: Callable[..., object], *over: list[object]) -> list[object]:
        start = time.process_time()
        done = [do(*one) for one in zip(*over, strict=True)]
        told.append((name, 1000 * (time.process_time() - start) / len(paths)))
        return done

    pictures = each("read, at a quarter", lambda p: stills.read_still(p, settings.work_px).pixels, list(paths))
    (shared,) = each("what all have in common", lambda some: background_model.learn_from(
        [background_model.glimpse(some[i], n % 2 == 0) for n, i in enumerate(background_model.sample(len(some)))]),
        [pictures])
    cuts = each("cut out", lambda pixels: turnaround.cut_picture(pixels, shared, settings), pictures)
    masks = [cut.mask for cut in cuts]
    each("angles from the outlines", estimate.estimate_angles, [masks])
    lines = each("traced", outline.outline_of, masks)
    each("measured", lambda line: measure.measure_outline(line.polygon), lines)
    each("read by the reader", reader.read_body, lines)
    return told


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
    parser.add_argument("--named", action="store_true", help="names that say the angle")
    parser.add_argument("--parts", action="store_true", help="where the time goes, and no more")
    parser.add_argument("--model", type=Path, help="rembg's smallest model, for comparison")
    args = parser.parse_args()
    cv2.setNumThreads(1)
    settings = Settings()
    with tempfile.TemporaryDirectory() as t:
        folder = Path(t)
        paths = enlarge(args.folder, folder, args.stills, args.named)
        decode = median_ms(lambda: cv2.imread(str(paths[0])), 9)
        if args.parts:
            show_parts(paths, folder, settings)
            return
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


def show_parts(paths: list[Path], folder: Path, settings: Settings, rounds: int = 3) -> None:
    """Print the middle of a few rounds, each held against decodes of its own."""
    parts(paths, settings)
    found: dict[str, list[float]] = {}
    with turnaround.workers(1) as run:
        for _ in range(rounds):
            decode = median_ms(lambda: cv2.imread(str(paths[0])), 7)
            whole = 1000 * turn_seconds(folder, settings, run, time.process_time) / len(paths)
            for name, ms in [*parts(paths, settings), ("file to verdict", whole)]:
                found.setdefault(name, []).append(ms / decode)
    for name, ratios in found.items():
        print(f"{name:34}{statistics.median(ratios):10.2f} x decode")


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
