"""Where the figures stand round the wheel: upright, outside the ring, each on the ray of its own angle.

Upright figures were tried against figures turned with their feet to the rim: turned ones are no larger, and half of
them have to be read upside down. Upright ones are stepped outward along their ray until none touches another. A large
ring and small figures keep every figure, and the angle under it, near its place: a figure farther off than ``NEAR`` of
a height, or whose straight way to the ring is barred, costs more than the size it would gain.
"""

from __future__ import annotations

import math
from collections.abc import Callable, Iterable, Sequence
from dataclasses import dataclass

import numpy as np

from silhouette.geometry.angles import apart, difference
from silhouette.records import Arc, View
from silhouette.show.ink import common_px, relative_heights
from silhouette.show.words import is_again

MOST_FIGURES = 36
"""More figures than this round one ring are too small to read; the nearest to an even spread are shown."""
LETTERS = "ABCDEFGHJKLMNPQRSTUVWXYZ"
FACING = 40.0
"""Views nearer than this to front or back, degrees, stand side by side on the page."""
AIR = 2.5
"""Least clear space between two figures, points."""
BAR = 3.0
"""Room under the feet for the bar of a weak view where no angle is written, points."""
NEAR = 0.6
"""Heights of the tallest figure that one may be pushed outward and still stand at its place: about a figure's width."""
RINGS = (0.5, 0.57, 0.64, 0.71, 0.78)
"""Radii of the ring that are tried, over half of the shorter side."""
COLUMNS = (1, 2, 3)
"""Columns for the figures at the sides that are tried."""
STEP = 1.12
"""Each height that is tried over the next smaller one."""

Box = tuple[float, float, float, float]
"""Middle x and y, half width and half height, points."""


@dataclass(frozen=True)
class Place:
    """One figure on the page, points from the wheel's middle, y upwards."""

    view: View
    x: float
    feet: float
    height: float
    half_width: float
    label: str
    way: tuple[float, float] = (0.0, 0.0)
    """Distances from the middle between which its ray is clear from the ring to its box; equal where it is not."""
    pushed: float = 0.0
    """How far it stands farther out than it would alone, points."""

    @property
    def box(self) -> tuple[float, float, float, float]:
        """Left, bottom, right, top of the figure, without its label."""
        return self.x - self.half_width, self.feet, self.x + self.half_width, self.feet + self.height


@dataclass(frozen=True)
class Scale:
    """What several wheels share so that they can be compared."""

    ring: float
    """Radius of the ring, points."""
    tall: float
    """Height of the tallest figure, points."""
    px: float | None = None
    """Height of that figure in working pixels; None where each pose has a scale of its own."""
    every: int = 2
    """Columns that the figures at the sides stand in."""
    foot: float = 2.0
    """Room left under each wheel for the causes of its weak stretches, points."""
    head: float = 0.0
    """More room over each wheel, for what the other rings of a pose read, points."""


@dataclass(frozen=True)
class Layout:
    """The ring's radius, the tallest figure's height and every figure's place, points."""

    ring: float
    tall: float
    places: tuple[Place, ...]


def direction(angle: float) -> tuple[float, float]:
    """Unit vector from the middle toward the camera at ``angle``: 0 down, 90 to the page's left, clockwise.

    The page is the floor seen from above and the figure looks down the page, so that its right hand is on the page's
    left.
    """
    turn = math.radians(angle)
    return -math.sin(turn), -math.cos(turn)


def shown(views: tuple[View, ...], most: int = MOST_FIGURES) -> tuple[View, ...]:
    """The views to draw, at most ``most``: those nearest to an even spread, none at a place already taken."""
    views = tuple(view for view in views if not is_again(view, views))
    if len(views) <= most:
        return views
    angles = np.array([view.angle for view in views])
    kept = {int(np.argmin(apart(angles, i * 360 / most))) for i in range(most)}
    return tuple(views[i] for i in sorted(kept))


@dataclass(frozen=True)
class Room:
    """The space a wheel's figures may fill: half its width and height, points; how the angle under each is written."""

    half_width: float
    half_height: float
    label: Callable[[View], str]
    label_width: Callable[[str], float]
    label_height: float


