"""Turns taken three times, with the camera low, level and high, whose truth in space is known.

    python -m silhouette.studio.turns_in_rings FOLDER COUNT SEED [taught|kept|kinds] [PICTURES]

A folder a turn, shaped as a pose in three rings: ``low/NNN.png``, ``level/...``, ``high/...`` are exact masks. Of the
first PICTURES turns ``low/NNN.jpg`` ... are pictures as a phone writes them, and their masks lie in ``low_masks/``.
``body.npz`` is the bare body (vertices (n, 3) metres, faces (m, 3)) where it stood in the level ring, and
``truth.json`` holds what :mod:`silhouette.studio.turns_in_space` writes, less ``camera`` and ``stops``, and

- ``figure_l``: volume with clothes and hair, about, litres;
- ``rings``: ring -> ``camera`` (distance_m, height_m, tilt_deg, focal_35mm, width, height); ``start_deg``, how far the
  turn began off angle 0 beyond what the names say; ``aside_m`` (x, y), where the model stood against the level ring;
  ``stops``, a row each: ``mask``, ``file`` (pictures only), ``named`` degrees, ``angle`` as it truly is (from the
  body's front, start and unevenness included), ``limb_legibility`` of the bare body (head, arm_l ... as in views.py;
  longest outlines taken over this ring) and ``drawn``: part of :data:`PARTS` -> length of its own outline that
  background lies next to, over the longest own outline that it has in any stop of any ring, 0 to 1.

The model sways a little, steps off and on between the rings, and is stopped a little unevenly.
"""

from __future__ import annotations

import json
import sys
from dataclasses import asdict, replace
from functools import cache
from pathlib import Path

import numpy as np
import torch
from numpy.typing import NDArray

from silhouette.settings import RINGS
from silhouette.studio import bodies, turns_in_space, views
from silhouette.studio.bodies import Body
from silhouette.studio.cameras import Camera, framed
from silhouette.studio.clothes import pieces
from silhouette.studio.photo import save_mask, save_photo
from silhouette.studio.raster import Mesh, turned
from silhouette.studio.scene import Stage, Standing, posed
from silhouette.studio.turns_in_space import SWAY_M, UNEVEN_DEG, Floats, Rng, Shot

PARTS: dict[str, tuple[str, ...]] = {
    "head": ("head", "eye", "neck03", "jaw", "tongue", "special", "oris", "temporalis", "orbicularis", "levator",
             "risorius"),
    "upper arm": ("upperarm",), "forearm": ("lowerarm",), "hand": ("wrist", "finger", "metacarpal"),
    "thigh": ("upperleg",), "shin": ("lowerleg",), "foot": ("foot", "toe"),
}
"""Parts of the body, and how the names of their bones begin; all but the head are left and right."""
ASIDE_M, START_DEG, START_SHARE = 0.015, 3.0, 0.6
"""How far off the model steps on again, each way (standard deviation); the most that a turn starts off, and how often
it does."""


def some_rings(rng: Rng, points: Floats) -> dict[str, Camera]:
    """Three cameras as people place them: from near the floor, at the waist of the pose, and from over the head."""
    tall = float(np.ptp(points[:, 2]))
    waist = tall * (0.58 if tall > 1.4 else 0.5)
    heights = {
        "low": float(rng.uniform(0.2, min(0.5, waist - 0.1))), "level": waist + float(rng.normal(0, 0.07)),
        "high": float(rng.uniform(2.0, 2.6)),
    }
    usual = float(rng.uniform(3.0, 5.5))
    out: dict[str, Camera] = {}
    for ring in RINGS:
        distance = float(np.clip(usual + rng.normal(0, 0.3), 3.0, 5.5))
        tilt = float(np.degrees(np.arctan2(tall / 2 - heights[ring], distance)) + rng.normal(0, 1.0))
        if ring == "level" and rng.random() < 0.5:
            tilt = 0.0
        camera = Camera(distance, heights[ring], tilt, 120.0, 756, 1008)
        out[ring] = framed(camera, points, np.arange(0, 360, 30.0), margin=float(rng.uniform(0.04, 0.1)))
    return out


