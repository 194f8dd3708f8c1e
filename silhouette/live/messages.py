"""What the live page and the program say to each other: plain data, written here and nowhere else.

The page sends frames of its camera (:class:`Frame`, binary) and orders (:class:`Order`, JSON) over one socket. Every
frame is answered by one :class:`Seen`; whoever watches gets the same. Frame numbers are the page's own, growing. The
page keeps the last :data:`KEPT` frames it sent at the camera's full size, so that the very frame that was judged can be
asked for (``Seen.take``) and becomes the still.
"""

from __future__ import annotations

import math
import struct
from dataclasses import asdict, dataclass, field
from typing import Any, Literal

from silhouette.records import Band, Pixels
from silhouette.settings import Ring

FRAME_PX = 640
"""Longer side of the frames that the page sends, pixels."""
KEPT = 6
"""Frames that the page keeps at full size until they are asked for, or others come."""
MOST_FRAME, MOST_STILL = 1_000_000, 40_000_000
"""Bytes of a frame, and of a full picture, at most."""
HEAD = struct.Struct("<IdII")
"""Before the JPEG of a frame: its number, when it was taken (seconds, the page's own clock), the camera's full width
and height in pixels."""

State = Literal["no-camera", "empty-room", "live", "hold", "closed"]
"""Nothing has come from a camera; the empty picture is being taken; the model moves or poses; a hold was found;
the circle is closed."""
SignalKind = Literal[
    "empty taken", "taken", "turn on", "moved", "out of frame", "pose differs", "fits", "closed", "rest", "ready",
]
"""What is told by a tone and in writing: the empty picture is kept; a stop is kept, and which; time to turn on; the
model moved before the stop was taken; part of the figure has left the frame; the pose is not that of the stops
before; the pose found again sits; the circle is closed; time for a break; the turn may begin."""


@dataclass(frozen=True)
class Frame:
    """One picture of the live camera, decoded."""

    number: int
    seconds: float
    """When it was taken, by the page's own clock."""
    pixels: Pixels
    """(h, w, 3) BGR, longer side at most :data:`FRAME_PX`."""
    full_size: tuple[int, int]
    """(width, height) that the camera gives, pixels."""


@dataclass(frozen=True)
class Signal:
    """Something to be told by a tone, and in writing."""

    kind: SignalKind
    words: str
    """The sentence, from ``show/words_live.py``."""
    loud: bool = True
    """Whether a tone goes with it."""


@dataclass(frozen=True)
class Trouble:
    """What is wrong with where the figure stands in the frame."""

    kind: Literal["nobody", "two figures", "feet cut off", "head cut off", "cut off at picture left",
                  "cut off at picture right", "too close", "too far", "not trusted"]
    words: str


@dataclass(frozen=True)
class GhostFit:
    """How the live outline lies against an earlier one, see ``ghost.py``."""

    path: str
    """The earlier outline as an SVG path, in pixels of the frame."""
    fit: int
    """0 to 100: 100 where the two agree as well as a person can hold."""
    sits: bool
    words: tuple[str, ...]
    """Part by part how far they are apart, worst first: ``picture right arm: 6 % higher``."""
    name: str
    """Which stop it is, for people."""


@dataclass(frozen=True)
class WheelStop:
    """One stop on the live wheel."""

    name: str
    angle: float | None
    """Degrees, None while nothing tells it."""
    band: Band | None
    path: str
    """Its silhouette as an SVG path, figure height 1000, ground at y = 1000, x = 0 the middle."""
    trouble: str = ""
    """What is wrong with it, in a few words; empty where nothing is known to be."""


@dataclass(frozen=True)
class StopsTold:
    """What the bench makes of all stops kept so far, a moment after one more was kept. Made by ``bench.py``."""

    wheel: tuple[WheelStop, ...]
    """Every stop in the order of the turn, with its angle as far as the outlines tell by now."""
    moved: tuple[str, ...] = ()
    """Names of stops at which the pose is not that of the first ones."""
    moved_words: str = ""
    """What moved at the last of them, as a sentence; empty where nothing did."""
    turned: float | None = None
    """Degrees turned from the first stop to the last; None while nothing tells."""
    closes: bool = False
    """Whether the last stop shows the first one's view again after a full turn."""
    masks: tuple[tuple[str, str], ...] = ()
    """Name and silhouette of each stop that may be laid over the live one, as an SVG path in shares (0 to 1000) of the
    picture's width and height."""


