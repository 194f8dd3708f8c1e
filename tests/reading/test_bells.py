"""Places, radii and second places from the reader's maps, on maps with one or two bells."""

from __future__ import annotations

import numpy as np
import pytest
from shapely.geometry import box

from silhouette.reading import reader
from silhouette.reading.reader import MAPS, NINE_TENTHS, POINTS, START_WIDTH
from silhouette.records import Outline

N = len(POINTS)
WIDTH = START_WIDTH / MAPS


def maps(*cells: tuple[int, int, float]) -> reader._Bells:
    """All points with the same bells: (column, row, share), each in the middle of its cell."""
    share = np.zeros((MAPS, MAPS))
    for x, y, part in cells:
        share[y, x] = part
    middle = np.tile(np.arange(MAPS) + 0.5, (MAPS, 1)) / MAPS
    every = [np.tile(v.ravel(), (N, 1)) for v in (share, middle, middle.T, np.full((MAPS, MAPS), WIDTH))]
    return reader._Bells(*every)


def test_a_bell_stands_in_its_cell_and_may_reach_into_the_next() -> None:
    where, fine = np.zeros((N, MAPS, MAPS), np.float32), np.zeros((3 * N, MAPS, MAPS), np.float32)
    where[:, 4, 12] = 30
    fine[0::3], fine[1::3] = 9, -9  # a whole cell to the right, a whole cell up
    for right, column in ((1, 13.5), (-1, 11.5)):
        bells = reader._bells(where, fine, right)
        top = bells.share[0].argmax()
        assert top == 4 * MAPS + 12 and bells.share[0].max() > 0.999 and bells.share.sum(1) == pytest.approx(1)
        assert (bells.x[0, top] * MAPS, bells.y[0, top] * MAPS) == pytest.approx((column, 3.5), abs=1e-4)
        assert bells.width[0, top] == pytest.approx(WIDTH)
    for said, width in ((9, reader.MOST_WIDTH), (-9, reader.LEAST_WIDTH), (np.log(2), 2 * START_WIDTH)):
        fine[2::3] = said
        assert reader._bells(where, fine, 1).width[0, 0] * MAPS == pytest.approx(width, rel=1e-5)


def test_one_bell_tells_place_radius_and_chance() -> None:
    places, radii, sure = reader._places(maps((7, 3, 1.0)), 2 * WIDTH)
    assert places[0] == pytest.approx([7.5 / MAPS, 3.5 / MAPS])
    assert radii[0] == pytest.approx(NINE_TENTHS * WIDTH), "nine tenths of a round bell"
    assert sure[0] == pytest.approx(1 / (1 + np.exp(-1.702))), "two widths, less one: one width in the logistic"


def test_of_two_places_the_likelier_is_taken_and_the_radius_reaches_to_the_other() -> None:
    for part, reaches in ((0.3, True), (0.09, False)):
        places, radii, sure = reader._places(maps((5, 5, 1 - part), (15, 5, part)), 2 * WIDTH)
        assert places[0] == pytest.approx([5.5 / MAPS, 5.5 / MAPS])
        assert (radii[0] > 10 / MAPS) == reaches
        assert sure[0] == pytest.approx((1 - part) / (1 + np.exp(-1.702)), abs=1e-3)


def test_neighbouring_cells_make_one_place() -> None:
    for away, column in ((2, 6.3), (3, 5.5)):  # two cells away still belongs to it
        places, _, _ = reader._places(maps((5, 5, 0.6), (5 + away, 5, 0.4)), WIDTH)
        assert places[0, 0] * MAPS == pytest.approx(column if away == 2 else 5.5)


@pytest.mark.parametrize(("part", "told"), [(0.3, True), (0.21, True), (0.19, False)])
def test_a_second_place_needs_a_fifth_of_the_bells(part: float, told: bool) -> None:
    bells = maps((5, 5, 1 - part), (15, 8, part / 2), (15, 10, part / 2))
    places = np.tile([5.5 / MAPS, 5.5 / MAPS], (N, 1))
    found = reader._second_places(bells, places, 0.1)
    if told:
        assert all(spot == pytest.approx([15.5 / MAPS, 9.5 / MAPS]) for spot in found), "the mean of what lies there"
    else:
        assert found == [None] * N


