"""Write everything that a scoring leaves behind, whole or not at all: data, pictures, pages."""

from __future__ import annotations

from pathlib import Path

import cv2
import numpy as np

from silhouette import tables
from silhouette.errors import SilhouetteError
from silhouette.intake import film, stills
from silhouette.known import Memory
from silhouette.records import Pixels, Pose, Ranking, View
from silhouette.results import placed
from silhouette.settings import Paper
from silhouette.writing import PHOTOGRAPHS, whole_folder

SHEET_PX = 600
"""Longer side of a photograph on the contact sheet, pixels."""


def write(
    ranking: Ranking,
    out: Path,
    *,
    masks: bool = False,
    photos: bool = False,
    paper: Paper = "a4",
    known: Memory | None = None,
) -> list[str]:
    """Put the results at ``out``, in place of an earlier run's, and name what was written.

    Raises
    ------
    OutputError
        If ``out`` holds anything else than an earlier run's results, or cannot be written to.
    """
    from silhouette.show import critique, polar, report, sheet

    with whole_folder(out, "results", [pose.source for pose in ranking.poses]) as folder:
        (folder / "result.json").write_text(tables.to_json(tables.ranking_to_dict(ranking)), encoding="utf-8")
        (folder / "views.csv").write_text(tables.views_csv(ranking.poses), encoding="utf-8", newline="")
        shown = placed(ranking)
        polar.write_chart(shown, folder)
        sheet.write_sheet(shown, folder)
        sheet.write_spaces(shown, folder)
        critique.write_critique(shown, folder / "critique.pdf", paper=paper)
        report.write_report(shown, folder / "report.html")
        if photos:
            (folder / PHOTOGRAPHS).mkdir()
            sheet.write_sheet(shown, folder / PHOTOGRAPHS, photos=photograph)
        if masks:
            for pose in ranking.poses:
                write_masks(pose, folder / "masks" / pose.name)
        if known is not None:
            known.write(folder)
        return sorted(p.name + ("/" if p.is_dir() else "") for p in folder.iterdir() if not p.name.startswith("."))


def write_masks(pose: Pose, folder: Path) -> None:
    """``STEM.png`` for each view with a figure, in folders by rings where there are several: 0 and 255, upright, the
    size worked at."""
    for ring in pose.rings:
        place = folder / ring.ring if pose.other_rings else folder
        place.mkdir(parents=True, exist_ok=True)
        for view in ring.views:
            if (mask := view.mask) is not None:
                done, data = cv2.imencode(".png", mask.astype(np.uint8) * 255)
                assert done
                (place / f"{view.name}.png").write_bytes(data.tobytes())


def photograph(view: View) -> Pixels | None:
    """The picture a view was cut from, upright, at the size for a sheet; None where there is none to read."""
    if view.inferred or view.problem:
        return None
    try:
        if view.stop.time is not None and film.is_clip(view.stop.source):
            return stills.shrink(film.read_full(view.stop.source, view.stop.time), SHEET_PX)
        return stills.read_still(view.stop.source, SHEET_PX).pixels
    except SilhouetteError:
        return None
