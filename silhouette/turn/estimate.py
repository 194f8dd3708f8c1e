"""How far the model turned between stops, from the outlines alone; for clips and for stills without angles.

A rigid figure on a fixed spot has one reach in every direction and height, and the outlines sample it. The angles that
make all of them agree are found by :mod:`silhouette.turn.angle_fit`; how much the picture moved between the stops gives
further first guesses. An outline cannot tell which way the model turned: the person says that.
"""

from __future__ import annotations

from collections.abc import Sequence
from typing import Literal, NamedTuple

import numpy as np
from numpy.typing import NDArray

from silhouette.records import Mask, Note
from silhouette.turn import angle_fit, stance, support_function

Floats = NDArray[np.float64]

GUESSES = (300.0, 345.0, 360.0, 390.0, 420.0, 240.0, 180.0)
"""Degrees that the whole turn is first taken to be; each leads to a fit and the best explains the outlines best."""
MOTION_GUESSES = (300.0, 360.0, 390.0)
"""The same for steps in proportion to the motion between stops, which adds fits, so fewer of them."""
STEP_SHARES = (0.33, 4.0)
"""A step by motion is taken to be at least and at most this many usual ones: a still hand or a passer-by changes the
picture as well."""
LEAST_TURN = 100.0
"""A whole clip that turns less, degrees, is no turn: a figure that wanders about can be explained by not turning."""
FEW_ROWS, ALL_ROWS = 16, 32
ROUGHLY = 0.3
"""A guess is followed until no angle moves further than this, degrees: its cost is told by then."""
REFINED = 3
"""Guesses that are followed to the end."""
ALIKE = 1.0
"""Of guesses that no stop of which lies farther apart than this, degrees, one is followed: they end a few tenths of a
degree from each other."""
UNDERSTATED = 1.4
"""The fit's own spread is too small by this factor: true errors over spreads on rendered turns."""
LEAST_SURE = 2.0
"""Half width of the 90 % interval is never given smaller, degrees."""
ADRIFT = 45.0
"""The same where the camera was moved on the way, degrees."""
TO_90 = 1.645
"""Half width of the 90 % interval of a normal distribution over its standard deviation."""
NOT_TOLD = 20.0
"""The same where the outlines do not tell and the stops are spread, degrees."""


class Turned(NamedTuple):
    """The angles of a turn and what is known of them."""

    angles: Floats
    """(n,) degrees, 0 <= angle < 360, where the camera stands round the figure."""
    sure: Floats
    """(n,) half width of the 90 % interval, degrees; 0 for the first stop, which is given."""
    notes: tuple[Note, ...]
    """What the person should know of them."""
    turned: Floats
    """(n,) degrees turned since the first stop, growing past 360."""


def estimate_angles(
    masks: Sequence[Mask | None], motion_share: NDArray[np.float64] | None = None, *,
    start: float = 0.0, turn: Literal["left", "right"] = "left",
) -> Turned:
    """Angle of every stop of a turn.

    Parameters
    ----------
    masks : n masks of one size in the order shot, from a camera that stood still; None where there is no trusted cut
    motion_share : (n - 1,) share of all motion between neighbouring stops, for a clip
    start : angle of the first stop, degrees
    turn : which way the model turned, to its own left (angles grow) or right

    Notes
    -----
    Fitting takes 1 to 2 s for 25 stops. With fewer than 6 usable outlines, or none that fill the same rows, the angles
    are spread by the motion over one full turn, and the notes say so.
    """
    n = len(masks)
    usable = [k for k, m in enumerate(masks) if m is not None and m.any()]
    share = _share(motion_share, n)
    fit = None
    if len(usable) >= 6 and len({masks[k].shape for k in usable}) == 1:  # type: ignore[union-attr]
        fit = _best_fit([masks[k] for k in usable], share, usable, turn == "right")  # type: ignore[misc]
    if fit is None:
        return _by_motion(share, n, start, turn)
    turned, spread = _between(fit, usable, share, n)
    sure = np.maximum(LEAST_SURE, TO_90 * UNDERSTATED * spread)
    sure[0] = 0.0
    notes = _notes(turned, sure, usable)
    moved = stance.jump([masks[k] for k in usable])  # type: ignore[misc]
    if moved is not None:
        sure = np.maximum(sure, ADRIFT * (np.arange(n) > 0))
        notes = (Note.of("camera moved", before=usable[moved], count=n),)
    return Turned(_angles(turned, start, turn), sure, notes, turned)


