"""False alarms of the shoot check, angle errors and distances, on rendered turnarounds with known truth.

    python tests/measure/check.py FOLDER

FOLDER/good_turns/NAME/ holds stills and a ``truth.json`` with the degrees turned at each; FOLDER/clips/ clips with a
``.truth.json`` beside each; FOLDER/distance/ single stills that state their focal length, with distance and model
height in ``truth.json``. What is missing is skipped.
"""

from __future__ import annotations

import argparse
import json
from collections.abc import Iterator
from pathlib import Path
from typing import Any

import numpy as np

from silhouette import shoot
from silhouette.check import distance, family
from silhouette.check.look import look_at
from silhouette.cutout import background_model
from silhouette.errors import FilmError, PoseError
from silhouette.intake import film, stills
from silhouette.records import Picture, Stop
from silhouette.records_shoot import CheckReport
from silhouette.turn.estimate import Turned, estimate_angles


def rows_of(path: Path) -> list[dict[str, Any]]:
    found = json.loads(path.read_text())
    return list(found if isinstance(found, list) else found["stops"])


def check(pictures: list[Picture], share: Any, angles: Any = None) -> tuple[Turned, CheckReport]:
    """Cut, find the angles unless they are given, and check."""
    shared = background_model.learn([p.pixels for p in pictures])
    cuts = [background_model.cut(p.pixels, shared) for p in pictures]
    turned = estimate_angles([c.mask for c in cuts], share)
    given = turned.angles if angles is None else angles
    stops = [
        Stop(k, p.source, p.name, float(a) % 360, "clip" if angles is None else "given", float(s), p.time)
        for k, (p, a, s) in enumerate(zip(pictures, given, turned.sure, strict=True))
    ]
    looks = [look_at(p, c) for p, c in zip(pictures, cuts, strict=True)]
    return turned, family.ask(pictures[0].source.name, shoot.measure(stops, looks, height_m=1.7))


def alarms(report: CheckReport) -> str:
    found = [f"{f.check} {f.verdict} {list(f.stops)[:12]}" for f in report.findings if f.verdict in ("retake", "look")]
    return "; ".join(found) or "none"


def turns(folder: Path) -> Iterator[tuple[str, Any, Turned, CheckReport]]:
    """Stills as angles found from the outlines, and as angles named after the plan."""
    for place in sorted(p for p in folder.iterdir() if (p / "truth.json").is_file()):
        rows = rows_of(place / "truth.json")
        pictures = [stills.read_still(place / row["file"], 1008) for row in rows]
        truth = np.asarray([row["turned"] for row in rows])
        yield place.name, truth, *check(pictures, None)
        step = 360 / (len(rows) - 1)
        turned, report = check(pictures, None, np.arange(len(rows)) * step)
        yield f"{place.name}, named", truth, replace_angles(turned, step), report


def replace_angles(turned: Turned, step: float) -> Turned:
    return turned._replace(turned=np.arange(len(turned.turned)) * step)


def clips(folder: Path) -> Iterator[tuple[str, Any, Turned, CheckReport]]:
    for clip in sorted(folder.glob("*.m*4")) + sorted(folder.glob("*.mov")):
        truth = clip.with_suffix(".truth.json")
        try:
            stops = film.find_stops(clip)
        except FilmError as error:
            print(f"{clip.name:24} {error}")
            continue
        try:
            turned, report = check(list(film.read_stops(clip, stops)), stops.motion_share)
        except PoseError as error:
            print(f"{clip.name:24} {error}")
            continue
        known = np.asarray([row["turned"] for row in rows_of(truth)]) if truth.is_file() else np.empty(0)
        yield clip.name, known, turned, report


def show(kind: str, found: Iterator[tuple[str, Any, Turned, CheckReport]]) -> None:
    errors = []
    for name, truth, turned, report in found:
        text = f"{len(turned.turned)} stops"
        if len(truth) == len(turned.turned):
            off = np.abs(turned.turned - truth)
            errors.append((np.median(off), off.max()))
            text += f", angle error {errors[-1][0]:.1f} median {errors[-1][1]:.1f} worst"
        elif len(truth):
            text += f" of {len(truth)}"
        print(f"{name:24} {text:52} alarms: {alarms(report)}", flush=True)
    if errors:
        middle, worst = np.asarray(errors).max(axis=0)
        print(f"{kind}: largest median {middle:.1f}, largest error {worst:.1f} degrees over {len(errors)} turns")


def distances(folder: Path) -> None:
    off = []
    for row in rows_of(folder / "truth.json"):
        picture = stills.read_still(folder / row["file"], 1008)
        look = look_at(picture, background_model.cut(picture.pixels))
        told = distance.from_lens([look], row["model_m"])
        if told is None:
            print(f"{row['file']:32} not told (edges {look.edges}, flags {look.flags})")
            continue
        off.append(100 * (told / row["distance_m"] - 1))
        print(f"{row['file']:32} {row['distance_m']:.1f} m, told {told:.2f} m, {off[-1]:+.1f} %")
    if off:
        print(f"distance: worst {max(off, key=abs):+.1f} % over {len(off)} stills")


def main() -> None:
    parser = argparse.ArgumentParser(description=__doc__, formatter_class=argparse.RawDescriptionHelpFormatter)
    parser.add_argument("folder", type=Path)
    folder = parser.parse_args().folder
    if (folder / "distance").is_dir():
        distances(folder / "distance")
    if (folder / "good_turns").is_dir():
        show("good turns", turns(folder / "good_turns"))
    if (folder / "clips").is_dir():
        show("clips", clips(folder / "clips"))


if __name__ == "__main__":
    main()