def lay_out(views: tuple[View, ...], room: Room, scale: Scale, beyond: float = 0.0) -> Layout:
    """Every figure's place round a ring of that scale, none nearer to it than ``beyond``, points: there other rings
    lie."""
    pieces = _pieces(shown(views), room, scale.px)
    start = scale.ring + beyond
    return Layout(scale.ring, scale.tall, _places(pieces, _pack(pieces, scale, None, start) or [], scale, start))


def largest_scale(poses: list[tuple[View, ...]], room: Room, beyond: Sequence[float] = (),
                  least: float = 0.0) -> Scale:
    """The largest figures, and the ring, with which every one of these poses fits and stands where it belongs.

    ``beyond`` is, a pose, how much the other rings outside the ring take, points; none where it is left out. ``least``
    is the least radius of the ring, points, where the room allows it.
    """
    reach = max(min(room.half_width, room.half_height), 1.0)
    px = common_px(poses)
    drawn = [(_pieces(shown(views), room, px), more)
             for views, more in zip(poses, beyond or [0.0] * len(poses), strict=True)]

    def worth(scale: Scale) -> float:
        """The height of the figures, less for each that stands far off or behind others; 0 where they do not fit."""
        least = scale.tall
        for pieces, more in drawn:
            spots = _pack(pieces, scale, room, scale.ring + more)
            if spots is None:
                return 0.0
            far = max([NEAR * scale.tall, *(2.6 * spot.box[2] for spot in spots)])
            astray = sum(min(max(spot.pushed / far - 1, 0), 1) + _barred(i, pieces, spots, scale.ring + more)
                         for i, spot in enumerate(spots) if spot.pushed > 0)
            least = min(least, scale.tall * (1 - astray / max(2 * len(spots), 1)) ** 4)
        return least

    rings = [ring for ring in RINGS if ring * reach >= least] or RINGS[-1:]
    best, most = Scale(rings[0] * reach, 0.05 * reach, px), 0.0
    for every in COLUMNS:
        for ring in rings:
            tall = 0.95 * (1 - ring) * reach
            while tall > max(most, 0.05 * reach):
                if (found := worth(scale := Scale(ring * reach, tall, px, every))) > most:
                    best, most = scale, found
                    break
                tall /= STEP
    low, high = best.tall, best.tall * STEP
    for _ in range(3):
        middle = (low + high) / 2
        if (found := worth(scale := Scale(best.ring, middle, px, best.every))) > most:
            low, best, most = middle, scale, found
        else:
            high = middle
    return best


@dataclass(frozen=True)
class _Piece:
    """What is known of a figure before the scale is."""

    view: View
    ray: tuple[float, float]
    share: float
    """Its height over the tallest one's."""
    wide: float
    """Its width over its own height."""
    label: str
    label_width: float
    below: float
    """Room under the feet, points."""


@dataclass(frozen=True)
class _Spot:
    box: Box
    pushed: float


def _pieces(views: tuple[View, ...], room: Room, px: float | None) -> list[_Piece]:
    sizes = relative_heights(views, px)
    pieces = []
    for i, view in enumerate(views):
        left, _, right, _ = view.outline.polygon.bounds if view.outline is not None else (-0.12, 0, 0.12, 1)
        label = room.label(view)
        pieces.append(_Piece(view, direction(view.angle), sizes.get(i, 0.5), right - left, label,
                             room.label_width(label), room.label_height if label else BAR))
    return pieces


def _turn(i: int, angle: float, every: int) -> tuple[int, float]:
    """When a figure is set. Those before and behind, which stand side by side, first and from the middle outwards; then
    those at the sides, which stand over one another and so in ``every`` columns."""
    beside = abs((angle + 90) % 180 - 90)
    if beside < FACING:
        return 0, beside
    return 1 + i % every, abs(difference(angle, 0))


