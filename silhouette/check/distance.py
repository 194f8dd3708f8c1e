"""How far the camera stood and how high, as far as pictures tell."""

from __future__ import annotations

from collections.abc import Sequence

import numpy as np

from silhouette.check.made_out import FEW, made_out, too_few
from silhouette.geometry import perspective
from silhouette.records_shoot import Finding, Shot, StopLook, Verdict

FEET_M = 0.08
"""The lowest point of a figure is a foot some 14 cm nearer than the axis, and a lens at waist height (0.55 of the
figure) looks down on it: that draws the figure longer and the camera 0.55 x 14 cm nearer than it stood, metres."""
USUAL_M = 1.7
"""Height that a figure is taken to have where nobody says, metres."""
WHOLE_DEG = 300.0
"""Degrees turned from which outlines tell how near the camera stood: opposite views tell it."""
LOW, HIGH = 0.35, 0.75
"""Camera heights between these shares of the figure's height are fit for a whole figure."""


def from_lens(looks: Sequence[StopLook], height_m: float) -> float | None:
    """Metres from camera to axis: D = f x H / (36 mm x share of the long side), and a little for the feet.

    None without a focal length. f is the 35 mm equivalent focal length, H the figure's height in the room, the share
    its height in the picture over the picture's long side.
    """
    tried = [
        perspective.distance_for(height_m * max(look.full_size) / look.height_px, look.focal_35mm)
        for look in looks if look.focal_35mm and look.height_px > 0 and not look.edges
    ]
    return float(np.median(tried)) + FEET_M if tried else None


def distance(shot: Shot) -> Finding:
    """Did the camera stand too close? By the lens if it is known; else roughly, by the outlines of a whole turn."""
    seen = [shot.looks[k] for k in made_out(shot.looks)]
    focal = any(look.focal_35mm for look in shot.looks)
    if focal and shot.height_m and (lost := too_few("distance", shot, FEW)) is not None:
        return lost
    metres = from_lens(seen, shot.height_m) if shot.height_m else None
    if metres is not None:
        band = perspective.band(metres)
        verdict: Verdict = "retake" if band == "too close" else "look" if band == "close" else "pass"
        return _told(verdict, metres, "lens", shot)
    nearness = _nearness(shot)
    if nearness is None:
        return Finding.of("distance", "unknown", "distance not known", lacking="height" if focal else "focal length")
    metres = (shot.height_m or USUAL_M) / nearness
    return _told("look" if perspective.band(metres) == "too close" else "pass", metres, "outlines", shot)


def _told(verdict: Verdict, metres: float, told_by: str, shot: Shot) -> Finding:
    kind = {"retake": "far too close", "look": "too close", "pass": "far enough"}[verdict]
    return Finding.of(
        "distance", verdict, kind, metres=metres, told_by=told_by, height_m=shot.height_m, usual_m=USUAL_M,
        reach_m=perspective.HAND_M, larger=perspective.near_over_far(metres) - 1,
    )


def _nearness(shot: Shot) -> float | None:
    """Figure height over camera distance; only whole outlines of a whole turn tell it."""
    held = shot.held
    whole = held is not None and not held.unfit and abs(float(shot.turned[-1])) >= WHOLE_DEG
    cut = any(shot.looks[k].edges for k in made_out(shot.looks))
    return held.nearness if held is not None and whole and not cut else None


def camera_height(shot: Shot) -> Finding:
    """How high the lens stood, if it was level: the picture's middle then lies at its height."""
    check = "camera height"
    if any(look.mask.any() for look in shot.looks) and (lost := too_few(check, shot, FEW)) is not None:
        return lost
    shares = []
    for look in (shot.looks[k] for k in made_out(shot.looks)):
        rows = np.flatnonzero(look.mask.any(axis=1))
        if len(rows) and not {"top", "bottom"} & set(look.edges):
            shares.append((rows[-1] + 1 - look.mask.shape[0] / 2) / (rows[-1] + 1 - rows[0]))
    if not shares:
        return Finding.of(check, "unknown", "no whole figure")
    share = float(np.median(shares))
    fit = LOW <= share <= HIGH
    kind = "lens at a good height" if fit else "lens low" if share < LOW else "lens high"
    meant = kind == f"lens {shot.ring}"
    return Finding.of(check, "pass" if fit or meant else "look", kind, share=share, height_m=shot.height_m)


QUESTIONS = (distance, camera_height)
