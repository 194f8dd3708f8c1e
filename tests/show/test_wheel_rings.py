"""Poses shot in several rings: bands one in another on the wheel, and what chart and critique say of each."""

from __future__ import annotations

import re
from collections.abc import Callable
from dataclasses import replace
from typing import Any

import numpy as np
import pytest

from silhouette.reading.circle import walk_round
from silhouette.records import Arc, BlindSpot, Pose, Ranking, Reason, ReasonKind
from silhouette.results import plot_wheel
from silhouette.settings import RINGS, Ring
from silhouette.show import critique, ink, overlay, polar, words
from silhouette.show.critique import critique_pages
from silhouette.show.wheel import OtherRing, Wheel, nest_of, strip_of, wheel_of
from silhouette.show.wheel_layout import Room
from silhouette.show.wheel_svg import wheel_for_page, wheel_svg

ROOMS = {
    "chart": (Room(250, 210, lambda view: f"{view.angle:.0f}", lambda text: 7.0 * len(text), 16.6), 11.0),
    "A4": (Room(170, 150, lambda view: f"{view.angle:.0f}", lambda text: 5.0 * len(text), 13.0), 8.0),
    "small": (Room(80, 70, lambda view: "", lambda text: 0.0, 13.0), 8.0),
    "tiny": (Room(14, 9, lambda view: "", lambda text: 0.0, 13.0), 8.0),
}
PoseAt = Callable[..., Pose]
in_every_room = pytest.mark.parametrize("room", ROOMS)
of_every_headline = pytest.mark.parametrize("headline", RINGS)


def words_on(figure: Any) -> list[str]:
    return [t.get_text() for ax in figure.axes for t in ax.texts]


def radii_of(other: OtherRing) -> tuple[float, float]:
    at = np.concatenate([np.hypot(*band.edge.T) for band in other.bands])
    return float(at.min()), float(at.max())


def laid_out(pose: Pose, room: str) -> Wheel:
    return wheel_of(pose, ROOMS[room][0], ROOMS[room][1])


# ------------------------------------------------------------------------------------------------------------- geometry

@of_every_headline
@in_every_room
def test_bands_lie_one_in_another_and_none_on_another(rings_at: PoseAt, room: str, headline: Ring) -> None:
    """From the middle outwards: the body, higher rings, the line, the headline's ring, lower rings, the figures."""
    wheel = laid_out(rings_at(headline=headline), room)
    inside = [one for one in wheel.others if one.outer < wheel.hub]
    assert [one.ring for one in wheel.others] == sorted(
        (ring for ring in RINGS if ring != headline), key=lambda ring: -RINGS.index(ring))
    assert {one.ring for one in inside} == set(RINGS[RINGS.index(headline) + 1:])
    edges = [0.0]
    for low, high in [*map(radii_of, inside), (wheel.hub, wheel.rim), (wheel.rim, wheel.ring),
                      *(radii_of(one) for one in wheel.others if one not in inside)]:
        assert low >= edges[-1] - 1e-6 and high > low
        edges += [low, high]
    for figure in wheel.figures:
        nearest = np.hypot(max(abs(figure.x) - figure.half_width, 0),
                           max(figure.feet, -figure.feet - figure.height, 0))
        assert nearest >= edges[-1] - 1e-6, "a figure stands on a ring"
    for figure in wheel.figures:
        if figure.way is not None:
            assert np.hypot(*figure.way[0]) > edges[-1]


@of_every_headline
@in_every_room
def test_the_headline_is_plainly_the_thick_one(rings_at: PoseAt, room: str, headline: Ring) -> None:
    wheel = laid_out(rings_at(headline=headline), room)
    thin = max(one.outer - one.inner for one in wheel.others)
    if room in ("chart", "A4"):
        assert wheel.rim - wheel.hub > 12, "the line has room"
        assert [name.word for name in wheel.names if name.headline] == [headline]
    if room == "chart":
        assert thin < 0.75 * (wheel.ring - wheel.rim)
    assert wheel.figures and {f.view.stop.ring for f in wheel.figures} == {headline}


