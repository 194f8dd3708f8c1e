"""What the pages for choosing, checking and keeping are told, and what their jobs leave: what the commands leave."""

from __future__ import annotations

import asyncio
import json
import os
import shutil
import sys
from collections.abc import Iterator
from contextlib import suppress
from dataclasses import dataclass, replace
from pathlib import Path
from typing import Any
from urllib.parse import unquote

import pytest
from shapely.geometry import box

from silhouette import armature, cli, scoring
from silhouette.errors import OutputError, SettingsError, SilhouetteError
from silhouette.live import poses, server, wanted, work
from silhouette.live.folder import ARMATURES, CHECKS, MENDED, RESULTS, SETS, Folder
from silhouette.live.house import House
from silhouette.records import Outline, Stop
from silhouette.records_shoot import CheckReport, Finding
from silhouette.settings import Ring
from silhouette.shoot import Checked
from tests.space import made

SAMPLES = Path(__file__).parents[2] / "sample_poses"
STOPS = ("000", "072", "144", "216", "288")
BEYOND = ("../outside", "..", "%2e%2e", "..%2f..%2foutside", "/etc/passwd", "é", ".silhouette.json", ".known",
          "photographs", "result.json/..", "a" * 3000, " ", "%00", "%ff")


def silent(what: str, done: int, total: int) -> None:
    """Nobody watches."""


def few(pose: str, into: Path, stops: tuple[str, ...] = STOPS) -> Path:
    """A sample pose with few stops."""
    into.mkdir(parents=True)
    for name in stops:
        shutil.copy(SAMPLES / pose / f"{name}.jpg", into)
    return into


@pytest.fixture(scope="module")
def shot(tmp_path_factory: pytest.TempPathFactory) -> Path:
    """A folder with two poses of five stops, ranked once; not to be changed."""
    folder = tmp_path_factory.mktemp("studio")
    few("hauling", folder / "hauling")
    few("bundled", folder / "a <b> & 'c'", ("000", "090", "180", "270"))
    work.rank(folder, places(folder), {"intents": ["closed", "open"], "arc": [300, 60.0]}, silent)
    return folder


@pytest.fixture
def studio(shot: Path, tmp_path: Path) -> Path:
    """The same, to be changed."""
    shutil.copytree(shot, tmp_path / "studio")
    return tmp_path / "studio"


def places(folder: Path) -> list[Path]:
    return [place.path for place in Folder(folder).poses()]


@dataclass
class Answer:
    """What came back."""

    status: int
    headers: dict[str, str]
    content: bytes

    def json(self) -> Any:
        return json.loads(self.content)


class Asking:
    """Asks the routes behind the door, with a path exactly as it is written."""

    def __init__(self, folder: Path) -> None:
        self.house = House.of(Folder(folder), 1)
        self._app = server.app_of(self.house)

    def get(self, path: str) -> Answer:
        return asyncio.run(self._ask("GET", path, b""))

    def post(self, path: str, told: Any) -> Answer:
        return asyncio.run(self._ask("POST", path, json.dumps(told).encode()))

    async def _ask(self, method: str, path: str, body: bytes) -> Answer:
        said: list[Any] = []
        scope = {"type": "http", "method": method, "path": unquote(path, errors="surrogateescape"), "headers": [],
                 "query_string": b"", "raw_path": path.encode(), "scheme": "http", "server": ("127.0.0.1", 1),
                 "root_path": "", "http_version": "1.1", "entered": True}

        asks = [{"type": "http.request", "body": body, "more_body": False}]

        async def receive() -> Any:
            if not asks:  # nothing more comes, and nobody goes away
                await asyncio.Event().wait()
            return asks.pop()

        async def send(message: Any) -> None:
            said.append(message)

        with suppress(Exception):  # what is said of it is looked at, with its status
            await self._app(scope, receive, send)
        headers = {name.decode(): value.decode("latin-1") for name, value in said[0]["headers"]}
        return Answer(said[0]["status"], headers, b"".join(part.get("body", b"") for part in said[1:]))


