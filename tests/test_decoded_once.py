"""How often a command decodes what it is given: counted at the decoders."""

from __future__ import annotations

import shutil
from collections import Counter
from collections.abc import Callable, Iterator
from io import BytesIO
from pathlib import Path
from typing import Any

import numpy as np
import pytest

from silhouette import cli, scoring, shoot
from silhouette.intake import decode, reel
from silhouette.known import SEAL
from silhouette.live import work

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


def test_what_one_page_cut_out_the_next_does_not_cut_again(
    drawn_turn: Callable[..., Path], decoded: Decoded, tmp_path: Path
) -> None:
    folder, told = drawn_turn("turn", range(0, 360, 30)), list[str]()
    studio, small = folder.parent, {(path.name, 1008): 1 for path in folder.iterdir()}

    def tell(what: str, done: int, total: int) -> None:
        told.append(what)

    plain = shoot.check_turnaround(folder)
    work.rank(studio, [folder], {}, tell)
    assert any("cutting out" in what for what in told)
    decoded.clear(), told.clear()
    assert work.check(studio, [folder], {}, tell) == work.check_told(plain)
    assert decoded == small, "the light is looked at: no photograph, however small, is remembered"
    shutil.rmtree(studio / "results")
    decoded.clear()
    work.export(studio, [folder], {}, tell)
    assert not decoded
    assert not any("cutting out" in what for what in told)


def test_a_check_in_the_same_place_again_leaves_the_same_files(
    drawn_turn: Callable[..., Path], tmp_path: Path, capsys: pytest.CaptureFixture[str]
) -> None:
    folder, out = drawn_turn("turn", range(0, 360, 30)), tmp_path / "checked"
    kept = []
    for _ in range(2):
        cli.main(["check", str(folder), "-o", str(out)])
        assert "cutting out" not in capsys.readouterr().err or not kept
        kept.append({path.name: path.read_bytes() for path in out.rglob("*") if path.is_file()})
    assert kept[0] == kept[1] and any(name.endswith(".npz") for name in kept[0])
    for file in (out / ".known").iterdir():
        with np.load(BytesIO(file.read_bytes()[:-SEAL])) as held:
            assert {name.split("_")[0] for name in held.files} <= {"mask", "doubt", "story"}
