"""How well the shape measures follow the truth, and what they cost.

    python tests/measure/shape.py FIGURES [PARTS.json] [VIEWS]

FIGURES holds POSE/truth.json with a mask and the limb legibility of every view; PARTS.json outlines with the median
number of parts that people marked; VIEWS an ``.npz`` of kept-out views that ``silhouette.studio.training views`` wrote.
"""

from __future__ import annotations

import json
import sys
import time
from pathlib import Path

import cv2
import numpy as np
from numpy.typing import NDArray
from scipy.stats import kendalltau, spearmanr
from shapely.geometry import Polygon

from silhouette.reading.view import read_view
from silhouette.shape.contour import contour_complexity, ring_points, solidity, turns
from silhouette.shape.measure import measure_outline
from silhouette.shape.outline import largest_polygon, outline_of

LIMBS = ("head", "arm_l", "arm_r", "leg_l", "leg_r")
Row = tuple[str, NDArray[np.bool_], list[float]]
"""Pose, mask, legibility of LIMBS."""


def figure_rows(folder: Path) -> list[Row]:
    rows = []
    for truth in sorted(folder.glob("*/truth.json")):
        for row in json.loads(truth.read_text()):
            mask = np.asarray(cv2.imread(str(truth.parent / row["mask"]), cv2.IMREAD_GRAYSCALE)) > 127
            rows.append((truth.parent.name, mask, [row["limb_legibility"][k] for k in LIMBS]))
    return rows


def view_rows(file: Path) -> list[Row]:
    with np.load(file) as f:
        return [(str(pose), np.unpackbits(bits, axis=1).astype(bool), truth.astype(float).tolist())
                for pose, bits, truth in zip(f["pose"], f["masks"], f["legibility"], strict=True)]


def limb_table(title: str, rows: list[Row]) -> None:
    """Spearman's rank correlations of what is measured with the limbs' true legibility."""
    found = [outline_of(mask) for _, mask, _ in rows]
    measures = [measure_outline(o.polygon) for o in found if o is not None]
    pose = np.array([name for name, _, _ in rows])
    limb = np.sort([values for _, _, values in rows], axis=1)
    mean, least, showing = limb.mean(axis=1), limb[:, :2].mean(axis=1), (limb > 0.55).sum(axis=1)
    columns = {
        "outline / root of area": [o.polygon.length / np.sqrt(o.polygon.area) for o in found if o is not None],
        "limb separation": [m.limb_separation for m in measures],
        "parts": [len(m.parts) for m in measures],
    }
    print(f"\n{title}: {len(rows)} views of {len(set(pose))} poses; Spearman with limb legibility")
    print(f"{'':26s}{'mean of 5':>10s}{'two least':>10s}{'over 0.55':>10s}{'mean, within a pose':>22s}")
    for name, values in columns.items():
        v = np.array(values, float)
        within = [spearmanr(v[pose == p], mean[pose == p])[0] for p in np.unique(pose) if np.ptp(v[pose == p]) > 0]
        across = [spearmanr(v, other)[0] for other in (mean, least, showing)]
        print(f"{name:26s}" + "".join(f"{a:10.3f}" for a in across) + f"{np.median(within):22.3f}")


def parts_table(path: Path) -> None:
    """Kendall's tau with the number of parts that people mark; the smoothings were chosen on the first half alone."""
    rows = json.loads(path.read_text())
    shapes = [largest_polygon(Polygon(r["outline"]).buffer(0)) or Polygon() for r in rows]
    people = np.array([r["parts_median"] for r in rows])
    first = np.arange(len(rows)) % 2 == 0
    print(f"\n{f'{len(rows)} outlines; tau with the parts that people mark':53s}"
          f"{'all':>10s}{'1st half':>10s}{'2nd half':>10s}")
    for name, measure in (("solidity", solidity), ("contour complexity", contour_complexity),
                          ("total absolute curvature", lambda s: np.abs(turns(ring_points(s.exterior))).sum())):
        v = np.array([measure(s) for s in shapes])
        print(f"{name:53s}" + "".join(f"{kendalltau(v[m], people[m])[0]:10.3f}" for m in (first | True, first, ~first)))


def speed_table(rows: list[Row]) -> None:
    """Milliseconds a view on one core, and as a share of decoding a 12-megapixel JPEG in the same run."""
    cv2.setNumThreads(1)
    grain = np.random.default_rng(0).integers(0, 40, (3024, 4032, 3), np.uint8)
    jpeg = cv2.imencode(".jpg", cv2.GaussianBlur(grain, (0, 0), 2), [cv2.IMWRITE_JPEG_QUALITY, 92])[1]
    times: dict[str, list[float]] = {}

    def timed(name: str, call, *given):  # type: ignore[no-untyped-def]
        start = time.perf_counter()
        result = call(*given)
        times.setdefault(name, []).append(1e3 * (time.perf_counter() - start))
        return result

    for _, exact, _ in rows[:: max(1, len(rows) // 40)]:
        mask = cv2.resize(exact.astype(np.uint8) * 255, (756, 1008)) > 127
        timed("decode of 12 megapixels", cv2.imdecode, jpeg, cv2.IMREAD_COLOR)
        found = timed("outline", outline_of, mask)
        measures = timed("measures", measure_outline, found.polygon)
        timed("verdict", read_view, measures, found)
    whole = np.median(times["decode of 12 megapixels"])
    print(f"\n{'median a view, 756 x 1008':30s}{'ms':>8s}{'x decode':>10s}")
    for name, values in times.items():
        print(f"{name:30s}{np.median(values):8.2f}{np.median(values) / whole:10.3f}")


def main() -> None:
    if len(sys.argv) < 2:
        sys.exit(__doc__)
    rows = figure_rows(Path(sys.argv[1]))
    limb_table("figures", rows)
    for given in map(Path, sys.argv[2:]):
        if given.suffix == ".npz":
            limb_table("poses kept out of the fitting", view_rows(given))
        else:
            parts_table(given)
    speed_table(rows)


if __name__ == "__main__":
    main()
