"""What all rings of a pose tell together: where each camera stood, and what of the body stands clear nowhere.

A pose of one ring is not asked: nothing has to be told apart, and it takes time.
"""

from __future__ import annotations

from collections.abc import Mapping, Sequence
from dataclasses import dataclass, field, replace
from itertools import pairwise
from typing import NamedTuple

import numpy as np

from silhouette.errors import PoseError
from silhouette.reading import reader, steep
from silhouette.reading.ring_choice import STATURE
from silhouette.records import CUT_BY_FRAME, BlindSpot, Cut, Mask, Note, RingCamera, Stop
from silhouette.records_space import PointBells, Skeleton, StopCamera
from silhouette.settings import RINGS, TRUST, Ring
from silhouette.shape import outline
from silhouette.space import blind_spots, hull, joints, orbit_fit, rings, stature
from silhouette.space.joints import Alone
from silhouette.turnaround import Rings, Turnaround

LEAST_STOPS = 8
"""Clear outlines of a ring from which they tell where its camera stood: one from every 45 degrees."""
WIDEST_GAP = 100.0
"""Degrees round the figure without a stop from which it is not a whole turn: from a half turn opposite views are
missing, and they alone tell near from far."""
SPREAD_SURE = 4.0
"""How sure an angle is that was only spread evenly over the turn, degrees."""
LEVEL = 0.2
"""How far over or under the waist a camera still counts as level, S: 34 cm."""
ABOVE = 0.05
"""How much higher a ring's camera stands than that of the ring under it at least, S: 9 cm, more than heights may be
wrong by."""
LOWEST_M, HIGHEST_M, NEAREST_M = 0.2, 2.6, 2.6
"""Cameras that the reader was taught: their heights, and how near they stood at least, metres."""
HEIGHT_DOUBT, HEIGHT_FLOOR = 3.0, 0.01
"""What the fit's own doubt of a lens's height counts for, and what is left however well the views agree, S: half widths
of the 90 % interval. Set on turns near taught poses: the doubt alone, 1.645 times, held 72 % of 36 cameras."""


@dataclass(frozen=True)
class RingInSpace:
    """One ring in the frame of all."""

    ring: Ring
    stops: tuple[int, ...]
    """(m,) which of its turnaround's stops were used."""
    masks: tuple[Mask, ...] = field(repr=False)
    """(m,) what they show."""
    cameras: tuple[StopCamera, ...] = field(repr=False)
    """(m,) statures, in the frame of all rings."""
    height: float
    """Of its lens over the ground, S."""
    height_sure: float
    """Half width of the 90 % interval, S."""
    tilt: float
    """How far it looked up, degrees."""
    distance: float
    """From the lens to the turning axis, level, S."""
    turned: float
    """How far its angle 0 lies from that of the main ring, degrees, positive clockwise seen from above."""
    apart: float
    """How far the joints that this ring tells alone lie from those of all rings: median, S."""
    same_pose: bool
    """Whether it shows the pose of the main ring; nothing of one that does not is in the skeleton."""


@dataclass(frozen=True)
class Shared:
    """All rings of a pose in one frame: statures, z = 0 on the ground, angle 0 that of the main ring."""

    skeleton: Skeleton
    """Its cameras are those of the rings that show the same pose, in the order of ``rings``."""
    rings: tuple[RingInSpace, ...]
    """Those that can be used, the main ring first."""
    unusable: Mapping[Ring, str]
    """The others, and why in a word: few, half, frame, sizes, body, turn."""

    @property
    def same(self) -> tuple[RingInSpace, ...]:
        """The rings that show the pose of the main ring."""
        return tuple(one for one in self.rings if one.same_pose)

    @property
    def masks(self) -> list[Mask]:
        """Of all stops of these, in the order of the skeleton's cameras: what a hull over all rings is carved from."""
        return [mask for one in self.same for mask in one.masks]


@dataclass(frozen=True)
class InSpace:
    """What all rings of one pose tell together."""

    cameras: Mapping[Ring, RingCamera] = field(default_factory=dict)
    blind_spots: tuple[BlindSpot, ...] | None = None
    notes: tuple[Note, ...] = ()