@of_every_headline
@pytest.mark.parametrize("room", ["chart", "A4"])
@pytest.mark.parametrize("name", ["akimbo", "reach_up"])
def test_a_name_stands_just_inside_its_band_and_on_nothing(rings_at: PoseAt, room: str, headline: Ring,
                                                           name: str) -> None:
    pose = rings_at(name, headline)
    wheel, size = laid_out(pose, room), ROOMS[room][1]
    tops = {one.ring: one.inner for one in wheel.others} | {headline: wheel.rim}
    below = sorted([0.0, wheel.ring + 2.5, *(one.outer + 1.6 for one in wheel.others)])
    assert [name.word for name in wheel.names] == sorted(RINGS, key=lambda ring: -RINGS.index(ring))
    for one in wheel.names:
        wide = ink.text_width(one.word, size, one.headline) / 2
        middle = np.hypot(one.x, one.y)
        assert np.hypot(middle + 0.38 * size, wide) < tops[one.word], "its corners touch its band"
        under = max(edge for edge in below if edge < tops[one.word])
        assert middle - 0.38 * size > under, "it stands on the band before"
        assert one.y > 0, "over the figure, where it is read upright"
        assert abs(one.turn) < 90
        for letter in wheel.letters:
            assert np.hypot(letter.x - one.x, letter.y - one.y) > letter.radius


def test_the_name_of_the_headline_gives_way_to_its_line(rings_at: PoseAt) -> None:
    """The back reads best of all, so the name moves along the ring; where all of it does, it stands there anyway."""
    pose = rings_at()
    degrees = np.full(360, 50.0)
    degrees[150:211] = 98.0
    moved = laid_out(replace(pose, round=replace(pose.round, degrees=degrees, weak_arcs=())), "chart")
    ray = np.degrees(np.arctan2(-moved.names[1].x, -moved.names[1].y)) % 360
    assert moved.names[1].headline and not 150 < ray < 210
    full = replace(pose.round, degrees=np.full(360, 98.0), weak_arcs=())
    assert len(laid_out(replace(pose, round=full), "chart").names) == 3


@pytest.mark.parametrize(("without", "headline", "inside"), [("low", "level", True), ("high", "level", False),
                                                             ("level", "low", True), ("level", "high", False)])
def test_two_rings_of_any_kind(rings_at: PoseAt, check_type: Any, without: Ring, headline: Ring, inside: bool) -> None:
    pose = rings_at(headline=headline, without=(without,))
    other, = laid_out(pose, "chart").others
    assert (other.outer < laid_out(pose, "chart").hub) == inside
    assert check_type(polar.draw_wheel(pose).figure)
    assert f"{other.ring.capitalize()} ring" in words_on(polar.draw_wheel(pose).figure)


def test_names_are_left_out_where_there_is_no_room(rings_at: PoseAt) -> None:
    assert not laid_out(rings_at(), "small").names and not laid_out(rings_at(), "tiny").names


def test_other_rings_show_their_bands_holes_and_mirrored_stretches(rings_at: PoseAt) -> None:
    pose = rings_at()
    for other in laid_out(pose, "chart").others:
        ring = next(one for one in pose.other_rings if one.ring == other.ring)
        kinds = {band.kind for band in other.bands}
        assert ("no view" in kinds) == bool(ring.round.missing_arcs) == (other.ring == "high")
        assert any(band.inferred for band in other.bands) == (other.ring == "low")
        half = [np.hypot(*b.edge.T).min() for b in other.bands if b.inferred]
        assert all(at > other.inner + 0.3 * (other.outer - other.inner) for at in half), "mirrored: half as wide"
        weak = [b for b in other.bands if b.kind == "weak"]
        assert len(weak) >= len(ring.round.weak_arcs) > 0
        assert len(other.notches) == sum(not v.inferred for v in ring.views)


def test_a_pose_of_one_ring_is_laid_out_as_ever(pose_at: PoseAt) -> None:
    pose = pose_at("akimbo", 24)
    wheel = laid_out(pose, "chart")
    assert wheel.others == wheel.names == () and nest_of(pose, *ROOMS["chart"]).beyond == 0
    assert "class=\"other" not in wheel_svg(pose, "p", wheel_for_page(pose))


