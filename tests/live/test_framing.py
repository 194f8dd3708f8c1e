"""What is wrong with where the figure stands."""

from __future__ import annotations

import cv2
import numpy as np
import pytest

from silhouette.live.framing import Framing, trouble_of
from silhouette.live.looking import look_of
from silhouette.records import CANNOT_TELL, NO_FIGURE, TWO_FIGURES, Cut
from silhouette.show import words_live


def trouble(top: int, bottom: int, left: int, right: int, *flags: str) -> str | None:
    """Of a figure that fills this box in a frame of 400 x 300."""
    mask = np.zeros((400, 300), np.uint8)
    cv2.rectangle(mask, (left, top), (right - 1, bottom - 1), 1, -1)
    return trouble_of(look_of(Cut(mask > 0, 0.95, "backdrop", flags)))


@pytest.mark.parametrize(("box", "kind"), [
    ((60, 360, 100, 200), None),
    ((60, 400, 100, 200), "feet cut off"),
    ((0, 360, 100, 200), "head cut off"),
    ((60, 360, 0, 100), "cut off at picture left"),
    ((60, 360, 200, 300), "cut off at picture right"),
    ((0, 400, 100, 200), "too close"),
    ((60, 360, 0, 300), "too close"),
    ((5, 395, 100, 200), "too close"),
    ((200, 300, 130, 170), "too far"),
])
def test_each_place_has_its_trouble(box: tuple[int, int, int, int], kind: str | None) -> None:
    assert trouble(*box) == kind


def test_two_figures_and_a_figure_that_is_not_trusted() -> None:
    assert trouble(60, 360, 100, 200, TWO_FIGURES) == "two figures"
    assert trouble(60, 360, 100, 200, CANNOT_TELL) == "not trusted"
    assert trouble_of(look_of(Cut(np.zeros((40, 30), np.bool_), 0.0, "person", (NO_FIGURE,)))) == "nobody"


def test_one_frame_of_trouble_is_not_shown_and_what_lasts_is_at_once() -> None:
    framing = Framing()
    shown = [framing.see("feet cut off" if k == 5 else None, k / 12) for k in range(12)]
    assert not any(shown)
    lasts = [framing.see("feet cut off", 1 + k / 12) for k in range(6)]
    assert [one is not None for one in lasts] == [False, False, True, True, True, True]
    assert lasts[-1] is not None and lasts[-1].words == words_live.TROUBLES["feet cut off"]
    over = [framing.see(None, 2 + k / 12) for k in range(6)]
    assert over[0] is not None and over[-1] is None and not framing.clear(2.25) and framing.clear(2.5)


def test_a_tone_is_due_once_and_not_for_what_hides_nothing() -> None:
    framing, tones = Framing(), []
    for k in range(60):
        framing.see("feet cut off", k / 12)
        tones.append(framing.tone(k / 12))
    assert tones.count("feet cut off") == 1
    framing = Framing()
    for k in range(60):
        framing.see("too far", k / 12)
        assert framing.tone(k / 12) is None
