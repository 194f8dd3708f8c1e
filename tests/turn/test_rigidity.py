"""What is said of a pose that moved: where on the body, how far, and whether it sank."""

from __future__ import annotations

import numpy as np
import pytest

from silhouette.turn import rigidity, visual_hull


def standing() -> tuple[visual_hull.Turn, np.ndarray]:
    """A body 200 rows high, rows 20 to 219, 40 columns wide about column 150."""
    mask = np.zeros((260, 300), bool)
    mask[20:220, 130:170] = True
    return visual_hull.Turn(mask[None], np.zeros(1), 150.0, 130.0, 1.0, 200.0), mask


@pytest.mark.parametrize(("up", "place"), [
    (0.02, "foot height"), (0.07, "foot height"), (0.09, "knee height"), (0.32, "knee height"), (0.34, "hip height"),
    (0.49, "hip height"), (0.51, "waist height"), (0.65, "waist height"), (0.67, "shoulder height"),
    (0.83, "shoulder height"), (0.85, "head height"), (0.99, "head height")])
def test_a_place_is_named_by_its_height(up: float, place: str) -> None:
    turn, mask = standing()
    assert rigidity._place(turn, mask, np.array([150.0, 219 - up * 200])) == place


def test_what_lies_well_beside_the_trunk_is_at_arm_height() -> None:
    turn, mask = standing()
    beside = [rigidity._place(turn, mask, np.array([x, 219 - 0.5 * 200 - 1])) for x in (150 - 20, 150 - 17, 150 + 20)]
    assert beside == ["arm height", "waist height", "arm height"], "more than 9 % of the height"
    assert rigidity._place(turn, mask, np.array([190.0, 219 - 0.2 * 200])) == "knee height", "no arm hangs so low"


def arm(row: int) -> np.ndarray:
    mask = standing()[1].copy()
    mask[row : row + 8, 170:230] = True
    return mask


@pytest.mark.parametrize("rows", [10, -10])
def test_an_arm_that_sank_lies_lower_than_what_is_missing(rows: int) -> None:
    shape, mask = arm(80), arm(80 + rows)
    piece = mask & ~shape
    assert rigidity._sank(mask, shape, piece, 200.0) == pytest.approx(rows, abs=1)


def test_what_moved_sideways_or_came_from_nowhere_did_not_sink() -> None:
    shape, mask = standing()[1], np.roll(standing()[1], 6, axis=1)
    assert rigidity._sank(mask, shape, mask & ~shape, 200.0) == 0
    more = arm(80)
    assert rigidity._sank(more, shape, more & ~shape, 200.0) == 0


def test_the_worst_stop_tells_how_far() -> None:
    """An arm that hangs 10 rows lower at one stop of eight: 5 % of the height, at arm height, downwards."""
    shape, low = arm(80), arm(90)
    masks = [shape] * 8
    turn = visual_hull.Turn(np.array([*masks[:5], low, *masks[6:]]), np.arange(8) * 0.0, 150.0, 130.0, 1.0, 200.0)
    out = tuple(m & ~shape for m in turn.masks)
    carved = visual_hull.Carved(np.array([o.sum() for o in out]) / shape.sum(), out, (shape,) * 8)
    told = rigidity.described(turn, (2, 5), False, carved, 0.4)
    assert told.where == "arm height" and told.moved == (2, 5) and not told.drifting
    assert told.sank == pytest.approx(0.05, abs=0.005)
    # the lower edge of the arm is 10 rows from where the shape ends; one row was given away in carving
    assert told.far == pytest.approx((10 + visual_hull.UPRIGHT) / 200, abs=0.005)


def carved(shares: list[float], rows: list[tuple[int, int] | None]) -> visual_hull.Carved:
    regions = []
    for row in rows:
        region = np.zeros((260, 300), bool)
        if row is not None:
            region[row[0] : row[1], 200:210] = True
        regions.append(region)
    return visual_hull.Carved(np.array(shares), tuple(regions), tuple(regions))


