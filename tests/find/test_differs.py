"""Where one figure differs from another, on drawn figures whose arms are known."""

from __future__ import annotations

from collections.abc import Callable

import numpy as np
import pytest

from silhouette import measuring
from silhouette.find import differs
from silhouette.find.differs import Body, Laid
from silhouette.records import Mask, Outline
from silhouette.shape.outline import outline_of
from silhouette.show import words_turn

Drawn = Callable[..., Mask]


def _line(mask: Mask) -> Outline:
    line = outline_of(mask)
    assert line is not None
    return line


def _laid(picture: Mask, view: Mask, read: bool) -> Laid:
    one, other = _line(picture), _line(view)
    readings = [measuring.read_body(line) if read else None for line in (one, other)]
    return differs.laid_over(one, readings[0], Body.of(other, readings[1]))


def _said(laid: Laid) -> list[str]:
    return [words_turn.off(*off) for off in laid.differs]


@pytest.mark.parametrize("read", [True, False])
def test_a_figure_does_not_differ_from_itself(capsule_mask: Drawn, read: bool) -> None:
    for arms in ("out", "down"):
        mask = capsule_mask(30, arms)
        assert _said(_laid(mask, mask, read)) == []


@pytest.mark.parametrize("read", [True, False])
def test_a_larger_picture_of_the_same_does_not_differ(capsule_mask: Drawn, read: bool) -> None:
    small, large = capsule_mask(20, "out", (300, 400)), capsule_mask(20, "out", (600, 800))
    laid = _laid(large, small, read)
    assert _said(laid) == []
    assert laid.outline.bounds == pytest.approx(_line(small).drawn.bounds, abs=0.02)


@pytest.mark.parametrize("read", [True, False])
@pytest.mark.parametrize("side", ["left", "right"])
def test_an_arm_elsewhere_is_named_by_its_side_of_the_picture(capsule_mask: Drawn, side: str, read: bool) -> None:
    out, down = capsule_mask(0, "out", (480, 640)), capsule_mask(0, "down", (480, 640))
    middle = out.shape[1] // 2
    left, right = (out, down) if side == "left" else (down, out)
    one_out = np.hstack([left[:, :middle], right[:, middle:]])
    said = _said(_laid(one_out, down, read))
    assert said and all(f"picture {side}" in words or "picture" not in words for words in said), said


def test_the_mirror_image_is_told_from_the_figure(capsule_mask: Drawn) -> None:
    out, down = capsule_mask(0, "out", (480, 640)), capsule_mask(0, "down", (480, 640))
    middle = out.shape[1] // 2
    one_out = np.hstack([out[:, :middle], down[:, middle:]])
    line, turned = _line(one_out), _line(np.ascontiguousarray(one_out[:, ::-1]))
    field = Body.of(line, None).field
    assert differs.is_mirrored(turned.polygon, differs.apart(turned.polygon, field), field)
    assert not differs.is_mirrored(line.polygon, differs.apart(line.polygon, field), field)
