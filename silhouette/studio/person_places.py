"""What is behind the people of ``person_pictures.py``: paper, walls, rooms, photographs of places, panoramas.

Everything is light, linear, 1 for white paper in full light. Sizes: b pictures of h x w pixels, n chosen ones of them.
"""

from __future__ import annotations

import json
import math
from dataclasses import dataclass
from io import BytesIO
from itertools import pairwise
from pathlib import Path

import numpy as np
import torch
import torch.nn.functional as F
from PIL import Image
from torch import Tensor

from silhouette.studio.person_raster import Dice, Mesh, depth, empty

FAR = 1e4
"""Distance of what is never hit, metres."""
MAP = 384
"""Side of a shadow map, pixels; it covers MAP_REACH metres each way."""
MAP_REACH = 2.2
SKINS = (
    (0.93, 0.75, 0.66),
    (0.87, 0.67, 0.55),
    (0.78, 0.57, 0.44),
    (0.66, 0.46, 0.34),
    (0.5, 0.33, 0.24),
    (0.36, 0.23, 0.17),
    (0.25, 0.16, 0.12),
    (0.95, 0.82, 0.75),
)
"""Levels, 0 to 1, of skins in even light."""


@dataclass
class Rays:
    """Where the camera looks, through each pixel."""

    origin: Tensor
    """(b, 3) metres."""
    ways: Tensor
    """(b, h, w, 3), of depth 1 along the camera's axis."""
    focal: Tensor
    """(b,) pixels."""

    def rows(self, at: Tensor) -> Rays:
        return Rays(self.origin[at], self.ways[at], self.focal[at])


class Material:
    """Photographs, textures, panoramas and furniture, on one device."""

    def __init__(self, folder: Path, device: torch.device | str) -> None:
        photos = [_fitted(p) for p in _pictures(folder / "photos.npz")]
        self.photos = torch.from_numpy(np.stack(photos)).to(device).permute(0, 3, 1, 2).contiguous()
        self.weights = torch.from_numpy(_likely(folder / "sources.json", len(photos))).to(device).cumsum(0)
        level = (
            torch.from_numpy(np.stack(_pictures(folder / "textures.npz"))).to(device).permute(0, 3, 1, 2).float() / 255
        )
        sizes, starts, flat, at = [], [], [], 0
        while level.shape[-1] >= 8:
            flat.append(level.permute(0, 2, 3, 1).flatten(1, 2))
            sizes.append(level.shape[-1])
            starts.append(at)
            at += level.shape[-1] ** 2
            level = F.avg_pool2d(level, 2)
        self.texels = (torch.cat(flat, 1) ** 2.2).half().flatten(0, 1)
        self.textures, self.per_texture = len(flat[0]), at
        self.sizes, self.starts = torch.tensor(sizes, device=device), torch.tensor(starts, device=device)
        with np.load(folder / "light.npz") as held:
            panoramas = torch.from_numpy(held["hdr"].astype(np.float32)).to(device).permute(0, 3, 1, 2)
        self.panoramas = panoramas / panoramas.mean((1, 2, 3), keepdim=True).clamp(min=1e-4)
        self.things = Things(folder / "furniture.npz", device)

    def texture(self, which: Tensor, at: Tensor, footprint: Tensor) -> Tensor:
        """(n, 3) colours of textures ``which`` (n,) at ``at`` (n, 2), in tiles; ``footprint`` (n,) tiles to a pixel."""
        level = torch.log2(footprint * 256).clamp(min=0, max=len(self.sizes) - 1.01).round().long()
        size, start = self.sizes[level], self.starts[level] + which * self.per_texture
        spot = (at - at.floor()) * size[:, None] - 0.5
        low = spot.floor()
        share, low = (spot - low).half(), low.long()
        x0, y0 = low[:, 0] % size, low[:, 1] % size
        x1, y1 = (x0 + 1) % size, (y0 + 1) % size
        top = torch.lerp(self.texels[start + y0 * size + x0], self.texels[start + y0 * size + x1], share[:, :1])
        bottom = torch.lerp(self.texels[start + y1 * size + x0], self.texels[start + y1 * size + x1], share[:, :1])
        return torch.lerp(top, bottom, share[:, 1:]).float()

    def crops(self, dice: Dice, n: int, h: int, w: int) -> Tensor:
        """(n, h, w, 3) pieces of photographs, half of them mirrored."""
        zoom, shape = dice.between(0.3, 1.0, n), (w / h) / (self.photos.shape[3] / self.photos.shape[2])
        wide, tall = zoom * min(1.0, shape), zoom * min(1.0, 1 / shape)
        window = torch.zeros(n, 2, 3, device=dice.device)
        window[:, 0, 0] = wide * torch.where(dice.chance(0.5, n), -1.0, 1.0)
        window[:, 1, 1] = tall * torch.where(dice.chance(0.04, n), -1.0, 1.0)
        window[:, 0, 2], window[:, 1, 2] = (1 - wide) * dice.between(-1, 1, n), (1 - tall) * dice.between(-1, 1, n)
        grid = F.affine_grid(window, [n, 3, h, w], align_corners=False)
        which = torch.bucketize(dice.between(0, 1, n) * self.weights[-1], self.weights[:-1])
        chosen = self.photos[which].float() / 255
        return (
            F.grid_sample(chosen, grid, padding_mode="reflection", align_corners=False).clamp(0, 1).permute(0, 2, 3, 1)
            ** 2.2
        )


