"""Hair, hats, clothes, shoes and things to hold, as simple volumes round a posed body.

Crude on purpose: an outline only sees volumes. What clothes a limb belongs to that limb (a sleeve is arm, hair and hat
are head), since that is what a viewer reads it as; skirts, poles, bags and blocks belong to the core.
Everything is batched: a body without a hat has a hat of size 0 inside it, so that all bodies share one list of faces.
"""

from __future__ import annotations

from dataclasses import astuple, dataclass, fields, replace
from functools import cache

import numpy as np
import torch

from silhouette.studio.bodies import Body

_SIDES = 14
"""Corners of a tube's ends."""


@dataclass(frozen=True)
class Outfit:
    """What is worn and held; 0 is none. Sizes are shares of what is large but plausible, 0 to 1."""

    hair: float = 0.0
    """Thickness of the hair round the skull."""
    long_hair: float = 0.0
    """How far it falls."""
    bun: float = 0.0
    brim: float = 0.0
    """Width of a hat's brim."""
    crown: float = 0.0
    """Height of a hat or cap."""
    skirt: float = 0.0
    """Length, 1 to the ankles."""
    flare: float = 0.0
    sleeves: float = 0.0
    """Width of loose sleeves, to the wrists."""
    trousers: float = 0.0
    """Width of loose trousers."""
    coat: float = 0.0
    """Thickness of a loose coat round the trunk."""
    shoes: float = 0.0
    pole: float = 0.0
    """A pole held in the figure's right (1) or left (-1) hand; the size is its thickness."""
    pole_lean: float = 0.0
    """Degrees off the vertical."""
    pole_turn: float = 0.0
    """Degrees: the way it leans, seen from above."""
    blade: float = 0.0
    """Size of an oar's blade at the pole's upper end."""
    bag: float = 0.0
    """Size of a bag hanging from the figure's left hand."""
    load: float = 0.0
    """Size of a bundle on head or shoulder."""
    block: float = 0.0
    """Half width of the block sat on; it stands only under a pose whose thighs lie about level."""


NAKED = Outfit()
KINDS: dict[str, tuple[str, ...]] = {
    "hair": ("hair", "long_hair", "bun"), "hat": ("brim", "crown"), "skirt": ("skirt",),
    "loose clothes": ("sleeves", "trousers", "coat"), "shoes": ("shoes",), "pole": ("pole",),
    "bag or load": ("bag", "load"), "block": ("block",),
}
"""Words for what an outfit holds, for reports."""


def sample(rng: np.random.Generator) -> Outfit:
    """A random outfit: half the models wear nothing that changes the outline much, as in a life room."""
    def some(share: float) -> float:
        return float(rng.uniform(0.25, 1.0)) if rng.random() < share else 0.0

    out = Outfit(hair=some(0.55), long_hair=some(0.2), bun=some(0.12), shoes=some(0.2), block=some(0.6))
    if rng.random() < 0.35:
        out = replace(out, skirt=some(0.35), flare=float(rng.random()), sleeves=some(0.45), trousers=some(0.4),
                      coat=some(0.35), brim=some(0.25), crown=some(0.25), shoes=some(0.6))
    if rng.random() < 0.22:
        out = replace(out, pole=some(0.45) * float(rng.choice([-1, 1])), pole_lean=float(abs(rng.normal(0, 22))),
                      pole_turn=float(rng.uniform(0, 360)), blade=some(0.25), bag=some(0.25), load=some(0.2))
    return out


def holding(outfit: Outfit, rng: np.random.Generator) -> Outfit:
    """The same with one thing held: a pole as often as a bag or a load."""
    size = float(rng.uniform(0.25, 1.0))
    if rng.random() < 0.5:
        return replace(empty_handed(outfit), pole=size * float(rng.choice([-1, 1])),
                       pole_lean=float(abs(rng.normal(0, 22))), pole_turn=float(rng.uniform(0, 360)),
                       blade=float(rng.uniform(0.25, 1.0)) if rng.random() < 0.25 else 0.0)
    return replace(empty_handed(outfit), bag=size) if rng.random() < 0.5 else replace(empty_handed(outfit), load=size)


def empty_handed(outfit: Outfit) -> Outfit:
    """The same without pole, bag and load."""
    return replace(outfit, pole=0.0, blade=0.0, bag=0.0, load=0.0)


