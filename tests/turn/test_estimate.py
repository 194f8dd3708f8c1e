"""Angles from outlines: on bodies whose outline is known in closed form, and on rendered clips with truth."""

from __future__ import annotations

import numpy as np
import pytest

from silhouette.records import Note
from silhouette.turn import angle_fit, estimate, support_function

D, NEAR = 1000.0, 0.4
"""Camera distance in pixels of the axis' depth; a figure of 400 pixels stands at nearness 0.4."""


def column(turned: float, *, flip: bool = False) -> np.ndarray:
    """An outline 400 pixels high of three elliptic drums, each off the axis, seen by a pinhole at distance ``D``.

    The line of sight at image angle f touches a slice with support function S where D sin f = S(a - 90 + f).
    """
    mask = np.zeros((480, 400), bool)
    drums = [(0, 130, 60, 30, 12, 10), (130, 260, 40, 70, -15, 20), (260, 400, 25, 95, 20, -8)]
    for top, bottom, long, wide, cx, cy in drums:
        def reach(t: float, long=long, wide=wide, cx=cx, cy=cy) -> float:
            return cx * np.cos(t) + cy * np.sin(t) + np.hypot(long * np.cos(t), wide * np.sin(t))

        edges = []
        for side in (-1, 1):
            f = 0.0
            for _ in range(40):
                f = np.arcsin(reach(np.radians(turned) + side * (np.pi / 2 - f)) / D)
            edges.append(D * np.tan(f))
        right, left = edges
        mask[40 + top : 40 + bottom, round(200 - left) : round(200 + right)] = True
    return mask[:, ::-1] if flip else mask


def uneven(n: int, seed: int, extra: int = 1) -> np.ndarray:
    rng = np.random.default_rng(seed)
    return np.concatenate([[0.0], np.cumsum(360 / n + rng.normal(0, 1.5, n + extra - 1))])


@pytest.mark.parametrize(("n", "seed"), [(12, 1), (24, 2), (36, 3)])
def test_closed_turn_of_a_rigid_body(n: int, seed: int) -> None:
    truth = uneven(n, seed)
    found = estimate.estimate_angles([column(a) for a in truth])
    off = np.abs(found.turned - truth)
    assert np.median(off) <= 3 and off.max() <= 8
    assert abs(found.turned[-1] - truth[-1]) < 3
    assert (off[1:] <= found.sure[1:]).mean() >= 0.9
    assert found.sure[0] == 0


def test_right_turn_is_the_left_turn_in_a_mirror() -> None:
    truth = uneven(24, 4)
    left = estimate.estimate_angles([column(a) for a in truth], start=90)
    right = estimate.estimate_angles([column(a, flip=True) for a in truth], start=90, turn="right")
    assert right.turned == pytest.approx(left.turned, abs=1e-6)
    assert (left.angles - 90) % 360 == pytest.approx((90 - right.angles) % 360, abs=1e-6)
    assert left.angles[0] == right.angles[0] == 90


def test_open_turn_with_a_gap_stays_open_and_keeps_the_gap() -> None:
    truth = np.delete(uneven(24, 5)[:19], [8, 9])
    found = estimate.estimate_angles([column(a) for a in truth])
    assert abs(found.turned[-1] - truth[-1]) < 8, "short of 300 degrees"
    steps = np.diff(found.turned)
    assert int(np.argmax(steps)) == 7 and steps[7] > 1.8 * np.median(steps)


def test_stop_without_outline_lies_between_its_neighbours() -> None:
    truth = uneven(24, 6)
    masks: list[np.ndarray | None] = [column(a) for a in truth]
    masks[5] = None
    found = estimate.estimate_angles(masks)
    assert found.turned[4] < found.turned[5] < found.turned[6]
    assert found.sure[5] > found.sure[4]
    assert Note.of("stops without outline", count=1) in found.notes


def test_of_a_single_stop_nothing_is_said() -> None:
    found = estimate.estimate_angles([np.ones((40, 30), bool)], start=30.0)
    assert found.notes == () and list(found.angles) == [30.0]


