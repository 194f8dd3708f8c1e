"""The drawings on the plan's page: the floor and the side view to one scale, and perspective against distance.

Each draws into bare axes measured in points (at the size of A4) and is given the plan alone. Sizes of type are
matplotlib's names for shares of the usual one, so that a larger page is the same page, enlarged.
"""

from __future__ import annotations

import math
from typing import Any

import numpy as np
import shapely
from shapely import affinity
from shapely.geometry import LineString, MultiPolygon, Point, Polygon

from silhouette.geometry.perspective import enlargement, near_over_far
from silhouette.records_shoot import Lamp, Plan, PlanRing
from silhouette.show.ink import ACCENT, FAIR, INK, PALE, PAPER, SOFT, add_paths, outline_path, size_of
from silhouette.show.paper import MM

SCALES = (20, 25, 30, 40, 50, 60, 75, 100, 125, 150, 200, 250, 300, 400, 500, 750, 1000)
"""Scales that a ruler or an eye can work with."""
BEHIND = 0.6
"""Floor drawn behind the lens, m."""
_LENGTHS = 56.0
"""Points kept free beside the floor for the lengths."""
_CLOSE = 48.0
"""Points from the line of sight within which a lamp's words do not fit under it."""
_LENS_WORDS = 56.0
"""Points kept free beside the side view for cameras and the heights of their lenses."""
_WORDS_APART = 10.0
"""Points from one line of those to the next."""
_PLOT = (1.0, 10.0)
_ON_PAPER = {"facecolor": PAPER, "edgecolor": "none", "pad": 1.0}


def scale_for(width_m: float, height_m: float, width: float, height: float, unit: float = MM) -> int:
    """The largest of :data:`SCALES` at which so many metres fit so many units, ``unit`` of which are a millimetre."""
    for scale in SCALES:
        per_m = 1000 * unit / scale
        if width_m * per_m <= width and height_m * per_m <= height:
            return scale
    return SCALES[-1]


def millimetre(ax: Any) -> float:
    """Data units in a printed millimetre: on larger paper all is drawn larger, and a unit is more than a point."""
    printed = ax.get_position().width * ax.figure.get_size_inches()[0] * 25.4
    return float(ax.get_xlim()[1] / printed)


def draw_floor(ax: Any, plan: Plan) -> int:
    """The room from above, backdrop at the top, camera at the bottom; returns the scale it is drawn at."""
    width, height = size_of(ax)
    half = floor_half(plan)
    unit = millimetre(ax)
    scale = scale_for(2 * half, plan.backdrop_gap + plan.distance + BEHIND, width - _LENGTHS, height - 40, unit)
    per_m = 1000 * unit / scale
    x0, y0 = (width - _LENGTHS) / 2, height - 17 - plan.backdrop_gap * per_m

    def at(x: float, y: float) -> tuple[float, float]:
        return x0 + x * per_m, y0 - y * per_m

    _floor_cone(ax, plan, at, half)
    _backdrop_line(ax, plan, at, half)
    _turning_circle(ax, plan, at)
    for lamp in plan.lamps:
        _lamp(ax, lamp, at, outward=abs(lamp.x) * per_m < _CLOSE)
    _camera(ax, *at(0, plan.distance), up=True)
    clear = max(half * per_m, *(lamp.x * per_m + (72 if lamp.x * per_m < _CLOSE else 36) for lamp in plan.lamps))
    _floor_lengths(ax, plan, at, x0 + clear + 16)
    _wall(ax, plan, at, half)
    _scale_bar(ax, 2, 6, per_m, scale)
    return scale


def floor_half(plan: Plan) -> float:
    """Half the width of floor that is drawn, m."""
    return max(max(abs(lamp.x) for lamp in plan.lamps) + 0.5, plan.turning_radius + 0.3)


