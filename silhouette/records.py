"""The data that travels between the rooms, in the order of the work. Read this first.

One frozen dataclass a result. Everywhere:

- an **angle** says where the camera stands round the figure, degrees, clockwise seen from above: 0 it faces the camera,
  90 its right side is toward the camera, 180 its back, 270 its left;
- **picture left / right** is the image's, **figure's left / right** the body's; never a bare left;
- an **outline** is a shapely polygon with holes, x to the right, y downwards, in units of **figure height** (its own
  vertical extent in this view); its top is y = 0, its lowest point (the ground) y = 1, x = 0 the middle of its box;
- scores run 0 to 100; a measure that could not be made is ``None``, never 0.
"""

from __future__ import annotations

from dataclasses import dataclass, field
from enum import StrEnum
from pathlib import Path
from typing import Any, Literal, NamedTuple

import numpy as np
from numpy.typing import NDArray
from shapely.geometry import Polygon

from silhouette.settings import RINGS, Ring

Band = Literal["strong", "fair", "weak"]
AngleFrom = Literal["name", "csv", "spread", "clip", "outline"]
"""How an angle was found; clip: of a film's stop or a live turn's, from its outlines; outline: a still's, where what
the outlines of the whole turn agree on speaks against an even spread."""
Pixels = NDArray[np.uint8]
Mask = NDArray[np.bool_]

# Flags a view can carry (View.flags). Short, stable words for result.json; `show/` has the sentence for each.
UNREADABLE = "unreadable"  # the file could not be read as a picture
NO_FIGURE = "no figure"  # nothing that could be a figure stands in it
CANNOT_TELL = "cannot tell"  # the cut is not trusted: shown, not scored
CUT_BY_FRAME = "cut by the frame"  # the figure touches the picture's edge
SMALL_FIGURE = "small figure"  # under a quarter of the picture's height
TWO_FIGURES = "two figures"
BACK_LIGHT = "back light"
BLURRED = "blurred"
SAME_ANGLE = "same angle"  # another still has this angle too
ONE_PICTURE = "one picture only"
INFERRED = "inferred"  # mirrored from the opposite view; no picture of it exists
GIVEN_MASK = "mask by hand"
SHAPE_ALONE = "read by shape alone"  # the outline is unlike a body, so the reader stood aside


# ----------------------------------------------------------------------------------------------- what is told, as data


class ReasonKind(StrEnum):
    """Why a view reads or does not. ``show/words.py`` has the sentence for each."""

    ARMS_LOST = "arms lost"  # both; a hand may be placed by zone and side
    ARM_LOST = "arm lost"  # one; its hand may be placed
    HAND_LOST = "hand lost"
    LEGS_AS_ONE = "legs as one"
    FEET_LOST = "feet lost"
    FOOT_LOST = "foot lost"
    HEAD_SUNK = "head sunk"
    HEAD_BEHIND_ARM = "head behind a raised arm"
    EDGES_TOUCH = "edges touch"
    COLUMN = "symmetric column"
    SIDES_MATCH = "sides match"
    NO_GAP = "no gap"
    TOO_LITTLE = "limbs stand out too little"
    # these speak for a view
    ALL_CLEAR = "all limbs clear"
    MOST_CLEAR = "most limbs clear"
    GAP = "clear gap"
    COMPACT = "compact mass"


STRENGTHS = frozenset({ReasonKind.ALL_CLEAR, ReasonKind.MOST_CLEAR, ReasonKind.GAP})
ARM_TROUBLES = frozenset({ReasonKind.ARMS_LOST, ReasonKind.ARM_LOST, ReasonKind.HAND_LOST})

Limb = Literal["head", "arm", "hand", "leg", "foot"]
Zone = Literal[
    "head", "shoulder", "chest", "waist", "hip", "thigh", "knee", "foot", "high up", "half-way up", "low down"
]
"""Where on the body; or how high, on a figure that does not stand: its heights say nothing of its joints."""
TRUNK: tuple[Zone, ...] = ("shoulder", "chest", "waist", "hip")
"""Zones of the torso: with its hand there a lost arm lies in it."""
Side = Literal["picture left", "picture right", "middle"]