def _along(ray: tuple[float, float], box: Box, wide: float = 0.0, high: float = 0.0) -> tuple[float, float]:
    """Distances along a ray from the middle between which something of that half size would touch a box."""
    low, high_end = -math.inf, math.inf
    for step, at, room in ((ray[0], box[0], box[2] + wide), (ray[1], box[1], box[3] + high)):
        if abs(step) < 1e-9:
            if abs(at) >= room:
                return math.inf, -math.inf
            continue
        ends = sorted(((at - room) / step, (at + room) / step))
        low, high_end = max(low, ends[0]), min(high_end, ends[1])
    return low, high_end


def _clear_from(start: float, taken: Iterable[tuple[float, float]]) -> float:
    """The first distance from ``start`` on that lies in none of these stretches."""
    for low, high in sorted(taken):
        if low < start < high:
            start = high
    return start


def _pack(pieces: list[_Piece], scale: Scale, room: Room | None, start: float) -> list[_Spot] | None:
    """One figure after the other, each as near to the radius ``start`` on its ray as those before it leave room.

    None where one would leave the room.
    """
    spots: dict[int, _Spot] = {}
    # On both sides at once, so that a symmetric turn gives a symmetric page.
    for i in sorted(range(len(pieces)), key=lambda i: _turn(i, pieces[i].view.angle, scale.every)):
        piece = pieces[i]
        height = scale.tall * piece.share
        half_w = max(piece.wide * height, piece.label_width) / 2 + AIR / 2
        half_h = (height + piece.below + AIR) / 2
        dx, dy = piece.ray
        alone = start + half_w * abs(dx) + half_h * abs(dy) + 1.6 * AIR
        far = _clear_from(alone, (_along(piece.ray, spot.box, half_w, half_h) for spot in spots.values()))
        if room is not None and (abs(dx * far) + half_w > room.half_width or abs(dy * far) + half_h > room.half_height):
            return None
        spots[i] = _Spot((dx * far, dy * far, half_w, half_h), far - alone)
    return [spots[i] for i in range(len(pieces))]


def _barred(i: int, pieces: list[_Piece], spots: list[_Spot], ring: float) -> bool:
    """Whether another figure stands between one and the ring."""
    near = _along(pieces[i].ray, spots[i].box)[0]
    ways = (_along(pieces[i].ray, spot.box) for j, spot in enumerate(spots) if j != i)
    return any(low < min(near, high) and high > ring for low, high in ways)


def _places(pieces: list[_Piece], spots: list[_Spot], scale: Scale, start: float) -> tuple[Place, ...]:
    places = []
    for i, (piece, spot) in enumerate(zip(pieces, spots, strict=True)):
        x, y, half_w, half_h = spot.box
        barred = spot.pushed > 0 and _barred(i, pieces, spots, start)
        way = (start, start if barred else _along(piece.ray, spot.box)[0])
        # An outline's x = 0 is the middle of its box.
        places.append(Place(piece.view, x, y - half_h + AIR / 2 + piece.below, scale.tall * piece.share, half_w,
                            piece.label, way, spot.pushed))
    return tuple(places)


def letters_on(
    arcs: Sequence[Arc], hub: float, rim: float, radius: float
) -> list[tuple[str, Arc, tuple[float, float]]]:
    """A lettered spot for every weak arc that has room for one between ``hub`` and ``rim``, wider arcs first served.

    Returns letter, arc and spot (points from the wheel's middle, y upwards) in the order of the arcs; ``radius`` is
    that of the disc behind the letter.
    """
    spots: dict[int, tuple[float, float]] = {}
    for i in sorted(range(len(arcs)), key=lambda i: -arcs[i].width)[:len(LETTERS)]:
        dx, dy = direction(arcs[i].start + arcs[i].width / 2)
        far = rim - radius - 2
        while far > hub + radius:
            if all(math.hypot(dx * far - x, dy * far - y) > 2 * radius + 2 for x, y in spots.values()):
                spots[i] = dx * far, dy * far
                break
            far -= radius
    return [(letter, arcs[i], spots[i]) for letter, i in zip(LETTERS, sorted(spots), strict=False)]
