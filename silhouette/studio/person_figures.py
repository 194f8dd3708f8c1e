"""People for the person network: the studio's bodies in clothes, hair and shoes, with what they hold, by the batch.

Crude where an outline does not show it, varied where it does. Clothes are the skin itself, drawn out along its normals,
in two layers; coats hang open, hair falls in strands, soles stand out. Everything is world metres: x to the camera's
right, y away from it, z up; figures stand at the origin.
"""

from __future__ import annotations

import math
from collections.abc import Iterator
from dataclasses import dataclass
from itertools import pairwise

import numpy as np
import torch
import torch.nn.functional as F
from torch import Tensor

from silhouette.studio import bodies, dress, poses, rig
from silhouette.studio.person_raster import Dice
from silhouette.studio.training_views import Stock

SKIN, EYES, HAIR, TOP, LEGS, SHOES, COAT, SKIRT, HAT, PROP, SEAT = range(11)
"""What a point is made of. All but the seat belong to the figure."""
KINDS = 11
POOL = 512
"""Bodies that are posed together."""
STRANDS, STRAND = 18, 6
"""Strands of hair, and points along each."""
TAIL = (9, 15)
"""Rows and columns of an open coat's tails."""


@dataclass
class Figures:
    """b people; v points each, the same faces for all."""

    points: Tensor
    """(b, v, 3) metres."""
    normals: Tensor
    """(b, v, 3)"""
    cloth: Tensor
    """(b, v, 3) where on the cloth a point lies: patterns hang on it."""
    kind: Tensor
    """(b, v) SKIN to SEAT."""
    shown: Tensor
    """(b, v) bool."""
    ground: Tensor
    """(b, 3, 3) left foot, right foot, pelvis."""


def joined_at(faces: Tensor, n: int) -> Tensor:
    """(n, most) the faces round each point, padded with the number of faces."""
    corner = faces.flatten()
    face = torch.arange(len(faces), device=faces.device).repeat_interleave(3)
    order = torch.argsort(corner, stable=True)
    corner, face = corner[order], face[order]
    count = torch.bincount(corner, minlength=n)
    start = count.cumsum(0) - count
    out = torch.full((n, int(count.max())), len(faces), device=faces.device)
    out[corner, torch.arange(len(corner), device=faces.device) - start[corner]] = face
    return out


def normals_of(points: Tensor, faces: Tensor, around: Tensor) -> Tensor:
    """(b, v, 3) unit normals; sums in one order, so that they are the same each time."""
    a, b, c = (points[:, faces[:, k]] for k in range(3))
    across = F.pad(torch.linalg.cross(b - a, c - a), (0, 0, 0, 1))
    total = torch.zeros_like(points)
    for k in range(around.shape[1]):
        total = total + across[:, around[:, k]]
    return F.normalize(total, dim=-1)


def grid_faces(rows: int, columns: int, device: torch.device) -> Tensor:
    """((rows - 1) (columns - 1) 2, 3) triangles of a sheet of points."""
    at = torch.arange(rows * columns, device=device).view(rows, columns)
    a, b, c, d = at[:-1, :-1], at[:-1, 1:], at[1:, :-1], at[1:, 1:]
    return torch.cat([torch.stack([a, b, c], -1).view(-1, 3), torch.stack([b, d, c], -1).view(-1, 3)])


