"""Where the figure stands in the frame: what is wrong with that, told at once and without flicker."""

from __future__ import annotations

from dataclasses import dataclass
from typing import Literal

from silhouette.live.looking import Look
from silhouette.live.messages import Trouble
from silhouette.show import words_live

Kind = Literal["nobody", "two figures", "feet cut off", "head cut off", "cut off at picture left",
               "cut off at picture right", "too close", "too far", "not trusted"]

TALLEST = 0.96
"""Height of a figure, shares of the frame's, from which it stands too close to turn and stay inside."""
LOWEST = 0.30
"""The same, under which it stands too far away to be read well."""
SURE_S, OVER_S = 0.12, 0.25
"""Seconds for which a trouble must last before it is told, and be over before it is forgotten."""
TONE_S, AGAIN_S = 0.5, 8.0
"""Seconds of trouble before a tone goes with it, and until the same is told by a tone again."""
CLEAR_S = 0.3
"""Seconds without any trouble after which the figure stands well."""
CUT: frozenset[Kind] = frozenset({
    "nobody", "feet cut off", "head cut off", "cut off at picture left", "cut off at picture right", "too close"})
"""Troubles with which a part of the figure is out of the frame, or soon will be."""


def trouble_of(look: Look) -> Kind | None:
    """What is wrong with where the figure stands; the weightiest. None where nothing is."""
    if not look.somebody:
        return "nobody"
    if look.two:
        return "two figures"
    if ("top" in look.edges and "bottom" in look.edges) or {"left", "right"} <= set(look.edges):
        return "too close"
    for edge, kind in EDGES.items():
        if edge in look.edges:
            return kind
    if not look.trusted:
        return "not trusted"
    if look.tall > TALLEST:
        return "too close"
    return "too far" if look.tall < LOWEST else None


EDGES: dict[str, Kind] = {
    "bottom": "feet cut off", "top": "head cut off", "left": "cut off at picture left",
    "right": "cut off at picture right",
}


@dataclass
class Framing:
    """The trouble that is shown: what lasts, not what flickers."""

    shown: Kind | None = None
    _next: Kind | None = None
    _since: float | None = None
    _shown_since: float = 0.0
    _toned: tuple[Kind, float] | None = None

    def see(self, kind: Kind | None, seconds: float) -> Trouble | None:
        """The trouble to be shown after one more look at ``seconds``."""
        if kind != self._next or self._since is None:
            self._next, self._since = kind, seconds
        if kind != self.shown and seconds - self._since >= (OVER_S if kind is None else SURE_S):
            self.shown, self._shown_since = kind, seconds
        return None if self.shown is None else Trouble(self.shown, words_live.TROUBLES[self.shown])

    def clear(self, seconds: float) -> bool:
        """Whether nothing has been wrong for a while."""
        return self.shown is None and self._next is None and self._since is not None and (
            seconds - self._since >= CLEAR_S)

    def tone(self, seconds: float) -> Kind | None:
        """What a tone is due for now: part of the figure is out of the frame, and was not just told so."""
        kind = self.shown
        if kind not in CUT or kind is None or seconds - self._shown_since < TONE_S:
            return None
        if self._toned is not None and self._toned[0] == kind and seconds - self._toned[1] < AGAIN_S:
            return None
        self._toned = (kind, seconds)
        return kind
