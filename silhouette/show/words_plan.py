"""All that the plan says, in one place: the same sentences for the terminal and for the printed page.

The numbers come from the plan. What is said of the model's safety is a prompt for the people in the room, never
engineering.
"""

from __future__ import annotations

import math
from collections.abc import Callable

from silhouette.geometry.perspective import KNOWN_DISTANCES, KNOWN_HEIGHTS
from silhouette.records_shoot import DistanceRow, Lamp, Plan, PlanRing, PlanWarning, Slot

ENOUGH_M = 3.0
"""The distance to look for where the plan's is too short, m; perspective is tolerable from there."""
GENTLE_M = 4.0
"""The distance from which perspective is gentle, m."""
LOW_STAND_M = 0.3
"""Height of a stand that lifts a lying model toward a tripod and that one can step off, m."""
SESSION_H = 3.0
"""Hours a day that are usual with a model."""
SHADOWS = 4.0
"""Key to fill that shows form without swallowing edges."""


def title(plan: Plan) -> str:
    """``Standing pose, model 1.70 m``."""
    return f"{plan.pose.capitalize()}, model {plan.model_height:.2f} m"


def said(plan: Plan) -> tuple[tuple[str, str], ...]:
    """(heading, sentences) in the order in which a person sets up."""
    return (
        ("Camera", f"{_where(plan)} {_shown(plan)}"),
        ("Room", _room(plan)),
        ("Rings", _rings(plan)),
        ("Light", _light(plan)),
        ("Turn", _turn(plan)),
        ("Session", _session(plan)),
    )


def warnings(plan: Plan) -> tuple[str, ...]:
    """A sentence or two for each warning of the plan."""
    return tuple(WARNINGS[kind](plan) for kind in plan.warnings)


def forward_part(plan: Plan) -> str:
    """What comes nearest to the camera."""
    return "the near end of the body" if plan.pose == "lying" else f"a hand {100 * plan.reach:.0f} cm forward"


def larger(factor: float) -> str:
    """``+18 %``."""
    return "touches" if factor == math.inf else f"+{100 * (factor - 1):.0f} %"


def share(row: DistanceRow) -> str:
    """How much of the picture the figure takes up."""
    return f"{100 * row.frame_share:.0f} %" if row.frame_share <= 1 else "cut off"


def slot(one: Slot) -> str:
    """What happens in one line of the timetable."""
    if one.what == "next pose":
        return f"break, then pose {one.pose}"
    return {
        "settle": "let the pose settle",
        "slow first turn": "first slow turn",
        "slow main turn": "main turn, slow",
        "low ring": "low ring, if wanted",
        "high ring": "high ring, if wanted",
        "close-ups": "close-ups: hands, face, feet",
        "close-ups at rest": "close-ups, arms mostly down",
    }.get(one.what, one.what)


RING_HEAD = ("ring", "away", "lens", "tilt", "sight lines", "nearer")


def ring_rows(plan: Plan) -> tuple[tuple[str, ...], ...]:
    """A row for each ring: where the camera goes, between which angles the figure is seen, what looks larger for lying
    nearer."""
    return tuple((one.ring, f"{one.distance:.1f} m", f"{one.height:.2f} m", tilt(one), _sight(one), _nearer(plan, one))
                 for one in plan.rings)


def tilt(ring: PlanRing) -> str:
    """``20° down``."""
    degrees = round(abs(ring.tilt))
    return "level" if not degrees else f"{degrees}° {'up' if ring.tilt > 0 else 'down'}"


def _sight(ring: PlanRing) -> str:
    low, high = (round(angle) for angle in ring.sees)
    return f"{low}° to {high}°"


def _nearer(plan: Plan, ring: PlanRing) -> str:
    """What of the figure looks larger than the other end in this ring, and by how much."""
    if plan.pose == "lying":
        return f"end {larger(ring.forward)}"
    if ring.ring == "level":
        return ""
    over = ring.head_over_feet
    if over < 1:
        return f"feet {larger(1 / over)}"
    return f"{'hands' if plan.pose == 'arms raised' else 'head'} {larger(over)}"