def draw_side(ax: Any, plan: Plan) -> int:
    """The room from the side, the cameras of all rings on the left, backdrop on the right; returns the scale."""
    width, height = size_of(ax)
    far = max(ring.distance for ring in plan.rings)
    held = [*(lamp.height for lamp in plan.lamps), *(ring.height for ring in plan.rings)]
    top = max(plan.stand + plan.pose_height, *held) + 0.2
    unit = millimetre(ax)
    scale = scale_for(far + plan.backdrop_gap, top, width - _LENS_WORDS - 4, height - 24, unit)
    per_m = 1000 * unit / scale

    def at(x: float, y: float) -> tuple[float, float]:
        return _LENS_WORDS + (x + far - plan.distance) * per_m, 22 + y * per_m

    wall = plan.distance + plan.backdrop_gap
    _side_cone(ax, plan, at, wall, top)
    (left, ground), (right, _) = at(plan.distance - far, 0), at(wall, 0)
    ax.plot([left - 20, right], [ground, ground], color=INK, lw=1)
    ax.plot(*zip(at(wall, 0), at(wall, min(top, plan.backdrop_size[1])), strict=True), color=INK, lw=2.4)
    _figure(ax, plan, at, per_m)
    for ring in plan.rings:
        _ring_camera(ax, plan, ring, at)
    _lens_heights(ax, plan, at)
    _length(ax, at(0, 0), at(plan.distance, 0), f"{plan.distance:.1f} m", shift=-9)
    _length(ax, at(plan.distance, 0), at(wall, 0), f"{plan.backdrop_gap:.1f} m", shift=-9)
    return scale


def draw_enlargement(ax: Any, plan: Plan) -> None:
    """How much larger a near part comes out, against distance, with this plan and the room's end marked.

    ``ax`` are ordinary axes (not bare). The curves are ``D / (D - z)`` and ``(D + z) / (D - z)`` less one.
    """
    z = plan.reach
    end = max(_PLOT[1], plan.distance * 1.15)
    d = np.linspace(max(_PLOT[0], z + 0.05), end, 400)
    ax.set_xlim(_PLOT[0], end)
    ax.set_ylim(0, 100)
    ax.plot(d, [100 * (near_over_far(x, z) - 1) for x in d], color=INK, lw=1.4, label="than a part as far behind")
    ax.plot(d, [100 * (enlargement(x, z) - 1) for x in d], color=INK, lw=1.4, ls=(0, (4, 2)), label="than the middle")
    if plan.farthest is not None and plan.farthest < end:
        ax.axvspan(max(plan.farthest, _PLOT[0]), end, facecolor=PALE, edgecolor=FAIR, lw=0.6, label="beyond your room")
    if plan.distance >= _PLOT[0]:
        ax.axvline(plan.distance, color=ACCENT, lw=1.2)
        ax.annotate(f"this plan, {plan.distance:.1f} m", (plan.distance, 100), xytext=(0, 4),
                    textcoords="offset points", fontsize="medium", ha="center", va="bottom", annotation_clip=False)
    ax.legend(loc="upper right", frameon=True, framealpha=1, edgecolor="none", facecolor=PAPER, borderpad=0.2,
              labelspacing=0.2, handlelength=2.2, borderaxespad=0.1, fontsize="medium")
    ax.tick_params(labelsize="medium")
    ax.set_xlabel("camera to turning axis, m", labelpad=1)
    ax.set_ylabel("larger by, %", labelpad=1)
    ax.set_yticks([0, 50, 100])
    step = next(s for s in (1, 2, 5, 10, 20, 50) if end / s <= 10.5)
    ax.set_xticks(np.arange(step, end + 0.01, step))


# --------------------------------------------------------------------------------------------------------- pieces

def _floor_cone(ax: Any, plan: Plan, at: Any, half: float) -> None:
    """What the picture takes in, seen from above, cut off at the backdrop and the drawing's sides."""
    back = -plan.backdrop_gap
    spread = plan.frame[0] / 2 / plan.distance * (plan.distance - back)
    seen = shapely.Polygon([(0, plan.distance), (-spread, back), (spread, back)])
    shown = seen.intersection(shapely.box(-half, back, half, plan.distance))
    _cone(ax, *(at(x, y) for x, y in shapely.get_coordinates(shown)))


