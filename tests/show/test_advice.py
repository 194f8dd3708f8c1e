"""What to try: the move fits the side that is weak, and every angle named is one of the figure's own."""

from __future__ import annotations

from collections.abc import Callable, Sequence
from dataclasses import replace

import pytest

from silhouette.reading.circle import walk_round
from silhouette.records import STRENGTHS, Pose, Reason, ReasonKind, View
from silhouette.show.advice import advice_line, advise

ARMS = Reason(ReasonKind.ARMS_LOST, "arm", severity=0.6)
ARM = Reason(ReasonKind.ARM_LOST, "arm", severity=0.4)
LEGS = Reason(ReasonKind.LEGS_AS_ONE, "leg", severity=0.4)
HEAD = Reason(ReasonKind.HEAD_SUNK, "head", severity=0.3)
MATCH = Reason(ReasonKind.SIDES_MATCH, severity=0.1)


def with_reasons(pose: Pose, why: Callable[[float], tuple[Reason, ...]]) -> Pose:
    """The pose with every view weak or strong by the reasons that ``why`` gives at its angle."""
    views: list[View] = []
    for view in pose.views:
        assert view.reading
        told = why(view.angle)
        band, score = ("weak", 20.0) if told else ("strong", 80.0)
        views.append(replace(view, reading=replace(view.reading, readability=score, band=band, reasons=told)))
    return replace(pose, views=tuple(views), round=walk_round(views))


def from_the_sides(*why: Reason) -> Callable[[float], tuple[Reason, ...]]:
    return lambda angle: why if abs(angle % 180 - 90) < 40 else ()


def within(angle: float, stretches: Sequence[tuple[float, float]]) -> bool:
    return any((angle - a) % 360 <= (b - a) % 360 for a, b in stretches)


def test_nothing_weak_nothing_to_try(pose_at: Callable[..., Pose]) -> None:
    assert advise(with_reasons(pose_at("reach_up"), lambda angle: ())) == []


def test_arms_lost_from_the_side_come_forward(pose_at: Callable[..., Pose]) -> None:
    pose = with_reasons(pose_at("akimbo"), from_the_sides(ARMS))
    first = advise(pose)[0]
    assert "forward or back" in first.text
    for view in pose.views:
        assert view.reading
        assert within(view.angle, first.helps) == (view.reading.band == "weak")
    assert first.costs and within(0, first.costs) and not within(90, first.costs)
    assert first.like is not None and abs(first.like % 180 - 90) >= 40


def test_arms_lost_from_the_front_open_to_the_side(pose_at: Callable[..., Pose]) -> None:
    pose = with_reasons(pose_at("akimbo"), lambda a: () if abs(a % 180 - 90) < 50 else (ARM,))
    assert "to the side" in advise(pose)[0].text


MOVES = {
    ReasonKind.ARMS_LOST: "bring one arm forward or back", ReasonKind.ARM_LOST: "bring one arm forward or back",
    ReasonKind.HAND_LOST: "bring one arm forward or back", ReasonKind.LEGS_AS_ONE: "step the free leg back",
    ReasonKind.HEAD_SUNK: "turn the head out", ReasonKind.HEAD_BEHIND_ARM: "move the raised arm away",
    ReasonKind.EDGES_TOUCH: "break the tangent", ReasonKind.SIDES_MATCH: "break the twins",
    ReasonKind.COLUMN: "break the twins", ReasonKind.COMPACT: "deliberate hollow", ReasonKind.NO_GAP: "light shows"}
WITHOUT = {ReasonKind.FOOT_LOST, ReasonKind.FEET_LOST, ReasonKind.TOO_LITTLE}
"""Faults that no move is known for."""


def test_every_fault_has_its_move_or_is_known_to_have_none() -> None:
    assert set(ReasonKind) - STRENGTHS == MOVES.keys() | WITHOUT


@pytest.mark.parametrize(("kind", "move"), MOVES.items())
def test_each_fault_has_its_move(pose_at: Callable[..., Pose], kind: ReasonKind, move: str) -> None:
    tries = advise(with_reasons(pose_at("akimbo"), from_the_sides(Reason(kind, severity=0.2))))
    assert 1 <= len(tries) <= 2
    assert any(move in a.text for a in tries)
    assert all(a.cause.kind == kind for a in tries)


@pytest.mark.parametrize("kind", sorted(WITHOUT))
def test_no_move_is_made_up(pose_at: Callable[..., Pose], kind: ReasonKind) -> None:
    assert advise(with_reasons(pose_at("akimbo"), from_the_sides(Reason(kind, severity=0.2)))) == []


def test_two_causes_give_one_move_each_and_arcs_share_them(pose_at: Callable[..., Pose]) -> None:
    pose = with_reasons(pose_at("akimbo"), from_the_sides(LEGS, HEAD))
    assert len(pose.round.weak_arcs) == 2
    tries = advise(pose)
    assert len(tries) == 2, "the same move for both sides is told once"
    assert all(len(a.helps) == 2 for a in tries)


def test_weak_from_everywhere(pose_at: Callable[..., Pose]) -> None:
    pose = with_reasons(pose_at("akimbo"), lambda angle: (LEGS,))
    tries = advise(pose)
    assert tries and all(a.like is None and not a.costs for a in tries)
    assert advice_line(tries[0]) == "helps all round"


def test_line_names_every_kind_of_angle(pose_at: Callable[..., Pose]) -> None:
    pose = with_reasons(pose_at("akimbo"), from_the_sides(ARMS))
    line = advice_line(advise(pose)[0])
    assert line.startswith("helps 60 to 120 and 240 to 300; may weaken ") and "; clear already at " in line


def test_a_closed_pose_is_not_told_to_stand_up(pose_at: Callable[..., Pose]) -> None:
    pose = with_reasons(pose_at("akimbo"), from_the_sides(MATCH, Reason(ReasonKind.COMPACT)))
    tries = advise(replace(pose, intent="closed"))
    assert [a.text for a in tries] == ["break the twins: lean the mass to one side", "open one deliberate hollow"]
