"""Stops exchanged between two rings, and rings that belong together: how often the check says what is true.

    python tests/measure/ring_check.py FOLDER [EVERY]

FOLDER holds turns in three rings as ``python -m silhouette.studio.turns_in_rings`` writes them; every EVERY-th is
taken. Their exact masks are checked as they are, and then three times with one stop exchanged between two rings (low
and level, level and high, low and high), each at an angle drawn by the turn's number, with the nearest stop of the
other ring. Counted are: an exchange that is named, with both stops; one that is noticed at all (either of them is named
as taken from the other ring); anything named that was not exchanged; in turns as they are every finding of the rings
together that is no pass. Last, each turn is given the high ring of the next one: another pose must be named.
"""

from __future__ import annotations

import json
import sys
from collections import Counter
from collections.abc import Iterator
from dataclasses import dataclass, field
from pathlib import Path

import cv2
import numpy as np

from silhouette import ring_check, shoot
from silhouette.check import rings as questions
from silhouette.geometry.angles import apart
from silhouette.in_space import InSpace
from silhouette.records import Stop
from silhouette.records_shoot import AllRings, StopLook
from silhouette.settings import RINGS, Ring

PAIRS: tuple[tuple[Ring, Ring], ...] = (("low", "level"), ("level", "high"), ("low", "high"))


@dataclass
class Turn:
    """One ring, as exact masks."""

    angles: list[float]
    looks: list[StopLook]
    alone: list[ring_check.RingSeen | None] = field(default_factory=list)


def look(mask: np.ndarray, focal: float) -> StopLook:
    rows = np.flatnonzero(mask.any(axis=1))
    return StopLook(
        mask=mask, thumb=np.full((96, 72, 3), 120, np.uint8), confidence=0.99, flags=(), full_size=mask.shape[::-1],
        scale=1.0, focal_35mm=focal, height_px=float(np.ptp(rows) + 1), edges=(), edge_width=1.5,
        figure_light=(40.0, 90.0, 160.0), backdrop_light=120.0, side_light=0.1,
    )


def read(folder: Path) -> dict[Ring, Turn]:
    truth = json.loads((folder / "truth.json").read_text())
    out: dict[Ring, Turn] = {}
    for ring in RINGS:
        told = truth["rings"][ring]
        masks = [cv2.imread(str(folder / row["mask"]), cv2.IMREAD_GRAYSCALE) > 127 for row in told["stops"]]
        out[ring] = Turn([float(row["named"]) for row in told["stops"]],
                         [look(mask, told["camera"]["focal_35mm"]) for mask in masks])
    return out


def seen_alone(stops: list[Stop], turn: Turn) -> ring_check.RingSeen | None:
    """What a ring tells alone; kept, as most rings are looked at several times."""
    if not turn.alone:
        turn.alone.append(ring_check.seen_alone(stops, turn.looks))
    return turn.alone[0]


def held(rings: dict[Ring, Turn]) -> AllRings:
    """What the rings tell together, as ``check`` has it."""
    stops = {ring: [Stop(k, Path("x"), f"{a:03.0f}", a, "name", ring=ring) for k, a in enumerate(turn.angles)]
             for ring, turn in rings.items()}
    seen = {ring: seen_alone(stops[ring], turn) for ring, turn in rings.items()}
    found = ring_check.find_strays(stops, seen)
    shots = {ring: shoot.measure(stops[ring], turn.looks, cameras=ring_check.own_cameras(ring, seen[ring], found))
             for ring, turn in rings.items()}
    return ring_check.together(shots, seen, found, InSpace())


def exchanged(rings: dict[Ring, Turn], number: int) -> Iterator[tuple[dict[Ring, Turn], tuple[int, int]]]:
    """The turn with one stop exchanged, and which two, counted over all rings."""
    rng = np.random.default_rng([15, number])
    first = dict(zip(RINGS, np.cumsum([0, *(len(rings[ring].angles) for ring in RINGS)]), strict=False))
    for here, there in PAIRS:
        k = int(rng.integers(len(rings[here].angles)))
        j = int(np.argmin([apart(rings[here].angles[k], a) for a in rings[there].angles]))
        fresh = {ring: Turn(rings[ring].angles, list(rings[ring].looks)) for ring in (here, there)}
        other = {ring: fresh.get(ring, turn) for ring, turn in rings.items()}
        other[here].looks[k], other[there].looks[j] = other[there].looks[j], other[here].looks[k]
        yield other, (int(first[here]) + k, int(first[there]) + j)


def main(folder: Path, every: int = 1) -> None:
    places = sorted(p for p in folder.iterdir() if (p / "truth.json").exists())[::every]
    told: Counter[str] = Counter()
    for number, place in enumerate(places):
        rings = read(place)
        whole = held(rings)
        asked = [question(whole) for question in (questions.right_ring, questions.same_pose, questions.same_start)]
        told["turns"] += 1
        for finding in asked:
            told[f"as shot, {finding.check}: {finding.verdict}"] += 1
        for shot in (shot for _, shot in whole.shots if shot.held is not None):
            told["rings as shot"] += 1
            told["rings as shot, pose said to have moved"] += bool(shot.held.moved or shot.held.unfit)
        for other, pair in exchanged(rings, number):
            found = held(other).strays or ()
            sets = [{stray.stop, stray.other} for stray in found]
            told["exchanged"] += 1
            told["noticed"] += any(stray.stop in pair for stray in found)
            told["both named"] += set(pair) in sets
            told["wrong besides"] += any(stray.stop not in pair for stray in found)
        strange = read(places[(number + 1) % len(places)])
        finding = questions.same_pose(held({**rings, "high": strange["high"]}))
        told[f"high ring of another turn: {finding.verdict}, {finding.kind}"] += 1
        print(number + 1, place.name, dict(told), flush=True)
    for name, count in told.items():
        print(f"{name}: {count}")


if __name__ == "__main__":
    main(Path(sys.argv[1]), int((*sys.argv[2:3], "1")[0]))
