"""``silhouette find``: poses by what they do, or by a picture that they look like."""

from __future__ import annotations

import argparse
from pathlib import Path
from typing import Any, get_args

from silhouette.cli.common import (
    add_paper,
    add_settings,
    columns,
    command,
    pictures_of,
    progress_bar,
    say_written,
    settings,
)
from silhouette.cli.flags import arc
from silhouette.settings import MOST_FOUND, ArmAsked, GapSize


def add(commands: Any) -> None:
    """Add the command to the parser."""
    parser = command(
        commands,
        "find",
        run,
        "Find poses by what they do, or by a picture that they look like, in an archive or in a folder of trials.",
        "silhouette find trials --like photo.jpg -o found",
    )
    parser.add_argument("place", type=Path, metavar="PLACE",
                        help="an archive, or a folder of poses, which are read first")
    add = parser.add_argument_group("what to look for; a pose is found that has all of it").add_argument
    add("--like", type=Path, metavar="PICTURE",
        help="poses that look like it: a photograph, a silhouette, or a drawing filled in black")
    add("--reads", type=float, metavar="DEGREES", help="poses that read from at least so many degrees")
    add("--arc", type=arc, metavar="FROM-TO", help="only what is seen from here counts, clockwise: 300-60 for a niche")
    add("--gap", choices=get_args(GapSize), help="poses with a view that has a gap of this size, or a larger one")
    add("--arm", choices=get_args(ArmAsked), help="poses with a view that has a hand there, surely")
    add("--strong-from", type=float, metavar="ANGLE", help="poses whose view nearest to this angle is strong")
    add = parser.add_argument_group("results").add_argument
    add("-o", "--out", type=Path, metavar="OUT", help="folder for the results")
    add("--most", type=int, default=MOST_FOUND, metavar="N", help="how many to show (%(default)s)")
    add_paper(parser)
    add_settings(parser, reading=False)


def run(args: argparse.Namespace) -> int:
    """Find, write the answer, and say what was found."""
    from silhouette import finding, known, writing
    from silhouette.show import table

    sources = pictures_of(args, args.place, *([args.like] if args.like else []))
    if args.out is not None:
        writing.refuse(args.out, sources, kind="found")
    memory = None if args.out is None else known.Memory(args.out)
    asked = {name: getattr(args, name) for name in ("like", "reads", "gap", "arm", "strong_from", "most")}
    chosen = {name: value for name, value in settings(args).items() if name != "intent"}
    with progress_bar() as progress:
        found = finding.find_views(args.place, progress=progress, known=memory, **asked, **chosen)
    said = table.found_table(found, columns())
    if args.out is None:
        print(said)
        return 0
    written = finding.write_found(found, args.out, sources, paper=args.paper, known=memory)
    print(said)
    say_written(args.out, written)
    return 0