@dataclass(frozen=True)
class Seen:
    """The answer to one frame."""

    frame: int
    state: State
    skipped: bool = False
    """True where a newer frame was waiting: then only whether the model moves was looked at."""
    size: tuple[int, int] = (0, 0)
    """(width, height) of the frame, pixels; the path is in these."""
    path: str | None = None
    """The silhouette as an SVG path (even-odd), pixels of the frame; None where none was found or looked for."""
    band: Band | None = None
    readability: int | None = None
    """0 to 100."""
    reason: str = ""
    """The weightiest reason, as a short sentence."""
    trouble: Trouble | None = None
    moving: bool = False
    stops: int = 0
    """How many stops are kept."""
    of: int = 24
    """How many a full turn is meant to have."""
    angle: float | None = None
    """Where the camera stands now round the figure, degrees, as far as the stops so far tell."""
    ghost: GhostFit | None = None
    take: int | None = None
    """The frame whose full picture the page is to send now."""
    take_as: Literal["empty", "stop"] = "stop"
    take_instead: str = ""
    """The stop whose place that picture is to take; empty where it is a new one."""
    take_after: str = ""
    """The stop behind which it belongs; empty where that is the end of the turn."""
    take_moved: float | None = None
    """How far the edges of the figure moved since the stop before, figure heights added up, for ``turn.csv``."""
    signals: tuple[Signal, ...] = ()
    wheel: tuple[WheelStop, ...] | None = None
    """All stops so far, only where something of them changed."""
    wanted: tuple[str, ...] | None = None
    """What is still asked for, in sentences, the first one now; only where it changed."""
    rest_in: float | None = None
    """Seconds until the next break by the plan; negative once it is due."""
    captured: float = 0.0
    """``Frame.seconds`` given back, so that the page knows how late this is."""

    def plain(self) -> dict[str, Any]:
        """As it goes over the socket."""
        return {"kind": "seen", **without_nan(asdict(self))}


@dataclass(frozen=True)
class Order:
    """What a person asks for on the live page.

    ``begin``: a turn of the pose ``pose`` (its id), ``stops`` a turn, ``turn`` left or right, ``raised`` arms, ``ring``
    low or high where it is not the level one; goes on where stops are there already. ``empty``: take the empty picture
    from the next still frame. ``skip empty``: do without. ``take``: take a stop now. ``undo``: the last stop was none.
    ``ghost``: lay the outline of ``stop`` of ``pose`` over the live one, or none. ``want``: ask again for the stops in
    ``stops_wanted`` (from a check). ``close``: the turn is over. ``pause`` and ``go on``: no stops
    are taken meanwhile.
    """

    do: Literal["begin", "empty", "skip empty", "take", "undo", "ghost", "want", "close", "pause", "go on"]
    pose: str = ""
    stop: str = ""
    stops: int = 24
    turn: Literal["left", "right"] = "left"
    raised: bool = False
    ring: Ring = "level"
    stops_wanted: tuple[dict[str, Any], ...] = field(default=())
    """Each ``{"instead": NAME}``, or ``{"after": NAME}`` where one is missing."""


@dataclass(frozen=True)
class Turn:
    """Which turn is being shot: said to a page that comes while it goes on, and to all when one begins, so that a
    second page joins it instead of beginning another."""

    pose: str
    """The pose's id."""

    def plain(self) -> dict[str, Any]:
        """As it goes over the socket."""
        return {"kind": "turn", **asdict(self)}


@dataclass(frozen=True)
class Word:
    """Something that is said to a page in writing, beside what is seen."""

    about: Literal["camera", "not kept", "refused", "trouble"]
    """Another page has the camera; a picture was asked for and is not kept; what the page sent is not understood;
    something of the program does not work just now."""
    words: str
    frame: int | None = None
    """The frame that it is about."""

    def plain(self) -> dict[str, Any]:
        """As it goes over the socket."""
        return {"kind": "word", **asdict(self)}


def without_nan(value: Any) -> Any:
    """The same with nan as None, floats with four digits, as JSON takes it."""
    if isinstance(value, float):
        return None if math.isnan(value) else round(value, 4)
    if isinstance(value, dict):
        return {name: without_nan(one) for name, one in value.items()}
    if isinstance(value, list | tuple):
        return [without_nan(one) for one in value]
    return value
