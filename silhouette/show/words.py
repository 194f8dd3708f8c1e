"""The sentences that people read, in one place: verdicts, angles, what a flag means."""

from __future__ import annotations

import re

from silhouette import records
from silhouette.records import CANNOT_TELL, INFERRED, Pose, Ranking, View

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


def headline(pose: Pose) -> str:
    """The verdict in one line."""
    if pose.round.reads_degrees is None:
        return "too few views to say how far round it reads"
    return f"reads from {pose.round.reads_degrees} of {pose.round.counted_degrees} degrees"


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
    counted = "" if ranking.arc is None else f", counted from {stretch(*ranking.arc)}"
    return f"Read as {ranking.meant}{counted}"


def remarks(pose: Pose) -> str:
    """What stands beside a pose's name: what it is meant to be where that is not open, and whom it ties with."""
    meant = [f"meant {pose.intent}"] if pose.intent != "open" else []
    tied = [f"too close to call against {listed(pose.tied_with)}"] if pose.tied_with else []
    return ", ".join([*meant, *tied])


def degrees(angle: float) -> str:
    """An angle as printed: whole degrees, 0 to 359."""
    return f"{round(angle) % 360}"


def stretch(start: float, end: float) -> str:
    """An arc as printed, clockwise."""
    return "all round" if round(end - start) % 360 == 0 else f"{degrees(start)} to {degrees(end)}"


def standing(view: View) -> str:
    """How a view stands, in a word or two: its band, or why it has none."""
    if view.outline is None:
        return "no figure"
    if not view.scored or view.reading is None:
        return CANNOT_TELL
    return f"{view.reading.band}, {INFERRED}" if view.inferred else view.reading.band


def brief(why: str) -> str:
    """A reason in a few words, without the place and the explanation that may follow."""
    return re.sub(r"(, (picture|the middle|at the|it does)\b|:).*$", "", why)


def side_of(angle: float) -> str:
    """What is seen at an angle: front, back, a profile or a three-quarter view."""
    names = ("front", "three-quarter, its right", "right profile", "three-quarter back, its right", "back",
             "three-quarter back, its left", "left profile", "three-quarter, its left")
    return names[round(angle / 45) % 8]


def listed(items: list[str] | tuple[str, ...], last: str = "and") -> str:
    """``a, b and c``."""
    items = list(items)
    return f"{', '.join(items[:-1])} {last} {items[-1]}" if len(items) > 1 else "".join(items)
