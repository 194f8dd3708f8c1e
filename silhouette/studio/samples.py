"""Makes ``sample_poses/``: five candidate poses of the ferry keeper, as a sculptor would have taken them on a phone.

    python -m silhouette.studio.samples [FOLDER]

The same body, clothes, room and light in every pose; the model turns before a fixed camera. Everything follows from the
numbers in this file, so the pictures come out the same again.
"""

from __future__ import annotations

import csv
import sys
from collections.abc import Callable
from dataclasses import dataclass
from pathlib import Path

import numpy as np

from silhouette.studio.bodies import Body, Build, pose_body
from silhouette.studio.cameras import Camera
from silhouette.studio.clothes import Outfit, dress
from silhouette.studio.photo import save_photo
from silhouette.studio.poses import NAMED
from silhouette.studio.raster import Mesh
from silhouette.studio.rig import Pose
from silhouette.studio.room import Backdrop, Lamp, linear
from silhouette.studio.scene import Posed, Scene, Stage, Standing, posed
from silhouette.studio.solids import lathe, tube

KEEPER = Build(gender=0.95, age=0.83, muscle=0.5, weight=0.56, height=0.46, proportions=0.55)
CLOTHES = Outfit(
    skin="light", shirt=(0.24, 0.33, 0.44), sleeve=1.25, hem=0.0, shirt_puff=0.018, trousers=(0.33, 0.29, 0.25),
    leg=1.75, trousers_puff=0.02, shoes=(0.16, 0.13, 0.11), shoe_top=0.3, hair=(0.45, 0.42, 0.40), bun=True,
)
STUDIO = Scene(
    Backdrop("sweep", (0.66, 0.67, 0.66), behind_m=1.9, curve_m=0.7),
    (Lamp((-2.3, -2.7, 2.7), 0.78, 0.35), Lamp((2.7, -2.6, 1.9), 0.24, 0.7)), ambient=0.25, vignette=0.12, noise=1.2,
)
CAMERA = Camera(distance_m=4.0, height_m=0.95, focal_35mm=52, width=900, height=1200)
ROPE, WOOD = (0.62, 0.52, 0.36), (0.40, 0.25, 0.14)


@dataclass(frozen=True)
class Candidate:
    """One trial of one pose."""

    pose: Pose
    stops: int
    named: str
    """File names: angle (``024.jpg``), word (``lookout_030deg.jpg``), csv (letters, and an ``angles.csv``) or order
    (``IMG_0001.jpg``)."""
    held: Callable[[Body], list[Mesh]] = lambda body: []
    uneven: float = 0.0
    """Standard deviation of the steps, degrees; only where the file says the true angle."""

    def figure(self) -> Posed:
        body = pose_body(KEEPER, self.pose)
        return posed(dress(KEEPER, body, CLOTHES, *self.held(body)))


def grip(body: Body, side: str) -> np.ndarray:
    """Middle of the closed hand, metres."""
    wrist, hand = (np.asarray(body.joints[f"{j}_{side}"], float) for j in ("wrist", "hand"))
    return hand + 0.25 * (hand - wrist)


def rope(body: Body) -> list[Mesh]:
    """A rope that comes up from a coil on the floor, over the front hand to the rear one, where its end hangs."""
    left, right = grip(body, "l"), grip(body, "r")
    out = (left - right) / np.linalg.norm(left - right)
    drop = np.linspace(0, 1, 9)[1:, None]
    low = np.array([left[0] + 0.10 * out[0], left[1] + 0.10 * out[1], 0.03])
    front = left + 0.05 * out + (low - left - 0.05 * out) * drop + 0.05 * out * np.sin(np.pi * drop) * [1, 1, 0]
    coil = np.array([[0.13 * np.cos(a), 0.13 * np.sin(a), 0.0] for a in np.linspace(0, 5.5, 16)])
    tail = [right - 0.03 * k * out - np.array([0.0, 0.0, 0.014 * k**2]) for k in range(1, 6)]
    path = np.concatenate([low + (coil - coil[0])[::-1], front[::-1], np.linspace(left, right, 4), tail])
    return [tube(path, 0.017, ROPE)]


def oar(body: Body) -> list[Mesh]:
    """An oar stood on its grip, the blade up."""
    hand = grip(body, "r")
    foot = np.array([hand[0] - 0.10, hand[1] - 0.02, 0.0])
    up = (hand - foot) / np.linalg.norm(hand - foot)
    side = np.cross([0.0, 1.0, 0.0], up)
    frame = np.stack([side / np.linalg.norm(side), np.cross(up, side), up])
    profile = [(0.0, 0.0), (0.02, 0.005), (0.045, 0.12), (0.075, 0.30), (0.08, 0.48), (0.06, 0.55), (0.0, 0.56)]
    points, triangles = lathe(profile)
    blade = (points * np.array([1.0, 0.22, 1.0])) @ frame + foot + 1.5 * up
    shaft = tube(np.linspace(foot, foot + 1.7 * up, 8), 0.023, WOOD)
    return [shaft, Mesh(blade, triangles, np.tile(linear(WOOD), (len(blade), 1)))]


