"""Which ring of a pose its headline is taken from."""

from __future__ import annotations

import math
from collections import Counter
from collections.abc import Sequence
from dataclasses import replace
from typing import TypeVar

from silhouette.records import Note, Pose, PoseRing
from silhouette.settings import Ring, Settings

Posed = TypeVar("Posed", bound=Pose)

WAIST = 1.05
"""Height of the lens of a level ring over the ground, metres, where no camera tells: the waist, 0.62 of 1.70 m."""
USUAL: dict[Ring, float] = {"low": 0.4, "level": WAIST, "high": 2.2}
"""Height of the lens that a ring is taken to have where it is not known, metres. Common practice, no source."""
STATURE = 1.70
"""Metres, where the model's stature is not known."""
AWAY = 4.0
"""Metres from the lens to the figure, where no camera tells: what the README asks for."""
NEAR = 10.0
"""How far a viewer's line of sight to the waist may lie off the camera's, degrees, for the ring to count as what the
viewer sees; at 4 m about 0.7 m of height. Common practice only."""
ALIKE = 2.0
"""Two rings whose lines of sight lie no further apart, degrees, show the same: then what they are called decides."""
ABOUT_SITE = frozenset({"ring counts", "ring wanted", "ring differs"})
"""The notes that are made here."""


def headline(rings: Sequence[PoseRing], settings: Settings) -> tuple[PoseRing, list[Note]]:
    """The ring that the headline is of, and what is to be said of it.

    That is the level one; where ``settings.seen_from`` says from what height the piece is seen, the one whose lens was
    nearest to a viewer's eye, both measured from what the figure stands on. This holds for a piece of life size seen
    from about as far as the camera stood; for a piece at 1:4 both heights are to be given four times as large.

    Returns
    -------
    ring, notes
        Without ``seen_from`` no note: nobody asked. With it one: ``ring counts``, or ``ring wanted`` where the line of
        sight of the nearest one lies more than ``NEAR`` off. Their values: ``eye`` and ``lens`` in metres over the
        figure's ground, ``known``, whether the lens's height is known or the usual one of such a ring.
    """
    if settings.seen_from is None:
        return next((one for one in rings if one.ring == "level"), rings[0]), []
    eye = settings.seen_from - settings.stands_on
    lenses = [lens_m(one, settings) for one in rings]
    off = [abs(_sight(eye, one) - _sight(lens, one)) for one, (lens, _) in zip(rings, lenses, strict=True)]
    alike = [k for k in range(len(rings)) if off[k] <= min(off) + ALIKE]
    k = min(alike, key=lambda k: abs(USUAL[rings[k].ring] - eye))
    nearest, (lens, known) = rings[k], lenses[k]
    if off[k] <= NEAR:
        return nearest, [Note.of("ring counts", ring=nearest.ring, eye=eye, lens=lens, known=known)]
    return nearest, [Note.of("ring wanted", counts=nearest.ring, eye=eye, lens=lens, known=known)]


def compared(poses: Sequence[Posed]) -> list[Posed]:
    """Poses that are to be ranked, with a note on each whose headline is of another ring than that of most of them."""
    rings = Counter(pose.ring for pose in poses)
    most = max(rings, key=lambda ring: (rings[ring], ring == "level"), default="level")
    return [pose if pose.ring == most else _told(pose, Note.of(
        "ring differs", ring=most, has=pose.ring, lacks=all(one.ring != most for one in pose.rings))) for pose in poses]


def _told(pose: Posed, note: Note) -> Posed:
    return replace(pose, notes=(*pose.notes, note))


def lens_m(ring: PoseRing, settings: Settings) -> tuple[float, bool]:
    """Height of the ring's lens over the ground, metres, and whether it is known; else the usual one of such a ring."""
    camera, given = ring.camera, settings.lens_height(ring.ring)
    if camera is not None and camera.height_m is not None:
        return camera.height_m, True
    if given is not None:
        return given, True
    if camera is not None and camera.height is not None:
        return camera.height * STATURE, True
    return USUAL[ring.ring], False


def _sight(height: float, ring: PoseRing) -> float:
    """How far one looks down on the waist from this height, as far away as the ring's camera stood; degrees."""
    camera = ring.camera
    away = AWAY if camera is None or camera.distance is None else max(camera.distance * STATURE, 1.0)
    return math.degrees(math.atan2(height - WAIST, away))