@dataclass(frozen=True)
class Reason:
    """One reason why a view reads or does not."""

    kind: ReasonKind
    limb: Limb | None = None
    """What it is about; None for the whole outline."""
    zone: Zone | None = None
    """Where on the body; of a lost arm, where its hand is. None where that is not sure."""
    side: Side | None = None
    """Where in the picture; None where that is not sure."""
    severity: float = 0.0
    """How much is lost, 0 up: the order of the reasons."""

    @property
    def praise(self) -> bool:
        """Whether it speaks for the view."""
        return self.kind in STRENGTHS

    @property
    def in_torso(self) -> bool:
        """Whether the torso swallows an arm, or both."""
        return self.kind == ReasonKind.ARM_LOST or (
            self.kind == ReasonKind.ARMS_LOST and (self.zone is None or self.zone in TRUNK))


@dataclass(frozen=True)
class Note:
    """Something the person should know of a pose or a turnaround. ``show/words.py`` has the sentence for each kind."""

    kind: str
    values: tuple[tuple[str, Any], ...] = ()
    """Names, numbers and angles that go into the sentence; plain data that JSON can hold."""

    @staticmethod
    def of(kind: str, **values: Any) -> Note:
        """``Note.of("angles spread", count=12, span=360.0)``; a list counts as a tuple."""
        return Note(kind, tuple((name, tuple(v) if isinstance(v, list) else v) for name, v in values.items()))

    def __getitem__(self, name: str) -> Any:
        return dict(self.values)[name]

    @property
    def plain(self) -> dict[str, Any]:
        """As JSON holds it; ``Note.of(**plain)`` is the note again."""
        return {"kind": self.kind, **dict(self.values)}


# ---------------------------------------------------------------------------------------------------------- intake


@dataclass(frozen=True)
class Picture:
    """One still, upright, at the size worked at. Made by ``intake/stills.py`` and ``intake/film.py``."""

    source: Path
    """The file it came from; for a stop of a clip, the clip."""
    name: str
    """What to call it in tables and file names: the file's stem, or ``stop_07`` for a clip."""
    pixels: Pixels
    """(h, w, 3) BGR, 8 bit, sRGB, orientation applied."""
    full_size: tuple[int, int]
    """(width, height) of the upright original, pixels."""
    focal_35mm: float | None = None
    """35 mm equivalent focal length that the file states, mm."""
    time: float | None = None
    """Seconds from the clip's start (clips), or seconds since 1970 local time (EXIF), if known."""

    @property
    def scale(self) -> float:
        """Working pixels per original pixel."""
        return self.pixels.shape[1] / self.full_size[0]


@dataclass(frozen=True)
class Stop:
    """One held position of the turn: where its picture came from and at what angle it was taken."""

    index: int
    """From 0, in the order shot."""
    source: Path
    name: str
    angle: float
    """Degrees, 0 <= angle < 360."""
    angle_from: AngleFrom
    angle_sure: float | None = None
    """Half width of the 90 % interval of the angle, degrees; None where the angle was given, or spread evenly with no
    outlines that could tell."""
    time: float | None = None
    """Seconds from the clip's start of the chosen frame."""
    hold: tuple[float, float] | None = None
    """Start and end of the hold in a clip, seconds."""
    given_mask: Path | None = None
    """A mask corrected by hand (``045.mask.png`` beside the still), used as it is."""
    full_size: tuple[int, int] = (0, 0)
    """(width, height) of its upright original, pixels; zeros until it is read."""
    focal_35mm: float | None = None
    """35 mm equivalent focal length that its file states, mm."""
    problem: str | None = None
    """One sentence, where its picture could not be used at all."""
    ring: Ring = "level"
    """Which ring of the pose it belongs to; level where a pose has one and nobody says otherwise."""


@dataclass(frozen=True)
class CloseUp:
    """Pictures of a detail, kept beside the rings of a pose and never scored: ``close-ups/NAME/``."""

    name: str
    """What it shows, as its folder or file is called: ``left hand``."""
    files: tuple[Path, ...]
    """Its stills, in natural name order."""


