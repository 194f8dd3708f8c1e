"""Skin, clothes, hair and things in hand: what a bare body needs to look like someone in the studio.

Clothes are cut out of the body's own skin at rest (so a hem is a clean line at any height) and then puffed out along
its normals; a cut knows its vertices as points on edges of the skin, so it follows the body into any pose. For black
shapes alone, volumes will do: see dress.py.
"""

from __future__ import annotations

from dataclasses import dataclass
from functools import cache

import numpy as np
from numpy.typing import NDArray

from silhouette.studio.bodies import LIMBS, Body, Build, pose_body
from silhouette.studio.raster import Mesh, joined, vertex_normals
from silhouette.studio.room import Colour, linear
from silhouette.studio.solids import lathe

Floats = NDArray[np.float64]
CORE, HEAD = LIMBS.index("core"), LIMBS.index("head")
ARMS = {LIMBS.index("arm_l"): "l", LIMBS.index("arm_r"): "r"}
LEGS = {LIMBS.index("leg_l"): "l", LIMBS.index("leg_r"): "r"}

SKIN: dict[str, Colour] = {
    "porcelain": (0.95, 0.84, 0.79), "pale": (0.90, 0.74, 0.66), "light": (0.85, 0.66, 0.55), "tan": (0.74, 0.54, 0.42),
    "olive": (0.68, 0.52, 0.39), "brown": (0.52, 0.35, 0.26), "dark": (0.36, 0.23, 0.17), "deep": (0.24, 0.16, 0.13),
    "clay": (0.62, 0.53, 0.47), "grey clay": (0.58, 0.58, 0.56),
}
"""sRGB."""


@dataclass(frozen=True)
class Outfit:
    """What a figure wears; a length of 0 leaves the piece away. sRGB colours, 0 to 1."""

    skin: str = "light"
    shirt: Colour | None = None
    sleeve: float = 0.5
    """Along the arm: 0 shoulder, 1 elbow, 2 wrist."""
    hem: float = -0.05
    """How far the shirt reaches below the hip joint, metres."""
    shirt_puff: float = 0.012
    trousers: Colour | None = None
    leg: float = 1.9
    """Along the leg: 0 hip, 1 knee, 2 ankle."""
    trousers_puff: float = 0.014
    skirt: Colour | None = None
    skirt_to: float = 1.0
    """Along the leg, as ``leg``."""
    shoes: Colour | None = None
    shoe_top: float = 0.10
    """Metres over the ground; 0.35 makes boots."""
    hair: Colour | None = (0.16, 0.11, 0.08)
    bun: bool = False
    hat: str = ""
    """cap (knitted), brim (a round brim), or empty."""
    hat_colour: Colour = (0.75, 0.6, 0.12)


@dataclass(frozen=True)
class Piece:
    """Something cut out of the skin: each vertex lies on the skin's edge from ``start`` to ``end`` at ``share``."""

    start: NDArray[np.int64]
    end: NDArray[np.int64]
    share: Floats
    triangles: NDArray[np.int64]
    puff: Floats
    """Height over the skin, metres."""

    def on(self, vertices: Floats, normals: Floats) -> Floats:
        """Its vertices on a posed skin."""
        t = self.share[:, None]
        base = vertices[self.start] * (1 - t) + vertices[self.end] * t
        lift = normals[self.start] * (1 - t) + normals[self.end] * t
        return base + lift * self.puff[:, None]


def cut_piece(level: Floats, triangles: NDArray[np.int64], puff: float, ramp: float = 0.05) -> Piece:
    """The part of the skin where ``level`` (n,) is positive, cut cleanly along its zero line.

    ``puff`` is its height over the skin, metres, reached ``ramp`` level units inside the hem.
    """
    inside = level > 0
    count = inside[triangles].sum(axis=1)
    keep = triangles[count == 3]
    edges: list[tuple[int, int, float]] = []
    numbers: dict[tuple[int, int], int] = {}
    extra: list[tuple[int, int, int]] = []
    base = len(level)

    def crossing(i: int, j: int) -> int:
        key = (min(i, j), max(i, j))
        if key not in numbers:
            numbers[key] = base + len(edges)
            edges.append((key[0], key[1], float(level[key[0]] / (level[key[0]] - level[key[1]]))))
        return numbers[key]

    for triangle in triangles[(count == 1) | (count == 2)]:
        flags = inside[triangle]
        odd = int(np.flatnonzero(flags == (flags.sum() == 1))[0])
        a, b, c = (int(v) for v in np.roll(triangle, -odd))
        ab, ac = crossing(a, b), crossing(a, c)
        extra += [(a, ab, ac)] if flags.sum() == 1 else [(ab, b, c), (ab, c, ac)]
    allt = np.concatenate([keep, np.array(extra, np.int64).reshape(-1, 3)])
    used, compact = np.unique(allt, return_inverse=True)
    whole = np.arange(base)
    start = np.concatenate([whole, np.array([e[0] for e in edges], np.int64)])[used]
    end = np.concatenate([whole, np.array([e[1] for e in edges], np.int64)])[used]
    share = np.concatenate([np.zeros(base), np.array([e[2] for e in edges], float)])[used]
    height = np.concatenate([level, np.zeros(len(edges))])[used]
    lift = np.maximum(0.35, np.clip(height / ramp, 0, 1)) * puff
    return Piece(start, end, share, compact.reshape(-1, 3), lift)


