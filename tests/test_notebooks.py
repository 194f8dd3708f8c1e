"""The notebooks run from top to bottom, and are stored with their pictures."""

from __future__ import annotations

from pathlib import Path

import pytest

NOTEBOOKS = sorted((Path(__file__).parent.parent / "notebooks").glob("*.ipynb"))


def test_there_are_notebooks() -> None:
    assert len(NOTEBOOKS) == 4


@pytest.mark.parametrize("path", NOTEBOOKS, ids=lambda p: p.stem)
def test_it_runs_and_is_stored_with_its_pictures(path: Path) -> None:
    nbformat = pytest.importorskip("nbformat")
    nbclient = pytest.importorskip("nbclient")
    pytest.importorskip("ipykernel")
    stored = nbformat.read(path, as_version=4)
    shown = {kind for cell in stored.cells for o in cell.get("outputs", ()) for kind in o.get("data", {})}
    assert {"image/png", "text/html"} & shown, "store it with its outputs"
    assert not any("/home/" in str(cell) or "/Users/" in str(cell) for cell in stored.cells)
    where = {"metadata": {"path": str(path.parent)}}
    nbclient.NotebookClient(stored, timeout=600, kernel_name="python3", resources=where).execute()
