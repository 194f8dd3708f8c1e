"""Figures that no training render ever showed: flat colours, straight arms, mannequins, cut-out paper dolls.

The person's pictures will not look like ours. What differs strongly from an even wall, in a way that no shadow does,
and hangs together with the figure, is figure, whatever a network thinks of its shape.
"""

from __future__ import annotations

import importlib.util
from pathlib import Path
from types import ModuleType

import numpy as np
import pytest

from silhouette.cutout import background_model


def _drawing() -> ModuleType:
    spec = importlib.util.spec_from_file_location("drawing", Path(__file__).parent.parent / "conftest.py")
    assert spec is not None and spec.loader is not None
    module = importlib.util.module_from_spec(spec)
    spec.loader.exec_module(module)
    return module


COLOURS = {
    "wine": (70, 60, 110),
    "ink": (40, 35, 30),
    "clay": (90, 120, 150),
    "blue": (150, 90, 50),
    "cream": (205, 225, 235),
}


@pytest.mark.parametrize("arms", ["out", "down"])
@pytest.mark.parametrize("colour", COLOURS)
def test_a_capsule_model_before_an_even_wall(colour: str, arms: str) -> None:
    draw = _drawing()
    truths = [draw.draw_mask(draw.model(arms), a) for a in range(0, 360, 45)]
    pictures = [draw.draw_picture(t, seed=i, figure=COLOURS[colour]) for i, t in enumerate(truths)]
    shared = background_model.learn(pictures)
    for truth, picture in zip(truths, pictures, strict=True):
        for known in (shared, None):
            cut = background_model.cut(picture, known)
            overlap = (cut.mask & truth).sum() / max(1, (cut.mask | truth).sum())
            assert overlap > 0.95 or cut.confidence < 0.9, f"overlap {overlap:.2f}, confidence {cut.confidence:.2f}"
        assert overlap > 0.9, f"overlap {overlap:.2f} (alone), confidence {cut.confidence:.2f}"


def test_boxes_and_a_disc_for_a_head() -> None:
    h, w = 600, 450
    y, x = np.mgrid[:h, :w]
    truth = ((abs(x - 225) < 40) & (y > 150) & (y < 560)) | ((abs(y - 200) < 14) & (abs(x - 225) < 190))
    truth |= (x - 225) ** 2 + (y - 115) ** 2 < 38**2
    picture = _drawing().draw_picture(truth, seed=3, figure=(60, 50, 45))
    cut = background_model.cut(picture, None)
    overlap = (cut.mask & truth).sum() / (cut.mask | truth).sum()
    assert overlap > 0.95, f"overlap {overlap:.2f}, confidence {cut.confidence:.2f}"
