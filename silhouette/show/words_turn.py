"""What is said of a turn while it is being shot: what moved, what is wrong with a stop, what is still to be shot."""

from __future__ import annotations

from collections.abc import Sequence

from silhouette.records import CANNOT_TELL, CUT_BY_FRAME, NO_FIGURE, TWO_FIGURES
from silhouette.records_find import Way
from silhouette.records_shoot import Held
from silhouette.show.words_live import stop_name

UP_DOWN = 0.01
"""Figure heights from which what moved is said to be lower or higher, and not just elsewhere."""
TROUBLES = {
    NO_FIGURE: "nobody in it", TWO_FIGURES: "two figures in it", CUT_BY_FRAME: "cut off by the frame",
    CANNOT_TELL: "cut-out not trusted",
}
"""What is wrong with a stop, gravest first, in a few words."""
UNREADABLE_STILL = "cannot be read"


def pose_moved(name: str, held: Held) -> str:
    """What moved, at the stop where it is worst."""
    way = "lower" if held.sank > UP_DOWN else "higher" if held.sank < -UP_DOWN else "elsewhere"
    return (f"At stop {stop_name(name)} the figure at {held.where} is {way} than at the first stops, by about "
            f"{max(1, round(100 * held.far))} % of its height.")


def camera_moved(before: str, after: str) -> str:
    """The whole picture shifted."""
    return (f"Between stop {stop_name(before)} and stop {stop_name(after)} the whole figure jumps in the picture. "
            "Were you on your mark, and did the camera stand still?")


def trouble(flags: Sequence[str], trusted: bool) -> str:
    """What is wrong with a stop; empty where nothing is known to be."""
    for flag, words in TROUBLES.items():
        if flag in flags:
            return words
    return "" if trusted else TROUBLES[CANNOT_TELL]


WHY = {
    "held pose": "the pose had changed", "steady light": "the light had changed", "sharpness": "it is blurred",
    "stance": "the model stood off their spot", "framing": "the frame cuts the figure, or it is not alone",
    "doubled stops": "it shows the view of its neighbour",
}
"""Why a stop is to be taken again, by the question of the check that it failed."""


def retake(name: str, checks: Sequence[str]) -> str:
    """One stop to take again, and why."""
    why = [WHY[check] for check in checks if check in WHY]
    return f"Retake stop {stop_name(name)}{': ' if why else ''}{' and '.join(why)}."


def missing(after: str, count: int, on: bool) -> str:
    """Stops that are missing: between two, or (``on``) at the end of the turn."""
    stops = "One stop is" if count == 1 else f"{count} stops are"
    if on:
        return f"{stops} missing to close the turn: go on from stop {stop_name(after)}."
    return f"{stops} missing after stop {stop_name(after)}."


WAYS: dict[Way, str] = {
    "left": "{} to picture left", "right": "{} to picture right", "higher": "{} higher", "lower": "{} lower",
    "larger": "{} larger", "smaller": "{} smaller", "leans left": "leans {} to picture left",
    "leans right": "leans {} to picture right", "wider": "{} wider apart", "closer": "{} closer together",
    "out": "{} farther out", "in": "{} farther in",
}
MIRRORED = "mirrored: turn the other way round"


def off(by: float, part: str, way: Way) -> str:
    """How far a part is off, in per cent of the figure's height: ``picture right arm: 6 % higher``."""
    return f"{part}: {WAYS[way].format(f'{round(100 * by)} %')}"
