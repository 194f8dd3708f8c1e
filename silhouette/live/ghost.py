"""Find the pose again: the outline of an earlier stop against the live one, and how far apart they are, part by part.

From the same standing camera the two are laid over each other as they are. From another day the earlier outline is set
to the live figure's height, its feet on the same ground line and plumb line. Then the live outline is slid, leaned and
scaled a little until it lies best: what that takes is said of the whole figure, what is left is said of its parts.

Pure, and quick: a few milliseconds beside the reading of the live outline, which whoever asks has already.
"""

from __future__ import annotations

import re
from collections.abc import Iterator, Sequence
from dataclasses import dataclass
from typing import NamedTuple

import cv2
import numpy as np
from numpy.typing import NDArray
from shapely import affinity
from shapely.geometry import Polygon, box

from silhouette.geometry import mirror
from silhouette.geometry.drawn import path_data, thinned
from silhouette.geometry.raster import rings_of
from silhouette.live.messages import GhostFit
from silhouette.reading.reader import UNLIKE, read_body
from silhouette.records import BodyReading, Mask, Outline
from silhouette.shape.outline import largest_polygon, outline_of
from silhouette.show import words_turn

Floats = NDArray[np.float64]

CELLS = 160
"""Cells to a figure height, of the field that says how far each place lies from an outline."""
ROOM = 0.3
"""How far that field goes on past the outlines' boxes, figure heights."""
SPACING = 0.01
"""Steps along an outline at which it is looked at, figure heights."""
ROUNDS, WIDE, NARROW = 12, 0.10, 0.02
"""Rounds of laying over, and how far off an edge may lie and still pull half as much in the first and in the last of
them, figure heights: first what is far counts too, at last a raised arm does not drag the figure along."""
PRIOR, PRIOR_WORTH = np.array([0.08, 0.08, 0.02, 0.02]), 0.02
"""How far a figure is expected to be slid across and down, leaned and scaled, and what that counts beside the edges."""
FARTHEST = 95.0
"""Percentile of the distances that is called the farthest: the few places beyond may be a strand of hair."""
MEAN_SITS, FAR_SITS = 0.006, 0.0175
"""Mean and farthest distance up to which a figure holds the earlier outline, figure heights. On 10 rendered turns of 24
stops all of 120 outlines that breathe, sway and lean by up to 1.5 % stay below; of the neighbours 15 degrees away 9 in
100 do, where the body shows nearly the same shape, and of those 30 degrees away none."""
WHOLE_SITS = np.array([0.025, 0.025, 0.03, 0.03])
"""The same of the whole figure: across, down, lean at the head, and scale."""
STEPS_OF_FIT = ((0.5, 1.0, 4.0), (100.0, 70.0, 0.0))
"""How far apart the two are, in what just sits, and the fit that is called for it."""
SAY, SAY_WHOLE = 0.025, 0.02
"""A part, and the whole figure, that is off by less is not spoken of, figure heights."""
SURE, SPREAD = 0.5, 0.08
"""A joint is spoken of where the reader is at least so sure of it, in both outlines, and its place no wider."""
BESIDE = 0.05
"""Hands or feet nearer to each other than this, across, have no sides; figure heights."""
STICKS_OUT = 0.012
"""An edge is spoken of where joints tell nothing and it lies so far off, figure heights."""
BANDS = ((0.08, "foot"), (0.33, "knee"), (0.5, "hip"), (0.66, "waist"), (0.84, "shoulder"), (9.0, "head"))
"""Heights over the ground up to which a place has its name, figure heights."""
MIRRORED, MIRRORED_MEAN = 0.6, 0.012
"""An outline is called mirrored where its mirror image lies on the earlier one, at a mean distance under this share of
its own and under this many figure heights."""
FEET = 0.06
"""The lowest share of a figure, whose middle stands on the plumb line."""
ONE_HEIGHT = 0.03
"""From another day, heads whose heights differ by more once the outlines are set to one height are tried at one height
themselves: an arm that is raised makes an outline higher."""
MOST_WORDS = 4
_NUMBERS = re.compile(r"-?\d*\.?\d+")


