"""Every weight and curve of the verdict on a view, each with its reason.

A curve is a pair (nothing, full): the value at which a measure is worth 0 and the value from which it is worth 1, with
a straight line between (:func:`rise`), so that no small change of an outline makes a large one of the score.
"""

from __future__ import annotations

from typing import NamedTuple

# -- clear: can one tell what each limb does? --------------------------------------------------------------------------
READER_CURVE = (0.08, 0.77)
"""What the reader could tell at which nothing is clear and at which everything is. To read is to tell what most of the
limbs do: on rendered bodies a typical view with one or two legible limbs of five (0.28, 0.33) comes out weak, with
three or four (0.40, 0.50) fair and with five (0.62) strong."""
SHAPE_CURVE = (0.22, 0.76)
"""The same for limb separation, where the shape must speak alone: it keeps nearer to the middle (0.34, 0.39; 0.46,
0.53; 0.63)."""
PLACED_SHARE = 0.5
"""How much of a limb's worth hangs on whether its joints can be placed. On rendered poses that the reader never saw,
`told` follows the limbs truly placed, weighed by their legibility, with a rank correlation of 0.974 and 0.968 at none
of it, 0.977 and 0.974 at a half, 0.977 and 0.975 at all; legibility is the steadier half under rough edges."""
TANGENT_COST = 1.5
"""Points of `clear` that one kissing edge takes: it flattens depth in one place and hides no limb."""
TANGENTS_COUNTED = 3
"""A fourth kissing edge adds nothing: hair and fingers make many."""
KISS_CURVE = (0.012, 0.004)
"""Width of the slit or bridge, figure heights: from the first on it is no kiss, from the second down it is one in
full."""
UNLIKE_CURVE = (0.30, 0.50)
"""`unlike` of the learned reader: up to the first it has its full share, from the second on the shape speaks alone."""

# -- clear, where the pose is meant to be closed or a relief -----------------------------------------------------------
CLOSED = {"head": 0.40, "mass": 0.30, "hollows": 0.30}
"""A compact pose reads by its head, by one clear mass and by deliberate hollows: what people look for in wrapped,
seated and crouching figures."""
CLOSED_HEAD_CURVE = (0.25, 0.60)
"""Legibility of the head: sunk into the mass against clear of the shoulders."""
CLOSED_MASS_CURVE = (0.50, 0.85)
"""Hull perimeter over the outline's: a ragged edge against one clear mass."""
CLOSED_HOLLOW_CURVE = (0.03, 0.20)
"""Share of the hull that is hollow: a plain block against a form that is carved into."""

# -- interesting: is the outline worth looking at? ---------------------------------------------------------------------
INTERESTING = {"gaps": 0.40, "turns": 0.30, "asymmetry": 0.30}
"""Gaps, by amount and by how unequal they are (big, medium and small); how much the outline turns; how far left and
right differ. Near to equal, since no study tells them apart; gaps first, since they are what sculptors name first. The
sizes of the parts would belong here too, but whether a part stands out is yes or no, and one that comes and goes with
the grain of a picture moved the score by nine points."""
INTERESTING_CLOSED = {"gaps": 0.0, "turns": 0.45, "asymmetry": 0.55}
"""The same without the gaps, for closed poses and reliefs."""
GAPS_CURVE = (0.02, 0.40)
"""Negative space over the hull's area."""
GAPS_AMOUNT = 0.7
"""Share of the amount of negative space in "gaps"; the rest is how unequal the gaps are."""
TURNS_CURVE = (2.0, 8.0)
"""Contour complexity: a column of a figure has some two bays, a figure with every limb clear eight."""
ASYMMETRY_CURVE = (0.04, 0.45)
"""1 - overlap with the own mirror image: a straight symmetric column against a lunge."""

# -- readability: both -------------------------------------------------------------------------------------------------
CLEAR_SHARE = 0.75
"""Readability is first of all whether the shape can be told; interest moves it by a band at most."""

# -- reasons -----------------------------------------------------------------------------------------------------------
class Limits(NamedTuple):
    """Legibility under which a limb is called lost."""

    arm: float
    legs: float
    """Of the weaker leg: under it the legs read as one."""
    head: float


SHAPE_LIMITS = Limits(arm=0.26, legs=0.42, head=0.38)
"""For the shape's own guess. Set on rendered poses kept out of the fitting, where these tell best a true legibility
under 0.2, 0.4 and 0.4; of the legs a little lower, so that of the views told to have them as one 84 % truly do."""
READER_LIMITS = Limits(arm=0.30, legs=0.40, head=0.40)
"""For the reader's, which says what it means: on rendered poses and bodies that it never saw, 95 % of the arms under
this truly have less than 0.30, 97 % of the legs less than 0.40, 97 % of the heads less than 0.45."""
ARM_FLUSH = 0.45
"""Legibility under which both arms are also called lost if neither a part nor a gap shows an arm: the outer edges are
drawn, as they are for arms flush to the body, but nothing tells them from the torso."""
STANDS = 0.5
"""Legibility over which a limb is said to stand clear: half of the most that its own outline shows anywhere."""
MIRRORED = 0.92
"""Overlap with the own mirror image from which both sides are said to match."""
BARE = 0.04
"""Negative space under which no gap is said to open."""


def rise(value: float, curve: tuple[float, float]) -> float:
    """0 at the curve's first value, 1 at its second, a straight line between and no further."""
    return min(1.0, max(0.0, (value - curve[0]) / (curve[1] - curve[0])))
