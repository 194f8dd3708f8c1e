"""Every weight and curve of the verdict on a view, each with its reason. Nothing else in ``reading/`` holds one.

A curve is a pair (nothing, full): the value at which a measure is worth 0 and the value from which it is worth 1, with a
smooth step between (:func:`rise`).
"""

from __future__ import annotations

# -- clear: can one tell what each limb does? -------------------------------------------------------------------------
WEAKEST_SHARE = 0.4
"""Weight of the two least legible limbs beside the mean of all five. A view fails by the limb that is lost, so these two
count as much again as their share in the mean (2/5)."""
CLEAR_CURVE = (0.10, 0.62)
"""Limb legibility, weighed as above, at which nothing can be told and at which everything can."""
TANGENT_COST = 2.0
"""Points of `clear` that one kissing edge takes: it flattens depth in one place and hides no limb."""
TANGENTS_COUNTED = 3
"""A fourth kissing edge adds nothing: hair and fingers make many."""

# -- clear, where the pose is meant to be closed or a relief -----------------------------------------------------------
CLOSED_HEAD, CLOSED_MASS, CLOSED_HOLLOWS = 0.40, 0.35, 0.25
"""A compact pose reads by its head, by a clear mass and by deliberate hollows (what people look for in wrapped, seated
and crouching figures); how much each counts of 1."""
CLOSED_HOLLOW_CURVE = (0.01, 0.10)
"""Open and enclosed hollows over the hull's area: the folds of a plain block against one hollow that carves it."""
CLOSED_CONVEXITY_CURVE = (0.55, 0.85)
"""Hull perimeter over perimeter: a ragged edge against one clear mass."""

# -- interesting: is the outline worth looking at? ---------------------------------------------------------------------
INTERESTING = {"gaps": 0.30, "turns": 0.25, "asymmetry": 0.25, "sizes": 0.20}
"""Unequal gaps; how much the outline turns; left and right differ; big, medium and small shapes. Close to equal, since
no study tells them apart; gaps first, since they are what people name first."""
INTERESTING_CLOSED = {"gaps": 0.0, "turns": 0.35, "asymmetry": 0.35, "sizes": 0.30}
"""The same without the gaps, for closed poses and reliefs."""
GAPS_CURVE = (0.02, 0.35)
"""Negative space over the hull's area."""
TURNS_CURVE = (1.0, 6.0)
"""Contour complexity: a plain column turns about 1, a figure with arms and legs clear 6 and more."""
ASYMMETRY_CURVE = (0.04, 0.45)
"""1 - overlap with the own mirror image: a straight symmetric column against a lunge."""

# -- readability: both -------------------------------------------------------------------------------------------------
CLEAR_SHARE = 0.75
"""Readability is first of all whether the shape can be told; interest moves it by a band at most."""
UNLIKE_STANDS_ASIDE = 0.5
"""`unlike` of the learned reader from which the verdict rests on the shape alone."""


def rise(value: float, curve: tuple[float, float]) -> float:
    """0 below the curve's foot, 1 above its top, a smooth step between."""
    t = (value - curve[0]) / (curve[1] - curve[0])
    t = min(1.0, max(0.0, t))
    return t * t * (3 - 2 * t)
