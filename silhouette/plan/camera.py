"""Plan a shoot in an empty room: where the camera and the lamps stand, and what the picture will then show.

Distance alone makes perspective, so it is decided first; the lens only decides how much of the frame is left over. All
lengths are metres; a plan position counts from the turning axis, x to picture right, y toward the camera.
"""

from __future__ import annotations

import math
from dataclasses import dataclass, replace
from typing import Literal, get_args

from silhouette.errors import SettingsError
from silhouette.geometry.perspective import FRAME_MM, GOOD, HAND_M, band, enlargement, frame_length, near_over_far
from silhouette.plan.rings import NEAR_PART, rings_for, rings_of
from silhouette.plan.timetable import CLOSE_UPS_MIN, timetable_for, turn_seconds
from silhouette.plan.warnings import EASY_GAP, warnings_for
from silhouette.records_shoot import DistanceRow, Lamp, Plan

PoseKind = Literal["standing", "arms raised", "seated", "lying"]
Orientation = Literal["upright", "wide"]

PHONE_MM = 26.0
"""A phone's main lens, 35 mm equivalent (24 to 28 in use)."""
LYING_DISTANCE = 4.6
"""A lying figure turned end-on is deep, so it wants all the distance of common practice."""
LEAST_GAP = 1.0
"""Axis to backdrop (m) in a short room; at ease it is ``warnings.EASY_GAP``."""
BEHIND_CAMERA = 0.5
"""Room (m) for the person at the camera."""
NEAREST_CAMERA = 0.5
"""Distance (m) that is drawn where a room leaves none."""
TABLE_DISTANCES = (2.0, 3.0, 4.0, 6.0, 10.0)
TABLE_LENSES = (26.0, 35.0, 50.0, 70.0, 85.0)
MOST_OBLONG = 4
"""Long side over short side of a picture; a phone's is 16:9 at most, a panorama no way to shoot a figure."""
RATIO = 4.0
"""Key to fill: 2 is gentle, 4 shows form, past 8 the shadows swallow edges."""


@dataclass(frozen=True)
class _Shape:
    """What a kind of pose takes up, in shares of stature."""

    height: float
    width: float
    lens: float
    """Lens over the stand."""
    depth: float | None = None
    """Reach before the axis, where it is the body itself rather than a hand (:data:`HAND_M`)."""


# Segment lengths over stature after Drillis & Contini 1966: fingertip 0.377 and shoulder 0.818 make an arm of 0.441, so
# hands overhead reach 1.259; from hip 0.530 to crown 0.470 on a knee-high (0.285) seat makes 0.755; the shoulders are
# 0.259 wide, which is how high a figure on its side lies. Waist 0.62: between 0.627 (men) and 0.609 (women), after
# Huston 2009. Widths leave room for elbows out or one arm out; both arms spread span about one stature (warnings.py).
_SHAPES: dict[str, _Shape] = {
    "standing": _Shape(height=1.0, width=0.75, lens=0.62),
    "arms raised": _Shape(height=1.259, width=0.75, lens=0.62),
    "seated": _Shape(height=0.755, width=0.75, lens=0.755 / 2),
    "lying": _Shape(height=0.259, width=1.0, lens=0.259 / 2, depth=0.5),
}

_RANGES: dict[str, tuple[float, float, str]] = {
    "height": (0.5, 2.5, "m"), "room": (2, 100, "m"), "lens": (10, 600, "mm"), "distance": (NEAREST_CAMERA, 100, "m"),
    "stops": (3, 360, ""), "stand": (0, 2, "m"), "ratio": (1, 16, ""), "hold": (0.5, 600, "s"),
    "pose_min": (1, 120, "minutes"), "break_min": (0, 120, "minutes"),
    "close_ups_min": (0, 120, "minutes"), "poses": (1, 50, ""),
    "short": (64, 100_000, "pixels"), "long": (64, 100_000, "pixels"),
}
_NAMES = {
    "short": "short side of the pictures", "long": "long side of the pictures", "pose_min": "stretch of posing",
    "break_min": "break", "close_ups_min": "time for close-ups", "stops": "number of stops", "poses": "number of poses",
    "ratio": "key to fill",
}


