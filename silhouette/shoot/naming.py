"""Stops by their angle, as the studio calls them."""

from __future__ import annotations

from collections.abc import Iterable, Sequence

from silhouette.records import Stop


def named(stops: Sequence[Stop], which: Iterable[int], most: int = 6) -> str:
    """The stops at the positions ``which``, at least one: '135', '135 and 150'; past ``most``, '135 to 270'."""
    words = [f"{stops[k].angle:.0f}" for k in which]
    if len(words) > most:
        return f"{words[0]} to {words[-1]}"
    return words[0] if len(words) == 1 else ", ".join(words[:-1]) + " and " + words[-1]
