"""What to try: for each weak stretch a move or two in a sculptor's words, and the angles that it concerns.

Nothing is foretold here in numbers. A move *helps* where the figure's own views show the fault that it mends. It may
*cost* a quarter turn away: a limb swung across the picture here points at the lens there. Where one of the figure's own
views already shows the limb clear, that view is named, to look at.
"""

from __future__ import annotations

from dataclasses import dataclass, replace

from silhouette.geometry.angles import on_arc
from silhouette.records import ARM_TROUBLES, Arc, Pose, Reason, ReasonKind, View
from silhouette.show import words

QUARTER = 30.0
"""A view this near to a quarter turn from the weak stretch's middle, degrees, may lose what the stretch gains."""


@dataclass(frozen=True)
class Advice:
    """One thing to try."""

    text: str
    """The move, in a sculptor's words."""
    cause: Reason
    """The fault that it mends."""
    helps: tuple[tuple[float, float], ...]
    """Stretches (from, to, clockwise, degrees between stops; a single stop twice) whose weak views show the fault."""
    costs: tuple[tuple[float, float], ...]
    """Stretches of views that read now and may lose by the move; empty where the move has no such price."""
    like: float | None
    """Angle of the figure's own clearest view without this fault; None where every view has it."""


@dataclass(frozen=True)
class _Move:
    """A family of faults and what mends it, seen square-on (from front or back) and from the side."""

    mends: frozenset[ReasonKind]
    square: tuple[str, str]
    side: tuple[str, str]
    swings: bool = False
    """True if the move swings a limb across the picture, so that it costs a quarter turn away."""
    closed: tuple[str, str] | None = None
    """What mends it in a pose that is meant to be closed or a relief; None where the same moves serve."""


_ARM_FROM_HEAD = ("move the raised arm away from the head", "tilt the head away from the raised arm")
_TANGENT = ("break the tangent: separate the edges, or let them clearly overlap",) * 2
_MASS = ("open one deliberate hollow", "let the head stand clear of the mass")
MOVES: tuple[_Move, ...] = (
    _Move(ARM_TROUBLES,
          ("open an arm to the side: lift the elbow clear of the waist", "rest a hand on the hip, so that a gap opens"),
          ("bring one arm forward or back, clear of the chest", "bend the elbow, so that the forearm leaves the torso"),
          swings=True),
    _Move(frozenset({ReasonKind.LEGS_AS_ONE}),
          ("set the feet wider, or step the free leg out to the side", "bend the free knee outwards"),
          ("step the free leg back, or the standing leg forward", "bend the free knee, so that the legs part")),
    _Move(frozenset({ReasonKind.HEAD_BEHIND_ARM}), _ARM_FROM_HEAD, _ARM_FROM_HEAD),
    _Move(frozenset({ReasonKind.HEAD_SUNK}),
          ("lift the chin and drop the near shoulder, so that the neck shows", "tilt the head off the plumb line"),
          ("turn the head out over the shoulder", "carry the head forward of the chest"),
          closed=("let the head stand clear of the mass", "turn the head out of the mass")),
    _Move(frozenset({ReasonKind.EDGES_TOUCH}), _TANGENT, _TANGENT),
    _Move(frozenset({ReasonKind.SIDES_MATCH, ReasonKind.COLUMN}),
          ("break the twins: drop the shoulder over the standing hip", "let the two arms do different things"),
          ("break the twins: drop the shoulder over the standing hip", "twist the ribcage against the pelvis"),
          closed=("break the twins: lean the mass to one side", "turn the head off the middle line")),
    _Move(frozenset({ReasonKind.COMPACT}), _MASS, _MASS),
    _Move(frozenset({ReasonKind.NO_GAP}),
          ("open a gap between arm and waist, or between the knees", "lift one elbow clear"),
          ("bring one elbow back, so that light shows between arm and back", "step the free leg back"), swings=True),
)


