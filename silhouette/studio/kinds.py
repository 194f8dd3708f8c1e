"""Single pictures of what makes a cut go wrong, a kind each, drawn at random with exact masks.

    python -m silhouette.studio.kinds FOLDER SEED [KIND ...]

``KIND/tune_0.jpg``, ``KIND/held_0.jpg`` ..., ``KIND/masks/STEM.png`` and ``KIND/truth.json`` (a row a picture: file,
mask, kind, held, angle, share). Nothing may be chosen by the pictures called ``held_``: their bodies, poses, clothes,
rooms and lamps are drawn from seeds of their own. Where a chair is sat on there is a second truth, ``with_chair``. The
kind ``random`` is forty pictures over all that :mod:`silhouette.studio.variety` can do, all of them held.
"""

from __future__ import annotations

import json
import sys
from collections.abc import Callable
from dataclasses import dataclass, replace
from pathlib import Path

import numpy as np
from numpy.typing import NDArray

from silhouette.studio import poses, samples
from silhouette.studio.bodies import LIMBS, Body, pose_body
from silhouette.studio.cameras import Camera, framed
from silhouette.studio.clothes import SKIN, Outfit, dress
from silhouette.studio.furniture import chair, muted, plinth, stool
from silhouette.studio.photo import save_mask, save_photo
from silhouette.studio.raster import Mesh
from silhouette.studio.room import Backdrop, Colour, Floats, Lamp, linear
from silhouette.studio.scene import FILL, Posed, Scene, Stage, posed
from silhouette.studio.solids import sheet, tube
from silhouette.studio.variety import some_build, some_colour, some_lamps, some_outfit, some_picture

Rng = np.random.Generator
EACH = 4
"""Pictures of a kind in either half."""
RANDOM = 40
LOW = ("sitting", "reclining", "lying", "kneeling", "crouching", "arabesque")
STANDING = tuple(n for n in poses.NAMED if not n.startswith(LOW))
SEATED = ("sitting on a block", "sitting, knee held", "sitting and thinking")


@dataclass(frozen=True)
class Shot:
    """One picture of a kind."""

    scene: Scene
    figure: Posed
    others: tuple[Posed, ...] = ()
    turned_deg: float = 0.0
    """How far the figure turns while the shutter is open."""
    fill: tuple[float, float] = (0.55, 0.8)
    """Share of the picture's height that the figure may take."""


# ------------------------------------------------------------------------------------------------- parts of pictures


def between(rng: Rng, low: float, high: float) -> float:
    return float(rng.uniform(low, high))


def someone(rng: Rng, outfit: Outfit | None = None, names: tuple[str, ...] = STANDING) -> Posed:
    """A figure near one of the named poses."""
    build = some_build(rng)
    body = pose_body(build, poses.sample_near(rng, names))
    return posed(dress(build, body, some_outfit(rng) if outfit is None else outfit))


def dressed(rng: Rng, level: tuple[float, float] = (0.08, 0.9)) -> Outfit:
    """Shirt and trousers of a brightness between these two."""
    shirt, trousers = (some_colour(rng, between(rng, *level)) for _ in range(2))
    return replace(some_outfit(rng), shirt=shirt, trousers=trousers, leg=between(rng, 1.5, 1.95))


def near(colour: Colour, rng: Rng, by: float) -> Colour:
    """A colour that can hardly be told from another."""
    red, green, blue = (float(v) for v in np.clip(np.array(colour) + rng.normal(0, by, 3), 0.03, 0.95))
    return red, green, blue


def plain_wall(rng: Rng, level: tuple[float, float] = (0.35, 0.85), **more: object) -> Backdrop:
    wall = some_colour(rng, between(rng, *level), 0.06)
    floor = tuple(float(np.clip(c * rng.uniform(0.6, 1.1), 0.05, 0.95)) for c in wall)
    return replace(Backdrop("wall", wall, floor, behind_m=between(rng, 0.7, 2.0)), **more)  # type: ignore[arg-type]


def scene(rng: Rng, backdrop: Backdrop, lamps: tuple[Lamp, ...] | None = None, **more: object) -> Scene:
    made = Scene(backdrop, lamps or some_lamps(rng), between(rng, 0.18, 0.32), exposure=between(rng, 0.95, 1.2),
                 noise=between(rng, 0.8, 2.5), seed=int(rng.integers(1 << 30)))
    return replace(made, **more)  # type: ignore[arg-type]


