"""Results are whole or not there, private, and never over what somebody else put there."""

from __future__ import annotations

import json
import os
import signal
import subprocess
import sys
import time
from collections.abc import Callable
from pathlib import Path

import pytest

from silhouette import writing
from silhouette.errors import OutputError
from silhouette.writing import MARK, refuse, whole_file, whole_folder

posix = pytest.mark.skipif(os.name != "posix", reason="Linux and macOS only")
ROOT = os.name == "posix" and os.geteuid() == 0


def fill(out: Path, text: str = "new", kind: writing.Kind = "results") -> None:
    with whole_folder(out, kind) as folder:
        (folder / "result.json").write_text(text)
        (folder / "masks").mkdir()
        (folder / "masks" / "a.png").write_text(text)


def names(folder: Path) -> list[str]:
    return sorted(p.relative_to(folder).as_posix() for p in folder.rglob("*") if not p.is_dir())


ENV = {**os.environ, "PYTHONPATH": os.pathsep.join(sys.path)}
WHOLE = [MARK, "masks/a.png", "result.json"]


def test_a_folder_stands_whole_private_and_marked(tmp_path: Path) -> None:
    out = tmp_path / "deep" / "out"
    fill(out)
    assert names(tmp_path) == [f"deep/out/{n}" for n in WHOLE]
    mark = json.loads((out / MARK).read_text())
    assert mark["kind"] == "results" and sorted(mark["files"]) == ["masks/a.png", "result.json"]
    if os.name == "posix":
        assert {p.stat().st_mode & 0o777 for p in (out, out / "masks")} == {0o700}
        assert {(out / n).stat().st_mode & 0o777 for n in WHOLE} == {0o600}


def test_an_earlier_folder_is_replaced_as_a_whole(tmp_path: Path) -> None:
    out = tmp_path / "out"
    fill(out, "old")
    with whole_folder(out, "results") as folder:
        (folder / "other.txt").write_text("new")
        assert (out / "result.json").read_text() == "old", "until the end it stands as it was"
    assert names(tmp_path) == [f"out/{MARK}", "out/other.txt"]


@pytest.mark.parametrize("exchange", [True, False])
def test_without_an_exchange_two_renames_do(tmp_path: Path, monkeypatch: pytest.MonkeyPatch, exchange: bool) -> None:
    if not exchange:
        monkeypatch.setattr(writing, "_exchange", lambda one, other: False)
    out = tmp_path / "out"
    fill(out, "old")
    fill(out, "new")
    assert names(out) == WHOLE and (out / "result.json").read_text() == "new"
    assert [p.name for p in tmp_path.iterdir()] == ["out"]


def _foreign_file(out: Path) -> None:
    (out / "mine.txt").write_text("mine")


def _foreign_inside(out: Path) -> None:
    (out / "masks" / "mine.png").write_text("mine")


def _changed(out: Path) -> None:
    (out / "masks" / "a.png").write_text("painted")


def _foreign_folder(out: Path) -> None:
    (out / "mine").mkdir()


def _linked(out: Path) -> None:
    (out / "result.json").unlink()
    (out / "result.json").symlink_to(out / "masks" / "a.png")


def _mark_gone(out: Path) -> None:
    (out / MARK).unlink()


def _mark_damaged(out: Path) -> None:
    (out / MARK).write_text('{"kind": "results", "files": []}')


@pytest.mark.parametrize(
    "spoil", [_foreign_file, _foreign_inside, _changed, _foreign_folder, _linked, _mark_gone, _mark_damaged]
)
@pytest.mark.parametrize("late", [False, True])
def test_what_somebody_else_put_there_is_never_touched(
    tmp_path: Path, spoil: Callable[[Path], None], late: bool
) -> None:
    out = tmp_path / "out"
    fill(out, "old")
    if not late:
        spoil(out)
    before = {n: (out / n).read_bytes() for n in names(out)}
    with pytest.raises(OutputError), whole_folder(out, "results") as folder:
        (folder / "result.json").write_text("new")
        if late:
            spoil(out)
            before = {n: (out / n).read_bytes() for n in names(out)}
    assert {n: (out / n).read_bytes() for n in names(out)} == before
    assert [p.name for p in tmp_path.iterdir()] == ["out"]


