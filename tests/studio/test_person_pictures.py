"""Pictures of people with exact masks, and the training on them: small, on the processor."""

from __future__ import annotations

import shutil
from io import BytesIO
from pathlib import Path

import numpy as np
import pytest

pytest.importorskip("torch")
pytest.importorskip("anny")
if shutil.which("g++") is None:
    pytest.skip("the rasteriser needs a C++ compiler", allow_module_level=True)

import torch
from PIL import Image

from silhouette.studio import person_training, training_views
from silhouette.studio.person_figures import HAIR, SEAT, SKIN, joined_at, normals_of, pose_pool
from silhouette.studio.person_network import MULTIPLE, PersonNet
from silhouette.studio.person_pictures import Mill
from silhouette.studio.person_places import Material
from silhouette.studio.person_raster import NOTHING, Dice, Mesh, depth, empty


def _packed(pictures: list[np.ndarray]) -> dict[str, np.ndarray]:
    data = []
    for picture in pictures:
        held = BytesIO()
        Image.fromarray(picture).save(held, "JPEG", quality=90)
        data.append(held.getvalue())
    return {"data": np.frombuffer(b"".join(data), np.uint8), "index": np.cumsum([0, *map(len, data)])}


@pytest.fixture(scope="module")
def material(tmp_path_factory: pytest.TempPathFactory) -> Path:
    folder, rng = tmp_path_factory.mktemp("material"), np.random.default_rng(1)
    photos = [np.kron(rng.integers(0, 255, (8, 12, 3)), np.ones((64, 64, 1))).astype(np.uint8) for _ in range(3)]
    np.savez(folder / "photos.npz", **_packed(photos))
    np.savez(
        folder / "textures.npz", **_packed([rng.integers(0, 255, (256, 256, 3)).astype(np.uint8) for _ in range(2)])
    )
    np.savez(folder / "light.npz", hdr=rng.uniform(0, 3, (2, 64, 128, 3)).astype(np.float16))
    training_views.save_stock(folder / "stock.npz", 2, 5)
    return folder


@pytest.fixture(scope="module")
def mill(material: Path) -> Mill:
    stock = training_views.load_stock(material / "stock.npz", "cpu")
    return Mill(Material(material, "cpu"), stock, pose_pool(20, 1), 3)


TRIANGLE = torch.tensor([[[2.0, 2.0, 4.0], [14.0, 2.0, 4.0], [2.0, 14.0, 4.0]]])


def test_a_triangle_covers_the_pixels_whose_middles_it_holds() -> None:
    pixels = empty(1, 16, 16, "cpu")
    Mesh(TRIANGLE, torch.tensor([[0, 1, 2]])).draw(pixels)
    y, x = np.mgrid[0:16, 0:16] + 0.5
    inside = (x > 2) & (y > 2) & (x + y < 16)
    drawn = (pixels[0] != NOTHING).numpy()
    on_the_edge = np.abs(x + y - 16) < 1e-6
    assert (drawn == inside)[~on_the_edge].all()
    assert depth(pixels)[0, 3, 3] == pytest.approx(4.0)
    assert depth(pixels)[0, 15, 15] == 1e6


def test_the_nearer_face_is_seen_whatever_the_order() -> None:
    near = TRIANGLE * torch.tensor([1.0, 1.0, 0.5])
    for points in (torch.cat([TRIANGLE, near], 1), torch.cat([near, TRIANGLE], 1)):
        pixels = empty(1, 16, 16, "cpu")
        Mesh(points, torch.tensor([[0, 1, 2], [3, 4, 5]])).draw(pixels)
        assert depth(pixels)[0, 4, 4] == pytest.approx(2.0)


def test_what_points_carry_is_blended_in_perspective() -> None:
    points = torch.tensor([[[0.0, 0.0, 1.0], [16.0, 0.0, 3.0], [0.0, 16.0, 1.0]]])
    mesh, pixels = Mesh(points, torch.tensor([[0, 1, 2]])), empty(1, 16, 16, "cpu")
    mesh.draw(pixels)
    where = torch.tensor([0 * 16 + 7])
    told, nearest = mesh.sample(pixels, where, torch.tensor([[[0.0], [1.0], [0.0]]]))
    share = 7.5 / 16  # half way in the picture is a quarter of the way in the room
    assert told[0, 0] == pytest.approx(share / 3 / (share / 3 + 1 - share), abs=1e-4)
    assert nearest[0] == 0


