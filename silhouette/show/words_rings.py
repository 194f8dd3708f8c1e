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


NOTES: dict[str, Callable[[Note], str]] = {
    "ring counts": lambda n: f"From the height of a viewer's eye the {NAMES[n['ring']]} counts; the headline is of it.",
    "ring wanted": _wanted,
    "ring left out": lambda n: f"The {NAMES[n['ring']]} was left out. {n['why']}",
}
