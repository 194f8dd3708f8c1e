"""Parts of the body that stand clear in no view of any ring, and the close-up that would show each.

A part is taken as a thick line between its joints. In every view its own contour is walked along, and from each place
of it a short way outward: where the mask ends there, the outline draws this piece of the part; where it goes on, more
of the body lies beyond, and the outline says nothing of it. A piece counts as another part's where the mask ends on
that one's contour. What the clearest view draws, over the longest own contour in any view, says how clear the part
stands.
"""

from __future__ import annotations

import re
from collections.abc import Sequence
from dataclasses import dataclass
from typing import Literal, NamedTuple, cast

import numpy as np
from numpy.typing import NDArray

from silhouette.geometry.orbit import project
from silhouette.records import BlindSpot, BodyPart, Mask
from silhouette.records_space import SINGLE, BodySide, Skeleton, StopCamera
from silhouette.settings import RINGS, Ring
from silhouette.space import stature

Floats = NDArray[np.float64]


class _Kind(NamedTuple):
    """How a part is judged. Lengths are shares of the stature."""

    start: str
    end: str
    """Joints."""
    radius: float
    least: float
    """Drawn less than this in its clearest view, it is a blind spot."""
    names: tuple[str, ...]
    """Words in the name of a close-up that say that it shows the part."""


KINDS: dict[BodyPart, _Kind] = {
    "head": _Kind("neck", "crown", 0.055, 0.5, ("head", "heads", "face", "portrait", "hair")),
    "hand": _Kind("wrist", "hand end", 0.022, 0.55, ("hand", "hands", "finger", "fingers", "palm", "fist", "fists")),
    "forearm": _Kind("elbow", "wrist", 0.023, 0.34, ("forearm", "forearms", "arm", "arms")),
    "upper arm": _Kind("shoulder", "elbow", 0.030, 0.36, ("arm", "arms")),
    "foot": _Kind("ankle", "foot end", 0.025, 0.5, ("foot", "feet", "toe", "toes")),
    "shin": _Kind("knee", "ankle", 0.032, 0.4, ("shin", "shins", "calf", "calves", "leg", "legs")),
    "thigh": _Kind("hip", "knee", 0.047, 0.28, ("thigh", "thighs", "leg", "legs")),
}
"""Radii and limits were set on rendered bodies: see tests/measure/RESULTS.md."""
FREE_ENDS = ("head", "hand", "foot")
"""Parts whose far end is contour too; the others' ends run on into the next part."""
CHIN, SCALP = 0.25, 0.05
"""Where the middle line of the head begins, as a share of the way from neck to crown, and how far under the crown it
ends, statures."""
TRUNK: tuple[tuple[str, str, float], ...] = (
    ("hip left", "hip right", 0.06), ("shoulder left", "shoulder right", 0.035), ("hips", "chest", 0.075),
    ("hip left", "side left", 0.05), ("hip right", "side right", 0.05),
)
"""Thick lines that stand for the trunk, and their radii, statures."""
UP_THE_TRUNK, UP_THE_SIDE = 0.8, 1.25
"""How far those lines reach: from the hips toward the shoulders, and from shoulder to hip beyond the hip."""
ALONG, ROUND_END = 9, 8
"""Places on a part's contour that are looked at, along each side and round a free end."""
OUTWARD, STEPS = 1.8, 20
"""How far outward the mask's edge is looked for from the middle line, radii, and in how many steps."""
MOST_WITHIN = 0.09
"""Joints that may lie farther off than this are not judged, statures."""

ANGLES = tuple(float(a) for a in range(0, 360, 15))
LOOKS_UP_DOWN = (0.0, 30.0, -30.0)
"""Degrees by which a close-up may look down on the part; level where it shows about as much."""
WORTH_A_TILT = 0.2
"""How much more of the part, 0 to 1, a look from above or below must show."""
SPOTS, AT_EDGE = (0.25, 0.5, 0.75, 1.0), 0.8
"""What of a part is looked at: places along its middle line, and how far aside of them, radii."""
CLOSE = 0.5
"""How far off the close-up is taken, statures: what its height over the part is reckoned with."""
LOWEST, HIGHEST = 0.03, 1.3
"""Of a close-up's camera, statures."""
USUAL_HEIGHT: dict[Ring, float] = {"low": 0.2, "level": 0.57, "high": 1.2}
"""Of the rings' cameras, statures, where none was shot."""


