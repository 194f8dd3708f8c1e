"""The room behind the model: floor, wall or curved paper, what covers them, and the lamps.

The camera stands at y < 0 and looks toward growing y, the model on the spot x = y = 0, z is up, lengths are metres.
The room is worked out once for every pixel of the picture; only the figure's shadow changes from stop to stop.
"""

from __future__ import annotations

from dataclasses import dataclass, field

import cv2
import numpy as np
from numpy.typing import NDArray

from silhouette.studio.raster import Eye, Mesh, draw, metres, vertex_normals

Floats = NDArray[np.float64]
Colour = tuple[float, float, float]


def linear(colour: Colour | Floats) -> Floats:
    """Linear light from sRGB values 0 to 1 (IEC 61966-2-1)."""
    c = np.asarray(colour, float)
    return np.where(c <= 0.04045, c / 12.92, ((np.maximum(c, 0) + 0.055) / 1.055) ** 2.4)


@dataclass(frozen=True)
class Lamp:
    """One lamp."""

    position: tuple[float, float, float]
    strength: float
    """Light that it throws on a surface facing it at the model's waist; the other lamps' measure is the same."""
    radius: float = 0.3
    """Half the width of its face, metres: 0.03 a bare bulb with hard shadows, 0.6 a big softbox."""
    colour: Colour = (1.0, 1.0, 1.0)
    """Linear red, green, blue."""

    def reach(self, points: Floats) -> tuple[Floats, Floats]:
        """Unit vectors from points to the lamp, and how strong its light still is there."""
        to = np.array(self.position) - points
        distance = np.linalg.norm(to, axis=-1, keepdims=True)
        at_waist = np.linalg.norm(np.array(self.position) - np.array([0.0, 0.0, 1.0]))
        return to / distance, self.strength * (at_waist / distance[..., 0]) ** 2

    def eye(self, size: int = 512) -> Eye:
        """The figure as the lamp sees it, for shadows."""
        distance = float(np.linalg.norm(np.array(self.position) - np.array([0.0, 0.0, 1.0])))
        return Eye(self.position, (0.0, 0.0, 1.0), size / 2 * distance / 1.45, size, size)


@dataclass(frozen=True)
class Backdrop:
    """What stands behind the model and what it stands on."""

    kind: str = "sweep"
    """sweep: paper that curves from wall to floor; wall: a wall that meets the floor in an edge."""
    wall: Colour = (0.6, 0.6, 0.6)
    """sRGB, 0 to 1."""
    floor: Colour | None = None
    """None: as the wall."""
    behind_m: float = 1.8
    """From the model to the wall."""
    curve_m: float = 0.8
    """Radius of the paper's curve."""
    skirting_m: float = 0.0
    """Height of a skirting board, 0 for none."""
    skirting: Colour = (0.92, 0.92, 0.9)
    folds: float = 0.0
    """Depth of a hanging cloth's folds: 0 none, 1 deep."""
    texture: str = ""
    """plaster, bricks, boards (on the floor), stripes; empty for plain."""
    paper_m: float | None = None
    """Width of the paper roll; beside it the bare wall shows."""
    bare: Colour = (0.35, 0.33, 0.3)
    window: tuple[float, float, float, float] | None = None
    """x from, x to, z from, z to of a bright window in the wall, metres."""
    glow: float = 0.0
    """Light of its own that the wall sends out (a lit or translucent wall), in units of a full key light."""
    seed: int = 0


@dataclass
class Surfaces:
    """What every pixel of the empty room shows."""

    points: Floats
    normals: Floats
    albedo: Floats
    glow: Floats
    lit: dict[int, Floats] = field(default_factory=dict)


