"""Every sentence about a score, in one place: verdicts, reasons, notes, angles, what a flag means.

The rest of the package passes kinds and numbers; nothing reads a sentence back.
"""

from __future__ import annotations

import math
from collections import Counter
from collections.abc import Callable, Iterable, Sequence
from dataclasses import replace
from statistics import median

from silhouette import records
from silhouette.geometry.angles import apart
from silhouette.records import CANNOT_TELL, INFERRED, Doubt, Note, Pose, Ranking, Reason, ReasonKind, View
from silhouette.settings import Ring
from silhouette.show import words_check, words_rings
from silhouette.show.words_check import listed as listed

SIDES = {0: "front", 90: "figure's right", 180: "back", 270: "figure's left"}
"""Names for the four square-on views."""

FLAGS = {
    records.UNREADABLE: "the file could not be read as a picture",
    records.NO_FIGURE: "no figure found",
    records.CANNOT_TELL: "the cut-out is not trusted, so it is shown but not scored",
    records.CUT_BY_FRAME: "the figure touches the edge of the picture",
    records.SMALL_FIGURE: "the figure fills less than a quarter of the picture's height",
    records.TWO_FIGURES: "two figures found; the larger one was read",
    records.BACK_LIGHT: "the light comes from behind and may eat into the edges",
    records.BLURRED: "the picture is blurred",
    records.SAME_ANGLE: "another picture has this angle too",
    records.ONE_PICTURE: "only one picture, so nothing can be said about the other sides",
    records.INFERRED: "mirrored from the opposite view; there is no picture of it",
    records.GIVEN_MASK: "the mask was drawn by hand",
    records.SHAPE_ALONE: "it does not look like a body, so only its shape was read",
}
"""What each flag of a view means."""

_ADD_EMPTY = "Add a picture of the same room without the model, called empty.jpg; or take"
_RETAKE_OR_MEND = (" the pictures again in even light, in front of a plain wall unlike skin and hair; or correct the "
                   "masks by hand with silhouette mend.")
DISAGREE = ("independent cut-outs of the picture differ there: a shadow may be counted, or a part may be missing. "
            "Look, and put it right with silhouette mend")
"""What it means that cut-outs disagree somewhere, and what to do."""

_PERHAPS = {"between the legs": "A shadow", "at the feet": "A shadow or the floor"}


def flag(name: str, pose: Pose) -> str:
    """What a flag of a view means; of a cut-out that is not trusted also what helps."""
    told = FLAGS.get(name, name)
    if name != CANNOT_TELL:
        return told
    used = any(n.kind == "empty used" or (n.kind in ("empty found", "empty end") and n["used"])
               for n in map(of_itself, pose.notes))
    return f"{told}. {'Take' if used else _ADD_EMPTY}{_RETAKE_OR_MEND}"


def doubt(found: Doubt) -> str:
    """Where cut-outs of one picture disagree, as a sentence."""
    if found.counted:
        return f"{_PERHAPS.get(found.where, 'Something')} {found.where} may be counted as figure."
    return f"Part of the figure {found.where} may be missing."


CANNOT_SEE = "An outline shows no inner form, surface or expression. It helps you look; it does not judge."
"""What every page says of itself."""

UNREAD = {
    records.TWO_FIGURES: ("two people are in every picture", "two people are in {}",
                          "Take the pictures again with only the model in view."),
    records.UNREADABLE: ("none of its pictures can be opened", "{} cannot be opened",
                         "Copy the pictures from the phone again."),
    records.NO_FIGURE: ("no figure was found", "no figure was found in {}",
                        "Take the pictures again with the whole figure in view, in front of a plain wall."),
    records.CANNOT_TELL: ("the cut-out is not trusted", "the cut-out is not trusted in {}",
                          _ADD_EMPTY + _RETAKE_OR_MEND),
}
"""Why a pose could not be read, likeliest first: of all its pictures, of some of them; and what to do."""

