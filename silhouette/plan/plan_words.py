"""The plan in words: the same sentences for the terminal and for the printed page."""

from __future__ import annotations

from silhouette.records_shoot import Lamp, Plan


def words_for(plan: Plan) -> tuple[tuple[str, str], ...]:
    """(heading, sentences) in the order in which a person sets up."""
    return (
        ("Camera", f"{_where(plan)} {_picture(plan)}"),
        ("Room", _room(plan)),
        ("Light", _light(plan)),
        ("Turn", _turn(plan)),
        ("Session", _session(plan)),
    )


def _where(plan: Plan) -> str:
    lens = f"phone main lens, about {plan.lens:.0f} mm" if plan.phone else f"{plan.lens:.0f} mm lens"
    return (f"{plan.distance:.1f} m from the turning axis, {plan.camera_height:.2f} m high, level, held "
            f"{plan.orientation}; {lens}.")


def _picture(plan: Plan) -> str:
    shows = f"the picture shows {plan.frame[0]:.1f} x {plan.frame[1]:.1f} m there"
    if not plan.in_frame:
        return f"The whole figure does not fit: {shows}."
    if not plan.in_room:
        return f"The figure would fit, as {shows}, but the room is too short: it has {plan.farthest:.1f} m for this."
    length, side = ("long", "width") if plan.pose == "lying" else ("tall", "height")
    return (f"The figure comes out about {round(plan.figure_px, -1):.0f} pixels {length}, "
            f"{100 * plan.frame_share:.0f} % of the picture's {side}; {shows}. A {plan.lens_to_fill:.0f} mm lens would "
            "just fill it.")


def _room(plan: Plan) -> str:
    has = f"; this one has {plan.room:.1f} m" if plan.room is not None else ""
    wide, high = plan.backdrop_size
    size = f", at least {wide:.1f} m wide and {high:.1f} m high" if wide < 20 else ""
    return (f"It wants {plan.room_needed:.1f} m from backdrop to the wall behind you{has}. Backdrop "
            f"{plan.backdrop_gap:.1f} m behind the axis{size}.")


def _light(plan: Plan) -> str:
    key, fill = plan.lamps
    return (f"Key {_at(key)}. Fill {_at(fill)}, softened, {plan.ratio:g}:1. Clear width {plan.width_needed:.1f} m; "
            "from a nearer wall, bounce the fill. Sides may be swapped.")


def _at(lamp: Lamp) -> str:
    side = "left" if lamp.x < 0 else "right"
    return f"{abs(lamp.x):.1f} m to picture {side} and {lamp.y:.1f} m before the axis, {lamp.height:.1f} m high"


def _turn(plan: Plan) -> str:
    if plan.slow_turn:
        return (f"One slow turn on a clip, {plan.turn_s:.0f} s ({360 / plan.turn_s:.0f} degrees a second); "
                f"{plan.stops} stills are taken from it, one every {plan.step:g} degrees.")
    return (f"{plan.stops} stops, one every {plan.step:g} degrees, and the first once more: "
            f"{plan.turn_s / 60:.1f} minutes a turn.")


def _session(plan: Plan) -> str:
    return (f"{plan.session_min:.0f} minutes from the first pose to the last; no posing over {plan.pose_min:g} minutes "
            f"without a break of {plan.break_min:g}. The model may always ask for one sooner.")
