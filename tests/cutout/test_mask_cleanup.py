"""One whole figure out of loose pixels, and masks drawn by hand."""

from pathlib import Path

import cv2
import numpy as np
import pytest

from silhouette.cutout import mask_cleanup
from silhouette.errors import PictureError
from silhouette.records import BLURRED, CANNOT_TELL, CUT_BY_FRAME, GIVEN_MASK, NO_FIGURE, SMALL_FIGURE, TWO_FIGURES


def person(x: int = 80, h: int = 224, w: int = 160) -> np.ndarray:
    """Head, trunk with a hole (hand on the hip), legs; 150 pixels tall."""
    mask = np.zeros((h, w), np.uint8)
    cv2.circle(mask, (x, 45), 10, 1, -1)
    cv2.rectangle(mask, (x - 15, 54), (x + 15, 120), 1, -1)
    cv2.rectangle(mask, (x + 15, 60), (x + 30, 100), 1, -1)
    cv2.rectangle(mask, (x + 18, 68), (x + 26, 90), 0, -1)
    cv2.rectangle(mask, (x - 15, 120), (x - 4, 185), 1, -1)
    cv2.rectangle(mask, (x + 4, 120), (x + 15, 185), 1, -1)
    return mask > 0


def test_gap_stays_and_pin_hole_closes() -> None:
    mask = person()
    mask[80, 70] = False
    figure, flags = mask_cleanup.one_figure(mask)
    assert flags == () and figure[80, 70] and not figure[80, 102]
    assert (figure ^ person()).sum() == 0


def test_head_beyond_a_scarf_is_kept_and_dust_dropped() -> None:
    mask = person()
    mask[54:57] = False
    mask[20:22, 30:32] = True
    figure, _ = mask_cleanup.one_figure(mask)
    assert figure[45, 80] and not figure[21, 31]


def test_furniture_at_the_side_is_left_out() -> None:
    mask = person()
    mask[100:190, 0:25] = True
    figure, flags = mask_cleanup.one_figure(mask)
    assert not figure[150, 10] and figure[150, 70] and TWO_FIGURES not in flags


def test_two_figures_are_flagged_and_the_middle_one_kept() -> None:
    mask = np.zeros((224, 320), bool)
    mask[:, :160] |= person(100)
    mask[:, 160:] |= person(60)
    figure, flags = mask_cleanup.one_figure(mask)
    assert TWO_FIGURES in flags
    assert figure[80, 100] != figure[80, 220]


def test_nobody() -> None:
    assert mask_cleanup.one_figure(np.zeros((100, 80), bool))[1] == (NO_FIGURE,)
    speck = np.zeros((100, 80), bool)
    speck[50:52, 40:42] = True
    assert mask_cleanup.one_figure(speck)[1] == (NO_FIGURE,)


def test_flags_of_finished_masks() -> None:
    assert mask_cleanup.flags_of(person()) == ()
    assert mask_cleanup.flags_of(person()[60:]) == (CUT_BY_FRAME,)
    small = np.zeros((800, 600), bool)
    small[300:450, 200:360] = person()[35:185]
    assert mask_cleanup.flags_of(small) == (SMALL_FIGURE,)
    assert mask_cleanup.flags_of(np.zeros((9, 9), bool)) == (NO_FIGURE,)


def test_finished_says_what_is_not_trusted_or_sharp() -> None:
    assert mask_cleanup.finished(person(), 0.98, "backdrop", (), 1.0).flags == ()
    assert mask_cleanup.finished(person(), 0.5, "backdrop", (), 1.0).flags == (CANNOT_TELL,)
    assert mask_cleanup.finished(person(), 0.98, "backdrop", (), 6.0).flags == (BLURRED,)


@pytest.mark.parametrize(("height", "softness", "blurred"), [
    (900, 7.0, False), (900, 7.4, True), (300, 4.4, False), (300, 4.6, True)])
def test_how_soft_is_blurred_goes_by_the_figure_and_by_pixels(height: int, softness: float, blurred: bool) -> None:
    mask = np.zeros((1000, 400), bool)
    mask[50 : 50 + height, 150:250] = True
    assert (BLURRED in mask_cleanup.finished(mask, 0.98, "backdrop", (), softness).flags) == blurred



def test_given_mask_is_used_as_it_is() -> None:
    path, drawn = Path("045.mask.png"), person().astype(np.uint8) * 255
    cut = mask_cleanup.given(drawn, (160, 224), path)
    assert (cut.mask == person()).all() and cut.cutter == "given" and cut.confidence == 1.0
    assert cut.flags == (GIVEN_MASK,)
    half = mask_cleanup.given(drawn, (80, 112), path)
    assert half.mask.shape == (112, 80) and abs(half.mask.mean() - person().mean()) < 0.01


@pytest.mark.parametrize("fault", ["other shape", "empty"])
def test_bad_given_masks_get_one_sentence(fault: str) -> None:
    mask = person().T.astype(np.uint8) * 255 if fault == "other shape" else np.zeros((224, 160), np.uint8)
    with pytest.raises(PictureError) as caught:
        mask_cleanup.given(mask, (160, 224), Path("045.mask.png"))
    assert "045.mask.png" in str(caught.value) and "\n" not in str(caught.value)


def test_a_doubtful_scrap_at_the_edge_is_no_figure() -> None:
    scrap = np.zeros((200, 160), bool)
    scrap[160:, :30] = True
    cut = mask_cleanup.finished(scrap, 0.4, "backdrop", (), 1.0)
    assert cut.flags == (NO_FIGURE,) and not cut.mask.any() and cut.confidence == 0