def surfaces(backdrop: Backdrop, eye: Eye) -> Surfaces:
    """Follow the ray of every pixel to the floor, the paper's curve or the wall."""
    rays, origin = eye.rays(), np.array(eye.position)
    radius = backdrop.curve_m if backdrop.kind == "sweep" else 0.0
    centre = backdrop.behind_m - radius
    dy, dz = rays[..., 1], rays[..., 2]
    with np.errstate(divide="ignore", invalid="ignore"):
        to_floor = np.where(dz < -1e-9, -origin[2] / dz, np.inf)
        to_wall = np.where(dy > 1e-9, (backdrop.behind_m - origin[1]) / dy, np.inf)
        on_floor = np.isfinite(to_floor) & (origin[1] + to_floor * dy <= centre)
        reach = np.where(on_floor, to_floor, to_wall)
        in_curve = ~on_floor & (origin[2] + to_wall * dz < radius) if radius else np.zeros_like(on_floor)
        # Far crossing of the ray with the circle of the paper's curve, in the upright plane.
        a, oy, oz = dy**2 + dz**2, origin[1] - centre, origin[2] - radius
        b, c = oy * dy + oz * dz, oy**2 + oz**2 - radius**2
        reach = np.where(in_curve, (-b + np.sqrt(np.maximum(b**2 - a * c, 0))) / a, reach)
    points = origin + np.minimum(reach, 60.0)[..., None] * rays
    normals = np.zeros_like(points)
    normals[on_floor] = (0, 0, 1)
    normals[~on_floor] = (0, -1, 0)
    if radius:
        bend = np.stack([np.zeros_like(dy), centre - points[..., 1], radius - points[..., 2]], axis=-1) / radius
        normals = np.where(in_curve[..., None], bend, normals)
    return _covered(backdrop, points, normals, on_floor, in_curve)


def _covered(backdrop: Backdrop, points: Floats, normals: Floats, on_floor: NDArray[np.bool_],
             in_curve: NDArray[np.bool_]) -> Surfaces:
    """Colours, texture, folds, skirting, window."""
    x, y, z = (points[..., k] for k in range(3))
    wall, floor = linear(backdrop.wall), linear(backdrop.floor or backdrop.wall)
    # Wall and floor share the curve smoothly, as one sheet of paper does when its ends differ in tint.
    share = np.clip((normals[..., 2] if backdrop.kind == "sweep" else on_floor.astype(float)), 0, 1)[..., None]
    albedo = wall * (1 - share) + floor * share
    glow = np.zeros_like(albedo)
    if backdrop.folds:
        albedo, normals = _folded(backdrop, points, normals, albedo)
    if backdrop.texture:
        albedo = albedo * _texture(backdrop, x, y, z, on_floor)[..., None]
    if backdrop.paper_m is not None:
        albedo = np.where((np.abs(x) > backdrop.paper_m / 2)[..., None], linear(backdrop.bare), albedo)
    if backdrop.skirting_m:
        board = ~on_floor & ~in_curve & (z < backdrop.skirting_m)
        edge = board & (z > backdrop.skirting_m * 0.88)
        albedo = np.where(board[..., None], linear(backdrop.skirting), albedo)
        albedo = np.where(edge[..., None], albedo * 0.75, albedo)
    if backdrop.glow:
        glow = np.where(on_floor[..., None], 0.15, 1.0) * backdrop.glow * albedo
    if backdrop.window is not None:
        x0, x1, z0, z1 = backdrop.window
        pane = ~on_floor & (x > x0) & (x < x1) & (z > z0) & (z < z1)
        bars = (np.abs(x - (x0 + x1) / 2) < 0.03) | (np.abs(z - (z0 + z1) / 2) < 0.03)
        glow = np.where((pane & ~bars)[..., None], linear((1.0, 1.0, 1.0)) * 2.5, glow)
        albedo = np.where((pane & bars)[..., None], linear((0.85, 0.85, 0.82)), albedo)
    return Surfaces(points, normals, albedo, glow)


