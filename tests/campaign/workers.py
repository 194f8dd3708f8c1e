"""Processes that run cases and say what they are about to do, and the one that starts them again after a crash."""

from __future__ import annotations

import contextlib
import faulthandler
import json
import os
import resource
import shutil
import signal
import subprocess
import sys
import tempfile
import threading
import time
import traceback
import warnings
from collections.abc import Iterator, Sequence
from dataclasses import asdict, dataclass, field
from pathlib import Path
from typing import Any

from campaign import kinds

HERE = Path(__file__).resolve().parent
MOST_BYTES = 8 * 2**30
"""Address space of a worker: what asks for more gets a MemoryError in place of the whole machine."""
RENEW = 4000
"""Cases after which a worker starts anew."""

_children: set[subprocess.Popen[bytes]] = set()
_over = threading.Event()
"""Set once: no further worker is started."""


@dataclass
class Sum:
    """What some cases of one kind came to."""

    runs: int = 0
    """Runs of the program; a case may take several."""
    ended: int = 0
    """Cases."""
    found: list[dict[str, Any]] = field(default_factory=list)
    peak_mb: float = 0.0
    seconds: float = 0.0

    @staticmethod
    def of(parts: Sequence[Sum]) -> Sum:
        """All of them together."""
        return Sum(
            sum(p.runs for p in parts),
            sum(p.ended for p in parts),
            [row for p in parts for row in p.found],
            max((p.peak_mb for p in parts), default=0.0),
            sum(p.seconds for p in parts),
        )


class Clock:
    """Shares out the time that there is: each task gets its part of what is left when it begins, by what it would take.

    Parameters
    ----------
    tasks : (kind, first case, behind the last) of all tasks
    jobs : how many of them run at a time
    until : when the last one must end, or None
    """

    def __init__(self, tasks: Sequence[tuple[str, int, int]], jobs: int, until: float | None) -> None:
        self._left = sum(map(self._takes, tasks))
        self._jobs, self._until, self._lock = jobs, until, threading.Lock()

    @staticmethod
    def _takes(task: tuple[str, int, int]) -> float:
        return kinds.KINDS[task[0]][2] * (task[2] - task[1])

    def begin(self, task: tuple[str, int, int]) -> float | None:
        """When this task, which begins now, must end."""
        with self._lock:
            share = self._takes(task) / max(self._left, 1e-9)
            self._left -= self._takes(task)
        if self._until is None:
            return None
        now = time.monotonic()
        return now + max(3.0, min(1.0, share * self._jobs) * (self._until - now))


# ------------------------------------------------------------------------------------------------------ the one outside


@contextlib.contextmanager
def ended_with_us() -> Iterator[None]:
    """However this ends, no worker is left."""

    def stop(number: int, frame: object) -> None:
        sys.exit(128 + number)

    signal.signal(signal.SIGTERM, stop)
    try:
        yield
    except BaseException:
        _over.set()
        for child in list(_children):
            with contextlib.suppress(OSError):
                os.killpg(child.pid, signal.SIGKILL)
        raise


def parts(kind: str, lab: Path) -> list[tuple[str, int]]:
    """In how many pieces, each in a process of its own, what the cases of a kind share is made, in ``lab / kind``."""
    (lab / kind).mkdir()
    module = kinds.module(kind)
    return [(kind, part) for part in range(getattr(module, "PARTS", 1))] if hasattr(module, "prepare") else []


def prepare(kind: str, part: int, seed: int, lab: Path) -> None:
    """Make one piece of it.

    Raises
    ------
    RuntimeError
        If it cannot be made: then nothing of this kind can be tried.
    """
    rows, code, stack = _start(kind, part, part, seed, lab, prepare=True)
    if code:
        raise RuntimeError(f"{kind} cannot be prepared: {stack or rows}")


def attack(kind: str, first: int, last: int, seed: int, lab: Path, until: float | None, loud: bool = False) -> Sum:
    """Cases ``first`` up to ``last``; a worker that dies is started again behind the case that it died of."""
    total, at, began = Sum(), first, time.monotonic()
    while at < last and not _over.is_set() and (until is None or time.monotonic() < until):
        rows, code, stack = _start(kind, at, min(last, at + RENEW), seed, lab, until=until, loud=loud)
        open_case, argv = None, ()
        for row in rows:
            if "start" in row:
                open_case, argv = row["start"], ()
            elif "argv" in row:
                argv = row["argv"]
                total.runs += 1
            elif "end" in row:
                open_case, at = None, row["end"] + 1
                total.ended += 1
                total.found += row["findings"]
                total.peak_mb = max(total.peak_mb, row["peak_mb"])
        if open_case is not None:
            hung = "Timeout" in stack
            message = stack[-4000:] or f"the process ended with {code}"
            what = "hangs" if hung else "tracebacks"
            sign = f"{what}: the whole process" + ("" if hung else f" ended with {code}")
            total.found.append(
                {
                    "kind": kind,
                    "case": open_case,
                    "seed": seed,
                    "what": what,
                    "sign": sign,
                    "message": message,
                    "argv": argv,
                }
            )
            at = open_case + 1
            total.ended += 1
        elif code:
            raise RuntimeError(f"the worker of {kind} failed outside a case: {stack}")
        elif until is not None and time.monotonic() >= until:
            break
    total.seconds = time.monotonic() - began
    return total