def _side_cone(ax: Any, plan: Plan, at: Any, wall: float, top: float) -> None:
    """What the picture takes in, seen from the side, cut off at floor, backdrop and the drawing's top."""
    rise = plan.frame[1] / 2 / plan.distance
    h = plan.camera_height
    seen = shapely.Polygon([(0, h), (wall, h + rise * wall), (wall, h - rise * wall)])
    shown = seen.intersection(shapely.box(0, 0, wall, top))
    _cone(ax, *(at(x, y) for x, y in shapely.get_coordinates(shown)))


def _ring_camera(ax: Any, plan: Plan, ring: PlanRing, at: Any) -> None:
    """A ring's camera on its stand, tilted, and where it looks: to the turning axis."""
    x = plan.distance - ring.distance
    lens = at(x, ring.height)
    aimed = ring.height + ring.distance * math.tan(math.radians(ring.tilt))
    ax.plot(*zip(lens, at(plan.distance, aimed), strict=True), color=SOFT, lw=0.6, ls=(0, (5, 3)))
    ax.plot(*zip(at(x, 0), lens, strict=True), color=INK, lw=1)
    _camera(ax, *lens, up=False, tilt=ring.tilt)


def _lens_heights(ax: Any, plan: Plan, at: Any) -> None:
    """The height of each lens beside its camera, one over the other where they stand close."""
    lowest = 0.0
    for ring in plan.rings:
        x, y = at(plan.distance - max(one.distance for one in plan.rings), ring.height)
        lowest = max(y, lowest + _WORDS_APART)
        ax.text(x - 17, lowest, f"{ring.height:.2f} m", fontsize="medium", ha="right", va="center")


def _cone(ax: Any, *corners: tuple[float, float]) -> None:
    """What the picture takes in; corners in any order."""
    hull = shapely.get_coordinates(shapely.MultiPoint(corners).convex_hull)
    ax.fill(hull[:, 0], hull[:, 1], facecolor=PALE, edgecolor=FAIR, lw=0.6)


def _backdrop_line(ax: Any, plan: Plan, at: Any, half: float) -> None:
    wide = min(plan.backdrop_size[0] / 2, half)
    (x0, y), (x1, _) = at(-wide, -plan.backdrop_gap), at(wide, -plan.backdrop_gap)
    ax.plot([x0, x1], [y, y], color=INK, lw=3, solid_capstyle="butt")
    label = f"backdrop, {plan.backdrop_size[0]:.1f} m wide" if plan.backdrop_size[0] < 20 else "backdrop"
    ax.text((x0 + x1) / 2, y + 4, label, fontsize="medium", ha="center", va="bottom")


def _turning_circle(ax: Any, plan: Plan, at: Any) -> None:
    """The floor that the pose sweeps, with a tick a stop; the long one is the first, facing the camera."""
    r = plan.turning_radius
    degrees = np.arange(plan.stops) * plan.step
    for i, angle in enumerate(np.radians(degrees)):
        inner = r * (0.72 if i == 0 else 0.88)
        a, b = at(inner * math.sin(angle), inner * math.cos(angle)), at(r * math.sin(angle), r * math.cos(angle))
        ax.plot([a[0], b[0]], [a[1], b[1]], color=INK, lw=1.6 if i == 0 else 0.7)
    ring = np.linspace(0, 2 * math.pi, 181)
    ax.plot(*at(r * np.sin(ring), r * np.cos(ring)), color=INK, lw=0.7)
    h = plan.model_height
    if plan.pose == "lying":
        body = affinity.scale(LineString([(-0.38 * h, 0), (0.3 * h, 0)]).buffer(0.11 * h), 1, 0.9).union(
            Point(0.43 * h, 0).buffer(0.065 * h))
    else:
        body = affinity.scale(Point(0, 0).buffer(0.13 * h), 1, 0.5).union(Point(0, 0.02 * h).buffer(0.06 * h))
    around = shapely.get_coordinates(body)
    ax.fill(*at(around[:, 0], around[:, 1]), facecolor=INK, lw=0)


