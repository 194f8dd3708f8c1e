"""The views of many poses as columns, so that thousands are asked at once; and what is taken from them for a question.

n is the number of views, p that of poses; the views of a pose stand together, in their order.
"""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass
from typing import Any, get_args

import numpy as np
from numpy.typing import NDArray

from silhouette.find import rows
from silhouette.records import CANNOT_TELL, INFERRED, Band
from silhouette.records_find import Asked
from silhouette.settings import RINGS

Whole = NDArray[np.intp]
Flags = NDArray[np.bool_]
Numbers = NDArray[np.float64]
Vectors = NDArray[np.float32]

BANDS: tuple[Band, ...] = get_args(Band)
"""Best first."""
SURE, SPREAD = 0.5, 0.08
"""A joint counts where the reader is at least so sure of it, and its place is no wider (figure heights) and no other is
possible."""


@dataclass(frozen=True)
class Views:
    """(n,) each."""

    pose: Whole
    """Which pose each is of, from 0 on, ascending."""
    source: NDArray[np.object_]
    """Where that lies."""
    ring: Whole
    """Place in ``RINGS``."""
    headline: Flags
    """Whether of the ring that the pose's headline is of."""
    angle: Numbers
    """Degrees; nan where it is not known."""
    readability: Numbers
    """0 to 100; nan where it could not be made."""
    band: Whole
    """Place in :data:`BANDS`, or their number where there is none."""
    trusted: Flags
    """Whether the cut-out is."""
    inferred: Flags
    gap: Numbers
    """Share of the largest gap, 0 where there is none; nan where it was not read."""
    over_head: Numbers
    """How far the higher of the hands that are surely known lies over the middle of the skull, over the height from
    there to the lower foot; nan where that is not known, or was not read."""
    vectors: tuple[Vectors, Vectors] | None
    """(n, d) of the outline and of its mirror image, nan where there is no outline; None where they were not read."""

    def __len__(self) -> int:
        return len(self.pose)

    def of_pose(self, pose: int) -> slice:
        """The views of one pose."""
        return slice(*np.searchsorted(self.pose, (pose, pose + 1)).tolist())


def columns_for(asked: Asked) -> tuple[str, ...]:
    """Those of :data:`rows.FOUND_BY` that a question needs."""
    spared = {"pose"}
    spared |= {"gaps"} if asked.gap is None else set()
    spared |= {"joints"} if asked.arm is None else set()
    spared |= set(rows.VECTORS) if asked.like is None else set()
    return tuple(name for name in rows.FOUND_BY if name not in spared)


def views_of(table: Any, counts: Sequence[int]) -> Views:
    """The columns of an Arrow table.

    Parameters
    ----------
    table : pyarrow.Table
        Columns as :func:`columns_for` names them.
    counts : (p,) how many views each pose has, in the order of the rows

    Raises
    ------
    ValueError
        A value that no view has.
    """
    n, held = len(table), {name: table.column(name).combine_chunks() for name in table.column_names}
    vectors = tuple(_vectors(held[name]) for name in rows.VECTORS) if rows.VECTORS[0] in held else None
    return Views(
        pose=np.repeat(np.arange(len(counts)), counts),
        source=held["source"].to_numpy(zero_copy_only=False),
        ring=_places(held["ring"], RINGS),
        headline=held[rows.HEADLINE].to_numpy(zero_copy_only=False).astype(bool),
        angle=_numbers(held["angle"], 0, 360),
        readability=_numbers(held["readability"], 0, 100),
        band=_places(held["band"], (*BANDS, None)),
        trusted=~_have(held["flags"], CANNOT_TELL),
        inferred=_have(held["flags"], INFERRED),
        gap=_largest(held["gaps"]) if "gaps" in held else np.full(n, np.nan),
        over_head=_over_head(held["joints"]) if "joints" in held else np.full(n, np.nan),
        vectors=vectors,  # type: ignore[arg-type]  # two of them
    )


def _places(column: Any, known: Sequence[str | None]) -> Whole:
    """Which of the ``known`` each value is."""
    coded = column.dictionary_encode(null_encoding="encode")
    try:
        places = [known.index(value) for value in coded.dictionary.to_pylist()]
    except ValueError:
        raise ValueError(f"holds something else than {', '.join(map(str, known))}") from None
    return np.array(places, np.intp)[coded.indices.to_numpy()]


def _numbers(column: Any, least: float, most: float) -> Numbers:
    """Numbers within these bounds, nan where there is none."""
    found = np.asarray(column.to_numpy(zero_copy_only=False), np.float64)
    known = found[np.asarray(column.is_valid())]
    if not ((known >= least) & (known <= most)).all():
        raise ValueError(f"holds a number that is not from {least:g} to {most:g}")
    return found


def _vectors(column: Any) -> Vectors:
    """(n, d), nan where there is none."""
    there = column.is_valid().to_numpy(zero_copy_only=False)
    values = column.flatten().to_numpy(zero_copy_only=False).reshape(-1, rows.SIZE)
    if not (np.abs(np.einsum("ij,ij->i", values, values) - 1) < 0.01).all():
        raise ValueError("holds a vector that is not of length 1")
    if there.all():
        return np.asarray(values, np.float32)
    found = np.full((len(there), rows.SIZE), np.nan, np.float32)
    found[there] = values
    return found


def _flat(column: Any) -> tuple[Whole, Any]:
    """Which view each value of a column of lists is of, and these values."""
    import pyarrow.compute as pc

    return pc.list_parent_indices(column).to_numpy(zero_copy_only=False).astype(np.intp), pc.list_flatten(column)


def _have(column: Any, flag: str) -> Flags:
    import pyarrow.compute as pc

    of, flags = _flat(column)
    found = np.zeros(len(column), bool)
    found[of[pc.fill_null(pc.equal(flags, flag), False).to_numpy(zero_copy_only=False)]] = True
    return found


def _largest(column: Any) -> Numbers:
    of, values = _flat(column)
    found = np.zeros(len(column))
    np.maximum.at(found, of, _numbers(values, 0, 1))
    return found


def _over_head(column: Any) -> Numbers:
    """See :class:`Views`."""
    of, joints = _flat(column)
    which = joints.field("joint").to_numpy(zero_copy_only=False)
    y, spread, sure = (np.asarray(joints.field(name).to_numpy(zero_copy_only=False), np.float64)
                       for name in ("y", "spread", "sure"))
    known = (sure >= SURE) & (spread <= SPREAD) & ~joints.field("or_x").is_valid().to_numpy(zero_copy_only=False)
    head, hand, foot = np.full(len(column), np.nan), np.full(len(column), np.inf), np.full(len(column), -np.inf)
    heads, hands, feet = known & (which == "head"), known & (which == "hand"), which == "foot"
    head[of[heads]] = y[heads]
    np.minimum.at(hand, of[hands], y[hands])
    np.maximum.at(foot, of[feet], y[feet])
    tall = foot - head
    there = (tall > 0) & np.isfinite(tall) & np.isfinite(hand)
    return np.divide(head - hand, tall, out=np.full(len(column), np.nan), where=there)


def firsts(pose: Whole, keys: tuple[Numbers, ...]) -> Whole:
    """(p,) the first of each pose in the order of the keys, the weightiest key first; of two that are equal the
    earlier. They come in that order too."""
    order = np.lexsort((np.arange(len(pose)), *reversed(keys)))
    _, first = np.unique(pose[order], return_index=True)
    return np.asarray(order[np.sort(first)], np.intp)
