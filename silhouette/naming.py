"""Stops by their angle, as the studio calls them."""

from __future__ import annotations

from collections.abc import Iterable, Sequence

from silhouette.records import Stop


def named(stops: Sequence[Stop], which: Iterable[int], most: int = 6) -> str:
    """The stops at the positions ``which``, at least one: '135', '135 and 150'; 'all stops'.

    Past ``most``, three and more in a row are drawn together: '0, 45 to 120 and 270'. The first stop and its repeat at
    the end of the turn carry one angle, which is said once.
    """
    places = sorted(set(which))
    if len(places) == len(stops) > most:
        return "all stops"
    rows: list[list[int]] = []
    for k in places:
        if rows and k == rows[-1][-1] + 1:
            rows[-1].append(k)
        else:
            rows.append([k])
    words = []
    for row in rows:
        angles = [f"{stops[k].angle:.0f}" for k in row]
        words += [f"{angles[0]} to {angles[-1]}"] if len(places) > most and len(row) > 2 else angles
    words = list(dict.fromkeys(words))
    return words[0] if len(words) == 1 else ", ".join(words[:-1]) + " and " + words[-1]
