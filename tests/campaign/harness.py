"""What every kind of attack shares: a case with its dice, running the command, and the promises it is held to.

A case has a folder of its own. Whatever the attack, afterwards everything in that folder is as it was, but for the
place given with ``-o``, and that only if the command says that it is done.
"""

from __future__ import annotations

import contextlib
import faulthandler
import os
import random
import re
import resource
import shutil
import subprocess
import sys
import time
import traceback
from collections.abc import Callable, Collection, Iterator, Sequence
from dataclasses import dataclass, field
from pathlib import Path
from typing import IO, Any

from campaign import trees
from campaign.kinds import SHARED

HERE = Path(__file__).resolve().parent
LIMIT_S = 20.0
"""A run that takes longer hangs; where more runs at once than there are cores, it gets as much longer as it waits."""
CASE_S = 300.0
"""A whole case, with several runs, never takes so long."""
LIMIT_MB = 1536.0
"""Peak memory of anything that runs one picture or a few."""
CODES = frozenset({0, 1, 2, 129, 130, 143})
COLUMNS = ("tracebacks", "hangs", "originals changed", "leftovers", "wrong exit codes", "other")
"""A crash of the process counts as a traceback; *other* is too much memory, results that other people may read or that
cannot be read at all, and an error stream that holds more than the program's own sentence."""

_NOISE = re.compile(r"@ 0x|libpng|libav|lib(tiff|jpeg|heif)|\[ *(warn|error|info)|warning|exception ignored", re.I)
_BLAMES_ITSELF = re.compile(r"\b(bugs?|faults? (of|in)|own fault|at fault|internal error|unexpected)\b", re.I)


@dataclass(frozen=True)
class Finding:
    """One broken promise."""

    what: str
    """One of :data:`COLUMNS`."""
    message: str
    argv: tuple[str, ...] = ()

    @property
    def sign(self) -> str:
        """The same for findings that are likely to have one cause: numbers and names are left out."""
        text = self.message.strip()
        if "Traceback" in text:
            places = re.findall(r'File "[^"]*/(silhouette/[^"]+)", line (\d+)', text)
            sorts = re.findall(r"^([\w.]+(?:[Ee]rror|Exception|Exit|Interrupt|Bomb\w*))\b", text, re.M)
            return f"{self.what}: {sorts[-1] if sorts else '?'} from {':'.join(places[-1]) if places else 'elsewhere'}"
        text = re.sub(r"(/[^/\s'\"]+)+(?=[/\s:'\"]|$)", _last_of, text)
        return f"{self.what}: {re.sub(r'(?<!code )(?<!code -)(?<![0-9])[0-9]+', '#', ' '.join(text.split()))[:140]}"


def _last_of(path: re.Match[str]) -> str:
    """What a path ends with, without what chance put into it."""
    name = path[0].rpartition("/")[2][:40]
    return "PATH/" + re.sub(r"(?<=\.)[0-9a-z_]{8}(?=\.)|[0-9a-f]{24}", "RANDOM", name)


@dataclass(frozen=True)
class Told:
    """What one run gave back."""

    code: int
    out: str
    err: str
    peak_mb: float = 0.0
    fault: str = ""
    """A traceback that reached the caller."""
    hung: bool = False