@dataclass(frozen=True)
class _Capsules:
    """n thick lines in space, the parts that are judged first."""

    ends: Floats
    """(n, 2, 3)"""
    radius: Floats
    """(n,)"""
    free: NDArray[np.bool_]
    """(p,) for each of the parts judged, whether its far end is contour."""


class _Part(NamedTuple):
    kind: BodyPart
    side: BodySide | None
    ends: Floats


def blind_spots(
    skeleton: Skeleton, masks: Sequence[Mask], cameras: Sequence[StopCamera], rings: Sequence[Ring],
    close_ups: Sequence[str] = (),
) -> tuple[BlindSpot, ...]:
    """Parts of the body that stand clear in no view, the least clear first.

    Parameters
    ----------
    skeleton : Skeleton
        In any unit of length, z = 0 on the ground. Parts whose joints are missing or may lie far off are left out.
    masks : n of (h, w) bool
        What each view shows, of all rings.
    cameras : n StopCamera
        In the skeleton's unit, at the size of the masks.
    rings : n
        The ring of each view.
    close_ups : sequence of str
        Names of the close-ups that are there: one that says the part covers it, "left hand" of the figure's left.

    Returns
    -------
    tuple of BlindSpot
        Heights in statures. Empty where the body is not known well enough, or stands clear.
    """
    unit = stature.stature_by_bones(skeleton)
    if unit is None or not masks:
        return ()
    parts = _parts(skeleton, unit)
    capsules = _capsules(parts, skeleton, unit)
    clear = clearest(capsules, masks, cameras)
    usual = USUAL_HEIGHT | {ring: float(np.median([c.height for c, r in zip(cameras, rings, strict=True) if r == ring]))
                            / unit for ring in set(rings)}
    found = [
        _spot(part, k, float(clear[k]), capsules, unit, usual, close_ups) for k, part in enumerate(parts)
        if clear[k] < KINDS[part.kind].least and _known(skeleton, part, unit)
    ]
    return tuple(sorted(found, key=lambda spot: spot.clear))


# ------------------------------------------------------------------------------------------------------- the parts

def _parts(skeleton: Skeleton, unit: float) -> list[_Part]:
    """The parts both of whose joints have a place."""
    made = []
    for kind, how in KINDS.items():
        for side in (None,) if how.start in SINGLE else cast(tuple[BodySide, ...], ("left", "right")):
            start, end = skeleton.at(how.start, side), skeleton.at(how.end, side)
            if start is not None and end is not None:
                made.append(_Part(kind, side, _in_head(start, end, unit) if kind == "head" else np.stack([start, end])))
    return made


def _in_head(neck: Floats, crown: Floats, unit: float) -> Floats:
    """The middle line of the head."""
    way = crown - neck
    length = max(float(np.linalg.norm(way)), 1e-9)
    return np.stack([neck + CHIN * way, crown - way / length * min(SCALP * unit, length / 2)])


def _known(skeleton: Skeleton, part: _Part, unit: float) -> bool:
    """Whether both joints lie near enough to where they are put."""
    how = KINDS[part.kind]
    own = [j for j in skeleton.joints if j.joint in (how.start, how.end) and j.side == part.side]
    return all(j.within is not None and j.within <= MOST_WITHIN * unit for j in own)


def _capsules(parts: Sequence[_Part], skeleton: Skeleton, unit: float) -> _Capsules:
    """The parts, then the trunk as far as it is known."""
    ends, radius = [part.ends for part in parts], [KINDS[part.kind].radius for part in parts]
    at = _trunk_places(skeleton)
    for start, end, size in TRUNK:
        if start in at and end in at:
            ends.append(np.stack([at[start], at[end]]))
            radius.append(size)
    return _Capsules(np.array(ends).reshape(-1, 2, 3), np.array(radius) * unit,
                     np.array([part.kind in FREE_ENDS for part in parts], np.bool_))


