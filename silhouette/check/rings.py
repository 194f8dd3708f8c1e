"""Do the rings of one pose belong together: one pose, one start, one light, the same stops, each at its own height?

A question here is a function of :class:`~silhouette.records_shoot.AllRings`; the stops it names are counted over all
rings. It is asked only of a pose that was shot in several.
"""

from __future__ import annotations

from collections.abc import Iterable
from itertools import pairwise

import numpy as np
from numpy.typing import NDArray

from silhouette.check.made_out import made_out
from silhouette.geometry.angles import apart, difference
from silhouette.records import BlindSpot
from silhouette.records_shoot import ORDER, AllRings, Finding, RingApart, Shot, Verdict
from silhouette.settings import Ring

Floats = NDArray[np.float64]

OTHER_POSE = 0.3
"""Share of the joints that lie elsewhere from which a ring shows another pose, and not a limb that moved."""
LEAST_OTHER = 4
"""And how many that are at least."""
CLEARLY = 0.06
"""Share of the stature by which a joint lies elsewhere from which it is to be shot again: 10 cm."""
ODD = 0.011
"""What sticks out of all rings' block at a stop, share of the figure, from which it is named; as within one turn."""
ODD_JOINED = 0.004
"""The same where joints lie elsewhere too. As they were shot, rings of 24 rendered turns reach 0.001."""
MOST_NAMED = 3
"""Joints that are named, farthest first."""
START_OFF = 6.0
"""Degrees between the angles 0 of two rings that are worth a look: more than the outlines may be wrong by."""
LIGHT, SIDE = 0.25, 0.1
"""Change of the light on the figure or the backdrop between rings, natural log, and of its picture left over its
picture right, that are worth a look: from another height another part of the room is seen, so less is no sign."""
LACKS = 0.75
"""A stop of one ring has no fellow in another if none lies within so many usual steps of the wider of the two."""
LEVELS = 0.08
"""Statures between the heights of two rings' cameras under which they are one: 14 cm."""


def right_ring(rings: AllRings) -> Finding:
    """Was every stop taken from the height of its ring, or were two exchanged?"""
    check = "right ring"
    if rings.strays is None:
        return Finding.of(check, "unknown", "rings not compared", rings=_uncompared(rings))
    if not rings.strays:
        return _left_out(check, rings) or Finding.of(check, "pass", "stops in their rings")
    parts = []
    for stray in rings.strays:
        if stray.other is None:
            parts.append(Finding.of(check, "retake", "from another ring", (stray.stop,), looks=stray.looks))
        else:
            parts.append(Finding.of(check, "retake", "stops exchanged", (stray.stop, stray.other), looks=stray.looks))
    return _joined(parts)


def same_pose(rings: AllRings) -> Finding:
    """Do all rings show one pose? What all outlines leave together says whether, the joints that each ring tells alone
    say where: a hand that no outline shows is a guess, and may lie elsewhere in each."""
    check = "same pose"
    if not rings.apart or rings.outside is None:
        return Finding.of(check, "unknown", "rings not compared", rings=_uncompared(rings))
    out, worst = np.nan_to_num(rings.outside), float(np.nanmax(rings.outside, initial=0.0))
    parts = [_elsewhere(rings, one) for one in rings.apart if one.moved and worst > ODD_JOINED]
    if not parts and worst > ODD:
        parts.append(Finding.of(check, "look", "outside the others", np.flatnonzero(out > ODD), share=worst))
    if parts:
        return _joined(parts)
    return _left_out(check, rings) or Finding.of(check, "pass", "one pose", compared=rings.clear)


def _elsewhere(rings: AllRings, one: RingApart) -> Finding:
    """A ring whose joints do not all lie where the main ring has them."""
    far = one.moved[0][2]
    named = tuple((joint, side or "") for joint, side, _ in one.moved[:MOST_NAMED])
    values = {"ring": one.ring, "than": rings.main, "joints": named, "height_m": rings.stature_m}
    if len(one.moved) >= max(LEAST_OTHER, OTHER_POSE * one.known):
        return Finding("same pose", "retake", "another pose", (), tuple(values.items()), far=far)
    verdict: Verdict = "retake" if far > CLEARLY else "look"
    return Finding("same pose", verdict, "limb elsewhere", (), tuple(values.items()), far=far)