def _folded(backdrop: Backdrop, points: Floats, normals: Floats, albedo: Floats) -> tuple[Floats, Floats]:
    """A cloth's folds: upright waves on the wall that lose themselves on the floor; only their light shows."""
    rng = np.random.default_rng(backdrop.seed)
    along = points[..., 2] + points[..., 1]
    slope = np.zeros(points.shape[:2])
    depth = np.zeros(points.shape[:2])
    for _ in range(5):
        wavelength = rng.uniform(0.25, 1.1)
        k, phase, lean = 2 * np.pi / wavelength, rng.uniform(0, 2 * np.pi), rng.uniform(-0.15, 0.15)
        swell = 0.6 + 0.4 * np.sin(rng.uniform(0.8, 2.0) * along + rng.uniform(0, 6))
        argument = k * (points[..., 0] + lean * along) + phase
        height = 0.012 * wavelength / 0.5 * backdrop.folds
        slope += swell * height * k * np.cos(argument)
        depth += swell * np.sin(argument) / 5
    strength = np.where(normals[..., 2] > 0.9, 0.45, 1.0)
    tilted = normals.copy()
    tilted[..., 0] -= slope * strength
    tilted /= np.linalg.norm(tilted, axis=-1, keepdims=True)
    shade = 1 + 0.10 * backdrop.folds * depth * strength
    return albedo * shade[..., None], tilted


def _texture(backdrop: Backdrop, x: Floats, y: Floats, z: Floats, on_floor: NDArray[np.bool_]) -> Floats:
    """Factor on the colour, about 1."""
    rng = np.random.default_rng(backdrop.seed + 1)
    if backdrop.texture == "plaster":
        patch = np.pad(rng.normal(size=(256, 256)).astype(np.float32), 32, mode="wrap")
        coarse, fine = (cv2.GaussianBlur(patch, (0, 0), s)[32:-32, 32:-32] for s in (9, 1.5))
        u = ((x * 70) % 256).astype(np.float32)
        v = (((z - y) * 70) % 256).astype(np.float32)
        looked = [cv2.remap(t / t.std(), u, v, cv2.INTER_LINEAR, borderMode=cv2.BORDER_WRAP) for t in (coarse, fine)]
        return np.asarray(1 + 0.05 * looked[0] + 0.04 * looked[1], float)
    if backdrop.texture == "bricks":
        row = np.floor(z / 0.085)
        column = (x / 0.24 + 0.5 * (row % 2)) % 1
        mortar = (np.minimum(z / 0.085 % 1, 1 - z / 0.085 % 1) < 0.07) | (np.minimum(column, 1 - column) < 0.025)
        tint = (np.sin(row * 12.9898 + np.floor(x / 0.24 + 0.5 * (row % 2)) * 78.233) * 43758.5453) % 1
        return np.where(on_floor, 1.0, np.where(mortar, 1.12, 0.93 + 0.12 * tint))
    if backdrop.texture == "boards":
        plank = np.floor(x / 0.14)
        tint = (np.sin(plank * 12.9898) * 43758.5453) % 1
        seam = np.minimum(x / 0.14 % 1, 1 - x / 0.14 % 1) < 0.02
        return np.where(on_floor, np.where(seam, 0.6, 0.88 + 0.2 * tint), 1.0)
    if backdrop.texture == "stripes":
        return np.where(on_floor, 1.0, np.where((x / 0.22) % 1 < 0.5, 1.0, 0.86))
    raise ValueError(f"Unknown texture {backdrop.texture!r}.")


def furnished(room: Surfaces, things: Mesh, eye: Eye) -> Surfaces:
    """The room with things that never move built into its surfaces, so that the figure's shadow falls on them too."""
    normals = vertex_normals(things.points, things.triangles)
    coded = np.clip(np.sqrt(things.albedo) * 255 + 0.5, 0, 255).astype(np.uint8)
    colour, buffer = draw(things.points, things.triangles, eye, "f", coded)
    assert colour is not None
    albedo, depth = (colour / 255.0) ** 2, metres(buffer)
    facing, _ = draw(things.points, things.triangles, eye, "f", (normals * 127 + 128).astype(np.uint8))
    assert facing is not None
    normal = (facing.astype(float) - 128) / 127
    normal /= np.maximum(np.linalg.norm(normal, axis=-1, keepdims=True), 1e-6)
    rays = eye.rays()
    normal *= np.where((normal * rays).sum(-1, keepdims=True) > 0, -1.0, 1.0)  # thin sheets have two sides
    there = (depth < eye.project(room.points)[..., 2])[..., None]
    points = np.where(there, np.array(eye.position) + np.where(there, depth[..., None], 1.0) * rays, room.points)
    return Surfaces(points, np.where(there, normal, room.normals), np.where(there, albedo, room.albedo),
                    np.where(there, 0.0, room.glow))


