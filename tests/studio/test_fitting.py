"""Fitting and measuring agree on the network behind limb separation, and the lesson it learns is true."""

from __future__ import annotations

import numpy as np
import pytest

pytest.importorskip("torch")

import torch

from silhouette.shape import legibility
from silhouette.studio import fitting


def test_what_is_fitted_is_what_is_computed(monkeypatch: pytest.MonkeyPatch) -> None:
    torch.manual_seed(3)
    rng = np.random.default_rng(3)
    nets = [fitting.Net(33, 8).eval() for _ in range(2)]
    weights = {name: np.stack([net.layers()[k] for net in nets]) for k, name in enumerate(legibility.LAYERS)}
    weights |= {"spots_mean": np.full(33, 0.1, np.float32), "spots_spread": np.full(33, 2.0, np.float32),
                "whole_mean": np.full(8, -0.2, np.float32), "whole_spread": np.full(8, 0.5, np.float32)}
    weights["b6"] += 0.5
    monkeypatch.setattr(legibility, "_weights", lambda: weights)
    spots, side, whole = rng.normal(0, 4, (200, 33)), rng.normal(0, 0.3, 200), rng.normal(1, 1, 8)
    seen = [torch.from_numpy(np.clip((v - m) / s, -3, 3)).float()[None]
            for v, m, s in ((spots, 0.1, 2.0), (whole, -0.2, 0.5))]
    given = (seen[0], torch.from_numpy(side).float()[None], seen[1],
             torch.tensor([[whole[0] / legibility.LENGTH]]).float())
    with torch.no_grad():
        told = sum(net(*given)[0][0] + 0.5 for net in nets) / 2
    found = legibility.guess(legibility.Features(spots, side, whole))
    mirrored = legibility.guess(legibility.Features(spots, -side, whole))
    assert mirrored.mean == pytest.approx(found.mean, abs=1e-6)
    assert [found.limbs.head, found.mean, found.standing / 5] == pytest.approx(told[[0, 5, 7]].tolist(), abs=1e-5)
    assert found.limbs.arms == pytest.approx(sorted(told[1:3].tolist()), abs=1e-5)


def test_places_draw_the_limb_that_lies_at_them() -> None:
    bits = np.zeros((300, 200), np.uint8)
    bits[20:150, 50:150] = 1 << 1
    bits[150:280, 50:150] = 1 << 4
    seen = fitting.described(bits > 0)
    assert seen is not None
    found, spots, values = seen
    draws = fitting.drawn_at(bits, found, spots, 1.0)
    upper = spots.at[:, 1] < 0.48
    assert set(draws[upper]) == {1 << 1} and set(draws[spots.at[:, 1] > 0.52]) == {1 << 4}
    assert len(values.spots) == len(spots.at) and np.isfinite(values.spots).all()


def test_the_lesson_holds_all_limbs_once() -> None:
    every = fitting.DRAWS
    assert sum(every) == 0b111111 and all(a & b == 0 for a in every for b in every if a != b)


def test_targets_sort_the_pairs() -> None:
    goal = fitting.targets(np.array([[0.5, 0.9, 0.1, 0.2, 0.8]]))[0]
    assert goal[:7] == pytest.approx([0.5, 0.1, 0.9, 0.2, 0.8, 0.5, 0.15])
    assert goal[7] == pytest.approx(0.4 + 0.2 / (1 + np.e), abs=0.01)


def test_few_drawn_poses_teach_something(tmp_path_factory: pytest.TempPathFactory,
                                         monkeypatch: pytest.MonkeyPatch) -> None:
    pytest.importorskip("anny")
    folder = tmp_path_factory.mktemp("fitting")
    rows = fitting.draw(2, 5, kept_out=False)
    assert len(rows.pose) == 2 * fitting.TURN and rows.truth.min() >= 0 and rows.truth.max() <= 1
    rows.save(folder / "rows.npz")
    again = fitting.Described.joined([fitting.Described.load(folder / "rows.npz")] * 2)
    assert len(again.pose) == 2 * len(rows.pose) and set(again.pose) == {0, 1, 2, 3}
    monkeypatch.setattr(fitting, "EPOCHS", 60)
    monkeypatch.setattr(fitting, "NETWORKS", 1)
    fitting.store(folder / "fitted.npz", again)
    with np.load(folder / "fitted.npz") as stored:
        weights = {name: stored[name] for name in stored.files}
    monkeypatch.setattr(legibility, "_weights", lambda: weights)
    guessed = [legibility.guess(legibility.Features(*(v.astype(float) for v in values)))
               for values in zip(rows.spots[:, 0], rows.side[:, 0], rows.whole[:, 0], strict=True)]
    assert fitting.spearman(np.array([g.mean for g in guessed]), rows.truth.mean(axis=1)) > 0.7
