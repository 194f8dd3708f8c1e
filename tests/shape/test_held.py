"""Shapes are read as they were when the network was fitted: its weights mean nothing for features of another make.

``python -m tests.shape.test_held`` records anew what is read, to be done only on purpose, with the weights.
"""

from __future__ import annotations

import json
from typing import Any

import numpy as np
import pytest

from silhouette.shape import contour, legibility, part_cuts
from silhouette.shape.measure import measure_outline
from silhouette.shape.outline import outline_of
from tests.shape.conftest import DATA, figure_mask

FIGURES = ("akimbo_000", "arms_flush_060", "lunge_030", "lunge_210", "reach_up_090", "reach_up_330")
RECORD = DATA / "read.json"


def read(name: str) -> dict[str, Any]:
    """What is made of one figure: outline, features, parts, measures."""
    found = outline_of(figure_mask(name))
    assert found is not None
    picture = contour.raster(found.polygon)
    cuts = part_cuts.cut_parts(found.polygon, picture)
    features = legibility.features(found.polygon, picture)
    seen = measure_outline(found.polygon)
    assert seen.limbs is not None
    return {
        "corners": [len(r.coords) for r in (found.polygon.exterior, *found.polygon.interiors)],
        "features": [*features.whole.tolist(), *features.spots.mean(axis=0).tolist(),
                     *features.spots.std(axis=0).tolist()],
        "parts": [[*c.part.tip, c.part.length, c.part.area, c.part.protrusion, c.sharpness] for c in cuts],
        "standing": [p.length for p in seen.parts],
        "gaps": [[g.share, g.mouth] for g in seen.gaps],
        "tangents": [[*t.point, t.distance] for t in seen.tangents],
        "numbers": [seen.negative_space, seen.contour_complexity, seen.limb_separation, seen.symmetry, seen.convexity],
        "limbs": [seen.limbs.head, *seen.limbs.arms, *seen.limbs.legs],
    }


@pytest.mark.parametrize("name", FIGURES)
def test_a_figure_is_read_as_it_was(name: str) -> None:
    then, now = json.loads(RECORD.read_text())[name], read(name)
    assert now["corners"] == pytest.approx(then["corners"], rel=0.05)
    for what in ("features", "standing", "numbers", "limbs"):
        assert now[what] == pytest.approx(then[what], rel=2e-3, abs=2e-3), what
    for what in ("parts", "gaps", "tangents"):
        assert np.array(now[what]) == pytest.approx(np.array(then[what]), rel=2e-3, abs=2e-3), what


if __name__ == "__main__":
    def short(value: Any) -> Any:
        return [short(v) for v in value] if isinstance(value, list) else round(value, 5)

    record = {name: {what: short(values) for what, values in read(name).items()} for name in FIGURES}
    RECORD.write_text(json.dumps(record, separators=(",", ":")) + "\n", encoding="utf-8")
