"""The command line: parse, call, print. The only place that turns errors into exit codes.

Heavy modules are imported by the command that needs them, so that ``silhouette --help`` is instant.
"""

from __future__ import annotations

import argparse
import contextlib
import os
import shutil
import sys
import textwrap
from collections.abc import Callable, Iterator, Sequence
from dataclasses import fields
from importlib import resources
from pathlib import Path
from typing import Any, NoReturn

from silhouette import __version__
from silhouette.cli.flags import angle_list, arc, intent, print_scale
from silhouette.cli.process import own_streams, signals_stop
from silhouette.errors import SettingsError, SilhouetteError
from silhouette.settings import Settings

EPILOG = (
    "exit codes: 0 done; 1 the check says retake; 2 something is wrong with what was given, one sentence says what; "
    "130 stopped with Ctrl-C. Everything stays on this machine; originals are only read."
)


def main(argv: Sequence[str] | None = None) -> int:
    """Run one command and return its exit code."""
    with own_streams(), signals_stop():
        try:
            args = build_parser().parse_args(argv)
            code = int(args.run(args))
            sys.stdout.flush()
        except SilhouetteError as error:
            code = _say(str(error), error.exit_code)
        except KeyboardInterrupt as stop:
            code = _say("stopped; nothing half-written was left behind.", 128 + (stop.args[0] if stop.args else 2))
        except BrokenPipeError:
            sys.stdout = open(os.devnull, "w", encoding="utf-8")  # noqa: SIM115, PTH123
            code = 0
        except OSError as error:
            code = _say(f"{_where(error)}{error.strerror or error}. Nothing half-written was left behind.", 2)
        except MemoryError:
            code = _say("this needs more memory than there is. Give fewer or smaller pictures.", 2)
        except Exception as error:
            code = _say(_own_fault(error), 2)
        return code


def _say(sentence: str, code: int) -> int:
    """One sentence on the error stream, in letters that it can show; where that is closed there is nobody to tell."""
    with contextlib.suppress(OSError, ValueError):
        print(f"silhouette: {sentence}".encode("utf-8", "replace").decode(), file=sys.stderr, flush=True)
    return code


def _where(error: OSError) -> str:
    return f"{error.filename}: " if error.filename else ""


def _own_fault(error: Exception) -> str:
    """What is said where this program itself is at fault; with SILHOUETTE_TRACEBACK set, where in it."""
    if os.environ.get("SILHOUETTE_TRACEBACK"):
        raise error
    return (
        f"{FAULT} ({type(error).__name__}: {error}). Your pictures were only read, and nothing half-written was left "
        "behind. Please report it with what you typed; set SILHOUETTE_TRACEBACK=1 to see where."
    )


FAULT = "this is a fault of the program"
"""How a sentence begins that nobody should ever see."""


class _Parser(argparse.ArgumentParser):
    """Says what is wrong with a flag in one sentence, without the list of all flags."""

    def error(self, message: str) -> NoReturn:
        self.exit(2, f"{self.prog}: {message}. See {self.prog} --help.\n")


def build_parser() -> argparse.ArgumentParser:
    """The parser with every command, flag and example."""
    parser = _Parser(
        prog="silhouette",
        description="Read a pose as black shapes from all round: choose it, plan the shoot, check it, keep it.",
        epilog=textwrap.fill(EPILOG, columns()),
        formatter_class=argparse.RawDescriptionHelpFormatter,
    )
    parser.add_argument("--version", action="version", version=f"silhouette {__version__}")
    commands = parser.add_subparsers(dest="command", required=True, metavar="COMMAND")
    _add_score(commands)
    _add_rank(commands)
    _add_demo(commands)
    _add_plan(commands)
    _add_check(commands)
    _add_export(commands)
    return parser


def _command(commands: Any, name: str, run: Callable[..., int], says: str, example: str) -> argparse.ArgumentParser:
    parser: argparse.ArgumentParser = commands.add_parser(
        name,
        help=says,
        description=textwrap.fill(says, columns()),
        epilog=f"example:\n  {example}\n\n{textwrap.fill(EPILOG, columns())}",
        formatter_class=argparse.RawDescriptionHelpFormatter,
    )
    parser.set_defaults(run=run)
    return parser