@pytest.fixture
def asked(studio: Path) -> Iterator[Asking]:
    """Asks about the folder."""
    asking = Asking(studio)
    yield asking
    asking.house.close()


def all_bytes(folder: Path) -> dict[str, bytes]:
    return {str(path.relative_to(folder)): path.read_bytes() for path in sorted(folder.rglob("*")) if path.is_file()}


# ------------------------------------------------------------------------------- what a job leaves the command leaves


def test_a_comparison_is_what_rank_writes(shot: Path, tmp_path: Path, capsys: pytest.CaptureFixture[str]) -> None:
    there = [str(shot / name) for name in ("a <b> & 'c'", "hauling")]
    given = ["--intent", "a <b> & 'c'=closed", "--arc", "300-60", "-o", str(tmp_path / "out")]
    assert cli.main(["rank", *there, *given]) == 0
    capsys.readouterr()
    assert all_bytes(shot / RESULTS) == all_bytes(tmp_path / "out")
    assert json.loads((shot / RESULTS / "result.json").read_text(encoding="utf-8"))["arc"] == [300.0, 60.0]


def test_one_pose_alone_is_what_score_writes(studio: Path, tmp_path: Path, capsys: pytest.CaptureFixture[str]) -> None:
    told = work.rank(studio, [studio / "hauling"], {}, silent)
    assert told == {"poses": 1, "left_out": 0}
    assert cli.main(["score", str(studio / "hauling"), "-o", str(tmp_path / "out")]) == 0
    capsys.readouterr()
    mine, theirs = all_bytes(studio / RESULTS), all_bytes(tmp_path / "out")
    assert mine.pop("result.json") == theirs.pop("result.json") and mine == theirs


def test_a_second_comparison_cuts_nothing_out_again(studio: Path, monkeypatch: pytest.MonkeyPatch) -> None:
    from silhouette import turnaround

    def cuts(*args: Any, **kwargs: Any) -> Any:
        raise AssertionError("cut out again")

    monkeypatch.setattr(turnaround, "_cut_out", cuts)
    assert work.rank(studio, places(studio), {"arc": [0, 90]}, silent)["poses"] == 2
    assert "<template" in work.read(studio, [studio / "hauling"], {}, silent)["report"]


def test_a_check_is_what_check_writes(studio: Path, tmp_path: Path, capsys: pytest.CaptureFixture[str]) -> None:
    told = work.check(studio, [studio / "hauling"], {"height": 1.6}, silent)
    cli.main(["check", str(studio / "hauling"), "--height", "1.6", "-o", str(tmp_path / "out")])
    capsys.readouterr()
    assert all_bytes(studio / CHECKS / "hauling") == all_bytes(tmp_path / "out")
    assert json.loads(json.dumps(told)) == told, "plain data"
    assert [stop["name"] for stop in told["stops"]] == list(STOPS)
    assert all(stop["path"].startswith("M") and 0 < stop["height"] <= 1 for stop in told["stops"])
    order = [row["verdict"] for row in told["findings"]]
    assert order == sorted(order, key=["retake", "look", "pass"].index)


