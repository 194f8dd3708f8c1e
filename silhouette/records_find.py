"""What an archive holds of every view, and what is found in it."""

from __future__ import annotations

from dataclasses import dataclass, field
from typing import Any, Literal, NamedTuple

import numpy as np
from numpy.typing import NDArray
from shapely.geometry import Polygon

from silhouette.records import AngleFrom, Band, Joint, LimbLegibility, Note, Outline
from silhouette.settings import ArmAsked, GapSize, Ring

Vector = NDArray[np.float32]
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
    """In fractions of the picture, as the reader gives them."""
    outline: Polygon | None = field(default=None, repr=False, compare=False)
    """Figure heights, holes are enclosed gaps."""
    vector: Vector | None = field(default=None, repr=False, compare=False)
    """(d,) of length 1: what ``find/embed.py`` makes of the outline."""
    mirror_vector: Vector | None = field(default=None, repr=False, compare=False)
    """(d,) the same of its mirror image."""


@dataclass(frozen=True)
class Hit:
    """A pose that was found, by the view of it that looks most like the picture, or that best shows what was asked."""

    pose: str
    source: str
    ring: Ring
    angle: float
    """Degrees: of that view."""
    mirrored: bool
    """Whether the view's mirror image looks clearly more like the picture than any view. From the opposite side an
    outline is about its own mirror image, so a hit that is mirrored may also be the pose itself, seen from ``angle`` +
    180, and one that is not its mirror image, seen from there."""
    likeness: float | None
    """0 to 1; None where no picture was given."""
    differs: tuple[Note, ...] = ()
    """Where the picture differs from the view (from its mirror image, where ``mirrored``), worst first: of kind
    ``differs``, with the values of an :class:`Off`."""
    reads: int | None = None
    """From how many of the ``counted`` degrees the pose reads, on the arc that counts."""
    counted: int = 0
    band: Band | None = None
    """Of the view."""
    outline: Polygon | None = field(default=None, repr=False, compare=False)
    """Of the view, figure heights, as the picture looks at it: mirrored where ``mirrored``."""
    laid: Polygon | None = field(default=None, repr=False, compare=False)
    """The picture's outline laid over it, in its figure heights; None where no picture was given."""


@dataclass(frozen=True)
class Asked:
    """What to look for; what is None is not asked. A pose is found that has all of it."""

    reads: float | None = None
    """Degrees from which it reads at least, of those on the arc."""
    arc: tuple[float, float] | None = None
    """Only what is seen from here counts, clockwise from the first to the second; None: all round."""
    gap: GapSize | None = None
    """A view with a gap as large as that, or larger."""
    arm: ArmAsked | None = None
    """A view with an arm there. The gap, if one is asked for, is in the same view."""
    strong_from: float | None = None
    """The view nearest to this angle is strong."""
    like: str | None = None
    """Name of the picture that it looks like."""

    @property
    def anything(self) -> bool:
        """Whether anything is asked at all; an arc alone picks out nothing."""
        wanted = (self.reads, self.gap, self.arm, self.strong_from, self.like)
        return any(one is not None for one in wanted)


LikeKind = Literal["photograph", "silhouette", "drawing"]


@dataclass(frozen=True)
class LikePicture:
    """The picture that poses are held against."""

    name: str
    kind: LikeKind
    """photograph: cut out; silhouette: the figure in one tone on another; drawing: an outline that was filled in."""
    outline: Outline = field(repr=False)
    notes: tuple[Note, ...] = ()


@dataclass(frozen=True)
class Found:
    """What was found, best first."""

    hits: tuple[Hit, ...]
    asked: Asked
    poses: int
    """How many poses were looked through, and views."""
    views: int
    more: int = 0
    """How many more were found than there are hits here."""
    picture: LikePicture | None = None
    left_out: tuple[tuple[str, str], ...] = ()
    """Name of each pose that could not be read, and why, in a sentence."""