# -------------------------------------------------------------------------------------------------- choosing a pose


def _add_score(commands: Any) -> None:
    parser = _command(
        commands,
        "score",
        _score,
        "Read one pose all round and say where its outline fails.",
        "silhouette score trials/hauling -o out",
    )
    parser.add_argument("pose", type=Path, metavar="POSE", help="a folder of stills, one still, or a clip")
    _add_settings(parser)
    _add_output(parser)


def _add_rank(commands: Any) -> None:
    parser = _command(
        commands,
        "rank",
        _rank,
        "Read several candidate poses and put them in order; none is dropped.",
        "silhouette rank trials -o out",
    )
    parser.add_argument("poses", type=Path, nargs="+", metavar="POSE", help="poses, or one folder that holds them")
    _add_settings(parser)
    _add_output(parser)


def _add_demo(commands: Any) -> None:
    parser = _command(
        commands,
        "demo",
        _demo,
        "Rank the five sample poses of the ferry keeper; one of them is meant to be closed.",
        "silhouette demo -o demo",
    )
    _add_settings(parser)
    _add_output(parser, default=Path("demo"))


def _score(args: argparse.Namespace) -> int:
    return _read(args, [args.pose], one=True)


def _rank(args: argparse.Namespace) -> int:
    return _read(args, args.poses)


def _demo(args: argparse.Namespace) -> int:
    args.intent = args.intent or [("bundled", "closed")]
    return _read(args, [sample_poses()])


def _read(args: argparse.Namespace, places: list[Path], one: bool = False) -> int:
    """Score or rank, print the table, write the results."""
    from silhouette import known, scoring, writing
    from silhouette.records import Ranking
    from silhouette.show import table

    settings = _settings(args)
    if args.out is not None:
        writing.refuse(args.out, places)
    memory = None if args.out is None else known.Memory(args.out)
    with _progress() as progress:
        if one:
            pose = scoring.score_pose(places[0], progress=progress, known=memory, **settings)
            ranking = Ranking((pose,), settings["intent"], settings["arc"])
        else:
            intents = {pose: what for pose, what in args.intent or () if pose}
            ranking = scoring.rank_poses(places, progress=progress, known=memory, intents=intents, **settings)
    shown = scoring.placed(ranking)
    said = table.score_table(shown.poses[0], columns()) if one else table.rank_table(shown, columns())
    if args.out is None:
        print(said)
        return 0
    from silhouette import outputs

    # Files first: whoever pipes the table into something that stops reading still gets them.
    written = outputs.write(
        ranking, args.out, masks=args.masks, photos=args.photos, paper=args.paper, known=memory
    )
    print(said)
    _say_written(args.out, written)
    return 0


def sample_poses() -> Path:
    """The five sample poses, in a checkout or in an installed package."""
    packed = Path(str(resources.files("silhouette"))) / "_sample_poses"
    return packed if packed.is_dir() else Path(str(resources.files("silhouette"))).parent / "sample_poses"


# --------------------------------------------------------------------------------------------------------- the shoot


def _add_plan(commands: Any) -> None:
    parser = _command(
        commands,
        "plan",
        _plan,
        "Say where camera and lights go, how long it takes, and what to see to before the model arrives.",
        "silhouette plan --height 1.72 --room 6 --lens 50 -o camera.pdf",
    )
    add = parser.add_argument
    add("--height", type=float, default=1.70, metavar="M", help="the model's height, metres (%(default)g)")
    add("--room", type=float, metavar="M", help="clear length of the room toward the camera, metres")
    add("--lens", type=float, metavar="MM", help="35 mm equivalent focal length (a phone's main camera)")
    add("--pose", choices=("standing", "arms raised", "seated", "lying"), default="standing", help="(%(default)s)")
    add("--stops", type=int, default=24, help="held positions of one turn (%(default)s)")
    add("--distance", type=float, metavar="M", help="camera distance, if you have chosen it, metres")
    add("--orientation", choices=("upright", "wide"), help="how the camera is held (what shows the figure larger)")
    add("--pixels", type=int, nargs=2, default=(3024, 4032), metavar=("W", "H"), help="size of a still (3024 4032)")
    add("--stand", type=float, default=0.0, metavar="M", help="height of what the model stands on (%(default)g)")
    add("--ratio", type=float, default=4.0, help="light of the key against the fill (%(default)g)")
    add("--hold", type=float, default=7.0, metavar="S", help="seconds a stop takes, the step included (%(default)g)")
    add("--pose-min", type=float, default=22.0, metavar="MIN", help="longest stretch of posing (%(default)g)")
    add("--break-min", type=float, default=7.0, metavar="MIN", help="break after it (%(default)g)")
    add("--poses", type=int, default=1, help="poses in the session (%(default)s)")
    add("-o", "--out", type=Path, metavar="PAGE", help="write the page to print: a .pdf or .png file")
    add("--paper", choices=("a4", "letter", "a3"), default="a4", help="paper of the page (%(default)s)")