def same_start(rings: AllRings) -> Finding:
    """Does angle 0 of every ring show the figure from the same side?"""
    check = "same start"
    if not rings.apart:
        return Finding.of(check, "unknown", "rings not compared", rings=_uncompared(rings))
    parts = [Finding.of(check, "look", "starts elsewhere", ring=one.ring, than=rings.main, degrees=one.turned)
             for one in rings.apart if abs(difference(one.turned, 0.0)) > START_OFF]
    if parts:
        return _joined(parts)
    most = max(abs(one.turned) for one in rings.apart)
    return _left_out(check, rings) or Finding.of(check, "pass", "one start", within=most)


def same_light(rings: AllRings) -> Finding:
    """Is the light on figure and backdrop alike in all rings, and does the key come from one side?"""
    check = "same light"
    told = {ring: light for ring, shot in rings.shots if (light := _light(shot)) is not None}
    if len(told) < 2:
        return Finding.of(check, "unknown", "light not compared")
    base = rings.main if rings.main in told else next(iter(told))
    parts = []
    for ring, light in told.items():
        figure, backdrop, side = (float(v) for v in light - told[base])
        if abs(figure) > LIGHT or abs(backdrop) > LIGHT:
            what = "figure" if abs(figure) >= abs(backdrop) else "backdrop"
            by = float(np.exp(figure if what == "figure" else backdrop) - 1)
            parts.append(Finding.of(check, "look", "other light", ring=ring, than=base, what=what, brighter=by))
        elif abs(side) > SIDE and light[2] * told[base][2] < 0:
            parts.append(Finding.of(check, "look", "key from the other side", ring=ring, than=base,
                                    side="picture left" if light[2] > 0 else "picture right"))
    return _joined(parts) if parts else Finding.of(check, "pass", "one light", rings=tuple(told))


def _light(shot: Shot) -> Floats | None:
    """(3,) natural logs: how bright figure and backdrop are, and picture left over picture right; None where no figure
    stands in any light."""
    seen = [shot.looks[k] for k in made_out(shot.looks) if shot.looks[k].backdrop_light > 0]
    if not seen or shot.no_turn is not None:
        return None
    rows = [(np.log(one.figure_light[1] + 4), np.log(one.backdrop_light + 4), one.side_light) for one in seen]
    median, mean = np.median(rows, axis=0), np.mean(rows, axis=0)
    return np.array([median[0], median[1], mean[2]])


def same_stops(rings: AllRings) -> Finding:
    """Has every ring a stop where the others have one?"""
    check = "same stops"
    told = {ring: _angles(shot) for ring, shot in rings.shots if _angled(shot)}
    if len(told) < 2:
        return Finding.of(check, "unknown", "ring angles not known")
    parts = []
    for ring, own in told.items():
        lacking = _lacking(own, [(there, other) for there, other in told.items() if there != ring])
        if lacking:
            parts.append(Finding.of(check, "retake", "ring lacks stops", ring=ring, stretches=lacking))
    if parts:
        return _joined(parts)
    counts = tuple((ring, len(shot.stops)) for ring, shot in rings.shots)
    return Finding.of(check, "pass", "stops alike", counts=counts)


def _angled(shot: Shot) -> bool:
    by_outlines = shot.by_outlines and not (shot.angled and shot.angles_told)
    return shot.no_turn is None and shot.camera_moved is None and not by_outlines


def _angles(shot: Shot) -> Floats:
    """The angles of its stops, the repeat of the first counted once; with the usual step in front."""
    angles = np.unique(np.round([stop.angle % 360 for stop in shot.stops if np.isfinite(stop.angle)], 1))
    return np.asarray([shot.usual_step or 360.0, *angles], dtype=np.float64)


