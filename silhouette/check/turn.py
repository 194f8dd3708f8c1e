"""Is the turn whole: closed, with no stop left out and none shot twice?"""

from __future__ import annotations

from silhouette.records_shoot import Finding, Shot

LEAST_STOPS = 6
"""Fewer stops than this are no turn that could be checked."""
LEAST_STEPS = 5
"""Stops from which there is a usual step to hold the others against."""
NOT_ROUND_DEG = 4.0
"""Short of a full turn by this, or a third of a step, it is open."""


def full_turn(shot: Shot) -> Finding:
    """Did the model come back to where they started, and how far past it?"""
    check = "full turn"
    if shot.camera_moved is not None:
        return Finding.of(check, "unknown", "turn not known")
    if len(shot.stops) < LEAST_STOPS:
        return Finding.of(check, "unknown", "too few stops", least=LEAST_STOPS)
    if not shot.angled:
        return Finding.of(check, "unknown", "angles spread", least=LEAST_STOPS)
    total, last = abs(float(shot.turned[-1])), len(shot.stops) - 1
    slack = max(NOT_ROUND_DEG, shot.usual_step / 3)
    if total >= 360 - slack:
        return Finding.of(check, "pass", "turn closed", past=total - 360)
    if total + shot.usual_step >= 360 - slack:
        return Finding.of(check, "pass", "turn all round")
    return Finding.of(check, "retake", "turn open", (last,), ends_at=shot.stops[last].angle, short_by=360 - total)


def missing_stops(shot: Shot) -> Finding:
    """Is a step so much larger than the others that a stop was skipped?"""
    check = "missing stops"
    if shot.camera_moved is not None:
        return Finding.of(check, "unknown", "turn not known")
    if len(shot.stops) < LEAST_STEPS or not shot.angled:
        return Finding.of(check, "unknown", "steps not known")
    if not shot.skipped:
        return Finding.of(check, "pass", "steps even", step=shot.usual_step)
    counts = [
        max(1, round(abs(float(shot.turned[k + 1] - shot.turned[k])) / shot.usual_step) - 1) for k in shot.skipped
    ]
    return Finding(
        check, "retake", "stop missing", tuple(sorted({j for k in shot.skipped for j in (k, k + 1)})),
        (("step", shot.usual_step), ("counts", tuple(counts))), after_stop=shot.skipped,
    )


def doubled_stops(shot: Shot) -> Finding:
    """Were two stops shot at one angle?"""
    check = "doubled stops"
    if shot.camera_moved is not None:
        return Finding.of(check, "unknown", "turn not known")
    if len(shot.stops) < LEAST_STEPS or not shot.angled:
        return Finding.of(check, "unknown", "steps not known")
    if not shot.repeated:
        return Finding.of(check, "pass", "no view twice")
    which = sorted({j for k in shot.repeated for j in (k, k + 1)})
    return Finding.of(check, "look", "same view twice", which, first=shot.repeated)


QUESTIONS = (full_turn, missing_stops, doubled_stops)