def _pictures(file: Path) -> list[np.ndarray]:
    with np.load(file) as held:
        data, index = held["data"], held["index"]
    return [
        np.asarray(Image.open(BytesIO(data[a:b].tobytes())).convert("RGB"))
        for a, b in pairwise(index)
    ]


def _likely(file: Path, count: int) -> np.ndarray:
    """(count,) how often each photograph is taken against the others: rooms more often than landscapes."""
    weights = np.ones(count, np.float32)
    for row in json.loads(file.read_text()) if file.exists() else []:
        if row["file"] == "photos.npz":
            weights[row["first"] : row["first"] + row["count"]] = row.get("likely", 1.0)
    return weights


def _fitted(picture: np.ndarray) -> np.ndarray:
    return np.asarray(Image.fromarray(picture).resize((768, 512), Image.Resampling.LANCZOS))


class Things:
    """Furniture and the like, all padded to the same number of points and faces."""

    def __init__(self, file: Path, device: torch.device | str) -> None:
        meshes = [*_boxes(), *_turned_things()]
        if file.exists():
            with np.load(file) as held:
                for k in range(len(held["vat"]) - 1):
                    points = held["vertices"][held["vat"][k] : held["vat"][k + 1]].astype(np.float32)
                    faces = held["faces"][held["fat"][k] : held["fat"][k + 1]]
                    colours = held["colours"][held["fat"][k] : held["fat"][k + 1]].astype(int)
                    meshes.append((points, faces, _parts(colours, faces, len(points))))
        most_points, most_faces = max(len(m[0]) for m in meshes), max(len(m[1]) for m in meshes)
        self.points = torch.zeros(len(meshes), most_points, 3)
        self.faces = torch.full((len(meshes), most_faces, 3), -1)
        self.part = torch.zeros(len(meshes), most_points, dtype=torch.int64)
        for k, (points, faces, part) in enumerate(meshes):
            self.points[k, : len(points)] = torch.from_numpy(points)
            self.faces[k, : len(faces)] = torch.from_numpy(np.ascontiguousarray(faces)).long()
            self.part[k, : len(points)] = torch.from_numpy(part)
        self.points, self.faces, self.part = (t.to(device) for t in (self.points, self.faces, self.part))
        self.made = len(_boxes()) + len(_turned_things())

    def pick(self, dice: Dice, b: int, slots: int) -> Tensor:
        """(b, slots) which things: half of them modelled, half simple, where there are modelled ones."""
        simple = dice.whole(0, self.made, b, slots)
        if self.made == len(self.points):
            return simple
        return torch.where(dice.chance(0.6, b, slots), dice.whole(self.made, len(self.points), b, slots), simple)


PARTS = 3
"""Materials of a thing."""
Solid = tuple[np.ndarray, np.ndarray, np.ndarray]


