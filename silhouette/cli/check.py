"""``silhouette check``: what to retake, while the model is still there."""

from __future__ import annotations

import argparse
from pathlib import Path
from typing import Any

from silhouette.cli.common import (
    add_paper,
    add_settings,
    columns,
    command,
    pictures_of,
    progress_bar,
    say,
    say_written,
    settings,
)


def add(commands: Any) -> None:
    """Add the command to the parser."""
    parser = command(
        commands,
        "check",
        run,
        "Say, while the model is still there, which stops to retake.",
        "silhouette check clip.mov --height 1.72 -o checked",
    )
    flag = parser.add_argument
    flag("turnaround", type=Path, metavar="TURNAROUND",
         help="a clip, a folder of stills in the order shot, or a pose with rings")
    flag("--height", type=float, metavar="M",
         help="height of the figure as it poses, in metres; then movements are given in centimetres")
    flag("-o", "--out", type=Path, metavar="OUT", help="folder for check.json and the page of the check")
    add_paper(parser)
    add_settings(parser, reading=False)


def run(args: argparse.Namespace) -> int:
    """Check, write the page where one is asked for, print what was found."""
    from silhouette import known, shoot, writing
    from silhouette.show import table, words

    if args.out is not None:
        writing.refuse(args.out, pictures_of(args, args.turnaround), kind="check")
    memory = None if args.out is None else known.Memory(args.out)
    with progress_bar() as progress:
        checked = shoot.check_turnaround(
            args.turnaround, height_m=args.height, progress=progress, known=memory, **settings(args))
    written = None if args.out is None else shoot.write_check(checked, args.out, args.paper, memory)
    print(table.check_list(checked.report, columns()))
    for sentence in words.said_once(checked.all_notes, len(checked.rings)):
        say(sentence)
    if written is not None:
        say_written(args.out, written)
    return checked.report.exit_code
