"""The verdict on one view: clear, interesting, readability, band, and the reasons in a sculptor's words."""

from __future__ import annotations

import numpy as np

from silhouette.reading import weights as w
from silhouette.records import Band, BodyReading, LimbLegibility, Measures, Outline, Part, Reading
from silhouette.settings import BAND_FAIR, BAND_STRONG, WEAKEST_SHARE, Intent

HEIGHTS = ((0.16, "at the head"), (0.30, "at the shoulders"), (0.47, "at the waist"), (0.62, "at the hips"),
           (0.86, "at the knees"), (9.0, "at the feet"))
"""Down to which y (figure heights) a place on an upright figure is called what."""
LOW_HEIGHTS = ((0.34, "high up"), (0.67, "half-way up"), (9.0, "low down"))
"""The same for a figure that sits, crouches or lies: its heights say nothing of its joints."""
ARMS_DOWN_TO, ASIDE = 0.62, 0.03
"""A gap above the first and farther from the middle than the second (figure heights) lies between arm and body."""
COLUMN = 0.45
"""Width over height up to which a figure is a column: the shoulders' breadth is about a quarter of the stature (Drillis
& Contini 1966: 0.259), an elbow held out on each side brings it to half."""
STRENGTHS = ("head, both arms and both legs stand clear", "most limbs stand clear", "a clear gap opens the shape")
"""How the reasons begin that speak for a view."""
UPRIGHT = 1.0
"""Width over height of an outline under which its figure is taken to be upright."""


def read_view(
    measures: Measures, outline: Outline, intent: Intent = "open", body: BodyReading | None = None
) -> Reading:
    """Read one view.

    Parameters
    ----------
    measures, outline
        What geometry says of the view.
    intent
        What the pose is meant to be; ``closed`` and ``relief`` are not marked down for want of gaps.
    body
        What the learned reader says, where there is one; it then shares in `clear`, the less the more unlike a body the
        outline is.

    Returns
    -------
    Reading
        Scores 0 to 100, a band, and at least one reason, strongest first.
    """
    trust = 0.0 if body is None else 1 - w.rise(body.unlike, w.UNLIKE_CURVE)
    limbs = measures.limbs if body is None or trust == 0 else mixed(measures.limbs, body.limb_legibility, trust)
    clear = max(0.0, clear_of(measures, body, trust) - kissing_cost(measures))
    if intent != "open":
        clear = max(clear, clear_when_closed(measures, limbs))
    interesting = interest(measures, intent)
    readability = w.CLEAR_SHARE * clear + (1 - w.CLEAR_SHARE) * interesting
    x0, _, x1, _ = outline.polygon.bounds
    wide = x1 - x0
    why = reasons(measures, limbs, intent, readability, upright=wide < UPRIGHT, narrow=wide < COLUMN)
    return Reading(clear=clear, interesting=interesting, readability=readability, band=band_of(readability), why=why)


def band_of(readability: float) -> Band:
    """strong, fair or weak."""
    return "strong" if readability >= BAND_STRONG else "fair" if readability >= BAND_FAIR else "weak"


def clear_of(measures: Measures, body: BodyReading | None, trust: float) -> float:
    """`clear`, 0 to 100: how far the limbs stand clear, after the shape and, as far as it is trusted, the reader."""
    legible = measures.limb_separation
    if body is not None:
        share = w.READER_SHARE * trust
        legible = (1 - share) * legible + share * weighed(body.limb_legibility)
    return 100 * w.rise(legible, w.CLEAR_CURVE)


def weighed(limbs: LimbLegibility) -> float:
    """Legibility of the five limbs as one number, 0 to 1, the two least legible ones counted again."""
    five = sorted([limbs.head, *limbs.arms, *limbs.legs])
    return (1 - WEAKEST_SHARE) * float(np.mean(five)) + WEAKEST_SHARE * float(np.mean(five[:2]))


