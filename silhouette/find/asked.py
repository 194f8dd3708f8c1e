"""Which poses do what is asked, by what is known of their views."""

from __future__ import annotations

import numpy as np

from silhouette.find.views import BANDS, Flags, Numbers, Views, Whole, firsts
from silhouette.geometry.angles import apart, on_arc
from silhouette.records_find import Asked
from silhouette.settings import ArmAsked, GapSize

GAPS: dict[GapSize, float] = {"small": 0.02, "fair": 0.10, "big": 0.20}
"""Area of a gap over that of the outline's hull, from which it is small, fair or big. Below the least of them it is a
curve of the body itself: drawings fill no smaller gap. A fair one is a tenth of the room that the pose takes up, a big
one a fifth. Of 67 views of the five sample poses all have a small one, 53 a fair one and 15 a big one, none of these of
the pose at rest."""
OVER_HEAD = 0.10
"""How far over the middle of the skull the middle of the hand lies, over the height from there to the lower foot. The
crown of one who stands lies at 0.075, so the hand is over it; of one who crouches it may be as high as the crown. On
four rendered turns and the five sample poses it is found in all 24 views of the one pose with its hands up there, and
in none of the 139 other views."""
NEAR = 30.0
"""A view counts as that from an angle up to so many degrees away: farther off, outlines are those of another view."""


def found_in(views: Views, asked: Asked, reads: Numbers) -> Whole:
    """The views by which poses are found, in the order of the poses, one each; none of a pose that does not do what is
    asked.

    Parameters
    ----------
    views : Views
        With the columns that the question needs.
    asked : Asked
        What they are to do; ``like`` is not looked at.
    reads : (p,)
        From how many degrees each pose reads, on the arc that counts; nan where that is not known.

    Returns
    -------
    (k,) int
        Rows of ``views``: those that show what is asked and read best; without ``gap`` and ``arm`` the one asked for
        with ``strong_from``, else the one on the arc that reads best.
    """
    shown = sound(views) & on_arc(views.angle, asked.arc)
    if asked.gap is not None:
        shown &= has_gap(views, asked.gap)
    if asked.arm is not None:
        shown &= has_arm(views, asked.arm)
    if asked.reads is not None:
        shown &= (reads >= asked.reads)[views.pose]
    best = _one_a_pose(views, shown, -views.readability)
    if asked.strong_from is None:
        return best
    strong = strong_from(views, asked.strong_from)
    if asked.gap is None and asked.arm is None:
        return strong[np.isin(views.pose[strong], views.pose[best])]
    return best[np.isin(views.pose[best], views.pose[strong])]


def sound(views: Views) -> Flags:
    """(n,) whether a view was read, from a cut-out that is trusted."""
    return ~np.isnan(views.readability) & views.trusted


def has_gap(views: Views, size: GapSize) -> Flags:
    """(n,) whether a view has a gap of this size, or a larger one."""
    return np.asarray(views.gap >= GAPS[size])


def has_arm(views: Views, where: ArmAsked) -> Flags:
    """(n,) whether a hand is surely where it is asked for: ``over-head`` is higher in the picture than the crown."""
    assert where == "over-head"
    return np.asarray(views.over_head >= OVER_HEAD)


def strong_from(views: Views, angle: float) -> Whole:
    """(k,) the view of each pose, of its headline's ring, that is nearest to an angle, where it is strong and near
    enough to count."""
    away = apart(views.angle, angle)
    near = _one_a_pose(views, sound(views) & views.headline & ~np.isnan(views.angle), away)
    return near[(views.band[near] == BANDS.index("strong")) & (away[near] <= NEAR)]


def _one_a_pose(views: Views, some: Flags, key: Numbers) -> Whole:
    """(k,) of some views the one of each pose whose key is least."""
    which = np.flatnonzero(some)
    return np.sort(which[firsts(views.pose[which], (key[which],))])