@of_every_headline
def test_both_painters_draw_the_same_rings(rings_at: PoseAt, headline: Ring) -> None:
    pose = rings_at(headline=headline)
    wheel = wheel_for_page(pose)
    drawn = wheel_svg(pose, "p0", wheel)
    for other in wheel.others:
        group = re.search(rf'<g class="other {other.ring}"[^>]*>(.*?)</g>', drawn)
        assert group is not None
        for kind in ("strong", "fair", "weak", "noview"):
            pieces = sum(band.kind.replace(" ", "") == kind for band in other.bands)
            assert len(re.findall(rf'class="{kind}(?: half)?"', group[1])) == pieces
        assert group[1].count('class="notch"') == len(other.notches)
    named = re.search(r'<g class="names">(.*?)</g>', drawn)
    assert named is not None
    assert re.findall(r">(\w+)</text>", named[1]) == [name.word for name in wheel.names]
    assert re.findall(r"font-weight:700[^>]*>(\w+)<", named[1]) == [headline]
    assert words.in_full(pose) in drawn


@pytest.mark.parametrize("arc", [(300.0, 60.0), (90.0, 270.0)])
def test_only_the_arc_counts_in_every_ring(rings_at: PoseAt, arc: tuple[float, float]) -> None:
    wheel = wheel_of(rings_at(), *ROOMS["chart"], arc=arc)
    for other in wheel.others:
        counted = np.concatenate([np.degrees(np.arctan2(-b.edge[:, 0], -b.edge[:, 1])) for b in other.bands
                                  if b.kind != "aside"])
        off = (counted - arc[0] + 1e-6) % 360
        assert (off <= (arc[1] - arc[0]) % 360 + 1e-5).all()


# --------------------------------------------------------------------------------------------------------------- chart

@of_every_headline
@pytest.mark.parametrize("size", [polar.CHART, (523.0, 416.0), (770.0, 600.0), (384.0, 372.0), (164.0, 194.0)])
def test_type_keeps_apart_and_nothing_lies_under_it(rings_at: PoseAt, check_type: Any, check_clear: Any,
                                                    size: tuple[float, float], headline: Ring) -> None:
    pose = rings_at(headline=headline)
    figure = ink.new_figure(size[0] + 40, size[1] + 40)
    polar.draw_wheel(pose, ink.page_axes(figure, 20, 20, *size))
    assert check_type(figure)
    told = words_on(figure)
    own = [text for text in told if text in RINGS]
    assert len(own) == (0 if size[0] < 200 else 3)
    assert check_clear(figure, lambda text: text in RINGS and text != headline) == max(len(own) - 1, 0)


def test_the_chart_says_what_each_ring_reads(rings_at: PoseAt) -> None:
    pose = rings_at()
    told = words_on(polar.draw_wheel(pose).figure)
    low, high = pose.other_rings
    assert words.headline(pose) in told
    assert (f"from below {low.round.reads_degrees}, from above {high.round.reads_degrees} "
            f"of {high.round.counted_degrees}") in told
    assert polar.SEEN_RINGS in told and polar.SEEN not in told
    assert {"no view", "inferred from the mirrored view"} <= set(told), "of the other rings alone"


def test_nobody_with_one_ring_reads_of_rings(pose_at: PoseAt, ranking_of: Callable[..., Ranking]) -> None:
    said = [polar.draw_wheel(pose_at("akimbo", 12)).figure, polar._compared(ranking_of(2, 8)),
            *critique_pages(ranking_of(2, 8)), overlay.draw_lines(ranking_of(2, 8).poses).figure]
    for page in said:
        for text in words_on(page):
            assert not re.search(r"\b(rings|high ring|low ring|level|blind|close-up|from below)\b", text, re.I)