def test_normals_of_a_cube_point_outward() -> None:
    corners = torch.tensor([[x, y, z] for x in (-1.0, 1.0) for y in (-1.0, 1.0) for z in (-1.0, 1.0)])
    sides = [(0, 1, 3, 2), (4, 6, 7, 5), (0, 4, 5, 1), (2, 3, 7, 6), (0, 2, 6, 4), (1, 5, 7, 3)]
    faces = torch.tensor([f for a, b, c, d in sides for f in ((a, b, c), (a, c, d))])
    normals = normals_of(corners[None], faces, joined_at(faces, 8))[0]
    assert ((normals * corners).sum(1) > 0.9).all()


def test_pictures_and_shares_belong_together(mill: Mill) -> None:
    picture, share = mill.pictures(6, 96, 64)
    assert picture.shape == (6, 3, 96, 64) and share.shape == (6, 1, 96, 64)
    assert picture.min() >= 0 and picture.max() <= 1 and share.min() >= 0 and share.max() <= 1
    covered = share.mean((1, 2, 3))
    assert (covered > 0.005).sum() >= 4 and covered.max() < 0.95
    assert torch.isfinite(picture).all()


def test_the_same_seed_makes_the_same_pictures(material: Path) -> None:
    stock = training_views.load_stock(material / "stock.npz", "cpu")
    made = [Mill(Material(material, "cpu"), stock, pose_pool(20, 1), seed).pictures(2, 64, 64)[0] for seed in (4, 4, 5)]
    assert torch.equal(made[0], made[1])
    assert not torch.equal(made[0], made[2])


def test_figures_wear_skin_and_hair_and_seats_are_none_of_them(mill: Mill) -> None:
    figures = mill.wardrobe.figures(4)
    kinds = set(figures.kind.unique().tolist())
    assert {SKIN, HAIR, SEAT} <= kinds
    assert figures.points.shape == figures.normals.shape == figures.cloth.shape
    assert int(mill.wardrobe.faces.max()) == figures.points.shape[1] - 1
    assert torch.isfinite(figures.points).all()


def test_dice_pick_by_their_shares() -> None:
    picked = Dice(1, "cpu").pick([0.5, 0.0, 0.5], 2000)
    assert set(picked.tolist()) == {0, 2}
    assert abs(float((picked == 0).float().mean()) - 0.5) < 0.05


def test_the_network_answers_at_full_size_and_once_more_coarsely() -> None:
    net = PersonNet()
    odds, coarse = net(torch.rand(2, 3, 2 * MULTIPLE, MULTIPLE) * 255)
    assert odds.shape == (2, 1, 2 * MULTIPLE, MULTIPLE)
    assert coarse.shape == (2, 1, 2 * MULTIPLE // 8, MULTIPLE // 8)
    assert net.eval()(torch.rand(1, 3, MULTIPLE, MULTIPLE) * 255).shape == (1, 1, MULTIPLE, MULTIPLE)


def test_training_stops_goes_on_and_is_exported(
    material: Path, tmp_path: Path, monkeypatch: pytest.MonkeyPatch
) -> None:
    for name, value in {"SHAPES": ((64, 64),), "MADE": 2, "BATCH": 2, "KEPT": 4, "POSES": 20, "NOTED": 2}.items():
        monkeypatch.setattr(person_training, name, value)
    monkeypatch.setattr(person_training.Learner, "marks", lambda self: {})
    person_training.learn(tmp_path / "a", material, 4, 7, seconds=0)
    first = (tmp_path / "a" / "curve.jsonl").read_text().splitlines()
    person_training.learn(tmp_path / "a", material, 4, 7)
    notes = (tmp_path / "a" / "curve.jsonl").read_text().splitlines()
    assert '"step": 2' in first[-1] and len(first) == 2
    assert '"began": 2' in notes[2] and '"step": 4' in notes[-1]
    person_training.learn(tmp_path / "b", material, 4, 7, seconds=0)
    assert (tmp_path / "b" / "curve.jsonl").read_text().splitlines()[-1].split("sha256")[1] == first[-1].split(
        "sha256"
    )[1]
    onnxruntime = pytest.importorskip("onnxruntime")
    pytest.importorskip("onnx")
    person_training.export(tmp_path / "a", tmp_path / "net.onnx")
    assert (tmp_path / "net.onnx").stat().st_size < 6_000_000
    session = onnxruntime.InferenceSession(tmp_path / "net.onnx", providers=["CPUExecutionProvider"])
    seen = np.random.default_rng(0).uniform(0, 255, (1, 3, 64, 96)).astype(np.float32)
    assert session.run(["odds"], {"picture": seen})[0].shape == (1, 1, 64, 96)


def test_overlap_of_nobody_with_nobody_is_whole() -> None:
    nothing = torch.zeros(1, 1, 16, 16)
    assert person_training.overlap(nothing - 1, nothing).item() == 1
    half = nothing.clone()
    half[..., :8] = 1
    assert person_training.overlap(torch.ones(1, 1, 16, 16), half).item() == 0.5
