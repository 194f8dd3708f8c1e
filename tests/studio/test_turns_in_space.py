"""Turns with truth in space: what is written agrees with what the camera sees."""

from __future__ import annotations

import json
from pathlib import Path

import cv2
import numpy as np
import pytest

pytest.importorskip("anny")

from silhouette.geometry.orbit import StopCamera, project
from silhouette.studio import turns_in_space


def test_what_is_written_is_what_the_masks_show(tmp_path: Path) -> None:
    turns_in_space.main("masks", tmp_path, 1, 5, "kept", stops=6)
    place = tmp_path / "kept_5_000"
    truth = json.loads((place / "truth.json").read_text())
    camera = truth["camera"]
    focal = camera["focal_35mm"] / 36 * max(camera["width"], camera["height"])
    skin = np.load(place / "body.npz")
    points = np.array(list(truth["joints"].values()))
    assert len(truth["stops"]) == 6
    for stop in truth["stops"]:
        mask = cv2.imread(str(place / stop["mask"]), cv2.IMREAD_GRAYSCALE)
        assert mask is not None
        seen = StopCamera(stop["angle"], camera["distance_m"], camera["height_m"], camera["tilt_deg"], focal, 0.0,
                          (camera["width"], camera["height"]))
        u, v = project(seen, points)[0].astype(int).T
        near = cv2.dilate(mask, np.ones((15, 15), np.uint8))
        assert (near[v, u] > 0).mean() > 0.9, "joints lie within the figure, fingertips about its edge"
        u, v = project(seen, skin["vertices"])[0].astype(int).T
        assert (cv2.dilate(mask, np.ones((3, 3), np.uint8))[v, u] > 0).mean() > 0.999
    tall = truth["pose_height_m"]
    assert skin["vertices"][:, 2].max() == pytest.approx(tall, abs=1e-3)
    assert 35 < truth["volume_l"] < 150


def test_litres_of_a_box() -> None:
    corners = np.array([[x, y, z] for x in (0, 0.2) for y in (0, 0.3) for z in (0, 0.5)], float)
    quads = [(0, 1, 3, 2), (4, 6, 7, 5), (0, 4, 5, 1), (2, 3, 7, 6), (0, 2, 6, 4), (1, 5, 7, 3)]
    faces = np.array([f for a, b, c, d in quads for f in ((a, b, c), (a, c, d))], np.int32)
    assert turns_in_space.litres(corners, faces) == pytest.approx(30.0)


def test_the_same_seed_gives_the_same_turn() -> None:
    one, other = (turns_in_space.some_turn(np.random.default_rng(3), "kinds", 2) for _ in range(2))
    assert one.kind == other.kind == "kneeling"
    np.testing.assert_array_equal(one.figure.points, other.figure.points)
    assert one.camera == other.camera
