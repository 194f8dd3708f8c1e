"""The shoot check on rendered clips with known faults, and each question on looks made by hand."""

from __future__ import annotations

from dataclasses import replace
from functools import cache
from pathlib import Path

import cv2
import numpy as np
import pytest

from silhouette.check import distance, findings, light
from silhouette.check.look import look_at
from silhouette.cutout import background_model
from silhouette.errors import PoseError
from silhouette.intake import film
from silhouette.records import CANNOT_TELL, NO_FIGURE, TWO_FIGURES, Cut, Picture, Stop
from silhouette.records_shoot import CheckReport, Finding, StopLook
from silhouette.turn import rigidity, stance
from silhouette.turn.estimate import estimate_angles

CLIPS = Path(__file__).parents[1] / "data" / "clips"
NAMES = {
    "full turn", "missing stops", "doubled stops", "held pose", "stance", "framing", "figure size", "sharpness",
    "steady light", "light direction", "distance", "camera height",
}


@cache
def taken(name: str) -> tuple[tuple[Stop, ...], tuple[StopLook, ...]]:
    """A rendered clip, cut out and with its angles found."""
    clip = CLIPS / f"{name}.mp4"
    found = film.find_stops(clip)
    pictures = list(film.read_stops(clip, found))
    shared = background_model.learn([p.pixels for p in pictures])
    cuts = [background_model.cut(p.pixels, shared) for p in pictures]
    turned = estimate_angles([c.mask for c in cuts], found.motion_share)
    stops = tuple(
        Stop(k, clip, p.name, float(a), "clip", float(s), p.time)
        for k, (p, a, s) in enumerate(zip(pictures, turned.angles, turned.sure, strict=True))
    )
    return stops, tuple(look_at(p, c) for p, c in zip(pictures, cuts, strict=True))


@cache
def report(name: str) -> CheckReport:
    stops, looks = taken(name)
    return findings.check_turnaround(name, stops, looks, height_m=1.72)


def finding(of: CheckReport, name: str) -> Finding:
    return next(f for f in of.findings if f.check == name)


def test_held_turn_passes_every_check() -> None:
    found = report("steady")
    assert {f.check for f in found.findings} == NAMES
    assert {f.check: f.verdict for f in found.findings if f.verdict not in ("pass", "unknown")} == {}
    assert found.exit_code == 0
    assert "closed" in finding(found, "full turn").evidence


def test_sinking_arms_are_named_in_time_and_the_first_stops_are_not_blamed() -> None:
    found = report("droop")
    pose = finding(found, "held pose")
    assert pose.verdict == "retake" and found.exit_code == 1
    assert 12 <= min(pose.stops) <= 14
    assert pose.where == "arm height" and pose.how_far is not None and pose.how_far.endswith("cm")
    assert found.findings[0].verdict == "retake"


def test_gap_open_turn_and_dark_stops_are_placed() -> None:
    found = report("gap_and_short")
    assert finding(found, "missing stops").after_stop == (8,)
    assert "open" in finding(found, "full turn").evidence and finding(found, "full turn").verdict == "retake"
    lamp = finding(found, "steady light")
    assert lamp.stops == (5, 6) and "darker" in lamp.evidence
    assert finding(found, "held pose").verdict != "retake"


def test_single_moved_stop_is_the_only_one_blamed() -> None:
    stops, looks = taken("steady")
    mask = looks[7].mask.copy()
    rows = np.flatnonzero(mask.any(axis=1))
    at = int(rows[0] + 0.45 * len(rows))
    right = np.flatnonzero(mask[at])[-1]
    mask[at : at + 14, right : right + 60] = True
    changed = [*looks[:7], replace(looks[7], mask=mask), *looks[8:]]
    pose = finding(findings.check_turnaround("one", stops, changed), "held pose")
    assert pose.verdict == "retake" and pose.stops == (7,)
    assert pose.how_far is not None and pose.how_far.endswith("% of its height")


def test_a_doubtful_stop_is_not_blamed_with_a_clear_one() -> None:
    stops, looks = made(24)
    share = np.zeros(24)
    share[[1, 9]] = 0.012, 0.03
    moved = rigidity.Held((1, 9), False, "arm height", 0.07, 0.0, 0.4, share)
    both = findings.held_pose(stops, findings.turned_through(stops), looks, range(24), moved, None)
    assert both.verdict == "retake" and both.stops == (9,)
    assert both.evidence.startswith("At 135 the figure at arm height")
    assert both.do.startswith("Retake 135. Look at 15 too")
    share[9] = 0.013
    neither = findings.held_pose(stops, findings.turned_through(stops), looks, range(24), moved, None)
    assert neither.verdict == "look" and neither.stops == (1, 9)


