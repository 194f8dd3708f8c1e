"""Turnarounds whose truth in space is known: joints, volume, skin, camera. For measuring the armature.

    python -m silhouette.studio.turns_in_space masks FOLDER COUNT SEED [taught|kept|kinds]
    python -m silhouette.studio.turns_in_space pictures FOLDER COUNT SEED [taught|kept|kinds]

A folder a turn: ``masks/NNN.png`` (exact), with ``pictures`` also ``NNN.jpg`` as a phone writes them; ``body.npz``
(vertices (n, 3) metres, faces (m, 3): the bare body as it stands on the turntable); and ``truth.json`` with

- ``pose``, ``kind``, ``build``, ``dressed``, ``from`` (taught: poses near those that the reader was taught; kept: near
  those that were kept from it; kinds: the judges' kinds, each as often),
- ``stature_m`` of the build upright, ``pose_height_m`` of the bare body as posed, ``volume_l`` of the bare body,
- ``joints``: name -> (x, y, z) metres, from the turning axis on the ground; with the middles of head, hands and feet,
- ``camera``: distance_m, height_m, tilt_deg, focal_35mm, width, height,
- ``stops``: a row each, ``mask``, ``file``, ``angle`` as it truly is and ``named`` as the name says.

Masks are taken without sway, at the angles named; pictures with a little of both, as in a real turn.
"""

from __future__ import annotations

import json
import sys
from dataclasses import asdict, dataclass, replace
from functools import cache
from pathlib import Path

import numpy as np
import torch
from numpy.typing import NDArray

from silhouette.studio import poses, variety
from silhouette.studio.bodies import Body, Build, pose_body
from silhouette.studio.cameras import Camera, framed
from silhouette.studio.clothes import Outfit, dress
from silhouette.studio.photo import save_mask, save_photo
from silhouette.studio.raster import Mesh
from silhouette.studio.scene import Scene, Stage, Standing, posed
from silhouette.studio.views import rasterise

Floats = NDArray[np.float64]
Rng = np.random.Generator

KINDS: dict[str, tuple[str, ...]] = {
    "standing": ("at ease", "contrapposto", "akimbo", "twisted", "brow shaded", "load on the shoulder"),
    "striding": ("striding", "lunge", "hauling a rope", "throwing", "poling a boat"),
    "kneeling": ("kneeling on one knee", "kneeling", "sitting on heels"),
    "sitting": ("sitting on a block", "sitting, knee held", "sitting and thinking"),
    "arms up": ("both arms up", "arms crossed overhead", "reaching up", "hands behind the head"),
    "arms folded": ("arms folded", "wrapped in her arms", "hand on the chin"),
}
"""What the armature is judged on; every pose is struck a little differently each time."""
NAMES = {"taught": poses.TAUGHT, "kept": poses.KEPT_OUT}
SWAY_M, UNEVEN_DEG, OFF_AXIS_M = 0.003, 0.7, 0.02
"""Standard deviations: of the head's place while the model sways, of an angle against its name, of the body's own
middle against the turning axis each way."""


@dataclass(frozen=True)
class Shot:
    """One turn, before it is taken."""

    pose: str
    kind: str
    build: Build
    body: Body
    figure: Mesh
    dressed: bool
    camera: Camera
    stature_m: float
    outfit: Outfit


def some_turn(rng: Rng, chosen: str, number: int) -> Shot:
    """A body, struck near a named pose, dressed one time in two, before a camera as people place it."""
    kind = ""
    if chosen == "kinds":
        kind = list(KINDS)[number % len(KINDS)]
        names = KINDS[kind]
    else:
        names = NAMES[chosen]
    name = names[int(rng.integers(len(names)))]
    build = replace(variety.some_build(rng), gender=float(rng.choice([rng.uniform(0, 0.15), rng.uniform(0.85, 1)])))
    body = _beside(pose_body(build, poses.sample_near(rng, (name,))), rng.normal(0, OFF_AXIS_M, 2))
    dressed = bool(rng.random() < 0.5)
    outfit = variety.some_outfit(rng)
    if dressed:
        worn = replace(outfit, shirt=outfit.shirt or (0.3, 0.35, 0.4), trousers=outfit.trousers or (0.3, 0.3, 0.3))
    else:
        worn = Outfit(skin=outfit.skin, hair=outfit.hair)
    figure = dress(build, body, worn)
    return Shot(name, kind, build, body, figure, dressed, some_camera(rng, figure.points), stature_of(build),
                worn)


def _beside(body: Body, aside: Floats) -> Body:
    """The body so far from the turning axis, (2,) metres."""
    off = np.array([*aside, 0.0], np.float32)
    return replace(body, vertices=body.vertices + off, joints={k: v + off for k, v in body.joints.items()})


def some_camera(rng: Rng, points: Floats) -> Camera:
    """2.6 to 6 m off, mostly half way up the figure, at times low or high and tilted; the figure fills most of it."""
    tall = float(np.ptp(points[:, 2]))
    distance = float(rng.uniform(2.6, 6.0))
    ordinary = rng.random() < 0.7
    height = float(rng.uniform(0.7, 1.4) if ordinary else rng.uniform(0.2, 2.6))
    level = np.degrees(np.arctan2(tall / 2 - height, distance))
    tilt = float(np.clip(level, -12, 12) + rng.normal(0, 1.0)) if not ordinary or rng.random() < 0.5 else 0.0
    camera = Camera(distance, height, tilt, 120.0, 756, 1008)
    return framed(camera, points, np.arange(0, 360, 30.0), margin=float(rng.uniform(0.04, 0.12)))


