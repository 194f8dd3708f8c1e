"""``silhouette mend``: a page on which wrong cut-outs are put right by a few taps."""

from __future__ import annotations

import argparse
from pathlib import Path
from typing import Any

from silhouette.cli.common import add_settings, command, progress_bar, say, settings


def add(commands: Any) -> None:
    """Add the command to the parser."""
    parser = command(
        commands,
        "mend",
        run,
        "Make a page on which you tap what is wrong in a cut-out, and save the mask. The page holds photographs.",
        "silhouette mend trials/hauling -o mend.html",
    )
    flag = parser.add_argument
    flag("pose", type=Path, metavar="POSE", help="a folder of stills, one still, or a clip")
    flag("-o", "--out", type=Path, required=True, metavar="PAGE",
         help="the page to write, a name that ends in .html; not among the pictures")
    flag("--only", nargs="+", default=(), metavar="NAME",
         help="only the stills of these names (all); low takes a ring, low_045 one still of it")
    add_settings(parser, reading=False)


def run(args: argparse.Namespace) -> int:
    """Write the page and say what is in it."""
    from silhouette import mending
    from silhouette.show.table import counted

    with progress_bar() as progress:
        made = mending.write_mend_page(args.pose, args.out, only=args.only, progress=progress, **settings(args))
    for sentence in made.left_out:
        say(sentence)
    doubted = "all of them trusted" if not made.doubted else f"{made.doubted} not trusted and shown first"
    say(f"{counted(made.stills, 'cut-out')} to look at, {doubted}. Open the page in a browser and tap what is wrong.")
    print(f"Written to {made.page} ({made.size / 1e6:.1f} MB)")
    say(f"{made.page.name} holds photographs: keep it private, and delete it when the masks are saved.")
    return 0
