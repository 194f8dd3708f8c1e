"""The rooms stand apart: imports go down from floor to floor, never in a circle, never from column to column.

Every import counts, wherever it stands in a file: at its top, inside a function, or as the name of a module in a file
that imports by name.
"""

from __future__ import annotations

import ast
from graphlib import CycleError, TopologicalSorter
from pathlib import Path

import pytest

import silhouette

PACKAGE = Path(silhouette.__file__).parent
NAME = "silhouette"
STONES = {
    "texts": set(),
    "quiet": set(),
    "errors": {"texts"},
    "geometry": {"errors"},
    "settings": {"errors"},
    "records": {"errors", "geometry", "settings"},
    "records_find": {"errors", "geometry", "records", "settings"},
    "records_shoot": {"errors", "geometry", "records", "settings"},
    "records_space": {"errors", "geometry", "records", "settings"},
    "writing": {"errors", "texts", NAME},  # NAME: the version, which its marks carry
}
"""The base stones, and which of the others each may stand on."""
COLUMNS = {"intake", "cutout", "shape", "reading", "turn", "plan", "check", "export", "show", "space", "find"}
FLOORS = (
    "known", "pool", "stop_angles", "empty_room", "turnaround", "in_space", "ring_check", "tables", "results",
    "measuring", "scoring", "shoot", "outputs", "archive", "finding", "mending", "armature",
    "live", "cli",
)
"""What stands on the columns, from the lowest floor up: each may import what is lower, and not what is higher."""
YARD = "studio"
EXCEPTIONS: set[tuple[str, str]] = set()
"""(file, what it imports against the rule): nothing may be added, and each goes as soon as it is not true any more."""
BY_NAME = ("import_module", "__import__")
FILES = sorted(PACKAGE.rglob("*.py"))


def module_of(path: Path) -> str:
    parts = [NAME, *path.relative_to(PACKAGE).with_suffix("").parts]
    return ".".join(parts[:-1] if parts[-1] == "__init__" else parts)


MODULES = {module_of(path): path for path in FILES}


def imported(path: Path) -> list[tuple[int, str]]:
    """(line, module of this package) of everything that a file imports, wherever in the file and however."""
    return [(line, owner(name)) for line, name in names_in(path.read_text(encoding="utf-8"), path.name)
            if name.split(".")[0] == NAME]


def names_in(source: str, called: str = "") -> list[tuple[int, str]]:
    found: list[tuple[int, str]] = []
    nodes = list(ast.walk(ast.parse(source)))
    by_name = any(isinstance(n, ast.Call) and ast.unparse(n.func).split(".")[-1] in BY_NAME for n in nodes)
    for node in nodes:
        if isinstance(node, ast.Import):
            found += [(node.lineno, a.name) for a in node.names]
        elif isinstance(node, ast.ImportFrom):
            assert node.level == 0, f"{called}:{node.lineno} imports relatively"
            found += [(node.lineno, f"{node.module}.{a.name}") for a in node.names]
        elif by_name and isinstance(node, ast.Constant) and node.value in MODULES:
            found.append((node.lineno, node.value))
    return found


def owner(name: str) -> str:
    """The module that a dotted name lies in: ``silhouette.records.Stop`` lies in ``silhouette.records``."""
    while name not in MODULES and "." in name:
        name = name.rpartition(".")[0]
    return name


def room(module: str) -> str:
    """The room of a module: ``check`` of ``silhouette.check.turn``, ``records`` of the stone, else ``silhouette``."""
    return [*module.split("."), NAME][1] if module != NAME else NAME


def wrong(path: Path) -> list[str]:
    """What a file imports that its room may not."""
    here, told = room(module_of(path)), []
    for line, name in imported(path):
        if (str(path.relative_to(PACKAGE)), name) in EXCEPTIONS:
            continue
        if not allowed(here, room(name)):
            told.append(f"{path.relative_to(PACKAGE)}:{line} may not import {name}")
    return told


def allowed(here: str, there: str) -> bool:
    if here in (there, YARD):
        return True
    if here in STONES:
        return there in STONES[here]
    if there in STONES:
        return True
    if here in COLUMNS:
        return False
    if here == NAME:  # the public calls, loaded when they are asked for
        return there != YARD
    if there in COLUMNS or there == NAME:
        return there != NAME or here in ("known", "cli")  # the version again
    return there in FLOORS and FLOORS.index(there) < FLOORS.index(here)


@pytest.mark.parametrize("path", FILES, ids=lambda p: str(p.relative_to(PACKAGE)))
def test_imports_go_down(path: Path) -> None:
    assert not wrong(path)


def test_every_file_has_its_place_in_the_house() -> None:
    known = {*STONES, *COLUMNS, *FLOORS, YARD, NAME}
    assert {room(module) for module in MODULES} - known == set()


def test_no_import_runs_in_a_circle() -> None:
    """Between files; the package itself, which loads its calls when they are asked for, is left out."""
    graph = {
        module: {
            name for _, name in imported(path)
            if name not in (module, NAME) and (str(path.relative_to(PACKAGE)), name) not in EXCEPTIONS
        }
        for module, path in MODULES.items()
    }
    try:
        list(TopologicalSorter(graph).static_order())
    except CycleError as error:
        pytest.fail(f"a circle: {' imports '.join(reversed(error.args[1]))}")


def test_exceptions_are_real() -> None:
    for file, name in EXCEPTIONS:
        assert name in {found for _, found in imported(PACKAGE / file)}, f"{file} imports {name} no more: take it out"


def test_hidden_imports_are_seen() -> None:
    source = (
        'import importlib\nWHERE = {"a": "silhouette.shoot"}\ndef f():\n    from silhouette.show import table\n'
        '    importlib.import_module("silhouette.tables")\n    importlib.import_module(WHERE["a"])\n'
    )
    assert {owner(name) for _, name in names_in(source) if name.startswith(NAME)} == {
        "silhouette.show.table", "silhouette.tables", "silhouette.shoot"}
    assert names_in('WORDS = {"a": "silhouette.shoot"}') == [], "a word is no import"


@pytest.mark.parametrize(("here", "there"), [
    ("check", "turn"), ("turn", "shoot"), ("records", "tables"), ("geometry", "records"), ("errors", "settings"),
    ("turnaround", "scoring"), ("scoring", "shoot"), ("tables", "outputs"), ("cli", "studio"), ("silhouette", "studio"),
    ("settings", "silhouette"),
])
def test_leaning_and_climbing_are_refused(here: str, there: str) -> None:
    assert not allowed(here, there)


def test_importing_the_package_loads_nothing_heavy() -> None:
    import subprocess
    import sys

    code = (
        "import sys, silhouette, silhouette.cli\n"
        "print([m for m in ('cv2', 'numpy', 'matplotlib') if m in sys.modules])"
    )
    told = subprocess.run([sys.executable, "-c", code], capture_output=True, text=True, check=True)
    assert told.stdout.strip() == "[]"
