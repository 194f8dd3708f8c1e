"""Find the pose again: the outline of an earlier stop against the live one, and how far apart they are, part by part.

From the same standing camera the two are laid over each other as they are. From another day the earlier outline is set
to the live figure's height, its feet on the same ground line and plumb line. Then the live outline is slid, leaned and
scaled a little until it lies best: what that takes is said of the whole figure, what is left is said of its parts.

Pure, and quick: a few milliseconds beside the reading of the live outline, which whoever asks has already.
"""

from __future__ import annotations

import re
from dataclasses import dataclass

import numpy as np
from shapely import affinity
from shapely.geometry import Polygon

from silhouette.find.differs import At, Body, Joints, is_mirrored, joints_of, placed, what_is_off
from silhouette.find.laid_over import Apart, Field, apart
from silhouette.geometry.drawn import path_data, thinned
from silhouette.live.messages import GhostFit
from silhouette.reading.reader import UNLIKE, read_body
from silhouette.records import BodyReading, Mask, Outline
from silhouette.shape.outline import largest_polygon, outline_of
from silhouette.show import words_turn

MEAN_SITS, FAR_SITS = 0.006, 0.0175
"""Mean and farthest distance up to which a figure holds the earlier outline, figure heights. On 10 rendered turns of 24
stops all of 120 outlines that breathe, sway and lean by up to 1.5 % stay below; of the neighbours 15 degrees away 9 in
100 do, where the body shows nearly the same shape, and of those 30 degrees away none."""
WHOLE_SITS = np.array([0.025, 0.025, 0.03, 0.03])
"""The same of the whole figure: across, down, lean at the head, and scale."""
STEPS_OF_FIT = ((0.5, 1.0, 4.0), (100.0, 70.0, 0.0))
"""How far apart the two are, in what just sits, and the fit that is called for it."""
_NUMBERS = re.compile(r"-?\d*\.?\d+")


# ------------------------------------------------------------------------------------------------- the earlier outline


@dataclass(frozen=True, eq=False)
class Ghost:
    """The outline of an earlier stop, made ready to be compared with many."""

    name: str
    """Which stop it is, for people."""
    outline: Outline
    same_camera: bool
    """Whether the camera has stood still since."""
    body: Body
    """The outline, made ready to have others laid over it."""

    @property
    def field(self) -> Field:
        """How far every place lies from its edge."""
        return self.body.field

    @property
    def joints(self) -> Joints:
        """In its own figure heights; empty where the reader does not trust itself."""
        return self.body.joints

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
        return Ghost(name, line, same_camera, Body.of(line, _trusted(reading or read_body(line))))

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


def _trusted(reading: BodyReading | None) -> BodyReading | None:
    """What the reader tells; None where the outline is unlike a body."""
    return None if reading is None or reading.unlike >= UNLIKE else reading


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
    joints = joints_of(live_line, _trusted(live_body))
    at = _placed(live_line, joints, ghost)
    live = at.on_polygon(live_line.polygon)
    found = apart(live, ghost.field)
    drawn = _drawn(live_line, ghost, at)
    far = _how_far(found, ghost.same_camera)
    fit = round(float(np.interp(far, *STEPS_OF_FIT)))
    if far <= 1:
        return GhostFit(drawn, fit, True, (), ghost.name)
    if is_mirrored(live, found, ghost.field):
        return GhostFit(drawn, fit, False, (words_turn.MIRRORED,), ghost.name)
    off = what_is_off(found, at.on_joints(joints), ghost.joints, ghost.same_camera)
    return GhostFit(drawn, fit, False, tuple(words_turn.off(*one) for one in off), ghost.name)


def _how_far(found: Apart, same_camera: bool) -> float:
    """How far the two are apart, in what just sits."""
    left = max(found.mean / MEAN_SITS, found.far / FAR_SITS)
    whole = np.abs(found.shift) / WHOLE_SITS
    return float(max(left, *(whole if same_camera else whole[2:3])))


def _placed(line: Outline, joints: Joints, ghost: Ghost) -> At:
    """The live outline laid over the earlier one, before it is slid."""
    earlier = ghost.outline
    if ghost.same_camera:
        to = earlier.picture_size[0] / line.picture_size[0] / earlier.height_px
        x, y = np.array(line.origin_px) * to - np.array(earlier.origin_px) / earlier.height_px
        return At(line.height_px * to, float(x), float(y))
    return placed(line.polygon, joints, ghost.body)


def _drawn(line: Outline, ghost: Ghost, at: At) -> str:
    """The earlier outline in pixels of the frame."""
    unit = line.height_px / at.scale
    x, y = line.origin_px[0] - at.x * unit, line.origin_px[1] - at.y * unit
    return path_data(thinned(ghost.outline.drawn, 0.3 / unit), unit, x, y, digits=1)
