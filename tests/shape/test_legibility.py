"""Limb separation against what is true of the body (rendered poses that nothing was fitted on)."""

from __future__ import annotations

import numpy as np
import pytest
from scipy.stats import spearmanr
from shapely.geometry import Point, Polygon, box

from silhouette.records import Measures
from silhouette.shape import contour, legibility
from silhouette.shape.measure import measure_outline, normalised
from silhouette.shape.outline import outline_of
from tests.shape.conftest import CIRCLE, PLUS, figure_mask

LIMBS = ("head", "arm_l", "arm_r", "leg_l", "leg_r")


def spearman(a: np.ndarray, b: np.ndarray) -> float:
    return float(spearmanr(a, b)[0])


def guess_of(mask: np.ndarray) -> legibility.Guess:
    found = outline_of(mask)
    assert found is not None
    return legibility.guess(legibility.features(found.polygon, contour.raster(found.polygon)))


@pytest.fixture(scope="module")
def seen(truth: list[dict[str, float | str]]) -> list[Measures]:
    found = [outline_of(figure_mask(str(row["mask"]).removesuffix(".png"))) for row in truth]
    return [measure_outline(o.polygon) for o in found if o is not None]


def test_limb_separation_follows_true_legibility(truth: list[dict[str, float | str]], seen: list[Measures]) -> None:
    limb = np.sort([[float(row[k]) for k in LIMBS] for row in truth], axis=1)
    separation = np.array([m.limb_separation for m in seen])
    assert spearman(separation, limb.mean(axis=1)) > 0.92
    assert spearman(separation, limb[:, :2].mean(axis=1)) > 0.85
    poses = np.array([row["pose"] for row in truth])
    within = [spearman(separation[poses == p], limb[poses == p].mean(axis=1)) for p in np.unique(poses)]
    assert np.median(within) > 0.85


def test_the_weakest_two_are_guessed_too(truth: list[dict[str, float | str]]) -> None:
    limb = np.sort([[float(row[k]) for k in LIMBS] for row in truth], axis=1)
    guesses = [guess_of(figure_mask(str(row["mask"]).removesuffix(".png"))) for row in truth]
    assert spearman(np.array([g.weakest for g in guesses]), limb[:, :2].mean(axis=1)) > 0.87
    assert [legibility.separation(g) for g in guesses] == pytest.approx([(g.mean + g.weakest) / 2 for g in guesses])


def test_parts_that_stand_follow_limbs_that_show(truth: list[dict[str, float | str]], seen: list[Measures]) -> None:
    showing = np.array([sum(float(row[k]) > 0.55 for k in LIMBS) for row in truth])
    assert spearman(np.array([len(m.parts) for m in seen]), showing) > 0.8


def test_limb_by_limb(truth: list[dict[str, float | str]], seen: list[Measures]) -> None:
    for name, true, guessed in (
        ("head", [row["head"] for row in truth], [m.limbs.head for m in seen if m.limbs]),
        ("weaker arm", [min(row["arm_l"], row["arm_r"]) for row in truth], [m.limbs.arms[0] for m in seen if m.limbs]),
        ("weaker leg", [min(row["leg_l"], row["leg_r"]) for row in truth], [m.limbs.legs[0] for m in seen if m.limbs]),
    ):
        assert np.abs(np.array(true, float) - np.array(guessed)).mean() < 0.10, name


def test_features_are_the_same_mirrored() -> None:
    mask = figure_mask("lunge_060")
    values = []
    for picture_mask in (mask, mask[:, ::-1]):
        found = outline_of(picture_mask)
        assert found is not None
        values.append(legibility.features(found.polygon, contour.raster(found.polygon)))
    seen, mirrored = values
    assert mirrored.whole == pytest.approx(seen.whole, abs=0.02)
    assert len(mirrored.spots) == len(seen.spots)
    assert mirrored.spots.mean(axis=0) == pytest.approx(seen.spots.mean(axis=0), abs=0.02)
    assert mirrored.spots.std(axis=0) == pytest.approx(seen.spots.std(axis=0), abs=0.02)


def test_places_lie_along_the_outline_and_look_out_of_the_figure() -> None:
    square = normalised(Polygon([(0, 0), (4, 0), (4, 4), (0, 4)], [[(1, 1), (3, 1), (3, 3), (1, 3)]]))
    spots = legibility.spots_of(square)
    assert len(spots.at) == pytest.approx(legibility.SPOTS, abs=2)
    assert spots.along[:, -1].sum() == pytest.approx(len(spots.at) * 8 / 24, abs=2)
    corner = np.abs(np.abs(spots.at - [0, 0.5]).max(axis=1) - np.where(spots.along[:, -1] == 1, 0.25, 0.5))
    assert np.median(corner) < 0.002 and corner.max() < 0.02
    inside = [square.contains(Point(at - 0.04 * out)) for at, out in zip(spots.at, spots.outward, strict=True)]
    outside = [not square.contains(Point(at + 0.04 * out)) for at, out in zip(spots.at, spots.outward, strict=True)]
    assert np.mean(inside) > 0.95 and np.mean(outside) > 0.95


def test_a_limb_is_described_alike_whatever_the_figure_s_height() -> None:
    """A thin pole held up doubles the height and halves the figure in it; what a hand's place sees stays."""
    figure = box(0, 0, 0.3, 1).union(box(0.3, 0.2, 0.8, 0.3))
    seen = []
    for shape in (normalised(figure), normalised(figure.union(box(0.1, -1, 0.11, 0)))):
        found = legibility.features(shape, contour.raster(shape))
        at = legibility.spots_of(shape).at
        end = np.argsort(at[:, 0])[-3:]
        seen.append(found.spots[end][:, : len(legibility.FULL + legibility.BEHIND + legibility.BEFORE)].mean(axis=0))
    assert seen[0] == pytest.approx(seen[1], abs=0.08)
    assert seen[0].max() > 0.9


@pytest.mark.parametrize("shape", [CIRCLE, PLUS], ids=["circle", "plus"])
def test_shapes_unlike_a_body_stay_within_reach(shape: object) -> None:
    figure = normalised(shape)  # type: ignore[arg-type]
    found = legibility.guess(legibility.features(figure, contour.raster(figure)))
    assert 0 <= found.weakest <= found.mean <= 1 and 0 <= found.standing <= 5


def test_arms_before_the_body_are_seen_to_be_lost(seen: list[Measures], truth: list[dict[str, float | str]]) -> None:
    arms = {row["mask"]: m.limbs.arms for row, m in zip(truth, seen, strict=True) if m.limbs}
    assert max(arms["akimbo_090.png"]) < 0.25 < min(arms["lunge_000.png"])