class Wardrobe:
    """Dresses and poses people out of a stock of bodies."""

    def __init__(self, stock: Stock, vectors: Tensor, dice: Dice) -> None:
        """``vectors`` (p, rig.WIDTH) are the poses to draw from, degrees."""
        self.stock, self.vectors, self.dice = stock, vectors, dice
        self._pool: Iterator[tuple[Tensor, dict[str, Tensor]]] = iter(())
        rest, heads, names = stock.rest[0], stock.heads[0], stock.rig.names
        self.rest, self.n = rest, len(rest)
        self.limb = stock.rig.limb.long().to(rest.device)
        bone = {name: heads[i] for i, name in enumerate(names)}
        arms = [[bone[f"{b}.{s}"] for b in ("upperarm01", "lowerarm01", "wrist", "finger3-1")] for s in "LR"]
        legs = [[bone[f"{b}.{s}"] for b in ("upperleg01", "lowerleg01", "foot", "toe2-1")] for s in "LR"]
        self.arm = torch.where(self.limb == 2, _along(rest, arms[0]), _along(rest, arms[1]))
        """0 at the shoulder, 1 the elbow, 2 the wrist."""
        self.leg = torch.where(self.limb == 4, _along(rest, legs[0]), _along(rest, legs[1]))
        """0 at the hip, 1 the knee, 2 the ankle."""
        hip, neck = bone["upperleg01.L"][2], bone["neck01"][2]
        self.up = (rest[:, 2] - hip) / (neck - hip)
        """0 at the hips, 1 at the neck."""
        self.eyes = sum(stock.rig.weights[:, names.index(f"eye.{s}")] > 0.5 for s in "LR") > 0
        skull = rest[self.limb == 1]
        self.skull = F.normalize(rest - (skull.amin(0) + skull.amax(0)) / 2, dim=1)
        posed = self._posed(1)
        extra, extra_faces, _ = dress.dress_batch(posed[1], posed[0], dress.vector([dress.NAKED]).to(rest.device))
        self.worn = extra.shape[1]
        ball, tube = len(dress._ball()[0]), 2 * dress._SIDES + 2
        pieces = [(HAIR, ball), (HAIR, tube), (HAIR, ball), (HAT, tube), (HAT, tube), (PROP, ball)]
        pieces += [(TOP, tube)] * 2 + [(LEGS, tube)] * 2 + [(SHOES, ball)] * 2
        pieces += [(TOP, tube)] * 2 + [(LEGS, tube)] * 2 + [(SHOES, ball)] * 2
        pieces += [(SKIRT, tube)] * 3 + [(COAT, tube)] * 2 + [(PROP, tube), (PROP, ball), (PROP, ball), (SEAT, tube)]
        pieces += [(HAIR, STRANDS * STRAND * 2), (COAT, TAIL[0] * TAIL[1])]
        self.kind = torch.cat([torch.full((k,), kind, device=rest.device) for kind, k in pieces])
        assert len(self.kind) == self.worn + STRANDS * STRAND * 2 + TAIL[0] * TAIL[1]
        strand = grid_faces(STRAND, 2, rest.device)
        strands = torch.cat([strand + k * STRAND * 2 for k in range(STRANDS)])
        base = stock.rig.faces.to(rest.device)
        self.extra_faces = torch.cat(
            [
                extra_faces.to(rest.device),
                strands + self.worn,
                grid_faces(*TAIL, rest.device) + self.worn + STRANDS * STRAND * 2,
            ]
        )
        self.base, n = base, self.n
        self.faces = torch.cat([base, base + n, base + 2 * n, self.extra_faces + 3 * n])
        self.around, self.extra_around = joined_at(base, n), joined_at(self.extra_faces, len(self.kind))

    def figures(self, b: int) -> Figures:
        """b people in random poses, clothes and sizes, turned any way."""
        dice, n = self.dice, self.n
        skin, joints = self._next(b)
        worn = self._worn(skin, joints)
        normals = normals_of(skin, self.base, self.around)
        one, on_one, first = self._first_layer(skin, normals)
        two, on_two, second, coat = self._second_layer(skin, normals)
        strands, on_strands = self._strands(joints)
        tails, on_tails = self._tails(joints, coat)
        extra = torch.cat([worn, strands.flatten(1, 2), tails.flatten(1, 2)], 1)
        bare = torch.where(self.eyes, EYES, SKIN).expand(b, n)
        beard = (self.limb == 1) & (self.skull[:, 1] < -0.3) & (self.skull[:, 2] < -0.35) & dice.chance(0.15, b, 1)
        kinds = torch.cat([torch.where(beard, HAIR, bare), first, second, self.kind.expand(b, -1)], 1)
        shown = torch.cat(
            [
                torch.ones(b, n, dtype=torch.bool, device=skin.device),
                on_one,
                on_two,
                torch.ones(b, self.worn, dtype=torch.bool, device=skin.device),
                on_strands.repeat_interleave(STRAND * 2, 1),
                on_tails[:, None].expand(-1, TAIL[0] * TAIL[1]),
            ],
            1,
        )
        points = torch.cat([skin, one, two, extra], 1)
        ways = torch.cat([normals] * 3 + [normals_of(extra, self.extra_faces, self.extra_around)], 1)
        cloth = torch.cat([self.rest.expand(b, -1, -1)] * 3 + [extra], 1)
        ground = torch.stack([joints["foot_l"], joints["foot_r"], joints["pelvis"]], 1)
        return self._turned(Figures(points, ways, cloth, kinds, shown, ground))

    # ------------------------------------------------------------------------------------------------ bodies and poses

    def _posed(self, b: int) -> tuple[Tensor, dict[str, Tensor]]:
        dice, stock = self.dice, self.stock
        pick, share = dice.whole(0, len(stock.rest), 2, b), dice.between(0, 1, b)[:, None, None]
        rest, heads = (torch.lerp(t[pick[0]], t[pick[1]], share) for t in (stock.rest, stock.heads))
        angles = self.vectors[dice.whole(0, len(self.vectors), b)]
        # poses as people strike them are nearer to standing than the studio's broad sampler
        angles = (
            angles
            * torch.where(dice.chance(0.4, b), dice.between(0.2, 0.8, b), torch.ones_like(share[:, 0, 0]))[:, None]
        )
        posed = rig.pose_batch(stock.rig, rest, heads, angles)
        return posed.vertices, bodies.joints_of(posed, stock.rig.names)

    def _batches(self, b: int) -> Iterator[tuple[Tensor, dict[str, Tensor]]]:
        while True:
            together = max(b, POOL if self.rest.is_cuda else b)
            skin, joints = self._posed(together)
            for at in range(0, together - b + 1, b):
                yield skin[at : at + b], {k: j[at : at + b] for k, j in joints.items()}

    def _next(self, b: int) -> tuple[Tensor, dict[str, Tensor]]:
        if getattr(self, "_for", None) != b:
            self._for, self._pool = b, self._batches(b)
        return next(self._pool)

    # ---------------------------------------------------------------------------------------------------------- clothes

    def _worn(self, skin: Tensor, joints: dict[str, Tensor]) -> Tensor:
        """(b, worn, 3) hats, skirts, poles, bags and the like; skirts swing, hems are wavy."""
        dice, b = self.dice, len(skin)
        rng = np.random.default_rng(int(dice.whole(0, 1 << 30, 1)))
        outfits = []
        for _ in range(b):
            outfit = dress.sample(rng)
            if rng.random() < 0.5:  # the layers below are the better clothes
                outfit = dress.replace(outfit, hair=0.0, sleeves=0.0, trousers=0.0, coat=0.0)
            if rng.random() < 0.16:
                outfit = dress.replace(outfit, skirt=float(rng.uniform(0.3, 1)), flare=float(rng.random()))
            if rng.random() < 0.1:
                outfit = dress.replace(outfit, long_hair=float(rng.uniform(0.2, 1)))
            if rng.random() < 0.06:
                outfit = dress.replace(outfit, bag=float(rng.uniform(0.3, 1)))
            outfits.append(outfit)
        worn = dress.dress_batch(joints, skin, dress.vector(outfits).to(skin.device))[0]
        at = int((self.kind == SKIRT).nonzero()[0])
        side = torch.arange(2 * dress._SIDES + 2, device=skin.device)
        low = ((side >= dress._SIDES) & (side < 2 * dress._SIDES)) | (side == 2 * dress._SIDES + 1)
        swing = (
            dice.normal(1.0, b, 1, 3) * torch.tensor([0.15, 0.15, 0.04], device=skin.device) * dice.chance(0.5, b, 1, 1)
        )
        wave = 1 + 0.25 * torch.sin(side.float() * dice.between(1, 3, b, 1) + dice.between(0, 6.3, b, 1)) * dice.chance(
            0.6, b, 1
        )
        for piece in range(3):
            here = at + piece * len(side)
            part = worn[:, here : here + len(side)]
            middle = part[:, low].mean(1, keepdim=True)
            hem = middle + (part - middle) * wave[..., None] + swing * (piece + 1) / 2
            top = part + swing * piece / 2
            worn[:, here : here + len(side)] = torch.where(low[:, None], hem, top)
        return worn

    def _waves(self, b: int, parts: int, often: float) -> Tensor:
        """(b, n) smooth random fields over the skin, about -1 to 1."""
        total = torch.zeros(b, self.n, device=self.rest.device)
        for _ in range(parts):
            way = self.dice.normal(often, 3, b)
            total = total + torch.sin((self.rest @ way).T + self.dice.between(0, 6.3, b, 1)) / parts
        return total

    def _first_layer(self, skin: Tensor, normals: Tensor) -> tuple[Tensor, Tensor, Tensor]:
        """Shirts, trousers, shoes, gloves: points (b, n, 3), shown (b, n), kind (b, n)."""
        dice, b = self.dice, len(skin)

        def some(share: float) -> Tensor:
            return dice.chance(share, b, 1)

        def where(low: float, high: float) -> Tensor:
            return dice.between(low, high, b, 1)

        core, head = self.limb == 0, self.limb == 1
        arm, leg = (self.limb == 2) | (self.limb == 3), self.limb >= 4
        hem, collar, waist = where(-0.35, 0.35), where(0.8, 1.12), where(0.05, 0.4)
        sleeve = torch.where(some(0.15), where(-1, 0), where(0.1, 2.1))
        length = torch.where(some(0.3), where(0.1, 1), where(1, 2.15))
        undressed = some(0.12)
        top = (core & (self.up > hem) & (self.up < collar)) | (arm & (self.arm < sleeve)) | (leg & (self.up > hem))
        top = top & ~undressed & ~some(0.05)
        below = ((leg & (self.leg < length)) | (core & (self.up < waist))) & ~(undressed & some(0.6)) & ~some(0.05)
        shoe = leg & (self.leg > where(1.75, 2.15)) & some(0.75)
        glove = arm & (self.arm > where(1.6, 2)) & some(0.04)
        hood = head & (self.skull[:, 1] > where(-0.6, 0.0)) & some(0.04)
        loose = where(0.0, 1.2) * (self.leg.clamp(0, 2) * leg + self.arm.clamp(0, 2) * arm) * 0.5
        out = where(0.003, 0.03) * (1 + 0.7 * self._waves(b, 3, 14.0)) * (1 + loose) + 0.003
        tight = (shoe | glove) & ~some(0.2)
        out = torch.where(tight, where(0.004, 0.014), out)
        moved = skin + normals * out[..., None]
        sole = shoe & (normals[..., 2] < -0.3)
        moved = moved - torch.where(sole, where(0, 0.03), torch.zeros_like(out))[..., None] * normals.new_tensor(
            [0, 0, 1.0]
        )
        kind = torch.where(shoe, SHOES, torch.where(top & ~(below & some(0.4)), TOP, torch.where(below, LEGS, TOP)))
        return moved, top | below | shoe | glove | hood, kind

    def _second_layer(self, skin: Tensor, normals: Tensor) -> tuple[Tensor, Tensor, Tensor, Tensor]:
        """Hair and coats: points, shown, kind as above, and (b,) who wears a coat."""
        dice, b = self.dice, len(skin)

        def where(low: float, high: float) -> Tensor:
            return dice.between(low, high, b, 1)

        core, head = self.limb == 0, self.limb == 1
        arm, leg = (self.limb == 2) | (self.limb == 3), self.limb >= 4
        toward = F.normalize(
            torch.stack([dice.normal(0.15, b), dice.between(0.3, 1, b), dice.between(0.5, 1.2, b)], 1), dim=1
        )
        hair = head & (where(-0.15, 0.5) < (self.skull @ toward.T).T) & dice.chance(0.85, b, 1)
        wears = dice.chance(0.2, b)
        coat = (
            (core & (self.up < where(0.9, 1.05)))
            | (arm & (self.arm < where(1.4, 2.05)))
            | (leg & (self.leg < where(0, 1.2)))
        )
        front = (
            (self.rest[:, 1] < 0) & (self.rest[:, 0].abs() < where(0.02, 0.12)) & (core | leg) & dice.chance(0.5, b, 1)
        )
        coat = coat & wears[:, None] & ~front
        thick = where(0.004, 0.05) * (1 + 0.6 * self._waves(b, 2, 35.0)) * (1 + 0.4 * self._waves(b, 1, 120.0))
        heavy = where(0.02, 0.06) * (1 + 0.5 * self._waves(b, 3, 10.0))
        below = (0.5 - self.up).clamp(0, 1.6) * (core | leg)
        heavy = heavy + where(0, 0.14) * dice.chance(0.6, b, 1) * below
        out = torch.where(head, thick, heavy) + 0.004
        sway = (
            dice.normal(1.0, b, 1, 3) * torch.tensor([0.12, 0.12, 0.04], device=skin.device) * dice.chance(0.6, b, 1, 1)
        )
        moved = skin + normals * out[..., None] + sway * (below * coat)[..., None]
        kind = torch.where(head, HAIR, COAT).expand(b, -1)
        return moved, hair | coat, kind, wears

    def _strands(self, joints: dict[str, Tensor]) -> tuple[Tensor, Tensor]:
        """(b, STRANDS, STRAND * 2, 3) ribbons of hair, and which are there (b, STRANDS)."""
        dice, skull = self.dice, joints["head"]
        b, device = len(skull), skull.device
        up = F.normalize(skull - joints["neck"], dim=-1)
        size = (skull - joints["neck"]).norm(dim=-1)
        root = F.normalize(dice.way(b, STRANDS) + up[:, None] * 0.8, dim=-1)
        wind = dice.normal(0.35, b, 1, 3)
        down = torch.tensor([0.0, 0.0, -1.0], device=device) * dice.between(0.2, 1.0, b, 1, 1)
        t = torch.linspace(0, 1, STRAND, device=device)[None, None, :, None]
        long = (size * dice.spread(0.2, 3.0, b))[:, None] * dice.between(0.5, 1, b, STRANDS)
        along = F.normalize(root, dim=-1)[:, :, None] * (1 - t) + (down + wind)[:, :, None] * t
        line = (skull[:, None] + root * (size * 0.75)[:, None, None])[:, :, None] + along.cumsum(2) * (long / STRAND)[
            ..., None, None
        ]
        line = (
            line
            + 0.1
            * size[:, None, None, None]
            * torch.sin(t * dice.between(3, 12, b, STRANDS, 1, 1))
            * dice.way(b, STRANDS)[:, :, None]
        )
        half = (size * dice.spread(0.01, 0.12, b))[:, None, None, None] * dice.way(b, STRANDS)[:, :, None] * (1.1 - t)
        ribbons = torch.stack([line - half, line + half], 3).flatten(2, 3)
        there = dice.chance(0.22, b, 1) & dice.chance(0.7, b, STRANDS)
        return ribbons, there

    def _tails(self, joints: dict[str, Tensor], coat: Tensor) -> tuple[Tensor, Tensor]:
        """(b, rows, columns, 3) of a coat's tails that hang open in front, and who wears them."""
        dice = self.dice
        hips, knees = ((joints[f"{j}_l"] + joints[f"{j}_r"]) / 2 for j in ("hip", "knee"))
        b, device = len(hips), hips.device
        size = (joints["neck"] - joints["pelvis"]).norm(dim=-1)
        side = F.normalize((joints["hip_l"] - joints["hip_r"]) * torch.tensor([1.0, 1.0, 0.0], device=device), dim=-1)
        back = torch.stack([-side[:, 1], side[:, 0], torch.zeros_like(side[:, 0])], -1)
        rows = torch.linspace(0, 1, TAIL[0], device=device)[None, :, None]
        gap = dice.between(0.1, 1.2, b, 1, 1)
        turn = (gap + (2 * math.pi - 2 * gap) * torch.linspace(0, 1, TAIL[1], device=device)) - math.pi / 2
        down = torch.tensor([0.0, 0.0, -1.0], device=device)
        hang = F.normalize(F.normalize(knees - hips, dim=-1) * dice.between(0, 0.8, b, 1) + down, dim=-1)
        length = (size * dice.between(0.3, 1.7, b))[:, None, None]
        start = (joints["pelvis"] + 0.25 * (joints["neck"] - joints["pelvis"]))[:, None, None]
        wide = size[:, None, None] * (0.36 + dice.between(0, 0.5, b, 1, 1) * rows)
        wide = wide * (1 + 0.12 * torch.sin(turn * dice.between(2, 6, b, 1, 1) + dice.between(0, 6, b, 1, 1)) * rows)
        ring = (
            torch.cos(turn)[..., None] * side[:, None, None] + 0.75 * torch.sin(turn)[..., None] * back[:, None, None]
        )
        swing = dice.normal(0.2, b, 1, 1, 3) * size[:, None, None, None] * (rows**1.5)[..., None]
        tails = start + hang[:, None, None] * (length * rows)[..., None] + ring * wide[..., None] + swing
        return tails, coat & dice.chance(0.6, b)

    # ------------------------------------------------------------------------------------------------------------ place

    def _turned(self, made: Figures) -> Figures:
        """Each turned about its own height, a few tumbled, half mirrored, some lifted off the ground."""
        dice, b, device = self.dice, len(made.points), made.points.device
        tumbled = dice.chance(0.1, b)
        tumble = rotations(dice.whole(0, 2, b), dice.between(-math.pi, math.pi, b) * tumbled)
        turn = dice.between(-math.pi, math.pi, b)
        turn = rotations(torch.full((b,), 2, device=device), torch.where(dice.chance(0.35, b), turn * 0.25, turn))
        flip = torch.ones(b, 3, device=device)
        flip[:, 0] = torch.where(dice.chance(0.5, b), -1.0, 1.0)
        whole = turn @ torch.diag_embed(flip) @ tumble
        middle = (made.points.amin(1, keepdim=True) + made.points.amax(1, keepdim=True)) / 2 * tumbled[:, None, None]
        lift = torch.zeros(b, 1, 3, device=device)
        lift[..., 2] = (dice.between(0, 0.6, b) * (tumbled | dice.chance(0.1, b)))[:, None]

        def moved(points: Tensor) -> Tensor:
            return (points - middle) @ whole.mT + middle + lift

        return Figures(
            moved(made.points), made.normals @ whole.mT, made.cloth, made.kind, made.shown, moved(made.ground)
        )


