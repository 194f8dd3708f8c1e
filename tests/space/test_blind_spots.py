"""Parts that stand clear in no view: drawn figures of thick lines, whose answer a person can see."""

from __future__ import annotations

from collections.abc import Sequence
from pathlib import Path
from typing import Any

import cv2
import numpy as np
import pytest

from silhouette.geometry.orbit import StopCamera, project, scaled
from silhouette.records import BlindSpot, BodyPart
from silhouette.space import blind_spots as bs
from silhouette.space import skeleton as sk
from silhouette.space import stature
from tests.space import made

Places = dict[str, tuple[float, float, float]]
ANGLES = range(0, 360, 15)
STANDING = {
    "crown": (0.0, -0.02, 1.70), "neck": (0.0, 0.0, 1.45),
    "shoulder left": (0.17, 0.0, 1.40), "shoulder right": (-0.17, 0.0, 1.40),
    "elbow left": (0.40, 0.0, 1.22), "elbow right": (-0.40, 0.0, 1.22),
    "wrist left": (0.60, 0.0, 1.06), "wrist right": (-0.60, 0.0, 1.06),
    "hand end left": (0.70, 0.0, 0.95), "hand end right": (-0.70, 0.0, 0.95),
    "hip left": (0.09, 0.0, 0.90), "hip right": (-0.09, 0.0, 0.90),
    "knee left": (0.16, 0.0, 0.50), "knee right": (-0.16, 0.0, 0.50),
    "ankle left": (0.20, 0.03, 0.08), "ankle right": (-0.20, 0.03, 0.08),
    "foot end left": (0.22, -0.15, 0.03), "foot end right": (-0.22, -0.15, 0.03),
}
"""Arms spread, legs apart: nothing is hidden."""
BEHIND = STANDING | {
    "elbow right": (-0.26, 0.08, 1.14), "wrist right": (-0.11, 0.20, 0.98), "hand end right": (-0.01, 0.22, 0.92),
}
"""The right hand lies on the small of the back, under a thick coat: see COAT."""
COAT = [((0.0, 0.05, 0.80), (0.0, 0.05, 1.25), 0.24)]


def cameras(height: float, angles: Sequence[float] = ANGLES) -> list[StopCamera]:
    pitch = float(np.degrees(np.arctan2(0.85 - height, 4.0)))
    return [StopCamera(float(a), 4.0, height, pitch, 900.0, 0.0, (400, 520)) for a in angles]


def seen(body: Sequence[Any], camera: StopCamera) -> np.ndarray:
    """What a camera sees of thick lines."""
    picture = np.zeros((camera.size[1], camera.size[0]), np.uint8)
    for p, q, radius in body:
        (a, b), depth = project(camera, np.array([p, q], float))
        wide = [radius * camera.focal_px / d for d in depth]
        for share in np.linspace(0, 1, 40):
            x, y = a + share * (b - a)
            cv2.circle(picture, (round(16 * x), round(16 * y)), round(16 * (wide[0] + share * (wide[1] - wide[0]))), 1,
                       -1, shift=4)
    return picture > 0


def found(places: dict[str, Any], extra: Sequence[Any] = (), heights: dict[str, float] | None = None,
          close_ups: Sequence[str] = (), **skeleton: Any) -> tuple[Any, ...]:
    body, shot, masks, rings = [*made.capsules(places), *extra], [], [], []
    for ring, height in (heights or {"level": 1.0}).items():
        for camera in cameras(height):
            shot.append(camera)
            masks.append(seen(body, camera))
            rings.append(ring)
    return bs.blind_spots(made.skeleton_of(places, **skeleton), masks, shot, rings, close_ups)  # type: ignore[arg-type]


def test_a_figure_with_arms_and_legs_spread_has_no_blind_spot():
    assert found(STANDING) == ()


def test_a_hand_behind_the_back_under_a_coat_is_the_only_blind_spot_and_is_seen_from_behind():
    spots = found(BEHIND, COAT)
    assert {(s.part, s.side) for s in spots} <= {("hand", "right"), ("forearm", "right")}
    hand = one(spots, "hand", "right")
    assert away(hand.angle, 180) <= 60
    assert hand.clear < 0.2 and hand.ring == "level" and hand.covered_by is None
    assert hand.height == pytest.approx(0.95 / 1.70, abs=0.08)


def one(spots: Sequence[BlindSpot], part: str, side: str | None) -> BlindSpot:
    return next(s for s in spots if (s.part, s.side) == (part, side))


def away(angle: float, other: float) -> float:
    return abs((angle - other + 180) % 360 - 180)


def mirrored(places: Places) -> Places:
    other = {"left": "right", "right": "left"}
    return {" ".join(other.get(word, word) for word in name.split()): (-x, y, z) for name, (x, y, z) in places.items()}


def test_the_mirror_image_has_the_other_hand_and_the_mirrored_angle():
    spots, other = found(BEHIND, COAT), found(mirrored(BEHIND), COAT)
    assert [(s.part, s.side) for s in other] == [(s.part, "left") for s in spots]
    assert away(one(other, "hand", "left").angle, -one(spots, "hand", "right").angle) <= 15


def test_a_hand_on_the_belly_is_shown_from_the_front():
    before = {name: (x, -y, z) for name, (x, y, z) in BEHIND.items() if "right" in name and name[0] in "ewh"}
    coat = [((0.0, -0.05, 0.80), (0.0, -0.05, 1.25), 0.24)]
    assert away(one(found(STANDING | before, coat), "hand", "right").angle, 0) <= 60


