"""The bench: what it tells of the stops so far, and that neither a killed process nor a bad still stops it."""

from __future__ import annotations

import os
import shutil
import signal
from collections.abc import Callable, Iterator
from dataclasses import replace
from pathlib import Path

import cv2
import pytest

from silhouette.errors import SilhouetteError
from silhouette.intake import film
from silhouette.live import bench as benches
from silhouette.live.bench import Asked, Bench, Desk
from silhouette.live.ghost import Ghost, compare
from silhouette.shape.outline import outline_of

WAIT_S = 300


@pytest.fixture
def bench() -> Iterator[Bench]:
    made = Bench()
    yield made
    made.close()


@pytest.fixture
def stops(data: Path, tmp_path: Path) -> Path:
    """Twelve stops 30 degrees apart, and the first one again."""
    folder = tmp_path / "hauling"
    folder.mkdir()
    pictures = sorted((data / "rendered" / "turn").glob("*.jpg"))
    for k, picture in enumerate([*pictures, pictures[0]], start=1):
        shutil.copy(picture, folder / f"stop_{k:02d}.jpg")
    return folder


def _named(folder: Path) -> list[tuple[str, Path]]:
    return [(path.stem, path) for path in sorted(folder.glob("stop_*.jpg"))]


def test_the_stops_stand_on_the_wheel_with_their_angles(stops: Path) -> None:
    told = benches.look_at(Asked(stops, stops=12), Desk())
    assert [stop.name for stop in told.wheel] == [name for name, _ in _named(stops)]
    angles = [stop.angle for stop in told.wheel]
    assert all(a is not None and min(abs(a - 30 * k), 360 - abs(a - 30 * k)) < 12 for k, a in enumerate(angles))
    assert told.turned is not None and told.turned == pytest.approx(360, abs=15)
    assert told.closes and not told.moved and told.moved_words == ""
    assert all(stop.band is not None and stop.path.startswith("M") and not stop.trouble for stop in told.wheel)
    assert [name for name, _ in told.masks] == [stop.name for stop in told.wheel]


def test_fewer_than_eight_stops_stand_evenly_by_the_plan_and_nothing_is_said_to_be_told(stops: Path) -> None:
    named = _named(stops)[:5]
    told = benches.look_at(Asked(None, tuple(named), stops=24), Desk())
    assert [stop.angle for stop in told.wheel] == [0.0, 15.0, 30.0, 45.0, 60.0]
    assert told.turned is None and not told.closes
    right = benches.look_at(Asked(None, tuple(named), turn="right", stops=12), Desk())
    assert [stop.angle for stop in right.wheel] == [0.0, 330.0, 300.0, 270.0, 240.0]


def test_the_table_says_the_order_and_what_is_not_in_the_folder_comes_last(stops: Path, tmp_path: Path) -> None:
    names = [name for name, _ in _named(stops)]
    lines = [f"{name}.jpg,," for name in reversed(names)]
    (stops / "turn.csv").write_text("\n".join(["still,seconds,moved", *lines]) + "\n")
    late = tmp_path / "late.jpg"
    asked = Asked(stops, (("late", late), (names[0], stops / f"{names[0]}.jpg")), frozenset({names[1]}))
    assert [name for name, _ in benches.listed(asked)] == [n for n in [*reversed(names), "late"] if n != names[1]]


def test_a_table_that_cannot_be_read_leaves_the_order_of_the_names(stops: Path) -> None:
    (stops / "turn.csv").write_text("nothing")
    assert [name for name, _ in benches.listed(Asked(stops))] == [name for name, _ in _named(stops)]
    assert benches.listed(Asked(stops / "gone")) == []


@pytest.fixture
def few(drawn_turn: Callable[..., Path]) -> Path:
    """Four drawn stops, whose room can be drawn with nobody in it."""
    return drawn_turn("lookout", range(0, 120, 30), stem="stop_{i:02d}")


def test_an_empty_picture_makes_the_cut_out(few: Path, drawn_wall: Callable[..., Path]) -> None:
    drawn_wall(few / "empty.jpg")
    desk = Desk()
    told = benches.look_at(Asked(few), desk)
    assert desk.rooms[few].empty is not None
    assert len(told.wheel) == 4 and all(not stop.trouble for stop in told.wheel)
    (kept, *_) = desk.kept.values()
    assert kept.cut is not None and kept.cut.cutter == "room"


def test_an_empty_picture_that_comes_later_is_taken_then(few: Path, drawn_wall: Callable[..., Path]) -> None:
    desk = Desk()
    benches.look_at(Asked(few), desk)
    assert desk.rooms[few].empty is None
    drawn_wall(few / "empty.jpg")
    shutil.copy(few / "stop_03.jpg", few / "stop_04.jpg")
    benches.look_at(Asked(few), desk)
    assert desk.rooms[few].empty is not None


