"""Where cut-outs disagree, on a figure drawn with limbs apart."""

from __future__ import annotations

from dataclasses import replace
from pathlib import Path

import cv2
import numpy as np
import pytest

from silhouette import scoring, tables
from silhouette.cutout import doubt_where
from silhouette.reading import circle, opposite
from silhouette.records import Cut, Doubt, Mask, Stop
from silhouette.show import table, words

TOP, HEIGHT = 50, 400


def figure() -> Mask:
    """400 pixels high: a head, a trunk, two arms held away from it, two legs apart."""
    mask = np.zeros((500, 400), np.uint8)
    cv2.ellipse(mask, (200, 80), (22, 30), 0, 0, 360, 1, -1)
    mask[105:255, 165:235] = 1
    mask[115:130, 105:295] = 1  # shoulders reach out to the arms
    mask[115:250, 105:125] = mask[115:250, 275:295] = 1
    mask[255:450, 165:190] = mask[255:450, 210:235] = 1
    return mask > 0


def patch(rows: slice, columns: slice) -> Mask:
    made = np.zeros((500, 400), bool)
    made[rows, columns] = True
    return made


PLACES = [
    (slice(330, 420), slice(190, 210), "between the legs"),
    (slice(150, 230), slice(125, 165), "between arm and body"),
    (slice(150, 230), slice(235, 275), "between arm and body"),
    (slice(60, 100), slice(224, 250), "beside the head"),
    (slice(20, 48), slice(180, 220), "over the head"),
    (slice(430, 450), slice(235, 290), "at the feet"),
    (slice(300, 400), slice(120, 165), "picture left of the body"),
    (slice(300, 400), slice(235, 280), "picture right of the body"),
]


@pytest.mark.parametrize(("rows", "columns", "place"), PLACES)
@pytest.mark.parametrize("counted", [True, False])
def test_a_patch_is_named_by_its_place_and_by_whether_it_is_counted(
    rows: slice, columns: slice, place: str, counted: bool
) -> None:
    spot = patch(rows, columns) & ~figure()
    (found,) = doubt_where.where(figure() | spot if counted else figure(), spot)
    assert (found.where, found.counted) == (place, counted)
    assert found.share == pytest.approx(spot.sum() / (figure().sum() + (spot.sum() if counted else 0)), rel=0.05)


def test_a_hole_in_the_trunk_is_inside_the_body() -> None:
    (found,) = doubt_where.where(figure(), patch(slice(160, 220), slice(185, 215)))
    assert found.where == "inside the body" and found.counted


def test_feet_that_another_cut_out_leaves_out_are_at_the_feet() -> None:
    (found,) = doubt_where.where(figure(), patch(slice(425, 450), slice(160, 240)) & figure())
    assert found.where == "at the feet" and found.counted


def test_rims_and_specks_are_not_worth_a_word() -> None:
    mask = figure()
    rim = cv2.dilate(mask.astype(np.uint8), np.ones((5, 5), np.uint8)).astype(bool) & ~mask
    assert doubt_where.where(mask, rim | patch(slice(480, 486), slice(20, 26))) == ()


def test_patches_of_one_place_are_told_together_and_the_largest_comes_first() -> None:
    mask = figure()
    spots = [patch(slice(150, 230), slice(125, 165)), patch(slice(150, 230), slice(235, 275)),
             patch(slice(330, 420), slice(190, 210))]
    found = doubt_where.where(mask, np.logical_or.reduce(spots) & ~mask)
    assert [d.where for d in found] == ["between arm and body", "between the legs"]
    assert found[0].share == pytest.approx(2 * 80 * 40 / mask.sum(), rel=0.05)


@pytest.mark.parametrize("empty", ["mask", "doubt", "all in doubt"])
def test_nothing_is_told_of_nothing(empty: str) -> None:
    nothing, mask = np.zeros((500, 400), bool), figure()
    mask, doubt = {"mask": (nothing, mask), "doubt": (mask, nothing), "all in doubt": (mask, mask)}[empty]
    assert doubt_where.where(mask, doubt) == ()


def test_the_sentence_says_what_may_be_wrong() -> None:
    shadow = doubt_where.where(figure() | patch(*PLACES[0][:2]), patch(*PLACES[0][:2]))[0]
    assert words.doubt(shadow) == "A shadow between the legs may be counted as figure."
    arm = doubt_where.where(figure(), patch(*PLACES[7][:2]))[0]
    assert words.doubt(arm) == "Part of the figure picture right of the body may be missing."


@pytest.mark.parametrize("sure", [0.98, 0.6])
def test_a_view_keeps_where_its_cut_outs_disagree_scored_or_not(sure: float) -> None:
    spot = patch(*PLACES[0][:2])
    cut = Cut(figure() | spot, sure, "backdrop", () if sure > 0.9 else ("cannot tell",), spot)
    view = scoring._read_view(Stop(0, Path("045.jpg"), "045", 45.0, "name"), cut, "open")
    assert view.scored == (sure > 0.9)
    (row,) = tables.view_to_dict(view)["doubts"]
    assert (row["where"], row["counted"]) == ("between the legs", True) and 0.05 < row["share"] < 0.07
    twice = replace(view, doubts=(*view.doubts, view.doubts[0]._replace(counted=False)))
    for one in (view, twice):
        told = " ".join(" ".join(table._view_rows(one, set(), 80)).split())
        assert told.count("cut-outs disagree between the legs") == 1 == told.count("between the legs")


def test_seen_from_behind_a_doubt_lies_on_the_other_side() -> None:
    aside, legs = (Doubt(w, 0.05, True) for w in ("picture left of the body", "between the legs"))
    assert opposite.doubt(aside).where == "picture right of the body" and opposite.doubt(legs) == legs
    assert opposite.doubt(opposite.doubt(aside)) == aside
    stop, cut = Stop(0, Path("045.jpg"), "045", 45.0, "name"), Cut(figure(), 0.98, "backdrop", ())
    view = scoring._read_view(stop, cut, "open")
    assert circle.mirrored(replace(view, doubts=(aside,))).doubts == (opposite.doubt(aside),)
