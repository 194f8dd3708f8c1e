"""Where the figures stand, on rounds whose answer can be reasoned out."""

from __future__ import annotations

from collections.abc import Callable
from dataclasses import replace

import pytest

from silhouette.records import Arc, Pose
from silhouette.show.wheel_layout import MOST_FIGURES, Room, Scale, largest_scale, lay_out, letters_on, shown

ROOM = Room(200, 160, lambda view: f"{view.angle:.0f}", lambda text: 6.0 * len(text), 12)


def test_more_stops_give_smaller_figures(pose_at: Callable[..., Pose]) -> None:
    small = replace(ROOM, half_width=140, half_height=120)
    tall = [largest_scale([pose_at("reach_up", n).views], small).tall for n in (8, 24, 36)]
    assert tall[0] >= tall[1] > tall[2] > 8


def test_figures_stay_in_their_room(pose_at: Callable[..., Pose]) -> None:
    views = pose_at("akimbo", 24).views
    for place in lay_out(views, ROOM, largest_scale([views], ROOM)).places:
        left, bottom, right, top = place.box
        assert max(-left, right) <= 200 and max(-(bottom - 12), top) <= 160


def test_one_scale_serves_every_pose(pose_at: Callable[..., Pose]) -> None:
    narrow, wide = pose_at("akimbo", 16).views, pose_at("reach_up", 16).views
    both = largest_scale([narrow, wide], ROOM)
    assert both.tall <= min(largest_scale([narrow], ROOM).tall, largest_scale([wide], ROOM).tall) + 1


def test_a_crouching_pose_is_drawn_smaller_where_the_camera_stood_still(pose_at: Callable[..., Pose]) -> None:
    standing = pose_at("akimbo", 8).views
    crouching = tuple(replace(v, outline=replace(v.outline, height_px=0.6 * v.outline.height_px)) for v in standing
                      if v.outline)
    scale = largest_scale([standing, crouching], ROOM)
    tall = [max(p.height for p in lay_out(views, ROOM, scale).places) for views in (standing, crouching)]
    assert tall[1] == pytest.approx(0.6 * tall[0])
    other = tuple(replace(v, outline=replace(v.outline, picture_size=(1, 1))) for v in crouching if v.outline)
    scale = largest_scale([standing, other], ROOM)
    tall = [max(p.height for p in lay_out(views, ROOM, scale).places) for views in (standing, other)]
    assert tall[1] == pytest.approx(tall[0]), "pictures of another size: nothing is known of the scale"


def test_a_symmetric_turn_gives_a_symmetric_page(pose_at: Callable[..., Pose]) -> None:
    views = pose_at("akimbo", 24).views
    places = {round(p.view.angle): p for p in lay_out(views, ROOM, Scale(80, 40)).places}
    for angle in range(15, 180, 15):
        assert abs(places[angle].x + places[360 - angle].x) < 16, "views and their mirrors differ a little in width"


def test_too_many_views_are_thinned_evenly(pose_at: Callable[..., Pose]) -> None:
    views = pose_at("akimbo", 100).views
    kept = [v.angle for v in shown(views)]
    assert len(kept) == MOST_FIGURES
    steps = [(b - a) % 360 for a, b in zip(kept, kept[1:] + kept[:1], strict=True)]
    assert max(steps) < 15 and shown(views[:36]) == views[:36]


def test_letters_follow_the_arcs_and_keep_apart() -> None:
    arcs = [Arc(10, 12), Arc(14, 16), Arc(100, 180), Arc(355, 5)]
    found = letters_on(arcs, 30, 100, 6)
    assert [letter for letter, _, _ in found] == list("ABCD")[:len(found)]
    assert [arc for _, arc, _ in found] == [arc for arc in arcs if arc in [a for _, a, _ in found]]
    spots = [spot for _, _, spot in found]
    for i, (x, y) in enumerate(spots):
        assert all((x - u) ** 2 + (y - v) ** 2 > 144 for u, v in spots[i + 1:])
    x, y = next(spot for _, arc, spot in found if arc.start == 100)
    assert x < 0 and y == pytest.approx(1.192 * -x, rel=0.01), "140 degrees: page left, above the middle"