def in_space(shot: Rings) -> InSpace:
    """Where the cameras stood, as far as outlines or the person tell, and the blind spots."""
    found = shared(shot)
    cameras = cameras_of(shot, found)
    notes = [note for one in shot.all for note in notes_of(one, cameras[one.ring], found)]
    if as_named(cameras):
        notes = [note for note in notes if note.kind != "ring camera elsewhere"]
    return InSpace(cameras, _blind_spots(shot, found), tuple(notes))


def shared(shot: Rings) -> Shared | None:
    """All rings of a pose that can be used, in one frame; None where there is none."""
    order = sorted(shot.all, key=lambda one: (one is not shot.main, RINGS.index(one.ring)))
    unusable: dict[Ring, str] = {}
    told: list[_Told] = []
    for one in order:
        known = _asked(one)
        if isinstance(known, str):
            unusable[one.ring] = known
        else:
            told.append(known)
    return replace(_in_one_frame(told), unusable=unusable) if told else None


class Seen(NamedTuple):
    """The stops of one ring that are used."""

    ring: Ring
    places: Sequence[int]
    """Which of its turnaround's stops they are."""
    stops: Sequence[Stop]
    masks: Sequence[Mask]


class _Told(NamedTuple):
    """What one ring tells alone."""

    seen: Seen
    views: rings.RingViews
    alone: Alone | None
    """None where most of its outlines are not those of a body."""


def _told(seen: Seen) -> _Told:
    views = views_of(seen.stops, seen.masks)
    return _Told(seen, views, None if _no_body(views.bells) else rings.alone(views))


def _asked(shot: Turnaround) -> _Told | str:
    """What a ring tells alone, or why it tells nothing, in a word."""
    places = clear_stops(shot)
    why = _why_not(shot, places)
    if why:
        return why
    told = _told(Seen(shot.ring, places, [shot.stops[k] for k in places], [_cut(shot, k).mask for k in places]))
    return _no_turn(told) or told


def _no_turn(told: _Told) -> str:
    """Why the outlines of a ring are of no use, in a word."""
    return "body" if told.alone is None else "" if rings.turns(told.alone) else "turn"


def together(seen: Sequence[Seen]) -> Shared | None:
    """Rings of one pose in one frame, that of the first that is of use; each a whole turn of masks of one size."""
    told = [_told(one) for one in seen]
    unusable = {one.seen.ring: why for one in told if (why := _no_turn(one))}
    told = [one for one in told if one.seen.ring not in unusable]
    return replace(_in_one_frame(told), unusable=unusable) if told else None


def _in_one_frame(told: Sequence[_Told]) -> Shared:
    found = rings.solve([one.views for one in told], [one.alone for one in told if one.alone is not None])
    same = [k for k, placed in enumerate(found.rings) if placed.joined]
    cameras = [found.skeleton.cameras[placed.stops] for placed in found.rings]
    skeleton = replace(found.skeleton, cameras=tuple(c for k in same for c in cameras[k]))
    raise_by = -_ground([told[k].seen.masks for k in same], [cameras[k] for k in same], skeleton)
    unit = 1 / (stature.stature_by_bones(skeleton) or 1.0)
    out = []
    for (seen, *_), stood, placed in zip(told, cameras, found.rings, strict=True):
        moved = stature.moved(replace(skeleton, cameras=stood), raise_by, unit).cameras
        sure = float(np.hypot(HEIGHT_DOUBT * placed.height_doubt, HEIGHT_FLOOR))
        out.append(RingInSpace(
            seen.ring, tuple(seen.places), tuple(seen.masks), moved, (placed.height + raise_by) * unit, sure,
            placed.tilt, placed.distance * unit, placed.begins, placed.apart * unit, placed.joined))
    return Shared(stature.moved(skeleton, raise_by, unit), tuple(out), {})