def test_a_pose_is_not_blamed_for_what_the_frame_cuts() -> None:
    stops, looks = taken("droop")
    ground = max(int(np.flatnonzero(look.mask.any(axis=1))[-1]) for look in looks)
    cut = [replace(look, mask=look.mask[: ground - 40], edges=("bottom",)) for look in looks]
    found = findings.check_turnaround("cut", stops, cut, height_m=1.72)
    pose = finding(found, "held pose")
    assert pose.verdict == "unknown" and "frame cuts" in pose.evidence
    assert finding(found, "framing").verdict == "retake" and found.exit_code == 1
    few = [*(replace(look, edges=("bottom",)) for look in looks[:3]), *looks[3:]]
    assert finding(findings.check_turnaround("few", stops, few), "held pose").verdict == "retake"


def test_lost_foot_in_one_cut_blames_nobody() -> None:
    stops, looks = taken("steady")
    mask = looks[7].mask.copy()
    rows = np.flatnonzero(mask.any(axis=1))
    mask[rows[-1] - 25 :] = False
    changed = [*looks[:7], replace(looks[7], mask=mask), *looks[8:]]
    turned = findings.turned_through(stops)
    assert rigidity.judge([look.mask for look in changed], turned).moved == ()


def test_moved_camera_stops_the_comparison() -> None:
    stops, looks = taken("steady")
    shifted = [replace(k, mask=np.roll(k.mask, (-30, 45), axis=(0, 1))) for k in looks[15:]]
    found = findings.check_turnaround("moved", stops, [*looks[:15], *shifted])
    assert finding(found, "stance").verdict == "retake" and finding(found, "stance").stops == (15,)
    assert f"Between {stops[14].time:.1f} and {stops[15].time:.1f} s of the clip" in finding(found, "stance").evidence
    files = [replace(stop, time=None) for stop in stops]
    assert f"Between {stops[14].name} and {stops[15].name} the" in findings.camera_moved(files, 15).evidence
    assert finding(found, "full turn").verdict == finding(found, "held pose").verdict == "unknown"
    assert stance.jump([k.mask for k in looks]) is None


def test_model_off_its_spot_is_named() -> None:
    stops, looks = taken("steady")
    off = int(0.07 * looks[9].height_px * looks[9].scale)
    changed = [*looks[:9], replace(looks[9], mask=np.roll(looks[9].mask, off, axis=1)), *looks[10:]]
    found = finding(findings.check_turnaround("off", stops, changed, height_m=1.72), "stance")
    assert 9 in found.stops and found.verdict in ("look", "retake")


def made(n: int = 24, step: float = 15.0, **changes: object) -> tuple[list[Stop], list[StopLook]]:
    """Stops and looks made by hand: a box of a figure before grey, the same at every stop."""
    mask = np.zeros((200, 150), bool)
    mask[30:170, 60:90] = True
    look = StopLook(
        mask=mask, thumb=np.full((96, 72, 3), 120, np.uint8), confidence=0.95, flags=(), full_size=(3000, 4000),
        scale=0.05, focal_35mm=None, height_px=2800.0, edges=(), edge_width=2.0, figure_light=(40.0, 90.0, 160.0),
        backdrop_light=120.0, side_light=0.1,
    )
    stops = [Stop(k, Path("x"), f"{k:02d}", (k * step) % 360, "given") for k in range(n)]
    return stops, [replace(look, **changes) for _ in range(n)]  # type: ignore[arg-type]


def test_turn_by_given_angles() -> None:
    stops, _ = made(25)
    turned = findings.turned_through(stops)
    assert turned[-1] == 360 and findings.full_turn(stops, turned).verdict == "pass"
    assert findings.full_turn(stops[:24], turned[:24]).verdict == "pass"
    short = findings.full_turn(stops[:18], turned[:18])
    assert short.verdict == "retake" and "105 degrees short" in short.evidence
    right = [replace(s, angle=-s.angle % 360) for s in stops]
    assert findings.turned_through(right)[-1] == -360
    assert findings.full_turn(right, findings.turned_through(right)).verdict == "pass"
    spread = [replace(s, angle_from="spread") for s in stops]
    assert findings.full_turn(spread, turned).verdict == "unknown"