CLOSED_HINT = "Is it meant to be closed? Then use --intent closed."
COMPACT = 1.9
"""Height over width, median of the views, under which a figure is as compact as one that sits or crouches: of the
sample poses the crouching one has 1.7, those that stand upright 2.3 to 4.0."""
NEARLY_ROUND = 60.0
"""A stretch that leaves no more of the round than this, degrees, is told by what it leaves."""
SAME_PLACE = 1.0
"""Two stops nearer than this, degrees, are the same one taken twice."""


def headline(pose: Pose) -> str:
    """The verdict in one line."""
    if unread(pose):
        return f"not read: {unread(pose)}"
    if pose.round.reads_degrees is None:
        return "too few views to say how far round it reads"
    from_ring = f"{words_rings.FROM[pose.ring]} it " if pose.other_rings and pose.ring != "level" else ""
    return f"{from_ring}reads from {pose.round.reads_degrees} of {pose.round.counted_degrees} degrees"


def in_full(pose: Pose) -> str:
    """The verdict with what the other rings read: ``reads from 284 of 360 degrees; from below 240, from above 310``."""
    return "; ".join(filter(None, [headline(pose), words_rings.beside(pose)]))


def unread(pose: Pose) -> str:
    """Why nothing can be said of a pose, none of whose views is scored; empty where one is."""
    cause = unread_cause(pose)
    if cause is None:
        return ""
    flag, count = cause
    if flag not in UNREAD:
        return flag
    every, some, _ = UNREAD[flag]
    return every if count == len(pose.views) else some.format(f"{count} of {len(pose.views)} pictures")


def unread_cause(pose: Pose) -> tuple[str, int] | None:
    """What kept most views from being scored, as a flag or a sentence, and how many; None where one is scored."""
    if any(view.scored for view in pose.views) or pose.round.reads_degrees is not None:
        return None
    causes = [next((flag for flag in UNREAD if flag in view.flags), (view.problem or CANNOT_TELL).rstrip("."))
              for view in pose.views]
    if not causes:
        # Views without an angle have no place among those that are drawn, but the notes tell of them.
        told = [not_read(note).rstrip(".") for note in pose.notes if note.kind == "not read"]
        return (told[0] if told else "there is no picture of it"), 0
    return Counter(causes).most_common(1)[0]


def closed_hint(pose: Pose) -> str:
    """A hint that a pose was meant otherwise: read as open, it hardly reads, and its outlines are compact."""
    reads = pose.round.reads_degrees
    if pose.intent != "open" or reads is None or 3 * reads >= pose.round.counted_degrees:
        return ""
    spans = [view.outline.polygon.bounds for view in pose.views if view.scored and view.outline is not None]
    slim = [(bottom - top) / max(right - left, 1e-6) for left, top, right, bottom in spans]
    return CLOSED_HINT if slim and median(slim) < COMPACT else ""


def place_of(pose: Pose) -> str:
    """A pose's name with its rank before it, where it has one."""
    return pose.name if pose.rank is None else f"{pose.rank}  {pose.name}"


def between(pose: Pose) -> str:
    """The verdict's range: ``between 119 and 134``; empty where there is none to tell."""
    if pose.reads_low is None or pose.reads_low == pose.reads_high:
        return ""
    return f"between {pose.reads_low} and {pose.reads_high}"


def give_or_take(pose: Pose) -> str:
    """The verdict's range as a sentence's part; empty where there is none."""
    if pose.reads_low is not None and pose.reads_low == pose.reads_high:
        return f"still {pose.reads_low} when views are left out and edges moved"
    return f"most likely {between(pose)} (9 chances in 10)" if between(pose) else ""


def asked(ranking: Ranking) -> str:
    """What the poses were read as, and from where: ``Read as open, counted from 300 to 60``."""
    counted = "" if ranking.arc is None else f", counted from {from_to(*ranking.arc)}"
    return f"Read as {ranking.meant}{counted}"


def remarks(pose: Pose) -> str:
    """What stands beside a pose's name: what it is meant to be where that is not open, and whom it ties with."""
    meant = [f"meant to be {pose.intent}"] if pose.intent != "open" else []
    tied = [f"too close to call with {listed(pose.tied_with)}"] if pose.tied_with else []
    return ", ".join([*meant, *tied])


