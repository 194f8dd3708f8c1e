"""``silhouette score``: one pose; and what ``rank`` and ``demo`` do alike."""

from __future__ import annotations

import argparse
from pathlib import Path
from typing import Any

from silhouette.cli.common import (
    add_results,
    add_settings,
    columns,
    command,
    pictures_of,
    progress_bar,
    say_written,
    settings,
)


def add(commands: Any) -> None:
    """Add the command to the parser."""
    parser = command(
        commands,
        "score",
        run,
        "Read one pose from all round and say where its silhouette fails, and why.",
        "silhouette score trials/hauling -o out",
    )
    parser.add_argument("pose", type=Path, metavar="POSE", help="a folder of stills, one still, or a clip")
    add_settings(parser)
    add_results(parser)


def run(args: argparse.Namespace) -> int:
    """Score one pose."""
    return read(args, [args.pose], one=True)


def read(args: argparse.Namespace, places: list[Path], one: bool = False) -> int:
    """Score or rank, print the table, write the results."""
    from silhouette import known, results, scoring, writing
    from silhouette.records import Ranking
    from silhouette.show import table

    chosen = settings(args)
    if args.out is not None:
        writing.refuse(args.out, pictures_of(args, *places))
    memory = None if args.out is None else known.Memory(args.out)
    with progress_bar() as progress:
        if one:
            pose = scoring.score_pose(places[0], progress=progress, known=memory, **chosen)
            ranking: Ranking = Ranking((pose,), chosen["intent"], chosen["arc"])
        else:
            intents = {pose: what for pose, what in args.intent or () if pose}
            ranking = scoring.rank_poses(places, progress=progress, known=memory, intents=intents, **chosen)
    shown = results.placed(ranking)
    said = table.score_table(shown.poses[0], columns()) if one else table.rank_table(shown, columns())
    if args.out is None:
        print(said)
        return 0
    from silhouette import outputs

    # Files first: whoever pipes the table into something that stops reading still gets them.
    written = outputs.write(ranking, args.out, masks=args.masks, photos=args.photos, paper=args.paper, known=memory)
    print(said)
    say_written(args.out, written)
    return 0
