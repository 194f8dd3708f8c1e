"""How the visual hull keeps to the body that cast the outlines, and what it costs.

    python tests/measure/massing.py TURNS [cut]

TURNS holds turns as ``silhouette.studio.turns_in_space`` writes them. The hull is carved from the exact masks with the
true camera; with ``cut`` from the pictures, through the whole of ``armature_of``: cut-outs, camera and size as found,
angles as named, the stature given.

A body's volume is that of the union of its limbs: along upright lines, 4 mm apart, the surface is crossed up and down,
and what lies inside at least one skin counts, once. The truth is always the bare skin; the hull of a dressed figure,
marked so, holds the clothes and what is between.
"""

from __future__ import annotations

import json
import resource
import sys
import time
from dataclasses import dataclass
from pathlib import Path
from typing import Any

import cv2
import numpy as np
from numpy.typing import NDArray

from silhouette.records_space import Sizes, Solid, StopCamera
from silhouette.space import hull, massing, sections

Floats = NDArray[np.float64]
LINES_M = 0.004
CELLS = 350
"""Along the longest extent, as ``armature_of`` takes them: 5 mm of a standing figure."""


@dataclass(frozen=True)
class Truth:
    volume: float
    """m3"""
    heights: Floats
    areas: Floats
    """m2 at each height."""


def truth_of(vertices: Floats, faces: NDArray[np.int64]) -> Truth:
    """Volume and level cuts of closed, outward skins that may run through each other."""
    vertices = np.asarray(vertices, float)
    low, high = vertices.min(0), vertices.max(0)
    xs, ys = (np.arange(low[k] + LINES_M * 0.41, high[k], LINES_M) for k in (0, 1))
    zs = np.arange(low[2] + LINES_M / 2, high[2], LINES_M)
    crossed = np.zeros((len(xs), len(ys), len(zs) + 1), np.int16)
    for a, b, c in vertices[faces]:
        i0, i1 = np.searchsorted(xs, [min(a[0], b[0], c[0]), max(a[0], b[0], c[0])])
        j0, j1 = np.searchsorted(ys, [min(a[1], b[1], c[1]), max(a[1], b[1], c[1])])
        twice = (b[0] - a[0]) * (c[1] - a[1]) - (b[1] - a[1]) * (c[0] - a[0])
        if i0 == i1 or j0 == j1 or twice == 0:
            continue
        x, y = np.meshgrid(xs[i0:i1] - a[0], ys[j0:j1] - a[1], indexing="ij")
        s = (x * (c[1] - a[1]) - y * (c[0] - a[0])) / twice
        t = ((b[0] - a[0]) * y - (b[1] - a[1]) * x) / twice
        i, j = np.nonzero((s >= 0) & (t >= 0) & (s + t <= 1))
        z = a[2] + s[i, j] * (b[2] - a[2]) + t[i, j] * (c[2] - a[2])
        np.add.at(crossed, (i + i0, j + j0, np.searchsorted(zs, z)), -1 if twice > 0 else 1)
    inside = np.cumsum(crossed, axis=2)[:, :, :-1] > 0
    return Truth(float(inside.sum()) * LINES_M**3, zs, inside.sum((0, 1)) * LINES_M**2)


def cameras_of(told: dict[str, Any]) -> list[StopCamera]:
    c = told["camera"]
    size = (int(c["width"]), int(c["height"]))
    focal = c["focal_35mm"] / 36.0 * max(size)
    return [StopCamera(s["angle"], c["distance_m"], c["height_m"], c["tilt_deg"], focal, 0.0, size)
            for s in told["stops"]]


def off(solid: Solid, truth: Truth) -> float:
    """Median of how far the areas of level cuts are off, a share."""
    some = truth.areas > 0.02 * truth.areas.max()
    found = np.array([s.area_m2 for s in sections.cut(solid, truth.heights[some].tolist())])
    return float(np.median(np.abs(found / truth.areas[some] - 1)))


def exact(folder: Path) -> None:
    told = json.loads((folder / "truth.json").read_text())
    masks = [cv2.imread(str(folder / s["mask"]), cv2.IMREAD_GRAYSCALE) > 0 for s in told["stops"]]
    cameras = cameras_of(told)
    body = np.load(folder / "body.npz")
    truth = truth_of(body["vertices"], body["faces"])
    cell = float(np.ptp(body["vertices"], axis=0).max()) / CELLS
    begun = time.process_time()
    ground = hull.ground_shift(masks, cameras)
    carved = hull.carve(masks, cameras, cell=cell)
    solid = hull.surface(carved)
    agreed = hull.agreement(solid, masks, cameras)
    model, _ = massing.massing(carved, Sizes(1.7, 1.7, "given", 4.0), 2.0)
    took = time.process_time() - begun
    print(f"{folder.name:14s} {told['pose']:24s}{'dressed' if told['dressed'] else 'bare':8s}"
          f"{sections.volume(solid) / truth.volume:7.3f} {off(solid, truth):8.3f} {min(agreed):7.3f}"
          f" {1000 * ground:8.1f} {len(model.faces) / 1000:7.0f} {took:6.1f} {memory():6.2f}", flush=True)


def cut(folder: Path) -> None:
    from silhouette.armature import armature_of

    told = json.loads((folder / "truth.json").read_text())
    body = np.load(folder / "body.npz")
    truth = truth_of(body["vertices"], body["faces"])
    made = armature_of(folder, height_m=told["stature_m"], pose_height_m=told["pose_height_m"])
    print(f"{folder.name:14s} {told['pose']:24s}{'dressed' if told['dressed'] else 'bare':8s}"
          f"{made.volume_l / 1000 / truth.volume:7.3f} {off(made.figure, truth):8.3f} {min(made.agreement):7.3f}"
          f" {len(made.agreement):4d}", flush=True)


def memory() -> float:
    """Most that this process has held, GB."""
    return resource.getrusage(resource.RUSAGE_SELF).ru_maxrss / 1e6


def main(turns: Path, way: str = "exact") -> None:
    titles = {"exact": "volume  section overlap  ground  1000 tri-  proc.   GB\n"
                       f"{'':46s} of truth  off     least  off, mm   angles  s",
              "cut": "volume  section overlap stops\n" + f"{'':46s} of truth  off     least"}
    print(f"{'turn':14s} {'pose':24s}{'':8s}{titles[way]}")
    for told in sorted(turns.glob("*/truth.json")):
        (exact if way == "exact" else cut)(told.parent)


if __name__ == "__main__":
    main(Path(sys.argv[1]), *sys.argv[2:3])