def make_plan(
    *,
    height_m: float = 1.70,
    room_m: float | None = None,
    lens_mm: float | Literal["phone"] | None = None,
    pose: str = "standing",
    stops: int = 24,
    distance_m: float | None = None,
    orientation: Orientation | None = None,
    pixels: tuple[int, int] = (3024, 4032),
    stand_m: float = 0.0,
    ratio: float = RATIO,
    hold_s: float = 7.0,
    pose_min: float = 22.0,
    break_min: float = 7.0,
    poses: int = 1,
    close_ups_min: float = CLOSE_UPS_MIN,
) -> Plan:
    """Decide where everything goes and how long it takes.

    Parameters
    ----------
    height_m : float
        The model's stature, m, 0.5 to 2.5.
    room_m : float, optional
        Clear length of the room along the camera's line of sight, m, 2 to 100; None: as much as is wanted.
    lens_mm : float or "phone", optional
        35 mm equivalent focal length, mm, 10 to 600; None or "phone" takes a phone's main lens (26 mm).
    pose : {"standing", "arms raised", "seated", "lying"}
    stops : int
        Held positions of a turn, 3 to 360.
    distance_m : float, optional
        Lens to turning axis, m, if the person has chosen it; None lets the plan choose.
    orientation : {"upright", "wide"}, optional
        How the camera is held; None takes the way that lets the figure come out larger.
    pixels : (int, int)
        Sides of a still, in either order.
    stand_m : float
        Height of what the model stands, sits or lies on, m.
    ratio : float
        Light of the key over light of the fill, 1 to 16.
    hold_s : float
        Seconds a stop takes, the step to the next one included.
    pose_min, break_min : float
        Longest stretch of posing and the break after it, minutes. A setting: there is no agreed rule.
    poses : int
        Poses to shoot in the session.
    close_ups_min : float
        Minutes for the close-ups of a pose, 0 to 120; 0 plans none.

    Raises
    ------
    SettingsError
        For a value that makes no sense.
    """
    focal = None if lens_mm is None or lens_mm == "phone" else float(lens_mm)
    asked = _Asked(
        height=height_m, room=room_m, lens=PHONE_MM if focal is None else focal, phone=focal is None, pose=pose,
        stops=stops, distance=distance_m, orientation=orientation, short=min(pixels), long=max(pixels), stand=stand_m,
        ratio=ratio, hold=hold_s, pose_min=pose_min, break_min=break_min, poses=poses,
        close_ups_min=close_ups_min,
    )
    _refuse_nonsense(asked)
    plan = _plan(asked, _set_up(asked))
    plan = replace(plan, rings=rings_for(plan))
    return replace(plan, warnings=warnings_for(plan))


@dataclass(frozen=True)
class _Asked:
    """What the person gave, the lens settled; lengths in metres, pixels as short and long side."""

    height: float
    room: float | None
    lens: float
    phone: bool
    pose: str
    stops: int
    distance: float | None
    orientation: str | None
    short: int
    long: int
    stand: float
    ratio: float
    hold: float
    pose_min: float
    break_min: float
    poses: int
    close_ups_min: float


@dataclass(frozen=True)
class _SetUp:
    """Where camera and backdrop stand and how the camera is held."""

    figure: tuple[float, float]
    """(width, height) that the pose takes up, m."""
    lens_over_stand: float
    sides: tuple[float, float]
    """(width, height) of the frame on the 36 mm scale."""
    still: tuple[int, int]
    per_mm: float
    """Metres of distance beyond :data:`NEAR_PART` that hold the figure, per mm of focal length."""
    wish: float
    distance: float
    gap: float
    farthest: float | None


def _set_up(asked: _Asked) -> _SetUp:
    shape = _SHAPES[asked.pose]
    figure = (shape.width * asked.height, shape.height * asked.height)
    over = shape.lens * asked.height
    # A level lens above or below the figure's middle needs twice the longer of the two stretches.
    need = (figure[0], 2 * max(over, figure[1] - over))
    sides = _sides(asked, need)
    per_mm = _needed(need, sides)
    at_ease = max(LYING_DISTANCE if asked.pose == "lying" else GOOD, _up_to_10_cm(NEAR_PART + per_mm * asked.lens))
    wish = at_ease if asked.distance is None else asked.distance
    distance, gap, farthest = _fit_room(wish, asked.room, given=asked.distance is not None)
    still = (asked.short, asked.long) if sides[1] >= sides[0] else (asked.long, asked.short)
    return _SetUp(figure, over, sides, still, per_mm, wish, distance, gap, farthest)


