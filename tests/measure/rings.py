"""Prints what several rings tell in space: ``python tests/measure/rings.py FOLDER [--lens unknown] [--cut] [--hull]``.

FOLDER holds turns in three rings as :mod:`silhouette.studio.turns_in_rings` writes them. By exact masks, or with
``--cut`` through the cut-out (only of turns with pictures). ``--hull`` also carves, from the level ring and from all.
"""

from __future__ import annotations

import argparse
import json
from collections.abc import Sequence
from dataclasses import replace
from pathlib import Path
from typing import Any

import cv2
import numpy as np
from numpy.typing import NDArray

from silhouette import armature, in_space, turnaround
from silhouette.in_space import Seen
from silhouette.records import Cut, RingCamera, Stop
from silhouette.records_space import Skeleton
from silhouette.settings import RINGS, Ring, Settings
from silhouette.space import hull, rings, sections, stature
from silhouette.turnaround import Rings, Turnaround

Floats = NDArray[np.float64]
Truth = dict[str, Any]
FAR_M = 0.5
"""How far a camera must be from the waist's height for its ring to be asked for, metres."""


def by_masks(place: Path, truth: Truth, lens: bool) -> Rings:
    shots = []
    for ring in RINGS:
        known = truth["rings"][ring]
        stops, cuts = [], []
        for k, row in enumerate(known["stops"]):
            mask = cv2.imread(str(place / row["mask"]), cv2.IMREAD_GRAYSCALE) > 127
            stops.append(Stop(k, place / row["mask"], Path(row["mask"]).stem, float(row["named"]), "name",
                              focal_35mm=known["camera"]["focal_35mm"] if lens else None, ring=ring))
            cuts.append(Cut(mask, 1.0, "mask"))
        shots.append(Turnaround(place.name, place / ring, Settings(), tuple(stops), tuple(cuts), ring=ring))
    return Rings(place.name, place, Settings(), tuple(shots))


def true_waist(truth: Truth) -> float:
    """Metres, as :func:`silhouette.space.rings.waist_of` has it."""
    joints = truth["joints"]
    hips = (joints["hip_l"][2] + joints["hip_r"][2]) / 2
    return float(hips + rings.WAIST * (joints["neck"][2] - hips))


def joint_errors(truth: Truth, found: Skeleton) -> tuple[Floats, Floats]:
    """Metres that each joint of a skeleton in metres is off, and the ``within`` that was said."""
    off, within = [], []
    for one in found.joints:
        name = one.joint.replace(" ", "_") + ("" if one.side is None else f"_{one.side[0]}")
        if one.at is not None and one.within is not None:
            off.append(float(np.linalg.norm(np.array(one.at) - truth["joints"][name])))
            within.append(one.within)
    return np.array(off), np.array(within)


def volume(seen: Sequence[Any], found: Skeleton, stature_m: float, cell: float) -> tuple[float, Skeleton]:
    """Litres of the hull, and the skeleton in metres; as ``armature`` does it."""
    first, _ = stature.metres_per_unit(found, 1.0, stature_m)
    figure = hull.surface(hull.carve(seen, found.cameras, cell=cell / first))
    unit, _ = stature.metres_per_unit(found, float(figure.vertices[:, 2].max()), stature_m)
    return sections.volume_l(replace(figure, vertices=figure.vertices * unit)), stature.moved(found, 0.0, unit)


def seen_of(shot: Turnaround) -> Seen:
    places = in_space.clear_stops(shot)
    return Seen(shot.ring, places, [shot.stops[k] for k in places],
                [cut.mask for k in places if (cut := shot.cuts[k]) is not None])


def hulls(name: str, truth: Truth, shot: Rings, usable: set[Ring], cell: float) -> dict[str, Any]:
    """The hull of the level ring (if it cannot be used, of the first that can) and that of all."""
    seen = [seen_of(one) for one in sorted(shot.all, key=lambda one: one is not shot.main) if one.ring in usable]
    found, kept, _ = armature.in_one_frame(seen)
    one_l, one = volume(seen[0].masks, in_space.alone(seen[0].stops, seen[0].masks), truth["stature_m"], cell)
    all_l, every = volume([mask for s in kept for mask in s.masks], found, truth["stature_m"], cell)
    true = truth["figure_l"]
    (off_one, _), (off_all, within) = joint_errors(truth, one), joint_errors(truth, every)
    row = {"one": one_l / true - 1, "all": all_l / true - 1, "dressed": truth["dressed"],
           "joints_one": off_one, "joints_all": off_all, "held": off_all <= within}
    print(f"{name} {truth['pose']:22} {'dressed' if truth['dressed'] else 'bare':7}  volume {row['one']:+.3f} -> "
          f"{row['all']:+.3f} ({row['all'] / row['one']:.2f})  joints mean {1000 * off_one.mean():.0f} -> "
          f"{1000 * off_all.mean():.0f} mm  of {', '.join(s.ring for s in kept)}", flush=True)
    return row