def worn(outfit: Outfit) -> tuple[str, ...]:
    """Words for what an outfit holds."""
    return tuple(kind for kind, parts in KINDS.items() if any(getattr(outfit, p) for p in parts))


def vector(outfits: list[Outfit]) -> torch.Tensor:
    """(b, number of fields) for :func:`dress_batch`."""
    return torch.tensor([astuple(o) for o in outfits], dtype=torch.float32)


def dress(body: Body, outfit: Outfit) -> Body:
    """The same body, dressed: extra vertices after the body's own."""
    joints = {k: torch.from_numpy(v)[None] for k, v in body.joints.items()}
    vertices, faces, limb = dress_batch(joints, torch.from_numpy(body.vertices)[None], vector([outfit]))
    n = len(body.vertices)
    return Body(np.vstack([body.vertices, vertices[0].numpy()]).astype(np.float32),
                np.vstack([body.faces, faces.numpy() + n]).astype(np.int32),
                np.hstack([body.limb, limb.numpy()]).astype(np.int8), body.joints, extra_from=n)


def dress_batch(joints: dict[str, torch.Tensor], vertices: torch.Tensor,
                outfits: torch.Tensor) -> tuple[torch.Tensor, torch.Tensor, torch.Tensor]:
    """Clothes and props of a batch.

    Parameters
    ----------
    joints : dict
        Name -> (b, 3), as ``bodies.joints_of`` gives them, metres.
    vertices : torch.Tensor
        (b, n, 3) the posed skin; only its height is used.
    outfits : torch.Tensor
        (b, fields), see :func:`vector`.

    Returns
    -------
    vertices (b, k, 3) metres, faces (m, 3) counted from 0, limb (k,).
    """
    worn_by = {f.name: outfits[:, i] for i, f in enumerate(fields(Outfit))}
    pieces = [*_on_head(joints, worn_by), *_on_limbs(joints, worn_by), *_on_trunk(joints, worn_by),
              *_held(joints, worn_by)]
    pieces = [(_inside_if_nothing(points, joints["pelvis"]), limb) for points, limb in pieces]
    faces, limbs, at = [], [], 0
    for points, limb in pieces:
        shape = _tube_faces() if points.shape[1] == 2 * _SIDES + 2 else _ball()[1]
        faces.append(shape.to(points.device) + at)
        limbs.append(torch.full((points.shape[1],), limb, dtype=torch.int8))
        at += points.shape[1]
    return torch.cat([p for p, _ in pieces], 1), torch.cat(faces), torch.cat(limbs)


Piece = tuple[torch.Tensor, int]


def _inside_if_nothing(points: torch.Tensor, pelvis: torch.Tensor) -> torch.Tensor:
    """A piece of size 0 moved into the body: left where it was it would widen the figure's box unseen."""
    size = (points.amax(1) - points.amin(1)).amax(-1)
    return torch.where((size > 1e-3)[:, None, None], points, pelvis[:, None])


def _on_head(joints: dict[str, torch.Tensor], o: dict[str, torch.Tensor]) -> list[Piece]:
    skull, neck = joints["head"], joints["neck"]
    up = _unit(skull - neck)
    unit = (skull - neck).norm(dim=-1)
    behind = _unit(torch.linalg.cross(_unit(joints["shoulder_l"] - joints["shoulder_r"]), up)) * -1.0
    hair = o["hair"] > 0
    thick = unit * (0.70 + 0.24 * o["hair"]) * hair
    fall = unit * 2.6 * o["long_hair"]
    crown_at = skull + up * (unit * 0.62)[:, None]
    crown = unit * (0.75 + 0.1 * o["crown"]) * (o["crown"] > 0)
    brim = unit * (0.8 + 1.2 * o["brim"]) * (o["brim"] > 0)
    return [
        (_ball_at(skull + up * (unit * 0.26)[:, None] + behind * (unit * 0.28)[:, None], thick), 1),
        (_tube(skull + behind * (unit * 0.35)[:, None],
               skull + behind * (unit * 0.75)[:, None] - up * fall[:, None],
               unit * 0.6 * (fall > 0), unit * 0.45 * (fall > 0)), 1),
        (_ball_at(skull + behind * (unit * 0.95)[:, None] + up * (unit * 0.45)[:, None], unit * 0.55 * o["bun"]), 1),
        (_tube(crown_at, crown_at + up * (unit * (0.2 + 0.9 * o["crown"]))[:, None], crown, crown * 0.85), 1),
        (_tube(crown_at, crown_at + up * (unit * 0.12)[:, None], brim, brim), 1),
        (_ball_at(skull + up * (unit * 1.6)[:, None], unit * 1.1 * o["load"]), 0),
    ]


