"""Prints how well the reader does against the truth: ``python tests/measure/reader.py FOLDER [--cut] [--every N]``.

FOLDER holds turnarounds (``POSE/truth.json``, ``POSE/masks/NNN.png`` and the stills), or ``views.csv`` with masks, or
is an ``.npz`` of kept-out views written by ``silhouette.studio.training``, or ``shapes.json`` of shapes that are no
bodies.
"""

from __future__ import annotations

import argparse
import csv
import itertools
import json
import time
from collections.abc import Iterator
from pathlib import Path

import cv2
import numpy as np
from numpy.typing import NDArray
from scipy.stats import spearmanr
from shapely import affinity

from silhouette.cutout import agreement
from silhouette.intake import stills
from silhouette.reading import reader, view
from silhouette.records import BodyReading, Outline
from silhouette.settings import WEAKEST_SHARE, Settings
from silhouette.shape.measure import measure_outline, normalised
from silhouette.shape.outline import outline_of

LIMBS = ("head", "arm_l", "arm_r", "leg_l", "leg_r")
ARM, LEG = ("hand", "elbow", "shoulder", "wrist"), ("foot", "knee", "hip", "ankle")
POINT_LIMB = [(1 if p.startswith(ARM) else 3 if p.startswith(LEG) else 0) + (reader.TWIN[k] < k)
              for k, p in enumerate(reader.POINTS)]
"""Place of every point's limb in LIMBS; crown and neck count as head."""
Row = tuple[str, NDArray[np.bool_], NDArray[np.float64], NDArray[np.float64] | None]
"""Group, mask, legibility (5,), joints (23, 2) in picture fractions if known."""


def turnarounds(folder: Path, cut: bool) -> Iterator[Row]:
    for truth in sorted(folder.glob("*/truth.json")):
        for row in json.loads(truth.read_text()):
            if cut:
                mask = agreement.cut(stills.read_still(truth.parent / row["file"], Settings().work_px).pixels).mask
            else:
                mask = cv2.imread(str(truth.parent / row["mask"]), cv2.IMREAD_GRAYSCALE) > 127
            yield truth.parent.name, mask, np.array([row["limb_legibility"][k] for k in LIMBS]), None


def listed(folder: Path) -> Iterator[Row]:
    name = folder / "views.csv"
    with (name if name.exists() else folder / "views.csv.tmp").open() as f:
        for row in csv.DictReader(f):
            mask = cv2.imread(str(folder / row["mask"]), cv2.IMREAD_GRAYSCALE)
            if mask is not None and row["leg_r"]:
                yield row["set"], mask > 127, np.array([float(row[k]) for k in LIMBS]), None


def packed(file: Path) -> Iterator[Row]:
    with np.load(file) as f:
        for bits, legibility, joints in zip(f["masks"], f["legibility"], f["joints"], strict=True):
            yield file.stem, np.unpackbits(bits, axis=1).astype(bool), legibility.astype(float), joints.astype(float)


def point_table(rows: list[Row], kept: list[int], lines: list[Outline | None]) -> None:
    """How far the likeliest place of every point lies from the true one, and how often its bells hold the truth."""
    off, within, limb = [], [], []
    for i in kept:
        line, true = lines[i], rows[i][3]
        assert line is not None and true is not None
        bells = reader.point_bells(line)
        at = true * np.array(line.picture_size)
        near = np.hypot(bells.x - bells.x[:, :1], bells.y - bells.y[:, :1]) < 0.08 * line.height_px
        share = np.where(near, bells.share, 0) / np.where(near, bells.share, 0).sum(1, keepdims=True)
        spot = np.stack([(share * bells.x).sum(1), (share * bells.y).sum(1)], 1)
        # the standard deviation of what is told round the place, in one direction
        aside = (bells.x - spot[:, :1]) ** 2 + (bells.y - spot[:, 1:]) ** 2
        wide = np.sqrt((bells.share * (aside / 2 + bells.width**2)).sum(1) / bells.share.sum(1))
        away = np.linalg.norm(spot - at, axis=1)
        for k, twin in enumerate(reader.TWIN):
            if k < twin:
                crossed = np.linalg.norm(spot[[k, twin]] - at[[twin, k]], axis=1)
                if crossed.sum() < away[[k, twin]].sum():
                    away[[k, twin]], wide[[k, twin]] = crossed[::-1], wide[[twin, k]]
        off.append(away / line.height_px)
        within.append(away < reader.NINE_TENTHS * wide)
        limb.append(rows[i][2][[*POINT_LIMB]])
    away, held, clear = np.array(off), np.array(within), np.array(limb) > 0.5
    print("points: median off, of limbs over 0.5, 90 %, held by 2.15 standard deviations")
    for name in dict.fromkeys(reader.POINTS):
        at = [k for k, point in enumerate(reader.POINTS) if point == name]
        print(f"  {name:9} {np.median(away[:, at]):.4f}  {np.median(away[:, at][clear[:, at]]):.4f}  "
              f"{np.quantile(away[:, at], 0.9):.3f}  {held[:, at].mean():.1%}")


