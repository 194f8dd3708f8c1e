"""The whole check: on rendered clips with known faults, on turns too short, and with a question more."""

from __future__ import annotations

import json
from collections.abc import Callable
from dataclasses import replace
from typing import Any

import numpy as np
import pytest

from silhouette import shoot, tables
from silhouette.check import family, turn
from silhouette.records_shoot import CheckReport, Finding, Shot, StopLook
from silhouette.show import check_page, table, words_check
from silhouette.turn import rigidity, stance

NAMES = {
    "full turn", "missing stops", "doubled stops", "held pose", "stance", "framing", "figure size", "sharpness",
    "steady light", "light direction", "distance", "camera height",
}


def finding(report: CheckReport, name: str) -> Finding:
    return next(f for f in report.findings if f.check == name)


def changed(shot: Shot, looks: dict[int, dict[str, Any]]) -> Shot:
    """The same turn with some looks changed, measured again."""
    seen = [replace(look, **looks.get(k, {})) for k, look in enumerate(shot.looks)]
    return shoot.measure(shot.stops, seen, height_m=shot.height_m)


def test_held_turn_passes_every_check(clip: Callable[[str], Shot]) -> None:
    found = family.ask("steady", clip("steady"))
    assert {f.check for f in found.findings} == NAMES
    assert {f.check: f.verdict for f in found.findings if f.verdict not in ("pass", "unknown")} == {}
    assert found.exit_code == 0 and finding(found, "full turn").kind == "turn closed"


def test_sinking_arms_are_named_in_time_and_the_first_stops_are_not_blamed(clip: Callable[[str], Shot]) -> None:
    found = family.ask("droop", clip("droop"))
    pose = finding(found, "held pose")
    assert pose.verdict == "retake" and found.exit_code == 1
    assert 12 <= min(pose.stops) <= 14
    assert pose.where == "arm height" and pose.far is not None and 0.02 < pose.far < 0.1
    assert found.findings[0].verdict == "retake"


def test_gap_open_turn_and_dark_stops_are_placed(clip: Callable[[str], Shot]) -> None:
    found = family.ask("gap", clip("gap_and_short"))
    assert finding(found, "missing stops").after_stop == (8,)
    assert (finding(found, "full turn").kind, finding(found, "full turn").verdict) == ("turn open", "retake")
    lamp = finding(found, "steady light")
    assert lamp.stops == (5, 6) and lamp["brighter"] < 0
    assert finding(found, "held pose").verdict != "retake"


def test_single_moved_stop_is_the_only_one_blamed(clip: Callable[[str], Shot]) -> None:
    shot = clip("steady")
    mask = shot.looks[7].mask.copy()
    rows = np.flatnonzero(mask.any(axis=1))
    at = int(rows[0] + 0.45 * len(rows))
    right = np.flatnonzero(mask[at])[-1]
    mask[at : at + 14, right : right + 60] = True
    pose = finding(family.ask("one", changed(shot, {7: {"mask": mask}})), "held pose")
    assert pose.verdict == "retake" and pose.stops == (7,)


def test_stops_are_counted_among_all_where_some_cuts_are_not_trusted(clip: Callable[[str], Shot]) -> None:
    shot = clip("steady")
    mask = shot.looks[7].mask.copy()
    rows = np.flatnonzero(mask.any(axis=1))
    at = int(rows[0] + 0.45 * len(rows))
    right = np.flatnonzero(mask[at])[-1]
    mask[at : at + 14, right : right + 60] = True
    unsure = changed(shot, {7: {"mask": mask}, 2: {"confidence": 0.3}, 4: {"mask": np.zeros_like(mask)}})
    assert finding(family.ask("one", unsure), "held pose").stops == (7,)
    assert unsure.aside is not None and list(np.flatnonzero(np.isnan(unsure.aside))) == [2, 4]


