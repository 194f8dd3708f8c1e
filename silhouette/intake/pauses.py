"""Holds against moves, from how much the picture changes: pure sums on a curve, no video.

A model who turns in stops gives a curve of low stretches (holds, with a little sway) and humps (moves). The level that
parts them is found from the curve itself, so neither the camera's noise nor the size of the figure matters.
"""

from __future__ import annotations

import itertools
from collections.abc import Callable, Sequence

import numpy as np
from numpy.typing import NDArray

Curve = NDArray[np.float64]
Span = tuple[float, float]

SMOOTH_S = 0.06
"""Smoothing of the curve, seconds: less than the shortest move, more than one frame of compression flutter."""
MIN_HOLD_S = 0.3
"""Shortest stretch that is taken for a hold, seconds."""
MIN_MOVE_S = 0.13
"""A shorter burst between two still stretches is a twitch, not a move, seconds."""
HUMP = 1.6
"""A rise of the curve inside a hold over the calm on either side of it that may be a short, small move."""
REAL_STEP = 0.3
"""Change of the picture across a doubtful move, over the usual change from hold to hold, that makes it a real one."""
SAME_PICTURE = 0.12
"""The same ratio under which two holds are one hold with a twitch in it."""
STILL_LEVEL = 1.5
"""Grey levels of change that a picture of nobody moving stays under."""
SLOW_TURN_S, MOST_ENDS = 5.0, 4
"""A move that lasts so long, seconds, and longer than all others together, is a slow turn and no step from stop to
stop. The model stands still before and after it, and the room may be empty before and after that: so many holds."""
CONTRAST = 2.2
"""Median motion of the moves over that of the holds, at least; below this the clip has no pauses."""


def even(times: Curve, values: Curve, step: float) -> tuple[Curve, Curve]:
    """The curve on an even clock, so that a variable frame rate does not bend the smoothing."""
    clock = np.arange(times[0], times[-1] + step / 2, step)
    return clock, np.interp(clock, times, values)


def otsu(values: Curve, bins: int = 128) -> float:
    """The level that parts the values into two groups of least spread (Otsu 1979)."""
    counts, edges = np.histogram(values, bins=bins)
    middle = (edges[:-1] + edges[1:]) / 2
    below = np.cumsum(counts)
    above = below[-1] - below
    total = np.cumsum(counts * middle)
    with np.errstate(divide="ignore", invalid="ignore"):
        between = below * above * (total / below - (total[-1] - total) / above) ** 2
    between = np.nan_to_num(between)
    best = np.flatnonzero(between >= between.max() * (1 - 1e-9))
    return float(middle[best].mean() + (edges[1] - edges[0]) / 2)


def spans(flags: NDArray[np.bool_]) -> list[tuple[int, int]]:
    """Runs of True as (first, last) index, both inside."""
    edge = np.flatnonzero(np.diff(np.concatenate([[0], flags.astype(np.int8), [0]])))
    return [(int(a), int(b) - 1) for a, b in zip(edge[::2], edge[1::2], strict=True)]


def find_holds(times: Curve, motion: Curve, change: Callable[[float, float], float] | None = None) -> list[Span]:
    """Stretches in which the model holds still.

    Parameters
    ----------
    times : (k,) seconds, growing
    motion : (k,) change of the picture about each time, at least 0
    change : how much the picture differs between two moments (seconds); with it, small moves that hardly show in the
        curve are found, and holds that a twitch had cut in two are joined

    Returns
    -------
    list of (start, end), seconds; empty where the curve has no pauses (one slow turn, or nothing moves at all).
    """
    from scipy.ndimage import gaussian_filter1d  # 150 ms to load, and stills need none of it

    if len(times) < 5 or times[-1] - times[0] < 2 * MIN_HOLD_S:
        return []
    step = float(np.clip(np.median(np.diff(times)), 1 / 120, 1 / 15))
    clock, curve = even(times, motion, step)
    curve = gaussian_filter1d(curve, SMOOTH_S / step, mode="nearest")
    level = np.log(np.maximum(curve, np.percentile(curve, 50) * 0.02 + 1e-6))
    still = level < otsu(level)
    if still.all() or not still.any():
        return []
    if np.exp(np.median(level[~still]) - np.median(level[still])) < CONTRAST:
        return []
    still = _drop_short(still, round(MIN_MOVE_S / step), of=False)
    still = _drop_short(still, round(MIN_HOLD_S / step), of=True)
    if change is None:
        return [(float(clock[a]), float(clock[b])) for a, b in spans(still)]
    runs = spans(still)
    usual = _usual_change(clock, runs, change)
    runs = [piece for run in runs for piece in _split(clock, curve, run, step, usual, change)]
    return _joined([(float(clock[a]), float(clock[b])) for a, b in runs], usual, change)


