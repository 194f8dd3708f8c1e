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

from collections.abc import Callable
from dataclasses import dataclass, field
from importlib import import_module
from pathlib import Path
from types import ModuleType
from typing import TYPE_CHECKING, Literal

import numpy as np
from numpy.typing import NDArray
from shapely.geometry import Polygon

if TYPE_CHECKING:
    import pandas as pd

Band = Literal["strong", "fair", "weak"]
AngleFrom = Literal["name", "csv", "spread", "clip", "outline"]
"""How an angle was found; outline: a still's, from what the outlines of the whole turn agree on."""
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
    """One held position of the turn, before it is cut out: where it came from and at what angle."""

    index: int
    """From 0, in the order shot."""
    source: Path
    name: str
    angle: float
    """Degrees, 0 <= angle < 360."""
    angle_from: AngleFrom
    angle_sure: float | None = None
    """Half width of the 90 % interval of the angle, degrees; None where the angle was given."""
    time: float | None = None
    """Seconds from the clip's start of the chosen frame."""
    hold: tuple[float, float] | None = None
    """Start and end of the hold in a clip, seconds."""
    given_mask: Path | None = None
    """A mask corrected by hand (``045.mask.png`` beside the still), used as it is."""


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
    notes: tuple[str, ...] = ()
    """Sentences for the person."""
    kept: dict[float, Pixels] = field(default_factory=dict, repr=False, compare=False)
    """Stills cut out on the way, upright BGR, by their time; one that is not here is read again from the clip."""
    kept_px: int = 0
    """``work_px`` of the stills in ``kept``."""


# ---------------------------------------------------------------------------------------------------------- cutout


@dataclass(frozen=True)
class Cut:
    """The figure cut out of one picture. Made by ``cutout/``."""

    mask: Mask
    """(h, w) True on the figure; the size of ``Picture.pixels``."""
    confidence: float
    """0 to 1: the overlap (intersection over union) with the true figure that may be expected, as measured on rendered
    pictures; 0 where there is no figure."""
    cutter: Literal["backdrop", "neural", "given"]
    flags: tuple[str, ...] = ()


# ----------------------------------------------------------------------------------------------------------- shape


@dataclass(frozen=True)
class Outline:
    """The outline of one view. Made by ``shape/outline.py``."""

    polygon: Polygon
    """Holes are enclosed gaps. Units of figure height, see the top of this file."""
    height_px: float
    """Figure height in working pixels: ``pixel = polygon * height_px + origin_px``."""
    origin_px: tuple[float, float]
    """Working-pixel position of the polygon's (0, 0)."""
    picture_size: tuple[int, int]
    """(width, height) of the working picture, pixels."""


@dataclass(frozen=True)
class Gap:
    """One piece of negative space: a hole, or a pocket between figure and hull."""

    polygon: Polygon
    """Figure-height units, same frame as the outline."""
    kind: Literal["enclosed", "open"]
    share: float
    """Area over the hull's area, 0 to 1."""
    mouth: float
    """Length of the hull edge that closes an open gap, figure heights; 0 for an enclosed gap."""


@dataclass(frozen=True)
class Part:
    """Something that stands out from the core of the outline: a limb, the head, a prop."""

    polygon: Polygon
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
    weakest_limbs: float
    """How far the two limbs that stand out least do, 0 to 1."""
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
    """What the shape alone lets one guess of each limb; None where it was not asked."""

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
    why: tuple[str, ...]
    """Reasons in a sculptor's words, strongest first."""


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
    why: tuple[str, ...] = ()

    @property
    def width(self) -> float:
        return (self.end - self.start) % 360 or 360.0


@dataclass(frozen=True)
class Round:
    """Readability round the circle. Made by ``reading/circle.py``."""

    degrees: NDArray[np.float64]
    """(360,) readability at every whole degree, nan where no stop is near enough."""
    inferred: NDArray[np.bool_]
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


@dataclass(frozen=True)
class Pose:
    """One candidate pose, read all round. Made by ``pipeline.py``."""

    name: str
    source: Path
    views: tuple[View, ...]
    """In the order of the angles, inferred ones among them."""
    round: Round
    reads_low: int | None
    reads_high: int | None
    """90 % interval of ``round.reads_degrees`` under resampling of views and mask edges."""
    flags: tuple[str, ...] = ()
    notes: tuple[str, ...] = ()
    """Sentences for the person: how the angles were found, pictures left out and why."""
    intent: str = "open"
    """What the person means the pose to be: open, closed or relief."""
    rank: int | None = None
    """1 for the best of the poses that are meant alike; None where it could not be read round."""
    tied_with: tuple[str, ...] = ()
    """Names of poses that are too close to call against this one."""
    samples: NDArray[np.float64] | None = field(default=None, repr=False)
    """(n, 2) share of the counted degrees that read, and mean readability, under resampling; for comparing poses."""

    def to_frame(self) -> pd.DataFrame:
        """One row a view."""
        return _tables().views_table([self])

    def to_json(self) -> str:
        """As ``result.json``, for this pose alone."""
        return Ranking((self,)).to_json()

    def _repr_html_(self) -> str:
        return _pipeline().as_html(Ranking((self,)))