def _on_limbs(joints: dict[str, torch.Tensor], o: dict[str, torch.Tensor]) -> list[Piece]:
    size = _size(joints)
    out: list[Piece] = []
    for k, s in enumerate("lr"):
        shoulder, elbow, wrist = (joints[f"{j}_{s}"] for j in ("shoulder", "elbow", "wrist"))
        hip, knee, ankle, foot = (joints[f"{j}_{s}"] for j in ("hip", "knee", "ankle", "foot"))
        sleeve = size * (0.026 + 0.013 * o["sleeves"]) * (o["sleeves"] > 0)
        leg = size * (0.038 + 0.014 * o["trousers"]) * (o["trousers"] > 0)
        out += [(_tube(shoulder, elbow, sleeve * 1.15, sleeve * 1.1), 2 + k),
                (_tube(elbow, elbow + 0.9 * (wrist - elbow), sleeve * 1.05, sleeve), 2 + k),
                (_tube(hip + 0.1 * (knee - hip), knee, leg * 1.25, leg), 4 + k),
                (_tube(knee, knee + 0.92 * (ankle - knee), leg, leg * 0.9), 4 + k),
                (_ball_at(ankle + 0.4 * (foot - ankle), size * 0.045 * o["shoes"]), 4 + k),
                (_ball_at(foot + 0.6 * (foot - ankle), size * 0.030 * o["shoes"]), 4 + k)]
    return out


def _on_trunk(joints: dict[str, torch.Tensor], o: dict[str, torch.Tensor]) -> list[Piece]:
    size = _size(joints)
    pelvis, neck = joints["pelvis"], joints["neck"]
    hips = (joints["hip_l"] + joints["hip_r"]) / 2
    knees = (joints["knee_l"] + joints["knee_r"]) / 2
    ankles = (joints["ankle_l"] + joints["ankle_r"]) / 2
    spread = (joints["knee_l"] - joints["knee_r"]).norm(dim=-1) / 2
    on = o["skirt"] > 0
    short = (o["skirt"] * 2).clamp(max=1)[:, None]
    long = (o["skirt"] * 2 - 1).clamp(min=0)[:, None]
    hem = size * (0.05 + 0.08 * o["flare"]) + spread
    knee_hem = hips + short * (knees - hips)
    coat = size * (0.085 + 0.03 * o["coat"]) * (o["coat"] > 0)
    waist = size * 0.088 * on
    return [(_tube(pelvis + 0.15 * (neck - pelvis), hips, waist * 0.9, waist * 1.12), 0),
            (_tube(hips, knee_hem, waist * 1.12, hem * on), 0),
            (_tube(knee_hem, knee_hem + long * (ankles - knees), hem * on, hem * 1.1 * on * (long[:, 0] > 0)), 0),
            (_tube(hips, pelvis + 0.5 * (neck - pelvis), coat * 1.1, coat), 0),
            (_tube(pelvis + 0.5 * (neck - pelvis), pelvis + 0.9 * (neck - pelvis), coat, coat * 0.7), 0)]


