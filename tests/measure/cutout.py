"""How well figures are cut out, as a table.

    python tests/measure/cutout.py FOLDER... [--model u2netp.onnx] [--alone]

A FOLDER holds ``*.jpg`` and ``masks/STEM.png`` (light on the true figure). Where the names are numbers (``045.jpg``) it
is a turnaround, whose pictures share what they have in common; else every picture stands alone, and one line is printed
for each kind (``hard_lamp_0.jpg`` and ``hard_lamp_1.jpg`` are one kind). ``--alone`` does so to turnarounds too.
Pictures over 1008 pixels are worked at 1008, like everywhere.

Columns: overlap with the true figure (intersection over union), mean and worst; enclosed gaps over 0.2 % of the hull
that were lost; with ``--model`` the same for rembg as it comes and for `auto`. Below: what the cuts promised against
what they kept, and the time against decoding a 12-megapixel JPEG.
"""

from __future__ import annotations

import argparse
import time
from collections.abc import Callable, Iterator
from itertools import pairwise
from pathlib import Path

import cv2
import numpy as np

from silhouette.cutout import agreement, background_model, neural
from silhouette.records import Cut

STEPS = (0.0, 0.8, 0.9, 0.95, 0.97, 0.98, 1.01)
Picture = tuple[str, np.ndarray, np.ndarray]


def overlap(a: np.ndarray, b: np.ndarray) -> float:
    """Intersection over union; 1 where both are empty."""
    union = int((a | b).sum())
    return float((a & b).sum()) / union if union else 1.0


def gaps(mask: np.ndarray, share: float = 0.002) -> list[np.ndarray]:
    """The enclosed gaps of a mask that are larger than ``share`` of its hull."""
    rings, _ = cv2.findContours(mask.astype(np.uint8), cv2.RETR_EXTERNAL, cv2.CHAIN_APPROX_NONE)
    if not rings:
        return []
    hull = cv2.contourArea(cv2.convexHull(np.vstack(rings)))
    count, labels, stats, _ = cv2.connectedComponentsWithStats((~mask).astype(np.uint8), connectivity=4)
    h, w = mask.shape
    return [labels == i for i in range(1, count)
            if stats[i, 4] > share * hull and stats[i, 0] > 0 and stats[i, 1] > 0
            and stats[i, 0] + stats[i, 2] < w and stats[i, 1] + stats[i, 3] < h]


def read(folder: Path, longer: int = 1008) -> Iterator[Picture]:
    for path in sorted(folder.glob("*.jpg")):
        picture = cv2.imread(str(path))
        mask = cv2.imread(str(folder / "masks" / f"{path.stem}.png"), cv2.IMREAD_GRAYSCALE)
        scale = longer / max(picture.shape[:2])
        if scale < 1:
            picture = cv2.resize(picture, None, fx=scale, fy=scale, interpolation=cv2.INTER_AREA)
            mask = cv2.resize(mask, picture.shape[1::-1], interpolation=cv2.INTER_AREA)
        yield path.stem, picture, mask > 127


def cutters(model: str | None) -> dict[str, Callable[[np.ndarray, background_model.Shared | None], Cut | np.ndarray]]:
    ways: dict[str, Callable[[np.ndarray, background_model.Shared | None], Cut | np.ndarray]]
    ways = {"backdrop": background_model.cut}
    if model:
        path = neural.find(model)
        if path is None:
            raise SystemExit(f"no model at {model}")
        session = neural._session(path, model)
        ways["rembg"] = lambda picture, _: neural._predict(session, picture) > 0.5
        ways["auto"] = lambda picture, shared: agreement.cut(picture, shared, model)
    return ways