@cache
def rest(build: Build) -> Body:
    """The build standing upright with its arms hanging, from which clothes are cut."""
    return pose_body(build, {})


@cache
def _along(build: Build) -> Floats:
    """(n,) how far down its limb a vertex lies: 0 shoulder or hip, 1 elbow or knee, 2 wrist or ankle; nan elsewhere."""
    body = rest(build)
    along = np.full(len(body.vertices), np.nan)
    chains = [(k, ("shoulder", "elbow", "wrist"), s) for k, s in ARMS.items()]
    chains += [(k, ("hip", "knee", "ankle"), s) for k, s in LEGS.items()]
    for number, names, side in chains:
        top, middle, low = (np.asarray(body.joints[f"{n}_{side}"], float) for n in names)
        chosen = body.limb == number
        points = body.vertices[chosen].astype(float)
        upper = ((points - top) @ (middle - top)) / np.sum((middle - top) ** 2)
        lower = 1 + ((points - middle) @ (low - middle)) / np.sum((low - middle) ** 2)
        along[chosen] = np.where(upper < 1, upper, np.maximum(lower, 1))
    return along


@cache
def pieces(build: Build, outfit: Outfit) -> tuple[tuple[Piece, Colour], ...]:
    """The clothes and hair that follow the skin, with their colours."""
    body, along = rest(build), _along(build)
    z = body.vertices[:, 2].astype(float)
    faces = body.faces.astype(np.int64)
    arm, leg = np.isin(body.limb, list(ARMS)), np.isin(body.limb, list(LEGS))
    head = body.limb == HEAD
    hip = float((body.joints["hip_l"][2] + body.joints["hip_r"][2]) / 2)
    neck = float(body.joints["neck"][2])
    made: list[tuple[Piece, Colour]] = []
    if outfit.trousers is not None:
        level = np.minimum(hip + 0.09 - z, np.where(leg, (outfit.leg - along) * 0.42, 1.0))
        made.append((cut_piece(np.where(arm | head, -1.0, level), faces, outfit.trousers_puff), outfit.trousers))
    if outfit.shirt is not None:
        collar = neck + 0.01 - z
        level = np.where(arm, (outfit.sleeve - along) * 0.28, np.minimum(collar, z - (hip - outfit.hem)))
        made.append((cut_piece(np.where(head, collar, level), faces, outfit.shirt_puff), outfit.shirt))
    if outfit.shoes is not None:
        made.append((cut_piece(np.where(leg, outfit.shoe_top - z, -1.0), faces, 0.009), outfit.shoes))
    if outfit.hair is not None:
        made.append((_hair(body, faces), outfit.hair))
    return tuple(made)


def _skull(body: Body) -> tuple[Floats, float]:
    """Middle and radius of the skull at rest."""
    points = body.vertices[body.limb == HEAD].astype(float)
    top = points[:, 2].max()
    upper = points[points[:, 2] > top - 0.13]
    return np.array([0.0, (upper[:, 1].min() + upper[:, 1].max()) / 2, top - 0.105]), 0.105


def _hair(body: Body, faces: NDArray[np.int64]) -> Piece:
    """Short hair: the skull over a line that runs from the forehead to the nape."""
    middle, radius = _skull(body)
    local = (body.vertices.astype(float) - middle) / radius
    line = local[:, 2] - 0.35 + 1.05 * np.clip(local[:, 1] + 0.25, -0.4, 1.2)
    level = np.where(body.limb == HEAD, np.minimum(line, local[:, 2] + 1.1) * radius, -1.0)
    return cut_piece(level, faces, 0.016, ramp=0.035)


