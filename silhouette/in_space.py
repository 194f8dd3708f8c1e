"""What all rings of a pose tell together: where each camera stood, and what of the body stands clear nowhere.

A pose of one ring is not asked: nothing has to be told apart, and it takes time.
"""

from __future__ import annotations

from collections.abc import Mapping
from dataclasses import dataclass, field

import numpy as np

from silhouette.reading import reader
from silhouette.records import BlindSpot, Note, RingCamera
from silhouette.settings import TRUST, Ring
from silhouette.shape import outline
from silhouette.space import hull, joints, orbit_fit, stature
from silhouette.turnaround import Rings, Turnaround

LEAST_STOPS = 8
"""Clear outlines of a ring from which they tell where its camera stood."""


@dataclass(frozen=True)
class InSpace:
    """What all rings of one pose tell together."""

    cameras: Mapping[Ring, RingCamera] = field(default_factory=dict)
    blind_spots: tuple[BlindSpot, ...] | None = None
    notes: tuple[Note, ...] = ()


def in_space(rings: Rings) -> InSpace:
    """Where the cameras stood, as far as outlines or the person tell, and the blind spots."""
    return InSpace({one.ring: _camera(one) for one in rings.all})


def _camera(shot: Turnaround) -> RingCamera:
    seen = [(stop, cut.mask) for stop, cut in zip(shot.stops, shot.cuts, strict=True)
            if cut is not None and cut.confidence >= TRUST and cut.mask.any()]
    given = shot.settings.lens_height(shot.ring)
    if len(seen) < LEAST_STOPS or len({mask.shape for _, mask in seen}) > 1:
        return RingCamera("unknown") if given is None else RingCamera("given", height_m=given)
    masks = [mask for _, mask in seen]
    lenses = [stop.focal_35mm for stop, _ in seen if stop.focal_35mm]
    cameras = orbit_fit.first_cameras(
        masks, [stop.angle for stop, _ in seen], float(np.median(lenses)) if lenses else None)
    lines = [outline.outline_of(mask) for mask in masks]
    bells = [None if line is None else reader.point_bells(line) for line in lines]
    sure = [4.0 if s.angle_from == "spread" and s.angle_sure is None else s.angle_sure for s, _ in seen]
    found = joints.solve(bells, cameras, sure, distance_sure=joints.LENS_KNOWN if lenses else joints.LENS_UNKNOWN)
    found = stature.moved(found, -hull.ground_shift(masks, found.cameras), 1.0)
    unit = stature.stature_by_bones(found) or 1.0
    camera = found.cameras[0]
    return RingCamera(
        "outlines" if given is None else "given", camera.height / unit, None, camera.pitch, camera.distance / unit,
        height_m=given,
    )