@cache
def part_labels() -> tuple[tuple[str, ...], NDArray[np.int64]]:
    """Names of the parts ("hand_l") and for each vertex of the bare body the number of its part, -1 for the trunk."""
    rig = bodies.model_rig()
    names = [part if part == "head" else f"{part.replace(' ', '_')}_{side}" for part in PARTS
             for side in (("",) if part == "head" else ("l", "r"))]
    of_bone = [next((names.index(n) for n in names if _belongs(bone, n)), -1) for bone in rig.names]
    return tuple(names), np.array(of_bone)[rig.weights.argmax(1).numpy()]


def _belongs(bone: str, name: str) -> bool:
    part, side = (name, "") if name == "head" else (name[:-2].replace("_", " "), name[-1].upper())
    return bone.startswith(PARTS[part]) and (not side or bone.endswith(f".{side}"))


def drawn_lengths(body: Body, camera: Camera, angles: Floats) -> tuple[Floats, Floats]:
    """(v, parts) drawn and own outline length of every part in every view, as shares of the figure's height there."""
    names, label = part_labels()
    faces = torch.from_numpy(body.faces).long()
    drawn, own = np.zeros((len(angles), len(names))), np.zeros((len(angles), len(names)))
    for row, angle in enumerate(angles):
        seen = torch.from_numpy(camera.project(body.vertices, float(angle))[:, :2])
        seen = seen * (views.FINE_PX / float(np.ptp(seen[:, 1].numpy())))
        low = seen.amin(0)
        width, height = ((seen.amax(0) - low).ceil().long() + 4).tolist()
        for first in range(0, len(names), 5):
            some = range(first, min(first + 5, len(names)))
            limb = np.where((label >= first) & (label < first + 5), label - first + 1, 0)
            bits = views.rasterise((seen - low + 2)[None], faces, torch.from_numpy(limb), height, width)
            d, o = views.outline_lengths(bits)
            drawn[row, some], own[row, some] = d[0, : len(some)].numpy(), o[0, : len(some)].numpy()
    return drawn / views.FINE_PX, own / views.FINE_PX


def exact_mask(mesh: Mesh, camera: Camera, angle: float, at: Standing) -> NDArray[np.bool_]:
    """(h, w) what the camera sees of a figure that stands a little off its spot, as :class:`Stage` places it."""
    points = turned(mesh.points, angle)
    points = points + np.array([*at.shift, 0.0]) + points[:, 2:] / 1.7 * np.array([*at.lean, 0.0])
    return turns_in_space.exact_masks(points, mesh.triangles, camera, np.zeros(1))[0]


def litres_of_figure(shot: Shot) -> float:
    """Volume of the bare body and of what lies between it and its clothes and hair, litres; without hats."""
    vertices, faces = shot.body.vertices.astype(np.float64), shot.body.faces
    thick = np.zeros(len(vertices))
    for piece, _ in pieces(shot.build, shot.outfit):
        np.maximum.at(thick, piece.start, piece.puff)  # of cloth over cloth the outer one counts
    a, b, c = (vertices[faces[:, k]] for k in range(3))
    area = np.linalg.norm(np.cross(b - a, c - a), axis=1) / 2
    cloth = float((area * thick[faces].mean(axis=1)).sum()) * 1000
    return turns_in_space.litres(*turns_in_space.skin_of(shot.body)) + cloth


def moved(shot: Shot, aside: Floats) -> Shot:
    """The model so far from where it stood, (2,) metres."""
    off = np.array([*aside, 0.0])
    return replace(shot, figure=replace(shot.figure, points=shot.figure.points + off),
                   body=replace(shot.body, vertices=(shot.body.vertices + off).astype(np.float32)))


