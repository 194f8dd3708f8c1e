"""The sentences about rings, their cameras, blind spots and close-ups; nobody who has one ring reads any of them."""

from __future__ import annotations

from collections.abc import Callable, Iterable
from statistics import median

from silhouette.records import BlindSpot, CloseUp, Note, Pose, PoseRing, RingCamera
from silhouette.settings import RINGS, Ring
from silhouette.show.words_check import listed

FROM: dict[Ring, str] = {"low": "from below", "level": "level", "high": "from above"}
"""How what a ring shows is called in a headline: ``from below 240, from above 310``."""
NAMES: dict[Ring, str] = {"low": "low ring", "level": "level ring", "high": "high ring"}
CLEAR_ALL = "Every part of the body stands clear in some view of some ring."
"""What is said where there is no blind spot."""
_LEVELS = ((0.15, "foot height"), (0.38, "knee height"), (0.56, "hip height"), (0.67, "waist height"),
           (0.78, "chest height"), (0.88, "shoulder height"), (1.05, "head height"))
"""Heights over the ground up to which a place is called so, shares of the stature of somebody who stands."""


# ------------------------------------------------------------------------------------------------------------ headline


def beside(pose: Pose) -> str:
    """What the other rings read, beside the headline: ``from below 240, from above 310``; empty for one ring."""
    counted = pose.round.counted_degrees
    return ", ".join(f"{FROM[one.ring]} {_degrees_of(one, counted)}" for one in pose.other_rings)


def in_a_line(pose: Pose) -> str:
    """What the other rings read, for the line under a pose in a ranking; with the headline's own ring first where that
    is not the level one: ``counts from below; level 284, from above 310``."""
    own = "" if pose.ring == "level" else f"counts {FROM[pose.ring]}; "
    return own + beside(pose)


def _degrees_of(one: PoseRing, counted: int) -> str:
    """How far round a ring reads; out of how many degrees only where the headline counts others."""
    if not any(view.scored for view in one.views):
        return "not read"
    if one.round.reads_degrees is None:
        return "too few views"
    of = "" if one.round.counted_degrees == counted else f" of {one.round.counted_degrees}"
    return f"{one.round.reads_degrees}{of}"


def named(pose: Pose) -> str:
    """A ring of several in a heading: ``low ring, from below``."""
    return NAMES[pose.ring] if pose.ring == "level" else f"{NAMES[pose.ring]}, {FROM[pose.ring]}"


def in_a_title(pose: Pose) -> str:
    """A ring over its row of figures: ``Low ring, from below: 240 of 360``; ``pose`` is the ring by itself."""
    reads = pose.round.reads_degrees
    told = "" if reads is None else f": {reads} of {pose.round.counted_degrees} degrees"
    return f"{named(pose).capitalize()}{told}"


def rings(which: Iterable[Ring]) -> str:
    """``low ring``; ``low and high ring``."""
    asked = set(which)
    return f"{listed([ring for ring in RINGS if ring in asked])} ring"


# ------------------------------------------------------------------------------------------------------------- cameras


def camera(found: RingCamera | None, stature_m: float | None = None) -> str:
    """Where the camera of a ring stood, as a sentence's end: ``camera about 0.25 of the model's height above the
    ground, tilted up 6 degrees; found from the outlines``; in metres where the stature is known; empty where nobody
    asked."""
    if found is None:
        return ""
    if found.height_m is None and found.height is None:
        return "the height of its camera is not known"
    how = "as given" if found.found_from == "given" else "found from the outlines"
    return f"camera {height(found, stature_m)}{_tilted(found.tilt)}; {how}"


def height(found: RingCamera, stature_m: float | None = None) -> str:
    """How high a lens is: in metres where that or the model's stature is known, else as a share of it."""
    if found.height_m is not None:
        return f"{found.height_m:.2f} m above the ground"
    share, sure = max(found.height or 0.0, 0.0), max(found.height_sure or 0.0, 0.01)
    if stature_m is not None:
        within = f", give or take {sure * stature_m:.2f}" if found.height_sure else ""
        return f"about {share * stature_m:.2f} m above the ground{within}"
    within = f", give or take {sure:.2f}," if found.height_sure else ""
    return f"about {share:.2f}{within} of the model's height above the ground"


def _tilted(tilt: float | None) -> str:
    if tilt is None:
        return ""
    whole = round(abs(tilt))
    if whole == 0:
        return ", held level"
    return f", tilted {'up' if tilt > 0 else 'down'} {whole} degree{'' if whole == 1 else 's'}"


def metres(cameras: Iterable[RingCamera | None]) -> float | None:
    """The model's stature in metres, where a camera's height is known both ways; else None."""
    both = [c.height_m / c.height for c in cameras if c is not None and c.height_m and c.height and c.height > 0.1]
    return median(both) if both else None


# -------------------------------------------------------------------------------------------- blind spots and close-ups


def blind_spot(spot: BlindSpot, stature_m: float | None = None) -> str:
    """A blind spot in two sentences: what stands clear nowhere, and the close-up that would show it, or does."""
    unseen = f"{part(spot)[0].upper()}{part(spot)[1:]} stands clear in no view."
    if spot.covered_by is not None:
        return f"{unseen} The close-up {spot.covered_by} shows it."
    return f"{unseen} Take a close-up from {round(spot.angle) % 360} degrees, {at_height(spot.height, stature_m)}."


