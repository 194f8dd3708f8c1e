"""What an outline looks like, as one short vector: outlines of the same pose from the same side, whoever strikes it
and wherever the camera stands, have vectors that point the same way.

A small network of our own makes it, which was trained on rendered bodies alone (see ``LIKENESS.md`` beside this file).
It sees the outline as the reader of limbs does, and its mirror image; each gets a vector.
"""

from __future__ import annotations

from collections.abc import Sequence
from functools import cache
from importlib import resources
from typing import Any

import numpy as np
from numpy.typing import NDArray
from shapely.geometry import Polygon

from silhouette import quiet
from silhouette.errors import CutterError
from silhouette.geometry.framed import frame

SIZE = 128
"""Numbers in a vector."""

Vectors = NDArray[np.float32]


def vectors(outlines: Sequence[Polygon]) -> tuple[Vectors, Vectors]:
    """What outlines look like, and what their mirror images look like.

    Parameters
    ----------
    outlines : sequence of Polygon
        With their holes, in any unit, anywhere: only the shape counts. x to the right, y downwards.

    Returns
    -------
    (n, SIZE) and (n, SIZE) float32, rows of length 1. An outline gives the same row whatever it is asked with.

    Raises
    ------
    CutterError
        The network that ships with the package is missing, or onnxruntime cannot run it.
    """
    told = np.empty((len(outlines), 2, SIZE), np.float32)
    for row, outline in zip(told, outlines, strict=True):
        row[:] = _run(frame(outline).picture)
    return told[:, 0], told[:, 1]


def _run(picture: NDArray[np.float32]) -> Vectors:
    """(2, SIZE) of a shape and its mirror image."""
    try:
        made = _net().run(None, {"picture": picture})[0]
    except Exception as err:
        raise CutterError("onnxruntime cannot run the network that compares outlines (find/likeness_net.onnx).",
                          do="Install the package again.") from err
    return np.asarray(made, np.float32)


@cache
def _net() -> Any:
    """The network, loaded once a process; on one thread, so that every process makes the same numbers."""
    place = resources.files("silhouette.find") / "likeness_net.onnx"
    runtime = quiet.onnxruntime()
    options = runtime.SessionOptions()
    options.intra_op_num_threads = options.inter_op_num_threads = 1
    options.log_severity_level = 3
    return runtime.InferenceSession(place.read_bytes(), options, providers=["CPUExecutionProvider"])
