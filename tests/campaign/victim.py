"""Run the command in this process, and have something happen at the n-th time that it touches the disk.

``python victim.py WHAT N PLACE -- ARGV``: WHAT is ``kill`` (as kill -9), the number of a signal, ``full`` (from then on
nothing can be written, though what is there can be removed), ``count`` (touches are counted into the file PLACE) or
``wait``. Only what lies under PLACE counts. A byte on the descriptor ``CAMPAIGN_READY`` says that the command is about
to begin.
"""

from __future__ import annotations

import errno
import os
import signal
import sys
from collections.abc import Callable
from typing import Any

WRITING = os.O_WRONLY | os.O_RDWR | os.O_CREAT
REMOVES = {"os.rmdir", "os.remove"}
TOUCHES = {"os.rename", "os.mkdir", "os.chmod", "os.link", "os.symlink", "os.truncate", *REMOVES}


def watch(place: str, touched: Callable[[int, str], None]) -> None:
    """Call ``touched`` with how often something under ``place`` was about to be written, moved or removed, and how."""
    seen = 0

    def hook(event: str, args: tuple[Any, ...]) -> None:
        nonlocal seen
        if event == "open":
            path, _, flags = args
            if not isinstance(flags, int) or not flags & WRITING:
                return
        elif event in TOUCHES:
            path = args[0]
        else:
            return
        if isinstance(path, int):
            return
        told = os.fsdecode(path) if isinstance(path, bytes) else str(path)
        if place in told or (event != "open" and not told.startswith("/")):
            seen += 1
            touched(seen, event)

    sys.addaudithook(hook)


def main() -> int:
    """See the top of the file."""
    what, number, place = sys.argv[1], int(sys.argv[2]), sys.argv[3]
    sys.argv[1:] = sys.argv[5:]  # as the program itself is called
    from silhouette.cli import main as command

    def touched(seen: int, event: str) -> None:
        if what == "count":
            descriptor = os.dup(counter)
            os.pwrite(descriptor, f"{seen:8d}".encode(), 0)
            os.close(descriptor)
        elif what == "full" and seen >= number and event not in REMOVES:
            raise OSError(errno.ENOSPC, os.strerror(errno.ENOSPC))
        elif what == "kill" and seen == number:
            os.kill(os.getpid(), signal.SIGKILL)
        elif what.isdigit() and seen == number:
            os.kill(os.getpid(), int(what))

    counter = os.open(os.environ["CAMPAIGN_COUNT"], os.O_WRONLY | os.O_CREAT, 0o600) if what == "count" else -1
    if what != "wait":
        watch(place, touched)
    if ready := os.environ.get("CAMPAIGN_READY"):
        os.write(int(ready), b"!")
        os.close(int(ready))
    return command()


if __name__ == "__main__":
    sys.exit(main())
