"""Walk round the pose: readability at every degree, the weak stretches and their causes, and how sure all this is."""

from __future__ import annotations

from collections import Counter
from collections.abc import Sequence
from dataclasses import replace

import numpy as np
from numpy.typing import NDArray
from shapely.affinity import scale

from silhouette.geometry.angles import apart, degrees_on, middle, on_arc, runs
from silhouette.reading import opposite
from silhouette.records import ARM_TROUBLES, INFERRED, Arc, Outline, Reason, ReasonKind, Round, Side, View, Zone
from silhouette.settings import BAND_FAIR, BRIDGE

HALF_TURN_HOLE = 150.0
"""A hole between stops at least this wide (degrees) makes the turn a half turn, whose far side is inferred."""
SHORT_ARC = 10
"""Weak stretches nearer to each other than this (degrees) are told as one; a reading stretch that short is luck."""
RESAMPLES = 200
"""Resamplings behind a range; 200 put the ends of a 90 % interval within about a twentieth of its width."""


def infer_far_side(views: Sequence[View]) -> list[View]:
    """The views, and for a half turn the mirrored opposite of each where no picture was taken, marked as inferred.

    Seen from far, opposite views are mirror images, so a half turn of trial stops foretells the whole round. A turn
    with a smaller hole is left as it is: there a stop is missing and should be seen to be missing.
    """
    taken = sorted({v.angle for v in views if v.scored})
    if len(taken) < 2:
        return list(views)
    gaps = [((b - a) % 360 or 360.0, a, b) for a, b in zip(taken, taken[1:] + taken[:1], strict=True)]
    width, start, _ = max(gaps)
    if width < HALF_TURN_HOLE:
        return list(views)
    step = float(np.median([g[0] for g in gaps]))
    inferred = []
    for view in views:
        away = (view.angle + 180 - start) % 360
        if view.scored and step / 2 < away < width - step / 2:
            inferred.append(mirrored(view))
    return sorted([*views, *inferred], key=lambda v: (v.angle, v.inferred))


def mirrored(view: View) -> View:
    """The opposite view as the outline foretells it: mirrored left to right, half a turn on, marked as inferred."""
    outline, measures, reading, body = view.outline, view.measures, view.reading, view.body
    return replace(
        view,
        stop=replace(view.stop, angle=(view.angle + 180) % 360, name=f"opposite of {view.name}", given_mask=None),
        flags=(*view.flags, INFERRED),
        outline=None if outline is None else opposite.outline(outline),
        measures=None if measures is None else opposite.measures(measures),
        reading=None if reading is None else replace(reading, reasons=tuple(map(_mirror_reason, reading.reasons))),
        body=None
        if body is None
        else replace(body, joints=tuple(opposite.joint(j) for j in body.joints)),
        doubts=tuple(map(opposite.doubt, view.doubts)),
    )


def walk_round(views: Sequence[View], arc: tuple[float, float] | None = None) -> Round:
    """Readability at every degree, interpolated between neighbouring stops, and what it sums up to.

    Parameters
    ----------
    views : sequence of View
        Views with ``scored`` False are passed over; two at one angle count as their mean.
    arc : (float, float), optional
        Count only the degrees clockwise from the first to the second.

    Returns
    -------
    Round
        Between two stops at most ``BRIDGE`` degrees apart readability runs straight from one to the other; wider
        holes stay open (nan) and count neither for nor against the pose.
    """
    angles, values = _stops(views)
    degrees = interpolate(angles, values)
    inside = degrees_on(arc)
    bridged = ~np.isnan(degrees)
    counted = bridged & inside
    inferred = _rests_on_inferred(views, bridged)
    weak_arcs = tuple(
        Arc(a, b, _causes(views, a, b)) for a, b in runs(counted & (np.nan_to_num(degrees) < BAND_FAIR), SHORT_ARC)
    )
    missing = tuple(Arc(a, b) for a, b in runs(~bridged & inside, 0))
    at_stops = [(v, a) for a, v in zip(angles.tolist(), values.tolist(), strict=True) if on_arc(a, arc)]
    worst = min(at_stops, default=None)
    return Round(
        degrees=degrees,
        inferred=inferred,
        reads_degrees=int((degrees[counted] >= BAND_FAIR).sum()) if counted.any() else None,
        counted_degrees=int(counted.sum()),
        weak_arcs=weak_arcs,
        missing_arcs=missing,
        mean=float(degrees[counted].mean()) if counted.any() else float(np.mean(values)) if len(values) else None,
        worst=None if worst is None else worst[0],
        worst_angle=None if worst is None else worst[1],
    )


def interpolate(angles: NDArray[np.float64], values: NDArray[np.float64]) -> NDArray[np.float64]:
    """(360,) values at whole degrees, straight between neighbours at most ``BRIDGE`` apart, nan elsewhere.

    ``angles`` (n,) degrees in [0, 360), ascending and distinct; ``values`` (n,).
    """
    if len(angles) < 2:
        return np.full(360, np.nan)
    grid = np.arange(360.0)
    after = np.searchsorted(angles, grid, side="right") % len(angles)
    hole = (angles[after] - angles[after - 1]) % 360 > BRIDGE
    return np.where(hole, np.nan, np.interp(grid, angles, values, period=360))


