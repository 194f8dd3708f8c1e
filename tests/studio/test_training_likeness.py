"""What the network that compares outlines is taught, on small sums and two poses."""

from __future__ import annotations

from collections.abc import Callable
from pathlib import Path

import numpy as np
import pytest

pytest.importorskip("torch")

import torch

from silhouette.find import embed
from silhouette.studio import dress, poses, training, training_likeness, training_views
from silhouette.studio.training_likeness import KEPT, LikenessNet, loss
from silhouette.studio.training_views import TURN, Views


def surprise(other: list[list[float]], pose: list[int], angle: list[float]) -> float:
    """Of one view of pose 0 at 0 degrees that looks east."""
    pair = (torch.tensor([0]), torch.tensor(pose)), (torch.tensor([0.0]), torch.tensor(angle))
    return float(loss(torch.tensor([[1.0, 0.0]]), torch.tensor(other), *pair))


def test_the_same_pose_from_the_same_side_is_to_look_alike_and_all_else_is_not() -> None:
    right = surprise([[1.0, 0.0], [0.0, 1.0]], [0, 1], [0.0, 0.0])
    wrong = surprise([[0.0, 1.0], [1.0, 0.0]], [0, 1], [0.0, 0.0])
    assert right < 0.01 < 5 < wrong
    assert surprise([[1.0, 0.0], [0.0, 1.0]], [0, 0], [0.0, 90.0]) < 0.01, "another side of the pose is all else too"
    assert surprise([[0.0, 1.0], [1.0, 0.0]], [0, 0], [0.0, 90.0]) > 5


def test_angles_go_round_and_a_little_off_is_the_same_side() -> None:
    for angle in (5.0, 355.0):
        assert surprise([[1.0, 0.0], [0.0, 1.0]], [0, 1], [angle, 0.0]) < 0.01
    assert surprise([[1.0, 0.0], [0.0, 1.0]], [0, 1], [180.0, 0.0]) < 0.01, "nothing is asked where no view is near"


def test_other_poses_from_elsewhere_are_to_be_told_apart_too() -> None:
    pair = (torch.tensor([0]), torch.tensor([0])), (torch.tensor([0.0]), torch.tensor([0.0]))
    one = torch.tensor([[1.0, 0.0]])
    assert float(loss(one, one, *pair, more=one)) > float(loss(one, one, *pair, more=torch.tensor([[0.0, 1.0]]))) + 0.5


def test_a_drawing_by_hand_stays_the_same_figure() -> None:
    gen = torch.Generator()
    gen.manual_seed(1)
    mask = torch.zeros(8, 1, 160, 160)
    mask[:, :, 30:130, 60:100] = 1
    drawn = training_likeness.drawn_by_hand(mask, gen)
    both, either = (drawn.minimum(mask).sum((1, 2, 3)), drawn.maximum(mask).sum((1, 2, 3)))
    assert (both / either > 0.75).all() and (both / either < 0.999).all()


def test_both_bodies_strike_one_pose_seen_all_round_and_dress_as_they_like(tmp_path: Path) -> None:
    pytest.importorskip("anny")
    file = tmp_path / "stock.npz"
    training_views.save_stock(file, 2, 3)
    stock, rng = training_views.load_stock(file, "cpu"), np.random.default_rng(4)
    with torch.no_grad():
        views = training_likeness.pairs(stock, rng, training_likeness.draw(rng, KEPT["few"], 1), KEPT["few"], 7)
    assert views.pose.tolist() == [7] * (2 * TURN)
    distance, height = views.about[:, 6], views.about[:, 7]
    assert len(distance.unique()) == len(height.unique()) == 2 and float(distance.min()) >= 2.6
    assert float(height.min()) >= 0.2 and float(height.max()) <= 2.6
    assert (views.joints[0] != views.joints[TURN]).any()


