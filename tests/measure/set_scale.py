"""Prints how far the rings of a set lie off one scale: ``python tests/measure/set_scale.py FOLDER [--lens unknown]``.

FOLDER holds turns in three rings as :mod:`silhouette.studio.turns_in_rings` writes them; every other stop is taken, by
its exact mask. The true scale is that of the turning axis half way up the pose, from the true cameras.
"""

from __future__ import annotations

import argparse
import json
from dataclasses import replace
from pathlib import Path
from typing import Any

import numpy as np
from rings import by_masks

from silhouette import in_space, shoot
from silhouette.export import reference_set
from silhouette.settings import RINGS
from silhouette.turnaround import Rings


def every_other(shot: Rings) -> Rings:
    """Half of the stops, each as large as its mask."""
    rings = []
    for one in shot.all:
        cuts = one.cuts[::2]
        stops = (replace(stop, full_size=cut.mask.shape[::-1])
                 for stop, cut in zip(one.stops[::2], cuts, strict=True) if cut is not None)
        rings.append(replace(one, stops=tuple(stops), cuts=cuts))
    return replace(shot, all=tuple(rings))


def true_sizes(truth: dict[str, Any]) -> dict[str, float]:
    """The true scale of each ring, up to one factor for all."""
    sizes = {}
    for ring in RINGS:
        camera = truth["rings"][ring]["camera"]
        tilt, over = np.radians(camera["tilt_deg"]), truth["pose_height_m"] / 2 - camera["height_m"]
        sizes[ring] = camera["focal_35mm"] / (camera["distance_m"] * np.cos(tilt) + over * np.sin(tilt))
    return sizes


def errors(shot: Rings, truth: dict[str, Any]) -> dict[str, list[float]]:
    """What low and high ring are too large by, beside the level one: by the cameras found, and each on its own."""
    views = [shoot.set_view(stop, cut) for one in shot.all
             for stop, cut in zip(one.stops, one.cuts, strict=True) if cut is not None]
    true, found = true_sizes(truth), in_space.in_space(shot).cameras
    sizes = shoot._sizes(shot, found, truth["pose_height_m"] / truth["stature_m"])
    off = {}
    for way, known in (("by the cameras found", sizes), ("each on its own", {})):
        layout = reference_set.lay_out(shot.name, views, sizes=known)
        px = {figure.ring: figure.to_px[0] for figure in layout.figures}
        off[way] = [px[r] / px["level"] / (true[r] / true["level"]) - 1 for r in ("low", "high")]
    return off


def main() -> None:
    parser = argparse.ArgumentParser()
    parser.add_argument("folder", type=Path)
    parser.add_argument("--lens", choices=("known", "unknown"), default="known")
    given = parser.parse_args()
    rows: dict[str, list[float]] = {}
    for file in sorted(given.folder.glob("*/truth.json")):
        truth = json.loads(file.read_text())
        for way, off in errors(every_other(by_masks(file.parent, truth, given.lens == "known")), truth).items():
            rows.setdefault(way, []).extend(off)
            print(file.parent.name, way, *(f"{x:+.1%}" for x in off), flush=True)
    for way, off in rows.items():
        print(f"{way}: {len(off)} rings, off mean {np.mean(np.abs(off)):.1%}, most {np.max(np.abs(off)):.1%}")


if __name__ == "__main__":
    main()
