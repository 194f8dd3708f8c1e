"""``silhouette open``: the whole job on a page of this computer's own."""

from __future__ import annotations

import argparse
import time
from pathlib import Path
from typing import Any

from silhouette.cli.common import command


def add(commands: Any) -> None:
    """Add the command to the parser."""
    parser = command(
        commands,
        "open",
        run,
        "Open the page on which you choose, shoot, check and keep, live before a camera. Nothing leaves this computer.",
        "silhouette open studio",
    )
    flag = parser.add_argument
    flag("folder", type=Path, nargs="?", metavar="FOLDER",
         help="where the poses lie and go; made if it is missing (a folder named by the date)")
    flag("--port", type=int, default=0, metavar="N", help="the port of the page's address (one that is free)")
    flag("--no-browser", action="store_true", help="only print the address, open no browser")
    flag("--phone", action="store_true",
         help="let one phone in this network be the camera too, through a door of its own; without it nothing outside "
         "this computer can reach the page")


def run(args: argparse.Namespace) -> int:
    """Serve until stopped."""
    from silhouette.live.server import serve

    serve(args.folder or Path(time.strftime("%Y-%m-%d")), args.port, browser=not args.no_browser, by_phone=args.phone)
    return 0
