"""The figure with the wire in it, seen level or from above: what the armature's sheets show small and in true size."""

from __future__ import annotations

from collections.abc import Sequence
from typing import Any

import numpy as np
import shapely
from numpy.typing import NDArray
from shapely import affinity
from shapely.geometry import LineString, MultiPolygon, Point
from shapely.geometry.base import BaseGeometry

from silhouette.geometry.angles import apart
from silhouette.records_space import Armature, Profile, SpaceJoint, Wire
from silhouette.show import words_space
from silhouette.show.ink import ACCENT, FAIR, INK, PALE, PAPER, SMALLEST, SOFT, text_width
from silhouette.show.paper import MM
from silhouette.show.true_size import Canvas, Piece, boxed, sheets_of

LABEL_MM = 3.4
"""From one label to the next, mm."""
GAP_MM = 5.0
"""Between the figure and the column of labels beside it, mm."""
ASIDE = 75.0
"""Degrees from a side view within which the figure's two sides lie over each other."""
WIRE_TONE = 0.30
"""How strongly the wire's own thickness is laid over the outline."""
AIR_MM = 2.0
"""Paper round a drawing, mm."""
FRONT_MM = 5.0
"""Strip below the plan for the mark of the front, mm."""
WAY_MM = 4.0
"""Strip below an elevation for what lies at either side, mm."""
TAIL_MM = 12.0
"""How much of the wire below the base is drawn, mm."""
BROKEN: Any = (0, (2.2, 1.4))
PLUMB: Any = (0, (7, 2.5, 1, 2.5))


Row = tuple[str, float, float, float]
"""Words, then where the joint lies (x, y) and how far its circle reaches, mm as built."""


def flat(places: Any, angle: float | None) -> NDArray[np.float64]:
    """(n, 2) of (n, 3): a level view from ``angle``, or (None) from above, the back up; the unit of the places."""
    xyz = np.atleast_2d(np.asarray(places, np.float64))
    if angle is None:
        return xyz[:, :2]
    a = np.radians(angle)
    return np.column_stack([xyz[:, 0] * np.cos(a) - xyz[:, 1] * np.sin(a), xyz[:, 2]])


def elevation(made: Armature, profile: Profile, paper: str) -> Piece:
    """An elevation or the plan as a drawing in true size, as built.

    Heights stand in columns beside the figure where all of that fits on one sheet, else at the joints.
    """
    if profile.angle is None:
        return _plan(made, profile)
    beside, near = _with_columns(made, profile, profile.angle), _with_labels(made, profile, profile.angle, paper)
    return beside if sheets_of(beside, paper) == 1 else near


def _plan(made: Armature, profile: Profile) -> Piece:
    drawn = _whole(made, profile)
    left, low, right, top = boxed(drawn, air=AIR_MM)
    box = (left - 2, low - FRONT_MM, right + 2, top)

    def paint(canvas: Canvas) -> None:
        draw(canvas, made, profile)
        _plan_words(canvas, box)

    return Piece(words_space.profile_name(profile), box, paint, drawn)


def _level(made: Armature, profile: Profile, angle: float) -> tuple[BaseGeometry, tuple[float, float, float, float]]:
    """What must be on paper of an elevation, and the box round it; the base and the wire below it among it."""
    drawn = _whole(made, profile)
    left, low, right, top = boxed(drawn, air=AIR_MM)
    return drawn, (left, min(low, -max(made.base_mm, TAIL_MM)) - WAY_MM, right, top)


def _with_columns(made: Armature, profile: Profile, angle: float) -> Piece:
    columns = _columns(made, angle)
    drawn, (left, low, right, top) = _level(made, profile, angle)
    wide = [_column_width(rows) for _, rows in columns]
    top = max(top + LABEL_MM, low + LABEL_MM * (max(len(rows) for _, rows in columns) + 2))
    box = (left - GAP_MM - wide[0], low, right + GAP_MM + wide[1], top)

    def paint(canvas: Canvas) -> None:
        draw(canvas, made, profile)
        _ways(canvas, angle, (left, low, right, top))
        for i, (title, rows) in enumerate(columns):
            _labels(canvas, title, rows, (box[0] + wide[0], box[2] - wide[1])[i], (-1, 1)[i], (low, top))

    return Piece(words_space.profile_name(profile), box, paint, drawn)