def told(body: BodyReading) -> NDArray[np.float64]:
    limbs = body.limb_legibility
    return np.array([limbs.head, *limbs.arms, *limbs.legs])


def asked(legibility: NDArray[np.float64]) -> NDArray[np.float64]:
    return np.array([legibility[0], *sorted(legibility[1:3]), *sorted(legibility[3:5])])


def joint_errors(body: BodyReading, joints: NDArray[np.float64], line: Outline) -> NDArray[np.float64]:
    """(3, 9) distance of each true joint from its own answer, the spread (both figure heights) and `sure` said."""
    size = np.array(line.picture_size) / line.height_px
    said = np.array([(j.x, j.y) for j in body.joints])
    spread, sure = (np.array([getattr(j, what) for j in body.joints]) for what in ("spread", "sure"))
    joints = joints[: reader.NINE]
    off = np.linalg.norm((said - joints) * size, axis=1)
    for i in range(1, reader.NINE, 2):
        crossed = np.linalg.norm((said[[i + 1, i]] - joints[[i, i + 1]]) * size, axis=1)
        if crossed.sum() < off[i : i + 2].sum():
            off[i : i + 2], spread[i : i + 2], sure[i : i + 2] = crossed, spread[[i + 1, i]], sure[[i + 1, i]]
    return np.stack([off, spread, sure])


def rank(a: NDArray[np.float64], b: NDArray[np.float64]) -> float:
    return float(spearmanr(a, b).statistic)


def least(v: NDArray[np.float64], n: int) -> NDArray[np.float64]:
    return np.sort(v, axis=1)[:, :n].mean(1)


def no_bodies(file: Path) -> None:
    """How often the reader stands aside before shapes that are no bodies, by class."""
    aside: dict[str, list[bool]] = {}
    for shape in json.loads(file.read_text()):
        ring = np.array(shape["outline"], float)
        mask = np.zeros((1040, 1040), np.uint8)
        cv2.fillPoly(mask, [np.round(ring - ring.min(0) + 20).astype(np.int32)], 1)
        line = outline_of(mask > 0)
        if line is not None:
            aside.setdefault(shape["cls"], []).append(reader.read_body(line).unlike > reader.UNLIKE)
    for cls, seen in sorted(aside.items(), key=lambda c: np.mean(c[1])):
        print(f"{cls:24}{len(seen):4} shapes  stands aside {np.mean(seen):.0%}")
    every = [a for seen in aside.values() for a in seen]
    print(f"{'all':24}{len(every):4} shapes  stands aside {np.mean(every):.1%}")


