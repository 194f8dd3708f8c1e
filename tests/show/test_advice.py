"""What to try: the move fits the side that is weak, and every angle named is one of the figure's own."""

from __future__ import annotations

from collections.abc import Callable, Sequence
from dataclasses import replace

import pytest

from silhouette.reading.circle import walk_round
from silhouette.records import Pose, View
from silhouette.show.advice import advice_line, advise


def with_reasons(pose: Pose, why: Callable[[float], tuple[str, ...]]) -> Pose:
    """The pose with every view weak or strong by the reasons that ``why`` gives at its angle."""
    views: list[View] = []
    for view in pose.views:
        assert view.reading
        told = why(view.angle)
        band, score = ("weak", 20.0) if told else ("strong", 80.0)
        views.append(replace(view, reading=replace(view.reading, readability=score, band=band, why=told)))
    return replace(pose, views=tuple(views), round=walk_round(views))


def from_the_sides(*why: str) -> Callable[[float], tuple[str, ...]]:
    return lambda angle: why if abs(angle % 180 - 90) < 40 else ()


def within(angle: float, stretches: Sequence[tuple[float, float]]) -> bool:
    return any((angle - a) % 360 <= (b - a) % 360 for a, b in stretches)


def test_nothing_weak_nothing_to_try(pose_at: Callable[..., Pose]) -> None:
    assert advise(with_reasons(pose_at("reach_up"), lambda angle: ())) == []


def test_arms_lost_from_the_side_come_forward(pose_at: Callable[..., Pose]) -> None:
    pose = with_reasons(pose_at("akimbo"), from_the_sides("both arms lost in the torso"))
    first = advise(pose)[0]
    assert "forward or back" in first.text
    for view in pose.views:
        assert view.reading
        assert within(view.angle, first.helps) == (view.reading.band == "weak")
    assert first.costs and within(0, first.costs) and not within(90, first.costs)
    assert first.like is not None and abs(first.like % 180 - 90) >= 40


def test_arms_lost_from_the_front_open_to_the_side(pose_at: Callable[..., Pose]) -> None:
    pose = with_reasons(pose_at("akimbo"), lambda a: () if abs(a % 180 - 90) < 50 else ("one arm lost in the torso",))
    assert "to the side" in advise(pose)[0].text


@pytest.mark.parametrize(("why", "move"), [
    ("legs read as one", "step the free leg back"), ("head sunk into the rest", "turn the head out"),
    ("head sunk into a raised arm", "carry the raised arm away"),
    ("one hand lost at the hip, picture left", "bring one arm forward or back"),
    ("edges just touch at picture left", "break the tangent"), ("both sides of the outline match", "break the twins"),
    ("no gap opens between limbs and body", "light shows"), ("same shape from 40 to 90", "twist the ribcage")])
def test_each_fault_has_its_move(pose_at: Callable[..., Pose], why: str, move: str) -> None:
    tries = advise(with_reasons(pose_at("akimbo"), from_the_sides(why)))
    assert 1 <= len(tries) <= 2
    assert any(move in a.text for a in tries)
    assert all(why.startswith(a.cause) for a in tries), "the place is left out"


def test_two_causes_give_one_move_each_and_arcs_share_them(pose_at: Callable[..., Pose]) -> None:
    pose = with_reasons(pose_at("akimbo"), from_the_sides("legs read as one", "head sunk into the rest"))
    assert len(pose.round.weak_arcs) == 2
    tries = advise(pose)
    assert len(tries) == 2, "the same move for both sides is told once"
    assert all(len(a.helps) == 2 for a in tries)


def test_weak_from_everywhere(pose_at: Callable[..., Pose]) -> None:
    pose = with_reasons(pose_at("akimbo"), lambda angle: ("legs read as one",))
    tries = advise(pose)
    assert tries and all(a.like is None and not a.costs for a in tries)
    assert advice_line(tries[0]) == "helps all round"


def test_line_names_every_kind_of_angle(pose_at: Callable[..., Pose]) -> None:
    pose = with_reasons(pose_at("akimbo"), from_the_sides("both arms lost in the torso"))
    line = advice_line(advise(pose)[0])
    assert line.startswith("helps 60 to 120 and 240 to 300; may cost ") and "; clear already at " in line


def test_a_closed_pose_is_not_told_to_stand_up(pose_at: Callable[..., Pose]) -> None:
    pose = with_reasons(pose_at("akimbo"), from_the_sides("both sides of the outline match", "one compact mass"))
    tries = advise(replace(pose, intent="closed"))
    assert [a.text for a in tries] == ["break the twins: lean the mass to one side", "open one deliberate hollow"]
