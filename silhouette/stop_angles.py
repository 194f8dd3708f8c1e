"""At what angle each stop was taken: one answer for score, rank, check and export.

Of stills, in this order: their names, ``angles.csv`` beside them, the camera's own numbers where they are plainly parts
of a turn. Stills that state no angle are spread evenly, unless their outlines show that they were not shot so. Of a
clip, and of stills that ``turn.csv`` beside them calls one live turn, the outlines and how much the picture moved: who
turned before a live camera stopped where they stopped. How far each angle can be trusted is ``Stop.angle_sure``.
"""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import replace
from typing import NamedTuple

import numpy as np
from numpy.typing import NDArray

from silhouette.geometry.angles import apart
from silhouette.intake import filenames
from silhouette.reading import circle
from silhouette.records import Cut, Mask, Note, Stop
from silhouette.settings import TRUST, Settings
from silhouette.shape import outline
from silhouette.texts import printable
from silhouette.turn import estimate, respread

Floats = NDArray[np.float64]

LEAST_FITTED = 6
"""Stops from which outlines tell at all how far a model turned."""


class Assigned(NamedTuple):
    """Stops with their angles."""

    stops: tuple[Stop, ...]
    notes: tuple[Note, ...]
    """How the angles were found, for the person."""
    turned: Floats | None = None
    """(n,) degrees turned since the first stop as the outlines of stills without angles tell, negative where the model
    turned to its right; None where they do not, or were not asked."""


def assign_angles(
    stops: Sequence[Stop],
    cuts: Sequence[Cut | None],
    settings: Settings,
    *,
    given: Sequence[filenames.Angled] | None = None,
    motion: Floats | None = None,
) -> Assigned:
    """Say at which angle each of the stops was taken.

    Parameters
    ----------
    stops, cuts : of one pose, in the order shot
    given : what names or ``angles.csv`` say, one a stop; None where they say nothing
    motion : (n - 1,) share of all motion between the stops of a clip or of a live turn, where that is known
    """
    masks = [cut.mask if cut is not None and cut.confidence >= TRUST else None for cut in cuts]
    if given is not None:
        return _as_given(stops, given)
    if all(stop.angle_from == "clip" for stop in stops):
        turn = estimate.estimate_angles(masks, motion, start=settings.start, turn=settings.turn)
        return Assigned(_with(stops, turn.angles, turn.sure, "clip"), turn.notes)
    return _by_outlines(stops, cuts, masks, settings)


def _as_given(stops: Sequence[Stop], given: Sequence[filenames.Angled]) -> Assigned:
    by_name = given[0].angle_from == "name"
    where = "its name" if by_name else filenames.CSV_NAME
    angled = []
    for stop, (angle, how) in zip(stops, given, strict=True):
        if angle is None:
            lacking = f"{printable(stop.source)}: {where} gives no angle; left out."
            angled.append(replace(stop, angle=float("nan"), angle_from=how, problem=stop.problem or lacking))
        else:
            angled.append(replace(stop, angle=angle, angle_from=how))
    note = Note.of("angles from names") if by_name else Note.of("angles from table", file=filenames.CSV_NAME)
    return Assigned(tuple(angled), (note,) if len(stops) > 1 else ())


def _by_outlines(
    stops: Sequence[Stop], cuts: Sequence[Cut | None], masks: Sequence[Mask | None], settings: Settings
) -> Assigned:
    """Evenly spread, unless the outlines show that this is wrong."""
    found = None
    if len(stops) >= LEAST_FITTED and settings.span in (None, 180, 360):  # of another part of a turn nothing is known
        found = estimate.estimate_angles(masks, start=settings.start, turn=settings.turn)
    unsure = respread.BARELY if found is None else respread.least_sure(found, masks)
    told = found if unsure < respread.UNSURE else None
    half = respread.half_turn(told) if told is not None and settings.span != 360 else None
    span = settings.span or (360.0 if half is None else 180.0)
    repeats = half if span == 180 and half is not None else _ends_where_it_began(masks, span)
    even = filenames.spread(len(stops), span, start=settings.start, turn=settings.turn, repeats=repeats)
    notes = [_spread_note(len(stops), span, repeats, seen=settings.span is None and span == 180)]
    if told is not None and span == 360 and sum(m is not None for m in masks) >= respread.LEAST_STOPS:
        against = respread.respread(told, masks, even, start=settings.start, full=settings.span is not None)
        if against.better:
            angled = _with(stops, against.angles, against.sure, "outline")
            return Assigned(angled, (_outline_note(stops, against),), _signed(told, settings))
        notes += [_doubt(stops, even, against)] if against.moved else []
    sure = None
    if found is not None and unsure < respread.BARELY:
        sure = np.maximum(found.sure, apart(np.asarray(even), found.angles))
    return Assigned(
        _with(stops, even, sure, "spread"),
        tuple(notes) if len(stops) > 1 else (),
        None if sure is None or found is None else _signed(found, settings),
    )


def _with(stops: Sequence[Stop], angles: Sequence[float] | Floats, sure: Floats | None, how: str) -> tuple[Stop, ...]:
    spread = [None] * len(stops) if sure is None else [float(s) for s in sure]
    return tuple(
        replace(stop, angle=float(a) % 360, angle_from=how, angle_sure=s)  # type: ignore[arg-type]
        for stop, a, s in zip(stops, angles, spread, strict=True)
    )


def _signed(found: estimate.Turned, settings: Settings) -> Floats:
    return found.turned if settings.turn == "left" else -found.turned


def _ends_where_it_began(masks: Sequence[Mask | None], span: float) -> bool:
    """Whether the last outline repeats the first, see :func:`circle.ends_where_it_began`; only the ends are traced,
    each with its nearest neighbour that can be trusted."""
    seen = [m for m in masks if m is not None]
    if len(seen) < 4 or masks[0] is None or masks[-1] is None:
        return False
    return circle.ends_where_it_began([outline.outline_of(m) for m in (*seen[:2], *seen[-2:])], span)


# ------------------------------------------------------------------------------------------------------- what is told


def _spread_note(count: int, span: float, repeats: bool, *, seen: bool) -> Note:
    """``seen``: nobody said that it is half a turn, the outlines show it."""
    last = None if span not in (180, 360) else "repeats" if repeats else "one short"
    return Note.of("angles spread", count=count, span=span, last=last, seen=seen)


def _outline_note(stops: Sequence[Stop], told: respread.Respread) -> Note:
    return Note.of(
        "angles from outlines",
        sure=float(np.median(told.sure[1:])),
        missing_after=[stops[k].name for k in told.skipped],
        repeats=[(stops[k + 1].name, stops[k].name) for k in told.repeated],
        total=told.total,
    )


def _doubt(stops: Sequence[Stop], even: Sequence[float], told: respread.Respread) -> Note:
    k = told.moved[0]
    return Note.of("angles doubted", name=stops[k].name, angle=float(even[k]), told=float(told.angles[k]))
