"""The stops of one live turn: kept, on their way, told of by the bench; how far round they have come."""

from __future__ import annotations

from dataclasses import dataclass, field, replace
from typing import Literal

from silhouette.cutout.mask_cleanup import overlap
from silhouette.live.looking import Look, Verdict
from silhouette.live.messages import StopsTold, WheelStop
from silhouette.live.stillness import Thumb
from silhouette.records import Mask

FULL = 360.0
ENOUGH = 0.75
"""Share of the stops of a turn from which its outline may come back to the first one's."""
NEARER = 0.5
"""How much nearer to the first outline than its neighbour the last one must be, shares of what is missing to one."""
TOO_MANY = 1.5
"""A turn with this many times its stops is closed, whatever the outlines tell."""


@dataclass(frozen=True, eq=False)
class Taken:
    """One stop whose picture was asked for."""

    frame: int
    seconds: float
    thumb: Thumb
    look: Look
    verdict: Verdict | None
    moved: float | None
    instead: str = ""
    """The stop that it replaces."""
    after: str = ""
    """The stop behind which it belongs; both empty at the end of the turn."""


@dataclass
class Course:
    """One turn of one pose."""

    pose: str = ""
    of: int = 24
    """Stops that a full turn is meant to have."""
    turn: Literal["left", "right"] = "left"
    raised: bool = False
    names: list[str] = field(default_factory=list)
    """Names of the stops kept, in the order of the turn."""
    told: StopsTold | None = None
    waiting: dict[int, Taken] = field(default_factory=dict)
    """Pictures that were asked for and are not written yet, by frame."""
    _kept: dict[str, Taken] = field(default_factory=dict)
    _order: list[Taken] = field(default_factory=list)
    """All that were taken and not taken back, in the order in which that happened."""
    _gone: set[str] = field(default_factory=set)

    @property
    def step(self) -> float:
        """Degrees from stop to stop, as planned."""
        return FULL / self.of

    @property
    def last(self) -> Taken | None:
        """The stop taken last, kept or on its way."""
        return self._order[-1] if self._order else None

    def take(self, taken: Taken) -> None:
        """A picture was asked for."""
        self.waiting[taken.frame] = taken
        self._order.append(taken)

    def keep(self, frame: int, name: str) -> Taken | None:
        """It is written, under this name."""
        taken = self.waiting.pop(frame, None)
        self._gone.discard(name)
        if name not in self.names:
            after = taken.after if taken is not None else ""
            self.names.insert(self.names.index(after) + 1 if after in self.names else len(self.names), name)
        if taken is not None:
            self._kept[name] = taken
        return taken

    def lose(self, frame: int) -> Taken | None:
        """It did not arrive."""
        taken = self.waiting.pop(frame, None)
        if taken is not None:
            self._order.remove(taken)
        return taken

    def undo(self, name: str = "") -> str | None:
        """Take a stop back, by default the one kept last; its name, None where there is none."""
        if name not in self.names:
            name = self._latest()
        if not name:
            return None
        taken = self._kept.pop(name, None)
        if taken is not None:
            self._order.remove(taken)
        if taken is None or not taken.instead:
            self.names.remove(name)
            self._gone.add(name)
        return name

    def _latest(self) -> str:
        """The stop kept last; empty where there is none."""
        kept = max(self._kept, key=lambda name: self._kept[name].seconds, default="")
        return kept or (self.names[-1] if self.names else "")

    def hear(self, told: StopsTold) -> None:
        """What the bench makes of all stops: it knows those of an earlier day too."""
        self.told = told
        known = [stop.name for stop in told.wheel if stop.name not in self._gone]
        self.names = [*known, *(name for name in self.names if name not in known)]

    def wheel(self) -> tuple[WheelStop, ...]:
        """All stops: as the bench told, and the newest as the live frames showed them."""
        told = {stop.name: stop for stop in self.told.wheel} if self.told is not None else {}
        return tuple(self._stop(name, told.get(name)) for name in self.names)

    def _stop(self, name: str, told: WheelStop | None) -> WheelStop:
        live = self._kept.get(name)
        if live is None:
            return told or WheelStop(name, None, None, "")
        band = None if live.verdict is None else live.verdict.band
        shown = WheelStop(name, None, band, live.look.wheel_path)
        return shown if told is None else replace(told, band=told.band or band, path=told.path or shown.path)

    def angle(self) -> float | None:
        """Where the camera stands now round the figure, degrees; None while nothing tells."""
        wheel = self.wheel()
        known = [(k, stop.angle) for k, stop in enumerate(wheel) if stop.angle is not None]
        if not known:
            return None
        at, angle = known[-1]
        way = 1 if self.turn == "left" else -1
        return (angle + way * self.step * (len(wheel) - 1 - at)) % FULL

    def closed(self) -> bool:
        """Whether the turn has come round to its first stop again."""
        count = len(self.names)
        if count < 3:
            return False
        newer = count - (len(self.told.wheel) if self.told is not None else 0)
        if self.told is not None and self.told.closes and newer <= 1:
            return True
        turned = self.told.turned if self.told is not None else None
        if turned is not None:
            return turned + newer * self.step >= FULL - self.step / 2 or count >= TOO_MANY * self.of
        return count > self.of or (count >= ENOUGH * self.of and self._comes_back())

    def _comes_back(self) -> bool:
        """Whether the last outline is much nearer to the first than the first's neighbour is."""
        first, second, last = (self._mask(self.names[k]) for k in (0, 1, -1))
        if first is None or second is None or last is None or not first.shape == second.shape == last.shape:
            return False
        beside = overlap(first, second)
        return overlap(first, last) > beside + NEARER * (1 - beside)

    def _mask(self, name: str) -> Mask | None:
        taken = self._kept.get(name)
        return None if taken is None else taken.look.mask
