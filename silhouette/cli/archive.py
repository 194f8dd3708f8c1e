"""``silhouette archive``: years of turnarounds as plain data."""

from __future__ import annotations

import argparse
from pathlib import Path
from typing import TYPE_CHECKING, Any

from silhouette.cli.common import add_settings, command, progress_bar, say, say_written, settings

if TYPE_CHECKING:
    from silhouette.archive import Archived


def add(commands: Any) -> None:
    """Add the command to the parser."""
    parser = command(
        commands,
        "archive",
        run,
        "Keep the silhouettes and numbers of all poses under some folders as plain data. Run it again, and only what "
        "is new or changed is read.",
        "silhouette archive turns -o archive --jobs 4",
    )
    parser.add_argument("roots", type=Path, nargs="+", metavar="ROOT", help="folders that hold poses, however deep")
    add_settings(parser)
    add = parser.add_argument_group("archive").add_argument
    add("-o", "--out", type=Path, required=True, metavar="ARCHIVE", help="folder of the archive, new or to go on with")
    add("--again", action="store_true",
        help="try the poses again that could not be read before, though nothing of them has changed")
    add("--cluster", metavar="ADDRESS",
        help="share the poses among the workers of a Dask scheduler that you run: tcp://desk:8786")


def run(args: argparse.Namespace) -> int:
    """Make an archive or bring it up to date."""
    from silhouette import archive
    from silhouette.settings import Settings

    with progress_bar() as progress:
        done = archive.build(args.roots, args.out, Settings(**settings(args)), again=args.again, cluster=args.cluster,
                             tell=progress)
    say(summary(done))
    for source, why in done.failed:
        say(f"{source}: {why}")
    say_written(args.out, [archive.INDEX, archive.views.FILE, f"{archive.POSES}/"])
    return 0


def summary(done: Archived) -> str:
    """``12 new, 3 changed, 1 removed, 40 as before. 2 could not be read:``."""
    counts = [(len(done.new), "new"), (len(done.changed), "changed"), (len(done.removed), "removed"),
              (len(done.kept), "as before"), (done.elsewhere, "of other folders")]
    counted = ", ".join(f"{count} {what}" for count, what in counts if count) or "Nothing new"
    return f"{counted}. {len(done.failed)} could not be read:" if done.failed else f"{counted}."
