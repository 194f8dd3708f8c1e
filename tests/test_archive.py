"""An archive: made, made again, killed, shared out; what is in it and what never is."""

from __future__ import annotations

import errno
import json
import os
import random
import shutil
import signal
import stat
import subprocess
import sys
from collections.abc import Callable, Iterator
from pathlib import Path
from typing import Any

import cv2
import duckdb
import numpy as np
import pandas as pd
import pyarrow.parquet as pq
import pytest

from silhouette import archive, scoring, writing
from silhouette.archive.views import FILE as views_file
from silhouette.cli import main
from silhouette.errors import OutputError, PoseError, SettingsError, SilhouetteError
from silhouette.find import embed
from silhouette.settings import Settings

ANGLES = (0, 90, 180, 270)
PLAIN = Settings(cutter="backdrop", jitter=0)
FLAGS = ("--cutter", "backdrop", "--jitter", "0")
KILLED = """
import os, signal, sys
left = int(sys.argv.pop(1))
def count(event, given):
    global left
    if event in ("os.rename", "os.remove", "os.mkdir", "open") and sys.argv[-1] in str(given[0]):
        left -= 1
        if left == 0:
            os.kill(os.getpid(), signal.SIGKILL)
sys.addaudithook(count)
from silhouette.cli import main
sys.exit(main(sys.argv[1:]))
"""
"""Runs a command and dies before the nth time that it touches a file of the archive, its last argument."""
POISON = """
import os
from silhouette import scoring
real = scoring.read_useful
scoring.read_useful = lambda place, *rest: os._exit(1) if place.name == "poison" else real(place, *rest)
"""


@pytest.fixture
def turns(tmp_path: Path, drawn_turn: Callable[..., Path]) -> Path:
    """A root with three poses, two of them called keeper, one of them deep down."""
    root = tmp_path / "turns"
    for place, arms in (("2019/spring/keeper", "out"), ("2020/keeper", "down"), ("oar", "out")):
        (root / place).parent.mkdir(parents=True, exist_ok=True)
        drawn_turn("drawn", ANGLES, arms).rename(root / place)
    return root


def files(folder: Path) -> dict[str, bytes]:
    """Everything that lies in a folder, by its path."""
    return {p.relative_to(folder).as_posix(): p.read_bytes() for p in sorted(folder.rglob("*")) if p.is_file()}


def change(root: Path) -> None:
    """One pose changed, one removed, one new."""
    (root / "2020/keeper/090.jpg").unlink()
    shutil.move(root / "oar", root / "rowing")


def words(data: bytes) -> str:
    """A file as text, whatever it is."""
    return data.decode("latin-1")


# ----------------------------------------------------------------------------------------------------- made, made again


def test_holds_every_pose_and_does_only_what_is_new_or_changed(turns: Path, tmp_path: Path,
                                                               monkeypatch: pytest.MonkeyPatch) -> None:
    out = tmp_path / "archive"
    done = archive.build([turns], out, PLAIN)
    assert done.new == ("turns/2019/spring/keeper", "turns/2020/keeper", "turns/oar")
    assert not done.changed + done.removed + done.kept + done.failed
    before = files(out)
    assert len([name for name in before if name.startswith("poses/")]) == 3
    reads, real = list[str](), scoring.read_useful
    monkeypatch.setattr(scoring, "read_useful", lambda place, *rest: reads.append(place.name) or real(place, *rest))
    again = archive.build([turns], out, PLAIN)
    assert again.kept == done.new and not again.new + again.changed + again.removed and not reads
    assert files(out) == before
    change(turns)
    third = archive.build([turns], out, PLAIN)
    assert (third.new, third.changed, third.removed) == (("turns/rowing",), ("turns/2020/keeper",), ("turns/oar",))
    assert third.kept == ("turns/2019/spring/keeper",) and reads == ["keeper", "rowing"]
    archive.build([turns], tmp_path / "one_go", PLAIN)
    assert files(out) == files(tmp_path / "one_go")