def side_lamp(rng: Rng, strength: float, radius: float, colour: Colour = (1.0, 1.0, 1.0), side: float = 0.0) -> Lamp:
    """A lamp before the figure, off to one side, so that its shadow falls on the wall beside the figure."""
    side = side or float(rng.choice([-1, 1]))
    return Lamp((side * between(rng, 0.8, 2.4), between(rng, -3.2, -1.8), between(rng, 1.3, 2.6)), strength, radius,
                colour)


# ---------------------------------------------------------------------------------------------------------- the kinds


def plain(rng: Rng) -> Shot:
    paper = Backdrop("sweep", some_colour(rng, between(rng, 0.4, 0.85), 0.06), behind_m=between(rng, 1.5, 2.2))
    soft = (side_lamp(rng, 0.7, 0.5), FILL)
    return Shot(scene(rng, paper, soft), someone(rng, dressed(rng, (0.06, 0.35))))


def shadow_deep(rng: Rng) -> Shot:
    """Hard, nearly black, close beside the figure."""
    wall = Backdrop(str(rng.choice(["wall", "sweep"])), some_colour(rng, between(rng, 0.4, 0.8), 0.3),
                    behind_m=between(rng, 0.55, 1.1), curve_m=0.3)
    lamp = (side_lamp(rng, 1.0, between(rng, 0.01, 0.06)),)
    return Shot(scene(rng, wall, lamp, ambient=between(rng, 0.05, 0.12), exposure=1.15), someone(rng))


def shadow_coloured(rng: Rng) -> Shot:
    """Two lamps of unlike colours from both sides: each shadow shows the other's colour."""
    wall = plain_wall(rng, (0.55, 0.9), behind_m=between(rng, 0.6, 1.3))
    colours = [(1.0, 0.45, 0.25), (0.3, 0.55, 1.0), (0.5, 1.0, 0.6), (1.0, 0.4, 0.8), (1.0, 0.85, 0.4)]
    first, second = rng.choice(len(colours), 2, replace=False)
    lamps = (side_lamp(rng, 0.7, between(rng, 0.03, 0.25), colours[first], -1.0),
             side_lamp(rng, 0.7, between(rng, 0.03, 0.25), colours[second], 1.0))
    return Shot(scene(rng, wall, lamps, ambient=between(rng, 0.08, 0.2)), someone(rng))


def shadow_soft(rng: Rng) -> Shot:
    """Broad and blurred, without an edge to tell it by."""
    wall = plain_wall(rng, (0.5, 0.9), behind_m=between(rng, 0.5, 0.9))
    return Shot(scene(rng, wall, (side_lamp(rng, 0.95, between(rng, 0.5, 1.0)),), ambient=between(rng, 0.1, 0.2)),
                someone(rng))


def skirting(rng: Rng) -> Shot:
    board = [(0.93, 0.93, 0.9), (0.2, 0.18, 0.16), (0.45, 0.3, 0.18), (0.6, 0.6, 0.62)][int(rng.integers(4))]
    wall = plain_wall(rng, skirting_m=between(rng, 0.07, 0.18), skirting=board, behind_m=between(rng, 0.4, 1.2),
                      texture=str(rng.choice(["", "boards"])))
    shoes = board if rng.random() < 0.5 else some_colour(rng, 0.2)
    return Shot(scene(rng, wall), someone(rng, replace(dressed(rng), shoes=shoes)))


def floor_edge(rng: Rng) -> Shot:
    """Wall and floor as unlike as black and white, the figure's legs like one of them."""
    dark, light = some_colour(rng, between(rng, 0.1, 0.3)), some_colour(rng, between(rng, 0.65, 0.9), 0.06)
    wall, floor = (light, dark) if rng.random() < 0.5 else (dark, light)
    legs = near((wall, floor)[int(rng.integers(2))], rng, 0.04)
    room = Backdrop("wall", wall, floor, behind_m=between(rng, 0.4, 1.4))
    return Shot(scene(rng, room), someone(rng, replace(dressed(rng), trousers=legs, shoes=None)))


def on_plinth(rng: Rng) -> Shot:
    high, build = between(rng, 0.1, 0.5), some_build(rng)
    body = pose_body(build, poses.sample_near(rng, ("akimbo", "contrapposto", "attention", "pointing", "at ease",
                                                    "hand on the chin", "both arms up", "twisted")))
    mesh = dress(build, body, some_outfit(rng))
    colour = muted(rng) if rng.random() < 0.6 else (0.9, 0.89, 0.86)
    stand = plinth(high, between(rng, 0.6, 0.9), colour)
    return Shot(scene(rng, plain_wall(rng)), posed(raised(mesh, high), stand))