def test_an_empty_picture_of_another_room_is_not_taken(few: Path, drawn_wall: Callable[..., Path]) -> None:
    picture = cv2.imread(str(drawn_wall(few / "empty.jpg")))
    cv2.imwrite(str(few / "empty.jpg"), picture[:, ::-1] // 3 + 20)
    desk = Desk()
    benches.look_at(Asked(few), desk)
    assert desk.rooms[few].empty is None


def test_what_was_cut_out_is_not_cut_out_again(stops: Path, monkeypatch: pytest.MonkeyPatch) -> None:
    desk, asked = Desk(), Asked(stops)
    first = benches.look_at(asked, desk)
    monkeypatch.setattr(benches, "_one", lambda *_: pytest.fail("cut out again"))
    assert benches.look_at(asked, desk) == first


def test_a_still_that_is_written_anew_is_looked_at_anew(stops: Path, drawn_wall: Callable[..., Path]) -> None:
    desk, asked = Desk(), Asked(stops)
    assert benches.look_at(asked, desk).wheel[2].path
    drawn_wall(stops / "stop_03.jpg", size=(300, 400))
    (told,) = [stop for stop in benches.look_at(asked, desk).wheel if stop.name == "stop_03"]
    assert told.trouble == "nobody in it" and told.path == "" and told.band is None


@pytest.mark.parametrize("bad", [b"", b"no picture", b"\xff\xd8\xff\xe0cut off"])
def test_a_still_that_cannot_be_read_is_told_and_the_others_are_looked_at(stops: Path, bad: bytes) -> None:
    (stops / "stop_05.jpg").write_bytes(bad)
    told = benches.look_at(Asked(stops, stops=12), Desk())
    assert {stop.name: stop.trouble for stop in told.wheel if stop.trouble} == {"stop_05": "cannot be read"}
    assert told.turned is not None and told.closes


def test_arms_that_sink_are_warned_of_by_the_sixteenth_stop(data: Path, tmp_path: Path) -> None:
    clip = data / "clips" / "droop.mp4"
    found = film.find_stops(clip, work_px=1008)
    for picture, _ in zip(film.read_stops(clip, found, 1008), range(16), strict=False):
        cv2.imwrite(str(tmp_path / f"{picture.name}.jpg"), picture.pixels, [cv2.IMWRITE_JPEG_QUALITY, 92])
    named, desk, asked = _named(tmp_path), Desk(), Asked(None)
    told = []
    for k in range(10, 17):
        asked = replace(asked, added=tuple(named[:k]))
        told.append(benches.look_at(asked, desk))
        asked = replace(asked, called=frozenset(told[-1].moved), looked=frozenset(name for name, _ in named[:k]))
    assert not any(one.moved for one in told[:3])  # up to the twelfth the pose is held
    assert told[-1].moved and "arm height" in told[-1].moved_words and "about" in told[-1].moved_words


def test_stops_are_told_of_one_by_one_through_the_process(bench: Bench, stops: Path) -> None:
    here = stops.parent / "live"
    here.mkdir()
    assert bench.begin(here, stops=12).result(WAIT_S).wheel == ()
    futures = []
    for name, path in _named(stops):
        shutil.copy(path, here / path.name)
        futures.append(bench.add(name, here / path.name))
    told = futures[-1].result(WAIT_S)
    assert [stop.name for stop in told.wheel] == [name for name, _ in _named(stops)]
    assert all(future.result(WAIT_S).wheel for future in futures)
    (here / "stop_13.jpg").unlink()
    less = bench.remove("stop_13").result(WAIT_S)
    assert len(less.wheel) == 12 and not less.closes
    fresh = Bench()
    try:
        assert len(fresh.begin(here, stops=12).result(WAIT_S).wheel) == 12
    finally:
        fresh.close()


def test_the_outline_of_a_still_of_another_day_can_be_laid_over(bench: Bench, stops: Path) -> None:
    found = bench.outline(stops / "stop_02.jpg").result(WAIT_S)
    assert found is not None
    path, size = found
    earlier = Ghost.of_path(path, size, False, "stop 2")
    assert earlier is not None and size == (300, 400)
    kept = benches._cut_out([("", stops / "stop_02.jpg")], Desk())[0]
    assert kept.cut is not None
    line = outline_of(kept.cut.mask)
    assert line is not None and compare(line, None, earlier).sits
    assert bench.outline(stops / "gone.jpg").result(WAIT_S) is None


@pytest.mark.skipif(not hasattr(signal, "SIGKILL"), reason="no such signal here")
def test_a_process_that_is_killed_is_followed_by_another(bench: Bench, stops: Path) -> None:
    assert len(bench.begin(stops, stops=12).result(WAIT_S).wheel) == 13
    pool = bench._pool
    assert pool is not None
    (pid,) = pool._processes
    os.kill(pid, signal.SIGKILL)
    told = bench.add("stop_13", stops / "stop_13.jpg").result(WAIT_S)
    assert len(told.wheel) == 13 and told.closes
    assert bench._pool is not None and pid not in bench._pool._processes


@pytest.mark.skipif(not hasattr(signal, "SIGKILL"), reason="no such signal here")
def test_a_process_that_is_killed_at_work_is_followed_by_another(bench: Bench, stops: Path) -> None:
    future = bench.begin(stops, stops=12)
    pool = bench._pool
    assert pool is not None
    for pid in list(pool._processes):
        os.kill(pid, signal.SIGKILL)
    assert len(future.result(WAIT_S).wheel) == 13


def test_who_waits_for_a_pose_that_was_left_is_told_of_the_new_one(
    bench: Bench, few: Path, drawn_turn: Callable[..., Path]
) -> None:
    other = drawn_turn("oar", [0, 90], stem="stop_{i:02d}")
    futures = [bench.begin(few), bench.add("stop_03", few / "stop_03.jpg"), bench.begin(other)]
    assert [len(future.result(WAIT_S).wheel) for future in futures] == [2, 2, 2]


def test_a_bench_that_is_closed_gives_up_what_waits(stops: Path) -> None:
    made = Bench()
    future = made.begin(stops)
    made.close()
    assert future.cancelled() or future.exception(WAIT_S) is not None or future.done()
    with pytest.raises(SilhouetteError, match="closed"):
        made.add("stop_01", stops / "stop_01.jpg").result(WAIT_S)
    made.close()
