"""Prints how far the joints in space, bones and sizes are off: ``python tests/measure/armature.py FOLDER [options]``.

FOLDER holds turns written by ``silhouette.studio.turns_in_space``. By default their exact masks are taken at the angles
named; ``--cut`` cuts the pictures out as every command does; ``--found`` takes no angle from a name but finds them from
the outlines. The height that is given is the model's stature, so errors of scale are in the joints' errors; those with
the scale put right are printed beside them.
"""

from __future__ import annotations

import argparse
import json
import shutil
import tempfile
import time
from collections import defaultdict
from collections.abc import Sequence
from pathlib import Path
from typing import Any

import cv2
import numpy as np
from numpy.typing import NDArray

from silhouette import turnaround
from silhouette.reading import reader
from silhouette.records import Mask
from silhouette.records_space import Skeleton
from silhouette.shape.outline import outline_of
from silhouette.space import hull, joints, orbit_fit, skeleton, stature
from silhouette.turn.estimate import estimate_angles

Floats = NDArray[np.float64]
Truth = dict[str, Any]


def true_joint(truth: Truth, joint: str, side: str | None) -> Floats:
    name = joint.replace(" ", "_") + ("" if side is None else f"_{side[0]}")
    return np.array(truth["joints"][name])


def joint_called(truth: Truth, name: str) -> Floats:
    """Of "shoulder left", "crown" and the like."""
    words = name.split()
    side = words.pop() if words[-1] in ("left", "right") else None
    return true_joint(truth, " ".join(words), side)


def views_of(place: Path, truth: Truth, cut: bool, found: bool) -> tuple[list[Mask], list[float], list[float | None]]:
    """Masks, angles and how sure they are."""
    rows = truth["stops"]
    if not cut:
        pictures = [cv2.imread(str(place / row["mask"]), cv2.IMREAD_GRAYSCALE) for row in rows]
        masks = [np.asarray(p) > 127 for p in pictures]
        if not found:
            return masks, [row["named"] for row in rows], [None] * len(rows)
        turned = estimate_angles(masks)
        return masks, turned.angles.tolist(), turned.sure.tolist()
    with tempfile.TemporaryDirectory() as folder:
        for k, row in enumerate(rows):
            name = f"IMG_{k + 1:04d}.jpg" if found else f"{round(row['named']):03d}.jpg"
            shutil.copy(place / row["file"], Path(folder) / name)
        shot = turnaround.ingest(folder)
    kept = [(s, c) for s, c in zip(shot.stops, shot.cuts, strict=True) if c is not None and c.mask.any()]
    return [c.mask for _, c in kept], [s.angle for s, _ in kept], [s.angle_sure for s, _ in kept]


def in_metres(masks: Sequence[Mask], angles: Sequence[float], sure: Sequence[float | None], truth: Truth
              ) -> tuple[Skeleton, str]:
    """The joints in metres, by the model's stature, and what said so."""
    cameras = orbit_fit.first_cameras(masks, angles, round(truth["camera"]["focal_35mm"]))
    lines = [outline_of(mask) for mask in masks]
    bells = [None if line is None else reader.point_bells(line) for line in lines]
    solved = joints.solve(bells, cameras, sure)
    solved = stature.moved(solved, -hull.ground_shift(masks, solved.cameras), 1.0)
    unit, how = stature.metres_per_unit(solved, float("nan"), truth["stature_m"])  # its top is not asked for
    return stature.moved(solved, 0.0, unit), how


def best_scale(found: Floats, truth: Floats) -> float:
    """By which the found joints fit the true ones best, both about the ground at the axis."""
    return float((found * truth).sum() / (found * found).sum())


def bones(of: Skeleton, truth: Truth) -> list[float]:
    """Found over true length of every segment that is known."""
    out = []
    for segment in skeleton.segments(of):
        if segment.length_m is not None and segment.start != "hips":
            ends = [joint_called(truth, end) for end in (segment.start, segment.end)]
            out.append(segment.length_m / float(np.linalg.norm(ends[0] - ends[1])))
    return out


