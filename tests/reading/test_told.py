"""The numbers of the verdict, worked out by hand."""

from __future__ import annotations

import pytest

from silhouette.reading import view
from silhouette.reading import weights as w
from silhouette.records import BodyReading, Joint, LimbLegibility, Measures, Tangent

PAIRS = ("hand", "elbow", "foot", "knee")


def joint(name: str, sure: float) -> Joint:
    return Joint(name, 0.5, 0.5, 0.02, sure)


def measures(**numbers: float | tuple[Tangent, ...]) -> Measures:
    plain = {"negative_space": 0.2, "contour_complexity": 5.0, "limb_separation": 0.5, "gaps": (), "parts": (),
             "tangents": (), "solidity": 0.6, "circularity": 0.2, "convexity": 0.7, "symmetry": 0.7}
    return Measures(**{**plain, **numbers})  # type: ignore[arg-type]


def test_the_two_weakest_limbs_count_again() -> None:
    # mean of all five (0.9 + 0.1 + 0.8 + 0.2 + 0.7) / 5 = 0.54, of the two weakest 0.15: half and half
    assert view.weighed(LimbLegibility(0.9, (0.1, 0.8), (0.2, 0.7))) == pytest.approx((0.54 + 0.15) / 2)


def test_the_weaker_limb_of_a_pair_goes_with_the_less_sure_joints() -> None:
    limbs = LimbLegibility(1.0, (0.2, 1.0), (1.0, 1.0))
    sure = (joint(name, 1.0) for name in ("head", "foot", "foot", "knee", "knee"))
    arms = joint("hand", 1.0), joint("hand", 0.4), joint("elbow", 0.6), joint("elbow", 1.0)
    body = BodyReading(limbs, (*arms, *sure), 0.0)
    # the weaker arm, 0.2, is placed with chance (0.4 + 0.6) / 2, and half of its worth hangs on that: 0.2 * 0.75
    five = [0.15, 1.0, 1.0, 1.0, 1.0]
    assert view.told(body) == pytest.approx((sum(five) / 5 + (0.15 + 1.0) / 2) / 2)


@pytest.mark.parametrize(("sure", "worth"), [(1.0, 0.5), (0.5, 0.375), (0.0, 0.25)])
def test_half_of_what_a_limb_is_worth_hangs_on_its_joints(sure: float, worth: float) -> None:
    limbs = LimbLegibility(0.5, (0.5, 0.5), (0.5, 0.5))
    joints = tuple(joint(name, sure) for name in ("head", *PAIRS, *PAIRS))
    assert view.told(BodyReading(limbs, joints, 0.0)) == pytest.approx(worth)
    assert view.told(BodyReading(limbs, (), 0.0)) == pytest.approx(0.25), "joints that are placed nowhere"


def test_shape_and_reader_share_by_trust() -> None:
    one = LimbLegibility(0.0, (0.0, 0.4), (0.2, 0.6))
    other = LimbLegibility(1.0, (0.2, 0.8), (0.4, 1.0))
    assert view.mixed(one, other, 0.0) == one
    assert view.mixed(None, other, 0.3) == other
    mixed = view.mixed(one, other, 0.25)
    assert (mixed.head, *mixed.arms, *mixed.legs) == pytest.approx((0.25, 0.05, 0.5, 0.25, 0.7))


def test_clear_runs_from_the_shape_to_the_reader() -> None:
    seen = measures(limb_separation=0.49)  # half way up the shape's curve
    every = LimbLegibility(1.0, (1.0, 1.0), (1.0, 1.0))
    body = BodyReading(every, tuple(joint(name, 1.0) for name in ("head", *PAIRS, *PAIRS)), 0.0)
    assert view.clear_of(seen, None, 0.0) == pytest.approx(50)
    assert view.clear_of(seen, body, 1.0) == pytest.approx(100)
    assert view.clear_of(seen, body, 0.5) == pytest.approx(75)


@pytest.mark.parametrize(("widths", "points"), [
    ((), 0.0), ((0.012,), 0.0), ((0.004,), 1.5), ((0.008,), 0.75), ((0.004, 0.008), 2.25),
    ((0.001, 0.001, 0.001, 0.001), 4.5),
])
def test_what_kissing_edges_cost(widths: tuple[float, ...], points: float) -> None:
    """A point and a half each, in full from 0.4 % of the height, none from 1.2 %, three of them at most."""
    seen = measures(tangents=tuple(Tangent((0, 0), d) for d in widths))
    assert view.kissing_cost(seen) == pytest.approx(points)


def test_a_closed_pose_is_clear_by_head_mass_and_hollows() -> None:
    limbs = LimbLegibility(0.425, (0, 0), (0, 0))  # half way up its curve
    seen = measures(convexity=0.85, solidity=0.97)
    assert view.clear_when_closed(seen, limbs) == pytest.approx(100 * (0.4 * 0.5 + 0.3))
    assert view.clear_when_closed(measures(convexity=0.5, solidity=0.8), None) == pytest.approx(30)


def test_what_is_interesting() -> None:
    seen = measures(negative_space=0.21, contour_complexity=5.0, symmetry=0.755)  # each half way up its curve
    assert view.interest(seen) == pytest.approx(100 * (0.4 * 0.7 * 0.5 + 0.3 * 0.5 + 0.3 * 0.5))
    assert view.interest(seen, "closed") == pytest.approx(50)


def test_how_unequal_sizes_are() -> None:
    # pairs of 4, 2, 1: |a - b| / (a + b) is 1/3, 3/5, 1/3, weighed by 2, 1, 1
    assert view.unequal([4, 2, 1]) == pytest.approx((2 / 3 + 3 / 5 + 1 / 3) / 4)
    assert view.unequal([2, 2, 2]) == 0 == view.unequal([3]) == view.unequal([0, 3])


def test_a_curve_is_straight_between_its_ends() -> None:
    assert [w.rise(v, (0.2, 0.6)) for v in (0.1, 0.2, 0.3, 0.6, 0.7)] == pytest.approx([0, 0, 0.25, 1, 1])
    assert w.rise(0.3, (0.6, 0.2)) == pytest.approx(0.75), "and may fall"
