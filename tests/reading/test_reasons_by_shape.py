"""What the outline alone tells, on measures made up so that only one thing is said."""

from __future__ import annotations

from dataclasses import replace
from typing import Any

import pytest
from shapely.geometry import box

from silhouette.reading import reasons as said
from silhouette.reading import weights as w
from silhouette.records import BodyReading, Gap, LimbLegibility, Measures, Outline, Part, Reason, ReasonKind, Tangent
from silhouette.settings import BAND_FAIR, BAND_STRONG

PLAIN = Measures(0.3, 5.0, 0.5, (), (), (), 0.6, 0.3, 0.8, 0.5)
"""Room enough round the figure, nothing that touches, the two sides unlike."""
FAIR = (BAND_FAIR + BAND_STRONG) / 2
CLEAR = LimbLegibility(0.95, (0.95, 0.95), (0.95, 0.95))


def part(tip: tuple[float, float], length: float, base: float = 0.0) -> Part:
    """A part whose base has its middle at x = ``base``."""
    return Part(box(0, 0, 0.1, 0.1), ((base - 0.05, 0.3), (base + 0.05, 0.3)), tip, 0.1, 4.0, length)


def gap(x: float, y: float, kind: str = "enclosed") -> Gap:
    """A gap of 2 % of the figure's height about (x, y)."""
    return Gap(box(x - 0.01, y - 0.01, x + 0.01, y + 0.01), kind, 0.01, 0.0)  # type: ignore[arg-type]


def told(measures: Measures = PLAIN, limbs: LimbLegibility | None = None, *, width: float = 0.6,
         readability: float = FAIR, intent: str = "open") -> list[Reason]:
    line = Outline(box(-width / 2, 0, width / 2, 1), 400, (300, 50), (600, 500))
    return list(said.reasons(measures, line, limbs, intent, readability))  # type: ignore[arg-type]


def kinds(*of: Any, **how: Any) -> list[ReasonKind]:
    return [r.kind for r in told(*of, **how)]


def test_the_head_is_short_and_ends_high_and_arms_do_not_end_at_the_feet() -> None:
    head, arm, foot = part((0.0, 0.0), 0.2), part((0.3, 0.79), 0.4), part((0.1, 0.81), 0.5)
    measures = replace(PLAIN, parts=(arm, head, foot))
    assert said.head_of(measures) is head and said.arms_of(measures) == [arm]
    for no_head in (part((0.0, 0.0), 0.26), part((0.0, 0.21), 0.1)):
        assert said.head_of(replace(PLAIN, parts=(no_head,))) is None
    raised = part((0.1, 0.1), 0.24)
    assert said.head_of(replace(PLAIN, parts=(raised, head))) is head, "the shorter of two"


@pytest.mark.parametrize(("measures", "sides"), [
    (PLAIN, set()),
    (replace(PLAIN, parts=(part((0.3, 0.5), 0.3),)), {"right"}),
    (replace(PLAIN, parts=(part((0.3, 0.5), 0.3), part((-0.3, 0.5), 0.3))), {"left", "right"}),
    (replace(PLAIN, parts=(part((0.16, 0.5), 0.3, base=0.2),)), {"left"}),  # it points left of where it begins
    (replace(PLAIN, gaps=(gap(-0.2, 0.4),)), {"left"}),
    (replace(PLAIN, gaps=(gap(0.2, 0.4),)), {"right"}),
    (replace(PLAIN, gaps=(gap(0.2, 0.7),)), set()),  # between the legs
    (replace(PLAIN, gaps=(gap(0.02, 0.4),)), set()),  # on the middle
    (replace(PLAIN, gaps=(gap(0.2, 0.4, "open"),)), set()),
])
def test_an_arm_is_told_by_what_stands_out_or_by_the_gap_it_encloses(measures: Measures, sides: set[str]) -> None:
    assert said._sides_with_arms(measures) == sides


def test_edges_that_touch_are_told_twice_at_most_with_their_places() -> None:
    touching = replace(PLAIN, tangents=tuple(Tangent(at, 0.01) for at in ((-0.1, 0.4), (0.1, 0.9), (0.0, 0.1))))
    assert [(r.kind, r.zone, r.side) for r in told(touching)] == [
        (ReasonKind.EDGES_TOUCH, "waist", "picture left"), (ReasonKind.EDGES_TOUCH, "foot", "picture right")]
    assert [r.zone for r in told(touching, width=1.1)] == ["half-way up", "low down"], "wider than high"


def test_two_sides_that_match_are_a_column_where_they_are_narrow() -> None:
    mirrored = replace(PLAIN, symmetry=w.MIRRORED + 0.01)
    assert kinds(mirrored, width=0.44) == [ReasonKind.COLUMN]
    assert kinds(mirrored, width=0.46) == [ReasonKind.SIDES_MATCH]
    assert kinds(replace(PLAIN, symmetry=w.MIRRORED - 0.01), width=0.44) == [ReasonKind.COMPACT]


def test_only_an_open_pose_wants_gaps() -> None:
    bare = replace(PLAIN, negative_space=w.BARE - 0.001)
    assert kinds(bare) == [ReasonKind.NO_GAP] and ReasonKind.NO_GAP not in kinds(bare, intent="closed")
    assert ReasonKind.NO_GAP not in kinds(replace(PLAIN, negative_space=w.BARE + 0.001))


