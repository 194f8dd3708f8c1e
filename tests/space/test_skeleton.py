"""Segments, bends, wires and plumb line of a skeleton made by hand."""

from __future__ import annotations

from itertools import pairwise

import numpy as np
import pytest
import shapely
from hypothesis import given, settings
from hypothesis import strategies as st
from shapely.geometry import MultiPolygon

from silhouette.records_space import Sizes, Taped, TapeLine, Wire, WireRules
from silhouette.space.skeleton import (
    ALONG,
    HEAD_LOOP,
    bends,
    hold,
    joint_names,
    plumb,
    segments,
    suggested,
    tape_factor,
    usual_rules,
    wires,
)
from tests.space.made import PLACES, skeleton_of

FULL = Sizes(1.70, 1.70, "given", 1.0)
RULES = WireRules(gauge_mm=4.0, anchor_mm=50.0, tie_mm=40.0, per_bend_mm=5.0)
UPRIGHT = {
    "crown": (0, 0, 1.7), "neck": (0, 0, 1.45), "shoulder left": (0.2, 0, 1.4), "shoulder right": (-0.2, 0, 1.4),
    "elbow left": (0.2, 0, 1.1), "elbow right": (-0.5, 0, 1.4), "wrist left": (0.2, -0.25, 1.1),
    "wrist right": (-0.75, 0, 1.4), "hand end left": (0.2, -0.45, 1.1), "hand end right": (-0.95, 0, 1.4),
    "hip left": (0.1, 0, 0.9), "hip right": (-0.1, 0, 0.9), "knee left": (0.1, 0, 0.5), "knee right": (-0.1, -0.4, 0.9),
    "ankle left": (0.1, 0, 0.1), "ankle right": (-0.1, -0.4, 0.5), "foot end left": (0.1, -0.2, 0.02),
    "foot end right": (-0.1, -0.6, 0.45),
}
"""Upright: the left arm hangs, bent level to the front; the right one reaches out; the right thigh is raised."""


def named(made, name, side=None):
    return next(one for one in made if (getattr(one, "name", None) or one.joint, getattr(one, "side", None))
                == (name, side))


def wire(skeleton, name, sizes=FULL, rules=RULES) -> Wire:
    return next(w for w in wires(skeleton, sizes, rules) if w.name == name)


def bent(made: Wire) -> np.ndarray:
    """A straight wire bent by the list: (b + 2, 3) start, bends, end, mm; begun along x, first bend about z."""
    here, way, axis, at, points = np.zeros(3), np.array([1.0, 0, 0]), np.array([0, 0, 1.0]), 0.0, [np.zeros(3)]
    for bend in made.bends:
        here, at = here + way * (bend.mark_mm - at), bend.mark_mm
        points.append(here)
        axis = turned(axis, way, bend.turn_deg or 0.0)
        way = turned(way, axis, bend.angle_deg)
    points.append(here + way * (made.start_mm + made.length_mm - at))
    return np.array(points)


def turned(vector: np.ndarray, axis: np.ndarray, degrees: float) -> np.ndarray:
    """Right-handed, Rodrigues."""
    a = np.radians(degrees)
    return vector * np.cos(a) + np.cross(axis, vector) * np.sin(a) + axis * (axis @ vector) * (1 - np.cos(a))


def off(bent_points: np.ndarray, wanted: np.ndarray) -> float:
    """Largest distance once one is moved and turned, never mirrored, onto the other (Kabsch)."""
    a, b = bent_points - bent_points.mean(axis=0), wanted - wanted.mean(axis=0)
    u, _, vt = np.linalg.svd(a.T @ b)
    u[:, -1] *= np.sign(np.linalg.det(u @ vt))
    return float(np.linalg.norm(a @ u @ vt - b, axis=1).max())


# -------------------------------------------------------------------------------------------------------- segments

def test_segments_of_an_upright_figure_have_the_lengths_and_ways_that_one_sees():
    made = segments(skeleton_of(UPRIGHT))
    assert len(made) == 16
    trunk = named(made, "trunk")
    assert (trunk.start, trunk.end) == ("hips", "neck")
    assert trunk.length_m == pytest.approx(0.55) and trunk.tilt_deg == pytest.approx(0) and trunk.heading_deg is None
    assert named(made, "shin", "left").tilt_deg == pytest.approx(180)
    forearm = named(made, "forearm", "left")
    assert (forearm.length_m, forearm.tilt_deg, forearm.heading_deg) == pytest.approx((0.25, 90, 0)), "to the front"
    assert named(made, "upper arm", "right").heading_deg == pytest.approx(90), "to the figure's right"
    assert named(made, "shoulders").heading_deg == pytest.approx(270), "from right to left"


