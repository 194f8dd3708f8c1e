"""Is the turn whole: closed, with no stop left out and none shot twice?"""

from __future__ import annotations

from itertools import pairwise

from silhouette.check.made_out import made_out, no_turn, too_few
from silhouette.records_shoot import Finding, Shot

LEAST_STOPS = 6
"""Fewer stops than this are no turn that could be checked."""
LEAST_STEPS = 5
"""Stops from which there is a usual step to hold the others against."""
NOT_ROUND_DEG = 4.0
"""Short of a full turn by this, or a third of a step, it is open."""
MOST_BLIND = 1
"""Stops in a row that were not made out over which it is still seen whether one is missing: over two, the angles to
either side give way."""
LONG_STEP = 2
"""Stops at the ends that were not made out may each stand this many usual steps on; where even that does not close the
turn, it is open."""


def full_turn(shot: Shot) -> Finding:
    """Did the model come back to where they started, and how far past it?"""
    check, count = "full turn", len(shot.stops)
    if shot.camera_moved is not None:
        return Finding.of(check, "unknown", "turn not known")
    if count < LEAST_STOPS:
        return Finding.of(check, "unknown", "too few stops", least=LEAST_STOPS)
    if not shot.angled:
        return Finding.of(check, "unknown", "angles spread", least=LEAST_STOPS)
    if (lost := _not_seen(check, shot)) is not None:
        return lost
    seen = made_out(shot.looks) if shot.by_outlines else range(count)
    first, last = seen[0], seen[-1]
    total = abs(float(shot.turned[last] - shot.turned[first]))
    slack = max(NOT_ROUND_DEG, shot.usual_step / 3)
    if total >= 360 - slack:
        return Finding.of(check, "pass", "turn closed", past=total - 360)
    if total + shot.usual_step >= 360 - slack:
        return Finding.of(check, "pass", "turn all round")
    unseen = (*range(first), *range(last + 1, count))
    if unseen and total + (1 + LONG_STEP * len(unseen)) * shot.usual_step >= 360 - slack:
        return Finding.of(check, "unknown", "ends not made out", unseen)
    return Finding.of(check, "retake", "turn open", (last,), ends_at=shot.stops[last].angle, short_by=360 - total)


def missing_stops(shot: Shot) -> Finding:
    """Is a step so much larger than the others that a stop was skipped?"""
    check = "missing stops"
    if shot.camera_moved is not None:
        return Finding.of(check, "unknown", "turn not known")
    if len(shot.stops) < LEAST_STEPS or not shot.angled:
        return Finding.of(check, "unknown", "steps not known")
    if (lost := _not_seen(check, shot)) is not None:
        return lost
    seen = made_out(shot.looks) if shot.by_outlines else range(len(shot.stops))
    blind = [k for a, b in pairwise(seen) if b - a > 1 + MOST_BLIND for k in range(a + 1, b)]
    if not shot.skipped and blind:
        return Finding.of(check, "unknown", "stretch not made out", blind)
    if not shot.skipped:
        return Finding.of(check, "pass", "steps even", step=shot.usual_step)
    ends = [next(j for j in seen if j > k) for k in shot.skipped]
    counts = [
        max(1, round(abs(float(shot.turned[j] - shot.turned[k])) / shot.usual_step) - (j - k))
        for k, j in zip(shot.skipped, ends, strict=True)
    ]
    return Finding(
        check, "retake", "stop missing", tuple(sorted({*shot.skipped, *ends})),
        (("step", shot.usual_step), ("counts", tuple(counts)), ("before", tuple(ends))), after_stop=shot.skipped,
    )


def doubled_stops(shot: Shot) -> Finding:
    """Were two stops shot at one angle?"""
    check = "doubled stops"
    if shot.camera_moved is not None:
        return Finding.of(check, "unknown", "turn not known")
    if len(shot.stops) < LEAST_STEPS or not shot.angled:
        return Finding.of(check, "unknown", "steps not known")
    if (lost := _not_seen(check, shot)) is not None:
        return lost
    if not shot.repeated:
        return Finding.of(check, "pass", "no view twice")
    which = sorted({j for k in shot.repeated for j in (k, k + 1)})
    return Finding.of(check, "look", "same view twice", which, first=shot.repeated)


def _not_seen(check: str, shot: Shot) -> Finding | None:
    """Why the pictures do not tell how far the model turned; None where they do, or where names or a table say it."""
    if (none := no_turn(check, shot)) is not None:
        return none
    if not shot.by_outlines:
        return None
    if (lost := too_few(check, shot)) is not None:
        return lost
    return None if shot.angles_told else Finding.of(check, "unknown", "angles not told")


QUESTIONS = (full_turn, missing_stops, doubled_stops)
