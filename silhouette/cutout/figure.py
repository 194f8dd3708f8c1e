"""How surely each pixel is figure: a small network that sees the picture and its backdrop side by side.

The network (a U-Net of 280,000 weights, ``figure.onnx``, run by OpenCV) was trained by ``studio/cutting.py`` on
rendered bodies before random backdrops. It is given not the picture alone but how the picture differs from the
estimated backdrop, so what it has to know is what shadows, furniture and figures do to a backdrop, not what backdrops
look like.
"""

from __future__ import annotations

from functools import lru_cache
from pathlib import Path

import cv2
import numpy as np

from silhouette.cutout.plate import Floats, tint

LONG = 224
"""Longer side of what the network sees, pixels."""
STEP = 32
"""The network halves its picture five times, so both sides are multiples of this."""
PLANES = 10
"""What it sees at each pixel: colour (3), log ratio to the backdrop (3), difference over noise (3), height (1)."""


OWN_COLOUR = 18.0
"""Levels of tint (plus 4 times the noise) that no shadow has."""
COLOUR_ODDS = 2.5
"""Log odds that a pixel of such a colour gains, where the network does not speak firmly against it: hands and poles are
thinner than what it sees well."""
FIRMLY = -4.0
"""Log odds below which the network speaks firmly against a pixel (furniture, mostly)."""


@lru_cache(maxsize=1)
def _network() -> cv2.dnn.Net:
    # Read here and handed over as bytes: OpenCV itself cannot open paths with letters beyond ASCII everywhere.
    weights = np.frombuffer((Path(__file__).parent / "figure.onnx").read_bytes(), np.uint8)
    return cv2.dnn.readNetFromONNX(weights)


def seen_size(h: int, w: int) -> tuple[int, int]:
    """(height, width) at which the network sees an ``h`` x ``w`` picture; its shape may change by up to a tenth."""
    scale = LONG / max(h, w)
    return max(STEP, round(h * scale / STEP) * STEP), max(STEP, round(w * scale / STEP) * STEP)


def planes(picture: Floats, backdrop: Floats, sigma: float) -> Floats:
    """What the network sees, (10, h, w).

    Parameters
    ----------
    picture, backdrop : (h, w, 3) float32
        BGR levels, 0 to 255.
    sigma : float
        Noise of the picture, levels.
    """
    h, w = picture.shape[:2]
    seen = np.empty((PLANES, h, w), np.float32)
    ratio = cv2.log((picture + 6.0) / (np.maximum(backdrop, 0) + 6.0))
    step = (picture - backdrop) / np.float32(2.0 + 3.0 * sigma)
    step /= 1.0 + np.abs(step)
    seen[0:3] = (picture / 127.5 - 1.0).transpose(2, 0, 1)
    seen[3:6] = 2.0 * np.clip(ratio, -1.5, 1.5).transpose(2, 0, 1)
    seen[6:9] = step.transpose(2, 0, 1)
    seen[9] = np.linspace(-1.0, 1.0, h, dtype=np.float32)[:, None]
    return seen


def odds(small: Floats, backdrop: Floats, sigma: float) -> Floats:
    """How surely each pixel is figure, as log odds; above 0 is figure.

    Parameters
    ----------
    small, backdrop : (h, w, 3) float32, BGR levels
        The picture and its backdrop at :func:`seen_size`.
    sigma : float
        Noise of the picture, levels.
    """
    network = _network()
    network.setInput(planes(small, backdrop, sigma)[None])
    result: Floats = network.forward()[0, 0]
    _, rest = tint(small, backdrop)
    result[(rest > OWN_COLOUR + 4.0 * sigma) & (result > FIRMLY)] += COLOUR_ODDS
    return result