# ------------------------------------------------------------------------------------------- one outline on another


class Shift(NamedTuple):
    """What an outline has to do to lie on another, figure heights."""

    across: float
    down: float
    lean: float
    """How much farther to picture right at the top than at the ground."""
    larger: float
    """Natural log of its scale."""

    def on(self, points: Floats) -> Floats:
        """(n, 2) places so moved; leaned and scaled about the middle of the ground."""
        larger, up = np.exp(self.larger), 1 - points[:, 1]
        return np.column_stack([
            points[:, 0] * larger + self.lean * up + self.across, 1 - up * larger + self.down])

    def on_polygon(self, polygon: Polygon) -> Polygon:
        """A shape so moved."""
        larger = float(np.exp(self.larger))
        across, down = self.lean + self.across, 1 - larger + self.down
        return affinity.affine_transform(polygon, [larger, -self.lean, 0.0, larger, across, down])


@dataclass(frozen=True, eq=False)
class Field:
    """How far every place lies from the edge of an outline."""

    away: NDArray[np.float32]
    """(h, w) figure heights; negative inside."""
    box: tuple[float, float, float, float]
    """Left, top, right and bottom of what it was made for, figure heights."""
    points: Floats
    """(n, 2) places along the outline, figure heights."""

    @staticmethod
    def of(polygon: Polygon, over: tuple[float, float, float, float] | None = None) -> Field:
        """The field of an outline, over its own box or one that holds more."""
        x0, y0, x1, y1 = bounds = over or polygon.bounds
        size = (int((x1 - x0 + 2 * ROOM) * CELLS) + 1, int((y1 - y0 + 2 * ROOM) * CELLS) + 1)
        canvas = np.zeros(size[::-1], np.uint8)
        corner = (x0 - ROOM, y0 - ROOM)
        places = [np.round((ring - corner) * (CELLS * 16)).astype(np.int32) for ring in rings_of(polygon)]
        cv2.fillPoly(canvas, places, 1, lineType=cv2.LINE_8, shift=4)
        out, within = (cv2.distanceTransform(one, cv2.DIST_L2, 5) for one in (1 - canvas, canvas))
        away = (np.maximum(out - 0.5, 0) - np.maximum(within - 0.5, 0)) / CELLS  # the edge lies between two cells
        return Field(np.asarray(away, np.float32), bounds, points_of(polygon))

    def at(self, points: Floats) -> tuple[Floats, Floats]:
        """(n,) distances and their (n, 2) slopes at (n, 2) places; beyond the field it goes on."""
        h, w = self.away.shape
        spot = (points - (self.box[0] - ROOM, self.box[1] - ROOM)) * CELLS
        x, y = np.clip(spot[:, 0], 1, w - 2.001), np.clip(spot[:, 1], 1, h - 2.001)
        c, r = x.astype(np.intp), y.astype(np.intp)
        u, v = x - c, y - r
        a, b, d, e = (self.away[r + i, c + j].astype(np.float64) for i in (0, 1) for j in (0, 1))
        value = (1 - v) * ((1 - u) * a + u * b) + v * ((1 - u) * d + u * e)
        slope = np.column_stack([(1 - v) * (b - a) + v * (e - d), (1 - u) * (d - a) + u * (e - b)]) * CELLS
        return value + np.hypot(spot[:, 0] - x, spot[:, 1] - y) / CELLS, slope


def points_of(polygon: Polygon) -> Floats:
    """(n, 2) places along all rings of an outline, ``SPACING`` apart."""
    return np.concatenate([_along(ring) for ring in rings_of(polygon)])


def _along(ring: Floats) -> Floats:
    closed = np.vstack([ring, ring[:1]])
    run = np.concatenate([[0.0], np.cumsum(np.hypot(*np.diff(closed, axis=0).T))])
    steps = np.linspace(0, run[-1], max(4, int(run[-1] / SPACING)), endpoint=False)
    return np.column_stack([np.interp(steps, run, closed[:, 0]), np.interp(steps, run, closed[:, 1])])