def test_a_length_is_known_as_well_as_its_ends():
    made = segments(skeleton_of(UPRIGHT, within=0.02))
    assert named(made, "thigh", "left").within_m == pytest.approx(ALONG * 0.02 * np.sqrt(2))
    assert named(made, "trunk").within_m == pytest.approx(ALONG * 0.02 * np.sqrt(1.5)), "half of each hip"


def test_nine_lengths_in_ten_lie_within():
    """Joints spread evenly round their place, 9 in 10 inside ``within``."""
    rng = np.random.default_rng(3)
    ends = rng.normal(size=(40_000, 2, 3)) * (0.02 / 2.5003, 0.02 / 2.5003, 0.02 / 2.5003)
    assert np.mean(np.linalg.norm(ends[:, 0], axis=1) < 0.02) == pytest.approx(0.9, abs=0.01)
    errors = np.linalg.norm(ends[:, 1] + (0, 0, 0.4) - ends[:, 0], axis=1) - 0.4
    assert np.mean(np.abs(errors) < ALONG * 0.02 * np.sqrt(2)) == pytest.approx(0.9, abs=0.01)


def test_a_missing_joint_leaves_its_segments_open():
    made = segments(skeleton_of(missing=["knee left"]))
    assert [s.length_m for s in made if "knee left" in (s.start, s.end)] == [None, None]
    assert sum(s.length_m is None for s in made) == 2


# ----------------------------------------------------------------------------------------------------------- bends

@pytest.mark.parametrize(("joint", "side", "angle"), [
    ("knee", "left", 180), ("hip", "left", 180), ("hip", "right", 90), ("knee", "right", 90), ("elbow", "left", 90),
    ("elbow", "right", 180), ("shoulder", "left", 0), ("shoulder", "right", 90), ("neck", None, 180),
])
def test_bends_are_the_angles_that_one_sees(joint, side, angle):
    found = next(b for b in bends(skeleton_of(UPRIGHT)) if (b.joint, b.side) == (joint, side))
    assert found.angle_deg == pytest.approx(angle, abs=1e-6)


def test_a_bend_without_one_of_its_ends_is_open():
    found = {(b.joint, b.side): b.angle_deg for b in bends(skeleton_of(missing=["wrist left"]))}
    assert found["elbow", "left"] is None and found["wrist", "left"] is None and found["shoulder", "left"] is not None


# ----------------------------------------------------------------------------------------------------------- wires

def test_wires_are_those_that_a_sculptor_cuts():
    made = wires(skeleton_of(), FULL, RULES)
    assert [w.name for w in made] == ["leg left", "leg right", "arms", "spine", "foot left", "foot right"]
    legs = made[0]
    assert legs.route == ("base", "ankle left", "knee left", "hip left", "hips", "neck")
    assert made[2].route[0] == "hand end left" and made[2].route[-1] == "hand end right" and len(made[2].route) == 8
    assert made[3].route == ("hips", "neck", "crown", "head loop")


def test_lengths_and_allowances_add_up():
    legs = wire(skeleton_of(UPRIGHT), "leg left")
    assert legs.length_mm == pytest.approx(100 + 400 + 400 + 100 + 550)
    assert [b.at for b in legs.bends] == ["hip left", "hips"], "ankle and knee are straight"
    assert [b.mark_mm for b in legs.bends] == pytest.approx([950, 1050])
    assert [b.angle_deg for b in legs.bends] == pytest.approx([90, 90])
    assert [b.turn_deg for b in legs.bends] == [None, pytest.approx(180)], "in at the hip, then up: the other way"
    assert legs.cut_mm == pytest.approx(1550 + 50 + 40 + 2 * 5)
    spine = wire(skeleton_of(UPRIGHT), "spine")
    assert spine.length_mm + spine.loop_mm == pytest.approx(550 + HEAD_LOOP * 250)


