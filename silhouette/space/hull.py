"""The visual hull: the largest body that casts every outline of a turn (Laurentini 1994).

Each mask gives, for any point of the picture, how far it lies inside the outline's edge; at the depth of a point in
space that is a length. The least of these lengths over all stops is a field that is positive inside the hull, so its
zero level is a surface finer than the grid it is sampled on. Only the grid's cells near that surface are looked at
closely.

Its ridges are then rounded between the lines where the outlines touch, and the steps of pixels and cells taken out, so
far as the outlines stay what they are. What a hull cannot know: hollows that no outline shows (the small of the back,
eye sockets, between pressed limbs). So with exact masks its volume is larger than the figure's.

Works in any unit of length, that of the cameras: metres, or figure heights before the scale is known.
"""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass, replace

import cv2
import numpy as np
from numpy.typing import NDArray

from silhouette.errors import PoseError
from silhouette.geometry.orbit import project
from silhouette.records_space import Solid, StopCamera

Floats = NDArray[np.float64]
Field = NDArray[np.float32]
Mask = NDArray[np.bool_]

COARSE = 4
"""Fine cells along one edge of a coarse one."""
EDGE_BLUR = 1.5
"""Standard deviation by which the distance to a mask's edge is smoothed, pixels: it takes the stairs of whole pixels
out."""
SMOOTH = 1.0
"""Standard deviation by which the field is smoothed, cells: it takes away the steps between whole pixels and cells."""
BLIND = 1e6
"""Pixels: what a stop says of a place that its picture does not show."""
FEWEST = 3
"""Stops that must see a place before it can belong to the figure."""
_AT_ONCE = 1 << 18
_ROW = 1 << 10


@dataclass(frozen=True)
class Hull:
    """The visual hull, as a field on a regular grid."""

    field: Field
    """(nx, ny, nz) how far the point lies inside the hull, in the unit of length; negative outside. True lengths near
    the surface, farther away right in sign only."""
    origin: Floats
    """(3,) of the point [0, 0, 0]."""
    cell: float
    """From one point to the next along x, y or z."""
    mended: tuple[int, ...] = ()
    """Stops whose masks lacked a piece that all the others hold; it was put back."""

    def axes(self) -> tuple[Floats, Floats, Floats]:
        """Coordinates of the points along x, y and z."""
        x, y, z = (self.origin[k] + self.cell * np.arange(self.field.shape[k]) for k in range(3))
        return x, y, z


def carve(masks: Sequence[Mask], cameras: Sequence[StopCamera], *, cell: float) -> Hull:
    """The hull of all stops, the ground included as the stops see it: it hangs a little below the true ground.

    Parameters
    ----------
    masks : n of (h, w) bool
        At the size that the cameras speak of. Where a mask reaches the picture's edge the stop says nothing of what
        lies beyond.
    cameras : n StopCamera
    cell : float
        Size of a cell, in the cameras' unit: 5 mm for a standing figure.

    Raises
    ------
    PoseError
        Where the outlines have nothing in common.
    """
    edges = [signed_edge(m) for m in masks]
    hull = _one(edges, masks, cameras, cell)
    share, pixels = _slimmer(hull, edges, masks, cameras)
    if share > SLIMMER:
        hull = replace(_one([e + np.float32(pixels) for e in edges], masks, cameras, cell), mended=hull.mended)
    return hull


SLIMMER = 0.015
"""Share of the masks' areas by which the outlines of the hull may be smaller. The least of many stops is less than each
of them where edges are rough or cameras a little off; where that takes more, all edges are set out by what it takes."""


def _one(edges: list[Field], masks: Sequence[Mask], cameras: Sequence[StopCamera], cell: float) -> Hull:
    """The hull of one body, its ridges rounded, its steps taken out."""
    hull = _carve(edges, masks, cameras, cell, np.inf)
    field = smoothed(_round(hull.field, edges, cameras, hull.origin, cell))
    return replace(hull, field=one_body(field, cell))


