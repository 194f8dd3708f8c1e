"""The empty backdrop: filled, fitted and put together from drawings whose answer can be seen."""

import numpy as np

from silhouette.cutout import plate

H, W = 144, 108


def wall(slope: float = 40.0) -> np.ndarray:
    """A wall that gets darker to picture right, with a darker floor from row 110 and a white skirting above it."""
    picture = np.tile(180 - slope * np.linspace(0, 1, W)[None, :, None], (H, 1, 3)).astype(np.float32)
    picture[110:] *= 0.6
    picture[104:110] = 235
    return picture


def with_figure(picture: np.ndarray) -> np.ndarray:
    shown = picture.copy()
    shown[30:125, 45:63] = (60, 70, 120)
    return shown


def test_fill_carries_a_gradient_behind_what_is_hidden() -> None:
    ramp = np.tile(np.linspace(50, 150, W)[None, :, None], (H, 1, 3)).astype(np.float32)
    weight = np.ones((H, W), np.float32)
    weight[40:100, 40:70] = 0
    hidden = np.where(weight[..., None] > 0, ramp, 0)
    assert np.abs(plate.fill(hidden, weight) - ramp)[40:100, 40:70].max() < 12


def test_cubic_surface_is_exact_for_a_cubic_and_ignores_a_figure() -> None:
    y, x = np.mgrid[-1 : 1 : H * 1j, -1 : 1 : W * 1j]
    true = (150 + 20 * x - 15 * y + 10 * x * y - 12 * x**2 * y + 6 * y**3)[..., None].repeat(3, 2).astype(np.float32)
    found = plate.surface(with_figure(true), np.ones((H, W), np.float32))
    assert np.abs(found - true).max() < 1.5


def test_level_band_needs_both_sides() -> None:
    flat = np.full((H, W, 3), 150, np.float32)
    assert np.abs(plate.bands(wall(0), flat)[105:109] - 85).max() < 1
    stool = flat.copy()
    stool[100:140, :20] = 60
    assert np.abs(plate.bands(stool, flat)).max() == 0


def test_one_picture_gives_wall_skirting_and_floor_behind_the_figure() -> None:
    true = wall()
    found, seen = plate.from_one(with_figure(true))
    off = np.abs(found - true).max(axis=2)
    assert np.percentile(off, 95) < 6
    assert off[60:95, 45:63].max() < 6, "behind the figure"
    assert seen[:100, :40].mean() > 0.95
    assert seen[32:100, 47:61].mean() < 0.02


def test_many_pictures_take_the_lit_state_of_each_spot() -> None:
    thumbs = np.stack([wall()] * 8)
    thumbs[:3, 60:90, 80:100] *= 0.5  # a shadow passes in three of eight
    seen = np.ones((8, H, W), bool)
    seen[:, 30:100, 45:63] = False  # never seen
    found, known = plate.from_many(thumbs, seen, np.stack([wall()] * 8))
    assert np.abs(found - wall()).max() < 1e-3
    assert not known[50, 50] and known[70, 90]


def test_tint_of_a_shadow_is_nothing() -> None:
    true = wall()
    ratio, rest = plate.tint(0.5 * true, true)
    assert np.abs(ratio - 0.5).max() < 0.01 and rest.max() < 1
    _, rest = plate.tint(true * np.array([0.5, 0.7, 1.0], np.float32), true)
    assert rest.min() > 10


def test_noise_is_measured_whatever_the_gradient() -> None:
    rng = np.random.default_rng(0)
    for sigma in (1.0, 4.0):
        noisy = wall() + rng.normal(0, sigma, (H, W, 3)).astype(np.float32)
        assert abs(plate.noise(noisy) - sigma) < 0.25 * sigma + 0.2
