"""What teaches the cutter must see what the cutter sees."""

import numpy as np
import pytest

from silhouette.cutout import figure_net

torch = pytest.importorskip("torch")


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