def _slimmer(
    hull: Hull, edges: list[Field], masks: Sequence[Mask], cameras: Sequence[StopCamera]
) -> tuple[float, float]:
    """By how much the outlines of the hull are smaller than the masks: share of the area, the median over some of the
    stops, and how far inside the masks' edges they run, the median along them, pixels."""
    solid = triangles(hull.field, hull.origin, hull.cell)
    shares, inside = [], []
    for k in range(0, len(masks), max(len(masks) // LOOKS, 1)):
        drawn = shadow(solid, cameras[k])
        shares.append(1.0 - float(drawn.sum()) / max(float(masks[k].sum()), 1.0))
        own = signed_edge(drawn)
        rim = np.abs(own) < 1
        inside.append(edges[k][rim] - own[rim])
    return float(np.median(shares)), float(np.clip(np.median(np.concatenate(inside)), 0, 1))


LOOKS = 8
"""Stops whose outlines are looked at for that."""


def scaled(hull: Hull, unit: float) -> Hull:
    """The same in another unit of length: figure heights to metres by the figure's height in metres."""
    return replace(hull, field=hull.field * np.float32(unit), origin=hull.origin * unit, cell=hull.cell * unit)


def _carve(
    edges: list[Field], masks: Sequence[Mask], cameras: Sequence[StopCamera], cell: float, top: float
) -> Hull:
    """The bare hull, with every body that is found; masks that lack a piece are mended in ``edges``."""
    low, high = _reach(masks, cameras)
    low, high = _tight(edges, cameras, low, high, cell)
    high[2] = min(high[2], top)
    coarse, second, blamed = _coarse(edges, cameras, low, high, cell)
    tall = float((high - low).max())
    reach = LOST * tall * max(1.0, USUAL_STOPS / len(masks))
    lost = blamed[(coarse < -reach) & (second > 0)]
    mended = []
    for stop in np.unique(lost):
        # generous by a coarse cell: the other stops cut what is too much
        grown = _put_back(masks[stop], cameras[stop], low, cell * COARSE, second > -0.9 * cell * COARSE, reach)
        if grown is not None:
            edges[stop] = signed_edge(grown)
            mended.append(int(stop))
    if mended:
        coarse = _coarse(edges, cameras, low, high, cell)[0]
    field, low = _drawn_in(_fine(edges, cameras, coarse, low, cell), low, cell)
    return Hull(field, low, cell, tuple(mended))


def signed_edge(mask: Mask) -> Field:
    """(h, w) how far each pixel's middle lies inside the outline, pixels; negative outside."""
    inside = np.ascontiguousarray(mask, np.uint8)
    if inside.all() or not inside.any():
        return np.full(inside.shape, BLIND if inside.all() else -BLIND, np.float32)
    within = cv2.distanceTransform(inside, cv2.DIST_L2, cv2.DIST_MASK_PRECISE)
    beyond = cv2.distanceTransform(1 - inside, cv2.DIST_L2, cv2.DIST_MASK_PRECISE)
    signed = np.where(inside > 0, within - 0.5, 0.5 - beyond).astype(np.float32)
    once = cv2.GaussianBlur(signed, (0, 0), EDGE_BLUR)
    return np.asarray(2 * once - cv2.GaussianBlur(once, (0, 0), EDGE_BLUR), np.float32)  # see smoothed()


def _says(edge: Field, camera: StopCamera, points: Floats) -> Field:
    """(n,) how far points (n, 3) lie inside one stop's outline, as lengths; huge where its picture does not show it."""
    places, depth = project(camera, points)
    n = len(points)
    rows = -(-n // _ROW)
    maps = np.full((2, rows * _ROW), -2.0, np.float32)
    maps[:, :n] = places.T - 0.5
    u, v = maps.reshape(2, rows, _ROW)
    found = cv2.remap(edge, u, v, cv2.INTER_LINEAR, borderMode=cv2.BORDER_CONSTANT, borderValue=BLIND)
    return np.asarray(found.ravel()[:n] * (depth / camera.focal_px), np.float32)


def _least(edges: list[Field], cameras: Sequence[StopCamera], points: Floats) -> tuple[Field, Field, NDArray[np.int16]]:
    """What the stops say of points (n, 3): the least, the second least, and who says the least."""
    n = len(points)
    least, second = np.full(n, np.inf, np.float32), np.full(n, np.inf, np.float32)
    who, seen = np.zeros(n, np.int16), np.zeros(n, np.int16)
    for start in range(0, n, _AT_ONCE):
        part = slice(start, start + _AT_ONCE)
        some = points[part]
        for k, (edge, camera) in enumerate(zip(edges, cameras, strict=True)):
            said = _says(edge, camera, some)
            blind = BLIND / 8 * camera.distance / camera.focal_px
            seen[part] += said < blind
            lower = said < least[part]
            np.minimum(second[part], np.maximum(said, least[part]), out=second[part])
            who[part][lower] = k
            np.minimum(least[part], said, out=least[part])
    few = seen < min(FEWEST, len(edges))
    far = np.float32(max(c.distance for c in cameras))
    least[few] = second[few] = -far
    return np.clip(least, -far, far), np.clip(second, -far, far), who


def _reach(masks: Sequence[Mask], cameras: Sequence[StopCamera]) -> tuple[Floats, Floats]:
    """Corners (3,), (3,) of a box that surely holds the figure."""
    wide, heights = [], []
    for mask, c in zip(masks, cameras, strict=True):
        rows, columns = np.flatnonzero(mask.any(1)), np.flatnonzero(mask.any(0))
        if not len(rows):
            continue
        sideways = np.abs(np.array([columns[0], columns[-1] + 1]) - c.size[0] / 2 - c.shift[0]) / c.focal_px
        wide.append(float(sideways.max() * c.distance + abs(c.aside)))
        heights.append((c, np.array([rows[0], rows[-1] + 1.0])))
    if not wide:
        raise PoseError("no stop shows an outline.")
    # What stands at radius r looks r / (D - r) wide: a wide figure comes nearer than the axis.
    nearest = min(c.distance for c, _ in heights)
    radius = min(max(wide) / (1.0 - min(max(wide) / nearest, 0.5)), 0.6 * nearest)
    zs = []
    for c, rows in heights:
        slope = np.arctan2(rows - c.size[1] / 2 - c.shift[1], c.focal_px) - np.radians(c.pitch)
        zs += [c.height - np.tan(slope) * (c.distance + s * radius) for s in (-1, 1)]
    low, high = np.min(zs), np.max(zs)
    return np.array([-radius, -radius, low]), np.array([radius, radius, high])


def _tight(
    edges: list[Field], cameras: Sequence[StopCamera], low: Floats, high: Floats, cell: float
) -> tuple[Floats, Floats]:
    """The box drawn in to what a look with wide meshes finds, on the fine grid: z = 0 lies half way between points.
    Without a cell it is drawn in alone."""
    step = max((high - low).max() / 48, cell * COARSE)
    counts = np.maximum(np.ceil((high - low) / step).astype(int), 1) + 1
    at = [low[k] + step * np.arange(counts[k]) for k in range(3)]
    points = np.stack(np.meshgrid(*at, indexing="ij"), -1).reshape(-1, 3)
    _, held, _ = _least(edges, cameras, points)
    inside = points[held > -0.9 * step]
    if not len(inside):
        raise PoseError("the outlines of its stops have nothing in common: they are not of one figure that turns.",
                        do="Run silhouette check on it: it says what is wrong.")
    low, high = np.maximum(low - step, inside.min(0) - step), np.minimum(high + step, inside.max(0) + step)
    return (np.floor(low / cell - 0.5) + 0.5) * cell if cell else low, high


def _coarse(
    edges: list[Field], cameras: Sequence[StopCamera], low: Floats, high: Floats, cell: float
) -> tuple[Field, Field, NDArray[np.int16]]:
    """Least, second least and who says the least, in the middle of every coarse cell."""
    wide = cell * COARSE
    counts = np.maximum(np.ceil((high - low) / wide).astype(int), 1) + 1
    at = [low[k] + (wide - cell) / 2 + wide * np.arange(counts[k]) for k in range(3)]
    points = np.stack(np.meshgrid(*at, indexing="ij"), -1).reshape(-1, 3)
    least, second, who = _least(edges, cameras, points)
    shape = tuple(counts)
    return least.reshape(shape), second.reshape(shape), who.reshape(shape)


def _fine(edges: list[Field], cameras: Sequence[StopCamera], coarse: Field, low: Floats, cell: float) -> Field:
    """The field on the fine grid, worked out in the coarse cells that the surface may pass through or come near."""
    wide = cell * COARSE
    near = np.argwhere(np.abs(coarse) < wide * np.sqrt(3) / 2 + 1.5 * cell)
    field = np.repeat(np.repeat(np.repeat(coarse, COARSE, 0), COARSE, 1), COARSE, 2)
    step = np.stack(np.meshgrid(*[np.arange(COARSE)] * 3, indexing="ij"), -1).reshape(-1, 3)
    blocks = field.reshape(coarse.shape[0], COARSE, coarse.shape[1], COARSE, coarse.shape[2], COARSE)
    for start in range(0, len(near), _AT_ONCE // len(step)):
        some = near[start : start + _AT_ONCE // len(step)]
        points = low + cell * (some[:, None] * COARSE + step).reshape(-1, 3)
        values = _least(edges, cameras, points)[0].reshape(-1, COARSE, COARSE, COARSE)
        blocks[some[:, 0], :, some[:, 1], :, some[:, 2], :] = values
    return field


def _drawn_in(field: Field, low: Floats, cell: float) -> tuple[Field, Floats]:
    """The field without the empty room round the figure, but for a few cells, and its new first point."""
    held = field > 0
    spans = [np.flatnonzero(held.any(axis=tuple({0, 1, 2} - {k}))) for k in range(3)]
    if not len(spans[0]):
        return field, low
    first = [max(int(s[0]) - ROOM, 0) for s in spans]
    inner = tuple(slice(a, int(s[-1]) + ROOM + 1) for a, s in zip(first, spans, strict=True))
    return np.ascontiguousarray(field[inner]), low + cell * np.array(first)


ROOM = 4
"""Empty cells that are kept round the figure."""
SHELL = 2.5
"""How far from the surface its ridges are rounded, cells on either side."""
SPREAD = 30
"""Cells over which a face of the hull is followed to its middle: 15 cm. Of a longer one the ends alone are rounded."""


def _round(field: Field, edges: list[Field], cameras: Sequence[StopCamera], low: Floats, cell: float) -> Field:
    """The field with the ridges rounded between the lines where the outlines touch the figure.

    Every face of the hull is cut by one stop, and somewhere on it the figure touches the stop's lines of sight; nothing
    says where, so the middle is the best guess. Two faces meet in a ridge that lies outside the figure if that is
    round. From the middle of one to the middle of the other a parabola runs that leaves both of them in their own
    direction (of a many-sided prism round a cylinder the cylinder is left, to a thousandth), so the middles stay where
    they are, and with them the outlines. With d1 and d2 the least and second least that the stops say, a what d2 - d1
    comes to in the middle of the face that a point lies by, and b in that of the face beyond the ridge, the parabola is
    sqrt((d2 - f) / a) + sqrt((d1 - f) / b) = 1, so that the field becomes

        f = d1 - b u^2,    u = (a - d2 + d1) / (a + sqrt(a (d2 - d1) + b (a - d2 + d1))).
    """
    shell = np.argwhere(np.abs(field) < SHELL * cell)
    least, second, who, next_to = _two(edges, cameras, low + cell * shell)
    rise = np.maximum(second - least, 0)
    own = np.arange(len(shell))
    number = np.full(np.array(field.shape) + 2, -1, np.int32)
    number[tuple((shell + 1).T)] = own
    around = [number[tuple((shell + step).T)] for step in np.ndindex(3, 3, 3) if step != (1, 1, 1)]
    del number
    middle = _followed(rise, [np.where((near >= 0) & (who[near] == who), near, own) for near in around])
    beyond = np.zeros(len(shell), np.float32)
    for near in around:
        np.maximum(beyond, np.where((near >= 0) & (who[near] == next_to), middle[near], 0), out=beyond)
    beyond = _followed(beyond, [
        np.where((near >= 0) & (who[near] == who) & (next_to[near] == next_to), near, own) for near in around])
    left = np.maximum(middle - rise, 0)
    along = left / np.maximum(middle + np.sqrt(middle * rise + beyond * left), np.float32(1e-9))
    out = field.copy()
    out[tuple(shell.T)] -= beyond * along**2
    return out


def _followed(values: Field, ways: list[NDArray[np.int64]]) -> Field:
    """The most that is found on the way from each point over its neighbours, SPREAD steps far."""
    for _ in range(SPREAD):
        most = values.copy()
        for near in ways:
            np.maximum(most, values[near], out=most)
        if np.array_equal(most, values):
            break
        values = most
    return values


def _two(
    edges: list[Field], cameras: Sequence[StopCamera], points: Floats
) -> tuple[Field, Field, NDArray[np.int16], NDArray[np.int16]]:
    """The least and second least that the stops say of points (n, 3), and who says each."""
    n = len(points)
    least, second = np.full(n, np.inf, np.float32), np.full(n, np.inf, np.float32)
    who, next_to = np.zeros(n, np.int16), np.zeros(n, np.int16)
    for start in range(0, n, _AT_ONCE):
        part = slice(start, start + _AT_ONCE)
        for k, (edge, camera) in enumerate(zip(edges, cameras, strict=True)):
            said = _says(edge, camera, points[part])
            first, then = said < least[part], said < second[part]
            next_to[part] = np.where(first, who[part], np.where(then, k, next_to[part]))
            second[part] = np.where(first, least[part], np.where(then, said, second[part]))
            who[part] = np.where(first, k, who[part])
            least[part] = np.minimum(least[part], said)
    return least, second, who, next_to


def smoothed(field: Field) -> Field:
    """The field without the steps of its grid, and no slimmer: what smoothing took is given back once (2 G - G G).

    Smoothing alone draws round limbs in, and their outlines with them; so it would say that they are thinner than every
    stop shows them.
    """
    from scipy import ndimage

    once = ndimage.gaussian_filter(field, SMOOTH, truncate=2.5)
    twice = ndimage.gaussian_filter(once, SMOOTH, truncate=2.5)
    once *= 2
    once -= twice
    return np.asarray(once, np.float32)


LOST = 0.012
"""Half the width that a piece must have to be put back into one mask, as a share of the figure's size: 2 cm."""
USUAL_STOPS = 24
"""Where there are fewer stops a gap is more likely to be shown by one alone, so the piece must be wider."""


def _put_back(
    mask: Mask, camera: StopCamera, low: Floats, wide: float, held: Mask, reach: float
) -> Mask | None:
    """One stop's mask with what all the others hold and it alone lacks, or None where that is too small to matter.

    A gap between two limbs that one stop shows is shown by its neighbours or by the stop opposite too, but for slits.
    So a wide piece that a single mask takes away is a fault of that mask: a lost hand, say.
    """
    points = low + wide / COARSE * ((COARSE - 1) / 2) + wide * np.argwhere(held)
    places, depth = project(camera, points)
    drawn = np.zeros(mask.shape, np.uint8)
    at = places[(places >= 0).all(1) & (places < np.array(mask.shape[::-1])).all(1)].astype(int)
    drawn[at[:, 1], at[:, 0]] = 1
    pixel = camera.focal_px / float(np.median(depth))
    others = cv2.morphologyEx(drawn, cv2.MORPH_CLOSE, _disc(0.9 * wide * pixel)) > 0
    clear = _disc(reach * pixel)
    kept = cv2.dilate(mask.astype(np.uint8), clear) > 0
    lost = cv2.morphologyEx((others & ~kept).astype(np.uint8), cv2.MORPH_OPEN, clear)
    if not lost.any():
        return None
    # back to the mask, over what was kept clear of it, inside what the others hold
    grown = cv2.dilate(lost, _disc(2.5 * reach * pixel)) > 0
    return np.asarray(mask | (grown & others))


def _disc(radius: float) -> NDArray[np.uint8]:
    size = 2 * max(round(radius), 1) + 1
    return np.asarray(cv2.getStructuringElement(cv2.MORPH_ELLIPSE, (size, size)), np.uint8)


PIECE = 0.0005
"""Least share of the figure's volume that a piece apart from it must have to be joined on: half a hand is 0.003."""
GAP = 0.02
"""Widest gap, as a share of the figure's size, over which a piece is joined on: 3.5 cm."""
LARGE = 0.02
"""Share of the figure's volume from which a piece is joined on over any gap: every stop holds something so large, as a
ball in the air."""


def one_body(field: Field, cell: float) -> Field:
    """The field of the largest body alone, with pieces close to it, and large ones, joined on by a thin neck."""
    from scipy import ndimage

    labels, count = ndimage.label(field > 0)
    if count <= 1:
        return field
    sizes = np.bincount(labels.ravel())
    sizes[0] = 0
    order = np.argsort(-sizes, kind="stable")[:count]
    boxes = ndimage.find_objects(labels)
    farthest = GAP * max(s.stop - s.start for s in boxes[order[0] - 1])
    kept, necks = [order[0]], []
    for piece in order[1:]:
        if sizes[piece] < PIECE * sizes[order[0]]:
            break
        gap = farthest if sizes[piece] < LARGE * sizes[order[0]] else float(max(field.shape))
        near = tuple(slice(max(int(s.start - gap - 1), 0), int(s.stop + gap + 2)) for s in boxes[piece - 1])
        ends = _nearest(np.isin(labels[near], kept), labels[near] == piece, gap)
        if ends is not None:
            necks.append(ends + np.array([s.start for s in near]))
            kept.append(piece)
    dropped = np.ones(count + 1, bool)
    dropped[[0, *kept]] = False
    out = np.where(dropped[labels], np.float32(-cell), field)
    for neck in necks:
        _join(out, neck, cell)
    return out


def _nearest(body: Mask, piece: Mask, farthest: float) -> NDArray[np.int64] | None:
    """(2, 3) the points of both that lie nearest to each other, or None where they are farther apart than that."""
    from scipy.spatial import cKDTree

    one, other = np.argwhere(body), np.argwhere(piece)
    if not len(one):
        return None
    gaps, which = cKDTree(one).query(other)
    best = int(np.argmin(gaps))
    return np.stack([one[which[best]], other[best]]) if gaps[best] <= farthest else None


def _join(field: Field, ends: NDArray[np.int64], cell: float) -> None:
    """Lay a bar of three cells' thickness between two points of the grid."""
    low = np.maximum(ends.min(0) - 3, 0)
    high = np.minimum(ends.max(0) + 4, field.shape)
    span = [np.arange(a, b) for a, b in zip(low, high, strict=True)]
    points = np.stack(np.meshgrid(*span, indexing="ij"), -1)
    along = (ends[1] - ends[0]).astype(float)
    share = np.clip((points - ends[0]) @ along / max(along @ along, 1e-9), 0, 1)
    away = np.linalg.norm(points - ends[0] - share[..., None] * along, axis=-1)
    view = field[tuple(slice(a, b) for a, b in zip(low, high, strict=True))]
    np.maximum(view, ((1.5 - away) * cell).astype(np.float32), out=view)


def surface(hull: Hull) -> Solid:
    """The hull as a closed surface in one piece, cut flat at z = 0, in the hull's unit."""
    z = hull.axes()[2]
    first = int(np.searchsorted(z, -2 * hull.cell))
    cut = np.minimum(hull.field[:, :, first:], z[first:].astype(np.float32))
    return triangles(cut, hull.origin + np.array([0, 0, first * hull.cell]), hull.cell)


TINY = 0.02
"""Nearest to a point of the grid that the surface may pass, cells: nearer it would make triangles so small that files,
which round, would make one point of two corners."""


def triangles(field: Field, origin: Floats, cell: float, *, every: bool = False) -> Solid:
    """The zero level of a field that is positive inside, as one closed surface (marching cubes: Lewiner et al. 2003).

    Of several bodies the largest is kept, without what is shut up inside it, unless ``every`` one is wanted. Where the
    body reaches the edge of the grid it is closed there.
    """
    from skimage.measure import marching_cubes

    held = field > 0
    if not held.any():
        raise PoseError("nothing of the figure is left where all outlines meet.",
                        do="Run silhouette check on it: it says what is wrong.")
    axes = [np.flatnonzero(held.any(axis=tuple({0, 1, 2} - {k}))) for k in range(3)]
    low = np.array([max(int(a[0]) - 1, 0) for a in axes])
    block = np.pad(field[tuple(slice(b, a[-1] + 2) for a, b in zip(axes, low, strict=True))], 1,
                   constant_values=-cell)
    tiny = np.float32(TINY * cell)
    block = np.where(np.abs(block) < tiny, np.where(block < 0, -tiny, tiny), block)
    vertices, faces, _, _ = marching_cubes(block, 0.0)
    vertices, faces = vertices.astype(np.float64), faces.astype(np.int64)
    if not every:
        vertices, faces = _largest(vertices, faces)
    if _tetrahedra(vertices, faces).sum() < 0:
        faces = faces[:, ::-1]
    return Solid(origin + cell * (vertices + low - 1), np.ascontiguousarray(faces))


def _largest(vertices: Floats, faces: NDArray[np.int64]) -> tuple[Floats, NDArray[np.int64]]:
    """The piece of a surface that holds most."""
    from scipy.sparse import coo_matrix
    from scipy.sparse.csgraph import connected_components

    ends = faces[:, [0, 1]].ravel(), faces[:, [1, 2]].ravel()
    links = coo_matrix((np.ones(len(ends[0]), bool), ends), (len(vertices), len(vertices)))
    count, part = connected_components(links, directed=False)
    if count == 1:
        return vertices, faces
    volumes = np.bincount(part[faces[:, 0]], _tetrahedra(vertices, faces), count)
    faces = faces[part[faces[:, 0]] == np.argmax(np.abs(volumes))]
    used, renamed = np.unique(faces, return_inverse=True)
    return vertices[used], renamed.reshape(-1, 3)


def _tetrahedra(vertices: Floats, faces: NDArray[np.int64]) -> Floats:
    """(f,) signed volumes between each triangle and the first vertex; over a closed piece they add up to its volume."""
    a, b, c = np.moveaxis((vertices - vertices[0])[faces], 1, 0)
    return np.asarray(np.einsum("ij,ij->i", a, np.cross(b, c)) / 6.0)


SMALL = 5
"""Pixel middles that a triangle spans at most to be drawn together with all others."""


def shadow(solid: Solid, camera: StopCamera) -> Mask:
    """(h, w) the outline that a surface casts in a stop's picture: the pixels whose middles it covers."""
    width, height = camera.size
    places, _ = project(camera, solid.vertices)
    corners = places.astype(np.float32)[solid.faces]
    one, other = corners[:, 1] - corners[:, 0], corners[:, 2] - corners[:, 0]
    corners = corners[one[:, 0] * other[:, 1] < one[:, 1] * other[:, 0]]  # what faces the camera draws all of it
    first = np.ceil(corners.min(1) - 0.5).astype(np.int32)
    count = np.floor(corners.max(1) - 0.5).astype(np.int32) - first + 1
    out = np.zeros((height, width), np.uint8)
    large = count.max(1) > SMALL
    for three in corners[large]:
        cv2.fillConvexPoly(out, np.round((three - 0.5) * 16).astype(np.int32), 1, cv2.LINE_8, 4)
    corners, first, count = corners[~large], first[~large], count[~large]
    for i in range(SMALL):
        for j in range(SMALL):
            some = (count[:, 0] > i) & (count[:, 1] > j)
            at = first[some] + np.array([i, j], np.int32)
            at = at[_covered(corners[some], at.astype(np.float32) + 0.5)]
            at = at[(at >= 0).all(1) & (at[:, 0] < width) & (at[:, 1] < height)]
            out[at[:, 1], at[:, 0]] = 1
    return out.astype(bool)


def _covered(corners: Field, at: Field) -> Mask:
    """Which triangles (t, 3, 2), turning left, cover their point (t, 2)."""
    ok = np.ones(len(at), bool)
    for k in range(3):
        a, b = corners[:, k], corners[:, (k + 1) % 3]
        ok &= (b[:, 0] - a[:, 0]) * (at[:, 1] - a[:, 1]) <= (b[:, 1] - a[:, 1]) * (at[:, 0] - a[:, 0])
    return ok


def agreement(solid: Solid, masks: Sequence[Mask], cameras: Sequence[StopCamera]) -> tuple[float, ...]:
    """(n,) how far the outlines of a surface and the masks overlap: intersection over union, 1 where they agree."""
    out = []
    for mask, camera in zip(masks, cameras, strict=True):
        drawn = shadow(solid, camera)
        out.append(float((drawn & mask).sum() / max((drawn | mask).sum(), 1)))
    return tuple(out)


GROUND_CELLS = 320
"""Cells along the figure's height where the ground is looked for."""
GROUND_LOOK = 0.2
"""So much of the figure, from below, is carved for it, as a share of its size."""
GROUND_ROWS = 0.5
"""Rows above an outline's lowest one that count as lowest."""
GROUND_SHARE = 0.1
"""Share of the stops that may put the ground too low."""
ROUND = (1.1, 1.3)
"""How much larger the cut half as high again above the lower bound must be than the one at the upper bound: at the
first the figure stands on something flat, as a block, at the second on something round, as bare feet."""
BETWEEN = 0.75
"""Where between the bounds the ground lies under something round, from the upper one down: half way under a ball, lower
under bare feet, which stand on heel and ball (median over 29 bodies of the studio)."""


def ground_shift(masks: Sequence[Mask], cameras: Sequence[StopCamera]) -> float:
    """How far z = 0 lies below the true ground, in the cameras' unit.

    The lowest row of an outline is cast by a point that touches the ground, or nearly, so the highest point of the
    hull that casts it lies on the ground or above; the lowest of these over the stops, but for a few that may be wrong,
    bounds the ground from above. The hull's lowest point lies on the ground or below. A ball of radius r seen from a
    camera that looks down by e touches both bounds: r (1 - cos e) above the ground and r (1 / cos e - 1) below it, all
    but the same; so under round forms the ground is taken between them. A flat sole touches the upper bound. Stops
    whose outlines reach the picture's lower edge say nothing.
    """
    sound = [k for k, m in enumerate(masks) if m.any() and not m[-1].any()]
    if len(sound) < FEWEST:
        return 0.0
    edges = [signed_edge(m) for m in masks]
    low, high = _reach(masks, cameras)
    low, high = _tight(edges, cameras, low, high, 0.0)
    tall = float((high - low).max())
    hull = _carve(edges, masks, cameras, tall / GROUND_CELLS, float(low[2]) + GROUND_LOOK * tall)
    if not (hull.field > 0).any():
        return 0.0
    hull = replace(hull, field=without_specks(smoothed(hull.field), hull.cell))
    vertices = triangles(hull.field, hull.origin, hull.cell, every=True).vertices
    heights = []
    for k in sound:
        rows = project(cameras[k], vertices)[0][:, 1]
        heights.append(float(vertices[rows >= rows.max() - GROUND_ROWS, 2].max()))
    least, most = float(vertices[:, 2].min()), float(np.quantile(heights, GROUND_SHARE))
    at = np.array([most, most + (most - least) / 2])
    levels = np.minimum(np.searchsorted(hull.axes()[2], at), hull.field.shape[2] - 1)
    areas = [float((hull.field[:, :, k] > 0).sum()) for k in levels]
    roundness = (areas[1] / max(areas[0], 1.0) - ROUND[0]) / (ROUND[1] - ROUND[0])
    return most - BETWEEN * float(np.clip(roundness, 0, 1)) * (most - least)


def without_specks(field: Field, cell: float) -> Field:
    """The field with the bodies that are small beside the largest one taken out."""
    from scipy import ndimage

    labels, count = ndimage.label(field > 0)
    if count <= 1:
        return field
    sizes = np.bincount(labels.ravel())
    sizes[0] = 0
    small = sizes < SPECK * sizes.max()
    small[0] = False
    return np.where(small[labels], np.float32(-cell), field)


SPECK = 0.01
"""Pieces smaller than this share of the largest one say nothing of the ground."""
