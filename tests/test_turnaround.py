"""A place read: what the worker processes do when stopped, and what is said of pictures that lie on their side."""

import json
import os
import shutil
import signal
import struct
import time
import zlib
from collections.abc import Callable
from pathlib import Path

import cv2
import numpy as np
import pytest

import silhouette
from silhouette import known, scoring, shoot, turnaround
from silhouette.errors import PoseError
from silhouette.records import Note


@pytest.mark.skipif(not hasattr(signal, "pthread_sigmask"), reason="signals of another kind")
def test_only_the_first_process_heeds_ctrl_c() -> None:
    held_back, nothing = [signal.SIG_BLOCK] * 4, [set()] * 4
    with turnaround.workers(2) as run:
        assert all(signal.SIGINT in held for held in run(signal.pthread_sigmask, held_back, nothing))
        assert signal.SIGINT not in signal.pthread_sigmask(signal.SIG_BLOCK, set())


def test_what_was_not_begun_is_dropped_when_stopped() -> None:
    began = time.monotonic()
    with pytest.raises(KeyboardInterrupt), turnaround.workers(2) as run:
        next(results := run(time.sleep, [0.2] * 200))
        raise KeyboardInterrupt
    assert time.monotonic() - began < 10
    assert results is not None


def test_pictures_that_lie_on_their_side_are_noticed(tmp_path: Path) -> None:
    folder = tmp_path / "lookout"
    shutil.copytree(Path(__file__).parents[1] / "sample_poses" / "lookout", folder)

    def told() -> list[str]:
        return [note.kind for note in turnaround.ingest(folder).notes]

    assert "on its side" not in told()
    for path in folder.glob("*.jpg"):
        cv2.imwrite(str(path), cv2.rotate(cv2.imread(str(path)), cv2.ROTATE_90_CLOCKWISE))
    assert "on its side" in told()


def test_a_note_passes_in_every_form() -> None:
    note = Note.of("several poses", names=["a", "b"])
    kept = json.loads(json.dumps(note.plain))
    assert turnaround.as_note(note) == turnaround.as_note(kept) == note
    assert turnaround.as_note("The clip has no pauses.") == Note.of("said", text="The clip has no pauses.")


def test_several_poses_in_one_folder_are_noticed(drawn_turn: Callable[..., Path]) -> None:
    folder = drawn_turn("mixed", range(0, 360, 90), stem="oar_{a:03.0f}")
    one = turnaround.ingest(folder).notes
    assert one == (Note.of("angles from names"),)
    for path in sorted(drawn_turn("other", range(0, 360, 90), arms="down").glob("*.jpg")):
        path.rename(folder / f"lookout_{path.name}")
    both = turnaround.ingest(folder).notes
    assert Note.of("several poses", names=["lookout", "oar"]) in both


def _bomb(path: Path) -> None:
    def chunk(kind: bytes, body: bytes) -> bytes:
        return struct.pack(">I", len(body)) + kind + body + struct.pack(">I", zlib.crc32(kind + body))

    head = struct.pack(">IIBBBBB", 50_000, 50_000, 1, 0, 0, 0, 0)
    path.write_bytes(b"\x89PNG\r\n\x1a\n" + chunk(b"IHDR", head) + chunk(b"IDAT", zlib.compress(bytes(9000))))


def _cut_off(path: Path) -> None:
    noise = np.random.default_rng(0).integers(0, 255, (600, 450), np.uint8)
    path.write_bytes(cv2.imencode(".png", noise)[1].tobytes()[:2000])


def _pipe(path: Path) -> None:
    if not hasattr(os, "mkfifo"):
        pytest.skip("no pipes with a name")
    os.mkfifo(path)


@pytest.mark.parametrize(
    ("make", "words"),
    [
        (_bomb, "has 2500 million pixels; 110 million is the most that is read"),
        (_cut_off, "is cut off or damaged"),
        (_pipe, "is a pipe"),
        (lambda p: p.write_text("no picture"), "is not a picture"),
        (lambda p: p.write_bytes(b""), "is empty"),
        (lambda p: cv2.imwrite(str(p), np.full((300, 450), 255, np.uint8)), "not the shape of its still"),
        (lambda p: cv2.imwrite(str(p), np.zeros((600, 450), np.uint8)), "is empty"),
    ],
    ids=["bomb", "cut off", "pipe", "no picture", "no bytes", "other shape", "all black"],
)
def test_a_bad_mask_is_told_and_the_others_go_on(
    drawn_turn: Callable[..., Path], make: Callable[[Path], object], words: str
) -> None:
    folder = drawn_turn("keeper", range(0, 360, 90))
    make(folder / "090.mask.png")
    shot = turnaround.ingest(folder)
    assert [cut is None for cut in shot.cuts] == [False, True, False, False]
    assert "090.mask.png" in (shot.stops[1].problem or "") and words in (shot.stops[1].problem or "")