def _ground(
    masks: Sequence[Sequence[Mask]], cameras: Sequence[Sequence[StopCamera]], found: Skeleton
) -> float:
    """Where the ground is, by all rings together; where that is not under the figure's lowest joints, for outlines do
    not fit together, by the first ring, or by these joints."""
    lowest = min((j.at[2] for j in found.joints if j.at is not None), default=0.0)
    for some in (len(masks), 1):
        try:
            at = hull.ground_shift([m for own in masks[:some] for m in own], [c for own in cameras[:some] for c in own])
        except PoseError:
            continue
        if abs(at - lowest) < FEET:
            return at
    return lowest


FEET = 0.1
"""How far from the lowest joint, a toe or another, the ground may lie, statures."""


def alone(stops: Sequence[Stop], masks: Sequence[Mask]) -> Skeleton:
    """The joints and cameras of one turn with the ground at z = 0, in units of figure height."""
    views = views_of(stops, masks)
    found = joints.solve(views.bells, views.cameras, views.angle_sure, distance_sure=views.distance_sure)
    return stature.moved(found, -hull.ground_shift(masks, found.cameras), 1.0)


def views_of(stops: Sequence[Stop], masks: Sequence[Mask]) -> rings.RingViews:
    """What the reader says of every outline of a turn, and first cameras."""
    lenses = [stop.focal_35mm for stop in stops if stop.focal_35mm]
    cameras = orbit_fit.first_cameras(
        masks, [stop.angle for stop in stops], float(np.median(lenses)) if lenses else None)
    outlines = [outline.outline_of(mask) for mask in masks]
    bells = [None if line is None else reader.point_bells(line) for line in outlines]
    sure = [SPREAD_SURE if stop.angle_from == "spread" and stop.angle_sure is None else stop.angle_sure
            for stop in stops]
    return rings.RingViews(bells, cameras, sure, joints.LENS_KNOWN if lenses else joints.LENS_UNKNOWN)


def clear_stops(shot: Turnaround) -> list[int]:
    """Which stops of a ring show the figure clearly enough to be held against others."""
    return [k for k, (stop, cut) in enumerate(zip(shot.stops, shot.cuts, strict=True))
            if cut is not None and cut.confidence >= TRUST and cut.mask.any() and np.isfinite(stop.angle)]


def widest_gap(angles: Sequence[float]) -> tuple[float, float, float]:
    """The widest stretch of the circle without any of these angles, and where it begins and ends; degrees."""
    there = np.sort(np.asarray(angles, np.float64) % 360)
    gaps = np.diff([*there, there[0] + 360])
    widest = int(np.argmax(gaps))
    return float(gaps[widest]), float(there[widest]), float(there[(widest + 1) % len(there)])


def _cut(shot: Turnaround, stop: int) -> Cut:
    cut = shot.cuts[stop]
    assert cut is not None
    return cut


def _why_not(shot: Turnaround, seen: Sequence[int]) -> str:
    """Why a ring's outlines cannot tell where its camera stood, in a word; empty where they may."""
    if len(seen) < LEAST_STOPS:
        return "few"
    if len({_cut(shot, k).mask.shape for k in seen}) > 1:
        return "sizes"
    if 2 * sum(CUT_BY_FRAME in _cut(shot, k).flags for k in seen) > len(seen):
        return "frame"
    return "half" if widest_gap([shot.stops[k].angle for k in seen])[0] >= WIDEST_GAP else ""


def _no_body(bells: Sequence[PointBells | None]) -> bool:
    """Whether most of the outlines are not those of a body."""
    return 2 * sum(one is None or one.unlike > reader.UNLIKE for one in bells) > len(bells)


def cameras_of(shot: Rings, found: Shared | None) -> dict[Ring, RingCamera]:
    """Every ring's camera; a height that the person gave wins over what the outlines tell."""
    seen = {one.ring: one for one in found.rings} if found else {}
    waist = rings.waist_of(found.skeleton) if found else None
    given = {one.ring: one.settings.lens_height(one.ring) for one in shot.all}
    tall = [m / seen[ring].height for ring, m in given.items() if m is not None and ring in seen and m > 0.1]
    metres = float(np.clip(np.median(tall), *STATURES)) if tall else STATURE
    out = {}
    for ring, height_m in given.items():
        one = seen.get(ring)
        if one is None:
            height = None if height_m is None else height_m / metres
            out[ring] = RingCamera("unknown" if height_m is None else "given", height, waist=waist, height_m=height_m)
            continue
        out[ring] = RingCamera(
            "outlines" if height_m is None else "given", one.height if height_m is None else height_m / metres,
            one.height_sure if height_m is None else None, one.tilt, one.distance, waist, height_m, one.turned,
            lens=one.cameras[0].focal_px / max(one.cameras[0].size))
    return out


