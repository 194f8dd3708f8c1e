"""The records of the shoot: what is checked, planned and kept. Goes on from ``records.py``, with its conventions."""

from __future__ import annotations

from collections.abc import Callable, Iterable, Mapping
from dataclasses import dataclass, field, replace
from typing import Any, Literal

import numpy as np
from numpy.typing import NDArray
from shapely.geometry import Polygon

from silhouette.geometry.perspective import Band
from silhouette.records import AngleFrom, BlindSpot, Mask, Note, Outline, Pixels, RingCamera, Stop
from silhouette.settings import Ring

Floats = NDArray[np.float64]
Verdict = Literal["pass", "look", "retake", "unknown"]
NoTurn = Literal["walks across", "comes nearer", "camera moves", "never turns", "moves in place"]
"""What a clip or a folder shows instead of a turn on the spot: the figure walks across the picture, or toward the
camera or away from it; the camera moves; the outlines are alike at every stop; they change, but not as those of a body
that turns."""
ORDER: dict[Verdict, int] = {"retake": 0, "look": 1, "unknown": 2, "pass": 3}
"""How grave a verdict is, gravest first."""


@dataclass(frozen=True)
class StopLook:
    """What the shoot check keeps of one stop; the full picture is not needed any more. Made by ``check/look.py``."""

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
class Held:
    """What the outlines of a turn say of the pose. Made by ``turn/rigidity.py``."""

    moved: tuple[int, ...]
    """Stops that do not belong to the pose of the first, positions in the order shot."""
    drifting: bool
    """True where the pose changed from a stop on, False where single stops are off."""
    where: str | None
    """Where on the body the worst of them differs most: ``arm height``."""
    far: float
    """How far something moved at the worst of them, figure heights."""
    sank: float
    """Of that, downwards (negative: upwards), figure heights."""
    nearness: float
    """Figure height over camera distance."""
    share: Floats
    """(n,) what sticks out at every stop, share of the figure's area; nan where there is no outline to trust."""
    unfit: bool = False
    """True where the outlines do not fit together even early in the turn: nothing can be said of the pose."""


@dataclass(frozen=True)
class Shot:
    """One turnaround as it was shot, and what all its outlines together tell: all that a question of the shoot check
    may ask. Put together by ``shoot.py``, which alone knows both ``turn/`` and ``check/``. Letter: n stops."""

    stops: tuple[Stop, ...]
    """n, in the order shot."""
    looks: tuple[StopLook, ...]
    """n, one a stop."""
    turned: Floats
    """(n,) degrees turned since the first stop, past 360 if need be; negative where the model turned to its right."""
    height_m: float | None = None
    """Height of the figure in the room as it stands in the pose, metres, if known."""
    usual_step: float = 0.0
    """Median step from stop to stop, degrees."""
    skipped: tuple[int, ...] = ()
    """Stops after which at least one is missing, by the angles."""
    repeated: tuple[int, ...] = ()
    """Stops whose view the next one shows again."""
    camera_moved: int | None = None
    """The stop before which the whole picture shifted; None where the camera stood still."""
    held: Held | None = None
    """None where there are too few outlines to compare."""
    no_turn: NoTurn | None = None
    """What the pictures show instead of a turn; None where they may show one."""
    angles_told: bool = True
    """False where the outlines of a clip did not tell its angles, which were then spread over a turn."""
    aside: Floats | None = None
    """(n,) how far each stop lies to picture right of where it should, figure heights, nan where there is no outline to
    trust; None where there are too few."""
    ring: Ring | None = None
    """Which ring of several it is; None where a pose has one."""

    @property
    def angled(self) -> bool:
        """Whether anything but an even spread says how far the model turned."""
        return any(stop.angle_from != "spread" or stop.angle_sure is not None for stop in self.stops)

    @property
    def by_outlines(self) -> bool:
        """Whether outlines say how far the model turned, and not names or a table."""
        return all(stop.angle_from not in ("name", "csv") for stop in self.stops)


@dataclass(frozen=True)
class StrayStop:
    """A stop that looks as if it was taken from another ring. Made by ``ring_check.py``."""

    stop: int
    """Counted from 0 over the stops of all rings."""
    looks: Ring
    """The ring that it fits into."""
    other: int | None
    """The stop there that fits in its stead, if the two were exchanged."""