@dataclass
class Case:
    """One attack: its number, its dice, its folder."""

    kind: str
    number: int
    seed: int
    lab: Path
    """Folder that all cases of the campaign share; what the kind prepared lies in :attr:`prepared`."""
    log: Callable[[dict[str, Any]], None] = lambda row: None
    findings: list[Finding] = field(default_factory=list)
    runs: int = 0
    argv: tuple[str, ...] = ()
    peak_mb: float = 0.0
    loud: bool = False

    def __post_init__(self) -> None:
        self.dice = random.Random(f"{self.seed}/{self.kind}/{self.number}")
        self.folder = self.lab / f"case-{self.kind}-{self.number}"
        self.prepared = self.lab / SHARED.get(self.kind, self.kind)
        self._made = 0

    def fresh(self) -> Path:
        """A new empty folder for one run of this case."""
        self._made += 1
        folder = self.folder / f"r{self._made}"
        folder.mkdir(parents=True)
        return folder

    def find(self, what: str, message: str) -> None:
        """Put a broken promise down."""
        assert what in COLUMNS, what
        self.findings.append(Finding(what, message, self.argv))

    def note(self, argv: Sequence[object]) -> tuple[str, ...]:
        """Say what is about to run, so that a crash can be told from the log."""
        self.argv = tuple(str(a) for a in argv)
        self.runs += 1
        self.log({"argv": self.argv})
        return self.argv

    def attack(
        self,
        argv: Sequence[object],
        *,
        codes: Collection[int] = (0, 2),
        out: Path | None = None,
        originals: Collection[Path] = (),
        top: Path | None = None,
        apart: bool = False,
        **how: Any,
    ) -> Told:
        """Run the command on ``argv`` and hold it to every promise.

        Parameters
        ----------
        codes : exit codes that are right here
        out : the one place that may change, where the code is 0 or 1
        originals : what may not change even if it lies in ``out``
        top : the folder that is looked at before and after; the newest of the case by default
        apart : in a process of its own
        how : for :func:`run_apart` or :func:`run_here`
        """
        top = top or self.folder / f"r{self._made}"
        before = trees.tree(top)
        new = out is not None and not os.path.lexists(out)
        told = (run_apart if apart else run_here)(self.note(argv), **how)
        self.judge(told, codes)
        # a check that could not be made exits with 2, and its page, which says so, is written all the same
        done = (told.code in (0, 1) or "Written to" in told.out) and not told.hung
        self._same(before, trees.tree(top), out if done else None, originals)
        if done and out is not None and os.path.exists(out):  # noqa: PTH110  names may be too long for Path
            self._results(out, new)
        self.scratch_is_empty()
        return told

    def judge(self, told: Told, codes: Collection[int]) -> None:
        """The promises about the run itself: its end, its exit code, its sentence, its memory."""
        if self.loud:
            print(f"{list(self.argv)}\n-> {told.code}\n{told.out}{told.err}{told.fault}")
        self.peak_mb = max(self.peak_mb, told.peak_mb)
        if told.hung:
            self.find("hangs", f"no end within {LIMIT_S:g} s\n{told.err[-2000:]}")
            return
        by_signal = told.code < 0 and -told.code not in (1, 2, 15)
        if told.fault or "Traceback" in told.err or "Traceback" in told.out or by_signal:
            text = told.fault or told.err or f"the process ended by signal {-told.code}"
            text = text if "Traceback" in text[-6000:] or "Traceback" not in text else f"Traceback\n{text[-6000:]}"
            self.find("tracebacks", text[-7000:])
            return
        if _BLAMES_ITSELF.search(told.err):
            self.find("tracebacks", f"the program blames itself: {told.err[-1000:]}")
        elif told.code not in codes or told.code not in CODES:
            says = told.err[-500:] or f"{self.argv[0]}: {told.out[-500:]}" * (told.code not in (0, 1))
            self.find(
                "wrong exit codes",
                f"exit code {told.code}, not code {' or code '.join(map(str, sorted(codes)))}: {says or self.argv[0]}",
            )
        if noise := _more_than_a_sentence(told):
            self.find("other", f"more than a sentence on the error stream: {noise}")
        if told.peak_mb > LIMIT_MB:
            self.find("other", f"memory over {LIMIT_MB:.0f} MB: {told.peak_mb:.0f} MB")

    def unchanged(self, top: Path, before: dict[str, trees.Look], without: Collection[Path] = ()) -> None:
        """Hold ``top`` to what it was, but for the places in ``without``."""
        self._diff(before, trees.tree(top), without)

    def scratch_is_empty(self) -> None:
        """Nothing is left in the folder for temporary files; what is, is taken away before the next run."""
        place = Path(os.environ["TMPDIR"])
        for left in place.iterdir():
            self.find("leftovers", f"in the folder for temporary files: {left.name}")
            shutil.rmtree(left, ignore_errors=True) if left.is_dir() else left.unlink()

    def _same(
        self, before: dict[str, trees.Look], after: dict[str, trees.Look], out: Path | None, kept: Collection[Path]
    ) -> None:
        self._diff(before, after, () if out is None else (out,))
        if out is not None and kept:
            inside = [p for p in before if any(Path(p) == k or Path(p).is_relative_to(k) for k in kept)]
            self._diff({p: before[p] for p in inside}, {p: after[p] for p in inside if p in after})

    def _diff(
        self, before: dict[str, trees.Look], after: dict[str, trees.Look], without: Collection[Path] = ()
    ) -> None:
        free = [os.path.abspath(p) for p in without]  # noqa: PTH100
        made = {str(p) for f in free for p in Path(f).parents}

        def counts(path: str) -> bool:
            return not any(path == f or path.startswith(f + os.sep) for f in free)

        for path, was in before.items():
            if counts(path) and after.get(path) != was:
                now = after.get(path)
                sort = "gone" if now is None else "changed" if now[0] == was[0] == "file" else f"now a {now[0]}"
                self.find("originals changed", f"a {was[0]} is {sort}: {path}")
        new = {path for path in after if path not in before and counts(path) and path not in made}
        for path in sorted(new):
            if os.path.dirname(path) not in new:  # noqa: PTH120
                self.find("leftovers", path)

    def _results(self, out: Path, new: bool) -> None:
        if new:
            for path in trees.open_to_others(out)[:1]:
                self.find("other", f"others may read {Path(path).suffix or 'a folder'} {path}")
        for what in trees.unreadable(out)[:1]:
            self.find("other", f"cannot be read back: {what}")