def part(spot: BlindSpot) -> str:
    """``figure's left hand``; ``head``."""
    return spot.part if spot.side is None else f"figure's {spot.side} {spot.part}"


def at_height(share: float, stature_m: float | None = None) -> str:
    """``at chest height``; with a stature in metres ``at 1.20 m, chest height``. ``share`` of the model's stature."""
    name = next((name for most, name in _LEVELS if share <= most), "over the head")
    if stature_m is not None:
        return f"at {share * stature_m:.2f} m, {name}"
    return name if name == "over the head" else f"at {name}"


def blind_spots(spots: Iterable[BlindSpot] | None, stature_m: float | None = None) -> list[str]:
    """A line for each blind spot, one if there is none; nothing where it was not asked or cannot be told."""
    return [] if spots is None else [blind_spot(spot, stature_m) for spot in spots] or [CLEAR_ALL]


def blind_in_short(spots: Iterable[BlindSpot] | None) -> str:
    """The blind spots on one line: ``clear in no view: figure's left hand, head``; empty where there is none."""
    unseen = [part(spot) for spot in spots or () if spot.covered_by is None]
    return f"clear in no view: {', '.join(unseen)}" if unseen else ""


def close_ups(kept: Iterable[CloseUp]) -> str:
    """``Close-ups, not scored: left hand (2 pictures), face (1 picture).``; empty where there is none."""
    each = [f"{one.name} ({len(one.files)} picture{'' if len(one.files) == 1 else 's'})" for one in kept]
    return f"Close-ups, not scored: {', '.join(each)}." if each else ""


# --------------------------------------------------------------------------------------------------------------- notes


LIFE_SIZE = "This holds for a piece of life size, seen from about as far as the camera stood."
"""What is taken for granted where a viewer's eye is put beside a camera."""


FOR_A_VIEWER = frozenset({"ring counts", "ring wanted", "ring differs"})
"""Notes that stand beside the verdict, as they say what it is of."""


def _eye(n: Note) -> str:
    """Where a viewer's eye is: ``Seen from 0.40 m above its feet``."""
    eye = n["eye"]
    if abs(eye) < 0.005:
        return "Seen from the height of its feet"
    return f"Seen from {abs(eye):.2f} m {'above' if eye > 0 else 'below'} its feet"


def _lens(n: Note) -> str:
    return f"lens at about {n['lens']:.2f} m" if n["known"] else f"lens taken to be at {n['lens']:.2f} m"


def _counts(n: Note) -> str:
    return f"{_eye(n)}, the {NAMES[n['ring']]} counts ({_lens(n)}). {LIFE_SIZE}"


def _wanted(n: Note) -> str:
    return f"{wanted_in_short(n)} {LIFE_SIZE}"


def wanted_in_short(n: Note) -> str:
    """That no ring was shot from where a viewer's eye is, less what is taken for granted, which several poses share."""
    do = f"Shoot a ring with the lens at {n['eye']:.2f} m."
    if n["eye"] < 0.1:
        do = "A lens close to the floor comes nearest."
    return (f"{_eye(n)}, no ring shows it: the {NAMES[n['counts']]} is nearest ({_lens(n)}), and the headline is of "
            f"it. {do}")


def counts_in_short(n: Note) -> str:
    """Which ring counts, for a line that several poses share."""
    return f"the {NAMES[n['ring']]} counts, {_eye(n)[0].lower()}{_eye(n)[1:]}."


def _differs(n: Note) -> str:
    lacks = f"It has no {NAMES[n['ring']]}: its" if n["lacks"] else "Its"
    return f"{lacks} {NAMES[n['has']]} is compared with the {NAMES[n['ring']]} of the others."


_UNKNOWN = {
    "few": "it has too few clear outlines, 8 are needed", "half": "its stops do not go all round",
    "frame": "the frame cuts the figure at most of its stops", "sizes": "its pictures have several sizes",
    "body": "its outlines are not those of a body",
    "turn": "its outlines are not those of one figure that turns as its angles say",
}
_OUTSIDE = {
    "lower": "lower than 0.2 m", "higher": "higher than 2.6 m", "nearer": "nearer than 2.6 m",
    "steeper": "so high that it looked down by more than 45 degrees",
}


def _elsewhere(n: Note) -> str:
    over = float(n["over"])
    where = "at the height of the waist" if n["looks"] == "level" else (
        f"{abs(over):.1f} of the model's height {'over' if over > 0 else 'under'} the waist")
    return (f"The ring is called {n['ring']}, but its camera stood {where}. "
            "Check that its pictures lie in the right ring.")


NOTES: dict[str, Callable[[Note], str]] = {
    "ring camera elsewhere": _elsewhere,
    "ring camera unknown": lambda n: (
        f"Where the camera of the {NAMES[n['ring']]} stood could not be found: {_UNKNOWN[str(n['why'])]}. If you "
        "measured its height, give it (--camera-height)."),
    "ring camera outside": lambda n: (
        f"The camera of the {NAMES[n['ring']]} stood {_OUTSIDE[str(n['where'])]}. The program has not learned to "
        "read from there: trust these views less."),
    "ring of another pose": lambda n: (
        f"The {NAMES[n['ring']]} shows another pose than the {NAMES[n['than']]}. Compare them, and "
        "retake one of them."),
    "ring counts": _counts,
    "ring wanted": _wanted,
    "ring differs": _differs,
    "ring left out": lambda n: f"The {NAMES[n['ring']]} was left out. {n['why']}",
}