def _with_labels(made: Armature, profile: Profile, angle: float, paper: str) -> Piece:
    """Heights at the joints: the figure's right at picture left of them, unless that would take more sheets."""
    drawn, tight = _level(made, profile, angle)
    both = bool(min(apart(angle, 90), apart(angle, 270)) < ASIDE)
    labels = [(row, float(y), way) for way, (_, rows) in zip((-1, 1), _columns(made, angle, both), strict=True)
              for row, y in zip(rows, spread_out([row[2] for row in rows], LABEL_MM), strict=True)]
    ends = [_label_end(row, way) for row, _, way in labels]
    roomy = (min([tight[0], *ends]), tight[1], max([tight[2], *ends]), tight[3])

    def piece(box: tuple[float, float, float, float]) -> Piece:
        def paint(canvas: Canvas) -> None:
            draw(canvas, made, profile)
            _ways(canvas, angle, box)
            for row, y, way in labels:
                _near_label(canvas, row, y, way if box[0] <= _label_end(row, way) <= box[2] else -way)

        return Piece(words_space.profile_name(profile), box, paint, drawn)

    return min((piece(roomy), piece(tight)), key=lambda one: sheets_of(one, paper))


def _label_end(row: Row, way: int) -> float:
    """How far the words beside a joint reach, mm."""
    return row[1] + way * (row[3] + 2 + text_width(row[0], SMALLEST) / MM)


def _ways(canvas: Canvas, angle: float, box: tuple[float, float, float, float]) -> None:
    """What lies at picture left and right of a square-on view."""
    ends = {0: ("figure's right", "figure's left"), 90: ("back", "front"), 180: ("figure's left", "figure's right"),
            270: ("front", "back")}.get(round(angle % 360))
    for x, words, align in zip((box[0] + 1, box[2] - 1), ends or (), ("left", "right"), strict=False):
        canvas.text((x, box[1] + 2), words, ha=align, color=SOFT)


def _near_label(canvas: Canvas, row: Row, y: float, way: int) -> None:
    """Words right beside a joint, at picture right of it (1) or left (-1)."""
    words, at_x, _, reach = row
    canvas.text((at_x + way * (reach + 1), y), words, ha="left" if way > 0 else "right", zorder=8,
                bbox={"facecolor": PAPER, "alpha": 0.75, "edgecolor": "none", "pad": 0.8})


def built(made: Armature, profile: Profile) -> MultiPolygon:
    """A profile in millimetres as built."""
    k = made.sizes.built
    grown = affinity.scale(profile.outline, k, k, origin=(0, 0))
    return grown if isinstance(grown, MultiPolygon) else MultiPolygon([grown])


def _whole(made: Armature, profile: Profile) -> BaseGeometry:
    """What must be on paper, mm as built: the outline, the axis, and every joint with its circle."""
    k = made.sizes.built
    circles = [Point(flat([j.at], profile.angle)[0] * k).buffer((j.within or 0.0) * k) for j in made.skeleton.joints
               if j.at is not None]
    return shapely.union_all([built(made, profile), LineString([(0, 0), (0, 1)]), *circles])


def reach(made: Armature, profile: Profile) -> tuple[float, float, float, float]:
    """Left, low, right, top of all of that, mm as built."""
    left, low, right, top = _whole(made, profile).bounds
    return float(left), float(low), float(right), float(top)


def draw(canvas: Canvas, made: Armature, profile: Profile) -> None:
    """Outline, base, wires, joints, plumb line and middle of the volume, without words."""
    canvas.area(built(made, profile), facecolor=PALE, zorder=1)
    if profile.angle is None:
        _footing(canvas, made)
    else:
        _base(canvas, made, profile)
    for wire in made.wires:
        _wire(canvas, made, wire, profile.angle)
    _plumb(canvas, made, profile.angle)
    for joint in made.skeleton.joints:
        _joint(canvas, made, joint, profile.angle)


