"""The sentences of the shoot: one for every kind that can be found, right about the stops, none that is never said."""

from __future__ import annotations

import ast
from pathlib import Path

import pytest

import silhouette
from silhouette.records import Note, Stop
from silhouette.records_shoot import Finding
from silhouette.show import words_check
from silhouette.show.words_check import do, evidence, how_far, named, note

TURN = [Stop(k, Path(f"IMG_{k}.jpg"), f"IMG_{k}", 15.0 * k % 360, "outline") for k in range(25)]
PACKAGE = Path(silhouette.__file__).parent


# ------------------------------------------------------------------------------------------------- how stops are called

@pytest.mark.parametrize(("which", "told"), [
    ([9], "135"), ([9, 10], "135 and 150"), ([1, 3, 5, 7, 9, 11], "15, 45, 75, 105, 135 and 165"),
    (range(3, 11), "45 to 150"), ([0, *range(3, 9), 18], "0, 45 to 120 and 270"),
    ([0, 1, 5, 8, 11, 14, 17], "0, 15, 75, 120, 165, 210 and 255"), (range(25), "all stops"), ([0, 24], "0"),
])
def test_stops_are_called_by_angle(which: list[int], told: str) -> None:
    assert named(TURN, which) == told


def test_a_turn_cut_all_round_is_not_called_by_its_one_angle() -> None:
    assert "0 to 0" not in named(TURN, range(25))


def test_a_few_stops_are_called_one_by_one() -> None:
    assert named(TURN[:4], range(4)) == "0, 15, 30 and 45"


# -------------------------------------------------------------------------------------------------- a sentence a kind

def kinds_in(folder: str, call: str, place: int) -> set[str]:
    """Strings given at this place of calls of ``Finding`` or ``Note``, and those a local name there may stand for."""
    found: set[str] = set()
    for path in [*(PACKAGE / folder).rglob("*.py"), PACKAGE / "shoot.py"]:
        for function in [n for n in ast.walk(ast.parse(path.read_text())) if isinstance(n, ast.FunctionDef)]:
            for one in [n for n in ast.walk(function) if isinstance(n, ast.Call) and len(n.args) > place]:
                if ast.unparse(one.func) in (call, f"{call}.of", "moved"):
                    found |= strings_of(one.args[1 if ast.unparse(one.func) == "moved" else place], function)
    return found


def strings_of(node: ast.expr, function: ast.FunctionDef) -> set[str]:
    if isinstance(node, ast.Name):
        values = [n.value for n in ast.walk(function) if isinstance(n, ast.Assign)
                  and any(isinstance(t, ast.Name) and t.id == node.id for t in n.targets)]
        return set().union(*(strings_of(v, function) for v in values))
    if isinstance(node, ast.IfExp):
        return strings_of(node.body, function) | strings_of(node.orelse, function)
    if isinstance(node, ast.Subscript) and isinstance(node.value, ast.Dict):
        return {v.value for v in node.value.values if isinstance(v, ast.Constant)}
    return {node.value} if isinstance(node, ast.Constant) and isinstance(node.value, str) else set()


def test_every_kind_of_finding_has_its_sentence_and_no_sentence_is_left_over() -> None:
    kinds = kinds_in("check", "Finding", 2)
    assert len(kinds) > 40
    assert kinds == set(words_check.EVIDENCE)
    assert set(words_check.DO) <= kinds


def test_every_kind_of_note_of_the_shoot_has_its_sentence_and_no_sentence_is_left_over() -> None:
    kinds = kinds_in("turn", "Note", 0) | kinds_in("export", "Note", 0) | kinds_in("intake", "Note", 0)
    assert kinds - {"of ring"} == set(words_check.NOTES)  # that one is a note round another: words.note unpacks it


# --------------------------------------------------------------------------------------------- what the sentences say

def test_gaps_and_a_double_are_told_by_their_stops() -> None:
    gaps = Finding("missing stops", "retake", "stop missing", (3, 4, 9, 11), (("step", 15.0), ("counts", (1, 2))),
                   after_stop=(3, 9))
    assert evidence(gaps, TURN) == (
        "A stop is missing between 45 and 60; 2 stops are missing between 135 and 150, where the usual step is 15 "
        "degrees.")
    assert evidence(Finding.of("doubled stops", "look", "same view twice", (5, 6), first=(5,)), TURN) == (
        "IMG_5 and IMG_6 (at 75) show the same view.")