def _trunk_places(skeleton: Skeleton) -> dict[str, Floats]:
    """Where the trunk's lines begin and end, of those that are known."""
    sides: tuple[BodySide, ...] = ("left", "right")
    at = {f"{joint} {side}": place for joint in ("hip", "shoulder") for side in sides
          if (place := skeleton.at(joint, side)) is not None}
    for side in sides:
        if {f"hip {side}", f"shoulder {side}"} <= at.keys():
            at[f"side {side}"] = at[f"shoulder {side}"] + UP_THE_SIDE * (at[f"hip {side}"] - at[f"shoulder {side}"])
    if {"hip left", "hip right", "shoulder left", "shoulder right"} <= at.keys():
        at["hips"] = (at["hip left"] + at["hip right"]) / 2
        at["chest"] = at["hips"] + UP_THE_TRUNK * ((at["shoulder left"] + at["shoulder right"]) / 2 - at["hips"])
    return at


# ----------------------------------------------------------------------------------------------------- how clear

def clearest(capsules: _Capsules, masks: Sequence[Mask], cameras: Sequence[StopCamera]) -> Floats:
    """(p,) how much of each part's contour the clearest view draws, over its longest own contour in any view."""
    most, longest = np.zeros(len(capsules.free)), np.full(len(capsules.free), 1e-9)
    for mask, camera in zip(masks, cameras, strict=True):
        drawn, own = _drawn(capsules, mask, camera)
        most, longest = np.maximum(most, drawn), np.maximum(longest, own)
    return most / longest


def _drawn(capsules: _Capsules, mask: Mask, camera: StopCamera) -> tuple[Floats, Floats]:
    """(p,) the length of each part's contour that one view draws, and of all of it, in the unit of length."""
    flat, depth = project(camera, capsules.ends.reshape(-1, 3))
    flat, per_px = flat.reshape(-1, 2, 2), depth.reshape(-1, 2).mean(axis=1) / camera.focal_px
    radius = capsules.radius / per_px
    drawn, own = np.zeros(len(capsules.free)), np.zeros(len(capsules.free))
    for k, free in enumerate(capsules.free):
        middle, out, length = _contour(flat[k], radius[k], bool(free))
        reach = np.linspace(0, OUTWARD * radius[k], STEPS)
        way = middle[:, None] + out[:, None] * reach[None, :, None]
        open_air = ~_inside(mask, way)
        first = open_air.argmax(axis=1)
        edge = way[np.arange(len(way)), first]
        off = np.abs(_distance(edge, flat) - radius)
        off[:, k] = np.inf
        # the outline may run inside the contour, which is only about right; beyond it, it may be another part's
        mine = off.min(axis=1, initial=np.inf) >= reach[first] - radius[k]
        drawn[k] = (length * (open_air.any(axis=1) & mine)).sum() * per_px[k]
        own[k] = length.sum() * per_px[k]
    return drawn, own


def _contour(line: Floats, radius: float, free: bool) -> tuple[Floats, Floats, Floats]:
    """Places on a thick line's middle (m, 2), the ways outward from there (m, 2), and how much contour each stands for.

    line : (2, 2) pixels.
    """
    way = line[1] - line[0]
    length = float(np.linalg.norm(way))
    ahead = way / length if length > 1e-6 else np.array([1.0, 0.0])
    across = np.array([-ahead[1], ahead[0]])
    middle = line[0] + np.outer((np.arange(ALONG) + 0.5) / ALONG, way)
    places, out = [middle, middle], [np.tile(across, (ALONG, 1)), np.tile(-across, (ALONG, 1))]
    shares = [np.full(2 * ALONG, length / ALONG)]
    if free:
        turn = ((np.arange(ROUND_END) + 0.5) / ROUND_END - 0.5) * np.pi
        places.append(np.tile(line[1], (ROUND_END, 1)))
        out.append(np.outer(np.cos(turn), ahead) + np.outer(np.sin(turn), across))
        shares.append(np.full(ROUND_END, np.pi * radius / ROUND_END))
    return np.concatenate(places), np.concatenate(out), np.concatenate(shares)


def _inside(mask: Mask, places: Floats) -> NDArray[np.bool_]:
    """Whether the figure covers places (..., 2), pixels; what the picture does not show counts as covered."""
    height, width = mask.shape
    x, y = np.floor(places[..., 0]).astype(int), np.floor(places[..., 1]).astype(int)
    shown = (x >= 0) & (x < width) & (y >= 0) & (y < height)
    return ~shown | np.asarray(mask[np.clip(y, 0, height - 1), np.clip(x, 0, width - 1)])


