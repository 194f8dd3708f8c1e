"""``find`` in archives as strangers keep them, for pictures of any kind: files damaged, foreign, renamed, huge; a table
of all views that lies; OUT where it may not be. Nothing in an archive is ever changed."""

from __future__ import annotations

import io
import json
import os
import random
import shutil
from collections.abc import Callable
from pathlib import Path
from typing import Any

import cv2
import numpy as np
import pyarrow as pa
import pyarrow.parquet as pq
from campaign import mutate, samples
from campaign.harness import Case, run_apart

QUICK = ("--work-px", 200)
VIEWS, ABOUT = "views.parquet", b"silhouette"
FILES = ("empty", "cut", "flip", "mutate", "folder", "pipe", "loop", "gone", "missing", "huge", "foreign", "resealed")
"""What may become of any file of an archive."""
LIES: dict[str, Callable[[Any], Any]] = {
    "path": lambda table: _filled(table, "pose", "../../../etc/passwd"),
    "page": lambda table: _filled(table, "pose", "<script>alert(1)</script>\x1b[2J\n=1+1"),
    "where": lambda table: _filled(table, "source", "/etc/passwd\x00\u202e"),
    "nowhere": lambda table: _filled(table, "source", None),
    "ring": lambda table: _filled(table, "ring", "middle"),
    "band": lambda table: _filled(table, "band", "superb"),
    "angle": lambda table: _filled(table, "angle", float("inf")),
    "reads": lambda table: _filled(table, "readability", 1e300),
    "flags": lambda table: _filled(table, "flags", [None, "cannot tell"]),
    "gaps": lambda table: _filled(table, "gaps", [float("nan"), 5.0]),
    "joints": lambda table: _filled(table, "joints", [None]),
    "vectors": lambda table: _filled(table, "vector", [1e30] * 128),
    "short vectors": lambda table: _filled(table, "vector", [1.0, 0.0], pa.list_(pa.float32())),
    "no vectors": lambda table: _filled(table, "mirror_vector", None),
    "outline": lambda table: _filled(table, "outline", b"\x01\x03\x00\x00\x00\xff\xff\xff\xff"),
    "fewer rows": lambda table: table.slice(1),
    "more rows": lambda table: pa.concat_tables([table, table]),
    "fewer columns": lambda table: table.select(table.column_names[::2]),
    "no rows": lambda table: table.slice(0, 0),
}
"""What a file may say and yet bear a seal that is true."""
ASKED: tuple[tuple[object, ...], ...] = (
    ("--reads", 0), ("--reads", 0), ("--reads", 1, "--arc", "300-60"), ("--gap", "small"), ("--arm", "over-head"),
    ("--strong-from", 90), ("--gap", "big", "--reads", 400), ("--reads", "nan"), ("--arc", "0-90"), (), ("--most", 0),
    ("--reads", 0, "--most", 10**9), ("--strong-from", "inf"), ("--reads", -1),
)


def prepare(case: Case) -> None:
    """An archive of three poses, another of one, and what the first answers."""
    place = case.prepared
    for root, count in (("turns", 3), ("school", 1)):
        for i in range(count):
            samples.pose(place / root / f"pose {i}", ((0, 90, 180, 270), (0, 45, 90), (10, 100, 190))[i])
        told = run_apart(["archive", str(place / root), "-o", str(place / f"{root} archive"), *map(str, QUICK),
                          "--jitter", "0"])
        if told.code:
            raise RuntimeError(told.err)
    told = run_apart(["find", str(place / "turns archive"), "--reads", "0", "-o", str(place / "answer")])
    if told.code:
        raise RuntimeError(told.err)


