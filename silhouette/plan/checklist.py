"""What a plan warns of, and the checklist that goes with it. Sentences only; the numbers come from ``plan.py``."""

from __future__ import annotations

import math

from silhouette.records_shoot import Plan

LEAST_FIGURE_PX = 600
"""A figure this many pixels tall still shows a gap of 1 % of its height as 6 pixels."""
EASY_GAP = 1.5
"""Axis to backdrop (m) from which the figure's shadow falls out of sight."""
SHADOW_RATIO = 8.0
"""Key to fill past which shadows swallow the figure's edges."""
FLOOR_CAMERA = 0.4
"""Lens height (m) that a common tripod does not go under."""
LONGEST_SESSION_MIN = 180.0
"""Minutes a session with a model lasts at most: about three hours, common practice, no source."""
LYING_STAND = 0.5
"""Height (m) of a stand that brings a lying model up to a tripod."""


def warnings_for(plan: Plan) -> tuple[str, ...]:
    """What may spoil this shoot, gravest first; empty when nothing does."""
    return tuple([*_room_warnings(plan), *_frame_warnings(plan), *_distance_warnings(plan), *_picture_warnings(plan),
                  *_pose_warnings(plan), *_session_warnings(plan)])


def _room_warnings(plan: Plan) -> list[str]:
    if plan.in_room:
        return []
    return [f"{plan.distance:.1f} m from lens to axis does not go into a room of {plan.room:.1f} m: with the backdrop "
            f"and you behind the camera it has {plan.farthest:.1f} m."]


def _frame_warnings(plan: Plan) -> list[str]:
    if plan.in_frame:
        return []
    d = f"{plan.distance:.1f} m"
    widest = min(focal for focal, _ in plan.lenses)
    if plan.lens_to_fill < widest:
        return [f"The figure does not fit the picture from {d}, not even with a {widest:.0f} mm lens. Find a longer "
                "room, or shoot along the diagonal or through a doorway."]
    return [f"The figure does not fit: a {plan.lens:.0f} mm lens is too long from {d}. Take {plan.lens_to_fill:.0f} mm "
            "or wider, or stand farther away."]


def _distance_warnings(plan: Plan) -> list[str]:
    lying = plan.pose == "lying"
    part = plan.forward_part
    if plan.forward == float("inf"):
        return [f"Far too close: {part} would touch the lens."]
    larger = f"{part} comes out {100 * (plan.forward - 1):.0f} % larger than the middle"
    if plan.verdict == "too close":
        return [f"Too close: {larger}. Outlines from here mislead; find 3 m or more."]
    if lying:
        return [f"Turned end-on, {larger}: read those stops with care, or stand farther away."]
    if plan.verdict == "close":
        return [f"Close: {larger}. Keep the arms in, or find 3 m or more."]
    return [f"Tolerable with the arms in: {larger}. 4 m is better."] if plan.verdict == "tolerable" else []


def _picture_warnings(plan: Plan) -> list[str]:
    said = []
    if plan.fits and plan.frame_share < 0.6 and plan.lens < 35:
        side = "width" if plan.pose == "lying" else "height"
        said.append(f"At {plan.lens:.0f} mm the figure takes only {100 * plan.frame_share:.0f} % of the picture's "
                    f"{side}. Do not walk closer to fill it: crop afterwards. No digital zoom.")
    if plan.fits and plan.figure_px < LEAST_FIGURE_PX:
        said.append(f"The figure comes out only {plan.figure_px:.0f} pixels large, too few for slim gaps: take a "
                    f"longer lens (up to {plan.lens_to_fill:.0f} mm), or stills instead of a clip.")
    if plan.fits and plan.pose in ("standing", "arms raised") and plan.frame[0] < plan.model_height:
        said.append(f"Both arms spread would be cut: the picture is {plan.frame[0]:.1f} m wide at the figure.")
    if plan.backdrop_gap < EASY_GAP - 1e-9:
        said.append(f"The backdrop is only {plan.backdrop_gap:.1f} m behind the figure: watch for its shadow, and "
                    "light the wall by itself if you can.")
    if plan.ratio > SHADOW_RATIO:
        said.append(f"At {plan.ratio:g}:1 shadows swallow the figure's edges; 4:1 shows form.")
    return said


def _pose_warnings(plan: Plan) -> list[str]:
    said = []
    if plan.pose == "arms raised":
        said.append("Raised arms last seconds to a couple of minutes: film one slow turn instead of "
                    f"{plan.stops} held stops, and let the arms down in between.")
    if plan.pose == "lying":
        said.append("A lying model does not turn: use a stand that turns (steady it, announce each turn), or carry "
                    "camera and lamps round a taped circle.")
    if plan.camera_height < FLOOR_CAMERA:
        said.append(f"A lens {plan.camera_height:.2f} m over the floor is lower than most tripods: lift the model onto "
                    f"a firm stand ({LYING_STAND:.1f} m, say) or lay the camera on a bag of rice.")
    if plan.turn_s > 60 * plan.pose_min:
        said.append(f"One turn takes {plan.turn_s / 60:.0f} minutes, longer than the {plan.pose_min:g} minutes of "
                    "posing: fewer stops, or shorter ones.")
    return said


def _session_warnings(plan: Plan) -> list[str]:
    if plan.session_min <= LONGEST_SESSION_MIN:
        return []
    days = math.ceil(plan.session_min / LONGEST_SESSION_MIN)
    return [f"The session takes {plan.session_min / 60:.1f} hours; with a model about "
            f"{LONGEST_SESSION_MIN / 60:.0f} hours a day are usual. Split it over {days} days or more, or plan fewer "
            "poses or fewer, shorter stops."]


def checklist_for(pose: str, stops: int) -> tuple[tuple[str, tuple[str, ...]], ...]:
    """(heading, lines) in the order of the day."""
    lying = pose == "lying"
    hold = {
        "standing": ("Pole or chair back offered; knees not locked",),
        "arms raised": ("One slow turn of 30 to 60 s on a clip; arms down in between",),
        "seated": ("Seat padded, on the axis, turned with the model; up slowly, knees not locked",),
        "lying": ("Mat under the model; turning stand steadied by a second person, each turn announced",),
    }[pose]
    return (
        ("Before undressing", (
            "Uses agreed and written down; release signed",
            "Model may stop at any time, no reason needed",
            "Cloud sync off on every device; flight mode on",
            "Room warm: the model decides the heat",
            "Screen to change behind; nobody present who was not agreed",
        )),
        ("Room", (
            "Plain, even, bright backdrop; nothing else in the picture",
            "Lamps are hot: out of reach; cables taped down",
            "Stands weighted",
            f"Turning axis, {'outline of the body' if lying else 'foot outlines'} and gaze mark taped down",
            "Height stick beside the figure at the axis, not crossing it; plumb line",
        )),
        ("Camera", (
            "On a tripod, lens level, main lens, no zoom; not moved again",
            "Exposure, focus and white balance locked",
            "No flash, HDR, portrait blur, beauty or night mode; 1/125 s or faster",
            "Test frame: hands, feet and stick inside the edges",
        )),
        ("Turn", (
            "Stop card in the first frame: pose, height, direction of the turn",
            f"{'Stand' if lying else 'The model'} turns; camera and lamps stay. {stops} stops, each on its mark",
            "Close with the first stop once more, then check before the model leaves",
        )),
        ("Model", (
            *hold,
            "Dizzy, numb or faint: stop at once, sit down",
            "Break on time; marks stay down",
            "Local rules and people trained for it come before this list",
        )),
    )