@pytest.mark.parametrize("how", ["mask", "empty", "table", "ring", "settings"])
def test_a_pose_is_changed_by_all_that_it_depends_on(turns: Path, tmp_path: Path, how: str,
                                                     capsule_mask: Callable[..., np.ndarray]) -> None:
    out, settings = tmp_path / "archive", PLAIN.but(cutter="auto") if how == "empty" else PLAIN
    archive.build([turns], out, settings)
    if how == "mask":
        cv2.imwrite(str(turns / "oar/000.mask.png"), capsule_mask(0).astype(np.uint8) * 255)
    elif how == "empty":
        shutil.copy(turns / "oar/000.jpg", turns / "oar/empty.jpg")
    elif how == "table":
        (turns / "oar/angles.csv").write_text("000.jpg,10\n090.jpg,100\n180.jpg,190\n270.jpg,280\n")
    elif how == "ring":
        (turns / "oar/high").mkdir()
        shutil.copy(turns / "oar/000.jpg", turns / "oar/high/000.jpg")
    else:
        settings = settings.but(work_px=600)
    done = archive.build([turns], out, settings)
    others = {"turns/2019/spring/keeper", "turns/2020/keeper"}
    assert {*done.changed, *dict(done.failed)} == {"turns/oar", *(others if how == "settings" else ())}
    assert set(done.kept) == (set() if how == "settings" else others)


def test_jobs_change_nothing(turns: Path, tmp_path: Path) -> None:
    archive.build([turns], tmp_path / "one", PLAIN)
    archive.build([turns], tmp_path / "two", PLAIN.but(jobs=2))
    assert files(tmp_path / "one") == files(tmp_path / "two")


def test_a_pose_that_fails_is_named_and_the_rest_goes_on(turns: Path, tmp_path: Path, capsys: Any,
                                                         monkeypatch: pytest.MonkeyPatch) -> None:
    out, monkeyed = tmp_path / "archive", scoring.read_useful
    archive.build([turns], out, PLAIN)
    (turns / "broken").mkdir()
    (turns / "broken/000.jpg").write_bytes(b"no picture")
    for still in (turns / "oar").iterdir():
        still.write_bytes(b"no picture any more")
    (turns / "2020/loose.jpg").write_bytes(b"no picture")

    def fault(place: Path, *rest: Any) -> Any:
        if place.name == "fault":
            raise ZeroDivisionError("by nothing")
        return monkeyed(place, *rest)

    monkeypatch.setattr(scoring, "read_useful", fault)
    shutil.copytree(turns / "2020/keeper", turns / "fault")
    assert main(["archive", str(turns), "-o", str(out), *FLAGS]) == 0
    said = " ".join(capsys.readouterr().out.split())
    assert "2 as before. 4 could not be read:" in said
    for sentence in ("turns/broken: ", "turns/oar: ", "turns/2020: holds loose pictures (loose.jpg) beside poses.",
                     "turns/fault: this is a fault of the program (ZeroDivisionError: by nothing)."):
        assert sentence in said
    assert said.count("The archive keeps what it held of it.") == 1
    assert len(list((out / "poses").iterdir())) == 3, "a disk that fails takes nothing with it"


@pytest.fixture
def junk(turns: Path) -> Path:
    """A root in which three poses cannot be read: one holds no pictures, one no figure, and a clip is none."""
    (turns / "broken").mkdir()
    for name in ("secret.jpg", "worse.jpg"):
        (turns / "broken" / name).write_bytes(b"no picture")
    (turns / "nobody").mkdir()
    for i in range(4):
        grey = np.random.default_rng(i).normal(128, 3, (300, 200, 3)).clip(0, 255).astype(np.uint8)
        cv2.imwrite(str(turns / f"nobody/{i:03d}.jpg"), grey)
    (turns / "clip.mp4").write_bytes(b"no clip")
    return turns


@pytest.fixture
def reads(monkeypatch: pytest.MonkeyPatch) -> list[str]:
    """Names of the poses that are read from now on."""
    names, real = list[str](), scoring.read_useful
    monkeypatch.setattr(scoring, "read_useful", lambda place, *rest: names.append(place.name) or real(place, *rest))
    return names


