"""Pictures gathered: what the worker processes do when stopped, and what is said of pictures that lie on their side."""

import json
import signal
import time
from collections.abc import Callable
from pathlib import Path

import cv2
import pytest

from silhouette import scoring, turnaround
from silhouette.records import Note
from silhouette.settings import Settings


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


def test_pictures_that_lie_on_their_side_are_noticed(drawn_turn: Callable[..., Path]) -> None:
    folder = drawn_turn("down", range(0, 360, 60), arms="down")

    def told() -> list[str]:
        return [note.kind for note in turnaround.gather(folder, Settings(), map, scoring.silent).notes]

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
    one = turnaround.gather(folder, Settings(), map, scoring.silent).notes
    assert one == (Note.of("angles from names"),)
    for path in sorted(drawn_turn("other", range(0, 360, 90), arms="down").glob("*.jpg")):
        path.rename(folder / f"lookout_{path.name}")
    both = turnaround.gather(folder, Settings(), map, scoring.silent).notes
    assert Note.of("several poses", names=["lookout", "oar"]) in both