def test_a_change_is_followed_back_to_where_it_began_at_the_same_height() -> None:
    here, low = (80, 90), (200, 210)
    loose = carved([0, 0, 0, 0, 0, 0.02, 0.03, 0.0, 0.02], [None] * 5 + [here, here, None, here])
    strict = carved([0, 0, 0.01, 0.01, 0.01, 0.03, 0.03, 0.03, 0.03], [None, None, low, *[here] * 6])
    assert rigidity._drift(loose, strict, 5) == (3, 4, 5, 6, 8), "stop 2 is off elsewhere; stop 7 shows nothing"
    near = carved([0, 0, 0.0007, 0.0009, 0.01, 0.03], [None, None, here, (95, 99), here, here])
    assert rigidity._drift(carved([0] * 5 + [0.02], [None] * 5 + [here]), near, 5) == (3, 4, 5)


@pytest.mark.parametrize("begin", [1, 2, 3, 4, 5])
def test_the_beginning_is_not_passed_over(begin: int) -> None:
    here = (80, 90)
    strict = carved([0.0] * begin + [0.01] * (6 - begin), [here] * 6)
    assert rigidity._drift(carved([0] * 5 + [0.02], [None] * 5 + [here]), strict, 5) == tuple(range(begin, 6))


STOPS = 10
"""Stops of the turn below, 36 degrees apart: 0, 1, 2 and 3 lie before 140 degrees."""


def judged(monkeypatch: pytest.MonkeyPatch, off: list[int], way: int = 1, share: float = 0.02) -> rigidity.Held:
    """What is said where ``share`` sticks out at the stops ``off``, against the stops before and against all."""
    shares = [share if k in off else 0.0 for k in range(STOPS)]
    out = carved(shares, [(80, 90) if k in off else None for k in range(STOPS)])
    masks = np.array([standing()[1]] * STOPS)
    turn = visual_hull.Turn(masks, way * 36.0 * np.arange(STOPS), 150.0, 130.0, 1.0, 200.0)
    monkeypatch.setattr(visual_hull, "prepare", lambda *_, **__: turn)
    monkeypatch.setattr(visual_hull, "find_nearness", lambda _: 0.4)
    monkeypatch.setattr(visual_hull, "carve", lambda *_, **__: (out, None))
    monkeypatch.setattr(visual_hull, "against_all", lambda *_: out)
    return rigidity.judge(list(masks), turn.turned)


@pytest.mark.parametrize("way", [1, -1])
@pytest.mark.parametrize(("off", "unfit"), [
    ([1, 2, 7, 8, 9], True),  # five of ten stops, two of the four early ones
    ([1, 2, 8, 9], False),  # four of ten are not more than 0.4
    ([1, 6, 7, 8, 9], False),  # one of four early ones is not more than 0.3
    ([4, 5, 6, 7, 8, 9], False),  # whoever tires moves late
])
def test_pictures_that_contradict_each_other_early_do_not_belong_together(
    monkeypatch: pytest.MonkeyPatch, off: list[int], unfit: bool, way: int
) -> None:
    told = judged(monkeypatch, off, way)
    assert told.unfit == unfit
    assert bool(told.moved) == (not unfit) == told.drifting


@pytest.mark.parametrize(("off", "drifting"), [([7], False), ([5, 7, 9], False), ([6, 7, 8, 9], True)])
def test_up_to_three_stops_are_off_one_by_one(
    monkeypatch: pytest.MonkeyPatch, off: list[int], drifting: bool
) -> None:
    told = judged(monkeypatch, off)
    assert told.moved == tuple(off) and told.drifting == drifting and not told.unfit


def test_what_good_turns_show_is_no_move(monkeypatch: pytest.MonkeyPatch) -> None:
    """Outlines of good turns stick out by up to 0.009 of the figure's area."""
    for share, moved in ((0.0, ()), (0.009, ()), (0.012, (7,))):
        told = judged(monkeypatch, [7], share=share)
        assert told.moved == moved and (told.where is None) == (not moved) and not told.unfit
        assert told.share[7] == share and told.nearness == 0.4
