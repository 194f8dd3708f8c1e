"""Questions about several rings of one pose, asked of rings made by hand."""

from __future__ import annotations

from collections.abc import Callable
from dataclasses import replace

import numpy as np
import pytest

from silhouette.check import family, rings
from silhouette.records import BlindSpot, Note, RingCamera
from silhouette.records_shoot import AllRings, CheckReport, RingApart, Shot, StrayStop
from silhouette.settings import Ring
from silhouette.show import words_check

HEIGHTS: dict[Ring, float] = {"low": 0.2, "level": 0.6, "high": 1.3}


@pytest.fixture
def three(made: Callable[..., Shot]) -> Callable[..., AllRings]:
    """``three(high={...})``: three rings of 24 stops of which nothing is wrong; keywords by ring change the look of all
    its stops, further ones the record."""

    def make(low: dict | None = None, level: dict | None = None, high: dict | None = None,
             **changes: object) -> AllRings:
        shots = []
        for ring, other in (("low", low), ("level", level), ("high", high)):
            shot = made(**(other or {}))
            shots.append((ring, replace(shot, stops=tuple(replace(s, ring=ring) for s in shot.stops), ring=ring)))
        whole = AllRings(
            tuple(shots), "level", {ring: RingCamera("outlines", h, waist=0.6) for ring, h in HEIGHTS.items()},
            ("low", "level", "high"), (RingApart("low", 1.0, known=18), RingApart("high", -2.0, known=18)), (),
            np.zeros(sum(len(shot.stops) for _, shot in shots)), (),
        )
        return replace(whole, **changes)  # type: ignore[arg-type]

    return make


def said(whole: AllRings, question: Callable[[AllRings], object]) -> str:
    finding = question(whole)
    return f"{words_check.evidence(finding, whole.stops)} {words_check.do(finding, whole.stops)}"  # type: ignore[arg-type]


def test_nothing_is_wrong_with_rings_that_belong_together(three: Callable[..., AllRings]) -> None:
    assert {question(three()).verdict for question in rings.QUESTIONS} == {"pass"}


def test_a_ring_says_which_stops_it_lacks(three: Callable[..., AllRings]) -> None:
    whole = three()
    ring, shot = whole.shots[2]
    left = [k for k in range(24) if not 120 <= 15 * k <= 180]
    short = replace(shot, stops=tuple(shot.stops[k] for k in left), looks=tuple(shot.looks[k] for k in left))
    finding = rings.same_stops(replace(whole, shots=(*whole.shots[:2], (ring, short))))
    assert finding.verdict == "retake" and finding["ring"] == "high" and finding["stretches"] == ((120.0, 180.0),)
    assert said(replace(whole, shots=(*whole.shots[:2], (ring, short))), rings.same_stops).startswith(
        "The high ring lacks 120 to 180, where another ring has stops. Shoot them from high")


def test_what_a_ring_lacks_about_the_front_is_one_stretch(three: Callable[..., AllRings]) -> None:
    whole = three()
    ring, shot = whole.shots[0]
    left = [k for k in range(24) if 30 < 15 * k < 330]
    short = replace(shot, stops=tuple(shot.stops[k] for k in left), looks=tuple(shot.looks[k] for k in left))
    finding = rings.same_stops(replace(whole, shots=((ring, short), *whole.shots[1:])))
    assert finding["stretches"] == ((330.0, 30.0),)


def test_a_ring_with_wider_steps_lacks_nothing(three: Callable[..., AllRings]) -> None:
    assert rings.same_stops(three(high={"n": 12, "step": 30.0})).verdict == "pass"


def test_a_stop_is_named_by_ring_and_angle(three: Callable[..., AllRings]) -> None:
    whole = three(strays=(StrayStop(3, "high", 51),))
    finding = rings.right_ring(whole)
    assert finding.stops == (3, 51) and finding.verdict == "retake"
    assert said(whole, rings.right_ring).startswith("low 45 looks as if taken from high: swapped with high 45?")
    back = three(strays=(StrayStop(51, "low", 3),))
    assert said(back, rings.right_ring).startswith("high 45 looks as if taken from low: swapped with low 45?")
    lone = three(strays=(StrayStop(3, "high", None), StrayStop(30, "low", None)))
    assert "low 45 looks as if taken from high. level 90 looks as if taken from low." in said(lone, rings.right_ring)