def _plan(args: argparse.Namespace) -> int:
    from silhouette import writing
    from silhouette.plan import camera, plan_text

    if args.out is not None:
        if args.out.suffix.lower() not in (".pdf", ".png"):
            raise SettingsError(f"-o {args.out} is no page.", do="Give a name that ends in .pdf or .png.")
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
    )
    print(plan_text.plan_text(made, columns()))
    if args.out is not None:
        from silhouette.show import plan_page

        print(f"Written to {plan_page.write_plan_page(made, args.out, paper=args.paper)}")
    return 0


def _add_check(commands: Any) -> None:
    parser = _command(
        commands,
        "check",
        _check,
        "Say, while the model is still there, what of a turnaround must be shot again.",
        "silhouette check clip.mov --height 1.72 -o checked",
    )
    add = parser.add_argument
    add("turnaround", type=Path, metavar="TURNAROUND", help="a clip, or a folder of stills in the order shot")
    add("--height", type=float, metavar="M", help="height of the figure in the pose, metres, for lengths in cm")
    add("-o", "--out", type=Path, metavar="OUT", help="folder for check.json and the one-page picture of it")
    add("--paper", choices=("a4", "letter", "a3"), default="a4", help="paper of the page (%(default)s)")
    _add_settings(parser, reading=False)


def _check(args: argparse.Namespace) -> int:
    from silhouette import shoot, writing
    from silhouette.show import table

    if args.out is not None:
        writing.refuse(args.out, [args.turnaround], kind="check")
    with _progress() as progress:
        checked = shoot.check_turnaround(args.turnaround, height_m=args.height, progress=progress, **_settings(args))
    written = None if args.out is None else shoot.write_check(checked, args.out, args.paper)
    print(table.check_list(checked.report, columns()))
    for note in checked.notes:
        print(textwrap.fill(note, columns()))
    if written is not None:
        _say_written(args.out, written)
    return checked.report.exit_code


def _say_written(out: Path, names: Sequence[str]) -> None:
    print(f"\nWritten to {out}{os.sep}")
    print(textwrap.fill(", ".join(names), columns(), initial_indent="  ", subsequent_indent="  "))


def _add_export(commands: Any) -> None:
    parser = _command(
        commands,
        "export",
        _export,
        "Keep a turnaround as a private set: stills named by angle, black shapes, sheets, a page that turns.",
        "silhouette export clip.mov -o set --scale 1:4 --height 1.72",
    )
    add = parser.add_argument
    add("turnaround", type=Path, metavar="TURNAROUND", help="a folder of stills, or a clip")
    add("-o", "--out", type=Path, required=True, metavar="SET", help="folder for the set; it must not exist yet")
    add("--name", help="what to call the stills (the folder's or clip's name)")
    add("--silhouettes-only", action="store_true", help="no photographs at all: to show round without the body")
    add("--originals", action="store_true", help="also the whole pictures without loss (metadata still left out)")
    add("--crop", action="store_true", help="cut the stills to the figures' common window")
    add("--scale", type=print_scale, metavar="1:N", help="sheets to print in true millimetres; needs --height")
    add("--height", type=float, metavar="M", help="the model's height, metres")
    add("--pose-height", type=float, metavar="M", help="height of the figure in this pose, if it is another, metres")
    add("--head", type=float, metavar="M", help="the model's head from chin to crown, metres (0.13 of the height)")
    add("--sheets-at", type=angle_list, metavar="A,B", help="only these angles get sheets to scale, e.g. 0,45,90")
    add("--photos-in-page", action="store_true", help="photographs in turnaround.html too, not black shapes alone")
    add("--overwrite", action="store_true", help="replace an earlier set of that name")
    add("--paper", choices=("a4", "letter", "a3"), default="a4", help="paper of the sheets (%(default)s)")
    _add_settings(parser, reading=False)