def _base(canvas: Canvas, made: Armature, profile: Profile) -> None:
    """The top of the base, and its thickness as the massing model has it."""
    left, _, right, _ = built(made, profile).bounds
    left, right = left - 0.05 * (right - left), right + 0.05 * (right - left)
    canvas.line([(left, 0), (right, 0)], lw=0.9, zorder=2)
    if made.base_mm > 0:
        low = -made.base_mm
        canvas.line([(left, 0), (left, low), (right, low), (right, 0)], color=SOFT, lw=0.5, ls=BROKEN, zorder=2)


def _footing(canvas: Canvas, made: Armature) -> None:
    k = made.sizes.built
    if made.footing is not None:
        canvas.area(affinity.scale(made.footing, k, k, origin=(0, 0)), facecolor=FAIR, alpha=0.55, lw=0, zorder=2)
    if made.plumb is not None and made.plumb.ground is not None:
        canvas.line(shapely.get_coordinates(made.plumb.ground.exterior) * k, color=SOFT, lw=0.6, ls=BROKEN, zorder=2)


def _wire(canvas: Canvas, made: Armature, wire: Wire, angle: float | None) -> None:
    """The wire as thick as it is, its middle line, and below the base a broken tail."""
    points = flat(wire.points, angle) * made.sizes.built
    thick = (made.rules.gauge_mm if made.rules else 1.0) * canvas.unit
    edges = [0, *(i for jump in wire.jumps for i in (jump, jump + 1)), len(points) - 1]
    for first, last in zip(edges[::2], edges[1::2], strict=True):
        if last > first:
            known = points[first:last + 1]
            canvas.line(known, color=ACCENT, lw=max(thick, 1.2), alpha=WIRE_TONE, solid_capstyle="butt",
                        solid_joinstyle="round", zorder=3)
            canvas.line(known, color=ACCENT, lw=0.9, zorder=4)
    for jump in wire.jumps:
        canvas.line(points[jump:jump + 2], color=ACCENT, lw=0.9, ls=BROKEN, zorder=4)
    if "head loop" in wire.route and len(points) > 1:
        canvas.line(_loop(points[-2], points[-1]), color=ACCENT, lw=0.9, zorder=4)
    if angle is not None and words_space.anchored(wire):
        x, y = points[0]
        canvas.line([(x, y), (x, y - min(TAIL_MM, wire.start_mm))], color=ACCENT, lw=0.9, ls=BROKEN, zorder=4)


def _loop(neck: NDArray[np.float64], crown: NDArray[np.float64]) -> NDArray[np.float64]:
    """An egg from the crown down three quarters of the way to the neck, half as wide as that way is long."""
    way = crown - neck
    aside = np.array([-way[1], way[0]])
    turn = np.linspace(0, 2 * np.pi, 49)[:, None]
    return neck + 0.625 * way + 0.375 * np.cos(turn) * way + 0.25 * np.sin(turn) * aside


def _plumb(canvas: Canvas, made: Armature, angle: float | None) -> None:
    """The plumb line from the neck, and the middle of the volume."""
    k = made.sizes.built
    centre = flat([made.centre], angle)[0] * k
    arm = 2.2 * MM / canvas.unit if canvas.unit < MM else 2.2
    canvas.ring(centre, 1.5 * arm / 2.2, facecolor=PAPER, zorder=6)
    canvas.cross(centre, arm, lw=0.9, zorder=7)
    neck = made.skeleton.at("neck")
    if neck is None:
        return
    if angle is None:
        canvas.cross(neck[:2] * k, 0.7 * arm, color=SOFT, lw=0.8, zorder=6)
        return
    x, z = flat([neck], angle)[0] * k
    canvas.line([(x, z), (x, 0)], color=INK, lw=0.6, ls=PLUMB, zorder=3)


