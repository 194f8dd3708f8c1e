"""Pictures of people anywhere, with the exact share of each pixel that is figure, by the batch, on a graphics card.

    python -m silhouette.studio.person_pictures MATERIAL OUT.png --seed 3

shows a sheet of them. Figures come from ``person_figures.py``, places from ``person_places.py``; here they meet:
camera, furniture, light and shadow, bystanders, lens, motion, exposure, noise, tone and JPEG. What counts as figure is
the body with all it wears and holds; furniture, seats and people in the distance do not.
"""

from __future__ import annotations

import argparse
import math
from pathlib import Path

import numpy as np
import torch
import torch.nn.functional as F
from torch import Tensor

from silhouette.studio.person_figures import COAT, HAIR, KINDS, LEGS, PROP, SEAT, SKIN, SKIRT, TOP, Figures, Wardrobe
from silhouette.studio.person_places import PARTS, SKINS, Light, Material, Places, Rays, Shadows, colours
from silhouette.studio.person_raster import NOTHING, Dice, Mesh, empty
from silhouette.studio.training_views import Stock, load_stock

SLOTS = 7
"""Pieces of furniture a picture, at most."""
FINE = 2
"""Pixels that are drawn for each pixel of the picture, each way."""
HAIRS = (
    (0.02, 0.014, 0.01),
    (0.06, 0.03, 0.018),
    (0.15, 0.08, 0.04),
    (0.4, 0.27, 0.13),
    (0.3, 0.3, 0.3),
    (0.25, 0.06, 0.02),
    (0.012, 0.012, 0.013),
    (0.6, 0.58, 0.55),
)
"""Linear."""


