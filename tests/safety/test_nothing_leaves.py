"""Nothing leaves this computer, and nothing is left on it but what was asked for.

Each command runs once as a person would run it, in an empty home. Two watchers look on: strace sees every call to the
system, of libraries written in C too; a hook in Python sees what Python code tries, with or without strace.
"""

from __future__ import annotations

import json
import os
import re
import shutil
import signal
import subprocess
import time
import zlib
from collections.abc import Callable, Iterable, Iterator
from concurrent.futures import ThreadPoolExecutor
from fnmatch import fnmatch
from http.client import HTTPConnection
from pathlib import Path
from typing import Any

import pytest
from websockets.sync.client import connect

from silhouette.live.messages import HEAD

DATA = Path(__file__).parents[1] / "data" / "rendered"
SAMPLES = Path(__file__).parents[2] / "sample_poses"
COMMANDS: dict[str, tuple[str | Path, ...]] = {
    "demo": ("demo", "-o", "out"),
    "score": ("score", DATA / "turn", "-o", "out", "--masks", "--photos"),
    "rank": ("rank", DATA / "turn", SAMPLES / "oar", "--jobs", "2", "-o", "out"),
    "check": ("check", DATA / "clip.mp4", "-o", "out"),
    "export": ("export", DATA / "clip.mp4", "-o", "out", "--scale", "1:4", "--height", "1.7", "--originals"),
    "armature": ("armature", SAMPLES / "hauling", "-o", "out", "--height", "1.7"),
    "plan": ("plan", "--room", "6", "-o", "plan.pdf"),
    "mend": ("mend", DATA / "turn", "-o", "mend.html", "--only", "000", "090"),
    "archive": ("archive", DATA / "turn", "-o", "out"),
    "find": ("find", SAMPLES / "hauling", "--like", DATA / "turn" / "060.jpg", "-o", "out"),
}
RUNS = (*COMMANDS, "lingering")
LINGER = """
import sys, time
from silhouette.cli import main
code = main(sys.argv[1:])
time.sleep(20)
sys.exit(code)
"""
"""A process that lives on, as a notebook does. Reports are queued at first: onnxruntime 1.32 sends its first one nine
seconds after it is loaded, when most commands have ended."""
LEFT = ("matplotlib", "fontlist-*.json", "fontconfig")
"""What may be left outside OUT, in the user's cache and settings folders; DEVELOPERS.md names each."""
STARTED = ("fc-list",)
"""Other programs that may be started; DEVELOPERS.md names each."""


@pytest.fixture(scope="module")
def runs(watched: Callable[..., Any], tmp_path_factory: pytest.TempPathFactory) -> Iterator[dict[str, Any]]:
    """Every command, run once; three at a time."""
    place = tmp_path_factory.mktemp("safety")
    with ThreadPoolExecutor(3) as pool:
        jobs = {"lingering": pool.submit(watched, place / "lingering", "-c", LINGER, *COMMANDS["score"])}
        for name, arguments in COMMANDS.items():
            jobs[name] = pool.submit(watched, place / name, "-m", "silhouette.cli", *arguments)
        yield {name: job.result() for name, job in jobs.items()}


# ---------------------------------------------------------------------------------- what the calls to the system say

def leaving(calls: Iterable[str]) -> list[str]:
    """The calls that open, use or ask for a connection to anything but a process on this computer."""
    bad = []
    for call in calls:
        name, _, rest = call.partition("(")
        if name == "socket":
            local = rest.startswith("AF_UNIX")
        elif name in ("connect", "bind", "sendto", "sendmsg", "sendmmsg"):
            local = "<UNIX" in rest.split(",")[0] and "resolve" not in rest
        elif name in ("listen", "accept", "accept4"):
            local = False
        else:
            continue
        if not local:
            bad.append(call)
    return bad


def started(calls: Iterable[str]) -> set[str]:
    """The programs that were started, by their name."""
    tried = (re.match(r'execve\("([^"]+)".*(= 0|<unfinished \.\.\.>)$', call) for call in calls)
    return {Path(found[1]).name for found in tried if found}


