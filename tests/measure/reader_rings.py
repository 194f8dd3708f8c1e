"""How well the reader does on each ring, and where it is unsure: ``python tests/measure/reader_rings.py STOCK N``.

STOCK holds builds that the reader never saw (``python -m silhouette.studio.training stock KEPT --count 60 --seed 12``).
N poses a ring, half of them near the named ones that were kept from training ("named"), half drawn inside joint limits
("random"), each from all round, every third view read. A fourth ring stands higher than any camera that the reader was
taught, to see where it begins to fail: the last tables go by height, distance and how steeply the camera looks.
"""

from __future__ import annotations

import argparse
import itertools
from collections.abc import Iterable
from dataclasses import replace
from pathlib import Path

import cv2
import numpy as np
from measure.reader import asked, least, rank, told
from numpy.typing import NDArray

from silhouette.reading import reader, view
from silhouette.settings import WEAKEST_SHARE
from silhouette.shape.measure import measure_outline
from silhouette.shape.outline import outline_of
from silhouette.studio import training_views
from silhouette.studio.training_views import TURN

RINGS = {"low": (0.2, 0.6), "level": (0.8, 1.3), "high": (1.7, 2.6), "beyond": (2.6, 6.0)}
"""Heights of the cameras, metres; beyond: higher than any that the reader was taught."""
AWAY = (2.6, 6.0)
MIDDLE_M = 0.85
"""Half a grown body's height: how steeply a camera looks is taken to there."""
TOGETHER, EVERY = 4, 3
Floats = NDArray[np.float64]


def read(stock: training_views.Stock, poses: int, seed: int, heights: tuple[float, float]) -> Floats:
    """(n, 15) a row a view: told (5) and true (5) legibility, clear, unlike, distance, height, pose."""
    rows = []
    for number, name in enumerate(("named", "random")):
        kind = replace(training_views.KINDS[name], stands=(AWAY, heights))
        for start in range(0, poses // 2, TOGETHER):
            some, drawn = min(TOGETHER, poses // 2 - start), seed + start + 10**4 * number
            made = training_views.make_views(stock, some, drawn, kind)
            for k in range(start % EVERY, len(made), EVERY):
                mask = np.unpackbits(made.masks[k].numpy(), axis=1).astype(bool)
                line = outline_of(mask)
                if line is None:
                    continue
                body = reader.read_body(line)
                clear = view.read_view(measure_outline(line.polygon), line, body=body).clear
                camera = made.about[k, 6:8].tolist()
                pose = 10**5 * number + start + k // TURN
                rows.append([*told(body), *asked(made.legibility[k].numpy()), clear, body.unlike, *camera, pose])
    return np.array(rows)


def weighed(limbs: Floats) -> Floats:
    return (1 - WEAKEST_SHARE) * limbs.mean(1) + WEAKEST_SHARE * least(limbs, 2)


def steep(rows: Floats) -> Floats:
    """(n,) degrees by which the camera looks down on the figure's middle."""
    return np.degrees(np.arctan2(rows[:, 13] - MIDDLE_M, rows[:, 12]))


def line_of(name: str, rows: Floats) -> str:
    said, true, unlike = rows[:, :5], rows[:, 5:10], rows[:, 11]
    return (f"{name:18}{len(rows):6}{rank(said.mean(1), true.mean(1)):8.3f}{rank(least(said, 2), least(true, 2)):8.3f}"
            f"{rank(least(said, 1), least(true, 1)):8.3f}{rank(rows[:, 10], weighed(true)):8.3f}"
            f"{np.abs(said - true).mean():9.3f}{np.quantile(np.abs(said - true).mean(1), 0.95):8.3f}"
            f"{(said - true).mean():+8.3f}{np.mean(unlike > 0.3):8.1%}{np.mean(unlike > reader.UNLIKE):8.1%}")


HEAD = (f"{'':18}{'views':>6}{'mean':>8}{'two':>8}{'least':>8}{'clear':>8}{'off by':>9}{'95 %':>8}{'bias':>8}"
        f"{'un>0.3':>8}{'aside':>8}")


def bins(what: str, values: Floats, edges: Iterable[float], rows: Floats) -> None:
    for low, high in itertools.pairwise(edges):
        here = (values >= low) & (values < high)
        if here.sum() >= 60:
            print(line_of(f"{what} {low:g} to {high:g}", rows[here]), flush=True)


def main() -> None:
    parser = argparse.ArgumentParser(description=__doc__, formatter_class=argparse.RawDescriptionHelpFormatter)
    parser.add_argument("stock", type=Path)
    parser.add_argument("poses", type=int)
    parser.add_argument("--seed", type=int, default=41)
    parser.add_argument("--only", choices=RINGS)
    parser.add_argument("--keep", type=Path, help="folder in which rows are kept, and taken from if they are there")
    args = parser.parse_args()
    cv2.setNumThreads(1)
    stock, every = training_views.load_stock(args.stock, "cpu"), []
    print(HEAD)
    for number, (ring, heights) in enumerate(RINGS.items()):
        if args.only not in (None, ring):
            continue
        place = None if args.keep is None else args.keep / f"{ring}.npy"
        if place is not None and place.exists():
            rows = np.load(place)
        else:
            rows = read(stock, args.poses, args.seed + 10**6 * number, heights)
            if place is not None:
                np.save(place, rows)
        named = rows[:, 14] < 10**5
        for name, some in ((ring, rows), ("  named", rows[named]), ("  random", rows[~named])):
            print(line_of(name, some), flush=True)
        every.append(rows)
    rows = np.concatenate(every)
    bins("m high", rows[:, 13], (0.2, 0.6, 1.0, 1.4, 1.8, 2.2, 2.6, 3.0, 3.5, 4.0, 4.5, 5, 6), rows)
    bins("m off", rows[:, 12], (2.6, 3.5, 4.5, 6.0), rows)
    bins("degrees down", steep(rows), (-20, -10, -5, 5, 10, 15, 20, 25, 30, 35, 40, 45, 50, 55, 65), rows)


if __name__ == "__main__":
    main()
