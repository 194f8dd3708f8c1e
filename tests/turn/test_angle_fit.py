"""The fit of the angles on slices in closed form: what an arm that sinks does to it, and whether its spread is true."""

from __future__ import annotations

import json
from pathlib import Path

import cv2
import numpy as np
import pytest

from silhouette.turn import angle_fit, support_function
from silhouette.turn.support_function import Reaches

SLICES = np.array([[0.02, 0.01, 0.15, 0.02, 0.06, 0.015], [-0.02, 0.02, 0.12, -0.03, 0.20, 0.015],
                   [0.03, 0.00, 0.06, 0.00, 0.22, 0.015], [0.00, -0.02, 0.20, 0.05, 0.08, 0.015]])
EVEN = np.arange(25) * 15.0


def turn(seed: int, uneven: float) -> np.ndarray:
    return np.concatenate([[0.0], np.cumsum(15 + np.random.default_rng(seed).normal(0, uneven, 24))])


def reaches(turned: np.ndarray, seed: int, copies: int, noise: float) -> Reaches:
    """Four slices seen from far, each in ``copies`` rows that tell the very same."""
    n = len(turned)
    offset = np.tile(np.repeat([-90.0, 90.0], n), (len(SLICES), 1))
    reach = angle_fit.slice_reach(SLICES, np.radians(np.tile(turned, 2)[None] + offset))[0]
    reach = reach + np.random.default_rng(seed).normal(0, noise, reach.shape)
    rows = np.arange(copies * len(SLICES))
    return Reaches(np.repeat(reach, copies, axis=0), np.repeat(offset, copies, axis=0), rows, 400.0)


def off(found: angle_fit.Fit, truth: np.ndarray) -> float:
    return float(np.sqrt(np.mean((found.turned - truth) ** 2)))


@pytest.mark.parametrize("seed", [0, 2, 3])
def test_an_arm_held_out_at_one_stop_bends_no_angle(seed: int) -> None:
    """However far out: a tenth or a fifth of the height beyond what the other stops allow."""
    truth = turn(seed, 1.5)
    seen = reaches(truth, seed, copies=4, noise=0.002)
    calm = off(angle_fit.fit(seen, EVEN), truth)
    for far in (0.1, 0.2):
        reach = seen.reach.copy()
        reach[:, 10] += far
        bent = off(angle_fit.fit(Reaches(reach, seen.offset, seen.rows, seen.height_px), EVEN), truth)
        assert bent < calm + 0.25 and bent < 1.2


def test_ten_rows_that_tell_the_same_count_as_one() -> None:
    """The fit's own spread is then too small by what ``estimate`` makes good, and not by the root of ten beside."""
    misses = []
    for seed in range(8):
        truth = turn(100 + seed, 2.0)
        found = angle_fit.fit(reaches(truth, seed, copies=10, noise=0.004), EVEN)
        misses.append((found.turned - truth)[1:] / found.spread[1:])
    assert 0.9 < np.sqrt(np.mean(np.square(misses))) < 1.9


def test_an_axis_beside_where_it_was_taken_is_found() -> None:
    truth = turn(5, 1.5)
    seen = reaches(truth, 5, copies=3, noise=0.001)
    moved = seen.reach + 0.03 * np.repeat([1.0, -1.0], len(truth))
    found = angle_fit.fit(Reaches(moved, seen.offset, seen.rows, seen.height_px), EVEN)
    assert found.axis == pytest.approx(0.03, abs=0.004) and off(found, truth) < 1.0


def test_a_row_that_fits_badly_is_known_by_its_error() -> None:
    truth = turn(6, 1.0)
    seen = reaches(truth, 6, copies=2, noise=0.001)
    reach = seen.reach.copy()
    reach[0] += np.random.default_rng(1).normal(0, 0.03, reach.shape[1])
    found = angle_fit.fit(Reaches(reach, seen.offset, seen.rows, seen.height_px), EVEN)
    assert found.error[0] > 5 * np.median(found.error)


