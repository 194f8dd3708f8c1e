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
from silhouette.show import html, words
from silhouette.show.svg import path_d

MOST_FACES, MOST_FLAT = 36_000, 7_000
"""Triangles that the page holds, and that it draws where it has to paint them one by one: some 0.6 MB together."""
FINEST = 2000.0
"""The finest cells in which points of the surface are taken together: a part in so many of the model's extent."""
COARSER = 1.25
"""Each try takes cells so many times as wide, until the triangles are few enough."""
STEPS = 32_000
"""Numbers in which a place along the model's longest side is told: a hundredth of a millimetre on one of 0.3 m."""

WIRES = (
    ("crown", "neck"), ("neck", "hips"), ("neck", "shoulder"), ("shoulder", "elbow"), ("elbow", "wrist"),
    ("wrist", "hand end"), ("hips", "hip"), ("hip", "knee"), ("knee", "ankle"), ("ankle", "foot end"),
)
"""Where the wire runs, from joint to joint; "hips" is the middle between both hips, which is no joint."""


def armature_page(armature: Armature) -> str:
    """The page as HTML; nothing in it points outside it.

    Parameters
    ----------
    armature : Armature
        Of which ``massing``, the joints and the sections are shown, all as built.
    """
    sizes = armature.sizes
    joints = [_joint(one, sizes.built, armature.base_mm) for one in armature.skeleton.joints if one.at is not None]
    missing = [joint_name(one) for one in armature.skeleton.joints if one.at is None]
    data = {
        "shape": packed(fewer(armature.massing, MOST_FACES)),
        "flat": packed(fewer(armature.massing, MOST_FLAT)),
        "joints": joints,
        "wires": _wires(armature),
        "sections": [_section(one, sizes, armature.base_mm) for one in armature.sections],
        "box": _box(armature.massing),
        "finished": sizes.finished / sizes.built,
        "model": 1.0 / sizes.built,
        "sides": [words.side_of(angle) for angle in range(0, 360, 45)],
    }
    return html.render(
        "armature.html.j2",
        name=armature.name,
        scale=f"1:{sizes.scale:g}" if sizes.scale >= 1 else f"{1 / sizes.scale:g}:1",
        height=f"{sizes.pose_height_m * sizes.built:.0f}",
        finished=f"{sizes.pose_height_m * sizes.finished:.0f}",
        shrinkage=f"{sizes.shrinkage:g}" if sizes.shrinkage else "",
        joints=joints,
        missing=missing,
        sections=len(armature.sections),
        data=html.script_json(data),
    )


def joint_name(joint: SpaceJoint) -> str:
    """What to call a joint: "figure's left elbow", "crown"."""
    return joint.joint if joint.side is None else f"figure's {joint.side} {joint.joint}"


# ------------------------------------------------------------------------------------------------ what the page is told


def _joint(joint: SpaceJoint, built: float, base: float) -> dict[str, Any]:
    assert joint.at is not None
    x, y, z = (built * v for v in joint.at)
    return {"name": joint_name(joint), "at": [round(x, 2), round(y, 2), round(z + base, 2)], "sure": joint.sure,
            "within": None if joint.within is None else round(built * joint.within, 1)}


def _wires(armature: Armature) -> list[list[list[float]]]:
    """Pairs of places, millimetres as built, between which the wire runs."""
    built, base = armature.sizes.built, armature.base_mm
    places = {(one.joint, one.side): np.asarray(one.at) for one in armature.skeleton.joints if one.at is not None}
    hips = [places[at] for at in (("hip", "left"), ("hip", "right")) if at in places]
    if len(hips) == 2:
        places["hips", None] = np.mean(hips, axis=0)
    found = []
    for start, end in WIRES:
        for side in ("left", "right"):
            ends = [places.get((joint, None), places.get((joint, side))) for joint in (start, end)]
            pair = [[round(float(v), 2) for v in built * at + (0, 0, base)] for at in ends if at is not None]
            if len(pair) == 2 and pair not in found:
                found.append(pair)
    return found


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
    cell = float(np.ptp(solid.vertices, axis=0).max()) / FINEST
    points, normals, kept = solid.vertices, facing, faces
    while len(kept) > most:
        cell *= COARSER
        _, one, count = np.unique(np.floor((solid.vertices - low) / cell).astype(np.int64), axis=0,
                                  return_inverse=True, return_counts=True)
        one = one.ravel()
        points = _sums(one, solid.vertices, len(count)) / count[:, None]
        normals = _sums(one, facing, len(count))
        kept = one[faces]
        a, b, c = kept.T
        kept = kept[(a != b) & (b != c) & (c != a)]
    length = np.linalg.norm(normals, axis=1, keepdims=True)
    return Solid(points, kept), normals / np.where(length > 0, length, 1.0)


def _facing(solid: Solid) -> NDArray[np.float64]:
    """(v, 3) sum of the directions of the triangles at each point, each as long as twice its area."""
    a, b, c = (solid.vertices[solid.faces[:, k]] for k in range(3))
    across = np.cross(b - a, c - a)
    return sum((_sums(solid.faces[:, k], across, len(solid.vertices)) for k in range(3)), np.zeros_like(solid.vertices))


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
