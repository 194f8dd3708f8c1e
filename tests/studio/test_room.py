"""The room: surfaces where geometry puts them, light that falls off, shadows where the ray says."""

import numpy as np
import pytest

from silhouette.studio.raster import Eye
from silhouette.studio.room import Backdrop, Lamp, Shadows, linear, surfaces

EYE = Eye((0.0, -4.0, 1.0), (0.0, 0.0, 1.0), 300.0, 120, 160)


def test_srgb_curve() -> None:
    # IEC 61966-2-1: mid grey 0.5 is 0.2140 in linear light.
    assert linear((0.0, 0.5, 1.0)) == pytest.approx([0.0, 0.21404, 1.0], abs=1e-4)


def test_wall_and_floor_meet_in_an_edge() -> None:
    room = surfaces(Backdrop("wall", behind_m=1.5), EYE)
    y, z = room.points[..., 1], room.points[..., 2]
    on_floor = np.abs(z) < 1e-6
    assert on_floor.any() and (~on_floor).any()
    assert y[~on_floor] == pytest.approx(1.5) and (y[on_floor] <= 1.5 + 1e-9).all()


def test_curved_paper_joins_floor_and_wall_smoothly() -> None:
    room = surfaces(Backdrop("sweep", behind_m=1.8, curve_m=0.8), EYE)
    y, z = room.points[..., 1], room.points[..., 2]
    curve = (z > 1e-6) & (z < 0.8 - 1e-6) & (y < 1.8 - 1e-6)
    assert curve.any()
    assert np.hypot(y[curve] - 1.0, z[curve] - 0.8) == pytest.approx(0.8)
    # Down a column the normal turns from the wall's to the floor's without a jump.
    steps = np.linalg.norm(np.diff(room.normals[:, 60], axis=0), axis=1)
    assert steps.max() < 0.12
    assert np.linalg.norm(room.normals, axis=-1) == pytest.approx(1.0)


def test_light_falls_with_the_square_of_the_distance() -> None:
    lamp = Lamp((0.0, -2.0, 1.0), 0.8)
    _, strength = lamp.reach(np.array([[0.0, 0.0, 1.0], [0.0, 2.0, 1.0]]))
    assert strength == pytest.approx([0.8, 0.2])


@pytest.mark.parametrize("radius", [0.02, 0.5])
def test_a_shadow_falls_behind_and_softens_with_the_lamp(radius: float) -> None:
    lamp = Lamp((0.0, -3.0, 1.0), 1.0, radius)
    wall = np.stack(np.meshgrid(np.linspace(-1.5, 1.5, 301), [1.5], [1.0], indexing="ij"), axis=-1)[:, :, 0]
    black = np.zeros((512, 512), bool)
    u = lamp.eye().project(np.array([[-0.2, 0.0, 1.0], [0.2, 0.0, 1.0]]))[:, 0].round().astype(int)
    black[:, u[0]:u[1]] = True
    dark = Shadows(lamp, wall).fall(black)[:, 0]
    x = wall[:, 0, 0]
    # The edge at 0.2 m on the axis, 3 m from the lamp, falls on the wall 4.5 m from it at 0.3 m.
    edge = np.interp(0.5, dark[x > 0][::-1], x[x > 0][::-1])
    assert edge == pytest.approx(0.3, abs=0.02)
    assert dark[np.abs(x) > 1.2].max() < 0.02 and dark[150] > 0.9
    width = (np.interp(0.2, dark[x > 0][::-1], x[x > 0][::-1]) - np.interp(0.8, dark[x > 0][::-1], x[x > 0][::-1]))
    assert (width < 0.03) if radius < 0.1 else (width > 0.1)


@pytest.mark.parametrize("texture", ["plaster", "bricks", "boards", "stripes"])
def test_textures_stay_near_the_colour(texture: str) -> None:
    plain, covered = (surfaces(Backdrop("wall", (0.6, 0.6, 0.6), texture=t), EYE).albedo for t in ("", texture))
    ratio = covered / plain
    assert ratio.std() > 0.01 and 0.8 < ratio.mean() < 1.2 and ratio.min() > 0.3


def test_unknown_texture_is_refused() -> None:
    with pytest.raises(ValueError, match="velvet"):
        surfaces(Backdrop("wall", texture="velvet"), EYE)