def test_other_rings_stand_in_the_corners_where_causes_leave_room(rings_at: PoseAt, check_type: Any) -> None:
    pose = rings_at()
    assert {"Low ring", "High ring"} <= set(words_on(polar.draw_wheel(pose).figure))
    why = tuple(Reason(kind) for kind in (ReasonKind.HEAD_BEHIND_ARM, ReasonKind.TOO_LITTLE))
    many = tuple(Arc(a, a + 20.0, why) for a in range(0, 360, 30))
    full = polar.draw_wheel(replace(pose, round=replace(pose.round, weak_arcs=many))).figure
    assert not {"Low ring", "High ring"} & set(words_on(full)) and check_type(full)
    narrow = ink.new_figure(563, 440)
    polar.draw_wheel(pose, ink.page_axes(narrow, 20, 20, 523, 400))
    assert not {"Low ring", "High ring"} & set(words_on(narrow)), "no room beside a wheel of this size"


def test_poses_with_and_without_rings_share_one_chart(rings_at: PoseAt, pose_at: PoseAt, check_type: Any) -> None:
    one, several = pose_at("akimbo", 24), rings_at(called="in rings")
    ranking = Ranking((replace(several, rank=1), replace(one, rank=2)))
    mixed, plain = polar._compared(ranking), polar._compared(Ranking((one, replace(one, name="other"))))
    assert tuple(mixed.get_size_inches()) == tuple(plain.get_size_inches())
    told = " ".join(words_on(mixed))
    assert polar.THIN_RINGS in told and check_type(mixed)
    frame = polar._Frame.of(384, 372)
    scale = polar.shared_scale([several, one], 384, 372)
    wheels = [wheel_of(pose, frame.room, frame.type, scale=scale) for pose in (several, one)]
    assert wheels[0].ring == wheels[1].ring, "headlines at one size"
    assert wheels[0].others and not wheels[1].others


def test_a_ring_that_is_not_read_is_an_empty_band(rings_at: PoseAt, pose_at: PoseAt, check_type: Any) -> None:
    pose, nothing = rings_at(), pose_at("akimbo", 8, cannot=range(8))
    low = replace(pose.other_rings[0], views=nothing.views, round=nothing.round, reads_low=None, reads_high=None)
    pose = replace(pose, other_rings=(low, pose.other_rings[1]))
    other = next(one for one in laid_out(pose, "chart").others if one.ring == "low")
    assert {band.kind for band in other.bands} == {"no view"}
    figure = polar.draw_wheel(pose).figure
    assert "from below not read, " in " ".join(words_on(figure)) and check_type(figure)


def test_plot_wheel_keeps_rings_round_and_apart_at_any_size(rings_at: PoseAt) -> None:
    plt = pytest.importorskip("matplotlib.pyplot")
    figure, ax = plt.subplots(figsize=(5, 5))
    assert plot_wheel(rings_at(), ax) is ax
    for size in ((10, 8), (3, 3), (0.6, 0.5)):
        figure.set_size_inches(*size)
        figure.canvas.draw()
        assert ax.get_aspect() == 1
    plt.close(figure)


def test_a_strip_stands_on_one_line_in_its_box(pose_at: PoseAt, odd_pose: Pose) -> None:
    for views in (pose_at("akimbo", 24).views, odd_pose.views, pose_at("reach_up", 3).views):
        figures = strip_of(views, 500, 60, 1, None, lambda view: f"{view.angle:.0f}", 8)
        assert len({f.feet for f in figures}) == 1 and figures[0].feet > 9.6, "room for the angle"
        halves = [np.ptp(f.view.outline.polygon.bounds[::2]) / 2 if f.view.outline else 0.12 for f in figures]
        ends = [f.x + side * half * f.height for f, half in zip(figures, halves, strict=True) for side in (-1, 1)]
        assert ends == sorted(ends) and ends[0] >= 0 and ends[-1] <= 500
        assert max(f.feet + f.height for f in figures) <= 60
        assert len([f for f in figures if f.bar]) == sum(
            v.scored and v.reading is not None and v.reading.band == "weak" for v in views)
    rows = strip_of(pose_at("akimbo", 8).views, 120, 130, 2, None, lambda view: "", 11)
    assert len({f.feet for f in rows}) == 2


# ------------------------------------------------------------------------------------------------------------ critique

