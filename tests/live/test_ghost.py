"""The earlier outline against the live one: what sits, what does not, and how that is named."""

from __future__ import annotations

from collections.abc import Callable
from pathlib import Path

import cv2
import numpy as np
import pytest
from shapely.geometry import box

from silhouette.find import differs
from silhouette.find.laid_over import Shift
from silhouette.live import ghost as ghosts
from silhouette.live.ghost import Ghost, compare
from silhouette.live.messages import GhostFit
from silhouette.reading.reader import read_body
from silhouette.records import Joint, Mask, Outline
from silhouette.shape.outline import outline_of
from silhouette.show import words_turn

TURN = Path(__file__).parents[1] / "data" / "rendered" / "turn" / "masks"


def _mask(angle: int) -> Mask:
    found = cv2.imread(str(TURN / f"{angle:03d}.png"), cv2.IMREAD_GRAYSCALE)
    large = cv2.resize(found, None, fx=2, fy=2, interpolation=cv2.INTER_LINEAR)
    return np.asarray(large > 127)


def _line(mask: Mask) -> Outline:
    line = outline_of(mask)
    assert line is not None
    return line


def _moved(mask: Mask, across: float, down: float) -> Mask:
    """Moved by so many figure heights."""
    tall = _line(mask).height_px
    matrix = np.array([[1, 0, across * tall], [0, 1, down * tall]], np.float32)
    return np.asarray(cv2.warpAffine(mask.astype(np.uint8), matrix, mask.shape[::-1]) > 0)


def _fit(live: Mask, earlier: Mask, same_camera: bool = True, read: bool = True) -> GhostFit:
    line = _line(live)
    return compare(line, read_body(line) if read else None, Ghost.of(earlier, None, same_camera, "stop 1"))


@pytest.mark.parametrize("angle", [0, 90, 210])
def test_an_outline_sits_on_itself(angle: int) -> None:
    mask = _mask(angle)
    fit = _fit(mask, mask)
    assert fit.sits and fit.fit >= 90 and fit.words == () and fit.name == "stop 1"


@pytest.mark.parametrize("angle", [0, 90, 210])
@pytest.mark.parametrize(("across", "down", "said"), [
    (-0.05, 0, "whole figure: 5 % to picture left"), (0.08, 0, "whole figure: 8 % to picture right"),
    (0, -0.05, "whole figure: 5 % higher"), (0, 0.04, "whole figure: 4 % lower"),
])
def test_a_figure_that_stands_elsewhere_is_named(angle: int, across: float, down: float, said: str) -> None:
    mask = _mask(angle)
    fit = _fit(_moved(mask, across, down), mask)
    assert not fit.sits and fit.words[0] == said
    assert _fit(_moved(mask, across, down), mask, same_camera=False).sits  # another day nobody stands on the same spot


@pytest.mark.parametrize("angle", [0, 90, 210])
def test_sway_and_breath_sit(angle: int) -> None:
    mask = _mask(angle)
    line = _line(mask)
    rows, columns = np.mgrid[0 : mask.shape[0], 0 : mask.shape[1]].astype(np.float32)
    up = 1 - (rows - line.origin_px[1]) / line.height_px
    swayed = cv2.remap(mask.astype(np.float32), columns - np.float32(0.015) * up * line.height_px, rows,
                       cv2.INTER_LINEAR) > 0.5
    assert _fit(np.asarray(_moved(np.asarray(swayed), 0.008, 0)), mask).sits


@pytest.mark.parametrize("angle", [30, 120, 240])
def test_another_view_does_not_sit(angle: int) -> None:
    fit = _fit(_mask(angle), _mask(angle + 30))
    assert not fit.sits and fit.words


def test_a_mirrored_figure_is_named_mirrored() -> None:
    mask = _mask(60)
    for same_camera in (True, False):
        fit = _fit(np.ascontiguousarray(mask[:, ::-1]), mask, same_camera)
        assert not fit.sits and fit.words == ("mirrored: turn the other way round",)


@pytest.mark.parametrize("read", [True, False])
def test_an_arm_that_is_raised_is_named_by_its_side_of_the_picture(
    capsule_mask: Callable[..., Mask], read: bool
) -> None:
    arms_out, arms_down = (capsule_mask(0, arms, (480, 640)) for arms in ("out", "down"))
    middle = arms_out.shape[1] // 2
    one_up = np.hstack([arms_down[:, :middle], arms_out[:, middle:]])
    fit = _fit(one_up, arms_down, read=read)
    assert not fit.sits
    assert "picture right" in fit.words[0] and not any("picture left arm" in words for words in fit.words)
    fit = _fit(np.ascontiguousarray(one_up[:, ::-1]), arms_down, read=read)
    assert "picture left" in fit.words[0]