@dataclass(frozen=True)
class Ranking:
    """Candidate poses, best first. Nothing is dropped."""

    poses: tuple[Pose, ...]
    intent: str = "open"
    arc: tuple[float, float] | None = None

    @property
    def meant(self) -> str:
        """What the poses were read as: ``open``, or ``open, bundled as closed``."""
        others = [f"{p.name} as {p.intent}" for p in self.poses if p.intent != self.intent]
        return ", ".join([self.intent, *others])

    def to_frame(self) -> pd.DataFrame:
        """One row a view, in the order of poses and angles."""
        return _tables().views_table(self.poses)

    def to_json(self) -> str:
        """The text of ``result.json``."""
        return _tables().to_json(_tables().ranking_to_dict(self))

    def _repr_html_(self) -> str:
        return _pipeline().as_html(self)


def _tables() -> ModuleType:
    """Loaded when a result is asked to show itself: the records themselves need nothing but numbers."""
    return import_module("silhouette.tables")


def _pipeline() -> ModuleType:
    return import_module("silhouette.pipeline")


# ----------------------------------------------------------------------------------------------------------- shoot

Verdict = Literal["pass", "look", "retake", "unknown"]


@dataclass(frozen=True)
class StopLook:
    """What the shoot check keeps of one stop; the full picture is not needed any more. Made by ``shoot/look.py``."""

    mask: Mask
    """(h, w) True on the figure, working size; all False where no figure was found."""
    thumb: Pixels
    """(h', w', 3) BGR, longer side 96 pixels, for comparing the light."""
    confidence: float
    """Of the cut, 0 to 1."""
    flags: tuple[str, ...]
    """Of the cut."""
    full_size: tuple[int, int]
    """(width, height) of the upright original, pixels."""
    scale: float
    """Working pixels per original pixel."""
    focal_35mm: float | None
    height_px: float
    """Height of the figure, original pixels; 0 without a figure."""
    edges: tuple[str, ...]
    """Edges of the picture that the figure touches: top, bottom, picture left, picture right."""
    edge_width: float | None
    """Width over which the figure's edge fades into the backdrop, original pixels; None where it cannot be measured."""
    figure_light: tuple[float, float, float]
    """Luma 0 to 255 of the figure: 10th, 50th and 95th percentile."""
    backdrop_light: float
    """Median luma of the backdrop close round the figure, 0 to 255."""
    side_light: float
    """Natural log of the figure's mean luma on picture left over picture right of its middle."""


@dataclass(frozen=True)
class Finding:
    """The answer to one question of the shoot check. Made by ``shoot/check.py``."""

    check: str
    """full turn, missing stops, doubled stops, held pose, stance, framing, figure size, sharpness, steady light,
    light direction, distance or camera height."""
    verdict: Verdict
    stops: tuple[int, ...]
    """Stops concerned, counted from 0 in the order shot."""
    evidence: str
    """One sentence in the words of the studio."""
    do: str
    """What to retake or change; empty when nothing."""
    after_stop: tuple[int, ...] = ()
    """Missing stops: the stops after which one is missing."""
    where: str | None = None
    """Held pose: where on the body, for example 'arm height'."""
    how_far: str | None = None
    """Held pose: roughly how far it moved, in centimetres if the model's height is known, else shares of the figure."""


@dataclass(frozen=True)
class CheckReport:
    """The whole shoot check, worst first."""

    name: str
    stops: tuple[Stop, ...]
    findings: tuple[Finding, ...]

    @property
    def exit_code(self) -> int:
        """0 nothing needs a retake, 1 something does, 2 it could not be checked."""
        verdicts = {f.verdict for f in self.findings}
        return 1 if "retake" in verdicts else 2 if verdicts <= {"unknown"} else 0


@dataclass(frozen=True)
class Lamp:
    """Where one lamp goes: x to picture right of the turning axis, y from it toward the camera, height over the floor,
    all metres; ``share`` is its light on the figure, the key's being 1."""

    name: Literal["key", "fill"]
    x: float
    y: float
    height: float
    share: float


@dataclass(frozen=True)
class DistanceRow:
    """What one camera distance (m, lens to turning axis) does; the figures mean what they mean in :class:`Plan`."""

    distance: float
    forward: float
    near_far: float
    figure_px: float
    frame_share: float
    remark: str = ""  # whose distance it is: this plan's, the most in the room


@dataclass(frozen=True)
class Slot:
    """One line of the timetable, in minutes from the moment the model takes the first pose."""

    start: float
    end: float
    what: str
    kind: Literal["turn", "hold", "rest"]


