"""The massing model as one web page that works without a network: turned by hand, cut and measured, the wire in it.

The page draws the triangles itself, with the browser's own three-dimensional canvas, and flat where there is none. It
holds no photograph and no outline of a single stop.
"""

from __future__ import annotations

import base64
from typing import Any

import numpy as np
from numpy.typing import NDArray

from silhouette.records_space import Armature, Section, Sizes, Solid, SpaceJoint
from silhouette.show import html, words, words_space
from silhouette.show.svg import path_d

MOST_FACES, MOST_FLAT = 36_000, 7_000
"""Triangles that the page holds, and that it draws where it has to paint them one by one: some 0.6 MB together."""
FIRST, COARSER = 0.9, 1.1
"""The first try takes points together in cells so many times as wide as triangles would be that are as few as asked;
each next one in cells so many times as wide, until they are."""
STEPS = 32_000
"""Numbers in which a place along the model's longest side is told: a hundredth of a millimetre on one of 0.3 m."""


def armature_page(armature: Armature) -> str:
    """The page as HTML; nothing in it points outside it.

    Parameters
    ----------
    armature : Armature
        Of which ``massing``, joints, wires and sections are shown, all as built.
    """
    sizes = armature.sizes
    joints = [_joint(one, sizes.built, armature.base_mm) for one in armature.skeleton.joints if one.at is not None]
    missing = [_named(one) for one in armature.skeleton.joints if one.at is None]
    data = {
        "shape": packed(fewer(armature.massing, MOST_FACES)),
        "flat": packed(fewer(armature.massing, MOST_FLAT)),
        "joints": joints,
        "wires": [(sizes.built * wire.points + (0, 0, armature.base_mm)).round(2).tolist() for wire in armature.wires],
        "sections": [_section(one, sizes, armature.base_mm) for one in sorted(armature.sections, key=lambda s: s.z)],
        "box": _box(armature.massing),
        "finished": sizes.finished / sizes.built,
        "model": 1.0 / sizes.built,
        "sides": [words.side_of(angle) for angle in range(0, 360, 45)],
    }
    return html.render(
        "armature.html.j2",
        name=armature.name,
        subtitle=words_space.subtitle(sizes),
        hull=words_space.HULL,
        joints=joints,
        missing=missing,
        sections=len(armature.sections),
        data=html.script_json(data),
    )


# ------------------------------------------------------------------------------------------------ what the page is told


def _named(joint: SpaceJoint) -> str:
    return words_space.joint(joint.joint if joint.side is None else f"{joint.joint} {joint.side}")


def _joint(joint: SpaceJoint, built: float, base: float) -> dict[str, Any]:
    assert joint.at is not None
    x, y, z = (built * v for v in joint.at)
    return {"name": _named(joint), "at": [round(x, 2), round(y, 2), round(z + base, 2)], "sure": joint.sure,
            "within": None if joint.within is None else round(built * joint.within, 2)}


def _section(section: Section, sizes: Sizes, base: float) -> dict[str, Any]:
    left, front, right, back = section.outline.bounds if not section.outline.is_empty else (0.0, 0.0, 0.0, 0.0)
    return {
        "z": round(sizes.built * section.z + base, 2), "over": round(sizes.built * section.z, 2),
        "wide": round(sizes.built * section.width_m, 2), "deep": round(sizes.built * section.depth_m, 2),
        "area": round((sizes.built / 10) ** 2 * section.area_m2, 2),
        "path": path_d(section.outline), "box": [round(1000 * v, 1) for v in (left, front, right, back)],
    }


def _box(solid: Solid) -> list[list[float]]:
    low, high = solid.vertices.min(axis=0), solid.vertices.max(axis=0)
    return [[round(float(v), 2) for v in end] for end in (low, high)]


# ------------------------------------------------------------------------------------------------------ fewer triangles


def fewer(solid: Solid, most: int) -> tuple[Solid, NDArray[np.float64]]:
    """The surface with at most so many triangles, for a drawing, and how it faces at each of its points, (v, 3).

    Points that share a cell of a grid become one, their mean, and triangles that this makes flat are left out (vertex
    clustering: Rossignac & Borrel 1993); the cells grow until few enough are left. How a point faces is the mean of
    the finer surface's own directions, so that the light falls as on the finer one. It need not stay closed.
    """
    faces = np.asarray(solid.faces)
    facing = _facing(solid)
    low = solid.vertices.min(axis=0)
    area = np.linalg.norm(_across(solid), axis=1).sum() / 2
    cell = FIRST * float(np.sqrt(2 * area / most))
    points, normals, kept = solid.vertices, facing, faces
    while len(kept) > most:
        place = np.floor((solid.vertices - low) / cell).astype(np.int64)
        wide, deep = place[:, :2].max(axis=0) + 1
        _, one, count = np.unique(place @ [1, wide, wide * deep], return_inverse=True, return_counts=True)
        points = _sums(one, solid.vertices, len(count)) / count[:, None]
        normals = _sums(one, facing, len(count))
        kept = one[faces]
        a, b, c = kept.T
        kept = kept[(a != b) & (b != c) & (c != a)]
        cell *= COARSER
    length = np.linalg.norm(normals, axis=1, keepdims=True)
    return Solid(points, kept), normals / np.where(length > 0, length, 1.0)


def _facing(solid: Solid) -> NDArray[np.float64]:
    """(v, 3) sum of the directions of the triangles at each point, each as long as twice its area."""
    across = _across(solid)
    return sum((_sums(solid.faces[:, k], across, len(solid.vertices)) for k in range(3)), np.zeros_like(solid.vertices))


def _across(solid: Solid) -> NDArray[np.float64]:
    """(f, 3) the direction of each triangle, as long as twice its area."""
    a, b, c = (solid.vertices[solid.faces[:, k]] for k in range(3))
    return np.asarray(np.cross(b - a, c - a), np.float64)


def _sums(place: NDArray[np.int64], values: NDArray[np.float64], count: int) -> NDArray[np.float64]:
    return np.stack([np.bincount(place, values[:, k], count) for k in range(3)], axis=1)


def packed(shape: tuple[Solid, NDArray[np.float64]]) -> dict[str, Any]:
    """A surface as the page reads it: places in whole numbers from a corner, in steps of so many millimetres, and
    directions in 127ths; little-endian, base64."""
    solid, facing = shape
    low = solid.vertices.min(axis=0)
    step = float(np.ptp(solid.vertices, axis=0).max()) / STEPS
    assert len(solid.vertices) <= 65_536, "more points than the page can count"
    return {
        "corner": [round(float(v), 3) for v in low], "step": step,
        "points": _base64(np.round((solid.vertices - low) / step).astype("<i2")),
        "facing": _base64(np.round(127 * facing).astype("i1")),
        "faces": _base64(solid.faces.astype("<u2")),
    }


def _base64(values: NDArray[Any]) -> str:
    return base64.b64encode(values.tobytes()).decode("ascii")