def _held(joints: dict[str, torch.Tensor], o: dict[str, torch.Tensor]) -> list[Piece]:
    size = _size(joints)
    right = (o["pole"] > 0)[:, None]
    hand = torch.where(right, joints["hand_r"], joints["hand_l"])
    lean, turn = torch.deg2rad(o["pole_lean"].clamp(max=65)), torch.deg2rad(o["pole_turn"])
    along = torch.stack([torch.sin(lean) * torch.sin(turn), -torch.sin(lean) * torch.cos(turn), torch.cos(lean)], -1)
    thick = size * (0.006 + 0.010 * o["pole"].abs()) * (o["pole"] != 0)
    low = hand - along * (hand[:, 2] / along[:, 2])[:, None] * (o["pole"] != 0)[:, None]
    top = low + along * (size * 1.15)[:, None]
    bag_at = joints["hand_l"] - torch.stack([torch.zeros_like(size)] * 2 + [size * 0.12 * o["bag"]], -1)
    seat = joints["pelvis"][:, 2] - 0.065 * size
    thigh_drop = (joints["hip_l"] + joints["hip_r"] - joints["knee_l"] - joints["knee_r"])[:, 2] / 2
    sits = (o["block"] > 0) & (seat > 0.08 * size) & (thigh_drop < 0.12 * size)
    base = joints["pelvis"].clone()
    base[:, 2] = 0.0
    top_of_block = base.clone()
    top_of_block[:, 2] = seat.clamp(min=0)
    half = size * (0.07 + 0.09 * o["block"]) * sits
    return [(_tube(low, top, thick, thick), 0), (_ball_at(top, size * 0.07 * o["blade"] * (o["pole"] != 0)), 0),
            (_ball_at(bag_at, size * 0.10 * o["bag"]), 0), (_tube(base, top_of_block, half, half), 0)]


def _size(joints: dict[str, torch.Tensor]) -> torch.Tensor:
    """About the stature, whatever the pose (b,): shank, thigh and trunk end to end."""
    def between(a: str, b: str) -> torch.Tensor:
        return (joints[a] - joints[b]).norm(dim=-1)

    return (between("ankle_l", "knee_l") + between("knee_l", "hip_l") + between("pelvis", "neck")) / 0.81


def _unit(v: torch.Tensor) -> torch.Tensor:
    return v / v.norm(dim=-1, keepdim=True).clamp(min=1e-6)


def _tube(start: torch.Tensor, end: torch.Tensor, r0: torch.Tensor, r1: torch.Tensor) -> torch.Tensor:
    """(b, 2 * _SIDES + 2, 3) a capped cone from start to end; radius 0 at both ends folds it to nothing."""
    gone = ((r0 <= 0) & (r1 <= 0))[:, None]
    end = torch.where(gone, start, end)
    along = _unit(end - start + torch.tensor([0.0, 0.0, 1e-6], device=start.device))
    other = torch.where(along[:, 2:].abs() > 0.8, torch.tensor([1.0, 0.0, 0.0], device=start.device),
                        torch.tensor([0.0, 0.0, 1.0], device=start.device))
    u = _unit(torch.linalg.cross(along, other))
    v = torch.linalg.cross(along, u)
    t = torch.arange(_SIDES, device=start.device) * (2 * torch.pi / _SIDES)
    ring = torch.cos(t)[None, :, None] * u[:, None] + torch.sin(t)[None, :, None] * v[:, None]
    return torch.cat([start[:, None] + ring * r0[:, None, None], end[:, None] + ring * r1[:, None, None],
                      start[:, None], end[:, None]], 1)


@cache
def _tube_faces() -> torch.Tensor:
    n, out = _SIDES, []
    for i in range(n):
        j = (i + 1) % n
        out += [(i, j, n + i), (j, n + j, n + i), (i, 2 * n, j), (n + i, n + j, 2 * n + 1)]
    return torch.tensor(out)


def _ball_at(centre: torch.Tensor, radius: torch.Tensor) -> torch.Tensor:
    return centre[:, None] + _ball()[0].to(centre.device)[None] * radius[:, None, None]


@cache
def _ball() -> tuple[torch.Tensor, torch.Tensor]:
    """A sphere of radius 1: vertices (n, 3), faces (m, 3)."""
    rows, n = 8, 12
    lat = torch.linspace(-torch.pi / 2, torch.pi / 2, rows)[:, None]
    lon = torch.arange(n)[None] * (2 * torch.pi / n)
    points = torch.stack([torch.cos(lat) * torch.cos(lon), torch.cos(lat) * torch.sin(lon),
                          torch.sin(lat).expand(rows, n)], -1).reshape(-1, 3)
    faces = []
    for r in range(rows - 1):
        for c in range(n):
            a, b = r * n + c, r * n + (c + 1) % n
            faces += [(a, b, a + n), (b, b + n, a + n)]
    return points, torch.tensor(faces)