def raised(mesh: Mesh, by: float) -> Mesh:
    return Mesh(mesh.points + np.array([0.0, 0.0, by]), mesh.triangles, mesh.albedo)


def rope_or_pole(rng: Rng) -> Shot:
    """What the hands hold is figure."""
    build, pose = some_build(rng), str(rng.choice(["holding a pole", "hauling a rope", "poling a boat"]))
    body = pose_body(build, poses.NAMED[pose])
    colour = muted(rng)
    figure = posed(dress(build, body, some_outfit(rng), *held(body, pose, colour, rng)))
    return Shot(scene(rng, plain_wall(rng)), figure, fill=(0.5, 0.7))


def held(body: Body, pose: str, colour: Colour, rng: Rng) -> list[Mesh]:
    """The rope or the pole of a pose that wants one."""
    left, right = samples.grip(body, "l"), samples.grip(body, "r")
    if pose == "hauling a rope":
        return [replace(m, albedo=np.tile(linear(colour), (len(m.points), 1))) for m in samples.rope(body)]
    if pose == "holding a pole":
        foot = np.array([right[0] - 0.08, right[1] - 0.05, 0.0])
        top = right + (right - foot) / np.linalg.norm(right - foot) * between(rng, 0.5, 1.2)
        return [tube(np.linspace(foot, top, 8), between(rng, 0.012, 0.024), colour)]
    way = (right - left) / np.linalg.norm(right - left)
    low = left - way * between(rng, 0.3, 0.8)
    return [tube(np.linspace(low, right + way * between(rng, 0.2, 0.7), 8), between(rng, 0.012, 0.022), colour)]


def on_chair(rng: Rng) -> Shot:
    build = some_build(rng)
    body = pose_body(build, poses.limit(poses.NAMED[str(rng.choice(SEATED))]))
    colour = muted(rng)
    pelvis = np.asarray(body.joints["pelvis"], float)
    trunk = body.vertices[(body.limb == LIMBS.index("core")) | (body.limb >= LIMBS.index("leg_l"))].astype(float)
    under = trunk[np.hypot(*(trunk[:, :2] - pelvis[:2]).T) < 0.16]
    seat = float(under[:, 2].min()) + 0.01
    mesh = dress(build, body, some_outfit(rng))
    on = stool(seat) if rng.random() < 0.3 else chair(seat, colour, float(rng.choice([0.0, 0.45, 0.45])))
    return Shot(scene(rng, plain_wall(rng)), posed(mesh, on.moved(0, (float(pelvis[0]), float(pelvis[1])))),
                fill=(0.5, 0.7))


def long_skirt(rng: Rng) -> Shot:
    wall = plain_wall(rng)
    cloth = near(wall.wall, rng, 0.06) if rng.random() < 0.5 else some_colour(rng)
    outfit = replace(dressed(rng), trousers=None, skirt=cloth, skirt_to=between(rng, 1.3, 1.95))
    return Shot(scene(rng, wall), someone(rng, outfit, ("akimbo", "contrapposto", "at ease", "waving", "twisted",
                                                        "hand on the heart", "striding", "offering")))


def open_coat(rng: Rng) -> Shot:
    wall = plain_wall(rng)
    cloth = near(wall.wall, rng, 0.06) if rng.random() < 0.5 else some_colour(rng, between(rng, 0.08, 0.7))
    build = some_build(rng)
    body = pose_body(build, poses.sample_near(rng, ("akimbo", "contrapposto", "at ease", "waving", "pointing",
                                                    "hand on the chin", "striding", "reaching up")))
    outfit = replace(dressed(rng), shirt=cloth, sleeve=1.9, shirt_puff=0.022, hem=0.0)
    return Shot(scene(rng, wall), posed(dress(build, body, outfit, coat_tails(body, cloth, rng))))


