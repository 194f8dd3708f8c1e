"""Every default once, with its unit and its reason.

A flag of the command line and a keyword of the Python calls have the same name and the same default, and both take it
from here. Numbers that belong to one measure alone (a smoothing length, a curve's knee) stand beside that measure.
"""

from __future__ import annotations

import math
from collections.abc import Mapping
from dataclasses import dataclass, fields, replace
from pathlib import Path
from typing import Any, Literal, get_args

from silhouette.errors import SettingsError

Cutter = Literal["auto", "backdrop", "person", "neural"]
Turn = Literal["left", "right"]
Intent = Literal["open", "closed", "relief"]
Paper = Literal["a4", "letter", "a3"]
Ring = Literal["low", "level", "high"]
"""All stops of one pose that were taken from one camera height: from low, at the waist, from high."""
RINGS: tuple[Ring, ...] = ("low", "level", "high")
"""In the order in which they are told."""
GapSize = Literal["small", "fair", "big"]
ArmAsked = Literal["over-head"]
"""What a pose can be looked for by, see ``find/asked.py``."""
MOST_FOUND = 10
"""Hits that are shown."""
RingPlaces = tuple[tuple[Ring, Path | None], ...]
RingsGiven = Ring | Mapping[Ring, str | Path] | RingPlaces
LensHeights = tuple[tuple[Ring | None, float], ...]
HeightsGiven = float | Mapping[Ring | None, float] | LensHeights
"""What may be given; Settings keeps the last form of each."""

MOST_JOBS = 60
"""Windows waits for no more processes at once than this, less one."""


@dataclass(frozen=True)
class Settings:
    """What the person may choose; every field is a flag of the same name (underscores become dashes)."""

    span: float | None = None
    """Degrees that stills without angles are spread over: 360 a full turn, 180 a half-turn trial; None: found from the
    outlines, a full turn where they do not tell."""
    turn: Turn = "left"
    """The way the model turned, to its own left (angles grow: its right side comes into view next) or right."""
    start: float = 0.0
    """Angle of the first stop, degrees; 0 = the figure faces the camera."""
    cutter: Cutter = "auto"
    """How the figure is cut out: by the plain backdrop, by the person network, by rembg's model, or (auto) by as many
    of them as are needed until two agree."""
    model: str | None = None
    """Name of rembg's model or path of an ``.onnx`` file, for the neural cutter; None takes the default of
    ``cutout/neural.py``."""
    empty: str | Path | None = None
    """A picture of the same room without the model, for the cutter ``auto``; None: one that is called ``empty``, in the
    pose's folder or beside it."""
    intent: Intent = "open"
    """What the pose is meant to be; a closed pose is not marked down for want of gaps."""
    arc: tuple[float, float] | None = None
    """Only the views from the first angle clockwise to the second count (a niche, a wall): ``(300, 60)``."""
    work_px: int = 1008
    """Longer side of the picture that is worked at, pixels. 1/4 of a 12-megapixel still; thin gaps between limb and
    body (1 % of a figure that fills half the frame) are still 4 pixels wide."""
    jobs: int = 1
    """Processes to share the pictures among. One by default: starting a second costs about as much as reading a dozen
    stills, and a script that asks for more must guard its main part as Python's multiprocessing wants it."""
    ring: RingsGiven = ()
    """What the place itself does not say of the rings of a pose: ``"low"`` calls all of it the low ring,
    ``{"low": "low.mov"}`` takes that ring from there."""
    camera_height: HeightsGiven = ()
    """Height of the lens over what the model stands on, metres, where it was measured, so that outlines need not tell:
    ``1.1``, or ``{"low": 0.4}`` by ring; None stands for the rings that are not named."""
    seen_from: float | None = None
    """Height of a viewer's eye over the floor where the piece will stand, metres: decides which ring counts."""
    stands_on: float = 0.0
    """Height of the plinth it will stand on, metres."""
    jitter: int = 6
    """Views whose mask edge is moved, out and in by turns, to see how much a score moves; 0 leaves it out."""
    seed: int = 0
    """Seed of those resamplings, so that the same pictures give the same answer."""

    def __post_init__(self) -> None:
        rings, heights = _ring_list(self.ring), _height_list(self.camera_height)
        object.__setattr__(self, "ring", rings)
        object.__setattr__(self, "camera_height", heights)
        _refuse_rings(rings, heights)
        _refuse_site(self.seen_from, self.stands_on)
        for name, kind in (("turn", Turn), ("cutter", Cutter), ("intent", Intent)):
            if getattr(self, name) not in get_args(kind):
                raise SettingsError(f"{name} can be {', '.join(get_args(kind))}, not {getattr(self, name)!r}.")
        if self.span is not None and not 0 < self.span <= 360:
            raise SettingsError(f"span is the turn in degrees, over 0 and up to 360, not {self.span:g}.")
        for name, angle in (("start", self.start), *(("arc", a) for a in self.arc or ())):
            if not -360 <= angle <= 360:  # a nan fails this too
                raise SettingsError(f"{name} takes angles in degrees, 0 to 360 clockwise (270 or -90), not {angle:g}.")
        if self.empty is not None and self.cutter != "auto":
            raise SettingsError(f"the cutter {self.cutter} takes no empty picture, only auto does.",
                                do="Leave --empty or --cutter out.")
        if self.work_px < 200:
            raise SettingsError(f"work_px is at least 200, not {self.work_px}.")
        if self.arc is not None:
            a, b = (float(x) % 360 for x in self.arc)
            if a == b:
                raise SettingsError("arc needs two different angles, for example 300-60.")
            object.__setattr__(self, "arc", (a, b))
        if not 1 <= self.jobs <= MOST_JOBS:
            raise SettingsError(f"jobs is a number of processes, 1 to {MOST_JOBS}, not {self.jobs}.")
        for name in ("jitter", "seed"):
            if getattr(self, name) < 0:
                raise SettingsError(f"{name} is 0 or more, not {getattr(self, name)}.")

    @property
    def one_ring(self) -> Ring | None:
        """The ring that the place itself was said to be."""
        return next((ring for ring, place in _ring_list(self.ring) if place is None), None)

    @property
    def ring_places(self) -> dict[Ring, Path]:
        """Rings that lie elsewhere."""
        return {ring: place for ring, place in _ring_list(self.ring) if place is not None}

    def lens_height(self, ring: Ring) -> float | None:
        """The height of the lens that was given for this ring, metres."""
        given = dict(_height_list(self.camera_height))
        return given.get(ring, given.get(None))

    def but(self, **changes: Any) -> Settings:
        """The same settings with some changed; an unknown name raises a :class:`SettingsError` that lists the known."""
        known = {f.name for f in fields(self)}
        if unknown := sorted(set(changes) - known):
            raise SettingsError(f"No setting is called {', '.join(unknown)}.", do=f"Known: {', '.join(sorted(known))}.")
        return replace(self, **changes)