STATURES = (1.4, 2.1)
"""Of models, metres: what a height that was given may make of the stature."""


def seems(camera: RingCamera) -> Ring | None:
    """Which ring it is by where its camera stood; None where that is not known."""
    if camera.height is None or camera.waist is None:
        return None
    over = camera.height - camera.waist
    return "level" if abs(over) <= LEVEL else "low" if over < 0 else "high"


def notes_of(shot: Turnaround, camera: RingCamera, found: Shared | None) -> list[Note]:
    """What a ring's camera makes worth saying."""
    ring = shot.ring
    if camera.found_from == "unknown":
        return [Note.of("ring camera unknown", ring=ring, why=found.unusable[ring] if found else _asked(shot))]
    notes = []
    looks = seems(camera)
    if looks is not None and looks != ring and _surely_not(camera, ring):
        assert camera.height is not None and camera.waist is not None
        notes.append(Note.of("ring camera elsewhere", ring=ring, looks=looks, over=camera.height - camera.waist))
    if found and any(one.ring == ring and not one.same_pose for one in found.rings):
        notes.append(Note.of("ring of another pose", ring=ring, than=found.rings[0].ring))
    outside = _outside(camera)
    if outside:
        notes.append(Note.of("ring camera outside", ring=ring, where=outside))
    return notes


def as_named(cameras: Mapping[Ring, RingCamera]) -> bool:
    """Whether the cameras stood one above the other as their rings are called, the level one at the waist: of a figure
    that sits low, little room is left under it, and a low ring is one all the same."""
    level = cameras.get("level")
    heights = [cameras[ring].height for ring in RINGS if ring in cameras]
    if level is None or level.height is None or level.waist is None or _surely_not(level, "level"):
        return False
    return all(b is not None and a is not None and b - a >= ABOVE for a, b in pairwise(heights))


def _surely_not(camera: RingCamera, ring: Ring) -> bool:
    """Whether the camera stood where this ring's cannot, the doubt of its height allowed for."""
    assert camera.height is not None and camera.waist is not None
    over, sure = camera.height - camera.waist, camera.height_sure or 0.0
    if ring == "level":
        return abs(over) - sure > LEVEL
    return (over if ring == "low" else -over) - sure > -LEVEL


def _outside(camera: RingCamera) -> str:
    """In what way the camera stood where the reader does less well: lower, higher, steeper, nearer; empty where it did
    not. Height alone says so only where nothing tells how steeply it looked."""
    height, sure = camera.height_m, 0.0
    if height is None and camera.height is not None:
        height, sure = camera.height * STATURE, (camera.height_sure or 0.0) * STATURE
    if height is not None and height + sure < LOWEST_M:
        return "lower"
    looks_down_far = steep.too_steep(camera)
    if looks_down_far:
        return "steeper"
    if looks_down_far is None and height is not None and height - sure > HIGHEST_M:
        return "higher"
    near = camera.distance is not None and camera.distance * STATURE < NEAR_SHARE * NEAREST_M
    return "nearer" if near else ""


NEAR_SHARE = 0.95
"""Of the least distance: the stature is not known, nor the distance to a few per cent."""


def _blind_spots(shot: Rings, found: Shared | None) -> tuple[BlindSpot, ...] | None:
    """Parts that stand clear in no view; None where that cannot be told."""
    if found is None or len(found.same) < len(shot.all):
        return None
    ring = [one.ring for one in found.same for _ in one.masks]
    return blind_spots.blind_spots(found.skeleton, found.masks, found.skeleton.cameras, ring,
                                   [one.name for one in shot.close_ups])