def test_a_check_of_several_rings_is_told_ring_by_ring(tmp_path: Path) -> None:
    """Three rings of five stops; one of the low ring was exchanged, and one of the high ring is cut off."""
    stops = tuple(Stop(k, tmp_path, f"stop_{k:02d}", 72.0 * k, "name") for k in range(5))
    line = Outline(box(-0.2, 0, 0.2, 1), 300.0, (0.0, 0.0), (300, 400))

    def of(ring: Ring, *findings: Finding) -> CheckReport:
        return CheckReport("x", tuple(replace(stop, ring=ring) for stop in stops), findings, unclear=(1,))

    framed = Finding.of("framing", "retake", "cut by the frame", (3,), edges=("top",), upright_helps=False)
    rings = (("low", of("low")), ("level", of("level")), ("high", of("high", framed)))
    stray = Finding.of("right ring", "retake", "from another ring", (2,), looks="high")
    report = CheckReport("x", tuple(stop for _, one in rings for stop in one.stops), (stray,), (1, 6, 11), rings)
    own = {ring: [f.stops for f in one.findings] for ring, one in wanted.by_ring(report).items()}
    assert own == {"low": [(2,)], "level": [], "high": [(3,)]}
    told = work.check_told(Checked(report, (line,) * 15, ()))
    assert [(one["ring"], one["called"], one["unclear"]) for one in told["stops"]][4:8] == [
        ("low", "low 288", False), ("level", "level 0", False), ("level", "level 72", True),
        ("level", "level 144", False)]
    assert [(one["check"], one["stops"]) for one in told["findings"]] == [
        ("right ring", [2]), ("high ring, framing", [13])]
    assert [stop["mark"] for k, stop in enumerate(told["stops"]) if k in (2, 13, 3)] == ["retake", "pass", "retake"]
    assert [(one["ring"], one["want"]) for one in told["again"]] == [("low", "stop_02"), ("high", "stop_03")]


def test_a_set_is_what_export_writes(studio: Path, tmp_path: Path, capsys: pytest.CaptureFixture[str]) -> None:
    given = {"name": "hauling", "height": 1.7, "scale": 4}
    told = work.export(studio, [studio / "hauling"], given, silent)
    assert told["name"] == "hauling" and told["stops"] == len(STOPS) and not told["photographs"]
    assert not any("--" in note for note in told["notes"]), "no flags of a command on the page"
    flags = ["--height", "1.7", "--scale", "1:4", "--silhouettes-only", "--name", "hauling"]
    assert cli.main(["export", str(studio / "hauling"), "-o", str(tmp_path / "set"), *flags]) == 0
    capsys.readouterr()
    assert all_bytes(studio / SETS / "hauling") == all_bytes(tmp_path / "set")
    assert not any(name.startswith("photographs") for name in all_bytes(tmp_path / "set"))


def test_photographs_go_in_only_where_they_are_asked_for_and_a_set_is_replaced_only_so(studio: Path) -> None:
    first = all_bytes(studio / "hauling")
    one = few("hauling", studio / "one", STOPS[:1])
    for given, holds in (({"photographs": "yes"}, False), ({"photographs": True}, True)):
        work.export(studio, [one], given | {"name": "a", "overwrite": True}, silent)
        assert (studio / SETS / "a" / "photographs").is_dir() is holds
    kept = all_bytes(studio / SETS / "a")
    with pytest.raises(OutputError, match="A set is called a already"):
        work.export(studio, [one], {"name": "a"}, silent)
    assert all_bytes(studio / SETS / "a") == kept and all_bytes(studio / "hauling") == first


@pytest.fixture
def found(monkeypatch: pytest.MonkeyPatch) -> dict[str, Any]:
    """An armature is found at once, as a figure made by hand; gives what was asked for."""
    asked: dict[str, Any] = {}

    def armature_of(path: Path, **how: Any) -> Any:
        asked.update(how)
        return made.armature_of(scale=how["scale"], shrinkage=how["shrinkage"], name=path.name)

    monkeypatch.setattr(armature, "armature_of", armature_of)
    return asked