@dataclass(frozen=True)
class RingApart:
    """How a ring lies to the one that the others are held against. Made by ``ring_check.py``."""

    ring: Ring
    turned: float
    """How far its angle 0 lies from that of the other, degrees, positive clockwise seen from above."""
    moved: tuple[tuple[str, str | None, float], ...] = ()
    """Joints that lie elsewhere, farthest first: name, the figure's side, how far in shares of the stature."""
    known: int = 0
    """Joints that both rings know."""


@dataclass(frozen=True)
class AllRings:
    """All rings of one pose as they were shot, and what they tell together: all that a question about the rings may
    ask. Put together by ``ring_check.py``. Stops are counted from 0 over all rings, in the order of the rings."""

    shots: tuple[tuple[Ring, Shot], ...]
    """Two or three, in the order of RINGS."""
    main: Ring
    """The ring that the others are held against: the level one, if there is one."""
    cameras: Mapping[Ring, RingCamera]
    clear: tuple[Ring, ...] = ()
    """Those that have enough clear outlines, at known angles, to be held against others."""
    apart: tuple[RingApart, ...] = ()
    """Of each other ring that could be held against the main one."""
    strays: tuple[StrayStop, ...] | None = None
    """None where fewer than two rings have enough outlines."""
    outside: Floats | None = None
    """Of every stop, what sticks out of what the stops of all rings leave, share of the figure's area; nan where there
    is no outline to trust; None where the rings could not be set into one frame."""
    blind_spots: tuple[BlindSpot, ...] | None = None
    """None where it cannot be told."""
    notes: tuple[Note, ...] = ()
    """What the cameras' places make worth saying, of :class:`silhouette.in_space.InSpace`."""
    stature_m: float | None = None
    """How tall the model stands, metres; None where the figure's height as it poses is not given."""

    @property
    def stops(self) -> tuple[Stop, ...]:
        """Those of all rings."""
        return tuple(stop for _, shot in self.shots for stop in shot.stops)

    def first(self, ring: Ring) -> int:
        """Where a ring's stops begin among those of all."""
        before = 0
        for name, shot in self.shots:
            if name == ring:
                return before
            before += len(shot.stops)
        raise KeyError(ring)


@dataclass(frozen=True)
class Finding:
    """The answer to one question of the shoot check, as data. Made by ``check/``; ``show/words_check.py`` has the
    sentences for each kind."""

    check: str
    """The question: full turn, missing stops, doubled stops, held pose, stance, framing, figure size, sharpness, steady
    light, light direction, distance or camera height; of several rings together: right ring, same pose, same start,
    same light, same stops, ring heights or blind spots."""
    verdict: Verdict
    kind: str
    """What was found, in a few words: ``turn open``, ``pose moved``, ``cut by the frame``."""
    stops: tuple[int, ...] = ()
    """Stops concerned, counted from 0 in the order shot."""
    values: tuple[tuple[str, Any], ...] = ()
    """Names, numbers and angles that go into the sentences; plain data that JSON can hold."""
    after_stop: tuple[int, ...] = ()
    """Missing stops: the stops after which one is missing."""
    where: str | None = None
    """Held pose: where on the body, for example ``arm height``."""
    far: float | None = None
    """Held pose and stance: how far it moved, figure heights."""
    parts: tuple[Finding, ...] = ()
    """Where several things are wrong: each of them, gravest first. ``kind`` is then the first one's."""

    @staticmethod
    def of(check: str, verdict: Verdict, kind: str, stops: Iterable[int] = (), **values: Any) -> Finding:
        """``Finding.of("full turn", "retake", "turn open", (17,), short_by=71.0)``."""
        return Finding(check, verdict, kind, tuple(int(k) for k in stops), tuple(values.items()))

    def __getitem__(self, name: str) -> Any:
        return dict(self.values)[name]

    @property
    def gaps(self) -> tuple[tuple[int, int], ...]:
        """Missing stops: the stops to either side of each stretch in which one is missing; those that were not made out
        lie between them."""
        before = dict(self.values).get("before", [k + 1 for k in self.after_stop])
        return tuple(zip(self.after_stop, before, strict=True))


