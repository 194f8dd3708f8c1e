"""Simple things that stand about in a studio, as meshes of boxes and bars; each stands on the floor at x = y = 0."""

from __future__ import annotations

import numpy as np

from silhouette.studio.raster import Mesh, joined
from silhouette.studio.room import Colour, linear
from silhouette.studio.solids import box, sheet, tube, turned_shape

Rng = np.random.Generator

WOOD, METAL, WHITE = (0.48, 0.33, 0.2), (0.13, 0.13, 0.14), (0.9, 0.89, 0.86)


def stool(height: float = 0.62) -> Mesh:
    """A three-legged stool."""
    rim = [(0.0, -0.04), (0.17, -0.04), (0.18, -0.02), (0.17, 0.0), (0.0, 0.0)]
    seat = turned_shape([(r, height + h) for r, h in rim], WOOD)
    legs = []
    for a in np.radians([90, 210, 330]):
        out = np.array([np.cos(a), np.sin(a), 0.0])
        legs.append(tube(np.linspace(0.22 * out, 0.12 * out + np.array([0, 0, height - 0.03]), 3), 0.018, WOOD))
    return joined([seat, *legs])


def lamp_stand(height: float = 2.0) -> Mesh:
    """A lamp on a tripod stand, its softbox turned to the model."""
    legs = []
    for a in np.radians([30, 150, 270]):
        out = np.array([np.cos(a), np.sin(a), 0.0])
        legs.append(tube(np.linspace(0.4 * out, np.array([0, 0, 0.55]), 3), 0.012, METAL))
    pole = tube(np.array([[0, 0, 0.3], [0, 0, 1.0], [0, 0, height]]), 0.014, METAL)
    return joined([*legs, pole, box((0.1, 0.4, 0.4), (0.0, 0.0, height - 0.2), (0.2, 0.2, 0.2))])


def easel(height: float = 1.7) -> Mesh:
    """An easel with a board."""
    legs = [tube(np.array([[x, 0.0, 0.0], [x * 0.4, 0.1, height]]), 0.018, WOOD) for x in (-0.35, 0.35)]
    legs.append(tube(np.array([[0.0, 0.55, 0.0], [0.0, 0.12, height * 0.95]]), 0.018, WOOD))
    board, ledge = ((0.6, 0.03, 0.75), WHITE, 0.75), ((0.7, 0.08, 0.04), WOOD, 0.7)
    return joined([*legs, *(box(size, (0.0, -0.02, z), colour) for size, colour, z in (board, ledge))])


def chair(seat: float = 0.45, colour: Colour = WOOD, back: float = 0.45) -> Mesh:
    """A plain chair; the front of its seat looks to -y, the middle of the seat is over the spot. ``back`` 0: a bench
    without one."""
    legs = [box((0.035, 0.035, seat), (x, y, 0.0), colour) for x in (-0.19, 0.19) for y in (-0.19, 0.19)]
    parts = [*legs, box((0.44, 0.44, 0.035), (0.0, 0.0, seat - 0.035), colour)]
    if back:
        parts += [box((0.035, 0.03, back), (x, 0.2, seat), colour) for x in (-0.19, 0.19)]
        parts += [box((0.42, 0.02, 0.07), (0.0, 0.2, seat + back * share), colour) for share in (0.35, 0.82)]
    return joined(parts)


def plinth(height: float = 0.3, width: float = 0.75, colour: Colour = WHITE) -> Mesh:
    """A box or a drum to stand on."""
    if height < 0.2:
        return turned_shape([(0.0, 0.0), (width / 2, 0.0), (width / 2, height), (0.0, height)], colour)
    return box((width, width, height), (0.0, 0.0, 0.0), colour)