def write_turn(folder: Path, shot: Shot, rng: Rng, chosen: str, pictures: bool) -> None:
    """Write one turn in three rings."""
    cameras = some_rings(rng, shot.figure.points)
    rings: dict[str, dict[str, object]] = {}
    lengths: dict[str, tuple[Floats, Floats]] = {}
    scene = turns_in_space.some_scene(rng) if pictures else None
    for ring in RINGS:
        aside = rng.normal(0, ASIDE_M, 2) * (ring != "level")
        start = float(rng.uniform(-START_DEG, START_DEG)) * float(rng.random() < START_SHARE) * (ring != "level")
        here, count = moved(shot, aside), int(rng.integers(16, 25))
        named = np.round(np.arange(count) * 360 / count)
        angles = named + start + rng.normal(0, UNEVEN_DEG, count)
        stage = None if scene is None else Stage(scene, cameras[ring])
        figure = None if scene is None else posed(here.figure)
        legible = [one.legibility for one in views.look(here.body, cameras[ring], angles)]
        lengths[ring] = drawn_lengths(here.body, cameras[ring], angles)
        rows: list[dict[str, object]] = []
        for told, angle, legibility in zip(named, angles, legible, strict=True):
            lean, off = rng.normal(0, SWAY_M, 2), rng.normal(0, SWAY_M / 2, 2)
            at = Standing((float(off[0]), float(off[1])), (float(lean[0]), float(lean[1])))
            name = f"{round(told):03d}"
            row: dict[str, object] = {"mask": f"{ring}{'_masks' * pictures}/{name}.png", "named": told,
                                      "angle": round(float(angle) % 360, 3)}
            if stage is not None and figure is not None:
                picture, mask = stage.shoot(figure, float(angle), at=at)
                row["file"] = f"{ring}/{name}.jpg"
                save_photo(folder / ring / f"{name}.jpg", picture, focal_35mm=cameras[ring].focal_35mm)
            else:
                mask = exact_mask(here.figure, cameras[ring], float(angle), at)
            save_mask(folder / str(row["mask"]), mask)
            row["limb_legibility"] = {limb: round(share, 4) for limb, share in legibility.items()}
            rows.append(row)
        camera = asdict(cameras[ring])
        rings[ring] = {
            "camera": {k: camera[k] for k in ("distance_m", "height_m", "tilt_deg", "focal_35mm", "width", "height")},
            "start_deg": round(start, 3), "aside_m": [round(float(v), 4) for v in aside], "stops": rows,
        }
    _tell_drawn(rings, lengths)
    truth = turns_in_space.truth_of(shot, chosen) | {"figure_l": round(litres_of_figure(shot), 3)}
    vertices, faces = turns_in_space.skin_of(shot.body)
    np.savez_compressed(folder / "body.npz", vertices=vertices, faces=faces)
    (folder / "truth.json").write_text(json.dumps({**truth, "rings": rings}, indent=1))


def _tell_drawn(rings: dict[str, dict[str, object]], lengths: dict[str, tuple[Floats, Floats]]) -> None:
    """Put into each stop's row how much of every part is drawn there."""
    longest = np.maximum(np.concatenate([own for _, own in lengths.values()]).max(axis=0), 1e-6)
    for ring, (drawn, _) in lengths.items():
        for row, shares in zip(rings[ring]["stops"], drawn / longest, strict=True):  # type: ignore[call-overload]
            row["drawn"] = {name: round(float(v), 4) for name, v in zip(part_labels()[0], shares, strict=True)}


def main(folder: Path, count: int, seed: int, chosen: str = "kept", pictures: int = 0) -> None:
    """Every turn has a seed of its own, so that a longer run begins with the same turns; what is there stays.
    Those without pictures, which take no time, come first."""
    for k in (*range(pictures, count), *range(min(pictures, count))):
        place = folder / f"{chosen}_{seed}_{k:03d}"
        if (place / "truth.json").exists():
            continue
        place.mkdir(parents=True, exist_ok=True)
        rng = np.random.default_rng([seed, k, sorted(("taught", "kept", "kinds")).index(chosen), 3])
        write_turn(place, turns_in_space.some_turn(rng, chosen, k), rng, chosen, k < pictures)


if __name__ == "__main__":
    main(Path(sys.argv[1]), int(sys.argv[2]), int(sys.argv[3]), (*sys.argv[4:5], "kept")[0],
         int((*sys.argv[5:6], "0")[0]))
