"""The earlier outline that lies over the live one, and the single stops that are asked for again, one by one."""

from __future__ import annotations

from collections.abc import Iterable, Sequence
from dataclasses import dataclass, field, replace
from typing import Any

from silhouette.find.laid_over import apart
from silhouette.live.ghost import Ghost, compare
from silhouette.live.messages import GhostFit
from silhouette.records import BodyReading, Outline
from silhouette.show import words_live

BETWEEN = 0.9
"""An outline lies between two others where it is nearer to either than this share of what these are apart. On a
rendered turn the stop half way has 0.61 to 0.83 (once 0.99), one beyond either end 1.01 and more."""
LOOSE, NEAREST = 40, 5
"""A stop whose own outline is not to be held (its pose differs, part of it was cut off) is taken for the same view
where the live one fits it by so much, 0 to 100, and by so much better than its neighbours."""
FITS_S, OFF_S = 0.2, 1.0
"""Seconds for which an outline must sit before it is told, and be off before it is told again."""


@dataclass(frozen=True)
class Want:
    """One stop that is asked for."""

    instead: str = ""
    after: str = ""

    @property
    def words(self) -> str:
        pattern = words_live.INSTEAD if self.instead else words_live.BETWEEN
        return pattern.format(stop=words_live.stop_name(self.instead or self.after))