def _export(args: argparse.Namespace) -> int:
    from silhouette import shoot

    with _progress() as progress:
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
            **_settings(args),
        )
    what = "black shapes only" if args.silhouettes_only else "photographs and black shapes, all metadata left out"
    from silhouette.show.table import counted

    print(textwrap.fill(f"{layout.name}: {counted(len(layout.views), 'stop')}, {what}.", columns()))
    for note in layout.notes:
        print(textwrap.fill(note, columns()))
    _say_written(args.out, ["open turnaround.html to turn the figure"])
    return 0


# ------------------------------------------------------------------------------------------------------ flags in common


def _add_settings(parser: argparse.ArgumentParser, *, reading: bool = True) -> None:
    """Flags for the fields of Settings; without ``reading`` those that only a score needs are left out."""
    default = Settings()
    add = parser.add_argument_group("settings").add_argument
    add("--span", type=float, default=default.span, help="degrees that unnamed stills cover, 360 or 180 (found)")
    add("--turn", choices=("left", "right"), default=default.turn, help="the model turned to its own (%(default)s)")
    add(
        "--start", type=float, default=default.start, help="angle of the first stop, 0 = faces the camera (%(default)g)"
    )
    add("--cutter", choices=("auto", "backdrop", "neural"), default=default.cutter, help="how to cut out (%(default)s)")
    add("--model", default=default.model, metavar="FILE", help="model file (.onnx) or name for the neural cutter")
    add("--work-px", type=int, default=default.work_px, help="longer side worked at, pixels (%(default)s)")
    add("--jobs", type=int, default=default.jobs, help="processes (%(default)s)")
    if not reading:
        return
    says = f"what is meant: open, closed or relief, of all or of one pose ({default.intent})"
    add("--intent", type=intent, action="append", metavar="[POSE=]WHAT", help=says)
    add("--arc", type=arc, default=default.arc, metavar="FROM-TO", help="count only these views: 300-60 for a niche")
    add("--jitter", type=int, default=default.jitter, help="views re-measured for the plus-minus (%(default)s)")
    add("--seed", type=int, default=default.seed, help="seed of the plus-minus (%(default)s)")


def _add_output(parser: argparse.ArgumentParser, default: Path | None = None) -> None:
    add = parser.add_argument_group("output").add_argument
    add("-o", "--out", type=Path, default=default, metavar="OUT", help="folder for the results")
    add("--masks", action="store_true", help="write the masks too, masks/POSE/STEM.png")
    add("--photos", action="store_true", help="write a sheet of the photographs too; they may show a body")
    add("--paper", choices=("a4", "letter", "a3"), default="a4", help="paper of the printed pages (%(default)s)")


def _settings(args: argparse.Namespace) -> dict[str, Any]:
    given = {f.name: getattr(args, f.name) for f in fields(Settings) if hasattr(args, f.name)}
    meant = dict(given.pop("intent", None) or ())
    return {**given, "intent": meant.get("", Settings().intent)}


def columns() -> int:
    """Columns of the terminal, 40 to 80; 80 where there is none."""
    return max(40, min(80, shutil.get_terminal_size().columns))


@contextlib.contextmanager
def _progress() -> Iterator[Callable[[str, int, int], None]]:
    """A progress bar on the error stream, only where a person watches."""
    if not sys.stderr.isatty():
        yield lambda what, done, total: None
        return
    from tqdm import tqdm

    with tqdm(total=1, leave=False, bar_format="{desc} {bar} {n_fmt}/{total_fmt}", ncols=72, file=sys.stderr) as bar:

        def show(what: str, done: int, total: int) -> None:
            bar.total = total
            bar.n = done
            bar.set_description_str(f"{what:<34.34}", refresh=True)

        yield show
