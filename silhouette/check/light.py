"""Is the light the same at every stop, and does it come from a useful side? Read from the backdrop and the figure."""

from __future__ import annotations

from collections.abc import Sequence

import cv2
import numpy as np
from numpy.typing import NDArray

from silhouette.naming import named
from silhouette.records import Stop
from silhouette.records_shoot import Finding, StopLook

Floats = NDArray[np.float64]

BRIGHTER = 0.12
"""Change of the backdrop's brightness against the other stops (natural log: 12 %) that calls for a retake: a third of
a stop of exposure is 23 %."""
A_LITTLE = 0.06
"""Change worth a look."""
COLOUR = 0.05
"""Change of red or blue against green worth a look: the white balance wandered."""
AWAY = 7
"""Backdrop nearer to the figure than this many thumbnail pixels is left out: its shadow falls there."""
BACK_LIT = 0.55
"""The figure's brightest parts over the backdrop round it, under which the light comes from behind or everything worn
is dark."""
FLAT = 0.015
"""Mean log ratio of the figure's two sides under which neither side is brighter."""


def _backdrop(looks: Sequence[StopLook]) -> NDArray[np.bool_]:
    """(h, w) thumbnail pixels that show backdrop, far from the figure, at every stop."""
    height, width = looks[0].thumb.shape[:2]
    covered = np.zeros((height, width), dtype=np.uint8)
    for look in looks:
        small = cv2.resize(look.mask.astype(np.float32), (width, height), interpolation=cv2.INTER_AREA) > 0
        covered |= small.astype(np.uint8)
    grown = cv2.dilate(covered, np.ones((2 * AWAY + 1, 2 * AWAY + 1), np.uint8)) > 0
    if (~grown).mean() < 0.1:
        grown = cv2.dilate(covered, np.ones((3, 3), np.uint8)) > 0
    return ~grown


def gains(looks: Sequence[StopLook]) -> Floats | None:
    """(n, 3) natural log of each stop's blue, green and red on the backdrop over the usual; None without a backdrop.

    The median over many backdrop pixels is taken, so a shadow that falls on some of them does not count.
    """
    if len({look.thumb.shape for look in looks}) != 1:
        return None
    free = _backdrop(looks)
    if free.sum() < 40:
        return None
    values = np.log(np.stack([look.thumb[free].astype(np.float64) for look in looks]) + 4.0)
    usual = np.median(values, axis=0)
    return np.asarray(np.median(values - usual, axis=1), dtype=np.float64)


def steady_light(stops: Sequence[Stop], looks: Sequence[StopLook]) -> Finding:
    """Did exposure, lamps or white balance change between stops?"""
    change = gains(looks) if len(looks) >= 3 else None
    if change is None:
        return Finding("steady light", "unknown", (), "There is too little backdrop to compare the light by.", "")
    level = change.mean(axis=1)
    level = level - np.median(level)
    tint = np.abs(change - change.mean(axis=1, keepdims=True))
    tint = (tint - np.median(tint, axis=0)).max(axis=1)
    bad = np.flatnonzero(np.abs(level) > BRIGHTER)
    if len(bad):
        worst = bad[np.argmax(np.abs(level[bad]))]
        percent = 100 * (np.exp(level[worst]) - 1)
        how = f"{abs(percent):.0f} % {'darker' if percent < 0 else 'brighter'}"
        return Finding(
            "steady light", "retake", tuple(int(k) for k in bad),
            f"At {named(stops, bad)} the backdrop is up to {how} than at the other stops: the light or the exposure "
            "changed.",
            f"Lock exposure and lamps, and retake {named(stops, bad)}.",
        )
    little = np.flatnonzero(np.abs(level) > A_LITTLE)
    if len(little):
        return Finding(
            "steady light", "look", tuple(int(k) for k in little),
            f"At {named(stops, little)} the backdrop's brightness differs by up to "
            f"{100 * np.abs(level[little]).max():.0f} %.",
            f"Lock the exposure; look at {named(stops, little)} whether it matters to you.",
        )
    off = np.flatnonzero(tint > COLOUR)
    if len(off):
        return Finding(
            "steady light", "look", tuple(int(k) for k in off),
            f"At {named(stops, off)} the backdrop's colour shifts: the white balance wandered.",
            "Lock the white balance.",
        )
    return Finding(
        "steady light", "pass", (),
        f"The backdrop keeps its brightness within {max(1.0, 100 * np.abs(level).max()):.0f} % at every stop.", "",
    )


def light_direction(looks: Sequence[StopLook]) -> Finding:
    """Back light, flat frontal light, or a key from one side; clothes cancel out over a turn, the lamp stays."""
    seen = [look for look in looks if look.height_px > 0 and look.backdrop_light > 0]
    if not seen:
        return Finding("light direction", "unknown", (), "No figure was found to read the light from.", "")
    bright = float(np.median([(look.figure_light[2] + 2) / (look.backdrop_light + 2) for look in seen]))
    side = float(np.mean([look.side_light for look in seen]))
    if bright < BACK_LIT:
        return Finding(
            "light direction", "look", (),
            f"Even the figure's brightest parts have {100 * bright:.0f} % of the backdrop's brightness: back light, or "
            "everything worn is dark. Outlines come out well, form does not.",
            "Bring a key light round to the front, at three-quarters, if the pictures are to show form.",
        )
    if len(seen) < 6:
        return Finding("light direction", "unknown", (), "Too few stops to tell the lamp from the clothes.", "")
    if abs(side) < FLAT:
        return Finding(
            "light direction", "look", (),
            "Over the turn neither side of the figure is brighter: flat frontal light, or even light from all round.",
            "Move the key to one side, at three-quarters, if the pictures are to show form.",
        )
    where = "picture left" if side > 0 else "picture right"
    return Finding(
        "light direction", "pass", (),
        f"The key comes from {where}: that side is {100 * (np.exp(abs(side)) - 1):.0f} % brighter over the turn.", "",
    )