# ------------------------------------------------------------------------------------------------------ setting up

def _where(plan: Plan) -> str:
    lens = f"A phone's main lens, about {plan.lens:.0f} mm." if plan.phone else f"{plan.lens:.0f} mm lens."
    return (f"{plan.distance:.1f} m from the turning axis; lens {plan.camera_height:.2f} m high and level, camera "
            f"{plan.orientation}. {lens}")


def _shown(plan: Plan) -> str:
    size = f"{plan.frame[0]:.1f} x {plan.frame[1]:.1f} m"
    if not plan.in_frame:
        return f"The whole figure does not fit: the picture shows {size} there."
    if not plan.in_room:
        return (f"The figure would fit, as the picture shows {size} there, but the room is too short: it leaves "
                f"{plan.farthest:.1f} m.")
    length, side = ("long", "width") if plan.pose == "lying" else ("tall", "height")
    return (f"The picture shows {size} there. The figure is about {round(plan.figure_px, -1):.0f} pixels {length}, "
            f"{100 * plan.frame_share:.0f} % of the picture's {side}. A {plan.lens_to_fill:.0f} mm lens would just "
            "fill it.")


def _room(plan: Plan) -> str:
    has = f"; this room has {plan.room:.1f} m" if plan.room is not None else ""
    wide, high = plan.backdrop_size
    size = f", at least {wide:.1f} m wide and {high:.1f} m high" if wide < 20 else ""
    return (f"{plan.room_needed:.1f} m needed from the backdrop to the wall behind you{has}. Backdrop "
            f"{plan.backdrop_gap:.1f} m behind the axis{size}.")


def _rings(plan: Plan) -> str:
    said = ["No low ring: the level lens is as low already."] if plan.pose == "lying" else []
    for ring in plan.other_rings:
        if ring.ring == "low" and ring.backdrop_high > plan.backdrop_size[1] + 0.05:
            said.append(f"Low: backdrop {ring.backdrop_high:.1f} m high.")
        if ring.ring == "high":
            said.append(f"High: backdrop on the floor too; ceiling {ring.ceiling:.1f} m or more.")
    if plan.pose == "lying":
        return " ".join(said)
    nearer = ", ".join(f"{ring.ring} {larger(ring.forward)}" for ring in plan.other_rings)
    return " ".join([*said, f"{_capital(forward_part(plan))} looks larger: {nearer}."])


def _capital(text: str) -> str:
    return text[:1].upper() + text[1:]


def _light(plan: Plan) -> str:
    key, fill = plan.lamps
    return (f"Key lamp {_at(key)}. Fill lamp, softened, {_at(fill)}. {ratio(plan)}. Both need "
            f"{plan.width_needed:.1f} m of width; if a wall is nearer, bounce the fill off it. Sides may be swapped.")


def ratio(plan: Plan) -> str:
    """The light of the key lamp against that of the fill."""
    return f"Key to fill {plan.ratio:g}:1"


def _at(lamp: Lamp) -> str:
    side = "left" if lamp.x < 0 else "right"
    return f"{abs(lamp.x):.1f} m to picture {side}, {lamp.y:.1f} m in front of the axis, {lamp.height:.1f} m high"


def _turn(plan: Plan) -> str:
    if plan.slow_turn:
        return (f"One slow turn on a clip, {plan.turn_s:.0f} s ({360 / plan.turn_s:.0f} degrees a second). "
                f"{plan.stops} stills are taken from it, one every {plan.step:g} degrees.")
    return (f"{plan.stops} stops, one every {plan.step:g} degrees, then the first again: "
            f"{plan.turn_s / 60:.1f} minutes a turn.")


def _session(plan: Plan) -> str:
    whole = f"{plan.session_min:.0f} minutes from the first pose to the last."
    if plan.slow_turn:
        return (f"{whole} Arms up for one slow turn, under a minute; then down to rest before the next. The model may "
                "always stop sooner.")
    return (f"{whole} After {plan.pose_min:g} minutes of posing at most, a break of {plan.break_min:g}. The model may "
            "always ask for one sooner.")