def test_what_one_view_of_another_ring_shows_is_no_blind_spot():
    body, level, above = made.capsules(BEHIND), cameras(1.0), cameras(2.2, [180.0])
    masks = [seen([*body, *COAT], camera) for camera in level]
    arm = [line for line in body if line[1][0] < -0.005 and line[2] < 0.05]
    masks.append(seen(arm, above[0]))                             # as if nothing but the arm were there
    skeleton, rings = made.skeleton_of(BEHIND), ["level"] * len(level)
    alone = bs.blind_spots(skeleton, masks[:-1], level, rings)    # type: ignore[arg-type]
    assert {(s.part, s.side) for s in alone} == {("hand", "right"), ("forearm", "right")}
    assert bs.blind_spots(skeleton, masks, level + above, [*rings, "high"]) == ()  # type: ignore[list-item]


def test_the_least_clear_part_comes_first():
    coat = [((0.0, 0.0, 0.75), (0.0, 0.0, 1.25), 0.34)]
    spots = found(BEHIND, coat)
    assert {"hand", "forearm"} <= {s.part for s in spots}
    assert [s.clear for s in spots] == sorted(s.clear for s in spots)


@pytest.mark.parametrize("how", [{"missing": ["hand end right"]}, {"unsure": ["wrist right"], "within": 0.05}])
def test_a_part_whose_joints_are_not_known_is_left_out(how: dict[str, Any]):
    assert not any(s.part == "hand" and s.side == "right" for s in found(BEHIND, COAT, **how))


def test_a_joint_that_is_not_sure_but_near_is_judged():
    assert one(found(BEHIND, COAT, unsure=["wrist right"], within=0.02), "hand", "right")


def test_nothing_is_said_without_a_body_or_without_views():
    nobody = made.skeleton_of(missing=sk.joint_names())
    assert bs.blind_spots(nobody, [np.ones((20, 20), bool)], cameras(1.0, [0.0]), ["level"]) == ()
    assert bs.blind_spots(made.skeleton_of(BEHIND), [], [], []) == ()


def test_the_unit_of_length_changes_nothing():
    body, shot = [*made.capsules(BEHIND), *COAT], cameras(1.0)
    masks, rings = [seen(body, c) for c in shot], ["level"] * len(shot)
    skeleton = made.skeleton_of(BEHIND)
    metres = bs.blind_spots(skeleton, masks, shot, rings)          # type: ignore[arg-type]
    heights = bs.blind_spots(stature.moved(skeleton, 0.0, 1 / 1.7), masks, [scaled(c, 1 / 1.7) for c in shot],
                             rings)                                # type: ignore[arg-type]
    assert [(s.part, s.side, s.angle, s.ring) for s in metres] == [(s.part, s.side, s.angle, s.ring) for s in heights]
    assert [s.height for s in metres] == pytest.approx([s.height for s in heights])


def test_the_ring_is_the_one_whose_camera_stood_nearest_to_the_close_up():
    assert one(found(BEHIND, COAT, {"low": 0.3, "level": 1.0}), "hand", "right").ring == "level"
    assert one(found(BEHIND, COAT, {"low": 0.85, "level": 1.6}), "hand", "right").ring == "low"


@pytest.mark.parametrize(("name", "covered"), [
    ("right hand", True), ("Right_Hand", True), ("RightHand 2", True), ("hands", True), ("fingers", True),
    ("hand", True), ("left hand", False), ("handle", False), ("right foot", False), ("backhand", False),
])
def test_a_close_up_covers_what_its_name_says(name: str, covered: bool):
    hand = one(found(BEHIND, COAT, close_ups=["face", name]), "hand", "right")
    assert hand.covered_by == (name if covered else None)


@pytest.mark.parametrize(("part", "side", "name"), [
    ("head", None, "Face"), ("foot", "left", "feet"), ("forearm", "left", "left arm"), ("thigh", "right", "legs"),
    ("shin", "right", "right leg"), ("upper arm", "left", "arms"),
])
def test_every_part_has_names_of_its_own(part: BodyPart, side: Any, name: str):
    assert bs.covered_by(part, side, ["back", name]) == name
    assert bs.covered_by(part, side, ["back"]) is None


@pytest.fixture(scope="module")
def rendered() -> dict[str, Any]:
    """A rendered body in three rings, every other stop of 16, with its true joints and cameras: the left hand is
    raised beside the face, the right one lies before the chest behind the left elbow. Drawn as the truth draws it, the
    right hand shows 0.31 of what a hand shows that stands clear."""
    with np.load(Path(__file__).parents[1] / "data/space/hand_before_the_chest.npz") as f:
        size = tuple(f["size"].tolist())
        places = dict(zip(f["names"].tolist(), map(tuple, f["joints"].tolist()), strict=True))
        return {
            "skeleton": made.skeleton_of(places),
            "masks": list(np.unpackbits(f["masks"], axis=-1, count=size[0]).astype(bool)),
            "cameras": [StopCamera(*row, 0.0, size) for row in f["cameras"].tolist()],
            "rings": f["rings"].tolist(),
        }


def test_a_rendered_hand_before_the_chest_is_found_and_nothing_else(rendered: dict[str, Any]):
    spots = bs.blind_spots(**rendered)
    assert [(s.part, s.side) for s in spots] == [("hand", "right")]
    assert away(spots[0].angle, 0) <= 45 and spots[0].height == pytest.approx(0.75, abs=0.1)


def test_joints_a_little_off_change_nothing(rendered: dict[str, Any]):
    rng = np.random.default_rng(0)
    near = {sk.name_of(j.joint, j.side): tuple(np.asarray(j.at) + rng.normal(0, 0.01, 3))
            for j in rendered["skeleton"].joints}
    spots = bs.blind_spots(**rendered | {"skeleton": made.skeleton_of(near)})
    assert [(s.part, s.side) for s in spots] == [("hand", "right")]
