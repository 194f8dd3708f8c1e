"""The room without the model: found, held against the stops, handed to the cutting, remembered, told; and refused."""

from __future__ import annotations

import os
import shutil
from collections.abc import Callable
from fractions import Fraction
from pathlib import Path
from typing import Any

import av
import cv2
import numpy as np
import pytest

import silhouette
from silhouette import known, scoring, shoot, turnaround
from silhouette.cutout import agreement
from silhouette.errors import SettingsError
from silhouette.intake import film
from silhouette.records import Cut, Note
from silhouette.settings import Settings

EIGHT = range(0, 360, 45)
CLIPS = Path(__file__).parent / "data" / "clips"


@pytest.fixture
def asked(monkeypatch: pytest.MonkeyPatch) -> list[Any]:
    """The empty room that each cut was given, in order, None where it had none; the cutter itself does without."""
    rooms: list[Any] = []
    plain = agreement.cut

    def cut(pixels: Any, shared: Any = None, model: str | None = None, room: Any = None) -> Cut:
        rooms.append(room if room is not None and room.colours is None else None)
        return plain(pixels, shared, model)

    monkeypatch.setattr(agreement, "cut", cut)
    return rooms


def used(name: str) -> Note:
    return Note.of("empty used", name=name)


def test_the_empty_picture_of_a_pose_is_handed_to_every_cut_and_is_no_stop(
    drawn_turn: Callable[..., Path], drawn_wall: Callable[..., Path], asked: list[Any]
) -> None:
    folder = drawn_turn("keeper", EIGHT)
    drawn_wall(folder / "Empty_room.JPG")
    shot = turnaround.ingest(folder)
    assert [stop.angle for stop in shot.stops] == list(EIGHT) and used("Empty_room.JPG") in shot.notes
    with_room = [room for room in asked if room is not None]
    assert len(with_room) == 8 and len(set(with_room)) == 1 and with_room[0].shape == (600, 450)


@pytest.mark.parametrize(("beside", "inside", "told"), [
    ("empty.jpg", None, "empty.jpg"),
    ("empty.jpg", "empty_room.jpg", "empty_room.jpg"),
    ("keeper.empty.jpg", None, "keeper.empty.jpg"),
    ("lookout.empty.jpg", None, None),
])
def test_the_picture_inside_wins_over_the_one_beside(
    drawn_turn: Callable[..., Path], drawn_wall: Callable[..., Path], tmp_path: Path, beside: str, inside: str | None,
    told: str | None, asked: list[Any],
) -> None:
    folder = drawn_turn("keeper", EIGHT)
    drawn_wall(tmp_path / beside)
    if inside:
        drawn_wall(folder / inside)
    notes = turnaround.ingest(folder).notes
    assert [n["name"] for n in notes if n.kind == "empty used"] == ([told] if told else [])


def test_an_empty_picture_beside_the_poses_is_neither_loose_nor_a_pose(
    drawn_turn: Callable[..., Path], drawn_wall: Callable[..., Path], tmp_path: Path
) -> None:
    folders = [drawn_turn("a", EIGHT), drawn_turn("b", EIGHT, arms="down")]
    empty = drawn_wall(tmp_path / "empty.jpg")
    (tmp_path / "room").mkdir()
    drawn_wall(tmp_path / "room" / "empty.jpg")
    assert scoring.find_poses([tmp_path]) == folders
    assert scoring.find_poses([*folders, empty]) == folders, "as a shell's star names them"
    ranking = silhouette.rank_poses(tmp_path)
    assert len(ranking.poses) == 2 and all(used("empty.jpg") in pose.notes for pose in ranking.poses)


def test_a_picture_asked_for_by_name_holds_for_all_poses(
    drawn_turn: Callable[..., Path], drawn_wall: Callable[..., Path], tmp_path: Path, asked: list[Any]
) -> None:
    folders = [drawn_turn("a", EIGHT), drawn_turn("b", [0, 90], arms="down")]
    drawn_wall(folders[0] / "empty.jpg", seed=1)
    (tmp_path / "elsewhere").mkdir()
    asked_for = drawn_wall(tmp_path / "elsewhere" / "wall.png", seed=2)
    ranking = silhouette.rank_poses(folders, empty=asked_for)
    assert all(used("wall.png") in pose.notes for pose in ranking.poses)
    assert len({room.picture.tobytes() for room in asked if room is not None}) == 1
    shoot.check_turnaround(folders[0], empty=str(asked_for))