def written(calls: Iterable[str]) -> set[str]:
    """The files that were opened to be written."""
    tried = (re.match(r'(?:openat\([^,]*<([^>]*)>, |open\(|creat\()"([^"]+)"(.*)', call) for call in calls)
    return {str(Path(found[1] or "/", found[2])) for found in tried
            if found and (re.search(r"O_WRONLY|O_RDWR|O_CREAT", found[3]) or found[0].startswith("creat"))
            and not re.search(r"= -1 E", found[3])}


TRIES = """
import socket, subprocess
for what in (lambda: socket.create_connection(("127.0.0.1", 9), 1), lambda: socket.getaddrinfo("a.example", 1)):
    try:
        what()
    except OSError:
        pass
subprocess.run(["true"])
open("../beside", "w").close()
"""


def test_the_watcher_in_python_sees_a_connection_and_a_look_up(watched: Callable[..., Any], tmp_path: Path) -> None:
    """The control: it must see what the tests below say is not there."""
    attempts = watched(tmp_path / "run", "-c", TRIES).attempts
    assert "127.0.0.1" in attempts and "a.example" in attempts


def test_the_watcher_outside_sees_a_connection_and_a_look_up(needs_strace: None, watched: Callable[..., Any],
                                                             tmp_path: Path) -> None:
    calls = watched(tmp_path / "run", "-c", TRIES, watch=False).calls
    for tried in ("connect(", "socket(AF_INET"):
        assert any(tried in call for call in leaving(calls))
    assert "true" in started(calls) and str(tmp_path / "run/here/../beside") in written(calls)


@pytest.mark.parametrize("name", RUNS)
def test_command_does_its_work(runs: dict[str, Any], name: str) -> None:
    """So that the tests below are not passed by a program that stops at once."""
    assert runs[name].code in ((0, 1) if name == "check" else (0,)), runs[name].said
    assert "Written to" in runs[name].said


@pytest.mark.parametrize("name", RUNS)
def test_no_call_to_the_system_leaves_this_computer(needs_strace: None, runs: dict[str, Any], name: str) -> None:
    assert runs[name].calls, "strace saw nothing at all"
    assert not leaving(runs[name].calls)


@pytest.mark.parametrize("name", RUNS)
def test_no_python_code_tries_to_connect(runs: dict[str, Any], name: str) -> None:
    assert not runs[name].attempts


@pytest.mark.parametrize("name", RUNS)
def test_no_other_program_is_started(needs_strace: None, runs: dict[str, Any], name: str) -> None:
    others = {p for p in started(runs[name].calls) if not p.startswith("python")}
    assert others <= set(STARTED)


@pytest.mark.parametrize("name", RUNS)
def test_home_and_temporary_folder_stay_empty(runs: dict[str, Any], name: str) -> None:
    parts = {part for path in runs[name].left for part in Path(path).parts[1:]}
    homes = {".cache", ".config", ".matplotlib", "Library", "Caches"}
    strange = {part for part in parts - homes if not any(fnmatch(part, meant) for meant in LEFT)}
    assert not strange, sorted(runs[name].left)
    assert not [path for path in runs[name].left if path.startswith("tmp/")]


@pytest.mark.parametrize("name", RUNS)
def test_nothing_is_written_elsewhere(needs_strace: None, runs: dict[str, Any], name: str) -> None:
    """Outside the run's own folder only devices, and the semaphores that worker processes share."""
    place = runs[name].place
    elsewhere = {p for p in written(runs[name].calls) if not p.startswith((f"{place}/", "/dev/", "/proc/self/"))}
    assert not elsewhere


LINK = re.compile(rb"https?://[^\s\"'<>)]+|/URI\b|/Launch\b|/JavaScript\b|/OpenAction\b")


def links(file: Path) -> set[bytes]:
    """What a written file would have its reader fetch or start, in a PDF's packed parts too."""
    data = file.read_bytes()
    packed = re.findall(rb"/FlateDecode.*?stream\r?\n(.*?)endstream", data, re.DOTALL)
    return set(LINK.findall(b"\n".join([data, *(zlib.decompressobj().decompress(part) for part in packed)])))


