"""How far the angles of stills that state none are off, spread evenly and as every command takes them.

    python tests/measure/export_angles.py FOLDER

FOLDER/NAME/ holds the stills of a turn in the order shot and a ``truth.json`` with the degrees turned at each. Every
turn is taken whole, with one stop left out, with two, with one shot twice, ended early, shot on past its start (where
the turn was not closed), and half; the places are drawn with a fixed seed.
"""

from __future__ import annotations

import argparse
import json
import random
import time
from collections import defaultdict
from pathlib import Path
from typing import Any

import numpy as np

from silhouette.cutout import background_model
from silhouette.intake import filenames, stills
from silhouette.records import Cut, Stop
from silhouette.settings import Settings
from silhouette.stop_angles import assign_angles

DRAWS = 3
"""How often each kind of mistake is made in each turn."""
LEAST_STOPS = 7
"""Turns with fewer stops left are not tried."""


def cut_turn(place: Path, rows: list[dict[str, Any]]) -> list[Cut]:
    pictures = [stills.read_still(place / row["file"], 1008) for row in rows]
    shared = background_model.learn([p.pixels for p in pictures])
    return [background_model.cut(p.pixels, shared) for p in pictures]


def mistakes(turned: list[float], rng: random.Random) -> list[tuple[str, list[int]]]:
    """What was shot, as positions in a turn of n stops; a position from n on comes round again."""
    n, whole = len(turned), list(range(len(turned)))
    made = [("whole", whole)]
    for _ in range(DRAWS):
        one, two = rng.sample(range(1, n - 1), 2)
        pair = rng.randrange(1, n - 2)
        made += [
            ("one left out", [k for k in whole if k != one]),
            ("two left out", [k for k in whole if k not in (one, two)]),
            ("two in a row left out", [k for k in whole if k not in (pair, pair + 1)]),
            ("one shot twice", sorted([*whole, two])),
        ]
    made += [("three lacking at the end", whole[:-3])]
    if turned[-1] < 355:
        made += [("closed", [*whole, n]), ("one past the start", [*whole, n, n + 1])]
    half = int(np.argmin(np.abs(np.asarray(turned) - 180)))
    made += [("half, to the far side", whole[: half + 1]), ("half, one step short", whole[:half])]
    return [(what, shot) for what, shot in made if len(shot) >= LEAST_STOPS]


def off(found: Any, truth: Any) -> Any:
    return np.abs((np.asarray(found) - np.asarray(truth) + 180) % 360 - 180)


def spread_as_it_was(stops: list[Stop], angled: tuple[Stop, ...], span: float) -> list[float]:
    """Over a full turn, or half a turn where that was said; closed where the last stop is said to repeat the first."""
    closed = len(angled) > 1 and float(off(angled[-1].angle, 0.0)) < 1e-6
    return filenames.spread(len(stops), span, repeats=closed and span == 360)


def main() -> None:
    parser = argparse.ArgumentParser(description=__doc__, formatter_class=argparse.RawDescriptionHelpFormatter)
    parser.add_argument("folder", type=Path)
    folder, rng = parser.parse_args().folder, random.Random(11)
    table: dict[str, list[tuple[Any, Any, str]]] = defaultdict(list)
    spent: dict[int, list[float]] = defaultdict(list)
    for place in sorted(p for p in folder.iterdir() if (p / "truth.json").is_file()):
        found = json.loads((place / "truth.json").read_text())
        rows = list(found if isinstance(found, list) else found["stops"])
        cuts = cut_turn(place, rows)
        turned = [float(row.get("turned", row["angle"])) for row in rows]
        for what, shot in mistakes(turned, rng):
            truth = [turned[k % len(rows)] + 360 * (k // len(rows)) for k in shot]
            stops = [Stop(i, place / rows[k % len(rows)]["file"], f"{i}", np.nan, "spread") for i, k in enumerate(shot)]
            began = time.process_time()
            angled = assign_angles(stops, [cuts[k % len(rows)] for k in shot], Settings())
            spent[len(shot) // 6 * 6].append(time.process_time() - began)
            even = spread_as_it_was(stops, angled.stops, 360.0)
            how = "half" if "show half a turn" in " ".join(angled.notes) else angled.stops[0].angle_from
            table[what].append((off(even, truth), off([s.angle for s in angled.stops], truth), how))
        print(place.name, flush=True)
    print(f"\n{'':26}turns  outlines  half   even: median  worst   named: median  worst  median of worsts")
    for what, rows_of in table.items():
        even_off, named_off = (np.concatenate([row[i] for row in rows_of]) for i in (0, 1))
        print(
            f"{what:26}{len(rows_of):5}  {sum(r[2] == 'outline' for r in rows_of):8}  "
            f"{sum(r[2] == 'half' for r in rows_of):4}   {np.median(even_off):12.1f}  {even_off.max():5.1f}   "
            f"{np.median(named_off):13.1f}  {named_off.max():5.1f}  "
            f"{np.median([r[0].max() for r in rows_of]):5.1f} to {np.median([r[1].max() for r in rows_of]):.1f}"
        )
    for least, times in sorted(spent.items()):
        print(f"{least} to {least + 5} stops: {np.median(times):.2f} s of processor time at the median")


if __name__ == "__main__":
    main()