def test_everything_is_as_built():
    small = wire(skeleton_of(), "arms", Sizes(1.7, 1.7, "given", 4.0, 10.0), RULES)
    assert small.length_mm == pytest.approx(wire(skeleton_of(), "arms").length_mm / 4 / 0.9)


@pytest.mark.parametrize("name", ["leg left", "leg right", "arms", "spine", "foot left"])
def test_a_wire_bent_by_the_list_has_the_shape_of_the_figure(name):
    made = wire(skeleton_of(), name)
    at_mm = made.points * 1000
    places = [tuple(at_mm[made.route.index(b.at)]) for b in made.bends]
    first = at_mm[0] - ((0, 0, made.start_mm) if made.route[0] == "base" else
                        made.start_mm * (at_mm[1] - at_mm[0]) / np.linalg.norm(at_mm[1] - at_mm[0]))
    wanted = np.array([first, *places, at_mm[-1]])
    assert off(bent(made), wanted) < 12, "but for bends under two degrees"
    if name in ("arms", "leg left"):
        assert off(bent(made), wanted * (-1, 1, 1)) > 40, "and not that of its mirror image"


@given(st.lists(st.tuples(*[st.floats(-1, 1)] * 3), min_size=3, max_size=8, unique=True))
@settings(max_examples=40, deadline=None)
def test_any_wire_can_be_bent_by_its_list(points):
    from silhouette.space.skeleton import _bends_of

    path = np.array(points) * 1000
    steps = np.diff(path, axis=0)
    ways = steps / np.maximum(np.linalg.norm(steps, axis=1), 1e-9)[:, None]
    angles = [np.degrees(np.arctan2(np.linalg.norm(np.cross(a, b)), a @ b)) for a, b in pairwise(ways)]
    if np.linalg.norm(steps, axis=1).min() < 5 or not all(3 < angle < 177 for angle in angles):
        return
    found = _bends_of([str(i) for i in range(len(path))], path)
    made = Wire("any", (), path, float(np.linalg.norm(steps, axis=1).sum()), 0.0, 0.0, 0.0, 0.0, found)
    assert off(bent(made), path) < 1e-3


def test_a_foot_on_its_toes_or_off_the_ground_is_built_that_way():
    places = {"ankle left": (0.13, -0.1, 0.25), "foot end left": (0.13, -0.22, 0.04),
              "ankle right": (-0.12, 0.3, 0.40), "foot end right": (-0.12, 0.4, 0.25)}
    made = {w.name: w for w in wires(skeleton_of(places), FULL, RULES)}
    assert made["leg left"].route[:3] == ("base", "foot end left", "ankle left") and made["leg left"].start_mm == 50
    assert made["leg right"].route[:2] == ("foot end right", "ankle right") and made["leg right"].start_mm == 0
    assert "foot left" not in made and "foot right" not in made


def test_toes_at_the_ground_still_bend_up_from_the_base():
    flat = wire(skeleton_of({"ankle left": (0.13, -0.1, 0.25), "foot end left": (0.13, -0.25, 0.0)}), "leg left")
    assert flat.route[0] == "foot end left" and flat.bends[0].at == "foot end left"
    assert flat.bends[0].mark_mm == pytest.approx(50)


def test_missing_joints_are_passed_and_said():
    made = {w.name: w for w in wires(skeleton_of(missing=["knee left", "elbow right", "neck"]), FULL, RULES)}
    assert made["leg left"].passed == ("knee left", "neck") and made["leg left"].route[-1] == "hips"
    assert made["leg left"].jumps == (1,), "from the ankle to the hip"
    assert made["arms"].jumps == (4,) and made["spine"].jumps == (0,) and made["leg right"].jumps == ()
    assert made["arms"].passed == ("elbow right",) and "elbow right" not in made["arms"].route
    assert made["spine"].route == ("hips", "crown", "head loop")


def test_nothing_known_means_no_wires():
    nothing = skeleton_of(missing=joint_names())
    assert wires(nothing, FULL) == () and all(s.length_m is None for s in segments(nothing))
    assert all(b.angle_deg is None for b in bends(nothing))
    assert plumb(nothing, (0, 0, 1), None).neck is None


