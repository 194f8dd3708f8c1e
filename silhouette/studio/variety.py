"""Pictures drawn at random over everything the studio can do, with exact masks: for measuring, or fitting, the cut-out.

    python -m silhouette.studio.variety FOLDER COUNT SEED

``NNNN.jpg``, ``masks/NNNN.png`` and ``truth.json`` (a row a picture: file, mask, angle, backdrop, contrast ...).
Poses come from :func:`silhouette.studio.poses.sample`, so most are not among the named ones.
"""

from __future__ import annotations

import json
import sys
from pathlib import Path

import cv2
import numpy as np
from numpy.typing import NDArray

from silhouette.studio import poses
from silhouette.studio.bodies import Build, pose_body
from silhouette.studio.cameras import Camera
from silhouette.studio.clothes import SKIN, Outfit, dress
from silhouette.studio.furniture import easel, lamp_stand, stool
from silhouette.studio.photo import save_mask, save_photo
from silhouette.studio.room import Backdrop, Colour, Lamp
from silhouette.studio.scene import Posed, Scene, Stage, posed

Rng = np.random.Generator


def some_colour(rng: Rng, brightness: float | None = None, tint: float = 0.12) -> Colour:
    """A muted colour, now and then a strong one."""
    level = rng.uniform(0.08, 0.95) if brightness is None else brightness
    strength = tint if rng.random() < 0.8 else 0.35
    r, g, b = np.clip(level + rng.normal(0, strength, 3) * min(level, 1 - level) * 2, 0.03, 0.97)
    return float(r), float(g), float(b)


def some_build(rng: Rng) -> Build:
    """An adult."""
    return Build(*(float(v) for v in rng.uniform([0, 0.6, 0.2, 0.2, 0.3, 0.3], [1, 0.95, 0.8, 0.85, 0.7, 0.8])))


def some_outfit(rng: Rng) -> Outfit:
    """From bare to fully dressed."""
    has = rng.random(6)
    return Outfit(
        skin=str(rng.choice(list(SKIN))), hair=some_colour(rng, rng.uniform(0.05, 0.7)) if has[0] < 0.85 else None,
        bun=bool(has[0] < 0.3), hat=str(rng.choice(["", "", "", "cap", "brim"])), hat_colour=some_colour(rng),
        shirt=some_colour(rng) if has[1] < 0.6 else None, sleeve=float(rng.uniform(0.05, 1.9)),
        hem=float(rng.uniform(-0.05, 0.12)), trousers=some_colour(rng) if has[2] < 0.6 else None,
        leg=float(rng.uniform(0.4, 1.95)), shoes=some_colour(rng, 0.15) if has[3] < 0.5 else None,
        shoe_top=float(rng.uniform(0.08, 0.35)),
    )


def some_backdrop(rng: Rng) -> Backdrop:
    """Paper, cloth or a wall with a floor, of any brightness."""
    paper = rng.random() < 0.55
    wall = some_colour(rng)
    if paper:
        return Backdrop("sweep", wall, behind_m=float(rng.uniform(1.0, 2.6)), curve_m=float(rng.uniform(0.3, 0.9)),
                        folds=float(rng.choice([0, 0, 0, 0.6, 1.5])), texture=str(rng.choice(["", "", "", "plaster"])),
                        paper_m=None if rng.random() < 0.85 else float(rng.uniform(1.9, 2.8)),
                        seed=int(rng.integers(1000)))
    return Backdrop("wall", wall, some_colour(rng), behind_m=float(rng.uniform(0.6, 2.2)),
                    skirting_m=float(rng.choice([0, 0.08, 0.12])),
                    texture=str(rng.choice(["", "", "plaster", "bricks", "boards", "stripes"])),
                    window=None if rng.random() < 0.9 else (0.8, 1.7, 0.9, 2.1), seed=int(rng.integers(1000)))