def test_what_systems_leave_in_folders_does_not_count(tmp_path: Path) -> None:
    out = tmp_path / "out"
    fill(out, "old")
    (out / ".DS_Store").write_text("x")
    (out / "masks" / "Thumbs.db").write_text("x")
    fill(out, "new")
    assert names(tmp_path) == [f"out/{n}" for n in WHOLE]


def test_another_kind_is_not_replaced(tmp_path: Path) -> None:
    fill(tmp_path / "set", kind="set")
    with pytest.raises(OutputError, match="holds a reference set"):
        refuse(tmp_path / "set")
    with pytest.raises(OutputError, match="--overwrite"):
        refuse(tmp_path / "set", kind="set", overwrite=False)


def test_no_place_in_round_or_at_the_pictures(tmp_path: Path) -> None:
    trials = tmp_path / "trials"
    (trials / "crouch").mkdir(parents=True)
    still = tmp_path / "loose" / "045.jpg"
    still.parent.mkdir()
    still.touch()
    (tmp_path / "link").symlink_to(trials)
    for out, source in (
        (trials, trials),
        (trials / "crouch", trials),
        (trials / "new" / "deeper", trials),
        (tmp_path, trials),
        (tmp_path / "link" / "out", trials),
        (trials / "out", tmp_path / "link"),
        (tmp_path / "trials" / ".." / "trials" / "x", trials),
        (still.parent, still),
        (still, still),
    ):
        with pytest.raises(OutputError, match="picture"):
            refuse(out, [source])
    refuse(still.parent / "out", [still])
    refuse(trials / "out", [trials / "crouch"])
    assert names(tmp_path) == ["loose/045.jpg"] or names(tmp_path) == ["link", "loose/045.jpg"]


@pytest.mark.parametrize("stop", [RuntimeError, KeyboardInterrupt, OSError])
def test_after_any_failure_it_is_as_it_was(tmp_path: Path, stop: type[BaseException]) -> None:
    for out in (tmp_path / "fresh" / "out", tmp_path / "old"):
        if out.name == "old":
            fill(out, "old")
        with pytest.raises((stop, OutputError)), whole_folder(out, "results") as folder:
            (folder / "half").write_text("half")
            raise stop
    assert names(tmp_path) == [f"old/{n}" for n in WHOLE]
    assert [p.name for p in tmp_path.iterdir()] == ["old"]


def test_the_folder_one_stands_in_is_filled_not_replaced(tmp_path: Path, monkeypatch: pytest.MonkeyPatch) -> None:
    here = tmp_path / "here"
    here.mkdir()
    monkeypatch.chdir(here)
    node = here.stat().st_ino
    fill(Path(), "old")
    with whole_folder(Path(), "results") as folder:
        (folder / "result.json").write_text("new")
        (folder / "more.txt").write_text("new")
    assert here.stat().st_ino == node
    assert names(here) == [MARK, "more.txt", "result.json"] and Path("result.json").read_text() == "new"
    assert list(here.iterdir()) and not (here / "masks").exists()


@posix
@pytest.mark.skipif(not ROOT, reason="only root may mount")
def test_a_stick_is_filled_inside(tmp_path: Path) -> None:
    stick = tmp_path / "stick"
    stick.mkdir()
    if subprocess.run(["mount", "-t", "tmpfs", "-o", "size=1m", "none", stick], capture_output=True).returncode:
        pytest.skip("mounting is not allowed here")
    try:
        (stick / "lost+found").mkdir()
        fill(stick, "old")
        fill(stick, "new")
        assert names(stick) == WHOLE and (stick / "result.json").read_text() == "new"
        with pytest.raises(OutputError, match="No space left"), whole_folder(stick, "results") as folder:
            (folder / "result.json").write_bytes(b"x" * (2 << 20))
        assert names(stick) == WHOLE and (stick / "result.json").read_text() == "new"
        assert sorted(p.name for p in stick.iterdir()) == [MARK, "lost+found", "masks", "result.json"]
    finally:
        subprocess.run(["umount", stick], check=True)


