"""What the rings of one pose tell when they are held against each other, for the questions of the check.

Each ring is first looked at alone: its joints, and with them where its camera stood. That is enough to tell whether
its own stops belong together, however low or high the camera was. Then one ring after the other is set into the frame
of the main one by the joints, and all stops carve one block.
"""

from __future__ import annotations

from collections import Counter
from collections.abc import Iterable, Mapping, Sequence
from dataclasses import dataclass, replace

import numpy as np

from silhouette import in_space
from silhouette.check.made_out import made_out
from silhouette.geometry.angles import apart
from silhouette.geometry.orbit import StopCamera
from silhouette.reading import reader
from silhouette.records import Mask, Stop
from silhouette.records_shoot import AllRings, RingApart, Shot, StopLook, StrayStop
from silhouette.records_space import Skeleton
from silhouette.settings import Ring
from silhouette.space import joints, rings_apart, stature
from silhouette.turn import estimate, strays, visual_hull
from silhouette.turn.strays import RingTurn, Stray

LEAST_OUTLINES = 8
"""Clear outlines of a ring from which its joints are looked for: one from every 45 degrees."""
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
    odd: tuple[tuple[int, tuple[int, ...]], ...] = ()
    """The other stops whose figure was made out, and the (h, w) of their masks."""

    @property
    def size(self) -> tuple[int, ...]:
        """(h, w) of the masks."""
        return self.masks[0].shape

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
    views = in_space.views_of([stops[k] for k in kept], masks := [looks[k].mask for k in kept])
    if sum(bell is not None and bell.unlike <= reader.UNLIKE for bell in views.bells) < LEAST_OUTLINES:
        return None
    try:
        found = joints.solve(views.bells, views.cameras, views.angle_sure, distance_sure=views.distance_sure)
    except np.linalg.LinAlgError:
        return None
    unit = stature.stature_by_bones(found)
    odd = tuple((k, looks[k].mask.shape) for k in clear if looks[k].mask.shape != usual)
    return None if unit is None else RingSeen(kept, tuple(masks), stature.moved(found, 0.0, 1 / unit), odd)


def _guessed(stops: Sequence[Stop]) -> bool:
    """Whether outlines did not tell the angles."""
    return float(np.median([stop.angle_sure or 0.0 for stop in stops])) >= estimate.NOT_TOLD


def find_strays(
    stops: Mapping[Ring, Sequence[Stop]], seen: Mapping[Ring, RingSeen | None]
) -> tuple[Stray, ...] | None:
    """Stops that seem to belong to another ring; None where fewer than two rings tell enough. To be known before a ring
    is measured: such a stop is none of its own."""
    known = {ring: one for ring, one in seen.items() if one is not None}
    if len(known) < 2:
        return None
    turns = {
        ring: RingTurn(one.stops, one.masks, one.skeleton.cameras, tuple(stops[ring][k].angle for k in one.stops))
        for ring, one in known.items()
    }
    return (*_by_size(stops, known), *strays.find(turns))


def _by_size(stops: Mapping[Ring, Sequence[Stop]], known: Mapping[Ring, RingSeen]) -> list[Stray]:
    """Stops whose pictures are not of their ring's size, but of another ring's."""
    found: list[Stray] = []
    for ring, one in known.items():
        for k, size in one.odd:
            fits = {there: [j for j, odd in other.odd if odd == one.size] for there, other in known.items()
                    if there != ring and other.size == size}
            if not fits or any(s.looks == ring and s.other == k for s in found):
                continue
            looks, back = max(fits.items(), key=lambda fit: len(fit[1]))
            near = min(back, key=lambda j: float(apart(stops[looks][j].angle, stops[ring][k].angle)), default=None)
            found.append(Stray(ring, k, looks, near, 1.0))
    return found


def own_cameras(ring: Ring, seen: RingSeen | None, found: Iterable[Stray] | None) -> dict[int, StopCamera]:
    """The cameras of a ring's own stops, by their positions, without those that belong to another ring."""
    away = {s.stop for s in found or () if s.ring == ring} | {s.other for s in found or () if s.looks == ring}
    return {} if seen is None else {k: camera for k, camera in seen.cameras.items() if k not in away}


def _stature_m(seen: RingSeen | None, height_m: float | None) -> float | None:
    """How tall the model stands, metres, by the height of the figure as it poses; None where that is not known."""
    heights = [joint.at[2] for joint in seen.skeleton.joints if joint.at is not None] if seen is not None else []
    return None if height_m is None or not heights else height_m / (max(heights) - min(heights))


def together(
    shots: Mapping[Ring, Shot], seen: Mapping[Ring, RingSeen | None], found: tuple[Stray, ...] | None,
    space: in_space.InSpace, *, height_m: float | None = None,
) -> AllRings:
    """Hold the rings against each other.

    Parameters
    ----------
    shots : the rings in the order of RINGS, each measured alone
    seen : what each tells alone, by :func:`seen_alone`
    found : by :func:`find_strays`
    space : what :func:`silhouette.in_space.in_space` says of the pose
    height_m : of the figure as it poses, metres, if known
    """
    main: Ring = "level" if "level" in shots else next(iter(shots))
    known = {ring: one for ring, one in seen.items() if one is not None and _turns(shots[ring])}
    rings = AllRings(tuple(shots.items()), main, space.cameras, tuple(known), blind_spots=space.blind_spots,
                     notes=space.notes, stature_m=_stature_m(known.get(main), height_m))
    if found is None:
        return rings
    stray = tuple(
        StrayStop(rings.first(s.ring) + s.stop, s.looks, None if s.other is None else rings.first(s.looks) + s.other)
        for s in found
    )
    rings = replace(rings, strays=stray)
    if len(known) < 2:
        return rings
    first = main if main in known else next(iter(known))
    how = {ring: rings_apart.align(known[first].skeleton, one.skeleton)
           for ring, one in known.items() if ring != first}
    lying = tuple(_apart(ring, one) for ring, one in how.items() if one is not None)
    away = {s.stop for s in stray} | {s.other for s in stray}
    away |= {rings.first(ring) + k for ring, shot in shots.items() if shot.held is not None for k in shot.held.moved}
    outside = _outside(rings, known, first, how, away)
    return replace(rings, main=first, apart=lying, outside=outside)


def _turns(shot: Shot) -> bool:
    return shot.no_turn is None and shot.camera_moved is None


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
