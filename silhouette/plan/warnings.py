"""What a plan warns of, as kinds; the sentences stand in ``show/words_plan.py``, the numbers in the plan itself."""

from __future__ import annotations

from collections.abc import Iterator

from silhouette.geometry.perspective import KNOWN_DISTANCES, KNOWN_HEIGHTS
from silhouette.records_shoot import Plan, PlanRing, PlanWarning

ADULT_M = 1.4
"""Height (m) under which a model may be a child."""
HIGH_STAND = 0.3
"""Height (m) of a stand from which a fall does harm; lower ones are a step. Common practice, no source."""
LEAST_FIGURE_PX = 600
"""A figure this many pixels tall still shows a gap of 1 % of its height as 6 pixels."""
EASY_GAP = 1.5
"""Axis to backdrop (m) from which the figure's shadow falls out of sight."""
SHADOW_RATIO = 8.0
"""Key to fill past which shadows swallow the figure's edges."""
FLOOR_CAMERA = 0.4
"""Lens height (m) that a common tripod does not go under."""
USUAL_CEILING = 2.6
"""Height (m) of a room past which one had better measure. Common practice, no source."""
LONGEST_SESSION_MIN = 180.0
"""Minutes a session with a model lasts at most: about three hours, common practice, no source."""


def warnings_for(plan: Plan) -> tuple[PlanWarning, ...]:
    """What may harm the model, then what may spoil the shoot, gravest first; empty when nothing does."""
    return (*_people(plan), *_place(plan), *_picture(plan), *_rings(plan), *_pose(plan))


def _people(plan: Plan) -> Iterator[PlanWarning]:
    if plan.model_height < ADULT_M:
        yield "perhaps a child"
    if plan.stand > HIGH_STAND + 1e-9:
        yield "high stand"
    if plan.pose == "arms raised":
        yield "arms raised"


def _place(plan: Plan) -> Iterator[PlanWarning]:
    if not plan.in_room:
        yield "room too short"
    if not plan.in_frame:
        yield "no lens wide enough" if plan.lens_to_fill < min(f for f, _ in plan.lenses) else "lens too long"
    if plan.forward == float("inf"):
        yield "at the lens"
    elif plan.verdict == "too close":
        yield "too close"
    elif plan.pose == "lying":
        yield "end-on"
    elif plan.verdict == "close":
        yield "close"
    elif plan.verdict == "tolerable":
        yield "tolerable"


def _picture(plan: Plan) -> Iterator[PlanWarning]:
    if plan.fits and plan.frame_share < 0.6 and plan.lens < 35:
        yield "do not walk closer"
    if plan.fits and plan.figure_px < LEAST_FIGURE_PX:
        yield "few pixels"
    if plan.fits and plan.pose in ("standing", "arms raised") and plan.frame[0] < plan.model_height:
        yield "spread arms cut"
    if plan.backdrop_gap < EASY_GAP - 1e-9:
        yield "backdrop near"
    if plan.ratio > SHADOW_RATIO:
        yield "deep shadows"


def _rings(plan: Plan) -> Iterator[PlanWarning]:
    if plan.in_frame and not all(ring.in_frame for ring in plan.other_rings):
        yield "ring cut off"
    if any(ring.ceiling > USUAL_CEILING + 1e-9 for ring in plan.other_rings):
        yield "low ceiling"
    if not all(_known(ring) for ring in plan.other_rings):
        yield "beyond the reader"


def _known(ring: PlanRing) -> bool:
    (low, high), (near, far) = KNOWN_HEIGHTS, KNOWN_DISTANCES
    return low - 1e-9 <= ring.over_ground <= high + 1e-9 and near - 1e-9 <= ring.distance <= far + 1e-9


def _pose(plan: Plan) -> Iterator[PlanWarning]:
    if plan.pose == "lying":
        yield "cannot turn"
    if plan.camera_height < FLOOR_CAMERA:
        yield "camera near the floor"
    if plan.turn_s > 60 * plan.pose_min:
        yield "turn too long"
    if plan.session_min > LONGEST_SESSION_MIN:
        yield "session too long"
