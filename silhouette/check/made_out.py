"""Which figures were made out: the only outlines that a question may rest on.

A cut that is not trusted is shown and named, but has no vote. A question that speaks of every stop, or of all of them
together, answers from :data:`HALF` of the stops on; one that asks for a single number of the whole shoot, such as the
figure's size, from :data:`FEW`. Else the answer is ``unknown``, and says in how many stops the figure was not made out.
"""

from __future__ import annotations

from collections.abc import Sequence

from silhouette.records import CANNOT_TELL
from silhouette.records_shoot import Finding, Shot, StopLook
from silhouette.settings import TRUST

HALF = 0.5
"""Share of the stops from which they speak for the whole turn: fewer, and each has more neighbours that nobody saw."""
FEW = 0.25
"""Share of the stops whose median stands for one number of the whole shoot, such as the figure's height."""


def made_out(looks: Sequence[StopLook]) -> tuple[int, ...]:
    """The stops whose cut is trusted, counted from 0 in the order shot."""
    return tuple(
        k for k, look in enumerate(looks)
        if look.mask.any() and look.confidence >= TRUST and CANNOT_TELL not in look.flags
    )


def enough(looks: Sequence[StopLook], share: float = HALF) -> bool:
    """Whether the figure was made out in this share of the stops, and in one at least."""
    return len(made_out(looks)) >= max(share * len(looks), 1)


def too_few(check: str, shot: Shot, share: float = HALF) -> Finding | None:
    """What is answered where the figure was made out in less than this share of the stops; None where it was."""
    if enough(shot.looks, share):
        return None
    count = len(shot.looks)
    return Finding.of(check, "unknown", "too few made out", unseen=count - len(made_out(shot.looks)), count=count)


def no_turn(check: str, shot: Shot) -> Finding | None:
    """What is answered where the pictures show no turn on the spot; None where they may."""
    return None if shot.no_turn is None else Finding.of(check, "unknown", "no turn", how=shot.no_turn)
