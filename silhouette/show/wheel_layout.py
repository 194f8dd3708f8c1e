"""Where the figures stand round the wheel: upright, outside the ring, each on the ray of its own angle.

Upright figures were tried against figures turned with their feet to the rim: turned ones are no larger, and half of
them have to be read upside down. Upright ones are stepped outward along their ray until none touches another.
"""

from __future__ import annotations

import math
from collections.abc import Callable, Iterator, Sequence
from dataclasses import dataclass

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


@dataclass(frozen=True)
class Place:
    """One figure on the page, points from the wheel's middle, y upwards."""

    view: View
    x: float
    feet: float
    height: float
    half_width: float
    label: str

    @property
    def box(self) -> tuple[float, float, float, float]:
        """Left, bottom, right, top with the label under the feet."""
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


def shown(views: tuple[View, ...]) -> tuple[View, ...]:
    """The views to draw, at most ``MOST_FIGURES``: those nearest to an even spread, none at a place already taken."""
    views = tuple(view for view in views if not is_again(view, views))
    if len(views) <= MOST_FIGURES:
        return views
    wanted = [i * 360 / MOST_FIGURES for i in range(MOST_FIGURES)]
    kept = {min(range(len(views)), key=lambda i: abs((views[i].angle - w + 180) % 360 - 180)) for w in wanted}
    return tuple(views[i] for i in sorted(kept))


@dataclass(frozen=True)
class Room:
    """The space a wheel's figures may fill: half its width and height, points; how the angle under each is written."""

    half_width: float
    half_height: float
    label: Callable[[View], str]
    label_width: Callable[[str], float]
    label_height: float


def lay_out(views: tuple[View, ...], room: Room, scale: Scale) -> Layout:
    """Every figure's place round a ring of that scale."""
    return Layout(scale.ring, scale.tall, _pack(shown(views), room, scale))


def largest_scale(poses: list[tuple[View, ...]], room: Room) -> Scale:
    """The largest figures, and the ring, with which every one of these poses fits."""
    reach = min(room.half_width, room.half_height)
    px = common_px(poses)
    drawn = [shown(views) for views in poses]

    def fits(scale: Scale) -> bool:
        places = [p for views in drawn for p in _pack(views, room, scale)]
        return all(abs(p.x) + p.half_width <= room.half_width and p.feet - room.label_height >= -room.half_height
                   and p.feet + p.height <= room.half_height for p in places)

    best = Scale(0.7 * reach, 4.0, px)
    for every in (2, 3, 4):
        for ring in (0.50 * reach, 0.57 * reach, 0.64 * reach, 0.71 * reach):
            low, high = max(4.0, 1.04 * best.tall), 0.55 * reach
            # Nothing is gained by looking closer where even a little more than the best so far does not fit.
            if not fits(Scale(ring, low, px, every)):
                continue
            for _ in range(5):
                middle = (low + high) / 2
                low, high = (middle, high) if fits(Scale(ring, middle, px, every)) else (low, middle)
            best = Scale(ring, low, px, every)
    return best


def _turn(i: int, angle: float, every: int) -> tuple[int, float]:
    """When a figure is set. Those before and behind, which stand side by side, first and from the middle outwards; then
    those at the sides, which stand over one another and so in ``every`` columns, the far apart before those between."""
    beside = abs((angle + 90) % 180 - 90)
    if beside < FACING:
        return 0, beside
    return 1 + {2: (0, 1), 3: (0, 1, 2), 4: (0, 2, 1, 3)}[every][i % every], abs((angle + 180) % 360 - 180)


def _pack(views: tuple[View, ...], room: Room, scale: Scale) -> tuple[Place, ...]:
    """One figure after the other, each as near to the ring on its ray as those before it leave room."""
    sizes = relative_heights(views, scale.px)
    boxes: list[tuple[float, float, float, float]] = []
    places: dict[int, Place] = {}
    # On both sides at once, so that a symmetric turn gives a symmetric page.
    for i in sorted(range(len(views)), key=lambda i: _turn(i, views[i].angle, scale.every)):
        view, outline = views[i], views[i].outline
        label = room.label(view)
        below = room.label_height if label else 0.0
        height = scale.tall * (sizes[i] if outline is not None else 0.5)
        left, _, right, _ = outline.polygon.bounds if outline is not None else (-0.12, 0, 0.12, 1)
        half_w = max((right - left) * height, room.label_width(label)) / 2 + AIR / 2
        half_h = (height + below + AIR) / 2
        dx, dy = direction(view.angle)
        far = scale.ring + half_w * abs(dx) + half_h * abs(dy) + 1.6 * AIR
        while any(abs(dx * far - x) < half_w + w and abs(dy * far - y) < half_h + h for x, y, w, h in boxes):
            far += 0.02 * scale.ring
        boxes.append((dx * far, dy * far, half_w, half_h))
        feet = dy * far - half_h + AIR / 2 + below
        places[i] = Place(view, dx * far, feet, height, half_w, label)
    return tuple(places[i] for i in range(len(views)))


def runs_of(kinds: Sequence[str]) -> Iterator[tuple[int, int, str]]:
    """Stretches of equal kind among 360 whole degrees: first degree, degree after the last (may pass 360), kind."""
    turns = [d for d in range(360) if kinds[d] != kinds[d - 1]]
    if not turns:
        yield 0, 360, kinds[0]
        return
    for first, after in zip(turns, [*turns[1:], turns[0] + 360], strict=True):
        yield first, after, kinds[first]


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