def report(rows: list[Row]) -> None:
    lines = [outline_of(mask) for _, mask, _, _ in rows]
    kept = [i for i, line in enumerate(lines) if line is not None]
    bodies = [reader.read_body(lines[i]) for i in kept]                                    # type: ignore[arg-type]
    said, truth = np.array([told(b) for b in bodies]), np.array([asked(rows[i][2]) for i in kept])
    groups = np.array([rows[i][0] for i in kept])
    print(f"{'':16}views  mean   two    least  (Spearman)   off by (mean abs)")
    for name in ["all", *sorted(set(groups))]:
        g = np.ones(len(groups), bool) if name == "all" else groups == name
        print(f"{name:16}{g.sum():5}  {rank(said[g].mean(1), truth[g].mean(1)):.3f}  "
              f"{rank(least(said[g], 2), least(truth[g], 2)):.3f}  {rank(least(said[g], 1), least(truth[g], 1)):.3f}"
              f"               {np.abs(said[g] - truth[g]).mean():.3f}")
    print("calibration: said -> true mean (views):", end=" ")
    for low in np.arange(0, 0.9, 0.1):
        here = (said >= low) & (said < low + 0.1)
        if here.sum() >= 50:
            print(f"{said[here].mean():.2f}->{truth[here].mean():.2f} ({here.sum()})", end="  ")
    print(f"\nunlike: over {reader.UNLIKE:g} in {np.mean([b.unlike > reader.UNLIKE for b in bodies]):.1%} of views")
    if rows[0][3] is not None:
        _joints(rows, kept, lines, bodies)
        point_table(rows, kept, lines)
    _steady([lines[i] for i in kept[:: max(1, len(kept) // 150)]])                         # type: ignore[misc]


def _joints(rows: list[Row], kept: list[int], lines: list[Outline | None], bodies: list[BodyReading]) -> None:
    both = np.array([joint_errors(b, rows[i][3], lines[i]) for b, i in zip(bodies, kept, strict=True)])  # type: ignore
    off, spread, sure = both[:, 0], both[:, 1], both[:, 2]
    limb = np.array([rows[i][2][POINT_LIMB[: reader.NINE]] for i in kept])
    print(f"joints of limbs over 0.5: median off {np.median(off[limb > 0.5]):.4f} figure heights, "
          f"within 5 %: {np.mean(off[limb > 0.5] < 0.05):.1%}; all joints {np.median(off):.4f}, "
          f"{np.mean(off < 0.05):.1%}")
    for k in (0, 1, 3, 5, 7):
        j = slice(k, k + 1 if k == 0 else k + 2)
        held = np.mean(off[:, j] < spread[:, j])
        print(f"  {reader.POINTS[k]:6} median {np.median(off[:, j]):.4f}  spread holds {held:.1%}"
              f"  median spread {np.median(spread[:, j]):.3f}")
    print(f"  spread holds {np.mean(off < spread):.1%} of all; by spread:", end=" ")
    for low, high in itertools.pairwise((0, 0.01, 0.02, 0.03, 0.05, 0.1, 0.2, 9)):
        here = (spread >= low) & (spread < high)
        print(f"{low:g}+ {np.mean(off[here] < spread[here]):.0%} ({here.sum()})", end="  ")
    print("\n  sure -> within 5 %:", end=" ")
    for low, high in itertools.pairwise((0, 0.2, 0.4, 0.6, 0.8, 0.9, 0.95, 1.01)):
        here = (sure >= low) & (sure < high)
        print(f"{sure[here].mean():.2f}->{np.mean(off[here] < reader.PLACED):.2f} ({here.sum()})", end="  ")
    print()
    two = [(i, n) for i, body in enumerate(bodies) for n, joint in enumerate(body.joints) if joint.also is not None]
    hit = []
    for i, n in two:
        joint, line, at = bodies[i].joints[n], lines[kept[i]], rows[kept[i]][3]
        size = np.array(line.picture_size) / line.height_px                                # type: ignore[union-attr]
        alike = [m for m in range(reader.NINE) if reader.POINTS[m] == joint.joint]
        hit.append([min(np.linalg.norm((np.array(spot) - at[m]) * size) for m in alike) < 2 * reader.PLACED
                    for spot in ((joint.x, joint.y), joint.also)])
    print(f"  two places told for {len(two) / off.size:.1%} of joints; one of the kind within 10 % of the first in "
          f"{np.mean([h[0] for h in hit]):.0%}, of the second in {np.mean([h[1] for h in hit]):.0%}, "
          f"of either in {np.mean([any(h) for h in hit]):.0%}")
    _placed(off, limb, [lines[i] for i in kept], bodies)                                   # type: ignore[misc]


def _placed(off: NDArray[np.float64], limb: NDArray[np.float64], lines: list[Outline],
            bodies: list[BodyReading]) -> None:
    """The score against how well the joints could be placed, beside the score from the shape alone.

    "Limbs placed" is what the truth says could be told: the legibility of every limb, times the share of its joints
    that the reader put within 5 % of the figure height, the two least counted again as the score does.
    """
    near = off < reader.PLACED
    limbs = [near[:, 0] * limb[:, 0]]
    limbs += [near[:, [end, bend]].mean(1) * limb[:, end] for end, bend in ((1, 3), (2, 4), (5, 7), (6, 8))]
    goals = {"limbs placed": _weighed(np.stack(limbs, 1)), "joints within 5 %": near.mean(1),
             "mean log error": -np.log(off + 0.01).mean(1)}
    measures = [measure_outline(line.polygon) for line in lines]
    with_reader = [view.read_view(m, line, body=b) for m, line, b in zip(measures, lines, bodies, strict=True)]
    shape_alone = [view.read_view(m, line) for m, line in zip(measures, lines, strict=True)]
    print(f"{'against':24}" + "".join(f"{name:>20}" for name in goals))
    for name, readings in (("reader", with_reader), ("shape alone", shape_alone)):
        for part in ("readability", "clear"):
            score = np.array([getattr(r, part) for r in readings])
            print(f"{part + ', ' + name:24}" + "".join(f"{rank(score, goal):20.3f}" for goal in goals.values()))


def _weighed(limbs: NDArray[np.float64]) -> NDArray[np.float64]:
    return (1 - WEAKEST_SHARE) * limbs.mean(1) + WEAKEST_SHARE * least(limbs, 2)


def _steady(lines: list[Outline]) -> None:
    """How far readability and its parts move under changes that should not matter, points."""
    rng = np.random.default_rng(0)
    moves = {"mirror": lambda p: affinity.scale(p, -1, 1), "smaller": lambda p: affinity.scale(p, 0.6, 0.6),
             "shift": lambda p: affinity.translate(p, 0.37, 0.11), "2 degrees": lambda p: affinity.rotate(p, 2),
             "rough, 0.5 % at most": lambda p: _rough(p, rng, 0.005 / 3),
             "rough, 0.5 % on the mean": lambda p: _rough(p, rng, 0.005)}
    base = [_parts(line) for line in lines]
    for name, move in moves.items():
        moved = [_parts(Outline(normalised(move(line.polygon)), line.height_px, line.origin_px, line.picture_size))
                 for line in lines]
        off = np.abs(np.array(moved) - np.array(base))
        print(f"{name:24}", end="")
        for k, part in enumerate(("readability", "clear", "interesting", "mean legibility")):
            print(f"  {part} 95 % {np.quantile(off[:, k], 0.95):.1f} most {off[:, k].max():.1f}", end="")
        print()
    start = time.perf_counter()
    for line in lines:
        reader.read_body(line)
    print(f"{(time.perf_counter() - start) / len(lines) * 1e3:.1f} ms a view")


def _parts(line: Outline) -> list[float]:
    body = reader.read_body(line)
    reading = view.read_view(measure_outline(line.polygon), line, body=body)
    return [reading.readability, reading.clear, reading.interesting, 100 * float(told(body).mean())]


def _rough(polygon, rng, amount):  # type: ignore[no-untyped-def]
    """The polygon with its edge moved by noise of a standard deviation ``amount``, correlated over about 1 %."""
    from shapely.geometry import Polygon

    def ring(r):  # type: ignore[no-untyped-def]
        points = np.array([r.interpolate(d).coords[0] for d in np.arange(0, r.length, 0.004)])
        noise = cv2.GaussianBlur(rng.normal(0, 1, (len(points), 2)), (1, 7), 0)
        return points + noise / max(noise.std(), 1e-9) * amount / np.sqrt(2)

    made = Polygon(ring(polygon.exterior), [ring(i) for i in polygon.interiors if i.length > 0.03]).buffer(0)
    return max(made.geoms, key=lambda g: g.area) if made.geom_type == "MultiPolygon" else made


def main() -> None:
    parser = argparse.ArgumentParser(description=__doc__, formatter_class=argparse.RawDescriptionHelpFormatter)
    parser.add_argument("folder", type=Path)
    parser.add_argument("--cut", action="store_true", help="cut the stills out instead of taking the exact masks")
    parser.add_argument("--every", type=int, default=1, help="only every n-th view")
    args = parser.parse_args()
    cv2.setNumThreads(1)
    if args.folder.suffix == ".json":
        no_bodies(args.folder)
        return
    if args.folder.suffix == ".npz":
        rows = packed(args.folder)
    elif list(args.folder.glob("views.csv*")):
        rows = listed(args.folder)
    else:
        rows = turnarounds(args.folder, args.cut)
    report(list(rows)[:: args.every])


if __name__ == "__main__":
    main()
