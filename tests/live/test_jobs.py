"""Jobs of the pages: one at a time, stopped without a trace, ended with the server."""

from __future__ import annotations

import os
import shutil
import threading
import time
from collections.abc import Callable
from multiprocessing import Pipe
from pathlib import Path
from typing import Any

import pytest

from silhouette.live.folder import Folder
from silhouette.live.jobs import Job, Jobs

Opened = Any
TURN = Path(__file__).parents[1] / "data" / "rendered" / "turn"


def until(true: Callable[[], Any]) -> None:
    """Wait until something is true; several minutes are more than any machine needs."""
    ends = time.monotonic() + 300
    while not true():
        assert time.monotonic() < ends
        time.sleep(0.02)


@pytest.fixture
def pose(opened: Opened) -> str:
    """The id of a pose that lies in the folder."""
    shutil.copytree(TURN, opened.house.folder.path / "hauling")
    return str(opened.house.folder.poses()[0].id)


def begin(opened: Opened, what: str, poses: list[str], settings: dict[str, Any] | None = None) -> str:
    return str(opened.told("POST", "/api/jobs", {"what": what, "poses": poses, "settings": settings or {}})["job"])


def look(opened: Opened, job: str) -> dict[str, Any]:
    told: dict[str, Any] = opened.told("GET", f"/api/jobs/{job}")
    return told


def over(opened: Opened, job: str) -> dict[str, Any]:
    until(lambda: look(opened, job)["state"] != "running")
    return look(opened, job)


def test_check_is_done_and_left_where_the_command_line_finds_it(opened: Opened, pose: str) -> None:
    told = over(opened, begin(opened, "check", [pose]))
    assert told["state"] == "done", told
    assert told["result"]["stops"] and told["total"] and not told["error"]
    assert (opened.house.folder.path / "checks" / "hauling" / "check.json").is_file()


def test_one_job_at_a_time_and_the_next_when_it_was_stopped(opened: Opened, pose: str) -> None:
    job = begin(opened, "rank", [pose])
    no = opened.told("POST", "/api/jobs", {"what": "check", "poses": [pose]}, status=409)
    assert no["error"].endswith(".")
    assert opened.told("DELETE", f"/api/jobs/{job}")["state"] == "stopped"
    until(lambda: not opened.house.jobs._process.is_alive())
    assert look(opened, job)["state"] == "stopped"
    until(lambda: opened.ask("POST", "/api/jobs", {"what": "check", "poses": ["x"]})[0] == 400)
    folder = opened.house.folder.path
    assert [p.name for p in folder.iterdir()] == ["hauling"], "nothing half-written is left"
    assert opened.told("DELETE", f"/api/jobs/{job}")["state"] == "stopped", "twice does no harm"


def test_job_that_is_killed_from_outside_is_told(opened: Opened, pose: str) -> None:
    job = begin(opened, "rank", [pose])
    until(lambda: opened.house.jobs._process.is_alive())
    os.kill(opened.house.jobs._process.pid, 9)
    told = over(opened, job)
    assert told["state"] == "failed" and told["error"].endswith(".")


@pytest.mark.parametrize("settings", [{"height": "tall"}, {"height": -1}, {"paper": "a9"}, {"height": 1e308}])
def test_what_cannot_be_done_is_a_sentence(opened: Opened, pose: str, settings: dict[str, Any]) -> None:
    told = over(opened, begin(opened, "check", [pose], settings))
    assert told["state"] == "failed" and told["error"].endswith(".") and "fault" not in told["error"]
    assert str(opened.house.folder.path) not in told["error"]


@pytest.mark.parametrize("asked", [
    {}, {"what": "format"}, {"what": ["rank"]}, {"what": "rank", "poses": "abc"}, {"what": "rank", "poses": [5]},
    {"what": "rank", "poses": ["../../etc"]}, {"what": "rank", "poses": ["hauling"]}, {"what": "rank", "settings": [1]},
    {"what": "__init__"}, {"what": "rank", "poses": ["a"] * 5000},
])
def test_what_is_no_job_is_refused(opened: Opened, pose: str, asked: dict[str, Any]) -> None:
    assert opened.told("POST", "/api/jobs", asked, status=400)["error"].endswith(".")
    assert opened.house.jobs._process is None


@pytest.mark.parametrize("job", ["x", "..", "%2e%2e", "0" * 500])
def test_what_is_not_known_is_not_found(opened: Opened, job: str) -> None:
    assert opened.ask("GET", f"/api/jobs/{job}")[0] == 404
    assert opened.ask("DELETE", f"/api/jobs/{job}")[0] == 404


def test_job_ends_with_the_server(opened: Opened, pose: str) -> None:
    begin(opened, "rank", [pose])
    process = opened.house.jobs._process
    opened.house.jobs.close()
    assert not process.is_alive()
    assert [p.name for p in opened.house.folder.path.iterdir()] == ["hauling"]


def test_a_job_is_over_only_when_its_process_has_gone(tmp_path: Path) -> None:
    """Else the next one, asked for at once, would be refused for a process that is still putting its things away."""
    jobs, job, (heard, says) = Jobs(Folder(tmp_path)), Job("x", "rank"), Pipe(duplex=False)
    leaving, gone = threading.Event(), threading.Event()

    class Process:
        def join(self) -> None:
            leaving.set()
            assert gone.wait(60)

    following = threading.Thread(target=jobs._follow, args=(job, Process(), heard))
    following.start()
    says.send(("doing", "reading", 1, 2))
    says.send(("done", {"poses": 1}))
    says.close()
    assert leaving.wait(60) and (job.state, job.doing, job.result) == ("running", "reading", None)
    gone.set()
    following.join(60)
    assert (job.state, job.result, job.error) == ("done", {"poses": 1}, "")
