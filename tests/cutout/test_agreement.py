"""Trust comes from cut-outs that have nothing in common but the picture."""

from __future__ import annotations

from dataclasses import replace
from typing import Any

import numpy as np
import pytest

from silhouette.cutout import agreement, background_model, neural, person_net
from silhouette.cutout import room as rooms
from silhouette.records import BACK_LIGHT, BLURRED, CANNOT_TELL, CUT_BY_FRAME, NO_FIGURE, Cut
from silhouette.settings import TRUST

H, W = 120, 90
PICTURE = np.full((H, W, 3), 128, np.uint8)


def box(top: int, bottom: int, left: int, right: int) -> np.ndarray[Any, Any]:
    mask = np.zeros((H, W), np.bool_)
    mask[top:bottom, left:right] = True
    return mask


BODY = box(10, 110, 30, 60)
SHADOW = box(80, 110, 60, 85)
ARM = box(30, 45, 60, 80)


def odds(mask: np.ndarray[Any, Any], sure: float = 6.0) -> np.ndarray[Any, Any]:
    return np.where(mask, sure, -sure).astype(np.float32)


def made(mask: np.ndarray[Any, Any], cutter: Any, sure: float = 0.97) -> Cut:
    return Cut(mask, sure if mask.any() else 0.0, cutter, () if mask.any() else (NO_FIGURE,))


@pytest.fixture
def cutters(monkeypatch: pytest.MonkeyPatch) -> Any:
    """Sets what each cutter answers; None for the neural one means that no model is at hand."""

    def set_(wall: Any, person: Any, third: Any = None, sure: float = 0.97, own: float = 0.88,
             mirrored: Any = None) -> None:
        monkeypatch.setattr(background_model, "cut", lambda *a: made(wall, "backdrop", sure))
        monkeypatch.setattr(person_net, "odds_of", lambda pixels: odds(person))
        for name in ("cut_by", "found_by"):
            monkeypatch.setattr(person_net, name, lambda *a: made(person, "person", own))
        again = person if mirrored is None else mirrored
        steady = agreement.overlap(person, again)
        monkeypatch.setattr(person_net, "both_ways", lambda pixels, said: (said, steady))
        monkeypatch.setattr(neural, "at_hand", lambda model: third is not None)
        monkeypatch.setattr(neural, "cut", lambda *a: made(third, "neural"))

    return set_


def test_two_that_agree_are_trusted(cutters: Any) -> None:
    cutters(BODY, BODY, sure=0.5)
    got = agreement.cut(PICTURE)
    assert (got.mask == BODY).all()
    assert got.confidence >= TRUST
    assert CANNOT_TELL not in got.flags
    assert got.doubt is None


def test_two_that_disagree_are_not_trusted_however_sure_they_are(cutters: Any) -> None:
    cutters(BODY | SHADOW | box(0, 60, 62, 88), BODY, sure=0.99)
    got = agreement.cut(PICTURE)
    assert got.confidence < TRUST
    assert CANNOT_TELL in got.flags
    assert got.doubt is not None
    assert got.doubt[90, 70] and not got.doubt[50, 45]


def test_a_network_that_is_sure_and_steady_is_trusted_where_the_wall_fails(cutters: Any) -> None:
    room = box(0, 120, 0, 90)
    cutters(room, BODY, sure=0.97, own=0.96)
    got = agreement.cut(PICTURE)
    assert (got.mask == BODY).all() and got.cutter == "person"
    assert TRUST <= got.confidence <= agreement.MOST_ALONE and CANNOT_TELL not in got.flags
    cutters(room, BODY, sure=0.97, own=0.96, mirrored=BODY | SHADOW)
    assert agreement.cut(PICTURE).confidence < TRUST


