"""The command line: parse, call, print. The only place that turns errors into exit codes.

A file a command. Heavy modules are imported by the command that needs them, so that ``silhouette --help`` is instant.
"""

from __future__ import annotations

import argparse
import contextlib
import os
import sys
import textwrap
from collections.abc import Sequence
from pathlib import Path

from silhouette import __version__
from silhouette.cli import archive, armature, check, demo, export, find, mend, plan, rank, score
from silhouette.cli import open as open_page
from silhouette.cli.common import EPILOG, Parser, columns
from silhouette.cli.process import hush_libraries, own_streams, signals_stop
from silhouette.errors import SilhouetteError

COMMANDS = (open_page, score, rank, demo, plan, check, export, armature, mend, archive, find)
"""In the order in which help lists them."""
FAULT = "this is a fault of the program"
"""How a sentence begins that nobody should ever see."""


def main(argv: Sequence[str] | None = None) -> int:
    """Run one command and return its exit code."""
    with own_streams(), signals_stop(leaving=argv is None) as received:
        try:
            args = build_parser().parse_args(argv)
            hush_libraries()
            code = int(args.run(args))
            sys.stdout.flush()
        except SilhouetteError as error:
            code = _say(str(error), error.exit_code)
        except KeyboardInterrupt as stop:
            code = _say(STOPPED, 128 + (stop.args[0] if stop.args else 2))
        except BrokenPipeError:
            sys.stdout = Path(os.devnull).open("w", encoding="utf-8")  # "open" is a command here  # noqa: SIM115
            code = 0
        except OSError as error:
            code = _say(f"{_where(error)}{error.strerror or error}. Nothing half-written was left behind.", 2)
        except MemoryError:
            code = _say("this needs more memory than there is. Give fewer or smaller pictures.", 2)
        except Exception as error:
            code = _say(STOPPED, 128 + received[0]) if received else _say(_own_fault(error), 2)
        return code


STOPPED = "stopped. Nothing half-written was left behind."


def build_parser() -> argparse.ArgumentParser:
    """The parser with every command, flag and example."""
    parser = Parser(
        prog="silhouette",
        description="Look at a pose as a silhouette from all round: choose it, plan the shoot, check it, keep it.",
        epilog=textwrap.fill(EPILOG, columns()),
        formatter_class=argparse.RawDescriptionHelpFormatter,
    )
    parser.add_argument("--version", action="version", version=f"silhouette {__version__}",
                        help="say which version this is")
    commands = parser.add_subparsers(dest="command", required=True, metavar="COMMAND", help="what to do; one of:",
                                     parser_class=Parser)
    for one in COMMANDS:
        one.add(commands)
    return parser


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
        "behind. Please report it with what you typed. Set SILHOUETTE_TRACEBACK=1 to see where it happened."
    )
