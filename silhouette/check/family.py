"""The shoot check, while the model is still there: every question asked, the worst answer first.

A question is a function of a :class:`~silhouette.records_shoot.Shot` that returns one
:class:`~silhouette.records_shoot.Finding`: data, no sentence. What an outline or a picture cannot show is answered with
``unknown``. Each file of this folder holds one kind of question and lists its own in ``QUESTIONS``.
"""

from __future__ import annotations

from collections.abc import Callable

from silhouette.check import distance, light, picture, pose, turn
from silhouette.records_shoot import ORDER, CheckReport, Finding, Shot

Question = Callable[[Shot], Finding]

QUESTIONS: tuple[Question, ...] = (
    *turn.QUESTIONS, *pose.QUESTIONS, *picture.QUESTIONS, *light.QUESTIONS, *distance.QUESTIONS,
)
"""In the order in which equally grave answers are told."""


def ask(name: str, shot: Shot) -> CheckReport:
    """The whole check of the turnaround called ``name``."""
    found = sorted((question(shot) for question in QUESTIONS), key=lambda f: ORDER[f.verdict])
    return CheckReport(name, shot.stops, tuple(found))