@pytest.mark.parametrize(("past", "said"), [(0.3, "just to the start"), (14.6, "15 degrees past the start")])
def test_a_closed_turn_says_how_far_it_goes(past: float, said: str) -> None:
    assert evidence(Finding.of("full turn", "pass", "turn closed", past=past), TURN).endswith(f"it goes {said}.")


def moved(kind: str, stops: tuple[int, ...], verdict: str = "retake", **values: object) -> Finding:
    given = {"way": "lower", "doubtful": (), "height_m": None} | values
    return Finding("held pose", verdict, kind, stops, tuple(given.items()), where="arm height", far=0.04)  # type: ignore[arg-type]


def test_how_far_is_told_in_centimetres_once_the_height_is_known() -> None:
    assert how_far(moved("pose moved", (9,))) == "about 4 % of its height"
    assert how_far(moved("pose moved", (9,), height_m=1.75)) == "about 7 cm"
    assert how_far(Finding.of("framing", "pass", "whole and alone", room=0.1)) is None


def test_a_moved_stop_is_retaken_and_a_doubtful_one_looked_at() -> None:
    found = moved("pose moved", (9,), doubtful=(1,))
    assert evidence(found, TURN) == (
        "At 135 the figure at arm height is lower than before by about 4 % of its height, unlike at the other stops.")
    assert do(found, TURN).startswith("Retake 135. Look at 15 too")
    assert do(moved("pose moved", (9,)), TURN) == "Retake 135."
    assert do(moved("pose moved", (1, 9), "look"), TURN).startswith("Look at 15 and 135")
    change = moved("pose changed", tuple(range(12, 25)), way="elsewhere")
    assert evidence(change, TURN).startswith("From 180 on the figure has moved at arm height by")
    assert do(change, TURN).endswith("retake from 180 on.")


def test_a_camera_that_moved_is_told_by_the_clip_or_by_the_stills() -> None:
    for times, said in (((None, None), "Between IMG_14 and IMG_15 the"), ((28.0, 30.1), "28.0 and 30.1 s of the clip")):
        assert said in evidence(Finding.of("stance", "retake", "camera moved", (15,), times=times), TURN)


def test_all_that_is_wrong_with_the_framing_is_told_gravest_first() -> None:
    cut = Finding.of("framing", "retake", "cut by the frame", (3,), edges=("top",), upright_helps=True)
    second = Finding.of("framing", "look", "second figure", (5,))
    both = Finding("framing", "retake", cut.kind, (3,), cut.values, parts=(cut, second))
    assert evidence(both, TURN) == (
        "At 45 the figure is cut by the frame (top). At 75 a second figure stands in the picture.")
    assert do(both, TURN) == (
        "Step back or turn the camera upright, and retake 45. Look at 75: retake if somebody stood beside the model.")


@pytest.mark.parametrize(("brighter", "said"), [(-0.27, "27 % darker"), (0.16, "16 % brighter")])
def test_light_is_darker_or_brighter(brighter: float, said: str) -> None:
    assert said in evidence(Finding.of("steady light", "retake", "light changed", (5,), brighter=brighter), TURN)


def test_questions_that_one_reason_leaves_open_are_told_together() -> None:
    lost = [Finding.of(check, "unknown", "turn not known") for check in ("full turn", "missing stops")]
    other = Finding.of("distance", "unknown", "distance not known", lacking="height")
    told = words_check.untold([*lost, other, Finding.of("framing", "pass", "whole and alone", room=0.1)], TURN)
    assert told == [
        ("full turn, missing stops: The camera was moved on the way: how far the model turned is not known.", ""),
        ("distance: The distance cannot be found without the height of the model.", "")]


def test_what_passes_has_nothing_to_do() -> None:
    assert do(Finding.of("full turn", "pass", "turn closed", past=1.0), TURN) == ""


def test_a_note_names_stops_from_one() -> None:
    assert "before stop 15 of 25" in note(Note.of("camera moved", before=14, count=25))


@pytest.mark.parametrize(("length", "said"), [(30.0, "after 12 s of 30 s: what"), (0.0, "after 12 s: what")])
def test_a_clip_that_does_not_say_how_long_it_is_breaks_off_all_the_same(length: float, said: str) -> None:
    assert said in note(Note.of("clip breaks off", read=12.0, length=length))


@pytest.mark.parametrize(("count", "said"), [(1, "1 stop has"), (3, "3 stops have")])
def test_one_stop_is_no_stops(count: int, said: str) -> None:
    for kind in ("stops without outline", "stops without figure"):
        assert note(Note.of(kind, count=count)).startswith(said)
