"""A pose that changed between two rings: how far a limb has to move before the check says so.

    python tests/measure/ring_pose.py [BODIES]

Bodies in poses that the reader was not taught are taken three times, 18 stops a ring, as exact masks; before the high
ring one thing is changed. Printed is how far the farthest joint moved, in metres, and what the check says.
"""

from __future__ import annotations

import sys
from collections import Counter
from dataclasses import replace

import numpy as np
from ring_check import Turn, held, look  # beside this file

from silhouette.check import rings as questions
from silhouette.settings import Ring
from silhouette.studio import poses, turns_in_rings, turns_in_space, variety
from silhouette.studio.bodies import Build, pose_body
from silhouette.studio.cameras import Camera
from silhouette.studio.clothes import Outfit, dress

CHANGES = {"nothing": ("arm_l", 0.0), "upper arm by 10 degrees": ("arm_l", 10.0),
           "upper arm by 20 degrees": ("arm_l", 20.0), "elbow by 20 degrees": ("elbow_r", 20.0),
           "back by 6 degrees": ("spine", 6.0)}
ANGLES = np.arange(18) * 20.0


def turn(build: Build, pose: poses.Pose, worn: Outfit, camera: Camera, rng: np.random.Generator) -> Turn:
    figure = dress(build, pose_body(build, pose), worn)
    masks = turns_in_space.exact_masks(figure.points, figure.triangles, camera, ANGLES + rng.normal(0, 0.7, 18))
    return Turn([float(a) for a in ANGLES], [look(mask, camera.focal_35mm) for mask in masks])


def main(count: int = 8) -> None:
    told: Counter[tuple[str, str]] = Counter()
    for k in range(count):
        rng = np.random.default_rng([99, k])
        name = poses.KEPT_OUT[k % len(poses.KEPT_OUT)]
        build = replace(variety.some_build(rng), gender=float(rng.random() > 0.5) * 0.9)
        pose, outfit = poses.sample_near(rng, (name,)), variety.some_outfit(rng)
        worn = Outfit(skin=outfit.skin, hair=outfit.hair)
        cameras = turns_in_rings.some_rings(rng, dress(build, pose_body(build, pose), worn).points)
        still: dict[Ring, Turn] = {ring: turn(build, pose, worn, cameras[ring], rng) for ring in ("low", "level")}
        before = pose_body(build, pose).joints
        for change, (joint, by) in CHANGES.items():
            other = {**pose, joint: (pose[joint][0] + by, *pose[joint][1:])}
            after = pose_body(build, other).joints
            far = max(float(np.linalg.norm(before[j] - after[j])) for j in before)
            found = questions.same_pose(held({**still, "high": turn(build, other, worn, cameras["high"], rng)}))
            told[change, found.verdict] += 1
            print(f"{name}, {change}: {far:.3f} m, {found.verdict}, {found.kind}", flush=True)
    for (change, verdict), times in told.items():
        print(f"{change}: {verdict} {times}")


if __name__ == "__main__":
    main(int((*sys.argv[1:2], "8")[0]))
