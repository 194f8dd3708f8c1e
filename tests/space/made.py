"""A figure in space made by hand: a skeleton clothed in capsules, whose profiles and cuts can be reasoned out.

She is a ferry keeper of 1.70 m who hauls on a rope: her right arm reaches forward, her left arm bends at the side, her
left foot stands a step ahead. x to her left, y to her back, z up, metres.
"""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import replace
from functools import lru_cache
from typing import Any

import numpy as np
import shapely
from shapely.geometry import LineString, MultiPolygon, Point

from silhouette.records import Note
from silhouette.records_space import (
    JOINTS,
    SINGLE,
    Armature,
    Calipers,
    Profile,
    Section,
    Sizes,
    Skeleton,
    Solid,
    SpaceJoint,
    Taped,
)
from silhouette.space import skeleton as sk
from silhouette.space.sections import calipers

PLACES: dict[str, tuple[float, float, float]] = {
    "crown": (0.01, -0.10, 1.70), "neck": (0.0, -0.02, 1.45),
    "shoulder left": (0.17, -0.01, 1.38), "shoulder right": (-0.17, -0.03, 1.40),
    "elbow left": (0.30, 0.08, 1.15), "elbow right": (-0.22, -0.26, 1.25),
    "wrist left": (0.27, -0.12, 1.02), "wrist right": (-0.16, -0.50, 1.28),
    "hand end left": (0.24, -0.28, 0.95), "hand end right": (-0.14, -0.68, 1.30),
    "hip left": (0.09, 0.01, 0.90), "hip right": (-0.09, 0.03, 0.91),
    "knee left": (0.12, -0.22, 0.52), "knee right": (-0.11, 0.06, 0.50),
    "ankle left": (0.13, -0.20, 0.08), "ankle right": (-0.12, 0.22, 0.09),
    "foot end left": (0.15, -0.40, 0.03), "foot end right": (-0.15, 0.02, 0.03),
}
_ROUND = {"upper arm": 0.045, "forearm": 0.038, "hand": 0.03, "thigh": 0.075, "shin": 0.05, "foot": 0.035}
Capsule = tuple[Any, Any, float]


def skeleton_of(
    places: dict[str, tuple[float, float, float] | None] | None = None, *, within: float = 0.015,
    unsure: Sequence[str] = (), missing: Sequence[str] = (),
) -> Skeleton:
    """PLACES as a skeleton, some of them elsewhere, unsure or missing."""
    placed: dict[str, Any] = PLACES | (places or {})
    made = []
    for joint in JOINTS:
        for side in (None,) if joint in SINGLE else ("left", "right"):
            name = sk.name_of(joint, side)
            if name in missing or placed[name] is None:
                made.append(SpaceJoint(joint, side, None, None, False, Note.of("joint not seen", stops=24)))
            elif name in unsure:
                why = Note.of("joint seen rarely", stops=2, views=3)
                made.append(SpaceJoint(joint, side, placed[name], 4 * within, False, why))
            else:
                made.append(SpaceJoint(joint, side, placed[name], within, True))
    return Skeleton(tuple(made), ())


def capsules(places: dict[str, tuple[float, float, float]] = PLACES) -> list[Capsule]:
    """(from, to, radius): limbs, a trunk of three, neck and head."""
    at = {name: np.array(place) for name, place in places.items()}
    made: list[Capsule] = [
        (start, end, radius)
        for limb, one, other in sk._LIMBS for side in ("left", "right")
        for start, end, radius in [(at[f"{one} {side}"], at[f"{other} {side}"], _ROUND[limb])]
    ]
    hips, shoulders = ((at[f"{j} left"] + at[f"{j} right"]) / 2 for j in ("hip", "shoulder"))
    head = 0.62 * at["crown"] + 0.38 * at["neck"]
    made += [(at["hip left"], at["hip right"], 0.10), (hips, shoulders - (0, 0, 0.08), 0.11),
             (at["shoulder left"], at["shoulder right"], 0.06), (shoulders, head, 0.05), (head, head, 0.095)]
    return made


def profile_of(body: Sequence[Capsule], angle: float | None) -> Profile:
    """What a level view from far shows of capsules: each a thick line."""
    a = np.radians(angle or 0.0)
    def flat(p: Any) -> tuple[float, float]:
        return (p[0], p[1]) if angle is None else (p[0] * np.cos(a) - p[1] * np.sin(a), p[2])

    shapes = [(Point(flat(p)) if np.allclose(flat(p), flat(q)) else LineString([flat(p), flat(q)])).buffer(r, 24)
              for p, q, r in body]
    whole = shapely.union_all(shapes)
    if angle is not None:
        whole = whole.intersection(shapely.box(-9, 0, 9, 9))
    return Profile(angle, whole if isinstance(whole, MultiPolygon) else MultiPolygon([whole]))


