"""Read a pose as black shapes from all round, before the shoot."""

from __future__ import annotations

from importlib import import_module
from typing import Any

from silhouette import quiet as quiet  # first of all: from here on no library reports home

__version__ = "0.1.0"
_WHERE = {
    "score_pose": "silhouette.scoring",
    "rank_poses": "silhouette.scoring",
    "measure_outline": "silhouette.shape.measure",
    "Settings": "silhouette.settings",
}
__all__ = [*_WHERE, "__version__"]


def __getattr__(name: str) -> Any:
    """Load what is asked for when it is asked for, so that importing the package stays instant."""
    if name in _WHERE:
        return getattr(import_module(_WHERE[name]), name)
    raise AttributeError(f"module 'silhouette' has no attribute {name!r}")
