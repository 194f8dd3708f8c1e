"""Random pictures: sound, varied, and the same again from the same seed."""

import numpy as np
import pytest

pytest.importorskip("anny")
pytest.importorskip("pyvista")

from silhouette.studio.variety import some_backdrop, some_picture


def test_a_random_picture_shows_a_figure_and_comes_out_the_same_again() -> None:
    picture, mask, known = some_picture(np.random.default_rng([3, 1]))
    again, mask_again, _ = some_picture(np.random.default_rng([3, 1]))
    assert picture.shape[:2] == mask.shape in {(800, 600), (600, 800)}
    assert 0.005 < mask.mean() < 0.6 and known["share"] == pytest.approx(mask.mean(), abs=1e-3)
    assert (picture == again).all() and (mask == mask_again).all()


def test_backdrops_differ() -> None:
    rng = np.random.default_rng(0)
    many = [some_backdrop(rng) for _ in range(60)]
    assert {b.kind for b in many} == {"sweep", "wall"}
    assert len({b.texture for b in many}) >= 4
    brightness = [np.mean(b.wall) for b in many]
    assert min(brightness) < 0.25 and max(brightness) > 0.75