def test_what_cannot_be_read_is_not_tried_again_and_named_again(junk: Path, tmp_path: Path, reads: list[str]) -> None:
    out = tmp_path / "archive"
    first = archive.build([junk], out, PLAIN)
    failed = dict(first.failed)
    assert sorted(failed) == ["turns/broken", "turns/clip.mp4", "turns/nobody"]
    assert str(junk / "broken/secret.jpg") in failed["turns/broken"] and "no figure" in failed["turns/nobody"]
    before = files(out)
    assert not any(name in words(data) for data in before.values() for name in ("secret", "worse", str(tmp_path)))
    reads.clear()
    assert archive.build([junk], out, PLAIN).failed == first.failed and not reads
    assert files(out) == before
    moved = shutil.copytree(junk, tmp_path / "elsewhere/turns")
    assert str(moved / "broken/secret.jpg") in dict(archive.build([moved], out, PLAIN).failed)["turns/broken"]
    assert not reads and files(out) == before
    assert archive.build([junk], out, PLAIN, again=True).failed == first.failed
    assert sorted(reads) == ["broken", "clip.mp4", "nobody"] and files(out) == before


def test_what_could_not_be_read_is_tried_again_when_anything_of_it_changed(junk: Path, tmp_path: Path,
                                                                           reads: list[str]) -> None:
    out = tmp_path / "archive"
    archive.build([junk], out, PLAIN)
    shutil.copytree(junk / "oar", junk / "broken", dirs_exist_ok=True)
    shutil.copy(junk / "oar/000.jpg", junk / "nobody/empty.jpg")
    (junk / "clip.mp4").unlink()
    reads.clear()
    done = archive.build([junk], out, PLAIN)
    assert sorted(reads) == ["broken", "nobody"] and done.new == ("turns/broken",)
    assert sorted(dict(done.failed)) == ["turns/nobody"]
    archive.build([junk], tmp_path / "one_go", PLAIN)
    assert files(out) == files(tmp_path / "one_go")
    reads.clear()
    archive.build([junk], out, PLAIN.but(work_px=600))
    assert sorted(reads) == ["broken", "keeper", "keeper", "nobody", "oar"]


def test_a_pose_that_is_spoilt_and_mended_is_held_as_before(turns: Path, tmp_path: Path, reads: list[str]) -> None:
    out = tmp_path / "archive"
    archive.build([turns], out, PLAIN)
    before, still = files(out), turns / "oar/000.jpg"
    pictures = {path: path.read_bytes() for path in (turns / "oar").iterdir()}
    for path in pictures:
        path.write_bytes(b"no picture")
    for _ in range(2):
        ((source, why),) = archive.build([turns], out, PLAIN).failed
        assert source == "turns/oar" and str(still) in why and why.endswith("The archive keeps what it held of it.")
    for path, data in pictures.items():
        path.write_bytes(data)
    reads.clear()
    assert len(archive.build([turns], out, PLAIN).kept) == 3 and not reads and files(out) == before


def test_failures_of_other_roots_stay_and_those_of_what_is_gone_go(junk: Path, tmp_path: Path) -> None:
    out, school = tmp_path / "archive", tmp_path / "school"
    shutil.copytree(junk / "broken", school / "broken")
    shutil.copytree(junk / "oar", school / "oar")
    archive.build([junk, school], out, PLAIN)
    shutil.rmtree(junk / "nobody")
    archive.build([junk], out, PLAIN)
    listed = json.loads((out / "archive.json").read_text())["unread"]
    assert [one["source"] for one in listed] == ["school/broken", "turns/broken", "turns/clip.mp4"]


@pytest.mark.parametrize("unread", [
    None, 5, {}, [5], [{}], [{"source": 1, "root": "turns", "mark": 3, "key": 4, "why": [[], None, 99]}],
    [{"source": "turns/broken", "root": "turns", "mark": "MARK", "key": "KEY", "why": [400]}],
    [{"source": "turns/broken", "root": "turns", "mark": "MARK", "key": "KEY", "why": None}],
])
def test_a_list_that_remembers_nonsense_is_made_anew(junk: Path, tmp_path: Path, unread: Any) -> None:
    out = tmp_path / "archive"
    archive.build([junk], out, PLAIN)
    before, told = files(out), json.loads((out / "archive.json").read_text())
    true = next(one for one in told["unread"] if one["source"] == "turns/broken")
    text = json.dumps({"schema": 1, "poses": told["poses"], "unread": unread})
    data = text.replace("MARK", true["mark"]).replace("KEY", true["key"]).encode() + b"\n"
    (out / "archive.json").write_bytes(writing.seal(data))
    assert len(archive.build([junk], out, PLAIN).failed) == 3
    assert files(out) == before


