"""A turn while it is being shot: where the stops so far stand, and whether the newest still show the pose of the first.

The whole turn is judged by :mod:`silhouette.turn.rigidity` once it is there. Here less is known and more is at stake: a
model who is told that they moved puts the arm up again, and a false alarm costs their trust. So every nearness of the
camera that may be right is given the benefit of the doubt, and only the newest stops can begin an alarm: a pose moves
at the stop that was taken last.
"""

from __future__ import annotations

from collections.abc import Collection, Sequence
from dataclasses import dataclass, replace
from typing import Literal

import numpy as np
from numpy.typing import NDArray

from silhouette.records import Mask
from silhouette.records_shoot import Held
from silhouette.turn import angle_fit, estimate, rigidity, stance, steps, support_function, visual_hull

Floats = NDArray[np.float64]

LEAST_TOLD = 8
"""Outlines from which angles are told: one from every 45 degrees. A body that turns can be fitted to any fewer."""
LIKE_PLAN, SURE_FROM = (0.7, 1.45), 12
"""Before so many outlines are there, a usual step must lie within these shares of the planned one to be believed."""
NEWEST = 3
"""The stops that can begin an alarm, counted from the last; besides those that were not looked at yet."""
STICKS_OUT = 0.0018
"""Share of the figure's area that sticks out of what the stops before allow, from which one of the newest has moved.
Of 26 rendered turns whose pose is held, in 350 looks from the tenth stop on, none reaches it; arms that sink by a
fiftieth of the figure's height do."""
STILL_OUT = 0.0012
"""The same from which a stop stays called moved."""
LEAST_TURNED = 150.0
"""Degrees before which nothing is said: views from opposite sides are still to come."""
NEARNESSES = (0.42, 0.3, 0.51, 0.6, 0.22, 0.36, 0.15)
"""Figure height over camera distance, likeliest first: tried one after the other until nothing sticks out."""
AGAIN = 2
"""How many of them are tried where an alarm is on already."""
ROWS, ROUNDS = 32, 8
"""Rows, and rounds of fitting, from which the turning axis is taken."""


@dataclass(frozen=True)
class SoFar:
    """What the outlines of n stops tell by now."""

    turned: Floats | None
    """(n,) degrees turned since the first stop, growing; None while they do not tell."""
    moved: tuple[int, ...] = ()
    """Stops whose pose is not that of the first ones."""
    how: Held | None = None
    """What moved at the worst of them."""
    jumped: int | None = None
    """The stop before which the whole picture shifted, as it does when the camera is moved."""
    closes: bool = False
    """Whether the last stop shows the first one's view again after a full turn."""

    @property
    def worst(self) -> int:
        """The stop at which ``how`` holds."""
        assert self.how is not None
        share = self.how.share
        return max(self.moved, key=lambda k: share[k])


def look(
    masks: Sequence[Mask | None], *, turn: Literal["left", "right"] = "left", step: float = 15.0,
    called: Collection[int] = (), new: Collection[int] = (),
) -> SoFar:
    """Look at all stops so far; takes well under a second for 25 of them.

    Parameters
    ----------
    masks : n masks of one size in the order of the turn, from a camera that stood still; None where there is no trusted
        cut-out
    turn : which way the model turns
    step : degrees from stop to stop by the plan
    called : stops that were called moved before
    new : stops that were not looked at before
    """
    seen = [k for k, mask in enumerate(masks) if mask is not None and mask.any()]
    trusted = [masks[k] for k in seen]
    if len({mask.shape for mask in trusted if mask is not None}) != 1:
        return SoFar(None)
    clear = [mask for mask in trusted if mask is not None]
    jumped = stance.jump(clear) if len(clear) > 1 else None
    if jumped is not None:
        return SoFar(None, jumped=seen[jumped])
    turned = _turned(masks, seen, turn, step)
    if turned is None:
        return SoFar(None)
    usual = steps.usual_step(turned)
    closes = bool(turned[-1] >= 360 - max(NOT_ROUND, usual / 3))
    if turned[seen[-1]] < LEAST_TURNED:
        return SoFar(turned, closes=closes)
    old = {k for k, stop in enumerate(seen) if stop in called}
    newest = {k for k, stop in enumerate(seen) if stop in new or k >= len(seen) - NEWEST}
    how = _moved(clear, turned[seen], turn == "right", old, newest)
    if how is None:
        return SoFar(turned, closes=closes)
    share = np.full(len(masks), np.nan)
    share[seen] = how.share
    moved = tuple(seen[k] for k in how.moved)
    return SoFar(turned, moved, replace(how, moved=moved, share=share), closes=closes)


NOT_ROUND = 4.0
"""Short of a full turn by this, or a third of a step, it is open."""


def _turned(masks: Sequence[Mask | None], seen: Sequence[int], turn: Literal["left", "right"], step: float
            ) -> Floats | None:
    """Degrees turned at every stop, if the outlines tell them."""
    if len(seen) < LEAST_TOLD:
        return None
    told = estimate.estimate_angles(masks, turn=turn)
    if float(np.median(told.sure[1:])) >= estimate.NOT_TOLD:
        return None
    usual = steps.usual_step(told.turned)
    like_plan = LIKE_PLAN[0] * step <= usual <= LIKE_PLAN[1] * step
    return told.turned if like_plan or len(seen) >= SURE_FROM else None


def _moved(
    masks: list[Mask], turned: Floats, mirrored: bool, called: Collection[int], newest: Collection[int]
) -> Held | None:
    """Which of the stops do not belong to the pose of the first, and how the worst of them differs."""
    turning = _on_its_axis(masks, turned, mirrored)
    if turning is None:
        return None
    best: tuple[float, float, visual_hull.Carved] | None = None
    for nearness in NEARNESSES if not called else NEARNESSES[:AGAIN]:
        carved, _ = visual_hull.carve(turning, nearness)
        worst = max(float(carved.share[k]) for k in {*called, *newest})
        if best is None or worst < best[0]:
            best = worst, nearness, carved
        if worst < STILL_OUT:
            return None
    assert best is not None
    _, nearness, carved = best
    moved = [k for k, share in enumerate(carved.share)
             if (k in newest and share > STICKS_OUT) or (k in called and share > STILL_OUT)]
    if not moved or _unfit(carved.share, turned):
        return None
    return rigidity.described(turning, tuple(moved), len(moved) > 1, carved, nearness)


def _on_its_axis(masks: list[Mask], turned: Floats, mirrored: bool) -> visual_hull.Turn | None:
    """The outlines at working size, with the turning axis where the slices of a rigid body say that it is.

    The middles of the outlines, from which a whole turn's axis is taken, lie to one side of it on half a turn.
    """
    seen = support_function.measure(masks, ROWS, mirrored=mirrored)
    if seen is None:
        return None
    try:
        fitted = angle_fit.fit(seen, np.asarray(turned - turned[0]), rounds=ROUNDS)
    except np.linalg.LinAlgError:
        return None
    turning = visual_hull.prepare(masks, turned, mirrored=mirrored)
    axis = seen.axis_px + fitted.axis * seen.height_px
    return replace(turning, axis=axis * turning.scale)


def _unfit(share: Floats, turned: Floats) -> bool:
    """Whether so much sticks out, and so early, that the pictures do not belong together: the pose is not blamed."""
    early = np.abs(turned) < rigidity.EARLY_DEG
    many = float((share > rigidity.MOVED).mean()) > rigidity.UNFIT
    return many and float((share[early] > rigidity.MOVED).mean()) > rigidity.EARLY_UNFIT