def some_lamps(rng: Rng) -> tuple[Lamp, ...]:
    """A key on either side, hard or soft, mostly with a fill; sometimes flat, sometimes from behind."""
    side = float(rng.choice([-1, 1]))
    warm = float(rng.normal(0, 0.12))
    colour = (1.0 + max(warm, -0.3), 1.0, 1.0 - min(warm, 0.3))
    key = Lamp((side * rng.uniform(0.3, 2.8), rng.uniform(-3.5, -1.2), rng.uniform(1.6, 3.2)),
               float(rng.uniform(0.5, 1.0)), float(rng.choice([0.02, 0.1, 0.3, 0.6, 0.9])), colour)
    fill = Lamp((-side * rng.uniform(1.5, 3.0), rng.uniform(-3.5, -2), rng.uniform(1.2, 2.4)),
                float(rng.uniform(0.05, 0.4)), 0.6)
    rim = Lamp((side * rng.uniform(0.6, 1.5), 1.2, rng.uniform(1.8, 2.8)), float(rng.uniform(0.2, 0.6)), 0.2)
    chance = rng.random(2)
    return (key, *((fill,) if chance[0] < 0.75 else ()), *((rim,) if chance[1] < 0.15 else ()))


def some_camera(rng: Rng, tall: float) -> Camera:
    """The figure fills 35 to 85 % of the height."""
    distance = float(rng.uniform(2.2, 6.0))
    focal = 36 * distance / max(tall, 0.9) * float(rng.uniform(0.35, 0.82))
    width, height = (600, 800) if rng.random() < 0.8 else (800, 600)
    focal = min(focal, 120.0) * (0.75 if width > height else 1.0)  # the long side lies across
    return Camera(distance, float(np.clip(tall * rng.uniform(0.4, 0.7), 0.4, 1.4)), 0.0, focal, width, height,
                  aim=(float(rng.normal(0, 0.03)), float(rng.normal(0, 0.02))))


def some_picture(rng: Rng) -> tuple[NDArray[np.uint8], NDArray[np.bool_], dict[str, object]]:
    """(h, w, 3) BGR picture, (h, w) mask, and what is known of it."""
    build, backdrop = some_build(rng), some_backdrop(rng)
    figure = posed(dress(build, pose_body(build, poses.sample(rng)), some_outfit(rng)))
    scene = Scene(backdrop, some_lamps(rng), float(rng.uniform(0.1, 0.35)), exposure=float(rng.uniform(0.85, 1.3)),
                  vignette=float(rng.choice([0.05, 0.15, 0.4])), noise=float(rng.choice([0.8, 1.5, 3.0, 8.0])),
                  seed=int(rng.integers(1 << 30)))
    others: list[Posed] = []
    if rng.random() < 0.2:
        thing, aside = [stool, lamp_stand, easel][int(rng.integers(3))](), rng.choice([-1, 1]) * rng.uniform(0.9, 1.3)
        others.append(posed(thing.moved(float(rng.uniform(0, 360)), (float(aside), 0.4))))
    camera = some_camera(rng, float(np.ptp(figure.mesh.points[:, 2])))
    angle = float(rng.uniform(0, 360))
    picture, mask = Stage(scene, camera).shoot(figure, angle, tuple(others))
    lab = cv2.cvtColor(picture, cv2.COLOR_BGR2LAB).astype(float)
    ring = cv2.dilate(mask.astype(np.uint8), np.ones((21, 21), np.uint8)).astype(bool) & ~mask
    contrast = float(np.linalg.norm(lab[mask].mean(0) - lab[ring].mean(0))) if mask.any() and ring.any() else 0.0
    known = {"angle": round(angle, 1), "backdrop": backdrop.kind, "texture": backdrop.texture, "folds": backdrop.folds,
             "furniture": len(others), "contrast": round(contrast, 1), "share": round(float(mask.mean()), 4)}
    return picture, mask, known


def main(folder: Path, count: int, seed: int) -> None:
    """Every picture has a seed of its own, so that a longer run begins with the same pictures."""
    rows = []
    for k in range(count):
        picture, mask, known = some_picture(np.random.default_rng([seed, k]))
        save_photo(folder / f"{k:04d}.jpg", picture, quality=int(np.random.default_rng([seed, k, 1]).integers(70, 95)))
        save_mask(folder / "masks" / f"{k:04d}.png", mask)
        rows.append({"file": f"{k:04d}.jpg", "mask": f"masks/{k:04d}.png", **known})
        (folder / "truth.json").write_text(json.dumps(rows, indent=1))


if __name__ == "__main__":
    main(Path(sys.argv[1]), int(sys.argv[2]), int(sys.argv[3]))