def _best_fit(masks: list[Mask], share: Floats | None, usable: list[int], mirrored: bool) -> angle_fit.Fit | None:
    """The fit that explains the outlines best, from several first guesses."""
    few = support_function.measure(masks, FEW_ROWS, mirrored=mirrored)
    full = support_function.measure(masks, ALL_ROWS, mirrored=mirrored)
    if few is None or full is None:
        return None
    places = np.asarray(usable, dtype=np.float64)
    even = places - usable[0]
    guesses = [even / even[-1] * total for total in GUESSES]
    if share is not None:
        moved = np.concatenate([[0.0], np.cumsum(share)])[usable]
        moved = (moved - moved[0]) / max(moved[-1] - moved[0], 1e-9)
        guesses += [moved * total for total in MOTION_GUESSES]
    tried = []
    for guess in guesses:
        try:
            fit = angle_fit.fit(few, guess, rounds=12, settled=ROUGHLY, places=places)
        except np.linalg.LinAlgError:
            continue
        if fit.turned[-1] > LEAST_TURN:
            tried.append(fit)
    tried.sort(key=lambda f: f.cost)
    finished = [angle_fit.fit(full, f.turned, places=places) for f in _apart(tried[:REFINED])]
    finished = [f for f in finished if f.turned[-1] > LEAST_TURN]
    return min(finished, key=lambda f: f.cost, default=None)


def _apart(fits: Sequence[angle_fit.Fit]) -> list[angle_fit.Fit]:
    """The fits, less those that are like one before them."""
    kept: list[angle_fit.Fit] = []
    for fit in fits:
        if all(np.abs(fit.turned - other.turned).max() > ALIKE for other in kept):
            kept.append(fit)
    return kept


def _share(motion_share: NDArray[np.float64] | None, n: int) -> Floats | None:
    """The motion between stops made fit for a first guess: no step far from the usual one."""
    if motion_share is None or len(motion_share) != n - 1 or n < 3:
        return None
    usual = float(np.median(motion_share))
    if usual <= 0:
        return None
    share = np.clip(motion_share / usual, *STEP_SHARES)
    return np.asarray(share / share.sum(), dtype=np.float64)


def _between(fit: angle_fit.Fit, usable: list[int], share: Floats | None, n: int) -> tuple[Floats, Floats]:
    """Angles of all n stops, those without an outline between their neighbours, by motion if known; and all spreads."""
    clock = np.arange(n, dtype=float) if share is None else np.concatenate([[0.0], np.cumsum(share)]) * (n - 1)
    known = clock[usable]
    turned = np.interp(clock, known, fit.turned)
    rate = float((fit.turned[-1] - fit.turned[0]) / max(known[-1] - known[0], 1e-9))
    outside = (clock < known[0]) | (clock > known[-1])
    turned[outside] = np.where(
        clock < known[0], fit.turned[0] + (clock - known[0]) * rate, fit.turned[-1] + (clock - known[-1]) * rate
    )[outside]
    spread = np.interp(clock, known, fit.spread)
    away = np.abs(np.arange(n)[:, None] - np.asarray(usable)[None]).min(axis=1)  # stops to the next one with an outline
    spread += away * rate / 4
    return turned - turned[0], spread


def _by_motion(share: Floats | None, n: int, start: float, turn: str) -> Turned:
    """One full turn, spread by the motion or evenly, where outlines do not serve."""
    steps = np.full(max(n - 1, 0), 360.0 / max(n, 1)) if share is None else share * 360.0 * (n - 1) / n
    turned = np.concatenate([[0.0], np.cumsum(steps)])[:n]
    sure = np.full(n, NOT_TOLD)
    sure[:1] = 0.0
    if n < 2:
        return Turned(_angles(turned, start, turn), sure, (), turned)
    how = "evenly" if share is None else "by motion"
    note = Note.of("angles not told", spread=how, sure=NOT_TOLD)
    return Turned(_angles(turned, start, turn), sure, (note,), turned)


def _angles(turned: Floats, start: float, turn: str) -> Floats:
    return np.asarray((start + (turned if turn == "left" else -turned)) % 360.0, dtype=np.float64)


def _notes(turned: Floats, sure: Floats, usable: list[int]) -> tuple[Note, ...]:
    notes = [Note.of("angles found", usual=float(np.median(sure[1:])), worst=float(sure.max()))]
    blind = len(turned) - len(usable)
    return tuple([*notes, Note.of("stops without outline", count=blind)] if blind else notes)
