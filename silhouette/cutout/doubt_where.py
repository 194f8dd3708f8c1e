"""Where on the figure independent cut-outs of one picture disagree: between the legs, at the feet, beside the head."""

from __future__ import annotations

import cv2
import numpy as np

from silhouette.records import Doubt, DoubtWhere, Mask

LEAST = 0.01
"""Share of the figure's area from which a patch is worth a word: a fist is some 0.01 of a body."""
RIM = 0.006
"""Half the width, figure heights, under which a patch is a rim along the outline: two cut-outs always differ there."""
FLANKED = 0.6
"""Share of a patch's pixels that have figure to either side from which it lies between two limbs."""
CROTCH, NECK, ANKLE = 0.5, 0.84, 0.08
"""Heights over the ground, figure heights: legs part under the first, the head begins at the second, feet end at the
third (Drillis & Contini 1966: hip 0.53, chin 0.87, ankle 0.04; from memory)."""
TRUNK = 0.06
"""Half the breadth of what is the trunk beside its middle, figure heights: a patch there is inside the body."""


def where(mask: Mask, doubt: Mask) -> tuple[Doubt, ...]:
    """The patches in which cut-outs disagree, named by their place, those of one place together, largest first.

    Parameters
    ----------
    mask : (h, w) True on the figure as it was cut
    doubt : (h, w) True where another cut-out says otherwise
    """
    sure = mask & ~doubt
    if not sure.any() or not doubt.any():
        return ()
    rows = np.flatnonzero(mask.any(axis=1))
    top, height, area = int(rows[0]), len(rows), float(mask.sum())
    seen = np.flatnonzero(sure.any(axis=1))
    head, bulk = int(seen[0]), sure[int(top + 0.35 * height) : int(top + 0.6 * height) + 1]
    middle = float(np.median(np.nonzero(bulk if bulk.any() else sure)[1]))
    beside = np.logical_or.accumulate(sure, axis=1) & np.logical_or.accumulate(sure[:, ::-1], axis=1)[:, ::-1]
    width = 2 * round(RIM * height) + 1
    brush = cv2.getStructuringElement(cv2.MORPH_ELLIPSE, (width, width))
    found: dict[tuple[DoubtWhere, bool], float] = {}
    for counted in (True, False):
        patch = (doubt & (mask if counted else ~mask)).astype(np.uint8)
        count, labels, stats, centres = cv2.connectedComponentsWithStats(
            cv2.morphologyEx(patch, cv2.MORPH_OPEN, brush), connectivity=8)
        for k in range(1, count):
            share = float(stats[k, cv2.CC_STAT_AREA]) / area
            if share < LEAST:
                continue
            up = (top + height - float(centres[k][1])) / height
            over = float(centres[k][1]) < head
            flanked = float(beside[labels == k].mean()) > FLANKED
            place = _place(up, (float(centres[k][0]) - middle) / height, flanked=flanked, over=over)
            found[place, counted] = found.get((place, counted), 0.0) + share
    return tuple(Doubt(place, share, counted)
                 for (place, counted), share in sorted(found.items(), key=lambda item: -item[1]))


def _place(up: float, aside: float, *, flanked: bool, over: bool) -> DoubtWhere:
    """The name of a place ``up`` over the ground and ``aside`` to picture right of the trunk, figure heights."""
    if over:
        return "over the head"
    if flanked:
        return "between the legs" if up < CROTCH else "inside the body" if abs(aside) < TRUNK else (
            "between arm and body")
    if up < ANKLE:
        return "at the feet"
    if up > NECK:
        return "beside the head"
    return "picture left of the body" if aside < 0 else "picture right of the body"
