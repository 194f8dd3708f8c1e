"""Difficult pictures and whole turnarounds with exact masks, for measuring the cut-out.

    python -m silhouette.studio.trials hard FOLDER
    python -m silhouette.studio.trials turns FOLDER
"""

from __future__ import annotations

import json
import sys
from dataclasses import dataclass, replace
from pathlib import Path

import numpy as np

from silhouette.studio.bodies import Build, pose_body
from silhouette.studio.cameras import Camera
from silhouette.studio.clothes import Outfit, dress
from silhouette.studio.furniture import easel, lamp_stand, stool
from silhouette.studio.photo import save_mask, save_photo
from silhouette.studio.poses import NAMED
from silhouette.studio.raster import Mesh
from silhouette.studio.room import Backdrop, Lamp
from silhouette.studio.scene import FILL, Posed, Scene, Stage, posed
from silhouette.studio.solids import tube
from silhouette.studio.views import look

CAMERA = Camera(distance_m=4.2, height_m=1.0, focal_35mm=58, width=600, height=800)
WOMAN = Build(gender=0.95, age=0.72, muscle=0.45, weight=0.5, height=0.5)
MAN = Build(gender=0.05, age=0.7, muscle=0.6, weight=0.5, height=0.55)
HEAVY = Build(gender=0.8, age=0.8, muscle=0.4, weight=0.8, height=0.45)
SLIGHT = Build(gender=0.5, age=0.67, muscle=0.3, weight=0.3, height=0.6)
OLD = Build(gender=0.2, age=0.95, muscle=0.35, weight=0.45, height=0.45)
FRONTAL = Lamp((-0.4, -4.0, 1.8), 0.7, 0.4)
HARD = (Lamp((-1.6, -2.4, 2.0), 1.0, 0.02),)
SOFT = (Lamp((-1.8, -3.0, 2.6), 0.6, 0.8), Lamp((2.4, -2.8, 2.2), 0.35, 0.8))
BEHIND = (Lamp((0.9, 1.3, 2.4), 0.8, 0.15), Lamp((-2.0, -3.0, 2.0), 0.08, 0.6))


@dataclass(frozen=True)
class Shot:
    """One difficult picture."""

    pose: str
    outfit: Outfit
    scene: Scene
    build: Build = WOMAN
    camera: Camera = CAMERA
    angles: tuple[float, ...] = (20.0,)
    beside: tuple[Mesh, ...] = ()
    nobody: bool = False
    """The room is empty but for what stands beside."""
    quality: int = 92


WALL, PAPER = "wall", "sweep"
EVERYDAY = Outfit(skin="tan", shirt=(0.2, 0.35, 0.5), trousers=(0.25, 0.22, 0.2), shoes=(0.1, 0.1, 0.1))
BLONDE = Outfit(skin="pale", hair=(0.75, 0.62, 0.42))
KEEPER = Outfit(skin="light", shirt=(0.25, 0.33, 0.42), trousers=(0.2, 0.2, 0.22), shoes=(0.12, 0.1, 0.08), bun=True,
                sleeve=1.3)


def hard_shots() -> dict[str, Shot]:
    """Name of the kind -> how it is shot."""
    return matching_shots() | lit_shots() | crowded_shots()


