"""The verdict on one view: clear, interesting, readability and band; the reasons come from ``reasons.py``."""

from __future__ import annotations

import numpy as np

from silhouette.reading import weights as w
from silhouette.reading.reasons import reasons
from silhouette.records import BodyReading, LimbLegibility, Measures, Outline, Reading
from silhouette.settings import WEAKEST_SHARE, Intent, band_of


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
        What the learned reader says, where there is one; `clear` is then what it could tell, the less so the more
        unlike a body the outline is.

    Returns
    -------
    Reading
        Scores 0 to 100, a band, and at least one reason, weightiest first.
    """
    trust = 0.0 if body is None else 1 - w.rise(body.unlike, w.UNLIKE_CURVE)
    limbs = measures.limbs if body is None or trust == 0 else mixed(measures.limbs, body.limb_legibility, trust)
    clear = max(0.0, clear_of(measures, body, trust) - kissing_cost(measures))
    if intent != "open":
        clear = max(clear, clear_when_closed(measures, limbs))
    interesting = interest(measures, intent)
    readability = w.CLEAR_SHARE * clear + (1 - w.CLEAR_SHARE) * interesting
    # Half-trusted, the reader may still share in how much shows, but is not asked where.
    found = reasons(measures, outline, limbs, intent, readability, body if trust == 1 else None)
    return Reading(clear, interesting, readability, band_of(readability), found)


def clear_of(measures: Measures, body: BodyReading | None, trust: float) -> float:
    """`clear`, 0 to 100: how far one can tell the limbs; the reader says it as far as it is trusted, else the shape."""
    shape = w.rise(measures.limb_separation, w.SHAPE_CURVE)
    read = 0.0 if body is None else w.rise(told(body), w.READER_CURVE)
    return 100 * ((1 - trust) * shape + trust * read)


def told(body: BodyReading) -> float:
    """How much of the limbs the reader could tell, 0 to 1.

    A limb counts by its legibility s, and a share PLACED_SHARE of that only by the chance p that its joints lie where
    they are put: s (1 - PLACED_SHARE (1 - p)); of a pair the weaker limb goes with the less sure joints. The limbs are
    then weighed as :func:`weighed` does.
    """
    chance: dict[str, list[float]] = {}
    for joint in body.joints:
        chance.setdefault(joint.joint, []).append(joint.sure)
    for pair in chance.values():
        pair.sort()

    def worth(legible: float, joints: tuple[str, ...], k: int) -> float:
        placed = float(np.mean([chance[name][k] if name in chance else 0.0 for name in joints]))
        return legible * (1 - w.PLACED_SHARE * (1 - placed))

    arms, legs = body.limb_legibility.arms, body.limb_legibility.legs
    return weighed(LimbLegibility(
        head=worth(body.limb_legibility.head, ("head",), 0),
        arms=(worth(arms[0], ("hand", "elbow"), 0), worth(arms[1], ("hand", "elbow"), 1)),
        legs=(worth(legs[0], ("foot", "knee"), 0), worth(legs[1], ("foot", "knee"), 1)),
    ))


def weighed(limbs: LimbLegibility) -> float:
    """Legibility of the five limbs as one number, 0 to 1, the two least legible ones counted again."""
    five = sorted([limbs.head, *limbs.arms, *limbs.legs])
    return (1 - WEAKEST_SHARE) * float(np.mean(five)) + WEAKEST_SHARE * float(np.mean(five[:2]))


def mixed(shape: LimbLegibility | None, reader: LimbLegibility, trust: float) -> LimbLegibility:
    """The limbs' legibility after both, limb by limb: the reader's as far as it is trusted."""
    if shape is None:
        return reader

    def mix(a: float, b: float) -> float:
        return (1 - trust) * a + trust * b

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