def test_a_second_place_is_far_from_the_first_and_from_the_twin() -> None:
    bells = maps((5, 5, 0.5), (15, 5, 0.5))
    places = np.tile([5.5 / MAPS, 5.5 / MAPS], (N, 1))
    assert reader._second_places(bells, places, 0.51) == [None] * N, "half a picture away, and no farther"
    places[2] = 15.5 / MAPS, 5.5 / MAPS  # the other hand is there
    found = reader._second_places(bells, places, 0.1)
    assert found[1] is None and found[2] is None, "each hand's second place is the other's first"
    assert found[0] is not None and found[3] is not None


def test_the_two_looks_agree_on_who_is_who() -> None:
    """The second look names the pair the other way round: its order is changed before the mean is taken."""
    where, fine = np.full((2, N, MAPS, MAPS), -30, np.float32), np.zeros((2, 3 * N, MAPS, MAPS), np.float32)
    where[:, :, 10, 9] = where[:, :, 10, 10] = 0
    for k, (first, second) in {1: (3, 15), 2: (15, 3)}.items():
        where[:, k] = -30
        where[0, k, 10, first] = 30
        where[1, k, 10, MAPS - 1 - second] = 30  # in the mirror
    bells = reader._both_looks(where, fine)
    assert [bells.share[k].argmax() % MAPS for k in (1, 2)] == [3, 15]
    assert bells.share[1].max() == pytest.approx(1, abs=1e-3) and bells.share.sum(1) == pytest.approx(1)
    assert bells.x[1, 10 * MAPS + 3] * MAPS == pytest.approx(3.5) and bells.width[1, 0] == pytest.approx(WIDTH)


@pytest.mark.parametrize("torn", [0, 1])
def test_a_pair_is_told_apart_by_both_of_its_members(torn: int) -> None:
    """Both looks put the second member in column 3. The first is torn between that place and another in one look and
    stands elsewhere in the other: no reason to exchange the two."""
    where, fine = np.full((2, N, MAPS, MAPS), -30, np.float32), np.zeros((2, 3 * N, MAPS, MAPS), np.float32)
    where[:, :, 10, 9] = where[:, :, 10, 10] = 0
    where[:, 1:3] = -30
    for look, columns in enumerate(((3, 15), (9,)) if torn == 0 else ((9,), (3, 15))):
        for member, at in ((1, columns), (2, (3,))):
            for column in at:
                where[look, member, 10, column if look == 0 else MAPS - 1 - column] = 30
    assert reader._both_looks(where, fine).share[2].max() == pytest.approx(1, abs=1e-3)


def test_places_and_radii_are_turned_back_into_the_picture(monkeypatch: pytest.MonkeyPatch) -> None:
    """A figure twice as wide as high fills 590 of 640 pixels across: a figure height is 295 of them."""
    where, fine = np.full((2, N, MAPS, MAPS), -40, np.float32), np.zeros((2, 3 * N, MAPS, MAPS), np.float32)
    where[0, :, 6, 4], where[1, :, 6, MAPS - 5] = 40, 40
    answers = np.tile(np.log([0.8, 0.5, 0.2, 0.6, 0.9, 0.1]) - np.log([0.2, 0.5, 0.8, 0.4, 0.1, 0.9]), (2, 1))
    monkeypatch.setattr(reader, "_run", lambda picture: (answers.astype(np.float32), where, fine))
    body = reader.read_body(Outline(box(-1, 0, 1, 1), 200.0, (300.0, 50.0), (600, 400)))
    unit = 295 / 640
    x, y = ((4.5 / MAPS - 0.5) / unit) * 200 + 300, ((6.5 / MAPS - 0.5) / unit + 0.5) * 200 + 50
    joint = body.joints[0]
    assert (joint.x, joint.y) == pytest.approx((x / 600, y / 400), abs=1e-6) and joint.also is None
    assert joint.spread == pytest.approx(NINE_TENTHS * WIDTH / unit, rel=1e-4)
    assert joint.sure == pytest.approx(1 / (1 + np.exp(-1.702 * (0.05 * unit - WIDTH) / WIDTH)), rel=1e-3)
    limbs = body.limb_legibility
    assert (limbs.head, *limbs.arms, *limbs.legs, body.unlike) == pytest.approx((0.8, 0.2, 0.5, 0.6, 0.9, 0.1))


def test_a_figure_is_drawn_in_the_middle_wherever_it_stands() -> None:
    framed = [reader.frame(box(x, 0, x + 0.5, 1)) for x in (-0.25, 3.0)]
    assert framed[1].middle == (3.25, 0.5) and framed[0].scale == framed[1].scale == 590
    assert np.array_equal(framed[0].picture, framed[1].picture)
