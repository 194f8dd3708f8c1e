"""How surely each pixel is figure: a small network that sees the picture and its backdrop side by side.

The network (a U-Net of 280,000 weights, ``figure_net.onnx``; its card is ``FIGURE_NET.md``) was trained by an earlier
form of ``studio/cutting.py`` on rendered bodies before random backdrops. It is given not the picture alone but how the
picture differs from the estimated backdrop, so what it has to know is what shadows, furniture and figures do to a
backdrop, not what backdrops look like.
"""

from __future__ import annotations

from dataclasses import dataclass
from functools import cache
from pathlib import Path
from typing import Any

import cv2
import numpy as np
from numpy.typing import NDArray

from silhouette import quiet
from silhouette.cutout.plate import Floats, summed, tint, widest

LONG = 224
"""Longer side of what the network sees when it looks closely, pixels."""
FIRST_LONG = 160
"""Longer side of the whole picture at the first glance, which only has to find the figure, pixels."""
MARGIN = 0.3
"""What is looked at closely: the figure and this share of its longer side on each side. The network was trained on
figures that fill a half to nine tenths of the picture."""
STEP = 32
"""The network halves its picture five times, so both sides are multiples of this."""
PLANES = 10
"""What it sees at each pixel: colour (3), log ratio to the backdrop (3), difference over noise (3), height (1)."""


OWN_COLOUR = 18.0
"""Levels of tint or of brightness over the backdrop (plus 4 times the noise) that no shadow has."""
OFF_TINT = 0.13
"""Tint over lightness that no shadow has, however dark: the light that fills shadows is coloured by a tenth at most."""
DARKEST = 0.24
"""Share of the backdrop's level to which even one hard lamp's shadow hardly falls (a thirtieth of the light)."""
EVEN = 25.0
"""Step between neighbours, levels (plus 3 times the noise), within one even colour."""
SHARE_HELD = 0.15
"""Share of an even patch that the network takes for figure, from which the whole patch is."""
BROAD = 0.4
"""Share of the window's width from which a patch at its lower side is no leg."""
COLOUR_ODDS = 2.5
"""Log odds that a pixel of such a colour gains, where the network does not speak firmly against it: hands and poles are
thinner than what it sees well."""
FIRMLY = -4.0
"""Log odds below which the network speaks firmly against a pixel (furniture, mostly)."""


@cache
def _network() -> Any:
    """The network on one thread, loaded once a process; onnxruntime runs it in half the time that OpenCV takes."""
    return quiet.network((Path(__file__).parent / "figure_net.onnx").read_bytes())


def seen_size(h: int, w: int, longer: int = LONG) -> tuple[int, int]:
    """(height, width) at which the network sees an ``h`` x ``w`` picture; its shape may change by up to a tenth."""
    scale = longer / max(h, w)
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


@dataclass(frozen=True)
class Look:
    """What the network made of one window of a picture."""

    odds: Floats
    """(h, w) how surely each pixel is figure, log odds; above 0 is figure."""
    picture: Floats
    """(h, w, 3) what it saw, BGR levels."""
    backdrop: Floats
    """(h, w, 3)"""
    window: tuple[slice, slice]
    """Rows and columns of the picture handed in."""


def look(picture: NDArray[np.uint8], backdrop: Floats, sigma: float, window: tuple[slice, slice],
         longer: int = LONG) -> Look:
    """Show the network one window of a picture.

    Parameters
    ----------
    picture : (h, w, 3) uint8, BGR
    backdrop : (h2, w2, 3) float32
        The backdrop of the whole picture, at any size.
    sigma : float
        Noise of the picture, levels.
    longer : int
        Longer side at which the window is seen, pixels.
    """
    rows, cols = window
    part = picture[window]
    h, w = part.shape[:2]
    size = seen_size(h, w, longer)[::-1]
    small = cv2.resize(part, size, interpolation=cv2.INTER_AREA).astype(np.float32)
    # The same window of the backdrop, by the map from seen pixels to the backdrop's.
    up, along = backdrop.shape[0] / picture.shape[0], backdrop.shape[1] / picture.shape[1]
    scale = np.array([[w / size[0] * along, 0, 0], [0, h / size[1] * up, 0]], np.float32)
    scale[:, 2] = scale[:, :2] @ [0.5, 0.5] - 0.5 + np.array([cols.start * along, rows.start * up])
    behind = cv2.warpAffine(backdrop, scale, size, flags=cv2.INTER_LINEAR | cv2.WARP_INVERSE_MAP,
                            borderMode=cv2.BORDER_REPLICATE)
    odds: Floats = _network().run(["logit"], {"planes": planes(small, behind, sigma)[None]})[0][0, 0]
    strange = no_shadow(small, behind, sigma)
    odds[strange & (odds > FIRMLY)] += COLOUR_ODDS
    return Look(joined(odds, small, strange, sigma), small, behind, window)


