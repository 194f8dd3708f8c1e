"""Poses are found by what they do and by what they look like: in a folder of trials, in an archive, by the command."""

from __future__ import annotations

import importlib.util
import io
import json
import shutil
from collections.abc import Callable
from pathlib import Path
from typing import Any

import cv2
import numpy as np
import pyarrow as pa
import pyarrow.parquet as pq
import pytest

import silhouette
from silhouette import archive, cli, finding, known, scoring, writing
from silhouette.archive import views
from silhouette.archive.views import FILE
from silhouette.errors import PictureError, SettingsError, SilhouetteError
from silhouette.find import rows
from silhouette.intake import stills
from silhouette.records import Mask
from silhouette.records_find import Found

ANGLES = range(0, 360, 45)
pytestmark = pytest.mark.xdist_group("finding")


def _drawing() -> Any:
    """The drawn model of conftest.py, for what is made once for all tests here."""
    spec = importlib.util.spec_from_file_location("drawing", Path(__file__).parent / "conftest.py")
    assert spec is not None and spec.loader is not None
    module = importlib.util.module_from_spec(spec)
    spec.loader.exec_module(module)
    return module


@pytest.fixture(scope="module")
def trials(tmp_path_factory: pytest.TempPathFactory) -> Path:
    """A folder with two drawn poses, arms out and arms down."""
    drawing, folder = _drawing(), tmp_path_factory.mktemp("finding") / "trials"
    for arms in ("out", "down"):
        (folder / arms).mkdir(parents=True)
        for i, angle in enumerate(ANGLES):
            picture = drawing.draw_picture(drawing.draw_mask(drawing.model(arms), angle), seed=i)
            cv2.imwrite(str(folder / arms / f"{angle:03d}.jpg"), picture)
    return folder


@pytest.fixture(scope="module")
def kept(trials: Path) -> Path:
    """An archive of them."""
    place = trials.parent / "archive"
    archive.build([trials], place)
    return place


@pytest.fixture
def picture(tmp_path: Path, capsule_mask: Callable[..., Mask]) -> Callable[..., Path]:
    """``picture(angle, arms, mirrored=False, white=False)`` writes a silhouette."""

    def make(angle: float, arms: str, mirrored: bool = False, white: bool = False) -> Path:
        mask = capsule_mask(angle, arms)
        mask = mask[:, ::-1] if mirrored else mask
        path = tmp_path / f"{arms}.png"
        cv2.imwrite(str(path), np.where(mask != white, 0, 255).astype(np.uint8))
        return path

    return make


def _names(found: Found) -> list[str]:
    return [hit.pose for hit in found.hits]


# ---------------------------------------------------------------------------------------------------------- by likeness


@pytest.mark.parametrize("arms", ["out", "down"])
def test_a_silhouette_finds_its_pose_and_angle_in_an_archive(
    kept: Path, picture: Callable[..., Path], arms: str
) -> None:
    for white in (False, True):
        found = silhouette.find_views(kept, like=picture(45, arms, white=white))
        first, second = found.hits
        assert found.picture is not None and found.picture.kind == "silhouette"
        assert first.pose == arms and first.source == f"trials/{arms}"
        assert first.likeness is not None and second.likeness is not None and first.likeness > second.likeness
        assert first.angle % 90 == 45 and first.differs == (), "she looks about the same from all four of them"
        assert first.outline is not None and first.laid is not None
        assert first.laid.bounds == pytest.approx(first.outline.bounds, abs=0.03)
        assert (found.poses, found.views, found.more) == (2, 16, 0)


def test_each_view_of_a_body_is_found_at_its_angle(data: Path, tmp_path: Path) -> None:
    place = tmp_path / "archive"
    archive.build([data / "rendered" / "turn"], place)
    for angle in (60, 150, 270):
        mask = data / "rendered" / "turn" / "masks" / f"{angle:03d}.png"
        (hit,) = silhouette.find_views(place, like=mask).hits
        assert (hit.angle, hit.mirrored) in ((angle, False), ((angle + 180) % 360, True))
        assert hit.likeness is not None and hit.likeness > 0.9 and hit.differs == ()