class Apart(NamedTuple):
    """How far an outline is from an earlier one, once it lies on it as well as it may; figure heights."""

    shift: Shift
    mean: float
    """Mean distance from either outline to the other."""
    far: float
    """The farthest, see ``FARTHEST``."""
    there: tuple[Floats, Floats]
    """(n, 2) places along the outline so moved, and how far each sticks out of the earlier one."""
    back: tuple[Floats, Floats]
    """(m, 2) places along the earlier one, and how far each sticks out of it."""


def apart(live: Polygon, earlier: Field) -> Apart:
    """Lay an outline on an earlier one, both in the earlier one's figure heights, and see what is left."""
    points = points_of(live)
    x0, _, x1, y1 = live.bounds
    middle = (earlier.box[0] + earlier.box[2] - x0 - x1) / 2, earlier.box[3] - y1
    starts = [(0.0, 0.0), middle] if np.hypot(*middle) > NARROW else [middle]
    shift, _ = min((_laid_over(points, earlier, at) for at in starts), key=lambda one: one[1])
    moved = shift.on(points)
    there, _ = earlier.at(moved)
    laid = shift.on_polygon(live)
    (a, b, c, d), (e, f, g, h) = laid.bounds, earlier.box
    back, _ = Field.of(laid, (min(a, e), min(b, f), max(c, g), max(d, h))).at(earlier.points)
    off = np.abs(np.concatenate([there, back]))
    return Apart(shift, float(off.mean()), float(np.percentile(off, FARTHEST)), (moved, there), (earlier.points, back))


def _laid_over(points: Floats, earlier: Field, start: tuple[float, float]) -> tuple[Shift, float]:
    """How an outline's points lie best, and at what cost: Gauss-Newton steps, what is far off pulling less and less."""
    shift, cost = np.array([*start, 0.0, 0.0]), np.inf
    for wide in np.geomspace(WIDE, NARROW, ROUNDS):
        moved = Shift(*shift).on(points)
        away, slope = earlier.at(moved)
        worth = 1 / (1 + (away / wide) ** 2)
        up = 1 - moved[:, 1]
        turn = np.column_stack([slope, slope[:, 0] * up, slope[:, 0] * moved[:, 0] - slope[:, 1] * up])
        prior = PRIOR_WORTH * (wide / PRIOR) ** 2
        normal = (turn * worth[:, None]).T @ turn / len(points) + np.diag(prior)
        shift = shift - np.linalg.solve(normal, (turn * worth[:, None]).T @ away / len(points) + prior * shift)
        cost = float((worth * away**2).mean())
    return Shift(*map(float, shift)), cost


# ------------------------------------------------------------------------------------------------- the earlier outline


class Spot(NamedTuple):
    """One joint where the reader puts it."""

    place: Floats
    """(2,) in some outline's figure heights."""
    sure: bool


Joints = dict[str, list[Spot]]


@dataclass(frozen=True, eq=False)
class Ghost:
    """The outline of an earlier stop, made ready to be compared with many."""

    name: str
    """Which stop it is, for people."""
    outline: Outline
    same_camera: bool
    """Whether the camera has stood still since."""
    field: Field
    joints: Joints
    """In its own figure heights; empty where the reader does not trust itself."""

    @staticmethod
    def of(shape: Mask | Outline, reading: BodyReading | None, same_camera: bool, name: str) -> Ghost:
        """Make an earlier stop ready.

        Parameters
        ----------
        shape : (h, w) mask of the whole picture, or its outline
        reading : what the reader tells of it; None reads it here
        same_camera : False for an outline of another day

        Raises
        ------
        ValueError
            If the mask holds no figure.
        """
        line = shape if isinstance(shape, Outline) else outline_of(shape)
        if line is None:
            raise ValueError("There is no figure in this mask.")
        joints = _joints(line, reading or read_body(line))
        return Ghost(name, line, same_camera, Field.of(line.polygon), joints)

    @staticmethod
    def of_path(path: str, size: tuple[int, int], same_camera: bool, name: str) -> Ghost | None:
        """The same from one of ``StopsTold.masks``: an SVG path in shares (0 to 1000) of the picture, whose size
        (width, height) is that of the frames. None where the path holds no figure."""
        line = line_of_path(path, size)
        return None if line is None else Ghost.of(line, None, same_camera, name)