def test_an_armature_is_what_its_command_writes(
    studio: Path, tmp_path: Path, found: dict[str, Any], capsys: pytest.CaptureFixture[str]
) -> None:
    told = work.armature(studio, [studio / "hauling"], {"height": 1.7, "scale": 5, "shrinkage": 8}, silent)
    assert (found["height_m"], found["pose_height_m"], found["scale"], found["shrinkage"]) == (1.7, None, 5.0, 8.0)
    assert told["said"][0].startswith("hauling, from 24 stops.") and not any("--" in one for one in told["said"])
    assert json.loads(json.dumps(told)) == told, "plain data"
    flags = ["--height", "1.7", "--scale", "1:5", "--shrinkage", "8"]
    assert cli.main(["armature", str(studio / "hauling"), "-o", str(tmp_path / "out"), *flags]) == 0
    capsys.readouterr()
    left = all_bytes(studio / ARMATURES / "hauling")
    assert left == all_bytes(tmp_path / "out") and set(poses.OFFERED["armature"]) == set(left) - {".silhouette.json"}
    work.armature(studio, [studio / "hauling"], {"height": 1.7, "tape": "from,to,mm\n", "fit_to_tape": True}, silent)
    assert found["scale"] == 4.0 and all_bytes(studio / ARMATURES / "hauling") != left, "the last one takes its place"
    assert found["tape"] is None and not found["fit_to_tape"]
    work.armature(studio, [studio / "hauling"], {
        "height": 1.7, "tape": "from;to;mm\nshoulder left;elbow left;312\n", "fit_to_tape": True}, silent)
    assert found["fit_to_tape"] and found["tape"] == studio / ARMATURES / "hauling.tape.csv"
    assert os.name == "nt" or found["tape"].stat().st_mode & 0o077 == 0
    (studio / ARMATURES / "hauling" / "mine.txt").write_text("mine")
    with pytest.raises(OutputError, match=r"mine\.txt"):
        work.armature(studio, [studio / "hauling"], {"height": 1.7}, silent)
    assert (studio / ARMATURES / "hauling" / "mine.txt").read_text() == "mine"


def test_the_page_to_mend_on_lies_outside_the_pose(studio: Path) -> None:
    told = work.mend(studio, [few("hauling", studio / "one", STOPS[:1])], {}, silent)
    page = studio / MENDED / "one.html"
    assert told["name"] == page.name and told["stills"] == 1
    assert page.read_bytes().startswith(b"<!doctype html>")
    assert os.name == "nt" or page.stat().st_mode & 0o077 == 0


# ------------------------------------------------------------------------------------------------ nothing is believed


@pytest.mark.parametrize("what, given", [
    ("rank", {"arc": [1]}), ("rank", {"arc": "300-60"}), ("rank", {"arc": [float("nan"), 3]}),
    ("rank", {"arc": [{}, 3]}), ("rank", {"arc": [5, 5]}), ("rank", {"arc": [0, 1e9]}),
    ("rank", {"intents": ["open"]}), ("rank", {"intents": [[], 2]}), ("rank", {"paper": ["a4"]}),
    ("rank", {"paper": "../a4"}), ("check", {"height": "tall"}), ("check", {"height": True}), ("check", {"height": 17}),
    ("export", {"name": 7}), ("export", {"name": "../.."}), ("export", {"name": "///"}),
    ("armature", {}), ("armature", {"height": "tall"}), ("armature", {"height": 17}),
    ("armature", {"height": 1.7, "scale": 0}), ("armature", {"height": 1.7, "shrinkage": 100}),
    ("armature", {"height": 1.7, "tape": 7}), ("armature", {"height": 1.7, "tape": "x" * 99_999}),
    ("armature", {"height": 1.7, "paper": 4}), ("armature", {"height": 1.7}),  # five stops are too few
    ("export", {"scale": 0, "height": 1.7}), ("export", {"scale": 4}), ("export", {"height": 1e300}),
])
def test_what_makes_no_sense_is_refused_in_a_sentence(studio: Path, what: str, given: dict[str, Any]) -> None:
    before = all_bytes(studio)
    with pytest.raises(SilhouetteError) as told:
        work.WORK[what](studio, places(studio) if what == "rank" else [studio / "hauling"], given, silent)
    said = str(told.value)
    assert said.endswith(".") and str(studio) not in said and " -o" not in said and "--" not in said
    assert all_bytes(studio) == before


@pytest.mark.parametrize(
    "name", ["../../out", "..\\out", "/out", "con", "a/b", "x" * 4000, ". hidden", "sets\0x", "ü\u202eb"])
def test_a_set_stays_in_its_folder_whatever_it_is_called(tmp_path: Path, name: str) -> None:
    called = work.set_name(name)
    assert called == Path(called).name and called not in (".", "..") and not called.startswith(".")
    (tmp_path / called).mkdir()
    assert [path.name for path in tmp_path.iterdir()] == [called]