def test_a_mirrored_silhouette_is_told_from_the_figure(kept: Path, picture: Callable[..., Path]) -> None:
    plain, turned = (silhouette.find_views(kept, like=picture(30, "out", mirrored=m)).hits[0] for m in (False, True))
    assert plain.pose == turned.pose == "out" and plain.likeness == pytest.approx(turned.likeness, abs=0.02)
    opposite = (plain.angle + 180) % 360, plain.mirrored  # the view from behind is about the mirror image
    assert (turned.angle, turned.mirrored) in ((plain.angle, not plain.mirrored), opposite)
    assert plain.outline is not None and turned.outline is not None
    assert plain.outline.bounds[0] == pytest.approx(-turned.outline.bounds[2], abs=0.02)


def test_where_it_differs_is_said_of_the_picture(kept: Path, tmp_path: Path, capsule_mask: Callable[..., Mask]) -> None:
    out, down = capsule_mask(0, "out"), capsule_mask(0, "down")
    middle = out.shape[1] // 2
    mask = np.hstack([out[:, :middle], down[:, middle:]])
    cv2.imwrite(str(tmp_path / "one.png"), np.where(mask, 0, 255).astype(np.uint8))
    by_name = {hit.pose: hit for hit in silhouette.find_views(kept, like=tmp_path / "one.png", arc=(350, 10)).hits}
    said = {name: finding.to_dict(Found((hit,), Found, 1, 1))["hits"][0]["differs"] for name, hit in by_name.items()}  # type: ignore[arg-type]
    arm = next(one for one in said["out"] if "arm" in one["part"] or "picture right" in one["part"])
    assert arm["part"].startswith("picture right") and arm["said"].startswith(arm["part"])


def test_a_photograph_finds_its_pose_among_trials_that_lie_beside_it(trials: Path, tmp_path: Path) -> None:
    drawing, folder = _drawing(), tmp_path / "all"
    shutil.copytree(trials, folder)
    photo = folder / "photo.jpg"
    cv2.imwrite(str(photo), drawing.draw_picture(drawing.draw_mask(drawing.model("out"), 50, (500, 700)), seed=77))
    found = silhouette.find_views(folder, like=photo)
    assert found.picture is not None and found.picture.kind == "photograph"
    assert found.hits[0].pose == "out" and found.hits[0].source == "all/out"
    assert abs((found.hits[0].angle + 180 * found.hits[0].mirrored) % 360 - 50) <= 20


@pytest.mark.parametrize(("draw", "kind"), [("closed", "drawing"), ("open", None)])
def test_a_drawing_has_to_enclose_a_figure(
    kept: Path, tmp_path: Path, capsule_mask: Callable[..., Mask], draw: str, kind: str | None
) -> None:
    mask = capsule_mask(0, "out")
    contours, _ = cv2.findContours(mask.astype(np.uint8), cv2.RETR_EXTERNAL, cv2.CHAIN_APPROX_NONE)
    line = cv2.drawContours(np.full(mask.shape, 255, np.uint8), contours, -1, 0, 4)
    if draw == "open":
        line[300:] = 255
    cv2.imwrite(str(tmp_path / "drawn.png"), line)
    if kind is None:
        with pytest.raises(PictureError, match="lines that enclose no figure"):
            silhouette.find_views(kept, like=tmp_path / "drawn.png")
    else:
        found = silhouette.find_views(kept, like=tmp_path / "drawn.png")
        assert found.picture is not None and found.picture.kind == kind
        assert [note.kind for note in found.picture.notes] == ["filled in"]
        assert found.hits[0].pose == "out"


# ------------------------------------------------------------------------------------------------------ by what it does


def test_poses_are_found_by_what_they_do(kept: Path) -> None:
    every = silhouette.find_views(kept, reads=0)
    assert sorted(_names(every)) == ["down", "out"]
    reads = {hit.pose: hit.reads for hit in every.hits}
    assert reads["out"] is not None and reads["down"] is not None and reads["out"] > reads["down"]
    assert _names(every) == ["out", "down"], "best first"
    assert _names(silhouette.find_views(kept, reads=reads["out"])) == ["out"]
    assert silhouette.find_views(kept, reads=360).hits == ()
    assert all(hit.likeness is None and not hit.mirrored and hit.laid is None for hit in every.hits)


def test_what_counts_is_on_the_arc_alone(kept: Path) -> None:
    hits = silhouette.find_views(kept, reads=0, arc=(300, 60)).hits
    assert [hit.counted for hit in hits] == [120, 120]
    assert all(hit.angle in (315, 0, 45) for hit in hits)