def test_twice_the_error_explains_the_outlines_so_much_worse() -> None:
    """Each reach left free (50 less 2 of 6 numbers) costs ln 2 more; ten rows count as one."""
    truth = turn(7, 1.5)
    costs = [angle_fit.fit(reaches(truth, 7, copies=3, noise=noise), EVEN).cost for noise in (0.006, 0.012)]
    assert costs[1] - costs[0] == pytest.approx(0.1 * 12 * 48 * np.log(2), rel=0.04)


def test_the_fit_is_the_one_that_its_trust_was_measured_with() -> None:
    """How far angles may be trusted (``estimate.UNDERSTATED``, ``respread.UNSURE``) was measured on rendered turns with
    just this fit: whoever changes what comes out here measures those again."""
    found = angle_fit.fit(reaches(turn(11, 2.0), 11, copies=2, noise=0.004), EVEN)
    assert found.turned[::4] == pytest.approx([0, 62.14, 121.32, 183.27, 243.18, 305.37, 362.72], abs=0.1)
    assert found.spread[::4] == pytest.approx([0, 2.379, 2.576, 2.261, 2.4, 2.567, 2.564], rel=0.02)
    assert found.error[::2] == pytest.approx([0.00436, 0.00503, 0.00469, 0.00457], rel=0.02)
    assert found.cost == pytest.approx(-209.85, abs=0.5) and found.axis == pytest.approx(0.0005, abs=0.0003)
    slices = [[0.0201, 0.0087, 0.1465, 0.0160, 0.0567, 0.0185], [-0.0190, 0.0196, 0.1225, -0.0224, 0.2051, 0.0120],
              [0.0296, -0.0006, 0.0505, 0.0306, 0.2122, 0.0208], [0.0002, -0.0197, 0.2038, 0.0463, 0.0839, 0.0128]]
    assert found.slices[::2] == pytest.approx(np.array(slices), abs=3e-4)


@pytest.mark.parametrize("pose", [0, 1])
def test_rounding_moves_no_angle(data: Path, pose: int) -> None:
    """Weights that hang on medians once made the fit of a real outline move about, and end where the last digit led."""
    views = json.loads((data / "outlines" / "poses.json").read_text())[pose]["views"]
    seen = support_function.measure([_filled(view["rings"]) for view in views], 32, mirrored=False)
    assert seen is not None
    rounded = Reaches(seen.reach * (1 + 1e-12 * np.sin(np.arange(seen.reach.size)).reshape(seen.reach.shape)),
                      seen.offset, seen.rows, seen.height_px)
    guess = np.arange(len(views)) * 15.0
    assert angle_fit.fit(rounded, guess).turned == pytest.approx(angle_fit.fit(seen, guess).turned, abs=1e-5)


def _filled(rings: list[list[int]]) -> np.ndarray:
    """A mask of an outline and its holes, given in thousandths of the figure's height."""
    mask = np.zeros((1100, 900), np.uint8)
    for k, ring in enumerate(rings):
        cv2.fillPoly(mask, [np.array(ring).reshape(-1, 2) + np.array([400, 20])], 0 if k else 255)
    return mask > 0


def test_what_is_expected_of_steps() -> None:
    """Student's t of 4 degrees of freedom and 2 degrees: an even step counts (4 + 1) / 4 / 2^2 = 0.3125, one that is
    2 degrees too long (4 + 1) / (4 + 1) / 2^2 = 0.25, and pulls its ends together with 0.25 x 2."""
    normal, pull = angle_fit._step_prior(np.array([0.0, 15, 30, 45]))
    assert pull == pytest.approx(np.zeros(4))
    assert normal == pytest.approx(0.3125 * np.array([[1, -1, 0, 0], [-1, 2, -1, 0], [0, -1, 2, -1], [0, 0, -1, 1]]))
    normal, pull = angle_fit._step_prior(np.array([0.0, 15, 30, 45, 62]))
    assert pull == pytest.approx([0, 0, 0, 0.5, -0.5])
    assert np.diag(normal) == pytest.approx([0.3125, 0.625, 0.625, 0.3125 + 0.25, 0.25])