def _lamp(ax: Any, lamp: Lamp, at: Any, *, outward: bool) -> None:
    """Key: a filled disc; fill: an open one; the arrow is the light. Words go under it, or outward if it is close."""
    x, y = at(lamp.x, lamp.y)
    aim = at(lamp.x * 0.45, lamp.y * 0.45)
    ax.annotate("", aim, (x, y), arrowprops={"arrowstyle": "-|>", "lw": 0.8, "color": SOFT, "shrinkA": 6})
    ax.plot([x], [y], "o", ms=9, mfc=INK if lamp.name == "key" else PAPER, mec=INK, mew=1.2)
    words = f"{lamp.name}\n{lamp.height:.1f} m high"
    if lamp.name == "fill":
        words += f"\nkey to fill {1 / lamp.share:g}:1"
    if outward:
        side = -1 if lamp.x < 0 else 1
        ax.text(x + 8 * side, y, words, fontsize="medium", ha="right" if side < 0 else "left", va="center",
                linespacing=1.1, bbox=_ON_PAPER)
    else:
        ax.text(x, y - 8, words, fontsize="medium", ha="center", va="top", linespacing=1.1)


def _camera(ax: Any, x: float, y: float, *, up: bool, tilt: float = 0.0) -> None:
    """A box with its lens toward the figure; (x, y) is the lens, ``tilt`` degrees upward in the side view."""
    box = np.array([(-6, -13), (6, -13), (6, -4), (2.5, -4), (2.5, 0), (-2.5, 0), (-2.5, -4), (-6, -4)], float)
    if not up:
        a = math.radians(tilt)
        box = box[:, ::-1] @ np.array([(math.cos(a), math.sin(a)), (-math.sin(a), math.cos(a))])
    ax.fill(box[:, 0] + x, box[:, 1] + y, facecolor=INK, lw=0)


def _floor_lengths(ax: Any, plan: Plan, at: Any, x: float) -> None:
    """The two distances along the line of sight, set off to ``x`` (points) at picture right."""
    camera, axis, wall = (at(0, y)[1] for y in (plan.distance, 0, -plan.backdrop_gap))
    middle = at(0, 0)[0]
    for inner, y in ((middle + 10, camera), (at(plan.turning_radius, 0)[0] + 4, axis)):
        ax.plot([inner, x], [y, y], color=FAIR, lw=0.5)
    _length(ax, (x, camera), (x, axis), f"{plan.distance:.1f} m", shift=0)
    _length(ax, (x, axis), (x, wall), f"{plan.backdrop_gap:.1f} m", shift=0)
    ax.text(middle - 10, camera - 8, "camera", fontsize="medium", ha="right", va="center", bbox=_ON_PAPER)


def _wall(ax: Any, plan: Plan, at: Any, half: float) -> None:
    """The wall behind the camera, or how far off it is."""
    if plan.room is None:
        return
    left = plan.room - plan.backdrop_gap - plan.distance
    (x0, _), (x1, _) = at(-half, 0), at(half, 0)
    y = at(0, plan.distance + BEHIND)[1]
    if 0 <= left <= BEHIND:
        wall = at(0, plan.distance + left)[1]
        ax.plot([x0, x1], [wall, wall], color=INK, lw=1)
        ax.text(x1, wall - 3, "wall", fontsize="medium", ha="right", va="top")
    elif left > BEHIND:
        ax.text((x0 + x1) / 2, min(y, at(0, plan.distance)[1] - 18), f"wall {left:.1f} m behind the camera",
                fontsize="medium", ha="center", va="top")


def _length(ax: Any, a: tuple[float, float], b: tuple[float, float], words: str, shift: float) -> None:
    """A dimension line between two points, ``shift`` points below them, its words on paper in its middle."""
    (x0, y0), (x1, y1) = (a[0], a[1] + shift), (b[0], b[1] + shift)
    arrow = {"arrowstyle": "<->", "lw": 0.7, "color": INK, "shrinkA": 0, "shrinkB": 0}
    ax.annotate("", (x1, y1), (x0, y0), arrowprops=arrow)
    ax.text((x0 + x1) / 2, (y0 + y1) / 2, words, fontsize="medium", ha="center", va="center",
            bbox=_ON_PAPER)