def test_a_pose_has_to_do_all_of_it(kept: Path, picture: Callable[..., Path]) -> None:
    assert _names(silhouette.find_views(kept, gap="big")) == ["out"]
    assert _names(silhouette.find_views(kept, gap="big", like=picture(45, "down"))) == ["out"]
    assert silhouette.find_views(kept, gap="big", arm="over-head").hits == ()


def test_a_folder_and_an_archive_of_it_answer_alike(trials: Path, kept: Path, picture: Callable[..., Path]) -> None:
    like = picture(45, "out")
    one, other = (finding.to_dict(silhouette.find_views(place, like=like)) for place in (trials, kept))
    assert one == other


def test_as_many_are_shown_as_are_asked_for(kept: Path, picture: Callable[..., Path]) -> None:
    for asked in ({"reads": 0}, {"like": picture(45, "out")}):
        found = silhouette.find_views(kept, most=1, **asked)  # type: ignore[arg-type]
        assert len(found.hits) == 1 and found.more == 1


# --------------------------------------------------------------------------------------- with and without views.parquet


def _lie(how: str, told: dict[str, Any]) -> Callable[[Any], Any]:
    """A change of the table of all views, or of what it says that it is made of."""
    def change(table: Any) -> Any:
        if how == "seals":
            told["made of"] = [[f"{seal[::-1]}", count] for seal, count in told["made of"]]
        elif how == "counts":
            told["made of"] = [[seal, count + 1] for seal, count in told["made of"]]
        elif how == "nonsense":
            told["made of"] = [[None, "many"]]
        elif how == "version":
            told["schema"] = 99
        elif how == "rows":
            table = table.slice(0, len(table) - 1)
        elif how == "short vectors":
            short = pa.array([[1.0, 0.0]] * len(table), pa.list_(pa.float32(), 2))
            table = table.set_column(table.schema.get_field_index("vector"), "vector", short)
        elif how == "long vectors":
            long = pa.array([[1e30] * rows.SIZE] * len(table), pa.list_(pa.float32(), rows.SIZE))
            table = table.set_column(table.schema.get_field_index("vector"), "vector", long)
        elif how == "words":
            table = table.set_column(table.schema.get_field_index("ring"), "ring", pa.array(["middle"] * len(table)))
        elif how == "columns":
            table = table.drop_columns(["source", "flags"])
        return table.replace_schema_metadata({rows.ABOUT: json.dumps(told).encode()})
    return change


def _resealed(path: Path, change: Callable[[Any], Any]) -> None:
    held = io.BytesIO()
    pq.write_table(change(pq.read_table(path)), held)
    path.write_bytes(writing.seal(held.getvalue()))