def candidates() -> dict[str, Candidate]:
    """Name -> candidate, the strong ones first."""
    return {
        "hauling": Candidate({
            "pelvis": (0, -10, -10), "spine": (8, -16, 14), "neck": (0, 6, 14), "head": (0, 6, 26),
            "leg_l": (8, 34, 24), "knee_l": (4,), "leg_r": (52, 26, 30), "knee_r": (62,), "plant_l": (1,),
            "plant_r": (1,), "level": (0,), "arm_l": (64, 34, 0), "elbow_l": (8,), "arm_r": (76, 16, -30),
            "elbow_r": (112,), "fingers_l": (78,), "fingers_r": (78,)}, 15, "angle", rope),
        "lookout": Candidate({
            **NAMED["brow shaded"], "leg_l": (4, 14, 14), "leg_r": (-12, 14, 26), "knee_r": (6,), "arm_r": (98, 22, 40),
            "elbow_r": (127,), "forearm_r": (-62,), "wrist_r": (5, 0), "arm_l": (52, -20, -62), "elbow_l": (92,),
            "spine": (-4, 4, 10)}, 12, "word"),
        "oar": Candidate({
            **NAMED["holding a pole"], "arm_l": (48, -14, -62), "elbow_l": (98,), "wrist_l": (-20, 0),
            "leg_l": (20, 12, 24), "knee_l": (26,), "arm_r": (64, 20, -4), "elbow_r": (66,)},
            14, "csv", oar, uneven=3.0),
        "at_rest": Candidate({
            **NAMED["wrapped in her arms"], "arm_l": (18, 70, -66), "elbow_l": (104,), "arm_r": (16, 74, -66),
            "elbow_r": (100,), "leg_l": (2, -3, 4), "leg_r": (0, -3, 4), "knee_l": (5,), "neck": (10, 0, 0),
            "head": (12, 0, 0), "spine": (8, 0, 0)}, 14, "order"),
        "bundled": Candidate({
            "pelvis": (-14, 0, 0), "spine": (52, 0, 0), "neck": (14, 0, 0), "head": (16, 6, 10),
            "leg_l": (118, 3, 0), "leg_r": (116, 3, 0), "knee_l": (128,), "knee_r": (126,), "foot_l": (8, 0),
            "foot_r": (8, 0), "arm_l": (44, 96, -40), "elbow_l": (76,), "arm_r": (40, 98, -40), "elbow_r": (84,),
            "fingers_l": (62,), "fingers_r": (62,), "wrist_l": (30, 0), "wrist_r": (30, 0)},
            12, "angle"),
    }


def angles_of(candidate: Candidate, seed: int) -> list[float]:
    """Whole degrees at which the stops stand, the first 0."""
    rng = np.random.default_rng(seed)
    even = [k * 360 / candidate.stops for k in range(candidate.stops)]
    return [round(a + float(rng.normal(0, candidate.uneven)) * (k > 0)) % 360 for k, a in enumerate(even)]


def make(folder: Path, quality: int = 84) -> None:
    """Write all candidates under ``folder``, one folder each."""
    stage = Stage(STUDIO, CAMERA)
    for seed, (name, candidate) in enumerate(candidates().items()):
        rng, figure, listed = np.random.default_rng(50 + seed), candidate.figure(), []
        for k, angle in enumerate(angles_of(candidate, 70 + seed)):
            lean = rng.normal(0, 0.003, 2)
            picture, _ = stage.shoot(figure, angle, at=Standing(lean=(float(lean[0]), float(lean[1]))))
            stem = {"angle": f"{angle:03.0f}", "word": f"{name}_{angle:03.0f}deg", "csv": f"{name}_{chr(97 + k)}",
                    "order": f"IMG_{k + 1:04d}"}[candidate.named]
            save_photo(folder / name / f"{stem}.jpg", picture, quality=quality, focal_35mm=CAMERA.focal_35mm)
            listed.append((f"{stem}.jpg", f"{angle:.0f}"))
        if candidate.named == "csv":
            with (folder / name / "angles.csv").open("w", newline="") as file:
                csv.writer(file, lineterminator="\n").writerows([("file", "angle"), *listed])


if __name__ == "__main__":
    make(Path(sys.argv[1] if len(sys.argv) > 1 else "sample_poses"))
