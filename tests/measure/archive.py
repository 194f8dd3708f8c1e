"""What an archive costs: prints the time a pose and the memory as it grows, a second run, kills, workers of a cluster.

    python tests/measure/archive.py grow TURNS [--poses 2000]      outlines at once; TURNS: turns with masks/NNN.png
    python tests/measure/archive.py files TURNS TURNS [--times 10]   pictures from files, and outlines of other turns
    python tests/measure/archive.py again POSE [--poses 4]         pictures of 12 megapixels from files, and once more
    python tests/measure/archive.py kills POSE... [--times 10]     killed at random moments and gone on with
    python tests/measure/archive.py workers POSE [--poses 24]      two workers against one; let the machine be idle

Turns are made by ``python -m silhouette.studio.turns_in_space``. ``grow`` reads some turns of 12 views once and then
makes the file of each pose from them: vectors, Parquet and writing are its own, pictures and measures are left out,
since they cost the same for every pose. ``files`` reads every pose: of the first folder the pictures, as ``archive``
does; of the second, whose turns have masks alone, the outlines, which are measured and read. The two take turns as
evenly as their numbers let them. It makes the archive, makes it again, then makes another that is killed so many times.
Processor time, but for the workers.
"""

from __future__ import annotations

import argparse
import os
import random
import resource
import shutil
import signal
import subprocess
import sys
import tempfile
import time
from dataclasses import replace
from pathlib import Path
from typing import Any

import cv2
import numpy as np
from speed import enlarge

from silhouette import archive, scoring
from silhouette.archive import one, places
from silhouette.archive.places import Found, Place
from silhouette.pool import Run
from silhouette.records import Cut, Pose, Stop
from silhouette.settings import Settings

VIEWS = 12
PLAIN = Settings(jitter=0)


def files(folder: Path) -> dict[str, bytes]:
    return {str(p.relative_to(folder)): p.read_bytes() for p in folder.rglob("*") if p.is_file()}


def load() -> str:
    return f"load {os.getloadavg()[0]:.1f} on {os.cpu_count()} cores"


def memory_mb() -> float:
    """Held now, not the most."""
    pages = int(Path("/proc/self/statm").read_text().split()[1])
    return pages * resource.getpagesize() / 1e6