def _spoil(place: Path, how: str, other: Path) -> None:
    """One thing that may happen to an archive, or to its table of all views."""
    all_views, (first, *_) = place / FILE, sorted((place / "poses").iterdir())
    if how == "gone":
        all_views.unlink()
    elif how == "cut short":
        all_views.write_bytes(all_views.read_bytes()[:-1000])
    elif how == "changed":
        data = bytearray(all_views.read_bytes())
        data[len(data) // 2] ^= 1
        all_views.write_bytes(data)
    elif how == "empty":
        all_views.write_bytes(b"")
    elif how == "folder":
        all_views.unlink()
        all_views.mkdir()
    elif how == "of another archive":
        shutil.copy(other / FILE, all_views)
    elif how == "a pose removed":
        first.unlink()
    elif how == "a pose renamed":
        first.rename(first.with_name("zz.parquet"))
    elif how == "a pose copied":
        shutil.copy(first, first.with_name("zz.parquet"))
    elif how == "a pose of another archive":
        shutil.copy(next((other / "poses").iterdir()), place / "poses")
    elif how == "a pose replaced":
        shutil.copy(next((other / "poses").iterdir()), first)
    else:
        told = json.loads(pq.read_metadata(all_views).metadata[rows.ABOUT])
        _resealed(all_views, _lie(how, told))


@pytest.fixture(scope="module")
def another(trials: Path) -> Path:
    """An archive of one other pose."""
    root = trials.parent / "other"
    shutil.copytree(trials / "out", root / "mirror")
    for path in (root / "mirror").iterdir():
        cv2.imwrite(str(path), cv2.imread(str(path))[:, ::-1])
    place = trials.parent / "another"
    archive.build([root], place)
    return place


@pytest.mark.parametrize("how", [
    "gone", "cut short", "changed", "empty", "folder", "of another archive", "a pose removed", "a pose renamed",
    "a pose copied", "a pose of another archive", "a pose replaced", "seals", "counts", "nonsense", "version", "rows",
    "short vectors", "long vectors", "words", "columns",
])
def test_whatever_is_done_to_an_archive_the_answer_is_that_of_its_poses(
    kept: Path, another: Path, picture: Callable[..., Path], tmp_path: Path, how: str
) -> None:
    place, plain, asked = tmp_path / "archive", tmp_path / "plain", ({"like": picture(45, "out")}, {"reads": 0})
    shutil.copytree(kept, place)
    _spoil(place, how, another)
    shutil.copytree(place, plain, ignore=shutil.ignore_patterns(FILE))
    before = {path: path.read_bytes() for path in place.rglob("*") if path.is_file()}
    for question in asked:
        one, other = (silhouette.find_views(folder, **question) for folder in (place, plain))
        assert one == other and finding.to_dict(one) == finding.to_dict(other)
        assert one.poses == {"a pose removed": 1, "a pose copied": 3, "a pose of another archive": 3}.get(how, 2)
    assert {path: path.read_bytes() for path in place.rglob("*") if path.is_file()} == before


def test_files_of_poses_are_opened_only_for_hits(
    kept: Path, picture: Callable[..., Path], monkeypatch: pytest.MonkeyPatch
) -> None:
    opened, real = list[str](), views.read
    monkeypatch.setattr(views, "read", lambda path, how: opened.append(path.name) or real(path, how))
    for question in ({"reads": 0}, {"like": picture(45, "out")}):
        found = silhouette.find_views(kept, most=1, **question)  # type: ignore[arg-type]
        assert len(opened) == 1 and opened.pop().startswith(f"{found.hits[0].pose}-")
    assert silhouette.find_views(kept, reads=360).hits == () and not opened


@pytest.mark.parametrize("with_views", [True, False])
@pytest.mark.parametrize("damage", ["middle", "end", "folder"])
def test_a_pose_that_is_damaged_is_left_out_and_named(
    kept: Path, picture: Callable[..., Path], tmp_path: Path, damage: str, with_views: bool,
    capsys: pytest.CaptureFixture[str],
) -> None:
    place = tmp_path / "archive"
    shutil.copytree(kept, place, ignore=None if with_views else shutil.ignore_patterns(FILE))
    first = next((place / "poses").glob("out*"))
    data = bytearray(first.read_bytes())
    data[1000] ^= 1
    first.unlink()
    first.mkdir() if damage == "folder" else first.write_bytes(data if damage == "middle" else data[:-9])
    for question in (["--like", str(picture(45, "out"))], ["--reads", "0"]):
        assert cli.main(["find", str(place), *question, "-o", str(tmp_path / "found")]) == 0
        told = json.loads((tmp_path / "found" / "found.json").read_text())
        assert [hit["pose"] for hit in told["hits"]] == ["down"]
        said = " ".join(capsys.readouterr().out.split())
        assert "Looked through 1 pose, " in said and "is left out." in said and first.name in said
    for path in (place / "poses").glob("down*"):
        path.write_bytes(b"dear")
    assert cli.main(["find", str(place), "--reads", "0"]) == 2
    assert "cannot be read" in capsys.readouterr().err


# -------------------------------------------------------------------------------------------------- what is left behind


def test_the_answer_is_written_whole(kept: Path, picture: Callable[..., Path], tmp_path: Path) -> None:
    out, like = tmp_path / "found", picture(45, "out")
    for _ in range(2):  # an earlier answer is replaced
        assert cli.main(["find", str(kept), "--like", str(like), "-o", str(out)]) == 0
    names = sorted(p.name for p in out.iterdir() if not p.name.startswith("."))
    assert names == ["found.html", "found.json", "sheet.pdf", "sheet.png"]
    told = json.loads((out / "found.json").read_text())
    assert told["schema"] == 1
    first = told["hits"][0]
    assert first["pose"] == "out" and {"angle", "mirrored", "likeness", "ring", "source", "differs"} <= first.keys()
    assert [hit["likeness"] for hit in told["hits"]] == sorted((hit["likeness"] for hit in told["hits"]), reverse=True)
    assert stills.written_by_us(out) == "results"
    for path in (out, *out.iterdir()):
        assert path.stat().st_mode & 0o077 == 0


def test_an_answer_among_the_trials_is_no_pose(trials: Path, kept: Path, tmp_path: Path) -> None:
    folder = tmp_path / "trials"
    shutil.copytree(trials, folder)
    finding.write_found(silhouette.find_views(kept, reads=0), folder / "found")
    assert [place.name for place in scoring.find_poses([folder])] == ["down", "out"]


def test_cut_outs_are_remembered_with_the_answer(trials: Path, tmp_path: Path) -> None:
    out = tmp_path / "found"
    memory = known.Memory(out)
    first = silhouette.find_views(trials, reads=0, known=memory)
    finding.write_found(first, out, known=memory)
    assert len(list((out / ".known").iterdir())) == 2
    assert finding.to_dict(silhouette.find_views(trials, reads=0, known=known.Memory(out))) == finding.to_dict(first)


def test_nothing_found_is_said_and_no_error(kept: Path, tmp_path: Path, capsys: pytest.CaptureFixture[str]) -> None:
    assert cli.main(["find", str(kept), "--reads", "360", "-o", str(tmp_path / "found")]) == 0
    assert "Nothing was found." in capsys.readouterr().out
    assert json.loads((tmp_path / "found" / "found.json").read_text()) == {"schema": 1, "hits": []}
    assert "Nothing was found." in (tmp_path / "found" / "found.html").read_text()


def test_the_command_says_how_alike_in_words_first(
    kept: Path, picture: Callable[..., Path], capsys: pytest.CaptureFixture[str]
) -> None:
    assert cli.main(["find", str(kept), "--like", str(picture(45, "out"))]) == 0
    said = capsys.readouterr().out
    first = next(line for line in said.splitlines() if line.startswith(" 1  "))
    assert first.startswith(" 1  out from ") and "very like it (0." in first
    assert "Looked through 2 poses, 16 views." in " ".join(said.split())


@pytest.mark.parametrize(("flags", "said"), [
    ([], "nothing is asked"), (["--arc", "300-60"], "nothing is asked"),
    (["--reads", "400"], "reads is a number of degrees"), (["--reads", "200", "--arc", "300-60"], "arc of 120"),
    (["--strong-from", "nan"], "strong_from takes an angle"),
    (["--reads", "10", "--most", "0"], "most is how many"), (["--like", "nowhere.png"], "does not exist"),
    (["--like", "."], "is a folder"), (["--like", "notes.txt"], "notes.txt"),
    (["--like", "blank.png"], "blank.png"), (["--like", "grey.jpg"], "grey.jpg"),
])
def test_bad_input_is_one_sentence(
    kept: Path, tmp_path: Path, monkeypatch: pytest.MonkeyPatch, capsys: pytest.CaptureFixture[str],
    flags: list[str], said: str
) -> None:
    monkeypatch.chdir(tmp_path)
    Path("notes.txt").write_text("no picture")
    cv2.imwrite("blank.png", np.full((300, 200, 3), 255, np.uint8))
    cv2.imwrite("grey.jpg", np.random.default_rng(1).normal(128, 3, (300, 200, 3)).clip(0, 255).astype(np.uint8))
    assert cli.main(["find", str(kept), *flags]) == 2
    error = capsys.readouterr().err
    assert said in error and "fault of the program" not in error and len(error.splitlines()) == 1


def test_wrong_words_are_refused_from_python_too(kept: Path) -> None:
    for asked in ({"gap": "huge"}, {"arm": "up"}):
        with pytest.raises(SettingsError, match="can be"):
            silhouette.find_views(kept, **asked)  # type: ignore[arg-type]
    with pytest.raises(SilhouetteError, match="does not exist"):
        silhouette.find_views(kept / "nowhere", reads=1)


def test_pictures_and_archive_are_as_they_were(
    trials: Path, kept: Path, picture: Callable[..., Path], tmp_path: Path
) -> None:
    like = picture(45, "out")
    before = {path: path.read_bytes() for place in (trials, kept) for path in place.rglob("*") if path.is_file()}
    before[like] = like.read_bytes()
    for place in (trials, kept):
        assert cli.main(["find", str(place), "--like", str(like), "-o", str(tmp_path / "found")]) == 0
        assert cli.main(["find", str(place), "--like", str(like), "-o", str(place / "found")]) == 2
    after = {path: path.read_bytes() for place in (trials, kept) for path in place.rglob("*") if path.is_file()}
    assert {**after, like: like.read_bytes()} == before