def _more_than_a_sentence(told: Told) -> str:
    """What stands on the error stream beside the program's own sentence, which may be wrapped."""
    lines = [line for line in told.err.splitlines() if line.strip()]
    if any(_NOISE.search(line) for line in lines if not line.startswith("silhouette")):
        return told.err[-1000:]
    own = [line for line in lines if line.startswith("silhouette")]
    if len(own) > 1 or (lines and lines[0] not in own) or (told.code == 2 and not own and not told.out):
        return told.err[-1000:] or "no sentence at all"
    return ""


# ------------------------------------------------------------------------------------------------------------- running


def peak_mb() -> float:
    """The most memory this process has held so far."""
    return resource.getrusage(resource.RUSAGE_SELF).ru_maxrss / 1024


@contextlib.contextmanager
def within(seconds: float) -> Iterator[None]:
    """Whoever takes longer ends this process, however deep in a library, with its stack on the log of the worker."""
    faulthandler.dump_traceback_later(seconds * patience(), exit=True, file=_stack_log())
    try:
        yield
    finally:
        faulthandler.dump_traceback_later(CASE_S * patience(), exit=True, file=_stack_log())


def patience() -> float:
    """How much longer than on a quiet machine a process takes here and now."""
    return max(1.0, os.getloadavg()[0] / (os.cpu_count() or 1))


def _stack_log() -> IO[str]:
    return _file("", "w", -1)


def _file(name: str, mode: str, buffered: int) -> IO[Any]:
    """A file of this process beside its folder for temporary files, opened once."""
    if name not in _STREAMS:
        _STREAMS[name] = Path(os.environ["CAMPAIGN_STACK"] + name).open(mode, buffered)  # noqa: SIM115  kept open
    return _STREAMS[name]


_STREAMS: dict[str, IO[Any]] = {}