def matching_shots() -> dict[str, Shot]:
    """The figure is as bright and as coloured as what is behind it."""
    whites = Outfit(skin="light", shirt=(0.95, 0.95, 0.93), trousers=(0.94, 0.94, 0.92), shoes=(0.95, 0.95, 0.95),
                    hair=(0.75, 0.72, 0.68), sleeve=1.8)
    darks = Outfit(skin="dark", shirt=(0.06, 0.06, 0.07), trousers=(0.05, 0.05, 0.06), shoes=(0.04, 0.04, 0.04),
                   sleeve=1.9)
    greys = Outfit(skin="grey clay", hair=(0.52, 0.52, 0.52), shirt=(0.56, 0.56, 0.57), trousers=(0.5, 0.5, 0.52))
    sand = Outfit(skin="light", shirt=(0.8, 0.6, 0.45), trousers=(0.5, 0.4, 0.32))
    linen = replace(EVERYDAY, shirt=(0.5, 0.45, 0.4))
    lamp_glow = replace(FRONTAL, colour=(1.0, 0.78, 0.52))
    skin_wall = Backdrop(WALL, (0.80, 0.62, 0.52), (0.74, 0.6, 0.5), behind_m=1.4)
    plaster = Backdrop(WALL, (0.72, 0.69, 0.62), (0.5, 0.48, 0.45), texture="plaster", skirting_m=0.1)
    folds = Backdrop(PAPER, (0.62, 0.58, 0.52), folds=1.6, curve_m=0.4, seed=4)
    ochre = Backdrop(WALL, (0.83, 0.74, 0.62), (0.55, 0.42, 0.3))
    warm_room = Scene(ochre, (lamp_glow,), ambient_colour=(1.0, 0.8, 0.6))
    return {
        "pale_on_white": Shot("akimbo", BLONDE, Scene(Backdrop(PAPER, (0.95, 0.95, 0.94)), SOFT, exposure=1.25),
                              angles=(15, 140, 285)),
        "white_on_white": Shot("waving", whites, Scene(Backdrop(PAPER, (0.93, 0.93, 0.93)), exposure=1.3), HEAVY,
                               angles=(30, 200, 320)),
        "dark_on_black": Shot("contrapposto", darks, Scene(Backdrop(PAPER, (0.07, 0.07, 0.075)), exposure=1.5), MAN,
                              angles=(25, 160, 290)),
        "grey_on_grey": Shot("pointing", greys, Scene(Backdrop(PAPER, (0.55, 0.55, 0.56)), SOFT), SLIGHT,
                             angles=(40, 130, 250)),
        "skin_wall": Shot("reaching up", replace(BLONDE, skin="light"), Scene(skin_wall, SOFT), angles=(20, 110, 230)),
        "warm_flat": Shot("striding", sand, warm_room, angles=(90, 200, 315)),
        "cloth_folds": Shot("hand on the heart", linen, Scene(folds), HEAVY, angles=(35, 180, 275)),
        "plaster": Shot("carrying a load", replace(BLONDE, skin="brown"), Scene(plaster), HEAVY, angles=(45, 170, 290)),
    }


def lit_shots() -> dict[str, Shot]:
    """The light makes it hard."""
    grey_room = Backdrop(WALL, (0.7, 0.7, 0.72), (0.62, 0.62, 0.62), behind_m=1.1)
    pale_room = Backdrop(WALL, (0.8, 0.79, 0.76), (0.6, 0.57, 0.52), behind_m=0.9)
    across = (Lamp((2.0, -1.9, 2.6), 0.95, 0.08), Lamp((-2.5, -3, 1.8), 0.2, 0.6))
    near = (Lamp((-1.2, -1.2, 2.2), 0.8, 0.3),)
    glowing = Scene(Backdrop(WALL, (0.8, 0.82, 0.85), glow=0.9), BEHIND, ambient=0.12)
    return {
        "hard_lamp": Shot("twisted", EVERYDAY, Scene(pale_room, HARD, ambient=0.1), OLD, angles=(10, 75, 330)),
        "back_light": Shot("arms crossed overhead", EVERYDAY, glowing, angles=(0, 95, 210)),
        "heavy_noise": Shot("lunge", EVERYDAY, Scene(Backdrop(PAPER, (0.5, 0.5, 0.48)), noise=14.0), SLIGHT,
                            angles=(45, 135, 270), quality=80),
        "shadow_floor_wall": Shot("on one leg", replace(EVERYDAY, skin="brown"), Scene(grey_room, across), SLIGHT,
                                  angles=(0, 120, 240)),
        "vignette": Shot("throwing", EVERYDAY, Scene(Backdrop(PAPER, (0.6, 0.58, 0.55)), near, vignette=0.65), MAN,
                         angles=(30, 110, 300)),
    }


