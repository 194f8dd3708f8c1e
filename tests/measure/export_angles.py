"""How far the angles in the names of a reference set are off, spread evenly and as the set is named now.

    python tests/measure/export_angles.py FOLDER

FOLDER/NAME/ holds the stills of a turn in the order shot and a ``truth.json`` with the degrees turned at each. Every
turn is taken whole, with one stop left out, with two, and with one shot twice; the places are drawn with a fixed seed.
"""

from __future__ import annotations

import argparse
import json
import random
from collections import defaultdict
from pathlib import Path
from typing import Any

import numpy as np

from silhouette.cutout import background_model
from silhouette.intake import filenames, stills
from silhouette.reading import circle
from silhouette.records import Mask
from silhouette.settings import TRUST
from silhouette.shape import outline
from silhouette.turn import respread

DRAWS = 3
"""How often each kind of mistake is made in each turn."""


def cut_turn(place: Path, rows: list[dict[str, Any]]) -> list[Mask | None]:
    pictures = [stills.read_still(place / row["file"], 1008) for row in rows]
    shared = background_model.learn([p.pixels for p in pictures])
    cuts = [background_model.cut(p.pixels, shared) for p in pictures]
    return [c.mask if c.confidence >= TRUST else None for c in cuts]


def mistakes(n: int, rng: random.Random) -> list[tuple[str, list[int]]]:
    """What was shot, as positions in a turn of n stops; first and last are kept."""
    whole, made = list(range(n)), [("whole", list(range(n)))]
    for _ in range(DRAWS):
        one, two = rng.sample(range(1, n - 1), 2)
        pair = rng.randrange(1, n - 2)
        made += [
            ("one left out", [k for k in whole if k != one]),
            ("two left out", [k for k in whole if k not in (one, two)]),
            ("two in a row left out", [k for k in whole if k not in (pair, pair + 1)]),
            ("one shot twice", sorted([*whole, two])),
        ]
    return made


def off(found: Any, truth: Any) -> Any:
    return np.abs((np.asarray(found) - np.asarray(truth) + 180) % 360 - 180)


def main() -> None:
    parser = argparse.ArgumentParser(description=__doc__, formatter_class=argparse.RawDescriptionHelpFormatter)
    parser.add_argument("folder", type=Path)
    folder, rng = parser.parse_args().folder, random.Random(11)
    table: dict[str, list[tuple[Any, Any, bool]]] = defaultdict(list)
    for place in sorted(p for p in folder.iterdir() if (p / "truth.json").is_file()):
        found = json.loads((place / "truth.json").read_text())
        rows = list(found if isinstance(found, list) else found["stops"])
        masks = cut_turn(place, rows)
        lines = [None if m is None else outline.outline_of(m) for m in masks]
        for what, shot in mistakes(len(rows), rng):
            truth = [rows[k].get("turned", rows[k]["angle"]) for k in shot]
            repeats = circle.ends_where_it_began([lines[k] for k in shot], 360.0)
            even = filenames.spread(len(shot), 360.0, repeats=repeats)
            told = respread.respread([masks[k] for k in shot], even, start=0.0, turn="left")
            used = told is not None and told.better
            named = told.angles if told is not None and used else even
            table[what].append((off(even, truth), off(named, truth), used))
        print(place.name, flush=True)
    print(f"\n{'':24}turns  by outlines   even: median  worst   named: median  worst  median of worsts")
    for what, rows_of in table.items():
        even_off, named_off = (np.concatenate([row[i] for row in rows_of]) for i in (0, 1))
        print(
            f"{what:24}{len(rows_of):5}  {sum(r[2] for r in rows_of):11}   {np.median(even_off):12.1f}  "
            f"{even_off.max():5.1f}   {np.median(named_off):13.1f}  {named_off.max():5.1f}  "
            f"{np.median([r[0].max() for r in rows_of]):5.1f} to {np.median([r[1].max() for r in rows_of]):.1f}"
        )


if __name__ == "__main__":
    main()