def test_without_outlines_the_motion_spreads_one_turn() -> None:
    share = np.asarray([1, 1, 2, 1, 1, 1, 1, 1, 1, 1, 1]) / 12
    found = estimate.estimate_angles([None] * 12, share)
    assert found.turned[-1] == pytest.approx(330)
    assert found.turned[3] - found.turned[2] == pytest.approx(2 * found.turned[1])
    assert found.notes == (Note.of("angles not told", spread="by motion", sure=20.0),)


def test_camera_that_moved_takes_the_trust_away() -> None:
    truth = uneven(24, 7)
    masks = [column(a) for a in truth]
    masks[14:] = [np.roll(m, (-20, 40), axis=(0, 1)) for m in masks[14:]]
    found = estimate.estimate_angles(masks)
    assert found.notes == (Note.of("camera moved", before=14, count=25),) and found.sure[-1] >= 45


def test_slice_derivatives_match_differences() -> None:
    rng = np.random.default_rng(0)
    slices, towards = rng.uniform(0.05, 0.2, (3, 6)), rng.uniform(0, 6, (3, 8))
    reach, by_slice, turn = angle_fit.slice_reach(slices, towards)
    for k in range(6):
        moved = slices.copy()
        moved[:, k] += 1e-6
        assert (angle_fit.slice_reach(moved, towards)[0] - reach) / 1e-6 == pytest.approx(by_slice[..., k], abs=1e-4)
    assert (angle_fit.slice_reach(slices, towards + 1e-6)[0] - reach) / 1e-6 == pytest.approx(turn, abs=1e-4)


def test_reaches_of_a_disc_are_its_radius_whatever_the_perspective() -> None:
    """A drum of radius 80 on the axis, seen at D = 1000: its edge lies at D tan(asin(80 / D)) in the picture."""
    edge = D * np.tan(np.arcsin(80 / D))
    mask = np.zeros((480, 400), bool)
    mask[40:440, round(200 - edge) : round(200 + edge)] = True
    seen = support_function.measure([mask] * 6, 20)
    assert seen is not None
    assert seen.reach == pytest.approx(80 / 400, abs=0.002)


def fit_of(turned: list[float], cost: float = 0.0, spread: list[float] | None = None) -> angle_fit.Fit:
    n = len(turned)
    return angle_fit.Fit(np.array(turned), np.array(spread or [0.0] * n), np.zeros((1, 6)), 0.0, np.zeros(1), cost)


BOX = np.pad(np.ones((20, 10), bool), 5)


def test_the_doubt_of_a_fit_becomes_a_90_percent_interval(monkeypatch: pytest.MonkeyPatch) -> None:
    """1.645 standard deviations hold 90 %; the fit understates them 1.4 times; 2 degrees are the least that is told."""
    told = fit_of([0, 60, 120, 180, 240, 300], spread=[1.0, 0.5, 0.9, 2.0, 4.0, 1.0])
    monkeypatch.setattr(estimate, "_best_fit", lambda *_: told)
    found = estimate.estimate_angles([BOX] * 6, start=350, turn="right")
    assert found.sure == pytest.approx([0, 2.0, 1.645 * 1.4 * 0.9, 1.645 * 2.8, 1.645 * 5.6, 1.645 * 1.4])
    assert found.turned == pytest.approx(told.turned) and found.angles == pytest.approx([350, 290, 230, 170, 110, 50])
    assert [note.kind for note in found.notes] == ["angles found"]
    assert found.notes[0]["worst"] == pytest.approx(1.645 * 5.6)
    # of 2.0, 2.07, 4.6, 9.2 and 2.3
    assert found.notes[0]["usual"] == pytest.approx(1.645 * 1.4)


@pytest.mark.parametrize("masks", [
    [BOX] * 5, [BOX] * 5 + [None], [BOX] * 5 + [np.zeros_like(BOX)], [BOX] * 5 + [np.pad(BOX, 1)]])