def test_two_gaps_and_a_double_by_given_angles() -> None:
    stops, looks = made(24)
    kept = [s for k, s in enumerate(stops) if k not in (4, 11, 12)]
    found = findings.missing_stops(kept, findings.turned_through(kept))
    assert found.after_stop == (3, 9)
    assert "A stop is missing between 45 and 75" in found.evidence
    assert "2 stops are missing between 150 and 195" in found.evidence
    again = [*stops[:6], replace(stops[5], angle=77.0), *stops[6:]]
    twice = findings.doubled_stops(again, findings.turned_through(again), [*looks, looks[0]])
    assert twice.verdict == "look" and twice.stops == (5, 6)
    files = [replace(stop, name=f"IMG_{k}") for k, stop in enumerate(again)]
    named = findings.doubled_stops(files, findings.turned_through(files), [*looks, looks[0]])
    assert "IMG_5 and IMG_6 (at 75) show the same view" in named.evidence


def test_uneven_steps_are_no_gap() -> None:
    rng = np.random.default_rng(0)
    for n in (12, 24, 36):
        for _ in range(30):
            angles = np.arange(n + 1) * 360 / n + rng.normal(0, 2, n + 1)
            stops = [Stop(k, Path("x"), "x", float(a) % 360, "given") for k, a in enumerate(angles)]
            assert findings.missing_stops(stops, findings.turned_through(stops)).verdict == "pass"


def test_framing_size_and_sharpness() -> None:
    stops, looks = made(8)
    assert findings.framing(stops, looks).verdict == "pass"
    cut = [*looks[:3], replace(looks[3], edges=("top",)), *looks[4:]]
    assert findings.framing(stops, cut).stops == (3,) and "top" in findings.framing(stops, cut).evidence
    empty = [*looks[:2], replace(looks[2], mask=np.zeros_like(looks[2].mask)), *looks[3:]]
    assert findings.framing(stops, empty).verdict == "retake"
    assert findings.figure_size(stops, looks).verdict == "pass"
    assert findings.figure_size(stops, made(8, height_px=60.0)[1]).verdict == "retake"
    soft = [*looks[:5], replace(looks[5], edge_width=5.0), *looks[6:]]
    assert findings.sharpness(stops, looks).verdict == "pass"
    assert findings.sharpness(stops, soft).verdict == "retake" and findings.sharpness(stops, soft).stops == (5,)


@pytest.mark.parametrize("count", [1, 2, 5])
def test_too_few_pictures_for_a_turn_do_not_pass(count: int) -> None:
    found = findings.check_turnaround("few", *made(count))
    assert "retake" not in {f.verdict for f in found.findings}
    assert finding(found, "framing").verdict == "pass", "what passes does not make up for a turn nobody saw"
    assert found.exit_code == 2
    assert f"at least {findings.LEAST_STOPS} stops" in finding(found, "full turn").do


def test_too_few_pictures_with_a_fault_still_name_the_retake() -> None:
    stops, looks = made(2)
    found = findings.check_turnaround("few", stops, [looks[0], replace(looks[1], edges=("top",))])
    assert found.exit_code == 1


def test_a_turn_is_enough_to_have_been_checked() -> None:
    found = findings.check_turnaround("turn", *made(findings.LEAST_STOPS, 60.0))
    assert finding(found, "held pose").verdict == "unknown" and finding(found, "full turn").verdict == "pass"
    assert found.exit_code == 0


def flagged(looks: list[StopLook], which: tuple[int, ...], flag: str) -> list[StopLook]:
    return [replace(k, flags=(flag,)) if i in which else k for i, k in enumerate(looks)]


def test_two_people_in_the_picture() -> None:
    stops, looks = made(8)
    everywhere = findings.framing(stops, flagged(looks, tuple(range(8)), TWO_FIGURES))
    assert everywhere.verdict == "retake" and "only the model may" in everywhere.evidence
    assert findings.framing(stops, flagged(looks, (0, 1, 2, 3, 4), TWO_FIGURES)).verdict == "retake"
    assert "retake all stops" in everywhere.do
    some = findings.framing(stops, flagged(looks, (0, 1, 2, 3), TWO_FIGURES))
    assert some.verdict == "look" and some.stops == (0, 1, 2, 3) and "At 0, 15, 30 and 45 " in some.evidence


def test_a_figure_not_made_out_is_named() -> None:
    stops, looks = made(8)
    faint = findings.framing(stops, flagged(looks, (2, 4), CANNOT_TELL))
    assert faint.verdict == "look" and faint.stops == (2, 4)
    assert "could not be made out at 30 and 60" in faint.evidence
    explained = [replace(looks[0], flags=(TWO_FIGURES, CANNOT_TELL)), *looks[1:]]
    assert "made out" not in findings.framing(stops, explained).evidence
    empty = [*looks[:2], replace(looks[2], mask=np.zeros_like(looks[2].mask), flags=(NO_FIGURE,)), *looks[3:]]
    none = findings.framing(stops, empty)
    assert none.verdict == "retake" and "could not be made out at 30" in none.evidence