def degrees(angle: float) -> str:
    """An angle as printed: whole degrees, 0 to 359; a dash where it is not known."""
    if math.isnan(angle):
        return "-"
    return f"{round(angle) % 360}"


def is_again(view: View, views: Sequence[View]) -> bool:
    """Whether an earlier stop among ``views`` has this view's angle too, as where the last repeats the first."""
    return not view.inferred and any(
        not other.inferred and other.stop.index < view.stop.index
        and bool(apart(other.angle, view.angle) <= SAME_PLACE) for other in views)


def stop_angle(view: View, views: Sequence[View]) -> str:
    """A view's angle as printed among the others of its pose; ``0 again`` where an earlier stop has it too."""
    return degrees(view.angle) + (" again" if is_again(view, views) else "")


def nowhere_weak(arc: tuple[float, float] | None) -> str:
    """What is said where no stretch is weak."""
    return f"no stretch of the {'round' if arc is None else 'arc'} is weak"


def from_to(start: float, end: float) -> str:
    """An arc as printed, clockwise."""
    return "all round" if round(end - start) % 360 == 0 else f"{degrees(start)} to {degrees(end)}"


def stretch(start: float, end: float) -> str:
    """A stretch of the round as printed, clockwise; one that is nearly all of it by what is left: ``58 to 38`` would
    be taken for the twenty degrees between."""
    left = (start - end) % 360
    return f"all but {from_to(end, start)}" if 0.5 < left <= NEARLY_ROUND else from_to(start, end)


def standing(view: View) -> str:
    """How a view stands, in a word or two: its band, or why it has none."""
    if view.outline is None:
        return "no figure"
    if not view.scored or view.reading is None:
        return CANNOT_TELL
    return f"{view.reading.band}, {INFERRED}" if view.inferred else view.reading.band


def side_of(angle: float) -> str:
    """What is seen at an angle: front, back, a profile or a three-quarter view."""
    names = ("front", "three-quarter front, figure's right", "profile, figure's right",
             "three-quarter back, figure's right", "back", "three-quarter back, figure's left",
             "profile, figure's left", "three-quarter front, figure's left")
    return names[round(angle / 45) % 8]


# ------------------------------------------------------------------------------------------------------------- reasons

_REASONS = {
    ReasonKind.ARMS_LOST: "both arms lost",
    ReasonKind.ARM_LOST: "one arm lost",
    ReasonKind.HAND_LOST: "one hand lost",
    ReasonKind.LEGS_AS_ONE: "legs read as one",
    ReasonKind.FEET_LOST: "both feet lost in the body",
    ReasonKind.FOOT_LOST: "one foot lost in the body",
    ReasonKind.HEAD_SUNK: "head sunk into the body",
    ReasonKind.HEAD_BEHIND_ARM: "head merged with a raised arm",
    ReasonKind.EDGES_TOUCH: "edges just touch",
    ReasonKind.COLUMN: "both sides of the outline match",
    ReasonKind.SIDES_MATCH: "both sides of the outline match",
    ReasonKind.NO_GAP: "no gap between limbs and body",
    ReasonKind.TOO_LITTLE: "limbs stand out too little from the body",
    ReasonKind.ALL_CLEAR: "head, both arms and both legs stand clear",
    ReasonKind.MOST_CLEAR: "most limbs stand clear",
    ReasonKind.GAP: "a clear gap",
    ReasonKind.COMPACT: "one compact mass",
}
_HAND_AT = {ReasonKind.ARMS_LOST: ", a hand at the ", ReasonKind.ARM_LOST: ", its hand at the ",
            ReasonKind.HAND_LOST: " at the "}
_PAIRS = {"shoulder": "shoulders", "hip": "hips", "knee": "knees", "foot": "feet"}
_HEIGHTS = ("high up", "half-way up", "low down")


def reason(why: Reason) -> str:
    """A reason in full: what, where on the body, on which side of the picture."""
    more = ": a straight, symmetric column" if why.kind == ReasonKind.COLUMN else ""
    torso = " in the torso" if why.in_torso else ""
    return _REASONS[why.kind] + more + torso + _where(why)