def measured(place: Path, cut: bool, by_outline: bool) -> dict[str, Any]:
    truth = json.loads((place / "truth.json").read_text())
    masks, angles, angle_sure = views_of(place, truth, cut, by_outline)
    start = time.perf_counter()
    found, how = in_metres(masks, angles, angle_sure, truth)
    there = [j for j in found.joints if j.at is not None]
    said = np.array([j.at for j in there])
    is_ = np.array([true_joint(truth, j.joint, j.side) for j in there])
    scale = best_scale(said, is_)
    return {
        "name": place.name, "pose": truth["pose"], "kind": truth["kind"] or "kept names", "how": how,
        "joints": [j.joint for j in there], "missing": [j.joint for j in found.joints if j.at is None],
        "off": np.linalg.norm(said - is_, axis=1), "at_scale": np.linalg.norm(scale * said - is_, axis=1),
        "sure": np.array([j.sure for j in there]), "within": np.array([j.within for j in there], float),
        "bones": bones(found, truth), "scale": 1 / scale, "seconds": time.perf_counter() - start,
        "notes": [n.kind for n in found.notes],
    }


def line_of(name: str, rows: Sequence[dict[str, Any]]) -> str:
    off, sure, within, at_scale = (np.concatenate([r[k] for r in rows]) for k in ("off", "sure", "within", "at_scale"))
    lengths = np.abs(np.concatenate([r["bones"] for r in rows]) - 1)
    scales = np.abs(np.array([r["scale"] for r in rows]) - 1)
    return (
        f"{name:18}{len(rows):5}{np.median(off[sure]) * 100:8.2f}{np.quantile(off[sure], 0.95) * 100:7.2f}"
        f"{np.median(at_scale[sure]) * 100:9.2f}{np.quantile(at_scale[sure], 0.95) * 100:7.2f}"
        f"{sure.mean():8.0%}{np.mean(off < within):8.1%}{np.mean(off[sure] < within[sure]):7.1%}"
        f"{np.median(lengths):9.1%}{np.median(scales):8.2%}{np.quantile(scales, 0.9):7.2%}"
    )


def report(rows: Sequence[dict[str, Any]]) -> None:
    print(f"{'':18}turns   sure joints, cm   at true scale   sure   within holds     bones   scale off\n"
          f"{'':18}       median   95 %   median   95 %            all   sure    median  median   90 %")
    print(line_of("all", rows))
    kinds: dict[str, list[dict[str, Any]]] = defaultdict(list)
    for row in rows:
        kinds[row["kind"]].append(row)
        kinds[f"scale by {row['how']}"].append(row)
    for kind, some in sorted(kinds.items()):
        print(line_of(kind, some))
    by_joint: dict[str, list[tuple[float, float, bool]]] = defaultdict(list)
    for row in rows:
        for joint, *numbers in zip(row["joints"], row["off"], row["at_scale"], row["within"], row["sure"], strict=True):
            by_joint[joint].append(tuple(numbers))
    for joint, found in by_joint.items():
        off, at_scale, within, _ = np.array(found, float).T
        print(f"{joint:18}{len(off):5}{np.median(off) * 100:8.2f}{np.quantile(off, 0.95) * 100:7.2f}"
              f"{np.median(at_scale) * 100:9.2f}{np.quantile(at_scale, 0.95) * 100:7.2f}"
              f"{np.mean([f[3] for f in found]):8.0%}{np.mean(off < within):8.1%}")
    print(f"missing: {sum(len(r['missing']) for r in rows)}; front elsewhere: "
          f"{sum('front elsewhere' in r['notes'] for r in rows)}; "
          f"seconds a turn: {np.median([r['seconds'] for r in rows]):.1f}")
    for row in rows:
        if row["off"].max() > 0.08:
            worst = [f"{j} {o * 100:.0f}{'' if s else ' (not sure)'}"
                     for j, o, s in zip(row["joints"], row["off"], row["sure"], strict=True) if o > 0.08]
            print(f"  {row['name']} {row['pose']}: {', '.join(worst)}")


def main() -> None:
    parser = argparse.ArgumentParser(description=__doc__, formatter_class=argparse.RawDescriptionHelpFormatter)
    parser.add_argument("folder", type=Path, nargs="+")
    parser.add_argument("--cut", action="store_true", help="cut the pictures out instead of taking the exact masks")
    parser.add_argument("--found", action="store_true", help="find the angles from the outlines")
    parser.add_argument("--most", type=int, default=1000, help="so many turns of a folder")
    args = parser.parse_args()
    cv2.setNumThreads(1)
    places = [p.parent for folder in args.folder for p in sorted(folder.glob("*/truth.json"))[: args.most]]
    report([measured(place, args.cut, args.found) for place in places])


if __name__ == "__main__":
    main()