def test_a_link_in_a_page_would_be_seen(tmp_path: Path) -> None:
    from matplotlib.figure import Figure

    figure = Figure()
    figure.text(0.5, 0.5, "more", url="https://a.example")
    for kind in ("pdf", "svg"):
        figure.savefig(tmp_path / f"page.{kind}")
        assert b"https://a.example" in links(tmp_path / f"page.{kind}")


@pytest.mark.parametrize("name", [name for name in COMMANDS if name != "archive"])  # an archive holds no page
def test_what_is_written_asks_for_nothing(runs: dict[str, Any], name: str) -> None:
    """No page links out, and each tells the browser to fetch nothing, whatever a name may smuggle in."""
    files = [p for p in (runs[name].place / "here").rglob("*") if p.suffix in (".html", ".svg", ".pdf")]
    assert files
    for file in files:
        assert links(file) <= {b"http://www.w3.org/2000/svg"}, file.name
        for rule in ("default-src", "base-uri", "form-action") if file.suffix == ".html" else ():
            assert f"{rule} 'none'" in file.read_text(encoding="utf-8"), file.name


def test_the_pages_of_this_program_are_among_them(runs: dict[str, Any]) -> None:
    assert (runs["score"].place / "here/out/report.html").exists()
    assert (runs["export"].place / "here/out/turnaround.html").exists()
    assert (runs["armature"].place / "here/out/armature.html").exists()


def test_what_may_be_left_or_started_is_told() -> None:
    told = (Path(__file__).parents[2] / "DEVELOPERS.md").read_text(encoding="utf-8")
    assert all(f"`{name}`" in told for name in (*LEFT, *STARTED))


# ----------------------------------------------------------------------------------------- the pages that are served

OWN = re.compile(r"(?<![\d.])127\.0\.0\.1(?![\d.])")
OTHER = re.compile(r"(?<![\d.])(?!127\.0\.0\.1(?![\d.]))\d+\.\d+\.\d+\.\d+(?![\d.])|AF_INET6|htons\(53\)")


def beyond(calls: Iterable[str]) -> list[str]:
    """The calls that listen, connect or send anywhere but on the loopback address, or ask for a name.

    The system itself may be asked which network cards there are (netlink).
    """
    def near(call: str) -> bool:
        asks_system = "NETLINK_ROUTE" in call or "<NETLINK:" in call.split(",")[0]
        return asks_system or call.startswith("socket(AF_INET,") or bool(OWN.search(call) and not OTHER.search(call))

    return [call for call in leaving(calls) if not near(call)]