def test_a_job_for_one_pose_takes_one(studio: Path) -> None:
    for what in ("check", "export", "armature", "read", "mend"):
        with pytest.raises(SettingsError):
            work.WORK[what](studio, places(studio), {}, silent)


def test_results_that_are_not_ours_are_left_alone(studio: Path) -> None:
    (studio / RESULTS / "mine.txt").write_text("mine", encoding="utf-8")
    before = all_bytes(studio)
    with pytest.raises(OutputError, match=r"mine\.txt.*rename it, then try again"):
        work.rank(studio, places(studio), {}, silent)
    assert all_bytes(studio) == before


def test_a_pose_that_cannot_be_used_does_not_stop_the_others(studio: Path, asked: Asking) -> None:
    (studio / "spoilt").mkdir()
    (studio / "spoilt" / "000.jpg").write_bytes(b"no picture")
    told = work.rank(studio, places(studio), {}, silent)
    assert told["poses"] + told["left_out"] == 3
    rows = {one["called"]: one for one in asked.get("/api/poses").json()}
    said = asked.get("/api/results").json()
    assert set(rows) == {*said["poses"], *said["left_out"]}
    why = said["left_out"].get("spoilt") or said["poses"]["spoilt"]["problem"]
    assert "000.jpg" in why and not said["poses"]["hauling"]["problem"]


# ------------------------------------------------------------------------------------------------- what a page is told


def test_poses_and_results_are_told_together(asked: Asking, studio: Path) -> None:
    rows = asked.get("/api/poses").json()
    shown = [(row["name"], row["kind"], row["stops"]) for row in rows]
    assert shown == [("a <b> & 'c'", "stills", 4), ("hauling", "stills", 5)]
    assert all(row["checked"] is None and row["problem"] == "" for row in rows)
    told = asked.get("/api/results").json()
    assert told["arc"] == [300, 60] and told["poses"]["a <b> & 'c'"]["intent"] == "closed"
    assert told["changed"] == [] and told["missing"] == [] and told["left_out"] == {}
    assert {one["name"] for one in told["files"]} == set(poses.OFFERED["results"])
    one = asked.get(f"/api/poses/{rows[1]['id']}").json()
    assert one == rows[1]


def test_a_pose_with_rings_is_told_as_one_with_the_stops_of_each(asked: Asking, studio: Path) -> None:
    few("hauling", studio / "hauling" / "low", STOPS[:2])
    few("hauling", studio / "hauling" / "close-ups" / "hand", STOPS[:1])
    few("hauling", studio / "lookout" / "high", STOPS[:3])
    (studio / "lookout" / "level.mov").touch()
    rows = {row["name"]: row for row in asked.get("/api/poses").json()}
    assert len(rows) == 3 and all(row["problem"] == "" and row["kind"] == "stills" for row in rows.values())
    hauling, lookout, one = rows["hauling"], rows["lookout"], rows["a <b> & 'c'"]
    assert hauling["rings"] == [{"ring": "low", "stops": 2}, {"ring": "level", "stops": 5}]
    assert (hauling["stops"], hauling["close_ups"], hauling["names"]) == (7, 1, list(STOPS))
    assert lookout["rings"] == [{"ring": "level", "stops": None}, {"ring": "high", "stops": 3}]
    assert lookout["stops"] is None and lookout["names"] == []
    assert (one["rings"], one["close_ups"], one["stops"]) == ([], 0, 4)


def test_a_ring_that_lies_there_twice_is_told(asked: Asking, studio: Path) -> None:
    few("hauling", studio / "hauling" / "level", STOPS[:2])
    [row] = [row for row in asked.get("/api/poses").json() if row["name"] == "hauling"]
    assert "holds the level ring twice" in row["problem"] and str(studio) not in row["problem"]


