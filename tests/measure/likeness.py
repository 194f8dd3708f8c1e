"""Prints how well outlines find their pose: ``python tests/measure/likeness.py FILE.npz... [--plain] [--most N]``.

The files are of kept-out poses and written by ``silhouette.studio.training_likeness views``. Of every pose one body
stands in the archive, seen from 12 sides by one camera; another body, otherwise dressed, is asked for, seen by another
camera from other sides: as it is, and as if somebody had drawn it quickly. ``--plain`` also tries what needs no network
of its own.
"""

from __future__ import annotations

import argparse
from collections.abc import Callable, Sequence
from concurrent.futures import ProcessPoolExecutor
from dataclasses import dataclass, replace
from pathlib import Path
from typing import Any

import cv2
import numpy as np
import shapely
from numpy.typing import NDArray
from scipy.ndimage import gaussian_filter1d
from shapely.geometry import MultiPolygon, Polygon

from silhouette.find import embed
from silhouette.find.nearest import Near, nearest
from silhouette.geometry.framed import frame
from silhouette.geometry.raster import rings_of
from silhouette.reading import reader
from silhouette.records import Outline
from silhouette.shape.outline import outline_of

Looks = NDArray[np.float32]
"""(2, d) of an outline and its mirror image."""
Vectors = tuple[NDArray[np.float32], NDArray[np.float32]]
STEP, SMOOTH, JITTER, LENGTH, CLOSED = 0.005, 0.012, 0.02, 0.03, 0.012
"""A quick drawing, figure heights: steps along the edge, its smoothing, how far it is off (root mean square), over what
length it is off alike, and half the width of gaps that are closed."""
TWIN = 0.06
"""Poses whose joints lie no farther apart than this, on the mean and in metres, are near twins."""


class Pool:
    """Work shared out over so many processes, a chunk of it at a time."""

    def __init__(self, jobs: int) -> None:
        self.jobs = ProcessPoolExecutor(jobs) if jobs > 1 else None

    def __call__(self, what: Callable[[Any], Any], over: Sequence[Any]) -> list[Any]:
        return list(map(what, over) if self.jobs is None else self.jobs.map(what, over, chunksize=25))


def traced(png: NDArray[np.uint8]) -> Outline:
    line = outline_of(cv2.imdecode(png, cv2.IMREAD_GRAYSCALE) > 127)
    assert line is not None
    return line


@dataclass(frozen=True)
class Kept:
    """Kept-out poses."""

    outlines: list[Outline]
    pose: NDArray[np.intp]
    asked: NDArray[np.bool_]
    angle: NDArray[np.float32]
    joints: NDArray[np.float32]
    """(poses, points, 3) metres."""
    about: NDArray[np.float32]

    @staticmethod
    def read(files: list[Path], most: int | None, pool: Pool) -> Kept:
        outlines: list[Outline] = []
        columns: dict[str, list[NDArray[np.generic]]] = {k: [] for k in ("pose", "asked", "angle", "joints", "about")}
        first = 0
        for file in files:
            with np.load(file) as f:
                keep = f["pose"] < (most or len(f["joints"]))
                held = {k: f[k] for k in (*columns, "picture", "ends")}
            pictures = np.split(held["picture"], held["ends"][:-1])
            outlines += pool(traced, [pictures[k] for k in np.flatnonzero(keep)])
            columns["pose"].append(held["pose"][keep] + first)
            for name in ("asked", "angle", "about"):
                columns[name].append(held[name][keep])
            columns["joints"].append(held["joints"][: most or None])
            first += len(columns["joints"][-1])
        return Kept(outlines, *(np.concatenate(columns[k]) for k in ("pose", "asked", "angle", "joints", "about")))


