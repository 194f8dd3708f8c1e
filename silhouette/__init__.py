"""Read a pose as black shapes from all round, before the shoot."""

from __future__ import annotations

from importlib import import_module
from typing import TYPE_CHECKING, Any

if TYPE_CHECKING:
    from silhouette.armature import armature_of, write_armature
    from silhouette.errors import SilhouetteError
    from silhouette.finding import find_views
    from silhouette.measuring import measure_outline
    from silhouette.records import (
        Arc,
        Gap,
        LimbLegibility,
        Measures,
        Note,
        Outline,
        Part,
        Pose,
        Ranking,
        Reading,
        Reason,
        ReasonKind,
        Round,
        Stop,
        Tangent,
        View,
    )
    from silhouette.records_find import Found, Hit
    from silhouette.records_space import Armature
    from silhouette.results import ScoredPose, ScoredRanking, plot_wheel
    from silhouette.scoring import rank_poses, score_pose
    from silhouette.settings import Settings

from silhouette import quiet as quiet  # first of all: from here on no library reports home

__version__ = "0.1.0"
_WHERE = {
    "scoring": ("rank_poses", "score_pose"),
    "measuring": ("measure_outline",),
    "armature": ("armature_of", "write_armature"),
    "finding": ("find_views",),
    "records_find": ("Found", "Hit"),
    "records_space": ("Armature",),
    "results": ("ScoredPose", "ScoredRanking", "plot_wheel"),
    "records": (
        "Arc", "Gap", "LimbLegibility", "Measures", "Note", "Outline", "Part", "Pose", "Ranking", "Reading", "Reason",
        "ReasonKind", "Round", "Stop", "Tangent", "View",
    ),
    "settings": ("Settings",),
    "errors": ("SilhouetteError",),
}
_HOME = {name: module for module, names in _WHERE.items() for name in names}
__all__ = [  # noqa: RUF022
    "score_pose", "rank_poses", "measure_outline", "plot_wheel", "armature_of", "write_armature", "find_views",
    "Settings", "SilhouetteError", "Armature", "Found", "Hit",
    "ScoredPose", "ScoredRanking", "Pose", "Ranking", "View", "Stop", "Reading", "Reason", "ReasonKind", "Note",
    "Round", "Arc", "Outline", "Measures", "LimbLegibility", "Gap", "Part", "Tangent", "__version__",
]


def __getattr__(name: str) -> Any:
    """Load what is asked for when it is asked for, so that importing the package stays instant."""
    if name in _HOME:
        return getattr(import_module(f"silhouette.{_HOME[name]}"), name)
    raise AttributeError(f"module 'silhouette' has no attribute {name!r}")


def __dir__() -> list[str]:
    return sorted(__all__)
