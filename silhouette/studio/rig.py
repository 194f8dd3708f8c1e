"""Anatomical angles to a posed skin: forward kinematics and skinning, batched, on any torch device.

Every bone has one rotation against its rest; a vertex follows its bones by their weights (linear blend skinning). The
rest pose of the body (arms half raised, elbows bent) is first brought to the anatomical zero: upright, arms hanging,
palms to the thighs, legs parallel. Right limbs are the mirror image of left ones, so equal angles mean symmetry.
"""

from __future__ import annotations

from dataclasses import dataclass, replace
from typing import NamedTuple

import torch

Pose = dict[str, tuple[float, ...]]

GROUPS: dict[str, tuple[str, ...]] = {
    "pelvis": ("forward", "side", "turn"),
    "spine": ("forward", "side", "turn"),
    "neck": ("forward", "side", "turn"),
    "head": ("forward", "side", "turn"),
    "shrug": ("up", "forward"),
    "arm": ("raise", "plane", "twist"),
    "elbow": ("flex",),
    "forearm": ("pronate",),
    "wrist": ("flex", "deviate"),
    "fingers": ("curl",),
    "leg": ("flex", "abduct", "twist"),
    "knee": ("flex",),
    "foot": ("point", "turn"),
    "plant": ("flat",),
    "level": ("on",),
}
"""What can be posed, degrees. Limb groups carry ``_l`` or ``_r`` (figure's left, right).

pelvis, spine, neck, head: bend forward, bend to the figure's left, turn to the figure's left; the pelvis moves the
whole body. arm: raised by ``raise`` from hanging (0) over level (90) to overhead (180), in the plane ``plane`` (0
sideways, 90 forward, over 90 across the body, negative behind); ``twist`` turns the upper arm outward about its length.
elbow and knee: bend; forearm: palm from the thigh to the back. wrist: bend to the palm, bend to the thumb. fingers: 0
as at rest to 90 a fist. leg: forward, outward, toes outward. foot: toes pointed, toes outward. ``plant`` 1 lays the
sole flat on the ground whatever the leg does; ``level`` 1 bends the longer-reaching leg until both ankles stand equally
high.
"""
PAIRED = ("shrug", "arm", "elbow", "forearm", "wrist", "fingers", "leg", "knee", "foot", "plant")
SLOTS: dict[str, slice] = {}
"""Where each group lies in a pose vector."""
for _group, _angles in GROUPS.items():
    for _name in (f"{_group}_l", f"{_group}_r") if _group in PAIRED else (_group,):
        _at = max((s.stop for s in SLOTS.values()), default=0)
        SLOTS[_name] = slice(_at, _at + len(_angles))
WIDTH = max(s.stop for s in SLOTS.values())
"""Length of a pose vector."""
COLLAR_FROM, COLLAR_UP, COLLAR_FORWARD = 30.0, 0.25, 0.12
"""The collar bone takes its share of a raised arm, else the shoulder caves in: about a quarter beyond 30 degrees, and
some of what the arm comes forward."""
_HEAD_BONES = ("neck03", "head", "eye.L", "eye.R")
_ARM_BONES = ("upperarm", "lowerarm", "wrist", "finger", "metacarpal")
_LEG_BONES = ("upperleg", "lowerleg", "foot", "toe")


@dataclass(frozen=True)
class Rig:
    """What every build shares."""

    names: list[str]
    parents: list[int]
    weights: torch.Tensor
    """(n, bones) how much each vertex follows each bone."""
    faces: torch.Tensor
    """(m, 3)"""
    limb: torch.Tensor
    """(n,) 0 core, 1 head, 2 arm_l, 3 arm_r, 4 leg_l, 5 leg_r."""

    def to(self, device: torch.device | str) -> Rig:
        return replace(self, weights=self.weights.to(device), faces=self.faces.to(device), limb=self.limb.to(device))


class Posed(NamedTuple):
    """A batch of posed bodies, standing on z = 0 round the turning axis, metres."""

    vertices: torch.Tensor
    """(b, n, 3)"""
    heads: torch.Tensor
    """(b, bones, 3) where the bones begin."""
    skull: torch.Tensor
    """(b, 3) middle of the skull."""
    turns: torch.Tensor
    """(b, bones, 3, 3) rotation of every bone against its rest."""


def make_rig(names: list[str], parents: list[int], weights: torch.Tensor, faces: torch.Tensor) -> Rig:
    """Label every vertex with the limb whose bones move it most."""
    groups = torch.tensor([_limb_of_bone(n) for n in names])
    share = torch.zeros(weights.shape[0], 6).index_add_(1, groups, weights)
    return Rig(names, parents, weights, faces, share.argmax(1).to(torch.int8))