def test_framing_says_all_that_is_wrong_and_names_the_gravest_stops() -> None:
    stops, looks = made(8)
    both = flagged([*looks[:3], replace(looks[3], edges=("top",)), *looks[4:]], (5,), TWO_FIGURES)
    found = findings.framing(stops, both)
    assert found.verdict == "retake" and found.stops == (3,)
    assert "At 45 the figure is cut" in found.evidence and "At 75 a second figure" in found.evidence


@pytest.mark.parametrize(("size", "edges", "upright_helps"), [
    ((4000, 3000), ("top",), True), ((4000, 3000), ("picture left",), False), ((3000, 4000), ("top",), False),
])
def test_the_camera_is_turned_upright_only_where_that_helps(
    size: tuple[int, int], edges: tuple[str, ...], upright_helps: bool
) -> None:
    stops, looks = made(8, full_size=size)
    found = findings.framing(stops, [*looks[:3], replace(looks[3], edges=edges), *looks[4:]])
    assert ("upright" in found.do) == upright_helps and "retake 45" in found.do


def test_light_that_changes_and_a_shadow_that_does_not_count() -> None:
    stops, looks = made(10)
    assert light.steady_light(stops, looks).verdict == "pass"
    dark = [*looks[:4], replace(looks[4], thumb=np.full((96, 72, 3), 80, np.uint8)), *looks[5:]]
    assert light.steady_light(stops, dark).stops == (4,)
    assert all("60" in text for text in (light.steady_light(stops, dark).evidence, light.steady_light(stops, dark).do))
    shaded = looks[4].thumb.copy()
    shaded[60:, :20] = 70
    assert light.steady_light(stops, [*looks[:4], replace(looks[4], thumb=shaded), *looks[5:]]).verdict == "pass"
    warm = np.full((96, 72, 3), (108, 120, 132), np.uint8)
    tinted = light.steady_light(stops, [*looks[:4], replace(looks[4], thumb=warm), *looks[5:]])
    assert "At 60 " in tinted.evidence and "colour" in tinted.evidence


def test_light_direction() -> None:
    assert "picture left" in light.light_direction(made(8)[1]).evidence
    assert "flat" in light.light_direction(made(8, side_light=0.0)[1]).evidence
    assert "back light" in light.light_direction(made(8, figure_light=(5.0, 20.0, 40.0))[1]).evidence


def test_distance_is_the_pinhole_formula() -> None:
    """26 mm, a 1.75 m figure on 0.3 of the long side: D = 26 x 1.75 / (36 x 0.3) = 4.21 m, and 8 cm for the feet."""
    _, looks = made(3, focal_35mm=26.0, height_px=1200.0)
    assert distance.from_lens(looks, 1.75) == pytest.approx(26 * 1.75 / (36 * 0.3) + distance.FEET_M)
    assert distance.distance(looks, 1.75, None).verdict == "pass"
    near = made(3, focal_35mm=26.0, height_px=3000.0)[1]
    assert distance.distance(near, 1.75, None).verdict == "retake"
    assert distance.distance(looks, None, None).verdict == "unknown"


def test_camera_height_if_level() -> None:
    found = distance.camera_height(made(3)[1], 1.7)
    assert "50 %" in found.evidence and "0.8" in found.evidence and found.verdict == "pass"
    low = [replace(k, mask=np.roll(k.mask, -28, axis=0)) for k in made(3)[1]]
    assert distance.camera_height(low, None).verdict == "look"


def test_nobody_is_an_error() -> None:
    stops, looks = made(5)
    with pytest.raises(PoseError, match="No figure"):
        findings.check_turnaround("x", stops, [replace(k, mask=np.zeros_like(k.mask)) for k in looks])


def test_look_measures_the_edge_and_the_light() -> None:
    sharp = np.full((300, 200, 3), 180, np.uint8)
    mask = np.zeros((300, 200), bool)
    mask[60:260, 70:130] = True
    sharp[mask] = 60
    sharp[60:260, 70:100] = 90
    widths = []
    for blur in (0.8, 2.0):
        picture = Picture(Path("x"), "x", cv2.GaussianBlur(sharp, (0, 0), blur), (400, 600))
        look = look_at(picture, Cut(mask, 0.99, "backdrop"))
        widths.append(look.edge_width or 0.0)
    # an edge blurred by sigma rises over sqrt(2 pi) sigma at its steepest; working pixels are two original ones
    assert widths[1] == pytest.approx(2 * np.sqrt(2 * np.pi) * 2.0, rel=0.15)
    assert widths[0] < 0.6 * widths[1]
    assert look.height_px == 400 and look.edges == () and look.side_light > 0.2
    assert look.backdrop_light == pytest.approx(180, abs=6)
