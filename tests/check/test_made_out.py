"""What rests on outlines that are not trusted is not answered, and one of them among good ones spoils nothing."""

from __future__ import annotations

from collections.abc import Callable
from dataclasses import replace

import numpy as np
import pytest

from silhouette.check import distance, family, light, made_out, picture, pose, turn
from silhouette.records import CANNOT_TELL, NO_FIGURE, TWO_FIGURES
from silhouette.records_shoot import Finding, Held, Shot
from silhouette.show import table, words_check

LOST = {"confidence": 0.6, "flags": (CANNOT_TELL,)}
"""What a look has whose cut is not trusted."""


def by_outlines(shot: Shot, sure: float = 6.0) -> Shot:
    """The same, its angles found from the outlines of a clip."""
    return replace(shot, stops=tuple(replace(s, angle_from="clip", angle_sure=sure if s.index else 0.0)
                                     for s in shot.stops))


def lost(which: range | tuple[int, ...]) -> dict[int, dict]:
    return {k: LOST for k in which}


def test_only_trusted_cuts_are_made_out(made: Callable[..., Shot]) -> None:
    looks = made(5, looks={1: {"confidence": 0.89}, 2: {"flags": (CANNOT_TELL,)}, 3: {"mask": np.zeros((9, 9), bool)}})
    assert made_out.made_out(looks.looks) == (0, 4)


@pytest.mark.parametrize(("seen", "answers"), [(12, True), (11, False)])
def test_half_of_the_stops_speak_for_the_turn(made: Callable[..., Shot], seen: int, answers: bool) -> None:
    shot = by_outlines(made(24, looks=lost(range(24 - seen))))
    found = turn.doubled_stops(shot)
    assert (found.verdict == "pass") == answers
    if not answers:
        assert (found.kind, found["unseen"], found["count"]) == ("too few made out", 13, 24)


RESTS = {
    turn.full_turn: 0.5, turn.missing_stops: 0.5, turn.doubled_stops: 0.5, pose.held_pose: 0.5, pose.stance: 0.5,
    picture.framing: 0.5, picture.sharpness: 0.5, light.light_direction: 0.5,
    picture.figure_size: 0.25, light.steady_light: 0.25, distance.distance: 0.25, distance.camera_height: 0.25,
}
"""Every question, and the share of the stops from which it answers."""


@pytest.mark.parametrize("question", family.QUESTIONS)
def test_no_question_rests_on_outlines_that_are_not_trusted(
    made: Callable[..., Shot], question: Callable[[Shot], Finding]
) -> None:
    """24 stops, all perfect but for the trust in them; one stop less than the share is too few."""
    least = round(24 * RESTS[question])
    shot = replace(by_outlines(made(24, looks=lost(range(least - 1, 24)), focal_35mm=26.0)), height_m=1.7)
    found = question(shot)
    assert (found.verdict, found.kind) == ("unknown", "too few made out"), found
    assert "24 stops: too few" in words_check.evidence(found, shot.stops)
    assert "empty.jpg" in words_check.do(found, shot.stops)


def test_names_still_tell_the_turn_where_no_figure_was_made_out(made: Callable[..., Shot]) -> None:
    shot = made(24, **LOST)
    assert turn.full_turn(shot).verdict == turn.missing_stops(shot).verdict == "pass"
    report = family.ask("named", shot)
    assert report.exit_code == 2, "no all-clear for a turn whose pose nobody saw"
    assert "could not be checked: the figure was not made out" in " ".join(table.check_list(report).split())


def test_what_few_stops_show_is_still_said_and_a_retake_by_name_counts(made: Callable[..., Shot]) -> None:
    report = family.ask("named", made(18, **LOST))
    assert {f.check for f in report.findings if f.verdict == "retake"} == {"full turn"} and report.exit_code == 1


