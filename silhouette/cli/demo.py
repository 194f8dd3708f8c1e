"""``silhouette demo``: the sample poses that come with the program."""

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
        "demo",
        run,
        "Rank the five sample poses that come with the program, one of them a closed pose.",
        "silhouette demo -o demo",
    )
    add_settings(parser)
    add_results(parser, default=Path("demo"))


def run(args: argparse.Namespace) -> int:
    """Rank the sample poses; one of them is meant to be closed."""
    args.intent = args.intent or [("bundled", "closed")]
    return read(args, [sample_poses()])


def sample_poses() -> Path:
    """The five sample poses, in a checkout or in an installed package."""
    package = Path(__file__).parents[1]
    packed = package / "_sample_poses"
    return packed if packed.is_dir() else package.parent / "sample_poses"