@contextlib.contextmanager
def caught() -> Iterator[Callable[[], tuple[str, str]]]:
    """Both streams into files, C libraries included; the function given back reads them."""
    files = [_file(name, "w+b", 0) for name in ("out", "err")]
    sys.stdout.flush()
    sys.stderr.flush()
    kept = [os.dup(1), os.dup(2)]
    for file, number in zip(files, (1, 2), strict=True):
        file.seek(0)
        file.truncate()
        os.dup2(file.fileno(), number)

    def read() -> tuple[str, str]:
        for stream in (sys.stdout, sys.stderr):
            with contextlib.suppress(ValueError, OSError):
                stream.flush()
        texts = []
        for file in files:
            file.seek(0)
            texts.append(file.read().decode("utf-8", "replace"))
        return texts[0], texts[1]

    try:
        yield read
    finally:
        read()
        for number, old in zip((1, 2), kept, strict=True):
            os.dup2(old, number)
            os.close(old)


def run_here(argv: Sequence[str], cwd: Path | None = None) -> Told:
    """The command in this process."""
    from silhouette.cli import main

    back = Path.cwd()
    fault, code = "", 0
    with within(LIMIT_S), caught() as read:
        try:
            os.chdir(cwd or back)
            code = int(main(list(argv)))
        except SystemExit as stop:
            code = 0 if stop.code is None else stop.code if isinstance(stop.code, int) else 1
        except BaseException:
            fault, code = traceback.format_exc(), 1
        finally:
            os.chdir(back)
        out, err = read()
    return Told(code, out, err, peak_mb(), fault)


COMMAND = [sys.executable, "-P", "-m", "silhouette.cli"]


def run_apart(
    argv: Sequence[str],
    *,
    command: Sequence[str] = (),
    cwd: Path | None = None,
    limit: float = LIMIT_S,
    shell: str = "",
    env: dict[str, str] | None = None,
    meanwhile: Callable[[subprocess.Popen[bytes]], None] | None = None,
    **popen: Any,
) -> Told:
    """The command in a process of its own.

    Parameters
    ----------
    command : what to run in place of :data:`COMMAND`
    shell : redirections as a shell writes them, ``2>&-``
    meanwhile : called while it runs
    """
    out, err = (Path(os.environ["CAMPAIGN_STACK"] + name) for name in ("apart-out", "apart-err"))
    full = [*(command or COMMAND), *argv]
    if shell:
        full = ["/bin/sh", "-c", f'exec "$@" {shell}', "sh", *full]
    with out.open("wb") as to_out, err.open("wb") as to_err:
        streams = {"stdin": subprocess.DEVNULL, "stdout": to_out, "stderr": to_err, **popen}
        child = subprocess.Popen(full, cwd=cwd, env={**os.environ, **(env or {})}, start_new_session=True, **streams)
    hung, status, used = False, 0, None
    try:
        if meanwhile is not None:
            meanwhile(child)
        end = time.monotonic() + limit * patience()
        while used is None:
            pid, status, usage = os.wait4(child.pid, os.WNOHANG)
            used = usage if pid else None
            if used is None and time.monotonic() > end:
                hung = True
                os.killpg(child.pid, 9)
                _, status, used = os.wait4(child.pid, 0)
            if used is None:
                time.sleep(0.005)
    finally:
        child.returncode = os.waitstatus_to_exitcode(status) if used is not None else -1
    texts = [p.read_bytes().decode("utf-8", "replace") for p in (out, err)]
    return Told(child.returncode, texts[0], texts[1], used.ru_maxrss / 1024, hung=hung)


def marked(mark: str) -> list[int]:
    """Processes that were started with ``CAMPAIGN_MARK=mark`` and still live, wherever they were handed on to."""
    found = []
    for entry in Path("/proc").iterdir():
        if entry.name.isdigit() and int(entry.name) != os.getpid():
            with contextlib.suppress(OSError):
                state = (entry / "stat").read_text().rpartition(")")[2].split()[0]
                if f"CAMPAIGN_MARK={mark}".encode() in (entry / "environ").read_bytes() and state != "Z":
                    found.append(int(entry.name))
    return found