def test_six_outlines_of_one_size_are_needed(monkeypatch: pytest.MonkeyPatch, masks: list[np.ndarray | None]) -> None:
    monkeypatch.setattr(estimate, "_best_fit", lambda *_: fit_of([0, 60, 120, 180, 240, 300]))
    assert [note.kind for note in estimate.estimate_angles(masks).notes] == ["angles not told"]


def chosen(monkeypatch: pytest.MonkeyPatch, first: dict[float, tuple[float, float]],
           then: dict[float, tuple[float, float]]) -> tuple[float | None, list[float]]:
    """Degrees of the fit that is taken, and from where fits were followed to the end. ``first`` and ``then``: for a
    guess or a fit of so many degrees, the (degrees, cost) that it leads to; what is not named costs 99."""
    followed: list[float] = []

    def fit(rows: int, turned: np.ndarray, rounds: int | None = None, **_: object) -> angle_fit.Fit:
        if rounds is None:
            followed.append(float(turned[-1]))
        end, cost = (first if rounds else then).get(round(float(turned[-1]), 6), (float(turned[-1]), 99.0))
        return fit_of([0.0, end / 2, end], cost)

    monkeypatch.setattr(support_function, "measure", lambda *_, **__: 0)
    monkeypatch.setattr(angle_fit, "fit", fit)
    best = estimate._best_fit([BOX] * 3, None, [0, 1, 2], False)
    return None if best is None else float(best.turned[-1]), followed


def test_the_three_likeliest_guesses_are_followed_and_the_best_is_taken(monkeypatch: pytest.MonkeyPatch) -> None:
    first = {300.0: (310.0, 5.0), 360.0: (350.0, 3.0), 420.0: (410.0, 4.0), 240.0: (250.0, 6.0)}
    then = {310.0: (312.0, 1.0), 350.0: (352.0, 2.0), 410.0: (412.0, 3.0), 250.0: (252.0, 0.0)}
    assert chosen(monkeypatch, first, then) == (312.0, [350.0, 410.0, 310.0])


def test_what_hardly_turns_is_no_turn(monkeypatch: pytest.MonkeyPatch) -> None:
    """A figure that wanders about can be explained by not turning: such a fit is left out, at either end."""
    still = {300.0: (100.0, 1.0), 360.0: (101.0, 2.0)}
    assert chosen(monkeypatch, still, {101.0: (102.0, 0.0)})[0] == 102.0
    assert 100.0 not in chosen(monkeypatch, still, {})[1]
    assert chosen(monkeypatch, still, {101.0: (100.0, 0.0), 345.0: (340.0, 1.0)})[0] == 340.0
    every = {g: (90.0, 1.0) for g in estimate.GUESSES}
    assert chosen(monkeypatch, every, {})[0] is None


def test_first_guesses_are_even_steps_and_steps_by_the_motion(monkeypatch: pytest.MonkeyPatch) -> None:
    """Outlines at stops 1, 2 and 4; between them a third and two thirds of their motion."""
    tried: list[np.ndarray] = []

    def fit(_rows: int, turned: np.ndarray, rounds: int | None = None, **_: object) -> angle_fit.Fit:
        if rounds is not None:
            tried.append(turned)
        return fit_of(list(turned))

    monkeypatch.setattr(support_function, "measure", lambda *_, **__: 0)
    monkeypatch.setattr(angle_fit, "fit", fit)
    estimate._best_fit([BOX] * 3, np.full(4, 0.25), [1, 2, 4], False)
    shapes = [tuple(np.round(guess / guess[-1], 6)) for guess in tried]
    assert set(shapes) == {(0, 0.333333, 1)} and {300.0, 360.0} <= {round(float(g[-1]), 6) for g in tried}
    tried.clear()
    estimate._best_fit([BOX] * 3, np.array([0.4, 0.1, 0.2, 0.3]), [1, 2, 4], False)
    assert {tuple(np.round(guess / guess[-1], 6)) for guess in tried} == {(0, 0.333333, 1), (0, round(1 / 6, 6), 1)}