def run(case: Case) -> None:
    """One question to one archive."""
    home, dice = case.fresh(), case.dice
    archive = home / "archive"
    shutil.copytree(case.prepared / "turns archive", archive)
    (home / "a.jpg").write_bytes(samples.still())
    spoilt = [_spoil(archive, case) for _ in range(dice.choice((0, 1, 1, 1, 2, 3)))]
    words: list[object] = ["find", archive, *QUICK, *dice.choice(ASKED)]
    if dice.random() < 0.5:
        words += ["--like", _picture(home, dice)]
    out = dice.choice((None, *[home / "out"] * 5, archive / "found", archive, home, archive / "poses", home / "a.jpg"))
    if out is not None:
        words += ["-o", out]
    told = case.attack(words, codes=(0, 2), out=out, originals=[archive])
    if told.code == 0 and out is not None and not out.is_relative_to(home / "out"):
        case.find("wrong exit codes", f"wrote to {out.name}, where it may not")
    if set(spoilt) <= {"views"}:
        _same_answer(case, archive)


def _same_answer(case: Case, archive: Path) -> None:
    """What became of the table of all views alone changes no answer."""
    out = case.folder / f"r{case._made}" / "again"
    told = case.attack(["find", archive, "--reads", 0, "-o", out], codes=(0,), out=out, originals=[archive])
    asked = json.loads((case.prepared / "answer" / "found.json").read_text())
    if told.code == 0 and json.loads((out / "found.json").read_text()) != asked:
        case.find("other", "the table of all views changed the answer")


def _spoil(archive: Path, case: Case) -> str:
    """Do something to one file of an archive; says to which kind of file."""
    dice = case.dice
    what = dice.choice(("pose", "pose", "views", "views", "views", "views lie", "list", "mark", "more"))
    poses = sorted(path for path in (archive / "poses").iterdir() if path.suffix == ".parquet")
    path = {"pose": dice.choice(poses) if poses else archive / VIEWS, "list": archive / "archive.json",
            "mark": archive / ".silhouette.json"}.get(what, archive / VIEWS)
    if what == "views lie":
        _lie_of_seals(path, dice)
    elif what == "more":
        _add(archive, case, poses)
    else:
        _spoil_file(path, dice, archive.parent)
    return what


def _add(archive: Path, case: Case, poses: list[Path]) -> None:
    """Something that a person put there: a copy, a file of another archive, something else."""
    other = case.prepared / "school archive"
    way = case.dice.choice(("copy", "rename", "another", "its views", "letter"))
    if way in ("copy", "rename") and poses and poses[0].is_file():
        (archive / "poses" / f"a copy {case.dice.random()}.parquet").write_bytes(poses[0].read_bytes())
        if way == "rename":
            poses[0].unlink()
    elif way == "another":
        shutil.copy(next((other / "poses").iterdir()), archive / "poses")
    elif way == "its views":
        if (archive / VIEWS).is_dir():
            return
        (archive / VIEWS).unlink(missing_ok=True)
        shutil.copy(other / VIEWS, archive)
    elif way == "letter":
        (archive / "poses" / "letter.parquet").write_text("dear")


def _spoil_file(path: Path, dice: random.Random, home: Path) -> None:
    if not path.is_file() or path.is_symlink() or path.stat().st_size > 10_000_000:
        return
    data, way = path.read_bytes(), dice.choice(FILES)
    if way == "resealed" and path.suffix == ".parquet" and data:
        lie = dice.choice(list(LIES))
        if not _reseal(path, LIES[lie]):
            path.write_bytes(mutate.mutate(dice, data, [data]))
    elif way == "huge":
        os.truncate(path, dice.choice((410_000_000, 40_000_000)))  # more than is read of a file, and less; sparse
    elif way in ("folder", "pipe", "loop", "gone", "missing"):
        path.unlink()
        {"folder": path.mkdir, "pipe": lambda: os.mkfifo(path), "loop": lambda: path.symlink_to(path.name),
         "gone": lambda: path.symlink_to(home / "nowhere"), "missing": lambda: None}[way]()
    elif way == "foreign":
        pq.write_table(pa.table({"name": ["dear"], "vector": [[1.0, 2.0]]}), path)
    else:
        flipped = bytearray(data or b"x")
        flipped[dice.randrange(len(flipped))] ^= 1 << dice.randrange(8)
        path.write_bytes({"empty": b"", "cut": data[: dice.randrange(len(data) + 1)], "flip": bytes(flipped)}.get(
            way, mutate.mutate(dice, data, [data]) if data else b""))