def test_a_pose_is_not_blamed_for_what_the_frame_cuts(clip: Callable[[str], Shot]) -> None:
    shot = clip("droop")
    ground = max(int(np.flatnonzero(look.mask.any(axis=1))[-1]) for look in shot.looks)
    cut = {k: {"mask": look.mask[: ground - 40], "edges": ("bottom",)} for k, look in enumerate(shot.looks)}
    found = family.ask("cut", changed(shot, cut))
    assert finding(found, "held pose").kind == "pose cut by the frame"
    assert finding(found, "framing").verdict == "retake" and found.exit_code == 1
    few = changed(shot, {k: {"edges": ("bottom",)} for k in range(3)})
    assert finding(family.ask("few", few), "held pose").verdict == "retake"


def test_lost_foot_in_one_cut_blames_nobody(clip: Callable[[str], Shot]) -> None:
    shot = clip("steady")
    masks = [look.mask.copy() for look in shot.looks]
    rows = np.flatnonzero(masks[7].any(axis=1))
    masks[7][rows[-1] - 25 :] = False
    assert rigidity.judge(masks, shot.turned).moved == ()


def test_moved_camera_stops_the_comparison(clip: Callable[[str], Shot]) -> None:
    shot = clip("steady")
    assert stance.jump([look.mask for look in shot.looks]) is None
    found = family.ask("moved", changed(shot, {k: _shifted(shot.looks[k]) for k in range(15, len(shot.looks))}))
    spot = finding(found, "stance")
    assert (spot.verdict, spot.kind, spot.stops) == ("retake", "camera moved", (15,))
    assert spot["times"] == (shot.stops[14].time, shot.stops[15].time)
    assert finding(found, "full turn").verdict == finding(found, "held pose").verdict == "unknown"


def _shifted(look: StopLook) -> dict[str, np.ndarray]:
    """The whole picture as a camera sees it that was moved: outline and surroundings."""
    way = np.array((-30, 45))
    small = np.round(way * look.thumb.shape[1] / look.mask.shape[1]).astype(int)
    return {"mask": np.roll(look.mask, way, axis=(0, 1)), "thumb": np.roll(look.thumb, small, axis=(0, 1))}


def test_a_figure_that_jumps_before_a_room_that_stands_is_no_moved_camera(clip: Callable[[str], Shot]) -> None:
    shot = clip("steady")
    jumped = {k: {"mask": _shifted(shot.looks[k])["mask"]} for k in range(15, len(shot.looks))}
    found = family.ask("jumped", changed(shot, jumped))
    assert "camera moved" not in {f.kind for f in found.findings}
    assert finding(found, "stance").kind == "off the spot"


def test_model_off_its_spot_is_named(clip: Callable[[str], Shot]) -> None:
    shot = clip("steady")
    off = int(0.07 * shot.looks[9].height_px * shot.looks[9].scale)
    found = finding(family.ask("off", changed(shot, {9: {"mask": np.roll(shot.looks[9].mask, off, axis=1)}})), "stance")
    assert 9 in found.stops and found.verdict in ("look", "retake")


@pytest.mark.parametrize("count", [1, 2, 5])
def test_too_few_pictures_for_a_turn_do_not_pass(made: Callable[..., Shot], count: int) -> None:
    found = family.ask("few", made(count))
    assert "retake" not in {f.verdict for f in found.findings}
    assert finding(found, "framing").verdict == "pass", "what passes does not make up for a turn nobody saw"
    assert found.exit_code == 2
    assert finding(found, "full turn")["least"] == turn.LEAST_STOPS


def test_too_few_pictures_with_a_fault_still_name_the_retake(made: Callable[..., Shot]) -> None:
    assert family.ask("few", made(2, looks={1: {"edges": ("top",)}})).exit_code == 1


def test_a_turn_is_enough_to_have_been_checked(made: Callable[..., Shot]) -> None:
    found = family.ask("turn", made(turn.LEAST_STOPS, 60.0))
    assert finding(found, "held pose").verdict == "unknown" and finding(found, "full turn").verdict == "pass"
    assert found.exit_code == 0