def _headwear(build: Build, body: Body, outfit: Outfit) -> list[Mesh]:
    """Hat and bun, moved with the skull."""
    at_rest = rest(build)
    middle, radius = _skull(at_rest)
    chosen = (at_rest.limb == HEAD) & (at_rest.vertices[:, 2] > middle[2])
    before, after = at_rest.vertices[chosen].astype(float), body.vertices[chosen].astype(float)
    u, _, vt = np.linalg.svd((before - before.mean(0)).T @ (after - after.mean(0)))
    flip = np.diag([1.0, 1.0, np.sign(np.linalg.det(u @ vt))])
    turn = u @ flip @ vt

    def put(points: Floats, triangles: NDArray[np.int64], colour: Colour) -> Mesh:
        placed = (points + middle - before.mean(0)) @ turn + after.mean(0)
        return Mesh(placed, triangles, np.tile(linear(colour), (len(points), 1)))

    made = []
    r = radius
    if outfit.bun and outfit.hair is not None:
        ball, triangles = lathe([(0.45 * r * np.sin(a), -0.45 * r * np.cos(a)) for a in np.linspace(0, np.pi, 12)])
        made.append(put(ball + np.array([0.0, 1.15 * r, 0.25 * r]), triangles, outfit.hair))
    if outfit.hat:
        dome = [(1.17 * r * np.cos(a), 0.15 * r + 1.25 * r * np.sin(a)) for a in np.linspace(0, np.pi / 2, 10)]
        rim = {"brim": [(1.75 * r, -0.05 * r), (1.78 * r, 0.0), (1.2 * r, 0.2 * r)],
               "cap": [(1.12 * r, -0.1 * r), (1.24 * r, -0.05 * r), (1.24 * r, 0.22 * r)]}[outfit.hat]
        made.append(put(*lathe(rim + dome), outfit.hat_colour))
    return made


def _skirt(body: Body, outfit: Outfit, colour: Colour) -> Mesh:
    """A skirt hung over hips and legs: at every height the hull of what is inside, widened a little."""
    legs = np.isin(body.limb, [CORE, *LEGS])
    points = body.vertices[legs].astype(float)
    hips = (body.joints["hip_l"] + body.joints["hip_r"]) / 2
    knees = (body.joints["knee_l"][2] + body.joints["knee_r"][2]) / 2
    ankles = (body.joints["ankle_l"][2] + body.joints["ankle_r"][2]) / 2
    to = float(np.interp(outfit.skirt_to, [0, 1, 2], [hips[2], knees, ankles]))
    heights = np.linspace(float(hips[2]) + 0.12, to, 18)
    turn = np.linspace(0, 2 * np.pi, 48, endpoint=False)
    ways = np.stack([np.cos(turn), np.sin(turn)], axis=1)
    rings, reach = [], np.zeros(len(turn))
    for k, z in enumerate(heights):
        near = points[np.abs(points[:, 2] - z) < 0.03, :2] - hips[:2]
        own = (near @ ways.T).max(axis=0) if len(near) else reach
        reach = np.maximum(own + 0.012 + 0.0015 * k, reach * 0.995 if k > 5 else 0)
        rings.append(np.column_stack([hips[:2] + reach[:, None] * ways, np.full(len(turn), z)]))
    _, triangles = lathe([(1.0, float(k)) for k in range(len(rings))], len(turn))
    return Mesh(np.concatenate(rings[::-1]), triangles, np.tile(linear(colour), (len(rings) * len(turn), 1)))


def dress(build: Build, body: Body, outfit: Outfit, *held: Mesh) -> Mesh:
    """The posed body with skin, clothes, hair and whatever it holds, as one mesh; all of it belongs to the figure."""
    vertices, faces = body.vertices.astype(float), body.faces.astype(np.int64)
    normals = vertex_normals(vertices, faces)
    skin = np.tile(linear(SKIN[outfit.skin]), (len(vertices), 1))
    mottle = np.sin(vertices @ np.array([37.0, 51.0, 29.0])) * np.sin(vertices @ np.array([-23.0, 31.0, 43.0]))
    meshes = [Mesh(vertices, faces, skin * (1 + 0.025 * mottle[:, None]))]
    for piece, colour in pieces(build, outfit):
        points = piece.on(vertices, normals)
        meshes.append(Mesh(points, piece.triangles, np.tile(linear(colour), (len(points), 1))))
    meshes += _headwear(build, body, outfit)
    if outfit.skirt is not None:
        meshes.append(_skirt(body, outfit, outfit.skirt))
    return joined([*meshes, *held])
