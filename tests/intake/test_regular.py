"""Only plain files are opened: what never ends is refused before it is read."""

from __future__ import annotations

import os
from collections.abc import Callable
from pathlib import Path

import pytest

from silhouette.errors import AnglesError, FilmError, PictureError, SilhouetteError
from silhouette.intake import filenames, film, stills
from silhouette.intake.regular import read_regular

READERS: list[tuple[str, type[SilhouetteError], Callable[[Path], object]]] = [
    ("x.jpg", PictureError, lambda p: stills.read_still(p, 1008)),
    ("x.jpg", PictureError, stills.read_full),
    ("x.mask.png", PictureError, stills.read_mask),
    ("x.mp4", FilmError, film.find_stops),
    ("angles.csv", AnglesError, lambda p: filenames.angles_from_csv(p, ["a.jpg"])),
]


def _pipe(path: Path) -> None:
    os.mkfifo(path)


def _endless(path: Path) -> None:
    path.symlink_to("/dev/zero")


@pytest.mark.skipif(not hasattr(os, "mkfifo"), reason="no pipes with a name")
@pytest.mark.parametrize("make", [_pipe, _endless, Path.mkdir], ids=["pipe", "endless device", "folder"])
@pytest.mark.parametrize(("name", "kind", "read"), READERS)
def test_what_is_no_plain_file_is_refused(
    tmp_path: Path, make: Callable[[Path], None], name: str, kind: type[SilhouetteError], read: Callable[[Path], object]
) -> None:
    make(tmp_path / name)
    with pytest.raises(kind, match=f"{name}: is a (pipe|folder)"):
        read(tmp_path / name)


@pytest.mark.skipif(not hasattr(os, "mkfifo"), reason="no pipes with a name")
def test_a_pipe_put_in_place_of_a_picture_does_not_hang(tmp_path: Path, monkeypatch: pytest.MonkeyPatch) -> None:
    path = tmp_path / "x.jpg"
    path.write_bytes(b"picture")
    told = path.stat()
    path.unlink()
    os.mkfifo(path)
    monkeypatch.setattr(Path, "stat", lambda self, **_: told)  # as if it had been swapped after the look at it
    with pytest.raises(PictureError, match="a pipe"):
        read_regular(path, PictureError)


def test_a_file_that_is_too_large_is_not_read(tmp_path: Path) -> None:
    (tmp_path / "x.jpg").write_bytes(b"12345")
    assert read_regular(tmp_path / "x.jpg", PictureError, 5) == b"12345"
    with pytest.raises(PictureError, match=r"x\.jpg: is larger than"):
        read_regular(tmp_path / "x.jpg", PictureError, 4)


@pytest.mark.parametrize("name", ["n" * 300 + ".jpg", "nul\0.jpg"])
def test_a_name_that_no_file_can_have_is_one_sentence(tmp_path: Path, name: str) -> None:
    with pytest.raises(PictureError) as caught:
        stills.read_still(tmp_path / name, 1008)
    assert "\0" not in str(caught.value) and "cannot be read" in str(caught.value)
