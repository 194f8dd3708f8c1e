"""The earlier outline over the live one, and single stops asked for again."""

from __future__ import annotations

from functools import cache
from typing import Any

import pytest

from silhouette.live.asked import Asked, Want
from silhouette.live.ghost import path_in_shares
from silhouette.live.messages import Order, StopsTold, WheelStop
from silhouette.live.session import Session
from silhouette.records import Outline
from tests.live.playing import DrawnLooker, Page, Turning, drawn

STEP = 15.0


def name(k: int) -> str:
    return f"stop_{k + 1:02d}"


@cache
def line(angle: float, **how: Any) -> Outline:
    found = DrawnLooker().look(drawn(angle, **how)).line
    assert found is not None
    return found


def asked(count: int = 12, unsound: tuple[int, ...] = ()) -> Asked:
    """Stops from 0 degrees on, 15 apart; told by the bench as of an earlier day."""
    one = Asked("pose")
    masks = [(name(k), path_in_shares(line(k * STEP))) for k in range(count)]
    one.hear(masks, [name(k) for k in unsound], [name(k) for k in range(count)])
    return one


def accepted(one: Asked, angle: float) -> bool:
    one.see(line(angle), None, 0.0)
    return one.accepts


def test_without_anything_asked_for_any_pose_is_accepted() -> None:
    one = asked()
    one.see(line(20), None, 0.0)
    assert one.accepts and one.fit is None and one.place() == ("", "") and one.news() is None


def test_the_outline_that_is_laid_over_sits_on_its_own_stop_and_on_no_other() -> None:
    one = asked()
    assert one.lay(name(2))
    one.see(line(30), None, 0.0)
    assert one.fit is not None and one.fit.sits and one.fit.name == "stop 3" and one.fit.path
    one.see(line(75), None, 0.3)
    assert not one.fit.sits and one.fit.fit < 70
    assert one.lay("") and not one.seeks
    one.see(line(30), None, 0.6)
    assert one.fit is None
    assert not one.lay("stop_99")


def test_that_it_fits_is_told_once_and_again_only_after_it_was_off_for_a_while() -> None:
    one = asked()
    one.lay(name(2))
    told = []
    for k in range(60):
        time = k * 0.1
        angle = 30 if 1 <= time < 2 or 2.3 <= time < 3 or time >= 4.5 else 75
        one.see(line(angle), None, time)
        if one.just_fits(time):
            told.append(time)
    assert len(told) == 2 and 1.1 < told[0] < 1.5 and 4.6 < told[1] < 5


def test_a_stop_that_is_sound_is_taken_again_where_its_own_outline_sits() -> None:
    one = asked()
    one.want([{"instead": name(4)}])
    assert one.news() == ("Stop 5 again",) and one.news() is None
    assert one.place() == (name(4), "")
    assert [k for k in range(12) if accepted(one, k * STEP)] == [4]


def test_a_stop_whose_pose_differs_is_taken_again_between_its_neighbours() -> None:
    one = asked(unsound=(4,))
    one.want([{"instead": name(4)}])
    assert accepted(one, 60)
    assert one.fit is not None and one.fit.name == "stop 4" and one.fit.sits  # the outline of a neighbour is shown
    assert [k for k in range(12) if accepted(one, k * STEP)] == [4]


def test_a_stop_that_is_missing_is_taken_between_those_beside_it() -> None:
    one = Asked("pose")
    there = [0, 1, 2, 3, 5, 6, 7]
    one.hear([(name(k), path_in_shares(line(k * STEP))) for k in there], [], [name(k) for k in there])
    one.want([{"after": name(3)}])
    assert one.news() == ("The stop after 4",) and one.place() == ("", name(3))
    assert [k for k in range(8) if accepted(one, k * STEP)] == [4]


def test_stops_are_asked_for_one_by_one_until_none_is_left() -> None:
    one = asked()
    one.want([{"instead": name(4)}, {"after": name(6)}, {"instead": "nonsense"}, {}])
    assert one.news() == ("Stop 5 again", "The stop after 7")
    one.found("", name(6))
    assert one.wanted == [Want(instead=name(4))]
    one.found(name(4), "")
    assert one.news() == () and one.accepts