@pytest.mark.parametrize("name", ["nowhere.jpg", "text.jpg", "folder"])
def test_a_picture_asked_for_that_cannot_be_read_stops_the_run(
    drawn_turn: Callable[..., Path], tmp_path: Path, name: str
) -> None:
    folders = [drawn_turn("a", [0, 90]), drawn_turn("b", [0, 90])]
    (tmp_path / "text.jpg").write_text("no picture")
    (tmp_path / "folder").mkdir()
    for read in (silhouette.rank_poses, lambda places, **how: silhouette.score_pose(places[0], **how)):
        with pytest.raises(SettingsError, match=rf"{name}: .*Give a picture of the room without the model"):
            read(folders, empty=tmp_path / name)
        with pytest.raises(SettingsError):
            read(folders, empty=tmp_path / name, known=known.Memory(tmp_path / "out"))


def test_only_the_usual_cutter_takes_an_empty_picture(
    drawn_turn: Callable[..., Path], drawn_wall: Callable[..., Path]
) -> None:
    with pytest.raises(SettingsError, match="takes no empty picture"):
        Settings(cutter="backdrop", empty="empty.jpg")
    folder = drawn_turn("keeper", EIGHT)
    drawn_wall(folder / "empty.jpg")
    shot = turnaround.ingest(folder, Settings(cutter="backdrop"))
    assert len(shot.stops) == 8 and [n.kind for n in shot.notes] == ["angles from names"]


def _text(path: Path, _: Callable[..., Path]) -> None:
    path.write_text("no picture")


def _pipe(path: Path, _: Callable[..., Path]) -> None:
    if not hasattr(os, "mkfifo"):
        pytest.skip("no pipes with a name")
    os.mkfifo(path)


def _folder(path: Path, _: Callable[..., Path]) -> None:
    path.mkdir()


def _somebody(path: Path, _: Callable[..., Path]) -> None:
    shutil.copy(path.parent / "045.jpg", path)


@pytest.mark.parametrize(("make", "cause"), [
    (_text, "unreadable"),
    (_pipe, "unreadable"),
    (_folder, None),
    (_somebody, "somebody"),
    (lambda path, wall: cv2.imwrite(str(path), np.zeros((1, 1, 3), np.uint8)), "unreadable"),
    (lambda path, wall: wall(path, size=(600, 450)), "wide"),
    (lambda path, wall: wall(path, size=(450, 500)), "shape"),
    (lambda path, wall: wall(path, light=0.3), "other room"),
], ids=["text", "pipe", "folder", "somebody", "one pixel", "wide", "other shape", "dark"])
def test_an_empty_picture_that_is_of_no_use_is_told_and_passed_over(
    drawn_turn: Callable[..., Path], drawn_wall: Callable[..., Path], asked: list[Any],
    make: Callable[..., object], cause: str | None,
) -> None:
    folder = drawn_turn("keeper", EIGHT)
    make(folder / "empty.jpg", drawn_wall)
    shot = turnaround.ingest(folder)
    told = [(n["name"], n["cause"]) for n in shot.notes if n.kind == "empty unfit"]
    assert told == ([("empty.jpg", cause)] if cause else [])
    assert len(shot.stops) == 8 and not any(stop.problem for stop in shot.stops)
    assert set(asked) == {None} and not any(note.kind == "empty used" for note in shot.notes)


def test_of_several_the_first_that_fits_is_taken(
    drawn_turn: Callable[..., Path], drawn_wall: Callable[..., Path], tmp_path: Path, asked: list[Any]
) -> None:
    folder = drawn_turn("keeper", EIGHT)
    (folder / "empty.jpg").write_text("no picture")
    drawn_wall(folder / "empty_2.jpg", size=(900, 1200))
    drawn_wall(tmp_path / "empty.jpg")
    shot = turnaround.ingest(folder)
    assert [(n.kind, n["name"]) for n in shot.notes if n.kind.startswith("empty")] == [
        ("empty unfit", "empty.jpg"), ("empty used", "empty_2.jpg")]
    assert {room.shape for room in asked if room is not None} == {(600, 450)}, "in the size of the stops"


def test_a_still_of_another_shape_is_cut_without(
    drawn_turn: Callable[..., Path], drawn_wall: Callable[..., Path], asked: list[Any]
) -> None:
    folder = drawn_turn("keeper", EIGHT)
    cv2.imwrite(str(folder / "090.jpg"), cv2.imread(str(folder / "090.jpg"))[:-40])
    drawn_wall(folder / "empty.jpg")
    turnaround.ingest(folder)
    assert [room is None for room in asked[-8:]] == [angle == 90 for angle in EIGHT]