@dataclass(frozen=True)
class Plan:
    """A shoot, planned. Made by ``shoot/plan.py``. Lengths in metres; the frame and the pixels at the turning axis."""

    pose: str
    model_height: float
    pose_height: float  # from the stand to the highest point
    pose_width: float  # widest it is taken to come out while it turns
    stand: float  # height of what the model stands, sits or lies on
    room: float | None  # clear length along the line of sight
    lens: float  # 35 mm equivalent, mm
    phone: bool  # the lens is a phone's main lens, taken by default
    orientation: Literal["upright", "wide"]
    pixels: tuple[int, int]  # (width, height) as the camera is held
    distance: float  # lens to turning axis
    farthest: float | None  # the most that the room allows
    verdict: Literal["good", "tolerable", "close", "too close"]  # what perspective does there
    fits: bool  # the whole figure stays in the picture all round
    room_needed: float  # room length for this distance, with backdrop and camera at ease
    backdrop_gap: float  # turning axis to backdrop
    backdrop_size: tuple[float, float]  # (width, height) that lies behind the figure at every stop
    width_needed: float  # clear width that the lamps take
    camera_height: float
    frame: tuple[float, float]  # (width, height) that the picture shows
    px_per_m: float
    figure_px: float  # height of the figure; length, for a lying one
    frame_share: float  # figure_px over the side of the picture along which it lies, 0 to 1
    lens_to_fill: float  # 35 mm equivalent that would just fill the picture from here, mm
    reach: float  # how far a hand held forward, or the end of a lying body, comes before the axis
    forward_part: str  # what that is
    forward: float  # how much larger it comes out than the body at the axis
    near_far: float  # how much larger it comes out than a part as far behind the axis
    distances: tuple[DistanceRow, ...]
    lenses: tuple[tuple[float, float], ...]  # (35 mm equivalent, distance at which it just holds the figure)
    lamps: tuple[Lamp, ...]
    ratio: float  # key to fill
    turning_radius: float
    stops: int
    step: float  # degrees from stop to stop
    slow_turn: bool  # one slow turn on a clip, without holds: for poses that cannot be held
    turn_s: float  # seconds of one turn, the repeat of the first stop included
    pose_min: float
    break_min: float
    timetable: tuple[Slot, ...]
    warnings: tuple[str, ...] = ()
    said: tuple[tuple[str, str], ...] = ()  # (heading, sentences): the plan in words
    checklist: tuple[tuple[str, tuple[str, ...]], ...] = ()  # (heading, lines)

    @property
    def session_min(self) -> float:
        """Minutes from the first pose to the end of the last, breaks included."""
        return self.timetable[-1].end


@dataclass(frozen=True)
class SetView:
    """One stop of a reference set, as ``shoot/refset.py`` takes it; built from a :class:`View`."""

    angle: float
    name: str
    angle_from: AngleFrom
    outline: Outline | None
    """None where no figure was cut out: the still goes into the set, no black shape does."""
    scale: float
    """Working pixels per pixel of the full picture."""
    full_size: tuple[int, int]
    """(width, height) of the full picture, upright."""
    read: Callable[[], Pixels] | None = None
    """Reads the full picture, (h, w, 3) BGR, sRGB, upright; called only while it is written."""
    angle_sure: float | None = None
    time: float | None = None


@dataclass(frozen=True)
class SetFigure:
    """One black shape of a reference set, on the ground line and the plumb line that all of them share."""

    angle: float
    stem: str
    """File name without its suffix: ``keeper_045``."""
    polygon: Polygon
    """x to the right of the plumb line, y downwards from the ground line, in heights of the pose."""
    to_px: tuple[float, float, float]
    """Pixels per height of the pose, and where plumb line and ground line cross, (x, y) in the full picture."""
    view: SetView


@dataclass(frozen=True)
class SetLayout:
    """A reference set laid out, before anything is written. Made by ``shoot/refset.py``, drawn by ``show/``.

    All figures share one scale, in which the pose is 1 high.
    """

    name: str
    figures: tuple[SetFigure, ...]
    """In the order of the angles; stops without an outline are left out."""
    views: tuple[tuple[str, SetView], ...]
    """(stem, stop): every stop, in the order of the angles."""
    bounds: tuple[float, float, float, float]
    """Left, top, right, bottom of all figures together."""
    window: tuple[float, float, float, float]
    """The same with a margin: what every silhouette, cropped still and page shows."""
    head: float
    """One head height."""
    crown: float
    """Height over the ground line from which heads are counted down: the model standing upright."""
    pose_height_m: float | None
    fixed_camera: bool
    """False where the pictures share no scale by themselves, and each figure was set to its own height and ground."""
    notes: tuple[str, ...] = ()

    @property
    def head_lines(self) -> tuple[tuple[int, float], ...]:
        """(number, height over the ground line): 0 at the crown of the upright model, then a head lower each."""
        return tuple((i, self.crown - i * self.head) for i in range(int(self.crown / self.head + 1e-9) + 1))
