"""What a check asks for, in the order of the turn, in words and in an address."""

from __future__ import annotations

from pathlib import Path

import pytest

from silhouette import shoot
from silhouette.live import heard, wanted
from silhouette.live.messages import Order
from silhouette.records import Stop
from silhouette.records_shoot import CheckReport, Finding


def _report(*findings: Finding, count: int = 12) -> CheckReport:
    stops = tuple(Stop(k, Path("x"), f"stop_{k + 1:02d}", 24.0 * k, "clip", 3.0) for k in range(count))
    return CheckReport("hauling", stops, findings)


def _gap(after: int, count: int) -> Finding:
    return Finding("missing stops", "retake", "stop missing", (after, after + 1),
                   (("step", 24.0), ("counts", (count,)), ("before", (after + 1,))), after_stop=(after,))


def test_stops_are_asked_for_in_the_order_of_the_turn_with_a_sentence_each() -> None:
    moved = Finding.of("held pose", "retake", "pose changed", (9, 10))
    light = Finding.of("steady light", "retake", "light changed", (2, 9))
    asked = wanted.wanted(_report(moved, light, _gap(5, 2)))
    assert [one for w in asked for one in w.stops] == [
        {"instead": "stop_03"}, {"after": "stop_06"}, {"after": "stop_06"}, {"instead": "stop_10"},
        {"instead": "stop_11"}]
    assert [w.words for w in asked] == [
        "Retake stop 3: the light had changed.", "2 stops are missing after stop 6.",
        "Retake stop 10: the pose had changed and the light had changed.", "Retake stop 11: the pose had changed."]


def test_what_is_only_worth_a_look_is_not_asked_for() -> None:
    look = Finding.of("held pose", "look", "pose moved", (4,))
    assert wanted.wanted(_report(look, Finding.of("sharpness", "pass", "sharp"))) == ()


def test_an_open_turn_asks_for_the_stops_that_close_it() -> None:
    open_turn = Finding.of("full turn", "retake", "turn open", (11,), ends_at=264.0, short_by=96.0)
    (asked,) = wanted.wanted(_report(open_turn))
    assert asked.stops == ({"after": "stop_12"},) * 4
    assert asked.words == "4 stops are missing to close the turn: go on from stop 12."


def test_what_no_single_stop_puts_right_asks_for_none() -> None:
    camera = Finding.of("stance", "retake", "camera moved", (6,), times=(None, None))
    assert wanted.wanted(_report(camera, Finding.of("distance", "retake", "far too close"))) == ()


def test_each_of_several_faults_is_heard() -> None:
    parts = (Finding.of("framing", "retake", "no figure", (1,)), Finding.of("framing", "look", "second figure", (3,)))
    whole = Finding("framing", "retake", "no figure", (1, 3), parts=parts)
    assert [w.stops for w in wanted.wanted(_report(whole))] == [({"instead": "stop_02"},)]


def test_the_stops_missing_in_a_clip_are_asked_for(data: Path) -> None:
    report = shoot.check_turnaround(data / "clips" / "gap_and_short.mp4").report
    stops = [one for w in wanted.wanted(report) for one in w.stops]
    names = [stop.name for stop in report.stops]
    assert stops == [{"instead": names[5]}, {"instead": names[6]}, {"after": names[8]}, {"after": names[8]},
                     *[{"after": names[17]}] * 5]


@pytest.mark.parametrize("name", ["stop_05", "a,b:c", "Schritt 5 é", "100%"])
def test_an_address_brings_back_what_was_put_in(name: str) -> None:
    stops = ({"instead": name}, {"after": name}, {"after": name})
    assert wanted.of_query(wanted.to_query(stops)) == stops
    assert Order("want", stops_wanted=wanted.of_query(wanted.to_query(stops))).stops_wanted == stops


@pytest.mark.parametrize(("text", "stops"), [
    ("", ()), (",,:,after:", ()), ("before:stop_01", ()), ("stop_01, after:stop_02", ("instead", "after")),
    ("instead:stop_01", ("instead",)), ("stop_01," * 500, ("instead",) * 100),
])
def test_what_an_address_holds_that_is_no_stop_is_left_out(text: str, stops: tuple[str, ...]) -> None:
    found = wanted.of_query(text)
    assert tuple(kind for one in found for kind in one) == stops
    assert len(found) <= heard.MOST_WANTED