@pytest.mark.parametrize("paper", ["a4", "letter", "a3"])
@pytest.mark.parametrize("headline", ["level", "low"])
def test_a_page_for_the_other_rings(rings_at: PoseAt, check_type: Any, check_border: Any, paper: Any,
                                    headline: Ring) -> None:
    pose = rings_at(headline=headline)
    pages = critique_pages(Ranking((pose,)), paper)
    for page in pages:
        assert check_type(page)
        check_border(page, critique.MARGIN - 8)
    told = [text for page in pages[1:-1] for text in words_on(page)]
    for ring in pose.other_rings:
        assert any(text.startswith(f"{ring.ring.capitalize()} ring: reads from {ring.round.reads_degrees} of ")
                   for text in told)
        for weak in ring.round.weak_arcs:
            assert any(text.startswith(f"Weak {words.stretch(weak.start, weak.end)}: ") for text in told)
    assert told.count("What to try") == 2 and sum(text.startswith("Weakest view") for text in told) == 2
    assert any(text.startswith("No view: ") for text in told) == (headline != "high")
    joined = " ".join(told)
    assert "Figure's left hand stands clear in no view" in joined and "from 45 degrees" in joined
    assert "The close-up face shows it" in joined and "Close-ups, not scored: face (1 picture)." in joined
    order = [told.index(t) for ring in ("High", "Level", "Low") for t in told if t.startswith(f"{ring} ring: ")]
    assert order == sorted(order) and len(order) == 2, "as the cameras stood"


def test_every_view_of_every_ring_has_its_numbers(rings_at: PoseAt) -> None:
    pose = rings_at()
    pages = [p for p in critique_pages(Ranking((pose,))) if any(t.startswith("The numbers") for t in words_on(p))]
    told = [text for page in pages for text in words_on(page)]
    assert sum(text.rstrip().endswith(("%", "inferred")) for text in told) == len(pose.all_views)
    for ring in RINGS:
        assert any(text.startswith(f"akimbo, {ring} ring: reads from ") for text in told)


def test_many_blind_spots_run_on_to_more_pages(rings_at: PoseAt, check_type: Any, check_border: Any) -> None:
    spots = tuple(BlindSpot("foot", "right", float(i), 0.1, 0.1, "low") for i in range(70))
    pages = critique_pages(Ranking((replace(rings_at(), blind_spots=spots),)))
    told = [text for page in pages for text in words_on(page)]
    assert sum("foot stands clear in no view" in text for text in told) == 70
    assert any(text.endswith("the other rings, continued") for text in told)
    for page in pages:
        assert check_type(page)
        check_border(page, critique.MARGIN - 8)


def test_where_blind_spots_were_not_asked_nothing_is_said_of_them(rings_at: PoseAt) -> None:
    pose = replace(rings_at(), blind_spots=None, close_ups=())
    assert not [t for page in critique_pages(Ranking((pose,))) for t in words_on(page) if t == "Blind spots"]


def test_close_ups_of_one_ring_are_but_a_line(pose_at: PoseAt, rings_at: PoseAt) -> None:
    pose = pose_at("akimbo", 12)
    plain, kept = (critique_pages(Ranking((one,))) for one in (pose, replace(pose, close_ups=rings_at().close_ups)))
    assert len(plain) == len(kept)
    more = [t for page in kept for t in words_on(page)]
    for text in (t for page in plain for t in words_on(page)):
        more.remove(text)
    assert more == ["Close-ups, not scored: face (1 picture)."]


def test_the_arc_counts_on_the_page_of_rings_too(rings_at: PoseAt) -> None:
    arc = (300.0, 60.0)
    pose = rings_at()
    others = tuple(replace(ring, round=walk_round(ring.views, arc)) for ring in pose.other_rings)
    pose = replace(pose, round=walk_round(pose.views, arc), other_rings=others)
    told = words_on(critique_pages(Ranking((pose,), arc=arc))[1])
    shown = [int(m[1]) for text in told if (m := re.match(r"(\d+)  (weak|fair|strong)", text))]
    assert shown and all(a >= 300 or a <= 60 for a in shown)