@dataclass(frozen=True)
class FilmStops:
    """Where a clip holds still, found in one decoding pass. Made by ``intake/film.py``."""

    source: Path
    duration: float
    """Seconds that could be read."""
    fps: float
    """Mean frame rate, frames per second; the clip's own time stamps are what counts."""
    size: tuple[int, int]
    """(width, height) of the upright picture, pixels."""
    rotation: int
    """Quarter turns clockwise that set the stored picture upright, 0 to 3."""
    times: NDArray[np.float64]
    """(k,) seconds from the clip's start of the frames looked at, growing."""
    motion: NDArray[np.float64]
    """(k,) how much the picture changes about each of them, grey levels out of 255."""
    holds: tuple[tuple[float, float], ...]
    """n holds: start and end, seconds. For a clip without pauses the n moments sampled, start = end."""
    chosen: tuple[float, ...]
    """n times, seconds: the stillest, sharpest frame of each hold."""
    motion_share: NDArray[np.float64]
    """(n - 1,) share of all motion between stop i and stop i + 1; sums to 1."""
    paused: bool
    """False where the clip is one slow turn without pauses, sampled evenly."""
    notes: tuple[Note, ...] = ()
    kept: dict[float, Pixels] = field(default_factory=dict, repr=False, compare=False)
    """Stills cut out on the way, upright BGR, by their time; one that is not here is read again from the clip."""
    kept_px: int = 0
    """``work_px`` of the stills in ``kept``."""


# ---------------------------------------------------------------------------------------------------------- cutout


CutBy = Literal["backdrop", "person", "room", "neural", "given"]
"""What made a cut-out: the backdrop's colours, the person network, the empty room, rembg's model, a hand."""


@dataclass(frozen=True)
class Cut:
    """The figure cut out of one picture. Made by ``cutout/``."""

    mask: Mask
    """(h, w) True on the figure; the size of ``Picture.pixels``."""
    confidence: float
    """0 to 1: the overlap (intersection over union) with the true figure that may be expected, as measured on rendered
    pictures; 0 where there is no figure."""
    cutter: CutBy
    flags: tuple[str, ...] = ()
    doubt: Mask | None = None
    """(h, w) True where independent cut-outs of this picture disagree; None where only one was made, or all agree."""

    def __reduce__(self) -> tuple[Any, ...]:
        """Handed to another process with eight pixels of the masks to a byte."""
        doubt = None if self.doubt is None else np.packbits(self.doubt)
        return _cut_from_bits, (
            np.packbits(self.mask), self.mask.shape, self.confidence, self.cutter, self.flags, doubt,
        )


def _cut_from_bits(bits: NDArray[np.uint8], shape: tuple[int, int], confidence: float, cutter: CutBy,
                   flags: tuple[str, ...], doubt: NDArray[np.uint8] | None) -> Cut:
    mask, unsure = (
        None if b is None else np.unpackbits(b, count=shape[0] * shape[1]).reshape(shape).view(np.bool_)
        for b in (bits, doubt)
    )
    assert mask is not None
    return Cut(mask, confidence, cutter, flags, unsure)


# ----------------------------------------------------------------------------------------------------------- shape


@dataclass(frozen=True)
class Outline:
    """The outline of one view. Made by ``shape/outline.py``."""

    polygon: Polygon = field(repr=False)
    """Holes are enclosed gaps. Units of figure height, see the top of this file."""
    height_px: float
    """Figure height in working pixels: ``pixel = polygon * height_px + origin_px``."""
    origin_px: tuple[float, float]
    """Working-pixel position of the polygon's (0, 0)."""
    picture_size: tuple[int, int]
    """(width, height) of the working picture, pixels."""
    contour: Polygon | None = field(default=None, repr=False, compare=False)
    """The same with every bend of the contour, for drawings; measures are taken from ``polygon``."""

    @property
    def drawn(self) -> Polygon:
        """The finest contour there is."""
        return self.contour or self.polygon


@dataclass(frozen=True)
class Gap:
    """One piece of negative space: a hole, or a pocket between figure and hull."""

    polygon: Polygon = field(repr=False)
    """Figure-height units, same frame as the outline."""
    kind: Literal["enclosed", "open"]
    share: float
    """Area over the hull's area, 0 to 1."""
    mouth: float
    """Length of the hull edge that closes an open gap, figure heights; 0 for an enclosed gap."""