Told = tuple[Ring | None, Finding, tuple[Stop, ...]]
"""A finding, the ring that it is of (None: of the only one, or of all together), and the stops that its numbers
count."""


@dataclass(frozen=True)
class CheckReport:
    """The whole shoot check, worst first."""

    name: str
    stops: tuple[Stop, ...]
    findings: tuple[Finding, ...]
    unclear: tuple[int, ...] = ()
    """Stops whose figure was not made out, counted from 0 in the order shot."""

    rings: tuple[tuple[Ring, CheckReport], ...] = ()
    """Of a pose in several rings the check of each, in the order of RINGS; ``findings`` are then those of all rings
    against each other, and ``stops`` the stops of all, ring by ring. Empty for a pose of one ring."""

    @property
    def told(self) -> tuple[Told, ...]:
        """Every finding, worst first: of the rings together before those of each ring, where they are as grave."""
        own: list[Told] = [(None, f, self.stops) for f in self.findings]
        each: list[Told] = [(ring, f, report.stops) for ring, report in self.rings for f in report.findings]
        return tuple(sorted([*own, *each], key=lambda one: ORDER[one[1].verdict]))

    @property
    def exit_code(self) -> int:
        """0 nothing needs a retake, 1 something does, 2 it could not be checked: neither the turn nor the pose, or the
        figure was made out in too few stops, or it is no turn. Of several rings: 1 if any of them needs one, or all of
        them together; 2 if one of them could not be checked."""
        if self.rings:
            codes = {report.exit_code for _, report in self.rings}
            retake = 1 in codes or any(f.verdict == "retake" for f in self.findings)
            return 1 if retake else 2 if 2 in codes else 0
        found = {f.check: f.verdict for f in self.findings}
        verdicts = set(found.values())
        unseen = verdicts <= {"unknown"} or found.get("full turn") == found.get("held pose") == "unknown"
        return 1 if "retake" in verdicts else 2 if unseen or self.why_not is not None else 0

    @property
    def why_not(self) -> Literal["no turn", "too few made out"] | None:
        """Why most of the check could not be made: the pictures show no turn, or hardly anywhere the figure."""
        lost = {(f.check, f.kind) for f in self.findings if f.verdict == "unknown"}
        if ("held pose", "no turn") in lost:
            return "no turn"
        return "too few made out" if ("held pose", "too few made out") in lost else None


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
    marks: tuple[Literal["this plan", "most in room"], ...] = ()  # whose distance it is


SlotTask = Literal["first turn", "settle", "main turn", "slow first turn", "slow main turn", "low ring", "high ring",
                   "close-ups", "close-ups at rest", "arms down", "break", "next pose"]
PlanWarning = Literal[
    "perhaps a child", "high stand", "arms raised", "room too short", "no lens wide enough", "lens too long",
    "at the lens", "too close", "end-on", "close", "tolerable", "do not walk closer", "few pixels", "spread arms cut",
    "backdrop near", "deep shadows", "cannot turn", "camera near the floor", "turn too long", "session too long",
    "ring cut off", "low ceiling", "beyond the reader",
]


@dataclass(frozen=True)
class Slot:
    """One line of the timetable, in minutes from the moment the model takes the first pose."""

    start: float
    end: float
    what: SlotTask
    kind: Literal["turn", "hold", "rest"]
    pose: int = 1  # which pose of the session, counted from 1; a break before it belongs to it


@dataclass(frozen=True)
class PlanRing:
    """Where the camera of a ring goes. Made by ``plan/rings.py``. Lengths in metres, angles in degrees,
    upward positive."""

    ring: Ring
    distance: float  # lens to turning axis, level
    height: float  # of the lens over the floor
    over_ground: float  # of the lens over the ground the figure stands on
    tilt: float  # of the camera
    sight: float  # of the line from the lens to the middle of the pose
    sees: tuple[float, float]  # of the lines from the lens to the lowest and the highest point of the figure
    in_frame: bool  # the whole figure stays in the picture all round
    frame_share: float  # of the picture's height that the figure takes, at its nearest and farthest
    forward: float  # how much larger a hand held forward comes out than the middle of the pose
    head_over_feet: float  # how much larger the highest point comes out than the ground, at the axis
    ceiling: float  # height of the room that the camera needs
    backdrop_high: float  # height over the floor of the backdrop that lies behind the figure