def advise(pose: Pose) -> list[Advice]:
    """One or two moves for each weak stretch; the same move for several stretches is told once.

    Parameters
    ----------
    pose : Pose
        Its weak arcs with their causes, and its scored views.

    Returns
    -------
    list of Advice
        In the order of the arcs, widest first; empty where nothing is weak or no known fault is named.
    """
    told: dict[str, Advice] = {}
    costs: dict[str, set[float]] = {}
    for arc in sorted(pose.round.weak_arcs, key=lambda a: -a.width):
        for advice, price in _for_arc(pose, arc):
            told.setdefault(advice.text, advice)
            costs.setdefault(advice.text, set()).update(price)
    stops = _stops(pose)
    return [replace(advice, costs=_stretches(costs[text], stops)) for text, advice in told.items()]


def _stops(pose: Pose) -> list[float]:
    """Angles of the scored views."""
    return sorted({v.angle for v in pose.views if v.scored and v.reading is not None})


def _for_arc(pose: Pose, arc: Arc) -> list[tuple[Advice, set[float]]]:
    """The moves for the two chief causes of one stretch, two for a lone cause; with each the angles it may weaken."""
    named = [(move, why) for why in arc.causes for move in MOVES if why.kind in move.mends][:2]
    picks = [(move, why, 0) for move, why in named] if len(named) == 2 else [
        (move, why, i) for move, why in named for i in (0, 1)]
    found = []
    for move, why, i in picks:
        texts = move.side if _from_side(pose, arc, move) else move.square
        if pose.intent != "open" and move.closed is not None:
            texts = move.closed
        if i < len(set(texts)):
            found.append(_advice(pose, arc, move, why, texts[i]))
    return found


def _from_side(pose: Pose, arc: Arc, move: _Move) -> bool:
    """True if most of the stretch's views with this fault are nearer to a profile than to front or back."""
    inside = [v for v in pose.views if v.scored and _shows(v, move) and on_arc(v.angle, (arc.start, arc.end))]
    angles = [v.angle for v in inside] or [arc.start + arc.width / 2]
    return sum(abs(angle % 180 - 90) < 45 for angle in angles) * 2 > len(angles)


def _advice(pose: Pose, arc: Arc, move: _Move, why: Reason, text: str) -> tuple[Advice, set[float]]:
    scored = [v for v in pose.views if v.scored and v.reading is not None]
    faulty = [v for v in scored if _shows(v, move)]
    clear = [v for v in scored if not _shows(v, move) and _band(v) != "weak"]
    best = max(clear, key=_score, default=None)
    middle = arc.start + arc.width / 2
    quarter = {v.angle for v in clear if abs((v.angle - middle + 90) % 180 - 90) >= 90 - QUARTER}
    helped = _stretches({v.angle for v in faulty if _band(v) == "weak"}, _stops(pose))
    return (Advice(text, why, helped, (), None if best is None else best.angle),
            quarter if move.swings and arc.width < 270 else set())


def advice_line(advice: Advice) -> str:
    """The angles of an advice in one line: what it helps, what it may weaken, where to look."""
    def told(stretches: tuple[tuple[float, float], ...]) -> str:
        return words.listed([words.from_to(a, b) if a != b else words.degrees(a) for a, b in stretches])

    line = f"helps {told(advice.helps)}"
    if advice.costs:
        line += f"; may weaken {told(advice.costs)}"
    if advice.like is not None:
        line += f"; clear already at {words.degrees(advice.like)}"
    return line


def _shows(view: View, move: _Move) -> bool:
    return view.reading is not None and any(why.kind in move.mends for why in view.reading.reasons)


def _score(view: View) -> float:
    return -1.0 if view.reading is None else view.reading.readability


def _band(view: View) -> str:
    return "" if view.reading is None else view.reading.band


def _stretches(wanted: set[float], stops: list[float]) -> tuple[tuple[float, float], ...]:
    """Runs of neighbouring stops among ``stops`` (ascending, distinct) that are all ``wanted``, round the circle."""
    chosen = [angle in wanted for angle in stops]
    if all(chosen):
        return ((stops[0], stops[0] + 360.0),) if len(stops) > 1 else tuple((a, a) for a in stops)
    runs = []
    for start in (i for i in range(len(stops)) if chosen[i] and not chosen[i - 1]):
        end = start
        while chosen[(end + 1) % len(stops)]:
            end += 1
        runs.append((stops[start], stops[end % len(stops)]))
    return tuple(runs)