def resample(
    views: Sequence[View], arc: tuple[float, float] | None, edge_sd: float, seed: int
) -> NDArray[np.float64] | None:
    """(RESAMPLES, 2) share of counted degrees that read and mean readability, with a view dropped and scores shaken.

    ``edge_sd`` is the standard deviation of a view's readability when the mask's edge is moved within what a cutter may
    get wrong. None where no two stops are near enough. A dropped view's neighbours are joined across the hole.
    """
    angles, values = _stops(views)
    inside = degrees_on(arc)
    if not (~np.isnan(interpolate(angles, values)) & inside).any():
        return None
    rng = np.random.default_rng(seed)
    rows = np.empty((RESAMPLES, 2))
    for i in range(RESAMPLES):
        keep = np.ones(len(angles), bool)
        if len(angles) > 3:
            keep[rng.integers(len(angles))] = False
        shaken = np.clip(values + rng.normal(0, edge_sd, len(values)), 0, 100)
        degrees = interpolate(angles[keep], shaken[keep])
        counted = ~np.isnan(degrees) & inside
        if not counted.any():
            degrees, counted = interpolate(angles, shaken), inside
        seen = degrees[counted & ~np.isnan(degrees)]
        rows[i] = (seen >= BAND_FAIR).mean(), seen.mean()
    return rows


def _stops(views: Sequence[View]) -> tuple[NDArray[np.float64], NDArray[np.float64]]:
    """Distinct ascending angles of the scored views and their readability."""
    by_angle: dict[float, list[float]] = {}
    for view in views:
        if view.scored and view.reading is not None:
            by_angle.setdefault(round(view.angle % 360, 3) % 360, []).append(view.reading.readability)
    angles = np.array(sorted(by_angle), dtype=np.float64)
    return angles, np.array([np.mean(by_angle[a]) for a in angles.tolist()], dtype=np.float64)


def _rests_on_inferred(views: Sequence[View], bridged: NDArray[np.bool_]) -> NDArray[np.bool_]:
    """Degrees whose nearest scored view is an inferred one."""
    scored = [v for v in views if v.scored]
    if not scored:
        return np.zeros(360, bool)
    away = apart(np.arange(360.0)[:, None], np.array([v.angle for v in scored])[None])
    return np.array([v.inferred for v in scored])[away.argmin(axis=1)] & bridged


def _causes(views: Sequence[View], start: float, end: float, most: int = 2) -> tuple[Reason, ...]:
    """The faults found most in the views of a stretch (or in the nearest view), commonest first; see :func:`merged`."""
    scored = [v for v in views if v.scored and v.reading is not None]
    within = [v for v in scored if on_arc(v.angle, (start, end))]
    weak = [v for v in within if v.reading is not None and v.reading.readability < BAND_FAIR]
    told = weak or within or sorted(scored, key=lambda v: apart(v.angle, middle((start, end))))[:1]
    return merged([v.reading.reasons for v in told if v.reading is not None])[:most]


def merged(seen: Sequence[Sequence[Reason]]) -> tuple[Reason, ...]:
    """The faults of several views, each kind once, commonest first; in each view the weightier count more.

    A lost arm and a lost hand are one trouble, and both arms lost say that one is. Sides are left out; where a hand
    lies is told if it lies there in most of the views that lose it. The severity is the mean.
    """
    count: Counter[ReasonKind] = Counter()
    found: dict[ReasonKind, list[Reason]] = {}
    for reasons in seen:
        faults = [reason for reason in reasons if not reason.praise]
        for place, reason in enumerate(faults):
            count[reason.kind] += len(faults) - place
            found.setdefault(reason.kind, []).append(reason)
    kinds = [kind for kind, _ in count.most_common()]
    arms = [kind for kind in kinds if kind in ARM_TROUBLES]
    told = ReasonKind.ARMS_LOST if ReasonKind.ARMS_LOST in arms else arms[0] if arms else None
    return tuple(_one_for(found[kind]) for kind in kinds if kind not in ARM_TROUBLES or kind == told)


def _one_for(alike: Sequence[Reason]) -> Reason:
    """One reason for several of a kind."""
    zones: Counter[Zone | None] = Counter(None if r.limb is None else r.zone for r in alike)
    likeliest, times = zones.most_common(1)[0]
    zone = likeliest if 2 * times > len(alike) else None
    return replace(alike[0], zone=zone, side=None, severity=float(np.mean([r.severity for r in alike])))


def _mirror_reason(reason: Reason) -> Reason:
    other: dict[Side | None, Side] = {"picture left": "picture right", "picture right": "picture left"}
    return replace(reason, side=other.get(reason.side, reason.side))


def ends_where_it_began(outlines: Sequence[Outline | None], span: float) -> bool:
    """True if the last outline repeats the first, as a closed turn does: a full turn with the same outline, a half turn
    with its mirror image.

    The two must differ by less than half of what neighbouring stops differ by at the ends, so that one step short of
    the start is not taken for the start.
    """
    if len(outlines) < 4 or span not in (180.0, 360.0):
        return False
    first, second, before, last = outlines[0], outlines[1], outlines[-2], outlines[-1]
    if first is None or second is None or before is None or last is None:
        return False
    closing = opposite.outline(last) if span == 180.0 else last
    step = min(_unlikeness(first, second), _unlikeness(last, before))
    return _unlikeness(first, closing) < 0.5 * step


def _unlikeness(one: Outline, other: Outline) -> float:
    """1 less the overlap of two outlines set on one ground line at their own scale in the picture."""
    k = other.height_px / one.height_px
    scaled = scale(other.polygon, k, k, origin=(0, 1)).buffer(0)
    a = one.polygon.buffer(0)
    return 1 - a.intersection(scaled).area / a.union(scaled).area
