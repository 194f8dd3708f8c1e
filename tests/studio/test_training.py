"""What training and the reader must agree on, and marks whose answer a person can see."""

from __future__ import annotations

import json
from collections.abc import Callable
from concurrent.futures import ThreadPoolExecutor
from pathlib import Path

import numpy as np
import pytest

pytest.importorskip("torch")

import torch
from shapely.geometry import box

from silhouette import quiet
from silhouette.geometry import framed
from silhouette.reading import reader
from silhouette.studio import training, training_flaws, training_fresh, training_marks, training_net, training_views
from silhouette.studio.training_fresh import Fixed, Fresh
from silhouette.studio.training_views import CANVAS, FIGURE, KINDS, MAPS, TURN, Views


def test_the_reader_frames_as_training_does() -> None:
    assert (framed.CANVAS, framed.FIGURE, reader.MAPS) == (CANVAS, FIGURE, MAPS)
    assert (framed.SIDE, framed.FOLD) == (training_net.SIDE, training_net.FOLD)
    names = (point.removesuffix("_l").removesuffix("_r").replace("_", " ") for point in training_views.POINTS)
    assert tuple(names) == reader.POINTS
    assert {(i, j) for i, j in enumerate(reader.TWIN) if i < j} == set(training_views.PAIRS)
    mask = torch.zeros(1, 1, CANVAS, CANVAS)
    low, wide = (CANVAS - FIGURE) // 2, FIGURE // 2
    mask[..., low : low + FIGURE, (CANVAS - wide) // 2 : (CANVAS + wide) // 2] = 1
    taught = training_net.folded(mask)[0].numpy()
    seen = reader.frame(box(-0.25, 0, 0.25, 1)).picture[0]
    assert np.abs(taught - seen).mean() < 0.005


def test_packing_loses_nothing() -> None:
    mask = torch.rand(2, 16, 32, generator=torch.Generator().manual_seed(0)) > 0.5
    assert (training_views.unpack(training_views.pack(mask)) == mask).all()


N = len(training_views.POINTS)
FLAT = torch.zeros(1, 3 * N, MAPS, MAPS)


def test_a_pair_has_no_order() -> None:
    where = torch.randn(1, N, MAPS, MAPS, generator=torch.Generator().manual_seed(0)) * 3
    joints = torch.rand(1, N, 2, generator=torch.Generator().manual_seed(1))
    swapped = joints[:, [0, 2, 1, *range(3, N)]]
    one, other = training_net.point_loss(where, FLAT, joints), training_net.point_loss(where, FLAT, swapped)
    assert one.item() == pytest.approx(other.item())
    assert training_marks.point_errors(swapped, joints).max() == 0


def test_a_map_with_its_peak_on_the_joint_is_marked_best() -> None:
    joints = torch.full((1, N, 2), (7 + 0.5) / MAPS)
    right, wrong = torch.zeros(1, N, MAPS, MAPS), torch.zeros(1, N, MAPS, MAPS)
    right[:, :, 7, 7] = 12
    wrong[:, :, 2, 15] = 12
    assert training_net.point_loss(right, FLAT, joints) < training_net.point_loss(wrong, FLAT, joints)
    assert training_marks.peaks(right, FLAT)[0, 0].tolist() == pytest.approx([7.5 / MAPS] * 2, abs=1e-3)


def test_a_bell_moved_within_its_cell_and_narrowed_is_marked_better_still() -> None:
    joints = torch.tensor([7.9 / MAPS, 7.2 / MAPS]).repeat(1, N, 1)
    where = torch.zeros(1, N, MAPS, MAPS)
    where[:, :, 7, 7] = 14
    fine = torch.zeros(1, 3 * N, MAPS, MAPS)
    fine[:, 0::3], fine[:, 1::3] = np.arctanh(0.4), np.arctanh(-0.3)
    narrow = fine.clone()
    narrow[:, 2::3] = -1.5
    assert training_marks.peaks(where, fine)[0, 3].tolist() == pytest.approx(joints[0, 3].tolist(), abs=1e-3)
    surprises = [training_net.point_loss(where, f, joints).item() for f in (FLAT, fine, narrow)]
    assert surprises[0] > surprises[1] > surprises[2]


def test_the_reader_unfolds_maps_as_training_does() -> None:
    gen = torch.Generator().manual_seed(3)
    where, fine = torch.randn(1, N, MAPS, MAPS, generator=gen) * 4, torch.randn(1, 3 * N, MAPS, MAPS, generator=gen)
    bells = reader._bells(where[0].numpy(), fine[0].numpy(), 1)
    x, y, width = training_net.bells(fine)
    for ours, theirs in ((bells.x, x), (bells.y, y), (bells.width, width)):
        assert np.abs(ours - theirs[0].numpy()).max() < 1e-5
    assert reader._places(bells, 0.05)[0] == pytest.approx(training_marks.peaks(where, fine)[0].numpy(), abs=1e-4)


def test_joints_move_with_the_shape() -> None:
    mask = torch.zeros(4, 1, 160, 160)
    mask[:, :, 30:36, 50:56] = 1
    joints = torch.tensor([53 / 160, 33 / 160]).repeat(4, N, 1)
    gen = torch.Generator().manual_seed(4)
    moved, _, there = training_flaws.moved(mask, torch.zeros(4, 6, MAPS, MAPS), joints, gen)
    for one, spot in zip(moved[:, 0], there[:, 0], strict=True):
        y, x = (one > 0.5).nonzero().float().mean(0)
        assert spot.tolist() == pytest.approx([float(x + 0.5) / 160, float(y + 0.5) / 160], abs=0.006)


def test_the_same_seed_trains_the_same_reader(tmp_path: Path, blobs: Callable[[int], Views]) -> None:
    training_views.save_views(tmp_path / "blobs.pt", blobs(24))
    files = [tmp_path / "blobs.pt"]

    def weights(name: str, seed: int, start: Path | None = None) -> torch.Tensor:
        training.learn(tmp_path / name, Fixed(files, torch.device("cpu")), files,
                       training.Plan(steps=2, seed=seed, batch=13, start=start))
        assert "kept_out" in json.loads((tmp_path / name / "report.json").read_text())
        state = torch.load(tmp_path / name / "reader.pt", weights_only=True)
        return torch.cat([v.flatten().float() for v in state.values()])

    one = weights("one", 3)
    assert torch.equal(one, weights("two", 3))
    assert not torch.equal(one, weights("three", 4))
    assert not torch.equal(one, weights("on", 3, tmp_path / "one" / "reader.pt"))


@pytest.fixture(scope="module")
def stock(tmp_path_factory: pytest.TempPathFactory) -> Path:
    pytest.importorskip("anny")
    file = tmp_path_factory.mktemp("stock") / "stock.npz"
    training_views.save_stock(file, 2, 3)
    return file


def test_fresh_poses_take_the_place_of_the_oldest_and_hang_on_the_seed_alone(stock: Path) -> None:
    cpu = torch.device("cpu")
    with ThreadPoolExecutor(1) as pool:
        one, other, third = (Fresh(stock, cpu, seed, 0, pool, held=2, together=1) for seed in (4, 4, 5))
        assert one.poses == 2 and torch.equal(one.views.masks, other.views.masks)
        assert not torch.equal(one.views.masks, third.views.masks)
        before = one.views.masks.clone()
        one.renew(training_fresh.STEPS_EACH + 1)
        assert torch.equal(one.views.masks, before), "not yet"
        one.renew(training_fresh.STEPS_EACH)
        assert one.poses == 3 and torch.equal(one.views.masks[TURN:], before[TURN:])
        assert not torch.equal(one.views.masks[:TURN], before[:TURN])
        other.renew(training_fresh.STEPS_EACH)
        assert torch.equal(one.views.masks, other.views.masks)


@pytest.mark.parametrize("kind", list(KINDS))
def test_every_kind_of_views_is_what_it_says(stock: Path, kind: str) -> None:
    bodies_at_rest = training_views.load_stock(stock, "cpu")
    with torch.no_grad():
        views = training_views.make_views(bodies_at_rest, 2, 6, KINDS[kind])
    assert len(views) == 2 * TURN and int(views.pose[0]) == KINDS[kind].first_pose
    assert views.legibility.min() >= 0 and 0.5 < views.legibility.max() <= 1 and views.joints.isfinite().all()
    height, worn = views.about[:, 7], views.about[:, 8:]
    assert kind != "tilted" or ((height < 0.5) | (height > 1.7)).all()
    assert kind != "neat" or not worn.any()


def test_of_several_tries_the_arms_that_sink_least_are_taken(stock: Path) -> None:
    at_rest = training_views.load_stock(stock, "cpu")
    free, sunk = {"arm_l": (60.0, 0.0, 0.0)}, {"arm_l": (20.0, 88.0, -80.0), "elbow_l": (120.0,)}
    vectors = training_views.rig.pose_vectors([sunk, free, free, sunk])
    posed = training_views.rig.pose_batch(at_rest.rig, at_rest.rest[[0, 0, 1, 1]], at_rest.heads[[0, 0, 1, 1]], vectors)
    assert training_views._least_sunk(at_rest.rig, posed, 2, np.array([True, True])).tolist() == [1, 2]
    assert training_views._least_sunk(at_rest.rig, posed, 2, np.array([False, False])).tolist() == [0, 2]


def test_the_exported_network_says_what_the_trained_one_says(tmp_path: Path, blobs: Callable[[int], Views]) -> None:
    onnx = pytest.importorskip("onnx")
    torch.manual_seed(1)
    net = training_net.ReaderNet()
    torch.save(net.state_dict(), tmp_path / "reader.pt")
    training_views.save_views(tmp_path / "blobs.pt", blobs(24))
    written = [tmp_path / "reader.onnx", tmp_path / "again.onnx"]
    for file in written:
        training.export(tmp_path / "reader.pt", file, tmp_path / "blobs.pt")
    assert written[0].stat().st_size < 3.6e6 and written[0].read_bytes() == written[1].read_bytes()
    assert any(node.op_type == "QuantizeLinear" for node in onnx.load(written[0]).graph.node)
    picture = training.both_looks(blobs(7))[3]
    with torch.no_grad():
        taught = net.eval()(torch.from_numpy(picture))
    read = quiet.network(written[0].read_bytes()).run(["answers", "where", "fine"], {"picture": picture})
    for ours, theirs in zip(read, taught, strict=True):
        assert np.abs(ours - theirs.numpy()).max() <= 0.03 * float(theirs.abs().max())