def test_one_stop_that_was_not_made_out_is_named_and_spoils_nothing(made: Callable[..., Shot]) -> None:
    wrong = {"height_px": 9.0, "edges": ("top", "bottom"), "edge_width": 30.0, "side_light": 9.0, "backdrop_light": 9.0}
    good = family.ask("turn", by_outlines(made(25)))
    report = family.ask("turn", by_outlines(made(25, looks={7: LOST | wrong})))
    changed = {f.check for f, g in zip(sorted(report.findings, key=lambda f: f.check),
                                       sorted(good.findings, key=lambda f: f.check), strict=True) if f != g}
    assert changed == {"framing"} and report.unclear == (7,)
    framing = next(f for f in report.findings if f.check == "framing")
    assert (framing.verdict, framing.kind, framing.stops) == ("look", "figure unclear", (7,))
    assert words_check.evidence(framing, report.stops) == (
        "The figure could not be made out at 105; the other answers leave it out.")


@pytest.mark.parametrize("what", [{"flags": (TWO_FIGURES, CANNOT_TELL)}, {"flags": (NO_FIGURE,), "confidence": 0.0,
                                  "mask": np.zeros((200, 150), bool)}, {"edges": ("top",), "flags": (CANNOT_TELL,)}])
def test_where_hardly_a_figure_was_made_out_the_frame_and_the_empty_pictures_are_no_news(
    made: Callable[..., Shot], what: dict
) -> None:
    found = picture.framing(made(24, looks={k: what for k in range(13)}))
    assert (found.verdict, found.kind, found["unseen"]) == ("unknown", "too few made out", 13)


@pytest.mark.parametrize(("n", "unseen", "kind"), [
    (25, (24,), "turn all round"), (25, (0,), "turn all round"), (26, (25,), "turn closed"),
    (24, (23,), "ends not made out"), (23, (21, 22), "ends not made out"), (18, (17,), "turn open"),
    (20, (17, 18, 19), "turn open"), (21, (17, 18, 19, 20), "ends not made out"),
])
def test_a_turn_goes_as_far_as_it_was_seen_to_go(
    made: Callable[..., Shot], n: int, unseen: tuple[int, ...], kind: str
) -> None:
    """Steps of 15 degrees; a stop at the end that nobody saw may stand a double step on, no farther."""
    found = turn.full_turn(by_outlines(made(n, looks=lost(unseen))))
    assert found.kind == kind
    if kind == "ends not made out":
        assert found.verdict == "unknown" and found.stops == unseen
    if kind == "turn open":
        assert found.stops == (16,) and found["short_by"] == 360 - 240


def test_a_stop_missing_next_to_one_that_was_not_made_out_is_placed_between_those_that_were(
    made: Callable[..., Shot]
) -> None:
    shot = replace(by_outlines(made(20, looks=lost((5,)))), skipped=(4,))
    turned = shot.turned.copy()
    turned[6:] += 15
    found = turn.missing_stops(replace(shot, turned=turned))
    assert (found.after_stop, found["before"], found["counts"], found.stops) == ((4,), (6,), (1,), (4, 6))
    assert "missing between 60 and 90" in words_check.evidence(found, shot.stops)


@pytest.mark.parametrize(("unseen", "verdict"), [((5,), "pass"), ((5, 6), "unknown"), ((0, 1, 2), "pass")])
def test_over_two_stops_in_a_row_nobody_sees_whether_one_is_missing(
    made: Callable[..., Shot], unseen: tuple[int, ...], verdict: str
) -> None:
    found = turn.missing_stops(by_outlines(made(25, looks=lost(unseen))))
    assert found.verdict == verdict and found.stops == (unseen if verdict == "unknown" else ())
    assert turn.missing_stops(made(25, looks=lost(unseen))).verdict == "pass", "names say it"


def test_angles_that_the_outlines_of_a_clip_did_not_tell_pass_no_turn(made: Callable[..., Shot]) -> None:
    shot = replace(by_outlines(made(25), 20.0), angles_told=False)
    for question in turn.QUESTIONS:
        assert (question(shot).verdict, question(shot).kind) == ("unknown", "angles not told")


def test_a_pose_is_only_said_to_be_held_of_the_stops_that_were_made_out(made: Callable[..., Shot]) -> None:
    held = Held((), False, None, 0.0, 0.0, 0.4, np.zeros(24))
    found = pose.held_pose(replace(made(24, looks=lost((3, 9))), held=held))
    assert found.verdict == "pass" and found["left_out"] == 2
    assert "stops that were made out" in words_check.evidence(found, ())