@dataclass(frozen=True)
class Plan:
    """A shoot, planned. Made by ``plan/camera.py``. Lengths in metres; the frame and the pixels at the turning axis."""

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
    verdict: Band  # what perspective does there
    fits: bool  # the whole figure stays in the picture all round, from a distance that the room allows
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
    warnings: tuple[PlanWarning, ...] = ()
    rings: tuple[PlanRing, ...] = ()  # those that the pose has, from low to high; the level one is the plan's own
    close_ups_min: float = 0.0  # minutes for the close-ups of a pose

    @property
    def in_room(self) -> bool:
        """The room is long enough for the distance."""
        return self.farthest is None or self.distance <= self.farthest + 1e-9

    @property
    def in_frame(self) -> bool:
        """The lens is wide enough for the distance."""
        return self.lens <= self.lens_to_fill + 1e-6

    @property
    def other_rings(self) -> tuple[PlanRing, ...]:
        """All but the level ring."""
        return tuple(ring for ring in self.rings if ring.ring != "level")

    @property
    def session_min(self) -> float:
        """Minutes from the first pose to the end of the last, breaks included."""
        return self.timetable[-1].end


@dataclass(frozen=True)
class SetView:
    """One stop of a reference set, as ``export/reference_set.py`` takes it; built from a :class:`View`."""

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
    ring: Ring = "level"


@dataclass(frozen=True)
class SetCloseUp:
    """One picture of a detail in a reference set."""

    name: str
    """What it shows: ``left hand``."""
    stem: str
    """File name without its suffix: ``keeper_closeup_left_hand_1``."""
    read: Callable[[], Pixels]
    """As of a :class:`SetView`."""
    small: Pixels = field(repr=False, compare=False)
    """(h, w, 3) BGR, as it is shown on a sheet."""


@dataclass(frozen=True)
class SetRing:
    """What a reference set tells of one ring of a pose that was shot in several."""

    ring: Ring
    stops: int
    camera: RingCamera
    missing: tuple[float, ...] = ()
    """Angles at which another ring has a stop and this one has none near, degrees."""


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

    @property
    def ring(self) -> Ring:
        """Whose stop it is."""
        return self.view.ring


@dataclass(frozen=True)
class SetLayout:
    """A reference set laid out, before anything is written. Made by ``export/reference_set.py``, drawn by ``show/``.

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
    notes: tuple[Note, ...] = ()
    rings: tuple[SetRing, ...] = ()
    """In the order of RINGS, of a pose that was shot in several; else empty."""
    close_ups: tuple[SetCloseUp, ...] = ()
    close_ups_left_out: int = 0
    """How many pictures of details there are that did not go in, as no photograph does."""
    blind_spots: tuple[BlindSpot, ...] | None = None
    """None where it was not asked or cannot be told."""

    @property
    def main(self) -> Ring | None:
        """The ring with a level camera, or the first there is; None for a pose of one ring."""
        named = [one.ring for one in self.rings]
        return "level" if "level" in named else named[0] if named else None

    def of(self, ring: Ring) -> SetLayout:
        """One ring alone, in the window and on the scale of all."""
        return replace(
            self, figures=tuple(f for f in self.figures if f.ring == ring),
            views=tuple((stem, view) for stem, view in self.views if view.ring == ring),
        )

    @property
    def head_lines(self) -> tuple[tuple[int, float], ...]:
        """(number, height over the ground line): 0 at the crown of the upright model, then a head lower each."""
        return tuple((i, self.crown - i * self.head) for i in range(int(self.crown / self.head + 1e-9) + 1))

    def head_lines_of(self, ring: Ring) -> tuple[tuple[int, float], ...]:
        """The same, and none for a low or high ring among several: what it shows is no elevation."""
        return self.head_lines if not self.rings or ring == "level" else ()
