"""Put candidate poses in order, and say where the order is too close to call. Nothing is dropped."""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import replace
from typing import TypeVar

import numpy as np

from silhouette.records import Pose

Posed = TypeVar("Posed", bound=Pose)

SURE = 0.9
"""Share of resamplings in which one pose must come out ahead before the order is called."""


def rank(poses: Sequence[Posed], intent: str = "open") -> tuple[Posed, ...]:
    """The poses best first, each with its rank and the names it is tied with.

    The order follows the share of the counted degrees that read, then mean readability. Poses that could not be read
    round come last, without a rank. Poses meant otherwise than ``intent`` come after those and are ranked among their
    own kind: an open and a closed pose are asked different questions.
    """
    kinds = [intent, *sorted({p.intent for p in poses} - {intent})]
    return tuple(pose for kind in kinds for pose in _rank_alike([p for p in poses if p.intent == kind]))


def _rank_alike(poses: Sequence[Posed]) -> list[Posed]:
    order = sorted(poses, key=_key, reverse=True)
    ranked = []
    for place, pose in enumerate(order, start=1):
        ties = tuple(other.name for other in order if other is not pose and too_close(pose, other))
        ranked.append(replace(pose, rank=None if pose.round.reads_degrees is None else place, tied_with=ties))
    return ranked


def too_close(one: Pose, other: Pose) -> bool:
    """True if resampling puts neither pose ahead in at least ``SURE`` of the pairs of resamplings."""
    if one.samples is None or other.samples is None:
        return False
    a, b = one.samples[:, None, :], other.samples[None, :, :]
    equal = np.abs(a[..., 0] - b[..., 0]) < 1 / 360
    ahead = np.where(equal, np.sign(a[..., 1] - b[..., 1]), np.sign(a[..., 0] - b[..., 0]))
    share = float((ahead > 0).mean() + 0.5 * (ahead == 0).mean())
    return 1 - SURE < share < SURE


def _key(pose: Pose) -> tuple[bool, float, float]:
    reads, counted = pose.round.reads_degrees, pose.round.counted_degrees
    if reads is None:  # no degree counts then either
        return (False, 0.0, pose.round.mean or 0.0)
    return (True, reads / counted, pose.round.mean or 0.0)
