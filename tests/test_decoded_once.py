"""How often a command decodes what it is given: counted at the decoders."""

from __future__ import annotations

from collections import Counter
from collections.abc import Callable, Iterator
from pathlib import Path
from typing import Any

import pytest

from silhouette import scoring, shoot
from silhouette.intake import decode, reel

Decoded = Counter[tuple[str, int | None]]


@pytest.fixture
def decoded(monkeypatch: pytest.MonkeyPatch) -> Decoded:
    """How often each still was decoded, by its name and the size asked for (None: in full); frames of clips by the
    clip's name and 0."""
    count: Decoded = Counter()
    picture_of, frames = decode.picture_of, reel.Reel.frames

    def counted(data: bytes, path: Path, work_px: int | None = None, **more: Any) -> Any:
        count[path.name, work_px] += 1
        return picture_of(data, path, work_px, **more)

    def counted_frames(self: reel.Reel) -> Iterator[Any]:
        for found in frames(self):
            count[self.path.name, 0] += 1
            yield found

    monkeypatch.setattr(decode, "picture_of", counted)
    monkeypatch.setattr(reel.Reel, "frames", counted_frames)
    return count


def test_no_command_decodes_a_still_twice_at_one_size(
    drawn_turn: Callable[..., Path], decoded: Decoded, tmp_path: Path
) -> None:
    folder = drawn_turn("turn", range(0, 360, 30))
    names = [path.name for path in folder.iterdir()]
    small = {(name, 1008): 1 for name in names}
    for command in (scoring.score_pose, shoot.check_turnaround):
        decoded.clear()
        command(folder)
        assert decoded == small
    decoded.clear()
    shoot.export_set(folder, tmp_path / "outlines", silhouettes_only=True)
    assert decoded == small
    decoded.clear()
    shoot.export_set(folder, tmp_path / "set", photos_in_page=True, originals=True, crop=True)
    assert decoded == small | {(name, None): 1 for name in names}


def test_a_clip_is_decoded_once_and_its_photographs_in_one_more_go(
    data: Path, decoded: Decoded, tmp_path: Path
) -> None:
    clip = data / "clips" / "gap_and_short.mp4"
    with reel.Reel(clip) as opened:
        whole = sum(1 for _ in opened.frames())
    decoded.clear()
    shoot.check_turnaround(clip)
    assert decoded == {(clip.name, 0): whole}
    decoded.clear()
    shoot.export_set(clip, tmp_path / "set", photos_in_page=True)
    assert whole < decoded[clip.name, 0] <= 2 * whole + 15  # a frame past each stop, to see that it is the nearest
    assert len(list((tmp_path / "set" / "photographs").glob("*_[0-9][0-9][0-9].jpg"))) >= 12