def no_shadow(picture: Floats, backdrop: Floats, sigma: float) -> NDArray[np.bool_]:
    """Where a picture differs from its backdrop as no shadow does: in colour, by being brighter or far darker."""
    ratio, rest = tint(picture, backdrop)
    level = summed(backdrop) / 3.0
    coloured = (rest > OWN_COLOUR + 4.0 * sigma) | ((rest > 3.0 + 1.5 * sigma) & (rest > OFF_TINT * ratio * level))
    too_dark = (ratio < DARKEST) & (level > 60.0)
    return coloured | too_dark | ((ratio - 1.0) * level > OWN_COLOUR + 4.0 * sigma)


def patches(picture: Floats, strange: NDArray[np.bool_], sigma: float) -> NDArray[np.int32]:
    """(h, w) labels of the patches of one even colour among the ``strange`` pixels; 0 is the rest.

    Pixels stand at even places of a grid and the bonds between neighbours of like colour at odd ones, so that even a
    pole one pixel wide hangs together along its length.
    """
    h, w = strange.shape
    near = EVEN + 3.0 * sigma
    grid = np.zeros((2 * h - 1, 2 * w - 1), np.uint8)
    grid[::2, ::2] = strange
    grid[::2, 1::2] = strange[:, 1:] & strange[:, :-1] & (widest(picture[:, 1:] - picture[:, :-1]) < near)
    grid[1::2, ::2] = strange[1:] & strange[:-1] & (widest(picture[1:] - picture[:-1]) < near)
    _, labels = cv2.connectedComponents(grid, connectivity=4)
    return np.asarray(labels[::2, ::2] * strange, np.int32)


def joined(odds: Floats, picture: Floats, strange: NDArray[np.bool_], sigma: float) -> Floats:
    """Add to the figure what hangs together with it in one even colour that no shadow has.

    The network knows bodies; a straight sleeve or a mannequin it may take for furniture. But furniture differs in
    colour from the figure before it, so a patch counts only as a whole, by the share of it that the network takes for
    figure.
    """
    labels = patches(picture, strange, sigma)
    size = np.bincount(labels.ravel())
    held = np.bincount(labels[odds > 0].ravel(), minlength=len(size))
    # What runs out of the window at the side, or broadly below, is floor or furniture, unless it is figure for the
    # most part; what runs out narrowly below may be the legs of a figure that the frame cuts.
    needed = np.full(len(size), SHARE_HELD)
    needed[np.bincount(labels[-1], minlength=len(size)) > BROAD * labels.shape[1]] = 0.5
    needed[np.unique(np.concatenate([labels[:, 0], labels[:, -1]]))] = 0.5
    keep = held > needed * size
    keep[0] = False
    if not keep.any():
        return odds
    grown = cv2.dilate(keep[labels].astype(np.uint8), np.ones((3, 3), np.uint8)) > 0
    return np.where(grown & strange, np.maximum(odds, COLOUR_ODDS), odds)


def widened(box: tuple[float, float, float, float], shape: tuple[int, int]) -> tuple[slice, slice]:
    """The window of a picture of ``shape`` (h, w) round a box (top, bottom, left, right, pixels), with a margin."""
    top, bottom, left, right = box
    margin = MARGIN * max(bottom - top, right - left)
    return (slice(max(0, int(top - margin)), min(shape[0], int(bottom + margin))),
            slice(max(0, int(left - margin)), min(shape[1], int(right + margin))))


def touching(seen: Look, odds: Floats, sigma: float) -> NDArray[np.bool_]:
    """The figure found in ``odds`` and whatever touches it that is no shadow, (h, w)."""
    candidates = (odds > -1) | no_shadow(seen.picture, seen.backdrop, sigma)
    _, labels = cv2.connectedComponents(candidates.astype(np.uint8), connectivity=8)
    keep = np.zeros(labels.max() + 1, np.bool_)
    keep[labels[odds > 0]] = True
    return keep[labels]


def around(seen: Look, odds: Floats, sigma: float, shape: tuple[int, int]) -> tuple[slice, slice]:
    """The window of a picture of ``shape`` (h, w) with the figure found in ``odds``, what touches it, and a margin."""
    x, y, w, h = cv2.boundingRect(touching(seen, odds, sigma).astype(np.uint8))
    up, along = shape[0] / odds.shape[0], shape[1] / odds.shape[1]
    return widened((y * up, (y + h) * up, x * along, (x + w) * along), shape)


def reaches_out(odds: Floats, window: tuple[slice, slice], shape: tuple[int, int]) -> bool:
    """Whether the figure comes near a side of the window that is no side of the picture."""
    rows, cols = window
    near = odds > 0
    return bool((rows.start > 0 and near[:3].any()) or (rows.stop < shape[0] and near[-3:].any())
                or (cols.start > 0 and near[:, :3].any()) or (cols.stop < shape[1] and near[:, -3:].any()))
