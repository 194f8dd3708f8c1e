"""Which ring of a pose its headline is taken from."""

from __future__ import annotations

from collections.abc import Sequence

from silhouette.records import Note, PoseRing
from silhouette.settings import Ring, Settings

WAIST = 1.05
"""Height of the lens of a level ring over the ground, metres, where no camera tells: the waist, 0.62 of 1.70 m."""
USUAL: dict[Ring, float] = {"low": 0.4, "level": WAIST, "high": 2.2}
"""Height of the lens that a ring is taken to have where it is not known, metres. Common practice, no source."""
STATURE = 1.70
"""Metres, where the model's stature is not known."""
NEAR = 0.35
"""How near to a viewer's eye a ring's camera counts as seeing what the viewer sees, metres. Common practice only: at
4 m it turns the line of sight by 5 degrees."""


def headline(rings: Sequence[PoseRing], settings: Settings) -> tuple[PoseRing, list[Note]]:
    """The ring that the headline is of, and what is to be said of it: the level one, or the one from nearest to the
    height that the piece is seen from; a note where none was shot from there."""
    level = next((one for one in rings if one.ring == "level"), rings[0])
    if settings.seen_from is None:
        return level, []
    eye = settings.seen_from - settings.stands_on
    nearest = min(rings, key=lambda one: abs(lens_m(one) - eye))
    wanted: Ring = min(USUAL, key=lambda ring: abs(USUAL[ring] - eye))
    if wanted != nearest.ring and abs(lens_m(nearest) - eye) > NEAR:
        return nearest, [Note.of("ring wanted", ring=wanted, counts=nearest.ring, eye=eye)]
    return nearest, [Note.of("ring counts", ring=nearest.ring, eye=eye)] if len(rings) > 1 else []


def lens_m(ring: PoseRing) -> float:
    """Height of the ring's lens over the ground, metres, as far as it is known."""
    camera = ring.camera
    if camera is None or (camera.height_m is None and camera.height is None):
        return USUAL[ring.ring]
    return camera.height_m if camera.height_m is not None else (camera.height or 0.0) * STATURE
