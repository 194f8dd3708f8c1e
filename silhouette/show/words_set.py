"""The sentences of a reference set: what its files are, and what its sheets say of scale and rings."""

from __future__ import annotations

from collections import Counter

from silhouette.records_shoot import SetLayout, SetRing
from silhouette.show import words, words_rings
from silhouette.show.words import degrees, listed
from silhouette.writing import CLOSE_UPS

MOST_MISSING = 8
"""Angles that are named one by one where stops are missing."""


def scale(layout: SetLayout, print_scale: float) -> str:
    """The scale as printed: ``1:4, the pose 1.72 m high``."""
    return f"1:{print_scale:g}, the pose {layout.pose_height_m or 0:.2f} m high"


def contact_heading(layout: SetLayout, photos: bool, number: int, pages: int) -> list[str]:
    """The lines under the name on a contact sheet: of a pose of one ring, or of one ring of several."""
    of = f", page {number + 1} of {pages}" if pages > 1 else ""
    what = f"{len(layout.views)} stops, {'photographs' if photos else 'silhouettes'}{of}."
    under = "Under each: where the camera stands, degrees clockwise seen from above, 0 the front."
    if not layout.rings:
        return [f"Reference set, {what} {under}"]
    (one,) = [ring for ring in layout.rings if ring.ring == layout.views[0][1].ring]
    camera = _camera(one)
    shared = any(note.kind == "rings on one scale" for note in layout.notes)
    how = "All rings are drawn at one scale." if shared else "Each ring is drawn at a scale of its own."
    name = words_rings.NAMES[one.ring]
    return [f"Reference set, {name}, {what} {how}", f"{camera[:1].upper()}{camera[1:]}.", under]


def _camera(one: SetRing) -> str:
    if one.camera.height is None and one.camera.height_m is None:
        return "height of the camera not known"
    return words_rings.camera(one.camera)


def about_set(layout: SetLayout, *, photographs: bool, originals: bool, print_scale: float | None) -> str:
    """``about.txt`` of a reference set: what each file is, what shows the body and what does not."""
    several, drawn_to_scale = bool(layout.rings), _drawn_to_scale(layout, print_scale)
    order = "ring by ring in the order of the angles" if several else "in the order of the angles"
    which = "which ring and angle" if several else "which angle"
    shared = [
        "silhouettes/     the figure in black, one window and one scale",
        "outlines/        the same as lines, in millimetres: ground line, plumb line at the turning axis, head heights",
        f"contact_sheet    silhouettes {order}, to print (.pdf) and to look at (.png)",
        "turnaround.html  silhouettes that turn; opens in a browser, without a connection",
        f"set.csv          which file shows {which}, how sure it is, seconds after the first stop, height in pixels",
    ]
    if several:
        shared[0] = "silhouettes/     the figure in black, one window; NAME_low_045 is the low ring at 45 degrees"
        shared[1] = "outlines/        the same as lines, in millimetres: ground and plumb line; heads where level"
        shared[3] = "turnaround.html  silhouettes that turn, ring by ring; opens in a browser, without a connection"
    if drawn_to_scale:
        shared.insert(4, "to_scale.pdf     outlines in true millimetres, to print at 100 %")
    lines = [f"Reference set: {layout.name}, {len(layout.views)} stops{_in_rings(layout)}", ""]
    if photographs:
        lines += [
            "PHOTOGRAPHS: only the folder photographs/ holds any, and every file in it does. Take it out before you",
            "give this set to anybody who may not see them. Everything else is silhouettes and numbers.", "",
            "photographs/     the stills and a contact sheet of them, without place, date or device",
            *(["  originals/     every pixel of the stills, without loss"] if originals else []),
            *([f"  {CLOSE_UPS}/     details, and a sheet of them: {_details(layout)}"] if layout.close_ups else []),
        ]
    else:
        lines += ["There are no photographs in this set: silhouettes and numbers only, to show to others.", ""]
    lines += [
        *shared, "",
        "Angles say where the camera stands round the figure, in degrees, clockwise seen from above: 0 it faces the",
        "camera, 90 the model's right side is toward the camera, 180 the back, 270 the model's left side.",
    ]
    if drawn_to_scale:
        lines += ["", f"Scale {scale(layout, print_scale or 1)}.",
                  "Lengths hold in the plane of the turning axis: what is nearer to the camera comes out larger."]
    lines += [f"\n{told}" if i == 0 else told for i, told in enumerate(_of_rings(layout))]
    if layout.close_ups_left_out:
        lines += ["", f"The close-ups ({_pictures(layout.close_ups_left_out)}) were left out: they are photographs."]
    return "\n".join([*lines, *([""] if layout.notes else []), *words.said_once(layout.notes, len(layout.rings)), ""])


def _drawn_to_scale(layout: SetLayout, print_scale: float | None) -> bool:
    level = not layout.rings or any(figure.ring == "level" for figure in layout.figures)
    return bool(print_scale and layout.pose_height_m) and level


def _in_rings(layout: SetLayout) -> str:
    return f" in {len(layout.rings)} rings" if layout.rings else ""


def _of_rings(layout: SetLayout) -> list[str]:
    """A line for each ring, highest first, what is missing in it, and the blind spots."""
    stature = words_rings.metres(one.camera for one in layout.rings)
    lines = [f"{words_rings.NAMES[one.ring].capitalize()}: {one.stops} {'stop' if one.stops == 1 else 'stops'}, "
             f"{_camera(one)}.{_missing(one)}" for one in reversed(layout.rings)]
    return [*lines, *words_rings.blind_spots(layout.blind_spots, stature)]


def _missing(one: SetRing) -> str:
    if not one.missing:
        return ""
    if len(one.missing) > MOST_MISSING:
        return f" {len(one.missing)} angles that another ring has are missing."
    are = "is" if len(one.missing) == 1 else "are"
    return f" {listed([degrees(a) for a in one.missing])} {are} missing, which another ring has."


def _details(layout: SetLayout) -> str:
    """``face, left hand (2)``."""
    count = Counter(one.name for one in layout.close_ups)
    return ", ".join(name if many == 1 else f"{name} ({many})" for name, many in count.items())


def _pictures(count: int) -> str:
    return f"{count} picture" if count == 1 else f"{count} pictures"