def test_a_check_more_is_one_function_and_its_sentences(
    made: Callable[..., Shot], monkeypatch: pytest.MonkeyPatch
) -> None:
    """The guide in DEVELOPERS.md, followed: did the phone change its lens between two stops?"""

    def one_lens(shot: Shot) -> Finding:
        lenses = [look.focal_35mm for look in shot.looks]
        other = [k for k, lens in enumerate(lenses) if lens != lenses[0]]
        if other:
            return Finding.of("one lens", "retake", "lens changed", other, lenses=(lenses[0], lenses[other[0]]))
        return Finding.of("one lens", "pass", "lens kept")

    monkeypatch.setattr(family, "QUESTIONS", (*family.QUESTIONS, one_lens))
    monkeypatch.setitem(words_check.EVIDENCE, "lens kept", lambda f, s: "One lens.")
    monkeypatch.setitem(words_check.EVIDENCE, "lens changed", lambda f, s: (
        f"At {words_check.named(s, f.stops)} the lens is {f['lenses'][1]:.0f} mm, before it was {f['lenses'][0]:.0f}."))
    monkeypatch.setitem(words_check.DO, "lens changed", lambda f, s: "Keep to the main lens.")
    report = family.ask("turn", made(8, 45.0, focal_35mm=26.0, looks={5: {"focal_35mm": 13.0}}))
    text = " ".join(table.check_list(report).split())
    assert report.findings[0].check == "one lens" and report.exit_code == 1
    assert "one lens: At 225 the lens is 13 mm, before it was 26. > Keep to the main lens." in text
    row = json.loads(tables.to_json(tables.check_to_dict(report)))["findings"][0]
    assert (row["kind"], row["stops"], row["values"]) == ("lens changed", [5], {"lenses": [26.0, 13.0]})
    page = check_page.check_page(report, [None] * 8)
    assert any("Keep to the main lens." in t.get_text() for ax in page.axes for t in ax.texts)


def test_a_clip_that_is_no_turn_says_so_and_asks_for_no_single_stop(clip: Callable[[str], Shot]) -> None:
    """The model of the held clip walks across the picture meanwhile, and is cut by the frame at two stops."""
    shot = clip("steady")
    wide = {k: {"mask": np.roll(np.pad(look.mask, ((0, 0), (400, 400))), 24 * k - 300, axis=1)}
            for k, look in enumerate(shot.looks)}
    wide[3]["edges"] = wide[4]["edges"] = ("top",)
    found = family.ask("walk", changed(shot, wide))
    assert found.why_not == "no turn" and found.exit_code == 2
    assert {f.kind for f in found.findings if f.check in (
        "full turn", "missing stops", "doubled stops", "held pose", "stance", "light direction")} == {"no turn"}
    assert finding(found, "framing").verdict == "look"
    text = " ".join(table.check_list(found).split())
    assert "not checked: this is no turn on the spot" in text
    assert "does not look like a turn on the spot: the figure walks across the picture." in text
    assert f"At {found.stops[3].time:.1f} s and {found.stops[4].time:.1f} s the figure is cut" in text
    assert text.index("cannot tell") < text.index("framing")


@pytest.mark.parametrize("name", ["steady", "droop", "gap_and_short"])
def test_the_clips_are_turns(clip: Callable[[str], Shot], name: str) -> None:
    assert clip(name).no_turn is None and clip(name).angles_told


def test_nothing_is_passed_where_no_outline_can_be_trusted(clip: Callable[[str], Shot]) -> None:
    shot = clip("steady")
    found = family.ask("lab", changed(shot, {k: {"confidence": 0.8} for k in range(len(shot.looks))}))
    assert {f.verdict for f in found.findings} == {"unknown"} and found.exit_code == 2
    assert {f.kind for f in found.findings} == {"too few made out", "distance not known"} or all(
        f.kind == "too few made out" for f in found.findings)


def test_three_stops_that_were_not_made_out_leave_the_answers_as_they_were(clip: Callable[[str], Shot]) -> None:
    shot = clip("droop")
    junk = np.zeros_like(shot.looks[0].mask)
    junk[:, 3:9] = True
    some = {k: {"mask": junk, "confidence": 0.5, "edges": ("top",), "height_px": 9.0} for k in (3, 9, 20)}
    before, after = family.ask("droop", shot), family.ask("droop", changed(shot, some))
    assert {f.check: f.verdict for f in before.findings if f.check != "framing"} == {
        f.check: f.verdict for f in after.findings if f.check != "framing"}
    assert finding(after, "framing").stops == (3, 9, 20) and finding(after, "framing").verdict == "look"
