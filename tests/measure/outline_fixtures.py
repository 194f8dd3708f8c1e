"""Make ``tests/data/outlines/poses.json``: two rendered turnarounds as the package reads them, outlines thinned.

    python tests/measure/outline_fixtures.py FOLDER FOLDER

Each folder holds one pose's stills. The numbers are those of the day the file was made; the tests that read it look at
pages, not at numbers.
"""

from __future__ import annotations

import json
import sys
from pathlib import Path
from typing import Any

from shapely.geometry import Polygon

import silhouette
from silhouette.records import Measures, Pose, View
from silhouette.shape.measure import normalised

TARGET = Path(__file__).parents[1] / "data" / "outlines" / "poses.json"
THIN = 0.003
"""Detail dropped from the outlines, figure heights."""


def rings(polygon: Polygon) -> list[list[int]]:
    """Rings as flat whole thousandths of the figure's height."""
    thin = polygon.simplify(THIN)
    if not isinstance(thin, Polygon) or thin.is_empty:
        thin = polygon
    return [[round(1000 * c) for xy in ring.coords[:-1] for c in xy] for ring in (thin.exterior, *thin.interiors)]


def standing(polygon: Polygon) -> Polygon:
    """The outline thinned, its top and its lowest point still at 0 and 1."""
    thin = polygon.simplify(THIN)
    return normalised(thin) if isinstance(thin, Polygon) and not thin.is_empty else polygon


def measures_of(m: Measures) -> dict[str, Any]:
    """Scalars, gaps, parts and tangents."""
    scalars = ("negative_space", "contour_complexity", "limb_separation", "solidity", "circularity", "convexity",
               "symmetry")
    return {
        **{name: round(getattr(m, name), 4) for name in scalars},
        "gaps": [[rings(g.polygon), g.kind, round(g.share, 4), round(g.mouth, 4)] for g in m.gaps],
        "parts": [[rings(p.polygon), p.base, p.tip, round(p.area, 4), round(p.protrusion, 3), round(p.length, 4)]
                  for p in m.parts],
        "tangents": [[t.point, round(t.distance, 4)] for t in m.tangents],
    }


def view_of(view: View) -> dict[str, Any]:
    """One view."""
    outline, reading = view.outline, view.reading
    assert outline is not None and reading is not None and view.measures is not None
    return {
        "angle": view.angle, "confidence": round(view.confidence, 4), "cutter": view.cutter, "flags": view.flags,
        "rings": rings(standing(outline.polygon)), "height": round(outline.height_px, 1), "origin": outline.origin_px,
        "size": outline.picture_size, "measures": measures_of(view.measures),
        "reading": [round(reading.clear, 1), round(reading.interesting, 1), round(reading.readability, 1), reading.band,
                    [[r.kind, r.limb, r.zone, r.side, round(r.severity, 3)] for r in reading.reasons]],
    }


def pose_of(pose: Pose) -> dict[str, Any]:
    """One pose."""
    return {"name": pose.name, "reads": [pose.reads_low, pose.reads_high], "notes": [note.plain for note in pose.notes],
            "views": [view_of(v) for v in pose.views]}


def short(value: Any) -> Any:
    """Floats to four places, so that the file stays small."""
    if isinstance(value, float):
        return round(value, 4)
    if isinstance(value, dict):
        return {k: short(v) for k, v in value.items()}
    return [short(v) for v in value] if isinstance(value, list | tuple) else value


if __name__ == "__main__":
    text = json.dumps([short(pose_of(silhouette.score_pose(folder))) for folder in sys.argv[1:]], separators=(",", ":"))
    TARGET.write_text(text + "\n", encoding="utf-8")
    print(f"{TARGET}: {len(text) / 1000:.0f} kB")