def slow_turn(holds: Sequence[Span]) -> Span | None:
    """The stretch between two holds in which the model turns once without a pause; None of a turn in stops."""
    if not 2 <= len(holds) <= MOST_ENDS:
        return None
    moves = [(before[1], after[0]) for before, after in itertools.pairwise(holds)]
    lasting = [end - start for start, end in moves]
    longest = max(lasting)
    return moves[lasting.index(longest)] if longest > max(SLOW_TURN_S, sum(lasting) - longest) else None


def _usual_change(clock: Curve, runs: list[tuple[int, int]], change: Callable[[float, float], float]) -> float:
    """Median change of the picture from the middle of one hold to the middle of the next."""
    middles = [float(clock[(a + b) // 2]) for a, b in runs]
    across = [change(s, t) for s, t in itertools.pairwise(middles)]
    return float(np.median(across)) if across else 0.0


def _split(
    clock: Curve, curve: Curve, run: tuple[int, int], step: float, usual: float, change: Callable[[float, float], float]
) -> list[tuple[int, int]]:
    """The hold in two, and its pieces again, where a rise inside it left another picture behind."""
    first, last = run
    least = max(2, round(MIN_HOLD_S / step))
    if last - first < 2 * least:
        return [run]
    top = first + least + int(np.argmax(curve[first + least : last - least + 1]))
    calm = max(np.median(curve[first:top]), np.median(curve[top + 1 : last + 1]))
    before, after = float(clock[(first + top) // 2]), float(clock[(top + last) // 2])
    if curve[top] < HUMP * calm or change(before, after) < REAL_STEP * usual:
        return [run]
    foot = (curve[top] + calm) / 2
    left, right = top, top
    while left > first + 1 and curve[left] > foot:
        left -= 1
    while right < last - 1 and curve[right] > foot:
        right += 1
    return [
        *_split(clock, curve, (first, left), step, usual, change),
        *_split(clock, curve, (right, last), step, usual, change),
    ]


def _joined(holds: list[Span], usual: float, change: Callable[[float, float], float]) -> list[Span]:
    """Neighbouring holds that show the same picture, as one."""
    out = holds[:1]
    for span in holds[1:]:
        middle, last = (span[0] + span[1]) / 2, (out[-1][0] + out[-1][1]) / 2
        if change(last, middle) < SAME_PICTURE * usual and span[0] - out[-1][1] < 2 * MIN_HOLD_S:
            out[-1] = (out[-1][0], span[1])
        else:
            out.append(span)
    return out


def _drop_short(still: NDArray[np.bool_], at_least: int, *, of: bool) -> NDArray[np.bool_]:
    """Runs of ``of`` shorter than ``at_least`` samples are flipped; runs at either end of the clip stay when moving."""
    out = still.copy()
    for a, b in spans(still == of):
        inside = a > 0 and b < len(still) - 1
        if b - a + 1 < at_least and (inside or of):
            out[a : b + 1] = not of
    return out


def shares(times: Curve, flow: Curve, chosen: Sequence[float]) -> Curve:
    """(n - 1,) share of the whole motion that lies between neighbouring chosen moments; sums to 1.

    ``flow`` is the change from each frame to the one before it. What the camera's noise alone changes is taken off
    first: the flow's low decile.
    """
    if len(chosen) < 2:
        return np.empty(0)
    real = np.maximum(flow - np.percentile(flow, 10), 0)
    total = np.concatenate([[0.0], np.cumsum(real)])
    at = np.searchsorted(times, np.asarray(chosen))
    between = np.maximum(np.diff(total[at]), 1e-9)
    return np.asarray(between / between.sum(), dtype=np.float64)


def moves(motion: Curve) -> bool:
    """Whether anything turns at all: typical motion well over what compression makes of a still picture."""
    return bool(np.percentile(motion, 75) > STILL_LEVEL)


def moving_stretch(times: Curve, motion: Curve) -> Span:
    """From the first to the last moment of real motion, seconds."""
    moving = np.flatnonzero(motion > max(STILL_LEVEL, np.percentile(motion, 75) * 0.3))
    return (float(times[moving[0]]), float(times[moving[-1]])) if len(moving) else (float(times[0]), float(times[-1]))