@pytest.mark.parametrize("jobs", [1, 2])
def test_failures_make_no_other_archive_however_it_was_made(junk: Path, tmp_path: Path, jobs: int) -> None:
    out = tmp_path / "archive"
    shutil.copytree(junk / "oar", tmp_path / "few/turns/oar")
    archive.build([tmp_path / "few/turns"], out, PLAIN)
    archive.build([junk], out, PLAIN.but(jobs=jobs))
    archive.build([junk], tmp_path / "one_go", PLAIN)
    assert files(out) == files(tmp_path / "one_go")


def test_where_nothing_can_be_read_it_says_so(tmp_path: Path) -> None:
    (tmp_path / "turns/broken").mkdir(parents=True)
    (tmp_path / "turns/broken/000.jpg").write_bytes(b"no picture")
    with pytest.raises(PoseError, match="is not a picture"):
        archive.build([tmp_path / "turns"], tmp_path / "deep/archive", PLAIN)
    shutil.copytree(tmp_path / "turns/broken", tmp_path / "turns/worse")
    with pytest.raises(PoseError, match=r"None of the 2 poses can be read\. The first: .*is not a picture"):
        archive.build([tmp_path / "turns"], tmp_path / "deep/archive", PLAIN)
    assert not (tmp_path / "deep").exists()
    (tmp_path / "nothing").mkdir()
    with pytest.raises(PoseError, match="neither pictures nor folders of pictures"):
        archive.build([tmp_path / "nothing"], tmp_path / "other", PLAIN)
    assert not (tmp_path / "other").exists()


@pytest.mark.parametrize("left", [*random.Random(15).sample(range(2, 31), 5), 32, 34, 35])
def test_killed_at_any_moment_and_gone_on_with_it_is_the_same(turns: Path, tmp_path: Path, left: int) -> None:
    out = tmp_path / "grown"
    archive.build([turns], out, PLAIN)
    change(turns)
    ran = subprocess.run([sys.executable, "-c", KILLED, str(left), "archive", str(turns), *FLAGS, "-o", str(out)],
                         capture_output=True, cwd=Path(__file__).parents[1])
    assert ran.returncode == -signal.SIGKILL, ran.stderr
    archive.build([turns], out, PLAIN)
    archive.build([turns], tmp_path / "one_go", PLAIN)
    assert files(out) == files(tmp_path / "one_go")


# ------------------------------------------------------------------------------------- the views of all poses together


def test_the_views_stand_in_one_file_too_as_plain_data(turns: Path, tmp_path: Path) -> None:
    out = tmp_path / "archive"
    archive.build([turns], out, PLAIN)
    poses, views = pd.read_parquet(out / "poses"), pd.read_parquet(out / views_file)
    shared = [name for name in views.columns if name != "headline"]
    assert views[shared].to_json() == poses[shared].to_json() and views.headline.all()
    found = duckdb.sql(f"SELECT count(*) FROM '{out}/{views_file}' WHERE angle = 0 AND gaps[1] > 0.2")
    assert found.fetchall() == [(2,)]


def test_they_are_not_written_again_where_nothing_changed(turns: Path, tmp_path: Path) -> None:
    out = tmp_path / "archive"
    archive.build([turns], out, PLAIN)
    before = (out / views_file).stat()
    archive.build([turns], out, PLAIN)
    assert (out / views_file).stat() == before
    change(turns)
    archive.build([turns], out, PLAIN)
    assert (out / views_file).stat() != before


def test_an_archive_without_them_gets_them(turns: Path, tmp_path: Path) -> None:
    out = tmp_path / "archive"
    archive.build([turns], out, PLAIN)
    whole = files(out)
    (out / views_file).unlink()
    archive.build([turns], out, PLAIN)
    assert files(out) == whole
    first = next((out / "poses").iterdir())
    first.unlink()
    archive.build([turns], out, PLAIN)
    assert files(out) == whole