def _parts(colours: np.ndarray, faces: np.ndarray, n: int) -> np.ndarray:
    """(n,) materials of points, one for each of the thing's commonest colours."""
    _, inverse = np.unique(colours // 48, axis=0, return_inverse=True)
    part = np.zeros(n, np.int64)
    part[faces.ravel()] = np.repeat(inverse.ravel() % PARTS, 3)
    return part


def _box(x: float, y: float, z: float, wide: float, deep: float, tall: float) -> tuple[np.ndarray, np.ndarray]:
    corners = np.array([[i, j, k] for i in (-0.5, 0.5) for j in (-0.5, 0.5) for k in (-0.5, 0.5)])
    sides = [(0, 1, 3, 2), (4, 6, 7, 5), (0, 4, 5, 1), (2, 3, 7, 6), (0, 2, 6, 4), (1, 5, 7, 3)]
    faces = [f for a, b, c, d in sides for f in ((a, b, c), (a, c, d))]
    return corners * (wide, deep, tall) + (x, y, z), np.array(faces)


def _boxes() -> list[Solid]:
    def legs(x: float, y: float, tall: float, thick: float = 0.05) -> list[tuple[float, ...]]:
        return [(i * x, j * y, tall / 2, thick, thick, tall) for i in (-1, 1) for j in (-1, 1)]

    table = [(0, 0, 0.73, 1.3, 0.7, 0.04), *legs(0.58, 0.3, 0.72)]
    chair = [(0, 0, 0.45, 0.44, 0.44, 0.04), (0, 0.2, 0.78, 0.44, 0.03, 0.36), *legs(0.2, 0.2, 0.9, 0.035)]
    shelf = [(i * 0.5, 0, 1.0, 0.03, 0.3, 2.0) for i in (-1, 1)] + [
        (0, 0, z, 1.0, 0.3, 0.03) for z in (0.1, 0.6, 1.0, 1.4, 1.9)
    ]
    books = [*shelf, *[(-0.4 + 0.09 * k, 0, 1.14, 0.07, 0.2, 0.22 + 0.02 * (k % 4)) for k in range(9)]]
    cupboard = [(0, 0, 0.95, 1.0, 0.5, 1.9), (0.06, -0.26, 1.0, 0.02, 0.03, 0.3), (-0.06, -0.26, 1.0, 0.02, 0.03, 0.3)]
    sofa = [
        (0, 0, 0.22, 1.9, 0.85, 0.4),
        (0, 0.36, 0.6, 1.9, 0.2, 0.5),
        (-0.95, 0, 0.4, 0.18, 0.85, 0.55),
        (0.95, 0, 0.4, 0.18, 0.85, 0.55),
    ]
    bed = [(0, 0, 0.28, 1.5, 2.0, 0.4), (0, 1.0, 0.6, 1.5, 0.06, 1.1), (-0.35, 0.7, 0.55, 0.5, 0.35, 0.14)]
    easel = [
        (-0.3, 0, 0.85, 0.05, 0.04, 1.7),
        (0.3, 0, 0.85, 0.05, 0.04, 1.7),
        (0, 0, 0.75, 0.8, 0.06, 0.05),
        (0, -0.04, 1.2, 0.7, 0.02, 0.8),
    ]
    stand = [(0, 0, 0.9, 0.03, 0.03, 1.8), (0, 0, 1.85, 0.4, 0.25, 0.3), *legs(0.25, 0.25, 0.04, 0.04)]
    radiator = [(0.08 * k - 0.4, 0, 0.45, 0.06, 0.1, 0.6) for k in range(11)]
    crates = [(0, 0, 0.2, 0.5, 0.4, 0.4), (0.05, 0, 0.55, 0.4, 0.3, 0.3), (0.5, 0.1, 0.15, 0.3, 0.3, 0.3)]
    door = [(0, 0, 1.0, 0.9, 0.05, 2.0), (0.36, -0.05, 1.0, 0.12, 0.05, 0.02)]
    plinth, board, post = [(0, 0, 0.5, 0.45, 0.45, 1.0)], [(0, 0, 0.9, 1.2, 0.03, 1.8)], [(0, 0, 1.25, 0.09, 0.09, 2.5)]
    rails = [(0, 0, 0.9, 1.8, 0.05, 0.05), (0, 0, 0.15, 1.8, 0.04, 0.04)] + [
        (0.12 * k - 0.85, 0, 0.5, 0.02, 0.02, 0.8) for k in range(15)
    ]
    steps = [(0, 0.28 * k, 0.09 + 0.18 * k / 2, 1.0, 0.28, 0.18 * (k + 1)) for k in range(4)]
    blocky = [
        (0, 0, 1.1, 0.36, 0.22, 0.55),
        (0, 0, 1.55, 0.18, 0.2, 0.24),
        (-0.1, 0, 0.42, 0.14, 0.16, 0.82),
        (0.1, 0, 0.42, 0.14, 0.16, 0.82),
        (-0.25, 0, 1.05, 0.1, 0.12, 0.62),
        (0.25, 0, 1.05, 0.1, 0.12, 0.62),
    ]
    out = []
    for boxes in (
        table,
        chair,
        shelf,
        books,
        cupboard,
        sofa,
        bed,
        easel,
        stand,
        radiator,
        crates,
        door,
        plinth,
        board,
        post,
        rails,
        steps,
        blocky,
    ):
        solids = [_box(*box) for box in boxes]
        points = np.concatenate([p for p, _ in solids]).astype(np.float32)
        faces = np.concatenate([f + 8 * k for k, (_, f) in enumerate(solids)])
        part = np.repeat(np.arange(len(solids)) % PARTS if len(solids) > 3 else np.zeros(len(solids), int), 8)
        out.append((points, faces, part))
    return out


def _turned_things() -> list[Solid]:
    """Vases, lamps, bowls, columns, balls: profiles turned on a lathe."""
    rng, out = np.random.default_rng(3), []
    rows, columns = 12, 16
    for _ in range(40):
        t = np.linspace(0, 1, rows)
        draw = rng.random()
        if draw < 0.25:
            profile = np.full(rows, 1.0)
        elif draw < 0.5:
            profile = np.sqrt(np.clip(1 - (2 * t - 1) ** 2, 0, 1))
        else:
            profile = 0.25 + rng.uniform(0.2, 0.7) * (0.5 + 0.5 * np.sin(t * rng.uniform(2, 13) + rng.uniform(0, 6)))
        profile[0] = profile[-1] = 0.0
        tall, wide = rng.uniform(0.15, 1.9), rng.uniform(0.04, 0.35)
        turn = np.linspace(0, 2 * np.pi, columns)
        ring = np.stack([np.cos(turn), np.sin(turn)], -1)
        points = np.concatenate(
            [
                wide * profile[:, None, None] * ring[None],
                np.broadcast_to((t * tall)[:, None, None], (rows, columns, 1)),
            ],
            -1,
        ).reshape(-1, 3)
        at = np.arange(rows * columns).reshape(rows, columns)
        a, b, c, d = at[:-1, :-1], at[:-1, 1:], at[1:, :-1], at[1:, 1:]
        faces = np.concatenate([np.stack([a, b, c], -1).reshape(-1, 3), np.stack([b, d, c], -1).reshape(-1, 3)])
        part = (np.repeat(t, columns) * rng.integers(1, 4)).astype(np.int64) % PARTS
        out.append((points.astype(np.float32), faces, part))
    return out


def colours(dice: Dice, *shape: int) -> Tensor:
    """(..., 3) light that surfaces give back: greys, muted and strong colours."""
    grey = dice.between(0.05, 0.98, *shape, 1)
    muted, strong = grey + dice.normal(0.12, *shape, 3), dice.between(0, 1, *shape, 3)
    draw = dice.between(0, 1, *shape, 1)
    levels = torch.where(draw < 0.35, grey + dice.normal(0.02, *shape, 3), torch.where(draw < 0.75, muted, strong))
    return levels.clamp(0.08, 0.98) ** 2.2


class Light:
    """One or two lamps that cast shadows, and the light of the room round about; of b pictures."""

    def __init__(self, dice: Dice, b: int) -> None:
        device = dice.device
        across, up = dice.between(-math.pi, math.pi, b, 2), dice.between(0.15, 1.35, b, 2)
        across = torch.where(dice.chance(0.6, b, 2), across * 0.5, across)
        self.ways = torch.stack(
            [torch.sin(across) * torch.cos(up), -torch.cos(across) * torch.cos(up), torch.sin(up)], -1
        )
        """(b, 2, 3) toward the lamps."""
        tint = (1 + dice.normal(0.14, b, 2, 3) * torch.tensor([1.0, 0.2, 1.2], device=device)).clamp(0.4, 1.7)
        power = torch.where(dice.chance(0.75, b, 2), dice.between(0.3, 2.5, b, 2), dice.between(0, 0.3, b, 2))
        power[:, 1] *= dice.chance(0.35, b).float() * 0.7
        self.lamps = power[..., None] * tint
        """(b, 2, 3)"""
        self.room = dice.spread(0.12, 1.0, b, 1) * (1 + dice.normal(0.06, b, 3)).clamp(0.7, 1.3)
        self.leans, self.tints = dice.way(b, 2), (1 + dice.normal(0.25, b, 2, 3)).clamp(0.2, 2)
        self.lean = dice.between(0, 0.6, b, 2)

    def ambient(self, normals: Tensor, b: Tensor) -> Tensor:
        """(n, 3) light of the room on surfaces of pictures b (n,)."""
        total = torch.ones(len(normals), 3, device=normals.device)
        for k in range(2):
            facing = (normals * self.leans[b, k]).sum(1, keepdim=True)
            total = total + self.lean[b, k, None] * facing * self.tints[b, k]
        return total.clamp(min=0.08) * self.room[b]

    def direct(self, normals: Tensor, b: Tensor, shade: Tensor) -> Tensor:
        """(n, 3) light of the lamps; ``shade`` (n, 2) is 1 where a lamp is hidden."""
        facing = (normals[:, None] * self.ways[b]).sum(-1).clamp(min=0)
        return ((facing * (1 - shade))[..., None] * self.lamps[b]).sum(1)


class Shadows:
    """Shadow maps of both lamps: (b, 2, MAP, MAP) depths along the light, as of what stands about the figure."""

    def __init__(self, dice: Dice, light: Light, meshes: list[tuple[Tensor, Tensor, Tensor]], middle: Tensor) -> None:
        """``meshes``: points (b, v, 3), shown (b, v), faces; ``middle`` (b, 3) of the figure."""
        b, device = len(middle), middle.device
        self.middle, self.dice = middle, dice
        down = torch.tensor([0.0, 0.0, 1.0], device=device).expand(b, 2, 3)
        u = F.normalize(torch.linalg.cross(light.ways, down), dim=-1)
        self.axes = torch.stack([u, torch.linalg.cross(u, light.ways), -light.ways], 2)
        self.soft = torch.where(dice.chance(0.5, b, 2), dice.between(0, 0.02, b, 2), dice.between(0.02, 0.12, b, 2))
        self.strength = dice.between(0.6, 1.0, b, 2)
        maps = []
        for lamp in range(2):
            pixels = empty(b, MAP, MAP, device)
            for points, shown, faces in meshes:
                seen = (points - middle[:, None]) @ self.axes[:, lamp].mT
                flat = (seen[..., :2] / MAP_REACH * 0.5 + 0.5) * MAP
                Mesh(torch.cat([flat, torch.where(shown, seen[..., 2] + 20, -1.0)[..., None]], -1), faces).draw(
                    pixels, True
                )
            maps.append(depth(pixels))
        self.maps = torch.stack(maps, 1)

    def on(self, points: Tensor, b: Tensor, bias: float = 0.03, taps: int = 3) -> Tensor:
        """(n, 2) how much of each lamp's light is kept from points (n, 3) of pictures b (n,)."""
        out = []
        for lamp in range(2):
            seen = (self.axes[b, lamp] * (points - self.middle[b])[:, None]).sum(-1)
            total = torch.zeros(len(points), device=points.device)
            for _ in range(taps):
                off = self.dice.normal(1.0, len(points), 2) * self.soft[b, lamp, None]
                spot = (((seen[:, :2] + off) / MAP_REACH * 0.5 + 0.5) * MAP).floor().long()
                inside = ((spot >= 0) & (spot < MAP)).all(1)
                spot = spot.clamp(0, MAP - 1)
                nearest = self.maps[b, lamp, spot[:, 1], spot[:, 0]]
                total += inside & (nearest < seen[:, 2] + 20 - bias)
            out.append(total / taps * self.strength[b, lamp])
        return torch.stack(out, 1)


class Places:
    """Draws what lies behind the figure and its furniture."""

    KINDS = (0.30, 0.26, 0.26, 0.06, 0.12)
    """Shares of paper and walls, rooms, photographs, panoramas, collages."""

    def __init__(self, material: Material, dice: Dice) -> None:
        self.material, self.dice = material, dice

    def behind(self, rays: Rays, light: Light, shadows: Shadows, ground: Tensor) -> tuple[Tensor, Tensor]:
        """(b, h, w, 3) light of the places, and (b,) which kind each is."""
        b, h, w, _ = rays.ways.shape
        kind = self.dice.pick(list(self.KINDS), b)
        out = torch.zeros(b, h, w, 3, device=rays.ways.device)
        for number, draw in enumerate((self._paper, self._room, self._photo, self._panorama, self._collage)):
            at = (kind == number).nonzero()[:, 0]
            if len(at):
                made = draw(rays.rows(at), light, shadows, at)
                out[at] = made * self._under_feet(rays.rows(at), ground[at])[..., None]
        return out, kind

    # ----------------------------------------------------------------------------------------------------- what is hit

    def _shade(self, points: Tensor, shadows: Shadows, at: Tensor) -> Tensor:
        """(n, h, w, 2) shadows at points (n, h, w, 3), now and then smoothed."""
        n, h, w, _ = points.shape
        rows = at.repeat_interleave(h * w)
        return shadows.on(points.reshape(-1, 3), rows).view(n, h, w, 2)

    def _floor(self, rays: Rays) -> tuple[Tensor, Tensor]:
        """Distance (n, h, w) to the ground, and the points there."""
        height, sink = rays.origin[:, 2, None, None], rays.ways[..., 2]
        t = torch.where(sink < -1e-4, height / (-sink).clamp(min=1e-4), torch.full_like(sink, FAR))
        return t, rays.origin[:, None, None] + rays.ways * t[..., None].clamp(max=60)

    def _under_feet(self, rays: Rays, ground: Tensor) -> Tensor:
        """(n, h, w) what is left of the light close to what stands on the ground."""
        _, points = self._floor(rays)
        left = torch.ones(points.shape[:3], device=points.device)
        for k in range(3):
            away = ((points[..., :2] - ground[:, k, None, None, :2]) ** 2).sum(-1)
            near = torch.exp(-away / (0.02 if k < 2 else 0.15)) * (ground[:, k, 2] < 0.6)[:, None, None]
            left = left * (1 - self.dice.between(0, 0.5, len(left), 1, 1) * near)
        return left

    def _lit(
        self, points: Tensor, normals: Tensor, light: Light, shadows: Shadows, at: Tensor, flat: float = 0.5
    ) -> Tensor:
        """(n, h, w, 3) light on surfaces."""
        n, h, w, _ = points.shape
        rows = at.repeat_interleave(h * w)
        normals = normals.reshape(-1, 3)
        shade = self._shade(points, shadows, at).view(-1, 2)
        return (light.ambient(normals, rows) + light.direct(normals, rows, shade)).view(n, h, w, 3)

    # ----------------------------------------------------------------------------------------------------------- kinds

    def _paper(self, rays: Rays, light: Light, shadows: Shadows, at: Tensor) -> Tensor:
        """A wall and a floor, or paper that sweeps from one into the other: plain, folded, a little textured."""
        dice, n = self.dice, len(at)
        floor, _ = self._floor(rays)
        back = dice.between(0.3, 2.8, n)[:, None, None]
        wall = torch.where(
            rays.ways[..., 1] > 1e-4,
            (back - rays.origin[:, 1, None, None]) / rays.ways[..., 1].clamp(min=1e-4),
            torch.full_like(floor, FAR),
        )
        t = torch.minimum(floor, wall).clamp(max=50)
        p = rays.origin[:, None, None] + rays.ways * t[..., None]
        bend = torch.where(dice.chance(0.5, n), dice.between(0.15, 0.9, n), dice.between(0.003, 0.05, n))[:, None, None]
        flat = torch.where(floor < wall, ((back - p[..., 1]) / bend).clamp(0, 1), torch.zeros_like(t))
        flat = flat * flat * (3 - 2 * flat)
        first = colours(dice, n)
        first = torch.where(
            dice.chance(0.3, n, 1), dice.between(0.5, 0.95, n, 1) * (1 + dice.normal(0.03, n, 3)), first
        )
        strong = torch.tensor(
            [[0.6, 0.02, 0.02], [0.02, 0.05, 0.5], [0.02, 0.4, 0.05], [0.7, 0.5, 0.02], [0.01, 0.01, 0.01]],
            device=dice.device,
        )
        first = torch.where(dice.chance(0.18, n, 1), strong[dice.whole(0, 5, n)] * dice.between(0.4, 1.3, n, 1), first)
        skins = torch.tensor(SKINS, device=dice.device) ** 2.2
        first = torch.where(
            dice.chance(0.06, n, 1), skins[dice.whole(0, len(SKINS), n)] * dice.between(0.8, 1.2, n, 1), first
        )
        second = torch.where(dice.chance(0.4, n, 1), colours(dice, n), first)
        albedo = torch.lerp(
            first[:, None, None],
            second[:, None, None],
            (flat > 0.5).float()[..., None] if dice.one() < 0.6 else flat[..., None],
        )
        albedo = albedo * self._grain(p, flat, t, rays, n)
        skirting = (
            (p[..., 2] < dice.between(0.04, 0.15, n)[:, None, None]) & (floor >= wall) & dice.chance(0.25, n, 1, 1)
        )
        albedo = torch.where(skirting[..., None], colours(dice, n)[:, None, None], albedo)
        for _ in range(2):  # seams, stands, the end of the paper
            middle, half = dice.between(-2.2, 2.2, n)[:, None, None], dice.spread(0.005, 0.4, n)[:, None, None]
            strip = (
                ((p[..., 0] - middle).abs() < half)
                & (middle.abs() > 0.5)
                & dice.chance(0.15, n, 1, 1)
                & (floor >= wall)
            )
            albedo = torch.where(strip[..., None], colours(dice, n)[:, None, None], albedo)
        fold = torch.sin(
            p[..., 0] * dice.between(4, 25, n)[:, None, None]
            + 2 * torch.sin(p[..., 2] * dice.between(0.3, 3, n)[:, None, None])
        )
        fold = 1 + dice.between(0.05, 0.5, n)[:, None, None] * dice.chance(0.3, n, 1, 1) * fold * (1 - flat)
        normals = F.normalize(torch.stack([torch.zeros_like(flat), flat - 1 - 1e-3, flat], -1), dim=-1)
        lit = self._lit(p, normals, light, shadows, at)
        spot = torch.exp(
            -(
                (p[..., 0] - dice.between(-1, 1, n)[:, None, None]) ** 2
                + (p[..., 2] - dice.between(0.5, 2, n)[:, None, None]) ** 2
            )
            / dice.between(1, 12, n)[:, None, None]
        )
        spot = torch.where(dice.chance(0.4, n, 1, 1), 0.4 + 1.2 * spot, torch.ones_like(spot))
        bright = torch.where(
            dice.chance(0.25, n, 1, 1), dice.between(1, 2.5, n, 1, 1), torch.ones(1, device=dice.device)
        )
        made = albedo * lit * (fold * spot * bright)[..., None]
        beyond = (p[..., 0].abs() > dice.between(0.9, 2, n)[:, None, None]) & dice.chance(0.15, n, 1, 1)
        return torch.where(beyond[..., None], self.material.crops(dice, *beyond.shape) * lit, made)

    def _grain(self, p: Tensor, flat: Tensor, t: Tensor, rays: Rays, n: int) -> Tensor:
        """(n, h, w, 3) a texture laid faintly over a surface, about 1."""
        dice, (h, w) = self.dice, flat.shape[1:]
        which, tile = dice.whole(0, self.material.textures, n), dice.between(0.3, 2, n)[:, None, None]
        spot = torch.stack([p[..., 0] / tile, torch.where(flat > 0.5, p[..., 1], -p[..., 2]) / tile], -1)
        size = t / rays.focal[:, None, None] / tile
        texture = self.material.texture(which.repeat_interleave(h * w), spot.view(-1, 2), size.flatten()).view(
            n, h, w, 3
        )
        texture = texture / texture.mean((1, 2), keepdim=True).clamp(min=0.01)
        share = dice.between(0.05, 0.6, n, 1, 1, 1) * dice.chance(0.35, n, 1, 1, 1)
        return 1 + (texture.clamp(0, 3) - 1) * share

    def _room(self, rays: Rays, light: Light, shadows: Shadows, at: Tensor) -> Tensor:
        """A box of a room: floor, walls and ceiling, with doors, windows, posters, skirting and corners."""
        dice, n = self.dice, len(at)
        turn = torch.where(dice.chance(0.5, n), dice.normal(0.08, n), dice.between(-0.8, 0.8, n))
        c, s, zero = torch.cos(turn), torch.sin(turn), torch.zeros(n, device=dice.device)
        about = torch.stack(
            [torch.stack([c, s, zero], -1), torch.stack([-s, c, zero], -1), torch.stack([zero, zero, zero + 1], -1)], 1
        )
        origin = torch.einsum("nij,nj->ni", about, rays.origin)
        ways = torch.einsum("nij,nhwj->nhwi", about, rays.ways)
        o, d = origin[:, None, None], ways

        def hit(axis: int, place: Tensor, sign: float) -> Tensor:
            along = d[..., axis] * sign
            t = (place[:, None, None] - o[..., axis]) * sign / along.clamp(min=1e-5)
            return torch.where((along > 1e-5) & (t > 0.05), t, torch.full_like(t, FAR))

        planes = torch.stack(
            [
                hit(2, zero, -1.0),
                hit(1, dice.between(0.4, 4.5, n), 1.0),
                hit(0, -dice.between(1.2, 4.5, n), -1.0),
                hit(0, dice.between(1.2, 4.5, n), 1.0),
                hit(2, dice.between(2.2, 4, n), 1.0),
            ]
        )
        t, side = planes.min(0)
        t = t.clamp(max=60)
        p = o + d * t[..., None]
        spot = torch.stack(
            [
                torch.where((side == 2) | (side == 3), p[..., 1], p[..., 0]),
                torch.where((side == 0) | (side == 4), p[..., 1], -p[..., 2]),
            ],
            -1,
        )
        albedo = self._papered(spot, side, t, rays)
        for _ in range(6):
            albedo = self._hung(albedo, spot, side, t, rays)
        skirting = (
            (side > 0)
            & (side < 4)
            & (p[..., 2] < dice.between(0.05, 0.15, n)[:, None, None])
            & dice.chance(0.6, n, 1, 1)
        )
        albedo = torch.where(skirting[..., None], colours(dice, n)[:, None, None], albedo)
        inward = torch.tensor([[0, 0, 1.0], [0, -1, 0], [1, 0, 0], [-1, 0, 0], [0, 0, -1]], device=dice.device)
        normals = torch.einsum("nij,nhwi->nhwj", about, inward[side])
        world = rays.origin[:, None, None] + rays.ways * t[..., None]
        lit = self._lit(world, normals, light, shadows, at)
        second = planes.sort(0).values[1]
        corner = 1 - 0.35 * torch.exp(-(second - t).abs() / 0.25)
        pool = 1 + dice.between(-0.3, 0.5, n)[:, None, None] * torch.sin(
            p[..., 0] * dice.between(0.5, 2, n)[:, None, None]
        )
        return albedo * lit * (corner * pool)[..., None]

    def _papered(self, spot: Tensor, side: Tensor, t: Tensor, rays: Rays) -> Tensor:
        """(n, h, w, 3) what floor, walls and ceiling are covered with."""
        dice, (n, h, w) = self.dice, side.shape
        which, tile = dice.whole(0, self.material.textures, n, 5), dice.spread(0.3, 3, n, 5)
        plain, colour = dice.chance(0.45, n, 5), colours(dice, n, 5)
        for other in (2, 3):  # side walls mostly like the back wall
            same = dice.chance(0.8, n)
            for table in (which, tile, plain, colour):
                table[:, other] = torch.where(same.view(-1, *[1] * (table.dim() - 2)), table[:, 1], table[:, other])
        rows = torch.arange(n, device=dice.device)[:, None, None]
        size = tile[rows, side]
        made = self.material.texture(
            which[rows, side].flatten(),
            (spot / size[..., None]).view(-1, 2),
            (t / rays.focal[:, None, None] / size).flatten(),
        ).view(n, h, w, 3)
        tint = colour / colour.mean(-1, keepdim=True).clamp(min=0.02)
        made = made * torch.where(dice.chance(0.5, n, 5, 1), tint, torch.ones_like(tint)).clamp(0, 2.5)[rows, side]
        return torch.where(
            plain[rows, side][..., None], colour[rows, side] * (0.9 + 0.2 * made.mean(-1, keepdim=True)), made
        )

    def _hung(self, albedo: Tensor, spot: Tensor, side: Tensor, t: Tensor, rays: Rays) -> Tensor:
        """A poster, picture, door, window, board or rug over a surface; windows shine."""
        dice, n = self.dice, len(side)

        def one(low: float, high: float) -> Tensor:
            return dice.between(low, high, n)[:, None, None]

        on = torch.where(
            dice.chance(0.65, n), torch.ones(n, dtype=torch.int64, device=dice.device), dice.whole(0, 4, n)
        )
        door = dice.chance(0.25, n)[:, None, None]
        half = torch.stack([one(0.1, 0.9), torch.where(door, torch.ones(1, device=dice.device), one(0.1, 0.8))], -1)
        middle = torch.stack(
            [one(-2.3, 2.3), torch.where(door, -torch.ones(1, device=dice.device), one(-2.2, -0.3))], -1
        )
        away = (spot - middle) / half
        inside = (side == on[:, None, None]) & (away.abs() < 1).all(-1) & dice.chance(0.65, n, 1, 1)
        frame = inside & ((away.abs() * half) > (half - one(0.02, 0.07)[..., None])).any(-1) & dice.chance(0.7, n, 1, 1)
        photo = self.material.crops(dice, n, 96, 96).permute(0, 3, 1, 2)
        shown = F.grid_sample(photo, away.clamp(-1, 1), align_corners=False).permute(0, 2, 3, 1)
        shown = torch.where(dice.chance(0.35, n, 1, 1, 1), colours(dice, n)[:, None, None], shown)
        shown = (
            shown
            * torch.where(dice.chance(0.2, n), dice.between(1, 4, n), dice.between(0.8, 1.2, n))[:, None, None, None]
        )
        albedo = torch.where(inside[..., None], shown, albedo)
        return torch.where(frame[..., None], colours(dice, n)[:, None, None], albedo)

    def _cast(self, picture: Tensor, rays: Rays, light: Light, shadows: Shadows, at: Tensor) -> Tensor:
        """A picture of a place with the figure's shadow on its ground, most of the time."""
        t, points = self._floor(rays)
        shade = self._shade(points, shadows, at) * (t < 30)[..., None]
        lamps = light.lamps[at].mean(-1) * light.ways[at, :, 2].clamp(min=0)
        share = lamps / (lamps.sum(1, keepdim=True) + light.room[at].mean(-1, keepdim=True))
        left = 1 - (shade * share[:, None, None]).sum(-1) * self.dice.chance(0.7, len(at), 1, 1)
        level = (light.room[at].mean(-1) + lamps.sum(1)).clamp(0.3, 3)[:, None, None, None]
        return picture * left[..., None] * level * 0.9

    def _photo(self, rays: Rays, light: Light, shadows: Shadows, at: Tensor) -> Tensor:
        n, h, w, _ = rays.ways.shape
        return self._cast(self.material.crops(self.dice, n, h, w), rays, light, shadows, at)

    def _panorama(self, rays: Rays, light: Light, shadows: Shadows, at: Tensor) -> Tensor:
        """Soft places all round; detail from a photograph over half of them."""
        dice, (n, h, w, _) = self.dice, rays.ways.shape
        way = F.normalize(rays.ways, dim=-1)
        across = torch.atan2(way[..., 0], way[..., 1]) / math.pi + dice.between(-1, 1, n)[:, None, None]
        spot = torch.stack([(across + 1) % 2 - 1, torch.acos(way[..., 2].clamp(-1, 1)) / math.pi * 2 - 1], -1)
        chosen = self.material.panoramas[dice.whole(0, len(self.material.panoramas), n)]
        seen = F.grid_sample(chosen, spot, padding_mode="border", align_corners=False).permute(0, 2, 3, 1).clamp(0, 12)
        detail = self.material.crops(dice, n, h, w)
        detail = (0.7 + 0.3 * detail / detail.mean((1, 2), keepdim=True).clamp(min=0.02)).clamp(max=2)
        seen = seen * torch.where(dice.chance(0.5, n, 1, 1, 1), detail, torch.ones_like(detail))
        return self._cast(seen / seen.mean((1, 2, 3), keepdim=True).clamp(min=0.01) * 0.35, rays, light, shadows, at)

    def _collage(self, rays: Rays, light: Light, shadows: Shadows, at: Tensor) -> Tensor:
        """Pieces of many photographs and plain cards over each other: clutter of every shape."""
        dice, (n, h, w, _) = self.dice, rays.ways.shape
        y, x = torch.meshgrid(
            torch.linspace(-1, 1, h, device=dice.device), torch.linspace(-1, 1, w, device=dice.device), indexing="ij"
        )
        made = self.material.crops(dice, n, h, w)
        for _ in range(8):
            lean = dice.normal(0.3, n, 1, 1)
            u = (x - dice.between(-1, 1, n, 1, 1)) + lean * y
            v = (y - dice.between(-1, 1, n, 1, 1)) - lean * x
            inside = (u.abs() < dice.between(0.05, 0.5, n, 1, 1)) & (v.abs() < dice.between(0.05, 0.9, n, 1, 1))
            piece = torch.where(
                dice.chance(0.35, n, 1, 1, 1),
                colours(dice, n)[:, None, None],
                self.material.crops(dice, n, h, w) * dice.between(0.4, 1.5, n, 1, 1, 1),
            )
            made = torch.where(inside[..., None], piece, made)
        return self._cast(made, rays, light, shadows, at)