def mixed(shape: LimbLegibility | None, reader: LimbLegibility, trust: float) -> LimbLegibility:
    """The limbs' legibility after both, limb by limb."""
    if shape is None:
        return reader
    share = w.READER_SHARE * trust

    def mix(a: float, b: float) -> float:
        return (1 - share) * a + share * b

    return LimbLegibility(
        head=mix(shape.head, reader.head),
        arms=(mix(shape.arms[0], reader.arms[0]), mix(shape.arms[1], reader.arms[1])),
        legs=(mix(shape.legs[0], reader.legs[0]), mix(shape.legs[1], reader.legs[1])),
    )


def kissing_cost(measures: Measures) -> float:
    """Points that kissing edges take from `clear`; the nearer the edges, the more."""
    worst = sorted((w.rise(t.distance, w.KISS_CURVE) for t in measures.tangents), reverse=True)
    return w.TANGENT_COST * sum(worst[: w.TANGENTS_COUNTED])


def clear_when_closed(measures: Measures, limbs: LimbLegibility | None) -> float:
    """`clear`, 0 to 100, of a compact pose: its head, one clear mass, deliberate hollows."""
    head = 0.0 if limbs is None else w.rise(limbs.head, w.CLOSED_HEAD_CURVE)
    mass = w.rise(measures.convexity, w.CLOSED_MASS_CURVE)
    hollows = w.rise(1 - measures.solidity, w.CLOSED_HOLLOW_CURVE)
    return 100 * (w.CLOSED["head"] * head + w.CLOSED["mass"] * mass + w.CLOSED["hollows"] * hollows)


def interest(measures: Measures, intent: Intent = "open") -> float:
    """How much there is to look at, 0 to 100."""
    table = w.INTERESTING if intent == "open" else w.INTERESTING_CLOSED
    gaps = w.GAPS_AMOUNT * w.rise(measures.negative_space, w.GAPS_CURVE)
    worth = {
        "gaps": gaps + (1 - w.GAPS_AMOUNT) * unequal([g.share for g in measures.gaps]),
        "turns": w.rise(measures.contour_complexity, w.TURNS_CURVE),
        "asymmetry": w.rise(1 - measures.symmetry, w.ASYMMETRY_CURVE),
    }
    return 100 * sum(table[k] * worth[k] for k in table)


def unequal(sizes: list[float]) -> float:
    """How unequal sizes are: 0 when all are alike or there is only one, towards 1 when they span all sizes.

    The mean of |a - b| / (a + b) over the pairs, each pair weighed by its smaller size, so that a speck that comes or
    goes changes nothing. Sizes 4, 2 and 1 give 0.40.
    """
    pairs = [(min(a, b), abs(a - b) / (a + b)) for k, a in enumerate(sizes) for b in sizes[:k] if a > 0 and b > 0]
    total = sum(weight for weight, _ in pairs)
    return sum(weight * difference for weight, difference in pairs) / total if total else 0.0


# ------------------------------------------------------------------------------------------------------------- reasons

def head_of(measures: Measures) -> Part | None:
    """The part that can be the head: it ends high and is short."""
    high = [p for p in measures.parts if p.tip[1] < 0.2 and p.length < 0.25]
    return min(high, key=lambda p: p.length, default=None)


def legs_of(measures: Measures) -> list[Part]:
    """Parts that can be legs: they end low."""
    return [p for p in measures.parts if p.tip[1] > 0.85 and p.length > 0.15]


def arms_of(measures: Measures) -> list[Part]:
    """Every other part that does not end at the feet, longest first."""
    head = head_of(measures)
    return [p for p in measures.parts if p is not head and p.tip[1] < 0.8]


def place(x: float, y: float, *, upright: bool = True) -> str:
    """Where in the picture, in words: a side and a height."""
    side = "picture left" if x < -0.03 else "picture right" if x > 0.03 else "the middle"
    return f"{side}, {next(name for down_to, name in (HEIGHTS if upright else LOW_HEIGHTS) if y < down_to)}"


