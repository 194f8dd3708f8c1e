"""Stops that seem to belong to another ring of the pose: two that were exchanged, or one that lies in the wrong place.

A stop that was taken from another height sticks out of what the others of its ring leave of the block, and fits into
what those of the ring it comes from leave, seen by the camera of that ring. Each ring is judged in a frame of its own,
so that nothing has to be known of how the rings lie to each other, and a ring of another pose does no harm.
"""

from __future__ import annotations

from collections.abc import Iterable, Mapping
from dataclasses import dataclass, replace
from typing import NamedTuple

import numpy as np

from silhouette.geometry.angles import apart
from silhouette.geometry.orbit import StopCamera
from silhouette.records import Mask
from silhouette.settings import Ring
from silhouette.turn import visual_hull

ODD = 0.006
"""Share of the figure's area that sticks out, of the stop or of the one it would be exchanged with, from which another
ring is asked at all."""
FITS = 0.25
"""A stop that sticks out in the other ring by at most this share of what it does in its own fits there."""
LITTLE = 0.003
"""Share that may stick out of the ring that a stop belongs to."""
TRIED = (-9.0, -6.0, -3.0, 0.0, 3.0, 6.0, 9.0)
"""Degrees by which the angle may be off: stops of two rings need not lie at the same angles."""


@dataclass(frozen=True)
class RingTurn:
    """One ring: what its stops look like and where its camera stood, in a frame of its own."""

    stops: tuple[int, ...]
    """n positions by which its stops are called."""
    masks: tuple[Mask, ...]
    """n, each with a figure."""
    cameras: tuple[StopCamera, ...]
    """n"""
    angles: tuple[float, ...]
    """n, as the stops' names or the order shot say them: two that were exchanged bear each other's."""


class Stray(NamedTuple):
    """A stop that looks as if it was taken from another ring."""

    ring: Ring
    stop: int
    looks: Ring
    """The ring that it fits into."""
    other: int | None
    """The stop there that fits in its stead, if the two were exchanged."""
    far: float
    """What of it sticks out in its own ring, share of the figure's area."""


class _Carved(NamedTuple):
    turn: RingTurn
    block: visual_hull.SeenBlock
    share: visual_hull.Floats


def find(rings: Mapping[Ring, RingTurn]) -> list[Stray]:
    """The strays, in the order of the rings and their stops; of two that were exchanged the first alone."""
    carved: dict[Ring, _Carved] = {}
    for ring, turn in rings.items():
        block, all_ = visual_hull.carved_by_all(turn.masks, turn.cameras)
        carved[ring] = _Carved(turn, block, all_.share)
    found: list[Stray] = []
    for ring, own in carved.items():
        for k in range(len(own.turn.stops)):
            told = [stray for there, other in carved.items() if there != ring
                    and (stray := _stray(ring, own, k, there, other)) is not None]
            found += [min(told)[1]] if told else []
    return _once(found)


def _stray(ring: Ring, own: _Carved, k: int, there: Ring, other: _Carved) -> tuple[float, Stray] | None:
    """Whether a stop fits into another ring and not into its own, and what sticks out of that other ring."""
    near = int(np.argmin([apart(own.turn.angles[k], angle) for angle in other.turn.angles]))
    far, opposite = float(own.share[k]), float(other.share[near])
    if max(far, opposite) < ODD or far < LITTLE:
        return None
    beyond = _fit(own.turn.masks[k], other, near)
    if beyond > min(FITS * far, LITTLE):
        return None
    back = _fit(other.turn.masks[near], own, k)
    exchanged = back <= LITTLE and back <= max(opposite, LITTLE / 2)
    return beyond, Stray(ring, own.turn.stops[k], there, other.turn.stops[near] if exchanged else None, far)


def _fit(mask: Mask, there: _Carved, near: int) -> float:
    """What of a mask sticks out of another ring at the angle of its stop ``near``, or a little beside it."""
    camera = replace(there.turn.cameras[near], shift=(0.0, 0.0), angle=there.turn.angles[near])
    return min(there.block.from_elsewhere(mask, replace(camera, angle=camera.angle + off)) for off in TRIED)


def _once(found: Iterable[Stray]) -> list[Stray]:
    """Of two stops that were exchanged the first alone."""
    kept: list[Stray] = []
    for one in found:
        pair = next((k for k, other in enumerate(kept) if (other.ring, other.looks) == (one.looks, one.ring)
                     and (other.other == one.stop or one.other == other.stop)), None)
        if pair is None:
            kept.append(one)
        else:
            kept[pair] = kept[pair]._replace(other=one.stop)
    return kept
