"""Write everything that a scoring leaves behind, whole or not at all: data, pictures, pages."""

from __future__ import annotations

from pathlib import Path

import cv2
import numpy as np

from silhouette import tables
from silhouette.records import Pose, Ranking
from silhouette.writing import whole_folder

LISTED = "result.json, views.csv, chart.png, chart.pdf, sheet.png"


def write(ranking: Ranking, out: Path, *, masks: bool = False, photos: bool = False, paper: str = "a4") -> None:
    """Fill ``out``; results of an earlier run are replaced, other files there are left alone.

    Raises
    ------
    OutputError
        If ``out`` cannot be written to.
    """
    from silhouette.show import polar, sheet

    with whole_folder(out) as folder:
        (folder / "result.json").write_text(tables.to_json(tables.ranking_to_dict(ranking)), encoding="utf-8")
        tables.views_table(ranking.poses).to_csv(folder / "views.csv", index=False)
        polar.write_chart(ranking, folder)
        sheet.write_sheet(ranking, folder)
        if masks:
            for pose in ranking.poses:
                write_masks(pose, folder / "masks" / pose.name)


def write_masks(pose: Pose, folder: Path) -> None:
    """``STEM.png`` for each view with a figure: 0 and 255, upright, the size worked at."""
    folder.mkdir(parents=True, exist_ok=True)
    for view in pose.views:
        if (mask := view.mask) is not None:
            cv2.imwrite(str(folder / f"{view.name}.png"), mask.astype(np.uint8) * 255)