def _lacking(own: Floats, others: Iterable[tuple[Ring, Floats]]) -> tuple[tuple[float, float], ...]:
    """Stretches in which others have stops and this ring has none: from the first of those stops to the last."""
    bare: list[float] = []
    for _, other in others:
        reach = LACKS * max(own[0], other[0])
        bare += [float(a) for a in other[1:] if min(apart(a, b) for b in own[1:]) > reach]
    found: list[tuple[float, float]] = []
    for angle in sorted(set(bare)):
        # no stop of its own in between: one stretch
        if found and not np.any((own[1:] > found[-1][1]) & (own[1:] < angle)):
            found[-1] = (found[-1][0], angle)
        else:
            found.append((angle, angle))
    if len(found) > 1 and not np.any((own[1:] > found[-1][1]) | (own[1:] < found[0][0])):
        found = [(found[-1][0], found[0][1]), *found[1:-1]]
    return tuple(found)


def ring_heights(rings: AllRings) -> Finding:
    """Did the cameras stand at heights that the rings' names say, and not all at one?"""
    check = "ring heights"
    known = [(ring, rings.cameras[ring].height) for ring, _ in rings.shots
             if ring in rings.cameras and rings.cameras[ring].height is not None]
    heights = [(ring, float(height)) for ring, height in known if height is not None]
    if len(heights) < 2:
        return Finding.of(check, "unknown", "heights not known")
    metres = {ring: rings.cameras[ring].height_m for ring, _ in heights}
    parts = []
    for (below, a), (above, b) in pairwise(heights):
        kind = "one height" if abs(b - a) < LEVELS else "heights against names" if b < a else None
        if kind is not None:
            parts.append(Finding.of(check, "look", kind, rings=(below, above), heights=(a, b),
                                    metres=(metres[below], metres[above])))
    parts = parts or [Finding.of(check, "look", "camera elsewhere", ring=note["ring"], looks=note["looks"])
                      for note in rings.notes if note.kind == "ring camera elsewhere"]
    if parts:
        return _joined(parts)
    return Finding.of(check, "pass", "heights as named", rings=tuple(ring for ring, _ in heights),
                      heights=tuple(h for _, h in heights), metres=tuple(metres.values()))


def blind_spots(rings: AllRings) -> Finding:
    """Is there a part of the body that stands clear in no stop of any ring, and that no close-up shows?"""
    check = "blind spots"
    if rings.blind_spots is None:
        return Finding.of(check, "unknown", "blind spots not known")
    bare = [spot for spot in rings.blind_spots if spot.covered_by is None]
    if not bare:
        return Finding.of(check, "pass", "nothing blind", covered=len(rings.blind_spots))
    return Finding.of(check, "look", "blind spots", spots=tuple(_spot(spot) for spot in bare),
                      stature_m=rings.stature_m)


def _spot(spot: BlindSpot) -> tuple[str, str, float, float, str]:
    """Part, the figure's side, angle, height in statures, ring."""
    return spot.part, spot.side or "", spot.angle, spot.height, spot.ring


def _uncompared(rings: AllRings) -> tuple[Ring, ...]:
    """Rings whose outlines are too few, or tell too little, to be held against another ring's."""
    return tuple(ring for ring, _ in rings.shots if ring not in rings.clear)


def _left_out(check: str, rings: AllRings) -> Finding | None:
    """What is answered where nothing is wrong, but a ring could not be held against the others."""
    lost = _uncompared(rings)
    return Finding.of(check, "unknown", "rings not compared", rings=lost) if lost else None


def _joined(parts: list[Finding]) -> Finding:
    """Several things that are wrong as one finding, gravest first."""
    parts = sorted(parts, key=lambda part: ORDER[part.verdict])
    if len(parts) == 1:
        return parts[0]
    worst = parts[0]
    stops = tuple(sorted({k for part in parts if part.verdict == worst.verdict for k in part.stops}))
    return Finding(worst.check, worst.verdict, worst.kind, stops, worst.values, far=worst.far, parts=tuple(parts))


QUESTIONS = (right_ring, same_pose, same_start, same_stops, same_light, ring_heights, blind_spots)
