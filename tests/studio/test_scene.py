"""Photographs of a ball, whose outline is known in closed form."""

import numpy as np
import pytest

pytest.importorskip("pyvista")

from silhouette.studio.cameras import Camera
from silhouette.studio.room import Backdrop, Lamp
from silhouette.studio.scene import Scene, Stage, Standing, posed
from silhouette.studio.solids import box, turned_shape

CAMERA = Camera(distance_m=4.0, height_m=1.0, focal_35mm=50, width=240, height=320)
RADIUS = 0.4
ARC = np.linspace(-np.pi / 2, np.pi / 2, 40)
BALL = posed(turned_shape([(RADIUS * np.cos(a) + 1e-6, 1 + RADIUS * np.sin(a)) for a in ARC], (0.6, 0.4, 0.3)))
QUIET = Scene(Backdrop("wall", (0.7, 0.7, 0.7), behind_m=1.0), noise=0.0, vignette=0.0)


def test_the_mask_is_the_balls_outline() -> None:
    _, mask = Stage(QUIET, CAMERA).shoot(BALL, 0.0)
    # A ball of radius r at distance d is seen under the half angle asin(r / d).
    seen = CAMERA.focal_px * np.tan(np.arcsin(RADIUS / 4.0))
    assert mask.sum() == pytest.approx(np.pi * seen**2, rel=0.01)
    rows, columns = np.nonzero(mask)
    assert columns.mean() == pytest.approx(119.5, abs=0.3) and rows.mean() == pytest.approx(159.5, abs=0.3)


def test_a_step_aside_moves_the_mask_by_what_perspective_says() -> None:
    stage = Stage(QUIET, CAMERA)
    _, mask = stage.shoot(BALL, 0.0, at=Standing(shift=(0.3, 0.0)))
    assert np.nonzero(mask)[1].mean() == pytest.approx(119.5 + 0.3 / 4.0 * CAMERA.focal_px, abs=1.0)


def test_furniture_behind_is_not_figure_and_whoever_stands_before_hides_it() -> None:
    stage = Stage(QUIET, CAMERA)
    _, alone = stage.shoot(BALL, 0.0)
    behind, before = (posed(box((0.4, 0.1, 2.0), (0.2, y, 0.0), (0.1, 0.1, 0.1))) for y in (0.6, -1.0))
    _, with_behind = stage.shoot(BALL, 0.0, (behind,))
    _, with_before = stage.shoot(BALL, 0.0, (before,))
    assert (with_behind == alone).all()
    assert with_before.sum() < 0.7 * alone.sum() and not (with_before & ~alone).any()


def test_the_lamps_side_is_brighter_and_the_wall_has_a_shadow() -> None:
    lamp = (Lamp((-2.0, -2.0, 1.0), 1.0, 0.02),)
    scene = Scene(Backdrop("wall", (0.7, 0.7, 0.7), behind_m=1.0), lamp, ambient=0.1, noise=0.0, vignette=0.0)
    stage = Stage(scene, CAMERA)
    picture, mask = stage.shoot(BALL, 0.0)
    grey, empty = picture.mean(axis=2), stage.empty().mean(axis=2)
    rows, columns = np.nonzero(mask)
    lit, unlit = (grey[rows[side], columns[side]].mean() for side in (columns < 110, columns > 130))
    assert lit > 1.3 * unlit
    darker = (grey < 0.75 * empty) & ~mask
    assert darker.sum() > 300 and np.nonzero(darker)[1].mean() > 150


def test_motion_blur_and_noise_leave_the_mask_alone() -> None:
    _, still = Stage(QUIET, CAMERA).shoot(BALL, 0.0)
    noisy = Scene(QUIET.backdrop, noise=20.0, blur_px=15.0)
    picture, mask = Stage(noisy, CAMERA).shoot(BALL, 0.0)
    assert (mask == still).all()
    flat = Stage(QUIET, CAMERA).empty()[10:60, 10:60].astype(float)
    assert 10 < (picture[10:60, 10:60] - flat).std() < 35


def test_the_same_scene_gives_the_same_picture() -> None:
    scene = Scene(noise=3.0, seed=4)
    first, second = (Stage(scene, CAMERA).shoot(BALL, 10.0)[0] for _ in range(2))
    assert (first == second).all()


def test_a_leaning_layer_keeps_its_foot_and_moves_its_top() -> None:
    _, layer, _ = Stage(QUIET, CAMERA).layers(BALL, 0.0)
    leaned = layer.leaned(6.0, (320, 240))

    def middle(cover: np.ndarray, box: tuple[slice, slice], row: int) -> float:
        line = cover[row - box[0].start]
        return float((line * np.arange(len(line))).sum() / line.sum() + box[1].start)

    top, low = layer.box[0].start + 5, layer.box[0].stop - 5
    assert middle(leaned.cover, leaned.box, top) - middle(layer.cover, layer.box, top) == pytest.approx(6.0, abs=0.7)
    assert middle(leaned.cover, leaned.box, low) - middle(layer.cover, layer.box, low) == pytest.approx(0.0, abs=0.7)