# Conventions that more than one column needs. Chosen once; see DEVELOPERS.md.
BAND_STRONG = 65.0
"""Readability from which a view is called strong (0 to 100)."""
BAND_FAIR = 45.0
"""Readability from which a view is called fair; below it the view is weak, and does not count as reading."""


def _ring_list(given: Any) -> RingPlaces:
    """A ring by its name, or places by rings, in the one form that is kept."""
    if isinstance(given, str):
        return ((given, None),)  # type: ignore[return-value]
    pairs = given.items() if isinstance(given, Mapping) else given
    return tuple((ring, None if place is None else Path(place)) for ring, place in pairs)


def _height_list(given: Any) -> LensHeights:
    """One height, or heights by rings, in the one form that is kept."""
    if isinstance(given, int | float):
        return ((None, float(given)),)
    return tuple(given.items() if isinstance(given, Mapping) else given)


def _refuse_rings(rings: RingPlaces, heights: LensHeights) -> None:
    """Stop where a ring is unknown, given twice, or a height makes no sense."""
    named = [ring for ring, _ in rings]
    for ring in (*named, *(r for r, _ in heights if r is not None)):
        if ring not in get_args(Ring):
            raise SettingsError(f"ring can be {', '.join(get_args(Ring))}, not {ring!r}.")
    if len(set(named)) < len(named):
        raise SettingsError("a ring is given twice.", do="Keep one of them.")
    if sum(place is None for _, place in rings) > 1:
        raise SettingsError("one pose is called two rings.",
                            do="Keep one of them, or say where the other lies: --ring low=PLACE.")
    if len({ring for ring, _ in heights}) < len(heights):
        raise SettingsError("a camera height is given twice for one ring.", do="Keep one of them.")
    for _, height in heights:
        if not 0 <= height <= 10:
            raise SettingsError(f"camera_height is the height of the lens in metres, 0 to 10, not {height:g}.")


def _refuse_site(seen_from: float | None, stands_on: float) -> None:
    """Stop where the heights of eye and plinth make no sense."""
    if seen_from is not None and not 0 <= seen_from <= 20:
        raise SettingsError(f"seen_from is the height of a viewer's eye, 0 to 20 m, not {seen_from:g}.")
    if not 0 <= stands_on <= 20:
        raise SettingsError(f"stands_on is the height of the plinth, 0 to 20 m, not {stands_on:g}.")
    if stands_on and seen_from is None:
        raise SettingsError("stands_on is given, but not from what height the piece is seen.",
                            do="Give --seen-from too: the height of a viewer's eye, 1.6 for example.")


def band_of(readability: float) -> Literal["strong", "fair", "weak"]:
    """strong, fair or weak, for the readability of a view."""
    return "strong" if readability >= BAND_STRONG else "fair" if readability >= BAND_FAIR else "weak"


def band_at(readability: float) -> Literal["strong", "fair", "weak", "no view"]:
    """The band at some degree of the round; nan is a degree that no stop is near enough to tell of."""
    return "no view" if math.isnan(readability) else band_of(readability)


TRUST = 0.90
"""Cut confidence (expected overlap with the true figure, 0 to 1) under which a view is shown but not scored."""
DISTRUST = 0.975
"""Cut confidence from which `auto` needs no second opinion, if the person network agreed at other stops of the turn."""
BRIDGE = 60.0
"""Widest hole between stops, degrees, that is interpolated over."""
SCALE = 4.0
"""Of an armature, 4 for 1:4: what a maquette is usually built at."""
LEAST_MM = 2.0
"""Least thickness of the massing model, millimetres as built: what a printed finger bears. Common practice only."""
EVERY_MM = 20.0
"""From one section to the next, millimetres as built: the thickness of common foam boards."""
PROFILES = (0.0, 45.0, 90.0, 135.0)
"""Angles of the profiles to hold against the clay, degrees; from behind they are the same, mirrored."""
WEAKEST_SHARE = 0.5
"""Weight of the two least legible limbs, beside the mean of all five (0 to 1), in limb separation and in what the
reader could tell, and so in `clear`: a view fails by the limbs that are lost."""
