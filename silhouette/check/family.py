"""The shoot check, while the model is still there: every question asked, the worst answer first.

A question is a function of a :class:`~silhouette.records_shoot.Shot` that returns one
:class:`~silhouette.records_shoot.Finding`: data, no sentence. What an outline or a picture cannot show is answered with
``unknown``. Each file of this folder holds one kind of question and lists its own in ``QUESTIONS``. Of a pose in
several rings each ring is asked these by itself, and all together those of ``rings.py``, whose questions see
:class:`~silhouette.records_shoot.AllRings`.
"""

from __future__ import annotations

from collections.abc import Callable, Mapping
from dataclasses import replace

from silhouette.check import distance, light, picture, pose, rings, turn
from silhouette.check.made_out import made_out
from silhouette.records_shoot import ORDER, AllRings, CheckReport, Finding, Shot
from silhouette.settings import Ring

Question = Callable[[Shot], Finding]

QUESTIONS: tuple[Question, ...] = (
    *turn.QUESTIONS, *pose.QUESTIONS, *picture.QUESTIONS, *light.QUESTIONS, *distance.QUESTIONS,
)
"""In the order in which equally grave answers are told."""


def ask(name: str, shot: Shot) -> CheckReport:
    """The whole check of the turnaround called ``name``. Of what is no turn no single stop is to be shot again: there
    the gravest answer is to look at it."""
    found = [question(shot) for question in QUESTIONS]
    if shot.no_turn is not None:
        found = [_softened(finding) for finding in found]
    seen = set(made_out(shot.looks))
    unclear = tuple(k for k in range(len(shot.stops)) if k not in seen)
    return CheckReport(name, shot.stops, tuple(sorted(found, key=lambda f: ORDER[f.verdict])), unclear)


def ask_together(name: str, all_rings: AllRings, each: Mapping[Ring, CheckReport]) -> CheckReport:
    """The check of a pose in several rings: ``each`` by itself, and all against each other."""
    found = [question(all_rings) for question in rings.QUESTIONS]
    unclear = tuple(all_rings.first(ring) + k for ring, report in each.items() for k in report.unclear)
    stops = tuple(stop for report in each.values() for stop in report.stops)
    return CheckReport(name, stops, tuple(sorted(found, key=lambda f: ORDER[f.verdict])), unclear, tuple(each.items()))


def _softened(finding: Finding) -> Finding:
    verdict = "look" if finding.verdict == "retake" else finding.verdict
    return replace(finding, verdict=verdict, parts=tuple(map(_softened, finding.parts)))