def coat_tails(body: Body, colour: Colour, rng: Rng) -> Mesh:
    """A coat from the waist down to knee or calf, open in front and swinging out in folds."""
    legs = np.isin(body.limb, [LIMBS.index(n) for n in ("core", "leg_l", "leg_r")])
    points = body.vertices[legs].astype(float)
    hips = (body.joints["hip_l"] + body.joints["hip_r"]).astype(float) / 2
    low = max(0.12, float(hips[2]) * between(rng, 0.2, 0.6))
    gap, flare, folds = between(rng, 0.25, 0.9), between(rng, 0.05, 0.22), int(rng.integers(4, 8))
    turn = np.linspace(-np.pi / 2 + gap, 1.5 * np.pi - gap, 60)
    ways = np.stack([np.cos(turn), np.sin(turn)], axis=1)
    heights = np.linspace(float(hips[2]) + 0.16, low, 16)
    reach: Floats = np.zeros(len(turn))
    rings = []
    for k, z in enumerate(heights):
        share = k / (len(heights) - 1)
        inside = points[np.abs(points[:, 2] - z) < 0.03, :2] - hips[:2]
        own = (inside @ ways.T).max(axis=0) if len(inside) else reach
        reach = np.maximum(own + 0.02, reach * 0.99 if k > 3 else 0)
        wide = reach + flare * share**1.5 * (1 + 0.35 * np.sin(folds * turn))
        rings.append(np.column_stack([hips[:2] + wide[:, None] * ways, np.full(len(turn), z)]))
    points = np.concatenate(rings[::-1])
    return Mesh(points, sheet(len(rings), len(turn)), np.tile(linear(colour), (len(points), 1)))


def skin_wall(rng: Rng) -> Shot:
    """Bare skin before a wall of its own colour."""
    skin = str(rng.choice([s for s in SKIN if "clay" not in s]))
    wall = near(SKIN[skin], rng, 0.035)
    room = Backdrop(str(rng.choice(["wall", "sweep"])), wall, behind_m=between(rng, 0.9, 1.9))
    outfit = replace(Outfit(skin=skin), hair=some_colour(rng, between(rng, 0.05, 0.6)), bun=bool(rng.random() < 0.4),
                     trousers=some_colour(rng, between(rng, 0.1, 0.8)) if rng.random() < 0.3 else None, leg=0.3)
    return Shot(scene(rng, room), someone(rng, outfit))


def dark_on_black(rng: Rng) -> Shot:
    level = between(rng, 0.04, 0.12)
    room = Backdrop("sweep", (level, level, level * 1.05), behind_m=between(rng, 1.2, 2.0))
    outfit = replace(dressed(rng, (0.03, 0.12)), skin=str(rng.choice(["brown", "dark", "deep", "olive"])), sleeve=1.9,
                     hair=(0.05, 0.04, 0.04), hat="")
    return Shot(scene(rng, room, exposure=between(rng, 1.2, 1.7)), someone(rng, outfit))


def white_on_white(rng: Rng) -> Shot:
    level = between(rng, 0.88, 0.96)
    room = Backdrop("sweep", (level, level, level * 0.99), behind_m=between(rng, 1.0, 2.0))
    outfit = replace(dressed(rng, (0.86, 0.96)), skin=str(rng.choice(["porcelain", "pale", "light"])), sleeve=1.6,
                     hair=some_colour(rng, between(rng, 0.5, 0.8)), hat="", shoes=(0.93, 0.93, 0.93))
    return Shot(scene(rng, room, exposure=between(rng, 1.1, 1.3)), someone(rng, outfit))


def bystander(rng: Rng) -> Shot:
    """Somebody else farther back, beside the figure or partly behind it."""
    other = someone(rng, names=("at ease", "arms folded", "akimbo", "attention", "hand on the chin"))
    aside, back = float(rng.choice([-1, 1])) * between(rng, 0.45, 1.1), between(rng, 1.0, 2.2)
    moved = posed(other.mesh.moved(between(rng, 0, 360), (aside, back)))
    return Shot(scene(rng, plain_wall(rng, behind_m=between(rng, 2.5, 3.5), skirting_m=0.1)), someone(rng), (moved,))


def motion_blur(rng: Rng) -> Shot:
    """The model still sways, or still turns, while the shutter is open."""
    turning = between(rng, 3.0, 8.0) if rng.random() < 0.5 else 0.0
    smear = 0.0 if turning else between(rng, 5.0, 13.0)
    return Shot(scene(rng, plain_wall(rng), blur_px=smear), someone(rng), turned_deg=turning)


def back_light(rng: Rng) -> Shot:
    """Light from behind, a bright wall, the figure nearly black."""
    wall = Backdrop("wall", (0.8, 0.82, 0.85), behind_m=between(rng, 1.6, 2.6), glow=between(rng, 0.4, 1.1))
    rim = Lamp((float(rng.choice([-1, 1])) * between(rng, 0.5, 1.4), 1.3, between(rng, 1.9, 2.6)), 0.7, 0.15)
    front = Lamp((-2.0, -3.0, 2.0), between(rng, 0.03, 0.12), 0.6)
    return Shot(scene(rng, wall, (rim, front), ambient=between(rng, 0.06, 0.14)), someone(rng))