def test_what_is_asked_for_before_the_stops_are_known_waits_for_them() -> None:
    one = Asked("pose")
    one.want([{"instead": name(1)}, {"instead": "nonsense"}])
    one.see(line(15), None, 0.0)
    assert not one.accepts
    one.hear([(name(k), path_in_shares(line(k * STEP))) for k in range(4)], [], [name(k) for k in range(4)])
    assert one.wanted == [Want(instead=name(1))]
    assert accepted(one, 15) and not accepted(one, 45)


def test_stops_taken_before_this_camera_are_laid_where_they_stood() -> None:
    one = asked()
    one.kept(name(2), line(30), [name(k) for k in range(12)])
    one.lay(name(2))
    one.see(line(30, at=0.62), None, 0.0)
    assert one.fit is not None and not one.fit.sits and "whole figure" in one.fit.words[0]
    one.gone(name(2), [name(0)])
    assert not one.lay(name(2))


# ------------------------------------------------------------------------------------------------------- in a session


def told(angles: list[float]) -> StopsTold:
    wheel = tuple(WheelStop(name(k), a, "fair", "M0 0z") for k, a in enumerate(angles))
    return StopsTold(wheel, masks=tuple((name(k), path_in_shares(line(a))) for k, a in enumerate(angles)))


def going_on(angles: list[float]) -> Session:
    session = Session(looker=DrawnLooker())
    session.order(Order("begin", pose="pose", stops=24))
    session.order(Order("skip empty"))
    session.told(told(angles))
    return session


def test_wanted_stops_are_taken_in_their_place_and_nothing_else_is() -> None:
    session = going_on([k * STEP for k in range(8) if k != 4])
    session.order(Order("want", stops_wanted=({"instead": name(1)}, {"after": name(3)})))
    page = Page(session)
    played = page.play(Turning(8, hold=1.5).frames())
    taken = [seen for seen in played.seen if seen.take is not None]
    assert [(seen.take_instead, seen.take_after) for seen in taken] == [(name(1), ""), ("", name(3))]
    holds = Turning(8, hold=1.5).holds()
    assert [k for k, hold in enumerate(holds) for t in played.taken if hold["start"] <= t <= hold["end"]] == [1, 4]
    told_news = [seen.wanted for seen in played.seen if seen.wanted is not None]
    assert [len(news) for news in told_news] == [2, 1, 0]
    assert session.state == "closed" and played.said("fits")


@pytest.mark.parametrize(("angle", "found"), [(45.0, True), (75.0, False)])
def test_the_last_pose_taken_up_again_is_known_within_a_second_and_not_taken_twice(angle: float, found: bool) -> None:
    session = going_on([0.0, 15.0, 30.0, 45.0])
    session.order(Order("ghost", stop=name(3)))
    page = Page(session)
    stands = page.play((k / 12, drawn(angle)) for k in range(36))
    assert not stands.taken and bool(stands.said("fits")) == found
    if found:
        first = next(seen for seen in stands.seen if any(signal.kind == "fits" for signal in seen.signals))
        assert first.captured <= 1.0
        turns = page.play((3 + time, drawn(45 + (15 * min(time / 0.5, 1)))) for time in (k / 12 for k in range(24)))
        assert len(turns.taken) == 1


def test_a_new_turn_can_begin_with_the_outline_of_an_earlier_pose() -> None:
    session = Session(looker=DrawnLooker())
    session.order(Order("begin", pose="pose"))
    session.order(Order("skip empty"))
    assert session.order(Order("ghost", pose="other", stop=name(0)))  # nothing is known of it: it is said
    session.earlier("other", [(name(0), path_in_shares(line(0)))])
    assert not session.order(Order("ghost", pose="other", stop=name(0)))
    page = Page(session)
    assert not page.play((k / 12, drawn(75)) for k in range(24)).taken
    played = page.play((2 + k / 12, drawn(75 - 75 * min(k / 6, 1))) for k in range(24))
    assert len(played.taken) == 1 and played.seen[-1].ghost is not None