def crowded_shots() -> dict[str, Shot]:
    """The room makes it hard: colours, edges, furniture, windows, or nobody in it."""
    green = Backdrop(WALL, (0.15, 0.5, 0.42), (0.45, 0.42, 0.4), skirting_m=0.09)
    boards = Backdrop(WALL, (0.75, 0.74, 0.7), (0.5, 0.4, 0.3), texture="boards")
    plain = Backdrop(WALL, (0.72, 0.7, 0.66), (0.4, 0.33, 0.28), skirting_m=0.1)
    edge = Backdrop(WALL, (0.86, 0.85, 0.8), (0.32, 0.24, 0.18), behind_m=0.7, skirting_m=0.12)
    bricks = Backdrop(WALL, (0.62, 0.5, 0.44), (0.5, 0.48, 0.46), texture="bricks")
    window = Backdrop(WALL, (0.6, 0.62, 0.6), (0.45, 0.4, 0.36), window=(0.75, 1.7, 0.9, 2.2))
    brown_legs = replace(EVERYDAY, trousers=(0.42, 0.36, 0.30), shoes=None)
    hat = Outfit(skin="olive", hair=(0.12, 0.1, 0.09), bun=True, hat="brim", shirt=(0.6, 0.2, 0.15),
                 shoes=(0.2, 0.15, 0.1), skirt=(0.2, 0.22, 0.3), skirt_to=1.4)
    deep = replace(BLONDE, skin="deep", hair=(0.05, 0.05, 0.05))
    beside = (stool().moved(20, (0.95, 0.2)), lamp_stand().moved(0, (-0.98, 0.4)))
    from_right = (Lamp((2.4, -1.0, 2.0), 0.6, 0.6), FILL)
    return {
        "coloured_wall": Shot("striding", EVERYDAY, Scene(green), MAN, angles=(60, 150, 300)),
        "furniture": Shot("offering", EVERYDAY, Scene(boards), angles=(15, 165, 250), beside=beside),
        "nobody": Shot("", EVERYDAY, Scene(Backdrop(PAPER, (0.7, 0.7, 0.68))), nobody=True, angles=(0,)),
        "nobody_stool": Shot("", EVERYDAY, Scene(plain), nobody=True, angles=(0,),
                             beside=(stool().moved(10, (0.8, 0.3)),)),
        "wall_floor_edge": Shot("at ease", brown_legs, Scene(edge), angles=(10, 100, 190)),
        "hair_and_hat": Shot("brow shaded", hat, Scene(Backdrop(PAPER, (0.66, 0.68, 0.7))), angles=(0, 80, 215)),
        "bright_window": Shot("hand on the chin", EVERYDAY, Scene(window, from_right), OLD, angles=(20, 145, 310)),
        "textured_wall": Shot("load on the shoulder", EVERYDAY, Scene(bricks), MAN, angles=(30, 130, 260)),
        "paper_roll": Shot("hands behind the head", deep, Scene(Backdrop(PAPER, (0.82, 0.83, 0.85), paper_m=2.1)),
                           angles=(0, 75, 225)),
        "easel_near": Shot("holding a pole", EVERYDAY, Scene(Backdrop(PAPER, (0.45, 0.5, 0.58))), angles=(25, 115, 300),
                           beside=(easel().moved(-20, (1.05, 0.1)),)),
    }


def figure_of(build: Build, pose: str, outfit: Outfit) -> Posed:
    """A dressed figure in a pose of :data:`silhouette.studio.poses.NAMED`; pole poses get their pole."""
    body = pose_body(build, NAMED[pose])
    held: tuple[Mesh, ...] = ()
    if pose == "holding a pole":
        hand = np.asarray(body.joints["hand_r"], float) + np.array([0.0, -0.03, 0.0])
        low, high = np.array([hand[0] - 0.08, hand[1] - 0.06, 0.0]), np.array([hand[0] + 0.08, hand[1] + 0.05, 2.1])
        held = (tube(np.linspace(low, high, 6), 0.017, (0.55, 0.4, 0.24)),)
    return posed(dress(build, body, outfit, *held))


def shoot_hard(folder: Path, only: list[str] | None = None) -> None:
    """Write ``KIND_N.jpg``, ``masks/KIND_N.png`` and ``truth.json`` (file, mask, kind, angle, figure's share)."""
    rows = []
    for kind, shot in hard_shots().items():
        if only and kind not in only:
            continue
        stage = Stage(shot.scene, shot.camera)
        figure = None if shot.nobody else figure_of(shot.build, shot.pose, shot.outfit)
        others = tuple(posed(m) for m in shot.beside)
        for number, angle in enumerate(shot.angles):
            if figure is None:
                picture = stage.empty(others)
                mask = np.zeros(picture.shape[:2], bool)
            else:
                picture, mask = stage.shoot(figure, angle, others)
            name = f"{kind}_{number}"
            save_photo(folder / f"{name}.jpg", picture, quality=shot.quality)
            save_mask(folder / "masks" / f"{name}.png", mask)
            rows.append({"file": f"{name}.jpg", "mask": f"masks/{name}.png", "kind": kind, "angle": angle,
                         "share": round(float(mask.mean()), 5)})
    (folder / "truth.json").write_text(json.dumps(rows, indent=1))


@dataclass(frozen=True)
class Turn:
    """One turnaround."""

    pose: str
    outfit: Outfit
    scene: Scene
    stops: int = 24
    build: Build = WOMAN
    camera: Camera = CAMERA
    beside: tuple[Mesh, ...] = ()
    quality: int = 92


