"""The person's own browser is shown the page, without the key standing where others could read it.

What a program is started with can be read by everybody on the computer. So the browser is given the name of a small
file that only its owner can read; the file leads on to the address. It lies in the person's own folder, where a browser
that is shut off from the rest of the disk can read it too, and goes when the program ends.
"""

from __future__ import annotations

import contextlib
import html
import os
import secrets
import sys
import threading
import webbrowser
from collections.abc import Callable
from pathlib import Path

from silhouette import writing
from silhouette.errors import OutputError

BEGINS = ".open-"
"""How the name of such a file begins."""


def show_in_browser(folder: Path, address: str) -> Callable[[], None]:
    """Open the address in a browser with windows, if there is one; gives what takes the file away again."""
    if not _has_windows():
        return lambda: None
    file = folder / f"{BEGINS}{secrets.token_hex(4)}.html"
    try:
        writing.whole_file(file, _leading_to(address).encode())
    except OutputError:  # the address was printed
        return lambda: None
    threading.Thread(target=_open, args=(file.as_uri(),), daemon=True).start()
    return lambda: file.unlink(missing_ok=True)


def forget(folder: Path) -> None:
    """Take away such files of starts that were killed; the keys in them are worth nothing any more."""
    for file in folder.glob(f"{BEGINS}????????.html"):
        with contextlib.suppress(OSError):
            file.unlink()


def _leading_to(address: str) -> str:
    there = html.escape(address)
    return ("<!doctype html>\n<html lang=\"en\"><head><meta charset=\"utf-8\"><title>Silhouette</title>\n"
            f"<meta name=\"referrer\" content=\"no-referrer\"><meta http-equiv=\"refresh\" content=\"0; url={there}\">"
            f"</head>\n<body><p><a href=\"{there}\">Open the page</a></p></body></html>\n")


def _has_windows() -> bool:
    """Whether a browser can open a window here. One that runs in the terminal would take the terminal away."""
    if os.name == "nt" or sys.platform == "darwin" or os.environ.get("BROWSER"):
        return True
    return bool(os.environ.get("DISPLAY") or os.environ.get("WAYLAND_DISPLAY"))


def _open(address: str) -> None:
    with contextlib.suppress(webbrowser.Error, OSError):
        webbrowser.open(address)