@pytest.mark.parametrize("rows", [1, 4, 5, 100])
def test_how_much_is_in_memory_at_a_time_changes_no_row(turns: Path, tmp_path: Path, rows: int,
                                                        monkeypatch: pytest.MonkeyPatch) -> None:
    archive.build([turns], tmp_path / "whole", PLAIN)
    monkeypatch.setattr("silhouette.archive.views.AT_ONCE", rows)
    archive.build([turns], tmp_path / "archive", PLAIN)
    one, other = (pq.ParquetFile(tmp_path / name / views_file) for name in ("whole", "archive"))
    assert one.read().equals(other.read()) and one.num_row_groups == 1
    assert other.num_row_groups == {1: 3, 4: 3, 5: 2, 100: 1}[rows]


@pytest.mark.parametrize("name", [views_file, "archive.json"])
def test_what_was_made_of_the_poses_and_changed_stops_a_run_before_its_work(
    turns: Path, tmp_path: Path, monkeypatch: pytest.MonkeyPatch, name: str
) -> None:
    out = tmp_path / "archive"
    archive.build([turns], out, PLAIN)
    whole = (out / name).read_bytes()
    change(turns)
    reads = list[Path]()
    monkeypatch.setattr(scoring, "read_useful", lambda place, *rest: reads.append(place))
    for data in (b"", b"dear", whole[:-1], whole[:200] + b"x" + whole[201:]):
        (out / name).write_bytes(data)
        with pytest.raises(OutputError, match=f"was changed since it was written \\({name}\\)"):
            archive.build([turns], out, PLAIN)
        assert (out / name).read_bytes() == data and not reads


def test_a_renamed_file_stays_and_a_copy_is_not_taken_for_another_pose(turns: Path, tmp_path: Path) -> None:
    out = tmp_path / "archive"
    archive.build([turns], out, PLAIN)
    (first,) = (out / "poses").glob("oar*")
    named = first.rename(first.with_name("my best.parquet"))
    assert len(archive.build([turns], out, PLAIN).kept) == 3
    (turns / "oar/090.jpg").unlink()
    assert archive.build([turns], out, PLAIN).changed == ("turns/oar",)
    assert named.exists() and not first.exists()
    shutil.copy(named, first)
    before = files(out)
    with pytest.raises(OutputError, match=r"holds one pose twice \(poses/my best.parquet, poses/oar-.*\)"):
        archive.build([turns], out, PLAIN)
    assert files(out) == before


def test_two_archives_put_into_one_folder_go_on_as_one(turns: Path, tmp_path: Path) -> None:
    one, other, both = (tmp_path / name for name in ("one", "other", "both"))
    school = tmp_path / "school"
    shutil.copytree(turns / "oar", school / "deep/oar")
    archive.build([turns], one, PLAIN)
    archive.build([school], other, PLAIN)
    shutil.copytree(other, one, dirs_exist_ok=True)  # over what lies there, as a person would
    done = archive.build([turns, school], one, PLAIN)
    assert len(done.kept) == 4 and not done.new + done.changed
    archive.build([turns, school], both, PLAIN)
    assert files(one) == files(both)


def test_a_disk_that_is_full_by_then_keeps_the_poses(turns: Path, tmp_path: Path,
                                                     monkeypatch: pytest.MonkeyPatch) -> None:
    out = tmp_path / "archive"
    real = pq.ParquetWriter.write_table

    def full(self: Any, *given: Any, **how: Any) -> None:
        if self.schema.get_field_index("headline") >= 0:
            raise OSError(errno.ENOSPC, "No space left on device")
        real(self, *given, **how)

    with monkeypatch.context() as patch:
        patch.setattr(pq.ParquetWriter, "write_table", full)
        with pytest.raises(OutputError, match="No space left on device"):
            archive.build([turns], out, PLAIN)
    assert sorted(p.name for p in out.iterdir()) == [".silhouette.json", "archive.json", "poses"]
    assert len(archive.build([turns], out, PLAIN).kept) == 3
    archive.build([turns], tmp_path / "one_go", PLAIN)
    assert files(out) == files(tmp_path / "one_go")


# -------------------------------------------------------------------------------------------------------- what is in it