def measure(folder: Path, model: str | None, alone: bool, promised: dict[str, list[tuple[float, float]]]) -> None:
    pictures = list(read(folder))
    turn = all(name.isdigit() for name, _, _ in pictures) and not alone
    shared = background_model.learn([p for _, p, _ in pictures]) if turn else None
    rows: dict[str, dict[str, list[float]]] = {}
    lost: dict[str, list[int]] = {}
    for name, picture, true in pictures:
        kind = folder.name if name.isdigit() else name.rstrip("0123456789").rstrip("_")
        there = gaps(true)
        for way, cut_by in cutters(model).items():
            cut = cut_by(picture, shared)
            mask = cut.mask if isinstance(cut, Cut) else cut
            value = overlap(mask, true)
            rows.setdefault(kind, {}).setdefault(way, []).append(value)
            if isinstance(cut, Cut):
                promised.setdefault(way, []).append((cut.confidence, value if true.any() else float(not mask.any())))
            if way == "backdrop":
                count = lost.setdefault(kind, [0, 0])
                count[0] += sum(int((~mask & gap).sum() < 0.5 * gap.sum()) for gap in there)
                count[1] += len(there)
    for kind, ways in rows.items():
        cells = "".join(f"{np.mean(v):>9.4f} {min(v):6.3f}" for v in ways.values())
        print(f"{kind:<22}{len(next(iter(ways.values()))):>4} {cells}   gaps lost {lost[kind][0]} of {lost[kind][1]}",
              flush=True)


def calibration(way: str, pairs: list[tuple[float, float]]) -> None:
    sure, true = np.array(pairs).T
    print(f"\n{way}: promised overlap, cuts, true overlap (mean, worst)")
    for low, high in pairwise(STEPS):
        inside = (sure >= low) & (sure < high)
        if inside.any():
            kept = true[inside]
            print(f"  {low:.2f} to {min(high, 1):.2f} {len(kept):>5} {kept.mean():8.3f} {kept.min():7.3f}")


def speed(folder: Path) -> None:
    """Processor time of a cut at 756 x 1008 against one full decode of the same picture at 12 megapixels."""
    pictures = [cv2.resize(p, (756, 1008)) for _, p, _ in read(folder)][:24]
    large = cv2.resize(pictures[0], (3024, 4032), interpolation=cv2.INTER_CUBIC).astype(np.float32)
    large += np.random.default_rng(0).normal(0, 3, large.shape[:2])[..., None]
    data = cv2.imencode(".jpg", np.clip(large, 0, 255).astype(np.uint8), [cv2.IMWRITE_JPEG_QUALITY, 92])[1]

    def spent(do: Callable[[], object], times: int) -> float:
        taken = []
        for _ in range(times):
            start = time.process_time()
            do()
            taken.append(time.process_time() - start)
        return float(np.median(taken))

    shared = background_model.learn(pictures)
    background_model.cut(pictures[0], shared)
    decode = spent(lambda: cv2.imdecode(data, cv2.IMREAD_COLOR), 9)
    cut = spent(lambda: [background_model.cut(p, shared) for p in pictures], 3) / len(pictures)
    single = spent(lambda: [background_model.cut(p) for p in pictures], 3) / len(pictures)
    learn = spent(lambda: background_model.learn(pictures), 3) / len(pictures)
    print(f"\nagainst decoding 12 megapixels ({1000 * decode:.0f} ms): cut {cut / decode:.2f}, learning a turn of "
          f"{len(pictures)} {learn / decode:.2f} a picture; a picture alone {single / decode:.2f}")


def main() -> None:
    parser = argparse.ArgumentParser(description=__doc__.splitlines()[0])
    parser.add_argument("folders", nargs="+", type=Path)
    parser.add_argument("--model")
    parser.add_argument("--alone", action="store_true", help="turnarounds too are cut picture by picture")
    options = parser.parse_args()
    cv2.setNumThreads(1)
    print(" " * 27 + "".join(f"{way:>16}" for way in cutters(options.model)))
    promised: dict[str, list[tuple[float, float]]] = {}
    folders = [f for f in options.folders if f.is_dir()]
    for folder in folders:
        measure(folder, options.model, options.alone, promised)
    for way, pairs in promised.items():
        calibration(way, pairs)
    speed(folders[0])


if __name__ == "__main__":
    main()
