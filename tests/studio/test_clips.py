"""Timing of the rendered clips and what is written of it."""

import itertools
from dataclasses import replace

import numpy as np
import pytest

pytest.importorskip("anny")
pytest.importorskip("pyvista")

from silhouette.studio.bodies import Build
from silhouette.studio.cameras import Camera
from silhouette.studio.clips import Clip, Faults, frames, timing, truth_of, turned_at
from silhouette.studio.clothes import Outfit
from silhouette.studio.poses import NAMED
from silhouette.studio.scene import Scene

CLIP = Clip(NAMED["akimbo"], Build(), Outfit(), Scene(), stops=24, seed=5)
TINY = Camera(distance_m=4.3, height_m=1.0, focal_35mm=50, width=90, height=160)


def test_holds_and_moves_keep_to_their_lengths() -> None:
    holds = timing(CLIP)
    assert len(holds) == 25
    assert all(0.7 <= h.end - h.start <= 1.1 for h in holds)
    assert all(0.4 <= b.start - a.end <= 0.6 for a, b in itertools.pairwise(holds))
    steps = np.diff([h.turned for h in holds])
    assert 10 < np.mean(steps) < 20 and 1 < np.std(steps) < 6


def test_the_model_turns_only_between_holds() -> None:
    holds = timing(CLIP)
    inside = [(h, turned_at(holds, t)) for h in holds for t in np.linspace(h.start, h.end, 5)]
    assert all(turned == h.turned and not moves for h, (turned, _, moves) in inside)
    between = turned_at(holds, (holds[3].end + holds[4].start) / 2)
    assert between[2] and between[0] == pytest.approx((holds[3].turned + holds[4].turned) / 2)


def test_faults_leave_stops_away() -> None:
    assert [h.number for h in timing(replace(CLIP, faults=Faults(skipped=(4, 5))))][3:6] == [3, 6, 7]
    assert max(h.turned for h in timing(replace(CLIP, faults=Faults(end_deg=200)))) <= 200


def test_truth_runs_past_the_full_turn() -> None:
    truth = truth_of(CLIP, timing(CLIP))
    assert truth[-1]["turned"] > 340 and all(0 <= row["angle"] < 360 for row in truth)
    assert truth_of(replace(CLIP, faults=Faults(nobody=True)), timing(CLIP)) == []


def test_a_hold_is_still_and_a_move_is_not() -> None:
    clip = replace(CLIP, camera=TINY, stops=4, extra=0, sway_mm=0.0, scene=Scene(noise=0.0), hold_s=(0.2, 0.2),
                   move_s=(0.2, 0.2))
    holds, shown = frames(clip)
    pictures = [(t, p.astype(int)) for t, p in itertools.islice(shown, 10)]
    change = {t: np.abs(b - a).mean() for (_, a), (t, b) in itertools.pairwise(pictures)}
    still = [c for t, c in change.items() if t <= holds[0].end]
    moving = [c for t, c in change.items() if holds[0].end + 0.04 < t < holds[1].start]
    assert still and moving and max(still) == 0 and min(moving) > 0.05