def test_is_plain_data_for_any_program(turns: Path, tmp_path: Path) -> None:
    out = tmp_path / "archive"
    archive.build([turns], out, PLAIN)
    table = pd.read_parquet(out / "poses")
    assert len(table) == 12 and set(table.source) == {"turns/2019/spring/keeper", "turns/2020/keeper", "turns/oar"}
    assert set(table.pose) == {"keeper", "oar"} and table.outline.notna().all()
    found = duckdb.sql(f"SELECT source FROM '{out}/poses/*.parquet' WHERE angle = 0 AND gaps[1] > 0.2 ORDER BY source")
    assert found.fetchall() == [("turns/2019/spring/keeper",), ("turns/oar",)]
    listed = json.loads((out / "archive.json").read_text())["poses"]
    assert [one["file"] for one in listed] == sorted(f"poses/{p.name}" for p in (out / "poses").iterdir())


def test_gives_the_views_back_as_they_were_read(turns: Path, tmp_path: Path) -> None:
    out = tmp_path / "archive"
    archive.build([turns / "oar"], out, PLAIN)
    pose = scoring.score_pose(turns / "oar", cutter="backdrop", jitter=0)
    assert list(archive.lines(out)) == archive.view_lines(pose, "oar")
    known, lines = next(archive.poses(out))
    assert known.about["name"] == "oar" and known.about["counted_degrees"] == pose.round.counted_degrees
    for line, view in zip(lines, pose.views, strict=True):
        assert view.outline is not None and line.outline is not None and line.vector is not None
        assert line.outline.equals_exact(view.outline.polygon, 0)
        np.testing.assert_array_equal(line.vector, embed.vectors([line.outline])[0][0])
        assert (line.limbs, line.joints) == (view.body and view.body.limb_legibility, view.body and view.body.joints)


def test_holds_no_photograph_no_metadata_and_no_path_of_the_computer(turns: Path, tmp_path: Path) -> None:
    out = tmp_path / "archive"
    shutil.copy(turns / "oar/000.jpg", turns / "oar/secret_045.jpg")
    (turns / "oar/angles.csv").write_text("nobody.jpg,10\n")
    archive.build([turns], out, PLAIN)
    for name, data in files(out).items():
        for hidden in (str(tmp_path), tmp_path.name, ".jpg", "JFIF", "Exif"):
            assert hidden not in words(data), (name, hidden)
    for path in (out / "poses").iterdir():
        table = pd.read_parquet(path)
        texts = [str(value) for column in table for value in table[column]]
        assert not any(str(tmp_path) in text or ".jpg" in text for text in texts)


def test_is_private(turns: Path, tmp_path: Path) -> None:
    out = tmp_path / "archive"
    out.mkdir(mode=0o755)
    archive.build([turns], out, PLAIN)
    for path in (out, *out.rglob("*")):
        assert stat.S_IMODE(path.stat().st_mode) == (0o700 if path.is_dir() else 0o600), path


# ------------------------------------------------------------------------------------------------- where it may not lie


def test_lies_nowhere_near_the_pictures(turns: Path, tmp_path: Path) -> None:
    before = files(tmp_path)
    for out in (turns, turns / "archive", turns / "oar/x", tmp_path):
        with pytest.raises(OutputError, match="pictures"):
            archive.build([turns], out, PLAIN)
    assert files(tmp_path) == before


def test_touches_nothing_that_is_not_its_own(turns: Path, tmp_path: Path) -> None:
    out = tmp_path / "archive"
    out.mkdir()
    (out / "letter.txt").write_text("dear")
    with pytest.raises(OutputError, match=r"holds other things \(letter.txt\)"):
        archive.build([turns], out, PLAIN)
    (out / "letter.txt").unlink()
    archive.build([turns], out, PLAIN)
    for name in ("letter.txt", "poses/letter.txt", "poses/deep/a.parquet"):
        (out / name).parent.mkdir(exist_ok=True)
        (out / name).write_text("dear")
        with pytest.raises(OutputError, match="holds something else"):
            archive.build([turns], out, PLAIN)
        assert (out / name).read_text() == "dear"
        (out / name).unlink()
    (out / "poses/deep").rmdir()
    first = next((out / "poses").glob("oar*.parquet"))
    for data in (b"dear", first.read_bytes().replace(b"PAR1", b"PAR2", 1), pd_bytes(first)):
        whole = first.read_bytes()
        first.write_bytes(data)
        shutil.rmtree(turns / "oar", ignore_errors=True)
        with pytest.raises(OutputError, match="was changed since it was written"):
            archive.build([turns], out, PLAIN)
        with pytest.raises(PoseError, match="cannot be read"):
            list(archive.lines(out))
        assert first.read_bytes() == data
        first.write_bytes(whole)
    assert archive.build([turns], out, PLAIN).removed == ("turns/oar",) and not first.exists()