@dataclass
class Asked:
    """What is asked of the model besides turning on, and how the live outline lies against it."""

    pose: str = ""
    wanted: list[Want] = field(default_factory=list)
    fit: GhostFit | None = None
    """How the last outline lay, None where no earlier one is laid over it."""
    accepts: bool = True
    """Whether it is the stop that is wanted; True where none is."""
    _laid: tuple[str, str] | None = None
    """Pose and stop whose outline a person asked for."""
    _names: list[str] = field(default_factory=list)
    _masks: dict[tuple[str, str], str] = field(default_factory=dict)
    _lines: dict[str, Outline] = field(default_factory=dict)
    """Outlines of the stops taken before this camera as it stands now."""
    _unsound: set[str] = field(default_factory=set)
    """Stops whose own outline is not to be held."""
    _ghosts: dict[tuple[str, str], Ghost | None] = field(default_factory=dict)
    _since: float | None = None
    _off_since: float | None = None
    _told: bool = False
    _news: bool = False

    # --------------------------------------------------------------------------------------- what is known of the stops

    def hear(self, masks: Iterable[tuple[str, str]], unsound: Iterable[str], names: Sequence[str]) -> None:
        """What the bench makes of the stops of this pose."""
        for name, path in masks:
            if self._masks.get((self.pose, name)) != path:
                self._masks[self.pose, name] = path
                if name not in self._lines:
                    self._ghosts.pop((self.pose, name), None)
        self._unsound, self._names = set(unsound), list(names)
        self._still_there()

    def earlier(self, pose: str, masks: Iterable[tuple[str, str]]) -> None:
        """The silhouettes of the stops of another pose, as in ``StopsTold.masks``."""
        for name, path in masks:
            self._masks[pose, name] = path
            self._ghosts.pop((pose, name), None)

    def kept(self, name: str, line: Outline | None, names: Sequence[str]) -> None:
        """A stop was kept that looked like this."""
        self._names = list(names)
        if line is not None:
            self._lines[name] = line
            self._ghosts.pop((self.pose, name), None)

    def gone(self, name: str, names: Sequence[str]) -> None:
        """A stop was taken back."""
        self._names = list(names)
        self._lines.pop(name, None)
        self._masks.pop((self.pose, name), None)
        self._ghosts.pop((self.pose, name), None)

    # -------------------------------------------------------------------------------------------------------- asked for

    def lay(self, name: str, pose: str = "") -> bool:
        """Lay the outline of a stop over the live one; an empty name takes it away. False where there is none of it."""
        self._forget()
        key = (pose or self.pose, name)
        own = key[0] == self.pose and name in self._lines
        self._laid = key if name and (own or key in self._masks) else None
        return self._laid is not None or not name

    @property
    def seeks(self) -> bool:
        """Whether an outline that a person asked for lies over the live one, and no stop is wanted."""
        return self._laid is not None and not self.wanted

    def want(self, stops: Sequence[dict[str, Any]]) -> None:
        """Ask for these stops, one after the other."""
        found = [Want(str(stop.get("instead") or ""), str(stop.get("after") or "")) for stop in stops]
        self.wanted = [one for one in found if one.instead or one.after]
        self._news = True
        self._still_there()
        self._forget()

    def _still_there(self) -> None:
        """Leave out what is no stop of this pose. Nothing is known yet of the stops of a pose that was just begun."""
        left = [one for one in self.wanted if not self._names or (one.instead or one.after) in self._names]
        if left != self.wanted:
            self.wanted, self._news = left, True
            self._forget()

    def found(self, instead: str, after: str, name: str) -> None:
        """One of them is kept, as ``name``: of several that are missing behind one stop the next stands behind it."""
        done = Want(instead, after)
        if done not in self.wanted:
            return
        at = self.wanted.index(done)
        later = [Want(after=name) if one == done and after else one for one in self.wanted[at + 1 :]]
        self.wanted = [*self.wanted[:at], *later]
        self._news = True
        self._forget()

    def place(self) -> tuple[str, str]:
        """Instead of which stop the next one goes, and after which; empty for the end of the turn."""
        return (self.wanted[0].instead, self.wanted[0].after) if self.wanted else ("", "")

    def news(self) -> tuple[str, ...] | None:
        """What is still asked for, in sentences, where that has changed since it was asked last."""
        changed, self._news = self._news, False
        return tuple(one.words for one in self.wanted) if changed else None

    # --------------------------------------------------------------------------------------------------------- compared

    def see(self, line: Outline | None, body: BodyReading | None, seconds: float) -> None:
        """Compare one more live outline."""
        key = self._shown()
        ghost = None if key is None else self._ghost(key, line)
        if line is None or ghost is None:
            self.fit, self.accepts = None, not self.wanted
            return
        self.fit = compare(line, body, ghost)
        self.accepts = self._is_wanted(line, body) if self.wanted else True
        if self.wanted:
            self.fit = replace(self.fit, sits=self.accepts)
        self._watch(self.fit.sits, seconds)

    def just_fits(self, seconds: float) -> bool:
        """Whether it is to be told now that the earlier outline sits."""
        if self._told or self._since is None or seconds - self._since < FITS_S:
            return False
        self._told = True
        return True

    def _watch(self, sits: bool, seconds: float) -> None:
        if sits:
            self._since = seconds if self._since is None else self._since
            self._off_since = None
            return
        self._since = None
        self._off_since = seconds if self._off_since is None else self._off_since
        if seconds - self._off_since >= OFF_S:
            self._told = False

    def _forget(self) -> None:
        self._since, self._off_since, self._told, self.fit = None, None, False, None
        self.accepts = not self.wanted

    def _shown(self) -> tuple[str, str] | None:
        """Pose and stop whose outline is laid over the live one: of a wanted stop its own where that is sound."""
        if not self.wanted:
            return self._laid
        first = self.wanted[0]
        if first.after or first.instead not in self._names:
            return self.pose, first.after or first.instead
        before, after = self._beside(first.instead, first.instead)
        sound = [name for name in (first.instead, before, after) if name not in self._unsound and self._has(name)]
        return self.pose, (sound or [first.instead])[0]

    def _is_wanted(self, line: Outline, body: BodyReading | None) -> bool:
        """Whether the live outline is that of the stop that is wanted."""
        want = self.wanted[0]
        if (want.instead or want.after) not in self._names:
            return False
        if want.after:
            return self._between(line, *self._beside("", want.after), first=self.wanted.count(want) > 1)
        own = self._ghost((self.pose, want.instead), line)
        if own is not None and want.instead not in self._unsound:
            return compare(line, body, own).sits
        sides = self._beside(want.instead, want.instead)
        return self._between(line, *sides) or (own is not None and self._nearest(line, body, own, sides))

    def _beside(self, instead: str, name: str) -> tuple[str, str]:
        """The stops on either side: of ``instead``, or of what is missing after ``name``."""
        at, count = self._names.index(name), len(self._names)
        return self._names[at - 1] if instead else name, self._names[(at + 1) % count]

    def _between(self, line: Outline, before: str, after: str, *, first: bool = False) -> bool:
        """Whether the live outline lies between those of two stops; ``first``: nearer to the one before."""
        one, other = (self._ghost((self.pose, name), line) for name in (before, after))
        if one is None or other is None or before == after:
            return False
        whole = apart(one.outline.polygon, other.field).mean
        near, far = (apart(line.polygon, each.field).mean for each in (one, other))
        return max(near, far) < BETWEEN * whole and (near < far or not first)

    def _nearest(self, line: Outline, body: BodyReading | None, own: Ghost, sides: tuple[str, str]) -> bool:
        fit = compare(line, body, own).fit
        beside = [ghost for name in sides if (ghost := self._ghost((self.pose, name), line)) is not None]
        return fit >= LOOSE and all(fit >= compare(line, body, ghost).fit + NEAREST for ghost in beside)

    def _has(self, name: str) -> bool:
        return name in self._lines or (self.pose, name) in self._masks

    def _ghost(self, key: tuple[str, str], line: Outline | None) -> Ghost | None:
        """The earlier outline, made ready once; None where nothing is known of it."""
        if key not in self._ghosts and line is not None:
            name, own = words_live.STOP.format(stop=words_live.stop_name(key[1])), self._lines.get(key[1])
            if own is not None and key[0] == self.pose:
                self._ghosts[key] = Ghost.of(own, None, True, name)
            else:
                path = self._masks.get(key)
                self._ghosts[key] = None if path is None else Ghost.of_path(path, line.picture_size, False, name)
        return self._ghosts.get(key)