class Mill:
    """Makes pictures from one seed."""

    def __init__(self, material: Material, stock: Stock, vectors: Tensor, seed: int) -> None:
        self.dice = Dice(seed, stock.rest.device)
        self.material, self.device = material, stock.rest.device
        self.wardrobe = Wardrobe(stock, vectors, self.dice)
        self.places = Places(material, self.dice)

    @torch.no_grad()
    def pictures(self, b: int, h: int, w: int) -> tuple[Tensor, Tensor]:
        """(b, 3, h, w) RGB, 0 to 1, and (b, 1, h, w) the share of each pixel that is figure."""
        figures = self.wardrobe.figures(b)
        nobody = self.dice.chance(0.05, b)
        figures.shown &= ~nobody[:, None]
        camera, focal, at = self._camera(figures, h, w)
        things = self._things(b)
        light = Light(self.dice, b)
        middle = (figures.points.amin(1) + figures.points.amax(1)) / 2
        shadows = Shadows(self.dice, light, [(figures.points, figures.shown, self.wardrobe.faces), things[:3]], middle)
        rays = _rays(camera, focal, at, h, w)
        behind, kind = self.places.behind(rays, light, shadows, figures.ground)
        scene, figure = self._drawn(
            figures, things, camera, focal, at, light, shadows, behind, kind, h * FINE, w * FINE
        )
        return self._photographed(scene, figure, nobody)

    # ---------------------------------------------------------------------------------------------------------- camera

    def _camera(self, figures: Figures, h: int, w: int) -> tuple[tuple[Tensor, Tensor], Tensor, Tensor]:
        """Origin (b, 3) and axes (b, 3, 3), focal length (b,), where the axis meets the picture (b, 2); fine pixels."""
        dice, b = self.dice, len(figures.points)
        points, shown = figures.points[:, ::7], figures.shown[:, ::7]
        low, high = points.amin(1), points.amax(1)
        middle = (low + high) / 2
        far = torch.maximum(dice.between(1.6, 8, b), low[:, 1].abs() + 0.8)
        tall = torch.where(dice.chance(0.8, b), dice.between(0.5, 1.8, b), dice.between(0.1, 3, b))
        pitch = torch.atan2(tall - middle[:, 2], far) + dice.normal(0.06, b)
        roll = dice.normal(1.0, b) * torch.where(dice.chance(0.2, b), 0.3, 0.03)
        c, s, cr, sr, zero = torch.cos(pitch), torch.sin(pitch), torch.cos(roll), torch.sin(roll), torch.zeros_like(far)
        origin = torch.stack([middle[:, 0], -far, tall], 1)
        ahead = torch.stack([zero, c, -s], 1)
        right, up = torch.stack([zero + 1, zero, zero], 1), torch.stack([zero, s, c], 1)
        right, up = right * cr[:, None] + up * sr[:, None], up * cr[:, None] - right * sr[:, None]
        axes = torch.stack([right, -up, ahead], 1)
        seen = (points - origin[:, None]) @ axes.mT
        flat = seen[..., :2] / seen[..., 2:].clamp(min=0.05)
        low = torch.where(shown[..., None], flat, 1e4).amin(1)
        high = torch.where(shown[..., None], flat, -1e4).amax(1)
        none = low[:, :1] > high[:, :1]
        low, high = torch.where(none, flat.amin(1), low), torch.where(none, flat.amax(1), high)
        frame = torch.tensor([w, h], device=self.device) * float(FINE)
        fits = (frame / (high - low).clamp(min=1e-3)).amin(1)
        draw = dice.between(0, 1, b)
        share = torch.where(
            draw < 0.55,
            dice.between(0.68, 0.98, b),
            torch.where(draw < 0.92, dice.between(0.3, 0.8, b), dice.between(0.9, 1.7, b)),
        )
        focal = fits * share
        slack = (frame - (high - low) * focal[:, None]) / 2
        slack = torch.where(slack > 0, slack * dice.between(-0.9, 0.9, b, 2), slack.abs() * dice.between(-1, 1, b, 2))
        return (origin, axes), focal, frame / 2 + slack - (low + high) / 2 * focal[:, None]

    def _things(self, b: int) -> tuple[Tensor, Tensor, Tensor, Tensor, Tensor]:
        """Furniture: points (b, v, 3), shown (b, v), faces (b, f, 3), material (b, v), cloth (b, v, 3)."""
        dice, all_ = self.dice, self.material.things
        which = all_.pick(dice, b, SLOTS)
        size = dice.between(0.75, 1.3, b, SLOTS, 1, 1) * (1 + dice.normal(0.08, b, SLOTS, 1, 3)).clamp(0.7, 1.3)
        local = all_.points[which] * size
        turn = torch.where(
            dice.chance(0.5, b, SLOTS), dice.whole(0, 4, b, SLOTS) * (math.pi / 2), dice.between(0, 6.3, b, SLOTS)
        )
        c, s = torch.cos(turn)[..., None], torch.sin(turn)[..., None]
        x, y = dice.between(-2.6, 2.6, b, SLOTS), dice.between(-0.2, 3.5, b, SLOTS)
        y = torch.where((x.abs() < 0.9) & (y < 0.9), y + 1.0, y)
        before = dice.chance(0.05, b, SLOTS)
        x = torch.where(before, x + 0.6 * x.sign(), x)
        y = torch.where(before, -dice.between(0.4, 1.0, b, SLOTS), y)
        lift = dice.between(0, 1.2, b, SLOTS) * dice.chance(0.15, b, SLOTS)
        points = torch.stack(
            [
                local[..., 0] * c - local[..., 1] * s + x[..., None],
                local[..., 0] * s + local[..., 1] * c + y[..., None],
                local[..., 2] + lift[..., None],
            ],
            -1,
        )
        furnished = dice.chance(0.65, b, 1)
        shown = (dice.chance(0.45, b, SLOTS) & furnished)[..., None].expand(points.shape[:3])
        v = points.shape[2]
        faces = all_.faces[which]
        start = (torch.arange(SLOTS, device=self.device) * v)[None, :, None, None]
        faces = torch.where(faces < 0, faces, faces + start)
        material = KINDS + (torch.arange(SLOTS, device=self.device) * PARTS)[None, :, None] + all_.part[which]
        return (
            points.flatten(1, 2),
            shown.flatten(1, 2),
            faces.flatten(1, 2),
            material.flatten(1, 2),
            local.flatten(1, 2),
        )

    # --------------------------------------------------------------------------------------------------------- surfaces

    def _surfaces(self, b: int) -> dict[str, Tensor]:
        """What the figures' and the furniture's materials look like: (b, KINDS + SLOTS * PARTS, ...) each."""
        dice, m = self.dice, KINDS + SLOTS * PARTS
        first, second = colours(dice, b, m), colours(dice, b, m)
        second = torch.where(dice.chance(0.5, b, m, 1), first * dice.between(0.4, 1.8, b, m, 1), second)
        skins = torch.tensor(SKINS, device=self.device) ** 2.2
        skin = skins[dice.whole(0, len(SKINS), b)] * dice.between(0.75, 1.15, b, 1) * (1 + dice.normal(0.06, b, 3))
        hairs = torch.tensor(HAIRS, device=self.device)
        hair = hairs[dice.whole(0, len(HAIRS), b)] * dice.between(0.5, 1.5, b, 1)
        black = dice.chance(0.18, b, m, 1)
        first = torch.where(black, first * 0.08 + 0.006, first)
        denim = dice.chance(0.25, b, 1)
        first[:, LEGS] = torch.where(
            denim, torch.tensor([0.04, 0.07, 0.16], device=self.device) * dice.between(0.3, 3, b, 1), first[:, LEGS]
        )
        for one, other, share in ((SKIRT, COAT, 0.45), (SKIRT, TOP, 0.25), (LEGS, TOP, 0.2)):
            first[:, one] = torch.where(dice.chance(share, b, 1), first[:, other], first[:, one])
        tights = dice.chance(0.08, b, 1)
        first[:, SKIN], first[:, HAIR] = skin, torch.where(dice.chance(0.93, b, 1), hair, first[:, HAIR])
        for worn in (TOP, LEGS):
            first[:, worn] = torch.where(tights, skin, first[:, worn])
        first[:, 1] = dice.between(0.02, 0.5, b, 1)
        modelled = dice.chance(0.04, b, 1, 1)  # clay, plaster, bronze: all of one stuff
        first[:, :PROP] = torch.where(modelled, colours(dice, b)[:, None], first[:, :PROP])
        pattern = dice.pick([0.45, 0.12, 0.1, 0.19, 0.14], b * m).view(b, m)
        pattern[:, KINDS:] = torch.where(dice.chance(0.55, b, m - KINDS), 3, pattern[:, KINDS:])
        pattern[:, : HAIR + 1] = 0
        pattern[:, LEGS] = torch.where(denim[:, 0], 4, pattern[:, LEGS])
        axis = torch.where(
            dice.chance(0.6, b, m, 1), torch.eye(3, device=self.device)[dice.whole(0, 3, b, m)], dice.way(b, m)
        )
        often = dice.spread(12, 160, b, m, 1)
        cross = F.normalize(torch.linalg.cross(axis, dice.way(b, m)), dim=-1) * often
        strands = F.normalize(dice.normal(1.0, b, m, 3) * torch.tensor([1.0, 1.0, 0.5], device=self.device), dim=-1)
        strands = strands * dice.spread(12, 70, b, m, 1)
        strands[:, HAIR] *= 4
        bump = torch.where(
            dice.chance(0.7, b, m, 1), dice.between(0.1, 0.8, b, m, 1), torch.zeros(1, device=self.device)
        )
        bump[:, SKIN] = 0.05
        gloss = torch.where(dice.chance(0.3, b, m, 1), dice.between(0.1, 0.7, b, m, 1), dice.between(0, 0.1, b, m, 1))
        tint = first / first.mean(-1, keepdim=True).clamp(min=0.01)
        tint = torch.where(dice.chance(0.5, b, m, 1), torch.ones_like(tint), tint.clamp(0, 3))
        return {
            "first": first,
            "second": second,
            "pattern": pattern[..., None].float(),
            "along": axis * often,
            "cross": cross,
            "strands": strands,
            "rough": dice.way(b, m) * dice.spread(5, 30, b, m, 1),
            "bump": bump,
            "gloss": gloss,
            "sharp": dice.spread(4, 90, b, m, 1),
            "duty": dice.between(-0.7, 0.7, b, m, 1),
            "tile": dice.spread(0.15, 1.6, b, m, 1),
            "tint": tint,
            "texture": dice.whole(0, self.material.textures, b, m, 1).float(),
            "phase": dice.between(0, 6.3, b, m, 2),
            "stain": dice.between(0, 0.15, b, m, 1),
        }

    def _albedo(self, look: dict[str, Tensor], cloth: Tensor, normals: Tensor, size: Tensor) -> Tensor:
        """(n, 3) colours where the points of cloth (n, 3) lie; ``size`` (n,) metres to a pixel."""
        phase = look["phase"]
        one = torch.sin((cloth * look["along"]).sum(1) + phase[:, 0])
        two = torch.sin((cloth * look["cross"]).sum(1) + phase[:, 1])
        pattern = look["pattern"][:, 0]
        mixed = torch.where(
            pattern == 1,
            (one > look["duty"][:, 0]).float(),
            torch.where(
                pattern == 2,
                ((one > 0) ^ (two > 0)).float(),
                torch.where(pattern == 4, 0.5 + 0.4 * one * two, torch.zeros_like(one)),
            ),
        )
        made = torch.lerp(look["first"], look["second"], mixed[:, None])
        at = (pattern == 3).nonzero()[:, 0]
        if len(at):
            p, facing = cloth[at], normals[at].abs()
            spot = torch.where((facing[:, 2:] > 0.7), p[:, :2], torch.stack([p[:, 0] + 0.5 * p[:, 1], -p[:, 2]], 1))
            tile = look["tile"][at]
            made[at] = (
                self.material.texture(look["texture"][at, 0].long(), spot / tile + phase[at], size[at] / tile[:, 0])
                * look["tint"][at]
            )
        stain = torch.sin((cloth * look["rough"]).sum(1) + phase[:, 1])
        return (made * (1 + look["stain"] * stain[:, None])).clamp(0.004, 0.95)

    # ---------------------------------------------------------------------------------------------------------- drawing

    def _drawn(
        self,
        figures: Figures,
        things: tuple[Tensor, ...],
        camera: tuple[Tensor, Tensor],
        focal: Tensor,
        at: Tensor,
        light: Light,
        shadows: Shadows,
        behind: Tensor,
        kind: Tensor,
        h: int,
        w: int,
    ) -> tuple[Tensor, Tensor]:
        """Light (b, 3, h, w) without the figure, and the figure's light and share (b, 4, h, w); fine pixels."""
        b, (origin, axes) = len(figures.points), camera

        def flat(points: Tensor, shown: Tensor) -> Tensor:
            seen = (points - origin[:, None]) @ axes.mT
            z = seen[..., 2:].clamp(min=0.05)
            return torch.cat(
                [
                    seen[..., :2] / z * focal[:, None, None] + at[:, None],
                    torch.where(shown[..., None] & (seen[..., 2:] > 0.1), seen[..., 2:], -1.0),
                ],
                -1,
            )

        people = Mesh(flat(figures.points, figures.shown), self.wardrobe.faces)
        furniture = Mesh(
            flat(things[0], things[1] & ~((kind == 2) & self.dice.chance(0.5, b))[:, None]),
            things[2],
            len(self.wardrobe.faces),
        )
        pixels = empty(b, h, w, self.device)
        people.draw(pixels)
        furniture.draw(pixels)
        where = (pixels != NOTHING).flatten().nonzero()[:, 0]
        person = (pixels.flatten()[where] & 0xFFFFFFFF) < len(self.wardrobe.faces)
        on_people, on_things = where[person], where[~person]
        surfaces = self._surfaces(b)
        told, nearest = people.sample(
            pixels, on_people, torch.cat([figures.points, figures.normals, figures.cloth], -1)
        )
        rows = on_people // (h * w)
        stuff = figures.kind[rows, nearest]
        shade = self._shaded(
            told[:, :3], told[:, 3:6], told[:, 6:], rows, stuff, surfaces, origin, focal, light, shadows
        )
        scene = F.interpolate(behind.permute(0, 3, 1, 2), scale_factor=FINE, mode="nearest")
        scene = scene.permute(0, 2, 3, 1).reshape(-1, 3)
        figure = torch.zeros(b * h * w, 4, device=self.device)
        body = stuff != SEAT
        figure[on_people[body]] = F.pad(shade[body], (0, 1), value=1.0)
        scene[on_people[~body]] = shade[~body]
        told, nearest = furniture.sample(pixels, on_things, torch.cat([things[0], things[4]], -1))
        rows = on_things // (h * w)
        face = (pixels.flatten()[on_things] & 0xFFFFFFFF) - len(self.wardrobe.faces)
        corner = things[2][rows, face]
        p0, p1, p2 = (things[0][rows, corner[:, k]] for k in range(3))
        normals = F.normalize(torch.linalg.cross(p1 - p0, p2 - p0), dim=-1)
        scene[on_things] = self._shaded(
            told[:, :3], normals, told[:, 3:], rows, things[3][rows, nearest], surfaces, origin, focal, light, shadows
        )
        return (
            scene.view(b, h, w, 3).permute(0, 3, 1, 2).contiguous(),
            figure.view(b, h, w, 4).permute(0, 3, 1, 2).contiguous(),
        )

    def _shaded(
        self,
        points: Tensor,
        normals: Tensor,
        cloth: Tensor,
        rows: Tensor,
        stuff: Tensor,
        surfaces: dict[str, Tensor],
        origin: Tensor,
        focal: Tensor,
        light: Light,
        shadows: Shadows,
    ) -> Tensor:
        """(n, 3) light from points (n, 3) of pictures ``rows`` (n,) made of ``stuff`` (n,)."""
        look = {name: table[rows, stuff] for name, table in surfaces.items()}
        view = origin[rows] - points
        away = view.norm(dim=1)
        view = view / away[:, None]
        normals = F.normalize(normals, dim=1)
        normals = torch.where((normals * view).sum(1, keepdim=True) < 0, -normals, normals)
        albedo = self._albedo(look, cloth, normals, away / focal[rows])
        wave = torch.sin((cloth * look["rough"]).sum(1) + look["phase"][:, 1])
        fold = torch.cos((cloth * look["strands"]).sum(1) + 2 * wave + look["phase"][:, 0])
        bent = normals + look["bump"] * (
            0.5 * fold[:, None] * F.normalize(look["strands"], dim=1)
            + 0.3 * wave[:, None] * F.normalize(look["rough"], dim=1)
        )
        bent = F.normalize(bent, dim=1)
        shade = shadows.on(points + normals * 0.015, rows, 0.02, taps=2)
        around = 0.55 + 0.45 * ((normals[:, 2] + 1) / 2 + points[:, 2].clamp(0, 0.5)).clamp(0, 1)
        room = light.ambient(bent, rows)
        made = albedo * (room * around[:, None] + light.direct(bent, rows, shade))
        for lamp in range(2):
            half = F.normalize(light.ways[rows, lamp] + view, dim=1)
            shine = (
                look["gloss"][:, 0] * (bent * half).sum(1).clamp(min=0) ** look["sharp"][:, 0] * (1 - shade[:, lamp])
            )
            made = made + shine[:, None] * light.lamps[rows, lamp] * 0.5
        rim = (1 - (normals * view).sum(1).clamp(0, 1)) ** 3 * self.dice.between(0, 0.3, len(origin))[rows]
        return made + rim[:, None] * room * 0.3

    # ------------------------------------------------------------------------------------------------------ photograph

    def _photographed(self, scene: Tensor, figure: Tensor, nobody: Tensor) -> tuple[Tensor, Tensor]:
        dice, (b, _, h, _) = self.dice, scene.shape
        scene = self._bystanders(scene, figure, nobody)
        light = (figure[:, :3].mean((1, 2, 3)) + 0.7 * scene.mean((1, 2, 3))).clamp(min=1e-3)
        exposure = (dice.between(0.1, 0.42, b) / light).clamp(0.1, 12)[:, None, None, None]
        figure = figure * torch.cat([exposure.expand(-1, 3, -1, -1), torch.ones_like(exposure)], 1)
        figure[:, :3], scene = figure[:, :3].clamp(0, 1.6), (scene * exposure).clamp(0, 1.6)
        for rows, sigma in self._groups(b, (0.0, 0.8, 2.5, 6.0)):  # out of focus behind
            if sigma:
                scene[rows] = _blurred(scene[rows], sigma * dice.one(0.6, 1.5) * FINE * h / 1280)
        for rows, sigma in self._groups(b, (0.35, 0.35, 0.9)):
            figure[rows] = _blurred(figure[rows], sigma * FINE * dice.one(0.7, 1.4))
        rows = dice.some(0.07, b)
        if len(rows):  # the figure moved
            figure[rows] = _smeared(figure[rows], dice.one(0.005, 0.03) * h, dice.one(0, math.pi))
        rows = dice.some(0.05, b)
        if len(rows):  # the camera shook
            much, way = dice.one(0.003, 0.012) * h, dice.one(0, math.pi)
            figure[rows], scene[rows] = _smeared(figure[rows], much, way), _smeared(scene[rows], much, way)
        figure, scene = F.avg_pool2d(figure, FINE), F.avg_pool2d(scene, FINE)
        share = figure[:, 3:].clamp(0, 1)
        picture = figure[:, :3] + scene * (1 - share)
        rows = dice.some(0.1, b)
        if len(rows):  # bright places spill over
            glow = _blurred(picture[rows], 0.03 * h)
            picture[rows] = picture[rows] + glow * dice.between(0.05, 0.35, len(rows), 1, 1, 1)
        return self._developed(picture), share

    def _groups(self, b: int, kinds: tuple[float, ...]) -> list[tuple[Tensor, float]]:
        order = torch.argsort(self.dice.between(0, 1, b))
        return list(zip(order.chunk(len(kinds)), kinds, strict=False))

    def _bystanders(self, scene: Tensor, figure: Tensor, nobody: Tensor) -> Tensor:
        """Somebody of another picture, smaller and aside, behind the figure of some."""
        dice, b = self.dice, len(figure)
        rows = (dice.chance(0.14, b) & ~nobody & ~nobody.roll(-1) & (figure[:, 3].mean((1, 2)) > 0.06)).nonzero()[:, 0]
        n = len(rows)
        if not n:
            return scene
        other = figure[(rows + 1) % b]
        size = dice.between(0.25, 0.62, n)
        window = torch.zeros(n, 2, 3, device=self.device)
        window[:, 0, 0] = window[:, 1, 1] = 1 / size
        aside = dice.between(0.35, 0.95, n) * torch.where(dice.chance(0.5, n), 1.0, -1.0)
        window[:, 0, 2], window[:, 1, 2] = -aside / size, -dice.between(-0.35, 0.35, n) / size
        placed = F.grid_sample(
            other, F.affine_grid(window, list(other.shape), align_corners=False), align_corners=False
        )
        scene = scene.clone()
        scene[rows] = scene[rows] * (1 - placed[:, 3:]) + placed[:, :3] * dice.between(0.4, 1.3, n, 1, 1, 1)
        return scene

    def _developed(self, picture: Tensor) -> Tensor:
        """White balance, vignette, noise, tone, sharpening and JPEG; to levels 0 to 1."""
        dice, (b, _, h, w) = self.dice, picture.shape
        y, x = torch.meshgrid(
            torch.linspace(-1, 1, h, device=self.device), torch.linspace(-1, 1, w, device=self.device), indexing="ij"
        )
        corners = 1 - dice.between(0, 0.35, b, 1, 1, 1) * dice.chance(0.5, b, 1, 1, 1) * (x**2 + y**2) / 2
        picture = picture * torch.exp(dice.normal(0.12, b, 3, 1, 1)) * corners
        small = dice.some(0.25, b)
        if len(small):  # a small picture enlarged, or a soft lens
            less = F.interpolate(picture[small], scale_factor=dice.one(0.45, 0.95), mode="area")
            picture[small] = F.interpolate(less, (h, w), mode="bilinear", align_corners=False)
        noise = dice.normal(1.0, *picture.shape) * torch.sqrt(picture.clamp(min=0) + 0.01)
        picture = (picture + noise * dice.between(0, 1, b, 1, 1, 1) ** 4 * 0.12).clamp(min=0)
        rolled = picture / (1 + picture * 0.25) * 1.2
        picture = torch.where(dice.chance(0.6, b, 1, 1, 1), rolled, picture).clamp(0, 1)
        picture = picture ** (1 / dice.between(1.8, 2.6, b, 1, 1, 1))
        contrast = dice.between(0, 0.6, b, 1, 1, 1)
        picture = picture * (1 - contrast) + contrast * (3 * picture**2 - 2 * picture**3)
        strong = torch.where(
            dice.chance(0.04, b, 1, 1, 1), torch.zeros(1, device=self.device), dice.between(0.5, 1.35, b, 1, 1, 1)
        )
        grey = picture.mean(1, keepdim=True)
        picture = grey + (picture - grey) * strong
        sharpened = dice.some(0.35, b)
        if len(sharpened):
            part = picture[sharpened]
            soft = F.avg_pool2d(F.pad(part, (1, 1, 1, 1), mode="replicate"), 3, 1)
            picture[sharpened] = part + dice.between(0, 1.3, len(sharpened), 1, 1, 1) * (part - soft)
        coarse = F.interpolate(dice.normal(1.0, b, 3, h // 2, w // 2), (h, w), mode="bilinear", align_corners=False)
        picture = (picture + coarse * dice.between(0, 1, b, 1, 1, 1) ** 4 * 0.06).clamp(0, 1)
        packed = dice.some(0.5, b)
        if len(packed):
            picture[packed] = _jpeg(picture[packed], dice)
        return picture.clamp(0, 1)


def _rays(camera: tuple[Tensor, Tensor], focal: Tensor, at: Tensor, h: int, w: int) -> Rays:
    """Through the pixels of the picture; ``focal`` and ``at`` in fine pixels."""
    (origin, axes), focal, at = camera, focal / FINE, at / FINE
    y, x = torch.meshgrid(
        torch.arange(h, device=focal.device) + 0.5, torch.arange(w, device=focal.device) + 0.5, indexing="ij"
    )
    ways = torch.stack(
        [
            (x - at[:, 0, None, None]) / focal[:, None, None],
            (y - at[:, 1, None, None]) / focal[:, None, None],
            torch.ones(len(focal), h, w, device=focal.device),
        ],
        -1,
    )
    return Rays(origin, torch.einsum("bhwi,bij->bhwj", ways, axes), focal)


def _blurred(x: Tensor, sigma: float) -> Tensor:
    """Gaussian; the wide ones on a smaller picture."""
    size, times = x.shape[-2:], 0
    while sigma > 2.4 and min(x.shape[-2:]) > 16 and x.shape[-1] % 2 == 0 and x.shape[-2] % 2 == 0:
        x, sigma, times = F.avg_pool2d(x, 2), sigma / 2, times + 1
    reach = max(1, min(7, math.ceil(2.2 * sigma)))
    weights = torch.exp(-(torch.arange(-reach, reach + 1, device=x.device) ** 2) / (2 * max(sigma, 0.2) ** 2))
    weights = weights / weights.sum()
    for axis in (2, 3):
        padded = F.pad(x, (0, 0, reach, reach) if axis == 2 else (reach, reach, 0, 0), mode="replicate")
        n = x.shape[axis]
        x = sum(padded.narrow(axis, k, n) * weights[k] for k in range(2 * reach + 1))
    return x if not times else F.interpolate(x, size, mode="bilinear", align_corners=False)


def _smeared(x: Tensor, pixels: float, way: float) -> Tensor:
    """Averaged along a line of so many pixels."""
    steps = max(3, min(15, round(pixels)))
    h, w = x.shape[-2:]
    total = torch.zeros_like(x)
    for t in np.linspace(-0.5, 0.5, steps):
        shift = torch.eye(2, 3, device=x.device).repeat(len(x), 1, 1)
        shift[:, 0, 2], shift[:, 1, 2] = t * pixels * math.cos(way) * 2 / w, t * pixels * math.sin(way) * 2 / h
        total += F.grid_sample(
            x, F.affine_grid(shift, list(x.shape), align_corners=False), padding_mode="border", align_corners=False
        )
    return total / steps


def _jpeg(x: Tensor, dice: Dice) -> Tensor:
    """The losses of JPEG: cosines of blocks rounded, colours at half the size. Sides are multiples of 16."""
    b, _, h, w = x.shape
    to = torch.tensor([[0.299, 0.587, 0.114], [-0.1687, -0.3313, 0.5], [0.5, -0.4187, -0.0813]], device=x.device)
    i = torch.arange(8, device=x.device)
    cosines = (
        torch.cos((2 * i[None] + 1) * i[:, None] * math.pi / 16) * torch.where(i[:, None] == 0, 0.125, 0.25).sqrt()
    )
    steps = (10 + 8.4 * (i[:, None] + i[None])) * dice.spread(0.12, 2.2, b, 1, 1, 1, 1, 1)

    def rounded(plane: Tensor, coarser: float) -> Tensor:
        n, height, width = plane.shape[1:]
        blocks = plane.reshape(b, n, height // 8, 8, width // 8, 8).transpose(3, 4)
        kept = torch.round(cosines @ blocks @ cosines.T / (steps * coarser)) * steps * coarser
        return (cosines.T @ kept @ cosines).transpose(3, 4).reshape(b, n, height, width)

    planes = F.conv2d(x, to[:, :, None, None]) * 255
    grey = rounded(planes[:, :1] - 128, 1.0) + 128
    colour = F.interpolate(rounded(F.avg_pool2d(planes[:, 1:], 2), 1.5), (h, w), mode="bilinear", align_corners=False)
    return F.conv2d(torch.cat([grey, colour], 1), torch.linalg.inv(to)[:, :, None, None]) / 255


def main() -> None:
    from silhouette.studio.person_figures import pose_pool

    parser = argparse.ArgumentParser(description="A sheet of pictures and their figures.")
    parser.add_argument("material", type=Path)
    parser.add_argument("out", type=Path)
    parser.add_argument("--seed", type=int, default=1)
    parser.add_argument("--count", type=int, default=16)
    options = parser.parse_args()
    device = "cuda" if torch.cuda.is_available() else "cpu"
    stock = load_stock(options.material / "stock.npz", device)
    mill = Mill(Material(options.material, device), stock, pose_pool(400, options.seed).to(device), options.seed)
    picture, share = mill.pictures(options.count, 320, 256)
    rows = torch.cat([picture, share.expand(-1, 3, -1, -1)], 2).permute(0, 2, 3, 1).cpu().numpy()
    sheet = np.concatenate([np.concatenate(list(rows[k : k + 8]), 1) for k in range(0, len(rows), 8)], 0)
    from PIL import Image

    Image.fromarray((sheet * 255).astype(np.uint8)).save(options.out)


if __name__ == "__main__":
    main()