def brief(why: Reason) -> str:
    """A reason in a few words, for a drawing: without the side of the picture and without explanation."""
    torso = " in the torso" if why.in_torso and why.zone is None else ""
    return _REASONS[why.kind] + torso + _where(replace(why, side=None))


def _where(why: Reason) -> str:
    side = "" if why.side is None else ", in the middle" if why.side == "middle" else f", {why.side}"
    if why.zone is None:
        return side
    if why.kind in _HAND_AT:
        return f"{_HAND_AT[why.kind]}{why.zone}{side}"
    return f" {why.zone if why.zone in _HEIGHTS else f'at the {_PAIRS.get(why.zone, why.zone)}'}{side}"


def reasons(found: Iterable[Reason]) -> str:
    """Several reasons in a row: ``legs read as one; head sunk into the body``."""
    return "; ".join(map(reason, found))


def told(what: Reason | Note) -> str:
    """A reason or a note in full."""
    return reason(what) if isinstance(what, Reason) else note(what)


# --------------------------------------------------------------------------------------------------------------- notes

ASKS_NOTHING = frozenset({
    "angles from names", "angles from table", "angles spread", "angles from outlines", "not read", "empty used",
    "ring counts"})
"""Notes that a ranking leaves out: it tells these things in its own way."""


def note(what: Note) -> str:
    """The sentence, or sentences, for a note."""
    if what.kind == "of ring":
        return f"{words_rings.NAMES[what['ring']].capitalize()}. {note(of_itself(what))}"
    return (_NOTES | words_check.NOTES | words_rings.NOTES)[what.kind](what)


def of_itself(what: Note) -> Note:
    """A note without the ring that it is of."""
    return Note.of(**what["note"]) if what.kind == "of ring" else what


def notes(pose: Pose) -> list[str]:
    """Every note of a pose in a sentence; what is to be said of several rings is said once."""
    return said_once(pose.notes, len(pose.other_rings) + 1)


def said_once(what: Iterable[Note], shot: int, say: Callable[[Note], str] = note) -> list[str]:
    """Notes in sentences, those of several rings once, and without their names where it is all that were ``shot``."""
    told: dict[str, list[Ring]] = {}
    for one in what:
        told.setdefault(say(of_itself(one)), []).extend([one["ring"]] if one.kind == "of ring" else [])
    return [sentence if len(set(rings)) in (0, shot) else f"{words_rings.rings(rings).capitalize()}. {sentence}"
            for sentence, rings in told.items()]


def for_a_viewer(pose: Pose) -> list[str]:
    """What is said of the ring that counts for a viewer, beside the verdict; these are among :func:`notes`."""
    return [note(what) for what in pose.notes if what.kind in words_rings.FOR_A_VIEWER]


def in_short(what: Note) -> tuple[str, str] | None:
    """What several poses may share, for one line under a ranking: how angles that nobody gave were found, which empty
    picture was used; what it is about, and the rest of the line. None for a note of another kind."""
    what = of_itself(what)
    if what.kind == "ring counts":
        return "Ring", words_rings.counts_in_short(what)
    if what.kind == "empty used":
        return "Empty picture", f"{what['name']}."
    if what.kind == "angles from outlines":
        return "Angles", "found from their outlines."
    if what.kind != "angles spread":
        return None
    if what["seen"]:
        return "Angles", "spread evenly over half a turn, which their outlines show. If that is wrong, give --span 360."
    return "Angles", "spread evenly over the pictures in the order of their names."


def _spread(what: Note) -> str:
    whole = f"Angles: the {what['count']} pictures in the order of their names, spread over {what['span']:g} degrees."
    if what["seen"]:
        whole += " Their outlines show half a turn. If that is wrong, give --span 360."
    if what["last"] is None:
        return whole
    first = "the view opposite the first" if what["span"] == 180 else "the first"
    last = f"a repeat of {first}" if what["last"] == "repeats" else f"a stop of its own, one step before {first}"
    if what["span"] == 180 and what["last"] == "repeats":
        last = first
    return f"{whole} The last one counts as {last}. If that is wrong, put the angles in the file names."