def test_a_limb_is_blamed_only_where_outlines_do_not_fit(three: Callable[..., AllRings]) -> None:
    moved = RingApart("high", 0.0, (("hand end", "left", 0.08),), 18)
    apart = (RingApart("low", 0.0, known=18), moved)
    assert rings.same_pose(three(apart=apart)).verdict == "pass", "a hand that no outline shows is a guess"
    out = np.zeros(72)
    out[50:53] = 0.02
    whole = three(apart=apart, outside=out)
    assert rings.same_pose(whole).kind == "limb elsewhere"
    assert "In the high ring figure's left hand lies about 8 % of the model's height elsewhere" in said(
        whole, rings.same_pose)
    assert "about 14 cm" in said(replace(whole, stature_m=1.7), rings.same_pose)
    many = tuple((f"joint {k}", "left", 0.2) for k in range(8))
    assert rings.same_pose(three(apart=(RingApart("low", 0.0, many, 18),), outside=out)).kind == "another pose"
    plain = rings.same_pose(three(outside=out))
    assert (plain.kind, plain.stops) == ("outside the others", (50, 51, 52))


def test_other_light_is_told_and_its_side(three: Callable[..., AllRings]) -> None:
    dark = rings.same_light(three(low={"figure_light": (20.0, 45.0, 80.0)}))
    assert dark.kind == "other light" and dark["ring"] == "low" and dark["brighter"] == pytest.approx(-0.48, abs=0.03)
    side = rings.same_light(three(high={"side_light": -0.1}))
    assert side.kind == "key from the other side" and side["side"] == "picture right"
    assert rings.same_light(three(high={"figure_light": (40.0, 80.0, 160.0)})).verdict == "pass"


def test_cameras_at_one_height_or_against_their_names_are_told(three: Callable[..., AllRings]) -> None:
    def at(**heights: float) -> AllRings:
        return three(cameras={ring: RingCamera("outlines", h) for ring, h in heights.items()})

    assert rings.ring_heights(at(low=0.2, level=0.6, high=0.63)).kind == "one height"
    swapped = at(low=0.62, level=0.2, high=1.3)
    assert rings.ring_heights(swapped).kind == "heights against names"
    assert "at about 62 % of the model's height in the low ring" in said(swapped, rings.ring_heights)
    given = {"low": RingCamera("given", 0.2, height_m=0.3), "high": RingCamera("given", 1.2, height_m=2.0)}
    metres = three(cameras=given)
    assert "low at 0.3 m and high at 2.0 m" in said(metres, rings.ring_heights)
    assert rings.ring_heights(three(cameras={})).verdict == "unknown"
    away = three(notes=(Note.of("ring camera elsewhere", ring="high", looks="level", over=0.1),))
    assert rings.ring_heights(away).kind == "camera elsewhere"


def test_a_blind_spot_is_told_with_its_close_up_unless_one_is_there(three: Callable[..., AllRings]) -> None:
    spot = BlindSpot("hand", "left", 45.0, 0.72, 0.1, "level")
    assert rings.blind_spots(three(blind_spots=None)).verdict == "unknown"
    whole = three(blind_spots=(spot, replace(spot, side="right", covered_by="right hand")))
    text = said(whole, rings.blind_spots)
    assert text == ("Figure's left hand stands clear in no view of any ring. While the model is there, take a close-up "
                    "of the figure's left hand from 45 degrees, the lens at about 72 % of the model's height.")
    assert rings.blind_spots(three(blind_spots=(replace(spot, covered_by="left hand"),))).verdict == "pass"


def test_a_ring_that_cannot_be_compared_is_no_pass(three: Callable[..., AllRings]) -> None:
    whole = three(clear=("low", "level"))
    for question in (rings.right_ring, rings.same_pose, rings.same_start):
        assert question(whole).verdict == "unknown" and question(whole)["rings"] == ("high",)


def test_a_low_lens_is_right_in_the_low_ring(made: Callable[..., Shot]) -> None:
    mask = np.zeros((200, 150), bool)
    mask[5:120, 60:90] = True
    shot = made(mask=mask)
    verdicts = {ring: next(f for f in family.ask("x", replace(shot, ring=ring)).findings if f.check == "camera height")
                for ring in (None, "low", "level", "high")}
    assert {ring: f.verdict for ring, f in verdicts.items()} == {
        None: "look", "low": "pass", "level": "look", "high": "look"}


def test_all_rings_decide_how_the_check_ends(three: Callable[..., AllRings]) -> None:
    whole = three()
    each = {ring: family.ask("x", shot) for ring, shot in whole.shots}
    report = family.ask_together("x", whole, each)
    codes = {one.exit_code for one in each.values()}
    assert report.exit_code == max(codes) and len(report.stops) == 72
    bad = family.ask_together("x", replace(whole, strays=(StrayStop(3, "high", 51),)), each)
    assert bad.exit_code == 1 and bad.told[0][0] is None and bad.told[0][1].check == "right ring"
    lost = CheckReport("x", whole.shots[0][1].stops, ())
    assert family.ask_together("x", whole, {**each, "low": lost}).exit_code == 2