def _start(
    kind: str,
    first: int,
    last: int,
    seed: int,
    lab: Path,
    *,
    prepare: bool = False,
    until: float | None = None,
    loud: bool = False,
) -> tuple[list[dict[str, Any]], int, str]:
    """The rows that a worker logged, its exit code, and the stack that it left if it was ended by the clock."""
    import silhouette

    own = Path(tempfile.mkdtemp(prefix="worker-", dir=lab))
    for name in ("tmp", "cwd"):
        (own / name).mkdir()
    (lab / "home").mkdir(exist_ok=True)
    env = {k: v for k, v in os.environ.items() if not k.startswith(("XDG_", "SILHOUETTE"))}
    env |= {
        "HOME": str(lab / "home"),
        "TMPDIR": str(own / "tmp"),
        "MPLBACKEND": "Agg",
        "OMP_NUM_THREADS": "1",
        "PYTHONPATH": str(Path(silhouette.__file__).resolve().parents[1]),
        "PYTHONDONTWRITEBYTECODE": "1",
        "CAMPAIGN_STACK": str(own / "stack"),
        "PYTHONHASHSEED": "0",
        "CAMPAIGN_LOUD": "1" if loud else "",
        "CAMPAIGN_UNTIL": "" if until is None else str(until),
    }
    receive, send = os.pipe()
    command = [
        sys.executable,
        str(HERE),
        "--worker",
        kind,
        "--first",
        str(first),
        "--last",
        str(last),
        "--seed",
        str(seed),
        "--lab",
        str(lab),
    ]
    child = subprocess.Popen(
        [*command, *(["--prepare"] if prepare else [])],
        cwd=own / "cwd",
        env={**env, "CAMPAIGN_LOG": str(send)},
        pass_fds=[send],
        start_new_session=True,
        stdin=subprocess.DEVNULL,
        stdout=None if loud else subprocess.DEVNULL,
        stderr=(own / "said").open("wb"),
    )
    _children.add(child)
    os.close(send)
    with os.fdopen(receive, "rb") as log:
        lines = log.read().splitlines()
    code = child.wait()
    _children.discard(child)
    stack = "".join(p.read_text(errors="replace") for p in (own / "stack", own / "said") if p.exists())
    shutil.rmtree(own, ignore_errors=True)
    return [json.loads(line) for line in lines], code, stack


# ------------------------------------------------------------------------------------------------------ the one inside


def work(kind: str, first: int, last: int, seed: int, lab: Path, *, prepare: bool) -> int:
    """Run cases in this process; each is told on the log before it begins and after it ended."""
    from campaign import harness

    resource.setrlimit(resource.RLIMIT_AS, (MOST_BYTES, MOST_BYTES))
    resource.setrlimit(resource.RLIMIT_CORE, (0, 0))
    os.umask(0o022)
    faulthandler.enable(harness._stack_log())
    for sort in (UserWarning, RuntimeWarning):
        warnings.filterwarnings("always", category=sort)  # what another run of the program would say again
    log = int(os.environ["CAMPAIGN_LOG"])
    os.set_inheritable(log, False)
    until = float(os.environ["CAMPAIGN_UNTIL"] or "inf")
    module = kinds.module(kind)

    def tell(row: dict[str, Any]) -> None:
        os.write(log, json.dumps(row).encode() + b"\n")

    if prepare:
        with harness.within(harness.CASE_S):
            module.prepare(harness.Case(kind, first, seed, lab))
        return 0
    for number in range(first, last):
        if time.monotonic() > until:
            break
        case = harness.Case(kind, number, seed, lab, log=tell, loud=bool(os.environ["CAMPAIGN_LOUD"]))
        tell({"start": number})
        with harness.within(harness.CASE_S):
            try:
                module.run(case)
            except Exception:
                case.find("tracebacks", f"in the campaign itself: {traceback.format_exc()}")
        if not case.loud:
            shutil.rmtree(case.folder, ignore_errors=True)
        rows = [{"kind": kind, "case": number, "seed": seed, "sign": f.sign, **asdict(f)} for f in case.findings]
        tell({"end": number, "findings": rows, "peak_mb": case.peak_mb})
        if case.peak_mb > harness.LIMIT_MB:
            break  # the peak of a process never falls: the next case gets a new one
    faulthandler.cancel_dump_traceback_later()
    return 0