def _limb_of_bone(name: str) -> int:
    side = 1 if name.endswith(".R") else 0
    if name in _HEAD_BONES:
        return 1
    if name.startswith(_ARM_BONES):
        return 2 + side
    return 4 + side if name.startswith(_LEG_BONES) else 0


def pose_vectors(poses: list[Pose]) -> torch.Tensor:
    """(b, WIDTH) degrees; an unknown group or a wrong number of angles is a ValueError."""
    out = torch.zeros(len(poses), WIDTH)
    for row, pose in zip(out, poses, strict=True):
        for group, angles in pose.items():
            if group not in SLOTS:
                raise ValueError(f"no group of bones is called {group!r}; known: {', '.join(SLOTS)}")
            if len(angles) != SLOTS[group].stop - SLOTS[group].start:
                raise ValueError(f"{group} takes {SLOTS[group].stop - SLOTS[group].start} angles, not {len(angles)}")
            row[SLOTS[group]] = torch.tensor(angles, dtype=row.dtype)
    return out


def pose_batch(rig: Rig, rest: torch.Tensor, heads: torch.Tensor,
               angles: torch.Tensor) -> Posed:
    """Pose a batch.

    Parameters
    ----------
    rest, heads : torch.Tensor
        (b, n, 3) vertices and (b, bones, 3) heads of bones at rest, metres.
    angles : torch.Tensor
        (b, WIDTH) degrees, see :func:`pose_vectors`.
    """
    turns = _rotations(rig, heads, _leveled(rig, heads, angles))
    posed = _bone_heads(rig, heads, turns)
    # x' = R (x - h) + h' = R x + t, so blend R and t by the weights and apply them once
    shift = posed - torch.einsum("bkij,bkj->bki", turns, heads)
    blend = torch.einsum("vk,bkc->bvc", rig.weights, torch.cat([turns.flatten(2), shift], 2))
    vertices = torch.einsum("bvij,bvj->bvi", blend[..., :9].unflatten(-1, (3, 3)), rest) + blend[..., 9:]
    skull = vertices[:, rig.weights[:, rig.names.index("head")] > 0.6].mean(1)
    feet = (posed[:, rig.names.index("foot.L")] + posed[:, rig.names.index("foot.R")]) / 2
    origin = (feet + vertices.mean(1)) / 2
    origin[:, 2] = vertices[..., 2].amin(1)
    return Posed(vertices - origin[:, None], posed - origin[:, None], skull - origin, turns)


def _about(axis: int, degrees: torch.Tensor) -> torch.Tensor:
    """(b, 3, 3) rotations about x (0), y (1) or z (2), right-handed."""
    c, s = torch.cos(torch.deg2rad(degrees)), torch.sin(torch.deg2rad(degrees))
    out = torch.zeros(*degrees.shape, 3, 3, dtype=degrees.dtype, device=degrees.device)
    i, j = (axis + 1) % 3, (axis + 2) % 3
    out[..., axis, axis] = 1.0
    out[..., i, i], out[..., j, j], out[..., i, j], out[..., j, i] = c, c, -s, s
    return out


def _frame(down: torch.Tensor, toward: torch.Tensor) -> torch.Tensor:
    """(b, 3, 3) with rows (x, y, z): z against ``down``, y against the part of ``toward`` square to it."""
    z = -down / down.norm(dim=-1, keepdim=True)
    y = -(toward - (toward * z).sum(-1, keepdim=True) * z)
    y = y / y.norm(dim=-1, keepdim=True)
    return torch.stack([torch.linalg.cross(y, z), y, z], -2)


def _bend(angles: torch.Tensor) -> torch.Tensor:
    """Forward, to the figure's left, turned to the figure's left."""
    forward, side, turn = angles.unbind(-1)
    return _about(2, turn) @ _about(1, side) @ _about(0, forward)


def _swing(raised: torch.Tensor, plane: torch.Tensor) -> torch.Tensor:
    """Raise a hanging left arm in a plane (elevation in a plane of elevation, as the ISB describes shoulders)."""
    return _about(2, -plane) @ _about(1, -raised) @ _about(2, plane)


def _leg_turns(angles: torch.Tensor, side: str, hip: torch.Tensor) -> tuple[torch.Tensor, torch.Tensor]:
    """Thigh and shank of one leg in the left leg's frame, before the rest is undone."""
    flex, abduct, twist = angles[:, SLOTS[f"leg_{side}"]].unbind(-1)
    thigh = hip @ _about(0, -flex) @ _about(1, -abduct) @ _about(2, twist)
    return thigh, thigh @ _about(0, angles[:, SLOTS[f"knee_{side}"]][:, 0])


