"""Whether a pose does what is asked, by what is known of its views."""

from __future__ import annotations

import math
from collections.abc import Sequence

from silhouette.geometry.angles import apart, on_arc
from silhouette.records import CANNOT_TELL
from silhouette.records_find import Asked, ViewLine
from silhouette.settings import ArmAsked, GapSize, Ring

GAPS: dict[GapSize, float] = {"small": 0.02, "fair": 0.10, "big": 0.20}
"""Area of a gap over that of the outline's hull, from which it is small, fair or big. Below the least of them it is a
curve of the body itself: drawings fill no smaller gap. A fair one is a tenth of the room that the pose takes up, a big
one a fifth. Of 67 views of the five sample poses all have a small one, 53 a fair one and 15 a big one, none of these of
the pose at rest."""
SURE, SPREAD = 0.5, 0.08
"""An arm counts where the reader is at least so sure of hand and head, and their places are no wider (figure heights)
and no other is possible."""
OVER_HEAD = 0.10
"""How far over the middle of the skull the middle of the hand lies, over the height from there to the lower foot. The
crown of one who stands lies at 0.075, so the hand is over it; of one who crouches it may be as high as the crown. On
four rendered turns and the five sample poses it is found in all 24 views of the one pose with its hands up there, and
in none of the 139 other views."""
NEAR = 30.0
"""A view counts as that from an angle up to so many degrees away: farther off, outlines are those of another view."""


def found_in(lines: Sequence[ViewLine], ring: Ring, asked: Asked, reads: int | None) -> ViewLine | None:
    """The view by which a pose is found, or None where it does not do what is asked.

    Parameters
    ----------
    lines : the views of one pose
    ring : the one that its headline is of
    asked : what it is to do; ``like`` is not looked at
    reads : from how many degrees it reads, on the arc that counts; None where that is not known

    Returns
    -------
    ViewLine or None
        The view that shows what is asked and reads best; without ``gap`` and ``arm`` the one asked for with
        ``strong_from``, else the one on the arc that reads best.
    """
    if asked.reads is not None and (reads is None or reads < asked.reads):
        return None
    sound = [line for line in lines if line.readability is not None and CANNOT_TELL not in line.flags]
    strong = None if asked.strong_from is None else strong_from(sound, ring, asked.strong_from)
    if asked.strong_from is not None and strong is None:
        return None
    shown = [line for line in sound if on_arc(line.angle, asked.arc) and shows(line, asked)]
    if not shown:
        return None
    wants_one = asked.gap is not None or asked.arm is not None
    return strong if strong is not None and not wants_one else max(shown, key=lambda line: line.readability or 0.0)


def shows(line: ViewLine, asked: Asked) -> bool:
    """Whether one view shows the gap and the arm that are asked for."""
    return (asked.gap is None or has_gap(line, asked.gap)) and (asked.arm is None or has_arm(line, asked.arm))


def has_gap(line: ViewLine, size: GapSize) -> bool:
    """Whether a view has a gap of this size, or a larger one."""
    return max(line.gaps, default=0.0) >= GAPS[size]


def has_arm(line: ViewLine, where: ArmAsked) -> bool:
    """Whether a hand is surely where it is asked for: ``over-head`` is higher in the picture than the crown."""
    assert where == "over-head"
    sure = [j for j in line.joints if j.sure >= SURE and j.spread <= SPREAD and j.also is None]
    head = [j.y for j in sure if j.joint == "head"]
    feet = [j.y for j in line.joints if j.joint == "foot"]
    if not head or not feet or max(feet) <= head[0]:
        return False
    return any(j.joint == "hand" and head[0] - j.y >= OVER_HEAD * (max(feet) - head[0]) for j in sure)


def strong_from(lines: Sequence[ViewLine], ring: Ring, angle: float) -> ViewLine | None:
    """The view of a ring nearest to an angle, where it is strong and near enough to count."""
    near = min((line for line in lines if line.ring == ring and not math.isnan(line.angle)),
               key=lambda line: float(apart(line.angle, angle)), default=None)
    if near is None or near.band != "strong" or apart(near.angle, angle) > NEAR:
        return None
    return near