def used(child: subprocess.Popen[str]) -> str:
    """Use the pages as a person would: come in, make a pose, add a picture, watch, have it checked; then Ctrl-C."""
    assert child.stdout is not None
    line = child.stdout.readline()
    found = re.fullmatch(r"Open http://127\.0\.0\.1:(\d+)/#(\S+)\n", line)
    if not found:
        return line + child.communicate()[0] + child.communicate()[1]
    port, cookie, said = int(found[1]), "", [line]

    def ask(method: str, path: str, body: Any = None) -> Any:
        nonlocal cookie
        page = HTTPConnection("127.0.0.1", port, timeout=120)
        page.request(method, path, body if body is None or isinstance(body, bytes) else json.dumps(body),
                     {"Cookie": cookie})
        answer = page.getresponse()
        cookie = (answer.getheader("set-cookie") or cookie).split(";")[0]
        text = answer.read()
        said.append(f"{method} {path} {answer.status}\n")
        page.close()
        return json.loads(text) if text.startswith((b"{", b"[")) else text

    ask("POST", "/enter", found[2].encode())
    for path in ("/", "/live", "/phone", "/page/live.js", "/api/poses", "/api/phone"):
        ask("GET", path)
    pose = ask("POST", "/api/poses", {"name": "hauling"})["id"]
    for still in sorted((DATA / "turn").glob("*.jpg")):
        upload = ask("POST", "/api/uploads", {"name": still.name, "size": still.stat().st_size, "pose": pose})["upload"]
        ask("PATCH", f"/api/uploads/{upload}?from=0", still.read_bytes())
    with connect(f"ws://127.0.0.1:{port}/api/stage", origin=f"http://127.0.0.1:{port}",  # type: ignore[arg-type]
                 additional_headers={"cookie": cookie}, proxy=None, open_timeout=120) as watching:
        watching.send(json.dumps({"do": "begin", "pose": pose}))
        watching.send(HEAD.pack(1, 1.0, 720, 960) + next((DATA / "turn").glob("*.jpg")).read_bytes())
        while json.loads(watching.recv(120)).get("frame") != 1:
            pass
    job = ask("POST", "/api/jobs", {"what": "check", "poses": [pose]})["job"]
    while (told := ask("GET", f"/api/jobs/{job}"))["state"] == "running":
        time.sleep(0.2)
    said.append(f"{told['state']} {told['error']}\n")
    program = child.pid
    if "strace" in str(child.args[0]):  # type: ignore[index]  # then the program is the watcher's child
        program = int(Path(f"/proc/{program}/task/{program}/children").read_text().split()[0])
    os.kill(program, signal.SIGINT)
    out, err = child.communicate(timeout=300)
    return "".join(said) + out + err


@pytest.fixture(scope="module")
def pages(watched: Callable[..., Any], tmp_path_factory: pytest.TempPathFactory) -> Any:
    """The local pages, used once."""
    arguments = ("-m", "silhouette.cli", "open", "studio", "--no-browser")
    return watched(tmp_path_factory.mktemp("pages") / "open", *arguments, meanwhile=used)


def test_pages_do_their_work(pages: Any) -> None:
    assert pages.code == 130 and "done" in pages.said, pages.said
    assert (pages.place / "here/studio/checks/hauling/check.json").is_file()


def test_pages_listen_on_this_computer_alone_and_connect_to_nothing(needs_strace: None, pages: Any) -> None:
    assert not beyond(pages.calls)
    bound = [call for call in pages.calls if call.startswith("bind(") and "AF_INET" in call]
    assert len(bound) == 1 and '"127.0.0.1"' in bound[0]
    assert not [call for call in pages.calls if call.startswith("connect(") and "AF_INET" in call]
    assert any(call.startswith("accept") for call in pages.calls), "the watcher saw nobody come in"


def test_what_the_watcher_takes_for_beyond() -> None:
    """The control: it must see what the test above says is not there."""
    far = ['bind(5<TCP:[1]>, {sa_family=AF_INET, sin_port=htons(0), sin_addr=inet_addr("0.0.0.0")}, 16) = 0',
           'connect(5<TCP:[1]>, {sa_family=AF_INET, sin_port=htons(80), sin_addr=inet_addr("93.184.216.34")}, 16) = 0',
           'sendto(5<TCP:[127.0.0.1:4000->192.168.1.9:50]>, "x", 1, 0, NULL, 0) = 1',
           'sendto(5<UDP:[127.0.0.1:4000->127.0.0.1:53]>, "x", 1, 0, {sa_family=AF_INET, sin_port=htons(53)}, 16) = 1',
           "socket(AF_INET6, SOCK_STREAM, 0) = 5", "listen(5<TCP:[0.0.0.0:4000]>, 9) = 0"]
    near = ['sendto(5<NETLINK:[1]>, [], 20, 0, {sa_family=AF_NETLINK}, 12) = 20',
            'bind(5<TCP:[1]>, {sa_family=AF_INET, sin_port=htons(0), sin_addr=inet_addr("127.0.0.1")}, 16) = 0',
            'sendto(5<TCP:[127.0.0.1:4000->127.0.0.1:50]>, "x", 1, 0, NULL, 0) = 1',
            "listen(5<TCP:[127.0.0.1:4000]>, 9) = 0"]
    assert beyond([*far, *near]) == far