@dataclass(frozen=True)
class Part:
    """Something that stands out from the core of the outline: a limb, the head, a prop."""

    polygon: Polygon = field(repr=False)
    base: tuple[tuple[float, float], tuple[float, float]]
    """The cut that separates it from the rest: two points on the outline."""
    tip: tuple[float, float]
    """The point of the part farthest from its base."""
    area: float
    """Over the whole outline's area, 0 to 1."""
    protrusion: float
    """Length of its outline without the base, over the base (Hoffman & Singh 1997); at least 1."""
    length: float
    """From the middle of the base to the tip, figure heights."""


@dataclass(frozen=True)
class Tangent:
    """Edges that just touch or all but touch."""

    point: tuple[float, float]
    distance: float
    """Width of the slit or of the bridge there, figure heights."""


@dataclass(frozen=True)
class Measures:
    """What geometry says of one outline; all dimensionless, the same for the mirrored, moved or scaled picture.

    Made by ``shape.measure.measure_outline``.
    """

    negative_space: float
    """Enclosed and open gaps over the hull's area, 0 to 1; shallow pockets count less."""
    contour_complexity: float
    """How many bays the outline has, shallow ones in part, 0 up; 0 for a circle, 1 for an L, 3 to 10 for a figure."""
    limb_separation: float
    """How far head, arms and legs stand clear, 0 to 1, the two that do so least counted twice; fitted to true limb
    legibility on rendered bodies."""
    gaps: tuple[Gap, ...]
    parts: tuple[Part, ...]
    tangents: tuple[Tangent, ...]
    solidity: float
    """Area over hull area."""
    circularity: float
    """4 pi area over perimeter squared, of the outer ring."""
    convexity: float
    """Hull perimeter over the outer ring's perimeter."""
    symmetry: float
    """Overlap of the outline with its own mirror image about the best upright axis, 0 to 1."""
    limbs: LimbLegibility | None = None
    """What the shape alone lets one guess of each limb; None where the outline is too plain to be a figure's."""

    @property
    def gaps_enclosed(self) -> tuple[Gap, ...]:
        return tuple(g for g in self.gaps if g.kind == "enclosed")

    @property
    def gaps_open(self) -> tuple[Gap, ...]:
        return tuple(g for g in self.gaps if g.kind == "open")


# --------------------------------------------------------------------------------------------------------- reading


@dataclass(frozen=True)
class Joint:
    """Where the reader places one joint or extremity, and how sure it is."""

    joint: str
    """head, hand, elbow, foot or knee; a pair is unordered, since an outline cannot tell left from right."""
    x: float
    y: float
    """Picture fractions, 0 to 1 from the picture's top left."""
    spread: float
    """Radius that holds the true joint 9 times in 10, figure heights."""
    sure: float = 1.0
    """Chance that the true joint lies within 5 % of the figure height of this place, 0 to 1."""
    also: tuple[float, float] | None = None
    """The other place, picture fractions, where two are possible."""


@dataclass(frozen=True)
class LimbLegibility:
    """How much of each limb's own outline the black shape draws, 0 to 1, as read from the outline alone."""

    head: float
    arms: tuple[float, float]
    """Weaker, stronger."""
    legs: tuple[float, float]


@dataclass(frozen=True)
class BodyReading:
    """What the learned reader can tell from one outline. Made by ``reading/reader.py``."""

    limb_legibility: LimbLegibility
    joints: tuple[Joint, ...]
    unlike: float
    """How unlike its training the outline is, 0 (like a body) to 1 (unlike any)."""


@dataclass(frozen=True)
class Reading:
    """The verdict on one view. Made by ``reading/view.py``."""

    clear: float
    """0 to 100: can one tell what each limb does?"""
    interesting: float
    """0 to 100: is the outline worth looking at?"""
    readability: float
    """0 to 100, from both."""
    band: Band
    reasons: tuple[Reason, ...]
    """Why, weightiest first; at least one."""


DoubtWhere = Literal[
    "between the legs", "between arm and body", "inside the body", "over the head", "beside the head", "at the feet",
    "picture left of the body", "picture right of the body",
]


