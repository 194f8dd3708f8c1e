"""Results that show themselves: as a table, as JSON, as a wheel, in a notebook.

The records are plain data; these are the same records with thin methods on top.
"""

from __future__ import annotations

from dataclasses import replace
from typing import TYPE_CHECKING, Any

import numpy as np

from silhouette import tables
from silhouette.records import Pose, Ranking, View

if TYPE_CHECKING:
    import pandas as pd


class ScoredPose(Pose):
    """What :func:`silhouette.score_pose` returns: a :class:`silhouette.records.Pose` that shows itself."""

    def to_frame(self) -> pd.DataFrame:
        """One row a view, numbers as they were measured."""
        return tables.views_table([self], exact=True)

    def to_json(self) -> str:
        """As ``result.json``, for this pose alone."""
        return tables.to_json(tables.ranking_to_dict(Ranking((self,), self.intent)))

    def plot(self, ax: Any = None) -> Any:
        """The wheel, see :func:`plot_wheel`."""
        return plot_wheel(self, ax)

    def _repr_html_(self) -> str:
        return to_html(Ranking((self,), self.intent))


class ScoredRanking(Ranking):
    """What :func:`silhouette.rank_poses` returns: a :class:`silhouette.records.Ranking` that shows itself."""

    def to_frame(self) -> pd.DataFrame:
        """One row a view, in the order of poses and angles, numbers as they were measured."""
        return tables.views_table(self.poses, exact=True)

    def to_json(self) -> str:
        """The text of ``result.json``."""
        return tables.to_json(tables.ranking_to_dict(self))

    def _repr_html_(self) -> str:
        return to_html(self)


def plot_wheel(pose: Pose, ax: Any = None, *, arc: tuple[float, float] | None = None) -> Any:
    """Draw a pose's wheel: how it reads from all round, seen from above.

    Parameters
    ----------
    pose : Pose
    ax : matplotlib Axes, optional
        Where to draw; by default on a page of its own.
    arc : (float, float), optional
        The only views that count, from and to, clockwise: a bracket marks them.

    Returns
    -------
    matplotlib Axes
    """
    from silhouette.show import polar

    return polar.draw_wheel(placed(Ranking((pose,))).poses[0], ax, arc=arc)


def to_html(result: Ranking) -> str:
    """How a result shows itself in a notebook: wheels and strips of black shapes, as inline SVG."""
    from silhouette.show import report

    return report.fragment(placed(result))


def placed(result: Ranking) -> Ranking:
    """The same without the views whose angle is not known: they have no place on a wheel or a sheet."""
    poses = []
    for pose in result.poses:
        others = tuple(replace(ring, views=_with_angle(ring.views)) for ring in pose.other_rings)
        poses.append(replace(pose, views=_with_angle(pose.views), other_rings=others))
    return replace(result, poses=tuple(poses))


def _with_angle(views: tuple[View, ...]) -> tuple[View, ...]:
    return tuple(view for view in views if not np.isnan(view.angle))
