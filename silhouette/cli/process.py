"""This process as the system sees it: its streams, and the signals that end it."""

from __future__ import annotations

import _thread
import contextlib
import os
import signal
import sys
import threading
import warnings
from collections.abc import Iterator
from typing import Any

SOON_S = 0.02
"""Seconds until a stop that was swallowed is tried once more."""


def hush_libraries() -> None:
    """Keep what the libraries log off the screen; apart from :func:`own_streams`, as help needs no logging."""
    import logging

    for library in ("matplotlib", "PIL", "libav"):
        logging.getLogger(library).setLevel(logging.CRITICAL + 1)


@contextlib.contextmanager
def own_streams() -> Iterator[None]:
    """Streams that can always be written to, and the C libraries' own remarks kept off the screen.

    Decoders write to the second file descriptor by themselves. It is pointed at nothing while a command runs, and our
    sentences go to a copy of it. A stream that the caller has closed becomes one that nobody reads.
    """
    os.environ.setdefault("OPENCV_LOG_LEVEL", "SILENT")
    warnings.filterwarnings("ignore", module=r"multiprocessing\.resource_tracker")
    before = sys.stdout, sys.stderr
    with contextlib.ExitStack() as stack:
        nothing = stack.enter_context(open(os.devnull, "w", encoding="utf-8"))  # noqa: PTH123
        sys.stdout = sys.stdout or nothing
        if sys.stderr is None:
            sys.stderr = nothing
        elif _is_second(sys.stderr):
            sys.stderr.flush()
            kept = os.dup(2)
            stack.callback(os.close, kept)
            stack.callback(os.dup2, kept, 2)
            sys.stderr = open(  # noqa: SIM115
                kept, "w", encoding=sys.stderr.encoding, errors="backslashreplace", buffering=1, closefd=False
            )
            stack.callback(_close_or_forget, sys.stderr)
            os.dup2(nothing.fileno(), 2)
        try:
            yield
        finally:
            _flush_or_forget()
            sys.stdout, sys.stderr = before


def _is_second(stream: Any) -> bool:
    """Whether a stream writes to file descriptor 2: not so in tests and notebooks."""
    try:
        return bool(stream.fileno() == 2)
    except (OSError, ValueError, AttributeError):
        return False


def _close_or_forget(stream: Any) -> None:
    with contextlib.suppress(OSError, ValueError):
        stream.close()


def _flush_or_forget() -> None:
    """What cannot be written any more is dropped here, or Python would complain at its end."""
    try:
        sys.stdout.flush()
    except (OSError, ValueError):
        with contextlib.suppress(OSError, ValueError):
            os.dup2(os.open(os.devnull, os.O_WRONLY), sys.stdout.fileno())


_came: list[int] = []
"""Signals that came since the command began."""


def heed() -> None:
    """Stop now if a signal came that a library swallowed while it was being loaded."""
    if _came:
        raise KeyboardInterrupt(_came[0])


@contextlib.contextmanager
def signals_stop(*, leaving: bool = False) -> Iterator[list[int]]:
    """A signal to end, or the terminal closing, stops like Ctrl-C: what is half-written is removed first.

    Where the process is ``leaving`` afterwards, a signal that comes late is ignored: all is done, and the exit code
    says what was done. Else the handlers from before are put back. Gives the signals that came: a library that is just
    being loaded may make another error of one.
    """
    received = _came
    received.clear()
    if threading.current_thread() is not threading.main_thread():
        yield received
        return

    def again(number: int, _: object) -> None:
        signal.signal(number, signal.SIG_IGN)
        raise KeyboardInterrupt(number)

    def stop(number: int, _: object) -> None:
        received.append(number)
        for one in before:
            signal.signal(one, signal.SIG_IGN)  # no second one while tidying up
        raise KeyboardInterrupt(number)

    def lost(found: Any) -> None:
        """A stop that came while something was being thrown away is swallowed there: stop once more."""
        if received and isinstance(found.exc_value, KeyboardInterrupt):
            signal.signal(received[-1], again)
            late = threading.Timer(SOON_S, _thread.interrupt_main, (received[-1],))
            late.daemon = True
            late.start()
        else:
            hook(found)

    named = [getattr(signal, name) for name in ("SIGINT", "SIGTERM", "SIGHUP", "SIGBREAK") if hasattr(signal, name)]
    before = {one: signal.getsignal(one) for one in named}
    before = {one: was for one, was in before.items() if was not in (signal.SIG_IGN, None)}
    for one in before:
        signal.signal(one, stop)
    hook, sys.unraisablehook = sys.unraisablehook, lost
    try:
        yield received
    finally:
        sys.unraisablehook = hook
        for one, was in before.items():
            signal.signal(one, signal.SIG_IGN if leaving else was)