class Doubt(NamedTuple):
    """A place where independent cut-outs of one picture disagree. Made by ``cutout/doubt_where.py``."""

    where: DoubtWhere
    share: float
    """Its area over the figure's."""
    counted: bool
    """Whether it is part of the figure as it was cut: then it may be too much, else it may be missing."""


@dataclass(frozen=True)
class View:
    """Everything about one view of one pose: a row of ``views.csv``. Measures are None without a trusted cut."""

    stop: Stop
    confidence: float
    cutter: str
    flags: tuple[str, ...] = ()
    outline: Outline | None = None
    measures: Measures | None = None
    body: BodyReading | None = None
    reading: Reading | None = None
    full_size: tuple[int, int] = (0, 0)
    focal_35mm: float | None = None
    problem: str | None = None
    """One sentence, where the picture could not be used at all."""
    doubts: tuple[Doubt, ...] = ()
    """Where independent cut-outs disagree, largest first; empty where they agree, or where there was one only."""
    mask_bits: NDArray[np.uint8] | None = field(default=None, repr=False, compare=False)
    """The mask as it was cut, 8 pixels a byte (``numpy.packbits``), row by row."""

    @property
    def mask(self) -> Mask | None:
        """(h, w) True on the figure, the size worked at, upright; None without a figure or for an inferred view."""
        if self.mask_bits is None or self.outline is None or self.inferred:
            return None
        width, height = self.outline.picture_size
        return np.unpackbits(self.mask_bits, count=width * height).reshape(height, width).astype(bool)

    @property
    def angle(self) -> float:
        return self.stop.angle

    @property
    def name(self) -> str:
        return self.stop.name

    @property
    def inferred(self) -> bool:
        return INFERRED in self.flags

    @property
    def scored(self) -> bool:
        return self.reading is not None and CANNOT_TELL not in self.flags


@dataclass(frozen=True)
class Arc:
    """A stretch of the round, clockwise seen from above from ``start`` to ``end`` (degrees; may pass through 0)."""

    start: float
    end: float
    causes: tuple[Reason, ...] = ()
    """Of a weak stretch, what its views lose most, commonest first."""

    @property
    def width(self) -> float:
        return (self.end - self.start) % 360 or 360.0


@dataclass(frozen=True)
class Round:
    """Readability round the circle. Made by ``reading/circle.py``."""

    degrees: NDArray[np.float64] = field(repr=False, compare=False)
    """(360,) readability at every whole degree, nan where no stop is near enough."""
    inferred: NDArray[np.bool_] = field(repr=False, compare=False)
    """(360,) True where the value rests on mirrored views only."""
    reads_degrees: int | None
    """How many of the counted degrees read (readability at least BAND_FAIR); None if no two stops are near enough."""
    counted_degrees: int
    """How many degrees count: 360, or the arc's width, less the holes."""
    weak_arcs: tuple[Arc, ...]
    missing_arcs: tuple[Arc, ...]
    mean: float | None
    worst: float | None
    worst_angle: float | None


HeightFrom = Literal["outlines", "given", "unknown"]


@dataclass(frozen=True)
class RingCamera:
    """Where the camera of a ring stood. Made by ``in_space.py``. Letter: S, the model's stature."""

    found_from: HeightFrom
    """outlines: from all of the pose; given: by the person; unknown: neither, then the numbers are None."""
    height: float | None = None
    """Of the lens over the ground the figure stands on, S."""
    height_sure: float | None = None
    """Half width of the 90 % interval of ``height``, S; None where it was given."""
    tilt: float | None = None
    """How far the camera looked up, degrees; negative: down."""
    distance: float | None = None
    """From the lens to the turning axis, level, S."""
    waist: float | None = None
    """Height of the figure's waist as it poses, S."""
    height_m: float | None = None
    """``height`` in metres, where the person gave it or the model's stature."""
    turned: float | None = None
    """How far angle 0 of this ring lies from that of the headline's ring, degrees, positive clockwise from above."""
    lens: float | None = None
    """Focal length that ``distance`` belongs to, over the longer side of the picture."""


BodyPart = Literal["head", "hand", "forearm", "upper arm", "foot", "shin", "thigh"]


