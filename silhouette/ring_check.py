"""What the rings of one pose tell when they are held against each other, for the questions of the check.

Each ring is first looked at alone: its joints, and with them where its camera stood. That is enough to tell whether
its own stops belong together, however low or high the camera was. Then one ring after the other is set into the frame
of the main one by the joints, and all stops carve one block.
"""

from __future__ import annotations

from collections import Counter
from collections.abc import Mapping, Sequence
from dataclasses import dataclass, replace

import numpy as np

from silhouette.check.made_out import made_out
from silhouette.geometry.orbit import StopCamera
from silhouette.in_space import InSpace
from silhouette.reading import reader
from silhouette.records import Mask, Stop
from silhouette.records_shoot import AllRings, RingApart, Shot, StopLook, StrayStop
from silhouette.records_space import Skeleton
from silhouette.settings import Ring
from silhouette.shape import outline
from silhouette.space import joints, orbit_fit, rings_apart, stature
from silhouette.turn import estimate, strays, visual_hull

LEAST_OUTLINES = 8
"""Clear outlines of a ring from which its joints are looked for: one from every 45 degrees."""
SPREAD_SURE = 4.0
"""Half width of the 90 % interval of an angle that was spread evenly, degrees."""
FAR, FAR_SURE = 0.035, 1.5
"""A joint lies elsewhere in another ring from this share of the stature on (6 cm), and if that is so many times as much
as the doubt about it."""


@dataclass(frozen=True)
class RingSeen:
    """What one ring tells alone."""

    stops: tuple[int, ...]
    """n positions in the ring: those whose figure was made out, in pictures of the ring's usual size."""
    masks: tuple[Mask, ...]
    skeleton: Skeleton
    """Lengths in statures; n cameras."""

    @property
    def cameras(self) -> dict[int, StopCamera]:
        """By positions in the ring."""
        return dict(zip(self.stops, self.skeleton.cameras, strict=True))


def seen_alone(stops: Sequence[Stop], looks: Sequence[StopLook]) -> RingSeen | None:
    """Joints and cameras of one ring by its own outlines; None where they are too few, or its angles not known."""
    clear = made_out(looks)
    sizes = Counter(looks[k].mask.shape for k in clear)
    usual = sizes.most_common(1)[0][0] if sizes else None
    kept = tuple(k for k in clear if looks[k].mask.shape == usual and np.isfinite(stops[k].angle))
    if len(kept) < LEAST_OUTLINES or _guessed([stops[k] for k in kept]):
        return None
    masks, lenses = [looks[k].mask for k in kept], [f for k in kept if (f := looks[k].focal_35mm)]
    lines = [outline.outline_of(mask) for mask in masks]
    bells = [None if line is None else reader.point_bells(line) for line in lines]
    if sum(bell is not None for bell in bells) < LEAST_OUTLINES:
        return None
    cameras = orbit_fit.first_cameras(
        masks, [stops[k].angle for k in kept], float(np.median(lenses)) if lenses else None)
    spread = stops[0].angle_from == "spread" and stops[0].angle_sure is None
    sure = [SPREAD_SURE if spread else stops[k].angle_sure for k in kept]
    try:
        found = joints.solve(
            bells, cameras, sure, distance_sure=joints.LENS_KNOWN if lenses else joints.LENS_UNKNOWN)
    except np.linalg.LinAlgError:
        return None
    unit = stature.stature_by_bones(found)
    return None if unit is None else RingSeen(kept, tuple(masks), stature.moved(found, 0.0, 1 / unit))


def _guessed(stops: Sequence[Stop]) -> bool:
    """Whether outlines did not tell the angles."""
    return float(np.median([stop.angle_sure or 0.0 for stop in stops])) >= estimate.NOT_TOLD


def together(
    shots: Mapping[Ring, Shot], seen: Mapping[Ring, RingSeen | None], space: InSpace, *, height_m: float | None = None
) -> AllRings:
    """Hold the rings against each other.

    Parameters
    ----------
    shots : the rings in the order of RINGS, each measured alone
    seen : what each tells alone, by :func:`seen_alone`
    space : what :func:`silhouette.in_space.in_space` says of the pose
    """
    main: Ring = "level" if "level" in shots else next(iter(shots))
    rings = AllRings(tuple(shots.items()), main, space.cameras, blind_spots=space.blind_spots, height_m=height_m)
    known = {ring: one for ring, one in seen.items() if one is not None and _turns(shots[ring])}
    if len(known) < 2:
        return rings
    found = strays.find({ring: _turn(one, shots[ring]) for ring, one in known.items()})
    stray = tuple(
        StrayStop(rings.first(s.ring) + s.stop, s.looks, None if s.other is None else rings.first(s.looks) + s.other)
        for s in found
    )
    first = main if main in known else next(iter(known))
    how = {ring: rings_apart.align(known[first].skeleton, one.skeleton)
           for ring, one in known.items() if ring != first}
    apart = tuple(_apart(ring, one) for ring, one in how.items() if one is not None)
    away = {s.stop for s in stray} | {s.other for s in stray}
    away |= {rings.first(ring) + k for ring, shot in shots.items() if shot.held is not None for k in shot.held.moved}
    outside = _outside(rings, known, first, how, away)
    return AllRings(rings.shots, first, space.cameras, apart, stray, outside, space.blind_spots, height_m)


def without_strays(rings: AllRings) -> dict[Ring, Shot]:
    """The rings, each without blame for a stop that was taken from another one."""
    away = {stray.stop for stray in rings.strays or ()} | {stray.other for stray in rings.strays or ()}
    out = {}
    for ring, shot in rings.shots:
        first, held = rings.first(ring), shot.held
        if held is not None and not held.drifting:
            left = tuple(k for k in held.moved if first + k not in away)
            shot = replace(shot, held=replace(held, moved=left))
        out[ring] = shot
    return out


def _turns(shot: Shot) -> bool:
    return shot.no_turn is None and shot.camera_moved is None


def _turn(one: RingSeen, shot: Shot) -> strays.RingTurn:
    angles = tuple(shot.stops[k].angle for k in one.stops)
    return strays.RingTurn(one.stops, one.masks, one.skeleton.cameras, angles)


def _apart(ring: Ring, how: rings_apart.Alignment) -> RingApart:
    moved = tuple((one.joint, one.side, one.far) for one in how.apart
                  if one.far > FAR and one.far > FAR_SURE * one.sure)
    return RingApart(ring, how.turned, moved, len(how.apart))


def _outside(
    rings: AllRings, known: Mapping[Ring, RingSeen], first: Ring, how: Mapping[Ring, rings_apart.Alignment | None],
    away: set[int | None],
) -> visual_hull.Floats | None:
    """What sticks out at every stop of what all rings leave; those that belong to another ring are left out, and those
    that their own ring says have moved."""
    masks: list[Mask] = []
    cameras: list[StopCamera] = []
    places: list[int] = []
    for ring, one in known.items():
        frame = how.get(ring)
        if ring != first and frame is None:
            continue
        for k, mask, camera in zip(one.stops, one.masks, one.skeleton.cameras, strict=True):
            if rings.first(ring) + k not in away:
                masks.append(mask)
                cameras.append(camera if frame is None else frame.set_in(camera))
                places.append(rings.first(ring) + k)
    share = np.full(len(rings.stops), np.nan)
    share[places] = visual_hull.carved_by_all(masks, cameras)[1].share
    return share
