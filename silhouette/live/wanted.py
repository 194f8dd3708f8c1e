"""What a check asks for, one stop after the other in the order of the turn: as data, in words, and in an address."""

from __future__ import annotations

import math
from collections.abc import Iterator, Sequence
from dataclasses import dataclass, replace
from typing import Any
from urllib.parse import quote, unquote

from silhouette.records_shoot import CheckReport, Finding
from silhouette.show import words_turn
from silhouette.turn import steps

NOT_BY_STOPS = frozenset({"camera moved", "figure tiny", "far too close"})
"""Kinds of findings that no single stop puts right: the whole turn is to be taken again."""
CLOSED = 1 / 3
"""Share of a step by which a closed turn may end short of its start."""
MOST = 100
"""Stops that are asked for at a time, as many as the stage takes."""
AFTER, INSTEAD = "after", "instead"


@dataclass(frozen=True)
class Wanted:
    """One stop of a turn to be taken again, or some that are missing."""

    instead: str = ""
    """The stop to be taken again; empty where stops are missing."""
    after: str = ""
    """The stop behind which they are missing."""
    count: int = 1
    """How many are."""
    words: str = ""

    @property
    def stops(self) -> tuple[dict[str, Any], ...]:
        """As ``Order.stops_wanted`` has them, one for each stop."""
        return ({INSTEAD: self.instead},) if self.instead else ({AFTER: self.after},) * self.count


def by_ring(report: CheckReport) -> dict[str, CheckReport]:
    """The check of each ring, with what was found of its stops by holding all rings together; under no name that of a
    pose of one ring."""
    if not report.rings:
        return {"": report}
    found, first = dict[str, CheckReport](), 0
    for ring, one in report.rings:
        own = range(first, first + len(one.stops))
        together = [_of(finding, own) for part in report.findings for finding in (part.parts or (part,))]
        found[ring] = replace(one, findings=(*one.findings, *(f for f in together if f.stops)))
        first += len(one.stops)
    return found


def _of(finding: Finding, own: range) -> Finding:
    """The same of the stops that are a ring's own, counted in it."""
    return replace(finding, stops=tuple(k - own.start for k in finding.stops if k in own))


def wanted(report: CheckReport) -> tuple[Wanted, ...]:
    """What of a turn is to be taken again, in the order of the turn."""
    findings = [part for f in report.findings for part in (f.parts or (f,)) if part.verdict == "retake"]
    why: dict[int, list[str]] = {}
    for finding in findings:
        for k in _again(finding):
            why.setdefault(k, []).append(finding.check)
    missing = dict(gap for finding in findings for gap in _missing(finding, report))
    asked = []
    for k, stop in enumerate(report.stops):
        if k in why:
            asked.append(Wanted(instead=stop.name, words=words_turn.retake(stop.name, why[k])))
        if k in missing:
            on = k == len(report.stops) - 1
            words = words_turn.missing(stop.name, missing[k], on)
            asked.append(Wanted(after=stop.name, count=missing[k], words=words))
    return tuple(asked)


def _again(finding: Finding) -> tuple[int, ...]:
    """The stops that this finding wants once more."""
    whole = finding.kind in NOT_BY_STOPS or finding.kind == "turn open" or finding.gaps
    return () if whole else finding.stops


def _missing(finding: Finding, report: CheckReport) -> Iterator[tuple[int, int]]:
    """(stop, how many are missing behind it)."""
    if finding.gaps:
        yield from zip(finding.after_stop, finding["counts"], strict=True)
    elif finding.kind == "turn open":
        step = steps.usual_step(steps.turned_through([stop.angle for stop in report.stops]))
        yield finding.stops[0], max(1, math.ceil(finding["short_by"] / step - CLOSED)) if step else 1


def to_query(stops: Sequence[dict[str, Any]]) -> str:
    """The same as text for an address: ``stop_05,after:stop_09``."""
    return ",".join(f"{AFTER}:{quote(one[AFTER], safe='')}" if AFTER in one else quote(one[INSTEAD], safe="")
                    for one in stops)


def of_query(text: str) -> tuple[dict[str, Any], ...]:
    """Back from an address; what is no name is left out, and so is what exceeds :data:`MOST`."""
    found = []
    for piece in text.split(","):
        kind, colon, name = piece.strip().partition(":")
        if not colon:
            kind, name = INSTEAD, kind
        if kind in (AFTER, INSTEAD) and unquote(name).strip():
            found.append({kind: unquote(name).strip()})
    return tuple(found[:MOST])
