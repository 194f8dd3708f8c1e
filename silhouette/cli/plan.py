"""``silhouette plan``: camera, lamps and times before the model arrives."""

from __future__ import annotations

import argparse
from pathlib import Path
from typing import Any

from silhouette.cli.common import add_paper, columns, command
from silhouette.errors import SettingsError


def add(commands: Any) -> None:
    """Add the command to the parser."""
    parser = command(
        commands,
        "plan",
        run,
        "Say where camera and lamps go, how long the shoot takes, and what to see to before the model arrives.",
        "silhouette plan --height 1.72 --room 6 --lens 50 -o plan.pdf",
    )
    flag = parser.add_argument
    flag("--height", type=float, default=1.70, metavar="M", help="the model's height in metres (%(default)g)")
    flag("--room", type=float, metavar="M", help="length of the room, from backdrop to the wall behind you, in metres")
    flag("--lens", type=float, metavar="MM",
         help="focal length as on a 35 mm camera, in millimetres (a phone's main lens, 26)")
    flag("--pose", choices=("standing", "arms raised", "seated", "lying"), default="standing",
         help="kind of pose (%(default)s)")
    flag("--stops", type=int, default=24, metavar="N", help="stops of one turn (%(default)s)")
    flag("--distance", type=float, metavar="M",
         help="metres from camera to model, if you have chosen it; else the plan chooses")
    flag("--orientation", choices=("upright", "wide"),
         help="how the camera is held (whichever shows the figure larger)")
    flag("--pixels", type=int, nargs=2, default=(3024, 4032), metavar=("W", "H"),
         help="size of a still in pixels (3024 4032)")
    flag("--stand", type=float, default=0.0, metavar="M",
         help="height of what the model stands, sits or lies on, in metres (%(default)g)")
    flag("--ratio", type=float, default=4.0, metavar="N",
         help="key to fill: how many times more light the key lamp gives (%(default)g)")
    flag("--hold", type=float, default=7.0, metavar="S",
         help="seconds for each stop, the step to the next one included (%(default)g)")
    flag("--pose-min", type=float, default=22.0, metavar="MIN",
         help="most minutes of posing without a break (%(default)g)")
    flag("--break-min", type=float, default=7.0, metavar="MIN", help="minutes of each break (%(default)g)")
    flag("--close-ups-min", type=float, default=3.0, metavar="MIN",
         help="minutes for the close-ups of each pose, 0 for none (%(default)g)")
    flag("--poses", type=int, default=1, metavar="N", help="poses in the session (%(default)s)")
    flag("-o", "--out", type=Path, metavar="PAGE", help="also write the plan as a page to print: a .pdf or .png file")
    add_paper(parser)


def run(args: argparse.Namespace) -> int:
    """Plan, print, and write the page where one is asked for."""
    from silhouette import writing
    from silhouette.plan import camera
    from silhouette.show import plan_text

    if args.out is not None:
        if args.out.suffix.lower() not in (".pdf", ".png"):
            raise SettingsError(f"-o {args.out} is not a page.", do="Give a name that ends in .pdf or .png.")
        writing.refuse_file(args.out)
    made = camera.make_plan(
        height_m=args.height,
        room_m=args.room,
        lens_mm=args.lens,
        pose=args.pose,
        stops=args.stops,
        distance_m=args.distance,
        orientation=args.orientation,
        pixels=tuple(args.pixels),
        stand_m=args.stand,
        ratio=args.ratio,
        hold_s=args.hold,
        pose_min=args.pose_min,
        break_min=args.break_min,
        poses=args.poses,
        close_ups_min=args.close_ups_min,
    )
    print(plan_text.plan_text(made, columns()))
    if args.out is not None:
        from silhouette.show import plan_page

        print(f"Written to {plan_page.write_plan_page(made, args.out, paper=args.paper)}")
    return 0
