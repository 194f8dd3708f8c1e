"""``silhouette export``: a turnaround kept as a private set."""

from __future__ import annotations

import argparse
from pathlib import Path
from typing import Any

from silhouette.cli.common import add_paper, add_settings, command, progress_bar, say, say_written, settings
from silhouette.cli.flags import angle_list, print_scale


def add(commands: Any) -> None:
    """Add the command to the parser."""
    parser = command(
        commands,
        "export",
        run,
        "Keep a turnaround as a private set: stills named by angle, silhouettes, sheets, a page that turns.",
        "silhouette export clip.mov -o set --scale 1:4 --height 1.72",
    )
    flag = parser.add_argument
    flag("turnaround", type=Path, metavar="TURNAROUND", help="a clip, or a folder of stills or of rings")
    flag("-o", "--out", type=Path, required=True, metavar="SET", help="folder for the set; it must not exist yet")
    flag("--name", help="what to call the stills (the name of the folder or clip)")
    flag("--silhouettes-only", action="store_true", help="no photographs at all: a set to show without the body")
    flag("--originals", action="store_true",
         help="also the whole pictures without any loss; place, time and device are still left out")
    flag("--crop", action="store_true", help="cut the stills to the part in which the figure moves")
    flag("--scale", type=print_scale, metavar="1:N", help="also sheets to print at this scale; needs --height")
    flag("--height", type=float, metavar="M", help="the model's height in metres")
    flag("--pose-height", type=float, metavar="M",
         help="height of the figure as it poses, if that is not the model's height, in metres")
    flag("--head", type=float, metavar="M", help="the model's head from chin to crown, in metres (0.13 of the height)")
    flag("--sheets-at", type=angle_list, metavar="A,B", help="sheets to scale for these angles only: 0,45,90")
    flag("--photos-in-page", action="store_true", help="also photographs/turnaround.html, which turns the photographs")
    flag("--overwrite", action="store_true", help="replace an earlier set at SET")
    add_paper(parser)
    add_settings(parser, reading=False)


def run(args: argparse.Namespace) -> int:
    """Write the set and say what is in it."""
    from silhouette import shoot
    from silhouette.show import words
    from silhouette.show.table import counted

    with progress_bar() as progress:
        layout = shoot.export_set(
            args.turnaround,
            args.out,
            name=args.name,
            height_m=args.height,
            pose_height_m=args.pose_height,
            silhouettes_only=args.silhouettes_only,
            originals=args.originals,
            crop=args.crop,
            print_scale=args.scale,
            head_m=args.head,
            sheets_at=args.sheets_at,
            photos_in_page=args.photos_in_page,
            paper=args.paper,
            overwrite=args.overwrite,
            progress=progress,
            **settings(args),
        )
    what = "silhouettes only"
    if not args.silhouettes_only:
        what = "silhouettes, and photographs in the folder photographs; all metadata left out"
    rings = ", ".join(f"{one.ring} {one.stops}" for one in layout.rings)
    told = [f"{counted(len(layout.views), 'stop')}{f' ({rings})' if rings else ''}"]
    told += [counted(len(layout.close_ups), "close-up")] if layout.close_ups else []
    say(f"{layout.name}: {', '.join(told)}, {what}.")
    for sentence in words.said_once(layout.notes, len(layout.rings)):
        say(sentence)
    say_written(args.out, ["open turnaround.html to turn the figure"])
    return 0