def test_a_mask_counts_for_the_still_it_is_named_after(drawn_turn: Callable[..., Path]) -> None:
    folder = drawn_turn("keeper", [0, 90], arms="down")
    (folder / "000.jpeg").write_bytes((folder / "090.jpg").read_bytes())
    cv2.imwrite(str(folder / "000.jpeg.mask.png"), np.full((600, 450), 255, np.uint8))
    cv2.imwrite(str(folder / "000.mask.png"), np.full((600, 450), 255, np.uint8))
    shot = turnaround.ingest(folder)
    cutters = {stop.name: cut.cutter for stop, cut in zip(shot.stops, shot.cuts, strict=True) if cut is not None}
    assert cutters == {"000.jpeg": "given", "000.jpg": "backdrop", "090": "backdrop"}
    (alone,) = turnaround.ingest(folder / "000.jpg").cuts
    assert alone is not None and alone.cutter == "backdrop"


@pytest.mark.skipif(not hasattr(os, "mkfifo"), reason="links and pipes of another kind")
def test_odd_files_among_the_pictures_are_told_and_passed_over(drawn_turn: Callable[..., Path]) -> None:
    folder = drawn_turn("keeper", range(0, 360, 90))
    (folder / "010.jpg").mkdir()
    os.mkfifo(folder / "020.jpg")
    (folder / "030.jpg").symlink_to("/dev/zero")
    (folder / "040.jpg").symlink_to("040.jpg")
    (folder / "050.jpg").symlink_to("nowhere.jpg")
    shot = turnaround.ingest(folder)
    bad = {stop.name for stop in shot.stops if stop.problem}
    assert bad == {"020", "030", "040", "050"} and len(shot.stops) == 8


@pytest.mark.parametrize("bad", [0, 5, 11])
def test_a_still_that_cannot_be_read_keeps_its_place_in_the_turn(drawn_turn: Callable[..., Path], bad: int) -> None:
    folder = drawn_turn("keeper", range(0, 360, 30), stem="IMG_{i:04d}")
    (folder / f"IMG_{bad:04d}.jpg").write_text("x")
    shot = turnaround.ingest(folder, looks=True)
    assert [stop.angle for stop in shot.stops] == list(range(0, 360, 30))
    assert [k for k, cut in enumerate(shot.cuts) if cut is None] == [bad]
    assert shot.turned is not None and len(shot.turned) == 12
    assert len(shoot.check_turnaround(shot).report.stops) == 11


@pytest.mark.parametrize("place", ["loop", "n" * 300, "nul\0", "nowhere", "locked/in"])
def test_a_place_that_cannot_be_is_one_sentence(
    tmp_path: Path, place: str, monkeypatch: pytest.MonkeyPatch
) -> None:
    (tmp_path / "loop").symlink_to("loop")
    plain = Path.stat

    def locked(self: Path, **how: bool) -> os.stat_result:
        if "locked" in self.parts:
            raise PermissionError(13, "Permission denied")
        return plain(self, **how)

    monkeypatch.setattr(Path, "stat", locked)
    for read in (scoring.find_poses, lambda p: [turnaround.ingest(p[0])]):
        with pytest.raises(PoseError) as caught:
            read([tmp_path / place])
        assert "\n" not in str(caught.value) and "\0" not in str(caught.value)


@pytest.mark.skipif(os.name == "nt", reason="a folder in use cannot be removed there")
def test_a_working_folder_that_is_gone_is_one_sentence(tmp_path: Path, monkeypatch: pytest.MonkeyPatch) -> None:
    gone = tmp_path / "gone"
    gone.mkdir()
    monkeypatch.chdir(gone)
    gone.rmdir()
    for place in (".", "pose", ""):
        with pytest.raises(PoseError):
            scoring.find_poses([place])


def test_a_folder_without_rights_is_one_sentence(
    drawn_turn: Callable[..., Path], monkeypatch: pytest.MonkeyPatch
) -> None:
    folder = drawn_turn("keeper", [0])

    def locked(self: Path) -> None:
        raise PermissionError(13, "Permission denied")

    monkeypatch.setattr(Path, "iterdir", locked)
    for read in (scoring.find_poses, lambda p: [turnaround.ingest(p[0])]):
        with pytest.raises(PoseError, match=r"keeper: cannot be opened \(Permission denied\)"):
            read([folder])


def test_a_pipe_where_a_mask_should_be_does_not_stop_a_run_that_remembers(
    drawn_turn: Callable[..., Path], tmp_path: Path
) -> None:
    if not hasattr(os, "mkfifo"):
        pytest.skip("no pipes with a name")
    folder = drawn_turn("keeper", [0, 90], arms="down")
    os.mkfifo(folder / "090.mask.png")
    pose = silhouette.score_pose(folder, known=known.Memory(tmp_path / "out"))
    assert ["pipe" in (v.problem or "") for v in pose.views] == [False, True]
