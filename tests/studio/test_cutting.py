"""What teaches the cutter must see what the cutter sees."""

import os
import pickle
from collections.abc import Iterator
from pathlib import Path

import cv2
import numpy as np
import pytest

from silhouette.cutout import figure_net
from silhouette.studio.cutting_pictures import Seen

torch = pytest.importorskip("torch")


@pytest.fixture
def free_torch() -> Iterator[None]:
    """Whatever a training asks of torch is taken back."""
    before = dict(os.environ)
    yield
    torch.use_deterministic_algorithms(False)
    os.environ.clear()
    os.environ.update(before)


@pytest.fixture(scope="module")
def bodies(tmp_path_factory: pytest.TempPathFactory) -> Path:
    """Two bodies that are plain ovals."""
    seen = []
    for wide in (60, 90):
        mask = np.zeros((200, wide), np.uint8)
        cv2.ellipse(mask, (wide // 2, 100), (wide // 2 - 2, 98), 0, 0, 360, 255, -1)
        painted = cv2.imencode(".jpg", np.repeat(mask[..., None] // 2, 3, axis=2))[1].tobytes()
        seen.append(Seen(painted, painted, cv2.imencode(".png", mask)[1].tobytes()))
    path = tmp_path_factory.mktemp("bodies") / "bodies.pkl"
    path.write_bytes(pickle.dumps(seen))
    return path


@pytest.fixture(scope="module")
def stock(bodies: Path, tmp_path_factory: pytest.TempPathFactory) -> Path:
    from silhouette.studio import cutting

    folder = tmp_path_factory.mktemp("stock")
    cutting.make_stock(folder, bodies, 12, seed=3, workers=2, together=5)
    return folder


def held(folder: Path) -> list[tuple[str, bytes]]:
    return [(name, array.tobytes()) for file in sorted(folder.glob("*.npz")) for name, array in np.load(file).items()]


def test_a_stock_is_the_same_for_any_number_of_processes(stock: Path, bodies: Path, tmp_path: Path) -> None:
    from silhouette.studio import cutting

    record = cutting.make_stock(tmp_path, bodies, 12, seed=3, workers=1, together=5)
    assert held(tmp_path) == held(stock)
    assert record["sha256"] in (stock / "stock.json").read_text()


def test_another_seed_or_number_is_another_picture(bodies: Path) -> None:
    from silhouette.studio import cutting

    seen = pickle.loads(bodies.read_bytes())
    seeds = [3, 0], [3, 0], [3, 1], [4, 0]
    first, again, *others = (cutting.one_sample(np.random.default_rng(seed), seen) for seed in seeds)
    assert all(np.array_equal(a, b) for a, b in zip(first, again, strict=True))
    assert all(other[0].shape != first[0].shape or (other[0] != first[0]).any() for other in others)


def test_training_again_gives_the_same_weights(stock: Path, tmp_path: Path, free_torch: None,
                                               monkeypatch: pytest.MonkeyPatch) -> None:
    from silhouette.studio import cutting

    monkeypatch.setattr(cutting, "BATCH", 3)
    monkeypatch.setattr(cutting, "SMALLEST", 2)
    reports = [cutting.learn(tmp_path / str(i), stock, stock, steps=4, seed=seed) for i, seed in enumerate((5, 5, 6))]
    assert reports[0] == reports[1]
    digests = [r["weights_sha256"] for r in reports]
    weights = torch.load(tmp_path / "1" / "net.pt", weights_only=True)
    assert digests[0] == cutting.digest_of(weights) != digests[2]
    assert reports[0]["stock"]["seed"] == 3 and reports[0]["curve"][-1]["step"] == 4


def test_batches_show_every_row_before_any_comes_again(monkeypatch: pytest.MonkeyPatch) -> None:
    from silhouette.studio import cutting

    monkeypatch.setattr(cutting, "BATCH", 4)
    monkeypatch.setattr(cutting, "SMALLEST", 2)
    drawn = cutting.batches([8, 6, 1], seed=0)
    once = [next(drawn) for _ in range(4)]
    for group, count in enumerate((8, 6)):
        assert sorted(np.concatenate([rows for at, rows in once if at == group])) == list(range(count))
    assert [len(rows) for _, rows in once] != [4] * 4 and {at for at, _ in once} == {0, 1}
    with pytest.raises(ValueError, match="no 2 pictures"):
        next(cutting.batches([1], seed=0))


def test_training_and_cutting_see_the_same_planes() -> None:
    from silhouette.studio import cutting

    rng = np.random.default_rng(0)
    picture, backdrop = (rng.uniform(0, 255, (96, 64, 3)).astype(np.float32) for _ in range(2))
    taught = cutting.planes(*(torch.from_numpy(a).permute(2, 0, 1)[None] for a in (picture, backdrop)),
                            torch.tensor([1.3]))
    assert np.abs(taught[0].numpy() - figure_net.planes(picture, backdrop, 1.3)).max() < 1e-5


def test_network_answers_at_the_size_it_sees() -> None:
    from silhouette.studio import cutting

    with torch.no_grad():
        assert cutting.Net().eval()(torch.zeros(1, figure_net.PLANES, 96, 64)).shape == (1, 1, 96, 64)


def test_loss_prefers_the_truth() -> None:
    from silhouette.studio import cutting

    alpha = torch.zeros(1, 1, 64, 64)
    alpha[..., 20:40, 20:40] = 1
    right, wrong = 8 * (alpha - 0.5), 8 * (alpha.roll(8, 3) - 0.5)
    assert cutting.loss_of(right, alpha) < 0.2 * cutting.loss_of(wrong, alpha)