def _lie_of_seals(path: Path, dice: random.Random) -> None:
    """The table of all views says that it was made of something else."""
    def lie(table: Any) -> Any:
        told = json.loads(table.schema.metadata[ABOUT])
        made = told["made of"]
        told["made of"] = dice.choice((
            [[seal[::-1], count] for seal, count in made], [[seal, count + 1] for seal, count in made],
            [[seal, -count] for seal, count in made], made[1:], made * 2, [[5, None]], "dear", None, {"a": 1},
            [*made, ["0" * 64, 2**62]]))
        told["schema"] = dice.choice((told["schema"], told["schema"], 99, None))
        return table.replace_schema_metadata({ABOUT: json.dumps(told).encode()})

    _reseal(path, lie)


def _reseal(path: Path, lie: Callable[[Any], Any]) -> bool:
    """Write the table anew, changed, with a seal that is true; False where it is none or has no such column."""
    from silhouette import writing

    if not path.is_file():
        return False
    try:
        table = pq.read_table(path.open("rb"))
        about = pq.read_metadata(path).metadata or {}
        changed = lie(table.replace_schema_metadata({ABOUT: about.get(ABOUT, b"")}))
    except (OSError, KeyError, TypeError, ValueError, pa.ArrowException):
        return False
    held = io.BytesIO()
    pq.write_table(changed, held)
    path.write_bytes(writing.seal(held.getvalue()))
    return True


def _filled(table: Any, column: str, value: Any, kind: Any = None) -> Any:
    """A table with one value in all of a column."""
    at = table.schema.get_field_index(column)
    if at < 0:
        raise KeyError(column)
    return table.set_column(at, column, pa.array([value] * len(table), kind or table.schema.field(at).type))


def _picture(home: Path, dice: random.Random) -> Path:
    """A picture to ask with, or what somebody took for one."""
    way = dice.choice(("silhouette", "photograph", "mutated", "mutated", "blank", "words", "folder", "pipe", "loop",
                       "nowhere", "in the archive", "drawing", "tiny"))
    path = home / dice.choice(("like.png", "like.jpg", "=1+1.png", "a\nb.png", "-o.png"))
    if way == "silhouette":
        shape = (samples.figure(dice.choice((0, 45, 90)))[..., 0] > 120).astype(np.uint8) * 255
        path.write_bytes(cv2.imencode(".png", shape)[1].tobytes())
    elif way == "photograph":
        path.write_bytes(samples.still(dice.choice((0, 45, 90))))
    elif way == "mutated":
        made = samples.stills()
        path = path.with_suffix(Path(name := dice.choice(sorted(made))).suffix)
        path.write_bytes(mutate.mutate(dice, made[name], list(made.values())))
    elif way in ("blank", "tiny"):
        size = (200, 150) if way == "blank" else (1, 1)
        path.write_bytes(cv2.imencode(".png", np.full(size, 255, np.uint8))[1].tobytes())
    elif way == "drawing":
        drawn = np.full((200, 150), 255, np.uint8)
        cv2.ellipse(drawn, (75, 100), (40, 80), 0, 0, dice.choice((360, 300)), 0, 2)
        path.write_bytes(cv2.imencode(".png", drawn)[1].tobytes())
    elif way == "in the archive":
        return home / "archive" / VIEWS
    else:
        {"words": lambda: path.write_text("dear"), "folder": path.mkdir, "pipe": lambda: os.mkfifo(path),
         "loop": lambda: path.symlink_to(path.name), "nowhere": lambda: None}[way]()
    return path