# ------------------------------------------------------------------------------------------- killed at any moment

KILLED = """
import os, signal, sys
from pathlib import Path
from silhouette import writing
out, after, exchange, inside = Path(sys.argv[1]), int(sys.argv[2]), sys.argv[3] == "1", sys.argv[4] == "1"
if not exchange:
    writing._exchange = lambda one, other: False
if inside:
    os.chdir(out)
calls = 0
def counted(event, args):
    global calls
    if event in ("open", "os.rename", "os.mkdir", "os.rmdir", "os.remove", "os.chmod", "shutil.rmtree"):
        calls += 1
        if calls == after:
            os.kill(os.getpid(), signal.SIGKILL)
with writing.whole_folder(out, "results") as folder:
    (folder / "result.json").write_text("new")
    (folder / "masks").mkdir()
    (folder / "masks" / "a.png").write_text("new")
    sys.addaudithook(counted)
print("done")
"""


@posix
@pytest.mark.parametrize(("exchange", "inside"), [(1, 0), (0, 0), (1, 1)])
def test_killed_at_every_step_it_is_old_or_new_and_the_next_run_tidies_up(
    tmp_path: Path, exchange: int, inside: int
) -> None:
    """The steps between the last picture and the end are counted; each run is killed at another one of them."""
    for step in range(1, 200):
        out = tmp_path / f"{step}" / "out"
        fill(out, "old")
        words = [sys.executable, "-c", KILLED, str(out), str(step), str(exchange), str(inside)]
        done = subprocess.run(words, capture_output=True, text=True, env=ENV)
        if done.returncode == 0:
            break
        assert done.returncode == -signal.SIGKILL, done.stderr
        if exchange and not inside:
            texts = {(out / n).read_text() for n in WHOLE[1:]}
            assert texts in ({"old"}, {"new"}), f"step {step}: {texts}"
        refuse(out)  # what any next run does first
        texts = {(out / n).read_text() for n in WHOLE[1:]}
        assert texts in ({"old"}, {"new"}), f"step {step}: {texts}"
        assert names(out) == WHOLE and [p.name for p in out.parent.iterdir()] == ["out"], f"step {step}"
    assert 8 < step < 199


@posix
def test_a_run_that_is_still_writing_is_left_alone(tmp_path: Path) -> None:
    out = tmp_path / "out"
    code = (
        "import sys, time; from pathlib import Path; from silhouette import writing\n"
        "with writing.whole_folder(Path(sys.argv[1]), 'results') as f:\n"
        " (f / 'a').write_text('other'); print('in', flush=True); sys.stdin.read()"
    )
    other = subprocess.Popen(
        [sys.executable, "-c", code, str(out)], stdin=subprocess.PIPE, stdout=subprocess.PIPE, text=True, env=ENV
    )
    assert other.stdout is not None and other.stdout.readline() == "in\n"
    fill(out)
    assert names(out) == WHOLE and len(list(tmp_path.iterdir())) == 2
    other.communicate("")
    assert other.returncode == 0 and names(tmp_path) == [f"out/{MARK}", "out/a"]


# ------------------------------------------------------------------------------------------------------- one file