def hard_lamp(rng: Rng) -> Shot:
    """One bare lamp: half of the figure lies in the dark."""
    wall = plain_wall(rng, (0.3, 0.85))
    side = float(rng.choice([-1, 1]))
    lamp = Lamp((side * between(rng, 2.0, 3.0), between(rng, -1.6, -0.6), between(rng, 1.4, 2.4)), 1.1, 0.02)
    return Shot(scene(rng, wall, (lamp,), ambient=between(rng, 0.05, 0.12)), someone(rng))


KINDS: dict[str, Callable[[Rng], Shot]] = {
    "plain": plain, "shadow_deep": shadow_deep, "shadow_coloured": shadow_coloured, "shadow_soft": shadow_soft,
    "skirting": skirting, "floor_edge": floor_edge, "plinth": on_plinth, "rope_or_pole": rope_or_pole,
    "chair": on_chair, "long_skirt": long_skirt, "open_coat": open_coat, "skin_wall": skin_wall,
    "dark_on_black": dark_on_black, "white_on_white": white_on_white, "bystander": bystander,
    "motion_blur": motion_blur, "back_light": back_light, "hard_lamp": hard_lamp,
}


# -------------------------------------------------------------------------------------------------- taking the pictures


def some_camera(rng: Rng, tall: float, fill: tuple[float, float]) -> Camera:
    distance = between(rng, 3.2, 4.8)
    return Camera(distance, float(np.clip(tall * rng.uniform(0.45, 0.65), 0.4, 1.3)), 0.0,
                  36 * distance / max(tall, 1.0) * between(rng, *fill), 600, 800,
                  aim=(float(rng.normal(0, 0.02)), float(rng.normal(0, 0.015))))


def take(shot: Shot, rng: Rng) -> tuple[NDArray[np.uint8], dict[str, NDArray[np.bool_]], float]:
    """(h, w, 3) BGR picture, its masks by name (``mask``, with a chair also ``with_chair``), and the angle."""
    camera = some_camera(rng, float(np.ptp(shot.figure.mesh.points[:, 2])), shot.fill)
    angle = between(rng, 0, 360)
    stage = Stage(shot.scene, framed(camera, shot.figure.mesh.points, [angle]))
    if not shot.turned_deg:
        picture, mask = stage.shoot(shot.figure, angle, shot.others)
        whole = replace(shot.figure, own=None)
        return picture, {"mask": mask, "with_chair": stage.mask(whole, angle)}, angle
    total, cover = np.zeros((camera.height, camera.width, 3), np.float32), np.zeros((camera.height, camera.width))
    steps = 9
    for part in np.linspace(-0.5, 0.5, steps):
        shown, layer, before = stage.layers(shot.figure, angle + part * shot.turned_deg, shot.others)
        for each in (layer, *before):
            each.lay_on(shown)
        total += shown / steps
        cover[layer.box] += layer.cover / steps
    return stage.develop(total), {"mask": cover >= 0.5}, angle


def shoot(folder: Path, kind: str, seed: int, each: int = EACH) -> None:
    """Write one kind, as the head of this file says."""
    rows: list[dict[str, object]] = []
    number = list(KINDS).index(kind) if kind in KINDS else len(KINDS)
    plan = [("held", 1, k) for k in range(RANDOM)] if kind == "random" else \
        [(half, h, k) for h, half in enumerate(("tune", "held")) for k in range(each)]
    for half, h, k in plan:
        rng, name = np.random.default_rng([seed, number, h, k]), f"{half}_{k}"
        if kind == "random":
            picture, mask, known = some_picture(rng)
            masks, angle = {"mask": mask}, known["angle"]
        else:
            picture, masks, angle = take(KINDS[kind](rng), rng)
            if kind != "chair":
                masks.pop("with_chair", None)
        save_photo(folder / f"{name}.jpg", picture, quality=int(rng.integers(80, 94)))
        row: dict[str, object] = {"file": f"{name}.jpg", "kind": kind, "held": half == "held", "angle": angle}
        for which, truth in masks.items():
            where = f"{'masks' if which == 'mask' else which}/{name}.png"
            save_mask(folder / where, truth)
            row[which] = where
        rows.append(row | {"share": round(float(masks["mask"].mean()), 5)})
    (folder / "truth.json").write_text(json.dumps(rows, indent=1))


def main(folder: Path, seed: int, only: list[str]) -> None:
    for kind in only or [*KINDS, "random"]:
        shoot(folder / kind, kind, seed)


if __name__ == "__main__":
    main(Path(sys.argv[1]), int(sys.argv[2]), sys.argv[3:])