def solid_of(body: Sequence[Capsule], cell: float = 0.02) -> Solid:
    """A closed mesh of capsules, cut flat at the ground."""
    from skimage.measure import marching_cubes

    ends = np.array([p for p, _, _ in body] + [q for _, q, _ in body])
    low, high = ends.min(axis=0) - 0.16317, ends.max(axis=0) + 0.16
    axes = [np.arange(lo, hi, cell) for lo, hi in zip(low, high, strict=True)]
    grid = np.stack(np.meshgrid(*axes, indexing="ij"), axis=-1)
    field = np.minimum(np.max([_inside(p, q, r, grid) for p, q, r in body], axis=0), grid[..., 2])
    vertices, faces, _, _ = marching_cubes(field, 0.0, spacing=(cell,) * 3, gradient_direction="ascent")
    return Solid(vertices + [a[0] for a in axes], faces.astype(np.int64))


def _inside(p: Any, q: Any, r: float, grid: np.ndarray) -> np.ndarray:
    """Distance inside a capsule, negative outside."""
    way = np.asarray(q, float) - p
    t = np.clip(((grid - p) @ way) / max(float(way @ way), 1e-12), 0, 1)
    return r - np.linalg.norm(grid - (p + t[..., None] * way), axis=-1)


def section_of(body: Sequence[Capsule], z: float) -> Section:
    """A level cut: slices of each capsule, thick lines of many short pieces."""
    from skimage.measure import find_contours

    xs, ys = np.arange(-0.6, 0.6, 0.006), np.arange(-0.9, 0.6, 0.006)
    grid = np.stack([*np.meshgrid(xs, ys, indexing="ij"), np.full((len(xs), len(ys)), z)], axis=-1)
    field = np.max([_inside(p, q, r, grid) for p, q, r in body], axis=0)
    rings = [shapely.Polygon(c * 0.006 + (xs[0], ys[0])) for c in find_contours(field, 0.0) if len(c) > 4]
    whole = MultiPolygon([ring.buffer(0) for ring in rings if ring.area > 1e-5])
    x0, y0, x1, y1 = whole.bounds if not whole.is_empty else (0, 0, 0, 0)
    return Section(z, whole, whole.area, x1 - x0, y1 - y0)


@lru_cache(maxsize=4)
def _bodies(every: float) -> tuple[Solid, tuple[Section, ...]]:
    body = capsules()
    return solid_of(body), tuple(section_of(body, z) for z in np.arange(every / 2, 1.7, every))


def _calipers(every: float, found: Skeleton) -> tuple[Calipers, ...]:
    solid, _ = _bodies(every)
    return calipers(solid, np.arange(every / 2, 1.7, every).tolist(), sk.places(found))


def armature_of(
    *, scale: float = 4.0, shrinkage: float = 0.0, name: str = "Hauling the rope", skeleton: Skeleton | None = None,
    tape: Sequence[Taped] = (), every: float = 0.08, **changes: Any,
) -> Armature:
    """Everything of her, as ``silhouette armature`` would find it."""
    found = skeleton or skeleton_of()
    sizes = Sizes(1.70, 1.70, "bones", scale, shrinkage)
    solid, sections = _bodies(every)
    centre = (0.0, -0.04, 0.93)
    footing = MultiPolygon([shapely.box(0.09, -0.42, 0.19, -0.16), shapely.box(-0.20, -0.02, -0.08, 0.25)])
    made = Armature(
        name=name, sizes=sizes, skeleton=found, segments=sk.segments(found), figure=solid,
        massing=Solid(solid.vertices * sizes.built + (0, 0, 6.0), solid.faces), base_mm=6.0, volume_l=61.4,
        centre=centre, footing=footing, sections=sections, agreement=(0.98,) * 24, tape=sk.hold(tape, found),
        angles_from="name", stops=tuple(f"{a:03d}" for a in range(0, 360, 15)), bends=sk.bends(found),
        calipers=_calipers(every, found),
        wires=sk.wires(found, sizes), rules=sk.usual_rules(sizes.pose_height_m * sizes.built),
        plumb=sk.plumb(found, centre, footing),
    )
    return replace(made, **changes)


def profiles(*angles: float | None) -> tuple[Profile, ...]:
    """Her profiles, by default front, figure's right and plan."""
    return tuple(profile_of(capsules(), a) for a in angles or (0.0, 90.0, None))