def line_of_path(path: str, size: tuple[int, int]) -> Outline | None:
    """The outline that a path of ``StopsTold.masks`` draws, in a picture of this size; None where it draws none."""
    rings = []
    for piece in path.split("M")[1:]:
        steps = np.array([float(n) for n in _NUMBERS.findall(piece)])
        if len(steps) >= 6:
            rings.append(np.cumsum(steps[: len(steps) // 2 * 2].reshape(-1, 2), axis=0) * size / 1000)
    if not rings:
        return None
    drawn = Polygon(rings[0], rings[1:])
    whole = largest_polygon(drawn if drawn.is_valid else drawn.buffer(0))
    if whole is None:
        return None
    x0, y0, x1, y1 = whole.bounds
    tall, origin = y1 - y0, ((x0 + x1) / 2, y0)
    to = [1 / tall, 0, 0, 1 / tall, -origin[0] / tall, -origin[1] / tall]
    return Outline(affinity.affine_transform(whole, to), float(tall), origin, size)


def path_in_shares(line: Outline) -> str:
    """An outline as a path of ``StopsTold.masks``: shares (0 to 1000) of the picture's width and height."""
    (w, h), (x, y), tall = line.picture_size, line.origin_px, line.height_px
    in_shares = affinity.affine_transform(
        thinned(line.drawn, 0.3 / tall), [1000 * tall / w, 0, 0, 1000 * tall / h, 1000 * x / w, 1000 * y / h])
    return path_data(in_shares, 1.0, digits=1)


def _joints(line: Outline, reading: BodyReading | None) -> Joints:
    """Where the reader puts the joints, figure heights; nothing where the outline is unlike a body."""
    if reading is None or reading.unlike >= UNLIKE:
        return {}
    found: Joints = {}
    for joint in reading.joints:
        spot = (np.array([joint.x, joint.y]) * line.picture_size - line.origin_px) / line.height_px
        sure = joint.sure >= SURE and joint.spread <= SPREAD and joint.also is None
        found.setdefault(joint.joint, []).append(Spot(spot, sure))
    return found


# -------------------------------------------------------------------------------------------------------- the live one


def compare(live_line: Outline, live_body: BodyReading | None, ghost: Ghost) -> GhostFit:
    """How the live outline lies against an earlier one.

    Parameters
    ----------
    live_line : the figure in the frame
    live_body : what the reader tells of it; None where it was not asked
    ghost : the earlier outline

    Notes
    -----
    Words say how the live figure stands against the earlier outline, in per cent of its height: ``picture right arm:
    6 % higher`` means that the live arm is the higher one.
    """
    at = _placed(live_line, live_body, ghost)
    live = _affine(live_line.polygon, at)
    found = apart(live, ghost.field)
    drawn = _drawn(live_line, ghost, at)
    far = _how_far(found, ghost.same_camera)
    fit = round(float(np.interp(far, *STEPS_OF_FIT)))
    if far <= 1:
        return GhostFit(drawn, fit, True, (), ghost.name)
    other = apart(mirror.polygon(live), ghost.field)
    if other.mean < min(MIRRORED * found.mean, MIRRORED_MEAN):
        return GhostFit(drawn, fit, False, (words_turn.MIRRORED,), ghost.name)
    off = _what_is_off(found, _live_joints(live_line, live_body, at), ghost)
    return GhostFit(drawn, fit, False, tuple(words_turn.off(*one) for one in off), ghost.name)


def _how_far(found: Apart, same_camera: bool) -> float:
    """How far the two are apart, in what just sits."""
    left = max(found.mean / MEAN_SITS, found.far / FAR_SITS)
    whole = np.abs(found.shift) / WHOLE_SITS
    return float(max(left, *(whole if same_camera else whole[2:3])))


class _At(NamedTuple):
    """Where the live outline lies in the earlier one's figure heights: ``place * scale + (x, y)``."""

    scale: float
    x: float
    y: float


def _affine(polygon: Polygon, at: _At) -> Polygon:
    return affinity.affine_transform(polygon, [at.scale, 0, 0, at.scale, at.x, at.y])


def _placed(line: Outline, body: BodyReading | None, ghost: Ghost) -> _At:
    """The live outline laid over the earlier one, before it is slid."""
    earlier = ghost.outline
    if ghost.same_camera:
        to = earlier.picture_size[0] / line.picture_size[0] / earlier.height_px
        x, y = np.array(line.origin_px) * to - np.array(earlier.origin_px) / earlier.height_px
        return _At(line.height_px * to, float(x), float(y))
    upright = _on_its_feet(line, ghost, 1.0)
    head, live_head = (joints.get("head", []) for joints in (ghost.joints, _joints(line, body)))
    if not (head and live_head and head[0].sure and live_head[0].sure):
        return upright
    scale = float((1 - head[0].place[1]) / max(1 - live_head[0].place[1], 0.1))
    if abs(np.log(scale)) < ONE_HEIGHT:
        return upright
    by_head = _on_its_feet(line, ghost, scale)
    return min((upright, by_head), key=lambda at: apart(_affine(line.polygon, at), ghost.field).mean)


def _on_its_feet(line: Outline, ghost: Ghost, scale: float) -> _At:
    """At this scale, on one ground line and one plumb line."""
    return _At(scale, _plumb(ghost.outline.polygon) - _plumb(line.polygon) * scale, 1 - scale)


def _plumb(polygon: Polygon) -> float:
    """The middle of what stands on the ground."""
    x0, _, x1, _ = polygon.bounds
    feet = polygon.intersection(box(x0, 1 - FEET, x1, 1.1))
    return 0.0 if feet.is_empty else float((feet.bounds[0] + feet.bounds[2]) / 2)


def _drawn(line: Outline, ghost: Ghost, at: _At) -> str:
    """The earlier outline in pixels of the frame."""
    unit = line.height_px / at.scale
    x, y = line.origin_px[0] - at.x * unit, line.origin_px[1] - at.y * unit
    return path_data(thinned(ghost.outline.drawn, 0.3 / unit), unit, x, y, digits=1)


def _live_joints(line: Outline, body: BodyReading | None, at: _At) -> Joints:
    return {name: [Spot(spot.place * at.scale + (at.x, at.y), spot.sure) for spot in spots]
            for name, spots in _joints(line, body).items()}


# ------------------------------------------------------------------------------------------------------- what is apart


class Off(NamedTuple):
    """Something of the live figure that is off."""

    by: float
    """How far, figure heights."""
    part: str
    """What: ``whole figure``, ``picture right arm``, ``legs``, ``picture left at knee height``."""
    way: words_turn.Way


def _what_is_off(found: Apart, joints: Joints, ghost: Ghost) -> list[Off]:
    """What is off, worst first."""
    whole = list(_of_the_whole(found.shift, ghost.same_camera))
    parts = list(_of_parts(found.shift, joints, ghost.joints)) if joints and ghost.joints else []
    if not whole and not parts:
        parts = list(_of_edges(found))
    return sorted([*whole, *parts], key=lambda off: -off.by)[:MOST_WORDS]


def _of_the_whole(shift: Shift, same_camera: bool) -> Iterator[Off]:
    """The live figure is off by what would bring it back."""
    across, down, lean, larger = (-v for v in shift)
    if same_camera:
        for by, ways in ((across, ("right", "left")), (down, ACROSS_DOWN[1]), (larger, ("larger", "smaller"))):
            if abs(by) >= SAY_WHOLE:
                yield Off(abs(by), "whole figure", ways[by < 0])  # type: ignore[arg-type]
    if abs(lean) >= SAY:
        yield Off(abs(lean), "whole figure", "leans right" if lean > 0 else "leans left")


def _of_parts(shift: Shift, live: Joints, earlier: Joints) -> Iterator[Off]:
    """Head, arms and legs, as far as both readings are sure of them."""
    for limb, joints in (("head", ("head",)), ("arm", ("hand", "elbow")), ("leg", ("foot", "knee"))):
        told = [list(_moves(shift, live.get(joint, []), earlier.get(joint, []))) for joint in joints]
        if limb == "leg" and (wider := _legs(told[0])):
            yield wider
        elif limb == "head":
            yield from (off for _, by in told[0] if (off := _off("head", by)).by >= SAY)
        else:
            yield from _of_pair(limb, told)


Moved = tuple[Floats, Floats]
"""Where a joint lies in the earlier outline, and how far the live one lies from it."""


def _moves(shift: Shift, live: Sequence[Spot], earlier: Sequence[Spot]) -> Iterator[Moved]:
    """The joints of a kind that both readings are sure of; pairs have no order, so the nearer fit counts."""
    if len(live) != len(earlier) or not live:
        return
    there = shift.on(np.stack([spot.place for spot in live]))
    orders = [list(range(len(live))), list(range(len(live)))[::-1]]
    order = min(orders, key=lambda o: sum(np.hypot(*(there[i] - e.place)) for i, e in zip(o, earlier, strict=True)))
    for i, spot in zip(order, earlier, strict=True):
        if live[i].sure and spot.sure:
            yield spot.place, there[i] - spot.place


def _legs(feet: Sequence[Moved]) -> Off | None:
    """How much wider the feet stand."""
    if len(feet) != 2:
        return None
    (one, off), (other, moved) = feet
    wider = float(abs(one[0] + off[0] - other[0] - moved[0]) - abs(one[0] - other[0]))
    return Off(abs(wider), "legs", "wider" if wider > 0 else "closer") if abs(wider) >= SAY else None


def _of_pair(limb: str, told: Sequence[Sequence[Moved]]) -> Iterator[Off]:
    """An arm by its hand, a leg by its foot; by elbow or knee where that is farther off or all that is sure."""
    places = [place[0] for joint in told for place, _ in joint]
    middle, sides = float(np.mean(places)) if places else 0.0, dict[str, Off]()
    for joint in told:
        two = len(joint) == 2 and abs(joint[0][0][0] - joint[1][0][0]) < BESIDE
        for place, by in joint:
            off = _off(f"one {limb}" if two else f"picture {'right' if place[0] > middle else 'left'} {limb}", by)
            if off.by >= SAY and (off.part not in sides or off.by > sides[off.part].by):
                sides[off.part] = off
    yield from sides.values()


ACROSS_DOWN: tuple[tuple[words_turn.Way, words_turn.Way], tuple[words_turn.Way, words_turn.Way]] = (
    ("right", "left"), ("lower", "higher"))


def _off(part: str, by: Floats) -> Off:
    """A part that is off, and the way in which it is off most."""
    most = int(abs(by[1]) >= abs(by[0]))
    return Off(float(abs(by[most])), part, ACROSS_DOWN[most][int(by[most] < 0)])


def _of_edges(found: Apart) -> Iterator[Off]:
    """Where joints tell nothing: at which side and height the edges are farthest apart."""
    axis = float(np.median(found.back[0][:, 0]))
    ways: tuple[tuple[tuple[Floats, Floats], words_turn.Way], ...] = ((found.there, "out"), (found.back, "in"))
    for (places, off), way in ways:
        up, right = 1 - places[:, 1], places[:, 0] > axis
        below = -np.inf
        for above, band in BANDS:
            for side, there in (("right", right), ("left", ~right)):
                here = off[there & (up > below) & (up <= above)]
                worst = float(np.percentile(here, 90)) if len(here) else 0.0
                if worst >= STICKS_OUT:
                    yield Off(worst, f"picture {side} at {band} height", way)
            below = above
