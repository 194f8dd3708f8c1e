"""Rooms with an empty picture: what stays, what changes, and what the masks hold."""

import json
from pathlib import Path

import cv2
import numpy as np
import pytest

pytest.importorskip("anny")
pytest.importorskip("pyvista")

from silhouette.studio import furniture, kinds, rooms
from silhouette.studio.cameras import Camera, framed
from silhouette.studio.room import Backdrop, Lamp
from silhouette.studio.scene import Scene, Stage, posed
from silhouette.studio.solids import box, turned_shape

CAMERA = Camera(distance_m=4.0, height_m=1.0, focal_35mm=50, width=180, height=240)
ROUND = np.linspace(-np.pi / 2, np.pi / 2, 30)
BALL = turned_shape([(0.3 * np.cos(a) + 1e-6, 1 + 0.3 * np.sin(a)) for a in ROUND], (0.6, 0.4, 0.3))
QUIET = Scene(Backdrop("wall", (0.7, 0.7, 0.7), behind_m=1.2), (Lamp((-1.5, -2.5, 1.6), 1.0, 0.02),), ambient=0.1,
              noise=0.0, vignette=0.0)


def test_furniture_built_into_the_room_hides_the_wall_and_carries_the_figures_shadow() -> None:
    board = box((1.6, 0.1, 1.6), (0.3, 0.9, 0.2), (0.2, 0.3, 0.8))
    bare, full = Stage(QUIET, CAMERA), Stage(QUIET, CAMERA, board)
    empty = full.empty().astype(int)
    blue = (empty[..., 0] - empty[..., 2] > 25)
    assert blue.mean() > 0.1 and not ((bare.empty()[..., 0].astype(int) - bare.empty()[..., 2]) > 25).any()
    picture, mask = full.shoot(posed(BALL), 0.0)
    dark = (empty.mean(2) - picture.mean(2) > 20) & ~mask
    assert (dark & blue).sum() > 100, "the shadow falls on the board"
    assert (mask == bare.shoot(posed(BALL), 0.0)[1]).all()


def test_what_a_figure_stands_on_is_in_the_picture_and_not_in_the_mask() -> None:
    high = turned_shape([(0.0, 0.0), (0.5, 0.0), (0.5, 0.5), (0.0, 0.5)], (0.9, 0.9, 0.9))
    before = box((0.1, 0.05, 2.0), (0.0, -0.5, 0.0), (0.1, 0.1, 0.1))
    stage = Stage(QUIET, CAMERA)
    alone = stage.mask(posed(BALL), 0.0)
    on_plinth = posed(BALL, high)
    assert (stage.mask(on_plinth, 0.0) == alone).all()
    shown = np.abs(stage.shoot(on_plinth, 0.0)[0].astype(int) - stage.shoot(posed(BALL), 0.0)[0]).sum(2) > 30
    assert shown[~alone].any(), "the plinth is seen"
    hidden = alone & ~stage.mask(posed(BALL, before), 0.0)
    assert 0.03 < hidden.sum() / alone.sum() < 0.5, "what is nearer hides the figure"
    assert stage.mask(posed(BALL, before), 180.0).sum() == alone.sum(), "it turns along with the figure"


def test_a_room_comes_out_the_same_again_and_its_pictures_differ_by_more_than_the_figure(tmp_path: Path) -> None:
    for name in "ab":
        rooms.shoot_room(tmp_path / name, [3, 1, 0], stops=2)
    rows = json.loads((tmp_path / "a" / "truth.json").read_text())
    assert len(rows) == 2 and {"drawn room"} == {row["kind"] for row in rows}
    files = ["empty.jpg", *(row["file"] for row in rows), *(row["mask"] for row in rows)]
    assert all((tmp_path / "a" / f).read_bytes() == (tmp_path / "b" / f).read_bytes() for f in files)
    empty = cv2.imread(str(tmp_path / "a" / "empty.jpg")).astype(float)
    for row in rows:
        picture = cv2.imread(str(tmp_path / "a" / row["file"])).astype(float)
        mask = cv2.imread(str(tmp_path / "a" / row["mask"]), 0) > 127
        assert 0.01 < mask.mean() < 0.4
        apart = np.abs(picture - empty).mean(2)
        assert apart[mask].mean() > 2 * apart[~mask].mean(), "the figure is what differs most"
        assert apart[~mask].mean() > 1.5, "light, nudge and shadow differ too"