@pytest.mark.parametrize("name", ["IMG_0004", "IMG_0000", "IMG_0031"])
def test_a_still_that_shows_the_room_without_the_model_becomes_the_empty_picture(
    drawn_turn: Callable[..., Path], drawn_wall: Callable[..., Path], asked: list[Any], name: str
) -> None:
    folder = drawn_turn("keeper", EIGHT, stem="IMG_{i:04d}")
    for k in range(7, -1, -1):
        (folder / f"IMG_{k:04d}.jpg").rename(folder / f"IMG_{2 * k + 1:04d}.jpg")
    plain = turnaround.ingest(folder)
    drawn_wall(folder / f"{name}.jpg", light=0.93)
    asked.clear()
    shot = turnaround.ingest(folder, looks=True)
    assert shot.notes[0] == Note.of("empty found", names=[name], used=True)
    assert [s.name for s in shot.stops] == [s.name for s in plain.stops] and len(shot.looks or ()) == 8
    assert [s.angle for s in shot.stops] == [s.angle for s in plain.stops] == list(EIGHT)
    assert [s.index for s in shot.stops] == list(range(8))
    assert all(room is not None for room in asked[-8:])


def test_a_still_without_a_figure_of_another_room_stays_a_failed_stop(
    drawn_turn: Callable[..., Path], asked: list[Any]
) -> None:
    folder = drawn_turn("keeper", EIGHT, stem="IMG_{i:04d}")
    cv2.imwrite(str(folder / "IMG_0009.jpg"), np.full((600, 450, 3), (40, 90, 30), np.uint8))
    shot = turnaround.ingest(folder)
    assert len(shot.stops) == 9 and set(asked) == {None}


def test_it_is_found_whatever_the_cutter_but_used_only_by_the_usual_one(
    drawn_turn: Callable[..., Path], drawn_wall: Callable[..., Path]
) -> None:
    folder = drawn_turn("keeper", EIGHT)
    drawn_wall(folder / "room.jpg")
    shot = turnaround.ingest(folder, Settings(cutter="backdrop"), looks=True)
    assert Note.of("empty found", names=["room"], used=False) in shot.notes
    assert [s.angle for s in shot.stops] == list(EIGHT) and len(shot.cuts) == len(shot.looks or ()) == 8
    assert all(stop.full_size == (450, 600) for stop in shot.stops)


def test_a_second_run_remembers_what_was_found_and_forgets_it_with_another_picture(
    drawn_turn: Callable[..., Path], drawn_wall: Callable[..., Path], tmp_path: Path, asked: list[Any]
) -> None:
    folder = drawn_turn("keeper", EIGHT, stem="IMG_{i:04d}")
    drawn_wall(folder / "IMG_0009.jpg")

    def again() -> tuple[turnaround.Turnaround, int]:
        asked.clear()
        memory = known.Memory(tmp_path / "out")
        shot = turnaround.ingest(folder, known=memory)
        shutil.rmtree(tmp_path / "out", ignore_errors=True)
        (tmp_path / "out").mkdir()
        memory.write(tmp_path / "out")
        return shot, len(asked)

    first, cut = again()
    second, cut_again = again()
    assert cut > 8 and cut_again == 0
    assert second.notes == first.notes and second.stops == first.stops and len(second.stops) == 8
    for change in (
        lambda: (folder / "IMG_0009.jpg").rename(folder / "empty.jpg"),
        lambda: drawn_wall(folder / "empty.jpg", seed=3),
        lambda: (folder / "empty.jpg").write_text("no picture"),
        lambda: (folder / "empty.jpg").unlink(),
    ):
        change()
        shot, cut = again()
        assert cut >= 8
        same, cut = again()
        assert cut == 0 and same.notes == shot.notes and same.stops == shot.stops


