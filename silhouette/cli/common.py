"""What the commands share: their help, the flags for settings and results, what is printed and how wide."""

from __future__ import annotations

import argparse
import contextlib
import os
import shutil
import sys
import textwrap
from collections.abc import Callable, Iterator, Sequence
from dataclasses import fields
from pathlib import Path
from typing import Any, NoReturn, get_args

from silhouette.cli.flags import arc, intent, ring_height, ring_place
from silhouette.cli.process import heed
from silhouette.settings import Cutter, Paper, Settings, Turn

EPILOG = (
    "exit codes: 0 done; 1 the check found something to retake; 2 something is wrong with what was given, or it could "
    "not be checked, and one sentence says what; 130 stopped with Ctrl-C. Everything stays on this computer. Your "
    "pictures are only read."
)


class Parser(argparse.ArgumentParser):
    """Says what is wrong with a flag in one sentence, without the list of all flags."""

    def error(self, message: str) -> NoReturn:
        self.exit(2, f"{self.prog}: {message}. See {self.prog} --help.\n")


def command(commands: Any, name: str, run: Callable[..., int], says: str, example: str) -> argparse.ArgumentParser:
    """A new command of the parser: one sentence, one example."""
    parser: argparse.ArgumentParser = commands.add_parser(
        name,
        help=says,
        description=textwrap.fill(says, columns()),
        epilog=f"example:\n  {example}\n\n{textwrap.fill(EPILOG, columns())}",
        formatter_class=argparse.RawDescriptionHelpFormatter,
    )
    parser.set_defaults(run=run)
    return parser


def add_settings(parser: argparse.ArgumentParser, *, reading: bool = True) -> None:
    """Flags for the fields of Settings; without ``reading`` those that only a score needs are left out."""
    default = Settings()
    add = parser.add_argument_group("settings").add_argument
    add("--span", type=float, default=default.span, metavar="DEGREES",
        help="degrees that stills without angles cover: 360, or 180 for half a turn (found from the pictures)")
    add("--turn", choices=get_args(Turn), default=default.turn,
        help="which way the model turned: to its own left or right (%(default)s)")
    add("--start", type=float, default=default.start, metavar="DEGREES",
        help="angle of the first stop; 0 = the model faces the camera (%(default)g)")
    add("--cutter", choices=get_args(Cutter), default=default.cutter,
        help="how to cut the figure out: by the plain backdrop, by the program's own network that knows people, by a "
        "neural model that you add, or by those that are needed until two agree (%(default)s)")
    add("--model", default=default.model, metavar="FILE",
        help="the neural model: an .onnx file, or its name if it is installed")
    add("--empty", type=Path, default=default.empty, metavar="FILE",
        help="a picture of the same room without the model (one called empty, in the pose's folder or beside it)")
    add("--ring", type=ring_place, action="append", metavar="RING[=PLACE]",
        help="low, level or high: which ring of the pose this is, or another ring and where it lies: low=low.mov "
        "(folders, clips or stills of these names are found in the pose's folder)")
    add("--camera-height", type=ring_height, action="append", metavar="[RING=]M",
        help="height of the lens over what the model stands on, in metres, where you measured it: low=0.4")
    add("--work-px", type=int, default=default.work_px, metavar="PIXELS",
        help="longer side at which pictures are read; more is slower (%(default)s)")
    add("--jobs", type=int, default=default.jobs, metavar="N",
        help="how many processor cores to use (%(default)s)")
    if not reading:
        return
    add("--intent", type=intent, action="append", metavar="[POSE=]WHAT",
        help=f"what you mean the pose to be: open, closed or relief; for all poses or for one ({default.intent})")
    add("--arc", type=arc, default=default.arc, metavar="FROM-TO",
        help="only these angles count, clockwise: 300-60 for a niche")
    add("--seen-from", type=float, default=default.seen_from, metavar="M",
        help="height of a viewer's eye where the piece will stand, in metres: which ring counts")
    add("--stands-on", type=float, default=default.stands_on, metavar="M",
        help="height of the plinth it will stand on, in metres (%(default)g)")
    add("--jitter", type=int, default=default.jitter, metavar="N",
        help="how many views to measure again with their edges moved, to find the range; 0 for none (%(default)s)")
    add("--seed", type=int, default=default.seed, metavar="N",
        help="another number draws another sample for the range (%(default)s)")


def add_results(parser: argparse.ArgumentParser, default: Path | None = None) -> None:
    """Flags for the folder of results of ``score``, ``rank`` and ``demo``."""
    add = parser.add_argument_group("results").add_argument
    says = "folder for the results" if default is None else "folder for the results (%(default)s)"
    add("-o", "--out", type=Path, default=default, metavar="OUT", help=says)
    add("--masks", action="store_true", help="also save the cut-outs: masks/POSE/STILL.png")
    add("--photos", action="store_true", help="also a sheet of the photographs, in photographs/; it may show a body")
    add_paper(parser)


def add_paper(parser: argparse.ArgumentParser) -> None:
    """The flag for the paper of whatever is printed."""
    parser.add_argument("--paper", choices=get_args(Paper), default="a4", help="paper to print on (%(default)s)")


def settings(args: argparse.Namespace) -> dict[str, Any]:
    """The fields of Settings that the command has flags for; an intent of single poses is left out."""
    given = {f.name: getattr(args, f.name) for f in fields(Settings) if hasattr(args, f.name)}
    meant = dict(given.pop("intent", None) or ())
    for name in ("ring", "camera_height"):
        given[name] = tuple(given.get(name) or ())
    return {**given, "intent": meant.get("", Settings().intent)}


def pictures_of(args: argparse.Namespace, *places: Path) -> list[Path]:
    """Everything that the pictures of these places lie in: nothing is ever written there."""
    return [*places, *([args.empty] if args.empty else []), *(place for _, place in args.ring or () if place)]


def columns() -> int:
    """Columns of the terminal, 40 to 80; 80 where there is none."""
    return max(40, min(80, shutil.get_terminal_size().columns))


def say(text: str) -> None:
    """Print a sentence as wide as the terminal."""
    print(textwrap.fill(text, columns()))


def say_written(out: Path, names: Sequence[str]) -> None:
    """Print where the results lie, and what they are."""
    print(f"\nWritten to {out}{os.sep}")
    print(textwrap.fill(", ".join(names), columns(), initial_indent="  ", subsequent_indent="  "))


@contextlib.contextmanager
def progress_bar() -> Iterator[Callable[[str, int, int], None]]:
    """A progress bar on the error stream, only where a person watches."""
    if not sys.stderr.isatty():
        yield lambda what, done, total: None
        return
    from tqdm import tqdm

    look = "{desc} {bar} {n_fmt}/{total_fmt}"
    with tqdm(total=1, leave=False, bar_format=look, ncols=72, file=sys.stderr) as bar:

        def show(what: str, done: int, total: int) -> None:
            heed()
            bar.total = total
            bar.n = done
            bar.set_description_str(f"{what:<34.34}", refresh=True)

        yield show