def shelf(rng: Rng) -> Mesh:
    """A case of shelves full of books and boxes of many colours."""
    width, height, depth = rng.uniform(0.6, 1.1), rng.uniform(1.2, 2.1), 0.3
    wood = muted(rng)
    parts = [box((0.03, depth, height), (x, 0.0, 0.0), wood) for x in (-width / 2, width / 2)]
    parts.append(box((width, 0.02, height), (0.0, depth / 2, 0.0), darker(wood, 0.6)))
    for z in np.arange(0.06, height, rng.uniform(0.28, 0.4)):
        parts.append(box((width, depth, 0.025), (0.0, 0.0, float(z)), wood))
        x = -width / 2 + 0.04
        while x < width / 2 - 0.05 and z < height - 0.3:
            thick, tall = rng.uniform(0.02, 0.07), rng.uniform(0.14, 0.25)
            if rng.random() < 0.85:
                parts.append(box((thick, 0.2, tall), (x + thick / 2, -0.02, float(z) + 0.025), muted(rng, 0.3)))
            x += thick + 0.003
    return joined(parts)


def plant(rng: Rng) -> Mesh:
    """A pot with a bush of long leaves."""
    pot = turned_shape([(0.0, 0.0), (0.11, 0.0), (0.15, 0.28), (0.0, 0.28)], muted(rng))
    parts, green = [pot], np.array([0.16, 0.34, 0.14]) * rng.uniform(0.6, 1.5)
    for _ in range(int(rng.integers(18, 40))):
        a, up, long = rng.uniform(0, 2 * np.pi), rng.uniform(0.3, 1.4), rng.uniform(0.3, 0.75)
        t = np.linspace(0, 1, 6)[:, None]
        way = np.array([np.cos(a) * np.cos(up), np.sin(a) * np.cos(up), np.sin(up)])
        spine = np.array([0, 0, 0.28]) + way * long * t - np.array([0, 0, 0.25]) * t**2 * long
        side = np.array([-np.sin(a), np.cos(a), 0.0]) * 0.035 * np.sin(np.pi * np.clip(t, 0.05, 0.98))
        points = np.concatenate([spine - side, spine + side])
        faces = [f for k in range(5) for f in ((k, k + 1, k + 6), (k + 1, k + 7, k + 6))]
        leaf = np.clip(green * rng.uniform(0.7, 1.3), 0, 1)
        parts.append(Mesh(points, np.array(faces, np.int64), np.tile(linear(leaf), (len(points), 1))))
    return joined(parts)


def table(rng: Rng) -> Mesh:
    """A table with things on it."""
    wide, high, colour = rng.uniform(0.7, 1.3), rng.uniform(0.65, 0.78), muted(rng)
    corners = [(x, y) for x in (0.05 - wide / 2, wide / 2 - 0.05) for y in (-0.25, 0.25)]
    parts = [box((0.05, 0.05, high), (x, y, 0.0), colour) for x, y in corners]
    parts.append(box((wide, 0.6, 0.04), (0.0, 0.0, high), colour))
    for _ in range(int(rng.integers(2, 7))):
        x, y = rng.uniform(-wide / 2 + 0.1, wide / 2 - 0.1), rng.uniform(-0.2, 0.2)
        size = rng.uniform(0.06, 0.3), rng.uniform(0.06, 0.25), rng.uniform(0.04, 0.35)
        parts.append(box(size, (float(x), float(y), high + 0.04), muted(rng, 0.3)))
    return joined(parts)


def sofa(rng: Rng) -> Mesh:
    """A sofa or an armchair."""
    wide, colour = rng.uniform(0.8, 1.7), muted(rng, 0.2)
    parts = [box((wide, 0.75, 0.4), (0.0, 0.0, 0.05), colour), box((wide, 0.2, 0.45), (0.0, 0.3, 0.4), colour)]
    parts += [box((0.16, 0.75, 0.22), (x, 0.0, 0.4), colour) for x in (-wide / 2, wide / 2)]
    parts += [box((0.35, 0.12, 0.3), (float(rng.uniform(-wide / 3, wide / 3)), 0.12, 0.45), muted(rng, 0.35))]
    return joined(parts)