def turns() -> dict[str, Turn]:
    """Name -> turnaround; those called heldout are kept for the last measuring and never tuned on."""
    small = Camera(distance_m=3.6, height_m=0.95, focal_35mm=44, width=720, height=960)
    wide = Camera(distance_m=4.6, height_m=1.15, tilt_deg=-2, focal_35mm=60, width=600, height=900)
    boards = Backdrop(WALL, (0.72, 0.75, 0.78), (0.42, 0.36, 0.3), skirting_m=0.1, texture="boards")
    folds = Backdrop(PAPER, (0.78, 0.74, 0.66), folds=0.7, seed=2)
    dim = Backdrop(WALL, (0.3, 0.32, 0.36), (0.16, 0.15, 0.15), behind_m=1.0)
    cream = Backdrop(WALL, (0.82, 0.8, 0.74), (0.64, 0.6, 0.54), behind_m=1.3)
    mottled = Backdrop(PAPER, (0.7, 0.68, 0.66), texture="plaster")
    from_right = (Lamp((2.3, -2.4, 2.5), 0.85, 0.15), Lamp((-2.8, -2.5, 1.6), 0.15, 0.7))
    from_above, low_right = Lamp((-2.4, -1.6, 2.6), 0.85, 0.3), Lamp((1.9, -3.0, 2.9), 0.8, 0.3)
    dress_ = Outfit(skin="pale", shirt=(0.93, 0.92, 0.9), skirt=(0.93, 0.92, 0.9), skirt_to=1.3, hair=(0.7, 0.55, 0.35),
                    bun=True)
    night = Outfit(skin="deep", shirt=(0.1, 0.1, 0.12), trousers=(0.08, 0.08, 0.1), hair=(0.04, 0.04, 0.04))
    oilskin = replace(KEEPER, hat="cap", shirt=(0.7, 0.55, 0.15))
    return {
        "keeper_twisted": Turn("twisted", KEEPER, Scene(boards)),
        "bare_overhead": Turn("arms crossed overhead", Outfit(skin="tan"),
                              Scene(Backdrop(PAPER, (0.42, 0.45, 0.5)), from_right), 12, MAN, small),
        "white_dress": Turn("contrapposto", dress_, Scene(Backdrop(PAPER, (0.9, 0.9, 0.91)), SOFT), 24, SLIGHT),
        "clay_crouch": Turn("crouching", Outfit(skin="clay", hair=None), Scene(folds, (from_above, FILL)), 16, HEAVY,
                            replace(small, height_m=0.6)),
        "dark_lunge": Turn("lunge", night, Scene(dim, exposure=1.3), 24, MAN, wide),
        "heldout_pole": Turn("holding a pole", oilskin, Scene(Backdrop(PAPER, (0.55, 0.62, 0.55)), (low_right, FILL))),
        "heldout_hard_lamp": Turn("hauling a rope", Outfit(skin="olive", trousers=(0.5, 0.45, 0.38)),
                                  Scene(cream, HARD, ambient=0.15), 16, OLD, small),
        "heldout_seated": Turn("kneeling on one knee", Outfit(skin="brown", shirt=(0.75, 0.74, 0.7)),
                               Scene(mottled, SOFT, vignette=0.35), 24, SLIGHT, replace(small, height_m=0.7)),
    }


def shoot_turn(folder: Path, turn: Turn) -> None:
    """Write one turnaround: ``NNN.jpg``, ``masks/NNN.png`` and ``truth.json``.

    A row a picture: file, mask, angle, and limb_legibility of the bare body (see views.py).
    """
    stage = Stage(turn.scene, turn.camera)
    figure = figure_of(turn.build, turn.pose, turn.outfit)
    others = tuple(posed(m) for m in turn.beside)
    rows = []
    angles = [k * 360 / turn.stops for k in range(turn.stops)]
    seen = look(pose_body(turn.build, NAMED[turn.pose]), turn.camera, angles)
    for angle, view in zip(angles, seen, strict=True):
        picture, mask = stage.shoot(figure, angle, others)
        name = f"{round(angle):03d}"
        save_photo(folder / f"{name}.jpg", picture, quality=turn.quality, focal_35mm=turn.camera.focal_35mm)
        save_mask(folder / "masks" / f"{name}.png", mask)
        rows.append({"file": f"{name}.jpg", "mask": f"masks/{name}.png", "angle": angle,
                     "limb_legibility": {limb: round(share, 4) for limb, share in view.legibility.items()}})
    (folder / "truth.json").write_text(json.dumps(rows, indent=1))


def main(arguments: list[str]) -> None:
    what, folder, *only = arguments
    if what == "hard":
        shoot_hard(Path(folder), only)
    for name, turn in turns().items() if what == "turns" else ():
        if not only or name in only:
            shoot_turn(Path(folder) / name, turn)


if __name__ == "__main__":
    main(sys.argv[1:])
