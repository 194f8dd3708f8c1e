"""The studio is in the repository only: where the installed package is tested, its tests say so and are skipped."""

from __future__ import annotations

from importlib.util import find_spec
from pathlib import Path

import pytest

HERE = find_spec("silhouette.studio") is not None
REASON = "the studio is not in the wheel: run these from a checkout, with the extra 'studio' and PYTHONPATH=."


class _NotHere(pytest.Module):
    def collect(self) -> list[pytest.Item | pytest.Collector]:
        pytest.skip(REASON, allow_module_level=True)


def pytest_pycollect_makemodule(module_path: Path, parent: pytest.Collector) -> pytest.Module | None:
    """Skip every file of this folder as a whole where there is no studio."""
    return None if HERE else _NotHere.from_parent(parent, path=module_path)
