"""The verdict on one view: clear, interesting, readability, band, and the reasons in a sculptor's words."""

from __future__ import annotations

import numpy as np

from silhouette.reading import weights as w
from silhouette.records import Band, BodyReading, Gap, Measures, Outline, Part, Reading
from silhouette.settings import BAND_FAIR, BAND_STRONG, Intent


def read_view(measures: Measures, outline: Outline, intent: Intent = "open", body: BodyReading | None = None) -> Reading:
    """Read one view.

    Parameters
    ----------
    measures, outline
        What geometry says of the view.
    intent
        What the pose is meant to be; ``closed`` and ``relief`` are not marked down for want of gaps.
    body
        What the learned reader says, where there is one; `clear` then rests on it, unless the outline is unlike a body.

    Returns
    -------
    Reading
        Scores 0 to 100, a band, and at least one reason, strongest first.
    """
    clear = clear_from_shape(measures)
    if body is not None:
        trust = 1 - w.rise(body.unlike, (0.0, 2 * w.UNLIKE_STANDS_ASIDE))
        clear = trust * clear_from_body(body) + (1 - trust) * clear
    clear = max(0.0, clear - w.TANGENT_COST * min(len(measures.tangents), w.TANGENTS_COUNTED))
    if intent != "open":
        clear = max(clear, clear_when_closed(measures))
    interesting = interest(measures, intent)
    readability = w.CLEAR_SHARE * clear + (1 - w.CLEAR_SHARE) * interesting
    return Reading(clear=clear, interesting=interesting, readability=readability, band=band_of(readability),
                   why=reasons(measures, intent, body, readability))


def band_of(readability: float) -> Band:
    """strong, fair or weak."""
    return "strong" if readability >= BAND_STRONG else "fair" if readability >= BAND_FAIR else "weak"


def clear_from_legibility(mean: float, weakest_two: float) -> float:
    """`clear`, 0 to 100, from the legibility of the limbs: mean of all five and mean of the two least legible, 0 to 1."""
    return 100 * w.rise((1 - w.WEAKEST_SHARE) * mean + w.WEAKEST_SHARE * weakest_two, w.CLEAR_CURVE)


def clear_from_shape(measures: Measures) -> float:
    """`clear` from the geometry of the outline alone."""
    return clear_from_legibility(measures.limb_separation, measures.weakest_limbs)


def clear_from_body(body: BodyReading) -> float:
    """`clear` from the limb legibility that the learned reader sees."""
    limbs = sorted([body.limb_legibility.head, *body.limb_legibility.arms, *body.limb_legibility.legs])
    return clear_from_legibility(float(np.mean(limbs)), float(np.mean(limbs[:2])))


def clear_when_closed(measures: Measures) -> float:
    """`clear` of a compact pose: its head, one clear mass, deliberate hollows."""
    head = 1.0 if head_of(measures) is not None else 0.0
    mass = w.rise(measures.convexity, w.CLOSED_CONVEXITY_CURVE)
    hollows = w.rise(1 - measures.solidity, w.CLOSED_HOLLOW_CURVE)
    return 100 * (w.CLOSED_HEAD * head + w.CLOSED_MASS * mass + w.CLOSED_HOLLOWS * hollows)


def interest(measures: Measures, intent: Intent = "open") -> float:
    """How much there is to look at, 0 to 100."""
    table = w.INTERESTING if intent == "open" else w.INTERESTING_CLOSED
    worth = {
        "gaps": 0.7 * w.rise(measures.negative_space, w.GAPS_CURVE) + 0.3 * unequal([g.share for g in measures.gaps]),
        "turns": w.rise(measures.contour_complexity, w.TURNS_CURVE),
        "asymmetry": w.rise(1 - measures.symmetry, w.ASYMMETRY_CURVE),
        "sizes": unequal([p.area for p in measures.parts]),
    }
    return 100 * sum(table[k] * worth[k] for k in table)


def unequal(sizes: list[float]) -> float:
    """How unequal sizes are: 0 when all are alike or there is only one, towards 1 when one is much the largest.

    The mean of |a - b| / (a + b) over the pairs (big, medium and small give about 0.5).
    """
    pairs = [abs(a - b) / (a + b) for k, a in enumerate(sizes) for b in sizes[:k] if a + b > 0]
    return float(np.mean(pairs)) if pairs else 0.0


# --------------------------------------------------------------------------------------------------------- reasons

def head_of(measures: Measures) -> Part | None:
    """The part that can be the head: at the top, short, ending high."""
    high = [p for p in measures.parts if p.tip[1] < 0.15 and p.length < 0.25]
    return min(high, key=lambda p: p.tip[1], default=None)


def legs_of(measures: Measures) -> list[Part]:
    """Parts that can be legs: they end low."""
    return [p for p in measures.parts if p.tip[1] > 0.85 and p.length > 0.15]


def arms_of(measures: Measures) -> list[Part]:
    """Every other part."""
    head, legs = head_of(measures), legs_of(measures)
    return [p for p in measures.parts if p is not head and p not in legs and p.tip[1] < 0.8]


def place(x: float, y: float, measures_height: float = 1.0) -> str:
    """Where on the picture, in words: a side and a height on a standing figure."""
    side = "picture left" if x < -0.03 else "picture right" if x > 0.03 else "the middle"
    heights = ((0.16, "at the head"), (0.30, "at the shoulders"), (0.47, "at the waist"), (0.60, "at the hips"),
               (0.85, "at the knees"))
    height = next((name for top, name in heights if y / measures_height < top), "at the feet")
    return f"{side}, {height}"


def reasons(measures: Measures, intent: Intent, body: BodyReading | None, readability: float) -> tuple[str, ...]:
    """Why the view reads or does not, strongest first; at least one."""
    found: list[tuple[float, str]] = []
    arms, legs, head = arms_of(measures), legs_of(measures), head_of(measures)
    if intent == "open":
        if not arms:
            found.append((3.0, "both arms lost in the torso"))
        elif len(arms) == 1:
            side = "picture left" if arms[0].tip[0] > 0 else "picture right"
            found.append((2.0, f"one arm lost in the torso, {side}"))
        if len(legs) < 2:
            found.append((2.5, "legs read as one"))
    if head is None:
        found.append((2.2, "head sunk into the rest, it does not stand clear"))
    for tangent in measures.tangents[:2]:
        found.append((1.5, f"edges just touch at {place(*tangent.point)}"))
    if measures.symmetry > 0.93:
        found.append((1.2, "both sides of the outline match: a straight, symmetric column"))
    if intent == "open" and not any(_counts(g) for g in measures.gaps):
        found.append((1.0, "no gap opens between limbs and body"))
    if not found or readability >= BAND_STRONG:
        found.append((0.5, _strength(measures)))
    return tuple(text for _, text in sorted(found, key=lambda f: -f[0]))


def _counts(gap: Gap) -> bool:
    return gap.kind == "enclosed" or (gap.share > 0.03 and gap.polygon.area * 2 > 0.6 * gap.mouth**2)


def _strength(measures: Measures) -> str:
    enclosed = measures.gaps_enclosed
    if enclosed:
        c = enclosed[0].polygon.centroid
        return f"a clear gap opens the shape at {place(c.x, c.y)}"
    return f"{len(measures.parts)} parts stand clear of the core" if measures.parts else "one closed mass"
