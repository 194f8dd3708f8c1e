"""The sentences that people read, in one place: verdicts, angles, what a flag means."""

from __future__ import annotations

import math
import re
from collections import Counter
from collections.abc import Sequence
from statistics import median

from silhouette import records
from silhouette.records import CANNOT_TELL, INFERRED, Pose, Ranking, View
from silhouette.show.words_check import listed as listed
from silhouette.show.words_check import named as named

SIDES = {0: "front", 90: "its right", 180: "back", 270: "its left"}
"""Names for the four square-on views; "its" is the figure's own."""

FLAGS = {
    records.UNREADABLE: "the file could not be read as a picture",
    records.NO_FIGURE: "nothing that could be a figure stands in it",
    records.CANNOT_TELL: "the cut-out is not trusted, so it is shown but not scored",
    records.CUT_BY_FRAME: "the figure touches the edge of the picture",
    records.SMALL_FIGURE: "the figure fills less than a quarter of the picture's height",
    records.TWO_FIGURES: "two figures stand in it; the larger one was read",
    records.BACK_LIGHT: "the light comes from behind, so edges may be eaten",
    records.BLURRED: "it is blurred",
    records.SAME_ANGLE: "another picture has this angle too",
    records.ONE_PICTURE: "one picture only, so nothing can be said of the round",
    records.INFERRED: "mirrored from the opposite view; no picture of it exists",
    records.GIVEN_MASK: "the mask was drawn by hand",
    records.SHAPE_ALONE: "unlike a body, so read by its shape alone",
}
"""What each flag of a view means."""

CANNOT_SEE = "An outline shows no inner form, expression or surface. This helps to look; it does not judge."
"""What every page says of itself."""


STRENGTHS = ("head, both arms and both legs stand clear", "most limbs stand clear", "a clear gap opens the shape")
"""How the reasons begin that speak for a view."""

UNREAD = {
    records.TWO_FIGURES: ("two people stand in it", "two people stand in {}",
                          "with the model alone in the picture"),
    records.UNREADABLE: ("no file of it opens as a picture", "{} cannot be opened",
                         "copying the files from the phone once more"),
    records.NO_FIGURE: ("no figure was found in it", "no figure was found in {}",
                        "with the whole figure in the picture, before a plain wall"),
    records.CANNOT_TELL: ("the cut-out is not trusted", "the cut-out is not trusted in {}",
                          "before a plain wall unlike skin and hair, in even light; or correct the masks by hand"),
}
"""Why a pose could not be read, likeliest first: of all its pictures, of some of them; and how to take it again."""

NOT_READ = "Not read: "
"""How the note of a pose begins that says why it was not read."""
CLOSED_HINT = "If it is meant to be closed, say --intent closed."
COMPACT = 1.6
"""Height over width under which a figure is as compact as one that sits or crouches; one that stands is over 2."""
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
    return f"reads from {pose.round.reads_degrees} of {pose.round.counted_degrees} degrees"


def unread(pose: Pose) -> str:
    """Why nothing can be said of a pose, none of whose views is scored; empty where one is."""
    cause = unread_cause(pose)
    if cause is None:
        return ""
    flag, count = cause
    if flag not in UNREAD:
        return flag
    every, some, _ = UNREAD[flag]
    return every if count == len(pose.views) else some.format(f"{count} of its {len(pose.views)} pictures")


def unread_cause(pose: Pose) -> tuple[str, int] | None:
    """What kept most views from being scored, as a flag or a sentence, and how many; None where one is scored."""
    if any(view.scored for view in pose.views) or pose.round.reads_degrees is not None:
        return None
    causes = [next((flag for flag in UNREAD if flag in view.flags), (view.problem or CANNOT_TELL).rstrip("."))
              for view in pose.views]
    if not causes:
        # Views without an angle have no place among those that are drawn, but the notes tell of them.
        told = [note.removeprefix(NOT_READ).rstrip(".") for note in pose.notes if note.startswith(NOT_READ)]
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


def is_praise(why: str) -> bool:
    """Whether a reason speaks for a view."""
    return why.startswith(STRENGTHS)


def place_of(pose: Pose) -> str:
    """A pose's name with its rank before it, where it has one."""
    return pose.name if pose.rank is None else f"{pose.rank}  {pose.name}"


def between(pose: Pose) -> str:
    """The verdict's plus-minus: ``between 119 and 134``; empty where there is none to tell."""
    if pose.reads_low is None or pose.reads_low == pose.reads_high:
        return ""
    return f"between {pose.reads_low} and {pose.reads_high}"


def give_or_take(pose: Pose) -> str:
    """The verdict's plus-minus as a sentence's part; empty where there is none."""
    if pose.reads_low is not None and pose.reads_low == pose.reads_high:
        return f"still {pose.reads_low} when views are left out and edges moved"
    return f"9 times in 10 {between(pose)}" if between(pose) else ""


def asked(ranking: Ranking) -> str:
    """What the poses were read as, and from where: ``Read as open, counted from 300 to 60``."""
    counted = "" if ranking.arc is None else f", counted from {from_to(*ranking.arc)}"
    return f"Read as {ranking.meant}{counted}"


def remarks(pose: Pose) -> str:
    """What stands beside a pose's name: what it is meant to be where that is not open, and whom it ties with."""
    meant = [f"meant {pose.intent}"] if pose.intent != "open" else []
    tied = [f"too close to call against {listed(pose.tied_with)}"] if pose.tied_with else []
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
        and abs((other.angle - view.angle + 180) % 360 - 180) <= SAME_PLACE for other in views)


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


def brief(why: str) -> str:
    """A reason in a few words, without the place in the picture and the explanation that may follow."""
    short = re.sub(r"(, (picture|the middle|at the|it does)\b|:).*$", "", why)
    return re.sub(r" in the torso(?=, (a|its) hand\b)", "", short)


def side_of(angle: float) -> str:
    """What is seen at an angle: front, back, a profile or a three-quarter view."""
    names = ("front", "three-quarter, its right", "right profile", "three-quarter back, its right", "back",
             "three-quarter back, its left", "left profile", "three-quarter, its left")
    return names[round(angle / 45) % 8]
