"""Figures and pictures for the reader's model card: ``python tests/measure/reader_card.py FOLDER KEPT_OUT.npz ...``.

Prints how the reader does by build, clothes, prop and camera on kept-out views (as ``silhouette.studio.training``
writes them), and draws to FOLDER the views that it reads worst and a fair sample, with where it puts the joints.
"""

from __future__ import annotations

import sys
from pathlib import Path

import cv2
import numpy as np
from numpy.typing import NDArray
from scipy.stats import spearmanr

from silhouette.reading import reader
from silhouette.records import BodyReading, Outline
from silhouette.shape.outline import outline_of

BUILD = ("gender", "age", "muscle", "weight", "height", "proportions")
OUTFIT = ("hair", "long_hair", "bun", "brim", "crown", "skirt", "flare", "sleeves", "trousers", "coat", "shoes", "pole",
          "pole_lean", "pole_turn", "blade", "bag", "load", "block")
INK = {"head": (0, 190, 255), "hand": (80, 80, 255), "elbow": (80, 200, 80), "foot": (255, 120, 0),
       "knee": (255, 80, 255)}


def load(files: list[Path]) -> dict[str, NDArray]:
    parts = [np.load(f) for f in files]
    return {k: np.concatenate([p[k] for p in parts]) for k in parts[0].files}


def told(body: BodyReading) -> list[float]:
    limbs = body.limb_legibility
    return [limbs.head, *limbs.arms, *limbs.legs]


def groups(about: NDArray) -> dict[str, NDArray[np.bool_]]:
    build, camera, worn = about[:, :6], about[:, 6:8], dict(zip(OUTFIT, about[:, 8:].T, strict=True))
    out = {"all": np.ones(len(about), bool)}
    for i, name in enumerate(BUILD[:5]):
        low, high = np.quantile(build[:, i], (0.25, 0.75))
        out |= {f"{name}: lowest quarter": build[:, i] < low, f"{name}: highest quarter": build[:, i] > high}
    small = ("pole_lean", "pole_turn", "flare", "hair", "block")
    bare = np.all([worn[k] == 0 for k in OUTFIT if k not in small], axis=0)
    out |= {"no clothes, no prop": bare, "hat": (worn["brim"] > 0) | (worn["crown"] > 0), "skirt": worn["skirt"] > 0,
            "loose sleeves": worn["sleeves"] > 0, "loose trousers": worn["trousers"] > 0, "coat": worn["coat"] > 0,
            "long hair or bun": (worn["long_hair"] > 0) | (worn["bun"] > 0), "pole": worn["pole"] != 0,
            "bag or load": (worn["bag"] > 0) | (worn["load"] > 0)}
    return out | {"camera under 3 m": camera[:, 0] < 3, "camera 3 to 5 m": (camera[:, 0] >= 3) & (camera[:, 0] < 5),
                  "camera over 5 m": camera[:, 0] >= 5}


def main() -> None:
    folder, data = Path(sys.argv[1]), load([Path(a) for a in sys.argv[2:]])
    cv2.setNumThreads(1)
    masks = np.unpackbits(data["masks"], axis=-1).astype(bool)
    lines = [outline_of(m) for m in masks]
    bodies = [reader.read_body(line) for line in lines if line is not None]
    assert len(bodies) == len(masks)
    said = np.array([told(b) for b in bodies])
    t = data["legibility"].astype(float)
    truth = np.column_stack([t[:, 0], np.sort(t[:, 1:3], 1), np.sort(t[:, 3:5], 1)])
    print("| kept-out views | views | mean of five | two least | least | off by |\n|---|---|---|---|---|---|")
    for name, g in groups(data["about"]).items():
        if g.sum() >= 48:
            ranks = [spearmanr(np.sort(said[g], 1)[:, :n].mean(1), np.sort(truth[g], 1)[:, :n].mean(1)).statistic
                     for n in (5, 2, 1)]
            print(f"| {name} | {g.sum()} | " + " | ".join(f"{r:.3f}" for r in ranks)
                  + f" | {np.abs(said[g] - truth[g]).mean():.3f} |")
    worst = np.argsort(-np.abs(said - truth).max(1))[:240:20]
    sheet(folder / "worst.png", worst, masks, lines, bodies, truth)
    sheet(folder / "sample.png", np.random.default_rng(0).permutation(len(masks))[:12], masks, lines, bodies, truth)


def sheet(path: Path, chosen: NDArray[np.intp], masks: NDArray, lines: list[Outline], bodies: list[BodyReading],
          truth: NDArray) -> None:
    """Twelve views with the joints as read; below each what was read over what is true."""
    cells = []
    for i in chosen:
        side = 190
        grey = cv2.resize(masks[i].astype(np.uint8) * 255, (side, side), interpolation=cv2.INTER_AREA)
        cell = np.full((side + 34, side, 3), 255, np.uint8)
        cell[:side] = (255 - grey * 0.75)[..., None].astype(np.uint8)
        for j in bodies[i].joints:
            at = (round(j.x * side), round(j.y * side))
            radius = j.spread * lines[i].height_px / masks.shape[1] * side
            if radius < side / 4:
                cv2.circle(cell, at, round(radius), INK[j.joint], 1, cv2.LINE_AA)
            cv2.circle(cell, at, 3, INK[j.joint], -1, cv2.LINE_AA)
        for row, (word, values) in enumerate((("read", told(bodies[i])), ("true", truth[i]))):
            cv2.putText(cell, f"{word} " + " ".join(f"{v:.2f}" for v in values), (6, side + 12 + 16 * row),
                        cv2.FONT_HERSHEY_SIMPLEX, 0.36, (0, 0, 0), 1, cv2.LINE_AA)
        cells.append(cell)
    picture = np.vstack([np.hstack(cells[k : k + 6]) for k in range(0, 12, 6)])
    cv2.imwrite(str(path), picture, [cv2.IMWRITE_PNG_COMPRESSION, 9])


if __name__ == "__main__":
    main()