def kept_away(lamp: Lamp, points: Floats, things: Mesh) -> NDArray[np.float32]:
    """(h, w) share of a lamp's light that things keep away from the surfaces of the room."""
    distance = float(np.linalg.norm(np.array(lamp.position) - np.array([0.0, 0.5, 1.0])))
    eye = Eye(lamp.position, (0.0, 0.5, 1.0), 512 * distance / 3.0, 1024, 1024)
    depth = metres(draw(things.points, things.triangles, eye, "w")[1])
    seen = eye.project(points)
    inside = (np.abs(seen[..., :2] - 512) < 500).all(-1) & (seen[..., 2] > 0)
    dark = np.zeros(points.shape[:2])
    for dx, dy in ((0, 0), (1, 0.5), (-0.5, 1), (-1, -0.5), (0.5, -1)):
        u, v = (np.clip(seen[..., k] + d * (1 + 12 * lamp.radius), 0, 1023).astype(int) for k, d in ((0, dx), (1, dy)))
        dark += inside & (depth[v, u] < seen[..., 2] - 0.04)
    return np.asarray(cv2.GaussianBlur((dark / 5).astype(np.float32), (0, 0), 1.5), np.float32)


class Shadows:
    """Where one lamp's shadow of the figure falls in the picture, ready to be looked up stop after stop.

    The lamp sees a black shape; every pixel of the room knows where it lies in what the lamp sees. The farther the
    surface lies behind the figure, the wider the blur: a lamp of radius r seen past an edge at distance d1 blurs over
    the angle r (1 / d1 - 1 / d2) at distance d2.
    """

    LEVELS = (0.7, 2.0, 5.0, 12.0, 28.0)

    def __init__(self, lamp: Lamp, points: Floats) -> None:
        self.lamp, self.eye = lamp, lamp.eye()
        seen = self.eye.project(points)
        self.u = (seen[..., 0] - 0.5).astype(np.float32)
        self.v = (seen[..., 1] - 0.5).astype(np.float32)
        position = np.array(lamp.position)
        far = np.linalg.norm(points - position, axis=-1)
        flat = np.linalg.norm(points[..., :2] - position[:2], axis=-1)
        # Way along the ray from the surface back to the figure, taken to stand on the turning axis.
        gap = np.hypot(points[..., 0], points[..., 1]) * far / np.maximum(flat, far / 2)
        share = np.clip(1 - gap / far, 0.25, 0.995)
        sigma = 0.5 * lamp.radius * (1 / (share * far) - 1 / far) * self.eye.focal_px
        level = np.interp(np.maximum(sigma, self.LEVELS[0]), self.LEVELS, range(len(self.LEVELS)))
        self.weights = [np.clip(1 - np.abs(level - k), 0, 1).astype(np.float32) for k in range(len(self.LEVELS))]

    def fall(self, black: NDArray[np.bool_]) -> NDArray[np.float32]:
        """Share of the lamp's light that is kept away from every pixel, from the shape that the lamp sees."""
        shape = black.astype(np.float32)
        total = np.zeros(self.u.shape, np.float32)
        for sigma, weight in zip(self.LEVELS, self.weights, strict=True):
            if weight.any():
                soft = _blurred(shape, sigma)
                total += weight * cv2.remap(soft, self.u, self.v, cv2.INTER_LINEAR, borderValue=0)
        return total


def _blurred(shape: NDArray[np.float32], sigma: float) -> NDArray[np.float32]:
    """Gaussian blur; a wide one is made on a smaller picture, which looks the same and costs a tenth."""
    small = 1 if sigma < 4 else 4
    size = (shape.shape[1] // small, shape.shape[0] // small)
    less = cv2.resize(shape, size, interpolation=cv2.INTER_AREA) if small > 1 else shape
    soft = cv2.GaussianBlur(less, (0, 0), sigma / small)
    full = (shape.shape[1], shape.shape[0])
    return np.asarray(cv2.resize(soft, full, interpolation=cv2.INTER_LINEAR) if small > 1 else soft, np.float32)
