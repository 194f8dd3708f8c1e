"""The turning axis of a set, on a figure that stands beside it."""

from __future__ import annotations

import numpy as np
import pytest
from shapely.geometry import box

from silhouette.export import reference_set
from silhouette.records import Outline
from silhouette.records_shoot import SetView

AXIS, TALL = 500.0, 800.0


def view(angle: float) -> SetView:
    """A pole 0.2 heights before the axis and 0.1 wide: it swings to picture left and right as the model turns."""
    middle = 0.2 * np.sin(np.radians(angle))
    outline = Outline(box(-0.05, 0, 0.05, 1), TALL, (AXIS + middle * TALL, 100.0), (1000, 1000))
    return SetView(angle=angle, name=f"{angle:03.0f}", angle_from="name", outline=outline, scale=1.0,
                   full_size=(1000, 1000), read=None)


@pytest.mark.parametrize("angles", [(0, 45, 90, 135, 225, 270), (30, 60, 90, 120, 210), (10, 80, 100, 187, 130)])
def test_opposite_stops_find_the_axis_beside_the_figure(angles: tuple[float, ...]) -> None:
    layout = reference_set.lay_out("pole", [view(a) for a in angles], model_height_m=1.7)
    assert layout.figures[0].to_px[1] == pytest.approx(AXIS, abs=0.02 * TALL)
    middles = np.median([AXIS + 0.2 * TALL * np.sin(np.radians(a)) for a in angles])
    assert abs(middles - AXIS) > 0.05 * TALL, "the middle of the figures would be wrong"