def _plan(asked: _Asked, at: _SetUp) -> Plan:
    """Everything that follows from where the camera stands."""
    d, lens, along = at.distance, asked.lens, 0 if asked.pose == "lying" else 1
    depth = _SHAPES[asked.pose].depth
    reach = depth * asked.height if depth else HAND_M
    px_per_m = asked.long / frame_length(d, lens)
    radius, middle, top = max(0.5 * asked.height, HAND_M), asked.stand + at.lens_over_stand, asked.stand + at.figure[1]
    lamps = _lamps(d, lens, at.sides[0], asked.stand, at.figure[1], asked.ratio)
    slow = asked.pose == "arms raised"
    turn_s = turn_seconds(asked.stops, asked.hold, slow)
    holds_at = NEAR_PART + at.per_mm * lens
    return Plan(
        pose=asked.pose, model_height=asked.height, pose_height=at.figure[1], pose_width=at.figure[0],
        stand=asked.stand, room=asked.room, lens=lens, phone=asked.phone,
        orientation="upright" if at.sides[1] >= at.sides[0] else "wide", pixels=at.still,
        distance=d, farthest=at.farthest, verdict=band(d),
        fits=d >= holds_at - 1e-9 and _room_holds(d, asked.room),
        room_needed=at.wish + EASY_GAP + BEHIND_CAMERA, backdrop_gap=at.gap,
        backdrop_size=_backdrop(at, lens, radius, middle, top),
        width_needed=max(lamp.x for lamp in lamps) - min(lamp.x for lamp in lamps) + 0.6,
        camera_height=middle, frame=(at.sides[0] * d / lens, at.sides[1] * d / lens), px_per_m=px_per_m,
        figure_px=at.figure[along] * px_per_m, frame_share=at.figure[along] * px_per_m / at.still[along],
        lens_to_fill=max(d - NEAR_PART, 0.0) / at.per_mm, reach=reach,
        forward=enlargement(d, reach), near_far=near_over_far(d, reach),
        distances=_distance_table(d, at.farthest, at.figure[along], asked.long, at.still[along], lens, reach),
        lenses=tuple((f, NEAR_PART + at.per_mm * f) for f in sorted({*TABLE_LENSES, lens})),
        lamps=lamps, ratio=asked.ratio, turning_radius=radius,
        stops=asked.stops, step=360 / asked.stops, slow_turn=slow, turn_s=turn_s,
        pose_min=asked.pose_min, break_min=asked.break_min,
        timetable=timetable_for(turn_s, slow, asked.pose_min, asked.break_min, asked.poses,
                                rings=rings_of(asked.pose), close_ups=asked.close_ups_min),
        close_ups_min=asked.close_ups_min,
    )


def _refuse_nonsense(asked: _Asked) -> None:
    if asked.pose not in get_args(PoseKind):
        raise SettingsError(f"pose can be {', '.join(get_args(PoseKind))}, not {asked.pose!r}.")
    if asked.orientation not in (None, *get_args(Orientation)):
        raise SettingsError(f"orientation can be {', '.join(get_args(Orientation))}, not {asked.orientation!r}.")
    for name, (low, high, unit) in _RANGES.items():
        value = getattr(asked, name)
        if value is not None and not low <= value <= high:  # a nan fails this too
            value = max(min(value, 1e300), -1e300) if value == value else value  # a whole number may be beyond a float
            hint = f" It is in metres: did you mean {value / 100:.2f}?" if unit == "m" and 50 <= value <= 1000 else ""
            what = f"{_NAMES.get(name, name)} is {low:g} to {high:g} {unit}".rstrip()
            raise SettingsError(f"{what}, not {value:g}.{hint}")
    if asked.long > MOST_OBLONG * asked.short:
        raise SettingsError(f"pictures of {asked.short} x {asked.long} pixels are too narrow to plan for.",
                            do=f"The long side may be {MOST_OBLONG} times the short one.")