def _sides(rig: Rig, heads: torch.Tensor, side: str) -> tuple[dict[str, torch.Tensor], torch.Tensor]:
    """Heads of one side's bones by their bare names, mirrored to the left for the right side; and the mirror."""
    mirror = torch.tensor([1.0 if side == "l" else -1.0, 1.0, 1.0], dtype=heads.dtype, device=heads.device)
    end = f".{side.upper()}"
    return {n[:-2]: heads[:, i] * mirror for i, n in enumerate(rig.names) if n.endswith(end)}, mirror


def _leveled(rig: Rig, heads: torch.Tensor, angles: torch.Tensor) -> torch.Tensor:
    """Bend the leg that reaches lower until both ankles stand equally high, where ``level`` asks for it."""
    wanted = angles[:, SLOTS["level"]][:, 0] > 0.5
    pelvis = _bend(angles[:, SLOTS["pelvis"]])
    low = torch.zeros(angles.shape[0], device=angles.device)
    high = torch.full_like(low, 75.0)
    start = {s: _ankle_drop(rig, heads, angles, s, pelvis, low) for s in "lr"}
    left_lower = start["l"] > start["r"]
    goal = torch.minimum(start["l"], start["r"])
    for _ in range(14):
        middle = (low + high) / 2
        drop = torch.where(left_lower, _ankle_drop(rig, heads, angles, "l", pelvis, middle),
                           _ankle_drop(rig, heads, angles, "r", pelvis, middle))
        low, high = torch.where(drop > goal, middle, low), torch.where(drop > goal, high, middle)
    bend = torch.where(wanted, (low + high) / 2, torch.zeros_like(low))
    out = angles.clone()
    for side, chosen in (("l", left_lower), ("r", ~left_lower)):
        extra = torch.where(chosen, bend, torch.zeros_like(bend))
        out[:, SLOTS[f"leg_{side}"].start] += extra
        out[:, SLOTS[f"knee_{side}"].start] += 2 * extra
    return out


def _ankle_drop(rig: Rig, heads: torch.Tensor, angles: torch.Tensor, side: str, pelvis: torch.Tensor,
                bend: torch.Tensor) -> torch.Tensor:
    """How far the ankle hangs under the pelvis, metres, with the hip bent by ``bend`` and the knee by twice that."""
    bones, mirror = _sides(rig, heads, side)
    bent = angles.clone()
    bent[:, SLOTS[f"leg_{side}"].start] += bend
    bent[:, SLOTS[f"knee_{side}"].start] += 2 * bend
    hip = mirror[:, None] * pelvis * mirror
    thigh, shank = _leg_turns(bent, side, hip)
    zero = _leg_zero(bones)
    root = heads[:, rig.names.index("root")] * mirror
    reach = (torch.einsum("bij,bj->bi", hip, bones["upperleg01"] - root)
             + torch.einsum("bij,bj->bi", thigh @ zero, bones["lowerleg01"] - bones["upperleg01"])
             + torch.einsum("bij,bj->bi", shank @ zero, bones["foot"] - bones["lowerleg01"]))
    return -reach[:, 2]


def _leg_zero(bones: dict[str, torch.Tensor]) -> torch.Tensor:
    """Brings the spread legs of the rest pose to parallel, seen from the front."""
    along = bones["foot"] - bones["upperleg01"]
    return _about(1, torch.rad2deg(torch.atan2(along[:, 0], -along[:, 2])))


def _rotations(rig: Rig, heads: torch.Tensor, angles: torch.Tensor) -> torch.Tensor:
    """(b, bones, 3, 3) rotation of every bone against its rest."""
    turns: dict[str, torch.Tensor] = {}
    pelvis = _bend(angles[:, SLOTS["pelvis"]])
    turns["root"] = turns["pelvis.L"] = turns["pelvis.R"] = pelvis
    step, at = _bend(angles[:, SLOTS["spine"]] / 5), pelvis
    for k in (5, 4, 3, 2, 1):
        at = at @ step
        turns[f"spine0{k}"] = at
    chest, step = at, _bend(angles[:, SLOTS["neck"]] / 3)
    for k in (1, 2, 3):
        at = at @ step
        turns[f"neck0{k}"] = at
    turns["head"] = turns["eye.L"] = turns["eye.R"] = at @ _bend(angles[:, SLOTS["head"]])
    for side in "lr":
        bones, mirror = _sides(rig, heads, side)
        limb = _arm_turns(angles, side, mirror[:, None] * chest * mirror, bones)
        limb |= _whole_leg(angles, side, mirror[:, None] * pelvis * mirror, bones)
        turns |= {f"{k}.{side.upper()}": mirror[:, None] * r * mirror for k, r in limb.items()}
    return torch.stack([turns[n] for n in rig.names], 1)