def test_a_network_that_contradicts_itself_is_no_witness(cutters: Any) -> None:
    upper, lower = box(10, 60, 30, 60), box(60, 110, 30, 60)
    cutters(BODY, upper, sure=0.975, own=0.7, mirrored=lower)
    got = agreement.cut(PICTURE)
    assert (got.mask == BODY).all() and TRUST <= got.confidence <= agreement.MOST_WALL and got.doubt is not None
    cutters(BODY, upper, sure=0.93, own=0.7, mirrored=lower)
    assert agreement.cut(PICTURE).confidence < TRUST


def test_a_small_shadow_is_left_out_by_the_networks_word(cutters: Any) -> None:
    shadow = box(98, 110, 60, 80)
    cutters(BODY | shadow, BODY)
    got = agreement.cut(PICTURE)
    assert not got.mask[104, 70]
    assert got.mask[50, 45]
    assert got.doubt is not None and got.doubt[104, 70]


def test_a_hand_that_the_wall_hides_is_put_back(cutters: Any) -> None:
    hand = box(30, 42, 60, 80)
    cutters(BODY, BODY | hand)
    assert agreement.cut(PICTURE).mask[36, 70]


def test_an_edge_drawn_otherwise_is_no_doubt(cutters: Any) -> None:
    cutters(BODY, box(11, 110, 31, 60))
    got = agreement.cut(PICTURE)
    assert (got.mask == BODY).all()
    assert got.doubt is None


@pytest.mark.parametrize("right", ["wall", "person"])
def test_a_third_decides(cutters: Any, right: str) -> None:
    wall, person = (BODY, BODY | SHADOW | ARM) if right == "wall" else (BODY | SHADOW | ARM, BODY)
    cutters(wall, person, third=BODY)
    got = agreement.cut(PICTURE)
    assert got.confidence >= TRUST
    assert agreement.overlap(got.mask, BODY) > 0.99


def test_a_third_that_agrees_with_neither_saves_nothing(cutters: Any) -> None:
    cutters(BODY | SHADOW | ARM, BODY, third=box(0, 60, 0, 90))
    assert agreement.cut(PICTURE).confidence < TRUST


def test_nobody_only_if_all_say_so(cutters: Any) -> None:
    nothing = np.zeros((H, W), np.bool_)
    cutters(nothing, nothing)
    assert NO_FIGURE in agreement.cut(PICTURE).flags
    cutters(nothing, BODY)
    found = agreement.cut(PICTURE)
    assert NO_FIGURE not in found.flags
    assert found.mask.any() and found.confidence < TRUST
    cutters(BODY, nothing)
    found = agreement.cut(PICTURE)
    assert found.mask.any() and found.confidence < TRUST


def test_a_wall_vouched_for_saves_the_look(cutters: Any, monkeypatch: pytest.MonkeyPatch) -> None:
    cutters(BODY, BODY, sure=0.985)
    monkeypatch.setattr(person_net, "odds_of", lambda *a: pytest.fail("was asked"))
    shared = background_model.Shared(np.zeros((4, 4, 3), np.float32), np.ones((4, 4), np.bool_), (H, W),
                                     (0.0, 1.0, 0.0, 1.0), vouched=True)
    assert (agreement.cut(PICTURE, shared).mask == BODY).all()
    with pytest.raises(pytest.fail.Exception, match="was asked"):
        agreement.cut(PICTURE, replace(shared, vouched=False))
    cutters(BODY, BODY, sure=0.93)
    monkeypatch.setattr(person_net, "odds_of", lambda *a: pytest.fail("was asked"))
    with pytest.raises(pytest.fail.Exception, match="was asked"):
        agreement.cut(PICTURE, shared)


def test_the_promise_grows_with_the_agreement() -> None:
    promised = [agreement.agreed_overlap(a) for a in (0.90, 0.94, 0.98, 1.0)]
    assert promised == sorted(promised)
    assert promised[0] >= TRUST and promised[-1] < 1