def _sides(asked: _Asked, need: tuple[float, float]) -> tuple[float, float]:
    """Width and height of the frame on the 36 mm scale, held as given or so that the figure comes out larger."""
    short = FRAME_MM * asked.short / asked.long
    ways = {"upright": (short, FRAME_MM), "wide": (FRAME_MM, short)}
    if asked.orientation is not None:
        return ways[asked.orientation]
    return min(ways.values(), key=lambda sides: _needed(need, sides))


def _needed(need: tuple[float, float], sides: tuple[float, float]) -> float:
    """Metres of distance per mm of focal length that hold ``need`` (width, height) within the frame's ``sides``."""
    return max(need[0] / sides[0], need[1] / sides[1])


def _up_to_10_cm(distance: float) -> float:
    return math.ceil(distance * 10 - 1e-6) / 10


def _fit_room(wish: float, room: float | None, *, given: bool) -> tuple[float, float, float | None]:
    """Distance, backdrop gap and the most distance the room allows. The gap gives way before the distance does."""
    if room is None:
        return wish, EASY_GAP, None
    farthest = max(room - LEAST_GAP - BEHIND_CAMERA, NEAREST_CAMERA)
    distance = wish if given else min(wish, farthest)
    gap = min(max(room - distance - BEHIND_CAMERA, LEAST_GAP), EASY_GAP)
    return distance, gap, farthest


def _room_holds(distance: float, room: float | None) -> bool:
    return room is None or distance + LEAST_GAP + BEHIND_CAMERA <= room + 1e-9


def _distance_table(
    stands: float, farthest: float | None, length: float, long_px: int, side_px: int, lens: float, reach: float
) -> tuple[DistanceRow, ...]:
    """Rows for the usual distances, this one, and the most that the room allows."""
    marks: dict[float, list[Literal["this plan", "most in room"]]] = {d: [] for d in TABLE_DISTANCES}
    marks.setdefault(round(stands, 2), []).append("this plan")
    if farthest is not None:
        marks.setdefault(round(farthest, 2), []).append("most in room")
    rows: list[DistanceRow] = []
    for d in sorted(marks):
        px = length * long_px / frame_length(d, lens)
        rows.append(DistanceRow(d, enlargement(d, reach), near_over_far(d, reach), px, px / side_px, tuple(marks[d])))
    return tuple(rows)


def _lamps(
    distance: float, lens: float, side: float, stand: float, pose_height: float, ratio: float
) -> tuple[Lamp, ...]:
    """A key at three-quarters on picture left and a softer fill opposite, both just outside the picture.

    A lamp at angle a from the line of sight and r from the axis is seen by the lens at
    ``tan(v) = r sin(a) / (D - r cos(a))``; setting v to the picture's half angle and a little gives the least r.
    """
    half = math.atan(side / 2 / lens) + math.radians(4)
    middle = stand + pose_height / 2

    def place(name: Literal["key", "fill"], degrees: float, least: float, share: float) -> Lamp:
        a = math.radians(degrees)
        r = max(distance * math.tan(half) / (math.sin(abs(a)) + math.tan(half) * math.cos(a)), min(least, distance))
        high = min(2.4, middle + 0.7 * r) if name == "key" else min(2.2, middle + 0.2 * r)
        return Lamp(name=name, x=r * math.sin(a), y=r * math.cos(a), height=high, share=share)

    return place("key", -45.0, 2.0, 1.0), place("fill", 50.0, 2.4, 1 / ratio)


def _backdrop(at: _SetUp, lens: float, radius: float, lens_height: float, top: float) -> tuple[float, float]:
    """Width and height of backdrop that lies behind the figure all round, seen from the lens.

    Half the width is where the sight line that touches the turning circle (radius R) meets the backdrop, g behind the
    axis: ``R (D + g) / sqrt(D^2 - R^2)``; the height is where the sight line over a near high part meets it. More than
    the picture shows there, ``side (D + g) / f``, is never needed: a near camera cuts the figure off first.
    """
    distance, behind = at.distance, at.distance + at.gap
    shown = at.sides[0] * behind / lens, lens_height + at.sides[1] * behind / lens / 2
    if distance <= radius:
        return shown
    width = 2 * radius * behind / math.sqrt(distance**2 - radius**2)
    near = distance - min(NEAR_PART, distance / 2)
    high = max(top, lens_height + (top - lens_height) * behind / near)
    return min(width, shown[0]), min(high, shown[1])