def camera_row(name: str, truth: Truth, ring: Ring, camera: RingCamera, apart: float) -> dict[str, Any]:
    known, tall = truth["rings"][ring], truth["stature_m"]
    true, waist = known["camera"]["height_m"], true_waist(truth)
    over = true - waist
    start = known["start_deg"] - truth["rings"]["level"]["start_deg"]
    row = {
        "ring": ring, "far": abs(over) >= FAR_M, "found": camera.height is not None, "over": over,
        "right": in_space.seems(camera) == ("low" if over < -FAR_M else "high" if over > FAR_M else "level"),
    }
    if camera.height is not None and camera.height_sure is not None and camera.tilt is not None:
        off = camera.height * tall - true
        row |= {"off": off, "held": abs(off) <= camera.height_sure * tall, "sure": camera.height_sure * tall,
                "tilt": camera.tilt - known["camera"]["tilt_deg"], "turned": (camera.turned or 0.0) - start,
                "distance": (camera.distance or 0.0) * tall / known["camera"]["distance_m"] - 1, "apart": apart}
        print(f"{name} {ring:6} {true:.2f} m, waist {over:+.2f}: {off:+.3f} (+-{row['sure']:.3f})  tilt "
              f"{row['tilt']:+.1f}  distance {row['distance']:+.1%}  turned {row['turned']:+.1f}  apart {apart:.4f}  "
              f"seems {in_space.seems(camera)}", flush=True)
    else:
        print(f"{name} {ring:6} {true:.2f} m: {camera.found_from}", flush=True)
    return row


def told(rows: list[dict[str, Any]], solids: list[dict[str, Any]]) -> None:
    known = [r for r in rows if "off" in r]
    for ring in RINGS:
        off = np.abs([r["off"] for r in known if r["ring"] == ring])
        if len(off):
            print(f"{ring}: {len(off)} cameras, height off median {100 * np.median(off):.1f} cm, nine in ten within "
                  f"{100 * np.quantile(off, 0.9):.1f} cm, most {100 * off.max():.1f} cm")
    far = [r for r in rows if r["far"]]
    print(f"ring found right where the camera is {FAR_M} m or more from the waist's height: "
          f"{sum(r['right'] for r in far)} of {len(far)}; of the others "
          f"{sum(r['right'] for r in rows if not r['far'])} of {len(rows) - len(far)}")
    print(f"height_sure holds {np.mean([r['held'] for r in known]):.0%}; turned off median "
          f"{np.median(np.abs([r['turned'] for r in known if r['ring'] != 'level'])):.2f}, most "
          f"{np.max(np.abs([r['turned'] for r in known if r['ring'] != 'level'])):.2f} degrees; apart most "
          f"{max(r['apart'] for r in known):.4f}")
    for what, some in (("bare", [s for s in solids if not s["dressed"]]), ("all", solids)):
        if some:
            one, every = (np.array([abs(s[k]) for s in some]) for k in ("one", "all"))
            print(f"hull, {what}: {len(some)} turns, volume error median {np.median(one):.3f} -> "
                  f"{np.median(every):.3f} ({np.median(every) / np.median(one):.2f}), median of each ratio "
                  f"{np.median(every / one):.2f}; "
                  f"at most 0.9 in {np.mean(every <= 0.9 * one):.0%}")
    if solids:
        one, every = (np.concatenate([s[k] for s in solids]) for k in ("joints_one", "joints_all"))
        print(f"joints off median {1000 * np.median(one):.1f} -> {1000 * np.median(every):.1f} mm, nine in ten within "
              f"{1000 * np.quantile(one, 0.9):.0f} -> {1000 * np.quantile(every, 0.9):.0f} mm; within holds "
              f"{np.mean(np.concatenate([s['held'] for s in solids])):.0%}")


def main() -> None:
    parser = argparse.ArgumentParser()
    parser.add_argument("folder", type=Path)
    parser.add_argument("--lens", choices=("known", "unknown"), default="known")
    parser.add_argument("--cut", action="store_true")
    parser.add_argument("--hull", action="store_true")
    parser.add_argument("--cell", type=float, default=0.008, help="metres of the figure, for the hull")
    given = parser.parse_args()
    rows, solids = [], []
    for file in sorted(given.folder.glob("*/truth.json")):
        place, truth = file.parent, json.loads(file.read_text())
        if given.cut and "file" not in truth["rings"]["low"]["stops"][0]:
            continue
        shot = turnaround.ingest_rings(place) if given.cut else by_masks(place, truth, given.lens == "known")
        shared = in_space.shared(shot)
        cameras = in_space.cameras_of(shot, shared)
        apart = {one.ring: one.apart for one in shared.rings} if shared else {}
        rows += [camera_row(place.name, truth, one.ring, cameras[one.ring], apart.get(one.ring, np.nan))
                 for one in shot.all]
        if given.hull and shared is not None:
            solids.append(hulls(place.name, truth, shot, {one.ring for one in shared.rings}, given.cell))
    told(rows, solids)


if __name__ == "__main__":
    main()