def pd_bytes(path: Path) -> bytes:
    """The same table as another program writes it."""
    return bytes(pd.read_parquet(path).drop(columns="outline").to_parquet())


def test_other_folders_of_ours_are_kept_apart(turns: Path, tmp_path: Path, capsys: Any) -> None:
    assert main(["archive", str(turns), "-o", str(tmp_path / "archive"), *FLAGS]) == 0
    assert main(["score", str(turns / "oar"), "-o", str(tmp_path / "archive"), *FLAGS]) == 2
    assert "holds an archive" in capsys.readouterr().err
    assert main(["score", str(turns / "oar"), "-o", str(tmp_path / "results"), *FLAGS]) == 0
    assert main(["archive", str(turns), "-o", str(tmp_path / "results"), *FLAGS]) == 2
    assert "holds results of score or rank" in " ".join(capsys.readouterr().err.split())
    assert main(["score", str(tmp_path / "archive")]) == 2
    assert not archive.is_archive(tmp_path / "results") and archive.is_archive(tmp_path / "archive")
    with pytest.raises(PoseError, match="is no archive"):
        next(archive.lines(tmp_path / "results"))


def test_only_one_run_writes_at_a_time(turns: Path, tmp_path: Path) -> None:
    out = tmp_path / "archive"

    def meanwhile(what: str, done: int, total: int) -> None:
        with pytest.raises(OutputError, match="is being written by another run"):
            archive.build([turns], out, PLAIN)

    archive.build([turns], out, PLAIN, tell=meanwhile)


# ---------------------------------------------------------------------------------------------------------------- roots


def test_roots_are_told_apart_and_stay(turns: Path, tmp_path: Path) -> None:
    out, other = tmp_path / "archive", tmp_path / "school"
    shutil.copytree(turns / "oar", other / "oar")
    assert archive.build([turns, other], out, PLAIN).new[-2:] == ("turns/oar", "school/oar")
    alone = archive.build([turns], out, PLAIN)
    assert (len(alone.kept), alone.removed, alone.elsewhere) == (3, (), 1)
    assert len(list(archive.poses(out))) == 4


def test_a_disk_that_is_not_there_empties_nothing(turns: Path, tmp_path: Path, drawn_turn: Callable[..., Path]) -> None:
    out = tmp_path / "archive"
    archive.build([turns], out, PLAIN)
    before = files(out)
    (tmp_path / "away").mkdir()
    turns = turns.rename(tmp_path / "away/turns")
    drawn_turn("turns", ANGLES).rename(tmp_path / "keeper")
    (tmp_path / "turns").mkdir()
    shutil.move(tmp_path / "keeper", tmp_path / "turns/keeper")
    with pytest.raises(OutputError, match="holds 3 poses of turns, and none lies there any more"):
        archive.build([tmp_path / "turns"], out, PLAIN)
    assert files(out) == before
    assert archive.build([turns], out, PLAIN).kept, "known by the name of the root, wherever it lies"


def test_roots_that_cannot_be_kept_apart_are_refused(turns: Path, tmp_path: Path) -> None:
    out = tmp_path / "archive"
    for roots in ([turns, turns], [turns, turns / "2020"], [turns / "2020/keeper", turns / "2019/spring/keeper"]):
        with pytest.raises(PoseError, match="another of the folders given"):
            archive.build(roots, out, PLAIN)
    with pytest.raises(PoseError, match="does not exist"):
        archive.build([tmp_path / "nowhere"], out, PLAIN)
    with pytest.raises(SettingsError, match="belongs to one pose"):
        archive.build([turns], out, PLAIN.but(ring={"low": turns / "oar"}))
    assert not out.exists()