def test_common_practice_grows_with_the_piece():
    heights = [10, 100, 215, 430, 860, 1720, 5000]
    found = [usual_rules(h) for h in heights]
    for one, next_one in pairwise(found):
        assert next_one.gauge_mm >= one.gauge_mm and next_one.anchor_mm >= one.anchor_mm
    assert found[3] == WireRules(4.0, pytest.approx(51.6), 48.0, 4.0)


# ----------------------------------------------------------------------------------------------------------- plumb

def test_the_middle_of_the_volume_over_or_beside_the_feet():
    feet = MultiPolygon([shapely.box(-0.2, -0.1, -0.1, 0.1), shapely.box(0.1, -0.1, 0.2, 0.1)])
    bare = skeleton_of(missing=joint_names())
    inside = plumb(bare, (0.0, 0.0, 0.9), feet)
    assert inside.inside_m == pytest.approx(0.1), "between the feet counts as over them"
    assert plumb(bare, (0.0, -0.15, 0.9), feet).inside_m == pytest.approx(-0.05)
    assert plumb(bare, (0.0, 0.0, 0.9), None).inside_m is None
    assert plumb(bare, (0.0, 0.0, 0.9), MultiPolygon()).inside_m is None


def test_a_foot_that_stands_by_its_joints_counts_though_the_ground_just_misses_it():
    one = MultiPolygon([shapely.box(0.05, -0.3, 0.15, -0.05)])
    standing = skeleton_of({"ankle left": (0.1, -0.1, 0.09), "foot end left": (0.1, -0.3, 0.03),
                            "ankle right": (-0.1, -0.1, 0.11), "foot end right": (-0.1, -0.3, 0.05)})
    assert plumb(standing, (0.0, -0.15, 0.9), one).inside_m > 0.05
    lifted = skeleton_of({"ankle left": (0.1, -0.1, 0.09), "foot end left": (0.1, -0.3, 0.03),
                          "ankle right": (-0.1, -0.1, 0.41), "foot end right": (-0.1, -0.3, 0.35)})
    assert plumb(lifted, (-0.05, -0.15, 0.9), one).inside_m < -0.05
    heel = plumb(standing, (0.0, -0.06, 0.9), None)
    assert heel.inside_m == pytest.approx(0.045, abs=0.003), "heels end 5 cm behind the ankles, soles 3.5 cm further"


def test_the_foot_under_the_neck():
    found = plumb(skeleton_of({"neck": (0.10, -0.2, 1.45)}), (0, 0, 0.9), None)
    assert found.foot == "left" and found.foot_m == pytest.approx(0.03)
    assert plumb(skeleton_of(missing=["ankle left", "ankle right"]), (0, 0, 0.9), None).foot is None


# ------------------------------------------------------------------------------------------------------------ tape

def test_the_tape_is_held_against_the_lengths_and_changes_nothing():
    skeleton = skeleton_of(UPRIGHT, within=0.01)
    lines = hold([Taped("hip left", "knee left", 412.0), Taped("knee left", "crown", 1200.0)], skeleton)
    assert lines[0].found_mm == pytest.approx(400) and lines[0].within_mm == pytest.approx(ALONG * 10 * np.sqrt(2))
    assert lines[1].found_mm == pytest.approx(1000 * np.hypot(0.1, 1.2))


def test_one_odd_length_moves_the_suggestion_little():
    good = [TapeLine("a", end, 1.02 * found, found, 8.0) for end, found in (("b", 400.0), ("c", 300.0), ("d", 500.0))]
    assert suggested(good) == pytest.approx(1.02)
    assert suggested([*good, TapeLine("a", "e", 900.0, 400.0, 8.0)]) == pytest.approx(1.02, abs=0.005)


def test_lengths_that_are_known_better_count_for_more():
    lines = [TapeLine("a", "b", 110, 100, 10), TapeLine("c", "d", 515, 500, 10)]
    assert suggested(lines) == pytest.approx(1.03, abs=0.01)


def test_a_tape_that_meets_no_joint_suggests_nothing():
    lines = hold([Taped("knee left", "ankle left", 400.0)], skeleton_of(missing=["knee left"]))
    assert lines == (TapeLine("knee left", "ankle left", 400.0, None, None),)
    assert suggested(lines) is None and tape_factor(lines) == 1.0 and suggested([]) is None


def test_every_joint_has_a_name():
    assert set(joint_names()) == set(PLACES) and len(joint_names()) == 18
