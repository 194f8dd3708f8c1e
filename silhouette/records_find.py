"""What an archive holds of every view, and what is found in it."""

from __future__ import annotations

from dataclasses import dataclass, field
from typing import Any, Literal, NamedTuple

import numpy as np
from numpy.typing import NDArray
from shapely.geometry import Polygon

from silhouette.records import AngleFrom, Band, Joint, LimbLegibility, Note
from silhouette.settings import Ring

Vector = NDArray[np.float32]
GapSize = Literal["small", "fair", "big"]
ArmAsked = Literal["over-head"]
Way = Literal["left", "right", "higher", "lower", "larger", "smaller", "leans left", "leans right", "wider", "closer",
              "out", "in"]
"""How a part of a figure lies against that of an earlier one, or of the one that was looked for, in the picture."""


class Off(NamedTuple):
    """Something of a figure that differs from another one."""

    by: float
    """How far, figure heights."""
    part: str
    """What: ``whole figure``, ``picture right arm``, ``legs``, ``picture left at knee height``."""
    way: Way


@dataclass(frozen=True)
class ViewLine:
    """One view of one pose: a row of an archive. Numbers that could not be made are None."""

    pose: str
    source: str
    """Where the pose lies, relative to the root that it was read from, printable, with ``/`` between folders."""
    ring: Ring
    angle: float
    """Degrees, 0 <= angle < 360."""
    angle_from: AngleFrom
    name: str
    """Of the view, as in tables."""
    readability: float | None = None
    """0 to 100, as ``clear`` and ``interesting``."""
    clear: float | None = None
    interesting: float | None = None
    band: Band | None = None
    confidence: float = 0.0
    """Of the cut, 0 to 1."""
    flags: tuple[str, ...] = ()
    reasons: tuple[dict[str, Any], ...] = ()
    """As result.json holds them, weightiest first."""
    measures: dict[str, float] = field(default_factory=dict)
    """The plain numbers of ``records.Measures`` by name."""
    gaps: tuple[float, ...] = ()
    """Share of the hull's area of every gap, largest first."""
    limbs: LimbLegibility | None = None
    joints: tuple[Joint, ...] = ()
    outline: Polygon | None = field(default=None, repr=False, compare=False)
    """Figure heights, holes are enclosed gaps."""
    vector: Vector | None = field(default=None, repr=False, compare=False)
    """(d,) of length 1: what ``find/embed.py`` makes of the outline."""
    mirror_vector: Vector | None = field(default=None, repr=False, compare=False)
    """(d,) the same of its mirror image."""


@dataclass(frozen=True)
class Hit:
    """A pose that looks like a picture, from the angle from which it does most."""

    pose: str
    source: str
    ring: Ring
    angle: float
    """Degrees: of the view that looks most like the picture."""
    mirrored: bool
    """Whether the view's mirror image does. From the opposite side an outline is about its own mirror image, so a hit
    that is mirrored may also be the pose itself, seen from ``angle`` + 180."""
    likeness: float
    """0 to 1."""
    differs: tuple[Note, ...] = ()
    """Where the picture differs from the view."""