def pictures(rng: Rng, count: int, wide: float) -> Mesh:
    """Posters and framed pictures on the wall y = 0: blotches of colour, with and without a frame."""
    parts = []
    for _ in range(count):
        w, h = rng.uniform(0.25, 0.8), rng.uniform(0.3, 0.9)
        x, z = rng.uniform(-wide / 2, wide / 2), rng.uniform(0.9, 1.9)
        if rng.random() < 0.6:
            parts.append(box((w + 0.06, 0.02, h + 0.06), (x, -0.01, z - 0.03), muted(rng)))
        n = 12
        u, v = np.meshgrid(np.linspace(-0.5, 0.5, n), np.linspace(0, 1, n))
        points = np.stack([x + u.ravel() * w, np.full(n * n, -0.025), z + v.ravel() * h], axis=1)
        blots = rng.uniform(0.02, 0.98, (4, 3))[rng.integers(0, 4, (n, n))]
        parts.append(Mesh(points, sheet(n, n), linear(blots.reshape(-1, 3))))
    return joined(parts)


def curtain(rng: Rng, sway: float = 0.0) -> Mesh:
    """A curtain in folds before the wall y = 0; ``sway`` is how far its hem swings to the picture's right, metres."""
    wide, high, colour, folds = rng.uniform(0.5, 1.0), rng.uniform(2.0, 2.5), muted(rng, 0.25), rng.uniform(5, 9)
    n, m = 60, 14
    u, v = np.meshgrid(np.linspace(-0.5, 0.5, n), np.linspace(0, 1, m))
    depth = 0.04 * np.sin(2 * np.pi * folds * u + 0.8 * np.sin(3 * v))
    x = u * wide + sway * (1 - v) ** 1.5 * (1 + 0.3 * np.sin(5 * u))
    points = np.stack([x, depth - 0.06, 0.04 + v * high], axis=-1).reshape(-1, 3)
    return Mesh(points, sheet(m, n), np.tile(linear(colour), (len(points), 1)))


def door(rng: Rng) -> Mesh:
    """A door in its frame, on the wall y = 0."""
    leaf, frame = muted(rng), muted(rng)
    parts = [box((0.86, 0.02, 2.02), (0.0, -0.01, 0.0), leaf), box((1.0, 0.03, 0.08), (0.0, -0.01, 2.02), frame)]
    parts += [box((0.08, 0.03, 2.02), (x, -0.01, 0.0), frame) for x in (-0.47, 0.47)]
    parts += [box((0.6, 0.012, 0.7), (0.0, -0.02, z), darker(leaf, 0.88)) for z in (0.2, 1.1)]
    return joined([*parts, box((0.1, 0.05, 0.02), (0.34, -0.04, 1.0), METAL)])


def radiator(rng: Rng) -> Mesh:
    """Ribs of a radiator before the wall y = 0."""
    ribs = [box((0.05, 0.1, 0.55), (x, -0.1, 0.12), WHITE) for x in np.arange(-0.4, 0.41, 0.08)]
    return joined([*ribs, box((0.95, 0.04, 0.04), (0.0, -0.06, 0.6), WHITE)])


def boxes(rng: Rng) -> Mesh:
    """A heap of cartons and crates."""
    parts, z = [], 0.0
    for _ in range(int(rng.integers(2, 5))):
        size = rng.uniform(0.3, 0.6), rng.uniform(0.25, 0.4), rng.uniform(0.18, 0.4)
        parts.append(box(size, (float(rng.uniform(-0.06, 0.06)), 0.0, z), muted(rng, 0.2)))
        z += size[2]
    return joined(parts)


def grille(rng: Rng) -> Mesh:
    """Bars from floor to head height, as of a stair rail."""
    colour = muted(rng)
    at = np.arange(-0.7, 0.71, 0.11)
    bars = [tube(np.array([[x, 0.0, 0.0], [x, 0.0, 0.5], [x, 0.0, 1.0]]), 0.012, colour) for x in at]
    return joined([*bars, box((1.5, 0.06, 0.05), (0.0, 0.0, 1.0), colour)])


def muted(rng: Rng, tint: float = 0.1) -> Colour:
    """A colour that things have."""
    level = rng.uniform(0.1, 0.9)
    r, g, b = np.clip(level + rng.normal(0, tint, 3) * (0.1 + min(level, 1 - level)), 0.03, 0.95)
    return float(r), float(g), float(b)


def darker(colour: Colour, share: float) -> Colour:
    red, green, blue = colour
    return share * red, share * green, share * blue