def _joint(canvas: Canvas, made: Armature, joint: SpaceJoint, angle: float | None) -> None:
    """The circle that holds it 9 times in 10: a dot in it where it is sure, broken and hollow where not."""
    if joint.at is None:
        return
    place = flat([joint.at], angle)[0] * made.sizes.built
    radius = (joint.within or 0.0) * made.sizes.built
    if joint.sure:
        canvas.ring(place, radius, least=1.6, zorder=5)
        canvas.ring(place, 0.0, least=1.1, facecolor=INK, lw=0, zorder=5)
    else:
        canvas.ring(place, radius, least=2.0, ls=BROKEN, zorder=5)


# ---------------------------------------------------------------------------------------------------------- labels


def _columns(made: Armature, angle: float, sides_said: bool = False) -> list[tuple[str, list[Row]]]:
    """Heights of the joints above the base: at picture left those of the figure's right, and of its middle; the others
    at picture right. Highest last. With ``sides_said`` each says its side, as where both sides lie over each other."""
    sides: dict[str, list[Row]] = {"right": [], "left": []}
    for joint in made.skeleton.joints:
        if joint.at is None:
            continue
        x, y = flat([joint.at], angle)[0] * made.sizes.built
        name = _own_name(joint) if sides_said else joint.joint
        said = f"{name} {words_space.whole(y)}{'' if joint.sure else ' ?'}"
        sides[joint.side or "right"].append((said, float(x), float(y), (joint.within or 0.0) * made.sizes.built))
    order = ("right", "left") if np.cos(np.radians(angle)) >= -1e-9 else ("left", "right")
    return [(f"figure's {side}", sorted(sides[side], key=lambda row: row[2])) for side in order]


def _own_name(joint: SpaceJoint) -> str:
    """``knee left``: the figure's own side."""
    return joint.joint if joint.side is None else f"{joint.joint} {joint.side}"


def _column_width(rows: Sequence[Row]) -> float:
    return max(text_width(words, SMALLEST) for words in ["figure's right", *(row[0] for row in rows)]) / MM + 1.0


def spread_out(wanted: Sequence[float], step: float) -> NDArray[np.float64]:
    """Places in the order of ``wanted`` (ascending), at least ``step`` apart, as near to them as can be."""
    from scipy.optimize import isotonic_regression

    grown = np.arange(len(wanted)) * step
    return np.asarray(isotonic_regression(np.asarray(wanted) - grown).x) + grown if len(wanted) else np.zeros(0)


def _labels(
    canvas: Canvas, title: str, rows: Sequence[Row], x: float, way: int, room: tuple[float, float]
) -> None:
    """A column of words beside the figure, each joined to its joint by a thin line."""
    low, top = room
    places = spread_out([row[2] for row in rows], LABEL_MM)
    if len(places):
        places = places + max(0.0, low + LABEL_MM / 2 - places[0])
        places = places - max(0.0, places[-1] + 1.5 * LABEL_MM - top)
    align = "right" if way < 0 else "left"
    for (words, at_x, at_y, reach), y in zip(rows, places, strict=True):
        start = at_x + way * max(reach, 0.8)
        canvas.line([(start, at_y), (x - way * (GAP_MM - 1), at_y), (x - way * 0.6, y)], color=SOFT, lw=0.3, zorder=2)
        canvas.text((x, y), words, ha=align)
    highest = places[-1] + LABEL_MM if len(places) else top - LABEL_MM
    canvas.text((x, min(max(highest, top - LABEL_MM), top - LABEL_MM / 2)), title, ha=align, color=SOFT)


def _plan_words(canvas: Canvas, box: tuple[float, float, float, float]) -> None:
    left, low, right, _ = box
    canvas.cross((0, 0), 3.0, color=SOFT, lw=0.4, zorder=2)
    canvas.line([(0, low + 7), (0, low + 3.6)], lw=0.8)
    canvas.line([(-1.2, low + 5.0), (0, low + 3.6), (1.2, low + 5.0)], lw=0.8)
    canvas.text((0, low + 1.7), "front", ha="center")
    canvas.text((left + 1, 0), "figure's right", rotation=90, ha="left", color=SOFT)
    canvas.text((right - 1, 0), "figure's left", rotation=270, ha="right", color=SOFT)
