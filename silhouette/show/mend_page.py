"""The page on which cut-outs are mended by hand: photographs with the cut-out over them, parted into pieces to tap."""

from __future__ import annotations

import base64
from collections.abc import Sequence
from dataclasses import dataclass
from typing import Any, Literal

import cv2
import numpy as np
from numpy.typing import NDArray

from silhouette.records import Pixels
from silhouette.show import html

State = Literal["doubted", "no figure", "trusted", "by hand"]

MOST_RUN, MOST_PIECES = 4095, 1 << 20
"""A run is packed into 32 bits: 12 for its pixels, 20 for its piece."""
PHOTO_QUALITY = 85
"""Of the photographs in the page: it must show an edge, it is no copy to keep."""
SAID: dict[State, str] = {
    "doubted": "This cut-out is not trusted.",
    "no figure": "No figure was found here.",
    "trusted": "This cut-out is trusted.",
    "by hand": "This mask was drawn by hand.",
}


@dataclass(frozen=True, eq=False)
class MendStop:
    """One still of the page; n small pieces."""

    name: str
    beside: str
    """Name of the still's file, or of the clip, next to which its mask belongs; of one in a ring's folder with it."""
    file: str
    """What its mask is to be called."""
    state: State
    confidence: float
    pixels: Pixels
    """(h, w, 3) BGR; the mask comes back at this size."""
    small: NDArray[np.int32]
    """(h, w) small piece of each pixel, 0 to n - 1."""
    inside: NDArray[np.bool_]
    """(n,) whether it is figure."""
    large: NDArray[np.int32]
    """(n,) large piece that it is part of."""
    doubtful: NDArray[np.int32]
    """Large pieces on which independent cut-outs disagree."""


def mend_page(name: str, stops: Sequence[MendStop], *, folder: str, masks_folder: str | None = None,
              rings: bool = False) -> str:
    """The page as HTML; nothing in it points outside it. It holds photographs.

    Parameters
    ----------
    name : str
        The pose.
    stops : sequence of MendStop
        In the order in which they are to be looked at.
    folder : str
        Name of the folder in which the stills, or the clip, lie.
    masks_folder : str, optional
        For a clip: name of the folder beside it that takes the masks.
    rings : bool
        Whether the stills are of several rings, and ``folder`` is the pose's own.
    """
    data = {"masks": masks_folder or "", "stills": [_data(stop) for stop in stops]}
    return html.render(
        "mend.html.j2",
        name=name,
        stills=[{"name": stop.name, "said": SAID[stop.state]} for stop in stops],
        folder=folder,
        masks_folder=masks_folder,
        rings=rings,
        data=html.script_json(data),
    )


def _data(stop: MendStop) -> dict[str, Any]:
    h, w = stop.small.shape
    _, photo = cv2.imencode(".jpg", stop.pixels, [cv2.IMWRITE_JPEG_QUALITY, PHOTO_QUALITY])
    return {
        "name": stop.name,
        "beside": stop.beside,
        "file": stop.file,
        "state": stop.state,
        "said": SAID[stop.state],
        "w": w,
        "h": h,
        "photo": "data:image/jpeg;base64," + _base64(photo.tobytes()),
        "runs": _base64(runs_of(stop.small).tobytes()),
        "inside": "".join("01"[bool(v)] for v in stop.inside),
        "large": stop.large.tolist(),
        "doubtful": stop.doubtful.tolist(),
    }


def runs_of(labels: NDArray[np.int32]) -> NDArray[np.uint32]:
    """(m,) the runs of equal labels, row after row: each label times 4096 plus the pixels of its run."""
    flat = labels.ravel()
    starts = np.flatnonzero(np.concatenate([[True], flat[1:] != flat[:-1]]))
    lengths = np.diff(np.append(starts, flat.size))
    parts = -(-lengths // MOST_RUN)
    repeated = np.repeat(np.arange(len(starts)), parts)
    nth = np.arange(len(repeated)) - np.repeat(np.cumsum(parts) - parts, parts)
    length = np.minimum(MOST_RUN, lengths[repeated] - MOST_RUN * nth)
    return (flat[starts[repeated]].astype(np.uint32) * np.uint32(MOST_RUN + 1) + length.astype(np.uint32)).astype("<u4")


def _base64(data: bytes) -> str:
    return base64.b64encode(data).decode("ascii")