def test_one_process_and_two_find_the_same(
    drawn_turn: Callable[..., Path], drawn_wall: Callable[..., Path], tmp_path: Path
) -> None:
    named, found = drawn_turn("named", EIGHT), drawn_turn("found", EIGHT, arms="down")
    drawn_wall(named / "empty.jpg")
    drawn_wall(found / "room.jpg")
    kinds = []
    with turnaround.workers(2) as run:
        for folder in (named, found):
            one, two = turnaround.ingest(folder), turnaround.ingest(folder, run=run)
            assert one.stops == two.stops and one.notes == two.notes and len(one.stops) == 8
            assert all(np.array_equal(a.mask, b.mask) for a, b in zip(one.cuts, two.cuts, strict=True) if a and b)
            kinds += [note.kind for note in two.notes if note.kind.startswith("empty")]
    assert kinds == ["empty used", "empty found"]


def test_an_empty_picture_is_never_exported(
    drawn_turn: Callable[..., Path], drawn_wall: Callable[..., Path], tmp_path: Path
) -> None:
    folder = drawn_turn("keeper", EIGHT)
    drawn_wall(folder / "empty.jpg")
    drawn_wall(folder / "room.jpg", seed=5)
    layout = shoot.export_set(folder, tmp_path / "set", originals=True)
    assert len(layout.views) == 8
    written = [p for p in (tmp_path / "set").rglob("*") if p.suffix in (".jpg", ".png", ".svg")]
    assert written and not any("empty" in p.name or "room" in p.name for p in written)
    assert len([p for p in written if p.parent.name == "photographs" and p.suffix == ".jpg"]) == 8
    assert (tmp_path / "set" / "set.csv").read_text().count("\n") == 9


def test_a_set_of_a_pose_called_empty_can_be_read_again(drawn_turn: Callable[..., Path], tmp_path: Path) -> None:
    shoot.export_set(drawn_turn("keeper", EIGHT), tmp_path / "set", name="empty hands")
    for place in (tmp_path / "set", tmp_path / "set" / "photographs"):
        shot = turnaround.ingest(place)
        assert len(shot.stops) == 8 and not any(note.kind.startswith("empty") for note in shot.notes)


# ---------------------------------------------------------------------------------------------------------------- clips


def written(path: Path, frames: list[np.ndarray]) -> Path:
    with av.open(str(path), "w") as out:
        stream = out.add_stream("libx264", rate=30)
        stream.height, stream.width = frames[0].shape[:2]
        stream.pix_fmt, stream.options = "yuv420p", {"crf": "20"}
        for k, pixels in enumerate(frames):
            frame = av.VideoFrame.from_ndarray(pixels, format="bgr24")
            frame.pts, frame.time_base = k, Fraction(1, 30)
            out.mux(stream.encode(frame))
        out.mux(stream.encode())
    return path


@pytest.fixture
def filmed(
    capsule_mask: Callable[..., np.ndarray], drawn_turn: Callable[..., Path], drawn_wall: Callable[..., Path],
    tmp_path: Path,
) -> Callable[..., Path]:
    """``filmed(before, after)``: a clip of eight stops, with a walk and so many empty frames at either end."""

    def make(before: int = 0, after: int = 0) -> Path:
        draw = [cv2.imread(str(p)) for p in sorted(drawn_turn("frames", range(0, 360, 15)).glob("*.jpg"))]
        seed = iter(range(10_000))

        def noisy(picture: np.ndarray) -> np.ndarray:
            rng = np.random.default_rng(next(seed))
            return np.clip(picture + rng.normal(0, 1, picture.shape), 0, 255).astype(np.uint8)

        walls = cv2.imread(str(drawn_wall(tmp_path / "wall.png")))
        walk = []
        for k in range(20):
            shift = round((1 - k / 20) * 400)
            figure = np.roll(capsule_mask(0), shift, axis=1)
            figure[:, : max(0, shift - 150)] = False
            walk.append(np.where(figure[..., None], (70, 60, 110), walls).astype(np.uint8))
        frames = [walls] * before + walk * (before > 0)
        for stop in range(8):
            frames += [draw[3 * stop]] * 18
            frames += [draw[(3 * stop + k) % 24] for k in (1, 1, 1, 2, 2, 2)] * (stop < 7)
        frames += walk[::-1] * (after > 0) + [walls] * after
        return written(tmp_path / "clip.mp4", [noisy(cv2.resize(f, (300, 400))) for f in frames])

    return make


