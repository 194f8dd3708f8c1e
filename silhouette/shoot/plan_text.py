"""The plan for the terminal, at most 80 columns."""

from __future__ import annotations

import textwrap

from silhouette.records import Plan

WIDTH = 80


def plan_text(plan: Plan) -> str:
    """The whole plan as plain text, no line longer than :data:`WIDTH` characters."""
    blocks = [_place(plan), _picture(plan), _table(plan), _light(plan), _time(plan), _warn(plan), _check(plan)]
    return "\n\n".join("\n".join(block) for block in blocks if block) + "\n"


def lens_name(plan: Plan) -> str:
    """The lens as people call it."""
    return f"phone main lens, {plan.lens:.0f} mm" if plan.phone else f"{plan.lens:.0f} mm lens"


def where_to_stand(plan: Plan) -> str:
    """One line: distance, height, how the camera is held."""
    return (f"Camera {plan.distance:.1f} m from the turning axis, lens {plan.camera_height:.2f} m high and level, "
            f"held {plan.orientation}.")


def turn_words(plan: Plan) -> str:
    """One line: how the turn is shot and how long it takes."""
    if plan.slow_turn:
        return (f"One slow turn on a clip, {plan.turn_s:.0f} s ({360 / plan.turn_s:.0f} degrees a second); "
                f"{plan.stops} stills are taken from it, one every {plan.step:g} degrees.")
    return (f"{plan.stops} stops, one every {plan.step:g} degrees, and the first once more: "
            f"{plan.turn_s / 60:.1f} minutes a turn.")


def _place(plan: Plan) -> list[str]:
    title = f"Plan: {plan.pose} pose, model {plan.model_height:.2f} m, {lens_name(plan)}"
    room = (f"The room is {plan.room:.1f} m long; this wants {plan.room_needed:.1f} m." if plan.room is not None
            else f"This wants a room {plan.room_needed:.1f} m long.")
    wide = f"Backdrop {plan.backdrop_gap:.1f} m behind the axis"
    if plan.backdrop_size[0] < 20:
        wide += f", at least {plan.backdrop_size[0]:.1f} m wide and {plan.backdrop_size[1]:.1f} m high"
    return [title, *_fill(where_to_stand(plan)), *_fill(f"{room} {wide}.")]


def _picture(plan: Plan) -> list[str]:
    shows = f"the picture shows {plan.frame[0]:.1f} x {plan.frame[1]:.1f} m there"
    if not plan.fits:
        return _fill(f"The whole figure does not fit: {shows}.")
    length, side = ("long", "width") if plan.pose == "lying" else ("tall", "height")
    return _fill(f"The figure will be about {round(plan.figure_px, -1):.0f} pixels {length}, "
                 f"{100 * plan.frame_share:.0f} % of the picture's {side}; {shows}. A {plan.lens_to_fill:.0f} mm lens "
                 "would just fill it.")


def table_rows(plan: Plan) -> list[tuple[str, str, str, str, str]]:
    """Distance, forward, near against far, share of the picture and a remark, as printed, a row a distance."""
    rows = []
    for row in plan.distances:
        remarks = ["this plan"] if abs(row.distance - plan.distance) < 0.006 else []
        if plan.farthest is not None and abs(row.distance - plan.farthest) < 0.006:
            remarks.append("most in room")
        rows.append((f"{row.distance:.2f} m", percent_larger(row.forward), percent_larger(row.near_far),
                     f"{100 * row.frame_share:.0f} %" if row.frame_share <= 1 else "cut", ", ".join(remarks)))
    return rows


def percent_larger(factor: float) -> str:
    """``+25 %`` for 1.25; a part that would touch the lens has no size."""
    return "touches" if factor == float("inf") else f"+{100 * (factor - 1):.0f} %"


def forward_part(plan: Plan) -> str:
    """What the enlargement is said of."""
    return "near end of the body" if plan.pose == "lying" else f"hand {100 * plan.reach:.0f} cm forward"


def _table(plan: Plan) -> list[str]:
    head = ("distance", forward_part(plan), "near : far", "in picture", "")
    widths = (9, max(22, len(head[1]) + 2), 11, 11)
    lines = []
    for row in (head, *table_rows(plan)):
        cells = (cell.rjust(width) for cell, width in zip(row, widths, strict=False))
        lines.append(f"{''.join(cells)}  {row[4]}".rstrip())
    fills = ", ".join(f"{focal:.0f} mm from {distance:.1f} m" for focal, distance in plan.lenses)
    note = "How much larger a part comes out than the body at the axis, and 35 cm before the axis than 35 cm behind it:"
    return _fill(note) + lines + _fill(f"Lenses that hold the whole figure: {fills}.")


def light_words(plan: Plan) -> str:
    """Where the lamps go, in a few sentences."""
    key, fill = plan.lamps
    return (f"Key {_at(key.x, key.y)}, {key.height:.1f} m high. Fill {_at(fill.x, fill.y)}, {fill.height:.1f} m high, "
            f"softened, at 1/{plan.ratio:g} of the key's light. Clear width {plan.width_needed:.1f} m; where a wall is "
            "nearer, bounce the fill off it. Mirror both if the pose asks for it.")


def _light(plan: Plan) -> list[str]:
    return _fill(light_words(plan))


def _at(x: float, y: float) -> str:
    side = "picture left" if x < 0 else "picture right"
    return f"{abs(x):.1f} m to {side} of the axis and {y:.1f} m toward the camera"


def _time(plan: Plan) -> list[str]:
    lines = _fill(turn_words(plan))
    lines += [f"  {slot.start:5.1f} to {slot.end:5.1f} min  {slot.what}" for slot in plan.timetable]
    return lines + _fill(session_words(plan))


def session_words(plan: Plan) -> str:
    """How long the session takes, and the rule about breaks."""
    return (f"Session {plan.session_min:.0f} minutes from the first pose; no posing over {plan.pose_min:g} minutes "
            f"without a break of {plan.break_min:g}. The model may always ask for one sooner.")


def _warn(plan: Plan) -> list[str]:
    return [line for text in plan.warnings for line in _fill(text, first="! ", then="  ")]


def _check(plan: Plan) -> list[str]:
    out: list[str] = []
    for heading, lines in plan.checklist:
        out.append(heading)
        out += [line for text in lines for line in _fill(text, first="  [ ] ", then="      ")]
    return out


def _fill(text: str, first: str = "", then: str = "") -> list[str]:
    return textwrap.wrap(text, WIDTH, initial_indent=first, subsequent_indent=then, break_on_hyphens=False)
