"""Is each picture fit to be cut out: the model whole, alone, large enough and sharp?"""

from __future__ import annotations

from collections.abc import Sequence

import numpy as np

from silhouette.check.made_out import FEW, made_out, too_few
from silhouette.records import TWO_FIGURES
from silhouette.records_shoot import ORDER, Finding, Shot, StopLook, Verdict

MOST = 0.5
"""Share of the stops from which somebody else in the picture is no mistake at single stops any more."""
SMALL_PX, TINY_PX = 200.0, 100.0
"""Figure heights in the original, pixels, under which thin gaps are lost, and under which an outline says little."""
SOFTER, BLURRED = 1.6, 2.2
"""Edge width of a stop over the usual one from which it is soft, and from which it is a retake."""
SOFT_ALL = 0.012
"""Usual edge width over the figure's height from which the whole set is soft."""
LEAST_EDGES = 3
"""Stops whose edge can be measured from which there is a usual width to hold the others against."""
FRAMING = "framing"


def framing(shot: Shot) -> Finding:
    """Is the model in every picture, whole and alone?

    All that is wrong is kept, gravest first; the stops named are those of the gravest verdict. Where few figures were
    made out, whatever is cut off, empty or beside the model is as likely the room.
    """
    looks = shot.looks
    if not any(look.mask.any() for look in looks):
        return Finding.of(FRAMING, "unknown", "no figure anywhere")
    if (lost := too_few(FRAMING, shot)) is not None:
        return lost
    asked = (_cut_off(looks), _no_figure(looks), _two_people(looks), _not_made_out(looks))
    wrong = sorted((f for f in asked if f is not None), key=lambda f: ORDER[f.verdict])
    if not wrong:
        return Finding.of(FRAMING, "pass", "whole and alone", room=min(_margin(looks[k]) for k in made_out(looks)))
    if len(wrong) == 1:
        return wrong[0]
    worst = wrong[0]
    stops = sorted({k for f in wrong if f.verdict == worst.verdict for k in f.stops})
    return Finding(FRAMING, worst.verdict, worst.kind, tuple(stops), worst.values, parts=tuple(wrong))


def _cut_off(looks: Sequence[StopLook]) -> Finding | None:
    """The figure reaches the picture's edge."""
    cut = [k for k in made_out(looks) if looks[k].edges]
    if not cut:
        return None
    sides = {edge for k in cut for edge in looks[k].edges}
    # held upright, a camera sees more above and below, and less at the sides
    wide = all(looks[k].full_size[0] > looks[k].full_size[1] for k in cut)
    upright_helps = wide and sides <= {"top", "bottom"}
    return Finding.of(FRAMING, "retake", "cut by the frame", cut, edges=tuple(sorted(sides)),
                      upright_helps=upright_helps)


def _no_figure(looks: Sequence[StopLook]) -> Finding | None:
    """Nothing was cut out: whatever the reason, there is no outline of that stop."""
    empty = [k for k, look in enumerate(looks) if not look.mask.any()]
    return Finding.of(FRAMING, "retake", "no figure", empty) if empty else None


def _two_people(looks: Sequence[StopLook]) -> Finding | None:
    """Somebody beside the model: in most pictures a mistake of the set-up, in a few perhaps a stand or a shadow."""
    both = [k for k, look in enumerate(looks) if TWO_FIGURES in look.flags]
    if not both:
        return None
    if len(both) > MOST * len(looks):
        return Finding.of(FRAMING, "retake", "two people", both)
    return Finding.of(FRAMING, "look", "second figure", both)


def _not_made_out(looks: Sequence[StopLook]) -> Finding | None:
    """A figure was cut out, but the cut is not trusted; a second person, already named, explains it."""
    seen = set(made_out(looks))
    faint = [k for k, look in enumerate(looks) if k not in seen and TWO_FIGURES not in look.flags and look.mask.any()]
    return Finding.of(FRAMING, "look", "figure unclear", faint) if faint else None


def _margin(look: StopLook) -> float:
    """Least distance of the figure from the picture's edge over the picture's longer side."""
    rows, columns = np.flatnonzero(look.mask.any(axis=1)), np.flatnonzero(look.mask.any(axis=0))
    height, width = look.mask.shape
    return float(min(rows[0], height - 1 - rows[-1], columns[0], width - 1 - columns[-1]) / max(height, width))


def figure_size(shot: Shot) -> Finding:
    """Is the figure large enough in the original pictures?"""
    check = "figure size"
    if not any(look.height_px > 0 for look in shot.looks):
        return Finding.of(check, "unknown", "no figure to measure")
    if (lost := too_few(check, shot, FEW)) is not None:
        return lost
    heights = [shot.looks[k].height_px for k in made_out(shot.looks)]
    usual = float(np.median(heights))
    if usual < TINY_PX:
        return Finding.of(check, "retake", "figure tiny", pixels=usual)
    if usual < SMALL_PX:
        return Finding.of(check, "look", "figure small", pixels=usual)
    return Finding.of(check, "pass", "figure large enough", pixels=usual)


def sharpness(shot: Shot) -> Finding:
    """Is a stop blurred, against the others or altogether?"""
    check = "sharpness"
    if (lost := too_few(check, shot)) is not None:
        return lost
    seen = made_out(shot.looks)
    widths = np.full(len(shot.looks), np.nan)  # of an outline that is not the figure's, the edge says nothing
    for k in seen:
        width = shot.looks[k].edge_width
        widths[k] = np.nan if width is None else width
    heights = [shot.looks[k].height_px for k in seen]
    if np.isfinite(widths).sum() < LEAST_EDGES:
        return Finding.of(check, "unknown", "edges too faint")
    usual = float(np.nanmedian(widths))
    soft = np.flatnonzero(widths > SOFTER * usual)
    if len(soft):
        times = float(np.nanmax(widths) / usual)
        verdict: Verdict = "retake" if times > BLURRED else "look"
        return Finding.of(check, verdict, "stops blurred", soft, pixels=usual, times=times)
    if usual / float(np.median(heights)) > SOFT_ALL:
        return Finding.of(check, "look", "soft everywhere", pixels=usual)
    return Finding.of(check, "pass", "sharp", pixels=usual)


QUESTIONS = (framing, figure_size, sharpness)