def test_a_photograph_becomes_a_room_with_the_figures_shadow_on_it() -> None:
    rng = np.random.default_rng(5)
    photo = cv2.resize(rng.integers(60, 220, (12, 16, 3), dtype=np.uint8), (640, 480), interpolation=cv2.INTER_CUBIC)
    room = rooms.PhotoRoom(rng, np.asarray(photo, np.uint8), Camera(focal_35mm=50, width=180, height=240))
    still = rooms.Drift()
    empty, nobody = room.take(None, 0.0, still)
    room.depths, room.softness, room.floor_way = (0.0, 0.0), 3.0, (0.6, 0.3)
    unshaded, mask = room.take(posed(BALL), 0.0, still)
    room.depths = (0.7, 0.0)
    picture, same = room.take(posed(BALL), 0.0, still)
    assert picture.shape == empty.shape == (240, 180, 3) and not nobody.any() and mask.any() and (mask == same).all()
    darker = (unshaded.astype(float) - picture).mean(2)
    assert 0.1 < (darker[~mask] > 15).sum() / mask.sum() < 1.0
    assert np.abs(darker[mask]).mean() < 3, "the figure itself is not shaded"


def test_the_lens_is_widened_until_the_whole_figure_is_in_the_frame() -> None:
    close = Camera(distance_m=2.0, height_m=1.0, focal_35mm=90, width=180, height=240)
    wide = framed(close, BALL.points, [0.0, 90.0])
    mask = Stage(QUIET, wide).mask(posed(BALL), 90.0)
    rows_, columns = np.nonzero(mask)
    assert rows_.min() >= 6 and rows_.max() < 234 and columns.min() >= 5 and columns.max() < 175
    assert wide.focal_35mm < close.focal_35mm and framed(wide, BALL.points, [0.0]) == wide


def test_the_nudge_moves_picture_and_mask_alike() -> None:
    room = rooms.DrawnRoom(np.random.default_rng(2), CAMERA)
    _, mask = room.take(posed(BALL), 0.0, rooms.Drift())
    _, moved = room.take(posed(BALL), 0.0, rooms.Drift(nudge=(2.0, -3.0)))
    assert (np.roll(mask, (-3, 2), axis=(0, 1)) != moved).sum() <= 2


@pytest.mark.parametrize("name", [*rooms.ON_WALL, *rooms.BEFORE_WALL])
def test_every_piece_of_furniture_stands_on_the_floor_or_hangs_over_it(name: str) -> None:
    mesh = rooms.one_thing(name, np.random.default_rng(1), 0.0)
    low, high = mesh.points[:, 2].min(), mesh.points[:, 2].max()
    assert low > -0.05 and 0.4 < high < 3.0 and np.abs(mesh.points[:, :2]).max() < 2.5
    assert mesh.triangles.max() < len(mesh.points) == len(mesh.albedo)
    assert mesh.albedo.min() >= 0 and mesh.albedo.max() <= 1


def test_a_curtain_sways_at_its_hem_and_not_at_its_rail() -> None:
    hanging, swung = (furniture.curtain(np.random.default_rng(0), s).points for s in (0.0, 0.1))
    rail, hem = hanging[:, 2] > 1.9, hanging[:, 2] < 0.1
    assert np.abs(swung - hanging)[rail].max() < 0.005 and np.abs(swung - hanging)[hem].max() > 0.08


def test_the_halves_of_a_kind_differ_and_it_comes_out_the_same_again(tmp_path: Path) -> None:
    for name in "ab":
        kinds.shoot(tmp_path / name, "chair", 5, each=1)
    rows = json.loads((tmp_path / "a" / "truth.json").read_text())
    assert [row["held"] for row in rows] == [False, True]
    assert all((tmp_path / "a" / r["file"]).read_bytes() == (tmp_path / "b" / r["file"]).read_bytes() for r in rows)
    tuned, held = (cv2.imread(str(tmp_path / "a" / row["file"])) for row in rows)
    assert np.abs(tuned.astype(int) - held).mean() > 5
    for row in rows:
        figure, both = (cv2.imread(str(tmp_path / "a" / row[k]), 0) > 127 for k in ("mask", "with_chair"))
        assert (both | ~figure).all() and both.sum() > 1.02 * figure.sum(), "with the chair there is more of it"
        rows_, columns = np.nonzero(both)
        assert rows_.min() > 0 and rows_.max() < both.shape[0] - 1 and columns.min() > 0


def test_coat_tails_leave_the_front_open_and_hide_the_thighs_behind() -> None:
    from silhouette.studio.bodies import Build, pose_body

    body = pose_body(Build(), {})
    tails = kinds.coat_tails(body, (0.2, 0.2, 0.2), np.random.default_rng(0))
    hip = body.joints["hip_l"][2]
    assert tails.points[:, 2].min() < 0.75 * hip and tails.points[:, 2].max() > hip
    middle = (body.joints["hip_l"] + body.joints["hip_r"])[:2] / 2
    ways = np.degrees(np.arctan2(*(tails.points[:, :2] - middle).T[::-1]))
    assert not ((ways > -100) & (ways < -80)).any(), "open to the front"
    assert ((ways > 80) & (ways < 100)).any()