def test_a_weak_view_has_a_fault_and_a_strong_one_what_carries_it() -> None:
    assert kinds(readability=BAND_FAIR - 0.1) == [ReasonKind.TOO_LITTLE]
    assert kinds(readability=BAND_FAIR - 0.1, intent="closed") == [ReasonKind.COMPACT]
    touching = replace(PLAIN, tangents=(Tangent((0.0, 0.4), 0.01),))
    assert kinds(touching, readability=BAND_FAIR - 0.1) == [ReasonKind.EDGES_TOUCH]
    assert kinds(touching, readability=BAND_STRONG) == [ReasonKind.EDGES_TOUCH, ReasonKind.COMPACT]
    assert kinds(touching, readability=BAND_STRONG - 0.1) == [ReasonKind.EDGES_TOUCH]


def test_what_carries_a_view() -> None:
    """Five limbs clear, else a gap, an enclosed one first, else four limbs, else that it is compact."""
    most = replace(CLEAR, head=w.STANDS - 0.01)
    three = replace(most, arms=(w.STANDS - 0.01, 0.95))
    gaps = replace(PLAIN, gaps=(gap(0.2, 0.9, "open"), gap(-0.2, 0.4)))
    carried: dict[str, Any] = {"readability": BAND_STRONG, "intent": "closed"}
    assert kinds(gaps, CLEAR, **carried) == [ReasonKind.ALL_CLEAR]
    spot = told(gaps, most, **carried)[0]
    assert (spot.kind, spot.zone, spot.side) == (ReasonKind.GAP, "waist", "picture left")
    bare = replace(gaps, negative_space=w.BARE)
    assert kinds(bare, most, **carried) == [ReasonKind.MOST_CLEAR]
    assert kinds(bare, three, **carried) == [ReasonKind.COMPACT]
    touching = replace(PLAIN, tangents=(Tangent((0.0, 0.4), 0.01),))
    assert kinds(touching, CLEAR, **carried) == [ReasonKind.EDGES_TOUCH, ReasonKind.MOST_CLEAR]


@pytest.mark.parametrize(("tip", "length", "kind"), [
    (0.0, 0.3, ReasonKind.HEAD_BEHIND_ARM), (0.0, 0.24, ReasonKind.HEAD_SUNK), (0.09, 0.3, ReasonKind.HEAD_SUNK)])
def test_a_lost_head_is_behind_an_arm_where_one_reaches_over_it(tip: float, length: float, kind: ReasonKind) -> None:
    lost = replace(CLEAR, head=0.0)
    assert kinds(replace(PLAIN, parts=(part((0.1, tip), length),)), lost) == [kind]


@pytest.mark.parametrize(("y", "upright", "low"), [
    (0.15, "head", "high up"), (0.17, "shoulder", "high up"), (0.31, "waist", "high up"),
    (0.35, "waist", "half-way up"), (0.48, "hip", "half-way up"), (0.63, "knee", "half-way up"),
    (0.68, "knee", "low down"), (0.87, "foot", "low down")])
def test_a_height_has_a_name(y: float, upright: str, low: str) -> None:
    assert said.place(0.0, y)[0] == upright and said.place(0.0, y, upright=False)[0] == low


def test_a_place_has_a_side_where_it_is_off_the_middle() -> None:
    assert [said.place(x, 0.5)[1] for x in (-0.04, -0.02, 0.02, 0.04)] == [
        "picture left", "middle", "middle", "picture right"]


def test_what_weighs_more_is_told_first() -> None:
    """With equal legibility both arms weigh more than the legs, the legs more than one arm, an arm more than the head,
    and any limb more than edges that touch, a missing gap and sides that match."""
    bare = replace(PLAIN, negative_space=0.0, symmetry=1.0, tangents=(Tangent((0.0, 0.4), 0.01),))
    rest = [ReasonKind.EDGES_TOUCH, ReasonKind.NO_GAP, ReasonKind.SIDES_MATCH]
    both = LimbLegibility(0.1, (0.1, 0.1), (0.1, 0.9))
    assert kinds(bare, both) == [ReasonKind.ARMS_LOST, ReasonKind.LEGS_AS_ONE, ReasonKind.HEAD_SUNK, *rest]
    one = replace(both, arms=(0.1, 0.9))
    assert kinds(bare, one) == [ReasonKind.LEGS_AS_ONE, ReasonKind.ARM_LOST, ReasonKind.HEAD_SUNK, *rest]


@pytest.mark.parametrize(("limbs", "kind"), [
    (replace(CLEAR, legs=(0.39, 0.95)), ReasonKind.LEGS_AS_ONE), (replace(CLEAR, legs=(0.41, 0.95)), None),
    (replace(CLEAR, arms=(0.29, 0.95)), ReasonKind.ARM_LOST), (replace(CLEAR, arms=(0.31, 0.95)), None),
    (replace(CLEAR, head=0.39), ReasonKind.HEAD_SUNK), (replace(CLEAR, head=0.41), None)])
def test_by_the_reader_a_limb_is_lost_under_the_legibility_that_this_is_true_of(
    limbs: LimbLegibility, kind: ReasonKind | None
) -> None:
    """Arms under 0.30, legs and heads under 0.40."""
    line = Outline(box(-0.3, 0, 0.3, 1), 400, (300, 50), (600, 500))
    found = said.reasons(PLAIN, line, limbs, "open", FAIR, BodyReading(limbs, (), 0.0))
    assert [r.kind for r in found if not r.praise] == ([] if kind is None else [kind])
