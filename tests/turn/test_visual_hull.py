"""The turning axis from outlines, against a figure whose swing about it is known."""

import numpy as np
import pytest

from silhouette.turn import visual_hull


@pytest.mark.parametrize("end", [210, 270, 285, 345])
def test_the_axis_of_an_open_turn_is_found_beside_a_figure_that_stands_off_it(end: int) -> None:
    # A pole 40 pixels off the axis at column 150, seen from far: its middle stands at 150 + 40 cos(t - 30 degrees).
    turned = np.arange(0.0, end + 1, 15.0)
    masks = np.zeros((len(turned), 280, 300), bool)
    for mask, t in zip(masks, np.radians(turned - 30), strict=True):
        middle = round(150 + 40 * np.cos(t))
        mask[20:260, middle - 10 : middle + 10] = True
    turn = visual_hull.prepare(list(masks), turned)
    assert turn.axis / turn.scale == pytest.approx(150, abs=2)


def test_far_out_and_high_up_there_is_room_above_for_a_wrong_angle() -> None:
    """A bar 100 pixels to either side and as far above the lens: three degrees off lift its end."""
    mask = np.zeros((280, 300), bool)
    mask[30:50, 50:250] = True
    turn = visual_hull.Turn(mask[None], np.zeros(1), axis=150.0, level=140.0, scale=1.0, height=240.0)
    block = visual_hull.Block(turn, nearness=0.6, cell=2.0)
    block.carve(0)
    above = (np.abs(block.v - 28) < 0.5) & (np.abs(block.z) < 1)
    end, middle = above & (np.abs(block.x) > 92), above & (np.abs(block.x) < 20)
    assert end.any() and middle.any()
    assert not block.cuts[end].any() and block.cuts[middle].all()
    strict = visual_hull.Block(turn, nearness=0.6, cell=2.0, strict=True)
    strict.carve(0)
    assert strict.cuts[end].all(), "angles taken at their word need no room"


def test_what_sticks_out_is_sought_where_it_is_least() -> None:
    shape = np.zeros((60, 60), bool)
    shape[10:50, 20:40] = True
    out, placed = visual_hull.sticks_out(np.roll(shape, 3, axis=1), shape)
    assert not out.any() and np.flatnonzero(placed.any(axis=0))[0] in (22, 23), "to a column, which is no thing"
    out, _ = visual_hull.sticks_out(np.roll(shape, 7, axis=1), shape)
    assert out.sum() == pytest.approx(4 * 40, abs=45), "four columns that no step aside makes good"


def wide_and_low(nearness: float) -> visual_hull.Block:
    """A bar at columns 150 to 469, rows 30 to 49, over a wide foot; axis at 310, lens at row 260, nothing cropped."""
    mask = np.zeros((280, 620), bool)
    mask[30:50, 150:470] = True
    mask[200:210, 20:600] = True
    turn = visual_hull.Turn(mask[None], np.zeros(1), axis=310.0, level=260.0, scale=1.0, height=240.0)
    block = visual_hull.Block(turn, nearness, cell=2.0)
    block.carve(0)
    return block


def kept(block: visual_hull.Block, x: float, z: float, v: float) -> bool:
    away = np.abs(block.x - x) + np.abs(block.z - z) + np.abs(block.v - v)
    assert away.min() < 0.1, "a cell of the block"
    return not block.cuts[int(away.argmin())]


def test_how_much_room_there_is_beside_an_outline() -> None:
    """Three pixels at the axis' depth; two more for every 76 pixels of depth begun (3 degrees), up to six more."""
    block = wide_and_low(0.1)  # from 2400 pixels: what lies nearer hardly looks larger
    for depth, room in ((0, 3), (30, 5), (60, 7), (90, 9), (130, 9)):
        grows = 2400 / (2400 - depth)
        beside = [(x, kept(block, x, depth, 44)) for x in range(130, 190, 2)]
        last = max(310 + x * grows for x, inside in beside if inside)
        assert 470 + room - 2.2 < last < 470 + room, depth


@pytest.mark.parametrize(("nearness", "room"), [(0.05, 1), (0.25, 3), (0.66, 5)])
def test_how_much_room_there_is_above_it(nearness: float, room: int) -> None:
    """A pixel, and two more for every 38 pixels by which a quarter turn would lift the place."""
    block = wide_and_low(nearness)
    rows = [v for v in range(26, 40, 2) if kept(block, 150, 0, v)]
    assert 30 - room <= min(rows) <= 30 - room + 1


def test_a_figure_that_the_frame_cuts_is_taken_to_reach_further() -> None:
    mask = np.zeros((280, 300), bool)
    mask[100:200, 200:300] = True
    whole = np.roll(mask, -1, axis=1)
    reach = []
    for picture in (mask, whole):
        turn = visual_hull.Turn(picture[None], np.zeros(1), axis=150.0, level=140.0, scale=1.0, height=240.0)
        reach.append(float(visual_hull.Block(turn, nearness=0.3, cell=2.0).x.max()))
    assert reach == pytest.approx([1.4 * 150, 149], abs=2)
    assert visual_hull.Block(turn, nearness=0.3, cell=2.0).v.max() == pytest.approx(199 + 4, abs=2.1)
    near = visual_hull.Block(turn, nearness=1.9, cell=2.0)
    assert near.x.max() == pytest.approx(0.8 * 240 / 1.9, abs=2), "never as far as the lens"


@pytest.mark.parametrize(("end", "kind"), [(180, "median"), (240, "fitted"), (345, "even")])
def test_how_the_axis_is_found(end: int, kind: str) -> None:
    turned = np.arange(0.0, end + 1, 15.0)
    middles = 150 + 40 * np.cos(np.radians(turned - 30))
    found = visual_hull._axis(middles, turned)
    assert found == pytest.approx(np.median(middles) if kind == "median" else 150, abs=0.5)
    assert visual_hull._axis(middles, -turned) == pytest.approx(found), "whichever way it turned"