# -------------------------------------------------------------------------------------------------------- warnings

def _looks_larger(plan: Plan) -> str:
    return f"{forward_part(plan)} looks {100 * (plan.forward - 1):.0f} % larger than the middle"


def _does_not_fit(plan: Plan) -> str:
    widest = min(focal for focal, _ in plan.lenses)
    return (f"The whole figure does not fit from {plan.distance:.1f} m, not even with a {widest:.0f} mm lens. Find a "
            "longer room, or shoot along the diagonal or through a doorway.")


def _too_long(plan: Plan) -> str:
    return (f"The whole figure does not fit: from {plan.distance:.1f} m a {plan.lens:.0f} mm lens is too long. Use "
            f"{plan.lens_to_fill:.0f} mm or wider, or stand farther away.")


def _walk(plan: Plan) -> str:
    side = "width" if plan.pose == "lying" else "height"
    return (f"At {plan.lens:.0f} mm the figure takes up only {100 * plan.frame_share:.0f} % of the picture's {side}. "
            "Do not walk closer and do not zoom: crop afterwards.")


def _days(plan: Plan) -> str:
    days = math.ceil(plan.session_min / 60 / SESSION_H)
    return (f"The session takes {plan.session_min / 60:.1f} hours; about {SESSION_H:.0f} hours a day are usual with a "
            f"model. Split it over {days} days or more, or plan fewer poses, or fewer or shorter stops.")


def _ring_cut(plan: Plan) -> str:
    cut = " and the ".join(f"{ring.ring} ring" for ring in plan.other_rings if not ring.in_frame)
    return f"In the {cut} the figure does not fit into the picture. Use a wider lens, or find a longer room."


def _beyond(plan: Plan) -> str:
    (low, high), (near, far) = KNOWN_HEIGHTS, KNOWN_DISTANCES
    return (f"Outlines are read best from {near:g} to {far:g} m away, {low:g} to {high:g} m over the ground. "
            "A ring here lies outside that.")


WARNINGS: dict[PlanWarning, Callable[[Plan], str]] = {
    "perhaps a child": lambda plan: (
        "A model under 1.4 m may be a child. Never make undressed pictures of anyone under 18 with this program."),
    "high stand": lambda plan: (
        f"People fall from a stand {round(plan.stand, 2):g} m high. Steady it, have a second person beside it, and "
        "announce each turn. Whether it bears the weight is yours to check."),
    "arms raised": lambda plan: (
        f"Raised arms last a minute or two at most. Film one slow turn instead of {plan.stops} held stops, and let the "
        "arms down before the next."),
    "room too short": lambda plan: (
        f"{plan.distance:.1f} m from lens to axis does not fit into a room of {plan.room:.1f} m: the backdrop and you "
        f"need space too, so {plan.farthest:.1f} m is left."),
    "no lens wide enough": _does_not_fit,
    "lens too long": _too_long,
    "at the lens": lambda plan: f"Far too close: {forward_part(plan)} would touch the lens.",
    "too close": lambda plan: (
        f"Too close: {_looks_larger(plan)}. Outlines from here mislead. Find {ENOUGH_M:g} m or more."),
    "end-on": lambda plan: (
        f"Seen end-on, {_looks_larger(plan)}. Read those stops with care, or stand farther away."),
    "close": lambda plan: f"Close: {_looks_larger(plan)}. Keep the arms in, or find {ENOUGH_M:g} m or more.",
    "tolerable": lambda plan: f"A little close: {_looks_larger(plan)}. Keep the arms in; {GENTLE_M:g} m is better.",
    "do not walk closer": _walk,
    "few pixels": lambda plan: (
        f"The figure is only {plan.figure_px:.0f} pixels large, too few for slim gaps. Use a longer lens (up to "
        f"{plan.lens_to_fill:.0f} mm), or stills instead of a clip."),
    "spread arms cut": lambda plan: (
        f"Arms spread to both sides would be cut off: the picture is {plan.frame[0]:.1f} m wide at the figure."),
    "backdrop near": lambda plan: (
        f"The backdrop is only {plan.backdrop_gap:.1f} m behind the figure. Watch for its shadow; light the wall by "
        "itself if you can."),
    "deep shadows": lambda plan: (
        f"{ratio(plan)}: shadows swallow the figure's edges. {SHADOWS:g}:1 shows form."),
    "ring cut off": _ring_cut,
    "low ceiling": lambda plan: (
        f"The high camera needs a ceiling of {max(ring.ceiling for ring in plan.other_rings):.1f} m. Under a lower one "
        "put it as high as it goes, and tilt it until feet and head have the same room in the picture."),
    "beyond the reader": _beyond,
    "cannot turn": lambda plan: (
        "A lying model cannot turn. Use a turning stand, steadied by a second person who announces each turn; or carry "
        "camera and lamps round a taped circle."),
    "camera near the floor": lambda plan: (
        f"A lens {plan.camera_height:.2f} m above the floor is lower than most tripods go. Lay the camera on a bag of "
        "rice" + (f", or lift the model onto a firm stand of {LOW_STAND_M:g} m." if plan.stand == 0 else ".")),
    "turn too long": lambda plan: (
        f"One turn takes {plan.turn_s / 60:.0f} minutes, longer than the {plan.pose_min:g} minutes of posing. Plan "
        "fewer stops, or shorter ones."),
    "session too long": _days,
}