def test_a_file_is_whole_and_no_other_is_replaced(tmp_path: Path) -> None:
    text = b"%PDF-1.4\n1 0 obj\nstartxref\n9\n%%EOF\n"
    page = whole_file(tmp_path / "plan.pdf", text, sealed=True)
    assert page.read_bytes().endswith(b"%%EOF\n") and writing.is_sealed(page)
    whole_file(page, text.replace(b"1 0", b"2 0"), sealed=True)
    photo = tmp_path / "photo.png"
    photo.write_bytes(b"mine")
    for place in (photo, tmp_path, tmp_path / "none" / "plan.pdf"):
        with pytest.raises(OutputError):
            whole_file(place, b"%PDF")
    assert photo.read_bytes() == b"mine" and names(tmp_path) == ["photo.png", "plan.pdf"]
    if os.name == "posix":
        assert page.stat().st_mode & 0o777 == 0o600


# ---------------------------------------------------------------------------------------------- the whole command


def start(*words: object) -> subprocess.Popen[str]:
    return subprocess.Popen(
        [sys.executable, "-m", "silhouette.cli", *map(str, words)],
        stdout=subprocess.PIPE, stderr=subprocess.PIPE, text=True,
        env=ENV,
    )


def alive_in(group: int) -> list[int]:
    """Processes of a process group that still run."""
    told = subprocess.run(["ps", "-eo", "pid,pgid,stat"], capture_output=True, text=True).stdout.splitlines()[1:]
    rows = [line.split() for line in told]
    return [int(pid) for pid, its, state in rows if int(its) == group and not state.startswith("Z")]


@posix
@pytest.mark.parametrize(("number", "code"), [(signal.SIGTERM, 143), (signal.SIGHUP, 129), (signal.SIGINT, 130)])
def test_a_signal_tidies_up_like_ctrl_c(
    drawn_turn: Callable[..., Path], tmp_path: Path, number: signal.Signals, code: int
) -> None:
    folder = drawn_turn("keeper", range(0, 360, 8))  # enough to write that it is not done before the signal comes
    before = names(tmp_path)
    command = start("export", folder, "-o", tmp_path / "set", "--originals")
    until = time.monotonic() + 60
    while not [p for p in tmp_path.iterdir() if p.name.startswith(".set.")] and time.monotonic() < until:
        assert command.poll() is None, "it ended before anything was written"
        time.sleep(0.01)
    command.send_signal(number)
    _, told = command.communicate(timeout=60)
    assert command.returncode == code and "Traceback" not in told and told.count("\n") == 1
    assert names(tmp_path) == before and [p.name for p in tmp_path.iterdir()] == ["keeper"]


@posix
def test_after_a_kill_no_process_lives_on_and_the_next_export_tidies_up(
    drawn_turn: Callable[..., Path], tmp_path: Path
) -> None:
    folder = drawn_turn("keeper", range(0, 360, 15))
    words = ["export", folder, "-o", tmp_path / "set", "--jobs", 2, "--silhouettes-only"]
    command = subprocess.Popen(
        [sys.executable, "-m", "silhouette.cli", *map(str, words)], start_new_session=True,
        stdout=subprocess.DEVNULL, stderr=subprocess.DEVNULL,
        env=ENV,
    )
    until = time.monotonic() + 60
    while not [p for p in tmp_path.iterdir() if p.name.startswith(".set.")] and time.monotonic() < until:
        time.sleep(0.005)
    assert len(alive_in(command.pid)) > 1, "there were processes to share the pictures"
    os.kill(command.pid, signal.SIGKILL)
    command.wait()
    (left,) = [p for p in tmp_path.iterdir() if p.name not in ("keeper", "set")]
    assert left.name.endswith(".silhouette-part")
    until = time.monotonic() + 10
    while alive_in(command.pid) and time.monotonic() < until:
        time.sleep(0.05)
    assert alive_in(command.pid) == []
    again = start(*words)
    _, told = again.communicate(timeout=120)
    assert again.returncode == 0, told
    assert sorted(p.name for p in tmp_path.iterdir()) == ["keeper", "set"]