def _distance(places: Floats, lines: Floats) -> Floats:
    """(m, n) from places (m, d) to lines (n, 2, d)."""
    way = lines[:, 1] - lines[:, 0]
    from_start = places[:, None] - lines[None, :, 0]
    share = np.clip((from_start * way).sum(axis=-1) / np.maximum((way**2).sum(axis=-1), 1e-12), 0, 1)
    return np.asarray(np.linalg.norm(from_start - share[..., None] * way, axis=-1))


# --------------------------------------------------------------------------------------------------- the close-up

def _spot(part: _Part, k: int, clear: float, capsules: _Capsules, unit: float, usual: dict[Ring, float],
          close_ups: Sequence[str]) -> BlindSpot:
    angle, look_down = _best_look(k, capsules, unit)
    at = part.ends.mean(axis=0)[2] / unit + np.tan(np.radians(look_down)) * CLOSE
    height = float(np.clip(at, LOWEST, HIGHEST))
    ring = min(RINGS, key=lambda r: abs(usual[r] - height))
    return BlindSpot(part.kind, part.side, angle, height, min(clear, 1.0), ring,
                     covered_by(part.kind, part.side, close_ups))


def _best_look(k: int, capsules: _Capsules, unit: float) -> tuple[float, float]:
    """Angle of the camera, and how far it looks down, from which most of part k is seen with nothing before it."""
    shown = np.array([[_shown(k, capsules, unit, angle, down) for angle in ANGLES] for down in LOOKS_UP_DOWN])
    # the middle of what is open: a close-up is taken by hand, so what lies beside it counts too
    spread = np.array([0.5, 0.8, 1.0, 0.8, 0.5])
    wide = sum(w * np.roll(shown, shift, axis=1) for w, shift in zip(spread, range(-2, 3), strict=True)) / spread.sum()
    wide = np.asarray(wide)
    row = int(wide.max(axis=1).argmax())
    if wide[row].max() < wide[0].max() + WORTH_A_TILT:
        row = 0
    return ANGLES[int(wide[row].argmax())], LOOKS_UP_DOWN[row]


def _shown(k: int, capsules: _Capsules, unit: float, angle: float, down: float) -> float:
    """How much of part k a camera sees, 0 to 1: what nothing lies before, less where it points at the lens."""
    a, e = np.radians(angle), np.radians(down)
    toward = np.array([-np.sin(a) * np.cos(e), -np.cos(a) * np.cos(e), np.sin(e)])
    aside = np.array([np.cos(a), -np.sin(a), 0.0])
    beside = np.stack([0 * aside, aside, -aside, np.cross(toward, aside), -np.cross(toward, aside)])
    line, radius = capsules.ends[k], capsules.radius[k]
    middle = line[0] + np.outer(SPOTS, line[1] - line[0])
    spots = (middle[:, None] + AT_EDGE * radius * beside).reshape(-1, 3)
    away = np.linspace(1.5 * radius, unit, 24)
    rays = spots[:, None] + toward * away[:, None]
    near = _distance(rays.reshape(-1, 3), capsules.ends) < capsules.radius
    near[:, k] = False
    free = ~near.any(axis=1).reshape(len(spots), -1).any(axis=1)
    way = line[1] - line[0]
    across = float(np.linalg.norm(np.cross(way, toward))) / max(float(np.linalg.norm(way)), 1e-9)
    return float(free.mean()) * (0.5 + 0.5 * across)


# -------------------------------------------------------------------------------------------------------- in words

def covered_by(part: BodyPart, side: Literal["left", "right"] | None, close_ups: Sequence[str]) -> str | None:
    """The first close-up whose name says that it shows the part: "left hand", "Hands", "face"."""
    for name in close_ups:
        words = [w.lower() for w in re.findall(r"[A-Z]?[a-z]+|[A-Z]+(?![a-z])", name)]
        said = {word for word in words if word in ("left", "right")}
        if any(word in KINDS[part].names for word in words) and (side is None or not said or side in said):
            return name
    return None