def reasons(
    measures: Measures,
    limbs: LimbLegibility | None,
    intent: Intent,
    readability: float,
    *,
    upright: bool = True,
    narrow: bool = True,
) -> tuple[str, ...]:
    """Why the view reads or does not, strongest first; at least one, and of a weak view at least one fault."""
    found: list[tuple[float, str]] = []
    if limbs is not None:
        found += _lost_limbs(measures, limbs, intent)
    for tangent in measures.tangents[:2]:
        found.append((0.15, f"edges just touch at {place(*tangent.point, upright=upright)}"))
    if measures.symmetry > w.MIRRORED:
        column = ": a straight, symmetric column" if narrow else ""
        found.append((0.10, f"both sides of the outline match{column}"))
    if intent == "open" and measures.negative_space < w.BARE:
        found.append((0.12, "no gap opens between limbs and body"))
    if not found and intent == "open" and readability < BAND_FAIR:
        found.append((0.0, "limbs stand out too little from the body"))
    if not found or readability >= BAND_STRONG:
        found.append((0.0, _strength(measures, limbs, upright)))
    return tuple(dict.fromkeys(text for _, text in sorted(found, key=lambda f: -f[0])))


def _lost_limbs(measures: Measures, limbs: LimbLegibility, intent: Intent) -> list[tuple[float, str]]:
    """What is lost, with how much of it: the legibility that is missing, limb by limb."""
    found: list[tuple[float, str]] = []
    if limbs.head < w.HEAD_SUNK:
        arm_above = any(p.tip[1] < 0.08 and p.length > 0.25 for p in measures.parts)
        words = "head sunk behind a raised arm" if arm_above else "head sunk into the rest, it does not stand clear"
        found.append((0.1 + w.HEAD_SUNK - limbs.head, words))
    if intent != "open":
        return found
    weaker, stronger = limbs.arms
    shown = _sides_with_arms(measures)
    if stronger < w.ARM_LOST or (stronger < w.ARM_FLUSH and not shown):
        found.append((0.4 + w.ARM_FLUSH - weaker, "both arms lost in the torso"))
    elif weaker < w.ARM_LOST:
        other = {"left": ", picture right", "right": ", picture left"}
        where = other[shown.pop()] if len(shown) == 1 else ""
        found.append((0.2 + w.ARM_FLUSH - weaker, f"one arm lost in the torso{where}"))
    if limbs.legs[0] < w.LEGS_ONE:
        found.append((0.3 + w.LEGS_ONE - limbs.legs[0], "legs read as one"))
    return found


def _sides_with_arms(measures: Measures) -> set[str]:
    """Sides of the picture on which something tells an arm: a part that stands out, or a gap it encloses."""
    spots = [p.tip[0] - (p.base[0][0] + p.base[1][0]) / 2 for p in arms_of(measures)]
    for gap in measures.gaps_enclosed:
        middle = gap.polygon.centroid
        if middle.y < ARMS_DOWN_TO and abs(middle.x) > ASIDE:
            spots.append(middle.x)
    return {"left" if x < 0 else "right" for x in spots}


def speaks_for(reason: str) -> bool:
    """Whether a reason names a strength, not a fault."""
    return reason.startswith(STRENGTHS)


def _strength(measures: Measures, limbs: LimbLegibility | None, upright: bool) -> str:
    """What carries the view."""
    five = [] if limbs is None else [limbs.head, *limbs.arms, *limbs.legs]
    if five and min(five) > w.STANDS and not measures.tangents:
        return "head, both arms and both legs stand clear"
    gaps = [g for g in measures.gaps if g.kind == "enclosed"] or list(measures.gaps)
    if gaps and measures.negative_space > w.BARE:
        spot = gaps[0].polygon.representative_point()
        return f"a clear gap opens the shape at {place(spot.x, spot.y, upright=upright)}"
    if sum(x > w.STANDS for x in five) >= 4:
        return "most limbs stand clear"
    return "one compact mass"
