"""The default cutter: the backdrop model, and the neural one where the first distrusts itself."""

from __future__ import annotations

from typing import Any

from silhouette.cutout import background_model, neural
from silhouette.cutout.background_model import Shared
from silhouette.records import NO_FIGURE, Cut, Pixels
from silhouette.settings import DISTRUST


def cut(pixels: Pixels, shared: Shared | None = None, model: str | None = None, room: Any = None) -> Cut:
    """Cut the figure out by its backdrop; ask the neural cutter too where that is not trusted and a model is at hand.

    Parameters
    ----------
    pixels : (h, w, 3) uint8, BGR
    shared : Shared or None
        What :func:`background_model.learn` made of the pose's pictures.
    model : str or None
        The neural cutter's model, see :func:`neural.find`.
    room : Room or None
        What the camera sees where nobody stands; not asked yet.

    Returns
    -------
    Cut
        The one of the two whose own confidence is higher; ``cutter`` says which.
    """
    first = background_model.cut(pixels, shared)
    # Saliency models find something in every picture, so an empty room is not put to them.
    if first.confidence >= DISTRUST or NO_FIGURE in first.flags or not neural.at_hand(model):
        return first
    second = neural.cut(pixels, shared, first, model)
    return second if second.confidence > first.confidence else first