@cache
def stature_of(build: Build) -> float:
    """Metres from sole to crown, standing upright, bare."""
    return float(np.ptp(pose_body(build, {}).vertices[:, 2]))


def litres(vertices: Floats, faces: NDArray[np.int32]) -> float:
    """Volume that a closed mesh holds (divergence theorem), litres."""
    a, b, c = (np.asarray(vertices, np.float64)[faces[:, k]] for k in range(3))
    return float(np.einsum("ij,ij->i", a, np.cross(b, c)).sum() / 6 * 1000)


def skin_of(body: Body) -> tuple[Floats, NDArray[np.int32]]:
    """The outer skin alone, without eyes, teeth and tongue, which lie inside it: the largest piece of the mesh."""
    from scipy.sparse import coo_matrix
    from scipy.sparse.csgraph import connected_components

    faces = body.faces
    n = len(body.vertices)
    ends = np.concatenate([faces[:, :2], faces[:, 1:]])
    piece = connected_components(coo_matrix((np.ones(len(ends)), (ends[:, 0], ends[:, 1])), (n, n)), directed=False)[1]
    largest = np.bincount(piece).argmax()
    kept = piece[faces[:, 0]] == largest
    used = np.unique(faces[kept])
    number = np.full(n, -1)
    number[used] = np.arange(len(used))
    return body.vertices[used].astype(np.float64), number[faces[kept]].astype(np.int32)


def exact_masks(points: Floats, faces: NDArray[np.int64], camera: Camera, angles: Floats) -> list[NDArray[np.bool_]]:
    """(h, w) what the camera sees of a mesh from each angle."""
    triangles, limb = torch.from_numpy(np.asarray(faces)).long(), torch.zeros(len(points), dtype=torch.long)
    out = []
    for angle in angles:
        seen = torch.from_numpy(camera.project(np.asarray(points, np.float32), float(angle))[None, :, :2])
        out.append(rasterise(seen, triangles, limb, camera.height, camera.width)[0].numpy() > 0)
    return out


def write_turn(folder: Path, shot: Shot, stops: int, scene: Scene | None, rng: Rng, chosen: str) -> None:
    """Write one turn; with a scene as pictures too."""
    named = np.arange(stops) * 360.0 / stops
    angles, stage, figure = named.copy(), None, None
    if scene is not None:
        angles = named + rng.normal(0, UNEVEN_DEG, stops)
        stage, figure = Stage(scene, shot.camera), posed(shot.figure)
    rows: list[dict[str, object]] = []
    masks = exact_masks(shot.figure.points, shot.figure.triangles, shot.camera, angles)
    for told, angle, exact in zip(named, angles, masks, strict=True):
        name, mask = f"{round(told):03d}", exact
        row: dict[str, object] = {"mask": f"masks/{name}.png", "angle": round(float(angle) % 360, 3), "named": told}
        if stage is not None and figure is not None:
            lean, off = rng.normal(0, SWAY_M, 2), rng.normal(0, SWAY_M / 2, 2)
            at = Standing((float(off[0]), float(off[1])), (float(lean[0]), float(lean[1])))
            picture, mask = stage.shoot(figure, float(angle), at=at)
            save_photo(folder / f"{name}.jpg", picture, focal_35mm=shot.camera.focal_35mm)
            row["file"] = f"{name}.jpg"
        save_mask(folder / "masks" / f"{name}.png", mask)
        rows.append(row)
    vertices, faces = skin_of(shot.body)
    np.savez_compressed(folder / "body.npz", vertices=vertices, faces=faces)
    camera = asdict(shot.camera)
    truth = {
        **truth_of(shot, chosen),
        "camera": {k: camera[k] for k in ("distance_m", "height_m", "tilt_deg", "focal_35mm", "width", "height")},
        "stops": rows,
    }
    (folder / "truth.json").write_text(json.dumps(truth, indent=1))


def truth_of(shot: Shot, chosen: str) -> dict[str, object]:
    """What is known of the body, whatever cameras look at it."""
    vertices, faces = skin_of(shot.body)
    return {
        "pose": shot.pose, "kind": shot.kind, "from": chosen, "build": asdict(shot.build), "dressed": shot.dressed,
        "stature_m": round(shot.stature_m, 4), "pose_height_m": round(float(vertices[:, 2].max()), 4),
        "volume_l": round(litres(vertices, faces), 3),
        "joints": {name: [round(float(v), 5) for v in at] for name, at in shot.body.joints.items()},
    }


def some_scene(rng: Rng) -> Scene:
    """A room and light in which the figure can be cut out."""
    return Scene(variety.some_backdrop(rng), variety.some_lamps(rng), float(rng.uniform(0.18, 0.35)),
                 noise=float(rng.choice([0.8, 1.5, 3.0])), seed=int(rng.integers(1 << 30)))


def main(what: str, folder: Path, count: int, seed: int, chosen: str = "kinds", stops: int = 24) -> None:
    """Every turn has a seed of its own, so that a longer run begins with the same turns; what is there stays."""
    for k in range(count):
        place = folder / f"{chosen}_{seed}_{k:03d}"
        if (place / "truth.json").exists():
            continue
        rng = np.random.default_rng([seed, k, sorted(("taught", "kept", "kinds")).index(chosen)])
        shot = some_turn(rng, chosen, k)
        write_turn(place, shot, stops, some_scene(rng) if what == "pictures" else None, rng, chosen)


if __name__ == "__main__":
    main(sys.argv[1], Path(sys.argv[2]), int(sys.argv[3]), int(sys.argv[4]), (*sys.argv[5:], "kinds")[0])
