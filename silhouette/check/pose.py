"""Did the model keep the pose and the spot, and did the camera stay where it was?"""

from __future__ import annotations

import numpy as np

from silhouette.check.made_out import made_out, no_turn, too_few
from silhouette.records_shoot import Finding, Shot, Verdict

CERTAIN = 0.015
"""Share of the figure that sticks out at single stops under which a fault of the cut is as likely as a move."""
FRAME_BLAMED = 0.5
"""Share of the stops that seem to have moved, cut by the frame, from which the frame is the likelier cause."""
UP_DOWN = 0.01
"""Figure heights from which what moved is said to be lower or higher, and not just elsewhere."""
MOST_SEEN_DEG = 270.0
"""Degrees turned from which there are opposite views, which show a move best."""
OFF_SPOT, FAR_OFF = 0.03, 0.06
"""Figure heights off the spot worth a look (5 cm), and a retake (10 cm)."""


def held_pose(shot: Shot) -> Finding:
    """Do all outlines belong to one rigid figure? The pose is not blamed for what the frame cuts."""
    check, held = "held pose", shot.held
    if held is None:
        return _not_compared(check, shot) or Finding.of(check, "unknown", "too few outlines")
    if held.unfit:
        return Finding.of(check, "unknown", "outlines do not fit")
    if not held.moved:
        left_out = len(shot.looks) - len(made_out(shot.looks))
        return Finding.of(check, "pass", "pose held", far_round=abs(float(shot.turned[-1])) >= MOST_SEEN_DEG,
                          left_out=left_out)
    if sum(bool(shot.looks[k].edges) for k in held.moved) > FRAME_BLAMED * len(held.moved):
        return Finding.of(check, "unknown", "pose cut by the frame")
    way = "lower" if held.sank > UP_DOWN else "higher" if held.sank < -UP_DOWN else "elsewhere"

    def moved(verdict: Verdict, kind: str, stops: list[int], doubtful: list[int]) -> Finding:
        values = (("way", way), ("doubtful", tuple(doubtful)), ("height_m", shot.height_m))
        return Finding(check, verdict, kind, tuple(stops), values, where=held.where, far=held.far)

    if held.drifting:
        return moved("retake", "pose changed", list(held.moved), [])
    clear = [k for k in held.moved if held.share[k] >= CERTAIN]
    if not clear:
        return moved("look", "pose moved", list(held.moved), [])
    return moved("retake", "pose moved", clear, [k for k in held.moved if k not in clear])


def stance(shot: Shot) -> Finding:
    """Did the model stay on their spot, and the camera on its own?"""
    check = "stance"
    if shot.camera_moved is not None:
        k = shot.camera_moved
        return Finding.of(check, "retake", "camera moved", (k,), times=(shot.stops[k - 1].time, shot.stops[k].time))
    if shot.aside is None:
        return _not_compared(check, shot) or Finding.of(check, "unknown", "stance not known")
    size = np.abs(shot.aside)
    far, which = float(np.nanmax(size)), tuple(int(k) for k in np.flatnonzero(size > OFF_SPOT))
    verdict: Verdict = "pass" if not which else "retake" if far > FAR_OFF else "look"
    kind = "off the spot" if which else "on the spot"
    return Finding(check, verdict, kind, which, (("height_m", shot.height_m),), far=far)


def _not_compared(check: str, shot: Shot) -> Finding | None:
    """Why the outlines of this turn were not held against each other, if it is their own fault."""
    if shot.camera_moved is not None:
        return None
    return no_turn(check, shot) or too_few(check, shot)


QUESTIONS = (held_pose, stance)
