"""Is the light the same at every stop, and does it come from a useful side? Read from the backdrop and the figure."""

from __future__ import annotations

from collections.abc import Sequence

import cv2
import numpy as np
from numpy.typing import NDArray

from silhouette.check.made_out import FEW, made_out, no_turn, too_few
from silhouette.records_shoot import Finding, Shot, StopLook

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
FILLED = 10.0
"""Levels between a figure's dark and bright parts under which it is one even tone: a drawing filled in."""
FLAT = 0.015
"""Mean log ratio of the figure's two sides under which neither side is brighter."""
LEAST_STEADY = 3
"""Stops from which there is a usual light to hold the others against: of two, neither is the odd one."""
LEAST_SIDED = 6
"""Stops from which clothes cancel out and the lamp is left: one from every 60 degrees."""
FREE, FREE_PX = 0.1, 40
"""Share of a thumbnail that shows backdrop under which the shadow's margin is given up, and the pixels that are needed
in any case."""


def _backdrop(looks: Sequence[StopLook]) -> NDArray[np.bool_]:
    """(h, w) thumbnail pixels that show backdrop, far from the figure, at every stop where it was made out."""
    height, width = looks[0].thumb.shape[:2]
    covered = np.zeros((height, width), dtype=np.uint8)
    for look in (looks[k] for k in made_out(looks)):
        small = cv2.resize(look.mask.astype(np.float32), (width, height), interpolation=cv2.INTER_AREA) > 0
        covered |= small.astype(np.uint8)
    grown = cv2.dilate(covered, np.ones((2 * AWAY + 1, 2 * AWAY + 1), np.uint8)) > 0
    if (~grown).mean() < FREE:
        grown = cv2.dilate(covered, np.ones((3, 3), np.uint8)) > 0
    return ~grown


def gains(looks: Sequence[StopLook]) -> Floats | None:
    """(n, 3) natural log of each stop's blue, green and red on the backdrop over the usual; None without a backdrop.

    The median over many backdrop pixels is taken, so a shadow that falls on some of them does not count.
    """
    if len({look.thumb.shape for look in looks}) != 1:
        return None
    free = _backdrop(looks)
    if free.sum() < FREE_PX:
        return None
    values = np.log(np.stack([look.thumb[free].astype(np.float64) for look in looks]) + 4.0)
    usual = np.median(values, axis=0)
    return np.asarray(np.median(values - usual, axis=1), dtype=np.float64)


def steady_light(shot: Shot) -> Finding:
    """Did exposure, lamps or white balance change between stops?"""
    check = "steady light"
    if shot.no_turn == "camera moves":
        return Finding.of(check, "unknown", "no turn", how=shot.no_turn)
    if len(shot.looks) >= LEAST_STEADY and (lost := too_few(check, shot, FEW)) is not None:
        return lost  # where the figure stands is not known, so neither is the backdrop
    change = gains(shot.looks) if len(shot.looks) >= LEAST_STEADY else None
    if change is None:
        return Finding.of(check, "unknown", "too little backdrop")
    level = change.mean(axis=1)
    level = level - np.median(level)
    tint = np.abs(change - change.mean(axis=1, keepdims=True))
    tint = (tint - np.median(tint, axis=0)).max(axis=1)
    bad = np.flatnonzero(np.abs(level) > BRIGHTER)
    if len(bad):
        worst = bad[np.argmax(np.abs(level[bad]))]
        return Finding.of(check, "retake", "light changed", bad, brighter=float(np.exp(level[worst]) - 1))
    little = np.flatnonzero(np.abs(level) > A_LITTLE)
    if len(little):
        return Finding.of(check, "look", "light changed a little", little, by=float(np.abs(level[little]).max()))
    off = np.flatnonzero(tint > COLOUR)
    if len(off):
        return Finding.of(check, "look", "colour changed", off, by=float(tint[off].max()))
    return Finding.of(check, "pass", "light steady", by=float(np.abs(level).max()))


def light_direction(shot: Shot) -> Finding:
    """Back light, flat frontal light, or a key from one side; clothes cancel out over a turn, the lamp stays."""
    check = "light direction"
    if any(look.height_px > 0 for look in shot.looks) and (lost := too_few(check, shot)) is not None:
        return lost
    seen = [look for look in (shot.looks[k] for k in made_out(shot.looks)) if look.backdrop_light > 0]
    if not seen:
        return Finding.of(check, "unknown", "no figure in the light")
    bright = float(np.median([(look.figure_light[2] + 2) / (look.backdrop_light + 2) for look in seen]))
    side = float(np.mean([look.side_light for look in seen]))
    if bright < BACK_LIT and np.median([look.figure_light[2] - look.figure_light[0] for look in seen]) < FILLED:
        return Finding.of(check, "unknown", "filled in")
    if bright < BACK_LIT:
        return Finding.of(check, "look", "back light", share=bright)
    if (none := no_turn(check, shot)) is not None:
        return none  # clothes do not cancel out where nobody turns
    if len(seen) < LEAST_SIDED:
        return Finding.of(check, "unknown", "too few stops for the lamp")
    if abs(side) < FLAT:
        return Finding.of(check, "look", "flat light")
    return Finding.of(check, "pass", "key light", side="picture left" if side > 0 else "picture right",
                      brighter=float(np.exp(abs(side)) - 1))


QUESTIONS = (steady_light, light_direction)