def test_no_python_code_of_the_pages_tries_to_connect(pages: Any) -> None:
    assert not pages.attempts


def test_pages_start_no_other_program_and_leave_nothing_elsewhere(needs_strace: None, pages: Any) -> None:
    assert {p for p in started(pages.calls) if not p.startswith("python")} <= set(STARTED)
    elsewhere = {p for p in written(pages.calls) if not p.startswith((f"{pages.place}/", "/dev/", "/proc/self/"))}
    assert not elsewhere
    parts = {part for path in pages.left for part in Path(path).parts[1:]}
    homes = {".cache", ".config", ".matplotlib", "Library", "Caches"}
    assert not {part for part in parts - homes if not any(fnmatch(part, meant) for meant in LEFT)}, sorted(pages.left)
    assert not [path for path in pages.left if path.startswith("tmp/")]


# ------------------------------------------------------------------------- what is named like an address, or names one

PLAYLISTS = {
    "playlist": "#EXTM3U\n#EXT-X-TARGETDURATION:10\n#EXTINF:9,\nhttp://127.0.0.1:9/a.ts\n#EXT-X-ENDLIST\n",
    "script": "ffconcat version 1.0\nfile http://127.0.0.1:9/a.mp4\n",
    "session": "v=0\r\no=- 0 0 IN IP4 127.0.0.1\r\ns=x\r\nc=IN IP4 127.0.0.1\r\nt=0 0\r\n"
               "m=video 5004 RTP/AVP 96\r\na=rtpmap:96 H264/90000\r\n",
}


def refused(run: Any) -> bool:
    """Whether one sentence said no, and nobody tried to connect."""
    return run.code == 2 and "Traceback" not in run.said and not run.attempts and not leaving(run.calls)


@pytest.mark.parametrize("address", ["http://127.0.0.1:9/x.mp4", "rtsp://127.0.0.1:9/x.mp4", "udp://127.0.0.1:9",
                                     "file://127.0.0.1/x.mp4"])
@pytest.mark.parametrize("command", ["score", "check"])
def test_address_given_as_a_pose_is_not_opened(needs_strace: None, watched: Callable[..., Any], tmp_path: Path,
                                               command: str, address: str) -> None:
    assert refused(watched(tmp_path / "run", "-m", "silhouette.cli", command, address))


@pytest.mark.parametrize("model", ["http://127.0.0.1:9/u2netp.onnx", "//127.0.0.1/share/u2netp.onnx", "u2net",
                                   "withoutbg", "sam"])
def test_model_that_is_not_here_is_not_fetched(needs_strace: None, watched: Callable[..., Any], tmp_path: Path,
                                               model: str) -> None:
    asked = ("score", DATA / "turn", "--cutter", "neural", "--model", model)
    assert refused(watched(tmp_path / "run", "-m", "silhouette.cli", *asked))


def test_clip_in_a_folder_named_like_an_address_is_read_from_there(needs_strace: None, watched: Callable[..., Any],
                                                                    tmp_path: Path) -> None:
    """The film library takes a relative path that begins with ``http:`` for an address, whatever lies on the disk."""
    folder = tmp_path / "http:" / "127.0.0.1:9"
    folder.mkdir(parents=True)
    shutil.copy(DATA / "clip.mp4", folder / "x.mp4")
    run = watched(tmp_path / "run", "-m", "silhouette.cli", "check", "http:/127.0.0.1:9/x.mp4", start=tmp_path)
    assert run.code in (0, 1), run.said
    assert not leaving(run.calls)


@pytest.mark.parametrize("kind", PLAYLISTS)
def test_clip_that_names_an_address_opens_nothing(needs_strace: None, watched: Callable[..., Any], tmp_path: Path,
                                                  kind: str) -> None:
    clip = tmp_path / "clip.mp4"
    clip.write_text(PLAYLISTS[kind], encoding="ascii", newline="")
    assert refused(watched(tmp_path / "run", "-m", "silhouette.cli", "check", clip))
