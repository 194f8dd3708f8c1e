"""Every command and every flag: explained by --help, in plain words, and written down where people look it up."""

from __future__ import annotations

import argparse
import re
from pathlib import Path

import pytest

from silhouette import cli

ROOT = Path(__file__).parent.parent
DOCUMENTS = "\n".join((ROOT / name).read_text(encoding="utf-8") for name in ("README.md", "DEVELOPERS.md"))


def commands() -> dict[str, argparse.ArgumentParser]:
    return next(a for a in cli.build_parser()._actions if isinstance(a.choices, dict)).choices  # type: ignore[return-value]


FLAGS = [(name, action) for name, command in commands().items() for action in command._actions if action.dest != "help"]


@pytest.mark.parametrize(("name", "action"), FLAGS, ids=[f"{n} {a.dest}" for n, a in FLAGS])
def test_every_flag_is_explained_and_written_down(name: str, action: argparse.Action) -> None:
    words = (action.help or "").split("(%")[0].split()
    assert len(words) >= 2, f"{name} {action.dest}: {action.help!r}"
    assert "==" not in (action.help or "") and action.dest.replace("_", " ") != " ".join(words)
    for flag in action.option_strings:
        assert re.search(rf"`[^`\n]*(?<![\w-]){re.escape(flag)}(?![\w-])", DOCUMENTS), f"{flag} stands in no document"
    if not action.option_strings:
        assert action.metavar in DOCUMENTS


@pytest.mark.parametrize("name", commands())
def test_every_command_is_explained_and_written_down(name: str) -> None:
    says = commands()[name].description
    assert says and says[0].isupper() and says.endswith(".")
    assert re.search(rf"`(silhouette )?{name}\b", DOCUMENTS), name


def test_every_flag_that_the_documents_name_exists() -> None:
    known = {flag for _, action in FLAGS for flag in action.option_strings} | {"--help", "--version"}
    # of pip, uv and the scripts that measure
    others = {"--nthreads", "--nworkers", "--quiet", "--resolution", "--rooms", "--sample", "--short", "--stills"}
    named = set(re.findall(r"(?<![\w-])--[a-z][\w-]+", DOCUMENTS))
    assert named <= known | others, named - known - others


def test_what_the_readme_shows_can_be_typed() -> None:
    """Each command line in a document is one that the parser accepts."""
    parser = cli.build_parser()
    lines = {line.strip() for line in re.findall(r"`(?:\.venv/bin/)?silhouette ([a-z]+ [^`\n]*)`", DOCUMENTS)}
    assert len(lines) >= 5
    for line in lines:
        parser.parse_args(line.split())


def test_what_the_documents_point_to_is_there() -> None:
    """Pictures and files that a document links to lie in the checkout."""
    places = [place for place in re.findall(r"\]\(([^)#]+)[^)]*\)", DOCUMENTS) if "://" not in place]
    assert any(place.endswith(".png") for place in places)
    for place in places:
        assert (ROOT / place).is_file(), place
