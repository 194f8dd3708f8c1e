"""The rooms stand apart: a column leans only on the base stones and on itself."""

from __future__ import annotations

import ast
from pathlib import Path

import pytest

import silhouette

PACKAGE = Path(silhouette.__file__).parent
COLUMNS = {"intake", "cutout", "shape", "reading", "turn", "plan", "check", "export", "show"}
STONES = {"records", "records_shoot", "settings", "errors", "writing", "naming", "geometry", "texts", "quiet"}
LEANS = {"check": {"turn"}}
FILES = sorted(PACKAGE.rglob("*.py"))


def imported(path: Path) -> list[tuple[int, str]]:
    """(line, dotted module) of everything of this package that a file imports, wherever in the file."""
    found = []
    for node in ast.walk(ast.parse(path.read_text(encoding="utf-8"))):
        if isinstance(node, ast.Import):
            found += [(node.lineno, a.name) for a in node.names]
        elif isinstance(node, ast.ImportFrom):
            assert node.level == 0, f"{path.name}:{node.lineno} imports relatively"
            found += [(node.lineno, f"{node.module}.{a.name}") for a in node.names]
    return [(line, name) for line, name in found if name.split(".")[0] == "silhouette"]


@pytest.mark.parametrize("path", FILES, ids=lambda p: str(p.relative_to(PACKAGE)))
def test_columns_do_not_lean_on_each_other(path: Path) -> None:
    column = path.relative_to(PACKAGE).parts[0]
    for line, name in imported(path):
        room = [*name.split("."), ""][1]
        if column in COLUMNS:
            assert room in STONES | {column} | LEANS.get(column, set()), f"{path.name}:{line} leans on {name}"
        elif column != "studio":
            assert room != "studio", f"{path.name}:{line}: only the studio itself may import it"


def test_importing_the_package_loads_nothing_heavy() -> None:
    import subprocess
    import sys

    code = (
        "import sys, silhouette, silhouette.cli\n"
        "print([m for m in ('cv2', 'numpy', 'matplotlib') if m in sys.modules])"
    )
    told = subprocess.run([sys.executable, "-c", code], capture_output=True, text=True, check=True)
    assert told.stdout.strip() == "[]"
