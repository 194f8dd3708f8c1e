"""One frame looked at."""

from __future__ import annotations

from typing import Any

import cv2
import numpy as np
import pytest

from silhouette.cutout import agreement, background_model, mask_cleanup, room
from silhouette.live import looking
from silhouette.live.looking import Looker
from silhouette.measuring import measure_mask
from silhouette.records import Pixels
from tests.live.playing import CLIPS, camera


@pytest.fixture(scope="module")
def frames() -> list[Pixels]:
    return [pixels for _, pixels in camera(CLIPS / "gap_and_short.mp4", 6, until=2.4)]


def test_a_look_shows_what_the_commands_would_cut_out_and_read(frames: list[Pixels]) -> None:
    look = Looker().look(frames[0])
    cut = agreement.cut(frames[0])
    assert np.array_equal(look.mask, cut.mask) and look.trusted and not look.two and not look.edges
    told = measure_mask(cut.mask)
    assert told is not None and look.line is not None
    seen = looking.read(look.line)
    assert (seen.band, seen.readability) == (told[3].band, round(told[3].readability))
    assert seen.why == told[3].reasons[0]


def test_quick_looks_show_the_same_outline_and_are_never_many_in_a_row(
    frames: list[Pixels], monkeypatch: pytest.MonkeyPatch
) -> None:
    asked: list[int] = []
    monkeypatch.setattr(looking.agreement, "cut", lambda pixels, room=None: (
        asked.append(1), agreement_cut(pixels, room=room))[1])
    looker = Looker()
    for pixels in frames:
        look = looker.look(pixels, thorough=False)
        assert look.trusted and mask_cleanup.overlap(look.mask, background_model.cut(pixels).mask) > 0.99
    assert len(frames) / (looking.GLANCES + 1) <= len(asked) <= len(frames) / 2


agreement_cut = agreement.cut


def test_a_quick_look_at_another_room_or_at_nobody_is_a_thorough_one(frames: list[Pixels]) -> None:
    looker = Looker()
    assert looker.look(frames[0], thorough=False).somebody
    assert not looker.look(np.full_like(frames[0], 140), thorough=False).somebody
    assert looker.look(frames[0], thorough=False).somebody
    assert looker.look(np.ascontiguousarray(frames[0][:500]), thorough=False).edges == ("bottom",)


def test_with_an_empty_picture_the_room_is_laid_under_the_frames_now_and_then(
    frames: list[Pixels], monkeypatch: pytest.MonkeyPatch
) -> None:
    shared = background_model.learn([pixels for _, pixels in camera(CLIPS / "gap_and_short.mp4", 1)])
    assert shared is not None
    plate = cv2.resize(shared.backdrop, frames[0].shape[1::-1])
    empty = np.clip(plate, 0, 255).astype(np.uint8)
    laid: list[int] = []
    monkeypatch.setattr(room, "laid_under", lambda *given: (laid.append(1), laid_under(*given))[1])
    looker = Looker()
    looker.learn_room(empty)
    for pixels in frames[:4]:
        look = looker.look(pixels, thorough=False)
        assert look.trusted and mask_cleanup.overlap(look.mask, agreement.cut(pixels).mask) > 0.97
    assert len(laid) == 1
    looker.learn_room(None)
    assert looker.room is None and looker.look(frames[0]).somebody


laid_under = room.laid_under


def test_who_is_in_the_frame_is_seen_at_a_glance(frames: list[Pixels]) -> None:
    assert looking.somebody(frames[0])
    assert not looking.somebody(np.full_like(frames[0], 140))


def test_who_is_somebody_only_at_a_glance_is_nobody(frames: list[Pixels], monkeypatch: pytest.MonkeyPatch) -> None:
    """A poster, say: the room with it can still be taken as the empty picture."""
    closely = looking.person_net.odds_of

    def odds_of(pixels: Pixels, close: bool = True) -> Any:
        return np.full((96, 160), -4.0, np.float32) if close else closely(frames[0], close=False)

    monkeypatch.setattr(looking.person_net, "odds_of", odds_of)
    assert not looking.somebody(np.full_like(frames[0], 140))
