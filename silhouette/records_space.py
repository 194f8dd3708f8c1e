"""The figure in space: data of ``silhouette armature``, in the order of the work.

Everywhere: x toward the figure's left, y toward its back, z up, metres unless said otherwise; the origin lies on the
ground at the turning axis. Before the scale is known the same frame is used in units of figure height. A point or
length that could not be found is ``None``, with its reason.
"""

from __future__ import annotations

from dataclasses import dataclass, field
from typing import Literal

import numpy as np
from numpy.typing import NDArray
from shapely.geometry import MultiPolygon

from silhouette.geometry.orbit import StopCamera as StopCamera
from silhouette.records import Note

Floats = NDArray[np.float64]
BodySide = Literal["left", "right"]
"""The figure's."""

POINTS = (
    "head", "hand", "hand", "elbow", "elbow", "foot", "foot", "knee", "knee",
    "crown", "neck", "shoulder", "shoulder", "wrist", "wrist", "hip", "hip", "ankle", "ankle",
    "hand end", "hand end", "foot end", "foot end",
)
"""What the reader places in an outline, in this order; pairs are unordered. head: middle of the skull; hand, foot:
their middles; the others are :data:`JOINTS`."""
JOINTS = ("crown", "neck", "shoulder", "elbow", "wrist", "hand end", "hip", "knee", "ankle", "foot end")
"""Joints of the armature, as centres of the skeleton's joints: where the bones of upper arm, forearm, hand, thigh,
shin and foot begin. neck: where the neck begins; crown: top of the skull; ends: tips of middle finger and toes."""
SINGLE = ("crown", "neck")
"""Joints that have no side."""


@dataclass(frozen=True)
class PointBells:
    """Where one outline says that each of the p = 23 POINTS may lie: k round bells a point. Made by the reader."""

    share: Floats
    """(p, k) chance that the point lies in this bell; rows sum to at most 1, likeliest first."""
    x: Floats
    """(p, k) middle of the bell, pixels of the picture worked at."""
    y: Floats
    width: Floats
    """(p, k) standard deviation, pixels."""
    height_px: float
    """Figure height in this picture, pixels."""
    unlike: float
    """How unlike a body the outline is, 0 to 1, as in BodyReading."""


@dataclass(frozen=True)
class SpaceJoint:
    """One joint of the figure in space."""

    joint: str
    """One of JOINTS."""
    side: BodySide | None
    """None for the joints that have no side."""
    at: tuple[float, float, float] | None
    """x, y, z, metres; None where no view shows it."""
    within: float | None
    """Radius that holds the true joint 9 times in 10, metres."""
    sure: bool
    """Whether it may be built to: several views agree on it, and ``within`` is small."""
    reason: Note | None = None
    """Why it is missing or not sure."""


@dataclass(frozen=True)
class Skeleton:
    """All joints, and the cameras that the views agree on. Made by ``space/joints.py``."""

    joints: tuple[SpaceJoint, ...]
    """18: crown, neck, then each of the others left and right, in the order of JOINTS."""
    cameras: tuple[StopCamera, ...]
    """n, one a stop used."""
    others: dict[str, tuple[float, float, float]] = field(default_factory=dict)
    """Places of POINTS that are no joints (head, hand left, ...), metres."""
    notes: tuple[Note, ...] = ()

    def at(self, joint: str, side: BodySide | None = None) -> Floats | None:
        """(3,) the place of a joint, or None."""
        for one in self.joints:
            if one.joint == joint and one.side == side:
                return None if one.at is None else np.asarray(one.at)
        raise KeyError((joint, side))


@dataclass(frozen=True)
class Solid:
    """A closed surface of triangles."""

    vertices: Floats
    """(v, 3) metres, or millimetres at scale where it says so."""
    faces: NDArray[np.int64]
    """(f, 3) counter-clockwise seen from outside."""


@dataclass(frozen=True)
class Section:
    """One level cut through the figure."""

    z: float
    """Metres above the ground."""
    outline: MultiPolygon = field(repr=False)
    """x to the figure's left, y to its back, metres."""
    area_m2: float
    width_m: float
    """Along x, over all pieces."""
    depth_m: float
    """Along y."""


@dataclass(frozen=True)
class Segment:
    """One straight piece of the figure between two joints."""

    name: str
    """upper arm, forearm, hand, thigh, shin, foot, neck and head, trunk, shoulders, hips."""
    side: BodySide | None
    start: str
    """Joint; of ``trunk`` the middle of the hips, which is no joint: "hips"."""
    end: str
    length_m: float | None
    within_m: float | None
    tilt_deg: float | None
    """From upright (0, the end above the start) over level (90) to hanging (180)."""
    heading_deg: float | None
    """Where it points seen from above, as angles of the camera: 0 to the front, 90 to the figure's right; None where it
    is all but upright."""


@dataclass(frozen=True)
class TapeLine:
    """One length that the person measured on the model, held against the armature's."""

    start: str
    """Joint with its side: "shoulder left"."""
    end: str
    tape_mm: float
    found_mm: float | None
    within_mm: float | None


@dataclass(frozen=True)
class Sizes:
    """From the model's body to the piece."""

    height_m: float
    """The model's stature."""
    pose_height_m: float
    """Of the figure as it poses, above the ground."""
    height_from: Literal["given", "bones", "outline"]
    """How the pose's height was found: given; from the lengths of the bones; or the stature itself."""
    scale: float
    """4.0 for 1:4: the finished piece is so many times smaller than the model."""
    shrinkage: float = 0.0
    """Per cent by which the material shrinks from what is built to the finished piece."""

    @property
    def built(self) -> float:
        """Millimetres built for a metre of the model: 1000 / scale / (1 - shrinkage)."""
        return 1000.0 / self.scale / (1.0 - self.shrinkage / 100.0)

    @property
    def finished(self) -> float:
        """Millimetres of the finished piece for a metre of the model."""
        return 1000.0 / self.scale


@dataclass(frozen=True)
class Armature:
    """Everything that the outlines of a turn tell of the figure in space."""

    name: str
    sizes: Sizes
    skeleton: Skeleton
    segments: tuple[Segment, ...]
    figure: Solid = field(repr=False)
    """The visual hull, metres: the figure itself, without base."""
    massing: Solid = field(repr=False)
    """The printable massing model on its base, millimetres as built."""
    base_mm: float
    """Thickness of the base under the figure, millimetres as built."""
    volume_l: float
    """Of the figure, litres."""
    centre: tuple[float, float, float]
    """Middle of its volume, metres."""
    footing: MultiPolygon | None = field(repr=False)
    """Where it touches the ground, as seen from above, metres; None where that could not be told."""
    sections: tuple[Section, ...] = field(repr=False)
    agreement: tuple[float, ...] = ()
    """(n,) overlap of the hull's outline with each stop's, intersection over union."""
    tape: tuple[TapeLine, ...] = ()
    angles_from: str = "name"
    """As AngleFrom of the stops."""
    stops: tuple[str, ...] = ()
    """Names of the n stops used."""
    notes: tuple[Note, ...] = ()
