"""``silhouette armature``: from the outlines of a turn to a massing model and an armature."""

from __future__ import annotations

import argparse
from pathlib import Path
from typing import Any

from silhouette.cli.common import (
    add_paper,
    add_settings,
    command,
    pictures_of,
    progress_bar,
    say,
    say_written,
    settings,
)
from silhouette.cli.flags import angle_list, print_scale
from silhouette.settings import EVERY_MM, LEAST_MM, PROFILES, SCALE


def add(commands: Any) -> None:
    """Add the command to the parser."""
    parser = command(
        commands,
        "armature",
        run,
        "Make a massing model, templates and an armature to bend from the outlines of a whole turn.",
        "silhouette armature clip.mov -o armature --height 1.72 --scale 1:4",
    )
    flag = parser.add_argument
    flag("turnaround", type=Path, metavar="TURNAROUND", help="a clip, a folder of stills, or an exported set")
    flag("-o", "--out", type=Path, required=True, metavar="OUT", help="folder for the results; it must not exist yet")
    flag("--height", type=float, required=True, metavar="M", help="the model's height in metres")
    flag("--pose-height", type=float, metavar="M",
         help="height of the figure as it poses, in metres (found from the lengths of the bones)")
    flag("--scale", type=print_scale, default=SCALE, metavar="1:N", help=f"scale of the finished piece (1:{SCALE:g})")
    flag("--shrinkage", type=float, default=0.0, metavar="PERCENT",
         help="how much your material shrinks: ask your foundry, or fire a test tile (%(default)g)")
    flag("--tape", type=Path, metavar="FILE",
         help="lengths that you measured on the model, tape.csv: shoulder left,elbow left,312")
    flag("--fit-to-tape", action="store_true", help="take all sizes from the tape")
    flag("--least", type=float, default=LEAST_MM, metavar="MM",
         help="least thickness of the massing model, in millimetres as built (%(default)g)")
    flag("--every", type=float, default=EVERY_MM, metavar="MM",
         help="from one section to the next, in millimetres as built (%(default)g)")
    flag("--profiles", type=angle_list, default=list(PROFILES), metavar="A,B",
         help=f"angles of the profiles to hold against the clay ({','.join(f'{a:g}' for a in PROFILES)})")
    flag("--no-base", action="store_true", help="a massing model that stands on its feet alone")
    flag("--overwrite", action="store_true", help="replace an earlier armature at OUT")
    add_paper(parser)
    add_settings(parser, reading=False)


def run(args: argparse.Namespace) -> int:
    """Make everything, write it, and say what a sculptor wants to know first."""
    from silhouette import armature, writing
    from silhouette.show import armature_told

    sources = [*pictures_of(args, args.turnaround), *([args.tape] if args.tape else [])]
    writing.refuse(args.out, sources, kind="armature", overwrite=args.overwrite)
    with progress_bar() as progress:
        made = armature.armature_of(
            args.turnaround,
            height_m=args.height,
            pose_height_m=args.pose_height,
            scale=args.scale,
            shrinkage=args.shrinkage,
            tape=args.tape,
            fit_to_tape=args.fit_to_tape,
            least_mm=args.least,
            every_mm=args.every,
            base=not args.no_base,
            progress=progress,
            **settings(args),
        )
        progress(f"{made.name}: sheets", 0, 1)
        written = armature.write_armature(
            made, args.out, paper=args.paper, profiles=args.profiles, overwrite=args.overwrite, sources=sources)
    for sentence in armature_told.in_short(made):
        say(sentence)
    say_written(args.out, written)
    return 0