@pytest.mark.parametrize("what", [
    "low/000.jpg", "close-ups/hand/000.jpg", "close-ups/foot.jpg", "high.masks/a.mask.png"])
def test_whatever_changes_in_a_ring_or_a_close_up_is_newer(studio: Path, what: str) -> None:
    pose, changed = studio / "hauling", studio / "hauling" / what
    changed.parent.mkdir(parents=True, exist_ok=True)
    shutil.copy(SAMPLES / "hauling" / "000.jpg", changed)
    if what.startswith("high"):
        (pose / "high.mov").touch()
    before = poses.newest(pose)
    os.utime(changed, (before + 60, before + 60))
    assert poses.newest(pose) == pytest.approx(before + 60)
    (pose / "notes").mkdir()
    (pose / "notes" / "a.txt").touch()
    os.utime(pose / "notes" / "a.txt", (before + 120, before + 120))
    assert poses.newest(pose) < before + 120, "what is none of its pictures does not count"


def test_the_rings_of_a_pose_are_mended_on_one_page(studio: Path) -> None:
    place = few("hauling", studio / "one", STOPS[:1])
    few("hauling", place / "low", STOPS[:1])
    told = work.mend(studio, [place], {}, silent)
    assert told["stills"] == 2 and "low_000.mask.png" in (studio / MENDED / "one.html").read_text(encoding="utf-8")


@pytest.mark.skipif(sys.platform != "linux", reason="elsewhere every name is text")
def test_names_that_are_no_text_can_be_shown(asked: Asking, studio: Path) -> None:
    odd = os.fsdecode(b"odd \xff\x01")
    (studio / odd).mkdir()
    shutil.copy(SAMPLES / "hauling" / "000.jpg", studio / odd / f"{odd}.jpg")
    work.check(studio, [studio / "hauling"], {}, silent)
    shutil.copytree(studio / CHECKS / "hauling", studio / CHECKS / odd)
    [row] = [one for one in asked.get("/api/poses").json() if one["name"].startswith("odd")]
    assert row["names"] == [row["name"]] and row["checked"]["made"] and "\x01" not in row["name"]
    assert asked.get(f"/api/poses/{row['id']}/check/check.json").status == 200


def test_results_older_than_the_pictures_are_told_to_be(asked: Asking, studio: Path) -> None:
    made = asked.get("/api/results").json()["made"]
    shutil.copy(SAMPLES / "hauling" / "024.jpg", studio / "hauling" / "024.jpg")
    os.utime(studio / "hauling", (made + 60, made + 60))
    shutil.rmtree(studio / "a <b> & 'c'")
    few("lookout", studio / "later", ())
    shutil.copy(SAMPLES / "lookout" / "lookout_000deg.jpg", studio / "later")
    told, rows = asked.get("/api/results").json(), {one["name"]: one["id"] for one in asked.get("/api/poses").json()}
    assert sorted(told["changed"]) == sorted(rows.values()) and told["missing"] == ["a <b> & 'c'"]


def test_a_check_older_than_the_pictures_is_told_to_be(asked: Asking, studio: Path) -> None:
    work.check(studio, [studio / "hauling"], {}, silent)
    rows = {one["name"]: one for one in asked.get("/api/poses").json()}
    checked = rows["hauling"]["checked"]
    assert checked["older"] is False and {one["name"] for one in checked["files"]} == set(poses.OFFERED["check"])
    os.utime(studio / "hauling", (checked["made"] + 60, checked["made"] + 60))
    assert asked.get(f"/api/poses/{rows['hauling']['id']}").json()["checked"]["older"] is True