def drawn(polygon: Polygon, rng: np.random.Generator) -> Polygon:
    """As if drawn quickly and filled: small gaps closed, bends rounded, the edge off by JITTER."""
    closed = polygon.buffer(CLOSED).buffer(-CLOSED)
    rings = []
    for ring in rings_of(_largest(closed)):
        line = shapely.LinearRing(ring)
        count = max(8, int(line.length / STEP))
        even = shapely.get_coordinates(line.interpolate(np.arange(count) / count, normalized=True))
        off = gaussian_filter1d(rng.normal(size=(count, 2)), LENGTH / STEP, axis=0, mode="wrap")
        off *= JITTER / np.sqrt((off**2).sum(1).mean())
        rings.append(gaussian_filter1d(even, SMOOTH / STEP, axis=0, mode="wrap") + off)
    whole = _largest(Polygon(rings[0]).buffer(0))
    for hole in rings[1:]:
        whole = _largest(whole.difference(Polygon(hole).buffer(0)))
    return whole


def _largest(shape: Polygon | MultiPolygon) -> Polygon:
    return max(getattr(shape, "geoms", [shape]), key=lambda part: part.area)


def twins(joints: NDArray[np.float32]) -> NDArray[np.bool_]:
    """(poses, poses) whether two poses are near twins, or one of the other's mirror image; every pose is its own."""
    across = joints - joints.mean(1, keepdims=True) * (1, 1, 0)
    mirrored = (across * (-1, 1, 1))[:, list(reader.TWIN)]
    return np.array([
        np.minimum(np.linalg.norm(across - one, axis=2).mean(1), np.linalg.norm(mirrored - one, axis=2).mean(1)) < TWIN
        for one in across])


def shares(found: list[list[Near]], kept: Kept, asked: NDArray[np.intp], archive: NDArray[np.intp],
           alike: NDArray[np.bool_]) -> dict[str, float]:
    """What share of the questions was answered rightly."""
    rows: dict[str, list[bool]] = {k: [] for k in ("first", "of five", "first or twin", "angle", "mirrored", "plain")}
    for near, query in zip(found, asked, strict=True):
        hits = [int(kept.pose[archive[n.row]]) for n in near]
        place = hits.index(int(kept.pose[query]))
        own = near[place]
        apart = kept.angle[archive[own.row]] + 180 * own.mirrored - kept.angle[query]
        rows["first"].append(place == 0)
        rows["of five"].append(place < 5)
        rows["first or twin"].append(bool(alike[kept.pose[query], hits[0]]))
        rows["angle"].append(abs((apart + 180) % 360 - 180) <= 20)
        rows["mirrored"].append(own.mirrored)
        plain = kept.angle[archive[own.row]] - kept.angle[query]
        rows["plain"].append(not own.mirrored and abs((plain + 180) % 360 - 180) <= 20)
    return {k: float(np.mean(v)) for k, v in rows.items()}


def store(file: Path, kept: Kept, by_hand: list[Outline]) -> None:
    """Write outlines small: corners in ten-thousandths of the height, the rings one after the other."""
    lines = [line.polygon.simplify(0.0012) for line in (*kept.outlines, *by_hand)]
    rings = [rings_of(line) for line in lines]
    asked = np.flatnonzero(kept.asked)
    every = np.concatenate([np.arange(len(kept.pose)), asked])
    kind = np.concatenate([kept.asked.astype(np.uint8), np.full(len(asked), 2, np.uint8)])
    steps = [np.diff(np.round(ring * 1e4), axis=0, prepend=0).astype(np.int16) for line in rings for ring in line]
    np.savez_compressed(file, steps=np.concatenate(steps), corners=np.array([len(s) for s in steps], np.int16),
                        rings=np.array([len(line) for line in rings], np.int16), kind=kind,
                        pose=kept.pose[every].astype(np.int16), angle=kept.angle[every].astype(np.float32))


def told(name: str, row: dict[str, float]) -> None:
    print(f"{name:34s}" + "".join(f"{k} {100 * v:5.1f}   " for k, v in row.items()), flush=True)