def test_what_either_noticed_of_the_picture_is_kept(cutters: Any, monkeypatch: pytest.MonkeyPatch) -> None:
    cutters(BODY, BODY)
    monkeypatch.setattr(background_model, "cut", lambda *a: Cut(BODY, 0.97, "backdrop", (BACK_LIGHT, CUT_BY_FRAME)))
    monkeypatch.setattr(person_net, "found_by", lambda *a: Cut(BODY, 0.95, "person", (BLURRED,)))
    assert set(agreement.cut(PICTURE).flags) == {BACK_LIGHT, BLURRED}


HELD = box(15, 30, 60, 72)


def test_a_blade_held_in_the_air_is_kept_but_promised_less() -> None:
    strange = np.ones((H, W), np.bool_)
    mask, against = agreement.decided(BODY | HELD, HELD, odds(BODY), strange)
    assert mask[20, 65] and against > 0.03
    mask, against = agreement.decided(BODY | HELD, HELD, odds(BODY), ~strange)  # it looks like a shadow on the wall
    assert not mask[20, 65] and against == 0


def test_what_stands_on_the_ground_is_not_held() -> None:
    stool = box(95, 110, 60, 75)
    mask, _ = agreement.decided(BODY | stool, stool, odds(BODY), np.ones((H, W), np.bool_))
    assert not mask[100, 65] and mask[50, 45]


def test_a_gap_that_the_figure_encloses_stays_open() -> None:
    gap = box(40, 60, 40, 50)
    mask, _ = agreement.decided(BODY & ~gap, gap, odds(BODY), np.ones((H, W), np.bool_))
    assert not mask[50, 45]


@pytest.mark.parametrize("alike", [1.0, 0.5])
def test_a_room_from_the_turn_vouches_only_for_what_it_finds_without_the_network(
        cutters: Any, monkeypatch: pytest.MonkeyPatch, alike: float) -> None:
    known = rooms.Room(PICTURE, np.ones((H, W), np.bool_), (H, W), np.zeros(rooms.POSE_BINS, np.int8))
    cutters(box(0, 120, 0, 90), BODY | SHADOW, own=0.5)
    monkeypatch.setattr(rooms, "vouched", lambda *a: (made(BODY, "room"), alike))
    got = agreement.cut(PICTURE, room=known)
    if alike < agreement.ALIKE:
        assert got.cutter != "room" and got.confidence < TRUST
        return
    # What the network errs in all round the turn is not put back by the network.
    assert (got.mask == BODY).all() and got.cutter == "room"
    assert TRUST <= got.confidence < 1
    assert got.doubt is not None and got.doubt[90, 70]


def test_a_room_that_is_known_saves_the_wall(cutters: Any, monkeypatch: pytest.MonkeyPatch) -> None:
    cutters(BODY, BODY)
    monkeypatch.setattr(background_model, "cut", lambda *a: pytest.fail("was asked"))
    monkeypatch.setattr(rooms, "cut", lambda *a: made(BODY, "room"))
    got = agreement.cut(PICTURE, room=rooms.from_empty(PICTURE))
    assert (got.mask == BODY).all() and got.cutter == "room"


def test_a_cutter_asked_for_alone_keeps_its_mask_and_is_trusted_by_the_other(cutters: Any) -> None:
    cutters(BODY | SHADOW | ARM, BODY, sure=0.99, own=0.97)
    wall = agreement.by_wall(PICTURE)
    assert (wall.mask == (BODY | SHADOW | ARM)).all() and wall.cutter == "backdrop"
    assert wall.confidence < TRUST and CANNOT_TELL in wall.flags and wall.doubt is not None
    cutters(BODY, BODY, sure=0.5)
    assert agreement.by_wall(PICTURE).confidence >= TRUST


@pytest.mark.parametrize(("own", "trusted"), [(0.97, True), (0.91, False)])
def test_the_network_alone_is_trusted_where_it_is_sure(cutters: Any, own: float, trusted: bool) -> None:
    cutters(BODY, BODY, own=own)
    got = agreement.by_person(PICTURE)
    assert (got.mask == BODY).all() and got.cutter == "person"
    assert (got.confidence >= TRUST) == trusted == (CANNOT_TELL not in got.flags)