def test_what_is_no_pose_is_passed_over(turns: Path, tmp_path: Path) -> None:
    shutil.copytree(turns / "oar", turns / "oar/replaced")
    shutil.copytree(turns / "oar", turns / "oar/close-ups/hand")
    shutil.copytree(turns / "2020/keeper", turns / "2020/keeper/Masks")
    shutil.copytree(turns / "oar", turns / ".hidden")
    assert main(["score", str(turns / "oar"), "-o", str(turns / "results"), "--masks", *FLAGS]) == 0
    (turns / "link").symlink_to(turns, target_is_directory=True)
    for ring in ("low", "level"):
        shutil.copytree(turns / "2020/keeper", turns / "rings" / ring)
    done = archive.build([turns], tmp_path / "archive", PLAIN)
    assert done.new == ("turns/2019/spring/keeper", "turns/2020/keeper", "turns/oar", "turns/rings")
    assert {line.ring for line in archive.lines(tmp_path / "archive") if line.source == "turns/rings"} == {
        "low", "level"}


# ------------------------------------------------------------------------------------------------------------ a cluster


@pytest.fixture(scope="module")
def cluster() -> Iterator[Any]:
    """A scheduler with two workers of one thread, which begin again when they are killed."""
    from distributed import LocalCluster

    with LocalCluster(n_workers=2, threads_per_worker=1, dashboard_address="127.0.0.1:0") as found:
        yield found


def test_workers_of_a_cluster_do_the_same_and_one_may_die(turns: Path, tmp_path: Path, cluster: Any) -> None:
    from distributed import Client

    for i in range(3):
        shutil.copytree(turns / "oar", turns / f"more {i}")
    with Client(cluster.scheduler_address) as client:
        living = list(client.run(os.getpid).values())

    def kill(what: str, done: int, total: int) -> None:
        if done == 1:
            os.kill(living[0], signal.SIGKILL)

    done = archive.build([turns], tmp_path / "shared", PLAIN, cluster=cluster.scheduler_address, tell=kill)
    assert len(done.new) == 6 and not done.failed
    archive.build([turns], tmp_path / "here", PLAIN)
    assert files(tmp_path / "shared") == files(tmp_path / "here")


def test_a_pose_that_ends_its_workers_is_named(turns: Path, tmp_path: Path, cluster: Any,
                                               monkeypatch: pytest.MonkeyPatch) -> None:
    from distributed import Client

    archive.build([turns], tmp_path / "here", PLAIN)
    shutil.copytree(turns / "oar", turns / "poison")
    monkeypatch.setattr(cluster.scheduler, "allowed_failures", 0)
    with Client(cluster.scheduler_address) as client:
        client.wait_for_workers(2)
        client.run(exec, POISON)
    done = archive.build([turns], tmp_path / "here", PLAIN, cluster=cluster.scheduler_address)
    assert dict(done.failed)["turns/poison"].startswith("every worker that read it was ended")
    assert len(list((tmp_path / "here/poses").iterdir())) == 3, "what is held of poses that nobody looked at stays"


def test_without_a_scheduler_it_says_so(turns: Path, tmp_path: Path, monkeypatch: pytest.MonkeyPatch) -> None:
    monkeypatch.setattr("silhouette.archive.shared.PATIENCE_S", 0.5)
    with pytest.raises(SilhouetteError, match=r"no Dask scheduler answers at tcp://127\.0\.0\.1:1 "):
        archive.build([turns], tmp_path / "archive", PLAIN, cluster="tcp://127.0.0.1:1")
    assert not (tmp_path / "archive").exists()


def test_dask_is_loaded_only_where_it_is_asked_for(turns: Path, tmp_path: Path) -> None:
    code = ("import sys; from silhouette.cli import main; main(sys.argv[1:])\n"
            "print([name for name in sys.modules if name.split('.')[0] in ('dask', 'distributed', 'duckdb')])")
    ran = subprocess.run([sys.executable, "-c", code, "archive", str(turns / "oar"), "-o", str(tmp_path / "a"), *FLAGS],
                         capture_output=True, text=True, check=True, cwd=Path(__file__).parents[1])
    assert ran.stdout.splitlines()[-1] == "[]"