def _scale_bar(ax: Any, x: float, y: float, per_m: float, scale: int) -> None:
    ax.plot([x, x + per_m], [y, y], color=INK, lw=1.6, solid_capstyle="butt")
    for end in (x, x + per_m):
        ax.plot([end, end], [y - 3, y + 3], color=INK, lw=0.8)
    ax.text(x + per_m + 4, y, f"1 m  (1:{scale})   long tick: first stop", fontsize="medium", va="center")


def _figure(ax: Any, plan: Plan, at: Any, per_m: float) -> None:
    """A stand-in for the model, to scale, turned as in the plan's pose."""
    if plan.stand > 0:
        (x0, y0), (x1, y1) = at(plan.distance - 0.5, 0), at(plan.distance + 0.5, plan.stand)
        ax.fill([x0, x1, x1, x0], [y0, y0, y1, y1], facecolor=PAPER, edgecolor=INK, lw=0.8)
    shape = stand_in(plan.pose)
    left, top, right, foot = shape.bounds
    shift = -(left + right) / 2 if plan.pose == "lying" else 0.0
    unit = affinity.affine_transform(shape, [1 / (foot - top), 0, 0, 1 / (foot - top), shift / (foot - top),
                                             1 - foot / (foot - top)])
    x, ground = at(plan.distance, plan.stand)
    add_paths(ax, [outline_path(unit, plan.pose_height * per_m, x, ground)], facecolor=INK, linewidth=0)


_Limb = tuple[list[tuple[float, float]], float]
_UPRIGHT: list[_Limb] = [
    ([(0, 0.80), (0, 0.53)], 0.085), ([(0, 0.88), (0, 0.80)], 0.04),
    ([(-0.05, 0.53), (-0.05, 0.05)], 0.045), ([(0.05, 0.53), (0.06, 0.05)], 0.045),
]
_LIMBS: dict[str, list[_Limb]] = {
    "standing": [*_UPRIGHT, ([(-0.11, 0.79), (-0.15, 0.42)], 0.028), ([(0.11, 0.79), (0.15, 0.42)], 0.028)],
    "arms raised": [*_UPRIGHT, ([(-0.11, 0.80), (-0.13, 1.23)], 0.028), ([(0.11, 0.80), (0.13, 1.23)], 0.028)],
    "seated": [
        ([(0, 0.55), (0, 0.30)], 0.085), ([(0, 0.69), (0, 0.55)], 0.035), ([(0, 0.27), (-0.24, 0.27)], 0.055),
        ([(-0.24, 0.27), (-0.24, 0.03)], 0.042), ([(-0.24, 0.02), (-0.30, 0.02)], 0.02),
        ([(-0.02, 0.54), (-0.08, 0.38), (-0.2, 0.34)], 0.028),
    ],
    "lying": [
        ([(-0.10, 0.13), (0.20, 0.13)], 0.085), ([(-0.26, 0.16), (-0.10, 0.14)], 0.035),
        ([(0.20, 0.11), (0.64, 0.05)], 0.05), ([(-0.06, 0.17), (0.22, 0.2)], 0.028),
    ],
}
_HEAD = {"standing": (0.0, 0.935), "arms raised": (0.0, 0.935), "seated": (0.0, 0.69), "lying": (-0.26, 0.16)}


def stand_in(pose: str) -> Polygon | MultiPolygon:
    """A plain figure in the given pose, in statures, y downwards, for showing sizes only.

    Rounded limbs between the joint heights of Drillis & Contini 1966 (hip 0.530, shoulder 0.818, knee 0.285).
    """
    limbs = [LineString(line).buffer(radius) for line, radius in _LIMBS[pose]]
    head = affinity.scale(Point(_HEAD[pose]).buffer(0.05), 1, 1.3)
    joined = affinity.scale(shapely.union_all([*limbs, head]), 1, -1, origin=(0, 0))
    assert isinstance(joined, Polygon | MultiPolygon)
    return joined
