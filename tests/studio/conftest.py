"""The studio is in the repository only: where the installed package is tested, its tests say so and are skipped."""

from __future__ import annotations

from collections.abc import Callable
from importlib.util import find_spec
from pathlib import Path
from typing import Any

import pytest

HERE = find_spec("silhouette.studio") is not None
REASON = "the studio is not in the wheel: run these from a checkout, with the extra 'studio' and PYTHONPATH=."


class _NotHere(pytest.Module):
    def collect(self) -> list[pytest.Item | pytest.Collector]:
        pytest.skip(REASON, allow_module_level=True)


def pytest_pycollect_makemodule(module_path: Path, parent: pytest.Collector) -> pytest.Module | None:
    """Skip every file of this folder as a whole where there is no studio."""
    return None if HERE else _NotHere.from_parent(parent, path=module_path)


@pytest.fixture
def blobs() -> Callable[[int], Any]:
    """``blobs(n)``: views of discs as if they were bodies: enough to train on, if not to learn from."""
    import torch

    from silhouette.studio import training_views
    from silhouette.studio.training_views import CANVAS, MAPS, POINTS

    def make(count: int) -> training_views.Views:
        axis = torch.arange(CANVAS)
        radius = torch.linspace(80, 290, count)[:, None, None]
        masks = (axis[None, None, :] - 320) ** 2 + (axis[None, :, None] - 320) ** 2 < radius**2
        gen = torch.Generator().manual_seed(2)
        return training_views.Views(
            masks=training_views.pack(masks), legibility=torch.rand(count, 5, generator=gen),
            joints=torch.rand(count, len(POINTS), 2, generator=gen),
            maps=torch.zeros(count, 6, MAPS, MAPS, dtype=torch.uint8), height=radius.flatten() / 320,
            angle=torch.zeros(count), pose=torch.zeros(count), about=torch.zeros(count, 26))

    return make