def pose_of(turn: Path) -> Pose:
    """A pose of 12 views, measured and read from the exact masks of a rendered turn."""
    found = sorted((turn / "masks").glob("*.png"))
    views = []
    for i, path in enumerate(found[:: max(1, len(found) // VIEWS)][:VIEWS]):
        mask = cv2.imread(str(path), cv2.IMREAD_GRAYSCALE) > 127
        stop = Stop(i, path, path.stem, i * 360 / VIEWS, "name")
        views.append(scoring._read_view(stop, Cut(mask, 0.99, "given"), "open"))
    walk, _, low, high = scoring._walk(views, PLAIN)
    return Pose(turn.name, turn, tuple(views), walk, low, high)


def grow(turns: Path, count: int) -> None:
    poses = [pose_of(path.parent) for path in sorted(turns.glob("*/masks"))[:8]]
    print(f"{len(poses)} turns read; {count} poses of {VIEWS} views; {load()}", flush=True)
    spent, held = list[float](), list[float]()

    def tell(what: str, done: int, total: int) -> None:
        spent.append(time.process_time())
        held.append(memory_mb())

    def read(place: Path, settings: Settings, run: Run) -> Any:
        i = int(place.name)
        return replace(poses[i % len(poses)], name=f"pose {i}")

    with tempfile.TemporaryDirectory() as work:
        root = Path(work) / "turns"
        for i in range(count):
            (root / str(i)).mkdir(parents=True)
        found = Found(("turns",), tuple(Place(root / str(i), "turns", str(i)) for i in range(count)), ())
        places.find, scoring.read_useful = lambda roots: found, read  # type: ignore[assignment]
        one.key_of_pose = lambda place, settings: place.name
        spent.append(time.process_time())
        archive.build([root], Path(work) / "archive", PLAIN, tell=tell)
        each = 1000 * np.diff(spent)
        for start in sorted({0, count // 20, count // 4, count // 2, count - count // 10}):
            part = each[start : start + count // 10]
            last = start + len(part)
            print(f"poses {start + 1} to {last}: {part.mean():.1f} ms a pose, median {np.median(part):.1f}; "
                  f"memory {held[last - 1]:.0f} MB", flush=True)
        size = sum(p.stat().st_size for p in (Path(work) / "archive").rglob("*") if p.is_file())
        print(f"{size / count / 1000:.0f} kB a pose")
        start = time.process_time()
        archive.build([root], Path(work) / "archive", PLAIN)
        again = time.process_time() - start
        print(f"run again: {1000 * again / count:.2f} ms a pose to find that all is there, pictures left out; {load()}")


def between(pictures: Path, outlines: Path) -> list[Place]:
    """The turns of both folders, those of the fewer spread among the others."""
    kinds = [[Place(path, kind.name, path.name) for path in sorted(kind.iterdir()) if path.is_dir()]
             for kind in (pictures, outlines)]
    spread = [((i + 0.5) / len(kind), place) for kind in kinds for i, place in enumerate(kind)]
    return [place for _, place in sorted(spread, key=lambda one: one[0])]


def build_files(pictures: Path, outlines: Path, out: Path) -> tuple[archive.Archived, Any, list[float]]:
    """The archive of both folders, with the processor time and the memory after each pose."""
    turns = between(pictures, outlines)
    found = Found((pictures.name, outlines.name), tuple(turns), ())
    places.find = lambda roots: found  # type: ignore[assignment]
    read, key = scoring.read_useful, one.key_of_pose
    scoring.read_useful = lambda place, *rest: pose_of(place) if place.parent == outlines else read(place, *rest)
    one.key_of_pose = lambda place, settings: (
        one.key_of(sorted((place / "masks").iterdir()), {}) if place.parent == outlines else key(place, settings))
    spent, held = [time.process_time()], [memory_mb()]

    def tell(what: str, done: int, total: int) -> None:
        spent.append(time.process_time())
        held.append(memory_mb())

    done = archive.build([pictures, outlines], out, PLAIN, tell=tell)
    spent.append(time.process_time())
    scoring.read_useful, one.key_of_pose = read, key
    return done, np.diff(spent), held


def from_files(pictures: Path, outlines: Path, times: int) -> None:
    turns = between(pictures, outlines)
    drawn = np.array([place.root == pictures.name for place in turns])
    with tempfile.TemporaryDirectory() as work:
        whole, grown = Path(work) / "whole", Path(work) / "grown"
        start = time.perf_counter()
        done, each, held = build_files(pictures, outlines, whole)
        took = time.perf_counter() - start
        print(f"{len(done.new)} new, {len(done.failed)} cannot be read; {each.sum():.0f} s, {each[-1]:.1f} s of it for "
              f"{archive.views.FILE}; {load()}", flush=True)
        for source, why in done.failed:
            print(f"    {source}: {why}", flush=True)
        step = len(turns) // 10
        for begin in range(0, len(turns) - step + 1, step):
            part, mine = each[:-1][begin : begin + step], drawn[begin : begin + step]
            said = " and ".join(f"{1000 * part[kind].mean():.0f} ms a pose from {name}" for name, kind in (
                ("pictures", mine), ("outlines", ~mine)) if kind.any())
            print(f"poses {begin + 1} to {begin + step}: {said}; memory {held[begin + step]:.0f} MB", flush=True)
        again, other, _ = build_files(pictures, outlines, whole)
        share = 100 * other.sum() / each.sum()
        print(f"made again: {len(again.new)} new, {other.sum():.2f} s, {share:.2f} % of the first", flush=True)
        _kill_files(pictures, outlines, grown, times, took)
        print(f"the same as in one go: {files(whole) == files(grown)}; {load()}")


def _kill_files(pictures: Path, outlines: Path, grown: Path, times: int, took: float) -> None:
    """The archive made by runs that are killed, each after about a share of the whole time; the last is not."""
    rng, command = random.Random(16), [sys.executable, __file__, "build", str(pictures), str(outlines), str(grown)]
    for _ in range(times):
        with subprocess.Popen(command, stdout=subprocess.DEVNULL) as run:
            try:
                run.wait(rng.uniform(0.5, 1.5) * took / times)
            except subprocess.TimeoutExpired:
                run.send_signal(signal.SIGKILL)
        held, how = len(list(grown.glob("poses/*.parquet"))), "killed" if run.returncode else "done"
        print(f"{how} with {held} poses", flush=True)
    subprocess.run(command, check=True, stdout=subprocess.DEVNULL)


def again(pose: Path, count: int) -> None:
    with tempfile.TemporaryDirectory() as work:
        for i in range(count):
            (place := Path(work) / "turns" / f"pose {i}").mkdir(parents=True)
            enlarge(pose, place, VIEWS)
        told = []
        for _ in range(2):
            start = time.process_time()
            done = archive.build([Path(work) / "turns"], Path(work) / "archive", PLAIN)
            told.append(time.process_time() - start)
            print(f"{len(done.new)} new, {len(done.kept)} as before: {told[-1]:.2f} s; {load()}", flush=True)
        print(f"the second run is {100 * told[1] / told[0]:.2f} % of the first")


def kills(given: list[Path], times: int) -> None:
    rng = random.Random(15)
    with tempfile.TemporaryDirectory() as work:
        root, whole, grown = (Path(work) / name for name in ("turns", "whole", "grown"))
        for place in given:
            shutil.copytree(place, root / place.name)
        command = [sys.executable, "-m", "silhouette.cli", "archive", str(root), "--jitter", "0", "-o"]
        start = time.perf_counter()
        subprocess.run([*command, str(whole)], check=True, capture_output=True)
        took, killed = time.perf_counter() - start, 0
        for i in range(times):
            if i % 3 == 0:
                shutil.rmtree(grown, ignore_errors=True)  # so that late kills happen too
            with subprocess.Popen([*command, str(grown)], stdout=subprocess.DEVNULL) as run:
                try:
                    run.wait(rng.uniform(0.1, 1.0) * took)
                except subprocess.TimeoutExpired:
                    run.send_signal(signal.SIGKILL)
                    killed += 1
            held, how = len(list(grown.glob("poses/*.parquet"))), "killed" if run.returncode else "done"
            print(f"run {i + 1}: {how} with {held} of {len(given)} poses", flush=True)
        subprocess.run([*command, str(grown)], check=True, capture_output=True)
        print(f"{killed} killed; the same as in one go: {files(whole) == files(grown)}")


def workers(pose: Path, count: int) -> None:
    from distributed import LocalCluster

    with tempfile.TemporaryDirectory() as work:
        for i in range(count):
            shutil.copytree(pose, Path(work) / "turns" / f"pose {i}")
        told = dict[int, float]()
        for number in (1, 2, 1, 2):
            with LocalCluster(n_workers=number, threads_per_worker=1, dashboard_address="127.0.0.1:0") as cluster:
                _warm(Path(work), pose, cluster.scheduler_address)
                start = time.perf_counter()
                archive.build([Path(work) / "turns"], Path(work) / f"with {number} {start}", PLAIN,
                              cluster=cluster.scheduler_address)
                took = time.perf_counter() - start
                told[number] = min(took, told.get(number, took))
                print(f"{number} workers: {took:.1f} s for {count} poses; {load()}", flush=True)
        print(f"two do {told[1] / told[2]:.2f} times what one does (the better of two runs each)")
        all_made = [files(p) for p in Path(work).glob("with *")]
        print(f"the same files: {all(made == all_made[0] for made in all_made)}")


def _warm(work: Path, pose: Path, address: str) -> None:
    """A few poses first, so that every worker has loaded what it needs."""
    root = work / f"warm {time.perf_counter()}"
    for i in range(4):
        shutil.copytree(pose, root / str(i))
    archive.build([root], root.with_name(f"{root.name} archive"), PLAIN, cluster=address)


def main() -> None:
    parser = argparse.ArgumentParser(description=__doc__, formatter_class=argparse.RawDescriptionHelpFormatter)
    parser.add_argument("what", choices=("grow", "files", "build", "again", "kills", "workers"))
    parser.add_argument("places", type=Path, nargs="+")
    parser.add_argument("--poses", type=int)
    parser.add_argument("--times", type=int, default=10)
    args = parser.parse_args()
    cv2.setNumThreads(1)
    first = args.places[0]
    if args.what == "grow":
        grow(first, args.poses or 2000)
    elif args.what == "files":
        from_files(args.places[0].resolve(), args.places[1].resolve(), args.times)
    elif args.what == "build":
        build_files(*args.places)
    elif args.what == "again":
        again(first, args.poses or 4)
    elif args.what == "kills":
        kills(args.places, args.times)
    else:
        workers(first, args.poses or 24)


if __name__ == "__main__":
    main()