def _arm_turns(angles: torch.Tensor, side: str, chest: torch.Tensor,
               bones: dict[str, torch.Tensor]) -> dict[str, torch.Tensor]:
    """Rotations of one arm's bones in the left arm's frame."""
    raised, plane, twist = angles[:, SLOTS[f"arm_{side}"]].unbind(-1)
    up, forward = angles[:, SLOTS[f"shrug_{side}"]].unbind(-1)
    pronate = angles[:, SLOTS[f"forearm_{side}"]][:, 0]
    lift = up + COLLAR_UP * (raised - COLLAR_FROM).clamp(min=0)
    collar = chest @ _about(2, -forward - COLLAR_FORWARD * raised * torch.sin(torch.deg2rad(plane))) @ _about(1, -lift)
    swing = chest @ _swing(raised, plane)
    upper, fore = bones["lowerarm01"] - bones["upperarm01"], bones["wrist"] - bones["lowerarm01"]
    upper_zero, fore_zero = _frame(upper, fore), _frame(fore, -upper)
    knuckles = bones["finger3-1"] - bones["wrist"]
    across = bones["finger2-1"] - bones["finger5-1"]
    hand_zero = _frame(knuckles, across)
    elbow = swing @ _about(2, twist) @ _about(0, -angles[:, SLOTS[f"elbow_{side}"]][:, 0])
    flex, deviate = angles[:, SLOTS[f"wrist_{side}"]].unbind(-1)
    hand = elbow @ _about(2, -pronate) @ _about(0, -deviate) @ _about(1, flex)
    out = {"clavicle": collar, "shoulder01": collar,
           "upperarm01": swing @ _about(2, twist / 2) @ upper_zero, "upperarm02": swing @ _about(2, twist) @ upper_zero,
           "lowerarm01": elbow @ _about(2, -pronate / 3) @ fore_zero,
           "lowerarm02": elbow @ _about(2, -pronate * 2 / 3) @ fore_zero, "wrist": hand @ hand_zero}
    curl = angles[:, SLOTS[f"fingers_{side}"]][:, 0]
    for name in bones:
        if name.startswith("metacarpal"):
            out[name] = hand @ hand_zero
        elif name.startswith("finger"):
            share = 0.35 if name[6] == "1" else 1.0
            out[name] = hand @ _about(1, share * curl * int(name[-1])) @ hand_zero
    return out


def _whole_leg(angles: torch.Tensor, side: str, pelvis: torch.Tensor,
               bones: dict[str, torch.Tensor]) -> dict[str, torch.Tensor]:
    """Rotations of one leg's bones in the left leg's frame."""
    thigh, shank = _leg_turns(angles, side, pelvis)
    zero = _leg_zero(bones)
    point, turn = angles[:, SLOTS[f"foot_{side}"]].unbind(-1)
    foot = shank @ _about(2, turn) @ _about(0, point)
    flat = _about(2, torch.rad2deg(torch.atan2(-foot[:, 0, 1], foot[:, 1, 1])))
    planted = angles[:, SLOTS[f"plant_{side}"]][:, 0, None, None] > 0.5
    foot = torch.where(planted, flat, foot) @ zero
    # the upper thigh turns half as much about its length, so that the skin at the hip does not wring
    half = thigh @ _about(2, -angles[:, SLOTS[f"leg_{side}"]][:, 2] / 2)
    out = {"upperleg01": half @ zero, "upperleg02": thigh @ zero}
    out |= {"lowerleg01": shank @ zero, "lowerleg02": shank @ zero}
    return out | {name: foot for name in bones if name.startswith(("foot", "toe"))}


def _bone_heads(rig: Rig, heads: torch.Tensor, turns: torch.Tensor) -> torch.Tensor:
    """(b, bones, 3) where the bones begin once posed: each hangs on its parent."""
    posed: list[torch.Tensor] = []
    for i, parent in enumerate(rig.parents):
        if parent < 0:
            posed.append(heads[:, i])
        else:
            along = (heads[:, i] - heads[:, parent])[..., None]
            posed.append(posed[parent] + (turns[:, parent] @ along)[..., 0])
    return torch.stack(posed, 1)