def test_siblings_are_nearly_one_pose_and_hold_nothing_where_nothing_is_to_be_held() -> None:
    rng = np.random.default_rng(4)
    vectors, outfits = training_likeness.draw(rng, KEPT["many"], 40, siblings=1.0, held=False)
    assert len(vectors) == 40 and len(outfits) == 80
    apart = (vectors[:, None] - vectors).abs().mean(2)
    assert apart[::2, 1::2].diag().median() < apart[::2, ::2].median() / 2
    held = [i for i, field in enumerate(dress.fields(dress.Outfit)) if field.name in ("pole", "bag", "load")]
    assert not outfits[:, held].any() and outfits.any()


def test_where_one_body_alone_is_to_hold_something_the_other_is_empty_handed() -> None:
    rng = np.random.default_rng(4)
    _, outfits = training_likeness.draw(rng, KEPT["many"], 60, alone=1.0)
    held = [i for i, field in enumerate(dress.fields(dress.Outfit)) if field.name in ("pole", "bag", "load")]
    hands = (outfits[:, held] != 0).view(60, 2, 3)
    assert (hands.sum((1, 2)) == 1).all(), "of every pose one body holds one thing"
    assert hands.any(0).all(), "either body may, and each of the three things"


def test_a_drawing_closes_small_gaps_and_keeps_large_ones() -> None:
    mask = torch.ones(5, 1, 40, 40)
    mask[:, :, 10:30, 4:8] = 0
    mask[:, :, 10:30, 15:33] = 0
    closed = training_likeness._closed(mask)
    assert closed[:, 0, 20, 4:8].amin(1).tolist() == [0, 0, 1, 1, 1]
    assert not closed[:, 0, 20, 15:33].any()


def test_spoiled_views_are_mirrored_where_asked_and_first_bodies_are_drawn_more_often(
        monkeypatch: pytest.MonkeyPatch) -> None:
    gen = torch.Generator()
    gen.manual_seed(1)
    mask = torch.zeros(40, 640, 640, dtype=torch.bool)
    mask[:20, 100:540, 120:300] = mask[20:, 60:580, 120:300] = True
    tall: list[int] = []

    def untouched(some: torch.Tensor, gen: torch.Generator) -> torch.Tensor:
        tall.extend(int(one[0].amax(1).sum() > 240) for one in some)
        return some

    monkeypatch.setattr(training_likeness, "drawn_by_hand", untouched)
    flip = torch.arange(40) % 2 == 1
    seen = training_likeness.spoiled(training_views.pack(mask), flip, gen)
    assert seen.shape == (40, 16, 40, 40)
    left, right = seen[..., :20].sum((1, 2, 3)), seen[..., 20:].sum((1, 2, 3))
    assert ((right > left) == flip).all()
    assert [tall.count(body) for body in (0, 1)] == [int(share * 20) for share in training_likeness.DRAWN]


def test_a_changed_pose_is_near_the_one_it_was() -> None:
    rng = np.random.default_rng(2)
    pose = poses.sample(rng)
    near = poses.changed(pose, rng, 10.0)
    off = [abs(a - b) for group in pose for a, b in zip(pose[group], near[group], strict=True)]
    assert 1 < np.mean(off) < 12


def test_the_exported_network_says_what_the_trained_one_says(
    tmp_path: Path, monkeypatch: pytest.MonkeyPatch, blobs: Callable[[int], Views]
) -> None:
    pytest.importorskip("onnx")
    torch.manual_seed(3)
    net = LikenessNet()
    torch.save(net.state_dict(), tmp_path / "likeness.pt")
    training_views.save_views(tmp_path / "views.pt", blobs(24))
    training_likeness.export(tmp_path / "likeness.pt", tmp_path / "likeness_net.onnx", tmp_path / "views.pt")
    monkeypatch.setattr(embed.resources, "files", lambda _: tmp_path)
    embed._net.cache_clear()
    picture = torch.from_numpy(training.both_looks(blobs(7))[3])
    with torch.no_grad():
        trained = net.eval()(picture).numpy()
    try:
        assert np.abs(embed._run(picture.numpy()) - trained).max() < 0.03
    finally:
        embed._net.cache_clear()
    assert trained.shape == (2, embed.SIZE) == (2, training_likeness.SIZE)
