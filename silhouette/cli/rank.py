"""``silhouette rank``: several candidates, in order."""

from __future__ import annotations

import argparse
from pathlib import Path
from typing import Any

from silhouette.cli.common import add_results, add_settings, command
from silhouette.cli.score import read


def add(commands: Any) -> None:
    """Add the command to the parser."""
    parser = command(
        commands,
        "rank",
        run,
        "Read several candidate poses and put them in order. None is dropped.",
        "silhouette rank trials -o out",
    )
    parser.add_argument("poses", type=Path, nargs="+", metavar="POSE", help="the poses, or one folder that holds them")
    add_settings(parser)
    add_results(parser)


def run(args: argparse.Namespace) -> int:
    """Rank the poses."""
    return read(args, args.poses)