def rotations(axis: Tensor, angle: Tensor) -> Tensor:
    """(b, 3, 3) by ``angle`` about x, y or z (0, 1, 2)."""
    c, s, out = torch.cos(angle), torch.sin(angle), torch.zeros(len(angle), 3, 3, device=angle.device)
    i, j, row = (axis + 1) % 3, (axis + 2) % 3, torch.arange(len(angle), device=angle.device)
    out[row, axis, axis] = 1.0
    out[row, i, i], out[row, j, j], out[row, i, j], out[row, j, i] = c, c, -s, s
    return out


def _along(points: Tensor, chain: list[Tensor]) -> Tensor:
    """(n,) how far along a chain of bones each point lies: 0 to 1 on the first bone, 1 to 2 on the second ..."""
    best = torch.full((len(points),), 1e9, device=points.device)
    result = torch.zeros_like(best)
    for k, (a, b) in enumerate(pairwise(chain)):
        bone = b - a
        t = ((points - a) @ bone) / bone.dot(bone)
        t = t.clamp(0 if k else -1, 1 if k < len(chain) - 2 else 2)
        away = (points - (a + t.clamp(0, 1)[:, None] * bone)).norm(dim=1)
        nearer = away < best
        best, result = torch.where(nearer, away, best), torch.where(nearer, t + k, result)
    return result


def pose_pool(count: int, seed: int) -> Tensor:
    """(count, rig.WIDTH) poses from the studio's broad sampler."""
    rng = np.random.default_rng(seed)
    return rig.pose_vectors([poses.sample(rng) for _ in range(count)])