@posix
@pytest.mark.parametrize(
    ("shell", "code"),
    [
        ("score keeper > /dev/full", 2),
        ("score nowhere 2>&-", 2),
        ("score keeper >&-", 0),
        ("score keeper >&- 2>&- <&-", 0),
        ("score keeper 2>/dev/full >/dev/full", 2),
        ("plan | head -c 1 >/dev/null; exit ${PIPESTATUS[0]}", 0),
    ],
)
def test_streams_that_are_closed_or_full_are_no_fault(
    drawn_turn: Callable[..., Path], tmp_path: Path, shell: str, code: int
) -> None:
    drawn_turn("keeper", [0, 90])
    line = shell.replace("score", f"{sys.executable} -m silhouette.cli score").replace(
        "plan", f"{sys.executable} -m silhouette.cli plan"
    )
    done = subprocess.run(
        ["bash", "-c", line], cwd=tmp_path, capture_output=True, text=True,
        env=ENV,
    )
    assert done.returncode == code and "Traceback" not in done.stderr and "Exception" not in done.stderr, done.stderr


WITHOUT_POSIX = """
import os, signal, sys
for module in ("fcntl", "resource", "pwd", "grp", "termios"):
    sys.modules[module] = None
for name in ("SIGHUP", "pthread_sigmask", "SIGKILL"):
    delattr(signal, name)
for name in ("O_NONBLOCK", "getuid", "geteuid", "fchmod", "mkfifo", "chown", "fork", "getpgid", "killpg"):
    delattr(os, name)
from silhouette import cli
for words in (
    ["score", "keeper", "-o", "out"], ["score", "keeper", "-o", "out"], ["check", "keeper", "-o", "checked"],
    ["export", "keeper", "-o", "set"], ["plan", "-o", "plan.pdf"],
):
    code = cli.main(words)
    assert code in (0, 1), (words, code)
"""


def test_the_main_job_needs_no_call_that_only_some_systems_have(
    drawn_turn: Callable[..., Path], tmp_path: Path
) -> None:
    drawn_turn("keeper", range(0, 360, 45))
    done = subprocess.run(
        [sys.executable, "-c", WITHOUT_POSIX], cwd=tmp_path, capture_output=True, text=True,
        env=ENV,
    )
    assert done.returncode == 0, done.stderr
    assert sorted(p.name for p in tmp_path.iterdir()) == ["checked", "keeper", "out", "plan.pdf", "set"]


LATE = """
import os, signal, sys
from silhouette import cli
sys.argv[1:] = ["plan"]
code = cli.main()
os.kill(os.getpid(), signal.SIGTERM)
sys.exit(code)
"""


@posix
def test_a_signal_that_comes_when_all_is_done_changes_nothing() -> None:
    done = subprocess.run([sys.executable, "-c", LATE], capture_output=True, text=True, env=ENV)
    assert done.returncode == 0 and "Camera" in done.stdout


@posix
@pytest.mark.parametrize("moment", range(1, 30, 2))
def test_a_signal_in_the_midst_of_tidying_up_leaves_nothing(tmp_path: Path, moment: int) -> None:
    """The signal comes at the n-th touch of the disk after the last page; whatever was begun is finished."""
    out = tmp_path / "out"
    fill(out, "old")
    code = KILLED.replace("os.kill(os.getpid(), signal.SIGKILL)", "raise KeyboardInterrupt")
    subprocess.run([sys.executable, "-c", code, str(out), str(moment), "1", "0"], capture_output=True, env=ENV)
    texts = {(out / n).read_text() for n in WHOLE[1:]}
    assert texts in ({"old"}, {"new"}) and names(out) == WHOLE and [p.name for p in tmp_path.iterdir()] == ["out"]


@posix
def test_a_name_of_nothing_that_shows_is_no_fault(drawn_turn: Callable[..., Path], tmp_path: Path) -> None:
    folder = drawn_turn("keeper", [0], arms="down")
    (folder / "000.jpg").rename(folder / "\ufeff.jpg")
    folder.rename(tmp_path / "\u200b")
    command = start("score", tmp_path / "\u200b", "-o", tmp_path / "out", "--masks")
    _, told = command.communicate(timeout=60)
    assert command.returncode == 0, told
