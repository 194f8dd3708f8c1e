"""The sentences about rings, their cameras, blind spots and close-ups; nobody who has one ring reads any of them."""

from __future__ import annotations

from collections.abc import Callable

from silhouette.records import Note
from silhouette.settings import Ring

FROM: dict[Ring, str] = {"low": "from below", "level": "level", "high": "from above"}
"""How what a ring shows is called in a headline: ``from below 240, from above 310``."""
NAMES: dict[Ring, str] = {"low": "low ring", "level": "level ring", "high": "high ring"}


def _wanted(n: Note) -> str:
    return (f"From the height of a viewer's eye the {NAMES[n['ring']]} counts, and none was shot. The headline is of "
            f"the {NAMES[n['counts']]}, which is nearest. Shoot the {NAMES[n['ring']]}.")


_UNKNOWN = {
    "few": "it has too few clear outlines, 8 are needed", "half": "its stops do not go all round",
    "frame": "the frame cuts the figure at most of its stops", "sizes": "its pictures have several sizes",
    "body": "its outlines are not those of a body",
}
_OUTSIDE = {
    "lower": "lower than 0.2 m", "higher": "higher than 2.6 m", "nearer": "nearer than 2.6 m",
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
        f"Where the camera of the {NAMES[n['ring']]} stood could not be found: {_UNKNOWN[str(n['why'])]}. Give its "
        "height with --camera-height."),
    "ring camera outside": lambda n: (
        f"The camera of the {NAMES[n['ring']]} stood {_OUTSIDE[str(n['where'])]}, where the reader was not taught: "
        "trust its views less."),
    "ring of another pose": lambda n: (
        f"The {NAMES[n['ring']]} shows another pose than the {NAMES[n['than']]}. Compare them, and "
        "shoot one of them again."),
    "ring counts": lambda n: f"From the height of a viewer's eye the {NAMES[n['ring']]} counts; the headline is of it.",
    "ring wanted": _wanted,
    "ring left out": lambda n: f"The {NAMES[n['ring']]} was left out. {n['why']}",
}