def test_only_files_of_the_list_are_handed_out(asked: Asking, studio: Path, found: dict[str, Any]) -> None:
    one = few("hauling", studio / "one", STOPS[:1])
    work.export(studio, [one], {"name": "kept", "photographs": True}, silent)
    work.check(studio, [studio / "hauling"], {}, silent)
    work.armature(studio, [studio / "hauling"], {"height": 1.7}, silent)
    [kept] = asked.get("/api/sets").json()
    pose = next(one for one in asked.get("/api/poses").json() if one["name"] == "hauling")
    assert kept["name"] == "kept" and kept["photographs"] is True
    for begins, files, at in (
        (f"/api/sets/{kept['id']}", kept["files"], studio / SETS / "kept"),
        ("/api/results", asked.get("/api/results").json()["files"], studio / RESULTS),
        (f"/api/poses/{pose['id']}/check", pose["checked"]["files"], studio / CHECKS / "hauling"),
        (f"/api/poses/{pose['id']}/armature", pose["armature"]["files"], studio / ARMATURES / "hauling"),
    ):
        assert files
        for file in files:
            answer = asked.get(f"{begins}/{file['name']}")
            assert answer.content == (at / file["name"]).read_bytes()
            assert answer.headers["content-disposition"].startswith("attachment")
        for name in BEYOND:
            assert asked.get(f"{begins}/{name}").status in (400, 404), name
    for name in BEYOND:
        assert asked.get(f"/api/sets/{name}/about.txt").status in (400, 404)
        assert asked.get(f"/api/poses/{name}/check/check.pdf").status in (400, 404)
        assert asked.get(f"/api/poses/{name}/armature/armature.pdf").status in (400, 404)
    os.utime(studio / "hauling", (pose["armature"]["made"] + 60,) * 2)
    assert asked.get(f"/api/poses/{pose['id']}").json()["armature"]["older"] is True


def test_the_commands_find_the_poses_among_what_the_jobs_left(studio: Path, found: dict[str, Any]) -> None:
    work.check(studio, [studio / "hauling"], {}, silent)
    work.export(studio, [studio / "hauling"], {"photographs": True}, silent)
    work.armature(studio, [studio / "hauling"], {"height": 1.7}, silent)
    (studio / MENDED).mkdir()
    assert scoring.find_poses([studio]) == places(studio)
    assert {path.name for path in studio.iterdir()} > {RESULTS, CHECKS, SETS, ARMATURES, MENDED}


def test_a_link_is_not_followed(asked: Asking, studio: Path, tmp_path: Path) -> None:
    (tmp_path / "secret.txt").write_text("secret", encoding="utf-8")
    (studio / RESULTS / "views.csv").unlink()
    (studio / RESULTS / "views.csv").symlink_to(tmp_path / "secret.txt")
    assert asked.get("/api/results/views.csv").status in (400, 404)
    assert "views.csv" not in {one["name"] for one in asked.get("/api/results").json()["files"]}
    shutil.move(studio / RESULTS, tmp_path / "elsewhere")
    (studio / RESULTS).symlink_to(tmp_path / "elsewhere", target_is_directory=True)
    assert asked.get("/api/results").json()["made"] is None


@pytest.mark.parametrize(
    "spoilt", [b"", b"[]", b"{", b'{"poses": 3}', b'{"poses": [{"name": 3}]}', b"\xff" * 99, b"[" * 99999])
def test_a_spoilt_result_is_as_good_as_none(asked: Asking, studio: Path, spoilt: bytes) -> None:
    (studio / RESULTS / "result.json").write_bytes(spoilt)
    answer = asked.get("/api/results")
    assert answer.status == 200 and answer.json()["poses"] == {}


def test_a_folder_with_nothing_in_it_is_a_beginning(tmp_path: Path) -> None:
    new = Asking(tmp_path / "new")
    assert new.get("/api/poses").json() == [] and new.get("/api/sets").json() == []
    assert new.get("/api/results").json()["made"] is None
    assert new.get("/api/results/report").status in (400, 404)
    made = new.post("/api/poses", {"name": "../up"})
    assert made.status == 200 and [path.name for path in (tmp_path / "new").iterdir()] == [made.json()["name"]]
    assert [path.name for path in tmp_path.iterdir()] == ["new"]
    for bad in ({}, {"name": ""}, {"name": 3}, {"name": ["a"]}, []):
        assert new.post("/api/poses", bad).status in (400, 404)
    new.house.close()
