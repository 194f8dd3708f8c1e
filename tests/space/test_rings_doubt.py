"""How far joints may be off where several rings tell of them."""

from __future__ import annotations

from dataclasses import replace

import numpy as np

from silhouette.space import joints, rings
from tests.space.test_joints import BODIES, NAMES, STILL, bells_of, first, round_


def test_rings_stopped_at_the_same_angles_leave_no_joint_in_doubt():
    """Every third stop is left out in turn to see how much a joint moves: never all stops of one ring."""
    rng, angles, shot = np.random.default_rng(1), np.arange(0, 360, 30.0), []
    for pitch, height in ((0.0, 1.0), (4.0, 0.3), (-11.0, 2.2)):
        cameras = round_(replace(STILL, pitch=pitch, height=height), angles)
        bells = bells_of(BODIES[NAMES[0]], cameras, rng, error=1.0)
        shot.append(rings.RingViews(bells, first(cameras), [None] * len(angles), joints.LENS_KNOWN))
    found = rings.solve(shot).skeleton
    assert all(joint.sure for joint in found.joints)
    assert max(joint.within or 1.0 for joint in found.joints) < 0.03