def blurred(line: Outline) -> Looks:
    """Nothing learned: the outline as a picture of 40 x 40, blurred, less its own mean."""
    made = []
    for look in frame(line.polygon).picture.mean(1):
        soft = cv2.GaussianBlur(look, (0, 0), 1.2)
        made.append((soft - soft.mean()).ravel() / np.linalg.norm(soft - soft.mean()))
    return np.array(made, np.float32)


def by_points(line: Outline) -> Looks:
    """The 23 points that the reader of limbs places, of each pair the one more to picture left first, as one direction
    in space."""
    bells = reader.point_bells(line)
    best = bells.share.argmax(1)[:, None]
    spot = np.column_stack([np.take_along_axis(c, best, 1)[:, 0] for c in (bells.x, bells.y)]) / line.height_px
    middle = np.mean(line.polygon.bounds[::2]) + line.origin_px[0] / line.height_px
    made = []
    for side in (1, -1):
        there = (spot - (middle, line.origin_px[1] / line.height_px + 0.5)) * (side, 1)
        for i, j in enumerate(reader.TWIN):
            if j > i and there[i, 0] > there[j, 0]:
                there[[i, j]] = there[[j, i]]
        made.append(there.ravel() / np.linalg.norm(there))
    return np.array(made, np.float32)


def by_network(line: Outline) -> Looks:
    return np.concatenate(embed.vectors([line.polygon]))


WAYS: dict[str, Callable[[Outline], Looks]] = {"network": by_network, "blurred": blurred, "points": by_points}


def vectors(way: str, outlines: list[Outline], pool: Pool) -> Vectors:
    made = np.array(pool(WAYS[way], outlines))
    return made[:, 0], made[:, 1]


def search(queries: Vectors, views: Vectors, pose: NDArray[np.intp]) -> list[list[Near]]:
    return [nearest((one, other), views, pose) for one, other in zip(*queries, strict=True)]


def main() -> None:
    parser = argparse.ArgumentParser(description=__doc__, formatter_class=argparse.RawDescriptionHelpFormatter)
    parser.add_argument("files", type=Path, nargs="+")
    parser.add_argument("--most", type=int, help="poses of a file")
    parser.add_argument("--jobs", type=int, default=1, help="processes")
    parser.add_argument("--plain", action="store_true", help="also without a network of its own")
    parser.add_argument("--store", type=Path, help="only write the outlines, also drawn by hand, to this .npz")
    parser.add_argument("--keep", type=Path, help="write the vectors to this .npz")
    args = parser.parse_args()
    pool = Pool(args.jobs)
    kept = Kept.read(args.files, args.most, pool)
    archive, asked = np.flatnonzero(~kept.asked), np.flatnonzero(kept.asked)
    rng = np.random.default_rng(7)
    by_hand = [replace(kept.outlines[k], polygon=drawn(kept.outlines[k].polygon, rng)) for k in asked]
    if args.store:
        return store(args.store, kept, by_hand)
    alike = twins(kept.joints)
    print(f"{len(kept.joints)} poses, {len(archive)} views, {len(asked)} questions; "
          f"{100 * np.mean(alike.sum(1) > 1):.0f} % of the poses have a near twin", flush=True)
    for name in WAYS if args.plain else ["network"]:
        views = vectors(name, [kept.outlines[k] for k in archive], pool)
        exact, hand = vectors(name, [kept.outlines[k] for k in asked], pool), vectors(name, by_hand, pool)
        for kind, queries in (("another body and camera", exact), ("drawn by hand", hand)):
            found = search(queries, views, kept.pose[archive])
            told(f"{name}, {kind}", shares(found, kept, asked, archive, alike))
        if args.keep and name == "network":
            np.savez(args.keep, archive=views, asked=exact, by_hand=hand, pose=kept.pose, was_asked=kept.asked,
                     angle=kept.angle, joints=kept.joints, about=kept.about)


if __name__ == "__main__":
    main()