def _from_outlines(n: Note) -> str:
    why = [f"a stop is missing after {name}" for name in n["missing_after"]]
    why += [f"{again} repeats {name}" for again, name in n["repeats"]]
    how = f"the steps are uneven: {', '.join(why)}" if why else f"the pictures cover {n['total']:.0f} degrees"
    return f"Angles: found from the outlines, to about {n['sure']:.0f} degrees, because {how}."


def _doubted(n: Note) -> str:
    return (f"The outlines disagree: {n['name']}, called {n['angle']:.0f}, seems to be shot from about "
            f"{n['told']:.0f}. Was a stop left out, or retaken later? Run silhouette check, and put the angles "
            "in the file names or in angles.csv.")


def _unlike(what: Note) -> str:
    angles = [degrees(angle) for angle in what["angles"]]
    where = f"At {listed(angles)} the" if len(angles) <= 6 else f"In {len(angles)} of {what['views']} views the"
    return (f"{'The' if what['views'] == 1 else where} outline does not look like one body. Does somebody, or "
            "something large, touch the model? Then take these pictures again. If not, check the cut-out.")


def _empty_found(n: Note) -> str:
    one = len(n["names"]) == 1
    shows = f"{listed(n['names'])} {'shows' if one else 'show'} the room without the model"
    if not n["used"]:
        return f"{shows}; {'it is not a stop' if one else 'they are not stops'}."
    return (f"{shows}; it is used as the empty picture, not as a stop." if one else
            f"{shows}; the first is used as the empty picture, and none is a stop.")


def _empty_end(n: Note) -> str:
    used = "it is used as the empty picture" if n["used"] else "it is not a stop"
    walks = " What shows the model walking in or out was left out." if n["walking"] else ""
    return f"The {n['end']} second of the clip shows the room without the model; {used}.{walks}"


def _stops_gone(n: Note) -> str:
    one = len(n["names"]) == 1
    return (f"{listed(n['names'])} {'stands' if one else 'stand'} in {n['table']} but {'is' if one else 'are'} not in "
            f"the folder; {'it was' if one else 'they were'} left out.")


def _empty_unfit(n: Note) -> str:
    if n["cause"] == "unreadable":
        return f"{n['name']} {n['why']} It was not used as the empty picture."
    why = {
        "upright": "does not fit: it is upright, the other pictures are wide",
        "wide": "does not fit: it is wide, the other pictures are upright",
        "shape": "does not fit: it has another shape than the other pictures",
        "other room": "does not fit: it shows another room, or the camera was moved or the light changed",
        "somebody": "shows somebody",
    }[n["cause"]]
    return f"{n['name']} {why}; it was not used as the empty picture."


def not_read(what: Note) -> str:
    """Why a pose was not read, as a sentence that begins small."""
    count = what["count"]
    return {
        "problem": str(what["first"]),
        "problems": f"none of its {count} pictures can be read. The first: {what['first']}",
        "no figure": "no figure was found." if count == 1 else f"no figure was found in its {count} pictures.",
        "two people": "two people are in the picture, and the program cannot tell which one you mean.",
        "not trusted": "the figure does not stand out well enough from the backdrop to be scored.",
    }[what["cause"]]


_NOTES: dict[str, Callable[[Note], str]] = {
    "angles from names": lambda n: "Angles: from the file names.",
    "angles from table": lambda n: f"Angles: from {n['file']}.",
    "angles spread": _spread,
    "angles from outlines": _from_outlines,
    "angles doubted": _doubted,
    "problem": lambda n: str(n["text"]),
    "several poses": lambda n: (
        f"These pictures look like several poses: {', '.join(n['names'])}. Give each pose a folder of its own."),
    "on its side": lambda n: (
        "The figure lies on its side in every picture. If it stands, turn the pictures upright first."),
    "empty used": lambda n: f"{n['name']} shows the room without the model; it was used to cut out the figure.",
    "empty found": _empty_found,
    "empty end": _empty_end,
    "empty unfit": _empty_unfit,
    "unlike one body": _unlike,
    "not read": lambda n: f"Not read: {not_read(n)}",
    "gap closed": lambda n: f"the gap seen at {degrees(n['at'])} has closed",
    "stops gone": _stops_gone,
    "said": lambda n: str(n["text"]),
}