def _told(line: Outline, **moved: tuple[float, float]) -> object:
    """A reading that is sure of all joints, each of which may be moved by so many figure heights."""
    w, h = line.picture_size
    places = {"head": [(0, 0.08)], "hand": [(-0.3, 0.5), (0.3, 0.5)], "elbow": [(-0.2, 0.4), (0.2, 0.4)],
              "foot": [(-0.1, 0.97), (0.1, 0.97)], "knee": [(-0.08, 0.75), (0.08, 0.75)]}
    joints = []
    for name, spots in places.items():
        for k, (x, y) in enumerate(spots):
            dx, dy = moved.get(f"{name}{k}", (0.0, 0.0))
            at = np.array([x + dx, y + dy]) * line.height_px + line.origin_px
            joints.append(Joint(name, float(at[0]) / w, float(at[1]) / h, 0.01, 1.0))
    reading = read_body(line)
    return type(reading)(reading.limb_legibility, tuple(joints), 0.0)


@pytest.mark.parametrize(("moved", "said"), [
    ({"hand1": (0.0, -0.06)}, ("picture right arm: 6 % higher",)),
    ({"hand0": (0.01, 0.05)}, ("picture left arm: 5 % lower",)),
    ({"elbow0": (-0.04, 0.0)}, ("picture left arm: 4 % to picture left",)),
    ({"head0": (-0.03, 0.0)}, ("head: 3 % to picture left",)),
    ({"foot0": (-0.02, 0.0), "foot1": (0.02, 0.0)}, ("legs: 4 % wider apart",)),
    ({"foot0": (0.02, 0.0), "foot1": (-0.03, 0.0)}, ("legs: 5 % closer together",)),
    ({"knee1": (0.0, -0.05)}, ("picture right leg: 5 % higher",)),
    ({"hand1": (0.0, -0.04), "head0": (0.08, 0.0)}, ("head: 8 % to picture right", "picture right arm: 4 % higher")),
    ({"hand1": (0.0, -0.01)}, ()),
])
def test_parts_are_named_by_the_joints_that_moved(
    capsule_mask: Callable[..., Mask], moved: dict[str, tuple[float, float]], said: tuple[str, ...]
) -> None:
    line = _line(capsule_mask(0, "out", (480, 640)))
    earlier = Ghost.of(line, _told(line), True, "")  # type: ignore[arg-type]
    live = differs.joints_of(line, _told(line, **moved))  # type: ignore[arg-type]
    still = Shift(0.0, 0.0, 0.0, 0.0)
    off = sorted(differs.of_parts(still, live, earlier.joints), key=lambda one: -one.by)
    assert tuple(words_turn.off(*one) for one in off) == said


def test_an_outline_of_another_day_is_set_to_one_height_and_ground(capsule_mask: Callable[..., Mask]) -> None:
    small, large = capsule_mask(40, "out", (300, 400)), capsule_mask(40, "out", (600, 800))
    fit = _fit(large, small, same_camera=False)
    assert fit.sits
    line = _line(large)
    first = np.array([float(n) for n in fit.path[1:].split("l")[0].replace("-", " -").split()])
    assert np.abs(first / line.height_px - np.array(line.origin_px) / line.height_px).max() < 1.2


def test_the_path_lies_where_the_earlier_outline_was() -> None:
    mask = _mask(0)
    fit = _fit(_moved(mask, 0.08, 0), mask)
    again = ghosts.line_of_path(fit.path, (1000, 1000))  # its numbers are pixels here
    assert again is not None
    line = _line(mask)
    assert again.origin_px == pytest.approx(line.origin_px, abs=1.5)
    assert again.height_px == pytest.approx(line.height_px, abs=1.5)


def test_an_outline_goes_through_its_path_in_shares_of_the_picture() -> None:
    mask = _mask(90)
    line = _line(mask)
    back = Ghost.of_path(ghosts.path_in_shares(line), mask.shape[::-1], True, "stop 2")
    assert back is not None and back.name == "stop 2"
    assert compare(line, None, back).fit >= 90
    smaller = outline_of(cv2.resize(mask.astype(np.uint8), None, fx=0.5, fy=0.5) > 0)
    assert smaller is not None and compare(smaller, None, back).sits


@pytest.mark.parametrize("path", ["", "M1 1z", "M0 0l1 0z", "no path", "M0 0l5 5-5-5z"])
def test_a_path_that_draws_nothing_is_no_outline(path: str) -> None:
    assert ghosts.line_of_path(path, (640, 480)) is None


def test_a_mask_without_a_figure_is_no_earlier_outline() -> None:
    with pytest.raises(ValueError, match="no figure"):
        Ghost.of(np.zeros((200, 100), bool), None, True, "")


def test_an_outline_that_is_no_body_is_still_compared() -> None:
    line = Outline(box(-0.2, 0, 0.2, 1), 400.0, (200.0, 50.0), (400, 500))
    earlier = Ghost.of(line, None, True, "")
    assert compare(line, None, earlier).sits
    wider = Outline(box(-0.3, 0, 0.2, 1), 400.0, (200.0, 50.0), (400, 500))
    fit = compare(wider, None, earlier)
    assert not fit.sits and fit.words