@pytest.mark.parametrize(("before", "after", "told"), [(45, 0, "first"), (0, 45, "last"), (40, 40, "first")])
def test_a_second_of_the_clip_that_shows_nobody_is_the_empty_picture(
    filmed: Callable[..., Path], asked: list[Any], before: int, after: int, told: str
) -> None:
    clip = filmed(before, after)
    shot = turnaround.ingest(clip, looks=True)
    assert ("empty end", told, True) in [(n.kind, n["end"], n["used"]) for n in shot.notes if n.kind == "empty end"]
    assert [s.name for s in shot.stops] == [f"stop_{k + (before > 0):02d}" for k in range(len(shot.stops))]
    assert [s.index for s in shot.stops] == list(range(len(shot.stops)))
    assert all(c is not None and c.mask.any() for c in shot.cuts) and len(shot.looks or ()) == len(shot.stops)
    assert len([room for room in asked if room is not None]) == len(shot.stops)
    (room,) = {room for room in asked if room is not None}
    begins, ends = film.read_full(clip, 0.3), film.read_full(clip, shot.stops[-1].time or 0.0)
    shown = begins if told == "first" else film.read_full(clip, film.find_stops(clip).duration - 0.3)
    assert room.picture.mean() == pytest.approx(float(shown.mean()), abs=0.5) and room.picture.mean() > ends.mean() + 2


def test_of_a_slow_turn_neither_the_empty_seconds_nor_the_way_in_are_stops(
    capsule_mask: Callable[..., np.ndarray], drawn_wall: Callable[..., Path], tmp_path: Path, asked: list[Any]
) -> None:
    size = (240, 320)
    walls = cv2.imread(str(drawn_wall(tmp_path / "wall.png", size=size)))
    rng = np.random.default_rng(0)

    def frame(mask: np.ndarray) -> np.ndarray:
        soft = cv2.GaussianBlur(mask.astype(np.float32), (0, 0), 0.7)[..., None]
        seen = walls * (1 - soft) + np.array([70, 60, 110]) * soft
        return np.clip(seen + rng.normal(0, 1, seen.shape), 0, 255).astype(np.uint8)

    nobody = np.zeros(size[::-1], bool)
    front = capsule_mask(0, "down", size)
    way = [np.pad(front, ((0, 0), (k, 0)))[:, : size[0]] for k in range(180, 0, -8)]
    turn = [capsule_mask(a, "down", size) for a in np.arange(0, 360, 2.0)]
    clip = written(tmp_path / "slow.mp4", [frame(m) for m in [nobody] * 50 + way + turn + way[::-1] + [nobody] * 50])
    shot = turnaround.ingest(clip)
    begins, ends = (50 + len(way)) / 30, (50 + len(way) + len(turn)) / 30
    assert all(begins - 0.2 <= (stop.time or 0) <= ends + 0.2 for stop in shot.stops) and len(shot.stops) >= 15
    assert all(c is not None and c.mask.any() for c in shot.cuts)
    (told,) = [n for n in shot.notes if n.kind == "empty end"]
    assert told["used"] and told["walking"] >= 1 and asked[-1] is not None


def test_a_clip_with_the_model_in_it_from_end_to_end_has_no_empty_second(asked: list[Any]) -> None:
    shot = turnaround.ingest(CLIPS / "gap_and_short.mp4")
    assert set(asked) == {None} and not any(note.kind.startswith("empty") for note in shot.notes)
    assert len(asked) == len(shot.stops), "nothing was cut twice"


def test_the_empty_picture_of_a_clip_lies_beside_it(
    filmed: Callable[..., Path], drawn_wall: Callable[..., Path], tmp_path: Path, asked: list[Any]
) -> None:
    clip = filmed()
    drawn_wall(tmp_path / "empty.jpg", size=(600, 450))
    drawn_wall(tmp_path / "clip.empty.png")
    notes = [n for n in turnaround.ingest(clip).notes if n.kind.startswith("empty")]
    assert notes == [used("clip.empty.png")] and asked[-1] is not None
    (tmp_path / "clip.empty.png").unlink()
    notes = [n for n in turnaround.ingest(clip).notes if n.kind.startswith("empty")]
    assert notes == [Note.of("empty unfit", name="empty.jpg", cause="wide", why=None)]


def test_a_remembered_clip_keeps_its_empty_second_out(
    filmed: Callable[..., Path], tmp_path: Path, asked: list[Any]
) -> None:
    clip = filmed(45, 0)
    memory = known.Memory(tmp_path / "out")
    first = turnaround.ingest(clip, known=memory)
    (tmp_path / "out").mkdir()
    memory.write(tmp_path / "out")
    asked.clear()
    second = turnaround.ingest(clip, known=known.Memory(tmp_path / "out"))
    assert not asked and second.notes == first.notes and second.stops == first.stops
