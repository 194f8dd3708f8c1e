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
from shapely.geometry import MultiPolygon, Polygon

from silhouette.geometry.orbit import StopCamera as StopCamera
from silhouette.records import Note
from silhouette.settings import Ring

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
class JointBend:
    """How far the figure is bent at a joint."""

    joint: str
    """neck, shoulder, elbow, wrist, hip, knee or ankle."""
    side: BodySide | None
    start: str
    """One arm of the angle: name of the segment, or "trunk"."""
    end: str
    """The other arm."""
    angle_deg: float | None
    """Between the two as they leave the joint, 0 to 180: 180 is a straight knee, 0 an upper arm that hangs along the
    trunk. At shoulder and hip the trunk is laid through the joint, from shoulder to pelvis and from hip to neck."""


@dataclass(frozen=True)
class WireBend:
    """One bend of a wire."""

    at: str
    """The place, as in :attr:`Wire.route`."""
    mark_mm: float
    """From the wire's start, its first end among it, along the middle of the wire; millimetres as built."""
    angle_deg: float
    """By how much it is bent, from straight on: 0 to 180."""
    turn_deg: float | None
    """How far the wire is turned about itself after the bend before, -180 to 180, clockwise seen from the wire's
    start: 0 bends the same way as the bend before, 180 the opposite way. None at the first bend."""


@dataclass(frozen=True)
class Wire:
    """One wire of the armature, from its start to its end. Made by ``space/skeleton.py``."""

    name: str
    """leg left, arms, spine, foot right, ..."""
    route: tuple[str, ...]
    """Where it leads: joints with their side ("knee left"), "base" under a foot, "hips" half way between them,
    "head loop" where it forms one."""
    points: Floats = field(repr=False)
    """(r, 3) the same as places, metres, without the head loop."""
    length_mm: float
    """Along the route, above the base, millimetres as built."""
    loop_mm: float
    """What the head loop takes beyond that."""
    start_mm: float
    """What is left over at the start: below the base, or to tie it."""
    end_mm: float
    bends_mm: float
    """Allowance for the bends."""
    bends: tuple[WireBend, ...]
    passed: tuple[str, ...] = ()
    """Joints that were not found: the wire leads straight to the next one."""
    jumps: tuple[int, ...] = ()
    """Where it does: places in :attr:`points` after which such a stretch begins."""

    @property
    def cut_mm(self) -> float:
        """What to cut off."""
        return self.length_mm + self.loop_mm + self.start_mm + self.end_mm + self.bends_mm


@dataclass(frozen=True)
class WireRules:
    """How wires are cut: common practice, and a setting. Made by ``space/skeleton.py``."""

    gauge_mm: float
    """Thickness of the wire."""
    anchor_mm: float
    """Below the top of the base."""
    tie_mm: float
    """To tie one end to another wire."""
    per_bend_mm: float
    """For each bend of a right angle; less for less."""


@dataclass(frozen=True)
class Plumb:
    """Where the mass lies over the feet, seen from above."""

    neck: tuple[float, float] | None
    """Under the neck, x and y, metres."""
    centre: tuple[float, float]
    """Under the middle of the volume."""
    inside_m: float | None
    """From there to the edge of the ground between the feet; negative where it lies outside, None without a
    footing."""
    foot: BodySide | None
    """The foot whose ankle is nearest under the neck."""
    foot_m: float | None
    """How far from the plumb line that ankle is."""
    ground: Polygon | None = field(default=None, repr=False)
    """What the feet, and whatever else touches the ground, enclose; seen from above, metres."""


@dataclass(frozen=True)
class Profile:
    """The outline of the figure as a level view from far shows it."""

    angle: float | None
    """Where the camera would stand, degrees; None: seen from above, the back up."""
    outline: MultiPolygon = field(repr=False)
    """x to picture right of the turning axis; y up from the ground, of the plan toward the back; metres."""


@dataclass(frozen=True)
class Calipers:
    """What calipers would read of one piece of a level cut."""

    name: str
    """Joint with its side, or empty for a height alone."""
    z: float
    """Metres above the ground."""
    width_m: float
    """Along x."""
    depth_m: float
    """Along y."""
    narrow_m: float
    """The least that calipers read, however they are turned."""
    wide_m: float
    """Across that."""


@dataclass(frozen=True)
class Taped:
    """One length of ``tape.csv``, as the person wrote it."""

    start: str
    """Joint with its side: "shoulder left"."""
    end: str
    mm: float


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
class Gain:
    """What the other rings add to the main one."""

    ring: Ring
    """The main ring."""
    volume_l: float
    """Of the figure as this ring alone shows it, litres; more is mostly too much."""
    within_m: float | None
    """How far joints from this ring alone may be off, median over the joints, metres; None where half of them
    were not found."""
    within_all_m: float | None
    """The same from all rings."""


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
    bends: tuple[JointBend, ...] = ()
    wires: tuple[Wire, ...] = ()
    rules: WireRules | None = None
    """How the wires are cut."""
    plumb: Plumb | None = None
    calipers: tuple[Calipers, ...] = ()
    """At the heights of the sections that hold anything, lowest first, then at the joints."""
    tape_factor: float | None = None
    """By what all sizes would be multiplied to fit the tape; None without a tape that meets the joints."""
    fitted_to_tape: bool = False
    """Whether that was done."""
    rings: tuple[Ring, ...] = ()
    """The rings used, the main one first; empty where the pose was shot in one."""
    gain: Gain | None = None
    """What the rings beside the main one add; None without them."""