@dataclass(frozen=True)
class BlindSpot:
    """A part of the body that stands clear of the outline in no view of any ring. Made by ``space/blind_spots.py``."""

    part: BodyPart
    side: Literal["left", "right"] | None
    """The figure's; None for the head."""
    angle: float
    """From where a close-up would show it best, degrees."""
    height: float
    """At what height the close-up would be taken, over the ground, S (the model's stature)."""
    clear: float
    """How much of it the best view draws, 0 to 1."""
    ring: Ring
    """Which ring's height is nearest to that of the close-up."""
    covered_by: str | None = None
    """The name of a close-up that is there and says that it shows it."""


@dataclass(frozen=True)
class PoseRing:
    """One ring of a pose, read all round: what :class:`Pose` holds of its headline's ring."""

    ring: Ring
    views: tuple[View, ...]
    round: Round
    reads_low: int | None
    reads_high: int | None
    camera: RingCamera | None = None
    samples: NDArray[np.float64] | None = field(default=None, repr=False, compare=False)


@dataclass(frozen=True)
class Pose:
    """One candidate pose, read all round. Made by ``scoring.py``.

    A pose shot in several rings has its headline from one of them, the level one unless the person says from where the
    piece is seen: ``views``, ``round`` and all that follows from them are of that ring, ``other_rings`` has the others.
    """

    name: str
    source: Path
    views: tuple[View, ...]
    """In the order of the angles, inferred ones among them."""
    round: Round
    reads_low: int | None
    reads_high: int | None
    """90 % interval of ``round.reads_degrees`` under resampling of views and mask edges."""
    flags: tuple[str, ...] = ()
    notes: tuple[Note, ...] = ()
    """How the angles were found, pictures left out and why."""
    intent: str = "open"
    """What the person means the pose to be: open, closed or relief."""
    rank: int | None = None
    """1 for the best of the poses that are meant alike; None where it could not be read round."""
    tied_with: tuple[str, ...] = ()
    """Names of poses that are too close to call against this one."""
    samples: NDArray[np.float64] | None = field(default=None, repr=False, compare=False)
    """(n, 2) share of the counted degrees that read, and mean readability, under resampling; for comparing poses."""
    ring: Ring = "level"
    """The headline's."""
    camera: RingCamera | None = None
    """Of the headline's ring; None for a pose of one ring, of which it is not asked."""
    other_rings: tuple[PoseRing, ...] = ()
    """In the order of RINGS; empty for a pose of one ring."""
    blind_spots: tuple[BlindSpot, ...] | None = None
    """None where it was not asked or cannot be told."""
    close_ups: tuple[CloseUp, ...] = ()

    @property
    def rings(self) -> tuple[PoseRing, ...]:
        """All rings, the headline's among them, in the order of RINGS; one for a pose of one ring."""
        own = PoseRing(self.ring, self.views, self.round, self.reads_low, self.reads_high, self.camera, self.samples)
        return tuple(sorted((own, *self.other_rings), key=lambda r: RINGS.index(r.ring)))

    @property
    def all_views(self) -> tuple[View, ...]:
        """The views of all rings, the headline's first."""
        return (*self.views, *(view for ring in self.other_rings for view in ring.views))

    def __repr__(self) -> str:
        reads = self.round.reads_degrees
        told = "not read round" if reads is None else f"reads from {reads} of {self.round.counted_degrees} degrees"
        return f"{type(self).__name__}({self.name[:60]!r}, {self.intent}, {len(self.views)} views, {told})"


@dataclass(frozen=True)
class Ranking:
    """Candidate poses, best first. Nothing is dropped."""

    poses: tuple[Pose, ...]
    intent: str = "open"
    arc: tuple[float, float] | None = None
    left_out: tuple[tuple[str, str], ...] = ()
    """Name of each pose that could not be used at all, and why, in a sentence."""

    @property
    def meant(self) -> str:
        """What the poses were read as: ``open``, or ``open, bundled as closed``."""
        others = [f"{p.name} as {p.intent}" for p in self.poses if p.intent != self.intent]
        return ", ".join([self.intent, *others])

    def __repr__(self) -> str:
        names = [p.name[:60] for p in self.poses[:5]] + (["..."] if len(self.poses) > 5 else [])
        return f"{type(self).__name__}({', '.join(names)}; {len(self.poses)} poses, read as {self.intent})"