# ------------------------------------------------------------------------------------------------------- checklist

def checklist(plan: Plan) -> tuple[tuple[str, tuple[str, ...]], ...]:
    """(heading, lines) in the order of the day."""
    lying = plan.pose == "lying"
    hold = {
        "standing": "A pole or chair back to hold; knees not locked",
        "arms raised": "Arms up for one slow turn, then down; knees not locked",
        "seated": "Seat padded, on the axis, turned with the model; up slowly, knees not locked",
        "lying": "Mat under the model; up slowly",
    }[plan.pose]
    steady = ("Stand steadied by a second person, who announces turns",)
    turn = (f"One slow turn of {plan.turn_s:.0f} s on a clip; camera and lamps stay" if plan.slow_turn else
            f"{'Stand' if lying else 'Model'} turns, camera and lamps stay; {plan.stops} stops on marks")
    others = [ring.ring for ring in plan.other_rings]
    rings = f"{' and '.join(others).capitalize()} ring"
    return (
        ("Before undressing", (
            "Model is 18 or older; uses agreed, release signed",
            "Model may stop at any time, no reason needed",
            "Phone: cloud copies off first, then flight mode on",
            "Room warm: the model decides the heat",
            "A screen to change; nobody who was not agreed",
            "Posing alone: someone within call, a chair in reach, no lamp that can fall",
        )),
        ("Room", (
            "Plain, even, bright backdrop; nothing else in the picture",
            "Lamps hot, out of reach; stands weighted, cables taped",
            "High camera: weights on its stand, nobody on a chair",
            f"Turning axis, {'outline of the body' if lying else 'foot outlines'} and gaze mark taped down",
            "Height stick beside the figure, not crossing it; plumb line",
            *(steady if lying or "high stand" in plan.warnings else ()),
        )),
        ("Camera", (
            "Tripod, level main lens, no zoom; not moved in a turn",
            "Exposure, focus and white balance locked",
            "Flash, HDR, portrait blur, beauty and night mode off; 1/125 s or faster",
            "Test picture: hands, feet and stick inside the edges",
            "One picture without the model, same light: empty.jpg",
        )),
        ("Turn", (
            "First picture: a card with pose, height, turn to left or right",
            turn,
            f"{rings}: same marks, light and start; tilt locked",
            *(("Close-ups: hands, head and face, feet, what is behind",) if plan.close_ups_min else ()),
            "End with the first stop; check before the model leaves",
        )),
        ("Model", (
            hold,
            "Dizzy, numb or faint: stop at once, sit down",
            "Breaks on time; marks stay down",
            "Local rules and licensed practice come before this list",
        )),
        ("Afterwards", (
            'Pictures off the phone; its bin ("recently deleted") and the cloud emptied',
        )),
    )
